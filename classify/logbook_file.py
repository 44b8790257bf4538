"""The logbook's file: a folder goes in; short-lived connections, safe against a crash, come out.

One connection for every call, so that a command and a dashboard can use one logbook at once.
"""

from __future__ import annotations

import sqlite3
import uuid
from collections.abc import Iterator
from contextlib import closing, contextmanager
from datetime import UTC, datetime
from pathlib import Path

from classify.migrations import migrate
from tracker.types import InputError

BUSY_S = 10.0
"""How long a call waits for another writer."""

FILE_NAME = "logbook.sqlite3"


class LogbookFile:
    """Where the logbook lives.

    Parameters
    ----------
    folder
        Made if it is missing; the database stands in it, clips in ``clips`` beside it.

    Raises
    ------
    InputError
        If the folder cannot be used, or the file in it is no logbook.
    """

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.path = folder / FILE_NAME
        try:
            folder.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise InputError("logbook.folder", path=str(folder), reason=str(error)) from None
        with self._connected():
            pass

    @contextmanager
    def _connected(self) -> Iterator[sqlite3.Connection]:
        try:
            with closing(
                sqlite3.connect(self.path, timeout=BUSY_S, isolation_level=None)
            ) as connection:
                connection.row_factory = sqlite3.Row
                connection.execute("PRAGMA journal_mode = WAL")
                connection.execute("PRAGMA synchronous = FULL")
                connection.execute("PRAGMA foreign_keys = ON")
                migrate(connection)
                yield connection
        except sqlite3.DatabaseError as error:
            raise self._explained(error) from error

    def _explained(self, error: sqlite3.DatabaseError) -> InputError:
        if isinstance(error, sqlite3.OperationalError) and "locked" in str(error):
            return InputError("logbook.busy", path=str(self.path), seconds=BUSY_S)
        if isinstance(error, sqlite3.IntegrityError):
            return InputError("logbook.does_not_fit", reason=str(error))
        return InputError("logbook.unreadable", path=str(self.path), reason=str(error))

    @contextmanager
    def reading(self) -> Iterator[sqlite3.Connection]:
        """Give a connection that sees one moment of the logbook.

        Yields
        ------
        sqlite3.Connection
            Rows by name.
        """
        with self._connected() as connection:
            connection.execute("BEGIN")
            try:
                yield connection
            finally:
                connection.execute("ROLLBACK")

    @contextmanager
    def writing(self) -> Iterator[sqlite3.Connection]:
        """Give a connection whose changes are kept all together or not at all.

        Yields
        ------
        sqlite3.Connection
            When the block ends without an error its changes are on the disk.
        """
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
            with self._connected() as connection, closing(sqlite3.connect(part)) as copy:
                connection.backup(copy, pages=256)
            part.replace(to)
        except OSError as error:
            raise InputError("logbook.cannot_write", path=str(to), reason=str(error)) from None
        finally:
            part.unlink(missing_ok=True)


def new_id() -> str:
    """Make a name for a row that no other logbook has."""
    return uuid.uuid4().hex


def now() -> str:
    """Give this moment, ISO 8601 in UTC."""
    return datetime.now(UTC).isoformat(timespec="milliseconds")
