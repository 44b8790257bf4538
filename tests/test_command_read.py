"""`tailsway read`: what goes where, with which exit status, and never a traceback."""

from __future__ import annotations

import csv
import io
import json
import os
import subprocess
import sys
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

import ui.command
from classify.pipeline import ReadResult, read_followed
from classify.types import Known, Reading
from tests.made_readings import FIRST, FRAMES, made_reading, made_refusal, made_result
from tracker.types import InputError, Progress
from ui.command import main
from ui.words import say

Run = Callable[..., Result]


@pytest.fixture
def run(monkeypatch: pytest.MonkeyPatch) -> Run:
    """Run the command with a pipeline that answers what it is told to."""

    def call(*arguments: str, reading: Reading | BaseException | None = None) -> Result:
        def read_clip(path: Path, *, known: Known, progress: Progress | None = None) -> ReadResult:
            assert known.arrow is None
            assert progress is not None
            progress("decode", 0.5)
            if isinstance(reading, BaseException):
                raise reading
            return made_result(path, made_reading() if reading is None else reading)

        monkeypatch.setattr(ui.command, "read_clip", read_clip)
        return CliRunner().invoke(main, ["read", *arguments])

    return call


def test_reading_leaves_status_0_and_the_verdict_on_top(run: Run) -> None:
    """The first line on standard output is the verdict; progress is elsewhere."""
    result = run("clip.mp4")
    assert result.exit_code == 0
    assert result.stdout.startswith("Fishtailing")
    assert "Decoding" not in result.stdout
    assert "Decoding" in result.stderr


def test_refusal_leaves_status_3(run: Run) -> None:
    """A refusal is an answer of its own kind."""
    result = run("clip.mp4", reading=made_refusal())
    assert result.exit_code == 3
    assert result.stdout.startswith("No reading")


@pytest.mark.parametrize(("reading", "status"), [(None, 0), (made_refusal(), 3)])
def test_json_is_all_that_stands_on_standard_output(
    run: Run, reading: Reading | None, status: int
) -> None:
    """One object, parsed whole, with null and never NaN."""
    result = run("clip.mp4", "--json", reading=reading)
    assert result.exit_code == status
    said = json.loads(result.stdout, parse_constant=pytest.fail)
    assert said["label"] == (None if status else "fishtailing")
    assert (said["refused"] is None) == (status == 0)


def test_bad_input_is_one_sentence_and_status_2(run: Run) -> None:
    """What a person can mend goes to standard error, alone."""
    result = run("clip.mp4", reading=InputError("tracker.missing_file", path="clip.mp4"))
    assert result.exit_code == 2
    assert result.stdout == ""
    assert result.stderr.strip().splitlines()[-1].startswith("There is no file clip.mp4.")


def test_a_marked_face_without_its_size_is_told_of(run: Run) -> None:
    """The mark alone would be taken and tell nothing."""
    result = run("clip.mp4", "--face-mark", "3,10,10,50,50")
    assert (result.exit_code, result.stdout) == (2, "")
    assert "--face-cm" in result.stderr


def test_flights_are_counted_from_1_in_sentences_too() -> None:
    """Whoever asked for the second flight of a film of one is told of the second."""
    followed = made_result(Path("clip.mp4"), made_reading()).followed
    with pytest.raises(InputError) as caught:
        read_followed(followed, known=Known(flight=1))
    assert say(caught.value.message).startswith("Flight 2 was asked for, and the film holds 1.")


def test_a_film_of_several_flights_says_which_one_was_read() -> None:
    """Nobody takes the first of three arrows for all of them; of one flight nothing is said."""
    followed = made_result(Path("clip.mp4"), made_reading()).followed
    track = followed.flights[0]
    notes = read_followed(replace(followed, flights=(track, track)), known=Known(flight=1)).reading
    assert say(notes.notes[-1]) == "The film holds 2 flights; this is flight 2 of them."
    alone = read_followed(followed, known=Known()).reading
    assert "label.one_of_flights" not in [note.key for note in alone.notes]


def test_a_slip_of_the_finger_is_status_2(run: Run) -> None:
    """A distance in centimetres is caught before any work."""
    result = run("clip.mp4", "--distance-m", "1800")
    assert (result.exit_code, result.stdout) == (2, "")
    assert "1800" in result.stderr


