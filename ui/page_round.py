"""Many clips at once: a round is given together, read in a queue, and told in one table."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from html import escape

import streamlit as st

from classify.clip_store import FILM_TYPES, is_film_name, safe_name
from classify.several import Swing, who_swings
from classify.types import Reading
from tracker.types import InputError, Progress
from ui.clip_chooser import shelf
from ui.clip_queue import ClipQueue, QueuedClip
from ui.command_open import UPLOAD_LIMIT_MB
from ui.corrections import told
from ui.dash_words import Words, page_words
from ui.entries import check_all, entering, show_trouble
from ui.known_form import known_form
from ui.known_input import parse_known
from ui.leading_swing import leading_swing, swings_found
from ui.linked import page_link
from ui.progress_line import stage_words
from ui.reading_store import kept_reading
from ui.reading_words import (
    found_words,
    frequency_words,
    headline_chance,
    label_word,
    listed,
    swing_words,
)

_KNOWN = "known-round"
_READ = ("read", "sure", "frequency", "swing")
_COLUMNS = ("state", *_READ)
_BUSY_S, _REST_S = 1.0, 5.0
"""How often the table looks at the queue."""


def read_queued(clip: QueuedClip, progress: Progress) -> Reading:
    """Read a clip of the queue, or take the reading that was made before.

    Parameters
    ----------
    clip
        With what is said about it.
    progress
        To report to.

    Returns
    -------
    Reading
        Kept for the clip's own page too.

    Raises
    ------
    InputError
        If the clip or what is said about it is no good.
    """
    known = parse_known(clip.said)
    return kept_reading(clip.path, clip.sha256, known, lambda: progress).reading


@st.cache_resource(show_spinner=False)
def the_queue() -> ClipQueue:
    """Give the queue of this computer.

    Returns
    -------
    ClipQueue
        The same for all browser tabs.
    """
    return ClipQueue(read_queued)


def show_round() -> None:
    """Draw the page."""
    word = page_words()
    st.title(word("round.title"))
    st.html(f'<p class="ts-note">{escape(word("round.help"))}</p>')
    empty = not the_queue().clips()
    with st.expander(word("round.known"), expanded=empty):
        known_form(
            _KNOWN,
            the_queue().said(),
            word,
            keep=_keep_said,
            # Before any clip is there, there is nothing to read again.
            send=word("round.known_keep") if empty else "",
        )
    show_trouble(_KNOWN, word)
    _take_films(word)
    _read_corrected()
    _table(word)


def _keep_said(typed: dict[str, str]) -> None:
    check_all(typed, parse_known)
    queue = the_queue()
    clips = [clip.sha256 for clip in queue.clips() if clip.sha256]
    changed = _changed(queue.said(), typed)
    for sha256 in clips:
        _note(sha256, changed)
    queue.say(typed)
    for sha256 in clips:
        _enqueue(sha256)


def _changed(before: Mapping[str, str], typed: Mapping[str, str]) -> dict[str, str]:
    """Tell what the form says about each clip: a blank only where it takes something back."""
    return {name: text for name, text in typed.items() if text or before.get(name)}


def _note(sha256: str, said: Mapping[str, str]) -> None:
    """Keep what is known with the clip, where its own page keeps it, beside what was said there."""
    before = dict(shelf().last(sha256, "known") or {})
    after = {**before, **said}
    if after != before:
        shelf().note(sha256, "known", after)


def _take_films(word: Words) -> None:
    """Take films."""
    key = f"round-upload-{st.session_state.setdefault('round-uploads', 0)}"
    st.file_uploader(
        word("round.upload"),
        accept_multiple_files=True,
        key=key,
        max_upload_size=UPLOAD_LIMIT_MB,
        on_change=entering("round-uploads", lambda: _keep_films(key)),
    )
    show_trouble("round-uploads", word)


def _keep_films(key: str) -> None:
    """Keep what was given, once; a file that cannot be used becomes a row that says why."""
    given = st.session_state.get(key)
    if not given:
        return
    for film in given:
        try:
            if not is_film_name(film.name):
                raise InputError("round.no_film", kinds=", ".join(FILM_TYPES))
            kept = shelf().keep(film, film.name, most_bytes=UPLOAD_LIMIT_MB * 2**20)
            _note(kept.sha256, _changed({}, the_queue().said()))
        except InputError as mistake:
            the_queue().refuse(safe_name(film.name), mistake.message)
        else:
            _enqueue(kept.sha256)
    # A fresh uploader lets go of the copies in memory, and nothing is taken from it twice.
    st.session_state["round-uploads"] += 1


def _enqueue(sha256: str) -> None:
    """Queue a clip with what is kept about it."""
    kept = shelf().clip(sha256)
    if kept is None:
        return
    said = told(shelf(), sha256, {})
    the_queue().add(
        QueuedClip(token=sha256, name=kept.name, path=kept.path, sha256=sha256, said=said)
    )


def _read_corrected() -> None:
    """Read again what was corrected on a clip's own page since: the table must say the same."""
    for clip in the_queue().clips():
        settled = clip.sha256 and clip.state in ("done", "failed")
        if settled and told(shelf(), clip.sha256, {}) != dict(clip.said):
            _enqueue(clip.sha256)


def _table(word: Words) -> None:
    busy = the_queue().busy()
    # At rest too: the queue is one for all tabs, and another one may have put something there.
    st.fragment(_live_table, run_every=_BUSY_S if busy else _REST_S)(word, busy)


