"""What was seen is put right on the page, with whichever version it was seen."""

from __future__ import annotations

from pathlib import Path

import pytest
from streamlit.testing.v1 import AppTest

from classify import logbook
from classify.casebook import Case, open_case
from classify.logbook_file import LogbookFile
from classify.logbook_undo import delete, last_deleted, undo_delete
from fixtures.season import play_season
from tests.test_dashboard_rounds import html_of, opened


@pytest.fixture
def cedar(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> LogbookFile:
    """Play the season of an invented archer, whose set-up has several versions."""
    monkeypatch.setenv("TAILSWAY_FOLDER", str(tmp_path))
    book = LogbookFile(tmp_path)
    play_season(book)
    return book


def case_of(book: LogbookFile) -> Case:
    """Open Cedar's case as it stands now."""
    archer = logbook.find_archer(book, "Cedar")
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
