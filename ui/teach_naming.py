"""The naming exercise: an unlabelled flight, an answer, what was measured, a table over time."""

from __future__ import annotations

import secrets
from dataclasses import dataclass
from html import escape

import numpy as np
import streamlit as st

from classify.imagined import Imagined, imagine
from classify.label import disturbances_found
from classify.read_result import ReadResult
from classify.types import Reading
from tracker.types import InputError, message
from ui.chart_part import show_chart
from ui.charts import Picture, swing_picture
from ui.clip_chooser import ChosenClip, clip_by_token, shelf
from ui.corrections import told
from ui.curves import curves_of
from ui.dash_words import Words
from ui.demo_clips import demo_clips
from ui.drawing import Axis, Chart
from ui.entries import entering, short_enough, show_trouble, typed_in
from ui.films import Film
from ui.flight_views import flight_views
from ui.kept_readings import Kept
from ui.lessons import LABELS, RECENT, Answer, LessonBook, confusion, recent_share
from ui.page_read import kept_views, read_with_progress
from ui.reading_words import found_words, listed
from ui.shelf import data_folder
from ui.teach_sandbox import show_imagined
from ui.verdict import verdict_html
from ui.viewer import show_viewer

_DRAWN = "drawn-"
_FILMED = "filmed-"
_ASKED = "naming-asked"
_TRAINEE = "trainee"
_LONGEST_NAME = 40


@dataclass(frozen=True, kw_only=True)
class Question:
    """One flight to be named.

    Attributes
    ----------
    token
        What stands for it in the address; does not give the answer away.
    reading
        What was measured.
    flight
        Set for a drawn flight.
    chosen, result
        Set for a filmed one.
    """

    token: str
    reading: Reading
    flight: Imagined | None = None
    chosen: ChosenClip | None = None
    result: ReadResult | None = None


@st.cache_resource(show_spinner=False)
def _bare_films() -> Kept[Film | None]:
    return Kept(12)


def naming(word: Words) -> None:
    """Draw the exercise.

    Parameters
    ----------
    word
        The page's language.
    """
    st.html(f'<p class="ts-note">{escape(word("teach.naming_help"))}</p>')
    trainee = st.text_input(
        word("teach.trainee"), key=_TRAINEE, bind="query-params", width=360
    ).strip()
    token = st.query_params.get("flight", "")
    question = _question(token, word) if token else None
    if question is None:
        # Whoever goes back to before the first flight is not thrown forward again.
        if token or _ASKED not in st.session_state or st.button(word("teach.next"), type="primary"):
            _turn_to_next()
        return
    st.session_state[_ASKED] = token
    said = _said_before(question, trainee)
    if said in LABELS:
        _answered(question, said, word)
    else:
        _ask(question, word)
    if trainee:
        _score(trainee, word)


def _said_before(question: Question, trainee: str) -> str:
    """Give what a trainee answered already: whoever goes back has seen what was measured."""
    answers = LessonBook(data_folder()).answers(trainee) if trainee else []
    return next((answer.said for answer in answers if answer.question == question.token), "")


def _turn_to_next() -> None:
    """Choose a flight by chance: half of them filmed, half drawn."""
    filmed = [clip for clip in demo_clips() if clip.label is not None]
    if filmed and secrets.randbelow(2):
        # The number of the clip, hidden in a random one, keeps the answer out of the address.
        number = secrets.randbelow(9000) * len(filmed) + secrets.randbelow(len(filmed))
        token = f"{_FILMED}{number}"
    else:
        token = f"{_DRAWN}{secrets.randbelow(10**9)}"
    st.query_params["flight"] = token
    st.rerun()


def _question(token: str, word: Words) -> Question | None:
    number = token.rpartition("-")[2]
    if not number.isdecimal():
        return None
    if token.startswith(_DRAWN):
        flight, reading = drawn_flight(int(number))
        return Question(token=token, reading=reading, flight=flight)
    filmed = [clip for clip in demo_clips() if clip.label is not None]
    if not token.startswith(_FILMED) or not filmed:
        return None
    chosen = clip_by_token(f"demo-{filmed[int(number) % len(filmed)].name}", word)
    if chosen is None:
        return None
    said = told(shelf(), chosen.sha256, chosen.given)
    result = read_with_progress(chosen, said, word)
    if result is None or result.reading.label is None:
        return None
    return Question(token=token, reading=result.reading, chosen=chosen, result=result)


