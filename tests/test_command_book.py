"""Rules: the whole tuning job from the command line, one sentence for every mistake."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from pathlib import Path

import pytest
from click.testing import CliRunner

from classify import logbook
from classify.casebook import open_case, propose
from classify.clip_store import keep_clip
from classify.evidence_book import decisions_of, record, refuse_flight
from classify.evidence_once import each_once, same_flight
from classify.logbook_file import LogbookFile
from tests.made_logbook import READING, made_logbook
from tests.made_readings import made_reading, made_result, write_made_film
from tracker.types import InputError, message
from ui.command import main

BARE = "6,0 5,1 7,-1"
DATED = ("--date", "2026-02-01")
FLETCHED = "0,0 1,1 -1,-1 1,-1 -1,1 0,1"


@pytest.fixture
def run(tmp_path, monkeypatch):
    """Run a command in a folder of its own; return what it said."""
    monkeypatch.setenv("TAILSWAY_FOLDER", str(tmp_path / "data"))
    monkeypatch.chdir(tmp_path)

    def invoke(*words, status=0):
        result = CliRunner().invoke(main, ["book", *words], catch_exceptions=False)
        assert result.exit_code == status, result.output
        return result.output

    return invoke


@pytest.fixture
def started(run):
    """Write down an archer with a set-up."""
    run("archer", "Fern", "--hand", "left")
    fields = ["bow_length=68 in", "brace_height=8 3/4 in", "nocking_point=12 mm",
              "plunger_spring=3 turns"]  # fmt: skip
    sets = [part for field in fields for part in ("--set", field)]
    run("setup", "Fern", "blue bow", *sets, "--date", "2026-02-01", "--reason", "as found")
    return run


def test_from_archer_to_next_change(started):
    """Powder, bare shafts, proposal, done: the sheet moves by the proposed step."""
    assert "Film three to six shots" in started("next", "Fern")
    started("powder", "Fern", "--clean", "--date", "2026-02-01")
    started("bare", "Fern", "--distance-m", "18,0", "--bare-cm", BARE, "--fletched-cm", FLETCHED,
            "--date", "2026-02-01")  # fmt: skip
    said = started("next", "Fern", "--table")
    assert (
        "Turn the plunger spring a quarter of a turn softer." in said
    )  # right is stiff for a left hand
    assert "Support for every cause" in said
    started("done", "Fern", "--date", "2026-02-02")
    sheet = started("sheet", "Fern")
    assert "Version 2, 2026-02-02" in sheet
    assert "Plunger spring: 2.75 turns" in sheet
    assert "Brace height: 222.25 mm" in started("sheet", "Fern", "--units", "metric")
    assert "Plunger spring: 3 turns" in started("sheet", "Fern", "--version", "1")


def test_next_as_json(started):
    """One JSON object with the stable names."""
    said = json.loads(started("next", "Fern", "--json"))
    assert said["cure"] == "film_first"
    assert said["is_test"] is True
    assert {"change", "why", "before_others", "expect_clip", "stop", "caution", "table"} <= set(
        said
    )


def test_readings_and_compare(started, tmp_path):
    """Readings before and after a change are compared, and the outcome is kept."""
    for k, (mm, when) in enumerate([(9.0, 1), (9.6, 1), (8.7, 1), (3.0, 2), (2.6, 2), (3.3, 2)]):
        if k == 3:
            started("change", "Fern", "--set", "plunger_spring=2 1/2 turns", "--date", "2026-02-02",
                    "--reason", "softer")  # fmt: skip
        line = {"kind": "yaw", "swing_mm": mm, "swing_sigma_mm": 0.5}
        path = tmp_path / f"r{k}.json"
        path.write_text(json.dumps({**READING, "across": [line]}))
        started("reading", "Fern", str(path), "--arrow-number", str(k % 3 + 1), "--date",
                f"2026-02-0{when}")  # fmt: skip
    said = started("compare", "Fern").splitlines()
    assert said[0] == "Version 1 (flights: 3) against version 2 (flights: 3)"
    assert "the change is real. Keep it." in said[1]
    for order in (
        ["--before", "2", "--after", "1"],
        ["--before", "2"],
        ["--after", "1"],
        ["--before", "1", "--after", "1"],
    ):
        assert "earlier one comes first" in started("compare", "Fern", *order, status=2)


def test_a_film_is_kept_and_stands_on_the_report(started, tmp_path, monkeypatch):
    """Film and reading go into the logbook; the report shows its curve and its still."""
    film = write_made_film(tmp_path / "shot.mp4")
    for module in ("ui.command_evidence", "ui.report_film"):
        monkeypatch.setattr(
            f"{module}.read_clip",
            lambda path, known, progress=None: made_result(path, made_reading()),  # noqa: ARG005
        )
    started("flight", "Fern", str(film), "--date", "2026-02-01", "--capture-hz", "240")
    started("report", "Fern", "--html", "out.html", "--pdf", "out.pdf")
    html = (tmp_path / "out.html").read_text(encoding="utf-8")
    assert "data:image/jpeg;base64," in html
    assert "Swing of the tail against time" in html
    assert (tmp_path / "out.pdf").read_bytes().startswith(b"%PDF")


def test_groups_eye_search_delete_undo(started):
    """The other kinds of evidence, and finding, deleting and bringing back."""
    started("group", "Fern", "--distance-m", "30", "--diameter-cm", "14", "--arrows", "6",
            "--date", "2026-02-01", "--note", "evening session")  # fmt: skip
    said = started(
        "eye", "Fern", "--seen", "fishtailing", "--groups", "poor", "--date", "2026-02-01"
    )
    identity = said.split("(")[1].split(")")[0]
    assert "evening session" in started("search", "EVENING")
    started("delete", "Fern", "--evidence", identity)
    assert "Brought back (evidence)" in started("undo")
    started("delete", "Fern", "--whole")
    assert started("archers") == ""
    started("undo")
    assert "Fern (left-handed): blue bow" in started("archers")


def test_evidence_is_corrected_and_its_past_is_shown(started):
    """A slip of the keyboard is put right; what stood there, when and why, can be read."""
    said = started("bare", "Fern", "--distance-m", "81", "--bare-cm", BARE, "--fletched-cm",
                   FLETCHED, "--date", "2026-02-01")  # fmt: skip
    identity = said.split("(")[1].split(")")[0]
    started("correct", "Fern", "--evidence", identity, "--set", "distance_m=18", "--set",
            "bare_m=-6,0 -5,1", "--reason", "typed the wrong way round")  # fmt: skip
    listed = started("seen", "Fern").splitlines()
    assert '"distance_m": 18.0' in listed[0]
    assert "[-0.06, 0.0], [-0.05, 0.01]" in listed[0]
    assert "typed the wrong way round" in listed[1]
    assert '"distance_m": 81.0' in listed[1]
    for wrong in ("moon=1", "distance_m=far", "distance_m=500"):
        started("correct", "Fern", "--evidence", identity, "--set", wrong, "--reason", "x",
                status=2)  # fmt: skip
    said = started("powder", "Fern", "--mark", "vane,rest", *DATED)
    powder = said.split("(")[1].split(")")[0]
    assert "after a comma" in started("correct", "Fern", "--evidence", powder, "--set",
                                      "marks=vane", "--reason", "x", status=2)  # fmt: skip


def test_a_nocking_point_is_compared_up_and_down(started, tmp_path):
    """Unless told, the axis is the one that the change works on."""
    started("powder", "Fern", "--clean", "--date", "2026-02-01")
    started("bare", "Fern", "--distance-m", "18", "--bare-cm", "0,-8 1,-9 -1,-8", "--fletched-cm",
            FLETCHED, "--date", "2026-02-01")  # fmt: skip
    for k, (up_mm, when) in enumerate([(9.0, 1), (9.6, 1), (8.7, 1), (3.0, 2), (2.6, 2), (3.3, 2)]):
        if k == 3:
            assert "Lower the nocking point" in started("done", "Fern", "--date", "2026-02-02")
        lines = [{"kind": "yaw", "swing_mm": mm, "swing_sigma_mm": 0.5} for mm in (6.0, up_mm)]
        path = tmp_path / f"r{k}.json"
        path.write_text(json.dumps({**READING, "across": lines[:1], "up_down": lines[1:]}))
        started("reading", "Fern", str(path), "--date", f"2026-02-0{when}")
    assert "the change is real. Keep it." in started("compare", "Fern")
    beside = started("compare", "Fern", "--axis", "across")
    assert "nothing that matters has changed here" in beside
    assert "Undo it" not in beside


def test_export_import_backup(started, tmp_path, monkeypatch):
    """The logbook goes into another folder whole."""
    started("export", "all.zip")
    started("backup", "copy.sqlite3")
    assert "rows" in started("export", "other.zip")
    monkeypatch.setenv("TAILSWAY_FOLDER", str(tmp_path / "elsewhere"))
    started("import", "all.zip")
    assert "Fern" in started("archers")


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["next", "Nobody"], "There is no archer Nobody"),
        (["sheet", "Fern", "--setup", "red"], "no set-up red"),
        (["sheet", "Fern", "--version", "0"], "no version 0"),
        (["sheet", "Fern", "--version", "9"], "no version 9"),
        (["report", "Fern", "--version", "9", "--html", "x.html"], "no version 9"),
        (["compare", "Fern", "--after", "9"], "no version 9"),
        (["powder", "Fern", "--mark", "vane", *DATED], "after a comma"),
        (["powder", "Fern", "--mark", "vane rest", *DATED], "after a comma"),
        (["powder", "Fern", "--mark", "vane,rest,extra", *DATED], "after a comma"),
        (["change", "Fern", "--set", "brace_height=8", "--date", "2026-02-01", "--reason", "x"],
         "with one of these behind it"),
        (["change", "Fern", "--set", "brace", "--date", "2026-02-01", "--reason", "x"],
         "no field with a value"),
        (["change", "Fern", "--date", "today", "--reason", "x"], "year-month-day"),
        (["powder", "Fern", "--date", "2026-02-01"], "--clean"),
        (["powder", "Fern", "--mark", "feather,rest", "--date", "2026-02-01"], "part of the arrow"),
        (["bare", "Fern", "--distance-m", "18", "--bare-cm", "x", "--fletched-cm", FLETCHED,
          "--date", "2026-02-01"], "no pair of numbers"),
        (["bare", "Fern", "--distance-m", "18", "--bare-cm", "600,0", "--fletched-cm", FLETCHED,
          "--date", "2026-02-01"], "Check the unit"),
        (["group", "Fern", "--distance-m", "18", "--date", "2026-02-01"], "--points-cm"),
        (["eye", "Fern", "--seen", "ghosts", "--date", "2026-02-01"], "nothing the coach can"),
        (["eye", "Fern", *DATED], "--seen"),
        (["eye", "Fern", "--seen", "wob", *DATED], "wob is nothing the coach can have seen. There "
         "are: fishtailing"),
        (["bare", "Fern", "--distance-m", "18", "--bare-cm", "", "--fletched-cm", FLETCHED, *DATED],
         "--bare-cm is empty. Write right,up in centimetres"),
        (["bare", "Fern", "--distance-m", "18 m", "--bare-cm", BARE, "--fletched-cm", FLETCHED,
          *DATED], "--distance-m is '18 m'"),
        (["group", "Fern", "--distance-m", "18", "--points-cm", BARE, "--arrows", "3", *DATED],
         "one way"),
        (["group", "Fern", "--distance-m", "18", "--points-cm", BARE, "--diameter-cm", "9",
          "--arrows", "3", *DATED], "one way"),
        (["powder", "Fern", "--clean", "--date", "2026-01-31"], "first written down"),
        (["done", "Fern", "--date", "2026-01-31"], "first written down"),
        (["powder", "Fern", "--clean", "--date", "2999-01-01"], "yet to come"),
        (["change", "Fern", *DATED, "--reason", "x"], "already"),
        (["change", "Fern", "--set", "nocking_point=12 mm", *DATED, "--reason", "x"], "already"),
        (["change", "Fern", "--set", "strands=16", "--set", "strands=18", *DATED, "--reason", "x"],
         "given twice"),
        (["reading", "Fern", "no.json", "--date", "2026-02-01"], "holds no reading"),
        (["flight", "Fern", "no.mp4", "--date", "2026-02-01"], "no file"),
        (["compare", "Fern"], "only one version"),
        (["report", "Fern"], "--html FILE"),
        (["report", "Fern", "--pdf", "no/such/folder/x.pdf"], "no/such/folder"),
        (["import", "no.zip"], "There is no file no.zip"),
        (["delete", "Fern"], "Say what to delete"),
        (["undo"], "Nothing is deleted"),
        (["search", " "], "no word"),
    ],
)  # fmt: skip
def test_mistakes_get_one_sentence(started, words, said):
    """Status 2, one sentence, no traceback."""
    output = started(*words, status=2)
    assert said in output
    assert "Traceback" not in output
    assert len(output.strip().splitlines()) == 1


def test_no_progress_is_told_of_a_film_that_is_not_there(started, monkeypatch, tmp_path):
    """However slow the machine: one sentence, and nobody was asked to read anything."""

    def read(path, known, progress=None):  # noqa: ARG001 - as the reader takes them
        progress("decode", 0.0)
        raise AssertionError("asked to read a film that is not there")

    monkeypatch.setattr("ui.command_evidence.read_clip", read)
    (tmp_path / "hollow.mp4").touch()
    for name, said in (("no.mp4", "no file no.mp4"), ("hollow.mp4", "empty")):
        output = started("flight", "Fern", name, "--date", "2026-02-01", status=2)
        assert said in output
        assert len(output.strip().splitlines()) == 1


@pytest.fixture
def film(tmp_path, monkeypatch):
    """Make a film that any command reads at once."""

    def read(path, known, progress=None):  # noqa: ARG001 - as the reader takes them
        return made_result(path, made_reading())

    for module in ("ui.command_evidence", "ui.report_film"):
        monkeypatch.setattr(f"{module}.read_clip", read)
    return str(write_made_film(tmp_path / "shot.mp4"))


def test_a_flight_is_kept_once(started, film, tmp_path):
    """The same flight again would look like another arrow and shrink the error."""
    said = started("flight", "Fern", film, *DATED)
    identity = re.search(r"\(([0-9a-f]{8})\)", said)[1]
    again = started("flight", "Fern", film, *DATED, status=2)
    assert f"2026-02-01 ({identity})" in again
    started("delete", "Fern", "--evidence", identity)
    started("flight", "Fern", film, *DATED)
    path = tmp_path / "r.json"
    path.write_text(json.dumps(READING))
    started("reading", "Fern", str(path), *DATED)
    assert "already" in started("reading", "Fern", str(path), *DATED, status=2)


def test_a_clicked_flight_is_told_from_the_first_by_its_frames():
    """A click on a later arrow is another flight; one on what flies with the first is the first."""

    def kept(found_by, first, last):
        facts = {"flight": 0, "found_by": found_by, "first_frame": first, "last_frame": last}
        return {"reading": {**READING, "flight": facts}}

    first, again = kept("itself", 30, 110), kept("click", 33, 119)
    other, refused = kept("click", 340, 419), kept("click", None, None)
    assert same_flight(first, "a", again, "a")
    assert not same_flight(first, "a", other, "a")
    assert not same_flight(other, "a", first, "a")
    assert same_flight(other, "a", dict(other), "a")
    assert not same_flight(other, "a", other, "b")
    assert not same_flight(refused, "a", refused, "a")
    flights = [("a", first), ("a", again), ("a", other), ("b", other), ("a", other)]
    assert each_once(flights) == [first, other, other]


def test_a_click_on_another_arrow_is_kept_beside_the_first_flight(tmp_path):
    """Both stand in the logbook; before it is read nothing is said of a clicked one."""
    book, _, first, _ = made_logbook(tmp_path / "made")
    clip = keep_clip(book, write_made_film(tmp_path / "two.mp4"))
    facts = {"flight": 0, "found_by": "itself", "first_frame": 30, "last_frame": 110}
    newest = logbook.versions(book, first.setup_id)[-1]

    def keep(**changed):
        payload = {"reading": {**READING, "flight": {**facts, **changed}}}
        return record(book, newest, "flight", payload, dated="2026-03-01", clip_sha256=clip.sha256)

    keep()
    asked = {"clip_sha256": clip.sha256, "dated": "2026-03-01"}
    with pytest.raises(InputError, match="kept_already"):
        refuse_flight(book, newest, flight=0, **asked)
    refuse_flight(book, newest, flight=None, **asked)
    keep(found_by="click", first_frame=340, last_frame=419)
    with pytest.raises(InputError, match="kept_already"):
        keep(found_by="click")


def test_each_flight_of_a_film_counts_once(tmp_path):
    """A logbook brought together from two may hold one flight twice; it is no second arrow."""
    refused = {**READING, "refused": "no arrow", "label": None}
    flights = [("a", {"reading": READING}), ("a", {"reading": READING}),
               ("b", {"reading": refused}), ("b", {"reading": READING}),
               (None, {"reading": READING}), (None, {"reading": READING}),
               ("a", {"reading": {**READING, "flight": {"flight": 1}}})]  # fmt: skip
    assert each_once(flights) == [
        {"reading": READING},
        {"reading": READING},
        {"reading": READING},
        {"reading": READING},
        flights[6][1],
    ]
    book, archer, first, _ = made_logbook(tmp_path)
    before = open_case(book, archer, first.setup_id, 1).evidence.flights
    with book.writing() as db:
        columns = [row[1] for row in db.execute("PRAGMA table_info(evidence)")]
        rest = ", ".join(columns[1:])
        db.execute(f"INSERT INTO evidence SELECT 'twin', {rest} FROM evidence"  # noqa: S608
                   " WHERE kind = 'flight'")  # fmt: skip
    assert open_case(book, archer, first.setup_id, 1).evidence.flights == before


def test_a_film_is_kept_for_the_archers_own_hand(started, film):
    """Fern is left-handed; for the right hand the advice would be the wrong way round."""
    assert "left-handed" in started("flight", "Fern", film, *DATED, "--hand", "right", status=2)
    assert "Written down for version 1 (" in started(
        "flight", "Fern", film, *DATED, "--hand", "left"
    )


def test_an_old_entry_with_the_other_hand_still_has_its_report(started, film, tmp_path):
    """Kept before the hand was held against the archer's: the report goes by the archer's."""
    book = LogbookFile(tmp_path / "data")
    archer = logbook.find_archer(book, "Fern")
    newest = open_case(book, archer, logbook.find_setup(book, archer, None).id).newest
    payload = {"reading": READING, "arrow": "1", "known": {"hand": "right"}}
    clip = keep_clip(book, Path(film))
    record(book, newest, "flight", payload, dated="2026-02-01", clip_sha256=clip.sha256)
    started("report", "Fern", "--html", "out.html")
    assert "data:image/jpeg;base64," in (tmp_path / "out.html").read_text(encoding="utf-8")


def test_a_film_that_could_not_be_kept_is_not_read(started, film, monkeypatch):
    """A wrong day is told of before minutes are spent."""
    monkeypatch.setattr("ui.command_evidence.read_clip", pytest.fail)
    said = started("flight", "Fern", film, "--date", "2026-01-31", status=2)
    assert "first written down" in said


def test_a_refused_film_says_that_it_is_kept(started, film, monkeypatch):
    """Whoever films again must know that the first one stands there, and how it is called."""
    refused = replace(made_reading(), refused=message("label.no_flight"), label=None)
    monkeypatch.setattr(
        "ui.command_evidence.read_clip",
        lambda path, known, progress=None: made_result(path, refused),  # noqa: ARG005
    )
    said = started("flight", "Fern", film, *DATED, status=3)
    identity = re.search(r"refused one \(([0-9a-f]{8})\)", said)[1]
    assert identity in started("seen", "Fern")
    # with what was missing it may be read again, and is kept beside the refusal
    monkeypatch.setattr(
        "ui.command_evidence.read_clip",
        lambda path, known, progress=None: made_result(path, made_reading()),  # noqa: ARG005
    )
    assert "Written down" in started("flight", "Fern", film, *DATED)


def test_a_forgotten_hand_is_added(run):
    """It can be said later; another one than stands there needs a reason."""
    run("archer", "Elm", "--notes", "junior")
    assert "Elm is right-handed" in run("archer", "Elm", "--hand", "right")
    assert "Elm (right-handed)" in run("archers")
    assert "--reason" in run("archer", "Elm", "--hand", "left", status=2)
    run("archer", "Elm", "--hand", "left", "--reason", "typed wrong")
    assert "Elm (left-handed)" in run("archers")
    for again in ([], ["--hand", "left"]):
        assert "in use" in run("archer", "Elm", *again, status=2)


def test_what_changes_no_field_is_done_in_words(started, monkeypatch, tmp_path):
    """An arrow is set aside: the next version reads as before and holds what comes then."""

    def aside(case, language="en"):
        return replace(propose(case, language), cure="set_arrow_aside", is_test=False)

    monkeypatch.setattr("ui.command_tuning.propose", aside)
    assert "--note" in started("done", "Fern", *DATED, status=2)
    assert "version 2" in started("done", "Fern", *DATED, "--note", "arrow 3 is out")
    assert "arrow 3 is out" in started("search", "arrow 3")
    book = LogbookFile(tmp_path / "data")
    archer = logbook.find_archer(book, "Fern")
    bow = logbook.find_setup(book, archer, None)
    (done,) = decisions_of(book, bow.id)
    first, second = logbook.versions(book, bow.id)
    assert (done.cure, done.to_version_id, done.is_test) == ("set_arrow_aside", second.id, False)
    assert first.sheet.typed == second.sheet.typed
    assert [t.cure for t in open_case(book, archer, bow.id).evidence.tried] == ["set_arrow_aside"]
