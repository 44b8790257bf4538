"""The page on which a clip is read: verdict first, then the film with its curves, then the rest."""

from __future__ import annotations

import os
import time
from collections.abc import Mapping
from contextlib import suppress
from html import escape

import streamlit as st
from streamlit.delta_generator import DeltaGenerator

from classify.apart import warm_up
from classify.read_result import ReadResult
from classify.types import Known
from tracker.types import InputError, Progress, message
from ui.cause_words import spoken
from ui.charts import Picture, behind_picture, spectrum_picture, swing_picture
from ui.clip_chooser import ChosenClip, choose_clip, clip_by_token, demo_tokens, shelf
from ui.correction_part import correction_part, opinion_html, take_back_part
from ui.corrections import told
from ui.curves import curves_of
from ui.dash_words import Words, page_words
from ui.entries import check_all, entering, show_trouble
from ui.flight_views import FlightViews, film_cut_html, flight_views
from ui.kept_readings import Kept
from ui.known_form import known_form
from ui.known_input import parse_known
from ui.picture_html import picture_html
from ui.progress_line import stage_words
from ui.reading_store import (
    CALLED_OFF,
    GivingWayError,
    asked_for,
    followed_before,
    kept_reading,
    others_wait,
    read_ahead,
)
from ui.remove_clip import remove_clip_part, show_removed
from ui.verdict import basis_html, causes_html, modes_html, verdict_html
from ui.viewer import show_viewer
from ui.way_out import note_stopped, offer_way_out, was_stopped

_MOST_KEPT = 24
_FIRST_DEMO = "demo-fishtailing"
_PAUSE_S = 0.5


@st.cache_resource(show_spinner=False)
def _views() -> Kept[FlightViews]:
    return Kept(_MOST_KEPT)


@st.cache_resource(show_spinner=False)
def _charts() -> Kept[tuple[tuple[str, Picture], ...]]:
    return Kept(_MOST_KEPT)


def show_read() -> None:
    """Draw the page."""
    word = page_words()
    st.title(word("pages.read_title"))
    try:
        chosen = choose_clip(word)
    except InputError as mistake:
        st.error(word.safe(mistake.message))
        return
    show_removed(word)
    if chosen is None:
        _hello(word)
        return
    said = told(shelf(), chosen.sha256, chosen.given)
    result = read_with_progress(chosen, said, word, stoppable=True)
    if result is not None:
        _which_flight(chosen, result, word)
        show_result(chosen, result, word)
        if result.reading.refused is not None:
            take_back_part(chosen, word)
        correction_part(chosen, result, word)
        if chosen.demo is not None:
            _other_demos_ahead(chosen, word)
    else:
        take_back_part(chosen, word)
    _known_part(chosen, said, word, open_=result is None or result.reading.refused is not None)
    remove_clip_part(chosen, word)


def _hello(word: Words) -> None:
    st.html(f'<p class="ts-hello">{escape(word("pages.hello"))}</p>')
    if st.button(word("pages.hello_demo"), type="primary", key="hello-demo"):
        st.query_params["clip"] = _FIRST_DEMO
        st.rerun()
    # Whoever reads the greeting may look at the demo next.
    first_demo_ahead(word)


def first_demo_ahead(word: Words) -> None:
    """Make the first demo ready behind the page, and then the others, unless that was begun.

    Parameters
    ----------
    word
        Language of its pictures.
    """
    demo = clip_by_token(_FIRST_DEMO, word)
    if demo is None:
        return

    def work(go_on: Progress) -> None:
        _show_quietly(demo, word, go_on)
        _other_demos_ahead(demo, word)

    read_ahead(work, "demo-ahead")


def asked_ahead(token: str, word: Words) -> None:
    """Begin to read a clip that a page is about to show.

    Parameters
    ----------
    token
        The clip's, as in the address.
    word
        Language of its name.
    """
    clip = clip_by_token(token, word)
    if clip is not None:
        read_ahead(lambda go_on: _read_asked(clip, go_on), f"asked-{clip.sha256}")


def _read_asked(clip: ChosenClip, go_on: Progress) -> None:
    with asked_for(clip.sha256), suppress(InputError):
        read_quietly(clip, go_on)


