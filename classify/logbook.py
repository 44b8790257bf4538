"""Archers, set-ups and their versions: facts go in to be kept; what was kept comes out.

Nothing is overwritten without its history, and every delete can be undone. Evidence and decisions
are in `classify.evidence_book`, clips in `classify.clip_store`, undo in `classify.logbook_undo`.
"""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

from classify.logbook_file import LogbookFile, new_id, now
from classify.logbook_undo import keep_history, kept_json
from classify.setup_sheet import SetUp, fill_sheet
from classify.types import Hand
from tracker.types import InputError


@dataclass(frozen=True, kw_only=True)
class Archer:
    """An archer as the logbook knows them.

    Attributes
    ----------
    id, name, hand, notes
        A name or a code; the hand is None while nobody said.
    """

    id: str
    name: str
    hand: Hand | None
    notes: str


@dataclass(frozen=True, kw_only=True)
class Bow:
    """One set-up of an archer through all its versions.

    Attributes
    ----------
    id, archer_id, name
        Which, whose, what it is called.
    """

    id: str
    archer_id: str
    name: str


@dataclass(frozen=True, kw_only=True)
class Version:
    """One version of a set-up sheet.

    Attributes
    ----------
    id, setup_id, number
        Which; versions count from 1.
    dated, reason
        ISO date, and why it was made.
    sheet
        As typed.
    """

    id: str
    setup_id: str
    number: int
    dated: str
    reason: str
    sheet: SetUp


LONGEST_NAME = 120
"""Characters of a name; it stands in tables, in addresses and above reports. Chosen here."""


def add_archer(book: LogbookFile, name: str, *, hand: Hand | None, notes: str = "") -> Archer:
    """Write an archer into the logbook.

    Parameters
    ----------
    book
        The logbook.
    name
        A name or a code, not empty, not in use.
    hand
        None while nobody said.
    notes
        Anything.

    Returns
    -------
    Archer
        As kept.

    Raises
    ------
    InputError
        If the name is empty or in use.
    """
    archer = Archer(id=new_id(), name=_named(name), hand=hand, notes=notes)
    with book.writing() as db:
        _free_name(db, "archers", "deleted_at IS NULL AND name = ?", (archer.name,), archer.name)
        db.execute(
            "INSERT INTO archers VALUES (?, ?, ?, ?, ?, NULL)",
            (archer.id, archer.name, hand, notes, now()),
        )
    return archer


def change_archer(
    book: LogbookFile, archer: Archer, *, hand: Hand | None, notes: str, reason: str
) -> Archer:
    """Correct what is known of an archer; the old words stay in the history.

    Parameters
    ----------
    book, archer
        Logbook and whom.
    hand, notes
        As they are to be.
    reason
        Why.

    Returns
    -------
    Archer
        As kept now.

    Raises
    ------
    InputError
        If the archer is not any more as `archer` has it.
    """
    changed = Archer(id=archer.id, name=archer.name, hand=hand, notes=notes)
    with book.writing() as db:
        row = db.execute(
            "SELECT * FROM archers WHERE id = ? AND deleted_at IS NULL", (archer.id,)
        ).fetchone()
        if row is None or _archer(row) != archer:
            raise InputError("logbook.changed_meanwhile")
        keep_history(db, "archers", archer.id, reason)
        db.execute("UPDATE archers SET hand = ?, notes = ? WHERE id = ?", (hand, notes, archer.id))
    return changed


def archers(book: LogbookFile) -> list[Archer]:
    """List the archers by name."""
    with book.reading() as db:
        rows = db.execute("SELECT * FROM archers WHERE deleted_at IS NULL ORDER BY name").fetchall()
    return [_archer(row) for row in rows]


def find_archer(book: LogbookFile, name: str) -> Archer:
    """Find an archer by name.

    Parameters
    ----------
    book
        The logbook.
    name
        As written down.

    Returns
    -------
    Archer
        Not deleted.

    Raises
    ------
    InputError
        If there is none; the message names those there are.
    """
    everyone = archers(book)
    for archer in everyone:
        if archer.name == name.strip():
            return archer
    known = ", ".join(archer.name for archer in everyone) or "-"
    raise InputError("logbook.no_archer", name=name, known=known)


def add_setup(
    book: LogbookFile, archer: Archer, name: str, *, typed: Mapping[str, str], dated: str,
    reason: str,
) -> Version:  # fmt: skip
    """Start a set-up with its first version.

    Parameters
    ----------
    book, archer
        Logbook and whose.
    name
        What it is called; not in use by this archer.
    typed
        The sheet's fields.
    dated
        ISO date.
    reason
        Why, for example "as bought".

    Returns
    -------
    Version
        Number 1.

    Raises
    ------
    InputError
        If a field, the date or the name cannot be used.
    """
    sheet = fill_sheet(typed)
    setup_id = new_id()
    with book.writing() as db:
        if not db.execute(
            "SELECT 1 FROM archers WHERE id = ? AND deleted_at IS NULL", (archer.id,)
        ).fetchone():
            raise InputError("logbook.gone_meanwhile")
        where = "deleted_at IS NULL AND archer_id = ? AND name = ?"
        _free_name(db, "setups", where, (archer.id, _named(name)), name)
        db.execute(
            "INSERT INTO setups VALUES (?, ?, ?, ?, NULL)",
            (setup_id, archer.id, _named(name), now()),
        )
        return _insert_version(db, setup_id, 1, sheet, dated, reason)


