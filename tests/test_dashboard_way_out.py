"""A long reading is never a locked door: it says how far it is, and it can be called off."""

from __future__ import annotations

import threading
from pathlib import Path

import pytest
from streamlit.testing.v1 import AppTest

import ui.reading_store
from classify.read_result import ReadResult
from classify.types import Known
from tests.made_readings import made_reading, made_result, write_made_film
from tests.pressed_pages import pressed
from tracker.types import Click, InputError, Progress
from ui.corrections import click_text
from ui.reading_store import CALLED_OFF, call_off, followed_of, kept_reading
from ui.shelf import Shelf

CLICK = Click(frame=5, x_px=30.0, y_px=20.0)
WAIT_S = 20.0


@pytest.fixture
def clicked(shelf: Shelf, tmp_path: Path) -> str:
    """Give a clip with a click in it; returns its token."""
    with write_made_film(tmp_path / "made.mp4").open("rb") as stream:
        token = shelf.keep(stream, "made.mp4").sha256
    shelf.note(token, "click", click_text(5, [30.0, 20.0]))
    return token


def read() -> None:
    """Draw the page that reads a clip."""
    from ui.page_read import show_read

    show_read()


def way_out() -> None:
    """Draw what stands beneath a progress bar."""
    import streamlit

    from ui.clip_chooser import clip_by_token, shelf
    from ui.corrections import told
    from ui.dash_words import Words
    from ui.known_input import parse_known
    from ui.way_out import offer_way_out, was_stopped

    word = Words("en")
    chosen = clip_by_token(streamlit.query_params["clip"], word)
    assert chosen is not None
    known = parse_known(told(shelf(), chosen.sha256, chosen.given))
    if not was_stopped(chosen, known, word):
        offer_way_out(streamlit.empty(), chosen, known, word)


def open_(page: object, token: str) -> AppTest:
    """Run a page with a clip."""
    test = AppTest.from_function(page, default_timeout=30)  # type: ignore[arg-type]
    test.query_params["clip"] = token
    done = test.run()
    assert not done.exception
    return done


@pytest.mark.usefixtures("shelf")
def test_a_second_tab_hears_how_far_the_first_is_and_calls_it_off(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Who waits is told the same stage and share; called off, both end, and it can be read anew."""
    heard, going = threading.Event(), threading.Event()
    begun: list[int] = []

    def read_clip(path: Path, *, progress: Progress, **_: object) -> ReadResult:
        begun.append(1)
        if len(begun) == 1:
            progress("search", 0.4)
            going.set()
            heard.wait(WAIT_S)
            while True:
                progress("search", 0.5)
        return made_result(path, made_reading())

    monkeypatch.setattr(ui.reading_store, "read_clip", read_clip)
    path, known, said = Path("none.mp4"), Known(click=CLICK), list[tuple[str, float]]()
    ends: list[str] = []

    def ask(progress: Progress) -> None:
        try:
            kept_reading(path, "a" * 64, known, lambda: progress)
        except InputError as mistake:
            ends.append(mistake.message.key)

    def hear(stage: str, share: float) -> None:
        said.append((stage, share))
        heard.set()

    first = threading.Thread(target=ask, args=(lambda _stage, _share: None,))
    second = threading.Thread(target=ask, args=(hear,))
    first.start()
    assert going.wait(WAIT_S)
    second.start()
    assert heard.wait(WAIT_S)
    call_off(followed_of("a" * 64, known))
    first.join(WAIT_S)
    second.join(WAIT_S)
    assert said[0] == ("search", 0.4)
    assert ends == [CALLED_OFF, CALLED_OFF]
    assert begun == [1]
    kept_reading(path, "a" * 64, known, lambda: lambda _stage, _share: None)
    assert begun == [1, 1]


def test_a_page_whose_reading_was_called_off_offers_to_begin_anew(
    clicked: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """It says so, offers to take the click back, and reads only once it is asked to."""
    begun: list[int] = []

    def read_clip(path: Path, *, known: Known, progress: Progress, **_: object) -> ReadResult:
        begun.append(1)
        progress("search", 0.1)
        if len(begun) == 1:
            call_off(followed_of(clicked, known))  # as another tab does
            progress("search", 0.2)
        return made_result(path, made_reading())

    monkeypatch.setattr(ui.reading_store, "read_clip", read_clip)
    page = open_(read, clicked)
    assert "stopped" in page.info[0].value
    assert not page.error
    assert [b for b in page.button if b.label == "Take this correction back"]
    assert begun == [1]
    assert page.run().info
    assert begun == [1]
    page = pressed(page, "Read it after all")
    assert not page.info
    assert begun == [1, 1]


def test_beneath_the_bar_a_reading_is_stopped(clicked: str) -> None:
    """The button calls it off, and the page does not begin anew by itself."""
    before = ui.reading_store._calls_off(followed_of(clicked, Known(click=CLICK)))
    page = pressed(open_(way_out, clicked), "Stop reading")
    assert "stopped" in page.info[0].value
    assert ui.reading_store._calls_off(followed_of(clicked, Known(click=CLICK))) == before + 1


def test_beneath_the_bar_a_click_is_taken_back(clicked: str, shelf: Shelf) -> None:
    """The reading with it ends, the click is gone, and without one there is none to take back."""
    before = ui.reading_store._calls_off(followed_of(clicked, Known(click=CLICK)))
    page = pressed(open_(way_out, clicked), "Take the click on the nock back")
    assert shelf.last(clicked, "click") == {"click": ""}
    assert ui.reading_store._calls_off(followed_of(clicked, Known(click=CLICK))) == before + 1
    assert [button.label for button in page.button] == ["Stop reading"]
