"""Links between the pages, and choices that stand in the address of a page for them."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from html import escape
from typing import TypeVar
from urllib.parse import urlencode

import streamlit as st
from streamlit.delta_generator import DeltaGenerator

Option = TypeVar("Option", bound=str)


def page_link(page: str, text: str, language: str, **query: str) -> str:
    """Write a link to a page of the dashboard, which opens in the language of this one.

    Parameters
    ----------
    page
        Its path; "" is the page on which a clip is read.
    text
        What the link says.
    language
        Two letters.
    **query
        What else its address names; empty texts are left out.

    Returns
    -------
    str
        HTML.

    Examples
    --------
    >>> page_link("rounds", "Jo & Al", "es", archer="Jo & Al")
    '<a href="/rounds?archer=Jo+%26+Al&amp;language=es" target="_self">Jo &amp; Al</a>'
    """
    said = {name: value for name, value in query.items() if value}
    address = f"/{page}?{urlencode({**said, 'language': language})}"
    return f'<a href="{escape(address)}" target="_self">{escape(text)}</a>'


def linked_choice(
    place: DeltaGenerator,
    name: str,
    label: str,
    options: Sequence[Option],
    format_func: Callable[[str], str],
    *,
    kept: bool = False,
) -> Option:
    """Show a choice that follows the address, and writes itself there.

    Parameters
    ----------
    place
        Where to show it.
    name
        Of the query parameter.
    label
        What is chosen.
    options
        The first is the one without a parameter.
    format_func
        Names an option.
    kept
        Whether it outlasts a visit to another page, which takes it out of the address.

    Returns
    -------
    Option
        What is chosen.
    """
    asked, key = asked_for_in_address(name, options[0], key=f"linked-{name}", kept=kept)
    start = next((option for option in options if option == asked), options[0])
    chosen = place.segmented_control(
        label,
        options,
        default=start,
        required=True,
        format_func=format_func,
        key=key,
    )
    if chosen != st.query_params.get(name, options[0]):
        st.query_params[name] = chosen
    st.session_state[f"address-{name}"] = chosen
    st.session_state[f"kept-{name}"] = chosen
    return chosen


def asked_for_in_address(name: str, default: str, *, key: str, kept: bool) -> tuple[str, str]:
    """Tell what a choice has to show, which follows the address when somebody goes back.

    Whoever shows the choice writes what it is then to ``address-name`` and ``kept-name`` of the
    session.

    Parameters
    ----------
    name
        Of the query parameter.
    default
        What an address without it means.
    key
        Of the widget.
    kept
        Whether the choice outlasts a visit to another page, which takes it out of the address.

    Returns
    -------
    tuple of str
        What is asked for, and the widget's key, which is another one after somebody went back: the
        browser keeps a widget's value as long as its key.
    """
    turn = st.session_state.get(f"turn-{name}", 0)
    # Another page would have dropped the widget.
    stays = (f"{key}-{turn}" if turn else key) in st.session_state
    instead = st.session_state.get(f"kept-{name}", default) if kept and not stays else default
    asked = st.query_params.get(name, instead)
    if stays and asked != st.session_state.get(f"address-{name}", asked):
        turn += 1
        st.session_state[f"turn-{name}"] = turn
    return asked, f"{key}-{turn}" if turn else key


def linked_name(
    name: str,
    label: str,
    names: Sequence[str],
    *,
    key: str,
    owner: str = "",
    along: Callable[[str], Mapping[str, str | None]] = lambda _: {},
) -> str | None:
    """Show a choice between things that people named; it follows the address, and is remembered.

    Parameters
    ----------
    name
        Of the query parameter.
    label
        What is chosen.
    names
        To choose from; the first is the one of a first visit.
    key
        Of the widget.
    owner
        Whose names they are, where each has their own.
    along
        Gives the other parameters that change with a choice; in one step with it, since a step of
        its own would bring whoever goes back to where the page puts it again.

    Returns
    -------
    str or None
        What is chosen; None if the address names what is not there.
    """
    asked, seen = st.query_params.get(name), f"address-{name}{owner}"
    if asked is not None and st.session_state.setdefault(seen, asked) != asked:
        # somebody went back, or followed a link: what was chosen before stands no more
        turn_to(name, asked, owner=owner)
    wanted = asked or remembered_name(name, names, owner=owner)
    turn = st.session_state.get(f"turn-{name}{owner}", 0)
    chosen = st.selectbox(
        label,
        names,
        index=names.index(wanted) if wanted in names else None,
        # the browser keeps a widget's value as long as its key: another key begins anew
        key=f"{key}-{turn}" if turn else key,
    )
    if chosen is not None:
        if chosen != asked:
            # where the address names none, what else it says is meant for the first
            others = {
                other: text
                for other, text in along(chosen).items()
                if asked is not None or other not in st.query_params
            }
            readdress({**others, name: chosen})
        st.session_state[seen] = chosen
        st.session_state[f"kept-{name}{owner}"] = chosen
    return chosen


def readdress(named: Mapping[str, str | None]) -> None:
    """Change several parts of the page's address, in one step if nothing is taken out of it.

    Parameters
    ----------
    named
        Text by query parameter; None for one that means nothing any more.
    """
    # what is taken out makes a step of its own, and comes first: there the page puts nothing back
    for name, text in named.items():
        if text is None:
            st.query_params.pop(name, None)
    st.query_params.update({name: text for name, text in named.items() if text is not None})


def remembered_name(name: str, names: Sequence[str], *, owner: str = "") -> str | None:
    """Give what `linked_name` will choose where the address says nothing.

    Parameters
    ----------
    name, owner
        As `linked_name` has them.
    names
        To choose from.

    Returns
    -------
    str or None
        What was chosen last, else the first; None if there is nothing to choose.
    """
    kept: str | None = st.session_state.get(f"kept-{name}{owner}")
    return kept if kept in names else next(iter(names), None)


def turn_to(name: str, value: str | None, *, owner: str = "") -> None:
    """Choose something by the program, as if the address had named it.

    Parameters
    ----------
    name, owner
        As `linked_name` has them.
    value
        What is chosen from the next run of the page on; None for nothing in particular.
    """
    if value is None:
        st.query_params.pop(name, None)
        st.session_state.pop(f"kept-{name}{owner}", None)
    else:
        st.query_params[name] = value
        st.session_state[f"address-{name}{owner}"] = value
    st.session_state[f"turn-{name}{owner}"] = st.session_state.get(f"turn-{name}{owner}", 0) + 1
