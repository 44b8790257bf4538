"""Independent: the worked season in the dashboard, round by round, against the bow's truth."""

from __future__ import annotations

from dataclasses import replace

import pytest
from streamlit.testing.v1 import AppTest

from classify import logbook
from classify.casebook import open_case, propose
from classify.clip_store import keep_clip
from classify.evidence_book import Seen, decisions_of, evidence_of, record
from classify.knowledge import load_knowledge
from classify.logbook_file import LogbookFile
from classify.logbook_undo import history
from classify.setup_sheet import sheet_fields
from fixtures.season import play_season
from tests.made_logbook import BARE, READING, TYPED, made_logbook
from tests.made_readings import made_result
from tests.pressed_pages import pressed
from ui.dash_words import Words
from ui.seen_words import seen_words
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
    assert [part.proto.expanded for part in page.expander if part.label == "Another archer"] == [
        True
    ]
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
    page.text_input(f"group-score-{key}").set_value("50")
    page.text_input(f"group-face-{key}").set_value("40")
    page.text_input(f"group-wind-{key}").set_value("2")
    page = next(b for b in page.button if b.label == "Keep the group").click().run()
    assert not page.exception
    kept = [s for s in open_case(book, archer, bow.id).seen[-1] if s.kind == "groups"][-1]
    assert kept.payload["score"] == pytest.approx(50.0)
    assert kept.payload["crosswind_m_s"] == pytest.approx(2.0)


@pytest.mark.parametrize("label", ["clean", ""])
def test_what_the_coach_sees_is_kept_with_the_flight(tmp_path, monkeypatch, label):
    """What was said about the clip stands in the list of the set-up; taken back, it does not."""
    monkeypatch.setenv("TAILSWAY_FOLDER", str(tmp_path))
    monkeypatch.setenv("TAILSWAY_LANGUAGE", "en")
    book, _, _, newest = made_logbook(tmp_path)
    film = tmp_path / "another.mp4"
    film.write_bytes(b"a film of its own" * 50)
    with film.open("rb") as stream:
        kept = Shelf(tmp_path).keep(stream, "another.mp4")
    Shelf(tmp_path).note(kept.sha256, "opinion", {"label": label, "why": label and "steady"})
    monkeypatch.setattr("ui.rounds_flight.kept_reading", lambda path, *_: made_result(path))
    page = opened(part="seen")
    key = newest.setup_id[:8]
    page = page.button_group(f"add-kind-{key}").set_value("flight").run()
    page.selectbox(f"flight-clip-{key}").select_index(0)
    page = pressed(page, "Read it and keep it")
    assert [said.value for said in page.success] == ["Kept with version 2."]
    assert page.selectbox(f"flight-clip-1-{key}").value is None
    assert "opinion" in evidence_of(book, newest)[-1].payload or not label
    said = "Fishtailing · The coach sees: Clean flight. steady · "
    assert (said in html_of(page)) == bool(label)


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
    monkeypatch.setattr("ui.rounds_flight.kept_reading", pytest.fail)
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


@pytest.fixture
def adding(tmp_path, monkeypatch):
    """Open the part in which things that were seen are added; gives logbook, key and page."""
    monkeypatch.setenv("TAILSWAY_FOLDER", str(tmp_path))
    monkeypatch.setenv("TAILSWAY_LANGUAGE", "en")
    book, _, _, newest = made_logbook(tmp_path)
    page = opened(part="seen")
    key = newest.setup_id[:8]

    def seen():
        return evidence_of(book, newest)

    def add(kind: str) -> AppTest:
        return page.button_group(f"add-kind-{key}").set_value(kind).run()

    return seen, key, add


def clicked(page: AppTest, key: str) -> AppTest:
    """Put clicks in as the drawn faces hand them over: shares of the face, right and up."""
    page.session_state[f"bare-shots-bare-{key}"] = [[0.125, -0.0001], [0.15, 0.025], [0.125, 0.0]]
    page.session_state[f"bare-shots-fletched-{key}"] = [[0.0, 0.0], [0.025, 0.0], [0.0, -0.025]]
    return page.run()


