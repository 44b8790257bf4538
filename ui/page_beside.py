"""Two clips side by side, in step since the release, at one scale, with both curves on one axis."""

from __future__ import annotations

from dataclasses import replace
from html import escape

import numpy as np
import streamlit as st
from streamlit.delta_generator import DeltaGenerator

from classify.read_result import ReadResult
from classify.side_by_side import Difference, differences
from tracker.types import InputError
from ui.charts import Picture, compared_picture
from ui.clip_chooser import ChosenClip, choices, clip_by_token, shelf
from ui.corrections import told
from ui.curves import Curves, curves_of, since_release
from ui.dash_words import Words, page_words
from ui.films import Film
from ui.flight_views import film_cut_html, flight_views, reach_for
from ui.kept_readings import Kept
from ui.linked import asked_for_in_address, page_link, readdress
from ui.page_read import read_quietly, read_with_progress
from ui.reading_store import read_ahead
from ui.verdict import label_icon
from ui.viewer import show_viewer

_SIDES = ("first", "second")
_START = {"first": "demo-fishtailing", "second": "demo-clean"}

_Drawn = tuple[ChosenClip, ReadResult, Curves]


@st.cache_resource(show_spinner=False)
def _films() -> Kept[Film | None]:
    return Kept(24)


@st.cache_resource(show_spinner=False)
def _pictures() -> Kept[tuple[tuple[str, Picture], ...]]:
    return Kept(24)


def show_beside() -> None:
    """Draw the page."""
    word = page_words()
    st.title(word("pages.beside_title"))
    st.html(f'<p class="ts-note">{escape(word("pages.beside_help"))}</p>')
    try:
        places = st.columns(2)
        pair = [_choose(place, side, word) for place, side in zip(places, _SIDES, strict=True)]
    except InputError as mistake:
        st.error(word.safe(mistake.message))
        return
    if any(chosen is None for chosen in pair):
        return
    clips = [chosen for chosen in pair if chosen is not None]
    # The second is read at the same time as the first: most computers have two processors.
    read_ahead(lambda go_on: read_quietly(clips[1], go_on), f"beside-{clips[1].sha256}")
    results = [
        read_with_progress(chosen, told(shelf(), chosen.sha256, chosen.given), word, among=True)
        for chosen in clips
    ]
    results = [
        result if result is None else _with_flight(place, side, chosen, result, word)
        for place, side, chosen, result in zip(places, _SIDES, clips, results, strict=True)
    ]
    _show(clips, results, word)


def _with_flight(
    place: DeltaGenerator, side: str, chosen: ChosenClip, result: ReadResult, word: Words
) -> ReadResult | None:
    """Let the coach choose between the flights of a film that holds several; the address knows."""
    count, now = len(result.followed.flights), result.reading.known.flight
    if count < 2:
        return result
    name = f"{side}-flight"
    asked = st.query_params.get(name, "")
    numbers = [str(number + 1) for number in range(count)]
    flight = place.segmented_control(
        word("pages.which_flight"),
        numbers,
        default=asked if asked in numbers else numbers[now],
        required=True,
        key=f"beside-{name}-{chosen.sha256[:12]}",
    )
    if flight is None or flight == numbers[now]:
        st.query_params.pop(name, None)
        return result
    st.query_params[name] = flight
    said = told(shelf(), chosen.sha256, chosen.given)
    return read_with_progress(chosen, {**said, "flight": flight}, word, among=True)


def _choose(place: DeltaGenerator, side: str, word: Words) -> ChosenClip | None:
    named = choices(word)
    tokens = list(named)
    wanted, key = asked_for_in_address(side, _START[side], key=f"beside-{side}", kept=True)
    index = tokens.index(wanted) if wanted in tokens else None
    picked = place.selectbox(
        word(f"pages.beside_{side}"),
        tokens,
        index=index,
        format_func=lambda key: named.get(key, key),
        placeholder=word("pages.choose_placeholder"),
        key=key,
    )
    st.session_state[f"address-{side}"] = picked or wanted
    if picked is None:
        if side in st.query_params:
            place.warning(word("pages.clip_gone"))
        return None
    if st.query_params.get(side, _START[side]) != picked:
        readdress({f"{side}-flight": None, side: picked})
    st.session_state[f"kept-{side}"] = picked
    return clip_by_token(picked, word)


