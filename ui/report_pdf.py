"""The one-page report as PDF: a page in words goes in, bytes come out.

What does not fit one page at the usual size is set smaller, down to a size that can still be read.
"""

from __future__ import annotations

import math
from functools import cache
from importlib.resources import as_file, files
from io import BytesIO

from fpdf import FPDF
from fpdf.enums import XPos, YPos
from fpdf.fonts import TTFFont

from ui.figure import Anchor, Figure, Line, Oval, Words
from ui.report import ReportPage

MARGIN_MM = 11.0
GAP_MM = 5.0
GREEN, INK, SOFT, RULE, CARE = "#0b5f57", "#15211e", "#3d4a45", "#e4e0d4", "#fff4d6"
MM_PER_PT = 25.4 / 72
SIZES = (1.0, 0.94, 0.88, 0.82, 0.76)
"""Scales of the type that are tried until everything stands on one page."""


def report_pdf(page: ReportPage) -> bytes:
    """Lay a report out as PDF.

    Parameters
    ----------
    page
        From `ui.report.report_page`.

    Returns
    -------
    bytes
        A4; one page unless an unusual amount was written down.
    """
    for size in SIZES:
        laid = _Sheet(page, size)
        if laid.pdf.page_no() == 1 or size == SIZES[-1]:
            break
        _close_fonts(laid.pdf)
    try:
        return bytes(laid.pdf.output())
    finally:
        _close_fonts(laid.pdf)


def _close_fonts(pdf: FPDF) -> None:
    """Let go of the font files, which stay open until the document is written."""
    for font in pdf.fonts.values():
        if isinstance(font, TTFFont):
            font.ttfont.close()


