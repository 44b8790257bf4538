"""The one-page report as a single HTML file: a page in words goes in, text comes out.

Everything a person typed is escaped; pictures are inside, so that the file can be sent as it is.
"""

from __future__ import annotations

import base64
from functools import cache
from importlib.resources import files

import jinja2
from markupsafe import Markup

from ui.figure import figure_svg
from ui.report import ReportPage


def report_html(page: ReportPage) -> str:
    """Lay a report out as HTML.

    Parameters
    ----------
    page
        From `ui.report.report_page`.

    Returns
    -------
    str
        A whole document that needs no other file and no network.
    """
    strobe = None
    if page.strobe_jpeg is not None:
        strobe = f"data:image/jpeg;base64,{base64.b64encode(page.strobe_jpeg).decode('ascii')}"
    # the drawings escape their own texts
    figures = [(figure.title, Markup(figure_svg(figure))) for figure in page.figures]  # noqa: S704
    return _template().render(page=page, strobe=strobe, figures=figures)


@cache
def _template() -> jinja2.Template:
    text = (files(__package__) / "report_page.html.j2").read_text(encoding="utf-8")
    environment = jinja2.Environment(
        autoescape=True, undefined=jinja2.StrictUndefined, trim_blocks=True
    )
    return environment.from_string(text)