def _live_table(word: Words, busy: bool) -> None:
    """Draw the table again and again, and the whole page when work begins or ends."""
    _draw_table(word)
    if the_queue().busy() != busy:
        st.rerun()


def _draw_table(word: Words) -> None:
    queue = the_queue()
    clips = queue.clips()
    if not clips:
        return
    done = sum(clip.state not in ("waiting", "reading") for clip in clips)
    st.progress(done / len(clips), text=progress_words(clips, word))
    columns = st.columns([1, 1, 4])
    if columns[0].button(word("round.cancel"), disabled=not queue.busy(), key="round-cancel"):
        queue.cancel()
        st.rerun()
    if columns[1].button(word("round.clear"), disabled=queue.busy(), key="round-clear"):
        queue.clear()
        st.rerun()
    st.html(table_html(clips, word))
    together = together_words(clips, word)
    if together:
        st.html(f'<p class="ts-difference">{escape(together)}</p>')


def progress_words(clips: list[QueuedClip], word: Words) -> str:
    """Say how far a round is; what was cancelled was not done.

    Parameters
    ----------
    clips
        In the queue.
    word
        The page's language.

    Returns
    -------
    str
        Not escaped.
    """
    states = Counter(clip.state for clip in clips)
    cancelled = states["cancelled"]
    done = len(clips) - cancelled - states["waiting"] - states["reading"]
    text = word("round.progress", done=done, count=len(clips))
    return text + word("round.progress_cancelled", count=cancelled) if cancelled else text


def table_html(clips: list[QueuedClip], word: Words) -> str:
    """Write the table of a round.

    Parameters
    ----------
    clips
        In the queue.
    word
        The page's language.

    Returns
    -------
    str
        HTML; each name links to the clip's own page.
    """
    heads = "".join(
        f'<th scope="col">{escape(word(f"round.head_{name}"))}</th>' for name in ("clip", *_COLUMNS)
    )
    rows = "".join(_row(clip, word) for clip in clips)
    title = escape(word("round.table"))
    return (
        f'<div class="ts-table" tabindex="0" role="region" aria-label="{title}"><table>'
        f"<caption>{title}</caption><thead><tr>{heads}</tr></thead><tbody>{rows}</tbody></table></div>"
    )


def _row(clip: QueuedClip, word: Words) -> str:
    reading, why = clip.reading, clip.problem
    if why is None and reading is not None:
        why = reading.refused
    if why is not None:
        # Across all columns of what was read: in one it would push the numbers out of sight.
        said = _cell("read", word.tell(why), word, f'class="ts-sentence" colspan="{len(_READ)}"')
    else:
        cells = ("",) * len(_READ) if reading is None else _cells(reading, word)
        said = "".join(_cell(name, text, word) for name, text in zip(_READ, cells, strict=True))
    link = escape(clip.name)
    if clip.sha256:  # a file that could not be kept has no page
        link = page_link("", clip.name, word.language, clip=clip.token)
    state = _cell("state", _state(clip, word), word)
    return f'<tr><th scope="row">{link}</th>{state}{said}</tr>'


def _cell(name: str, text: str, word: Words, how: str = 'class="ts-wraps"') -> str:
    label = escape(word(f"round.head_{name}"))
    return f'<td {how} data-label="{label}">{escape(text) or "–"}</td>'


def _cells(reading: Reading, word: Words) -> tuple[str, ...]:
    swings = [swing for swing in swings_found(reading) if swing is not None]
    frequencies = [frequency_words(swing, word.language) for swing in swings]
    widths = [swing_words(swing, word.language) for swing in swings]
    label = found_words(reading.label, reading.presence, word.language)
    others = [word.tell(note) for note in reading.notes if note.key == "label.one_of_flights"]
    return (
        ". ".join([label, *others]),
        headline_chance(reading, word.language),
        listed([_unbroken(text) for text in frequencies], word.language),
        listed([_unbroken(text) for text in widths], word.language),
    )


def _unbroken(text: str) -> str:
    """Keep a number with its error and its unit on one line."""
    return text.replace(" ", "\N{NO-BREAK SPACE}")


def _state(clip: QueuedClip, word: Words) -> str:
    if clip.state == "reading" and clip.stage:
        stage = stage_words(clip.stage, word.language)
        return word("round.state_stage", stage=stage, percent=100 * clip.share)
    if clip.reading is not None and clip.reading.refused is not None:
        return word("round.state_refused")
    return word(f"round.state_{clip.state}")


def together_words(clips: list[QueuedClip], word: Words) -> str:
    """Say what the flights of the commonest label tell together.

    Parameters
    ----------
    clips
        In the queue.
    word
        The page's language.

    Returns
    -------
    str
        Empty for fewer than two flights of one label.
    """
    readings = [clip.reading for clip in clips if clip.reading is not None]
    labels = [str(reading.label) for reading in readings if reading.label not in (None, "clean")]
    if not labels:
        return ""
    label = max(sorted(set(labels)), key=labels.count)
    swings = []
    for reading in readings:
        # A fast swing and a slow one have no mean, though both go from side to side.
        line = leading_swing(reading) if reading.label == label else None
        if line is not None and line.swing_mm and line.swing_sigma_mm:
            swings.append(Swing(value=line.swing_mm, sigma=line.swing_sigma_mm))
    if len(swings) < 2:
        return ""
    found = who_swings(swings)
    first = word(
        f"round.maker_{found.maker.replace(' ', '_')}",
        label=label_word(label, word.language),
        count=len(swings),
        mean=found.mean,
        sigma=found.sigma,
    )
    return " ".join([first, *(word.tell(note) for note in found.notes)])
