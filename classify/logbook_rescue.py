"""What can be saved of a logbook's file: a path goes in; a copy that can be read comes out.

The file itself is only ever read. Copies stand in a temporary folder of this process.
"""

from __future__ import annotations

import atexit
import shutil
import sqlite3
import tempfile
from collections.abc import Iterator, Mapping
from contextlib import closing, suppress
from dataclasses import dataclass
from functools import cache, lru_cache
from pathlib import Path
from typing import Any

from classify.logbook_rows import check_row
from classify.migrations import APPLICATION_ID, MIGRATIONS, TABLES
from tracker.types import InputError

Row = dict[str, Any]

LOST_NAME = "?"
"""What a lost archer or set-up is called whose tests could be saved."""

LOST_DATE = "1970-01-01"
REACH = 1000
"""How many row numbers past the last one known are tried; chosen here."""


@dataclass(frozen=True, kw_only=True)
class Rescued:
    """What was saved of a damaged file.

    Attributes
    ----------
    uri
        Of a sound logbook file with all that was saved; it lasts as long as this process.
    kept, lost
        By table: rows that could be read, and rows that are known to have been there but could not.
    """

    uri: str
    kept: Mapping[str, int]
    lost: Mapping[str, int]


def copied(path: Path) -> str:
    """Copy a logbook file, with the newest entries that stand beside it, to where it can be opened.

    Parameters
    ----------
    path
        Of the file.

    Returns
    -------
    str
        ``file:`` address of the copy; the same again while the file does not change.

    Raises
    ------
    InputError
        If it cannot be read, or there is no room for a copy.
    """
    return (_copy(path, _state_of(path)) / path.name).as_uri()


def salvaged(path: Path) -> Rescued:
    """Save what can be saved of a damaged logbook file.

    Every row is asked for by its number, so that a page that cannot be read costs its own rows and
    no others. A row that others stand on (an archer, a set-up, a version) and that is lost is put
    in again without content, so that the others can be kept.

    Parameters
    ----------
    path
        Of the damaged file.

    Returns
    -------
    Rescued
        The same again while the file does not change.

    Raises
    ------
    InputError
        If not even the list of its tables can be read.
    """
    return _salvage(path, _state_of(path))


State = tuple[tuple[int, int], ...]


def _parts(path: Path) -> tuple[Path, Path]:
    return path, path.with_name(f"{path.name}-wal")


def _state_of(path: Path) -> State:
    """Size and time of change of the file and of what stands beside it."""
    return tuple(
        (found.st_size, found.st_mtime_ns)
        for part in _parts(path)
        if part.is_file()
        for found in [part.stat()]
    )


@cache
def _copies() -> dict[Path, tuple[State, Path]]:
    """Folder of the copy that was made of a file, and the state that the file was in."""
    return {}


def _copy(path: Path, state: State) -> Path:
    made = _copies().get(path)
    if made is not None and made[0] == state and made[1].is_dir():
        return made[1]
    try:
        folder = Path(tempfile.mkdtemp(prefix="tailsway-"))
        atexit.register(shutil.rmtree, folder, ignore_errors=True)
        for part in _parts(path):
            if part.is_file():
                shutil.copyfile(part, folder / part.name)
    except OSError as error:
        reason = error.strerror or str(error)
        raise InputError("logbook.unreadable", path=str(path), reason=reason) from None
    if made is not None:
        shutil.rmtree(made[1], ignore_errors=True)
    _copies()[path] = (state, folder)
    return folder


@lru_cache(maxsize=4)
def _salvage(path: Path, state: State) -> Rescued:
    source = _copy(path, state) / path.name
    target = source.with_name("saved.sqlite3")
    target.unlink(missing_ok=True)
    try:
        with (
            closing(sqlite3.connect(source, isolation_level=None)) as old,
            closing(sqlite3.connect(target, isolation_level=None)) as new,
        ):
            old.row_factory = sqlite3.Row
            # an ill-coded text is one damaged row, not the end of the search
            old.text_factory = lambda raw: raw.decode("utf-8", errors="surrogateescape")
            shape = int(old.execute("PRAGMA user_version").fetchone()[0])
            there = {row[0] for row in old.execute("SELECT name FROM sqlite_master")}
            if not 1 <= shape <= len(MIGRATIONS) or not there & set(TABLES):
                raise sqlite3.DatabaseError("no tables of a logbook")
            for step in MIGRATIONS[:shape]:
                new.executescript(step)
            kept, lost = {}, {}
            for table in TABLES:
                kept[table], lost[table] = _take(old, new, table) if table in there else (0, 0)
            for step in MIGRATIONS[shape:]:
                new.executescript(step)
            _prop_up(new)
            new.execute(f"PRAGMA application_id = {APPLICATION_ID}")
            new.execute(f"PRAGMA user_version = {len(MIGRATIONS)}")
    except sqlite3.Error as error:
        raise InputError("logbook.unreadable", path=str(path), reason=str(error)) from None
    return Rescued(uri=target.as_uri(), kept=kept, lost=lost)


