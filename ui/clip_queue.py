"""A queue of clips that are read one after the other behind the page, with progress and cancel."""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Literal

from classify.types import Reading
from tracker.types import InputError, Message, Progress, message

_REFUSED = "refused "
"""No hash begins like this, so that no row of a refused file passes for a clip's."""

State = Literal["waiting", "reading", "done", "failed", "cancelled"]


class _CancelledError(Exception):
    """Raised inside a reading that was cancelled; never leaves this module."""


@dataclass(frozen=True, kw_only=True, eq=False)
class QueuedClip:
    """One clip in the queue.

    Attributes
    ----------
    token
        What stands for it in an address.
    name
        For people.
    path, sha256
        The film and the hash of its content; no hash for a file that could not be kept.
    said
        What the coach knows, as texts.
    state
        How far it is.
    stage, share
        What is going on and how much of it is done.
    reading
        What was read, once it is done.
    problem
        Why it failed.
    """

    token: str
    name: str
    path: Path
    sha256: str
    said: Mapping[str, str]
    state: State = "waiting"
    stage: str = ""
    share: float = 0.0
    reading: Reading | None = None
    problem: Message | None = None


Read = Callable[[QueuedClip, Progress], Reading]


class ClipQueue:
    """Reads clips in order, one at a time, in a thread of its own.

    Parameters
    ----------
    read
        Reads one clip and reports its progress.
    """

    def __init__(self, read: Read) -> None:
        self._read = read
        self._clips: OrderedDict[str, QueuedClip] = OrderedDict()
        self._said: dict[str, str] = {}
        self._lock = threading.Lock()
        self._work = threading.Condition(self._lock)
        self._thread: threading.Thread | None = None

    def add(self, clip: QueuedClip) -> None:
        """Put a clip at the end; one that is there already is read again.

        Parameters
        ----------
        clip
            Waiting.
        """
        with self._work:
            if self._clips.get(clip.token, clip).state == "reading":
                return
            self._clips[clip.token] = replace(clip, state="waiting", reading=None, problem=None)
            self._clips.move_to_end(clip.token)
            if self._thread is None or not self._thread.is_alive():
                self._thread = threading.Thread(target=self._run, daemon=True, name="clip-queue")
                self._thread.start()
            self._work.notify()

    def say(self, said: Mapping[str, str]) -> None:
        """Note what is known about every clip of the queue, those to come included.

        Parameters
        ----------
        said
            Texts by field; takes the place of what was said before.
        """
        with self._lock:
            self._said = dict(said)

    def said(self) -> dict[str, str]:
        """Tell what is known about every clip of the queue.

        Returns
        -------
        dict
            Texts by field, as they were typed last.
        """
        with self._lock:
            return dict(self._said)

    def refuse(self, name: str, problem: Message) -> None:
        """Put a row there for a file that could not even be kept.

        Parameters
        ----------
        name
            Of the file; the same name again takes the place of its row.
        problem
            Why it cannot be used.
        """
        token = f"{_REFUSED}{name}"
        row = QueuedClip(
            token=token,
            name=name,
            path=Path(),
            sha256="",
            said={},
            state="failed",
            share=1.0,
            problem=problem,
        )
        with self._lock:
            self._clips[token] = row
            self._clips.move_to_end(token)

    def clips(self) -> list[QueuedClip]:
        """Tell how far everything is.

        Returns
        -------
        list of QueuedClip
            In the order in which they were added.
        """
        with self._lock:
            return list(self._clips.values())

    def busy(self) -> bool:
        """Tell whether anything is waiting or being read.

        Returns
        -------
        bool
            False once all is done.
        """
        return any(clip.state in ("waiting", "reading") for clip in self.clips())

    def cancel(self) -> None:
        """Let go of everything that is not done yet; what is being read stops at its next step."""
        with self._lock:
            for token, clip in self._clips.items():
                if clip.state in ("waiting", "reading"):
                    self._clips[token] = replace(clip, state="cancelled")

    def clear(self) -> None:
        """Forget everything that is no longer running."""
        with self._lock:
            running = ("waiting", "reading")
            self._clips = OrderedDict(
                (token, clip) for token, clip in self._clips.items() if clip.state in running
            )

    def _run(self) -> None:
        while True:
            with self._work:
                clip = self._next()
                while clip is None:
                    if not self._work.wait(timeout=30.0):
                        self._thread = None
                        return
                    clip = self._next()
                self._clips[clip.token] = replace(clip, state="reading")
            self._finish(clip)

    def _next(self) -> QueuedClip | None:
        return next((clip for clip in self._clips.values() if clip.state == "waiting"), None)

    def _finish(self, clip: QueuedClip) -> None:
        try:
            reading = self._read(clip, self._progress(clip.token))
        except _CancelledError:
            return
        except InputError as mistake:
            self._set(clip.token, "failed", problem=mistake.message)
        except Exception as mistake:
            kind, text = type(mistake).__name__, str(mistake)
            problem = message("command.mistake", kind=kind, text=text)
            self._set(clip.token, "failed", problem=problem)
        else:
            self._set(clip.token, "done", reading=reading)

    def _progress(self, token: str) -> Progress:
        def progress(stage: str, share: float) -> None:
            with self._lock:
                clip = self._clips.get(token)
                if clip is None or clip.state != "reading":
                    raise _CancelledError
                self._clips[token] = replace(clip, stage=stage, share=share)

        return progress

    def _set(
        self,
        token: str,
        state: State,
        *,
        reading: Reading | None = None,
        problem: Message | None = None,
    ) -> None:
        with self._lock:
            clip = self._clips.get(token)
            if clip is not None and clip.state == "reading":
                self._clips[token] = replace(
                    clip, state=state, share=1.0, reading=reading, problem=problem
                )
