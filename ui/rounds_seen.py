"""What was seen with a set-up: the list, and the forms that add to it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from functools import cache
from html import escape

import cv2
import numpy as np
import streamlit as st

from classify.clip_store import keep_clip
from classify.evidence import ARROW_PARTS, BOW_PARTS
from classify.evidence_book import Seen, record, refuse_flight
from classify.evidence_payload import EvidenceKind
from classify.knowledge import load_knowledge
from classify.label import disturbances_found
from classify.logbook_undo import delete
from classify.report_json import reading_json
from classify.types import DISTURBANCES, Disturbance
from ui.clip_chooser import choices, clip_by_token, shelf
from ui.corrections import told
from ui.dash_words import Words
from ui.known_input import parse_known
from ui.linked import page_link
from ui.page_read import progress_bar
from ui.picker import Still, pick_points
from ui.reading_store import kept_reading
from ui.reading_words import found_words
from ui.report_film import known_with_sheet
from ui.rounds_correct import correct_part
from ui.rounds_part import AtHand, attempt, day_field

_KINDS = ("flight", "bare", "powder", "groups", "eye")
FACE_PX = 800


def seen_part(at: AtHand) -> None:
    """Draw what was seen and the forms for more.

    Parameters
    ----------
    at
        The case.
    """
    word = at.word
    _list(at)
    kind = st.segmented_control(
        word("rounds.add"),
        _KINDS,
        format_func=lambda name: word(f"rounds.kind_{name}"),
        key=at.key("add-kind"),
    )
    forms = {
        "flight": _flight,
        "bare": _bare,
        "powder": _powder,
        "groups": _groups,
        "eye": _eye,
    }
    if kind is not None:
        forms[kind](at)
    _earlier(at)


def _list(at: AtHand) -> None:
    word = at.word
    seen = at.case.seen[-1]
    st.html(f"<h3>{escape(word('rounds.seen', number=at.case.newest.number))}</h3>")
    if not seen:
        st.write(word("rounds.seen_none"))
    for one in seen:
        text, button = st.columns([6, 1], vertical_alignment="center")
        text.html(f'<p class="ts-note">{_seen_html(one, word)}</p>')
        if button.button(word("rounds.delete"), key=f"delete-{one.id}"):
            _delete(at, one)
        correct_part(at, one)


def _delete(at: AtHand, one: Seen) -> None:
    if attempt(at.word, lambda: delete(at.book, "evidence", one.id)):
        st.rerun()


def _earlier(at: AtHand) -> None:
    """Show what was seen with the versions before."""
    word = at.word
    lots = list(zip(at.case.versions[:-1], at.case.seen[:-1], strict=True))
    for version, seen in reversed(lots):
        if not seen:
            continue
        with st.expander(word("rounds.seen", number=version.number)):
            for one in seen:
                st.html(f'<p class="ts-note">{_seen_html(one, word)}</p>')


def _seen_html(seen: Seen, word: Words) -> str:
    names: Mapping[str, str] = {"bare shaft": "bare"}
    kind = word(f"rounds.kind_{names.get(seen.kind, seen.kind)}")
    parts = [f"<strong>{escape(seen.dated)} · {escape(kind)}</strong>"]
    if seen.kind == "flight":
        parts.append(escape(flight_words(seen.payload, word)))
    elif seen.kind == "powder":
        marks = seen.payload.get("marks")
        count = len(marks) if isinstance(marks, list) else 0
        key = "rounds.powder_marks" if count else "rounds.powder_clean"
        parts.append(escape(word(key, count=count)))
    elif "distance_m" in seen.payload:
        distance = seen.payload["distance_m"]
        parts.append(escape(word("rounds.at_distance", distance_m=str(distance))))
        wind = seen.payload.get("crosswind_m_s")
        if wind:
            parts.append(escape(word("rounds.in_wind", wind_m_s=str(wind))))
    if seen.note:
        parts.append(escape(seen.note))
    if seen.clip_sha256 is not None:
        said = word("rounds.open_clip")
        parts.append(page_link("", said, word.language, clip=seen.clip_sha256))
    return " · ".join(parts)


def flight_words(payload: Mapping[str, object], word: Words) -> str:
    """Say what a kept flight showed, and which arrow it was.

    Parameters
    ----------
    payload
        As the logbook keeps it.
    word
        The page's language.

    Returns
    -------
    str
        Everything that was found in it, the leading disturbance first; of a refused clip the
        reason.
    """
    kept = payload.get("reading")
    reading: Mapping[str, object] = kept if isinstance(kept, dict) else {}
    label, refused = reading.get("label"), reading.get("refused")
    # Kept flights may come from another coach's file, with anything in them.
    presence = reading.get("presence")
    odds: Mapping[object, object] = presence if isinstance(presence, dict) else {}
    chances: dict[Disturbance, float] = {
        name: chance for name in DISTURBANCES if isinstance(chance := odds.get(name), float)
    }
    found = disturbances_found(label if isinstance(label, str) else None, chances)
    if found:
        said = found_words(found[0], chances, word.language)
    else:
        said = word.title("reading", f"label_{label or 'none'}", "")
    if label is None and isinstance(refused, str):
        # Kept as it was said that day; a refused clip must not stand there as if it told something.
        said = word("reading.headline_refused", reason=refused)
    arrow = payload.get("arrow")
    return said if not arrow else word("rounds.arrow_said", label=said, arrow=str(arrow))


def _keep(
    at: AtHand, kind: EvidenceKind, payload: dict[str, object], day: str, used: Iterable[str] = ()
) -> None:
    def keep() -> None:
        record(at.book, at.case.newest, kind, payload, dated=day)

    if attempt(at.word, keep):
        for name in used:
            st.session_state.pop(at.key(name), None)
        st.rerun()


def _flight(at: AtHand) -> None:
    word = at.word
    named = choices(word)
    with st.form(at.key("flight"), border=False):
        token = st.selectbox(
            word("pages.choose_clip"),
            list(named),
            index=None,
            format_func=lambda key: named.get(key, key),
            key=at.key("flight-clip"),
        )
        arrow = st.text_input(word("rounds.arrow"), key=at.key("flight-arrow"), width=200)
        day = day_field(word("rounds.day"), at.key("flight-day"))
        sent = st.form_submit_button(word("rounds.keep_flight"), type="primary")
    chosen = clip_by_token(token, word) if sent and token else None
    if chosen is None:
        return
    place = st.empty()

    def keep() -> None:
        said = told(shelf(), chosen.sha256, chosen.given)
        known = known_with_sheet(parse_known(said), at.case.archer, at.case.newest)
        refuse_flight(
            at.book, at.case.newest, clip_sha256=chosen.sha256, flight=known.flight, dated=day
        )
        result = kept_reading(chosen.path, chosen.sha256, known, lambda: progress_bar(place, word))
        kept = keep_clip(at.book, chosen.path)
        payload: dict[str, object] = {
            "reading": reading_json(result.reading, word.tell),
            "arrow": arrow.strip() or None,
            "known": {name: text for name, text in said.items() if text},
        }
        record(at.book, at.case.newest, "flight", payload, dated=day, clip_sha256=kept.sha256)

    if attempt(word, keep):
        st.rerun()


def _wind(at: AtHand, name: str) -> float | None:
    """Ask for the cross wind; blank is unknown."""
    return st.number_input(
        at.word("rounds.crosswind"), 0.0, 20.0, None, key=at.key(f"{name}-wind"), width=200
    )


def _bare(at: AtHand) -> None:
    word = at.word
    columns = st.columns(3)
    distance = columns[0].number_input(
        word("rounds.distance_m"), 3.0, 90.0, 18.0, key=at.key("bare-distance")
    )
    face = columns[1].number_input(
        word("rounds.face_cm"), 20.0, 122.0, 40.0, key=at.key("bare-face")
    )
    with columns[2]:
        day = day_field(word("rounds.day"), at.key("bare-day"))
    wind = _wind(at, "bare")
    bare = _shots(at, "bare", face)
    fletched = _shots(at, "fletched", face)
    if bare and fletched and st.button(word("rounds.keep_bare"), type="primary"):
        payload: dict[str, object] = {
            "distance_m": distance,
            "bare_m": bare,
            "fletched_m": fletched,
            "crosswind_m_s": wind,
        }
        # The clicks are let go only once they are kept: a logbook in use must not cost them.
        _keep(at, "bare shaft", payload, day, ("shots-bare", "shots-fletched"))


def _shots(at: AtHand, name: str, face_cm: float) -> list[list[float]]:
    """Take impacts by clicks on a drawn face; metres right and up of its middle."""
    word, key = at.word, at.key(f"shots-{name}")
    shots: list[list[float]] = st.session_state.setdefault(key, [])
    st.html(f"<h3>{escape(word(f'rounds.shots_{name}', count=len(shots)))}</h3>")
    count = int(
        st.number_input(
            word("rounds.shots_count"), 1, 12, 3, key=at.key(f"count-{name}"), width=200
        )
    )
    still = Still(frame=count, jpeg=face_picture(), width=FACE_PX, height=FACE_PX)
    picked = pick_points(
        at.key(f"pick-{name}"), still, points=count, send=word("rounds.shots_send"), word=word
    )
    if picked is not None:
        per_px = face_cm / 100.0 / (0.8 * FACE_PX)
        middle = (FACE_PX - 1) / 2
        st.session_state[key] = [
            [(x - middle) * per_px, (middle - y) * per_px]
            for x, y in zip(picked[::2], picked[1::2], strict=True)
        ]
        st.rerun()
    if shots:
        listed = ", ".join(f"({100 * x:+.1f}, {100 * y:+.1f})" for x, y in shots)
        st.write(word("rounds.shots_kept", listed=listed))
    return shots


@cache
def face_picture() -> bytes:
    """Draw a target face that takes 80 % of the picture, so that misses have room.

    Returns
    -------
    bytes
        JPEG, `FACE_PX` wide and high; ten equal zones, colours from white outside to gold inside.
    """
    picture = np.full((FACE_PX, FACE_PX, 3), 225, np.uint8)
    middle = FACE_PX // 2
    # Blue, green, red: white, black, blue, red, gold from the outside in (World Archery, std).
    colours = ((250, 250, 250), (40, 40, 40), (190, 120, 40), (50, 50, 200), (40, 190, 240))
    for zone in range(10):
        radius = round(0.4 * FACE_PX * (10 - zone) / 10)
        cv2.circle(picture, (middle, middle), radius, colours[zone // 2], -1, cv2.LINE_AA)
        edge = (200, 200, 200) if zone // 2 == 1 else (90, 90, 90)
        cv2.circle(picture, (middle, middle), radius, edge, 1, cv2.LINE_AA)
    _, data = cv2.imencode(".jpg", picture)
    return bytes(data)


def _powder(at: AtHand) -> None:
    word = at.word
    pairs = [(arrow, bow) for arrow in ARROW_PARTS for bow in BOW_PARTS]
    with st.form(at.key("powder"), border=False):
        marks = st.multiselect(
            word("rounds.powder_help"),
            pairs,
            format_func=lambda pair: word(
                "rounds.touch",
                arrow=word(f"rounds.touch_{pair[0].replace(' ', '_')}"),
                bow=word(f"rounds.touch_{pair[1]}"),
            ),
            key=at.key("powder-marks"),
        )
        clean = st.checkbox(word("rounds.powder_clean"), key=at.key("powder-clean"))
        day = day_field(word("rounds.day"), at.key("powder-day"))
        sent = st.form_submit_button(word("rounds.keep_powder"), type="primary")
    if sent and bool(marks) == clean:
        st.error(word("rounds.powder_which"))
    elif sent:
        _keep(at, "powder", {"marks": [list(pair) for pair in marks]}, day)


def _groups(at: AtHand) -> None:
    word = at.word
    with st.form(at.key("groups"), border=False):
        columns = st.columns(3)
        distance = columns[0].number_input(
            word("rounds.distance_m"), 3.0, 90.0, 18.0, key=at.key("group-distance")
        )
        arrows = columns[1].number_input(
            word("rounds.arrows"), 2, 144, 6, key=at.key("group-arrows")
        )
        diameter = columns[2].number_input(
            word("rounds.diameter_cm"), 0.5, 300.0, None, key=at.key("group-diameter")
        )
        score = columns[0].number_input(
            word("rounds.or_score"), 0.0, 1440.0, None, key=at.key("group-score")
        )
        face = columns[1].number_input(
            word("rounds.face_cm"), 20.0, 122.0, None, key=at.key("group-face")
        )
        wind = _wind(at, "group")
        day = day_field(word("rounds.day"), at.key("group-day"))
        sent = st.form_submit_button(word("rounds.keep_groups"), type="primary")
    payload: dict[str, object] = {
        "distance_m": distance,
        "crosswind_m_s": wind,
        "arrows": int(arrows),
    }
    if sent and diameter is not None and score is None:
        _keep(at, "groups", {**payload, "diameter_m": diameter / 100.0}, day)
    elif sent and diameter is None and score is not None and face is not None:
        _keep(at, "groups", {**payload, "score": score, "face_diameter_m": face / 100.0}, day)
    elif sent:
        st.error(word("rounds.group_what"))


def _eye(at: AtHand) -> None:
    word = at.word
    knowledge = load_knowledge(at.case.archer.hand, word.language)
    titles = {f.name: f.title for f in knowledge.findings.values() if f.kind == "eye"}
    with st.form(at.key("eye"), border=False):
        seen = st.multiselect(
            word("rounds.eye_help"),
            list(titles),
            format_func=lambda name: titles[name],
            key=at.key("eye-seen"),
        )
        groups = st.radio(
            word("rounds.eye_groups"),
            ("", "good", "poor"),
            format_func=lambda name: word(f"rounds.groups_{name or 'unsaid'}"),
            horizontal=True,
            key=at.key("eye-groups"),
        )
        day = day_field(word("rounds.day"), at.key("eye-day"))
        sent = st.form_submit_button(word("rounds.keep_eye"), type="primary")
    if sent and not (seen or groups):
        st.error(word("rounds.eye_nothing"))
    elif sent:
        _keep(at, "eye", {"seen": seen, "groups_judged": groups or None}, day)
