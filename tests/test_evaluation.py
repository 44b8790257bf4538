"""A small run of the evaluation; the large one's table is in README."""

from __future__ import annotations

from fixtures.evaluate import evaluate, table


def test_clear_simulated_flights_are_read_right():
    """Of twelve clear flights at most one is refused or wrong, and none is wrong and sure."""
    outcomes = evaluate("clear", seed=11, flights=12, tracks=True, say="all", jobs=1)
    assert sum(one.right for one in outcomes) >= 11
    assert any("more than 0.9 sure: 0" in line for line in table(outcomes))