@pytest.mark.parametrize(
    ("name", "typed", "sentence"),
    [
        ("distance", "1e309", "Distance, m: 1e309 was given. Write a number from 3 to 90."),
        ("distance", "abc", "Distance, m: abc was given."),
        ("distance", "nan", "Distance, m: nan was given."),
        ("distance", "", "Distance, m: – was given."),
        ("wind", "-2", "Write a number from 0 to 20."),
        ("arrows", "2.5", "Arrows: 2.5 was given. Write a whole number from 2 to 144."),
        ("diameter", "9" * 3000, "Write a number from 0.5 to 300."),
    ],
)
def test_a_number_that_cannot_be_is_told_and_stays_where_it_was_typed(
    adding, name, typed, sentence
):
    """No other number takes its place, and nothing is kept."""
    seen, key, add = adding
    before = len(seen())
    page = add("groups")
    page.text_input(f"group-diameter-{key}").set_value("12")
    page.text_input(f"group-{name}-{key}").set_value(typed)
    page = pressed(page, "Keep the group")
    assert len(seen()) == before
    (fault,) = page.error
    assert sentence in fault.value
    assert len(fault.value) < 200
    assert page.text_input(f"group-{name}-{key}").value == typed


def test_a_bare_shaft_test_waits_for_numbers_that_can_be(adding):
    """Clicks outlast a face and a distance that cannot be; both are told of when it is kept."""
    seen, key, add = adding
    before = len(seen())
    page = clicked(add("bare"), key)
    page.text_input(f"bare-distance-{key}").set_value("500")
    page = page.text_input(f"bare-face-{key}").set_value("4 0").run()
    assert "Diameter of the face, cm: 4 0 was given." in page.error[0].value
    assert not page.markdown
    page = pressed(page, "Keep the bare-shaft test")
    told = {fault.value.split(":")[0] for fault in page.error}
    assert told == {"Distance, m", "Diameter of the face, cm"}
    assert len(seen()) == before
    page.text_input(f"bare-distance-{key}").set_value("50,5")
    page.text_input(f"bare-face-{key}").set_value("122").run()
    page = pressed(page, "Keep the bare-shaft test")
    assert seen()[-1].payload["distance_m"] == 50.5
    assert len(seen()[-1].payload["bare_m"]) == 3


def test_impacts_grow_with_the_face(adding):
    """Clicked first and the face said later: what is kept is a share of the face that is said."""
    seen, key, add = adding
    page = clicked(add("bare"), key)
    listed = "right and up of the middle in cm: "
    assert f"{listed}(+5.0, 0.0), (+6.0, +1.0), (+5.0, 0.0)" in page.markdown[0].value
    page = page.text_input(f"bare-face-{key}").set_value("120").run()
    assert f"{listed}(+15.0, 0.0), (+18.0, +3.0), (+15.0, 0.0)" in page.markdown[0].value
    pressed(page, "Keep the bare-shaft test")
    kept = seen()[-1].payload
    assert kept["bare_m"][1] == pytest.approx([0.18, 0.03])
    assert kept["fletched_m"][2] == pytest.approx([0.0, -0.03])


def test_the_face_stays_as_it_was_said(adding):
    """Another tab, and back: face and distance are as they were, and so are the clicks."""
    _, key, add = adding
    page = clicked(add("bare"), key)
    page.text_input(f"bare-distance-{key}").set_value("50")
    page = page.text_input(f"bare-face-{key}").set_value("122").run()
    tab = page.button_group("linked-part")
    page = tab.set_value("sheet").run()
    page = page.button_group("linked-part").set_value("seen").run()
    page = page.button_group(f"add-kind-{key}").set_value("bare").run()
    assert not page.exception
    assert page.text_input(f"bare-face-{key}").value == "122"
    assert page.text_input(f"bare-distance-{key}").value == "50"
    assert "(+18.3, " in page.markdown[0].value


def test_what_is_missing_before_a_bare_shaft_test_can_be_kept_is_said(adding):
    """Before both faces have their shots there is a sentence in the place of the button."""
    _, _, add = adding
    page = add("bare")
    assert "on both faces" in html_of(page)
    assert not [b for b in page.button if b.label == "Keep the bare-shaft test"]


