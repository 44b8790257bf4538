"""One sheet for each disturbance: what it looks like, why, what to check; with a film."""

from __future__ import annotations

from html import escape

import streamlit as st

from classify.imagined import Imagined, imagine
from classify.knowledge import causes_for
from classify.types import Cause, Hand
from ui.clip_chooser import clip_by_token, shelf
from ui.corrections import told
from ui.curves import curves_of
from ui.dash_words import Words
from ui.demo_clips import demo_clips
from ui.lessons import LABELS
from ui.linked import linked_choice
from ui.page_read import kept_views, read_with_progress
from ui.teach_sandbox import show_imagined
from ui.verdict import label_icon
from ui.viewer import show_viewer

_PLAIN = {
    "fishtailing": Imagined(yaw_mm=20.0),
    "minnowing": Imagined(fast_mm=5.0),
    "porpoising": Imagined(pitch_mm=20.0),
    "clean": Imagined(),
}
_HANDS: tuple[Hand, ...] = ("right", "left")


def sheets(word: Words) -> None:
    """Draw the sheets.

    Parameters
    ----------
    word
        The page's language.
    """
    left, right = st.columns(2)
    label = linked_choice(
        left,
        "sheet",
        word("teach.sheet_choose"),
        LABELS,
        lambda name: word(f"reading.label_{name}"),
    )
    hand = right.segmented_control(
        word("teach.sheet_hand"),
        _HANDS,
        default="right",
        required=True,
        format_func=lambda name: word(f"pages.hand_{name}"),
        key="sheet-hand",
        persist_state="session",
    )
    text, film = st.columns([2, 3])
    text.html(_sheet_html(label, hand, word))
    with film:
        _film(label, word)


def _sheet_html(label: str, hand: Hand | None, word: Words) -> str:
    parts = [
        f'<section class="ts-card ts-{label}"><div class="ts-headline">{label_icon(label)}'
        f"<div><h2>{escape(word(f'reading.label_{label}'))}</h2></div></div>"
    ]
    for name in ("looks", "why"):
        parts.append(f"<h3>{escape(word(f'teach.sheet_{name}'))}</h3>")
        parts.append(f"<p>{escape(word(f'teach.{name}_{label}'))}</p>")
    parts.append(f"<h3>{escape(word('teach.sheet_check'))}</h3>")
    causes = () if label == "clean" else _checks(label, hand, word)
    if not causes:
        parts.append(f"<p>{escape(word('teach.no_checks'))}</p>")
    else:
        items = "".join(
            f"<li><strong>{escape(cause.title)}:</strong> {escape(cause.first_change)} "
            f"{_source_html(cause.source, word)}</li>"
            for cause in causes
        )
        parts.append(f'<ol class="ts-causes">{items}</ol>')
    return "".join([*parts, "</section>"])


def _checks(label: str, hand: Hand | None, word: Words) -> list[Cause]:
    """Order what to check: powder first, for a bare shaft tells nothing before it."""
    causes = causes_for({label: 1.0}, hand=hand, language=word.language)
    return sorted(causes, key=lambda cause: cause.name != "contact_unknown")


def _source_html(source: str, word: Words) -> str:
    return f'<span class="ts-source">{escape(word("pages.source", source=source))}</span>'


def _film(label: str, word: Words) -> None:
    """Show the demo clip of this label, or a drawn flight where no clip has it."""
    clip = next((demo for demo in demo_clips() if demo.name == label), None)
    chosen = None if clip is None else clip_by_token(f"demo-{clip.name}", word)
    if chosen is not None:
        said = told(shelf(), chosen.sha256, chosen.given)
        result = read_with_progress(chosen, said, word)
        curves = None if result is None else curves_of(result.reading)
        if result is not None and curves is not None:
            film = kept_views(chosen, result, word).film
            show_viewer(
                f"sheet-{label}",
                curves=(curves,),
                films=() if film is None else (film,),
                pictures=(),
                language=word.language,
            )
            return
    flight = _PLAIN[label]
    show_imagined(f"sheet-{label}", flight, imagine(flight), word, with_curves=False)
