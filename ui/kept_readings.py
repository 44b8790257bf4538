"""Readings that were made already, so that a rerun of a page repeats no work.

Keyed by the hash of the film and by what is known; a bounded number is kept for all browser tabs
together, and two tabs that ask for the same reading make it once.
"""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Callable, Hashable
from typing import Generic, TypeVar

Made = TypeVar("Made")
_TICK_S = 0.25


class Kept(Generic[Made]):
    """Things that are dear to make.

    Parameters
    ----------
    most
        How many to keep; the one longest unused goes first.
    """

    def __init__(self, most: int) -> None:
        self._most = most
        self._made: OrderedDict[Hashable, Made] = OrderedDict()
        self._making: dict[Hashable, threading.Lock] = {}
        self._lock = threading.Lock()

    def get(
        self, key: Hashable, make: Callable[[], Made], meanwhile: Callable[[], None] | None = None
    ) -> Made:
        """Give what is kept under a key, or make it.

        Parameters
        ----------
        key
            What it depends on.
        make
            Called at most once at a time for a key; what it raises is not kept.
        meanwhile
            Called a few times a second while somebody else makes it; what it raises ends the wait.

        Returns
        -------
        Made
            The same object every time.
        """
        with self._lock:
            gate = self._making.setdefault(key, threading.Lock())
        while not gate.acquire(timeout=-1 if meanwhile is None else _TICK_S):
            if meanwhile is not None:
                meanwhile()
        try:
            with self._lock:
                if key in self._made:
                    self._made.move_to_end(key)
                    return self._made[key]
            made = make()
            with self._lock:
                self._made[key] = made
                while len(self._made) > self._most:
                    self._made.popitem(last=False)
                self._making.pop(key, None)
            return made
        finally:
            gate.release()
