"""Property and refusal: what goes into the logbook comes out, through zip, undo and crash."""

from __future__ import annotations

import json
import os
import random
import signal
import sqlite3
import stat
import subprocess
import sys
import threading
import time
import zipfile
from contextlib import closing
from dataclasses import replace

import pytest

from classify import logbook
from classify.casebook import open_case, propose
from classify.clip_store import find_clip, keep_clip
from classify.evidence_book import correct, decisions_of, evidence_of, record, set_outcome
from classify.exchange import export_zip, import_zip
from classify.logbook_file import LogbookFile
from classify.logbook_search import search
from classify.logbook_undo import delete, history, undo_delete
from classify.migrations import MIGRATIONS, TABLES
from classify.outcome import judge_change
from tests.made_logbook import BARE, READING, TYPED, made_logbook
from tracker.types import InputError


def all_rows(book):
    """Read every row of every table."""
    with book.reading() as db:
        return {
            name: [tuple(row) for row in db.execute(f"SELECT * FROM {name} ORDER BY 1")]  # noqa: S608 fixed names
            for name in TABLES
        }


def test_a_sheet_comes_back_as_typed(tmp_path):
    """Trade units, fractions and all, through the database."""
    book, _, first, second = made_logbook(tmp_path)
    kept = logbook.versions(book, first.setup_id)
    assert [v.sheet.typed for v in kept] == [TYPED, {**TYPED, "nocking_point": "11.2 mm"}]
    assert [v.reason for v in kept] == ["as bought", "bare shafts low"]
    assert kept[1] == second


def test_an_old_version_cannot_be_changed_behind_a_newer_one(tmp_path):
    """Two people who change one version at once: the second is told."""
    book, _, first, _ = made_logbook(tmp_path)
    with pytest.raises(InputError, match="not_newest"):
        logbook.change_setup(book, first, {"strands": "18"}, dated="2026-01-13", reason="late")


def test_corrections_keep_their_history(tmp_path):
    """A corrected test keeps what stood there before, and why."""
    book, _, _, second = made_logbook(tmp_path)
    (seen,) = evidence_of(book, second)
    correct(book, seen, {**BARE, "distance_m": 25.0}, reason="typed the wrong distance")
    (now_seen,) = evidence_of(book, second)
    assert now_seen.payload["distance_m"] == 25.0
    (_, reason, before), *_ = history(book, seen.id)
    assert reason == "typed the wrong distance"
    assert json.loads(before["payload_json"])["distance_m"] == 18.0


def test_an_archer_s_hand_can_be_corrected(tmp_path):
    """The old hand stays in the history."""
    book, archer, *_ = made_logbook(tmp_path)
    logbook.change_archer(book, archer, hand="right", notes=archer.notes, reason="mixed up")
    assert logbook.find_archer(book, archer.name).hand == "right"
    assert history(book, archer.id)[0][2]["hand"] == "left"


def test_deletes_are_undone_last_first(tmp_path):
    """Evidence, then archer: each comes back, and nothing else is left deleted."""
    book, archer, first, second = made_logbook(tmp_path)
    before = all_rows(book)
    delete(book, "evidence", evidence_of(book, second)[0].id)
    delete(book, "archers", archer.id)
    assert logbook.archers(book) == []
    assert search(book, "blue") == []
    assert undo_delete(book)[0] == "archers"
    assert undo_delete(book)[0] == "evidence"
    with pytest.raises(InputError, match="nothing_deleted"):
        undo_delete(book)
    after = all_rows(book)
    assert {k: v for k, v in after.items() if k != "deletions"} == {
        k: v for k, v in before.items() if k != "deletions"
    }
    assert len(evidence_of(book, first)) == 2


def test_undo_does_not_make_two_of_one_name(tmp_path):
    """A name that was given away meanwhile has to be freed first."""
    book, archer, *_ = made_logbook(tmp_path)
    delete(book, "archers", archer.id)
    logbook.add_archer(book, archer.name, hand=None)
    with pytest.raises(InputError, match="name_in_use"):
        undo_delete(book)


def test_search_knows_case_beyond_ascii(tmp_path):
    """Words are found whatever their case, in names, notes and reasons; all must match."""
    book, *_ = made_logbook(tmp_path)
    assert {hit.where for hit in search(book, "üNAL")} == {"archer"}
    assert [hit.where for hit in search(book, "LOW bare")] == ["version"]
    assert search(book, "low nowhere") == []
    assert search(book, "100%") == []
    with pytest.raises(InputError, match="no_words"):
        search(book, "  ")


