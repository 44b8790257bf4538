"""Exact: notes on clips, answers and clips of no logbook entry go through a zip file too."""

from __future__ import annotations

import io
import json
import zipfile

import pytest

from classify.exchange import export_zip, import_zip
from classify.logbook_file import LogbookFile
from classify.logbook_restore import restore
from tests.made_logbook import made_logbook
from tracker.types import InputError
from ui.lessons import LessonBook
from ui.shelf import Shelf


def noted(folder):
    """Make a logbook with a clip of its own, and one that only the shelf knows; notes on both."""
    book, *_ = made_logbook(folder)
    shelf = Shelf(folder)
    (own,) = shelf.clips()
    other = shelf.keep(io.BytesIO(b"another film" * 90), "Flug ä.mov")
    shelf.note(own.sha256, "click", {"click": "12,3.0,4.0"})
    shelf.note(own.sha256, "opinion", {"label": "clean", "why": "looks so"})
    shelf.note(other.sha256, "known", {"distance_m": "18"})
    LessonBook(folder).add(trainee="Robin", question="drawn-1", shown="clean", said="minnowing")
    return book, own, other


def test_everything_said_about_clips_comes_along(tmp_path):
    """Clips, names, notes in their order, answers; a second time nothing is doubled."""
    book, own, other = noted(tmp_path / "a")
    done = export_zip(book, tmp_path / "all.zip")
    assert done.clips == 2
    new = LogbookFile(tmp_path / "b")
    for clips in (2, 0):
        assert import_zip(new, tmp_path / "all.zip").clips == clips
        shelf = Shelf(tmp_path / "b")
        assert {clip.name for clip in shelf.clips()} >= {"Flug ä.mov"}
        kept = shelf.clip(other.sha256)
        assert kept.path.read_bytes() == other.path.read_bytes()
        assert [note.kind for note in shelf.notes(own.sha256)] == ["click", "opinion"]
        assert shelf.notes(own.sha256) == Shelf(tmp_path / "a").notes(own.sha256)
        (answer,) = LessonBook(tmp_path / "b").answers("Robin")
        assert answer.said == "minnowing"
    restore(tmp_path / "c", tmp_path / "all.zip")
    assert Shelf(tmp_path / "c").notes(other.sha256) == Shelf(tmp_path / "a").notes(other.sha256)


def test_notes_of_two_folders_come_together_in_order(tmp_path):
    """What was said last holds, wherever it was said."""
    book, own, _ = noted(tmp_path / "a")
    export_zip(book, tmp_path / "early.zip")
    Shelf(tmp_path / "a").note(own.sha256, "opinion", {"label": "fishtailing", "why": "later"})
    import_zip(book, tmp_path / "early.zip")
    assert Shelf(tmp_path / "a").last(own.sha256, "opinion")["label"] == "fishtailing"
    assert len(Shelf(tmp_path / "a").notes(own.sha256)) == 3


@pytest.mark.parametrize(
    ("name", "content", "key"),
    [
        ("clip-notes/x.jsonl", b"{}", "zip_entry"),
        ("clip-notes/../../x.jsonl", b"{}", "zip_entry"),
        ("lessons/other.jsonl", b"{}", "zip_entry"),
        (f"clip-cards/{'0' * 64}.json", b"{}", "zip_entry"),
        (f"clip-notes/{'0' * 64}.jsonl", b"no line of ours", "does_not_fit"),
        (f"clip-notes/{'0' * 64}.jsonl", b"[1]", "does_not_fit"),
        (f"clip-notes/{'0' * 64}.jsonl", b"\xff\xfe", "no_zip"),
    ],
)
def test_strange_notes_are_refused(tmp_path, name, content, key):
    """Of another name, or no notes: nothing at all is taken."""
    book, *_ = made_logbook(tmp_path / "a")
    export_zip(book, tmp_path / "all.zip")
    with zipfile.ZipFile(tmp_path / "all.zip", "a") as packed:
        packed.writestr(name, content)
    new = LogbookFile(tmp_path / "b")
    with pytest.raises(InputError, match=key):
        import_zip(new, tmp_path / "all.zip")
    assert sorted(path.name for path in (tmp_path / "b").rglob("*.mp4")) == []
    assert not (tmp_path / "b" / "clip-notes").exists()


def test_a_card_that_lies_about_its_clip_is_refused(tmp_path):
    """The hash tells."""
    book, _, other = noted(tmp_path / "a")
    export_zip(book, tmp_path / "all.zip")
    with (
        zipfile.ZipFile(tmp_path / "all.zip") as old,
        zipfile.ZipFile(tmp_path / "bad.zip", "w") as bad,
    ):
        for info in old.infolist():
            swapped = info.filename == f"clips/{other.sha256}"
            bad.writestr(info.filename, b"swapped" if swapped else old.read(info))
    with pytest.raises(InputError, match="clip_hash"):
        import_zip(LogbookFile(tmp_path / "b"), tmp_path / "bad.zip")
    card = json.loads((tmp_path / "a" / "clips" / f"{other.sha256}.json").read_text("utf-8"))
    assert card["name"] == "Flug ä.mov"
