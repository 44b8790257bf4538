"""Refusal: what people type stays text: in pages, reports, drawings, tables, archives and paths."""

from __future__ import annotations

import csv
import io
import re
import zipfile
from html.parser import HTMLParser
from xml.etree import ElementTree

import pytest
import streamlit as st
from hypothesis import given
from hypothesis import strategies as some
from streamlit.testing.v1 import AppTest

from classify import logbook
from classify.casebook import open_case
from classify.clip_store import keep_clip, safe_name, stored_name
from classify.evidence_book import record
from classify.exchange import FORMULA, export_zip, import_zip, plain_text
from classify.logbook_file import LogbookFile
from classify.logbook_rows import FILE
from tests.made_logbook import BARE, READING
from tests.made_readings import write_made_film
from tracker.types import message
from ui.dash_words import Words
from ui.drawing import Axis, Chart
from ui.report import report_page
from ui.report_html import report_html
from ui.report_pdf import report_pdf
from ui.shelf import Shelf

EVIL = (
    "<script>alert(1)</script>",
    '"><img src=x onerror=alert(1)>',
    "' onmouseover='alert(1)",
    "![x](http://elsewhere.example/x.png)",
    "[x](javascript:alert(1))",
    "{{ 7*7 }} {0} {name}",
    "</style></svg><svg onload=alert(1)>",
    "=cmd|' /C calc'!A0",
    "../../../etc/passwd",
    "a&b#c?d=e",
    ":material/delete: $x^2$ :red[x] `x` **x**",
)
ALL = (" ".join(EVIL[:4]), " ".join(EVIL[4:8]), " ".join(EVIL[8:]))
"""The same in three long names, for what takes longer to draw."""


class Strange(HTMLParser):
    """Collects what typed text could only add to a page by being more than text."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.found: list[str] = []
        self.feed(html)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Note scripts, frames, handlers, and addresses that lead out of the page."""
        if tag in ("script", "iframe", "object", "embed", "base", "form", "link"):
            self.found.append(tag)
        for name, value in attrs:
            text = (value or "").strip().lower()
            leads_out = name in ("src", "href", "action", "data") and not text.startswith(
                ("/", "#", "data:image/jpeg;base64,", "data:image/png;base64,")
            )
            if name.startswith("on") or leads_out or text.startswith("//"):
                self.found.append(f"{tag} {name}={text[:60]}")


@pytest.fixture(params=EVIL)
def evil(request) -> str:
    """Give one text that wants to be more."""
    return request.param


def evil_logbook(folder, text: str):
    """Type one text wherever a person can type one."""
    book = LogbookFile(folder)
    archer = logbook.add_archer(book, text, hand="left", notes=text)
    first = logbook.add_setup(
        book, archer, text, typed={"string": text, "shaft": text}, dated="2026-01-10", reason=text
    )
    film = write_made_film(folder / "film.mp4")
    clip = keep_clip(book, film)
    record(book, first, "flight", {"reading": READING, "arrow": text}, dated="2026-01-10",
           note=text, clip_sha256=clip.sha256)  # fmt: skip
    record(book, first, "bare shaft", BARE, dated="2026-01-10", note=text)
    with film.open("rb") as stream:
        Shelf(folder).keep(stream, f"{text}.mp4")
    Shelf(folder).note(clip.sha256, "opinion", {"label": "clean", "why": text})
    return book, archer, first


def rounds() -> None:
    """Draw set-ups and rounds."""
    from ui.page_rounds import show_rounds

    show_rounds()


def book_page() -> None:
    """Draw the logbook page."""
    from ui.page_logbook import show_logbook

    show_logbook()


@pytest.mark.parametrize("evil", ALL)
def test_pages_show_typed_text_as_text(tmp_path, monkeypatch, evil):
    """Every HTML that a page writes has the text escaped; Markdown has it with its marks undone."""
    monkeypatch.setenv("TAILSWAY_FOLDER", str(tmp_path))
    monkeypatch.setenv("TAILSWAY_LANGUAGE", "en")
    st.cache_resource.clear()
    evil_logbook(tmp_path, evil)
    for page, query in (
        (rounds, {"part": "next"}), (rounds, {"part": "seen"}), (rounds, {"part": "sheet"}),
        (book_page, {"find": evil.split()[0]}),
    ):  # fmt: skip
        test = AppTest.from_function(page, default_timeout=60)
        for name, value in query.items():
            test.query_params[name] = value
        done = test.run()
        assert not done.exception
        html = " ".join(str(part.proto.body) for part in done.get("html"))
        assert Strange(html).found == []
        assert evil not in html
        for mark in (*done.markdown, *done.error, *done.warning, *done.info):
            assert "](" not in str(mark.value).replace("\\](", "")
            assert evil not in str(mark.value)
    assert done.text_input("find").value == evil.split()[0]


