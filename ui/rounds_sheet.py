"""The set-up sheet on a page: what stands in it, what follows from it, and its next version."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from html import escape

import streamlit as st
from streamlit.delta_generator import DeltaGenerator

from classify.logbook import Version, change_setup
from classify.setup_sheet import (
    Field,
    SetUp,
    differences,
    fill_sheet,
    questions,
    sheet_fields,
    unit_choices,
)
from classify.setup_worked_out import worked_out
from classify.types import Hand
from tracker.types import InputError
from ui.dash_words import Words
from ui.decided_words import reason_in
from ui.entries import check_all, entering, show_trouble, typed_in
from ui.rounds_part import (
    AtHand,
    day_field,
    day_in,
    form_base,
    form_begins,
    form_changes,
    form_done,
)
from ui.sheet_words import sheet_text

_PARTS = ("bow", "string", "rest", "arrow")
_COLUMNS = 3


def sheet_part(at: AtHand) -> None:
    """Draw the sheet with its history and the form for its next version.

    Parameters
    ----------
    at
        The case.
    """
    newest = at.case.newest
    left, right = st.columns([3, 2])
    left.html(sheet_html(newest.sheet, at.word))
    with right:
        st.html(_worked_html(newest.sheet, at.word))
        st.html(_versions_html(at.case.versions, at.case.archer.hand, at.word))
    _change_form(at)


def sheet_html(sheet: SetUp, word: Words) -> str:
    """Write a sheet as it was typed, choices and units in the page's words.

    Parameters
    ----------
    sheet
        The sheet.
    word
        The page's language.

    Returns
    -------
    str
        HTML.
    """
    groups = []
    for part in _PARTS:
        lines = "".join(
            f"<div><dt>{escape(word(f'logbook.field_{name}'))}</dt>"
            f"<dd>{escape(sheet_text(sheet, name, word.language))}</dd></div>"
            for name, field in sheet_fields().items()
            if field.part == part and name in sheet.typed
        )
        if lines:
            groups.append(f"<h3>{escape(word(f'rounds.part_{part}'))}</h3><dl>{lines}</dl>")
    return f'<section class="ts-card ts-sheet">{"".join(groups)}</section>'


def _worked_html(sheet: SetUp, word: Words) -> str:
    lines = []
    for line in worked_out(sheet):
        name = escape(word(f"logbook.worked_{line.name}"))
        lines.append(f"<li><strong>{name}:</strong> {escape(word.tell(line.formula))}</li>")
        if line.question is not None:
            lines.append(f'<li class="ts-ask">{escape(word.tell(line.question))}</li>')
    lines += [
        f'<li class="ts-ask">{escape(word.tell(question))}</li>' for question in questions(sheet)
    ]
    title = escape(word("rounds.follows"))
    return f'<section class="ts-card"><h3>{title}</h3><ul>{"".join(lines)}</ul></section>'


def _versions_html(versions: tuple[Version, ...], hand: Hand | None, word: Words) -> str:
    items = []
    for index, version in reversed(list(enumerate(versions))):
        head = word(
            "logbook.version_head",
            number=version.number,
            dated=version.dated,
            reason=reason_in(version.reason, hand, word.language),
        )
        changed = ""
        if index:
            pair = versions[index - 1].sheet, version.sheet
            said = "; ".join(
                word("rounds.changed", field=word(f"logbook.field_{name}"), old=old, new=new)
                for name, old, new in _changes(*pair, word)
            )
            changed = f"<br>{escape(said)}"
        items.append(f"<li>{escape(head)}{changed}</li>")
    title = escape(word("rounds.versions"))
    return f'<section class="ts-card"><h3>{title}</h3><ul>{"".join(items)}</ul></section>'


def _changes(before: SetUp, after: SetUp, word: Words) -> Iterator[tuple[str, str, str]]:
    """Give each field that differs with what stood and stands there, in the page's words."""
    for name, _, _ in differences(before, after):
        old, new = (sheet_text(sheet, name, word.language) for sheet in (before, after))
        yield name, old, new


def _change_form(at: AtHand) -> None:
    word, own = at.word, at.key("change")
    form_begins(at, "change")
    with st.expander(word("rounds.change_title")), st.form(own, border=False):
        st.html(f'<p class="ts-note">{escape(word("rounds.change_help"))}</p>')
        sheet_inputs(own, at.case.newest.sheet, word)
        day_field(word("rounds.day"), at.key("change-day"))
        st.text_input(word("rounds.reason"), key=at.key("change-reason"))
        st.form_submit_button(
            word("rounds.change_send"),
            type="primary",
            on_click=entering(own, lambda: _change(at.anew()), once=True),
        )
    form_base(at, "change")
    show_trouble(own, word)


def _change(at: AtHand) -> None:
    changes = form_changes(at, "change", sheet_in(at.key("change")))
    if not changes:
        raise InputError("rounds.change_nothing")
    reason = typed_in(at.key("change-reason"))
    if not reason:
        raise InputError("rounds.reason_missing")
    day = day_in(at.key("change-day"))
    change_setup(at.book, at.case.newest, changes, dated=day, reason=reason)
    form_done(at, "change")


def sheet_inputs(
    key: str, sheet: SetUp | None, word: Words, *, filled: Mapping[str, str] | None = None
) -> None:
    """Ask for every field of a sheet; `sheet_in` gives what stands there.

    Parameters
    ----------
    key
        Of the form.
    sheet
        What to start from; None for an empty one.
    word
        The page's language.
    filled
        Texts that fields start from instead of what the sheet says.
    """
    begun = {**({} if sheet is None else sheet.typed), **(filled or {})}
    for part in _PARTS:
        st.html(f"<h3>{escape(word(f'rounds.part_{part}'))}</h3>")
        fields = [field for field in sheet_fields().values() if field.part == part]
        for start in range(0, len(fields), _COLUMNS):
            # A row at a time: a phone shows one column under the other, and must keep the order.
            row = zip(st.columns(_COLUMNS), fields[start : start + _COLUMNS], strict=False)
            for column, field in row:
                said = begun.get(field.name, "")
                _sheet_input(column, f"{key}-{field.name}", field, said, word)


def sheet_in(key: str) -> dict[str, str]:
    """Give what stands in the fields of a sheet.

    Parameters
    ----------
    key
        Of the form, as `sheet_inputs` had it.

    Returns
    -------
    dict
        Text by field; blank where nobody said.

    Raises
    ------
    InputError
        If any cannot be read; all of them are told of.
    """
    typed = {name: typed_in(f"{key}-{name}") for name in sheet_fields()}
    check_all(typed, fill_sheet)
    return typed


def _sheet_input(column: DeltaGenerator, key: str, field: Field, said: str, word: Words) -> None:
    label = word(f"logbook.field_{field.name}")
    if field.kind != "choice":
        units = ", ".join(unit_choices(field))
        column.text_input(label, value=said, placeholder=units, key=key)
        return
    choices = ["", *field.choices]
    column.selectbox(
        label,
        choices,
        index=choices.index(said) if said in choices else 0,
        format_func=lambda value: word.title("rounds", f"choice_{value}", value) or "–",
        key=key,
    )
