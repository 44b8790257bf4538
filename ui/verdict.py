"""The verdict of a reading as the page shows it: label, chances, reasons, numbers, first change.

Everything here is text turned into HTML; every piece of text is escaped.
"""

from __future__ import annotations

from html import escape

from classify.label import disturbances_found
from classify.types import DISTURBANCES, Cause, ModeLine, Reading
from ui.dash_words import Words
from ui.reading_words import (
    basis_lines,
    expected_range_hz,
    found_words,
    frequency_words,
    headline_chance,
    label_word,
    percent_words,
    plain_words,
    swing_words,
    unseen_lines,
)

_COLUMNS = ("kind", "frequency", "expected", "swing", "damping")


def label_icon(label: str | None) -> str:
    """Draw the shape of a label: one for each, so that nobody needs colour.

    Parameters
    ----------
    label
        None for a refusal.

    Returns
    -------
    str
        HTML, hidden from screen readers since the word stands beside it.
    """
    return f'<span class="ts-icon ts-shape-{label or "none"}" aria-hidden="true"></span>'


def verdict_html(reading: Reading, word: Words) -> str:
    """Write the card with the label or the refusal.

    Parameters
    ----------
    reading
        What was read.
    word
        The page's language.

    Returns
    -------
    str
        HTML.
    """
    kind = "refused" if reading.refused is not None else reading.label or "none"
    label = found_words(reading.label, reading.presence, word.language)
    icons = "".join(
        label_icon(one)
        for one in disturbances_found(reading.label, reading.presence) or (reading.label,)
    )
    if reading.refused is not None:
        plain = word.tell(reading.refused)
        chances = ""
    else:
        plain = " ".join(f"{one.capitalize()}." for one in plain_words(reading, word.language))
        chances = _chances_html(reading, word)
    return (
        f'<section class="ts-card ts-{kind}" aria-label="{escape(word("pages.verdict"))}">'
        f'<div class="ts-headline">{icons}'
        f'<div><h2>{escape(label)}</h2><p class="ts-plain">{escape(plain)}</p></div>'
        f'<p class="ts-chance">{escape(headline_chance(reading, word.language))}</p></div>'
        f"{chances}{_clean_html(reading, word)}{_reasons_html(reading, word)}</section>"
    )


def _chances_html(reading: Reading, word: Words) -> str:
    rows = []
    for name in DISTURBANCES:
        share = float(reading.presence.get(name, 0.0))
        says = percent_words(share, word.language)
        rows.append(
            f'<div class="ts-meter"><dt>{escape(label_word(name, word.language))}</dt>'
            f'<dd><span class="ts-bar" aria-hidden="true">'
            f'<span style="width:{100 * share:.0f}%"></span></span>'
            f"<span>{escape(says)}</span></dd></div>"
        )
    title = escape(word("pages.chances"))
    return f'<dl class="ts-meters" aria-label="{title}">{"".join(rows)}</dl>'


def _clean_html(reading: Reading, word: Words) -> str:
    if reading.clean_below_mm is None:
        return ""
    across, up_down = reading.clean_below_mm
    limit = word("reading.clean_below", across=across, up_down=up_down)
    return f"<p>{escape(limit)}.</p>"


def _reasons_html(reading: Reading, word: Words) -> str:
    said = [word.tell(reason) for reason in (*reading.reasons, *reading.notes)]
    said[len(reading.reasons) : len(reading.reasons)] = [
        f"{text}." for text in unseen_lines(reading, word.language).values()
    ]
    items = "".join(f"<li>{escape(text)}</li>" for text in dict.fromkeys(said))
    return f'<ul class="ts-reasons">{items}</ul>' if items else ""


def basis_html(reading: Reading, word: Words) -> str:
    """Write the quiet line under the verdict: where its hertz and millimetres come from.

    Parameters
    ----------
    reading
        What was read, or why not.
    word
        The page's language.

    Returns
    -------
    str
        HTML.
    """
    said = " · ".join(escape(line) for line in basis_lines(reading, word.language))
    return f'<p class="ts-basis">{said}</p>'


def modes_html(reading: Reading, word: Words) -> str:
    """Write the table of swings with their numbers.

    Parameters
    ----------
    reading
        What was read.
    word
        The page's language.

    Returns
    -------
    str
        HTML; empty where no swing was found.
    """
    rows = [
        *(_mode_row(mode, word("reading.side_to_side"), word) for mode in reading.across),
        *(_mode_row(mode, word("reading.up_and_down"), word) for mode in reading.up_down),
    ]
    if not rows:
        return ""
    heads = "".join(
        f'<th scope="col">{escape(word(f"pages.table_{name}"))}</th>'
        for name in ("axis", *_COLUMNS)
    )
    return (
        f'<div class="ts-table" tabindex="0" role="region" '
        f'aria-label="{escape(word("pages.table"))}">'
        f"<table><caption>{escape(word('pages.table'))}</caption>"
        f"<thead><tr>{heads}</tr></thead><tbody>{''.join(rows)}</tbody></table></div>"
    )


def _mode_row(mode: ModeLine, axis: str, word: Words) -> str:
    expected = "–"
    if mode.expected_hz is not None:
        low, high = expected_range_hz(mode)
        expected = word("pages.table_range", low=low, high=high)
    cells = (
        word(f"reading.kind_short_{mode.kind}"),
        frequency_words(mode, word.language),
        expected,
        swing_words(mode, word.language),
        word("pages.table_damping_value", percent=100 * mode.damping_ratio),
    )
    # A phone shows a row as a small card, in which each cell brings its own heading.
    body = "".join(
        f'<td data-label="{escape(word(f"pages.table_{name}"))}">{escape(cell)}</td>'
        for name, cell in zip(_COLUMNS, cells, strict=True)
    )
    return f'<tr><th scope="row">{escape(axis)}</th>{body}</tr>'


def causes_html(causes: tuple[Cause, ...], word: Words) -> str:
    """Write the first thing to try, and the causes to think of after it.

    Parameters
    ----------
    causes
        Ordered.
    word
        The page's language.

    Returns
    -------
    str
        HTML; empty without causes.
    """
    if not causes:
        return ""
    first, *others = causes
    caution = "" if first.caution is None else f'<p class="ts-caution">{escape(first.caution)}</p>'
    rest = "".join(
        f"<li><details><summary>{escape(cause.title)}</summary>"
        f"<p>{escape(cause.why)}</p><p>{escape(cause.first_change)}</p></details></li>"
        for cause in others
    )
    more = ""
    if rest:
        more = f"<h3>{escape(word('pages.causes_next'))}</h3><ol class='ts-causes'>{rest}</ol>"
    return (
        f'<section class="ts-card ts-first"><h2>{escape(word("pages.causes_first"))}</h2>'
        f'<p class="ts-change">{escape(first.first_change)}</p>{caution}'
        f"<p><strong>{escape(first.title)}:</strong> {escape(first.why)} "
        f'<span class="ts-source">{escape(word("pages.source", source=first.source))}</span></p>'
        f"{more}</section>"
    )
