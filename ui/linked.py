"""A choice between a few things that stands in the address of the page, for links."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TypeVar

import streamlit as st
from streamlit.delta_generator import DeltaGenerator

Option = TypeVar("Option", bound=str)


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
    last = st.session_state.get(f"kept-{name}", options[0]) if kept else options[0]
    asked = st.query_params.get(name, last)
    start = next((option for option in options if option == asked), options[0])
    chosen = place.segmented_control(
        label,
        options,
        default=start,
        required=True,
        format_func=format_func,
        key=f"linked-{name}",
    )
    if chosen != st.query_params.get(name, options[0]):
        st.query_params[name] = chosen
    if kept:
        st.session_state[f"kept-{name}"] = chosen
    return chosen