def drawn_flight(number: int) -> tuple[Imagined, Reading]:
    """Imagine a flight that shows one thing plainly.

    Parameters
    ----------
    number
        The same number gives the same flight.

    Returns
    -------
    tuple
        The flight and its reading, which has a label.
    """
    rng = np.random.default_rng(number)
    wanted = LABELS[int(rng.integers(len(LABELS)))]
    for _ in range(50):
        small = rng.uniform(0.0, 2.0, size=2)
        flight = Imagined(
            yaw_mm=float(rng.uniform(10, 32) if wanted == "fishtailing" else small[0]),
            pitch_mm=float(rng.uniform(10, 32) if wanted == "porpoising" else small[1]),
            slow_hz=float(rng.uniform(2.0, 4.0)),
            fast_mm=float(rng.uniform(3, 7) if wanted == "minnowing" else 0.0),
            fast_hz=float(rng.uniform(14, 28)),
            bending_mm=float(rng.uniform(0.5, 2.5)),
            bending_hz=float(rng.uniform(70, 90)),
        )
        reading = imagine(flight)
        if reading.label == wanted:
            return flight, reading
    raise InputError("teach.no_flight", wanted=wanted)


def _ask(question: Question, word: Words) -> None:
    own = f"said-{question.token}"
    left, right = st.columns([3, 2])
    with left:
        _show_bare(question, word)
    with right, st.form(f"answer-{question.token}", border=False):
        st.radio(
            word("teach.question"),
            LABELS,
            index=None,
            format_func=lambda name: word(f"reading.label_{name}"),
            key=own,
        )
        st.form_submit_button(
            word("teach.answer"),
            type="primary",
            width="stretch",
            on_click=entering(own, lambda: _keep(question, own), once=True),
        )
        show_trouble(own, word)


def _keep(question: Question, key: str) -> None:
    trainee, said = typed_in(_TRAINEE), st.session_state.get(key)
    if not trainee:
        raise InputError("teach.trainee_missing")
    short_enough(trainee, _LONGEST_NAME)
    if said is None:
        raise InputError("teach.answer_missing")
    LessonBook(data_folder()).add(
        trainee=trainee,
        question=question.token,
        shown=shown_by(question.reading, said),
        said=said,
    )


def shown_by(reading: Reading, said: str) -> str:
    """Give the label to count an answer by: what was said, if it is there at all.

    Where two disturbances are there, which of them leads may hang on less than their errors; an
    eye that sees either is right.

    Parameters
    ----------
    reading
        What was measured; has a label.
    said
        The answer.

    Returns
    -------
    str
        The answer itself if it is right, else the reading's label.
    """
    there = disturbances_found(reading.label, reading.presence)
    return said if said in there else str(reading.label)


def answer_words(reading: Reading, said: str, word: Words) -> str:
    """Say whether an answer is right, and all that is there.

    Parameters
    ----------
    reading
        What was measured; has a label.
    said
        The answer.
    word
        The page's language.

    Returns
    -------
    str
        One sentence, or two where something else is there too.
    """
    if shown_by(reading, said) != said:
        label = found_words(reading.label, reading.presence, word.language)
        return word("teach.wrong", said=word(f"reading.label_{said}"), label=label)
    right = word("teach.right", label=word(f"reading.label_{said}"))
    there = disturbances_found(reading.label, reading.presence)
    others = [word(f"reading.label_{one}").lower() for one in there if one != said]
    if not others:
        return right
    return f"{right} {word('teach.right_too', others=listed(others, word.language))}"


def _show_bare(question: Question, word: Words) -> None:
    """Show the flight without label, curve or drawing-in."""
    key = f"bare-{question.token}"
    if question.flight is not None:
        show_imagined(key, question.flight, question.reading, word, with_curves=False)
        return
    chosen, result = question.chosen, question.result
    if chosen is None or result is None:
        return
    curves = curves_of(result.reading)

    def make() -> Film | None:
        views = flight_views(chosen.path, result, says=word("teach.film_says"), drawn_on=False)
        return views.film

    film = _bare_films().get((chosen.sha256, word.language), make)
    if curves is not None and film is not None:
        show_viewer(
            key,
            curves=(curves,),
            films=(film,),
            pictures=(),
            language=word.language,
            numbers=False,
        )


