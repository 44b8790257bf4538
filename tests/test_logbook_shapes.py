"""Exact: a logbook of every earlier shape opens today, whole; a step that fails changes nothing."""

from __future__ import annotations

import hashlib
import os
import signal
import sqlite3
import subprocess
import sys
import threading
import time
from contextlib import closing
from pathlib import Path

import pytest

import classify.exchange
import classify.logbook_file
import classify.logbook_rescue
import classify.logbook_restore
import classify.migrations
from classify import logbook
from classify.casebook import open_case, propose
from classify.evidence_book import decisions_of, evidence_of
from classify.exchange import export_zip, import_zip
from classify.logbook_file import FILE_NAME, LogbookFile
from classify.logbook_restore import restore
from classify.logbook_undo import history, undo_delete
from classify.migrations import MIGRATIONS, TABLES
from tests.denied import denied
from tracker.types import InputError

DATA = Path(__file__).parent / "data"
EARLIER = sorted(DATA.glob("logbook_shape_*.sql"))
"""A logbook of each shape as the version that first wrote it left it."""

STEP_HASHES = ("bc513a945209fdec",)
LATER = """
    ALTER TABLE clips ADD COLUMN seconds REAL;
    UPDATE archers SET notes = notes || '!';
    CREATE INDEX clips_by_name ON clips (name);
"""
"""A step that a later version could have: it changes a table's columns, its rows and its index."""


def earlier_file(fixture: Path, folder: Path) -> Path:
    """Make the file of an earlier shape."""
    folder.mkdir(parents=True, exist_ok=True)
    path = folder / FILE_NAME
    with closing(sqlite3.connect(path)) as db:
        db.execute("PRAGMA journal_mode = WAL")
        db.executescript(fixture.read_text(encoding="utf-8"))
    return path


def dump(path: Path) -> str:
    """Write a file's tables and rows as text."""
    with closing(sqlite3.connect(path)) as db:
        return "\n".join(db.iterdump())


@pytest.fixture
def later(monkeypatch: pytest.MonkeyPatch):
    """Give the program one step more than it has."""

    def set_steps(*steps: str) -> None:
        for module in (
            classify.migrations, classify.exchange, classify.logbook_file,
            classify.logbook_rescue, classify.logbook_restore,
        ):  # fmt: skip
            monkeypatch.setattr(module, "MIGRATIONS", (*MIGRATIONS, *steps))

    return set_steps


def test_there_is_a_file_of_every_shape():
    """Whoever adds a step adds a logbook as the version before it wrote it."""
    assert [int(path.stem.rpartition("_")[2]) for path in EARLIER] == list(
        range(1, len(MIGRATIONS) + 1)
    )


def test_a_step_never_changes_once_it_is_out():
    """Files out there went through these very steps."""
    found = [hashlib.sha256(step.encode()).hexdigest()[:16] for step in MIGRATIONS]
    assert tuple(found[: len(STEP_HASHES)]) == STEP_HASHES


@pytest.mark.parametrize("fixture", EARLIER, ids=lambda path: path.stem)
def test_an_earlier_logbook_opens_whole(tmp_path, fixture):
    """Every row is there, and means what it meant."""
    before = dump(earlier_file(fixture, tmp_path / "as it was"))
    earlier_file(fixture, tmp_path)
    book = LogbookFile(tmp_path)
    rows = [line for line in before.splitlines() if line.startswith("INSERT")]
    assert rows
    assert [line for line in dump(book.path).splitlines() if line.startswith("INSERT")] == rows
    archer = logbook.find_archer(book, "Ünal-7")
    (bow,) = logbook.setups(book, archer)
    first, second = logbook.versions(book, bow.id)
    assert first.sheet.typed["brace_height"] == "8 3/4 in"
    bare, eye = evidence_of(book, second)
    assert (bare.payload["distance_m"], eye.note) == (20.0, "=1+1, ';--")
    assert history(book, bare.id)[0][1] == "tape measure"
    assert decisions_of(book, bow.id)[0].outcome == "better"
    assert propose(open_case(book, archer, bow.id)).cure == "plunger_softer"
    assert undo_delete(book)[0] == "archers"
    assert logbook.find_archer(book, "Göran 'G'; x").notes == "line one\nline two"
    export_zip(book, tmp_path / "all.zip")
    other = LogbookFile(tmp_path / "other")
    import_zip(other, tmp_path / "all.zip")
    assert dump(other.path) == dump(book.path)


