"""Rules: one page holds set-up, findings, decision and cautions; what was typed stays text."""

from __future__ import annotations

import re
from dataclasses import replace
from xml.etree import ElementTree

import numpy as np
import pytest

from classify import logbook
from classify.casebook import open_case, propose
from classify.logbook_file import LogbookFile
from fixtures.season import play_story
from fixtures.season_stories import STORIES
from tests.made_logbook import made_logbook
from tracker.types import message
from ui.figure import Figure, Line, Oval, Words, figure_svg, nice_steps
from ui.report import report_page
from ui.report_html import report_html
from ui.report_pdf import report_pdf
from ui.words import say

EVIL = '<script>alert("x")</script> & {{ 7*7 }}'


def page_of(folder, name="main bow", upto=3):
    """Make the report of one story as of a version."""
    book = LogbookFile(folder)
    play_story(book, STORIES[1], start="2026-01-08")
    archer = logbook.find_archer(book, "Birch")
    case = open_case(book, archer, logbook.find_setup(book, archer, None).id, upto=upto)
    return report_page(book, case, name)


@pytest.fixture(scope="module")
def page(tmp_path_factory):
    """Make one page for all tests here."""
    return page_of(tmp_path_factory.mktemp("report"))


def test_the_page_says_what_matters(page):
    """Who, which set-up, what changed, what next, what to expect, when to stop, cautions."""
    assert page.archer == "Birch, left-handed"
    assert page.change == "Fit a string with two strands fewer: the arrow acts weaker."
    assert all((page.reasons, page.expect, page.stop, page.caution, page.always))
    changed = {row.label: row.before for row in page.rows if row.before is not None}
    assert changed == {"Point": "90 gr"}
    assert [what for _, what, _ in page.done] == [
        "Fit a point or insert heavier by 10 grains: the arrow acts weaker."
    ] * 2
    assert any("the change is real" in text for text in page.seen)


def test_html_is_one_file_without_network(page):
    """No script, no link, no address but the one that names SVG."""
    html = report_html(page)
    assert "<script" not in html
    assert "<link" not in html
    assert set(re.findall(r"https?://[^\s\"'<)]+", html)) <= {"http://www.w3.org/2000/svg"}
    for svg in re.findall(r"<svg.*?</svg>", html, flags=re.DOTALL):
        ElementTree.fromstring(svg)  # noqa: S314 our own output


def test_what_was_typed_is_never_markup(page):
    """A name made of markup and template signs comes out as text."""
    html = report_html(replace(page, archer=EVIL, bow=EVIL, seen=(EVIL,), doubts=(EVIL,)))
    assert "<script>" not in html
    assert "&lt;script&gt;" in html
    assert "{{ 7*7 }}" in html


def test_pdf_is_one_page_and_stays_one_with_much_text(page):
    """A usual case fits at once; a full one is set smaller."""
    for doubled in (page, replace(page, seen=page.seen * 2, doubts=page.seen * 2)):
        pdf = report_pdf(doubled)
        assert pdf.startswith(b"%PDF")
        assert len(re.findall(rb"/Type /Page\b", pdf)) == 1


def test_pdf_takes_letters_of_many_languages(page):
    """Accents, Greek and Cyrillic are drawn; what the type lacks becomes a question mark."""
    assert report_pdf(replace(page, archer="Łukasz Ünal Ωμέγα Борис 弓 \U0001f3f9")).startswith(
        b"%PDF"
    )


def test_a_case_without_flights_has_a_page_too(tmp_path):
    """Missing pictures leave no hole and no error."""
    book = LogbookFile(tmp_path)
    archer = logbook.add_archer(book, "A", hand=None)
    version = logbook.add_setup(book, archer, "b", typed={}, dated="2026-01-01", reason="")
    page = report_page(book, open_case(book, archer, version.setup_id), "b")
    assert page.figures == ()
    assert "Film three to six shots" in report_html(page)
    assert report_pdf(page).startswith(b"%PDF")


def test_other_units_on_wish(tmp_path):
    """The sheet in metric units, where it was typed in inches."""
    book, archer, first, _ = made_logbook(tmp_path)
    case = open_case(book, archer, first.setup_id)
    rows = {row.label: row.value for row in report_page(book, case, "b", units="metric").rows}
    assert rows["Brace height"] == "222.25 mm"


def test_drawings_escape_their_words():
    """A text in a drawing is text."""
    figure = Figure(
        title=EVIL,
        width_mm=10,
        height_mm=10,
        items=(
            Line(points=((0, 0), (1, 1)), colour="#000"),
            Oval(x=1, y=1, rx=1, ry=1),
            Words(x=0, y=0, text=EVIL),
        ),
    )
    assert "<script>" not in figure_svg(figure)
    ElementTree.fromstring(figure_svg(figure))  # noqa: S314 our own output


@pytest.mark.parametrize(("low", "high"), [(0, 21), (-3.7, 3.7), (0.0, 0.34), (0, 1000)])
def test_axis_marks_are_round_and_inside(low, high):
    """Marks are evenly spaced multiples of 1, 2 or 5 within the axis."""
    steps = nice_steps(low, high)
    assert 3 <= len(steps) <= 9
    assert low - 1e-9 <= steps[0]
    assert steps[-1] <= high + 1e-9
    step = steps[1] - steps[0]
    mantissa = step / 10 ** np.floor(np.log10(step) + 1e-9)
    assert min(abs(mantissa - m) for m in (1, 2, 5)) < 1e-6


def test_the_page_in_spanish(tmp_path):
    """Every sentence of the page is said in the other language, sides mirrored for a left hand."""
    book, archer, first, _ = made_logbook(tmp_path)
    page = report_page(book, open_case(book, archer, first.setup_id), "b", language="es")
    assert page.archer == "Ünal-7, zurdo"
    assert page.change == "Ablanda el muelle del botón de presión un cuarto de vuelta."
    assert "a la derecha de las emplumadas" in page.reasons[0]
    assert "Brace height" not in {row.label for row in page.rows}
    assert report_pdf(page).startswith(b"%PDF")


def test_the_report_speaks_the_language_it_is_asked_for(tmp_path):
    """What was decided in English is Spanish there; a nock's turn has the steps of the advice."""
    book = LogbookFile(tmp_path)
    play_story(book, STORIES[2], start="2026-01-08")
    archer = logbook.find_archer(book, "Cedar")
    case = open_case(book, archer, logbook.find_setup(book, archer, None).id, upto=2)
    page = report_page(book, case, "main bow", language="es")
    rows = {row.label: row.value for row in page.rows}
    assert rows["Culatín girado"] == "1/32 de vuelta"
    assert rows["Ajuste del culatín en la cuerda"] == "bueno"
    assert [what.split()[0] for _, what, _ in page.done] == ["Gira"]


@pytest.mark.parametrize("language", ["en", "es"])
def test_a_test_is_not_headed_as_a_change_that_may_be_right(tmp_path, language):
    """What a test shows is no sign that it was right."""
    book = LogbookFile(tmp_path)
    archer = logbook.add_archer(book, "A", hand=None)
    version = logbook.add_setup(book, archer, "b", typed={}, dated="2026-01-01", reason="")
    page = report_page(book, open_case(book, archer, version.setup_id), "b", language=language)
    assert propose(open_case(book, archer, version.setup_id), language).is_test
    assert page.words["expect"] == say(message("report.heading_test"), language)
    made, owner, first, _ = made_logbook(tmp_path / "made")
    changed = report_page(made, open_case(made, owner, first.setup_id), "b", language=language)
    assert changed.words["expect"] == say(message("report.heading_expect"), language)
