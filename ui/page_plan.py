"""The filming plan: what a film would show, before it is made."""

from __future__ import annotations

from dataclasses import replace
from html import escape

import streamlit as st

from classify.nock_noise import MARKINGS
from classify.plan import best_standing, plan_filming
from classify.plan_types import (
    CameraSetting,
    FilmingPlan,
    Shot,
    Standing,
    StandingLimits,
    SwingPlan,
)
from tracker.types import InputError
from ui.command_plan import parse_picture
from ui.dash_words import Words, page_words
from ui.known_input import parse_capture_hz
from ui.linked import linked_choice
from ui.plan_words import plan_headline

_NEAREST_M, _FURTHEST_M = 2.0, 4.0
"""Behind the nock: the best place is sought where the README tells a coach to stand."""

_PICTURES = ("1920x1080", "1080x1920", "1280x720", "720x1280", "3840x2160")
_RATES = ("60", "120", "240", "480", "960")

_MARKINGS = ("bright", *(name for name in MARKINGS if name != "bright"))
"""What most nocks are comes first, which needs no place in the address."""

# Field: where it starts, step. The fields know no bounds: one that does keeps what is out of them
# to itself, so that the page would go on showing the plan of the numbers before. The plan says what
# is possible instead.
_NUMBERS = {
    "field_of_view_deg": (65.0, 1.0),
    "zoom": (2.0, 0.5),
    "behind_m": (2.0, 0.25),
    "offset_m": (0.4, 0.1),
    "distance_m": (18.0, 1.0),
    "nock_mm": (6.5, 0.5),
}


def show_plan() -> None:
    """Draw the page."""
    word = page_words()
    st.title(word("planning.title"))
    st.html(f'<p class="ts-note">{escape(word("planning.help"))}</p>')
    fields, answer = st.columns([1, 1])
    with fields:
        camera_texts, numbers, marking = _fields(word)
    with answer:
        try:
            _answer(camera_texts, numbers, marking, word)
        except InputError as mistake:
            st.error(word.safe(mistake.message))


def _fields(word: Words) -> tuple[tuple[str, str], dict[str, float], str]:
    columns = st.columns(2)
    rate = columns[0].selectbox(
        word("planning.frame_hz"),
        _RATES,
        index=2,
        accept_new_options=True,
        key="plan-frame_hz",
        bind="query-params",
    )
    picture = columns[1].selectbox(
        word("planning.picture"),
        _PICTURES,
        accept_new_options=True,
        key="plan-picture",
        bind="query-params",
    )
    numbers: dict[str, float] = {}
    for index, (name, (start, step)) in enumerate(_NUMBERS.items()):
        # A row at a time: a phone shows one column under the other, and must keep the order.
        columns = st.columns(2) if index % 2 == 0 else columns
        numbers[name] = columns[index % 2].number_input(
            word(f"planning.{name}"),
            value=start,
            step=step,
            format="%g",
            key=f"plan-{name}",
            bind="query-params",
            help=word("planning.field_help") if name == "field_of_view_deg" else None,
        )
    marking = linked_choice(
        st.container(),
        "plan-marking",
        word("planning.marking"),
        _MARKINGS,
        lambda name: word(f"planning.marking_{name}"),
        kept=True,
    )
    return (rate or "", picture or ""), numbers, marking


def _answer(texts: tuple[str, str], numbers: dict[str, float], marking: str, word: Words) -> None:
    width, height = parse_picture(texts[1])
    camera = CameraSetting(
        frame_hz=parse_capture_hz(texts[0]),
        width_px=width,
        height_px=height,
        field_of_view_deg=numbers["field_of_view_deg"],
        zoom=numbers["zoom"],
    )
    shot = Shot(
        distance_m=numbers["distance_m"],
        nock_diameter_m=numbers["nock_mm"] / 1000,
        marking=next(known for known in MARKINGS if known == marking),
    )
    standing = Standing(behind_m=numbers["behind_m"], offset_m=numbers["offset_m"])
    st.html(plan_html(plan_filming(camera, standing, shot), word))
    if st.button(word("planning.find"), key="plan-find"):
        side = -1.0 if standing.offset_m < 0 else 1.0
        limits = StandingLimits(
            nearest_m=_NEAREST_M,
            furthest_m=_FURTHEST_M,
            least_offset_m=min(0.3 * side, 0.8 * side),
            most_offset_m=max(0.3 * side, 0.8 * side),
        )
        best = best_standing(camera, shot, limits)
        found = word(
            "planning.found",
            behind_m=best.standing.behind_m,
            offset_m=best.standing.offset_m,
            nearest_m=_NEAREST_M,
            furthest_m=_FURTHEST_M,
        )
        st.html(f'<p class="ts-difference">{escape(found)}</p>')
        st.html(plan_html(replace(best, verdict=best.verdict[:2]), word))


def plan_html(plan: FilmingPlan, word: Words) -> str:
    """Write a plan as a card.

    Parameters
    ----------
    plan
        What the film would show.
    word
        The page's language.

    Returns
    -------
    str
        HTML.
    """
    kind = "refused" if plan.refused is not None else "clean"
    facts = word(
        "planning.facts",
        frames=plan.frames,
        flight_s=plan.flight_s,
        near_px=plan.nock_px[0],
        far_px=plan.nock_px[1],
    )
    bars = "".join(
        _bar(word(f"planning.bar_{name}"), swing, word)
        for name, swing in (("slow", plan.yaw), ("fast", plan.fast))
        if swing is not None
    )
    help_of_bars = escape(word("planning.bars_help"))
    explained = f'<p class="ts-note">{help_of_bars}</p>' if bars else ""
    sentences = "".join(f"<li>{escape(word.tell(text))}</li>" for text in plan.verdict)
    return (
        f'<section class="ts-card ts-{kind}"><h2>{escape(word.tell(plan_headline(plan)))}</h2>'
        f'<p class="ts-plain">{escape(facts)}</p><dl class="ts-meters">{bars}</dl>{explained}'
        f'<ul class="ts-reasons">{sentences}</ul></section>'
    )


def _bar(name: str, swing: SwingPlan, word: Words) -> str:
    """Show how much of what is wanted is left over: full when the smallest swing is nought."""
    share = max(0.0, min(1.0, 1.0 - swing.smallest_mm / (2.0 * swing.wanted_mm)))
    says = word("planning.bar_says", smallest_mm=swing.smallest_mm, wanted_mm=swing.wanted_mm)
    mark = "✓" if swing.enough else "✗"
    return (
        f'<div class="ts-planned"><dt>{mark} {escape(name)}</dt><dd>'
        f'<span class="ts-bar" aria-hidden="true"><span style="width:{100 * share:.0f}%">'
        f"</span></span><span>{escape(says)}</span></dd></div>"
    )
