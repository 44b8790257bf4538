"""Every page runs without an exception, says its name, and survives wrong addresses."""

from __future__ import annotations

import re
import time
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest
import streamlit as st
from streamlit.testing.v1 import AppTest

import ui.reading_store
from classify.exchange import export_zip
from classify.logbook import add_archer
from classify.logbook_file import LogbookFile
from classify.pipeline import ReadResult
from classify.types import Known, Reading
from tests.made_logbook import made_logbook
from tests.made_readings import made_reading, made_refusal, made_result, write_made_film
from tests.pressed_pages import pressed
from tracker.types import InputError, Progress
from ui import page_phone
from ui.clip_queue import QueuedClip
from ui.correction_part import local_time, note_text
from ui.corrections import told
from ui.dash_words import Words
from ui.known_form import FIELDS
from ui.lessons import LessonBook
from ui.page_plan import _NUMBERS
from ui.page_round import table_html
from ui.shelf import Shelf


def answering(answer: Reading | InputError) -> Callable[..., ReadResult]:
    """Give a pipeline that answers what it is told to."""

    def read_clip(
        path: Path, *, known: Known, progress: Progress | None = None, gives_way: bool = False
    ) -> ReadResult:
        assert known.flight == 0
        assert not gives_way  # a page waits for it
        assert progress is not None
        progress("decode", 0.5)
        if isinstance(answer, InputError):
            raise answer
        return made_result(path, answer)

    return read_clip


