"""Choosing a clip: a demo clip, one of the coach's own, or a new one; kept in the address."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from pathlib import Path

import streamlit as st

from classify.clip_store import FILM_TYPES
from ui.command_open import UPLOAD_LIMIT_MB
from ui.dash_words import Words
from ui.demo_clips import DemoClip, demo_clips
from ui.entries import entering, show_trouble
from ui.known_form import known_texts
from ui.shelf import Shelf, data_folder, file_sha256

_DEMO = "demo-"
_OPEN = "open-clip"


@dataclass(frozen=True, kw_only=True)
class ChosenClip:
    """A clip to read.

    Attributes
    ----------
    token
        What stands for it in an address.
    path, sha256
        The film and the hash of its content.
    name
        For people.
    demo
        Set for a shipped clip.
    given
        What is known from the start, as texts: a demo's coach speaks for it.
    """

    token: str
    path: Path
    sha256: str
    name: str
    demo: DemoClip | None
    given: dict[str, str]


@st.cache_resource(show_spinner=False)
def the_shelf(folder: str) -> Shelf:
    """Give the coach's shelf.

    Parameters
    ----------
    folder
        Where it stands.

    Returns
    -------
    Shelf
        The same for all pages.
    """
    return Shelf(Path(folder))


def shelf() -> Shelf:
    """Give the shelf of the folder that is in use now.

    Returns
    -------
    Shelf
        For clips and notes.
    """
    return the_shelf(str(data_folder()))


@cache
def _demo_hash(path: str) -> str:
    return file_sha256(Path(path))


def demo_title(demo: DemoClip, word: Words) -> str:
    """Name a demo clip for people.

    Parameters
    ----------
    demo
        The clip.
    word
        The page's language.

    Returns
    -------
    str
        From the catalogue where it has a name for it, else the file's.
    """
    return word.title("demos", demo.name.replace("-", "_"), demo.name.replace("_", " "))


def clip_by_token(token: str, word: Words) -> ChosenClip | None:
    """Find the clip that an address names.

    Parameters
    ----------
    token
        ``demo-name`` or a hash.
    word
        The page's language.

    Returns
    -------
    ChosenClip or None
        None if there is no such clip.
    """
    if token.startswith(_DEMO):
        for demo in demo_clips():
            if demo.name == token.removeprefix(_DEMO):
                return _chosen_demo(demo, word)
        return None
    kept = shelf().clip(token)
    if kept is None:
        return None
    return ChosenClip(
        token=token, path=kept.path, sha256=kept.sha256, name=kept.name, demo=None, given={}
    )


def demo_tokens() -> list[str]:
    """List what stands for each demo clip in an address.

    Returns
    -------
    list of str
        In the order of the chooser.
    """
    return [_DEMO + demo.name for demo in demo_clips()]


def _chosen_demo(demo: DemoClip, word: Words) -> ChosenClip:
    return ChosenClip(
        token=_DEMO + demo.name,
        path=demo.path,
        sha256=_demo_hash(str(demo.path)),
        name=demo_title(demo, word),
        demo=demo,
        given=known_texts(demo.known),
    )


def choices(word: Words) -> dict[str, str]:
    """List every clip that can be chosen.

    Parameters
    ----------
    word
        The page's language.

    Returns
    -------
    dict
        Name for people by token: the coach's own first, then the demo clips.
    """
    own = {clip.sha256: clip.name for clip in shelf().clips()}
    demos = {
        _DEMO + demo.name: word("pages.demo_name", name=demo_title(demo, word))
        for demo in demo_clips()
    }
    return {**own, **demos}


def choose_clip(word: Words) -> ChosenClip | None:
    """Show the chooser and give the clip in use.

    Parameters
    ----------
    word
        The page's language.

    Returns
    -------
    ChosenClip or None
        None before anything was chosen.
    """
    token, chosen = _open_clip(word)
    named = choices(word)
    if chosen is not None:
        # one that was removed is still opened from the logbook
        named.setdefault(chosen.token, chosen.name)
    left, right = st.columns([1, 1])
    with left:
        picked = st.selectbox(
            word("pages.choose_clip"),
            list(named),
            index=list(named).index(chosen.token) if chosen else None,
            format_func=lambda key: named.get(key, key),
            placeholder=word("pages.choose_placeholder"),
            key=f"choose-{token}",
        )
    with right:
        _take_upload(word)
    if picked and picked != token:
        _go(picked)
    return chosen


def _open_clip(word: Words) -> tuple[str, ChosenClip | None]:
    """Give the clip of the address, else the one that was open before another page was visited."""
    token = st.query_params.get("clip", "")
    if not token:
        token = st.session_state.get(_OPEN, "")
        if f"choose-{token}" in st.session_state:
            # No other page was visited, which would have dropped the chooser: somebody went back.
            st.session_state.pop(_OPEN, None)
            return "", None
        chosen = clip_by_token(token, word) if token else None
        if chosen is None:
            return "", None
        st.query_params["clip"] = token
        return token, chosen
    chosen = clip_by_token(token, word)
    if chosen is None:
        st.warning(word("pages.clip_gone"))
    else:
        st.session_state[_OPEN] = token
    return token, chosen


def leave_clip() -> None:
    """Turn to no clip, as before one was chosen."""
    st.session_state.pop(_OPEN, None)
    st.query_params.pop("clip", None)


def _go(token: str) -> None:
    st.query_params["clip"] = token
    st.rerun()


def _take_upload(word: Words) -> None:
    """Take a new film."""
    key = f"upload-{st.session_state.setdefault('uploads', 0)}"
    st.file_uploader(
        word("pages.upload"),
        type=list(FILM_TYPES),
        key=key,
        max_upload_size=UPLOAD_LIMIT_MB,
        help=word("pages.upload_help"),
        on_change=entering("upload", lambda: _keep_film(key)),
    )
    show_trouble("upload", word)


def _keep_film(key: str) -> None:
    """Put a film on the shelf, in pieces, and turn to it."""
    given = st.session_state.get(key)
    if given is None:
        return
    kept = shelf().keep(given, given.name, most_bytes=UPLOAD_LIMIT_MB * 2**20)
    # A fresh uploader lets go of the copy in memory, and takes nothing twice.
    st.session_state["uploads"] += 1
    st.query_params["clip"] = kept.sha256
