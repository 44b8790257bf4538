"""The logbook's file: a folder goes in; short-lived connections, safe against a crash, come out.

One connection for every call, so that a command and a dashboard can use one logbook at once. A
logbook that cannot be written, or is damaged, is opened to be read only: `LogbookFile.problem` says
why.
"""

from __future__ import annotations

import os
import sqlite3
import time
import uuid
from collections.abc import Iterator
from contextlib import closing, contextmanager
from datetime import UTC, datetime
from functools import cache
from pathlib import Path

from classify.logbook_rescue import copied, salvaged
from classify.migrations import MIGRATIONS, migrate
from tracker.types import InputError, Message, message

BUSY_S = 10.0
"""How long a call waits for another writer."""

LOOK_AGAIN_S = 600.0
"""After which every page of the file is looked over again; chosen here: it takes 0.2 s for a
logbook of 50,000 readings."""

FILE_NAME = "logbook.sqlite3"

UNWRITABLE = frozenset({"logbook.read_only", "logbook.disk_full", "logbook.disk"})
"""What keeps a logbook from being written, but need not keep it from being read."""

_ERRORS = {
    sqlite3.SQLITE_BUSY: "busy",
    sqlite3.SQLITE_LOCKED: "busy",
    sqlite3.SQLITE_PROTOCOL: "busy",
    sqlite3.SQLITE_CONSTRAINT: "does_not_fit",
    sqlite3.SQLITE_FULL: "disk_full",
    sqlite3.SQLITE_IOERR: "disk",
    sqlite3.SQLITE_READONLY: "read_only",
    sqlite3.SQLITE_PERM: "read_only",
    sqlite3.SQLITE_CANTOPEN: "read_only",
    sqlite3.SQLITE_CORRUPT: "damaged",
}
"""Sentence by SQLite's primary result code (https://www.sqlite.org/rescode.html)."""