@pytest.fixture
def made_clip(shelf: Shelf, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> str:
    """Give a clip on the shelf whose reading was made by hand; returns its token."""
    monkeypatch.setattr(ui.reading_store, "read_clip", answering(made_reading()))
    film = write_made_film(tmp_path / "made.mp4")
    with film.open("rb") as stream:
        return shelf.keep(stream, "made.mp4").sha256


def app(page: Callable[[], None], **query: str) -> AppTest:
    """Run one page."""
    test = AppTest.from_function(page, default_timeout=30)
    for name, text in query.items():
        test.query_params[name] = text
    return test.run()


def read() -> None:
    """Draw the page that reads a clip."""
    from ui.page_read import show_read

    show_read()


def read_or_teach() -> None:
    """Draw one page or another, as a visit to another page drops what was on the first."""
    import streamlit

    from ui.page_read import show_read
    from ui.page_teach import show_teach

    (show_teach if streamlit.session_state.get("elsewhere") else show_read)()


def beside() -> None:
    """Draw two clips side by side."""
    from ui.page_beside import show_beside

    show_beside()


def teach() -> None:
    """Draw the teaching page."""
    from ui.page_teach import show_teach

    show_teach()


def many() -> None:
    """Draw the page for many clips."""
    from ui.page_round import show_round

    show_round()


def phone() -> None:
    """Draw the phone's page."""
    from ui.page_phone import show_phone

    show_phone()


def plan() -> None:
    """Draw the filming plan."""
    from ui.page_plan import show_plan

    show_plan()


def rounds() -> None:
    """Draw set-ups and rounds."""
    from ui.page_rounds import show_rounds

    show_rounds()


def logbook() -> None:
    """Draw the logbook."""
    from ui.page_logbook import show_logbook

    show_logbook()


@pytest.mark.parametrize(
    ("page", "title"),
    [
        (read, "Read a clip"),
        (teach, "Teaching"),
        (many, "Many clips"),
        (phone, "From the phone"),
        (plan, "Filming plan"),
        (rounds, "Set-ups and rounds"),
        (logbook, "Logbook"),
    ],
)
@pytest.mark.usefixtures("shelf")
def test_page_of_a_newcomer_runs(page: Callable[[], None], title: str) -> None:
    """With an empty folder every page opens and says its name."""
    done = app(page)
    assert not done.exception
    assert done.title[0].value == title


@pytest.mark.usefixtures("shelf")
def test_newcomer_is_led_to_a_demo_clip() -> None:
    """The first button shows one of ours."""
    done = app(read)
    assert [button.label for button in done.button] == ["Show me a demo clip"]


def html_of(done: AppTest) -> str:
    """Give all the HTML that a page wrote."""
    return " ".join(str(part.proto.body) for part in done.get("html"))


def test_clip_on_the_shelf_is_read_and_shown(made_clip: str) -> None:
    """Verdict, chances, first change and numbers are on the page."""
    done = app(read, clip=made_clip)
    assert not done.exception
    shown = html_of(done)
    assert "Fishtailing" in shown
    assert "97 % sure" in shown
    assert "14.0 ± 0.6 mm" in shown
    assert "taken at 240 a second (as you said)" in shown


def test_what_is_known_is_kept_and_read_again(made_clip: str, shelf: Shelf) -> None:
    """The form starts blank, is kept as typed, and is still there on the next visit."""
    done = app(read, clip=made_clip)
    field = next(entry for entry in done.text_input if entry.label == "Distance to the target, m")
    assert field.value == ""
    field.set_value("18")
    next(button for button in done.button if button.label == "Read again with this").click()
    done.run()
    assert not done.exception
    assert dict(shelf.last(made_clip, "known") or {})["distance_m"] == "18"
    again = app(read, clip=made_clip)
    field = next(entry for entry in again.text_input if entry.label == "Distance to the target, m")
    assert field.value == "18"


def test_slip_in_the_form_is_a_sentence_and_not_kept(made_clip: str, shelf: Shelf) -> None:
    """A distance in centimetres is refused on the page."""
    done = app(read, clip=made_clip)
    field = next(entry for entry in done.text_input if entry.label == "Distance to the target, m")
    field.set_value("1800")
    next(button for button in done.button if button.label == "Read again with this").click()
    done.run()
    assert "1800" in done.error[0].value
    assert shelf.last(made_clip, "known") is None


@pytest.mark.usefixtures("shelf")
def test_the_form_keeps_its_order_on_a_phone(made_clip: str) -> None:
    """One column under the other, the fields come in the order in which they are thought of."""
    done = app(read, clip=made_clip)
    asked = [str(entry.key).rsplit("-", 1)[-1] for entry in done.text_input]
    assert [name for name in asked if name in FIELDS] == list(FIELDS)


@pytest.mark.parametrize(
    ("said", "english", "spanish"),
    [
        (
            {"hand": "", "capture_hz": "240", "distance_m": ""},
            "Frames a second, as filmed: 240",
            "Fotogramas por segundo, al grabar: 240",
        ),
        ({"hand": "left", "flight": "2"}, "left-handed; flight 2 of the film", "zurdo; vuelo 2"),
        ({"last_frame": "274"}, "The flight ends in frame 274", "El vuelo acaba"),
        ({"click": "12,3.50,4.25"}, "frame 12, (3.50, 4.25) px", "fotograma 12, (3.50, 4.25) px"),
        ({"face_mark": "7,1.0,2.0,3.0,4.0"}, "frame 7, (1.0, 2.0), (3.0, 4.0) px", "fotograma 7"),
        ({"label": "clean", "why": "steady"}, "Clean flight; steady", "Vuelo limpio; steady"),
        ({"click": ""}, "taken back", "retirado"),
    ],
)
def test_what_was_said_is_told_in_the_words_of_the_forms(
    said: dict[str, str], english: str, spanish: str
) -> None:
    """No key of the program and no blank field stands in the list of notes."""
    for language, wanted in (("en", english), ("es", spanish)):
        told = note_text(said, Words(language))
        assert wanted in told
        assert "_" not in told


def test_film_that_is_no_good_gets_a_sentence(
    shelf: Shelf, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What is wrong with the file is said, and the page still works."""
    bad = answering(InputError("film.not_a_film", path="text.mp4"))
    monkeypatch.setattr(ui.reading_store, "read_clip", bad)
    film = tmp_path / "text.mp4"
    film.write_text("no film")
    with film.open("rb") as stream:
        token = shelf.keep(stream, "text.mp4").sha256
    done = app(read, clip=token)
    assert not done.exception
    assert "not a film" in done.error[0].value


def test_refusal_opens_the_form_for_what_is_missing(
    made_clip: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A refused clip shows why, and asks what the coach knows."""
    monkeypatch.setattr(ui.reading_store, "read_clip", answering(made_refusal()))
    done = app(read, clip=made_clip)
    assert not done.exception
    assert "No reading" in html_of(done)
    assert any(part.proto.expanded for part in done.expander)


@pytest.mark.parametrize("token", ["demo-nothing", "../../etc/passwd", "0" * 64, "<script>"])
@pytest.mark.usefixtures("shelf")
def test_strange_address_is_a_warning(token: str) -> None:
    """An address that names no clip does no harm."""
    done = app(read, clip=token)
    assert not done.exception
    assert len(done.warning) == 1


@pytest.mark.usefixtures("shelf")
def test_side_by_side_of_one_clip_with_itself(made_clip: str) -> None:
    """It is called the same clip, not two without a difference."""
    done = app(beside, first=made_clip, second=made_clip)
    assert not done.exception
    assert "the same clip" in done.info[0].value
    assert "no difference" not in html_of(done)
    assert "could hide" not in html_of(done)


@pytest.fixture
def film_of_two(made_clip: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> str:
    """Give a clip in which two arrows fly; returns its token."""
    made = made_result(tmp_path / "made.mp4")
    second = made.followed.flights[0]
    both = replace(made, followed=replace(made.followed, flights=(second, second)))
    monkeypatch.setattr(ui.reading_store, "read_clip", lambda *_, **__: both)
    return made_clip


def test_each_flight_of_a_film_can_be_read(film_of_two: str, shelf: Shelf) -> None:
    """The choice is kept with the clip, and taken back where the film holds no such flight."""
    done = app(read, clip=film_of_two)
    (choice,) = (one for one in done.button_group if one.label == "Flight of this film")
    assert [option.content for option in choice.proto.options] == ["1", "2"]
    done = choice.set_value(1).run()
    assert not done.exception
    assert shelf.last(film_of_two, "which") == {"flight": "2"}
    assert "The film holds 2 flights; this is flight 2 of them." in html_of(done)
    shelf.note(film_of_two, "which", {"flight": "3"})
    done = app(read, clip=film_of_two)
    assert done.error[0].value.startswith("Flight 3 was asked for, and the film holds 2.")
    next(b for b in done.button if b.label == "Take this correction back").click().run()
    assert not done.error
    assert "% sure" in html_of(done)


@pytest.mark.usefixtures("shelf")
def test_two_flights_of_one_film_are_laid_side_by_side(film_of_two: str) -> None:
    """They are two readings; the address says which, until another clip is chosen."""
    done = app(beside, first=film_of_two, second=film_of_two)
    assert "the same clip" in done.info[0].value
    done.button_group(key=f"beside-second-flight-{film_of_two[:12]}").set_value("2").run()
    assert not done.exception
    assert not done.info
    assert done.query_params["second-flight"] == "2"
    assert "flight 2 of the film" in html_of(done)
    again = app(beside, first=film_of_two, second=film_of_two, **{"second-flight": "2"})
    assert not again.info
    assert "flight 2 of the film" in html_of(again)


def test_a_click_decides_which_flight_is_read(shelf: Shelf) -> None:
    """Only the clicked one is followed then: asking for the second of it would lock the clip."""
    shelf.note("a", "which", {"flight": "2"})
    assert told(shelf, "a", {})["flight"] == "2"
    shelf.note("a", "click", {"click": "12,3.50,4.25"})
    assert told(shelf, "a", {})["flight"] == ""


def test_notes_tell_the_hour_of_this_place(monkeypatch: pytest.MonkeyPatch) -> None:
    """A coach two hours east of Greenwich reads the range's clock; what is no time stays."""
    monkeypatch.setenv("TZ", "XST-2")
    time.tzset()
    assert local_time("2026-03-01T23:30:12.000+00:00") == "2026-03-02 01:30"
    assert local_time("soon") == "soon"
    monkeypatch.undo()
    time.tzset()


@pytest.mark.usefixtures("shelf")
def test_an_answer_counts_once_however_often_the_coach_goes_back(tmp_path: Path) -> None:
    """Whoever has seen what was measured is not asked again; another trainee is."""
    asked = {"lesson": "naming", "flight": "drawn-77"}
    done = app(teach, trainee="Robin", **asked)
    done.radio[0].set_value("clean")
    next(one for one in done.button if one.label == "That is my answer").click()
    assert "ts-card" in html_of(done.run())
    back = app(teach, trainee="Robin", **asked)
    assert "ts-card" in html_of(back)
    assert not back.radio
    assert len(LessonBook(tmp_path).answers("Robin")) == 1
    assert app(teach, trainee="Kim", **asked).radio


@pytest.mark.usefixtures("shelf")
def test_an_address_side_by_side_that_names_no_clip_is_said_so(made_clip: str) -> None:
    """A clip that is gone is not passed over in silence."""
    done = app(beside, first="0" * 64, second=made_clip)
    assert not done.exception
    assert [text.value for text in done.warning] == [Words("en")("pages.clip_gone")]


def test_a_wrong_correction_is_taken_back_where_the_clip_cannot_be_read(
    made_clip: str, shelf: Shelf
) -> None:
    """A flight that begins after it ended is a sentence with a button, not the end of the clip."""
    app(read, clip=made_clip)
    shelf.note(made_clip, "ends", {"first_frame": "95"})
    done = app(read, clip=made_clip)
    assert not done.exception
    assert "Take the correction back" in done.error[0].value
    assert "release and impact: The flight begins in frame 95" in html_of(done)
    assert "begin in frame 95, after its end in frame" in done.error[0].value
    backs = [button for button in done.button if button.label == "Take this correction back"]
    assert len(backs) == 1
    done = backs[0].click().run()
    assert not done.exception
    assert not done.error
    assert "97 % sure" in html_of(done)
    assert not [b for b in done.button if b.label == "Take this correction back"]


def test_a_click_beside_the_arrow_is_taken_back_where_the_refusal_stands(
    made_clip: str, shelf: Shelf, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Nobody searches the tools for corrections for it; without a click nothing is said."""
    monkeypatch.setattr(ui.reading_store, "read_clip", answering(made_refusal()))
    done = app(read, clip=made_clip)
    assert Words("en")("pages.correct_mend") not in html_of(done)
    shelf.note(made_clip, "click", {"click": "12,3.50,4.25"})
    done = app(read, clip=made_clip)
    assert "place of the nock: frame 12, (3.50, 4.25) px" in html_of(done)
    done.button(key=f"mend-click-{made_clip[:12]}").click().run()
    assert not done.exception
    assert shelf.last(made_clip, "click") == {"click": ""}


def test_a_film_that_ends_before_its_flight_says_so(
    made_clip: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """On its page and side by side, with both numbers; a flight shown whole has no such line."""
    cut = "The film ends before the flight does"
    assert cut not in html_of(app(read, clip=made_clip))
    st.cache_resource.clear()
    monkeypatch.setattr("ui.flight_views.MOST_FRAMES", 30)
    done = app(read, clip=made_clip)
    assert not done.exception
    assert f"{cut}: it shows the first 30 of 74 frames" in html_of(done)
    assert html_of(app(beside, left=made_clip, right=made_clip)).count(cut) == 2


def test_what_the_coach_sees_can_be_taken_back(made_clip: str, shelf: Shelf) -> None:
    """The line beside the verdict goes; the notes keep both."""
    shelf.note(made_clip, "opinion", {"label": "clean", "why": "steady"})
    page = AppTest.from_function(read, default_timeout=30)
    page.query_params["clip"] = made_clip
    page.session_state[f"correct-{made_clip[:12]}"] = True
    page.session_state[f"correct-tab-{made_clip[:12]}"] = "opinion"
    page.run()
    assert "The coach sees: Clean flight. steady" in strip(html_of(page))
    next(b for b in page.button if b.label == "Take back what I see").click().run()
    assert not page.exception
    assert "The coach sees" not in html_of(page)
    assert "Take back what I see" not in [button.label for button in page.button]
    assert [note.said["label"] for note in shelf.notes(made_clip)] == ["clean", ""]


def test_a_reason_that_is_too_long_is_not_dropped(made_clip: str, shelf: Shelf) -> None:
    """A field with a limit of its own let a pasted text go whole; the label was kept without it."""
    page = AppTest.from_function(read, default_timeout=30)
    page.query_params["clip"] = made_clip
    page.session_state[f"correct-{made_clip[:12]}"] = True
    page.session_state[f"correct-tab-{made_clip[:12]}"] = "opinion"
    page.run()
    page.radio(f"opinion-label-{made_clip[:12]}").set_value("minnowing")
    why = page.text_input(f"opinion-why-{made_clip[:12]}")
    why.set_value("w" * 4000)
    page = pressed(page, "Keep what I see")
    assert page.error[0].value == "This text has 4000 characters; 400 are kept. Shorten it."
    assert shelf.notes(made_clip) == []
    assert page.text_input(f"opinion-why-{made_clip[:12]}").value == "w" * 4000


def test_all_that_is_wrong_in_what_is_known_is_told(made_clip: str, shelf: Shelf) -> None:
    """Two numbers that cannot be make two sentences, and nothing is kept."""
    page = app(read, clip=made_clip)
    for name, text in (("distance_m", "-5"), ("nock_mm", "thin")):
        page.text_input(f"known-{made_clip[:12]}-{name}").set_value(text)
    page = pressed(page, "Read again with this")
    assert len(page.error) == 2
    assert shelf.notes(made_clip) == []


def strip(html: str) -> str:
    """Leave out the marks of HTML."""
    return re.sub(r"<[^>]*>", "", html)


@pytest.mark.parametrize("hurt", ["first", "second"])
def test_side_by_side_draws_the_clip_that_can_be_read(
    made_clip: str, shelf: Shelf, tmp_path: Path, hurt: str
) -> None:
    """The trouble is said with the clip's name, and leads to its page; the other is shown."""
    film = tmp_path / "other.mp4"
    film.write_bytes((tmp_path / "made.mp4").read_bytes() + b"\0" * 8)
    with film.open("rb") as stream:
        other = shelf.keep(stream, "other.mp4").sha256
    app(read, clip=other)
    shelf.note(other, "ends", {"first_frame": "95"})
    sides = {"first": made_clip, "second": made_clip, hurt: other}
    done = app(beside, **sides)
    assert not done.exception
    assert done.error[0].value.startswith("The clip other.mp4 was not read.")
    assert "Take the correction back" in done.error[0].value
    shown = html_of(done)
    assert "Fishtailing" in shown
    assert f"/?clip={other}" in shown
    assert f"/?clip={made_clip}" not in shown
    assert len(done.get("bidi_component")) == 1  # film and curves of the clip that was read


@pytest.mark.usefixtures("shelf")
def test_the_best_place_is_sought_where_the_readme_says_to_stand() -> None:
    """Two to four metres behind the nock, and the page says so; its bars are explained."""
    done = app(plan)
    assert "half full is just what is wanted" in html_of(done)
    names = [str(entry.key) for entry in done.number_input]
    assert names == [f"plan-{name}" for name in _NUMBERS]
    next(button for button in done.button if button.label.startswith("Find the best")).click()
    done.run()
    found = re.search(r"2 to 4 m behind and .*: (\d\.\d) m behind the nock", html_of(done))
    assert found is not None
    assert 2.0 <= float(found[1]) <= 4.0


@pytest.mark.parametrize(
    ("name", "number", "sentence"),
    [
        ("behind_m", 51.0, "Give between 0.5 and 50 m"),
        ("behind_m", -1.0, "nobody goes forward of the line"),
        ("offset_m", 11.0, "Give between -10 and 10 m"),
        ("field_of_view_deg", 179.0, "between 1° and 150°"),
        ("zoom", 99.0, "Give a number between 0.3 and 50"),
        ("distance_m", 1.0, "between 3 and 150 m"),
        ("nock_mm", 1e12, "between 2 and 60 mm"),
    ],
)
@pytest.mark.usefixtures("shelf")
def test_no_verdict_stands_beside_a_number_it_was_not_made_from(
    name: str, number: float, sentence: str
) -> None:
    """A number that cannot be gets a sentence that says what can, in place of the verdict."""
    done = app(plan)
    assert "This film would show part of it" in html_of(done)
    done.number_input(key=f"plan-{name}").set_value(number).run()
    assert not done.exception
    assert sentence in done.error[0].value
    assert "ts-card" not in html_of(done)


@pytest.mark.usefixtures("shelf")
def test_nothing_is_read_again_before_there_is_a_clip() -> None:
    """The form for a round keeps what is known; its button says no more than that."""
    labels = [button.label for button in app(many).button]
    assert "Keep this for every clip" in labels
    assert "Read again with this" not in labels


@pytest.mark.parametrize("number", [1, 2, 3])
@pytest.mark.usefixtures("shelf")
def test_naming_exercise_does_not_give_the_answer_away(number: int) -> None:
    """Neither label nor chance stands on the page before the answer."""
    done = app(teach, lesson="naming", flight=f"drawn-{number}", trainee="Robin")
    assert not done.exception
    assert "% sure" not in html_of(done)
    assert "ts-card" not in html_of(done)


def test_the_open_clip_is_still_open_after_another_page(made_clip: str) -> None:
    """Another page takes the clip out of the address; coming back does not lead to the greeting."""
    done = app(read_or_teach, clip=made_clip)
    del done.query_params["clip"]
    done.session_state["elsewhere"] = True
    done.run()
    done.session_state["elsewhere"] = False
    done = done.run()
    assert "ts-hello" not in html_of(done)
    assert done.query_params["clip"] == made_clip


def test_whoever_goes_back_from_the_first_clip_sees_the_greeting(made_clip: str) -> None:
    """The page does not throw them forward to the clip again, now or later."""
    done = app(read, clip=made_clip)
    del done.query_params["clip"]
    for _ in range(2):
        done = done.run()
        assert "ts-hello" in html_of(done)
        assert "clip" not in done.query_params


@pytest.mark.usefixtures("shelf")
def test_going_back_changes_what_is_shown(monkeypatch: pytest.MonkeyPatch) -> None:
    """The address of before shows what it showed, and is not put right to what was left."""
    monkeypatch.setattr(ui.reading_store, "read_clip", answering(made_reading()))
    done = app(teach, lesson="sheets", sheet="porpoising")
    done.button_group("linked-sheet").set_value("minnowing").run()
    assert done.query_params["sheet"] == "minnowing"
    done.query_params["sheet"] = "porpoising"
    done.run()
    assert "<h2>Porpoising</h2>" in html_of(done)
    assert done.query_params["sheet"] == "porpoising"
    del done.query_params["sheet"]
    done.run()
    assert "<h2>Fishtailing</h2>" in html_of(done)
    assert "sheet" not in done.query_params
    done.query_params["lesson"] = "naming"
    done.run()
    first = done.query_params["flight"]
    del done.query_params["flight"]
    done.run()
    assert "flight" not in done.query_params
    next(one for one in done.button if one.label == "Next flight").click().run()
    assert done.query_params["flight"] != first


def test_links_lead_to_pages_in_the_same_language(tmp_path: Path, shelf: Shelf) -> None:
    """From the logbook, from a round, from what was seen and from the phone's films."""
    _, archer, first, _ = made_logbook(tmp_path)
    with (tmp_path / "film.mp4").open("rb") as stream:
        film = shelf.keep(stream, "came.mp4").sha256
    listed = html_of(app(logbook, language="es"))
    page = app(rounds, language="es", archer=archer.name, part="seen")
    page.session_state[f"seen-{first.id}"] = True  # with the version before
    seen = html_of(page.run())
    clip = QueuedClip(token=film, name="a & b", path=tmp_path, sha256=film, said={})
    round_ = table_html([clip], Words("es"))
    page_phone._door().arrived.append(film)
    came = html_of(app(phone, language="es"))
    assert 'href="/rounds?archer=%C3%9Cnal-7&amp;language=es"' in listed
    for shown in (round_, seen, came):
        assert f'href="/?clip={film}&amp;language=es"' in shown


def test_one_function_writes_every_link_between_the_pages() -> None:
    """No other module writes such an address, which would lose the language."""
    code = {
        path.name: path.read_text("utf-8") for path in Path(page_phone.__file__).parent.glob("*.py")
    }
    assert [name for name, text in code.items() if 'href="/' in text] == ["linked.py"]


@pytest.mark.usefixtures("shelf")
def test_what_is_found_is_said_in_words_and_leads_there(tmp_path: Path) -> None:
    """No JSON and no name of the program; a Spanish coach finds by Spanish words."""
    made_logbook(tmp_path)
    found = html_of(app(logbook, find="8 3/4")).split("ts-history")[1]
    assert "Brace height: 8 3/4 in" in found
    assert "{" not in found
    assert "archer=%C3%9Cnal-7&amp;setup=blue+bow&amp;part=sheet&amp;language=en" in found
    spoken = html_of(app(logbook, find="vuelo coleteo", language="es")).split("ts-history")[1]
    assert "part=seen" in spoken


def unpacked(name: str, content: bytes) -> AppTest:
    """Give a file to the logbook page and have it unpacked."""
    done = app(logbook)
    done.file_uploader("import").set_value((name, content, "application/zip"))
    done = done.run().button("import-send").click().run()
    assert not done.exception
    return done


@pytest.mark.usefixtures("shelf")
def test_unpacking_says_what_was_new_and_names_the_file_as_given(tmp_path: Path) -> None:
    """Once it is new, twice it is all there; what is no logbook is told by its own name."""
    book, *_ = made_logbook(tmp_path / "other")
    export_zip(book, tmp_path / "club.zip")
    packed = (tmp_path / "club.zip").read_bytes()
    assert "new clips: 1" in unpacked("club.zip", packed).success[0].value
    again = unpacked("club.zip", packed)
    assert not again.success
    assert "here already" in again.info[0].value
    (said,) = unpacked("photos.zip", b"no zip at all").error
    assert said.value.startswith("photos.zip is no logbook")
    assert "given.zip" not in said.value


@pytest.mark.usefixtures("shelf")
def test_the_first_archer_and_the_first_set_up_are_called_so(tmp_path: Path) -> None:
    """Nothing is another one while there is none."""
    assert [one.value for one in app(rounds).subheader] == ["The first archer"]
    add_archer(LogbookFile(tmp_path), "Robin", hand="left")
    assert "The first set-up" in [one.label for one in app(rounds).expander]
