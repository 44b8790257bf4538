"""What was followed in a film, kept on the disk: tomorrow's reading begins where today's ended.

Following the nock is nearly all of a reading's time, and depends on nothing but the film, its
capture rate, a click and the tracker. A file holds the messages of `classify.wire` behind their
hash; one that is broken, or of another tracker, is as good as none. The oldest make room.
"""

from __future__ import annotations

import hashlib
import importlib.metadata
import io
import json
import logging
import os
from contextlib import suppress
from dataclasses import replace
from functools import cache
from importlib.resources import files
from pathlib import Path

from classify.clip_store import write_lasting
from classify.plain_values import Array, UnexpectedError, from_plain, to_plain
from classify.types import Known
from classify.wire import receive, send
from tracker.types import Followed

MOST_BYTES = 200 << 20
"""Of all files together: some hundred films at 1080p, whose scene is most of each. Chosen here."""

ENDING = ".followed"
LIBRARIES = ("av", "numpy", "opencv-python-headless", "scipy")
"""Those whose next version may follow a nock to another place."""

_HASH_BYTES = hashlib.sha256().digest_size
_WORD = "followed"
_LOG = logging.getLogger("tailsway.dashboard")


class FollowedFiles:
    """A folder of them.

    Parameters
    ----------
    folder
        Made when something is kept. Where it cannot be written, nothing is kept, and nothing else
        changes.
    most_bytes
        Of all files together.
    """

    def __init__(self, folder: Path, *, most_bytes: int = MOST_BYTES) -> None:
        self._folder = folder
        self._most_bytes = most_bytes

    def load(self, path: Path, sha256: str, known: Known) -> Followed | None:
        """Give what was followed in a film before.

        Parameters
        ----------
        path, sha256
            Where the film is now, and the hash of its content.
        known
            What the coach knows; the capture rate and the click matter here.

        Returns
        -------
        Followed or None
            None if nothing is kept that this tracker made of this film.
        """
        file = self._file(sha256, known)
        try:
            content = file.read_bytes()
            if hashlib.sha256(content[_HASH_BYTES:]).digest() != content[:_HASH_BYTES]:
                return None
            said = receive(io.BytesIO(content[_HASH_BYTES:]))
            if said is None or said.word != _WORD:
                return None
            followed = from_plain(Followed, said.tree, said.arrays)
        except (OSError, UnexpectedError):
            return None
        with suppress(OSError):
            os.utime(file)  # the one longest unused goes first
        return replace(followed, clip=replace(followed.clip, path=path))

    def has(self, sha256: str, known: Known) -> bool:
        """Tell whether something is kept, without a look at it.

        Parameters
        ----------
        sha256, known
            As for `load`.

        Returns
        -------
        bool
        """
        return self._file(sha256, known).is_file()

    def keep(self, followed: Followed, sha256: str, known: Known) -> None:
        """Keep what was followed, and let the oldest go where there are too many.

        Parameters
        ----------
        followed
            Of the film.
        sha256, known
            As for `load`.
        """
        arrays: list[Array] = []
        content = io.BytesIO()
        send(content, _WORD, to_plain(followed, arrays), arrays)
        try:
            self._folder.mkdir(parents=True, exist_ok=True)
            digest = hashlib.sha256(content.getbuffer()).digest()
            write_lasting(self._file(sha256, known), digest + content.getvalue())
            self._make_room()
        except OSError:
            _LOG.info("nothing kept of a film that was followed", exc_info=True)

    def _file(self, sha256: str, known: Known) -> Path:
        rate, click = known.capture_hz, known.click
        arrays: list[Array] = []
        asked = [sha256, str(rate), to_plain(click, arrays), tracker_print()]
        name = hashlib.sha256(json.dumps(asked).encode()).hexdigest()
        return self._folder / (name + ENDING)

    def _make_room(self) -> None:
        facts = [(one, one.stat()) for one in self._folder.glob(f"*{ENDING}")]
        left = self._most_bytes
        for one, about in sorted(facts, key=lambda fact: fact[1].st_mtime_ns, reverse=True):
            left -= about.st_size
            if left < 0:
                one.unlink(missing_ok=True)


@cache
def tracker_print() -> str:
    """Tell trackers apart that may follow a nock to different places.

    Returns
    -------
    str
        Hash of this tracker's files and of the versions of its libraries.
    """
    digest = hashlib.sha256()
    for one in sorted(files("tracker").iterdir(), key=lambda entry: entry.name):
        if one.is_file():
            digest.update(f"{one.name}\0".encode() + one.read_bytes() + b"\0")
    for library in LIBRARIES:
        try:
            version = importlib.metadata.version(library)
        except importlib.metadata.PackageNotFoundError:
            version = "unknown"
        digest.update(f"{library} {version}\0".encode())
    return digest.hexdigest()