def test_search_knows_what_people_wrote_and_not_what_fields_are_called(tmp_path):
    """Values of a sheet and evidence by its kind, its label and its arrow; no field's name."""
    book, *_ = made_logbook(tmp_path)
    assert search(book, "brace_height") == search(book, "string") == search(book, "reading") == []
    values = search(book, "8 3/4")
    assert [hit.where for hit in values] == ["version", "version"]
    assert ("brace_height", "8 3/4 in") in values[0].parts
    for words in ("fishtailing", "FLIGHT arrow 1", "powder", "bare shaft indoors"):
        assert [hit.where for hit in search(book, words)] == ["evidence"], words


def test_search_passes_over_what_is_damaged(tmp_path):
    """A sheet that is no object any more is found by its reason still."""
    book, *_ = made_logbook(tmp_path)
    with book.writing() as db:
        db.execute("UPDATE versions SET typed_json = '{' WHERE number = 1")
        db.execute("UPDATE evidence SET payload_json = 'x'")
    assert [hit.where for hit in search(book, "as bought")] == ["version"]
    assert [hit.where for hit in search(book, "powder")] == ["evidence"]


def test_names_in_use_and_missing_ones(tmp_path):
    """Each mistake has its sentence."""
    book, archer, *_ = made_logbook(tmp_path)
    with pytest.raises(InputError, match="name_in_use"):
        logbook.add_archer(book, " Ünal-7 ", hand=None)
    with pytest.raises(InputError, match="no_name"):
        logbook.add_archer(book, "  ", hand=None)
    with pytest.raises(InputError, match="no_archer"):
        logbook.find_archer(book, "nobody")
    with pytest.raises(InputError, match="no_setup"):
        logbook.find_setup(book, archer, "red bow")
    with pytest.raises(InputError, match=r"logbook\.date"):
        logbook.add_setup(book, archer, "x", typed={}, dated="17.5.2026", reason="")


def test_impossible_evidence_is_refused(tmp_path):
    """What reasoning could not read is not kept."""
    book, _, _, second = made_logbook(tmp_path)
    for kind, payload, key in (
        ("bare shaft", {"distance_m": 18.0}, "payload"),
        ("bare shaft", {**BARE, "bare_m": [[1, 2], [3]]}, "payload"),
        ("bare shaft", {**BARE, "bare_m": [[60, 2]]}, "impacts_far"),
        ("powder", {"marks": [["feather", "rest"]]}, "powder_parts"),
        ("eye", {"seen": ["eye_ghost"]}, "eye"),
        ("flight", {"reading": {"label": "clean"}}, "no_reading"),
        ("rumour", {}, "evidence_kind"),
    ):
        with pytest.raises(InputError, match=key):
            record(book, second, kind, payload, dated="2026-01-12")


def test_the_case_of_an_archer(tmp_path):
    """Clean powder carries over a nocking-point change; right means stiff for a left hand."""
    book, archer, first, _ = made_logbook(tmp_path)
    case = open_case(book, archer, first.setup_id)
    assert len(case.evidence.powder) == 1
    assert [t.cure for t in case.evidence.tried] == ["lower_nocking"]
    assert propose(case).cure == "plunger_softer"
    assert propose(open_case(book, archer, first.setup_id, upto=1)).cure == "bare_shaft_test"


def test_a_new_rest_makes_the_powder_test_worthless(tmp_path):
    """After a change that decides what touches what, powder is dusted again."""
    book, archer, first, second = made_logbook(tmp_path)
    third = logbook.change_setup(
        book, second, {"rest": "magnetic"}, dated="2026-01-14", reason="new rest"
    )
    record(book, third, "bare shaft", BARE, dated="2026-01-14")
    assert propose(open_case(book, archer, first.setup_id)).cure == "powder_test"


