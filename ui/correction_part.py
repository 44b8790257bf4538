"""The part of a page where a coach corrects the tool; every correction is kept beside the clip."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from datetime import datetime
from functools import partial
from html import escape

import numpy as np
import streamlit as st

from classify.read_result import ReadResult
from tracker.types import InputError
from ui.clip_chooser import ChosenClip, shelf
from ui.corrections import click_text, face_text
from ui.dash_words import Words
from ui.entries import entering, short_enough, show_trouble, typed_in
from ui.frame_store import still_of
from ui.known_input import parse_known
from ui.picker import Still, pick_points
from ui.picture_html import picture_html
from ui.rounds_part import attempt
from ui.shelf import NoteKind

_LABELS = ("fishtailing", "minnowing", "porpoising", "clean")
_LONGEST_WHY = 400
_TABS = ("nock", "ends", "face", "opinion", "history")
_BLANK: Mapping[NoteKind, dict[str, str]] = {
    "which": {"flight": ""},
    "click": {"click": ""},
    "face": {"face_mark": ""},
    "ends": {"first_frame": "", "last_frame": ""},
    "opinion": {"label": "", "why": ""},
}
"""What takes back what was said of each kind."""
_TOLD: tuple[NoteKind, ...] = ("which", "click", "face", "ends")
"""What of it the reading is told."""


def correction_part(chosen: ChosenClip, result: ReadResult, word: Words) -> None:
    """Draw the tools for corrections.

    Parameters
    ----------
    chosen
        The clip.
    result
        What was read.
    word
        The page's language.
    """
    key = chosen.sha256[:12]
    with st.expander(word("pages.correct_title"), key=f"correct-{key}", on_change="rerun") as part:
        if not part.open:
            return
        tab = st.segmented_control(
            word("pages.correct_what"),
            _TABS,
            default="nock",
            required=True,
            format_func=lambda name: word(f"pages.correct_{name}"),
            key=f"correct-tab-{key}",
        )
        if tab == "opinion":
            _opinion(chosen, word)
        elif tab == "history":
            _history(chosen, word)
        elif tab is not None:
            _on_a_frame(tab, chosen, result, word)


def take_back_part(chosen: ChosenClip, word: Words) -> None:
    """Offer to take back what was corrected, where the clip cannot be read with it.

    A clip must never be locked by what was said about it.

    Parameters
    ----------
    chosen
        The clip.
    word
        The page's language.
    """
    holds = [(kind, shelf().last(chosen.sha256, kind)) for kind in _TOLD]
    corrected = [(kind, said) for kind, said in holds if said and any(said.values())]
    if not corrected:
        return
    st.html(f'<p class="ts-note">{escape(word("pages.correct_mend"))}</p>')
    for kind, said in corrected:
        with st.container(horizontal=True, vertical_alignment="center"):
            text = f"{word(f'pages.history_{kind}')}: {note_text(said, word)}"
            st.html(f'<p class="ts-note">{escape(text)}</p>')
            _take_back(chosen, kind, word, where="mend")


def _on_a_frame(tab: str, chosen: ChosenClip, result: ReadResult, word: Words) -> None:
    clip = result.followed.clip
    # Another flight of the film begins elsewhere in it.
    key = f"{tab}-{chosen.sha256[:12]}-{result.reading.known.flight}"
    st.html(f'<p class="ts-note">{escape(word(f"pages.correct_{tab}_help"))}</p>')
    start = _lost_frame(result) if tab == "nock" else _first_frame(result)
    frame = _frame_choice(f"frame-{key}", start, max(1, clip.frames - 1), word)
    try:
        still = still_of(chosen.path, chosen.sha256, frame, width=clip.width, height=clip.height)
    except (InputError, KeyError):
        st.warning(word("pages.correct_no_frame"))
        return
    if tab == "nock":
        still = replace(still, nock_px=_nock_px(result, frame))
        pick_points(
            f"pick-{key}",
            still,
            points=1,
            send=word("pages.correct_nock_send"),
            word=word,
            picked=_clicked(chosen, "click", click_text),
            says=word(f"pages.pick_{'unseen' if still.nock_px is None else 'seen'}"),
        )
        _trouble_or_back(chosen, "click", word)
    elif tab == "face":
        pick_points(
            f"pick-{key}",
            still,
            points=2,
            send=word("pages.correct_face_send"),
            word=word,
            picked=_clicked(chosen, "face", face_text),
        )
        _trouble_or_back(chosen, "face", word)
    else:
        _ends(chosen, still, word)


def _clicked(
    chosen: ChosenClip, kind: NoteKind, text: Callable[[int, list[float]], dict[str, str]]
) -> Callable[[int, list[float]], None]:
    """Give what keeps the points that are clicked on a frame."""

    def keep(frame: int, points: list[float]) -> None:
        entering(_place(chosen, kind), lambda: _keep(chosen, kind, text(frame, points)))()

    return keep


def _frame_choice(key: str, start: int, last: int, word: Words) -> int:
    """Choose a frame by a slider, and by steps of one, which a finger cannot slide."""
    # Its first value goes through the state, since a step writes there too.
    st.session_state.setdefault(key, start)

    def step(by: int) -> None:
        st.session_state[key] = min(max(st.session_state[key] + by, 0), last)

    frame = st.slider(word("pages.correct_frame"), 0, last, key=key)
    with st.container(horizontal=True):
        for name, by, sign in (("back", -1, "❮"), ("forward", 1, "❯")):
            text = f"{sign} {word(f'pages.viewer_{name}')}"
            st.button(text, key=f"{key}-{name}", on_click=step, args=(by,))
    return frame


def _nock_px(result: ReadResult, frame: int) -> tuple[float, float] | None:
    """Give the nock's place in the raw picture, where the track has one."""
    track = result.track
    if track is None or frame >= len(track.seen) or not track.seen[frame]:
        return None
    x_px, y_px = track.xy_px[frame] + track.shake_px[frame]
    return float(x_px), float(y_px)