class _Sheet:
    """One attempt to lay a page out at one scale."""

    def __init__(self, page: ReportPage, size: float) -> None:
        self.page, self.size = page, size
        self.pdf = FPDF(format="A4", unit="mm")
        self.pdf.set_auto_page_break(auto=True, margin=MARGIN_MM)
        self.pdf.set_margins(MARGIN_MM, MARGIN_MM)
        self.pdf.c_margin = 0.0
        for style, file in (("", "regular.ttf"), ("B", "bold.ttf")):
            with as_file(files(__package__) / "fonts" / file) as path:
                self.pdf.add_font("report", style, path)
        self.pdf.set_lang(page.language)
        self.pdf.set_title(_drawn(f"{page.title}: {page.archer}"))
        self.pdf.add_page()
        self.left, self.width = MARGIN_MM, self.pdf.w - 2 * MARGIN_MM
        self._head()
        self._next()
        self._pictures()
        self._columns()
        self._done()
        self._setup()
        self._always()

    # ------------------------------------------------------------ parts of the page

    def _head(self) -> None:
        page = self.page
        self._type(16, bold=True)
        self._line(page.archer, self.width * 0.7, 7)
        self._type(10, bold=True, colour=GREEN)
        self.pdf.set_xy(self.left + self.width * 0.7, MARGIN_MM)
        self.pdf.cell(self.width * 0.3, 7, _drawn(page.title), align="R")
        self.pdf.set_xy(self.left, MARGIN_MM + 7 * self.size)
        self._type(9, colour=SOFT)
        self._line(f"{page.bow}, {page.version}, {page.dated}", self.width, 4.6)
        self.pdf.set_draw_color(GREEN)
        self.pdf.set_line_width(0.8)
        y = self.pdf.get_y() + 0.8
        self.pdf.line(self.left, y, self.left + self.width, y)
        self.pdf.set_y(y + 3)

    def _next(self) -> None:
        page, inner = self.page, self.width - 6
        top, x = self.pdf.get_y(), self.left + 3
        self.pdf.set_y(top + 2)
        self._heading(page.next_title, x)
        self._type(12.5, bold=True)
        self._paragraph(page.change, inner, x, 5.6)
        self.pdf.ln(1)
        start, half = self.pdf.get_y(), (inner - GAP_MM) / 2
        self._type(8.8)
        for text in page.reasons:
            self._paragraph(text, half, x, 3.9)
        below = self.pdf.get_y()
        self.pdf.set_y(start)
        right = x + half + GAP_MM
        self._heading(page.words["expect"], right)
        self._type(8.8)
        for text in (*page.expect, page.stop):
            self._bullet(text, half, right)
        self.pdf.set_y(max(below, self.pdf.get_y()) + 1)
        self._care(f"{page.words['caution']}: {page.caution}", inner, x)
        self.pdf.set_draw_color(GREEN)
        self.pdf.set_line_width(0.5)
        bottom = self.pdf.get_y() + 2
        self.pdf.rect(
            self.left, top, self.width, bottom - top, round_corners=True, corner_radius=1.5
        )
        self.pdf.set_y(bottom + 3)

    def _care(self, text: str, width: float, x: float) -> None:
        self._type(8.8)
        self.pdf.set_fill_color(CARE)
        self.pdf.set_x(x)
        self.pdf.multi_cell(
            width, 4.3 * self.size, _drawn(text), fill=True, padding=1,
            new_x=XPos.LMARGIN, new_y=YPos.NEXT,
        )  # fmt: skip

    def _pictures(self) -> None:
        page = self.page
        wide = (self.width - GAP_MM) / 2
        top, bottom = self.pdf.get_y(), self.pdf.get_y()
        places = [self.left, self.left + wide + GAP_MM]
        drawn = 0
        if page.strobe_jpeg is not None:
            height = 50.0 * self.size
            self.pdf.image(
                BytesIO(page.strobe_jpeg), places[0], top, wide, height, keep_aspect_ratio=True,
                alt_text=_drawn(page.words["strobe"]),
            )  # fmt: skip
            bottom, drawn = self._caption(page.words["strobe"], places[0], top + height, wide), 1
        for figure in page.figures:
            if drawn == 2:
                top, drawn = bottom, 0
            height = figure.height_mm * wide / figure.width_mm * (0.6 + 0.4 * self.size)
            scale = height / figure.height_mm
            draw_figure(self.pdf, figure, places[drawn], top, scale)
            under = self._caption(figure.title, places[drawn], top + height, wide)
            bottom, drawn = max(bottom, under), drawn + 1
        self.pdf.set_y(bottom + 1.5)

    def _caption(self, text: str, x: float, y: float, width: float) -> float:
        self.pdf.set_xy(x, y + 0.5)
        self._type(7.4, colour=SOFT)
        self._paragraph(text, width, x, 3.4)
        return float(self.pdf.get_y())

    def _columns(self) -> None:
        """Put what was seen on the left, what to keep in mind on the right."""
        page = self.page
        half = (self.width - GAP_MM) / 2 if page.doubts else self.width
        top = self.pdf.get_y()
        bottom = self._list(page.words["seen"], page.seen, half, self.left)
        if page.doubts:
            self.pdf.set_y(top)
            right = self.left + half + GAP_MM
            bottom = max(bottom, self._list(page.words["doubts"], page.doubts, half, right))
        self.pdf.set_y(bottom + 1.5)

    def _list(self, heading: str, texts: tuple[str, ...], width: float, x: float) -> float:
        self._heading(heading, x)
        self._type(8.4)
        for text in texts:
            self._bullet(text, width, x)
        return float(self.pdf.get_y())

    def _done(self) -> None:
        if not self.page.done:
            return
        self._heading(self.page.words["done"], self.left)
        self._type(8)
        for when, what, outcome in self.page.done:
            self._paragraph(f"{when}  {what}  ({outcome})", self.width, self.left, 3.7)
        self.pdf.ln(1.5)

    def _setup(self) -> None:
        page = self.page
        self._heading(page.words["sheet"], self.left)
        lines = [
            (
                row.label,
                f"{row.value} ({page.words['was']} {row.before})" if row.before else row.value,
                row.before is not None,
            )
            for row in page.rows
        ] + [(label, value, False) for label, value in page.worked]
        columns = 3
        wide = (self.width - (columns - 1) * GAP_MM) / columns
        rows = math.ceil(len(lines) / columns)
        top, step = self.pdf.get_y(), 3.9 * self.size
        if top + rows * step > self.pdf.h - MARGIN_MM:
            self.pdf.add_page()
            top = self.pdf.get_y()
        self.pdf.set_draw_color(RULE)
        self.pdf.set_line_width(0.15)
        for k, (label, value, changed) in enumerate(lines):
            x, y = self.left + (k // rows) * (wide + GAP_MM), top + (k % rows) * step
            self._fitted(label, wide, x, y, step, align="L", bold=False)
            self._fitted(value, wide, x, y, step, align="R", bold=changed, beside=label)
            self.pdf.line(x, y + step, x + wide, y + step)
        self.pdf.set_xy(self.left, top + rows * step + 2)

    def _fitted(
        self, text: str, width: float, x: float, y: float, step: float, *, align: str, bold: bool,
        beside: str = "",
    ) -> None:  # fmt: skip
        """Write one line beside its label, smaller if it is long."""
        self._type(7.6, colour=SOFT if align == "L" else INK)
        room = width - self.pdf.get_string_width(_drawn(beside)) - (2.0 if beside else 0.0)
        self._type(7.6, bold=bold, colour=SOFT if align == "L" else INK)
        needed = self.pdf.get_string_width(_drawn(text))
        if needed > room > 0:
            self._type(max(7.6 * room / needed, 4.5), bold=bold, colour=INK)
        self.pdf.set_xy(x, y)
        self.pdf.cell(width, step, _drawn(text), align=align)

    def _always(self) -> None:
        self._type(7.4, colour=SOFT)
        self._paragraph(self.page.always, self.width, self.left, 3.4)

    # ------------------------------------------------------------ small strokes

    def _type(self, pt: float, *, bold: bool = False, colour: str = INK) -> None:
        self.pdf.set_font("report", "B" if bold else "", pt * self.size)
        self.pdf.set_text_color(colour)

    def _heading(self, text: str, x: float) -> None:
        self._type(9.4, bold=True, colour=GREEN)
        self.pdf.set_x(x)
        self.pdf.cell(0, 4.6 * self.size, _drawn(text), new_x=XPos.LMARGIN, new_y=YPos.NEXT)

    def _line(self, text: str, width: float, height: float) -> None:
        self.pdf.cell(width, height * self.size, _drawn(text), new_x=XPos.LMARGIN, new_y=YPos.NEXT)

    def _paragraph(self, text: str, width: float, x: float, height: float) -> None:
        self.pdf.set_x(x)
        self.pdf.multi_cell(
            width, height * self.size, _drawn(text), align="L",
            new_x=XPos.LMARGIN, new_y=YPos.NEXT,
        )  # fmt: skip

    def _bullet(self, text: str, width: float, x: float) -> None:
        y = self.pdf.get_y()
        self.pdf.set_fill_color(GREEN)
        self.pdf.circle(x + 1.0, y + 1.9 * self.size, 0.55, style="F")
        self._paragraph(text, width - 3.2, x + 2.6, 3.8)


def draw_figure(pdf: FPDF, figure: Figure, x: float, y: float, scale: float) -> None:
    """Draw a figure onto a PDF page.

    Parameters
    ----------
    pdf
        With the report's fonts.
    figure
        What to draw.
    x, y
        Its upper left corner in mm.
    scale
        Millimetres on the page for one of the figure.
    """
    for item in figure.items:
        if isinstance(item, Line):
            pdf.set_draw_color(item.colour)
            pdf.set_line_width(item.width_mm * scale)
            pdf.set_dash_pattern(dash=1.2, gap=0.9) if item.dashed else pdf.set_dash_pattern()
            pdf.polyline([(x + px * scale, y + py * scale) for px, py in item.points])
            pdf.set_dash_pattern()
        elif isinstance(item, Oval):
            _draw_oval(pdf, item, x, y, scale)
        else:
            _draw_words(pdf, item, x, y, scale)


def _draw_oval(pdf: FPDF, item: Oval, x: float, y: float, scale: float) -> None:
    if item.fill is not None:
        pdf.set_fill_color(item.fill)
    if item.stroke is not None:
        pdf.set_draw_color(item.stroke)
        pdf.set_line_width(item.width_mm * scale)
    style = ("D" if item.stroke else "") + ("F" if item.fill else "")
    cx, cy, rx, ry = x + item.x * scale, y + item.y * scale, item.rx * scale, item.ry * scale
    with pdf.rotation(-item.turn_deg, cx, cy):
        pdf.ellipse(cx - rx, cy - ry, 2 * rx, 2 * ry, style=style)


def _draw_words(pdf: FPDF, item: Words, x: float, y: float, scale: float) -> None:
    pdf.set_font("report", "B" if item.bold else "", item.size_mm * scale / MM_PER_PT)
    pdf.set_text_color(item.colour)
    text = _drawn(item.text)
    shift: dict[Anchor, float] = {"start": 0.0, "middle": 0.5, "end": 1.0}
    left = x + item.x * scale - shift[item.anchor] * pdf.get_string_width(text)
    pdf.text(left, y + item.y * scale, text)


@cache
def _glyphs() -> frozenset[int]:
    pdf = FPDF()
    with as_file(files(__package__) / "fonts" / "regular.ttf") as path:
        pdf.add_font("report", "", path)
    font = pdf.fonts["report"]
    assert isinstance(font, TTFFont)  # noqa: S101 a font just added from a file
    known = frozenset(font.cmap)
    _close_fonts(pdf)
    return known


def _drawn(text: str) -> str:
    """Put a question mark where the report's type has no letter."""
    return "".join(c if ord(c) in _glyphs() else "?" for c in text.replace("\n", " "))
