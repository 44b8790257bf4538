"""The shape of the logbook file: an open connection goes in, a file of today's shape comes out.

Every step stands here for good: a file of any earlier shape is brought forward one by one, and a
file of a later one is left alone.
"""

from __future__ import annotations

import sqlite3

from tracker.types import InputError

MIGRATIONS: tuple[str, ...] = (
    """
    CREATE TABLE archers (
        id TEXT PRIMARY KEY, name TEXT NOT NULL, hand TEXT CHECK (hand IN ('right', 'left')),
        notes TEXT NOT NULL, made_at TEXT NOT NULL, deleted_at TEXT
    ) STRICT;
    CREATE TABLE setups (
        id TEXT PRIMARY KEY, archer_id TEXT NOT NULL REFERENCES archers (id),
        name TEXT NOT NULL, made_at TEXT NOT NULL, deleted_at TEXT
    ) STRICT;
    CREATE TABLE versions (
        id TEXT PRIMARY KEY, setup_id TEXT NOT NULL REFERENCES setups (id),
        number INTEGER NOT NULL, dated TEXT NOT NULL, reason TEXT NOT NULL,
        typed_json TEXT NOT NULL, made_at TEXT NOT NULL, UNIQUE (setup_id, number)
    ) STRICT;
    CREATE TABLE clips (
        sha256 TEXT PRIMARY KEY, name TEXT NOT NULL, file TEXT NOT NULL,
        bytes INTEGER NOT NULL, made_at TEXT NOT NULL
    ) STRICT;
    CREATE TABLE evidence (
        id TEXT PRIMARY KEY, version_id TEXT NOT NULL REFERENCES versions (id),
        kind TEXT NOT NULL CHECK (kind IN ('flight', 'bare shaft', 'powder', 'groups', 'eye')),
        dated TEXT NOT NULL, payload_json TEXT NOT NULL, note TEXT NOT NULL,
        clip_sha256 TEXT REFERENCES clips (sha256), made_at TEXT NOT NULL, deleted_at TEXT
    ) STRICT;
    CREATE TABLE decisions (
        id TEXT PRIMARY KEY, version_id TEXT NOT NULL REFERENCES versions (id),
        to_version_id TEXT REFERENCES versions (id), dated TEXT NOT NULL, cure TEXT NOT NULL,
        amount REAL, is_test INTEGER NOT NULL CHECK (is_test IN (0, 1)),
        outcome TEXT CHECK (outcome IN ('better', 'same', 'worse')),
        proposal_json TEXT NOT NULL, note TEXT NOT NULL, made_at TEXT NOT NULL, deleted_at TEXT
    ) STRICT;
    CREATE TABLE history (
        id TEXT PRIMARY KEY, of_table TEXT NOT NULL, of_id TEXT NOT NULL,
        reason TEXT NOT NULL, before_json TEXT NOT NULL, made_at TEXT NOT NULL
    ) STRICT;
    CREATE TABLE deletions (
        id TEXT PRIMARY KEY, of_table TEXT NOT NULL, of_id TEXT NOT NULL,
        made_at TEXT NOT NULL, undone_at TEXT
    ) STRICT;
    CREATE INDEX setups_of_archer ON setups (archer_id);
    CREATE INDEX evidence_of_version ON evidence (version_id);
    CREATE INDEX decisions_of_version ON decisions (version_id);
    CREATE INDEX history_of_row ON history (of_table, of_id);
    """,
)
"""One script for each step; `user_version` counts those that a file has been through."""

TABLES = ("archers", "setups", "versions", "clips", "evidence", "decisions", "history", "deletions")
"""In an order in which rows can be put in without naming a row that is not there yet."""

APPLICATION_ID = 0x7461696C
"""Marks a file as a logbook of ours ("tail")."""


def migrate(connection: sqlite3.Connection) -> None:
    """Bring a logbook file to today's shape.

    Parameters
    ----------
    connection
        In autocommit mode.

    Raises
    ------
    InputError
        If the file was written by a later version, or is some other program's.
    """
    done = int(connection.execute("PRAGMA user_version").fetchone()[0])
    if done == len(MIGRATIONS):
        return
    if done > len(MIGRATIONS):
        raise InputError("logbook.newer", found=done, known=len(MIGRATIONS))
    connection.execute("BEGIN IMMEDIATE")
    try:
        done = int(connection.execute("PRAGMA user_version").fetchone()[0])
        foreign = connection.execute(
            "SELECT count(*) FROM sqlite_master WHERE type = 'table'"
        ).fetchone()[0]
        if done == 0 and foreign:
            raise InputError("logbook.foreign_file")
        for step in MIGRATIONS[done:]:
            for statement in step.split(";"):
                if statement.strip():
                    connection.execute(statement)
        connection.execute(f"PRAGMA application_id = {APPLICATION_ID}")
        connection.execute(f"PRAGMA user_version = {len(MIGRATIONS)}")
        connection.execute("COMMIT")
    except BaseException:
        connection.execute("ROLLBACK")
        raise
