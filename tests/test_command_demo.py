"""What the demo's table calls right: the disturbances that are there, whichever of them leads."""

from __future__ import annotations

from dataclasses import replace

import pytest

from classify.types import DISTURBANCES, Disturbance, Label
from tests.made_readings import made_reading, made_refusal
from ui.command_demo import demo_row
from ui.demo_clips import DemoClip, demo_clips


def clip(name: str) -> DemoClip:
    """Give the demo of a name."""
    return next(one for one in demo_clips() if one.name == name)


@pytest.mark.parametrize(
    ("name", "label", "there", "right"),
    [
        ("two_at_once", "minnowing", ("fishtailing", "minnowing"), True),
        ("two_at_once", "fishtailing", ("fishtailing", "minnowing"), True),
        ("two_at_once", "minnowing", ("minnowing",), False),
        ("two_at_once", "fishtailing", ("fishtailing", "porpoising"), False),
        ("fishtailing", "fishtailing", ("fishtailing",), True),
        ("fishtailing", "fishtailing", ("fishtailing", "porpoising"), False),
        ("clean", "clean", (), True),
        ("clean", "porpoising", ("porpoising",), False),
        ("clean", None, (), False),
        ("normal_speed", "clean", (), False),
    ],
)
def test_a_reading_is_right_with_the_disturbances_that_are_there(
    name: str, label: Label | None, there: tuple[Disturbance, ...], right: bool
) -> None:
    """One too few, one too many, a circling tail or a label where there must be none are wrong."""
    presence = {one: 0.95 if one in there else 0.02 for one in DISTURBANCES}
    reading = replace(made_reading(), label=label, presence=presence)
    assert demo_row(clip(name), reading, 1.0, "en").right is right


def test_a_refusal_is_right_where_it_must_be() -> None:
    """The clip of ordinary speed must be refused, no other may be."""
    told = [demo_row(one, made_refusal(), 1.0, "en").right for one in demo_clips()]
    assert told == [one.label is None for one in demo_clips()]


def test_all_that_is_there_is_named() -> None:
    """What leads comes first, in the truth as in the reading."""
    presence = {"fishtailing": 0.9, "minnowing": 0.9, "porpoising": 0.1}
    reading = replace(made_reading(), label="fishtailing", presence=presence)
    row = demo_row(clip("two_at_once"), reading, 1.0, "en")
    assert (row.is_, row.read) == ("Minnowing, Fishtailing", "Fishtailing, Minnowing")
    assert "(3.80)" in row.frequency