def _answered(question: Question, said: str, word: Words) -> None:
    told_so = st.success if shown_by(question.reading, said) == said else st.error
    told_so(answer_words(question.reading, said, word))
    if st.button(word("teach.next"), type="primary", key="next-flight"):
        _turn_to_next()
    st.subheader(word("teach.measured"), anchor=False)
    st.html(verdict_html(question.reading, word))
    key = f"told-{question.token}"
    if question.flight is not None:
        show_imagined(key, question.flight, question.reading, word, with_curves=True)
    elif question.chosen is not None and question.result is not None:
        _show_told(key, question.chosen, question.result, word)


def _show_told(key: str, chosen: ChosenClip, result: ReadResult, word: Words) -> None:
    curves = curves_of(result.reading)
    film = kept_views(chosen, result, word).film
    if curves is None:
        return
    made = [swing_picture(result.reading, axis, word.language) for axis in (0, 1)]
    show_viewer(
        key,
        curves=(curves,),
        films=() if film is None else (film,),
        pictures=tuple(("right", picture) for picture in made if picture is not None),
        language=word.language,
    )


def _score(trainee: str, word: Words) -> None:
    answers = LessonBook(data_folder()).answers(trainee)
    if not answers:
        st.write(word("teach.score_none"))
        return
    lately = answers[-RECENT:]
    score = message(
        "teach.score",
        name=trainee,
        right=sum(answer.right for answer in answers),
        count=len(answers),
        last_right=sum(answer.right for answer in lately),
        last_count=len(lately),
    )
    st.subheader(word.safe(score), anchor=False)
    left, right = st.columns([3, 2])
    left.html(confusion_html(answers, word))
    if len(answers) > 1:
        with right:
            show_chart("teach-progress", _progress_picture(answers, word), word.language)


def confusion_html(answers: list[Answer], word: Words) -> str:
    """Write the table of what was shown and what was said.

    Parameters
    ----------
    answers
        Of one trainee.
    word
        The page's language.

    Returns
    -------
    str
        HTML; right answers carry a tick where there are any.
    """
    names = [word(f"reading.label_{name}") for name in LABELS]
    heads = "".join(
        f'<th scope="col">{escape(word("teach.confusion_said", label=name))}</th>' for name in names
    )
    rows = []
    for shown, name, counts in zip(LABELS, names, confusion(answers), strict=True):
        cells = "".join(
            f'<td data-label="{escape(word("teach.confusion_said", label=other))}">'
            f'<span class="{_mark(count, right=said == shown)}">{count or "·"}</span></td>'
            for said, other, count in zip(LABELS, names, counts, strict=True)
        )
        rows.append(f'<tr><th scope="row">{escape(name)}</th>{cells}</tr>')
    title = escape(word("teach.confusion"))
    return (
        f'<div class="ts-table" tabindex="0" role="region" aria-label="{title}"><table>'
        f"<caption>{title}</caption><thead><tr>"
        f'<th scope="col">{escape(word("teach.confusion_shown"))}</th>{heads}</tr></thead>'
        f"<tbody>{''.join(rows)}</tbody></table></div>"
    )


def _mark(count: int, *, right: bool) -> str:
    """Mark what happened: a tick beside nothing would look like a success."""
    if not count:
        return ""
    return "ts-hit" if right else "ts-miss"


def _progress_picture(answers: list[Answer], word: Words) -> Picture:
    shares = [100 * share for share in recent_share(answers)]

    def draw(width: int, height: int) -> Chart:
        chart = Chart(
            width=width,
            height=height,
            x=Axis(
                low=1.0, high=float(len(shares)), name=word("teach.progress_answers"), whole=True
            ),
            y=Axis(low=0.0, high=100.0, name=word("teach.progress_percent")),
            title=word("teach.progress"),
            says=word("teach.progress_says", share=shares[-1]),
        )
        count = np.arange(1, len(shares) + 1)
        chart.line(count, shares, "fit across")
        chart.dots(count, shares, "dot across", "round")
        return chart

    wide, narrow = draw(440, 240), draw(350, 220)
    return Picture(
        name="progress",
        wide=wide.svg(),
        narrow=narrow.svg(),
        wide_box=wide.plot_box,
        narrow_box=narrow.plot_box,
    )
