"""Refusal: what the dashboard and the command say when the logbook or the disk says no."""

from __future__ import annotations

import io
import sqlite3
import zipfile
from contextlib import closing
from pathlib import Path

import pytest
import streamlit as st
from click.testing import CliRunner
from streamlit.testing.v1 import AppTest, app_test

import classify.logbook_file
from classify import logbook
from classify.evidence_book import evidence_of
from classify.exchange import export_zip
from classify.logbook_file import LogbookFile, looked_over
from classify.logbook_undo import delete
from tests.denied import denied, largest_file
from tests.made_logbook import made_logbook
from tests.pressed_pages import pressed
from tests.test_logbook_hurt import PAGE, damage
from tracker.types import InputError
from ui.command import main
from ui.lessons import LessonBook
from ui.shelf import Shelf

DELETED_BEFORE = "This was deleted already, perhaps in another window."


def rounds() -> None:
    """Draw set-ups and rounds."""
    from ui.page_rounds import show_rounds

    show_rounds()


def book_page() -> None:
    """Draw the logbook page."""
    from ui.page_logbook import show_logbook

    show_logbook()


def read_page() -> None:
    """Draw the page that reads a clip."""
    from ui.page_read import show_read

    show_read()


@pytest.fixture
def at(tmp_path, monkeypatch):
    """Give a way to make the pages and commands look at a folder."""
    monkeypatch.setenv("TAILSWAY_LANGUAGE", "en")
    monkeypatch.chdir(tmp_path)

    def look(folder) -> None:
        monkeypatch.setenv("TAILSWAY_FOLDER", str(folder))
        st.cache_resource.clear()

    look(tmp_path / "coach")
    return look


def opened(page, **query) -> AppTest:
    """Open a page."""
    test = AppTest.from_function(page, default_timeout=60)
    for name, value in query.items():
        test.query_params[name] = value
    done = test.run()
    assert not done.exception
    return done


def tailsway(*words: str):
    """Run a command."""
    return CliRunner().invoke(main, ["book", *words], catch_exceptions=False)


@pytest.mark.usefixtures("at")
def test_an_entry_outlives_a_logbook_in_use(tmp_path, monkeypatch):
    """The page says what is the matter, what was typed is still there, and pressing again works."""
    monkeypatch.setattr(classify.logbook_file, "BUSY_S", 0.2)
    book, *_ = made_logbook(tmp_path / "coach")
    page = opened(rounds)
    page.text_input("new-archer-name").set_value("Robin")
    with closing(sqlite3.connect(book.path, isolation_level=None)) as other:
        other.execute("BEGIN EXCLUSIVE")
        page = pressed(page, "Write the archer down")
        assert "was in use" in page.error[0].value
        other.execute("ROLLBACK")
    assert page.text_input("new-archer-name").value == "Robin"
    page = pressed(page, "Write the archer down")
    assert not page.error
    assert logbook.find_archer(book, "Robin")


@pytest.mark.usefixtures("at")
def test_clicked_impacts_outlive_a_logbook_in_use(tmp_path, monkeypatch):
    """Impacts are let go only once they are kept."""
    monkeypatch.setattr(classify.logbook_file, "BUSY_S", 0.2)
    book, _, first, _ = made_logbook(tmp_path / "coach")
    key = first.setup_id[:8]
    page = opened(rounds, part="seen")
    page.session_state[f"bare-shots-bare-{key}"] = [[0.05, 0.0], [0.06, 0.01], [0.05, 0.01]]
    page.session_state[f"bare-shots-fletched-{key}"] = [[0.0, 0.0], [0.01, 0.01], [0.0, 0.01]]
    page = page.button_group(f"add-kind-{key}").set_value("bare").run()
    keep = "Keep the bare-shaft test"
    with closing(sqlite3.connect(book.path, isolation_level=None)) as other:
        other.execute("BEGIN EXCLUSIVE")
        page = pressed(page, keep)
        assert "was in use" in page.error[0].value
        other.execute("ROLLBACK")
    page = pressed(page, keep)
    newest = logbook.versions(book, first.setup_id)[-1]
    assert [seen.kind for seen in evidence_of(book, newest)] == ["bare shaft", "bare shaft"]