def test_what_was_kept_is_said_once_and_the_form_begins_anew(adding):
    """Pressing again keeps nothing twice: every form is empty, and says what it needs."""
    seen, key, add = adding
    before = len(seen())
    page = add("powder")
    page.multiselect(f"powder-marks-{key}").set_value([("vane", "rest")])
    page = pressed(page, "Keep the powder test")
    assert [said.value for said in page.success] == ["Kept with version 2."]
    page = pressed(page, "Keep the powder test")
    assert "Choose the marks" in page.error[0].value
    assert not page.success
    page = add("groups")
    page.text_input(f"group-diameter-{key}").set_value("12")
    page = pressed(page, "Keep the group")
    assert page.success
    page = pressed(page, "Keep the group")
    assert "widest distance" in page.error[0].value
    page = add("eye")
    page.multiselect(f"eye-seen-{key}").set_value(["eye_damage"])
    page = pressed(page, "Keep it")
    assert page.success
    page = pressed(page, "Keep it")
    assert "Choose what you saw" in page.error[0].value
    page = clicked(add("bare"), key)
    page = pressed(page, "Keep the bare-shaft test")
    assert page.success
    assert not [b for b in page.button if b.label == "Keep the bare-shaft test"]
    assert [one.kind for one in seen()][before:] == ["powder", "groups", "eye", "bare shaft"]


def test_a_flight_without_a_clip_is_asked_for_one(adding):
    """The button says what is missing."""
    seen, _, add = adding
    before = len(seen())
    page = pressed(add("flight"), "Read it and keep it")
    assert "Choose the clip first" in page.error[0].value
    assert len(seen()) == before


@pytest.mark.parametrize(
    ("kind", "payload", "english", "spanish"),
    [
        (
            "bare shaft",
            {
                "distance_m": 18.0,
                "bare_m": [[-0.05, 0.01], [-0.06, -0.01]],
                "fletched_m": [[0.01, 0.01], [-0.01, 0.02], [0.0, 0.06]],
                "crosswind_m_s": 2.0,
            },
            "bare shafts (2) 5.5 cm left and 3.0 cm low of the fletched arrows (3) · at 18.0 m"
            " · cross wind 2.0 m/s",
            "5.5 cm a la izquierda y 3.0 cm por debajo de las flechas",
        ),
        (
            "groups",
            {"distance_m": 30.0, "arrows": 6, "diameter_m": 0.125},
            "6 arrows, 12.5 cm wide · at 30.0 m",
            "6 flechas, 12.5 cm de ancho",
        ),
        (
            "groups",
            {"distance_m": 18.0, "arrows": 6, "score": 50.0, "face_diameter_m": 0.4},
            "6 arrows, score 50 on a face of 40 cm · at 18.0 m",
            "puntuación 50 en una diana de 40 cm",
        ),
        (
            "groups",
            {"distance_m": 18.0, "points_m": [[0.0, 0.0], [0.06, 0.0], [0.0, 0.06]]},
            "3 arrows, 4.3 cm from their middle on average",
            "3 flechas, a 4.3 cm",
        ),
        (
            "powder",
            {"marks": [["lower vane", "rest"], ["shaft", "plunger"]]},
            "lower vane on rest, shaft on plunger",
            "pluma inferior en reposaflechas",
        ),
        ("powder", {"marks": []}, "Nothing but the rest", "Solo la marca"),
        (
            "eye",
            {"seen": ["eye_point_inside"], "groups_judged": "poor"},
            "the point stands right of the string · poor groups",
            "agrupaciones malas",
        ),
        ("flight", {"reading": {"label": ["x"], "presence": 3}}, "", ""),
        ("groups", {"distance_m": 18.0}, "at 18.0 m", "a 18.0 m"),
    ],
)
def test_the_list_says_what_was_seen(kind, payload, english, spanish):
    """Offset, size of the group, marks, and what the eye saw, not the distance alone."""
    seen = Seen(
        id="1", version_id="1", kind=kind, payload=payload, dated="2026-01-10", clip_sha256=None,
        note="",
    )  # fmt: skip
    assert english in " · ".join(seen_words(seen, "right", Words("en")))
    assert spanish in " · ".join(seen_words(seen, "right", Words("es")))


@pytest.fixture
def plunger(tmp_path, monkeypatch):
    """Give a set-up whose plunger is to be made stiffer from 3 turns, and the fields' keys."""
    monkeypatch.setenv("TAILSWAY_FOLDER", str(tmp_path))
    monkeypatch.setenv("TAILSWAY_LANGUAGE", "en")
    book = LogbookFile(tmp_path)
    archer = logbook.add_archer(book, "Robin", hand="right")
    typed = {"plunger_spring": "3 turns", "strands": "16", "string": "blue"}
    first = logbook.add_setup(
        book, archer, "club bow", typed=typed, dated="2026-01-10", reason="as bought"
    )
    monkeypatch.setattr(
        "ui.rounds_next.propose",
        lambda case, language: replace(
            propose(case, language), cure="plunger_stiffer", is_test=False
        ),
    )

    def field(name: str, version: int = 1) -> str:
        return f"done-plunger_stiffer-{version}-{first.setup_id[:8]}-{name}"

    return book, first, field