def test_before_and_after_from_the_logbook(tmp_path):
    """Swings of two versions are compared, and the outcome is kept for the next proposal."""
    book, archer, first, second = made_logbook(tmp_path)
    for swing in (8.4, 7.7):
        record(book, first, "flight", {"reading": _swinging(swing)}, dated="2026-01-10")
    for swing in (3.0, 3.4, 2.7):
        record(book, second, "flight", {"reading": _swinging(swing)}, dated="2026-01-12")
    (decision,) = decisions_of(book, first.setup_id)
    judged = judge_change(book, first, second, replace(decision, cure="plunger_softer"))
    assert judged.swing is not None
    assert (judged.swing.verdict, judged.outcome) == ("keep", "better")
    set_outcome(book, decision, "better")
    assert open_case(book, archer, first.setup_id).evidence.tried[0].outcome == "better"


def _swinging(mm):
    return {**READING, "across": [{"kind": "yaw", "swing_mm": mm, "swing_sigma_mm": 0.6}]}


def test_clips_are_kept_by_content(tmp_path):
    """The same film twice is one file; it reads back byte for byte."""
    book, *_ = made_logbook(tmp_path)
    again = tmp_path / "other name.MP4"
    again.write_bytes((tmp_path / "film.mp4").read_bytes())
    kept = keep_clip(book, again)
    assert kept.path.read_bytes() == again.read_bytes()
    assert len(list((tmp_path / "clips").glob("*.mp4"))) == 1
    assert find_clip(book, kept.sha256).name == "film.mp4"
    (tmp_path / "nothing.mp4").touch()
    with pytest.raises(InputError, match="empty_clip"):
        keep_clip(book, tmp_path / "nothing.mp4")
    with pytest.raises(InputError, match="cannot_copy"):
        keep_clip(book, tmp_path / "missing.mp4")


def test_export_and_import_are_lossless(tmp_path):
    """Every row and every clip, history and deletions included, comes back as it was."""
    book, _, _, second = made_logbook(tmp_path / "a")
    seen = evidence_of(book, second)[0]
    correct(book, seen, {**BARE, "distance_m": 20.0}, reason="tape measure")
    delete(book, "evidence", seen.id)
    out = export_zip(book, tmp_path / "all.zip")
    other = LogbookFile(tmp_path / "b")
    came = import_zip(other, tmp_path / "all.zip")
    assert all_rows(other) == all_rows(book)
    assert came.clips == out.clips == 1
    for clip in (tmp_path / "a" / "clips").glob("*.mp4"):
        assert (tmp_path / "b" / "clips" / clip.name).read_bytes() == clip.read_bytes()
    again = import_zip(other, tmp_path / "all.zip")
    assert (sum(again.rows.values()), again.clips) == (0, 0)


def test_an_import_that_contradicts_changes_nothing(tmp_path):
    """Where zip and logbook differ about one thing, nothing at all is taken."""
    book, archer, *_ = made_logbook(tmp_path / "a")
    export_zip(book, tmp_path / "all.zip")
    logbook.change_archer(book, archer, hand="right", notes="", reason="x")
    before = all_rows(book)
    with pytest.raises(InputError, match="contradicts"):
        import_zip(book, tmp_path / "all.zip")
    assert all_rows(book) == before


def _tampered(tmp_path, change):
    """Export a logbook and write its zip again with something changed."""
    book, *_ = made_logbook(tmp_path / "a")
    export_zip(book, tmp_path / "good.zip")
    bad = tmp_path / "bad.zip"
    with zipfile.ZipFile(tmp_path / "good.zip") as good, zipfile.ZipFile(bad, "w") as packed:
        change(good, packed)
    return bad


def _with_extra(name, content=b"x", mode=None):
    def change(good, packed):
        for info in good.infolist():
            packed.writestr(info, good.read(info))
        info = zipfile.ZipInfo(name)
        info.compress_type = zipfile.ZIP_DEFLATED
        if mode is not None:
            info.external_attr = mode << 16
        packed.writestr(info, content)

    return change


def _with_rows(edit):
    def change(good, packed):
        head = json.loads(good.read("logbook.json"))
        edit(head)
        for info in good.infolist():
            content = json.dumps(head) if info.filename == "logbook.json" else good.read(info)
            packed.writestr(info.filename, content)

    return change


