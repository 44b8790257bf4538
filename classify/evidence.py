"""What was seen of one set-up: flights, impacts, powder, groups, the coach's eye, conditions.

Holds it and checks it; draws no conclusion.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, field
from math import log, sqrt
from typing import Literal, cast

from classify.impacts import GroupSize, impacts_m, needed_distance
from classify.several import Swing
from classify.thresholds import shipped_thresholds
from classify.types import DISTURBANCES, LIMIT_SIGMAS, SWINGING, Disturbance, Reading
from tracker.types import FloatArray, InputError

ArrowPart = Literal["vane", "lower vane", "nock", "shaft"]
BowPart = Literal["rest", "plunger", "window"]
ARROW_PARTS: tuple[ArrowPart, ...] = ("vane", "lower vane", "nock", "shaft")
BOW_PARTS: tuple[BowPart, ...] = ("rest", "plunger", "window")


@dataclass(frozen=True, kw_only=True)
class FlightSeen:
    """One flight reading, as far as reasoning needs it.

    Attributes
    ----------
    presence
        Probability of each disturbance; empty if the reading was refused.
    clean
        Whether the reading calls the flight clean.
    wobble
        Whether the tail goes round in a circle, wide enough to be worth a word.
    bending
        Whether shaft bending was seen.
    across, up_down
        Largest swing along each axis in millimetres; None without a scale.
    quick_across
        The same of quick swings alone, from side to side.
    refused
        Whether the clip was refused; then it is no evidence.
    """

    presence: Mapping[Disturbance, float] = field(default_factory=dict)
    clean: bool = False
    wobble: bool = False
    bending: bool = False
    across: Swing | None = None
    up_down: Swing | None = None
    quick_across: Swing | None = None
    refused: bool = False


def flight_from_json(reading: Mapping[str, object], *, arrow: str | None = None) -> FlightSeen:
    """Take from a kept reading what reasoning needs.

    Parameters
    ----------
    reading
        The object that ``tailsway read --json`` prints.
    arrow
        Number of the arrow, if it was written down.

    Returns
    -------
    FlightSeen
        Refused where the reading was.

    Raises
    ------
    InputError
        If this is no such object.
    """
    try:
        presence = cast("Mapping[str, float]", reading["presence"])
        lines = {axis: cast("_Lines", reading[axis]) for axis in ("across", "up_down")}
        label, refused = reading["label"], reading["refused"]
        # readings kept by earlier versions tell it of clean flights alone
        told = reading.get("unseen_below_mm") or reading.get("clean_below_mm") or {}
        below = cast("Mapping[str, float | None]", told)
        kinds = {str(line["kind"]) for axis in lines.values() for line in axis}
        if refused is not None:
            return FlightSeen(refused=True)
        share = _scale_share(cast("Mapping[str, float | None]", reading.get("scale") or {}))
        return FlightSeen(
            presence={name: float(presence[name]) for name in DISTURBANCES},
            clean=label == "clean",
            wobble=_wobbles(lines.values()),
            bending="bending" in kinds,
            across=_swing(lines["across"], below.get("across"), arrow, share),
            up_down=_swing(lines["up_down"], below.get("up_down"), arrow, share),
            quick_across=_quick(lines["across"], float(presence["minnowing"]), arrow, share),
        )
    except (KeyError, TypeError, ValueError, AttributeError):
        raise InputError("tuning.no_reading") from None


_Lines = list[Mapping[str, object]]


def _wobbles(axes: Iterable[_Lines]) -> bool:
    """Tell whether a circling tail is wide enough to be worth a word, as the label asks for."""
    wide = shipped_thresholds().swing_wobble_mm
    return any(
        line["kind"] == "wobble"
        and line["swing_mm"] is not None
        and float(cast("float", line["swing_mm"])) >= wide
        for lines in axes
        for line in lines
    )


def _scale_share(scale: Mapping[str, float | None]) -> float:
    """Relative error of a scale; 0 where a reading kept by an earlier version does not tell."""
    size, sigma = (scale.get(f"mm_per_px_at_release{end}") for end in ("", "_sigma"))
    return 0.0 if size is None or sigma is None else float(sigma) / float(size)


def _swing(lines: _Lines, below_mm: float | None, arrow: str | None, share: float) -> Swing | None:
    """Largest swing along one axis; where none was seen, nought below its limit.

    Left out, the flights in which a change has cured the swing would say nothing of that change.
    """
    seen = _largest(lines, SWINGING, arrow, share)
    if seen is not None:
        return seen
    if below_mm is not None and below_mm > 0:
        return Swing(value=0.0, sigma=below_mm / LIMIT_SIGMAS, arrow=arrow)
    return None


def _quick(lines: _Lines, chance: float, arrow: str | None, share: float) -> Swing | None:
    """Largest quick swing; where none was seen, nought, as far as its chance allows.

    That chance is of a swing above the threshold. Two components of one normal law make it what it
    is where their standard deviation is the threshold over the root of twice its logarithm.
    """
    seen = _largest(lines, ("fast",), arrow, share)
    if seen is not None:
        return seen
    if not 0.0 <= chance <= 1.0:  # none is known without a scale
        return None
    threshold = shipped_thresholds().swing_fast_mm
    likely = min(max(chance, 1e-3), 0.5)
    return Swing(value=0.0, sigma=threshold / sqrt(-2.0 * log(likely)), arrow=arrow)


def _largest(
    lines: _Lines, kinds: Collection[str], arrow: str | None, share: float
) -> Swing | None:
    swings = [
        (float(cast("float", line["swing_mm"])), float(cast("float", line["swing_sigma_mm"])))
        for line in lines
        if line["kind"] in kinds
        and line["swing_mm"] is not None
        and line["swing_sigma_mm"] is not None
    ]
    if not swings:
        return None
    value, sigma = max(swings)
    return Swing(value=value, sigma=max(sigma, 0.05), arrow=arrow, scale_share=share)


def flight_from_reading(reading: Reading, *, arrow: str | None = None) -> FlightSeen:
    """Take from a fresh reading what reasoning needs.

    Parameters
    ----------
    reading
        From the pipeline.
    arrow
        Number of the arrow, if it was written down.

    Returns
    -------
    FlightSeen
        As `flight_from_json` of the same reading.
    """
    if reading.refused is not None:
        return FlightSeen(refused=True)
    lines: list[_Lines] = [
        [{"kind": m.kind, "swing_mm": m.swing_mm, "swing_sigma_mm": m.swing_sigma_mm} for m in axis]
        for axis in (reading.across, reading.up_down)
    ]
    kinds = {str(line["kind"]) for axis in lines for line in axis}
    scale = reading.scale
    share = 0.0
    if scale is not None:
        share = scale.mm_per_px_at_release.sigma / scale.mm_per_px_at_release.value
    return FlightSeen(
        presence=dict(reading.presence),
        clean=reading.label == "clean",
        wobble=_wobbles(lines),
        bending="bending" in kinds,
        across=_swing(lines[0], reading.unseen_below_mm[0], arrow, share),
        up_down=_swing(lines[1], reading.unseen_below_mm[1], arrow, share),
        quick_across=_quick(lines[0], reading.presence["minnowing"], arrow, share),
    )


@dataclass(frozen=True, kw_only=True, eq=False)
class BareShaftTest:
    """Impacts of bare shafts and fletched arrows shot at one mark.

    Attributes
    ----------
    distance_m
        Shooting line to target.
    bare_m, fletched_m
        (n, 2) metres right and up of the mark, as the archer sees it.
    """

    distance_m: float
    bare_m: FloatArray
    fletched_m: FloatArray

    def __post_init__(self) -> None:
        needed_distance(self.distance_m)
        object.__setattr__(self, "bare_m", impacts_m(self.bare_m, "bare shafts"))
        object.__setattr__(self, "fletched_m", impacts_m(self.fletched_m, "fletched arrows"))


@dataclass(frozen=True, kw_only=True)
class PowderTest:
    """Where the powder was scraped.

    Attributes
    ----------
    marks
        Pairs of (part of the arrow, part of the bow); empty if only the rest's own sliding mark
        was there. A shaft on rest or plunger is that sliding mark.
    """

    marks: tuple[tuple[ArrowPart, BowPart], ...]

    def __post_init__(self) -> None:
        for arrow_part, bow_part in self.marks:
            if arrow_part not in ARROW_PARTS or bow_part not in BOW_PARTS:
                raise InputError(
                    "tuning.powder_parts",
                    found=f"{arrow_part}, {bow_part}",
                    arrow_parts=", ".join(ARROW_PARTS),
                    bow_parts=", ".join(BOW_PARTS),
                )


@dataclass(frozen=True, kw_only=True)
class Tried:
    """A change that was made before.

    Attributes
    ----------
    cure
        Name in the knowledge file.
    amount
        How much, in the cure's unit; None for its usual step.
    outcome
        What before and after said; None if nobody compared.
    """

    cure: str
    amount: float | None = None
    outcome: Literal["better", "same", "worse"] | None = None


@dataclass(frozen=True, kw_only=True)
class Evidence:
    """Everything that was seen of one set-up.

    Attributes
    ----------
    flights, bare, powder, groups
        Oldest first. Of several powder tests the last one counts.
    groups_judged
        What coach and archer think of the groups, for this archer.
    eye
        Findings of kind "eye", by name.
    crosswind_m_s, groups_crosswind_m_s
        While the bare shafts were shot, and the groups; None if nobody said.
    windy_left_out
        How many tests in a cross wind were left out because they were shot again in calm air.
    sheet
        Findings of kind "set-up", by name.
    tried
        Changes made before, oldest first.
    tested
        Tests that were asked for and done with the present set-up, by name, oldest first.
    made_worse
        The change that made the present set-up, if it made things worse.
    at_end
        Changes for which the sheet leaves no room.
    holds_60_s
        Whether the archer can hold full draw for a minute.
    foc_percent
        Of the arrows.
    foc_step_percent
        By how much ten grains at the point move it.
    """

    flights: tuple[FlightSeen, ...] = ()
    bare: tuple[BareShaftTest, ...] = ()
    powder: tuple[PowderTest, ...] = ()
    groups: tuple[GroupSize, ...] = ()
    groups_judged: Literal["good", "poor"] | None = None
    eye: tuple[str, ...] = ()
    crosswind_m_s: float | None = None
    groups_crosswind_m_s: float | None = None
    windy_left_out: int = 0
    sheet: tuple[str, ...] = ()
    tried: tuple[Tried, ...] = ()
    tested: tuple[str, ...] = ()
    made_worse: str | None = None
    at_end: frozenset[str] = frozenset()
    holds_60_s: bool | None = None
    foc_percent: float | None = None
    foc_step_percent: float = 1.1
