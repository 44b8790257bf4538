"""What a search found in the logbook, in the words of a page, with the way to it."""

from __future__ import annotations

import textwrap
from contextlib import suppress
from html import escape

from classify.knowledge import load_knowledge
from classify.logbook_search import Hit, Where
from classify.setup_sheet import fill_sheet, sheet_fields
from classify.types import Hand
from tracker.types import InputError, message
from ui.dash_words import Words
from ui.decided_words import reason_in
from ui.linked import page_link
from ui.sheet_words import sheet_text
from ui.words import catalogue, say

_MOST_LETTERS = 240
_SEEN_IN: dict[Where, str] = {
    "set-up": "sheet",
    "version": "sheet",
    "evidence": "seen",
    "decision": "next",
}
"""Part of the set-ups' page on which each kind of hit stands."""
_NAMED = ("notes", "reason", "note")
"""Parts besides the sheet's fields that would not be understood without their name."""


def said_part(name: str, text: str, hand: Hand | None, language: str) -> str:
    """Say what the logbook keeps, in the words of a page; what a person wrote stays.

    Parameters
    ----------
    name, text
        As `classify.logbook_search` names a part and gives its text.
    hand
        The archer's.
    language
        Two letters.

    Returns
    -------
    str
        In this language.

    Examples
    --------
    >>> said_part("nock_fit", "tight", None, "es"), said_part("arrow", "arrow 3", None, "es")
    ('apretado', 'flecha 3')
    """
    said = text
    match name:
        case "kind":
            said = _entry(f"rounds.kind_{'bare' if text == 'bare shaft' else text}", text, language)
        case "label":
            said = _entry(f"reading.label_{text}", text, language)
        case "arrow":
            said = say(message("book.arrow", arrow=text.removeprefix("arrow ")), language)
        case "seen":
            there = load_knowledge(hand, language).findings.get(text)
            said = text if there is None else there.title
        case "marks":
            said = _mark(text, language)
        case "reason" | "decided":
            said = reason_in(text, hand, language)
        case _ if name in sheet_fields():
            with suppress(InputError):
                said = sheet_text(fill_sheet({name: text}), name, language)
    return said


def _entry(key: str, instead: str, language: str) -> str:
    """Say an entry of the catalogue; kept words may come from anybody's file."""
    return say(message(key), language) if key in catalogue("en") else instead


def _mark(text: str, language: str) -> str:
    arrow, _, bow = text.rpartition(" ")
    part, place = (
        _entry(f"rounds.touch_{one.replace(' ', '_')}", one, language) for one in (arrow, bow)
    )
    return say(message("rounds.touch", arrow=part, bow=place), language)


def hit_html(hit: Hit, word: Words) -> str:
    """Write one hit: a link to where it stands, and what was found there.

    Parameters
    ----------
    hit
        From the search, its parts said by `said_part`.
    word
        The page's language.

    Returns
    -------
    str
        HTML, an item of a list.
    """
    place = " · ".join(part for part in (hit.archer, hit.setup, hit.dated) if part)
    part = _SEEN_IN.get(hit.where, "")
    link = page_link("rounds", place, word.language, archer=hit.archer, setup=hit.setup, part=part)
    where = word(f"book.where_{hit.where.replace('-', '_')}")
    # the name is the link already
    said = [_part(name, text, word) for name, text in hit.parts if name != "name"]
    found = f"{where}: {' · '.join(said)}" if said else where
    return f"<li><strong>{link}</strong> {escape(found)}</li>"


def _part(name: str, text: str, word: Words) -> str:
    short = textwrap.shorten(text, _MOST_LETTERS, placeholder=" …")
    if name in sheet_fields():
        return word("book.part", name=word(f"logbook.field_{name}"), text=short)
    if name in _NAMED:
        return word("book.part", name=word(f"book.part_{name}"), text=short)
    return short
