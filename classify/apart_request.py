"""What is asked of a process that reads films; both sides of `classify.apart` know it."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from classify.types import Known


@dataclass(frozen=True, kw_only=True)
class Request:
    """One film, and what it may cost.

    Attributes
    ----------
    path, folder
        The film, and the folder from which its path counts.
    known
        What the coach knows, where a reading is wanted.
    first, last
        Frame numbers, where frames are wanted.
    gives_way
        Whether other work on this computer goes first.
    cpu_s, memory_bytes
        As in `classify.apart.Limits`.
    """

    path: Path
    folder: Path
    known: Known | None = None
    first: int = 0
    last: int = 0
    gives_way: bool = False
    cpu_s: int
    memory_bytes: int
