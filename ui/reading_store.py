"""Readings kept for all pages and for the queue: each film is followed and read once.

What was followed outlasts the program (`ui.followed_files`); what is read of it, label and all, is
worked out anew whenever the program starts.
"""

from __future__ import annotations

import logging
import threading
from collections import Counter
from collections.abc import Callable, Hashable, Iterator
from contextlib import contextmanager
from pathlib import Path

import streamlit as st

from classify.apart import read_clip
from classify.pipeline import read_followed
from classify.read_result import ReadResult
from classify.types import Known
from tracker.types import Followed, InputError, Progress
from ui.followed_files import FollowedFiles
from ui.kept_readings import Kept
from ui.shelf import Shelf, data_folder

_MOST_KEPT = 48
CALLED_OFF = "pages.called_off"
"""What is said of a film whose following was called off."""

_STAGE_LOCK = threading.Lock()
_stages: dict[Hashable, tuple[str, float]] = {}
"""How far the following of each film is, by `followed_of`."""
_off: Counter[Hashable] = Counter()
"""How often it was called off."""

_LOG = logging.getLogger("tailsway.dashboard")


@st.cache_resource(show_spinner=False)
def _results() -> Kept[ReadResult]:
    return Kept(_MOST_KEPT)


@st.cache_resource(show_spinner=False)
def _followed() -> Kept[Followed]:
    return Kept(_MOST_KEPT)


def kept_reading(
    path: Path,
    sha256: str,
    known: Known,
    progress: Callable[[], Progress],
    *,
    gives_way: bool = False,
) -> ReadResult:
    """Read a clip once for each set of what is known.

    Parameters
    ----------
    path, sha256
        The film and the hash of its content.
    known
        What the coach knows.
    progress
        Called, if the film has to be followed or somebody else is at it, for something to report
        to.
    gives_way
        Whether no page waits for it yet, so that what one waits for goes first.

    Returns
    -------
    ReadResult
        The same object every time.

    Raises
    ------
    InputError
        If the film cannot be read, or was called off meanwhile.
    """
    results, followed_films = _results(), _followed()
    fresh: list[ReadResult] = []
    shown: list[Progress] = []
    film = followed_of(sha256, known)
    calls = _calls_off(film)

    def go_on() -> None:
        if _calls_off(film) != calls:
            raise InputError(CALLED_OFF)

    def tell(stage: str, share: float) -> None:
        go_on()
        if not shown:
            shown.append(progress())
        shown[0](stage, share)

    def note(stage: str, share: float) -> None:
        # a page that waits for the same film, in a tab that was loaded again, shows this too
        with _STAGE_LOCK:
            _stages[film] = stage, share
        tell(stage, share)

    def wait() -> None:
        with _STAGE_LOCK:
            stage, share = _stages.get(film, ("wait", 0.0))
        tell(stage, share)

    def follow() -> Followed:
        before = _on_disk().load(path, sha256, known)
        if before is not None:
            return before
        go_on()  # whoever waited for one that was called off does not begin it anew
        try:
            fresh.append(read_clip(path, known=known, progress=note, gives_way=gives_way))
        finally:
            with _STAGE_LOCK:
                _stages.pop(film, None)
        _on_disk().keep(fresh[0].followed, sha256, known)
        return fresh[0].followed

    def make() -> ReadResult:
        # The film is followed again only if what the tracker is told has changed.
        followed = followed_films.get(film, follow, wait)
        return fresh[0] if fresh else read_followed(followed, known=known)

    try:
        return results.get((sha256, known), make, wait)
    except InputError as mistake:
        raise _named(mistake, path, sha256) from None


def followed_of(sha256: str, known: Known) -> Hashable:
    """Give what following a film depends on.

    Parameters
    ----------
    sha256, known
        As for `kept_reading`.

    Returns
    -------
    Hashable
        The same for two readings that follow the film once.
    """
    return sha256, known.capture_hz, known.click


def call_off(film: Hashable) -> None:
    """End the following of a film for all who wait for it, those in other tabs included.

    Parameters
    ----------
    film
        By `followed_of`. Whoever asks for it after this has it followed anew.
    """
    with _STAGE_LOCK:
        _off[film] += 1


def _calls_off(film: Hashable) -> int:
    with _STAGE_LOCK:
        return _off[film]


def _named(mistake: InputError, path: Path, sha256: str) -> InputError:
    """Call the film by the coach's name for it: on the disk it is called by its hash."""
    kept = Shelf(data_folder()).clip(sha256)
    values = dict(mistake.message.values)
    if kept is None or values.get("path") not in (path.name, str(path)):
        return mistake
    return InputError(mistake.message.key, **{**values, "path": kept.name})


def followed_before(sha256: str, known: Known) -> bool:
    """Tell whether a clip was followed on this computer before, so that reading it is quick.

    Parameters
    ----------
    sha256, known
        As for `kept_reading`.

    Returns
    -------
    bool
    """
    return _on_disk().has(sha256, known)


def _on_disk() -> FollowedFiles:
    return FollowedFiles(data_folder() / "followed")


class GivingWayError(Exception):
    """Somebody waits for another film than the one that is read ahead."""


_ASKED_LOCK = threading.Lock()
_asked: Counter[str] = Counter()
"""How many pages wait for each film, by its hash."""


@contextmanager
def asked_for(sha256: str) -> Iterator[None]:
    """Let nothing be read ahead while a page waits for a film, but that film.

    Parameters
    ----------
    sha256
        The hash of its content.
    """
    with _ASKED_LOCK:
        _asked[sha256] += 1
    try:
        yield
    finally:
        with _ASKED_LOCK:
            _asked[sha256] -= 1


def others_wait(sha256: str) -> bool:
    """Tell whether a page waits for another film.

    Parameters
    ----------
    sha256
        The hash of the one that is read ahead.

    Returns
    -------
    bool
    """
    with _ASKED_LOCK:
        return any(count for other, count in _asked.items() if other != sha256)


class _LeavingError(Exception):
    """The program ends; never leaves this module."""


def read_ahead(work: Callable[[Progress], object], name: str) -> None:
    """Do something behind the page whose result will be asked for soon, unless it is being done.

    Parameters
    ----------
    work
        Keeps what it makes; a page that asks for the same meanwhile waits for it. It reports to
        what it is given, which calls it off if the program ends meanwhile.
    name
        Of the work, so that it is begun once.
    """
    if any(thread.name == name for thread in threading.enumerate()):
        return

    def go_on(_stage: str, _share: float) -> None:
        if not threading.main_thread().is_alive():
            raise _LeavingError

    def run() -> None:
        try:
            work(go_on)
        except _LeavingError:
            pass
        except Exception:  # the page that asks for it will meet the same, and say so
            _LOG.info("reading ahead failed", exc_info=True)

    # A thread that is cut off inside a library's own code takes the whole process down at its end.
    threading.Thread(target=run, daemon=False, name=name).start()
