"""A film is read in a process of its own: the same reading, and any harm costs that film alone."""

from __future__ import annotations

import dataclasses
import os
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import suppress
from fractions import Fraction
from pathlib import Path
from typing import Protocol

import numpy as np
import pytest

import classify.pipeline
from classify.apart import GIB, Limits, ReadingProcesses
from classify.apart_child import GIVES_WAY
from classify.plain_values import to_plain
from classify.read_result import ReadResult
from classify.types import Known
from fixtures.encode import write_clip
from tests.barcode_film import barcode_film, read_whole
from tests.cropped_flight import cropped_flight
from tracker.types import InputError, Progress
from ui.words import say

CLIP = Path("fixtures/clips/fishtailing.mp4")
KNOWN = Known(distance_m=18.0, hand="right")
USUAL = Limits()


def descendants(pid: int) -> list[int]:
    """List the processes below one, parents before children."""
    found = []
    with suppress(FileNotFoundError):  # it has ended meanwhile
        for task in Path(f"/proc/{pid}/task").iterdir():
            with suppress(FileNotFoundError):
                for child in (task / "children").read_text().split():
                    found += [int(child), *descendants(int(child))]
    return found


class Opened(Protocol):
    """Starts processes of the test's own, which end with it."""

    def __call__(self, limits: Limits = USUAL, *, copies: bool = True) -> ReadingProcesses:
        """Start one at a time."""


@pytest.fixture
def opened() -> Iterator[Opened]:
    """Give what starts processes, and end them."""
    made: list[ReadingProcesses] = []

    def start(limits: Limits = USUAL, *, copies: bool = True) -> ReadingProcesses:
        made.append(ReadingProcesses(most=1, limits=limits, copies=copies))
        return made[-1]

    yield start
    for processes in made:
        processes.close()


@pytest.fixture
def processes(opened: Opened) -> ReadingProcesses:
    """Give one process with the usual limits."""
    return opened()


def same(one: object, other: object) -> None:
    """Hold two values to be the same to the last bit, arrays and all."""
    arrays: tuple[list[np.ndarray], list[np.ndarray]] = ([], [])
    trees = to_plain(one, arrays[0]), to_plain(other, arrays[1])
    assert repr(trees[0]) == repr(trees[1])
    assert len(arrays[0]) == len(arrays[1]) > 0
    for first, second in zip(*arrays, strict=True):
        assert first.dtype == second.dtype
        np.testing.assert_array_equal(first, second)


def read_here(film: Path) -> ReadResult:
    """Read a film in this process."""
    return classify.pipeline.read_clip(film, known=KNOWN)


def meddle(signal_number: int) -> Progress:
    """Give a progress that sends a signal, once, to the process in which a film is decoded."""
    sent: list[int] = []

    def progress(stage: str, share: float) -> None:
        if not sent and stage == "decode" and share > 0:
            sent.append(descendants(os.getpid())[-1])
            os.kill(sent[0], signal_number)

    return progress


def refusal(read: Callable[[], object]) -> str:
    """Give the key of the sentence with which a film is refused."""
    with pytest.raises(InputError) as caught:
        read()
    assert say(caught.value.message).endswith(".")
    return caught.value.message.key


def running(pid: int) -> bool:
    """Tell whether a process is more than a number that nobody has asked after yet."""
    try:
        return Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[0] not in "ZX"
    except OSError:
        return False


def gone(pids: list[int]) -> bool:
    """Tell whether processes have ended, within some seconds: others may be at work, too."""
    until = time.monotonic() + 10.0
    while time.monotonic() < until:
        if not any(map(running, pids)):
            return True
        time.sleep(0.01)
    return False


def test_reading_is_the_same_as_here(processes: ReadingProcesses, tmp_path: Path) -> None:
    """Every number, note and array of the reading, wherever it is made."""
    film = cropped_flight(tmp_path / "a.mp4")
    stages: list[tuple[str, float]] = []
    there = processes.read_clip(film, known=KNOWN, progress=lambda *at: stages.append(at))
    here = read_here(film)
    same(there, here)
    assert list(dict.fromkeys(stage for stage, _ in stages)) == ["decode", "search", "read"]
    assert stages[-1] == ("read", 1.0)


@pytest.mark.long
@pytest.mark.endurance
def test_reading_of_a_shipped_clip_is_the_same_as_here(processes: ReadingProcesses) -> None:
    """A whole flight with its label, fit, scale and causes."""
    there = processes.read_clip(CLIP, known=KNOWN)
    same(there, read_here(CLIP))
    assert there.reading.label == "fishtailing"


