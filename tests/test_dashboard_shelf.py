"""Clips and notes of the dashboard: by content, in pieces, and nothing said is ever lost."""

from __future__ import annotations

import hashlib
import io
import threading
from pathlib import Path

import numpy as np
import pytest

from classify.clip_store import safe_name
from classify.flight_ends import within_ends
from tests.made_readings import FIRST, LAST, made_track
from tracker.types import InputError
from ui.corrections import click_text, face_text, told
from ui.kept_readings import Kept
from ui.known_input import parse_known
from ui.shelf import PIECE_BYTES, Shelf, file_sha256


class Pieces(io.RawIOBase):
    """A stream that remembers the largest piece asked of it."""

    def __init__(self, size: int) -> None:
        self.left, self.largest = size, 0

    def read(self, size: int = -1) -> bytes:
        """Give up to `size` bytes; refuse to give everything at once."""
        assert 0 < size <= PIECE_BYTES
        self.largest = max(self.largest, size)
        given = min(size, self.left)
        self.left -= given
        return b"\0" * given


def test_clip_is_kept_by_its_content(tmp_path: Path) -> None:
    """The same film under two names is one clip, and its bytes are the same."""
    shelf = Shelf(tmp_path)
    one = shelf.keep(io.BytesIO(b"film" * 1000), "first.MOV")
    two = shelf.keep(io.BytesIO(b"film" * 1000), "second.mov")
    assert one == two
    assert one.sha256 == hashlib.sha256(b"film" * 1000).hexdigest() == file_sha256(one.path)
    assert [clip.name for clip in shelf.clips()] == ["first.MOV"]
    assert one.path.suffix == ".mov"


def test_large_clips_are_copied_in_pieces(tmp_path: Path) -> None:
    """No more than one piece is held in memory."""
    stream = Pieces(5 * PIECE_BYTES + 17)
    kept = Shelf(tmp_path).keep(stream, "large.mp4")  # type: ignore[arg-type]
    assert kept.path.stat().st_size == 5 * PIECE_BYTES + 17
    assert stream.largest == PIECE_BYTES


@pytest.mark.parametrize(
    ("content", "most", "key"), [(b"", None, "upload_empty"), (b"12345", 4, "upload_too_large")]
)
def test_refused_uploads_leave_nothing(
    tmp_path: Path, content: bytes, most: int | None, key: str
) -> None:
    """An empty or too large film is refused, and no part of it stays."""
    shelf = Shelf(tmp_path)
    with pytest.raises(InputError, match=key):
        shelf.keep(io.BytesIO(content), "x.mp4", most_bytes=most)
    assert list((tmp_path / "clips").iterdir()) == []


@pytest.mark.parametrize("token", ["", "..", "../../etc/passwd", "0" * 64, "Z" * 64])
def test_strange_tokens_find_nothing(tmp_path: Path, token: str) -> None:
    """An address cannot reach outside the shelf."""
    assert Shelf(tmp_path).clip(token) is None


@pytest.mark.parametrize(
    ("name", "kept"),
    [("../a/b.mp4", "b.mp4"), ("C:\\films\\c.mp4", "c.mp4"), ("\x00\n", "clip"), ("..", "clip")],
)
def test_names_are_reduced_to_their_last_part(name: str, kept: str) -> None:
    """No path, no control character, never empty."""
    assert safe_name(name) == kept


def test_nothing_said_is_overwritten(tmp_path: Path) -> None:
    """The newest correction holds, the older ones are still there, and a new process sees them."""
    shelf = Shelf(tmp_path)
    sha = "a" * 64
    shelf.note(sha, "click", click_text(12, [3.0, 4.0]))
    shelf.note(sha, "click", click_text(15, [5.25, 6.0]))
    again = Shelf(tmp_path)
    assert [note.said["click"] for note in again.notes(sha)] == ["12,3.00,4.00", "15,5.25,6.00"]
    click = parse_known(told(again, sha, {})).click
    assert click is not None
    assert (click.frame, click.x_px, click.y_px) == (15, 5.25, 6.0)


def test_a_line_cut_off_by_a_power_cut_is_passed_over(tmp_path: Path) -> None:
    """What was written whole is still read."""
    shelf = Shelf(tmp_path)
    sha = "b" * 64
    shelf.note(sha, "opinion", {"label": "clean", "why": ""})
    with (tmp_path / "clip-notes" / f"{sha}.jsonl").open("a") as file:
        file.write('{"when": "2026')
    assert len(shelf.notes(sha)) == 1


def test_taking_a_correction_back_leaves_what_was_given(tmp_path: Path) -> None:
    """A blank note undoes its kind and nothing else."""
    shelf = Shelf(tmp_path)
    sha = "c" * 64
    shelf.note(sha, "known", {"distance_m": "18", "hand": "left"})
    shelf.note(sha, "face", face_text(0, [1.0, 2.0, 31.0, 2.0]))
    assert parse_known(told(shelf, sha, {"capture_hz": "240"})).face_mark is not None
    shelf.note(sha, "face", {"face_mark": ""})
    known = parse_known(told(shelf, sha, {"capture_hz": "240"}))
    assert known.face_mark is None
    assert (known.capture_hz, known.distance_m, known.hand) == (240, 18.0, "left")


def test_ends_set_by_a_person_bound_the_flight() -> None:
    """Rows outside become NaN, none is dropped, release and impact move with half a frame's error.

    A uniform error over one frame has a standard error of a frame over the root of 12 (arithmetic).
    """
    track = made_track()
    cut = within_ends(track, first=FIRST + 8, last=LAST - 10)
    assert len(cut.time_s) == len(track.time_s)
    assert (cut.first_frame, cut.last_frame) == (FIRST + 8, LAST - 10)
    assert np.isnan(cut.xy_px[: FIRST + 8]).all()
    np.testing.assert_array_equal(cut.xy_px[FIRST + 8 : 40], track.xy_px[FIRST + 8 : 40])
    np.testing.assert_allclose(cut.release_s, (FIRST + 8) / 240)
    np.testing.assert_allclose(cut.impact_sigma_s, 1 / 240 / np.sqrt(12))


def test_ends_with_nothing_between_are_refused() -> None:
    """A flight of no frames is a slip."""
    with pytest.raises(InputError, match="nothing_between"):
        within_ends(made_track(), first=LAST + 3, last=LAST + 5)
    assert within_ends(made_track(), first=None, last=None).first_frame == FIRST


def test_kept_things_are_made_once_and_bounded() -> None:
    """Two tabs that ask at once get the same object; the oldest goes when there are too many."""
    kept: Kept[object] = Kept(2)
    made: list[object] = []
    gate = threading.Barrier(2)

    def make() -> object:
        made.append(object())
        return made[-1]

    got: list[object] = []

    def ask() -> None:
        gate.wait()
        got.append(kept.get("key", make))

    threads = [threading.Thread(target=ask) for _ in range(2)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len(made) == 1
    assert got[0] is got[1] is made[0]
    kept.get("b", make)
    kept.get("c", make)
    assert kept.get("key", make) is not made[0]


def test_a_failure_is_not_kept() -> None:
    """What could not be made is tried again."""
    kept: Kept[int] = Kept(2)
    with pytest.raises(ZeroDivisionError):
        kept.get("key", lambda: 1 // 0)
    assert kept.get("key", lambda: 7) == 7
