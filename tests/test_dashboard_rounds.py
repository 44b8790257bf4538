"""Independent: the worked season in the dashboard, round by round, against the bow's truth."""

from __future__ import annotations

from dataclasses import replace

import pytest
from streamlit.testing.v1 import AppTest

from classify import logbook
from classify.casebook import open_case, propose
from classify.clip_store import keep_clip
from classify.evidence_book import decisions_of, record
from classify.knowledge import load_knowledge
from classify.logbook_file import LogbookFile
from classify.logbook_undo import history
from classify.setup_sheet import sheet_fields
from fixtures.season import play_season
from tests.made_logbook import BARE, READING, TYPED, made_logbook
from ui.shelf import Shelf


def rounds() -> None:
    """Draw set-ups and rounds."""
    from ui.page_rounds import show_rounds

    show_rounds()


def html_of(done: AppTest) -> str:
    """Give all the HTML that a page wrote."""
    return " ".join(str(part.proto.body) for part in done.get("html"))


@pytest.fixture
def season(tmp_path, monkeypatch):
    """Play the season into the folder that the page looks at."""
    monkeypatch.setenv("TAILSWAY_FOLDER", str(tmp_path))
    book = LogbookFile(tmp_path)
    return book, play_season(book)


def opened(**query) -> AppTest:
    """Open the page."""
    page = AppTest.from_function(rounds, default_timeout=60)
    for name, value in query.items():
        page.query_params[name] = value
    done = page.run()
    assert not done.exception
    return done


def test_every_round_on_the_page_is_what_the_truth_needed(season):
    """Each archer's list of decisions is the truth's own, in order, and ends with keep."""
    book, played = season
    for archer in logbook.archers(book):
        bow = logbook.find_setup(book, archer, None)
        shown = html_of(opened(archer=archer.name)).split("<ol class='ts-history'>")[1]
        items = shown.split("</ol>")[0].split("<li>")[1:]
        wanted = [r for r in played if r.archer == archer.name]
        assert len(items) == len(wanted) == len(decisions_of(book, bow.id))
        known = load_knowledge(archer.hand)
        for item, one in zip(items, wanted, strict=True):
            cure = known.cures[one.wanted]
            assert cure.change in item or cure.far_change in item


@pytest.mark.usefixtures("season")
def test_an_address_of_an_archer_who_is_not_here_shows_nobody_elses_advice():
    """A warning and an empty choice; the address stays until somebody is chosen."""
    page = opened(archer="Nobody")
    assert [warning.value for warning in page.warning] == [
        "The archer of this address is not in this logbook. Choose another one, or write this one"
        " down."
    ]
    assert "ts-change" not in html_of(page)
    assert page.query_params["archer"] == "Nobody"
    chosen = page.selectbox(key="rounds-archer").set_value("Birch").run()
    assert not chosen.warning
    assert "ts-change" in html_of(chosen)
    assert chosen.query_params["archer"] == "Birch"


def test_the_page_looks_back_at_an_earlier_version(season):
    """As of version 2 the card proposes what the truth needed then, and offers no way to do it."""
    book, played = season
    archer = logbook.find_archer(book, "Birch")
    page = opened(archer="Birch")
    assert "Keep this set-up" in html_of(page)
    box = next(box for box in page.selectbox if box.label == "As of version")
    for version in box.options[:-1]:
        then = box.set_value(int(version)).run()
        last = [r for r in played if r.archer == "Birch" and r.version == int(version)][-1]
        cure = load_knowledge(archer.hand).cures[last.wanted]
        card = html_of(then).split('class="ts-change">')[1].split("</p>")[0]
        assert card in (cure.change, cure.far_change)
        assert not [b for b in then.button if b.label == "Write it down"]
        box = next(b for b in then.selectbox if b.label == "As of version")


def test_an_earlier_version_can_be_reached_by_its_address(season):
    """A reload keeps looking back, and another archer's page is not touched by it."""
    book, _ = season
    bow = logbook.find_setup(book, logbook.find_archer(book, "Birch"), None)
    looking_back = {f"as-of-{bow.id[:8]}": "1"}
    then = opened(archer="Birch", **looking_back)
    assert next(box for box in then.selectbox if box.label == "As of version").value == 1
    assert not [b for b in then.button if b.label == "Write it down"]
    other = opened(archer="Alder", **looking_back)
    box = next(box for box in other.selectbox if box.label == "As of version")
    assert str(box.value) == box.options[-1]


