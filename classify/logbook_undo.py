"""Deletes that can be undone, and how things were before they were corrected.

A row of the logbook goes in; it is taken out of sight, brought back, or its past is told.
"""

from __future__ import annotations

import json
import sqlite3
from typing import Literal, cast

from classify.logbook_file import LogbookFile, new_id, now
from tracker.types import InputError

Deletable = Literal["archers", "setups", "evidence", "decisions"]


def delete(book: LogbookFile, table: Deletable, row_id: str) -> None:
    """Take something out of sight; `undo_delete` brings it back.

    Parameters
    ----------
    book
        The logbook.
    table, row_id
        What.

    Raises
    ------
    InputError
        If it is not there.
    """
    with book.writing() as db:
        moment = now()
        # the table's name is one of a fixed few, never a person's text
        touched = db.execute(
            f"UPDATE {_table(table)} SET deleted_at = ? WHERE id = ? AND deleted_at IS NULL",  # noqa: S608
            (moment, row_id),
        ).rowcount
        if touched != 1:
            raise InputError("logbook.not_there", what=table, id=row_id)
        db.execute(
            "INSERT INTO deletions VALUES (?, ?, ?, ?, NULL)", (new_id(), table, row_id, moment)
        )


def undo_delete(book: LogbookFile) -> tuple[Deletable, str]:
    """Bring back what was deleted last.

    Parameters
    ----------
    book
        The logbook.

    Returns
    -------
    tuple of (table, id)
        What came back; call again for the one before.

    Raises
    ------
    InputError
        If nothing is deleted, or its name was given to something else meanwhile.
    """
    with book.writing() as db:
        row = _last(db)
        if row is None:
            raise InputError("logbook.nothing_deleted")
        table = cast("Deletable", row["of_table"])
        db.execute(
            f"UPDATE {_table(table)} SET deleted_at = NULL WHERE id = ?",  # noqa: S608
            (row["of_id"],),
        )
        if table in ("archers", "setups"):
            _still_free(db, table, row["of_id"])
        db.execute("UPDATE deletions SET undone_at = ? WHERE id = ?", (now(), row["id"]))
    return table, str(row["of_id"])


def last_deleted(book: LogbookFile) -> tuple[Deletable, str] | None:
    """Tell what `undo_delete` would bring back.

    Parameters
    ----------
    book
        The logbook.

    Returns
    -------
    tuple of (table, id), or None
        None if nothing is deleted.
    """
    with book.reading() as db:
        row = _last(db)
    return None if row is None else (cast("Deletable", row["of_table"]), str(row["of_id"]))


def is_deleted(book: LogbookFile, table: Deletable, row_id: str) -> bool:
    """Tell whether something is out of sight now.

    Parameters
    ----------
    book
        The logbook.
    table, row_id
        What.

    Returns
    -------
    bool
        False for what never was there, too.
    """
    with book.reading() as db:
        row = db.execute(
            f"SELECT deleted_at FROM {_table(table)} WHERE id = ?",  # noqa: S608 fixed names
            (row_id,),
        ).fetchone()
    return row is not None and row["deleted_at"] is not None


def _last(db: sqlite3.Connection) -> sqlite3.Row | None:
    row: sqlite3.Row | None = db.execute(
        "SELECT rowid, * FROM deletions WHERE undone_at IS NULL ORDER BY rowid DESC LIMIT 1"
    ).fetchone()
    return row


def _still_free(db: sqlite3.Connection, table: str, row_id: str) -> None:
    """Refuse to bring back a name that something else has by now."""
    owner = ", archer_id" if table == "setups" else ""
    twice = db.execute(
        f"SELECT name FROM {table} WHERE deleted_at IS NULL GROUP BY name{owner}"  # noqa: S608 fixed names
        " HAVING count(*) > 1 AND sum(id = ?) > 0",
        (row_id,),
    ).fetchone()
    if twice is not None:
        raise InputError("logbook.name_in_use", name=twice["name"])


def keep_history(db: sqlite3.Connection, table: str, row_id: str, reason: str) -> None:
    """Write down how a row is before it is corrected, inside the caller's transaction."""
    row = db.execute(
        f"SELECT * FROM {_table(cast('Deletable', table))} WHERE id = ?",  # noqa: S608
        (row_id,),
    ).fetchone()
    if row is None:
        raise InputError("logbook.not_there", what=table, id=row_id)
    before = json.dumps(dict(row), ensure_ascii=False)
    db.execute(
        "INSERT INTO history VALUES (?, ?, ?, ?, ?, ?)",
        (new_id(), table, row_id, reason, before, now()),
    )


def history(book: LogbookFile, row_id: str) -> list[tuple[str, str, dict[str, object]]]:
    """List how a row was before each correction: (when, why, the row), oldest first."""
    with book.reading() as db:
        rows = db.execute(
            "SELECT * FROM history WHERE of_id = ? ORDER BY rowid", (row_id,)
        ).fetchall()
    return [(row["made_at"], row["reason"], kept_json(row["before_json"])) for row in rows]


def kept_json(text: str) -> dict[str, object]:
    """Read an object that was kept as JSON; what is none any more was damaged on the disk."""
    try:
        return dict(json.loads(text))
    except (TypeError, ValueError):
        raise InputError("logbook.damaged_entry", found=text[:60]) from None


def _table(table: Deletable) -> str:
    if table not in ("archers", "setups", "evidence", "decisions"):
        raise ValueError(f"{table!r} cannot be deleted from")
    return table
