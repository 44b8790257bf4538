"""Property: what was entered is kept once, whatever becomes of the page that is drawn after it."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import NoReturn

import pytest
import streamlit as st
from streamlit.testing.v1 import AppTest

import ui.reading_store
from classify import logbook
from classify.evidence_book import evidence_of
from classify.logbook import Version
from classify.logbook_file import LogbookFile
from classify.pipeline import ReadResult
from tests.made_logbook import made_logbook
from tests.made_readings import made_result, write_made_film
from tests.pressed_pages import pressed
from ui.shelf import Shelf

Cut = Callable[[str], None]


def rounds() -> None:
    """Draw set-ups and rounds."""
    from ui.page_rounds import show_rounds

    show_rounds()


def read() -> None:
    """Draw the page that reads a clip."""
    from ui.page_read import show_read

    show_read()


def stopped(*_args: object, **_named: object) -> NoReturn:
    """End a page's run, as another press does."""
    st.stop()


@pytest.fixture
def cut(monkeypatch: pytest.MonkeyPatch) -> Cut:
    """Let a page end where it draws something, as if another press had come by then."""
    return lambda drawn: monkeypatch.setattr(drawn, stopped)


@pytest.fixture
def case(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[tuple[LogbookFile, Version]]:
    """Give a logbook in the coach's folder and its newest version."""
    monkeypatch.setenv("TAILSWAY_FOLDER", str(tmp_path))
    monkeypatch.setenv("TAILSWAY_LANGUAGE", "en")
    book, _, _, newest = made_logbook(tmp_path)
    st.cache_resource.clear()
    yield book, newest
    st.cache_resource.clear()


def opened(page: Callable[[], None], **query: str) -> AppTest:
    """Open a page."""
    test = AppTest.from_function(page, default_timeout=60)
    for name, text in query.items():
        test.query_params[name] = text
    done = test.run()
    assert not done.exception
    return done


def group_form(newest: Version) -> AppTest:
    """Open the form for a group, filled in."""
    key = newest.setup_id[:8]
    page = opened(rounds, part="seen")
    page = page.button_group(f"add-kind-{key}").set_value("groups").run()
    page.text_input(f"group-diameter-{key}").set_value("12")
    return page


def test_a_group_is_kept_though_the_page_ends_before_its_form(
    case: tuple[LogbookFile, Version], cut: Cut
) -> None:
    """The run that a press begins is ended at its very start."""
    book, newest = case
    page = group_form(newest)
    cut("ui.page_rounds.open_book")
    pressed(page, "Keep the group")
    kept = evidence_of(book, newest)[-1]
    assert kept.kind == "groups"
    assert kept.payload["diameter_m"] == pytest.approx(0.12)


def test_a_second_press_before_the_page_is_drawn_keeps_nothing_twice(
    case: tuple[LogbookFile, Version], cut: Cut
) -> None:
    """The same button, pressed on the page that was there before."""
    book, newest = case
    page = group_form(newest)
    before = len(evidence_of(book, newest))
    send = next(button for button in page.button if button.label == "Keep the group")
    cut("ui.page_rounds.open_book")
    for _ in range(2):
        send.click().run()
    assert len(evidence_of(book, newest)) == before + 1


def test_a_double_click_writes_one_archer_down_and_complains_of_nothing(
    case: tuple[LogbookFile, Version], monkeypatch: pytest.MonkeyPatch
) -> None:
    """The second press meets the page that was there before; a third one, later, is refused."""
    book, _ = case
    page = opened(rounds)
    page.text_input("new-archer-name").set_value("Robin")
    send = next(button for button in page.button if button.label == "Write the archer down")
    with monkeypatch.context() as meanwhile:
        meanwhile.setattr("ui.page_rounds.open_book", stopped)
        for _ in range(2):
            send.click().run()
    page = page.run()
    assert not page.error
    assert "Robin" in page.success[0].value
    assert [one.name for one in logbook.archers(book)].count("Robin") == 1
    page.text_input("new-archer-name").set_value("Robin")
    assert pressed(page, "Write the archer down").error


def test_why_nothing_was_kept_waits_until_the_page_can_say_it(
    case: tuple[LogbookFile, Version], monkeypatch: pytest.MonkeyPatch
) -> None:
    """A sentence that a broken-off run could not show is shown by the next one, once."""
    book, newest = case
    page = opened(rounds, part="sheet")
    with monkeypatch.context() as meanwhile:
        meanwhile.setattr("ui.page_rounds.open_book", stopped)
        page = pressed(page, "Make the next version")
        assert not page.error
    page = page.run()
    assert "Nothing was changed" in page.error[0].value
    assert not page.run().error
    assert logbook.versions(book, newest.setup_id)[-1] == newest


def test_a_flight_goes_on_to_be_read_after_the_page_was_left(
    case: tuple[LogbookFile, Version], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Asked for once and broken off, on another part of the page it is read and kept once."""
    book, newest = case
    film = write_made_film(tmp_path / "made.mp4")
    with film.open("rb") as stream:
        Shelf(tmp_path).keep(stream, "made.mp4")
    key, before = newest.setup_id[:8], len(evidence_of(book, newest))
    page = opened(rounds, part="seen")
    page = page.button_group(f"add-kind-{key}").set_value("flight").run()
    page.selectbox(f"flight-clip-{key}").select_index(0)
    page.text_input(f"flight-arrow-{key}").set_value("7")
    monkeypatch.setattr("ui.rounds_flight.kept_reading", stopped)
    page = pressed(page, "Read it and keep it")
    assert len(evidence_of(book, newest)) == before
    monkeypatch.setattr("ui.rounds_flight.kept_reading", lambda path, *_: made_result(path))
    page = page.button_group("linked-part").set_value("sheet").run()
    assert not page.exception
    assert len(evidence_of(book, newest)) == before + 1
    assert evidence_of(book, newest)[-1].payload["arrow"] == "7"
    page = page.button_group("linked-part").set_value("seen").run()
    assert [said.value for said in page.success] == ["Kept with version 2."]
    assert not page.run().error
    assert len(evidence_of(book, newest)) == before + 1


def test_a_flight_that_was_kept_as_the_page_was_left_is_not_kept_again(
    case: tuple[LogbookFile, Version], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Broken off between the logbook and the page, the next run says that it is there."""
    book, newest = case
    with write_made_film(tmp_path / "made.mp4").open("rb") as stream:
        Shelf(tmp_path).keep(stream, "made.mp4")
    key, before = newest.setup_id[:8], len(evidence_of(book, newest))
    monkeypatch.setattr("ui.rounds_flight.kept_reading", lambda path, *_: made_result(path))
    page = opened(rounds, part="seen")
    page = page.button_group(f"add-kind-{key}").set_value("flight").run()
    page.selectbox(f"flight-clip-{key}").select_index(0)
    with monkeypatch.context() as meanwhile:
        meanwhile.setattr("ui.rounds_flight.form_kept", stopped)
        page = pressed(page, "Read it and keep it")
    page = page.run()
    assert not page.error
    assert [said.value for said in page.success] == ["Kept with version 2."]
    assert len(evidence_of(book, newest)) == before + 1


@pytest.fixture
def made_clip(shelf: Shelf, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> str:
    """Give a clip on the shelf whose reading was made by hand; returns its token."""

    def read_clip(path: Path, **_: object) -> ReadResult:
        return made_result(path)

    monkeypatch.setattr(ui.reading_store, "read_clip", read_clip)
    with write_made_film(tmp_path / "made.mp4").open("rb") as stream:
        return shelf.keep(stream, "made.mp4").sha256


@pytest.mark.parametrize("part", ["opinion", "known", "ends", "remove"])
def test_what_is_said_of_a_clip_is_kept_though_the_page_ends_before_its_form(
    made_clip: str, shelf: Shelf, cut: Cut, part: str
) -> None:
    """What the coach sees, knows, corrects, and a clip that is removed."""
    key = made_clip[:12]
    page = AppTest.from_function(read, default_timeout=30)
    page.query_params["clip"] = made_clip
    page.session_state[f"correct-{key}"] = True
    page.session_state[f"correct-tab-{key}"] = "opinion" if part == "opinion" else "ends"
    page.run()
    if part == "opinion":
        page.radio(f"opinion-label-{key}").set_value("minnowing")
        page.text_input(f"opinion-why-{key}").set_value("both sides blur")
    if part == "known":
        page.text_input(f"known-{key}-distance_m").set_value("30")
    cut("ui.page_read.choose_clip")
    labels = {
        "opinion": "Keep what I see",
        "known": "Read again with this",
        "remove": "Yes, remove",
    }
    if part == "ends":
        page.button(f"first_frame-{key}").click().run()
    else:
        pressed(page, labels[part])
    if part == "opinion":
        said = shelf.last(made_clip, "opinion")
        assert said == {"label": "minnowing", "why": "both sides blur"}
    elif part == "known":
        assert (shelf.last(made_clip, "known") or {})["distance_m"] == "30"
    elif part == "ends":
        assert (shelf.last(made_clip, "ends") or {})["first_frame"].isdigit()
    else:
        kept = shelf.clip(made_clip)
        assert kept is not None
        assert kept.removed


def test_a_film_is_kept_though_the_page_ends_before_it_was_taken(
    shelf: Shelf, tmp_path: Path, cut: Cut
) -> None:
    """It has come whole; another page may be asked for by then."""
    film = write_made_film(tmp_path / "made.mp4")
    page = opened(read)
    page.file_uploader("upload-0").set_value(("made.mp4", film.read_bytes(), "video/mp4"))
    cut("ui.page_read.choose_clip")
    assert not page.run().exception
    assert [clip.name for clip in shelf.clips()] == ["made.mp4"]