def _other_demos_ahead(chosen: ChosenClip, word: Words) -> None:
    """Read the other demo clips, one at a time: whoever looks at one will look at another next.

    In the chooser's order, whose first ones show each kind once. Each once on a computer: what was
    followed before is read quickly enough when it is asked for.
    """
    tokens = [token for token in demo_tokens() if token != chosen.token]
    others = [clip_by_token(token, word) for token in tokens]

    def work(go_on: Progress) -> None:
        for other in others:
            while other is not None and not _read_if_nobody_waits(other, go_on):
                go_on("wait", 0.0)
                time.sleep(_PAUSE_S)

    # On one processor whoever asks for another film would have to wait for this.
    if (os.cpu_count() or 1) > 1:
        read_ahead(work, "other-demos")


def _read_if_nobody_waits(clip: ChosenClip, go_on: Progress) -> bool:
    """Read a clip, or stop as soon as a page waits for another one; tell whether it is done."""

    def tell(stage: str, share: float) -> None:
        # A film that is asked for meanwhile shall find a process ready, and the processors free.
        if others_wait(clip.sha256):
            raise GivingWayError
        warm_up()
        go_on(stage, share)

    try:
        tell("wait", 0.0)
        with suppress(InputError):
            if not followed_before(clip.sha256, _known_of(clip)):
                read_quietly(clip, tell, gives_way=True)
    except GivingWayError:
        return False
    return True


def read_quietly(chosen: ChosenClip, go_on: Progress, *, gives_way: bool = False) -> ReadResult:
    """Read a clip behind the page, with all that was said about it.

    Parameters
    ----------
    chosen
        The clip.
    go_on
        What the reading reports to.
    gives_way
        Whether no page waits for it yet.

    Returns
    -------
    ReadResult
        Kept for the page that asks for it.

    Raises
    ------
    InputError
        If the clip cannot be read.
    """
    known = _known_of(chosen)
    return kept_reading(chosen.path, chosen.sha256, known, lambda: go_on, gives_way=gives_way)


def _known_of(chosen: ChosenClip) -> Known:
    return parse_known(told(shelf(), chosen.sha256, chosen.given))


def _show_quietly(chosen: ChosenClip, word: Words, go_on: Progress) -> FlightViews:
    result = read_quietly(chosen, go_on)
    go_on("views", 0.0)
    return kept_views(chosen, result, word)


def read_with_progress(
    chosen: ChosenClip,
    said: Mapping[str, str],
    word: Words,
    *,
    among: bool = False,
    stoppable: bool = False,
) -> ReadResult | None:
    """Read a clip, or take the reading that was made before.

    Parameters
    ----------
    chosen
        The clip.
    said
        What the coach knows, as texts.
    word
        The page's language.
    among
        Whether the page shows other clips too, so that it has to say which one is in trouble.
    stoppable
        Whether the page lets the coach call the reading off.

    Returns
    -------
    ReadResult or None
        None if the clip or what was typed is no good, or it was called off; the page says why.
    """
    place, way_out = st.empty(), st.empty()
    known: Known | None = None

    def shown() -> Progress:
        if stoppable and known is not None:
            offer_way_out(way_out, chosen, known, word)
        return progress_bar(place, word)

    try:
        known = parse_known(said)
        if stoppable and was_stopped(chosen, known, word):
            return None
        with asked_for(chosen.sha256), place, st.spinner(word("pages.reading")):
            result = kept_reading(chosen.path, chosen.sha256, known, shown)
    except InputError as mistake:
        way_out.empty()
        if stoppable and known is not None and mistake.message.key == CALLED_OFF:
            place.empty()
            note_stopped(chosen, known)
            was_stopped(chosen, known, word)
            return None
        why = word.safe(mistake.message)
        if among:
            why = f"{word.safe(message('pages.beside_trouble', name=chosen.name))} {why}"
        place.error(why)
        return None
    place.empty()
    way_out.empty()
    return result


