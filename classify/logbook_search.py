"""Search through the logbook: words go in; where they stand comes out.

What people wrote is searched, and what was found and decided; what the program calls its fields is
not, for that stands in every sheet.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Literal

from classify.logbook_file import LogbookFile
from classify.logbook_undo import kept_json
from classify.types import Hand
from tracker.types import InputError

MOST = 200
"""Hits handed out at most."""

Where = Literal["archer", "set-up", "version", "evidence", "decision"]
Says = Callable[[str, str, Hand | None], str]
"""Says a part in other words: its name, its text, the archer's hand."""


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
    parts
        Name and text of its first part and of each other in which a word stands. A name is a field
        of the sheet, or one of name, notes, reason, kind, note, label, seen, marks, arrow, decided.
    """

    where: Where
    archer: str
    setup: str
    dated: str
    id: str
    parts: tuple[tuple[str, str], ...]

    @property
    def text(self) -> str:
        """All its parts in one line."""
        return " ".join(text for _, text in self.parts)


_OF_VERSION = """
    JOIN versions v ON v.id = x.version_id JOIN setups s ON s.id = v.setup_id
    JOIN archers a ON a.id = s.archer_id
    WHERE x.deleted_at IS NULL AND s.deleted_at IS NULL AND a.deleted_at IS NULL
"""
# one and two are texts, more is an object as JSON
_SEARCHED = f"""
    SELECT 'archer' AS place, a.hand AS hand, a.name AS archer, '' AS setup, '' AS dated,
        a.id AS id, a.name AS one, a.notes AS two, '{{}}' AS more
    FROM archers a WHERE a.deleted_at IS NULL
    UNION ALL
    SELECT 'set-up', a.hand, a.name, s.name, '', s.id, s.name, '', '{{}}'
    FROM setups s JOIN archers a ON a.id = s.archer_id
    WHERE s.deleted_at IS NULL AND a.deleted_at IS NULL
    UNION ALL
    SELECT 'version', a.hand, a.name, s.name, v.dated, v.id, v.reason, '', v.typed_json
    FROM versions v JOIN setups s ON s.id = v.setup_id JOIN archers a ON a.id = s.archer_id
    WHERE s.deleted_at IS NULL AND a.deleted_at IS NULL
    UNION ALL
    SELECT 'evidence', a.hand, a.name, s.name, x.dated, x.id, x.kind, x.note,
        CASE WHEN json_valid(x.payload_json) THEN json_object(
            'label', json_extract(x.payload_json, '$.reading.label'),
            'arrow', json_extract(x.payload_json, '$.arrow'),
            'seen', json_extract(x.payload_json, '$.seen'),
            'marks', json_extract(x.payload_json, '$.marks')) ELSE '{{}}' END
    FROM evidence x {_OF_VERSION}
    UNION ALL
    SELECT 'decision', a.hand, a.name, s.name, x.dated, x.id, replace(x.cure, '_', ' '), x.note,
        x.proposal_json
    FROM decisions x {_OF_VERSION}
"""  # noqa: S608 no text of a person is in it


def search(book: LogbookFile, words: str, says: Says | None = None) -> list[Hit]:
    """Find where all words stand together, upper and lower case alike.

    Parameters
    ----------
    book
        The logbook.
    words
        One or more.
    says
        Says a part in another language; words are then found in either, and this one comes out.

    Returns
    -------
    list of Hit
        By archer, set-up and date; what is deleted is not searched.

    Raises
    ------
    InputError
        If there is no word.
    """
    # Python's folding, not SQLite's LIKE: that one knows case in ASCII only
    wanted = [word.casefold() for word in words.split()]
    if not wanted:
        raise InputError("logbook.no_words")
    with book.reading() as db:
        rows = db.execute(f"{_SEARCHED} ORDER BY archer, setup, dated").fetchall()
    hits = []
    for row in rows:
        kept = [(name, text) for name, text in _parts(row) if text]
        said = [text if says is None else says(name, text, row["hand"]) for name, text in kept]
        both = [f"{text} {then}".casefold() for (_, text), then in zip(kept, said, strict=True)]
        if row["place"] == "decision":
            both.append(str(row["one"]).casefold())
        if not all(any(word in text for text in both) for word in wanted):
            continue
        found = [i for i in range(len(kept)) if i == 0 or any(word in both[i] for word in wanted)]
        hits.append(
            Hit(
                where=row["place"],
                archer=row["archer"],
                setup=row["setup"],
                dated=row["dated"],
                id=row["id"],
                parts=tuple((kept[i][0], said[i]) for i in found),
            )
        )
    return hits[:MOST]


def _parts(row: sqlite3.Row) -> Iterator[tuple[str, str]]:
    """Give what is searched in a row, by name; what is damaged in it is passed over."""
    try:
        more = kept_json(row["more"])
    except InputError:
        more = {}
    match row["place"]:
        case "archer" | "set-up":
            yield from (("name", row["one"]), ("notes", row["two"]))
        case "version":
            yield "reason", row["one"]
            yield from ((name, str(text)) for name, text in more.items())
        case "evidence":
            yield from (("kind", row["one"]), ("note", row["two"]))
            yield "label", str(more.get("label") or "")
            yield "arrow", f"arrow {more['arrow']}" if more.get("arrow") else ""
            yield from (("seen", str(name)) for name in _listed(more.get("seen")))
            for mark in _listed(more.get("marks")):
                yield "marks", " ".join(str(part) for part in _listed(mark))
        case _:
            change = more.get("change")
            yield "decided", change if isinstance(change, str) and change else row["one"]
            yield "note", row["two"]


def _listed(value: object) -> list[object]:
    return value if isinstance(value, list) else []