def _take(old: sqlite3.Connection, new: sqlite3.Connection, table: str) -> tuple[int, int]:
    """Bring over every row of a table that can be read; count them and those that cannot."""
    numbers = _row_numbers(old, table)
    last = max(numbers, default=0)
    kept = 0
    new.execute("BEGIN")
    for number in [*sorted(numbers), *range(last + 1, last + REACH)]:
        row = _row(old, table, number)
        if row is None:
            continue
        marks = ", ".join("?" * len(row))
        try:
            check_row(table, row)
            new.execute(f"INSERT INTO {table} VALUES ({marks})", list(row.values()))  # noqa: S608 fixed names
        except (InputError, sqlite3.IntegrityError):
            continue
        kept += 1
        numbers.add(number)
    new.execute("COMMIT")
    return kept, len(numbers) - kept


def _row(old: sqlite3.Connection, table: str, number: int) -> Row | None:
    with suppress(sqlite3.DatabaseError):
        found = old.execute(f"SELECT * FROM {table} WHERE rowid = ?", (number,)).fetchone()  # noqa: S608 fixed names
        return None if found is None else dict(found)
    return None


def _row_numbers(old: sqlite3.Connection, table: str) -> set[int]:
    """Collect numbers of rows from the table and from its index of keys, from both ends of each.

    Table and index stand on different pages; where one is damaged the other still tells which rows
    there were. Numbers between those found are tried as well.
    """
    found: set[int] = set()
    key = "sha256" if table == "clips" else "id"
    for order in (f"rowid FROM {table} NOT INDEXED ORDER BY rowid",
                  f"rowid FROM {table} ORDER BY {key}"):  # fmt: skip
        for way in ("ASC", "DESC"):
            found.update(_until_damage(old, f"SELECT {order} {way}"))
    gaps = set(range(min(found), max(found))) - found if found else set()
    found |= {number for number in gaps if _row(old, table, number) is not None}
    return found


def _until_damage(old: sqlite3.Connection, query: str) -> Iterator[int]:
    with suppress(sqlite3.DatabaseError):
        for row in old.execute(query):
            yield int(row[0])


def _prop_up(new: sqlite3.Connection) -> None:
    """Put in, without content, what saved rows stand on and what is lost; drop other dead ends."""
    new.execute("BEGIN")
    new.execute(
        "UPDATE evidence SET clip_sha256 = NULL WHERE clip_sha256 NOT IN (SELECT sha256 FROM clips)"
    )
    for column in ("version_id", "to_version_id"):
        for table in ("evidence", "decisions"):
            if table == "evidence" and column == "to_version_id":
                continue
            for (version,) in new.execute(
                f"SELECT DISTINCT {column} FROM {table} WHERE {column} IS NOT NULL"  # noqa: S608 fixed names
                f" AND {column} NOT IN (SELECT id FROM versions)"
            ).fetchall():
                _prop_version(new, str(version))
    for (setup,) in new.execute(
        "SELECT DISTINCT setup_id FROM versions WHERE setup_id NOT IN (SELECT id FROM setups)"
    ).fetchall():
        name = f"{LOST_NAME} {str(setup)[-6:]}"
        new.execute("INSERT INTO setups VALUES (?, ?, ?, ?, NULL)",
                    (setup, f"lost-{setup}", name, LOST_DATE))  # fmt: skip
    for (archer,) in new.execute(
        "SELECT DISTINCT archer_id FROM setups WHERE archer_id NOT IN (SELECT id FROM archers)"
    ).fetchall():
        name = f"{LOST_NAME} {str(archer)[-6:]}"
        new.execute("INSERT INTO archers VALUES (?, ?, NULL, ?, ?, NULL)",
                    (archer, name, "", LOST_DATE))  # fmt: skip
    new.execute("COMMIT")


def _prop_version(new: sqlite3.Connection, version: str) -> None:
    """Put an empty version where a lost one was: in its set-up if a decision still tells which."""
    row = new.execute(
        "SELECT v.setup_id AS setup FROM decisions d JOIN versions v"
        " ON v.id IN (d.version_id, d.to_version_id) WHERE ? IN (d.version_id, d.to_version_id)",
        (version,),
    ).fetchone()
    setup = f"lost-{version}" if row is None else str(row[0])
    taken = {n for (n,) in new.execute("SELECT number FROM versions WHERE setup_id = ?", (setup,))}
    number = next(n for n in range(1, len(taken) + 2) if n not in taken)
    new.execute(
        "INSERT INTO versions VALUES (?, ?, ?, ?, ?, '{}', ?)",
        (version, setup, number, LOST_DATE, LOST_NAME, LOST_DATE),
    )
