"""Search through the logbook: words go in; where they stand comes out."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from classify.logbook_file import LogbookFile
from tracker.types import InputError

MOST = 200
"""Hits handed out at most."""

Where = Literal["archer", "set-up", "version", "evidence", "decision"]


@dataclass(frozen=True, kw_only=True)
class Hit:
    """One place where all words were found.

    Attributes
    ----------
    where
        In what.
    archer, setup
        Whose, and of which set-up ("" for a hit in the archer).
    dated
        ISO date; "" for archers and set-ups.
    id
        Of the row.
    text
        What was searched.
    """

    where: Where
    archer: str
    setup: str
    dated: str
    id: str
    text: str


_SEARCHED = """
    SELECT 'archer' AS place, a.name AS archer, '' AS setup, '' AS dated, a.id AS id,
        a.name || ' ' || a.notes AS text
    FROM archers a WHERE a.deleted_at IS NULL
    UNION ALL
    SELECT 'set-up', a.name, s.name, '', s.id, s.name
    FROM setups s JOIN archers a ON a.id = s.archer_id
    WHERE s.deleted_at IS NULL AND a.deleted_at IS NULL
    UNION ALL
    SELECT 'version', a.name, s.name, v.dated, v.id, v.reason || ' ' || v.typed_json
    FROM versions v JOIN setups s ON s.id = v.setup_id JOIN archers a ON a.id = s.archer_id
    WHERE s.deleted_at IS NULL AND a.deleted_at IS NULL
    UNION ALL
    SELECT 'evidence', a.name, s.name, e.dated, e.id, e.kind || ' ' || e.note
    FROM evidence e JOIN versions v ON v.id = e.version_id JOIN setups s ON s.id = v.setup_id
        JOIN archers a ON a.id = s.archer_id
    WHERE e.deleted_at IS NULL AND s.deleted_at IS NULL AND a.deleted_at IS NULL
    UNION ALL
    SELECT 'decision', a.name, s.name, d.dated, d.id, replace(d.cure, '_', ' ') || ' ' || d.note
    FROM decisions d JOIN versions v ON v.id = d.version_id JOIN setups s ON s.id = v.setup_id
        JOIN archers a ON a.id = s.archer_id
    WHERE d.deleted_at IS NULL AND s.deleted_at IS NULL AND a.deleted_at IS NULL
"""


def search(book: LogbookFile, words: str) -> list[Hit]:
    """Find where all words stand together, upper and lower case alike.

    Parameters
    ----------
    book
        The logbook.
    words
        One or more.

    Returns
    -------
    list of Hit
        By archer, set-up and date; what is deleted is not searched.

    Raises
    ------
    InputError
        If there is no word.
    """
    wanted = words.split()
    if not wanted:
        raise InputError("logbook.no_words")
    with book.reading() as db:
        # Python's folding, not SQLite's LIKE: that one knows case in ASCII only
        db.create_function("folded", 1, lambda text: str(text).casefold(), deterministic=True)
        condition = " AND ".join(["instr(folded(text), ?) > 0"] * len(wanted))
        rows = db.execute(
            f"SELECT * FROM ({_SEARCHED}) WHERE {condition}"  # noqa: S608 only ? is repeated
            " ORDER BY archer, setup, dated LIMIT ?",
            (*[word.casefold() for word in wanted], MOST),
        ).fetchall()
    return [
        Hit(
            where=row["place"],
            archer=row["archer"],
            setup=row["setup"],
            dated=row["dated"],
            id=row["id"],
            text=row["text"],
        )
        for row in rows
    ]
