"""Refusal: damaged pages, full disks, folders that refuse, others at work: said, nothing lost."""

from __future__ import annotations

import json
import os
import sqlite3
import subprocess
import sys
import threading
from contextlib import closing, contextmanager

import numpy as np
import pytest

import classify.logbook_file
import classify.logbook_restore
from classify import logbook
from classify.casebook import open_case, propose
from classify.clip_store import keep_clip
from classify.evidence_book import (
    correct,
    decide_change,
    decisions_of,
    evidence_of,
    record,
    set_outcome,
)
from classify.exchange import export_zip, import_zip
from classify.logbook_file import FILE_NAME, LogbookFile
from classify.logbook_restore import restore
from classify.logbook_undo import delete
from classify.migrations import TABLES
from tests.denied import denied, largest_file
from tests.made_logbook import BARE, READING, made_logbook
from tracker.types import InputError

PAGE = 4096


def rows_of(book) -> dict[str, set[tuple]]:
    """Every row of every table."""
    with book.reading() as db:
        return {
            name: {tuple(row) for row in db.execute(f"SELECT * FROM {name}")}  # noqa: S608 fixed names
            for name in TABLES
        }


def dump(path) -> str:
    """Tables and rows of a file as text."""
    with closing(sqlite3.connect(path)) as db:
        return "\n".join(db.iterdump())


def large_logbook(folder) -> LogbookFile:
    """Make a logbook of about a hundred pages: every table has several."""
    book, _, first, second = made_logbook(folder)
    for k in range(30):
        archer = logbook.add_archer(book, f"archer {k}", hand="right", notes="x" * 300)
        sheet = {"strands": "18", "string": "y" * 200}
        version = logbook.add_setup(
            book, archer, "bow", typed=sheet, dated="2026-01-10", reason="z" * 100
        )
        seen = record(book, version, "flight", {"reading": READING, "k": "w" * 900},
                      dated="2026-01-11")  # fmt: skip
        if k % 3 == 0:
            correct(book, seen, {"reading": READING, "k": "v" * 5000}, reason="longer than a page")
            delete(book, "evidence", seen.id)
    decide_change(
        book, second, {"strands": "20"}, cure="plunger_softer", amount=-0.25, dated="2026-01-14",
        proposal={"change": "softer"}, reason="softer",
    )  # fmt: skip
    with closing(sqlite3.connect(book.path)) as db:
        db.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    assert first.number == 1
    return book


def damage(path, page: int, content: bytes) -> None:
    """Write over one page of a file; pages count from 1."""
    with path.open("r+b") as stream:
        stream.seek((page - 1) * PAGE)
        stream.write(content)


@pytest.fixture(scope="module")
def whole(tmp_path_factory):
    """Give a whole logbook's bytes and rows."""
    folder = tmp_path_factory.mktemp("whole")
    book = large_logbook(folder)
    return book.path.read_bytes(), rows_of(book)


def hurt_copy(folder, content: bytes, page: int, noise: bytes) -> LogbookFile:
    """Open a copy with one damaged page."""
    folder.mkdir(exist_ok=True)
    path = folder / FILE_NAME
    path.write_bytes(content)
    damage(path, page, noise)
    return LogbookFile(folder)


def _saved_everywhere(tmp_path, whole, pages, noise_of):
    """Damage page after page; everything off the page is saved, and nothing else is made up."""
    content, rows = whole
    for page in pages:
        folder = tmp_path / str(page)
        book = hurt_copy(folder, content, page, noise_of(page))
        if book.problem is None:
            # Zeros in the tail of a long text break no page: only its entry tells, when it is read.
            book = LogbookFile(folder, rescue=True)
            assert book.problem.values["lost"] > 0, page
        assert book.problem.key == "logbook.damaged_open"
        with pytest.raises(InputError, match="damaged_open"):
            logbook.add_archer(book, "new", hand=None)
        before = book.path.read_bytes()
        saved = rows_of(book)
        lost = {name: rows[name] - saved[name] for name in TABLES}
        # A page holds at most PAGE bytes of rows; a row is longer than 60 bytes.
        assert sum(len(some) for some in lost.values()) <= PAGE / 60, page
        propped = {name: saved[name] - rows[name] for name in TABLES}
        for name, made in propped.items():
            # only what other rows stand on is made up, and says that it was lost
            assert name in ("archers", "setups", "versions", "evidence") or not made
            assert name == "evidence" or all("1970-01-01" in row for row in made), (page, name)
        export_zip(book, folder / "saved.zip")
        assert book.path.read_bytes() == before
        aside = restore(folder, folder / "saved.zip")
        assert aside.read_bytes() == before
        again = LogbookFile(folder)
        assert again.problem is None
        assert rows_of(again) == saved
        logbook.add_archer(again, "new", hand=None)