@pytest.mark.parametrize(
    ("change", "key"),
    [
        (_with_extra("../evil.txt"), "zip_entry"),
        (_with_extra("/etc/evil"), "zip_entry"),
        (_with_extra("clips/../../evil"), "zip_entry"),
        (_with_extra("clips\\..\\evil"), "zip_entry"),
        (_with_extra("other/file"), "zip_entry"),
        (_with_extra("clips/link", b"/etc/passwd", stat.S_IFLNK | 0o777), "zip_entry"),
        (_with_extra("clips/zeros", b"\0" * (20 << 20)), "zip_bomb"),
        (_with_rows(lambda h: h.update(format="other")), "no_zip"),
        (_with_rows(lambda h: h.update(shape=99)), "zip_newer"),
        (_with_rows(lambda h: h.update(shape=0)), "zip_unknown"),
        (_with_rows(lambda h: h.update(shape="new")), "zip_unknown"),
        (_with_rows(lambda h: h.pop("shape")), "no_zip"),
        (_with_rows(lambda h: h["tables"].pop("setups")), "no_zip"),
        (_with_rows(lambda h: h["tables"]["clips"][0].update(file="../../x")), "does_not_fit"),
        (_with_rows(lambda h: h["tables"]["versions"][0].update(setup_id="no")), "does_not_fit"),
        (_with_rows(lambda h: h["tables"]["versions"][0].update(typed_json="{")), "does_not_fit"),
        (
            _with_rows(lambda h: h["tables"]["evidence"][0].update(payload_json="[]")),
            "tuning.payload",
        ),
        (_with_rows(lambda h: h["tables"]["archers"][0].update(hand="third")), "does_not_fit"),
        (_with_rows(lambda h: h["tables"]["archers"][0].update(extra=1)), "does_not_fit"),
    ],
)
def test_a_tampered_zip_is_refused(tmp_path, change, key):
    """Climbing paths, links, bombs, strange rows: refused in one sentence, and nothing is taken."""
    bad = _tampered(tmp_path, change)
    other = LogbookFile(tmp_path / "b")
    with pytest.raises(InputError, match=key):
        import_zip(other, bad)
    assert not any(all_rows(other).values())
    assert not (tmp_path / "evil.txt").exists()


def test_a_clip_that_was_swapped_is_refused(tmp_path):
    """A clip whose content is not that of its hash does not get in."""

    def swap(good, packed):
        for info in good.infolist():
            content = b"another film" if info.filename.startswith("clips/") else good.read(info)
            packed.writestr(info.filename, content)

    bad = _tampered(tmp_path, swap)
    with pytest.raises(InputError, match="clip_hash"):
        import_zip(LogbookFile(tmp_path / "b"), bad)


@pytest.mark.parametrize("content", [b"", b"PK\x03\x04 broken", b"plain text"])
def test_something_else_named_zip_is_refused(tmp_path, content):
    """Not a zip at all: one sentence."""
    path = tmp_path / "x.zip"
    path.write_bytes(content)
    with pytest.raises(InputError, match="no_zip"):
        import_zip(LogbookFile(tmp_path / "b"), path)
    with pytest.raises(InputError, match="zip_not_there"):
        import_zip(LogbookFile(tmp_path / "b"), tmp_path / "missing.zip")


def test_backup_while_in_use(tmp_path):
    """A copy made while another thread writes is whole and opens."""
    book, archer, *_ = made_logbook(tmp_path / "a")
    stop = threading.Event()

    def write():
        k = 0
        while not stop.is_set():
            logbook.add_archer(book, f"n{k}", hand=None)
            k += 1

    writer = threading.Thread(target=write)
    writer.start()
    try:
        time.sleep(0.05)
        book.backup(tmp_path / "copy.sqlite3")
    finally:
        stop.set()
        writer.join()
    with closing(sqlite3.connect(tmp_path / "copy.sqlite3")) as copy:
        assert copy.execute("PRAGMA integrity_check").fetchone()[0] == "ok"
        names = {row[0] for row in copy.execute("SELECT name FROM archers")}
    assert archer.name in names
    with pytest.raises(InputError, match="exists"):
        book.backup(tmp_path / "copy.sqlite3")


def test_two_writers_wait_for_each_other(tmp_path):
    """Many threads, one connection for each call: every row gets in."""
    book = LogbookFile(tmp_path)
    threads = [
        threading.Thread(target=logbook.add_archer, args=(book, f"a{k}"), kwargs={"hand": None})
        for k in range(12)
    ]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len(logbook.archers(book)) == 12


