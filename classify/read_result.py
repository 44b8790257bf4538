"""What comes out of a film: the reading, and what it was made from. A type, and no arithmetic."""

from __future__ import annotations

from dataclasses import dataclass

from classify.types import Reading
from tracker.types import Followed, Track


@dataclass(frozen=True, kw_only=True, eq=False)
class ReadResult:
    """A reading with what it was made from.

    Attributes
    ----------
    reading
        What the coach gets.
    followed
        Clip, flights and plate.
    track
        The flight that was read; None if there was none.
    """

    reading: Reading
    followed: Followed
    track: Track | None