@pytest.mark.usefixtures("at")
def test_two_dashboards_change_one_sheet(tmp_path):
    """The second is told of the first's version; its own change then goes on top, and no other.

    The first changes the strands, the second, whose form still shows the old strands, the string.
    """
    book, archer, first, _ = made_logbook(tmp_path / "coach")
    one, other = opened(rounds, part="sheet"), opened(rounds, part="sheet")
    key = first.setup_id[:8]
    one.text_input(f"change-{key}-strands").set_value("18")
    one.text_input(f"change-reason-{key}").set_value("mine")
    assert not pressed(one, "Make the next version").error
    other.text_input(f"change-{key}-string").set_value("green")
    other.text_input(f"change-reason-{key}").set_value("yours")
    other = pressed(other, "Make the next version")
    assert "somebody else made version 3" in other.error[0].value
    assert len(logbook.versions(book, first.setup_id)) == 3
    other = pressed(other, "Make the next version")
    assert not other.error
    newest = logbook.versions(book, first.setup_id)[-1]
    assert (newest.number, newest.reason) == (4, "yours")
    assert (newest.sheet.typed["strands"], newest.sheet.typed["string"]) == ("18", "green")
    page = opened(rounds, archer=archer.name, part="sheet")
    said = " ".join(str(part.proto.body) for part in page.get("html"))
    assert "mine" in said
    assert "yours" in said


@pytest.mark.usefixtures("at")
def test_a_damaged_logbook_is_shown_and_exported(tmp_path):
    """Both pages warn and show what was saved; the export button packs it; writing is refused."""
    book, archer, *_ = made_logbook(tmp_path / "coach")
    with closing(sqlite3.connect(book.path)) as db:
        page_number = db.execute(
            "SELECT rootpage FROM sqlite_master WHERE name = 'evidence'"
        ).fetchone()[0]
        db.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    damage(book.path, page_number, bytes(PAGE))
    looked_over().clear()
    page = opened(rounds)
    assert "is damaged" in page.warning[0].value
    assert archer.name in page.selectbox("rounds-archer").options
    page.text_input("new-archer-name").set_value("Robin")
    page = pressed(page, "Write the archer down")
    assert "read only" in page.error[0].value
    page = pressed(opened(book_page), "Pack the whole logbook with its clips")
    assert "is damaged" in page.warning[0].value
    with zipfile.ZipFile(io.BytesIO(page.session_state["exported"])) as packed:
        assert archer.name in packed.read("logbook.json").decode()


@pytest.mark.usefixtures("at")
def test_rescue_and_restore_from_the_command(tmp_path):
    """Damage is said on every command; rescue packs, restore brings back, and work goes on."""
    book, archer, *_ = made_logbook(tmp_path / "coach")
    with closing(sqlite3.connect(book.path)) as db:
        db.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        root = db.execute("SELECT rootpage FROM sqlite_master WHERE name = 'history'").fetchone()
    damage(book.path, root[0], b"\x99" * PAGE)
    looked_over().clear()
    listed = tailsway("archers")
    assert "is damaged" in listed.stderr
    assert archer.name in listed.stdout
    refused = tailsway("archer", "Robin")
    assert (refused.exit_code, "read only" in refused.stderr) == (2, True)
    saved = tailsway("rescue", "saved.zip")
    assert saved.exit_code == 0
    assert "book restore" in saved.output
    back = tailsway("restore", "saved.zip")
    assert back.exit_code == 0
    assert "logbook-before-" in back.output
    assert tailsway("archer", "Robin").exit_code == 0
    again = tailsway("restore", "missing.zip")
    assert (again.exit_code, "no backup" in again.output) == (2, True)


@pytest.mark.parametrize("page", [rounds, book_page, read_page])
def test_every_page_opens_on_a_folder_that_cannot_be_written(tmp_path, at, page):
    """What is there is shown; nothing but a sentence where something is kept."""
    made_logbook(tmp_path / "coach")
    test = AppTest.from_function(page, default_timeout=60)
    # the page's own text, which whoever the tests become must be able to read
    Path(app_test.TMP_DIR.name).chmod(0o755)
    with denied(tmp_path / "coach") as folder:
        at(folder)
        done = test.run()
        assert not done.exception
        assert [error.value for error in done.error] == []
        if page is not read_page:
            assert "cannot be written" in done.warning[0].value


def test_films_notes_and_answers_on_a_folder_that_cannot_be_written(tmp_path):
    """Each says so, and nothing is half kept."""
    (tmp_path / "coach").mkdir()
    with denied(tmp_path / "coach") as folder:
        shelf = Shelf(folder)
        assert shelf.clips() == []
        with pytest.raises(InputError, match="cannot_keep"):
            shelf.keep(io.BytesIO(b"film"), "x.mp4")
        with pytest.raises(InputError, match="cannot_keep"):
            shelf.note("a" * 64, "opinion", {"label": "clean"})
        with pytest.raises(InputError, match="cannot_keep"):
            LessonBook(folder).add(trainee="t", question="q", shown="clean", said="clean")
        assert list(folder.iterdir()) == []


