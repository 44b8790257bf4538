"""What is done ahead of a click: once at a time, quietly, and let go of when the program ends."""

from __future__ import annotations

import subprocess
import sys
import threading
import time
from pathlib import Path

import pytest

from tracker.types import InputError, Progress
from ui import page_read
from ui.clip_chooser import ChosenClip, clip_by_token, demo_tokens
from ui.dash_words import Words
from ui.demo_clips import demo_clips
from ui.reading_store import asked_for, read_ahead


@pytest.fixture(autouse=True)
def fresh_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Let the coach's folder be empty."""
    monkeypatch.setenv("TAILSWAY_FOLDER", str(tmp_path))


def test_work_of_one_name_is_begun_once() -> None:
    """A second call while the first is at work begins nothing."""
    begun: list[int] = []
    finish = threading.Event()

    def work(_go_on: object) -> None:
        begun.append(1)
        finish.wait(10)

    read_ahead(work, "once")
    read_ahead(work, "once")
    finish.set()
    for thread in threading.enumerate():
        if thread.name == "once":
            thread.join(10)
    assert begun == [1]


def test_program_that_ends_calls_the_work_off() -> None:
    """Work that would go on for a minute ends at its next report, without a word."""
    program = (
        "import time, ui.reading_store as s\n"
        "def work(go_on):\n"
        "    for _ in range(600): time.sleep(0.1); go_on('decode', 0.0)\n"
        "    print('finished')\n"
        "s.read_ahead(work, 'ahead')\n"
    )
    start = time.monotonic()
    done = subprocess.run(
        [sys.executable, "-c", program], capture_output=True, text=True, check=True, timeout=50
    )
    assert time.monotonic() - start < 45
    assert done.stdout == ""
    assert "Error" not in done.stderr


def test_step_that_runs_when_the_program_ends_is_finished() -> None:
    """A library at work is not cut off: it comes to its end before the process does."""
    program = (
        "import time, ui.reading_store as s\n"
        "def work(go_on):\n"
        "    time.sleep(1.0); print('step done', flush=True); go_on('views', 0.0)\n"
        "    print('next step')\n"
        "s.read_ahead(work, 'ahead')\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", program], capture_output=True, text=True, check=True, timeout=50
    )
    assert done.stdout.split("\n")[0] == "step done"
    assert "next step" not in done.stdout


def test_other_demos_are_read_once_each_in_the_choosers_order(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Beside one demo all others are read in the chooser's order, past one that cannot be."""
    read: list[str] = []

    def reading(chosen: ChosenClip, _go_on: Progress, *, gives_way: bool) -> None:
        assert gives_way
        read.append(chosen.token)
        raise InputError("film.missing_file", path="gone.mp4")

    monkeypatch.setattr(page_read, "read_quietly", reading)
    monkeypatch.setattr(page_read, "read_ahead", lambda work, _name: work(lambda _s, _x: None))
    monkeypatch.setattr("os.cpu_count", lambda: 2)
    tokens = demo_tokens()
    chosen = clip_by_token(tokens[2], Words("en"))
    assert chosen is not None
    page_read._other_demos_ahead(chosen, Words("en"))
    assert read == [*tokens[:2], *tokens[3:]]


def test_the_first_demos_show_each_kind_once() -> None:
    """Whoever goes down the list sees something new each time, and a refusal at the end."""
    clips = demo_clips()
    kinds = [str(clip.truth["presence"]) for clip in clips]
    new = [kind not in kinds[:k] for k, kind in enumerate(kinds)]
    assert new == sorted(new, reverse=True)
    assert len(set(kinds)) == 5
    assert [clip.label is None for clip in clips] == [False] * 7 + [True]


def test_reading_ahead_gives_way_to_a_page(monkeypatch: pytest.MonkeyPatch) -> None:
    """While a page waits for another film it stops, and begins that clip anew afterwards."""
    read: list[str] = []

    def reading(chosen: ChosenClip, go_on: Progress, *, gives_way: bool) -> None:
        assert gives_way
        read.append(chosen.token)
        with asked_for(chosen.sha256):
            go_on("search", 0.1)  # a page that waits for this very film has the same wish
        if len(read) == 2:
            with asked_for("another film"):
                go_on("search", 0.2)
            pytest.fail("it went on")

    monkeypatch.setattr(page_read, "read_quietly", reading)
    monkeypatch.setattr(page_read, "read_ahead", lambda work, _name: work(lambda _s, _x: None))
    monkeypatch.setattr(page_read, "_PAUSE_S", 0.0)
    monkeypatch.setattr("os.cpu_count", lambda: 2)
    tokens = demo_tokens()
    chosen = clip_by_token(tokens[0], Words("en"))
    assert chosen is not None
    page_read._other_demos_ahead(chosen, Words("en"))
    assert read == [tokens[1], tokens[2], *tokens[2:]]


def test_demos_followed_on_another_day_are_passed_over(monkeypatch: pytest.MonkeyPatch) -> None:
    """What the disk keeps of a demo is quick to read when it is asked for, and is left alone."""
    read: list[str] = []
    tokens = demo_tokens()
    kept = clip_by_token(tokens[3], Words("en"))
    chosen = clip_by_token(tokens[2], Words("en"))
    assert kept is not None
    assert chosen is not None
    monkeypatch.setattr(page_read, "followed_before", lambda sha256, _known: sha256 == kept.sha256)
    monkeypatch.setattr(
        page_read, "read_quietly", lambda clip, _go_on, **_: read.append(clip.token)
    )
    monkeypatch.setattr(page_read, "read_ahead", lambda work, _name: work(lambda _s, _x: None))
    monkeypatch.setattr("os.cpu_count", lambda: 2)
    page_read._other_demos_ahead(chosen, Words("en"))
    assert read == [*tokens[:2], *tokens[4:]]


def test_newcomer_finds_every_demo_read(monkeypatch: pytest.MonkeyPatch) -> None:
    """While the greeting is read the first demo is made ready, and after it all others."""
    done: list[str] = []
    monkeypatch.setattr(
        page_read, "_show_quietly", lambda clip, _word, _go_on: done.append(clip.token)
    )
    monkeypatch.setattr(
        page_read, "read_quietly", lambda clip, _go_on, **_: done.append(clip.token)
    )
    monkeypatch.setattr(page_read, "read_ahead", lambda work, _name: work(lambda _s, _x: None))
    monkeypatch.setattr("os.cpu_count", lambda: 2)
    page_read.first_demo_ahead(Words("en"))
    assert done[0] == page_read._FIRST_DEMO
    assert sorted(done) == sorted(demo_tokens())