def test_process_that_reads_one_film_and_ends(opened: Opened, tmp_path: Path) -> None:
    """Where processes cannot be copied each reads one film; answers and harm are the same."""
    processes = opened(copies=False)
    film = barcode_film(tmp_path / "a.mp4", 30)
    here = read_here(film)
    for _ in range(2):
        same(processes.read_clip(film, known=KNOWN), here)
    hurt = meddle(signal.SIGSEGV)
    assert refusal(lambda: processes.read_clip(CLIP, known=KNOWN, progress=hurt)) == "apart.crashed"
    same(processes.read_clip(film, known=KNOWN), here)


def test_killed_reading_costs_one_film(processes: ReadingProcesses, tmp_path: Path) -> None:
    """Whatever ends the process in mid-film is a sentence, and the next film is read."""
    for harm in (signal.SIGKILL, signal.SIGSEGV, signal.SIGABRT):
        hurt = meddle(harm)
        read = lambda hurt=hurt: processes.read_clip(CLIP, known=KNOWN, progress=hurt)  # noqa: E731
        assert refusal(read) == "apart.crashed"
    film = barcode_film(tmp_path / "a.mp4", 5)
    assert processes.read_clip(film, known=Known()).followed.clip.frames == 5


def test_killed_process_is_replaced(processes: ReadingProcesses, tmp_path: Path) -> None:
    """Not only the copy that reads may be killed, but what it was copied from, too."""
    film = barcode_film(tmp_path / "a.mp4", 5)
    processes.read_clip(film, known=Known())
    for pid in descendants(os.getpid()):
        os.kill(pid, signal.SIGKILL)
        time.sleep(0.3)
    assert processes.read_clip(film, known=Known()).followed.clip.frames == 5


def test_hanging_reading_is_stopped(opened: Opened, tmp_path: Path) -> None:
    """A process that stands still is ended, with all that belongs to it."""
    processes = opened(Limits(silent_s=1.0))
    start = time.monotonic()
    hang = meddle(signal.SIGSTOP)
    read = lambda: processes.read_clip(CLIP, known=KNOWN, progress=hang)  # noqa: E731
    processes.read_clip(barcode_film(tmp_path / "a.mp4", 5), known=Known())
    at_work = descendants(os.getpid())
    assert refusal(read) == "apart.too_long"
    assert time.monotonic() - start < 15.0
    assert gone(at_work)


def test_time_and_processors_are_limited(opened: Opened) -> None:
    """Seconds on the clock and seconds of the processors each come to an end."""
    for limits in (Limits(wall_s=0.5), Limits(cpu_s=1)):
        processes = opened(limits)
        assert refusal(lambda p=processes: p.read_clip(CLIP, known=KNOWN)) == "apart.too_long"


