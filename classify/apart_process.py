"""One process that reads films, as the program sees it: started, asked, heard and ended."""

from __future__ import annotations

import os
import queue
import signal
import subprocess
import sys
import threading
from contextlib import suppress
from pathlib import Path
from typing import BinaryIO, cast

from classify.apart_request import Request
from classify.plain_values import Array, UnexpectedError, to_plain
from classify.wire import Said, receive, send

COPIES = sys.platform == "linux"
"""Where a process may be copied after libraries were loaded: not where the system's own libraries
forbid it (macOS), nor where there is no such thing (Windows)."""

PROGRAM = "import sys; sys.path.append(sys.argv[1]); from classify.apart_child import main; main()"
SURROUNDINGS = {
    # Each thread's own heap reserves address space, which is what is limited.
    "MALLOC_ARENA_MAX": "4",
    # Pictures that are let go are kept for the next: getting each from the system anew, page by
    # page, took a twentieth of a reading.
    "MALLOC_MMAP_THRESHOLD_": str(1 << 25),
    "MALLOC_TRIM_THRESHOLD_": str(1 << 28),
    "MALLOC_TOP_PAD_": str(1 << 25),
    # In pages of 2 MB instead of 4 kB, where the system has them: a film of a second is 100 000 of
    # the small ones, and asking for them is a tenth of what its reading costs.
    "GLIBC_TUNABLES": "glibc.malloc.hugetlb=1",
    # The picture library's threads spin for their next piece of work: an eighth of what a reading
    # costs, for nothing that could be measured on the clock.
    "OPENCV_THREAD_POOL_ACTIVE_WAIT_WORKER": "100",
    # Matrices here are small, and threads of linear algebra wait for one another by spinning: with
    # two films at a time on two processors a reading took 60 s of them instead of 3.
    "OPENBLAS_NUM_THREADS": "1",
    "OMP_NUM_THREADS": "1",
    "VECLIB_MAXIMUM_THREADS": "1",
}
MOST_WAITING = 4
END_WITHIN_S = 5.0


class ReadingProcess:
    """A process that reads one film at a time.

    Parameters
    ----------
    copies
        Whether it reads each film in a copy of itself and so serves many, or reads one and ends.

    Attributes
    ----------
    rests
        True while it waits for a film.
    ready
        True once it has loaded its libraries.
    """

    rests: bool
    ready: bool

    def __init__(self, *, copies: bool) -> None:
        self._copies = copies
        self.rests = True
        self.ready = False
        self._process = subprocess.Popen(  # noqa: S603 - our own interpreter and arguments
            # Without -P a file in the coach's folder could pass for a library.
            [
                sys.executable,
                "-P",
                "-c",
                PROGRAM,
                str(Path(__file__).parents[1]),
                "copies" if copies else "once",
            ],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            # What decoders print of a broken film is no use to anyone but us.
            stderr=None if os.environ.get("TAILSWAY_TRACEBACK") else subprocess.DEVNULL,
            env={**os.environ, **SURROUNDINGS},
            # A group of its own is ended as a whole, and Ctrl-C is for the program that asks.
            start_new_session=True,
        )
        self._requests = cast("BinaryIO", self._process.stdin)
        self._answers = cast("BinaryIO", self._process.stdout)
        # Pipes cannot be waited for with a time limit everywhere; a queue can.
        self._heard: queue.Queue[Said | None] = queue.Queue(MOST_WAITING)
        self._over = threading.Event()
        self._ear = threading.Thread(target=self._listen, daemon=True, name="reading-process")
        self._ear.start()

    def is_alive(self) -> bool:
        """Tell whether it still runs."""
        return self._process.poll() is None

    def ask(self, request: Request) -> None:
        """Send it a request.

        Parameters
        ----------
        request
            What to read.
        """
        self.rests = False
        arrays: list[Array] = []
        tree = to_plain(request, arrays)
        with suppress(OSError):  # it has ended; that is heard, too
            send(self._requests, "request", tree, arrays)

    def hear(self, within_s: float) -> Said | None:
        """Wait for its next message.

        Parameters
        ----------
        within_s
            How long.

        Returns
        -------
        Said or None
            None if nothing came. "ended" with a signal's number, 0 for none, where the reading of
            the film has ended by itself; a process that speaks nonsense is "nonsense".
        """
        try:
            said = self._heard.get(timeout=within_s)
        except queue.Empty:
            return None
        if said is None:
            self._over.set()
            return Said(word="ended", tree={"signal": self._signal()}, arrays=[])
        self.ready = True
        if said.word == "ended":
            self.rests = self._copies
        return said

    def rest(self) -> None:
        """Wait, after a film's last message, until the copy that read it has ended."""
        while self._copies and not self.rests and not self._over.is_set():
            said = self.hear(END_WITHIN_S)
            if said is None or said.word != "ended":
                return

    def end(self) -> None:
        """End it with all that it started, at once."""
        self.rests = False
        self._over.set()
        with suppress(OSError):  # it has ended
            if sys.platform == "win32":
                self._process.kill()
            else:
                os.killpg(self._process.pid, signal.SIGKILL)
        self._process.wait()
        while self._ear.is_alive():
            self._ear.join(0.05)
            self._drain()
        for stream in (self._requests, self._answers):
            with suppress(OSError):  # what was not sent will not be missed
                stream.close()

    def _signal(self) -> int:
        """Which signal ended it; 0 for none, or if it has only closed its mouth."""
        try:
            return max(-self._process.wait(END_WITHIN_S), 0)
        except subprocess.TimeoutExpired:
            return 0

    def _drain(self) -> None:
        try:
            while True:
                self._heard.get_nowait()
        except queue.Empty:
            return

    def _listen(self) -> None:
        """Pass on what is said, in a thread of its own, until there is no more."""
        said: Said | None = None
        while not self._over.is_set():
            try:
                said = receive(self._answers)
            except (UnexpectedError, OSError, ValueError):
                said = Said(word="nonsense", tree=None, arrays=[])
            self._pass_on(said)
            if said is None or said.word == "nonsense":
                return

    def _pass_on(self, said: Said | None) -> None:
        while not self._over.is_set():
            try:
                self._heard.put(said, timeout=0.1)
            except queue.Full:
                continue
            return