@pytest.mark.parametrize("fixture", EARLIER, ids=lambda path: path.stem)
def test_a_later_step_brings_every_earlier_file_forward(tmp_path, later, fixture):
    """New column, changed rows, new index; nothing else is touched, and once only."""
    earlier_file(fixture, tmp_path)
    later(LATER)
    for _ in range(2):
        book = LogbookFile(tmp_path)
        with book.reading() as db:
            assert db.execute("PRAGMA user_version").fetchone()[0] == len(MIGRATIONS) + 1
            assert [row["seconds"] for row in db.execute("SELECT * FROM clips")] == [None]
            assert db.execute("PRAGMA integrity_check").fetchone()[0] == "ok"
        assert logbook.find_archer(book, "Ünal-7").notes == "indoor season!"


def test_zip_and_backup_of_an_earlier_shape_are_brought_forward(tmp_path, later):
    """What was packed by an earlier version is of use to a later one."""
    earlier_file(EARLIER[0], tmp_path / "a")
    book = LogbookFile(tmp_path / "a")
    book.backup(tmp_path / "copy.sqlite3")
    export_zip(book, tmp_path / "all.zip")
    later(LATER)
    for name in ("copy.sqlite3", "all.zip"):
        restore(tmp_path / name[:3], tmp_path / name)
        again = LogbookFile(tmp_path / name[:3])
        assert logbook.find_archer(again, "Ünal-7").notes == "indoor season!"


@pytest.mark.parametrize(
    "broken", ["CREATE TABLE archers (x);", "UPDATE archers SET hand = 'third';", "nonsense;"]
)
def test_a_step_that_fails_changes_nothing(tmp_path, later, broken):
    """What came before the failure in the same step, and the step before, are taken back too."""
    path = earlier_file(EARLIER[-1], tmp_path)
    before = dump(path)
    later(LATER, f"CREATE TABLE extra (x); {broken}")
    with pytest.raises(InputError):
        LogbookFile(tmp_path)
    assert dump(path) == before
    with closing(sqlite3.connect(path)) as db:
        assert db.execute("PRAGMA user_version").fetchone()[0] == len(MIGRATIONS)


def test_two_that_bring_it_forward_at_once(tmp_path, later):
    """A column can be added once only; the others wait and find it done."""
    earlier_file(EARLIER[0], tmp_path)
    later(LATER)
    failed = []

    def open_it() -> None:
        try:
            LogbookFile(tmp_path)
        except InputError as mistake:
            failed.append(mistake)

    threads = [threading.Thread(target=open_it) for _ in range(6)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert failed == []
    assert logbook.find_archer(LogbookFile(tmp_path), "Ünal-7").notes == "indoor season!"


ENDLESS = """
import sys
import classify.migrations as migrations
import classify.logbook_file as logbook_file
slow = '''
    CREATE TABLE extra (x);
    INSERT INTO extra WITH RECURSIVE c (x) AS
        (SELECT 1 UNION ALL SELECT x + 1 FROM c) SELECT x FROM c
'''
migrations.MIGRATIONS = (*migrations.MIGRATIONS, slow)
from pathlib import Path
print("begun", flush=True)
logbook_file.LogbookFile(Path(sys.argv[1]))
"""


def test_killed_while_it_is_brought_forward(tmp_path):
    """Half a step is no step: the file is as the earlier version left it."""
    path = earlier_file(EARLIER[0], tmp_path)
    before = dump(path)
    process = subprocess.Popen(
        [sys.executable, "-c", ENDLESS, str(tmp_path)],
        stdout=subprocess.PIPE,
        env={**os.environ, "PYTHONPATH": os.pathsep.join(sys.path)},
    )
    process.stdout.readline()
    wal = path.with_name(f"{FILE_NAME}-wal")
    until = time.monotonic() + 20  # the step is under way once its rows reach the disk
    while not (wal.is_file() and wal.stat().st_size > 100_000) and time.monotonic() < until:
        time.sleep(0.02)
    process.send_signal(signal.SIGKILL)
    process.communicate()
    assert wal.stat().st_size > 100_000
    assert dump(path) == before
    assert logbook.find_archer(LogbookFile(tmp_path), "Ünal-7").notes == "indoor season"


def test_an_earlier_file_that_cannot_be_written_is_read_all_the_same(tmp_path, later):
    """A copy of it is brought forward; the file itself stays as it is."""
    path = earlier_file(EARLIER[0], tmp_path)
    before = path.read_bytes()
    later(LATER)
    with denied(tmp_path) as folder:
        book = LogbookFile(folder)
        assert book.problem is not None
        assert logbook.find_archer(book, "Ünal-7").notes == "indoor season!"
        with book.reading() as db:
            assert {row[0] for row in db.execute("SELECT name FROM sqlite_master")} >= set(TABLES)
    assert path.read_bytes() == before
