"""Many films at once: paths and what is known go in, one line for each comes out as it is done.

Work runs in processes of this machine, or on a Dask cluster where one is given, with the same code.
"""

from __future__ import annotations

import time
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Protocol

from joblib import Parallel, delayed, parallel_config

from classify.apart import Limits, ReadingProcesses, read_clip
from classify.clip_store import FILM_TYPES, is_film_name
from classify.read_result import ReadResult
from classify.types import Known, Reading
from tracker.types import InputError, Message, message


@dataclass(frozen=True, kw_only=True, eq=False)
class ReadFilm:
    """What became of one film.

    Attributes
    ----------
    path
        The film.
    reading
        What was read; None if the film is no good.
    problem
        Why it is no good; None if it was read.
    seconds
        How long it took.
    """

    path: Path
    reading: Reading | None
    problem: Message | None
    seconds: float


def films_in(folder: Path) -> tuple[Path, ...]:
    """Find the films in a folder.

    Parameters
    ----------
    folder
        Looked through, its subfolders left out.

    Returns
    -------
    tuple of pathlib.Path
        By name.

    Raises
    ------
    InputError
        If there is no such folder, or no film in it.
    """
    if not folder.is_dir():
        raise InputError("batch.no_folder", path=str(folder))
    found = sorted(path for path in folder.iterdir() if path.is_file() and is_film_name(path.name))
    if not found:
        raise InputError(
            "batch.no_films", path=str(folder), kinds=", ".join(f".{kind}" for kind in FILM_TYPES)
        )
    return tuple(found)


def read_many(
    paths: Sequence[Path], *, known: Known, jobs: int, cluster: str | None = None
) -> Iterator[ReadFilm]:
    """Read many films.

    Parameters
    ----------
    paths
        Of the films; a cluster must see them under the same paths.
    known
        What the coach knows, alike for all.
    jobs
        How many at a time on this machine; ignored on a cluster.
    cluster
        Address of a Dask scheduler, for example ``tcp://10.0.0.5:8786``; None for this machine.

    Yields
    ------
    ReadFilm
        As they are done on this machine; in the order of `paths` from a cluster.

    Raises
    ------
    InputError
        If the cluster cannot be reached, or the program for clusters is not installed.
    """
    if cluster is not None:
        with _cluster(cluster), parallel_config(backend="dask"):
            yield from Parallel()(delayed(_read_one)(path, known, read_clip) for path in paths)
        return
    processes = ReadingProcesses(most=jobs, limits=Limits())
    try:
        # Each thread only waits for a process of its own, in which its film is read.
        reading = Parallel(n_jobs=jobs, prefer="threads", return_as="generator_unordered")
        yield from reading(delayed(_read_one)(path, known, processes.read_clip) for path in paths)
    finally:
        processes.close()


def _cluster(address: str) -> Any:  # noqa: ANN401 - a class of a package that need not be there
    try:
        from distributed import Client  # noqa: PLC0415 - only where a cluster is used
    except ImportError:
        raise InputError("batch.no_dask") from None
    try:
        return Client(address, timeout="10s")
    except (OSError, ValueError) as mistake:
        raise InputError("batch.no_cluster", address=address, reason=str(mistake)) from None


class _Read(Protocol):
    def __call__(self, path: Path, *, known: Known) -> ReadResult: ...


def _read_one(path: Path, known: Known, read: _Read) -> ReadFilm:
    """Read one film; whatever happens to it is an answer, so that the others go on."""
    start = time.perf_counter()
    try:
        reading, problem = read(path, known=known).reading, None
    except InputError as mistake:
        reading, problem = None, mistake.message
    except Exception as mistake:
        kind = type(mistake).__name__
        reading, problem = None, message("command.mistake", kind=kind, text=str(mistake))
    return ReadFilm(
        path=path, reading=reading, problem=problem, seconds=time.perf_counter() - start
    )