def test_memory_is_limited(opened: Opened, tmp_path: Path) -> None:
    """A film whose frames need more than it may have is refused, and a smaller one is read."""
    grey = np.full((1080, 1920), 90, np.uint8)
    film = write_clip(tmp_path / "a.mp4", [grey] * 60, container_hz=Fraction(240))
    processes = opened(Limits(memory_bytes=GIB // 100))
    key = refusal(lambda: processes.read_clip(film, known=Known()))
    assert key in {"apart.memory", "apart.crashed"}
    small = barcode_film(tmp_path / "b.mp4", 5)
    assert processes.read_clip(small, known=Known()).followed.clip.frames == 5


def test_reading_can_be_called_off(processes: ReadingProcesses) -> None:
    """What progress raises comes back at once, and nothing goes on behind."""

    class CalledOffError(Exception):
        pass

    at_work: list[int] = []

    def progress(stage: str, share: float) -> None:
        if stage == "decode" and share > 0:
            at_work.extend(descendants(os.getpid()))
            raise CalledOffError

    with pytest.raises(CalledOffError):
        processes.read_clip(CLIP, known=KNOWN, progress=progress)
    assert at_work
    assert gone(at_work)


@pytest.mark.skipif(sys.platform != "linux", reason="lists processes as Linux does")
def test_reading_that_nobody_waits_for_gives_way(
    processes: ReadingProcesses, tmp_path: Path
) -> None:
    """The copy that reads such a film is nicer than the rest, and the next one is not."""
    film = cropped_flight(tmp_path / "a.mp4")

    def nicest(*, gives_way: bool) -> int:
        found = [0]

        def progress(stage: str, _share: float) -> None:
            if stage == "search":
                here = os.getpriority(os.PRIO_PROCESS, 0)
                below = descendants(os.getpid())
                found.extend(os.getpriority(os.PRIO_PROCESS, pid) - here for pid in below)

        processes.read_clip(film, known=KNOWN, progress=progress, gives_way=gives_way)
        return max(found)

    assert nicest(gives_way=True) == GIVES_WAY
    assert nicest(gives_way=False) == 0


def test_nothing_outlives_the_program_that_asks(tmp_path: Path) -> None:
    """Killed in mid-film, it leaves no process behind."""
    script = tmp_path / "ask.py"
    script.write_text(
        "import sys\n"
        "from pathlib import Path\n"
        "from classify.apart import read_clip\n"
        "from classify.types import Known\n"
        "tell = lambda stage, share: print(stage, share, flush=True)\n"
        "read_clip(Path(sys.argv[1]), known=Known(), progress=tell)\n"
    )
    with subprocess.Popen([sys.executable, script, CLIP], stdout=subprocess.PIPE) as asking:
        assert asking.stdout is not None
        for line in asking.stdout:
            if line.startswith(b"decode") and not line.endswith(b" 0.0\n"):
                break
        at_work = descendants(asking.pid)
        asking.kill()
    assert len(at_work) == 2
    assert gone(at_work)


def test_waiting_film_can_be_called_off_too(opened: Opened, tmp_path: Path) -> None:
    """One film at a time is read here; the second hears that it waits."""
    processes = opened()
    film = barcode_film(tmp_path / "a.mp4", 5)
    going, waited = threading.Event(), threading.Event()
    stages: list[str] = []

    def hold(_stage: str, _share: float) -> None:
        going.set()
        waited.wait(10.0)

    def note(stage: str, _share: float) -> None:
        stages.append(stage)
        waited.set()

    first = threading.Thread(
        target=processes.read_clip, args=(film,), kwargs={"known": Known(), "progress": hold}
    )
    first.start()
    assert going.wait(10.0)
    processes.read_clip(film, known=Known(), progress=note)
    first.join()
    assert stages[0] == "wait"


def test_refusals_are_the_same_as_here(processes: ReadingProcesses, tmp_path: Path) -> None:
    """Sentences about the file and about what was said come through with their values."""
    text = tmp_path / "t.mp4"
    text.write_bytes(b"arrow after arrow\n" * 99)
    for path, known in (
        (text, Known()),
        (tmp_path / "Fl\udcfcg.mp4", Known()),
        (CLIP, Known(distance_m=-1.0)),
    ):
        with pytest.raises(InputError) as here:
            classify.pipeline.read_clip(path, known=known)
        with pytest.raises(InputError) as there:
            processes.read_clip(path, known=known)
        assert there.value.message == here.value.message


def test_paths_count_from_the_folder_of_the_moment(
    processes: ReadingProcesses, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A process that was started elsewhere finds the film, and says its path as it was given."""
    processes.warm()
    barcode_film(tmp_path / "a.mp4", 5)
    monkeypatch.chdir(tmp_path)
    assert processes.read_clip(Path("a.mp4"), known=Known()).followed.clip.path == Path("a.mp4")


def test_process_that_cannot_start_is_a_sentence(
    opened: Opened, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What is wrong with the installation is not blamed on the film."""
    (tmp_path / "numpy.py").write_text("raise SystemExit('broken')")
    monkeypatch.setenv("PYTHONPATH", str(tmp_path))
    assert refusal(lambda: opened().read_clip(CLIP, known=KNOWN)) == "apart.not_started"


def test_nothing_in_the_folder_passes_for_a_library(
    opened: Opened, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A file beside the films that is called like a library is not run."""
    film = barcode_film(tmp_path / "a.mp4", 5)
    (tmp_path / "numpy.py").write_text("raise SystemExit('taken over')")
    monkeypatch.chdir(tmp_path)
    processes = opened()
    assert processes.read_clip(film, known=Known()).followed.clip.frames == 5


def test_frames_are_the_same_as_here(processes: ReadingProcesses, tmp_path: Path) -> None:
    """Frames of a part of a film, by number; a film that ends earlier gives fewer."""
    film = barcode_film(tmp_path / "a.mp4", 20)
    frames, _ = read_whole(film)
    found = processes.frames(film, 7, 30)
    assert list(found) == list(range(7, 20))
    for number, luma in found.items():
        np.testing.assert_array_equal(luma, frames[number].luma)


def test_each_limit_is_written_down() -> None:
    """Every limit is a field, and none is without end."""
    assert all(0 < getattr(USUAL, field.name) < 1e11 for field in dataclasses.fields(USUAL))
