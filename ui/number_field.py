"""Numbers typed into the forms for rounds: text goes in, a number or a fault comes out.

A browser's own field for numbers puts another one in the place of what it cannot read, and keeps
one that is out of its bounds to itself; either would lose what was typed without a word.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import streamlit as st
from streamlit.delta_generator import DeltaGenerator

from tracker.types import InputError
from ui.dash_words import Words
from ui.entries import none_wrong, typed_in
from ui.known_input import decimal

_LONGEST_SHOWN = 40


@dataclass(frozen=True, kw_only=True)
class NumberField:
    """One number of a form.

    Attributes
    ----------
    label
        Key of its words.
    lowest, highest
        Outside them a number is a slip of the finger.
    start
        What stands there at first; empty for a number that may be left out.
    whole
        Whether it counts something.
    """

    label: str
    lowest: float
    highest: float
    start: str = ""
    whole: bool = False

    def draw(
        self, where: DeltaGenerator, key: str, word: Words, *, persistent: bool = False
    ) -> None:
        """Ask for it.

        Parameters
        ----------
        where
            On the page.
        key
            Of the widget.
        word
            The page's language.
        persistent
            Whether it outlasts a visit to another page.
        """
        where.text_input(
            word(self.label),
            value=self.start,
            key=key,
            persist_state="session" if persistent else None,
        )

    def number(self, key: str, word: Words) -> float | None:
        """Give the number that stands there.

        Parameters
        ----------
        key
            Of the widget, as it was drawn.
        word
            The page's language, whose label the sentence uses.

        Returns
        -------
        float or None
            None where nothing was typed and nothing must be.

        Raises
        ------
        InputError
            If it is no number, one that cannot be, or missing.
        """
        text = typed_in(key) if key in st.session_state else self.start
        if not text and not self.start:
            return None
        try:
            value = decimal(text)
        except ValueError:
            value = math.nan
        if self.lowest <= value <= self.highest and (not self.whole or value == int(value)):
            return value
        raise InputError(
            "rounds.bad_count" if self.whole else "rounds.bad_number",
            field=word(self.label),
            found=text[:_LONGEST_SHOWN] or "–",
            lowest=self.lowest,
            highest=self.highest,
        )


def every_number(read: Sequence[Callable[[], float | None]]) -> list[float | None]:
    """Read several numbers, and tell of all that are wrong.

    Parameters
    ----------
    read
        Each gives one number, or raises `InputError`.

    Returns
    -------
    list
        Of the numbers.

    Raises
    ------
    InputError
        With a sentence for each that is wrong.
    """
    numbers, faults = [], []
    for one in read:
        try:
            numbers.append(one())
        except InputError as fault:
            faults.append(fault.message)
    none_wrong(faults)
    return numbers


DISTANCE_M = NumberField(label="rounds.distance_m", lowest=3, highest=90, start="18")
CROSSWIND_M_S = NumberField(label="rounds.crosswind", lowest=0, highest=20)
FACE_CM = NumberField(label="rounds.face_cm", lowest=20, highest=122, start="40")
GROUP_FACE_CM = NumberField(label="rounds.face_cm", lowest=20, highest=122)
ARROWS = NumberField(label="rounds.arrows", lowest=2, highest=144, start="6", whole=True)
DIAMETER_CM = NumberField(label="rounds.diameter_cm", lowest=0.5, highest=300)
SCORE = NumberField(label="rounds.or_score", lowest=0, highest=1440)