def test_the_form_shows_what_follows_and_keeps_what_it_shows(plunger):
    """3 turns become 3.25 in the field itself, and from version 2 on 3.5; the rest stays."""
    book, first, field = plunger
    page = opened()
    assert "becomes 3.25 turns" in " ".join(text.value for text in page.markdown)
    assert page.text_input(field("plunger_spring")).value == "3.25 turns"
    assert "came of" not in html_of(page)
    page = pressed(page, "Write it down")
    assert "Version 2 came of" in html_of(page)
    assert not page.error
    newest = logbook.versions(book, first.setup_id)[-1]
    assert newest.number == 2
    assert dict(newest.sheet.typed) == {**first.sheet.typed, "plunger_spring": "3.25 turns"}
    assert page.text_input(field("plunger_spring", 2)).value == "3.5 turns"


def test_a_form_tells_all_that_is_wrong_in_it(plunger):
    """Two fields that cannot be read make two sentences, and nothing is kept."""
    book, first, field = plunger
    page = opened()
    page.text_input(field("brace_height")).set_value("22")
    page.text_input(field("draw_weight")).set_value("heavy")
    page = pressed(page, "Write it down")
    assert sorted(fault.value.split(" is ")[0] for fault in page.error) == [
        "Brace height",
        "Draw weight on the fingers",
    ]
    assert len(logbook.versions(book, first.setup_id)) == 1


@pytest.mark.parametrize(("typed", "kept"), [("4 turns", "4 turns"), ("3 turns", None)])
def test_a_person_may_say_otherwise_than_what_follows(plunger, typed, kept):
    """Another number is kept as typed; put back to what stood there, nothing was changed."""
    book, first, field = plunger
    page = opened()
    page.text_input(field("plunger_spring")).set_value(typed)
    page = pressed(page, "Write it down")
    versions = logbook.versions(book, first.setup_id)
    if kept is None:
        assert "reads as before" in page.error[0].value
        assert len(versions) == 1
    else:
        assert versions[-1].sheet.typed["plunger_spring"] == kept


def test_what_follows_goes_on_top_of_another_tabs_version(plunger):
    """The other's string stays; the field still shows, and keeps, what it showed before."""
    book, first, field = plunger
    page = opened()
    logbook.change_setup(book, first, {"string": "green"}, dated="2026-01-12", reason="new string")
    page = pressed(page, "Write it down")
    assert "somebody else made version 2" in page.error[0].value
    assert page.text_input(field("plunger_spring")).value == "3.25 turns"
    page = pressed(page, "Write it down")
    assert not page.error
    newest = logbook.versions(book, first.setup_id)[-1]
    assert (newest.sheet.typed["string"], newest.sheet.typed["plunger_spring"]) == (
        "green",
        "3.25 turns",
    )


def test_the_form_begins_from_a_version_made_on_another_tab_of_the_page(plunger):
    """Whoever comes back from the sheet is not told that somebody else changed it."""
    book, first, field = plunger
    page = opened()
    page = page.button_group("linked-part").set_value("sheet").run()
    key = first.setup_id[:8]
    page.text_input(f"change-{key}-plunger_spring").set_value("5 turns")
    page.text_input(f"change-reason-{key}").set_value("mine")
    page = pressed(page, "Make the next version")
    page = page.button_group("linked-part").set_value("next").run()
    assert page.text_input(field("plunger_spring", 2)).value == "5.25 turns"
    page = pressed(page, "Write it down")
    assert not page.error
    newest = logbook.versions(book, first.setup_id)[-1]
    assert newest.sheet.typed["plunger_spring"] == "5.25 turns"
    page = page.button_group("linked-part").set_value("sheet").run()
    assert page.text_input(f"change-{key}-plunger_spring").value == "5.25 turns"
    page.text_input(f"change-{key}-strands").set_value("18")
    page.text_input(f"change-reason-{key}").set_value("mine too")
    page = pressed(page, "Make the next version")
    assert not page.error
    assert len(logbook.versions(book, first.setup_id)) == 4