def progress_bar(place: DeltaGenerator, word: Words) -> Progress:
    """Put a progress bar on the page.

    Parameters
    ----------
    place
        Where it goes.
    word
        The page's language.

    Returns
    -------
    Progress
        For the pipeline to report to.
    """
    bar = place.progress(0.0, text=word("pages.reading"))

    def progress(stage: str, share: float) -> None:
        bar.progress(min(1.0, max(0.0, share)), text=stage_words(stage, word.language))

    return progress


def _which_flight(chosen: ChosenClip, result: ReadResult, word: Words) -> None:
    """Let the coach choose between the flights of a film that holds several."""
    count, now = len(result.followed.flights), result.reading.known.flight
    if count < 2:
        return
    place = f"which-{chosen.sha256[:12]}"
    # another flight read, in another tab perhaps, begins it anew
    key = f"{place}-{now}"

    def turn() -> None:
        flight = st.session_state[key]
        if flight is not None and flight != now:
            shelf().note(chosen.sha256, "which", {"flight": str(flight + 1)})

    st.segmented_control(
        word("pages.which_flight"),
        range(count),
        default=now,
        required=True,
        format_func=lambda number: str(number + 1),
        key=key,
        on_change=entering(place, turn),
    )
    show_trouble(place, word)


def show_result(chosen: ChosenClip, result: ReadResult, word: Words) -> None:
    """Draw verdict, film, curves and numbers.

    Parameters
    ----------
    chosen
        The clip.
    result
        What was read.
    word
        The page's language.
    """
    reading = spoken(result.reading, word.language)
    causes = causes_html(reading.causes, word)
    verdict = verdict_html(reading, word) + basis_html(reading, word) + opinion_html(chosen, word)
    if causes:
        left, right = st.columns([3, 2])
        left.html(verdict)
        right.html(causes)
    else:
        st.html(verdict)
    # The verdict stands on the page by now; the film takes about a second more.
    with st.spinner(word("pages.making_film")):
        views = kept_views(chosen, result, word)
    curves = curves_of(reading)
    if curves is not None:
        st.subheader(word("pages.see_it"), anchor=False)
        st.html(f'<p class="ts-note">{escape(word("pages.see_it_help"))}</p>')
        show_viewer(
            f"viewer-{chosen.sha256[:12]}",
            curves=(curves,),
            films=(views.film,) if views.film else (),
            pictures=_charts().get(
                (chosen.sha256, result.reading.known, word.language),
                lambda: _pictures(result, word),
            ),
            language=word.language,
        )
        cut = film_cut_html(result.track, word.language)
        if cut:
            st.html(cut)
        table = modes_html(reading, word)
        if table:
            st.html(table)
    _stills(views, word)


def _pictures(result: ReadResult, word: Words) -> tuple[tuple[str, Picture], ...]:
    made = (
        ("right", swing_picture(result.reading, 0, word.language)),
        ("right", swing_picture(result.reading, 1, word.language)),
        ("left", behind_picture(result.reading, word.language)),
        ("right", spectrum_picture(result.reading, word.language)),
    )
    return tuple((column, picture) for column, picture in made if picture is not None)


def kept_views(chosen: ChosenClip, result: ReadResult, word: Words) -> FlightViews:
    """Make films and stills once for each reading.

    Parameters
    ----------
    chosen
        The clip.
    result
        What was read.
    word
        The page's language.

    Returns
    -------
    FlightViews
        The same object every time.
    """
    key = (chosen.sha256, result.reading.known, word.language)
    return _views().get(
        key, lambda: flight_views(chosen.path, result, says=word("pages.film_says"))
    )


def _stills(views: FlightViews, word: Words) -> None:
    columns = st.columns(2)
    if views.strobe is not None:
        columns[0].html(picture_html(views.strobe, word("pages.strobe_caption")))
    if views.path is not None:
        columns[1].html(picture_html(views.path, word("pages.path_caption")))


def _known_part(chosen: ChosenClip, said: Mapping[str, str], word: Words, *, open_: bool) -> None:
    key = f"known-{chosen.sha256[:12]}"

    def keep(typed: dict[str, str]) -> None:
        check_all(typed, parse_known)
        shelf().note(chosen.sha256, "known", typed)

    with st.expander(word("pages.known_title"), expanded=open_):
        known_form(key, said, word, keep=keep, demo=chosen.demo is not None)
    show_trouble(key, word)
