"""The naming exercise: answers kept and counted over time, flights that have an answer."""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import pytest
from streamlit.testing.v1 import AppTest

from classify.types import Hand
from tests.made_readings import made_reading, made_two_at_once
from ui.dash_words import Words
from ui.lessons import LABELS, LessonBook, confusion, recent_share
from ui.teach_naming import answer_words, confusion_html, drawn_flight, shown_by
from ui.teach_sheets import _sheet_html


def test_answers_outlive_the_program(tmp_path: Path) -> None:
    """A new book in the same folder knows them, each trainee apart."""
    book = LessonBook(tmp_path)
    book.add(trainee="Robin", question="drawn-1", shown="clean", said="minnowing")
    book.add(trainee="Kim", question="drawn-1", shown="clean", said="clean")
    book.add(trainee="Robin", question="drawn-2", shown="clean", said="clean")
    again = LessonBook(tmp_path)
    assert [answer.right for answer in again.answers("Robin")] == [False, True]
    assert [answer.right for answer in again.answers("Kim")] == [True]
    assert again.answers("Nobody") == []


def test_confusion_has_what_was_shown_in_rows(tmp_path: Path) -> None:
    """A clean flight taken for minnowing stands in the row of clean, under minnowing."""
    book = LessonBook(tmp_path)
    book.add(trainee="a", question="q", shown="clean", said="minnowing")
    table = np.array(confusion(book.answers("a")))
    assert table.sum() == 1
    assert table[LABELS.index("clean"), LABELS.index("minnowing")] == 1


def test_progress_looks_at_the_last_ten(tmp_path: Path) -> None:
    """After ten wrong and ten right answers the share is one."""
    book = LessonBook(tmp_path)
    for said in ["minnowing"] * 10 + ["clean"] * 10:
        book.add(trainee="a", question="q", shown="clean", said=said)
    shares = recent_share(book.answers("a"))
    np.testing.assert_allclose([shares[9], shares[14], shares[19]], [0.0, 0.5, 1.0])


@pytest.mark.parametrize("number", range(12))
def test_every_drawn_flight_has_an_answer(number: int) -> None:
    """Its reading has a label, and the same number gives the same flight."""
    flight, reading = drawn_flight(number)
    assert reading.label in LABELS
    assert drawn_flight(number)[0] == flight


def test_drawn_flights_show_all_four() -> None:
    """No label is left out of the exercise."""
    assert {drawn_flight(number)[1].label for number in range(40)} == set(LABELS)


def test_either_of_two_disturbances_is_a_right_answer() -> None:
    """Whoever names one of two is right, and is told of the other; porpoising is still wrong."""
    both, word = made_two_at_once(), Words("en")
    assert shown_by(both, "minnowing") == "minnowing"
    assert answer_words(both, "minnowing", word) == (
        "Right. It is Minnowing. Also there: fishtailing."
    )
    assert shown_by(both, "porpoising") == "fishtailing"
    assert "Fishtailing and minnowing" in answer_words(both, "porpoising", word)
    assert answer_words(made_reading(), "fishtailing", word) == "Right. It is Fishtailing."


def test_a_tick_stands_only_where_something_was_right(tmp_path: Path) -> None:
    """What was never shown has no tick: it would look like a success."""
    book = LessonBook(tmp_path)
    book.add(trainee="a", question="q", shown="clean", said="clean")
    book.add(trainee="a", question="q", shown="clean", said="minnowing")
    html = confusion_html(book.answers("a"), Words("en"))
    assert html.count("ts-hit") == 1
    assert html.count("ts-miss") == 1
    assert not re.search(r'ts-hit"[^>]*>·', html)


@pytest.mark.parametrize("label", [label for label in LABELS if label != "clean"])
@pytest.mark.parametrize("hand", ["right", "left"])
def test_every_sheet_looks_for_contact_first(label: str, hand: Hand) -> None:
    """A bare shaft says nothing before powder has ruled out contact: the sheet keeps that order."""
    checks = re.findall(r"<li>.*?</li>", _sheet_html(label, hand, Words("en")))
    assert "powder" in checks[0]
    assert "bare shafts" not in checks[0]
    assert len(checks) == len(set(checks)) > 2


def sandbox_page() -> None:
    """Draw the sandbox."""
    from ui.dash_words import page_words
    from ui.teach_sandbox import sandbox

    sandbox(page_words())


def test_the_sandbox_says_what_the_film_folds(monkeypatch) -> None:
    """At 60 frames a second 35 Hz pass for 25, of the fast swing as of the bending."""
    monkeypatch.setenv("TAILSWAY_LANGUAGE", "en")
    page = AppTest.from_function(sandbox_page, default_timeout=60).run()
    assert not page.warning
    page.select_slider("sandbox-frame_hz").set_value(60)
    page.slider("sandbox-bending_mm").set_value(0.0)
    page.slider("sandbox-fast_mm").set_value(10.0)
    page = page.slider("sandbox-fast_hz").set_value(35.0).run()
    assert not page.exception
    (told,) = (warning.value for warning in page.warning)
    assert told == "At 60 frames a second the fast swing of 35 Hz looks like 25 Hz in the film."
