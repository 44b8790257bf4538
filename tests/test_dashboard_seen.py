"""What was seen is put right on the page, with whichever version it was seen."""

from __future__ import annotations

from pathlib import Path

import pytest
from streamlit.testing.v1 import AppTest

from classify import logbook
from classify.casebook import Case, open_case
from classify.evidence_book import evidence_of
from classify.logbook_file import LogbookFile
from classify.logbook_undo import delete, last_deleted, undo_delete
from fixtures.season import play_season
from tests.test_dashboard_rounds import html_of, opened
from tracker.types import InputError
from ui.clip_queue import QueuedClip
from ui.dash_words import Words
from ui.page_round import progress_words
from ui.words import season_said


@pytest.fixture
def cedar(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> LogbookFile:
    """Play the season of an invented archer, whose set-up has several versions."""
    monkeypatch.setenv("TAILSWAY_FOLDER", str(tmp_path))
    book = LogbookFile(tmp_path)
    play_season(book)
    return book


def case_of(book: LogbookFile, name: str = "Cedar") -> Case:
    """Open an archer's case as it stands now."""
    archer = logbook.find_archer(book, name)
    return open_case(book, archer, logbook.find_setup(book, archer, None).id)


def looking_at(book: LogbookFile, version: int) -> AppTest:
    """Open what was seen with a version."""
    page = opened(archer="Cedar", part="seen")
    page.session_state[f"seen-{case_of(book).versions[version].id}"] = True
    return page.run()


def undo_button(page: AppTest) -> list:
    """Find what brings back what was deleted."""
    return [one for one in page.button if str(one.key).startswith("undo-delete")]


def test_what_was_seen_with_an_earlier_version_is_corrected(cedar):
    """A wind forgotten two changes ago is added; what stood there is told in words, not as kept."""
    first = next(one for one in case_of(cedar).seen[2] if one.kind == "bare shaft")
    page = looking_at(cedar, 2)
    page.text_input(f"correct-{first.id}-crosswind_m_s").set_value("3,5")
    page.text_input(f"correct-{first.id}-why").set_value("forgot the wind")
    send = next(b for b in page.button if b.form_id == f"correct-{first.id}")
    done = send.click().run()
    assert not done.exception
    after = next(one for one in case_of(cedar).seen[2] if one.id == first.id)
    assert after.payload["crosswind_m_s"] == 3.5
    assert "forgot the wind · before: bare shafts (6) 6.7 cm right" in html_of(done)
    assert "bare_m" not in html_of(done)


@pytest.mark.parametrize("version", [0, -1])
def test_what_was_deleted_is_brought_back_where_it_stood(cedar, version):
    """The page says that it no longer counts, and offers to undo just that."""
    one = case_of(cedar).seen[version][0]
    page = looking_at(cedar, version)
    assert not undo_button(page)
    page = page.button(f"delete-{one.id}").click().run()
    assert not page.exception
    assert one not in case_of(cedar).seen[version]
    assert [said.value for said in page.success] == ["Deleted. It no longer counts."]
    page = undo_button(page)[0].click().run()
    assert not page.exception
    assert one in case_of(cedar).seen[version]
    assert not page.success
    assert not undo_button(page)


def test_undo_is_not_offered_once_something_else_was_deleted(cedar):
    """What would come back then is not what the page speaks of."""
    one, other = case_of(cedar).seen[0][0], case_of(cedar).seen[-1][0]
    page = looking_at(cedar, 0)
    page = page.button(f"delete-{one.id}").click().run()
    assert undo_button(page)
    delete(cedar, "evidence", other.id)
    assert last_deleted(cedar) == ("evidence", other.id)
    assert not undo_button(page.run())
    undo_delete(cedar)
    assert last_deleted(cedar) == ("evidence", one.id)
    undo_delete(cedar)
    assert last_deleted(cedar) is None


def logbook_page() -> None:
    """Draw the logbook."""
    from ui.page_logbook import show_logbook

    show_logbook()


def test_the_logbook_says_what_came_back(cedar):
    """Evidence and an archer are told apart, and with nothing deleted there is a sentence."""
    archer = logbook.find_archer(cedar, "Cedar")
    delete(cedar, "archers", archer.id)
    delete(cedar, "evidence", evidence_of(cedar, case_of(cedar, "Alder").newest)[0].id)
    page = AppTest.from_function(logbook_page, default_timeout=60).run()
    said = [page.button("undo").click().run().success[0].value for _ in range(2)]
    assert ["something that was seen" in said[0], "an archer" in said[1]] == [True, True]
    assert "Nothing is deleted" in page.button("undo").click().run().error[0].value


def test_a_name_is_short_enough_for_tables_and_addresses(cedar):
    """A hundred and twenty characters go in, one more is refused, of archers and of set-ups."""
    archer = logbook.add_archer(cedar, "A" * 120, hand=None)
    with pytest.raises(InputError, match="long_name"):
        logbook.add_archer(cedar, "A" * 121, hand=None)
    with pytest.raises(InputError, match="long_name"):
        logbook.add_setup(cedar, archer, "b" * 121, typed={}, dated="2026-02-01", reason="as found")


def test_what_was_cancelled_is_not_called_done(tmp_path):
    """Of six clips one was read before the rest was cancelled."""
    clips = [
        QueuedClip(token=str(n), name=f"{n}.mp4", path=tmp_path, sha256=None, said={}, state=state)
        for n, state in enumerate(["done"] + 5 * ["cancelled"])
    ]
    assert progress_words(clips, Words("en")) == "1 of 6 done, 5 cancelled"
    assert progress_words(clips[:1], Words("en")) == "1 of 1 done"


def test_a_delete_that_fails_is_not_called_done_before(cedar, monkeypatch):
    """A full disk is no other window."""
    one = case_of(cedar).seen[-1][0]
    page = opened(archer="Cedar", part="seen")

    def full(*_args: object) -> None:
        raise InputError("logbook.cannot_write", path="logbook", reason="no space left")

    monkeypatch.setattr("ui.rounds_seen.delete", full)
    page = page.button(f"delete-{one.id}").click().run()
    assert "no space left" in page.error[0].value


@pytest.mark.usefixtures("cedar")
def test_what_the_season_wrote_down_is_said_in_spanish(monkeypatch):
    """Its notes and reasons; a person's own words stay as they were typed."""
    monkeypatch.setenv("TAILSWAY_LANGUAGE", "es")
    assert "simulado" in html_of(opened(archer="Cedar", part="seen"))
    assert "tal como estaba" in html_of(opened(archer="Cedar", part="sheet"))
    assert season_said("found in the shed", "es") == "found in the shed"