def test_films_and_notes_on_a_full_disk(tmp_path):
    """No half film stays, no note is torn, what was kept before is there; then both go in."""
    shelf = Shelf(tmp_path)
    sha = "b" * 64
    shelf.note(sha, "opinion", {"label": "clean", "why": "first"})
    long = {"label": "clean", "why": "w" * 100_000}
    with largest_file(50_000):
        with pytest.raises(InputError, match="cannot_keep"):
            shelf.keep(io.BytesIO(b"f" * 300_000), "x.mp4")
        with pytest.raises(InputError, match="cannot_keep"):
            shelf.note(sha, "opinion", long)
        assert [note.said["why"] for note in shelf.notes(sha)] == ["first"]
    assert list((tmp_path / "clips").iterdir()) == []
    shelf.note(sha, "opinion", long)
    shelf.note(sha, "opinion", {"label": "clean", "why": "last"})
    assert [len(note.said["why"]) for note in shelf.notes(sha)] == [5, 100_000, 4]
    assert shelf.keep(io.BytesIO(b"f" * 300_000), "x.mp4").path.stat().st_size == 300_000


def test_a_card_that_a_power_cut_broke_hides_no_other_clip(tmp_path):
    """The other clips are listed; giving the film again mends its card."""
    shelf = Shelf(tmp_path)
    good = shelf.keep(io.BytesIO(b"good"), "good.mp4")
    hurt = shelf.keep(io.BytesIO(b"hurt"), "hurt.mp4")
    card = tmp_path / "clips" / f"{hurt.sha256}.json"
    for broken in ("", '{"name": "h', "[]", '{"name": "x", "file": "../../etc/passwd"}'):
        card.write_text(broken)
        assert [clip.sha256 for clip in shelf.clips()] == [good.sha256]
        assert shelf.keep(io.BytesIO(b"hurt"), "hurt.mp4").path.read_bytes() == b"hurt"
        assert len(shelf.clips()) == 2


@pytest.mark.parametrize("name", ["x.json", "x.part", "X.JSON", "x.mö", "x." + "e" * 40])
def test_a_film_by_the_name_of_its_own_card(tmp_path, name):
    """Whatever a film is called, card and film are two files and the film is whole."""
    kept = Shelf(tmp_path).keep(io.BytesIO(b"film"), name)
    assert kept.path.read_bytes() == b"film"
    assert kept.name == name
    assert Shelf(tmp_path).clip(kept.sha256) == kept


@pytest.mark.usefixtures("at")
def test_what_a_logbook_on_a_full_disk_can_still_do(tmp_path):
    """Reading goes on; the page says that an entry had no room, and keeps what was typed."""
    _, _, _, second = made_logbook(tmp_path / "coach")
    page = opened(rounds, part="sheet")
    page.text_input(f"change-{second.setup_id[:8]}-string").set_value("R" * 9000)
    page.text_input(f"change-reason-{second.setup_id[:8]}").set_value("another string")
    with largest_file(30_000):
        done = pressed(page, "Make the next version")
    assert not done.exception
    assert "disk" in done.error[0].value
    assert pressed(done, "Make the next version").error.len == 0


@pytest.mark.usefixtures("at")
def test_deleting_what_another_page_deleted(tmp_path):
    """Said in a sentence, and the list is right."""
    book, _, _, second = made_logbook(tmp_path / "coach")
    page = opened(rounds, part="seen")
    (seen,) = evidence_of(book, second)
    delete(book, "evidence", seen.id)
    done = page.button(f"delete-{seen.id}").click().run()
    assert not done.exception
    assert [fault.value for fault in done.error] == [DELETED_BEFORE]
    assert evidence_of(book, second) == []


@pytest.mark.usefixtures("at")
def test_correcting_what_another_page_deleted(tmp_path):
    """The entry is gone from the page, and with it the place beside it; the sentence is not."""
    book, _, _, second = made_logbook(tmp_path / "coach")
    page = opened(rounds, part="seen")
    (seen,) = evidence_of(book, second)
    page.text_input(f"correct-{seen.id}-crosswind_m_s").set_value("2")
    page.text_input(f"correct-{seen.id}-why").set_value("forgot the wind")
    delete(book, "evidence", seen.id)
    done = next(b for b in page.button if b.form_id == f"correct-{seen.id}").click().run()
    assert not done.exception
    assert [fault.value for fault in done.error] == [DELETED_BEFORE]


@pytest.mark.usefixtures("at")
def test_export_and_backup_say_where_there_is_no_room(tmp_path):
    """Status 2 and one sentence with the file's name."""
    made_logbook(tmp_path / "coach")
    with largest_file(1000):
        for command in ("export", "backup"):
            done = tailsway(command, "out.bin")
            assert done.exit_code == 2
            assert "out.bin" in done.stderr
    export_zip(LogbookFile(tmp_path / "coach"), tmp_path / "out.bin")
