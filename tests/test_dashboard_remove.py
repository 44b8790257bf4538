"""A clip uploaded by mistake leaves the list and can come back; demos and the logbook stay."""

from __future__ import annotations

import io
from pathlib import Path

import pytest
import streamlit as st
from streamlit.testing.v1 import AppTest

import ui.reading_store
from classify.clip_store import find_clip, keep_clip
from classify.logbook_file import LogbookFile
from classify.read_result import ReadResult
from tests.denied import largest_file
from tests.made_readings import made_reading, made_result, write_made_film
from tests.pressed_pages import pressed
from tracker.types import InputError
from ui.clip_chooser import choices, demo_tokens
from ui.dash_words import Words
from ui.shelf import Shelf


@pytest.fixture
def shelf(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Shelf:
    """Give an empty shelf that the pages use, where every clip is read at once."""
    monkeypatch.setenv("TAILSWAY_FOLDER", str(tmp_path))
    monkeypatch.setenv("TAILSWAY_LANGUAGE", "en")
    st.cache_resource.clear()

    def read_clip(path: Path, **_: object) -> ReadResult:
        return made_result(path, made_reading())

    monkeypatch.setattr(ui.reading_store, "read_clip", read_clip)
    return Shelf(tmp_path)


def read() -> None:
    """Draw the page that reads a clip."""
    from ui.page_read import show_read

    show_read()


def opened(token: str) -> AppTest:
    """Open the page with a clip."""
    test = AppTest.from_function(read, default_timeout=30)
    test.query_params["clip"] = token
    done = test.run()
    assert not done.exception
    return done


def test_a_clip_leaves_the_list_and_comes_back(
    shelf: Shelf, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The page says that it is gone, the list is without it, and one press undoes it."""
    monkeypatch.setattr("ui.page_read.first_demo_ahead", lambda _word: None)
    with write_made_film(tmp_path / "made.mp4").open("rb") as stream:
        token = shelf.keep(stream, "made.mp4").sha256
    page = pressed(opened(token), "Yes, remove")
    assert page.success[0].value == "Removed: made.mp4."
    assert "clip" not in page.query_params
    assert list(choices(Words("en"))) == demo_tokens()
    page = pressed(page, "Bring the clip back")
    assert page.query_params["clip"] in (token, [token])
    assert not page.success
    assert next(iter(choices(Words("en")))) == token


def test_a_demo_cannot_be_removed(shelf: Shelf, monkeypatch: pytest.MonkeyPatch) -> None:
    """Nothing offers it."""
    monkeypatch.setattr("ui.page_read.show_result", lambda *_: None)
    monkeypatch.setattr("ui.page_read._other_demos_ahead", lambda *_: None)
    page = opened(demo_tokens()[0])
    assert "Yes, remove" not in [button.label for button in page.button]
    assert shelf.clips() == []


def test_what_the_logbook_keeps_of_a_removed_clip_stays(shelf: Shelf, tmp_path: Path) -> None:
    """Its film is there, its link opens it, and its page offers to bring it back."""
    film = write_made_film(tmp_path / "made.mp4")
    book = LogbookFile(tmp_path)
    token = keep_clip(book, film).sha256
    assert [clip.sha256 for clip in shelf.clips()] == [token]
    shelf.remove(token)
    assert shelf.clips() == []
    there = find_clip(book, token)
    assert there is not None
    assert there.path.read_bytes() == film.read_bytes()
    page = pressed(opened(token), "Bring the clip back")
    assert not page.warning or "goes from the list" in page.warning[0].value
    assert [clip.sha256 for clip in shelf.clips()] == [token]


def test_a_removed_clip_that_is_given_again_is_back(shelf: Shelf) -> None:
    """As the same clip, with the name that it had."""
    one = shelf.keep(io.BytesIO(b"film"), "one.mp4")
    shelf.remove(one.sha256)
    assert shelf.keep(io.BytesIO(b"film"), "two.mp4") == one
    assert shelf.clips() == [one]


def test_a_removal_without_room_leaves_the_clip(shelf: Shelf) -> None:
    """A sentence, and the card is whole."""
    one = shelf.keep(io.BytesIO(b"film"), "one.mp4")
    with largest_file(10), pytest.raises(InputError, match="cannot_keep"):
        shelf.remove(one.sha256)
    assert shelf.clips() == [one]