def _ends(chosen: ChosenClip, still: Still, word: Words) -> None:
    st.html(picture_html(still.jpeg, word("pages.pick_alt", frame=still.frame)))
    columns = st.columns(2)
    key = chosen.sha256[:12]

    def mark(end: str) -> None:
        said = dict(shelf().last(chosen.sha256, "ends") or {})
        _keep(chosen, "ends", {**said, end: str(still.frame)})

    for column, end in zip(columns, ("first_frame", "last_frame"), strict=True):
        column.button(
            word(f"pages.correct_{end}", frame=still.frame),
            key=f"{end}-{key}",
            width="stretch",
            on_click=entering(_place(chosen, "ends"), partial(mark, end)),
        )
    _trouble_or_back(chosen, "ends", word)


def _place(chosen: ChosenClip, kind: NoteKind) -> str:
    return f"{kind}-{chosen.sha256[:12]}"


def _keep(chosen: ChosenClip, kind: NoteKind, said: dict[str, str]) -> None:
    """Add a correction once it makes sense; the page reads again."""
    parse_known({name: text for name, text in said.items() if text})
    shelf().note(chosen.sha256, kind, said)


def _trouble_or_back(chosen: ChosenClip, kind: NoteKind, word: Words) -> None:
    """Say what was no correction, and offer to take back what was one."""
    show_trouble(_place(chosen, kind), word)
    _take_back(chosen, kind, word)


def take_back_quietly(chosen: ChosenClip, kind: NoteKind, word: Words) -> bool:
    """Take back what was said of one kind, without drawing the page anew.

    Parameters
    ----------
    chosen, kind
        The clip, and what about it.
    word
        The page's language.

    Returns
    -------
    bool
        False if that cannot be kept; the page says why.
    """
    return attempt(word, lambda: shelf().note(chosen.sha256, kind, _BLANK[kind]))


def _take_back(chosen: ChosenClip, kind: NoteKind, word: Words, *, where: str = "back") -> None:
    now = shelf().last(chosen.sha256, kind)
    if not now or not any(now.values()):
        return
    says = "opinion_take_back" if kind == "opinion" else "correct_take_back"
    place = f"{where}-{_place(chosen, kind)}"
    st.button(
        word(f"pages.{says}"),
        key=place,
        on_click=entering(place, lambda: shelf().note(chosen.sha256, kind, _BLANK[kind])),
    )
    show_trouble(place, word)