def test_our_own_mistake_is_a_sentence_too(run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    """An unforeseen failure is said without a traceback."""
    monkeypatch.delenv("TAILSWAY_TRACEBACK", raising=False)
    result = run("clip.mp4", reading=ZeroDivisionError("by nothing"))
    assert result.exit_code == 1
    assert "Traceback" not in result.stderr
    assert "by nothing" in result.stderr


def test_stopping_is_quiet(run: Run) -> None:
    """Ctrl-C ends with the usual status and one word."""
    result = run("clip.mp4", reading=KeyboardInterrupt())
    assert result.exit_code == 130
    assert result.stderr.strip().endswith("Stopped.")


def test_track_has_a_row_for_every_frame(run: Run, tmp_path: Path) -> None:
    """Frames in which the nock was not seen keep their row, with empty cells."""
    target = tmp_path / "track.csv"
    assert run("clip.mp4", "--track", str(target)).exit_code == 0
    rows = list(csv.DictReader(io.StringIO(target.read_text())))
    assert list(rows[0]) == [
        "frame",
        "time_s",
        "x_px",
        "y_px",
        "sigma_x_px",
        "sigma_y_px",
        "shake_x_px",
        "shake_y_px",
    ]
    assert [int(row["frame"]) for row in rows] == list(range(FRAMES))
    assert (rows[FIRST - 1]["x_px"], rows[40]["sigma_x_px"]) == ("", "")
    assert float(rows[FIRST]["x_px"]) > 0
    assert float(rows[24]["time_s"]) == pytest.approx(0.1)


def test_track_that_cannot_be_written_is_status_2(run: Run, tmp_path: Path) -> None:
    """A missing folder and a folder in the file's place each get one sentence."""
    for place in (tmp_path / "no" / "track.csv", tmp_path):
        result = run("clip.mp4", "--track", str(place))
        assert (result.exit_code, result.stdout) == (2, "")
        assert str(place) in result.stderr
    assert list(tmp_path.iterdir()) == []


def test_all_that_the_coach_knows_arrives(monkeypatch: pytest.MonkeyPatch) -> None:
    """Each option reaches the pipeline in SI."""
    seen: list[Known] = []

    def read_clip(path: Path, *, known: Known, progress: Progress | None = None) -> ReadResult:
        assert progress is not None
        seen.append(known)
        return made_result(path)

    monkeypatch.setattr(ui.command, "read_clip", read_clip)
    typed = (
        "--capture-hz 30000/125 --distance-m 18 --camera-distance-m 2.5 --speed-m-s 55 "
        "--face-cm 40 --face-mark 3,10,20,60,20 --field-of-view-deg 60 --nock-mm 8.5 "
        "--hand left --click 14,320,180 --flight 2"
    )
    assert CliRunner().invoke(main, ["read", "c.mp4", *typed.split()]).exit_code == 0
    known = seen[0]
    assert known.capture_hz == 240
    assert (known.distance_m, known.face_diameter_m, known.hand) == (18.0, 0.4, "left")
    assert known.face_mark is not None
    assert known.click is not None
    assert (known.face_mark.frame, known.click.frame, known.flight) == (3, 14, 1)


def test_words_of_another_language(run: Run) -> None:
    """The option changes the sentences, complaints included."""
    result = run("clip.mp4", "--distance-m", "x", "--language", "es")
    assert result.exit_code == 2
    english = run("clip.mp4", "--distance-m", "x")
    assert result.stderr != english.stderr


def _tailsway(*arguments: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-c", "from ui.command import main; main()", *arguments],
        check=False,
        capture_output=True,
        text=True,
        timeout=120,
        env={**os.environ, "PYTHONWARNINGS": "error"},
    )


@pytest.mark.parametrize("content", [b"", b"just a text\n", b"\x89PNG\r\n\x1a\n" + bytes(64)])
def test_files_that_are_no_films_get_a_sentence(tmp_path: Path, content: bytes) -> None:
    """The real command, from outside: status 2, one sentence, no traceback."""
    clip = tmp_path / "clip.mp4"
    clip.write_bytes(content)
    done = _tailsway("read", str(clip), "--json")
    assert (done.returncode, done.stdout) == (2, "")
    assert "Traceback" not in done.stderr
    assert done.stderr.strip().endswith(".")


def test_missing_file_gets_a_sentence(tmp_path: Path) -> None:
    """The real command names the path that is not there."""
    done = _tailsway("read", str(tmp_path / "nothing.mp4"))
    assert done.returncode == 2
    assert "nothing.mp4" in done.stderr
    assert "Traceback" not in done.stderr
