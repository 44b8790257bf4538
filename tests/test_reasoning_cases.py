"""Rules: the right next change for every case that was written from the rules of the trade."""

from __future__ import annotations

import tomllib
from pathlib import Path

import numpy as np
import pytest

from classify.evidence import BareShaftTest, Evidence, FlightSeen, PowderTest, Tried
from classify.impacts import group_from_points
from classify.reasoning import next_change
from classify.several import Swing
from classify.types import DISTURBANCES
from tracker.types import InputError

CASES = tomllib.loads(
    (Path(__file__).parent / "data" / "next_change_cases.toml").read_text(encoding="utf-8")
)["case"]


def ring(n, sd):
    """Make n points about nought whose standard deviation along each axis is sd."""
    angle = 2 * np.pi * np.arange(n) / n + 0.3
    points = np.stack([np.cos(angle), np.sin(angle)], axis=1)
    if n == 2:
        points = np.array([[0.5, -0.5], [-0.5, 0.5]])
    points -= points.mean(axis=0)
    return points / points.std(axis=0, ddof=1) * sd


def bare_test(case, field):
    """Make the impacts of one case."""
    sd = case.get("spread_cm", 2.0) / 100
    return BareShaftTest(
        distance_m=case.get("distance_m", 18.0),
        bare_m=ring(case.get("n_bare", 3), sd) + np.array(case[field]) / 100,
        fletched_m=ring(case.get("n_fletched", 6), sd),
    )


def flight(case, k):
    """Make one flight of a case."""
    given = case["flights"][k]
    presence = {name: given.get(name, 0.02) for name in DISTURBANCES}
    arrow = str(case["arrows"][k]) if "arrows" in case else None
    swing = case.get("swing_mm")
    return FlightSeen(
        presence=presence,
        clean=max(presence.values()) < 0.25 and not given.get("wobble"),
        wobble=bool(given.get("wobble")),
        across=Swing(value=swing[k][0], sigma=swing[k][1], arrow=arrow) if swing else None,
    )


def evidence_of(case):
    """Make the whole evidence of a case."""
    return Evidence(
        flights=tuple(flight(case, k) for k in range(len(case.get("flights", [])))),
        bare=tuple(bare_test(case, name) for name in ("bare_before", "bare") if name in case),
        powder=(PowderTest(marks=tuple(tuple(m) for m in case["powder"])),)
        if "powder" in case
        else (),
        groups=tuple(
            group_from_points(ring(n, sd / 100), distance_m=d)
            for d, n, sd in case.get("groups", [])
        ),
        groups_judged=case.get("groups_judged"),
        eye=tuple(case.get("eye", [])),
        crosswind_m_s=case.get("crosswind_m_s"),
        sheet=tuple(case.get("sheet", [])),
        tried=tuple(Tried(cure=name) for name in case.get("tried", [])),
        holds_60_s=case.get("holds_60_s"),
        foc_percent=case.get("foc_percent"),
    )


def test_there_are_enough_cases_of_every_kind():
    """Both hands, conflicts and missing evidence are in the table of at least 40 cases."""
    assert len(CASES) >= 40
    assert sum(case.get("hand") == "left" for case in CASES) >= 10
    assert sum(case.get("conflict", False) for case in CASES) >= 3
    assert sum(case.get("next", "").endswith(("_test", "_first")) for case in CASES) >= 5
    assert len({case["name"] for case in CASES}) == len(CASES)


@pytest.mark.parametrize("case", CASES, ids=lambda case: case["name"])
def test_next_change(case):
    """The engine proposes what the trade would."""
    if case.get("next_refused"):
        with pytest.raises(InputError, match="hand_needed"):
            next_change(evidence_of(case), hand=case.get("hand"))
        return
    proposed = next_change(evidence_of(case), hand=case.get("hand"))
    assert proposed.cure == case["next"], case["rule"]
    assert proposed.direction == case.get("direction", proposed.direction)
    assert bool(proposed.conflicts) == case.get("conflict", bool(proposed.conflicts))


@pytest.mark.parametrize("case", [c for c in CASES if "hand" in c], ids=lambda case: case["name"])
def test_the_mirrored_case_gets_the_mirrored_change(case):
    """Mirroring impacts and hand leaves the cure and mirrors its direction."""
    mirrored = dict(case, hand="left" if case["hand"] == "right" else "right")
    for name in ("bare", "bare_before"):
        if name in case:
            mirrored[name] = [-case[name][0], case[name][1]]
    one = next_change(evidence_of(case), hand=case["hand"])
    other = next_change(evidence_of(mirrored), hand=mirrored["hand"])
    assert other.cure == one.cure
    swap = {"left": "right", "right": "left"}
    assert other.direction == swap.get(one.direction, one.direction)
