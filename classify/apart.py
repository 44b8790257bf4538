"""Films are decoded and read in processes of their own, so that a film can harm nothing else.

The same questions as to `classify.pipeline` and `tracker.decode` go in, the same answers come out;
a decoder that crashes, hangs or wants too much memory is one more sentence. What comes back is
plain numbers and texts, put together by the types that are expected (`classify.plain_values`);
nothing is unpickled.
"""

from __future__ import annotations

import atexit
import os
import signal
import threading
import time
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from classify.apart_process import COPIES, ReadingProcess
from classify.apart_request import Request
from classify.plain_values import UnexpectedError, from_plain
from classify.read_result import ReadResult
from classify.types import Known
from classify.wire import Said
from tracker.file_name import name_of
from tracker.types import ByteArray, InputError, Message, Progress, Value, message

GIB = 1 << 30
TICK_S = 0.25
"""How often whoever waits is told that the work goes on, and may call it off."""


START_WITHIN_S = 300.0
"""A computer that is busy or newly started needs long to load libraries."""


@dataclass(frozen=True, kw_only=True)
class Limits:
    """What one film may cost.

    Attributes
    ----------
    wall_s
        From the start of the reading to its end.
    silent_s
        Without any sign of progress.
    cpu_s
        Of all processors together; not held on Windows.
    memory_bytes
        Address space beyond what the program itself takes; held on Linux alone.
    """

    wall_s: float = 900.0
    silent_s: float = 240.0
    cpu_s: int = 1800
    memory_bytes: int = 4 * GIB


@dataclass(frozen=True, kw_only=True, eq=False)
class _Frame:
    number: int
    luma: ByteArray


@dataclass(frozen=True, kw_only=True)
class _Stage:
    stage: str
    share: float


@dataclass(frozen=True, kw_only=True)
class _Mistake:
    key: str
    values: Mapping[str, Value]


@dataclass(frozen=True, kw_only=True)
class _Broken:
    kind: str
    text: str


@dataclass(frozen=True, kw_only=True)
class _Ended:
    signal: int


_TOO_MUCH_CPU = int(getattr(signal, "SIGXCPU", -1))