@pytest.mark.usefixtures("season")
def test_a_spanish_page_says_versions_and_decisions_in_spanish():
    """The season was played in English; what a person typed is all that stays English."""
    for query in ({}, {"part": "sheet"}):
        shown = html_of(opened(archer="Alder", language="es", **query))
        for english in ("Lower the", "Fletch three", "<dd>yes", "<dd>good", "degrees", "turns"):
            assert english not in shown, english


@pytest.mark.usefixtures("season")
def test_a_form_keeps_the_order_of_the_sheet():
    """One column under the other, as on a phone, the fields come in the sheet's order."""
    page = opened(archer="Alder", part="sheet")
    keys = [str(part.key) for part in page.main if getattr(part, "key", None)]
    asked = [key.split("-")[-1] for key in keys if key.startswith("change-")]
    assert [name for name in asked if name in sheet_fields()] == list(sheet_fields())
    headings = html_of(page).split("</section>")[-1]
    assert all(f"<h3>{name}" in headings for name in ("Bow", "String", "Rest", "Arrow"))


def test_wind_is_corrected_on_the_page_with_its_past(season):
    """A forgotten wind is added to a test; the reasoning asks for calm, the past is shown."""
    book, _ = season
    archer = logbook.find_archer(book, "Cedar")
    bow = logbook.find_setup(book, archer, None)
    page = opened(archer="Cedar", part="seen")
    test = next(s for s in open_case(book, archer, bow.id).seen[-1] if s.kind == "bare shaft")
    page.text_input(f"correct-{test.id}-crosswind_m_s").set_value("5")
    page.text_input(f"correct-{test.id}-why").set_value("forgot the wind")
    send = next(b for b in page.button if b.form_id == f"correct-{test.id}")
    done = send.click().run()
    assert not done.exception
    assert "forgot the wind" in html_of(done)
    assert "cross wind 5.0 m/s" in html_of(done)
    assert open_case(book, archer, bow.id).evidence.crosswind_m_s == pytest.approx(5.0)


def test_a_group_is_kept_as_a_score_with_its_wind(season):
    """The group form takes a score with its face, and the wind; half a group is refused."""
    book, _ = season
    archer = logbook.find_archer(book, "Alder")
    bow = logbook.find_setup(book, archer, None)
    key = bow.id[:8]
    page = opened(archer="Alder", part="seen")
    page = page.button_group(f"add-kind-{key}").set_value("groups").run()
    send = next(b for b in page.button if b.label == "Keep the group")
    page = send.click().run()
    assert "widest distance" in page.error[0].value
    page.number_input(f"group-score-{key}").set_value(50.0)
    page.number_input(f"group-face-{key}").set_value(40.0)
    page.number_input(f"group-wind-{key}").set_value(2.0)
    page = next(b for b in page.button if b.label == "Keep the group").click().run()
    assert not page.exception
    kept = [s for s in open_case(book, archer, bow.id).seen[-1] if s.kind == "groups"][-1]
    assert kept.payload["score"] == pytest.approx(50.0)
    assert kept.payload["crosswind_m_s"] == pytest.approx(2.0)


def test_what_changes_no_field_is_done_in_words_on_the_page_too(tmp_path, monkeypatch):
    """As on the command line: words are asked for, and kept with a version that reads as before."""
    monkeypatch.setenv("TAILSWAY_FOLDER", str(tmp_path))
    book, _, first, _ = made_logbook(tmp_path)
    monkeypatch.setattr(
        "ui.rounds_next.propose",
        lambda case, language: replace(
            propose(case, language), cure="set_arrow_aside", is_test=False
        ),
    )
    page = opened()
    key = first.setup_id[:8]
    page = next(b for b in page.button if b.label == "Write it down").click().run()
    assert "Say what was done" in page.error[0].value
    page.text_input(f"done-note-{key}").set_value("arrow 3 is out")
    page = next(b for b in page.button if b.label == "Write it down").click().run()
    assert not page.exception
    done = decisions_of(book, first.setup_id)[-1]
    *_, before, now = logbook.versions(book, first.setup_id)
    assert (done.cure, done.to_version_id) == ("set_arrow_aside", now.id)
    assert (done.note, now.number) == ("arrow 3 is out", 3)
    assert now.sheet.typed == before.sheet.typed