def test_messages_with_names_are_not_markdown(evil):
    """Where Streamlit reads Markdown, a name's marks are undone; the sentence's own are kept."""
    said = Words("en").safe(message("logbook.no_archer", name=evil, known="-"))
    undone = re.sub(r"\\[!-/:-@\[-`{-~]", "", said)
    assert not re.search(r"[\[\]<>`*$]|!\[|:\w+:", undone)
    assert re.sub(r"\\([!-/:-@\[-`{-~])", r"\1", said) == " ".join(
        Words("en").tell(message("logbook.no_archer", name=evil, known="-")).split()
    )


@pytest.mark.parametrize("evil", ALL)
def test_reports_show_typed_text_as_text(tmp_path, evil):
    """HTML and PDF: no tag, no template, no address comes from what was typed."""
    book, archer, first = evil_logbook(tmp_path, evil)
    page = report_page(book, open_case(book, archer, first.setup_id), evil)
    html = report_html(page)
    assert Strange(html).found == []
    assert ("{{ 7*7 }}" in html) == ("{{ 7*7 }}" in evil)
    assert report_pdf(page).startswith(b"%PDF")


def test_drawings_show_typed_text_as_text(evil):
    """A drawing stays one well-formed element with the same text in it."""
    chart = Chart(
        width=400, height=200, x=Axis(low=0.0, high=1.0, name=evil),
        y=Axis(low=0.0, high=1.0, name=evil), title=evil, says=evil,
    )  # fmt: skip
    chart.line([0.0, 1.0], [0.0, 1.0], "fit across")
    root = ElementTree.fromstring(chart.svg())  # noqa: S314 our own drawing
    assert evil in " ".join(root.itertext())
    kinds = {element.tag.rpartition("}")[2] for element in root.iter()}
    assert not kinds & {"script", "img", "image", "foreignObject", "a"}
    assert not any(name.startswith("on") for element in root.iter() for name in element.attrib)


@pytest.mark.parametrize("evil", [*ALL, EVIL[7], "-1", "+1", "@x", "\tx", "\rx", "\nx"])
def test_a_table_for_spreadsheets_holds_no_formula(tmp_path, evil):
    """No cell of any CSV begins like a formula; undone, every cell is the logbook's own text."""
    book, *_ = evil_logbook(tmp_path / "a", evil)
    logbook.add_archer(book, f"'{evil}", hand=None, notes=f"\t{evil}")
    export_zip(book, tmp_path / "all.zip")
    with zipfile.ZipFile(tmp_path / "all.zip") as packed, book.reading() as db:
        for table in ("archers", "setups", "versions", "evidence"):
            text = packed.read(f"csv/{table}.csv").decode("utf-8")
            told = list(csv.DictReader(io.StringIO(text, newline="")))
            kept = [dict(row) for row in db.execute(f"SELECT * FROM {table} ORDER BY rowid")]  # noqa: S608 fixed names
            assert len(told) == len(kept) > 0
            for one, other in zip(told, kept, strict=True):
                assert not any(cell.startswith(FORMULA) for cell in one.values())
                assert {k: plain_text(v) for k, v in one.items()} == {
                    k: "" if v is None else str(v) for k, v in other.items()
                }
    again = LogbookFile(tmp_path / "b")
    import_zip(again, tmp_path / "all.zip")
    assert {archer.name for archer in logbook.archers(again)} == {evil.strip(), f"'{evil}".strip()}


@given(some.text())
def test_formula_marks_are_taken_back_exactly(text):
    """Whatever the text, and however many apostrophes it begins with."""
    from classify.exchange import _harmless

    guarded = str(_harmless(text))
    assert not guarded.startswith(FORMULA)
    assert plain_text(guarded) == text


@given(some.text(max_size=300))
def test_no_name_becomes_a_path(name):
    """What is shown is one part without control characters; what is stored is the hash."""
    plain = safe_name(name)
    assert plain
    assert not set(plain) & set("/\\\0\n\r")
    assert plain not in (".", "..")
    assert FILE.fullmatch(stored_name("0" * 64, plain))
    assert not stored_name("0" * 64, plain).endswith((".json", ".part"))
