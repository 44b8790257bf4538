"""The far side of `classify.apart`: requests come in, films are read, plain values go out.

Everything that is imported is imported before the first film is opened. Where the system can, each
film then gets a copy of this process to itself, which ends with it, so that no film meets what
another one left behind.
"""

from __future__ import annotations

import gc
import mmap
import os
import select
import signal
import sys
from contextlib import suppress
from pathlib import Path
from typing import BinaryIO

from classify.apart_request import Request
from classify.pipeline import prepare, read_clip
from classify.plain_values import Array, Plain, from_plain, to_plain
from classify.types import Known
from classify.wire import Said, receive, send
from tracker.decode import Reader
from tracker.types import InputError

NO_MEMORY_CODE = -4
"""Error code with which OpenCV says that memory ran out."""

CLOSE_BYTES = 1 << 26
"""A want of memory this close to the limit is met by one more picture of the largest size."""

GIVES_WAY = 10
"""How much nicer than the rest of the program a reading is that nobody waits for."""

STACKS_BYTES = 1 << 25
"""Address space for the threads that decoders start, each processor."""


def main() -> None:
    """Serve requests until the program that asks is gone."""
    # What a library prints must not end up among the messages.
    answers = os.fdopen(os.dup(1), "wb")
    os.dup2(os.open(os.devnull, os.O_WRONLY), 1)
    requests = os.fdopen(os.dup(0), "rb", buffering=0)
    os.dup2(os.open(os.devnull, os.O_RDONLY), 0)
    sys.dont_write_bytecode = True
    prepare()
    # What is loaded stays: a copy that looked for garbage in it would copy all its pages, too.
    gc.freeze()
    send(answers, "ready", None, [])
    while (request := receive(requests)) is not None:
        if sys.argv[-1] != "copies":
            _answer(request, answers)
            return
        _in_a_copy(request, requests, answers)


def _in_a_copy(request: Said, requests: BinaryIO, answers: BinaryIO) -> None:
    """Answer in a copy of this process, and tell how the copy ended."""
    alive, held = os.pipe()
    copy = os.fork()
    if copy == 0:
        os.close(alive)
        requests.close()
        try:
            _answer(request, answers)
        finally:
            os._exit(0)
    os.close(held)
    # The pipe ends with the copy. Whoever asks says nothing meanwhile, unless it is gone.
    gone = requests.fileno() in select.select([alive, requests.fileno()], [], [])[0]
    if gone:
        os.kill(copy, signal.SIGKILL)
    os.close(alive)
    _, status = os.waitpid(copy, 0)
    if gone:
        raise SystemExit
    ended = os.WTERMSIG(status) if os.WIFSIGNALED(status) else 0
    send(answers, "ended", {"signal": ended}, [])


def _answer(request: Said, answers: BinaryIO) -> None:
    """Answer one request; whatever goes wrong is an answer, too."""
    try:
        asked = from_plain(Request, request.tree, request.arrays)
        _limit(asked.cpu_s, asked.memory_bytes)
        os.chdir(asked.folder)
        if asked.gives_way and sys.platform != "win32":
            os.nice(GIVES_WAY)
        if asked.known is not None:
            _read(asked.path, asked.known, answers)
        else:
            _frames(asked, answers)
    except BrokenPipeError:
        return
    except BaseException as mistake:  # an interrupt, too: some libraries raise one for no memory
        if os.environ.get("TAILSWAY_TRACEBACK") and not isinstance(mistake, InputError):
            sys.excepthook(type(mistake), mistake, mistake.__traceback__)
        _tell(mistake, answers)


def _tell(mistake: BaseException, answers: BinaryIO) -> None:
    if _is_memory(mistake) or _close_to_limit():
        send(answers, "memory", None, [])
    elif isinstance(mistake, InputError):
        said = mistake.message
        told: dict[str, Plain] = {"key": said.key, "values": to_plain(said.values, [])}
        send(answers, "mistake", told, [])
    else:
        about: dict[str, Plain] = {"kind": type(mistake).__name__, "text": str(mistake)[:500]}
        send(answers, "broken", about, [])


def _is_memory(mistake: BaseException) -> bool:
    # The linear algebra interrupts its own process if it gets no thread for want of memory.
    return (
        isinstance(mistake, MemoryError | KeyboardInterrupt)
        or getattr(mistake, "code", 0) == NO_MEMORY_CODE
    )


def _close_to_limit() -> bool:
    """Tell whether memory has run out: a decoder that gets none may say that the film is damaged.

    Told on Linux alone, where alone the limit is held.
    """
    if sys.platform != "linux":
        return False
    import resource  # noqa: PLC0415 - not there on Windows

    space, _ = resource.getrlimit(resource.RLIMIT_AS)
    if space == resource.RLIM_INFINITY:
        return False
    lines = Path("/proc/self/status").read_text(encoding="utf-8", errors="replace").splitlines()
    peak = next((line.split()[1] for line in lines if line.startswith("VmPeak:")), "0")
    return int(peak) * 1024 + CLOSE_BYTES > space


def _limit(cpu_s: int, memory_bytes: int) -> None:
    """Take away what reading a film does not need, for the rest of this process."""
    if sys.platform == "win32":
        return  # where there are no such limits
    import resource  # noqa: PLC0415 - nor this module

    spent = resource.getrusage(resource.RUSAGE_SELF)
    lasts_s = int(spent.ru_utime + spent.ru_stime) + cpu_s
    stacks = STACKS_BYTES * (os.cpu_count() or 1)
    space = _address_space_bytes() + memory_bytes + stacks
    for what, soft, hard in (
        # At the first it ends with a signal of its own, at the second without.
        (resource.RLIMIT_CPU, lasts_s, lasts_s + 5),
        (resource.RLIMIT_AS, space, space),
        (resource.RLIMIT_FSIZE, 0, 0),  # a film is read; nothing is written
        (resource.RLIMIT_CORE, 0, 0),
    ):
        # Not every system that knows a limit lets it be set, nor raised above a lower one.
        with suppress(OSError, ValueError):
            resource.setrlimit(what, (soft, hard))


def _address_space_bytes() -> int:
    """Tell what this process takes already; where nobody knows, what was usual on Linux."""
    try:
        pages = int(Path("/proc/self/statm").read_text(encoding="ascii").split()[0])
    except (OSError, ValueError):
        return 1 << 30
    return pages * mmap.PAGESIZE


def _read(path: Path, known: Known, answers: BinaryIO) -> None:
    def progress(stage: str, share: float) -> None:
        send(answers, "progress", {"stage": stage, "share": float(share)}, [])

    result = read_clip(path, known=known, progress=progress)
    arrays: list[Array] = []
    tree = to_plain(result, arrays)
    send(answers, "result", tree, arrays)


def _frames(asked: Request, answers: BinaryIO) -> None:
    with Reader(asked.path) as reader:
        for frame in reader.frames():
            if asked.first <= frame.index <= asked.last:
                send(answers, "frame", {"number": frame.index, "luma": {"array": 0}}, [frame.luma])
            if frame.index >= asked.last:
                break
    send(answers, "result", None, [])


if __name__ == "__main__":
    main()