def test_a_flight_that_stands_there_is_told_of_on_the_page(tmp_path, monkeypatch):
    """The same film of the same version is refused before it is read again."""
    monkeypatch.setenv("TAILSWAY_FOLDER", str(tmp_path))
    book, _, _, newest = made_logbook(tmp_path)
    with (tmp_path / "film.mp4").open("rb") as stream:
        Shelf(tmp_path).keep(stream, "again.mp4")
    film = keep_clip(book, tmp_path / "film.mp4")
    there = {"reading": READING, "arrow": "1"}
    record(book, newest, "flight", there, dated="2026-01-12", clip_sha256=film.sha256)
    monkeypatch.setattr("ui.rounds_seen.kept_reading", pytest.fail)
    page = opened(part="seen")
    key = newest.setup_id[:8]
    page = page.button_group(f"add-kind-{key}").set_value("flight").run()
    page.selectbox(f"flight-clip-{key}").select_index(0)
    page = next(b for b in page.button if b.label == "Read it and keep it").click().run()
    assert not page.exception
    assert "written down already" in page.error[0].value


def button(page: AppTest, label: str):
    """Give the button of a name."""
    return next(one for one in page.button if one.label == label)


def test_a_forgotten_hand_is_said_on_the_page(tmp_path, monkeypatch):
    """The page asks for it while it is missing; a test that goes to one side then advises."""
    monkeypatch.setenv("TAILSWAY_FOLDER", str(tmp_path))
    book = LogbookFile(tmp_path)
    archer = logbook.add_archer(book, "Robin", hand=None, notes="club")
    first = logbook.add_setup(
        book, archer, "bow", typed=TYPED, dated="2026-01-10", reason="as bought"
    )
    record(book, first, "bare shaft", BARE, dated="2026-01-10")
    page = opened()
    assert "Say right or left: weak" in page.error[0].value
    asked = f"hand-{archer.id[:8]}-None"
    page = button(page, "Write the hand down").click().run()
    assert page.error[0].value == "Say right or left."
    page.radio(asked).set_value("left")
    page = button(page, "Write the hand down").click().run()
    assert not page.exception
    assert page.success[0].value == "Written down: Robin is left-handed."
    assert not page.error
    assert "ts-change" in html_of(page)
    kept = logbook.find_archer(book, "Robin")
    assert (kept.hand, kept.notes) == ("left", "club")


@pytest.mark.usefixtures("season")
def test_a_wrong_hand_is_corrected_with_its_reason(season):
    """Without a reason nothing changes; with one the word before stays in the history."""
    book, _ = season
    archer = logbook.find_archer(book, "Birch")
    other = {"right": "left", "left": "right"}[str(archer.hand)]
    page = opened(archer="Birch")
    field = f"hand-{archer.id[:8]}"
    page.radio(f"{field}-{archer.hand}").set_value(other)
    page = button(page, "Write the hand down").click().run()
    assert "Say why" in page.error[0].value
    page.text_input(f"{field}-why").set_value("mixed up")
    page = button(page, "Write the hand down").click().run()
    assert not page.exception
    assert logbook.find_archer(book, "Birch").hand == other
    assert [reason for _, reason, _ in history(book, archer.id)] == ["mixed up"]


@pytest.mark.usefixtures("season")
def test_the_archer_of_before_comes_back_after_another_page():
    """Another page takes the archer out of the address; nobody else's advice comes instead."""
    page = opened(archer="Birch")
    del page.query_params["archer"]
    page.session_state["elsewhere"] = True
    page = page.run()
    assert page.selectbox("rounds-archer").value == "Birch"
    assert page.query_params["archer"] == "Birch"


@pytest.mark.usefixtures("season")
def test_going_back_brings_the_archer_of_the_address():
    """An address that changes under an open page is followed, as a link would be."""
    page = opened(archer="Birch")
    page = page.selectbox("rounds-archer").set_value("Cedar").run()
    page.query_params["archer"] = "Birch"
    page = page.run()
    assert page.selectbox("rounds-archer-1").value == "Birch"