def test_a_damaged_page_is_read_round(tmp_path, whole):
    """A page of zeros, anywhere but at the head: said, read only, saved, and brought back."""
    count = len(whole[0]) // PAGE
    assert count > 50
    pages = range(2, count + 1, 11)
    _saved_everywhere(tmp_path, whole, pages, lambda _: bytes(PAGE))


@pytest.mark.long
def test_any_damaged_page_is_read_round(tmp_path, whole):
    """Every fourth page in turn, full of noise."""
    rng = np.random.default_rng(7)
    pages = range(2, len(whole[0]) // PAGE + 1, 4)
    _saved_everywhere(tmp_path, whole, pages, lambda _: rng.bytes(PAGE))


def test_damage_noticed_while_it_is_used(tmp_path, whole):
    """A file that was whole when it was opened: the sentence comes with the page that is hit."""
    content, _ = whole
    folder = tmp_path / "coach"
    folder.mkdir()
    (folder / FILE_NAME).write_bytes(content)
    book = LogbookFile(folder)
    assert book.problem is None
    for page in range(2, len(content) // PAGE + 1):
        damage(book.path, page, b"\xff" * PAGE)
    with pytest.raises(InputError, match=r"logbook\.damaged "):
        logbook.archers(book)
    assert LogbookFile(folder).problem is not None


def test_a_file_without_its_head_is_left_alone(tmp_path, whole):
    """Nothing can be read without the first page: a sentence, and not a byte is changed."""
    content, _ = whole
    with pytest.raises(InputError, match="unreadable"):
        hurt_copy(tmp_path / "a", content, 1, bytes(PAGE))
    path = tmp_path / "a" / FILE_NAME
    assert path.read_bytes() == bytes(PAGE) + content[PAGE:]


def test_a_rotten_text_is_a_sentence(tmp_path):
    """A fallen bit inside a text breaks no page; its entry says so, and rescue passes it by."""
    book, _, first, _ = made_logbook(tmp_path)
    with closing(sqlite3.connect(book.path)) as db, db:
        db.execute("UPDATE evidence SET payload_json = '{broken' WHERE kind = 'flight'")
    with pytest.raises(InputError, match="damaged_entry"):
        evidence_of(book, first)
    saved = LogbookFile(tmp_path, rescue=True)
    assert saved.problem.values["lost"] == 1
    assert [seen.kind for seen in evidence_of(saved, first)] == ["powder"]


def test_a_backup_brings_back_what_was(tmp_path):
    """Back up, change, bring back: the file's bytes and rows are those of the backup."""
    book, archer, *_ = made_logbook(tmp_path / "coach")
    before = rows_of(book)
    book.backup(tmp_path / "copy.sqlite3")
    logbook.change_archer(book, archer, hand="right", notes="changed", reason="a slip")
    logbook.add_archer(book, "another", hand=None)
    changed = dump(book.path)
    aside = restore(tmp_path / "coach", tmp_path / "copy.sqlite3")
    assert book.path.read_bytes() == (tmp_path / "copy.sqlite3").read_bytes()
    assert rows_of(book) == before
    assert dump(aside) == changed
    restore(tmp_path / "coach", aside)
    assert dump(book.path) == changed


def test_an_empty_folder_is_filled_from_a_backup_or_a_zip(tmp_path):
    """A new computer: clips come with the zip, byte for byte."""
    book, *_ = made_logbook(tmp_path / "a")
    book.backup(tmp_path / "copy.sqlite3")
    export_zip(book, tmp_path / "all.zip")
    for name in ("copy.sqlite3", "all.zip"):
        folder = tmp_path / name[:3]
        assert restore(folder, tmp_path / name) is None
        assert rows_of(LogbookFile(folder)) == rows_of(book)
    (clip,) = (tmp_path / "a" / "clips").glob("*.mp4")
    assert (tmp_path / "all" / "clips" / clip.name).read_bytes() == clip.read_bytes()


def test_what_is_no_backup_is_refused(tmp_path, whole):
    """Something else, a damaged one, another program's, a missing one: nothing is changed."""
    book, *_ = made_logbook(tmp_path / "coach")
    before = dump(book.path)
    (tmp_path / "text").write_text("hello")
    (tmp_path / "hurt").write_bytes(whole[0])
    damage(tmp_path / "hurt", 5, bytes(PAGE))
    with closing(sqlite3.connect(tmp_path / "theirs")) as db, db:
        db.execute("CREATE TABLE theirs (x)")
    for name in ("text", "hurt", "theirs", "missing"):
        with pytest.raises(InputError, match="no_backup"):
            restore(tmp_path / "coach", tmp_path / name)
    assert dump(book.path) == before
    assert sorted(path.name for path in (tmp_path / "coach").glob("*.part")) == []


WRITER = """
import sys
from pathlib import Path
from classify import logbook
from classify.logbook_file import LogbookFile
book = LogbookFile(Path(sys.argv[1]))
for k in range(100000):
    logbook.add_archer(book, f"{sys.argv[2]} {k}", hand=None, notes="x" * 4000)
    print(k, flush=True)
"""


def writing_process(folder, name: str) -> subprocess.Popen[str]:
    """Start a process that writes archers as fast as it can and says which are kept."""
    return subprocess.Popen(
        [sys.executable, "-c", WRITER, str(folder), name],
        stdout=subprocess.PIPE,
        text=True,
        env={**os.environ, "PYTHONPATH": os.pathsep.join(sys.path)},
    )


def test_a_backup_while_another_process_writes(tmp_path):
    """It ends, is one moment of the logbook, and has all that was acknowledged before it began."""
    book, *_ = made_logbook(tmp_path / "coach")
    writer = writing_process(tmp_path / "coach", "n")
    try:
        for k in range(3):
            acknowledged = [int(writer.stdout.readline()) for _ in range(5)][-1]
            copy = tmp_path / f"{k}.sqlite3"
            book.backup(copy)
            with closing(sqlite3.connect(copy)) as db:
                assert db.execute("PRAGMA integrity_check").fetchone()[0] == "ok"
                names = {row[0] for row in db.execute("SELECT name FROM archers")}
            found = sorted(int(name.split()[1]) for name in names if name.startswith("n "))
            assert found == list(range(len(found)))
            assert len(found) > acknowledged
    finally:
        writer.kill()
        writer.communicate()


def test_two_processes_write_at_once(tmp_path):
    """Each sees the other's entries, and nothing that either acknowledged is missing."""
    book = LogbookFile(tmp_path)
    writers = {name: writing_process(tmp_path, name) for name in ("a", "b")}
    last = {}
    for _ in range(4):
        for name, writer in writers.items():
            last[name] = int(writer.stdout.readline())
    for writer in writers.values():
        writer.kill()
        writer.communicate()
    names = {archer.name for archer in logbook.archers(book)}
    assert names >= {f"{name} {k}" for name, most in last.items() for k in range(most + 1)}


@contextmanager
def held(book, monkeypatch):
    """Hold the logbook as another program would, and do not wait long for it."""
    for module in (classify.logbook_file, classify.logbook_restore):
        monkeypatch.setattr(module, "BUSY_S", 0.2)
    with closing(sqlite3.connect(book.path, isolation_level=None)) as other:
        other.execute("BEGIN EXCLUSIVE")
        yield
        other.execute("ROLLBACK")


def test_a_logbook_in_use_is_said_and_can_be_tried_again(tmp_path, monkeypatch):
    """Reading goes on; writing is refused after a while; the same again works once it is free."""
    book, _, _, second = made_logbook(tmp_path)
    before = rows_of(book)
    with held(book, monkeypatch):
        assert rows_of(LogbookFile(tmp_path)) == before
        with pytest.raises(InputError, match="busy"):
            record(book, second, "powder", {"marks": []}, dated="2026-01-13")
        with pytest.raises(InputError, match="busy"):
            restore(tmp_path, _packed(book, tmp_path))
    assert rows_of(book) == before
    record(book, second, "powder", {"marks": []}, dated="2026-01-13")


def _packed(book, tmp_path):
    book.backup(tmp_path / "copy.sqlite3")
    return tmp_path / "copy.sqlite3"


def test_a_folder_that_cannot_be_written_is_read(tmp_path):
    """Everything can be looked at and exported; writing says why not, and works again later."""
    book, archer, first, second = made_logbook(tmp_path / "coach")
    before = rows_of(book)
    with denied(tmp_path / "coach") as folder:
        shut = LogbookFile(folder)
        assert shut.problem.key == "logbook.read_only"
        assert rows_of(shut) == before
        assert propose(open_case(shut, archer, first.setup_id)).cure == "plunger_softer"
        with pytest.raises(InputError, match="read_only"):
            record(shut, second, "powder", {"marks": []}, dated="2026-01-13")
        with pytest.raises(InputError, match="cannot_copy"):
            keep_clip(shut, folder / "film.mp4")
        with pytest.raises(InputError, match="cannot_restore"):
            restore(folder, folder / FILE_NAME)
    record(book, second, "powder", {"marks": []}, dated="2026-01-13")


def test_newest_entries_beside_the_file_are_read_too(tmp_path):
    """A logbook copied to a stick while it was in use: what stands in the file beside counts."""
    book, *_ = made_logbook(tmp_path / "coach")
    with closing(sqlite3.connect(book.path)) as user:
        user.execute("SELECT * FROM archers").fetchone()
        logbook.add_archer(book, "newest", hand=None)
        (tmp_path / "stick").mkdir()
        for end in ("", "-wal"):
            copy = tmp_path / "stick" / (FILE_NAME + end)
            copy.write_bytes(book.path.with_name(FILE_NAME + end).read_bytes())
    assert (tmp_path / "stick" / f"{FILE_NAME}-wal").stat().st_size > 0
    with denied(tmp_path / "stick") as folder:
        assert "newest" in {archer.name for archer in logbook.archers(LogbookFile(folder))}


def test_a_folder_that_cannot_be_made_is_a_sentence(tmp_path):
    """Neither a logbook nor a place for one."""
    (tmp_path / "coach").mkdir()
    with denied(tmp_path / "coach") as folder:
        for place in (folder, folder / "below"):
            with pytest.raises(InputError, match=r"logbook\.folder"):
                LogbookFile(place)


def test_a_full_disk_keeps_what_was_and_takes_the_same_again(tmp_path):
    """An entry that has no room is refused whole; there is no half of it; later it goes in."""
    book, _, _, second = made_logbook(tmp_path)
    film = _film(tmp_path, 900_000)
    large = {"reading": READING, "k": "w" * 600_000}
    keep_clip(book, _film(tmp_path, 300_000))
    before = rows_of(book)
    with largest_file(200_000):
        with pytest.raises(InputError, match=r"logbook\.disk"):
            record(book, second, "flight", large, dated="2026-01-13")
        with pytest.raises(InputError, match="cannot_copy"):
            keep_clip(book, film)
        with pytest.raises(InputError, match="cannot_write"):
            export_zip(book, tmp_path / "all.zip")
        assert rows_of(LogbookFile(tmp_path)) == before
    assert list((tmp_path / "clips").glob("*.part")) == []
    assert not (tmp_path / "all.zip").exists()
    record(book, second, "flight", large, dated="2026-01-13")
    assert keep_clip(book, film).path.read_bytes() == film.read_bytes()


def _film(folder, size_bytes: int):
    """Make a file that cannot be packed any smaller."""
    film = folder / f"{size_bytes}.mp4"
    film.write_bytes(np.random.default_rng(size_bytes).bytes(size_bytes))
    return film


def test_a_backup_without_room_names_the_copy(tmp_path):
    """It is the copy that could not be written, not the logbook that is bad."""
    book = large_logbook(tmp_path / "coach")
    with largest_file(100_000), pytest.raises(InputError, match="cannot_write") as refused:
        book.backup(tmp_path / "copy.sqlite3")
    assert "copy.sqlite3" in str(refused.value)
    assert list(tmp_path.glob("copy*")) == []


def test_an_import_without_room_says_so(tmp_path):
    """Before anything is unpacked where the size is known; else with the disk's own words."""
    book, *_ = made_logbook(tmp_path / "a")
    keep_clip(book, _film(tmp_path, 400_000))
    export_zip(book, tmp_path / "all.zip")
    other = LogbookFile(tmp_path / "b")
    with largest_file(200_000), pytest.raises(InputError, match="cannot_write"):
        import_zip(other, tmp_path / "all.zip")
    assert not any(rows_of(other).values())


def test_two_who_correct_one_thing(tmp_path):
    """The second has not seen what the first wrote, and is told; the first stays."""
    book, archer, first, second = made_logbook(tmp_path)
    (seen,) = evidence_of(book, second)
    correct(book, seen, {**BARE, "distance_m": 25.0}, reason="one")
    with pytest.raises(InputError, match="changed_meanwhile"):
        correct(book, seen, {**BARE, "distance_m": 30.0}, reason="two")
    assert evidence_of(book, second)[0].payload["distance_m"] == 25.0
    logbook.change_archer(book, archer, hand="right", notes="one", reason="one")
    with pytest.raises(InputError, match="changed_meanwhile"):
        logbook.change_archer(book, archer, hand="left", notes="two", reason="two")
    (decision,) = decisions_of(book, first.setup_id)
    set_outcome(book, decision, "better")
    with pytest.raises(InputError, match="changed_meanwhile"):
        set_outcome(book, decision, "worse")


def test_nothing_is_added_to_what_was_deleted_meanwhile(tmp_path):
    """It would be acknowledged, and nobody would ever see it."""
    book, archer, _, second = made_logbook(tmp_path)
    delete(book, "archers", archer.id)
    with pytest.raises(InputError, match="gone_meanwhile"):
        record(book, second, "powder", {"marks": []}, dated="2026-01-13")
    with pytest.raises(InputError, match="gone_meanwhile"):
        logbook.change_setup(book, second, {"strands": "18"}, dated="2026-01-13", reason="late")
    with pytest.raises(InputError, match="gone_meanwhile"):
        logbook.add_setup(book, archer, "red bow", typed={}, dated="2026-01-13", reason="late")


def test_a_change_and_its_decision_are_kept_together(tmp_path, monkeypatch):
    """Where the decision cannot be kept the sheet stays as it was, and the same works later."""
    book, _, first, second = made_logbook(tmp_path)

    def change():
        return decide_change(
            book, second, {"plunger_spring": "2 turns"}, cure="plunger_softer", amount=-0.25,
            dated="2026-01-14", proposal={"change": "softer"}, reason="softer",
        )  # fmt: skip

    with monkeypatch.context() as patched:
        patched.setattr("classify.evidence_book._insert_decision", _full)
        with pytest.raises(InputError, match="disk_full"):
            change()
    assert [v.number for v in logbook.versions(book, first.setup_id)] == [1, 2]
    decision, third = change()
    assert (third.number, decision.to_version_id) == (3, third.id)


def _full(*_args):
    error = sqlite3.OperationalError("database or disk is full")
    error.sqlite_errorcode = sqlite3.SQLITE_FULL
    raise error


def test_threads_that_change_one_sheet(tmp_path):
    """Of ten who change version 2 at once one makes version 3; the other nine are told."""
    book, _, first, second = made_logbook(tmp_path)
    told, made = [], []

    def change(k: int) -> None:
        try:
            made.append(
                logbook.change_setup(
                    book, second, {"strands": str(10 + k)}, dated="2026-01-14", reason=str(k)
                )
            )
        except InputError as mistake:
            told.append(mistake.message.key)

    threads = [threading.Thread(target=change, args=(k,)) for k in range(10)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len(made) == 1
    assert told == ["logbook.not_newest"] * 9
    assert json.dumps(logbook.versions(book, first.setup_id)[-1].sheet.typed["strands"])
