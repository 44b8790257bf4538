"""The dashboard's frame: pages, language, look and cautions; started by `tailsway open`."""

from __future__ import annotations

import logging
from html import escape

import streamlit as st

from classify.apart import warm_up
from tracker.types import InputError
from ui.dash_words import Words, page_words
from ui.menu import mind_menu
from ui.page_beside import show_beside
from ui.page_logbook import show_logbook
from ui.page_phone import show_phone
from ui.page_plan import show_plan
from ui.page_read import show_read
from ui.page_round import show_round
from ui.page_rounds import show_rounds
from ui.page_style import put_style
from ui.page_teach import show_teach
from ui.words import LANGUAGES

_LOG = logging.getLogger("tailsway.dashboard")


def run() -> None:
    """Draw the page that the address names."""
    word = page_words()
    st.set_page_config(page_title=word("pages.title"), page_icon="🏹", layout="wide")
    put_style(word)
    mind_menu(word)
    _stand_ready()
    page = st.navigation(_pages(word), position="top")
    try:
        page.run()
    except InputError as mistake:
        st.error(word.safe(mistake.message))
    except Exception:  # the coach gets a sentence, the terminal the whole story
        _LOG.exception("a page failed")
        st.error(word("pages.mistake"))
    _foot(word)


@st.cache_resource(show_spinner=False)
def _stand_ready() -> None:
    """Let a process load what reading a film takes, once, while the first page is looked at."""
    warm_up()


def _pages(word: Words) -> list[st.Page]:
    return [
        st.Page(show_read, title=word("pages.nav_read"), default=True),
        st.Page(show_rounds, title=word("rounds.nav"), url_path="rounds"),
        st.Page(show_beside, title=word("pages.nav_beside"), url_path="beside"),
        st.Page(show_teach, title=word("teach.nav"), url_path="teach"),
        st.Page(show_round, title=word("round.nav"), url_path="round"),
        st.Page(show_phone, title=word("phone.nav"), url_path="phone"),
        st.Page(show_plan, title=word("planning.nav"), url_path="plan"),
        st.Page(show_logbook, title=word("book.nav"), url_path="logbook"),
    ]


def _foot(word: Words) -> None:
    st.html(
        f'<footer class="ts-foot"><strong>{escape(word("pages.caution_title"))}</strong> '
        f"{escape(word('pages.caution'))}</footer>"
    )
    chosen = st.selectbox(
        word("pages.language"),
        list(LANGUAGES),
        index=list(LANGUAGES).index(word.language),
        format_func=lambda code: LANGUAGES[code],
        key="language",
        persist_state="session",
        width=220,
    )
    if chosen != st.query_params.get("language", "en"):
        st.query_params["language"] = chosen


if __name__ == "__main__":
    run()