def test_what_was_just_written_down_is_chosen_and_stands_in_the_address(tmp_path, monkeypatch):
    """The second bow, and the second archer; by its address the bow comes back on another day."""
    monkeypatch.setenv("TAILSWAY_FOLDER", str(tmp_path))
    _, archer, *_ = made_logbook(tmp_path)
    own = archer.id[:8]
    page = opened()
    page.text_input(f"setup-name-{own}").set_value("travel bow")
    page = button(page, "Write the set-up down").click().run()
    assert not page.exception
    assert page.success[0].value == "Written down: travel bow."
    assert page.selectbox(f"rounds-setup-{own}-1").value == "travel bow"
    assert page.query_params["setup"] == "travel bow"
    again = opened(archer=archer.name, setup="travel bow")
    assert again.selectbox(f"rounds-setup-{own}").value == "travel bow"
    page.text_input("new-archer-name").set_value("Aspen")
    page = button(page, "Write the archer down").click().run()
    assert page.selectbox("rounds-archer-1").value == "Aspen"
    assert "setup" not in page.query_params
    page = page.selectbox("rounds-archer-1").set_value(archer.name).run()
    assert page.selectbox(f"rounds-setup-{own}-1").value == "travel bow"


def test_an_address_of_a_bow_that_is_not_here_shows_no_other_bows_advice(tmp_path, monkeypatch):
    """A warning and an empty choice."""
    monkeypatch.setenv("TAILSWAY_FOLDER", str(tmp_path))
    made_logbook(tmp_path)
    page = opened(setup="lost bow")
    assert "set-up of this address is not there" in page.warning[0].value
    assert "ts-change" not in html_of(page)


def test_an_archer_is_removed_after_a_second_question_and_brought_back(season):
    """One press alone removes nobody; what is brought back is shown again."""
    book, _ = season
    page = opened(archer="Birch")
    page = page.button("remove-archers").click().run()
    assert "The archer Birch goes" in page.warning[0].value
    page = page.button("remove-no").click().run()
    assert len(logbook.archers(book)) == 3
    page = page.button("remove-archers").click().run().button("remove-yes").click().run()
    assert not page.exception
    assert [one.name for one in logbook.archers(book)] == ["Alder", "Cedar"]
    assert page.success[0].value == "Removed: Birch."
    assert not page.warning
    assert page.selectbox("rounds-archer-1").value == "Alder"
    page = page.button("bring-back").click().run()
    assert page.selectbox("rounds-archer-2").value == "Birch"
    assert not [one for one in page.button if one.key == "bring-back"]


def test_the_last_set_up_and_the_last_archer_can_be_removed(tmp_path, monkeypatch):
    """Then the page greets as on the first day, and what went last can still be brought back."""
    monkeypatch.setenv("TAILSWAY_FOLDER", str(tmp_path))
    book, archer, *_ = made_logbook(tmp_path)
    page = opened(archer=archer.name, setup="blue bow")
    page = page.button("remove-setups").click().run().button("remove-yes").click().run()
    assert not page.exception
    assert logbook.setups(book, archer) == []
    assert "setup" not in page.query_params
    page = page.button("remove-archers").click().run().button("remove-yes").click().run()
    assert "ts-hello" in html_of(page)
    page = page.button("bring-back").click().run()
    assert page.selectbox("rounds-archer-2").value == archer.name


def test_the_worked_season_is_offered_beside_a_coachs_own_archers(tmp_path, monkeypatch):
    """It joins them, is shown, and is then offered no more."""
    monkeypatch.setenv("TAILSWAY_FOLDER", str(tmp_path))
    book = LogbookFile(tmp_path)
    logbook.add_archer(book, "Robin", hand="left")
    page = opened().button("season").click().run()
    assert not page.exception
    assert page.query_params["archer"] == "Alder"
    assert [one.name for one in logbook.archers(book)] == ["Alder", "Birch", "Cedar", "Robin"]
    assert not [one for one in page.button if one.key == "season"]


def test_an_archer_comes_back_with_their_own_bow(tmp_path, monkeypatch):
    """The bow of whoever was shown meanwhile is not looked for among theirs."""
    monkeypatch.setenv("TAILSWAY_FOLDER", str(tmp_path))
    book, archer, *_ = made_logbook(tmp_path)
    other = logbook.add_archer(book, "Aspen", hand="right")
    logbook.add_setup(book, other, "old bow", typed=TYPED, dated="2026-01-10", reason="as bought")
    page = opened(archer=archer.name)
    page = page.button("remove-archers").click().run().button("remove-yes").click().run()
    assert page.query_params["setup"] == "old bow"
    page = page.button("bring-back").click().run()
    assert not page.exception
    assert not page.warning
    assert page.query_params["setup"] == "blue bow"
    page = page.selectbox("rounds-archer-2").set_value("Aspen").run()
    assert not page.warning
    assert page.query_params["setup"] == "old bow"
