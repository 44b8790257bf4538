"""Bring a logbook back: a backup or an exported zip goes in and becomes the logbook.

What stood there before is kept beside it, under a name of its own, so that this can be undone.
"""

from __future__ import annotations

import os
import shutil
import sqlite3
import tempfile
import uuid
import zipfile
from contextlib import closing
from datetime import datetime
from pathlib import Path

from classify.exchange import import_zip
from classify.exchange_beside import merge_lines
from classify.logbook_file import BUSY_S, FILE_NAME, LogbookFile
from classify.migrations import APPLICATION_ID, MIGRATIONS
from tracker.types import InputError


def restore(folder: Path, source: Path) -> Path | None:
    """Put a backup, or an exported zip, in the place of the logbook.

    Parameters
    ----------
    folder
        The coach's folder; the logbook in it may be damaged or missing.
    source
        A file that `LogbookFile.backup` or `classify.exchange.export_zip` wrote; it stays as it is.

    Returns
    -------
    Path or None
        Where the logbook that stood there is kept now; None if there was none.

    Raises
    ------
    InputError
        If the source is neither or is not whole, the logbook is in use, or the folder cannot be
        written. The logbook is as it was then.
    """
    part = folder / f"{FILE_NAME}.{uuid.uuid4().hex}.part"
    try:
        folder.mkdir(parents=True, exist_ok=True)
        if zipfile.is_zipfile(source):
            _unpack(folder, source, part)
        else:
            _check_backup(source)
            shutil.copyfile(source, part)
        with part.open("rb+") as stream:
            os.fsync(stream.fileno())
        aside = _set_aside(folder)
        part.replace(folder / FILE_NAME)
    except OSError as error:
        reason = error.strerror or str(error)
        raise InputError("logbook.cannot_restore", path=str(source), reason=reason) from None
    finally:
        part.unlink(missing_ok=True)
    LogbookFile(folder)  # brings a backup of an earlier shape forward
    return aside


def _check_backup(source: Path) -> None:
    """Refuse what is no backup, or is not whole, before anything is touched."""
    if not source.is_file():
        raise InputError("logbook.no_backup", path=str(source), reason=os.strerror(2))
    uri = f"{source.resolve().as_uri()}?mode=ro&immutable=1"
    try:
        with closing(sqlite3.connect(uri, uri=True)) as db:
            ours = db.execute("PRAGMA application_id").fetchone()[0] == APPLICATION_ID
            shape = int(db.execute("PRAGMA user_version").fetchone()[0])
            found = [str(row[0]) for row in db.execute("PRAGMA integrity_check(1)")]
            loose = db.execute("PRAGMA foreign_key_check").fetchall()
    except sqlite3.DatabaseError as error:
        raise InputError("logbook.no_backup", path=str(source), reason=str(error)) from None
    if not ours:
        raise InputError("logbook.no_backup", path=str(source), reason="application_id")
    if shape > len(MIGRATIONS):
        raise InputError("logbook.newer", found=shape, known=len(MIGRATIONS))
    if found != ["ok"] or loose:
        raise InputError("logbook.no_backup", path=str(source), reason=found[0])


def _unpack(folder: Path, source: Path, part: Path) -> None:
    """Make a logbook of a zip in a folder beside, then bring its clips and notes over."""
    with tempfile.TemporaryDirectory(dir=folder, prefix="restore-") as beside:
        book = LogbookFile(Path(beside))
        import_zip(book, source)
        book.backup(part)
        clips = folder / "clips"
        clips.mkdir(exist_ok=True)
        for kept in (Path(beside) / "clips").glob("*"):
            if not (clips / kept.name).exists():
                kept.replace(clips / kept.name)
        for lines in Path(beside).rglob("*.jsonl"):
            merge_lines(folder / lines.relative_to(beside), lines.read_bytes())


def _set_aside(folder: Path) -> Path | None:
    """Move the logbook that stands there, with what is beside it, to a name of its own."""
    here = folder / FILE_NAME
    if not here.exists():
        return None
    _let_go(here)
    aside = folder / f"logbook-before-{datetime.now().astimezone():%Y%m%d-%H%M%S-%f}.sqlite3"
    for end in ("-wal", "-shm", ""):
        part = here.with_name(FILE_NAME + end)
        if part.exists():
            part.replace(aside.with_name(aside.name + end))
    return aside


def _let_go(here: Path) -> None:
    """Wait until nobody writes, and bring the newest entries into the file itself."""
    try:
        with closing(sqlite3.connect(here, timeout=BUSY_S, isolation_level=None)) as db:
            db.execute("BEGIN IMMEDIATE")
            db.execute("ROLLBACK")
            db.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    except sqlite3.OperationalError as error:
        if error.sqlite_errorcode & 0xFF in (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED):
            raise InputError("logbook.busy", path=str(here), seconds=BUSY_S) from None
    except sqlite3.DatabaseError:
        return  # damaged: what stands beside it goes along