def _opinion(chosen: ChosenClip, word: Words) -> None:
    key = chosen.sha256[:12]
    st.html(f'<p class="ts-note">{escape(word("pages.correct_opinion_help"))}</p>')

    def keep() -> None:
        label = st.session_state.get(f"opinion-label-{key}")
        if label is None:
            raise InputError("pages.opinion_missing")
        said = {"label": label, "why": short_enough(typed_in(f"opinion-why-{key}"), _LONGEST_WHY)}
        shelf().note(chosen.sha256, "opinion", said)

    with st.form(f"opinion-{key}", border=False):
        st.radio(
            word("pages.opinion_label"),
            _LABELS,
            index=None,
            format_func=lambda name: word(f"reading.label_{name}"),
            horizontal=True,
            key=f"opinion-label-{key}",
        )
        st.text_input(word("pages.opinion_why"), key=f"opinion-why-{key}")
        st.form_submit_button(
            word("pages.opinion_send"),
            type="primary",
            on_click=entering(_place(chosen, "opinion"), keep),
        )
    _trouble_or_back(chosen, "opinion", word)


def opinion_html(chosen: ChosenClip, word: Words) -> str:
    """Write what the coach sees in a clip, to stand beside the verdict.

    Parameters
    ----------
    chosen
        The clip.
    word
        The page's language.

    Returns
    -------
    str
        HTML; empty if the coach said nothing.
    """
    said = shelf().last(chosen.sha256, "opinion")
    if said is None or not said.get("label"):
        return ""
    label = word(f"reading.label_{said['label']}")
    text = word("pages.opinion_shown", label=label)
    why = f" {escape(said['why'])}" if said.get("why") else ""
    return f'<p class="ts-opinion"><strong>{escape(text)}</strong>{why}</p>'


def _history(chosen: ChosenClip, word: Words) -> None:
    notes = shelf().notes(chosen.sha256)
    if not notes:
        st.write(word("pages.history_empty"))
        return
    items = "".join(
        f"<li><time>{escape(local_time(note.when))}</time> "
        f"{escape(word(f'pages.history_{note.kind}'))}: "
        f"{escape(note_text(note.said, word))}</li>"
        for note in reversed(notes)
    )
    st.html(f'<ul class="ts-history">{items}</ul>')


def local_time(when: str) -> str:
    """Say when a note was written, by the clock of this computer.

    Parameters
    ----------
    when
        ISO 8601 in UTC, as notes keep it.

    Returns
    -------
    str
        Day and minute; as it stands in the note if that is no time.
    """
    try:
        moment = datetime.fromisoformat(when)
    except ValueError:
        return when
    return f"{moment.astimezone():%Y-%m-%d %H:%M}"


def note_text(said: Mapping[str, str], word: Words) -> str:
    """Say a note as the forms ask for it.

    Parameters
    ----------
    said
        Text by field, as kept; blank ones are left out.
    word
        The page's language.

    Returns
    -------
    str
        Not escaped.
    """
    parts = [_said(name, text, word) for name, text in said.items() if text]
    return "; ".join(parts) or word("pages.history_blank")


def _said(name: str, text: str, word: Words) -> str:
    if name in ("first_frame", "last_frame"):
        return word(f"pages.correct_{name}", frame=text)
    if name in ("click", "face_mark"):
        frame, *places = text.split(",")
        pairs = [f"({x}, {y})" for x, y in zip(places[::2], places[1::2], strict=False)]
        return word("pages.history_places", frame=frame, places=", ".join(pairs))
    if name == "flight":
        return word("pages.history_flight", number=text)
    if name in ("hand", "label"):
        return word.title("pages" if name == "hand" else "reading", f"{name}_{text}", text)
    if name == "why":
        return text
    return f"{word.title('pages', f'known_{name}', name)}: {text}"


def _first_frame(result: ReadResult) -> int:
    return 0 if result.track is None else result.track.first_frame


def _lost_frame(result: ReadResult) -> int:
    """Find the first frame of the flight in which the nock was lost, to begin there."""
    track = result.track
    if track is None:
        return result.followed.clip.frames // 2
    flight = np.arange(track.first_frame, track.last_frame + 1)
    lost = flight[~track.seen[flight]]
    return int(lost[0]) if len(lost) else track.first_frame