class LogbookFile:
    """Where the logbook lives.

    Parameters
    ----------
    folder
        Made if it is missing; the database stands in it, clips in ``clips`` beside it.
    rescue
        True opens it as if it were damaged: to be read only, and what cannot be read is left out.

    Attributes
    ----------
    problem
        Why the logbook can be read only; None if it can be written.

    Raises
    ------
    InputError
        If the folder cannot be used, or the file in it is no logbook.
    """

    def __init__(self, folder: Path, *, rescue: bool = False) -> None:
        self.folder = folder
        self.path = folder / FILE_NAME
        self.problem: Message | None = None
        self._read_from = ""
        try:
            folder.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            reason = error.strerror or str(error)
            raise InputError("logbook.folder", path=str(folder), reason=reason) from None
        try:
            with self._connected() as connection:
                self._sound(connection)
            if rescue:
                raise InputError("logbook.damaged", path=str(self.path), reason="")
        except InputError as mistake:
            self._open_to_read(mistake)

    def _sound(self, connection: sqlite3.Connection) -> None:
        """Look every page over now and then: a damaged file must not be written on."""
        file = (str(self.path), self.path.stat().st_ino)
        last = looked_over().get(file)
        if last is not None and time.monotonic() - last < LOOK_AGAIN_S:
            return
        found = [str(row[0]) for row in connection.execute("PRAGMA quick_check(1)")]
        if found != ["ok"]:
            raise InputError("logbook.damaged", path=str(self.path), reason=found[0])
        looked_over()[file] = time.monotonic()

    def _open_to_read(self, mistake: InputError) -> None:
        """Fall back on reading what is there; raise if there is nothing to be read."""
        key = mistake.message.key
        if key == "logbook.damaged":
            looked_over().clear()
            rescued = salvaged(self.path)
            self._read_from = rescued.uri
            self.problem = message(
                "logbook.damaged_open",
                path=str(self.path),
                kept=sum(rescued.kept.values()),
                lost=sum(rescued.lost.values()),
            )
        elif key in UNWRITABLE and self.path.is_file():
            self._read_from = self._uri_to_read()
            self.problem = mistake.message
        elif key == "logbook.read_only":
            raise InputError(
                "logbook.folder", path=str(self.folder), reason=os.strerror(13)
            ) from None
        else:
            raise mistake

    def _uri_to_read(self) -> str:
        """Find a way to read a file that cannot be written: it as it is, else a copy of it."""
        beside = self.path.with_name(f"{FILE_NAME}-wal")
        if not beside.is_file() or beside.stat().st_size == 0:
            uri = f"{self.path.resolve().as_uri()}?mode=ro&immutable=1"
            with self._explaining(), closing(sqlite3.connect(uri, uri=True)) as connection:
                shape = connection.execute("PRAGMA user_version").fetchone()[0]
            if shape == len(MIGRATIONS):
                return uri
        # the newest entries stand in a file of their own, or the shape is an earlier one
        uri = copied(self.path)
        with self._explaining(), closing(_connect(uri)) as connection:
            migrate(connection)
        return uri

    @contextmanager
    def _connected(self) -> Iterator[sqlite3.Connection]:
        with self._explaining(), closing(_connect(str(self.path))) as connection:
            connection.execute("PRAGMA journal_mode = WAL")
            connection.execute("PRAGMA synchronous = FULL")
            connection.execute("PRAGMA foreign_keys = ON")
            migrate(connection)
            yield connection

    @contextmanager
    def _explaining(self) -> Iterator[None]:
        """Turn what SQLite says into a sentence."""
        try:
            yield
        except sqlite3.DatabaseError as error:
            raise self._explained(error) from error

    def _explained(self, error: sqlite3.DatabaseError) -> InputError:
        code = getattr(error, "sqlite_errorcode", None)
        known = "unreadable" if code is None else _ERRORS.get(code & 0xFF, "unreadable")
        if code is None and "UTF-8" in str(error):
            known = "damaged"  # a text that was never written so
        if known == "damaged":
            looked_over().clear()
        if known == "busy":
            return InputError("logbook.busy", path=str(self.path), seconds=BUSY_S)
        if known == "does_not_fit":
            return InputError("logbook.does_not_fit", reason=str(error))
        return InputError(f"logbook.{known}", path=str(self.path), reason=str(error))

    @contextmanager
    def reading(self) -> Iterator[sqlite3.Connection]:
        """Give a connection that sees one moment of the logbook.

        Yields
        ------
        sqlite3.Connection
            Rows by name.
        """
        with self._to_read() as connection:
            connection.execute("BEGIN")
            try:
                yield connection
            finally:
                connection.execute("ROLLBACK")

    @contextmanager
    def _to_read(self) -> Iterator[sqlite3.Connection]:
        if self.problem is None:
            with self._connected() as connection:
                yield connection
        else:
            with self._explaining(), closing(_connect(self._read_from)) as connection:
                yield connection

    @contextmanager
    def writing(self) -> Iterator[sqlite3.Connection]:
        """Give a connection whose changes are kept all together or not at all.

        Yields
        ------
        sqlite3.Connection
            When the block ends without an error its changes are on the disk.

        Raises
        ------
        InputError
            If the logbook can be read only, is in use for too long, or the disk is full; nothing
            is kept then, and the same can be tried again.
        """
        if self.problem is not None:
            raise InputError(self.problem.key, **self.problem.values)
        with self._connected() as connection:
            connection.execute("BEGIN IMMEDIATE")
            try:
                yield connection
                connection.execute("COMMIT")
            except BaseException:
                if connection.in_transaction:
                    connection.execute("ROLLBACK")
                raise

    def backup(self, to: Path) -> None:
        """Copy the database as it is now, while others use it.

        Parameters
        ----------
        to
            New file; an existing one is not overwritten.

        Raises
        ------
        InputError
            If the file exists or cannot be written.
        """
        if to.exists():
            raise InputError("logbook.exists", path=str(to))
        part = to.with_name(f"{to.name}.{uuid.uuid4().hex}.part")
        try:
            part.touch()  # what cannot be made there is no fault of the logbook
            with self._to_read() as connection, closing(sqlite3.connect(part)) as copy:
                try:
                    # All pages in one step: between steps a busy writer would make it begin again.
                    connection.backup(copy, pages=-1)
                except sqlite3.Error as error:
                    raise InputError(
                        "logbook.cannot_write", path=str(to), reason=str(error)
                    ) from None
            with part.open("rb+") as stream:
                os.fsync(stream.fileno())
            part.replace(to)
        except OSError as error:
            reason = error.strerror or str(error)
            raise InputError("logbook.cannot_write", path=str(to), reason=reason) from None
        finally:
            part.unlink(missing_ok=True)


def _connect(place: str) -> sqlite3.Connection:
    """Open a path, or a ``file:`` address."""
    connection = sqlite3.connect(
        place, timeout=BUSY_S, isolation_level=None, uri=place.startswith("file:")
    )
    connection.row_factory = sqlite3.Row
    return connection


@cache
def looked_over() -> dict[tuple[str, int], float]:
    """Tell when this process last found a file whole, by path and number of the file."""
    return {}


def new_id() -> str:
    """Make a name for a row that no other logbook has."""
    return uuid.uuid4().hex


def now() -> str:
    """Give this moment, ISO 8601 in UTC."""
    return datetime.now(UTC).isoformat(timespec="milliseconds")
