"""A small run of the evaluation; the large one's table is in README."""

from __future__ import annotations

import re
from collections.abc import Mapping

from classify.types import DISTURBANCES, Disturbance
from fixtures.evaluate import Outcome, evaluate, table


def test_clear_simulated_flights_are_read_right():
    """Of twelve clear flights at most one is refused or wrong, and none is wrong and sure."""
    outcomes = evaluate("clear", seed=11, flights=12, tracks=True, say="all", jobs=1)
    assert sum(one.right for one in outcomes) >= 11
    assert any("more than 0.9 sure: 0" in line for line in table(outcomes))


def outcome(seed: int, true: str, read: str, chances: tuple[float, float, float]) -> Outcome:
    """Make up one flight that was read; chances in the order of `DISTURBANCES`."""
    there = true.split("+")
    presence: Mapping[Disturbance, tuple[float, bool]] = {
        name: (p, name in there) for name, p in zip(DISTURBANCES, chances, strict=True)
    }
    return Outcome(
        seed=seed, true=true, read=read, presence=presence, right=read in there, refused=None,
        errors=(),
    )  # fmt: skip


def test_a_wrong_label_counts_as_sure_by_its_own_chance():
    """Another one's chance is not that of the label; what is made up beside it counts too."""
    assert DISTURBANCES == ("fishtailing", "minnowing", "porpoising")
    lines = table(
        [
            outcome(1, "porpoising", "minnowing", (0.1, 0.87, 0.95)),
            outcome(2, "porpoising", "minnowing", (0.1, 0.95, 0.2)),
            outcome(3, "fishtailing", "clean", (0.04, 0.02, 0.01)),
            outcome(4, "fishtailing", "clean", (0.2, 0.02, 0.01)),
            outcome(5, "fishtailing", "fishtailing", (0.99, 0.1, 0.93)),
            outcome(6, "clean", "clean", (0.01, 0.02, 0.03)),
        ]
    )
    told = next(line for line in lines if "more than 0.9 sure" in line)
    assert re.findall(r"\[.*?\]", told) == ["[2, 3]", "[2, 5]"]
