"""Many clips at once: each file given is one row, read once, with what is known kept beside it."""

from __future__ import annotations

import time
from pathlib import Path

import pytest
from streamlit.testing.v1 import AppTest

import ui.reading_store
from classify.pipeline import ReadResult
from classify.types import Known
from tests.made_readings import made_reading, made_result, write_made_film
from tracker.types import InputError, Progress
from ui.page_round import the_queue
from ui.shelf import Shelf


@pytest.fixture
def films_read(shelf: Shelf, monkeypatch: pytest.MonkeyPatch) -> list[Known]:
    """Read every film to a made reading; note what was known each time."""
    assert shelf.clips() == []
    read: list[Known] = []

    def read_clip(
        path: Path, *, known: Known, progress: Progress | None = None, gives_way: bool = False
    ) -> ReadResult:
        assert progress is not None
        assert not gives_way
        read.append(known)
        if path.stat().st_size < 1000:
            raise InputError("film.not_a_film", path=path.name)
        return made_result(path, made_reading())

    monkeypatch.setattr(ui.reading_store, "read_clip", read_clip)
    return read


def many() -> None:
    """Draw the page for many clips."""
    from ui.page_round import show_round

    show_round()


def opened() -> AppTest:
    """Open the page in a new tab."""
    return AppTest.from_function(many, default_timeout=30).run()


def give(tab: AppTest, *films: tuple[str, bytes]) -> AppTest:
    """Give films to the page and wait until all are read."""
    tab.file_uploader[0].set_value([(name, content, "video/mp4") for name, content in films]).run()
    assert not tab.exception
    return drawn_at_rest(tab)


def drawn_at_rest(tab: AppTest) -> AppTest:
    """Wait until the queue rests, and draw the page once more."""
    until = time.monotonic() + 20.0
    while the_queue().busy():
        assert time.monotonic() < until, "the queue never came to rest"
        time.sleep(0.02)
    tab.run()
    assert not tab.exception
    return tab


def table_of(tab: AppTest) -> str:
    """Give the table of the page."""
    return next(str(part.proto.body) for part in tab.get("html") if "ts-table" in part.proto.body)


@pytest.fixture
def film(tmp_path: Path) -> bytes:
    """Give a film's content."""
    return write_made_film(tmp_path / "made.mp4").read_bytes()


def test_an_empty_file_is_a_row_and_nothing_is_queued_twice(
    films_read: list[Known], film: bytes
) -> None:
    """Each film is read once however often the page is drawn; the empty one says what to do."""
    tab = give(opened(), ("one.mp4", film), ("two.mp4", film + b"\0"), ("hollow.mp4", b""))
    for _ in range(3):
        drawn_at_rest(tab)
    assert len(films_read) == 2
    table = table_of(tab)
    assert table.count("<tr>") == 4
    assert "The file hollow.mp4 is empty. Copy it from the phone again." in table
    assert not tab.error
    assert [clip.state for clip in the_queue().clips()] == ["done", "done", "failed"]
    assert [clip.name for clip in the_queue().clips()] == ["one.mp4", "two.mp4", "hollow.mp4"]


def test_a_file_that_is_no_film_is_a_row_too(
    films_read: list[Known], film: bytes, shelf: Shelf
) -> None:
    """It does not vanish, is not kept, and does not stop the film beside it."""
    tab = give(opened(), ("scores.pdf", b"%PDF"), ("one.MP4", film))
    assert len(films_read) == 1
    assert "films end in mp4, mov" in table_of(tab)
    assert [clip.state for clip in the_queue().clips()] == ["failed", "done"]
    assert [clip.name for clip in shelf.clips()] == ["one.MP4"]


@pytest.mark.usefixtures("films_read")
def test_a_file_that_was_not_kept_has_no_page_to_link_to(film: bytes) -> None:
    """Its name stands there as it is; given again, it is still one row, and it can be cleared."""
    tab = opened()
    for _ in range(2):
        give(tab, ("<i>.mp4", b""), ("one.mp4", film))
    table = table_of(tab)
    assert table.count("<a ") == 1
    assert table.count("&lt;i&gt;.mp4</th>") == 1
    tab.button(key="round-clear").click().run()
    assert the_queue().clips() == []


@pytest.mark.usefixtures("films_read")
def test_another_tab_sees_what_was_given_in_the_first(film: bytes) -> None:
    """The queue is one for all tabs."""
    other = opened()
    give(opened(), ("one.mp4", film))
    assert "one.mp4" in table_of(other.run())


def field(tab: AppTest, label: str) -> str:
    """Give what stands in a field."""
    return str(next(entry for entry in tab.text_input if entry.label == label).value)


def say(tab: AppTest, **texts: str) -> AppTest:
    """Fill in the form of what is known, send it, and wait."""
    for name, text in texts.items():
        tab.text_input(key=f"known-round-{name}").set_value(text)
    tab.button(key="known-round-send").click().run()
    assert not tab.exception
    return drawn_at_rest(tab)


def test_what_is_known_is_kept_with_each_clip_and_outlasts_a_reload(
    films_read: list[Known], shelf: Shelf, film: bytes
) -> None:
    """The note of the clip's own page, for those that were there and those that come later."""
    tab = give(opened(), ("one.mp4", film))
    say(tab, capture_hz="240", distance_m="18.5")
    give(tab, ("two.mp4", film + b"\0"))
    for clip in shelf.clips():
        said = dict(shelf.last(clip.sha256, "known") or {})
        assert (said["capture_hz"], said["distance_m"]) == ("240", "18.5")
    assert len(shelf.clips()) == 2
    assert [(known.capture_hz, known.distance_m) for known in films_read[1:]] == [(240, 18.5)] * 2
    reloaded = opened()
    assert field(reloaded, "Frames a second, as filmed") == "240"
    assert field(reloaded, "Distance to the target, m") == "18.5"


@pytest.mark.usefixtures("films_read")
def test_a_blank_field_takes_back_only_what_was_said_here(shelf: Shelf, film: bytes) -> None:
    """What was said on the clip's own page stays unless the round says something else."""
    tab = give(opened(), ("one.mp4", film))
    clip = shelf.clips()[0].sha256
    shelf.note(clip, "known", {"face_cm": "40", "flight": "2", "distance_m": "70"})
    say(tab, distance_m="18", nock_mm="6.5")
    say(tab, nock_mm="")
    said = dict(shelf.last(clip, "known") or {})
    assert (said["face_cm"], said["flight"], said["distance_m"]) == ("40", "2", "18")
    assert said["nock_mm"] == ""


@pytest.mark.usefixtures("films_read")
def test_a_film_that_cannot_be_read_is_called_as_it_was_given() -> None:
    """Its sentence speaks of the coach's file, not of the hash it is kept under."""
    tab = give(opened(), ("broken.mp4", b"no film"))
    assert "broken.mp4 is not a film" in table_of(tab)


@pytest.mark.usefixtures("films_read")
def test_what_was_corrected_on_a_clip_s_own_page_is_told_in_the_table(
    shelf: Shelf, film: bytes
) -> None:
    """Table and page never show two readings of one clip; a film that holds several says so."""
    give(opened(), ("one.mp4", film))
    clip = shelf.clips()[0].sha256
    before = the_queue().clips()[0].reading
    shelf.note(clip, "ends", {"first_frame": "20"})
    drawn_at_rest(opened())
    (row,) = the_queue().clips()
    assert row.reading is not None
    assert row.reading.flight_facts["first_frame"] == 20
    assert row.reading is not before
    drawn_at_rest(opened())
    assert the_queue().clips()[0].reading is row.reading