class ReadingProcesses:
    """A few processes that stand ready to read films.

    Parameters
    ----------
    most
        How many films are read at a time; further ones wait.
    limits
        For each film.
    copies
        Whether a process reads each film in a copy of itself, or one film alone and is replaced.

    Notes
    -----
    May be used by many threads at once. No process is ever copied from the program that asks, which
    may have threads of its own.
    """

    def __init__(self, *, most: int, limits: Limits, copies: bool = COPIES) -> None:
        self._places = threading.Semaphore(most)
        self._limits = limits
        self._copies = copies
        self._ready: list[ReadingProcess] = []
        self._at_work = 0
        self._lock = threading.Lock()
        self._closed = False

    def warm(self) -> None:
        """Let one process get ready, if none is, while there is something else to do."""
        with self._lock:
            if not self._ready and not self._closed:
                self._ready.append(ReadingProcess(copies=self._copies))

    def close(self) -> None:
        """End all that stand ready; what is at work ends with its film."""
        with self._lock:
            self._closed = True
            ready, self._ready = self._ready, []
        for process in ready:
            process.end()

    def read_clip(
        self,
        path: Path,
        *,
        known: Known,
        progress: Progress | None = None,
        gives_way: bool = False,
    ) -> ReadResult:
        """Read a film as `classify.pipeline.read_clip` does.

        Parameters
        ----------
        path
            The film file.
        known
            What the coach knows.
        progress
            Called with each stage's name and the share of it that is done, and again and again
            meanwhile; what it raises ends the reading at once.
        gives_way
            Whether nobody waits for it yet, so that other work on this computer goes first.

        Returns
        -------
        ReadResult
            The same as if it had been read here.

        Raises
        ------
        InputError
            As the pipeline, and if reading crashed, took too long, or wanted too much memory.
        """
        with _sense(path):
            request = self._request(path, known=known, gives_way=gives_way)
            *_, said = self._ask(request, progress)
            return from_plain(ReadResult, said.tree, said.arrays)

    def frames(self, path: Path, first: int, last: int) -> dict[int, ByteArray]:
        """Decode some frames of a film.

        Parameters
        ----------
        path
            The film file.
        first, last
            Frame numbers, both included.

        Returns
        -------
        dict
            (height, width) brightness by frame number, for those that the film has.

        Raises
        ------
        InputError
            If the film cannot be decoded that far, or doing so crashed, took too long, or wanted
            too much memory.
        """
        found: dict[int, ByteArray] = {}
        with _sense(path):
            for said in self._ask(self._request(path, first=first, last=last), None):
                if said.word == "result":
                    break
                frame = from_plain(_Frame, said.tree, said.arrays)
                if frame.luma.ndim != 2 or not first <= frame.number <= last:
                    raise UnexpectedError("no frame that was asked for")
                found[frame.number] = frame.luma
        return found

    def _request(
        self,
        path: Path,
        *,
        known: Known | None = None,
        first: int = 0,
        last: int = 0,
        gives_way: bool = False,
    ) -> Request:
        return Request(
            path=path,
            folder=Path.cwd(),
            known=known,
            first=first,
            last=last,
            gives_way=gives_way,
            cpu_s=self._limits.cpu_s,
            memory_bytes=self._limits.memory_bytes,
        )

    def _ask(self, request: Request, progress: Progress | None) -> Iterator[Said]:
        """Give every message that answers, up to and with the result."""
        tell = progress or (lambda _stage, _share: None)
        while not self._places.acquire(timeout=TICK_S):
            tell("wait", 0.0)
        try:
            process = self._take()
            with self._lock:
                self._at_work += 1
            try:
                process.ask(request)
                yield from self._hear(process, request.path, tell)
            finally:
                self._give_back(process)
        finally:
            self._places.release()

    def _take(self) -> ReadingProcess:
        with self._lock:
            while self._ready:
                process = self._ready.pop()
                if process.is_alive():
                    return process
                process.end()
        return ReadingProcess(copies=self._copies)

    def _give_back(self, process: ReadingProcess) -> None:
        """Keep a process that waits for the next film; replace one that did not come to rest."""
        with self._lock:
            self._at_work -= 1
            alone = not self._at_work
            if process.rests and not self._closed:
                self._ready.append(process)
                return
        process.end()
        # One that loads its libraries would slow down those that are at work.
        if alone:
            self.warm()

    def _hear(self, process: ReadingProcess, path: Path, tell: Progress) -> Iterator[Said]:
        start = heard = time.monotonic()
        at = _Stage(stage="decode", share=0.0)
        while True:
            ready, said, now = process.ready, process.hear(TICK_S), time.monotonic()
            if process.ready and not ready:
                # Until here libraries were loaded, which is not the film's doing.
                start = heard = now
            allowed_s = self._limits.wall_s if process.ready else START_WITHIN_S
            silent_s = self._limits.silent_s if process.ready else START_WITHIN_S
            if now - start > allowed_s or now - heard > silent_s:
                raise InputError("apart.too_long", path=name_of(path), seconds=round(now - start))
            if said is None:
                tell(at.stage, at.share)
                continue
            heard = now
            if said.word == "ready":
                continue
            if said.word == "progress":
                at = from_plain(_Stage, said.tree, said.arrays)
                tell(at.stage, at.share)
            elif said.word == "frame":
                yield said
            elif not process.ready:
                raise InputError("apart.not_started")
            else:
                process.rest()
                if said.word == "result":
                    yield said
                    return
                problem = self._problem(said, path, now - start)
                raise InputError(problem.key, **problem.values)

    def _problem(self, said: Said, path: Path, seconds: float) -> Message:
        """Turn the last message of a film that was not read into a sentence."""
        name = name_of(path)
        match said.word:
            case "mistake":
                mistake = from_plain(_Mistake, said.tree, said.arrays)
                return Message(mistake.key, mistake.values)
            case "memory":
                gib = self._limits.memory_bytes / GIB
                return message("apart.memory", path=name, gib=gib)
            case "broken":
                broken = from_plain(_Broken, said.tree, said.arrays)
                return message("apart.broken", path=name, kind=broken.kind, text=broken.text)
            case "ended":
                ended = from_plain(_Ended, said.tree, said.arrays)
                if ended.signal == _TOO_MUCH_CPU:
                    return message("apart.too_long", path=name, seconds=round(seconds))
                return message("apart.crashed", path=name)
        raise UnexpectedError(f"no message of ours: {said.word!r}")


@contextmanager
def _sense(path: Path) -> Iterator[None]:
    """Turn an answer that makes no sense into a sentence."""
    try:
        yield
    except UnexpectedError as error:
        raise InputError("apart.nonsense", path=name_of(path)) from error


@cache
def _processes(_asking_pid: int) -> ReadingProcesses:
    """Give the processes of this program: starting one takes a second, so they are kept.

    A copy of the program starts its own, since two cannot listen to one.
    """
    processes = ReadingProcesses(most=os.cpu_count() or 1, limits=Limits())
    atexit.register(processes.close)
    return processes


def warm_up() -> None:
    """Start a reading process that will soon be needed, and do not wait for it."""
    _processes(os.getpid()).warm()


def read_clip(
    path: Path, *, known: Known, progress: Progress | None = None, gives_way: bool = False
) -> ReadResult:
    """Read one flight of a film in a process of its own.

    Parameters
    ----------
    path
        The film file.
    known
        What the coach knows.
    progress
        Called with each stage's name and the share of it that is done, and a few times a second
        meanwhile; what it raises ends the reading at once.
    gives_way
        Whether nobody waits for it yet, so that other work on this computer goes first.

    Returns
    -------
    ReadResult
        As from `classify.pipeline.read_clip`.

    Raises
    ------
    InputError
        As there; also if reading the film crashed, took too long or wanted too much memory, or no
        process could be started.
    """
    return _processes(os.getpid()).read_clip(
        path, known=known, progress=progress, gives_way=gives_way
    )


def frames_of(path: Path, first: int, last: int) -> dict[int, ByteArray]:
    """Decode some frames of a film in a process of its own.

    Parameters
    ----------
    path
        The film file.
    first, last
        Frame numbers, both included.

    Returns
    -------
    dict
        (height, width) brightness by frame number, read-only, for those that the film has.

    Raises
    ------
    InputError
        If the film cannot be decoded that far; also if that crashed, took too long or wanted too
        much memory.
    """
    return _processes(os.getpid()).frames(path, first, last)