def _show(clips: list[ChosenClip], results: list[ReadResult | None], word: Words) -> None:
    for column, chosen, result in zip(st.columns(2), clips, results, strict=True):
        column.html(_head(chosen, result, word))
    flights = {
        (chosen.sha256, None if result is None else result.reading.known.flight)
        for chosen, result in zip(clips, results, strict=True)
    }
    same = len(flights) == 1
    if same:
        st.info(word("pages.beside_same"))
    read = [result for result in results if result is not None]
    if len(read) == 2 and not same:
        for axis in ("across", "up_down"):
            for found in differences(read[0].reading, read[1].reading, axis):
                st.html(_difference_html(found, word))
    drawn: list[_Drawn] = [
        (chosen, result, curves)
        for chosen, result in zip(clips, results, strict=True)
        if result is not None and (curves := curves_in_step(result)) is not None
    ]
    if len(read) == 2 > len(drawn):
        st.warning(word("pages.beside_no_swing"))
    if len({curves.unit for _, _, curves in drawn}) > 1:
        st.warning(word("pages.beside_no_scale"))
        return
    if drawn:
        _show_drawn(drawn, word)
    if len(drawn) < 2:
        return
    st.html(f'<p class="ts-note">{escape(word("pages.beside_one_arrow"))}</p>')


def _show_drawn(drawn: list[_Drawn], word: Words) -> None:
    """Draw the clips that have a swing, be it one alone."""
    if len(drawn) == 1:
        chosen, result, curves = drawn[0]
        # Alone it is drawn as on its own page: nothing has to be in step with it.
        drawn = [(chosen, result, curves_of(result.reading) or curves)]
    shown = tuple(curves for _, _, curves in drawn)
    reach = max(reach_for(result) for _, result, _ in drawn)
    films = [_film(*one, reach, word) for one in drawn]
    made = tuple(film for film in films if film is not None)
    what = tuple((chosen.sha256, result.reading.known) for chosen, result, _ in drawn)
    pictures = _pictures().get(
        (what, word.language),
        lambda: tuple(("right", compared_picture(shown, axis, word.language)) for axis in (0, 1)),
    )
    show_viewer(
        "viewer-beside",
        curves=shown,
        films=made if len(made) == len(drawn) else (),
        pictures=pictures,
        language=word.language,
    )
    for chosen, result, _ in drawn:
        cut = film_cut_html(result.track, word.language)
        if cut:
            st.html(f'<p class="ts-note">{escape(chosen.name)}</p>{cut}')


def _difference_html(found: Difference, word: Words) -> str:
    return (
        f'<p class="ts-plain"><strong>{escape(word.tell(found.about))}</strong> '
        f"{escape(word.tell(found.sentence))}</p>"
    )


def _head(chosen: ChosenClip, result: ReadResult | None, word: Words) -> str:
    label = None if result is None else result.reading.label
    said = word(f"reading.label_{label or 'none'}")
    name = escape(chosen.name)
    if result is not None and len(result.followed.flights) > 1:
        number = result.reading.known.flight + 1
        name += f" · {escape(word('pages.history_flight', number=number))}"
    if label is None:
        # What is missing is said, and mended, on the clip's own page.
        said_of = word("rounds.open_clip")
        name += f" · {page_link('', said_of, word.language, clip=chosen.token)}"
    return (
        f'<section class="ts-card ts-{label or "refused"}">'
        f'<div class="ts-headline">{label_icon(label)}'
        f"<div><h2>{escape(said)}</h2><p>{name}</p></div></div></section>"
    )


def curves_in_step(result: ReadResult) -> Curves | None:
    """Give the curves of a reading with time counted from the release.

    Parameters
    ----------
    result
        What was read.

    Returns
    -------
    Curves or None
        None without a swing.
    """
    curves = curves_of(result.reading)
    if curves is None or result.track is None:
        return None
    return since_release(curves, result.reading, result.track.time_s)


def _film(
    chosen: ChosenClip, result: ReadResult, curves: Curves, reach: float, word: Words
) -> Film | None:
    key = (chosen.sha256, result.reading.known, round(reach, 3), word.language)

    def make() -> Film | None:
        return flight_views(
            chosen.path, result, says=word("pages.film_says"), caption=chosen.name, reach=reach
        ).film

    film = _films().get(key, make)
    if film is None:
        return None
    # The film counts from the first followed frame, the curves from the release.
    own = curves_of(result.reading)
    offset = 0.0 if own is None else float(np.min(curves.time_s) - np.min(own.time_s))
    return replace(film, time_s=film.time_s + offset)
