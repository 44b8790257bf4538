"""Take the logbook elsewhere: it goes into one zip file, whole, and comes back out of one.

The zip holds ``logbook.json`` (every row of every table: what is read back), the same as CSV (for
spreadsheets), the clips, and what was said about them. Nothing in a zip is trusted: names, sizes,
links and hashes are checked before anything is kept.
"""

from __future__ import annotations

import csv
import io
import json
import os
import shutil
import sqlite3
import stat
import struct
import uuid
import zipfile
import zlib
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path
from typing import IO, Any, cast

from classify.clip_store import film_there, put_file
from classify.exchange_beside import FOLDERS, check_beside, read_beside, write_beside
from classify.logbook_file import LogbookFile
from classify.logbook_rows import FILE, check_row
from classify.migrations import MIGRATIONS, TABLES
from tracker.types import InputError

FORMAT = "tailsway logbook"
_FOLDERS = ("csv", "clips", *FOLDERS)
MOST_JSON_BYTES = 512 << 20
MOST_CLIP_BYTES = 8 << 30
MOST_FILES = 20_000
MOST_RATIO = 200.0
"""Packed data that unpacks to more than this many times its size is taken for a bomb."""


@dataclass(frozen=True, kw_only=True)
class Exchanged:
    """What went through.

    Attributes
    ----------
    rows
        By table: how many were written (export) or were new (import).
    clips
        How many clips went along (export) or were new (import).
    missing_clips
        Names of clips whose file is gone from the store.
    """

    rows: dict[str, int]
    clips: int
    missing_clips: tuple[str, ...]


def export_zip(book: LogbookFile, to: Path) -> Exchanged:
    """Write the whole logbook and its clips into a zip file.

    Parameters
    ----------
    book
        The logbook; others may use it meanwhile.
    to
        New file; an existing one is not overwritten.

    Returns
    -------
    Exchanged
        What was written.

    Raises
    ------
    InputError
        If the file exists or cannot be written.
    """
    if to.exists():
        raise InputError("logbook.exists", path=str(to))
    tables = _all_rows(book)
    part = to.with_name(f"{to.name}.{uuid.uuid4().hex}.part")
    missing: list[str] = []
    try:
        with zipfile.ZipFile(part, "w", zipfile.ZIP_DEFLATED) as packed:
            head = {"format": FORMAT, "shape": len(MIGRATIONS), "tables": tables}
            packed.writestr("logbook.json", json.dumps(head, ensure_ascii=False, indent=1))
            for name, rows in tables.items():
                packed.writestr(f"csv/{name}.csv", _csv(rows))
            for row in tables["clips"]:
                clip = book.folder / "clips" / str(row["file"])
                if clip.is_file():  # films are packed already: store, do not squeeze again
                    packed.write(clip, f"clips/{row['sha256']}", zipfile.ZIP_STORED)
                else:
                    missing.append(str(row["name"]))
            beside = write_beside(book, packed, {str(row["sha256"]) for row in tables["clips"]})
        with part.open("rb+") as stream:
            os.fsync(stream.fileno())
        part.replace(to)
    except OSError as error:
        reason = error.strerror or str(error)
        raise InputError("logbook.cannot_write", path=str(to), reason=reason) from None
    finally:
        part.unlink(missing_ok=True)
    return Exchanged(
        rows={name: len(rows) for name, rows in tables.items()},
        clips=len(tables["clips"]) - len(missing) + beside,
        missing_clips=tuple(missing),
    )


Row = dict[str, str | int | float | None]


def _all_rows(book: LogbookFile) -> dict[str, list[Row]]:
    with book.reading() as db:
        return {name: _rows_of(db, name) for name in TABLES}


def _rows_of(db: sqlite3.Connection, table: str) -> list[Row]:
    return [dict(row) for row in db.execute(f"SELECT * FROM {table} ORDER BY rowid")]  # noqa: S608 fixed names


def _csv(rows: list[Row]) -> str:
    out = io.StringIO()
    if rows:
        writer = csv.DictWriter(out, fieldnames=list(rows[0]))
        writer.writeheader()
        writer.writerows([{k: _harmless(v) for k, v in row.items()} for row in rows])
    return out.getvalue()


FORMULA = ("=", "+", "-", "@", "\t", "\r", "\n")
"""How a text begins that a spreadsheet would run (https://owasp.org/www-community/attacks/CSV_Injection)."""


def _harmless(value: str | int | float | None) -> str | int | float | None:
    """Keep a spreadsheet from running a text as a formula; `plain_text` takes it back."""
    if isinstance(value, str) and value.lstrip("'").startswith(FORMULA):
        return "'" + value
    return value


def plain_text(cell: str) -> str:
    """Take back the apostrophe that `export_zip` puts before a text that looks like a formula.

    Parameters
    ----------
    cell
        Of a CSV file in an exported zip.

    Returns
    -------
    str
        As it stands in the logbook.

    Examples
    --------
    >>> plain_text("'=1+1"), plain_text("it's")
    ('=1+1', "it's")
    """
    if cell.startswith("'") and cell.lstrip("'").startswith(FORMULA):
        return cell[1:]
    return cell


