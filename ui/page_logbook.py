"""The logbook page: search, what was deleted last, export, import and backup."""

from __future__ import annotations

import tempfile
from html import escape
from pathlib import Path

import streamlit as st

from classify.exchange import Exchanged, export_zip, import_zip
from classify.logbook import archers, setups
from classify.logbook_file import LogbookFile
from classify.logbook_search import search
from classify.logbook_undo import Deletable, undo_delete
from tracker.types import InputError, Message, message
from ui.command_open import UPLOAD_LIMIT_MB
from ui.dash_words import Words, page_words
from ui.entries import entering, show_trouble
from ui.found_words import hit_html, said_part
from ui.linked import page_link
from ui.rounds_part import attempt, book_anew, open_book
from ui.shelf import PIECE_BYTES, data_folder

_UNDONE, _UNPACKED = "logbook-undone", "logbook-unpacked"


def show_logbook() -> None:
    """Draw the page."""
    word = page_words()
    st.title(word("book.title"))
    try:
        book = open_book(word)
        _archers(book, word)
        _search(book, word)
    except InputError as mistake:
        st.error(word.safe(mistake.message))
        return
    left, right = st.columns(2)
    with left:
        _out(book, word)
    with right:
        _in(word)


def _archers(book: LogbookFile, word: Words) -> None:
    known = archers(book)
    if not known:
        st.html(f'<p class="ts-hello">{escape(word("book.empty"))}</p>')
        return
    rows = "".join(
        f'<tr><th scope="row">'
        f"{page_link('rounds', archer.name, word.language, archer=archer.name)}</th>"
        f'<td data-label="{escape(word("book.head_hand"))}">'
        f"{escape(word('pages.hand_' + (archer.hand or 'unknown')))}</td>"
        f'<td data-label="{escape(word("book.head_setups"))}">'
        f"{escape(', '.join(bow.name for bow in setups(book, archer))) or '–'}</td></tr>"
        for archer in known
    )
    heads = "".join(
        f'<th scope="col">{escape(word(f"book.head_{name}"))}</th>'
        for name in ("archer", "hand", "setups")
    )
    title = escape(word("book.archers"))
    st.html(
        f'<div class="ts-table" tabindex="0" role="region" aria-label="{title}"><table>'
        f"<caption>{title}</caption><thead><tr>{heads}</tr></thead><tbody>{rows}</tbody></table></div>"
    )


def _search(book: LogbookFile, word: Words) -> None:
    words = st.text_input(word("book.search"), key="find", bind="query-params")
    if not words.strip():
        return
    hits = search(book, words, lambda name, text, hand: said_part(name, text, hand, word.language))
    if not hits:
        st.write(word("book.search_none"))
        return
    items = "".join(hit_html(hit, word) for hit in hits)
    st.html(f"<ul class='ts-history'>{items}</ul>")


def _out(book: LogbookFile, word: Words) -> None:
    st.subheader(word("book.keep_safe"), anchor=False)
    st.button(word("book.undo"), key="undo", on_click=entering(_UNDONE, _undo, once=True))
    undone: Deletable | None = st.session_state.pop(_UNDONE, None)
    if undone is not None:
        st.success(word(f"book.undone_{undone}"))
    show_trouble(_UNDONE, word)
    if st.button(word("book.export"), key="export"):
        with tempfile.TemporaryDirectory() as folder:
            path = Path(folder) / "tailsway-logbook.zip"
            if attempt(word, lambda: export_zip(book, path)):
                st.session_state["exported"] = path.read_bytes()
    made = st.session_state.get("exported")
    if made is not None:
        st.download_button(
            word("book.export_save"),
            made,
            "tailsway-logbook.zip",
            "application/zip",
            key="export-save",
        )
    kept = word("book.where_kept", path=str(data_folder()))
    st.html(f'<p class="ts-note">{escape(kept)}</p>')


def _undo() -> None:
    table, _ = undo_delete(book_anew())
    st.session_state[_UNDONE] = table


def _in(word: Words) -> None:
    st.subheader(word("book.import_title"), anchor=False)
    given = st.file_uploader(
        word("book.import_file"), type=["zip"], key="import", max_upload_size=UPLOAD_LIMIT_MB
    )
    if given is not None:
        st.button(
            word("book.import_send"),
            key="import-send",
            on_click=entering(_UNPACKED, _unpack, once=True),
        )
    done: Exchanged | None = st.session_state.pop(_UNPACKED, None)
    if done is not None:
        rows = sum(done.rows.values())
        if not rows and not done.clips:
            st.info(word("book.nothing_new"))
        else:
            st.success(word("logbook.imported", rows=rows, clips=done.clips))
    show_trouble(_UNPACKED, word)


def _unpack() -> None:
    given = st.session_state["import"]
    given.seek(0)
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "given.zip"
        with path.open("wb") as copy:
            while piece := given.read(PIECE_BYTES):
                copy.write(piece)
        try:
            st.session_state[_UNPACKED] = import_zip(book_anew(), path)
        except InputError as mistake:
            said = named_as_given(mistake.message, path, given.name)
            raise InputError(said.key, **said.values) from None


def named_as_given(sentence: Message, path: Path, name: str) -> Message:
    """Say what is wrong with a file under the name that its owner knows, without a machine's words.

    Parameters
    ----------
    sentence
        What the import said.
    path
        The copy that it read.
    name
        Of the file that was given.

    Returns
    -------
    Message
        In which the copy does not appear.
    """
    if sentence.key == "logbook.no_zip":
        return message("book.not_packed", name=name)
    return message(
        sentence.key,
        **{
            key: value.replace(str(path), name) if isinstance(value, str) else value
            for key, value in sentence.values.items()
        },
    )