def change_setup(
    book: LogbookFile, before: Version, changes: Mapping[str, str], *, dated: str, reason: str
) -> Version:
    """Make the next version of a set-up sheet; the old one stays.

    Parameters
    ----------
    book
        The logbook.
    before
        The version that is changed; must be the newest.
    changes
        Fields that differ; an empty text clears one.
    dated
        ISO date.
    reason
        Why.

    Returns
    -------
    Version
        With the next number.

    Raises
    ------
    InputError
        If a field cannot be used, nothing differs, the date is before the first version's, or
        somebody made a newer version meanwhile.
    """
    sheet = before.sheet.with_changes(changes)
    with book.writing() as db:
        return add_version(db, before, sheet, dated=dated, reason=reason)


def add_version(
    db: sqlite3.Connection, before: Version, sheet: SetUp, *, dated: str, reason: str,
    in_words: bool = False,
) -> Version:  # fmt: skip
    """Put the next version in, inside the caller's transaction; see `change_setup`.

    With `in_words` the sheet may read as before: what was changed is no field of it.
    """
    still_there(db, before.setup_id)
    newest = db.execute(
        "SELECT max(number) FROM versions WHERE setup_id = ?", (before.setup_id,)
    ).fetchone()[0]
    if newest != before.number:
        raise InputError("logbook.not_newest", number=before.number, newest=newest)
    if sheet.typed == before.sheet.typed and not in_words:
        raise InputError("logbook.change_nothing")
    not_before_first(db, before.setup_id, dated)
    return _insert_version(db, before.setup_id, before.number + 1, sheet, dated, reason)


def still_there(db: sqlite3.Connection, setup_id: str) -> None:
    """Refuse to add to a set-up that somebody else deleted meanwhile: nobody would see it."""
    row = db.execute(
        "SELECT 1 FROM setups s JOIN archers a ON a.id = s.archer_id"
        " WHERE s.id = ? AND s.deleted_at IS NULL AND a.deleted_at IS NULL",
        (setup_id,),
    ).fetchone()
    if row is None:
        raise InputError("logbook.gone_meanwhile")


def not_before_first(db: sqlite3.Connection, setup_id: str, dated: str) -> None:
    """Refuse a date before the set-up's first version: nothing can have been seen with it then."""
    row = db.execute(
        "SELECT dated FROM versions WHERE setup_id = ? AND number = 1", (setup_id,)
    ).fetchone()
    if row is not None and checked_date(dated) < row["dated"]:
        raise InputError("logbook.date_before", found=dated, first=row["dated"])


def setups(book: LogbookFile, archer: Archer) -> list[Bow]:
    """List the set-ups of an archer by name."""
    with book.reading() as db:
        rows = db.execute(
            "SELECT * FROM setups WHERE archer_id = ? AND deleted_at IS NULL ORDER BY name",
            (archer.id,),
        ).fetchall()
    return [Bow(id=row["id"], archer_id=row["archer_id"], name=row["name"]) for row in rows]


def find_setup(book: LogbookFile, archer: Archer, name: str | None) -> Bow:
    """Find a set-up by name; without a name, the only one.

    Parameters
    ----------
    book, archer
        Logbook and whose.
    name
        None if the archer has just one.

    Returns
    -------
    Bow
        Not deleted.

    Raises
    ------
    InputError
        If there is none, or several and no name.
    """
    there = setups(book, archer)
    known = ", ".join(bow.name for bow in there) or "-"
    if name is None:
        if len(there) != 1:
            raise InputError("logbook.which_setup", archer=archer.name, known=known)
        return there[0]
    for bow in there:
        if bow.name == name.strip():
            return bow
    raise InputError("logbook.no_setup", name=name, archer=archer.name, known=known)


def versions(book: LogbookFile, setup_id: str) -> list[Version]:
    """List the versions of a set-up, oldest first."""
    with book.reading() as db:
        rows = db.execute(
            "SELECT * FROM versions WHERE setup_id = ? ORDER BY number", (setup_id,)
        ).fetchall()
    return [_version(row) for row in rows]


def checked_date(text: str) -> str:
    """Pass an ISO date on, or refuse it."""
    try:
        return date.fromisoformat(text).isoformat()
    except ValueError:
        raise InputError("logbook.date", found=text) from None


def _named(name: str) -> str:
    if not name.strip():
        raise InputError("logbook.no_name")
    if len(name.strip()) > LONGEST_NAME:
        raise InputError("logbook.long_name", found=len(name.strip()), most=LONGEST_NAME)
    return name.strip()


def _free_name(
    db: sqlite3.Connection, table: str, where: str, values: tuple[str, ...], name: str
) -> None:
    if db.execute(f"SELECT 1 FROM {table} WHERE {where}", values).fetchone():  # noqa: S608
        raise InputError("logbook.name_in_use", name=name)


def _insert_version(
    db: sqlite3.Connection, setup_id: str, number: int, sheet: SetUp, dated: str, reason: str
) -> Version:
    version = Version(
        id=new_id(),
        setup_id=setup_id,
        number=number,
        dated=checked_date(dated),
        reason=reason,
        sheet=sheet,
    )
    typed = json.dumps(dict(sheet.typed), ensure_ascii=False)
    db.execute(
        "INSERT INTO versions VALUES (?, ?, ?, ?, ?, ?, ?)",
        (version.id, setup_id, number, version.dated, reason, typed, now()),
    )
    return version


def _archer(row: sqlite3.Row) -> Archer:
    return Archer(id=row["id"], name=row["name"], hand=row["hand"], notes=row["notes"])


def _version(row: sqlite3.Row) -> Version:
    return Version(
        id=row["id"],
        setup_id=row["setup_id"],
        number=row["number"],
        dated=row["dated"],
        reason=row["reason"],
        sheet=fill_sheet({str(k): str(v) for k, v in kept_json(row["typed_json"]).items()}),
    )