def test_files_that_are_no_logbook(tmp_path):
    """A text file, another program's database, a newer shape: a sentence, and left untouched."""
    path = tmp_path / "logbook.sqlite3"
    path.write_text("hello, this is no database at all, not even close to one")
    with pytest.raises(InputError, match="unreadable"):
        LogbookFile(tmp_path)
    assert path.read_text().startswith("hello")
    path.unlink()
    with closing(sqlite3.connect(path)) as other:
        other.execute("CREATE TABLE theirs (x)")
        other.commit()
    with pytest.raises(InputError, match="foreign_file"):
        LogbookFile(tmp_path)
    with closing(sqlite3.connect(path)) as other:
        other.execute("DROP TABLE theirs")
        other.execute(f"PRAGMA user_version = {len(MIGRATIONS) + 1}")
        other.commit()
    with pytest.raises(InputError, match="newer"):
        LogbookFile(tmp_path)


WRITER = """
import sys
from pathlib import Path
from classify import logbook
from classify.logbook_file import LogbookFile
book = LogbookFile(Path(sys.argv[1]))
k = 0
while True:
    archer = logbook.add_archer(book, f"{sys.argv[2]} {k}", hand="right", notes="x" * 2000)
    logbook.add_setup(book, archer, "b", typed={"strands": "16"}, dated="2026-01-01", reason="r")
    sys.stdout.write(archer.id + "\\n")
    sys.stdout.flush()
    k += 1
"""


def _kill_while_saving(tmp_path, times, seed):
    """Kill a writing process at random moments; everything it acknowledged must be there."""
    rng = random.Random(seed)  # noqa: S311 moments, not secrets
    acknowledged: set[str] = set()
    book = LogbookFile(tmp_path)
    for k in range(times):
        writer = subprocess.Popen(
            [sys.executable, "-c", WRITER, str(tmp_path), f"archer {k}"],
            stdout=subprocess.PIPE,
            text=True,
            env={**os.environ, "PYTHONPATH": os.pathsep.join(sys.path)},
        )
        first = writer.stdout.readline()  # it writes by now
        time.sleep(rng.uniform(0.0, 0.05))
        writer.send_signal(signal.SIGKILL)
        rest, _ = writer.communicate()
        lines = [first, *rest.splitlines(keepends=True)]
        acknowledged |= {line.strip() for line in lines if line.endswith("\n")}
        with book.reading() as db:
            kept = {
                row[0]
                for row in db.execute(
                    "SELECT archer_id FROM setups JOIN versions ON setups.id = setup_id"
                )
            }
            assert db.execute("PRAGMA integrity_check").fetchone()[0] == "ok"
        assert acknowledged <= kept
        assert len(kept - acknowledged) <= k + 1  # at most one a kill was written but not told
    assert len(acknowledged) >= times


def test_killed_while_saving(tmp_path):
    """Three kills at random moments lose nothing that was acknowledged."""
    _kill_while_saving(tmp_path, 3, seed=41)


@pytest.mark.long
@pytest.mark.parametrize("times", [8, pytest.param(100, marks=pytest.mark.endurance)])
def test_killed_again_and_again_while_saving(tmp_path, times):
    """Kills at random moments lose nothing that was acknowledged; the file opens."""
    _kill_while_saving(tmp_path, times, seed=42)


def test_a_backup_that_has_no_place_blames_no_logbook(tmp_path):
    """The folder that it was to be made in is not there; the logbook goes on being written."""
    book, *_ = made_logbook(tmp_path / "a")
    with pytest.raises(InputError, match="cannot_write") as told:
        book.backup(tmp_path / "nowhere" / "copy.sqlite3")
    assert "nowhere" in str(told.value.message.values["path"])
    logbook.add_archer(LogbookFile(tmp_path / "a"), "Robin", hand=None)


def test_a_film_that_was_not_packed_is_told_of_when_it_is_unpacked(tmp_path):
    """The flight comes, and a sentence names the film that does not."""
    book, *_ = made_logbook(tmp_path / "a")
    export_zip(book, tmp_path / "a.zip")
    with (
        zipfile.ZipFile(tmp_path / "a.zip") as packed,
        zipfile.ZipFile(tmp_path / "b.zip", "w") as without,
    ):
        for name in packed.namelist():
            if not name.startswith("clips/"):
                without.writestr(name, packed.read(name))
    done = import_zip(LogbookFile(tmp_path / "b"), tmp_path / "b.zip")
    assert (done.clips, done.missing_clips) == (0, ("film.mp4",))
    assert import_zip(LogbookFile(tmp_path / "c"), tmp_path / "a.zip").missing_clips == ()