def import_zip(book: LogbookFile, source: Path) -> Exchanged:
    """Read a zip file that `export_zip` wrote into a logbook.

    Parameters
    ----------
    book
        Empty or not; rows that are there already are left as they are.
    source
        The zip file.

    Returns
    -------
    Exchanged
        What was new.

    Raises
    ------
    InputError
        If it is no such file, is of a later or unknown shape, was tampered with, or a row in it
        contradicts one that is here. A zip of an earlier shape is brought forward.
        Then the logbook's tables are as they were.
    """
    if not source.exists():
        raise InputError("logbook.zip_not_there", path=str(source))
    try:
        with zipfile.ZipFile(source) as packed:
            entries = _checked_entries(packed)
            tables = _tables(packed, entries)
            _room_for(book, entries)
            with book.writing() as db:  # what does not fit is known before a clip is kept
                db.execute("SAVEPOINT rehearsal")
                _put_all(db, tables)
                db.execute("ROLLBACK TO rehearsal")
            check_beside(packed, entries)
            clips = _clips(book, packed, entries, tables["clips"])
            clips += read_beside(book, packed, entries)
    except (*_BROKEN, OSError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise InputError("logbook.no_zip", path=str(source), reason=reason) from None
    with book.writing() as db:
        new = _put_all(db, tables)
    folder = book.folder / "clips"
    missing = [row for row in tables["clips"] if not film_there(folder, str(row["sha256"]))]
    return Exchanged(rows=new, clips=clips, missing_clips=tuple(str(r["name"]) for r in missing))


_BROKEN = (zipfile.BadZipFile, zlib.error, struct.error, EOFError, RuntimeError, ValueError)
"""What the standard library says of a zip file that is broken or locked (`NotImplementedError` is a
`RuntimeError`, a name that is no text a `ValueError`)."""


def _checked_entries(packed: zipfile.ZipFile) -> dict[str, zipfile.ZipInfo]:
    """Look at every name and size before anything is unpacked."""
    entries: dict[str, zipfile.ZipInfo] = {}
    infos = packed.infolist()
    if len(infos) > MOST_FILES:
        raise InputError("logbook.zip_too_many", found=len(infos), most=MOST_FILES)
    for info in infos:
        name = info.filename
        parts = name.split("/")
        expected = name == "logbook.json" or (len(parts) == 2 and parts[0] in _FOLDERS)
        strange = "\\" in name or ".." in parts or name.startswith("/") or name in entries
        kind = stat.S_IFMT(info.external_attr >> 16)
        packing = info.compress_type in (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED)
        plain = kind in (0, stat.S_IFREG) and packing and not info.flag_bits & 0x1
        if not expected or strange or not plain or info.is_dir():
            raise InputError("logbook.zip_entry", name=name[:80])
        most = MOST_CLIP_BYTES if parts[0] == "clips" else MOST_JSON_BYTES
        ratio = info.file_size / max(info.compress_size, 1)
        if info.file_size > most or (info.file_size > 1 << 20 and ratio > MOST_RATIO):
            raise InputError("logbook.zip_bomb", name=name[:80])
        entries[name] = info
    total = sum(info.file_size for info in infos)
    if total > max(MOST_RATIO * _size(packed), 1 << 20):  # entries that share their bytes
        raise InputError("logbook.zip_bomb", name=str(packed.filename)[-80:])
    return entries


def _size(packed: zipfile.ZipFile) -> int:
    return 0 if packed.filename is None else Path(packed.filename).stat().st_size


def _room_for(book: LogbookFile, entries: dict[str, zipfile.ZipInfo]) -> None:
    """Refuse, before anything is unpacked, what the disk has no room for."""
    needed = sum(info.file_size for name, info in entries.items() if name.startswith("clips/"))
    free = shutil.disk_usage(book.folder).free
    if needed > free:
        raise InputError("logbook.zip_no_room", needed_mb=needed / 2**20, free_mb=free / 2**20)


def _tables(
    packed: zipfile.ZipFile, entries: dict[str, zipfile.ZipInfo]
) -> dict[str, list[dict[str, Any]]]:
    """Read the rows and check that they have the columns of their tables."""
    if "logbook.json" not in entries:
        raise InputError("logbook.no_zip", path=str(packed.filename), reason="no logbook.json")
    try:
        with packed.open("logbook.json") as stream:
            head = json.loads(_limited(stream, entries["logbook.json"]))
        if head["format"] != FORMAT:
            raise ValueError("another format")
        shape = _known_shape(head["shape"])
        tables = cast("dict[str, list[dict[str, Any]]]", head["tables"])
        if shape < len(MIGRATIONS):
            tables = _brought_forward(tables, shape)
        return {name: [dict(row) for row in tables[name]] for name in TABLES}
    except (KeyError, TypeError, ValueError, RecursionError) as error:
        reason = f"logbook.json: {error}"
        raise InputError("logbook.no_zip", path=str(packed.filename), reason=reason) from None


def _known_shape(shape: object) -> int:
    """Pass on the shape that a zip file says it has; refuse a later one, and what is none."""
    if not isinstance(shape, int) or isinstance(shape, bool) or shape < 1:
        raise InputError("logbook.zip_unknown", found=repr(shape)[:40], known=len(MIGRATIONS))
    if shape > len(MIGRATIONS):
        raise InputError("logbook.zip_newer", found=shape, known=len(MIGRATIONS))
    return shape


def _brought_forward(tables: dict[str, list[Row]], shape: int) -> dict[str, list[Row]]:
    """Bring rows of an earlier shape to today's, by the steps that a logbook file goes through."""
    with closing(sqlite3.connect(":memory:", isolation_level=None)) as db:
        db.row_factory = sqlite3.Row
        for step in MIGRATIONS[:shape]:
            db.executescript(step)
        names = [str(row["name"]) for row in db.execute(
            "SELECT name FROM sqlite_master WHERE type = 'table'")]  # fmt: skip
        try:
            for name in names:
                for row in tables[name]:
                    _insert(db, name, row)
            for step in MIGRATIONS[shape:]:
                db.executescript(step)
        except (sqlite3.Error, OverflowError, UnicodeError) as error:
            raise InputError("logbook.does_not_fit", reason=str(error)) from None
        return {name: _rows_of(db, name) for name in TABLES}


def _limited(stream: IO[bytes], info: zipfile.ZipInfo) -> bytes:
    """Read no more than was announced, whatever the entry really holds."""
    content = stream.read(info.file_size + 1)
    if len(content) != info.file_size:
        raise InputError("logbook.zip_bomb", name=info.filename)
    return content


def _clips(
    book: LogbookFile, packed: zipfile.ZipFile, entries: dict[str, zipfile.ZipInfo],
    rows: list[dict[str, Any]],
) -> int:  # fmt: skip
    """Keep the clips whose content has the hash that their row names; how many were new."""
    kept = 0
    for row in rows:
        sha256, file = str(row.get("sha256")), str(row.get("file"))
        match = FILE.fullmatch(file)
        if match is None or match["sha256"] != sha256:
            raise InputError("logbook.zip_entry", name=file[:80])
        entry = entries.get(f"clips/{sha256}")
        if entry is not None:
            new = not film_there(book.folder / "clips", sha256)
            try:
                with packed.open(entry) as stream:
                    # the row's own file name, checked above, decides the suffix
                    put_file(book.folder / "clips", stream, file, sha256=sha256)
            except OSError as error:
                reason = error.strerror or str(error)
                place = str(book.folder / "clips")
                raise InputError("logbook.cannot_write", path=place, reason=reason) from None
            kept += new
    return kept


def _names_apart(db: sqlite3.Connection) -> None:
    """Refuse two archers, or two set-ups of one archer, of one name: only one could be reached."""
    for table, owner in (("archers", ""), ("setups", ", archer_id")):
        twice = db.execute(
            f"SELECT name FROM {table} WHERE deleted_at IS NULL GROUP BY name{owner}"  # noqa: S608 fixed names
            " HAVING count(*) > 1"
        ).fetchone()
        if twice is not None:
            raise InputError("logbook.zip_name_in_use", name=twice["name"])


def _put_all(db: sqlite3.Connection, tables: dict[str, list[dict[str, Any]]]) -> dict[str, int]:
    """Put every row in, inside the caller's transaction; how many were new, by table."""
    new = {name: sum(_put(db, name, row) for row in tables[name]) for name in TABLES}
    _names_apart(db)
    broken = db.execute("PRAGMA foreign_key_check").fetchall()
    if broken:
        raise InputError("logbook.does_not_fit", reason=f"{len(broken)} rows point nowhere")
    return new


def _put(db: sqlite3.Connection, table: str, row: dict[str, Any]) -> int:
    """Put one row in; 1 if it was new, 0 if the same row was there, else a refusal."""
    columns, values = _columns_and_values(db, table, row)
    check_row(table, row)
    key = columns[0]
    there = db.execute(f"SELECT * FROM {table} WHERE {key} = ?", (row[key],)).fetchone()  # noqa: S608 fixed names
    if there is not None:
        if table != "clips" and [there[column] for column in columns] != values:
            raise InputError("logbook.contradicts", what=table, id=str(row[key])[:40])
        return 0
    _insert(db, table, row)
    return 1


def _columns_and_values(
    db: sqlite3.Connection, table: str, row: dict[str, Any]
) -> tuple[list[str], list[Any]]:
    """Columns of a table and a row's values in their order; refuse a row of another shape."""
    columns = [str(info["name"]) for info in db.execute(f"PRAGMA table_info({table})")]
    if sorted(columns) != sorted(row):
        raise InputError("logbook.does_not_fit", reason=f"columns of {table}")
    values = [row[column] for column in columns]
    if any(not isinstance(value, str | int | float | None) for value in values):
        raise InputError("logbook.does_not_fit", reason=f"a value of {table}")
    return columns, values


def _insert(db: sqlite3.Connection, table: str, row: dict[str, Any]) -> None:
    _, values = _columns_and_values(db, table, row)
    marks = ", ".join("?" * len(values))
    db.execute(f"INSERT INTO {table} VALUES ({marks})", values)  # noqa: S608 fixed names
