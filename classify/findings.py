"""From evidence to findings: what was seen of a set-up goes in; named findings, how sure, come out.

Every threshold is here with its reason; no cause is named.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from classify.bare_shaft import (
    Axis,
    BareShaftOffset,
    bare_shaft_offset,
    bare_shafts_together,
)
from classify.distances import GrowthTest, growth_with_distance
from classify.evidence import BareShaftTest, Evidence, FlightSeen, PowderTest
from classify.several import FEWEST, SeveralFlights, rests_on, who_swings
from classify.types import DISTURBANCES, Disturbance, Hand
from tracker.types import InputError, Message, message

FINE_AT_18_M = 0.03
"""Smallest offset worth a change, metres at 18 m; chosen here."""
LEVEL_AT_18_M = 0.05
"""Bare and fletched count as together when the 90 % interval stays inside this; chosen here."""
FAR_AT_18_M = 0.08
"""Beyond this after adjusting the shaft is wrong (common practice: 8 cm or 3 in at 18 m)."""
VERY_FAR_AT_18_M = 0.12
"""From here the larger step is taken; chosen here."""
SURE = 0.95
"""One-sided confidence from which an offset counts; chosen here."""
WINDY_M_S = 3.0
"""Cross wind from which impacts are doubted; chosen here."""
NATURAL_MM = 1.0
"""Spread of the swing from shot to shot that no archer is blamed for; chosen here."""
SURELY_SHOWN = 0.75
"""Probability from which one flight's disturbance is not passed over because others have none;
chosen here."""
ONE_SHOT = 0.4
"""How sure it is that an arrow differs that flew unlike the rest once: of flights that an archer
scatters by three times their errors one in three has such a shot; chosen here."""
WORTH_MM = 2.0
"""Swing below which differences between flights are of no interest; chosen here."""


@dataclass(frozen=True, kw_only=True)
class Findings:
    """What the evidence of one set-up comes to.

    Attributes
    ----------
    sure
        By finding, how sure it is, 0 to 1.
    conflicts
        Evidence that contradicts other evidence.
    notes
        What qualifies the findings.
    offset, growth, across, up_down
        The statistics they rest on; None where there was nothing to compute.
    far
        Whether the side is so far off that the larger step is taken.
    """

    sure: Mapping[str, float]
    conflicts: tuple[Message, ...] = ()
    notes: tuple[Message, ...] = ()
    offset: BareShaftOffset | None = None
    growth: GrowthTest | None = None
    across: SeveralFlights | None = None
    up_down: SeveralFlights | None = None
    far: bool = False


def find(evidence: Evidence, *, hand: Hand | None) -> Findings:
    """Turn evidence into findings.

    Parameters
    ----------
    evidence
        Of one set-up.
    hand
        The archer's.

    Returns
    -------
    Findings
        "nothing_known" alone where there is no evidence at all.

    Raises
    ------
    InputError
        If bare shafts land to a side and nobody said which hand draws.
    """
    flights = tuple(flight for flight in evidence.flights if not flight.refused)
    across, up_down = _several(flights, "across"), _several(flights, "up_down")
    sure = _from_flights(flights, across, up_down)
    believed = _that_agree(evidence.bare)
    offset, bare_notes = _bare_offset(believed)
    conflicts = _of_bare(len(believed), left_out=len(evidence.bare) - len(believed))
    if offset is not None:
        sure |= _from_offset(offset, hand)
    elif evidence.bare:
        sure["bare_contradict"] = 1.0
    if evidence.powder:
        sure |= _from_powder(evidence.powder[-1])
    dusted_again = [_from_powder(test) for test in evidence.powder[-2:]] == 2 * [_POWDER_CLEAN]
    growth = None
    if len({round(group.distance_m, 2) for group in evidence.groups}) >= 2:
        growth = growth_with_distance(evidence.groups)
        sure |= _from_growth(growth)
    sure |= _from_judgement(evidence, sure)
    sure |= dict.fromkeys(evidence.sheet, 1.0)
    sure |= _from_eye(evidence, flights, sure, conflicts)
    windy_groups = _in_wind(evidence, sure)  # first, as a level in wind contradicts nothing
    _contradictions(sure, conflicts, dusted_again=dusted_again)
    if not sure:
        sure["nothing_known"] = 1.0
    refused = len(evidence.flights) - len(flights)
    notes = [message("tuning.flights_refused", found=refused)] if refused else []
    judged = [part for part in (across, up_down) if part is not None]
    spoken = [part for part in judged if part.maker != "too few"]
    # an axis that says nothing is of no interest beside one that does
    for part in spoken or judged:
        notes += part.notes
    notes += _said_by_some(flights, sure)
    notes += [*_numbers(offset, growth), *bare_notes]
    if evidence.windy_left_out:
        notes.append(message("tuning.windy_left_out", tests=evidence.windy_left_out))
    notes += growth.notes if growth is not None else ()
    notes += [message("tuning.groups_windy")] if windy_groups else []
    return Findings(
        sure=sure,
        conflicts=tuple(conflicts),
        notes=_once(notes),
        offset=offset,
        growth=growth,
        across=across,
        up_down=up_down,
        far=offset is not None and _at_18_m(offset, 0) > VERY_FAR_AT_18_M,
    )


def _numbers(offset: BareShaftOffset | None, growth: GrowthTest | None) -> list[Message]:
    """Say the statistics themselves with their intervals, beside what is concluded from them."""
    said = []
    if offset is not None:
        # towards the side on which they land, which is named
        (across, across_low, across_high), (up_down, up_down_low, up_down_high) = (
            (off, low, high) if off >= 0 else (-off, -high, -low)
            for off, (low, high) in zip(
                (100 * offset.offset_m).tolist(), (100 * offset.interval_m).tolist(), strict=True
            )
        )
        side = "right" if offset.offset_m[0] >= 0 else "left"
        level = "high" if offset.offset_m[1] >= 0 else "low"
        said.append(
            message(
                f"tuning.bare_offset_{side}_{level}",
                distance_m=offset.distance_m, bare=offset.n_bare, fletched=offset.n_fletched,
                across_cm=across, across_low_cm=across_low, across_high_cm=across_high,
                up_down_cm=up_down, up_down_low_cm=up_down_low, up_down_high_cm=up_down_high,
            )
        )  # fmt: skip
    if growth is not None:
        low, high = growth.long_interval
        said.append(
            message("tuning.groups_ratio", ratio=growth.long_ratio, low_ratio=low, high_ratio=high)
        )
    return said


def _once(notes: list[Message]) -> tuple[Message, ...]:
    """Drop what was said already."""
    said: dict[str, Message] = {str(note): note for note in notes}
    return tuple(said.values())


def _at_18_m(offset: BareShaftOffset, axis: int) -> float:
    """Size of an offset as the same angle would show it at 18 m."""
    return abs(float(offset.offset_m[axis])) * 18.0 / offset.distance_m


# ------------------------------------------------------------------ flights


def _several(flights: tuple[FlightSeen, ...], axis: str) -> SeveralFlights | None:
    swings = [swing for flight in flights if (swing := getattr(flight, axis)) is not None]
    return who_swings(swings, natural=NATURAL_MM) if swings else None


def _from_flights(
    flights: tuple[FlightSeen, ...], across: SeveralFlights | None, up_down: SeveralFlights | None
) -> dict[str, float]:
    if not flights:
        return {}
    sure: dict[str, float] = {}
    wide = [part for part in (across, up_down) if part is not None and _worth(part)]
    makers = {part.maker for part in wide}
    kept = flights
    if "archer" in makers or (not makers and _presence_scatters(flights)):
        sure["swing_varies"] = 0.95
    elif "one arrow" in makers:
        odd = {part.odd_arrow for part in wide if part.odd_arrow is not None}
        arrows = [_arrow(flight) for flight in flights]
        told_by = {name for one in odd for name in rests_on(one, arrows)}
        again = all(arrows.count(name) > 1 for name in told_by)
        sure["one_arrow_differs"] = 0.95 if again else ONE_SHOT
        # of two arrows each may swing wider along one axis; then none is left to speak for the bow
        kept = tuple(flight for flight in flights if _arrow(flight) not in odd) or flights
    elif "bow" in makers:
        sure["swing_alike"] = 0.95
    means = {
        name: float(np.mean([flight.presence.get(name, 0.0) for flight in kept]))
        for name in DISTURBANCES
    }
    sure |= {name: mean for name, mean in means.items() if mean >= 0.5}
    if _shown_by_some(kept, means):
        sure["flights_disagree"] = 1.0
        sure.pop("swing_alike", None)
    if sum(flight.wobble for flight in kept) * 2 > len(kept):
        sure["wobble"] = 1.0
    elif all(mean < 0.5 for mean in means.values()) and not (
        {"swing_varies", "flights_disagree"} & sure.keys()
    ):
        share = float(np.mean([flight.clean for flight in kept]))
        if share > 0.5:
            few = min(len(kept) / FEWEST, 1.0)
            sure["clean_flight"] = few * min(share, 1 - max(means.values()))
            if all(flight.bending for flight in kept):
                sure["bending_only"] = sure["clean_flight"]
    return sure


def _shown_by_some(flights: tuple[FlightSeen, ...], means: Mapping[Disturbance, float]) -> bool:
    """Tell whether a flight surely shows a disturbance that most do not."""
    return any(
        mean < 0.5 and any(flight.presence.get(name, 0.0) >= SURELY_SHOWN for flight in flights)
        for name, mean in means.items()
    )


def _said_by_some(flights: tuple[FlightSeen, ...], sure: Mapping[str, float]) -> list[Message]:
    """Name what some flights show, where others do not."""
    if "flights_disagree" not in sure:
        return []
    counts = {
        name: sum(flight.presence.get(name, 0.0) >= SURELY_SHOWN for flight in flights)
        for name in DISTURBANCES
    }
    return [
        message("tuning.flights_disagree", seen=name, count=count, flights=len(flights))
        for name, count in counts.items()
        if count and name not in sure
    ]


def _worth(part: SeveralFlights) -> bool:
    return part.mean + part.shot_sd >= WORTH_MM or part.maker == "one arrow"


def _arrow(flight: FlightSeen) -> str | None:
    swing = flight.across or flight.up_down
    return None if swing is None else swing.arrow


def _presence_scatters(flights: tuple[FlightSeen, ...]) -> bool:
    """At least two flights sure of a disturbance and two sure of none, without numbers in mm."""

    def scatters(name: Disturbance) -> bool:
        p = [flight.presence.get(name, 0.0) for flight in flights]
        return sum(x >= SURELY_SHOWN for x in p) >= 2 and sum(x <= 0.25 for x in p) >= 2

    return any(scatters(name) for name in DISTURBANCES)


# ------------------------------------------------------------------ bare shafts


def _that_agree(tests: tuple[BareShaftTest, ...]) -> tuple[BareShaftTest, ...]:
    """Leave out what contradicts a clear majority; all, where there is none.

    Whichever contradicts the most others goes first, those that tie together, until the rest agree:
    where only two contradict each other nothing tells which is right, however many agree with both.
    """
    offsets = [
        bare_shaft_offset(test.bare_m, test.fletched_m, distance_m=test.distance_m)
        for test in tests
    ]
    against = {
        i: {j for j, b in enumerate(offsets) if j != i and _contradict(a, b)}
        for i, a in enumerate(offsets)
    }
    while worst := max((len(others) for others in against.values()), default=0):
        out = {i for i, others in against.items() if len(others) == worst}
        against = {i: others - out for i, others in against.items() if i not in out}
    alone = 0 < len(against) < len(tests) and (len(against) < 2 or 2 * len(against) <= len(tests))
    return () if alone else tuple(tests[i] for i in against)


def _contradict(a: BareShaftOffset, b: BareShaftOffset) -> bool:
    """Apart along one axis by more than three joint standard errors, and opposite or far apart.

    What is far is more than the days of one set-up differ by; less of one sign asks for one cure.
    """
    for k in (0, 1):
        x, y = float(a.offset_m[k]) / a.distance_m, float(b.offset_m[k]) / b.distance_m
        error = math.hypot(float(a.sigma_m[k]) / a.distance_m, float(b.sigma_m[k]) / b.distance_m)
        far = abs(x - y) > FAR_AT_18_M / 18.0
        if abs(x - y) > 3 * error and (far or x * y < 0):
            return True
    return False


def _of_bare(believed: int, *, left_out: int) -> list[Message]:
    """Say that tests contradict each other, and which are believed."""
    if not left_out:
        return []
    if not believed:
        return [message("tuning.conflict_bare")]
    if left_out == 1:
        return [message("tuning.conflict_bare_alone", believed=believed)]
    return [message("tuning.conflict_bare_several", tests=left_out, believed=believed)]


def _bare_offset(
    tests: tuple[BareShaftTest, ...],
) -> tuple[BareShaftOffset | None, list[Message]]:
    """Offset of all tests together, each judged by its own fletched group."""
    if not tests:
        return None, []
    offset = bare_shafts_together(tests)
    pooled = [message("tuning.bare_pooled", tests=len(tests))] if len(tests) > 1 else []
    return offset, [*offset.notes, *pooled]


def _from_offset(offset: BareShaftOffset, hand: Hand | None) -> dict[str, float]:
    sure = _axis_findings(offset, 1, ("bare_high", "bare_low"), "vertical")
    side = _axis_findings(offset, 0, ("right", "left"), "across")
    for name, how_sure in side.items():
        if name not in ("right", "left"):
            sure[name] = how_sure
            continue
        if hand is None:
            raise InputError("tuning.hand_needed")
        # right of the fletched means weak for a right-handed archer, stiff for a left-handed one
        means = "weak" if (name == "right") == (hand == "right") else "stiff"
        sure[f"bare_{means}"] = how_sure
        limit = FAR_AT_18_M * offset.distance_m / 18.0 * (1 if name == "right" else -1)
        beyond = offset.chance_beyond("across", limit)
        if beyond >= 0.5:
            sure[f"bare_far_{means}"] = beyond
    return sure


def _axis_findings(
    offset: BareShaftOffset, axis: int, names: tuple[str, str], direction: str
) -> dict[str, float]:
    """Off to one side, together, or not decided."""
    which: Axis = "across" if axis == 0 else "up_down"
    scale = offset.distance_m / 18.0
    value = float(offset.offset_m[axis])
    right = offset.chance_beyond(which, 0.0)
    confidence = max(right, 1 - right)
    if confidence >= SURE and abs(value) >= FINE_AT_18_M * scale:
        return {names[0] if value > 0 else names[1]: confidence}
    low, high = offset.interval_at(which, 0.90)
    if max(-low, high) <= LEVEL_AT_18_M * scale:
        return {f"bare_level_{direction}": 0.95}
    return {f"bare_unsure_{direction}": 1.0}


# ------------------------------------------------------------------ powder, groups, eye


_POWDER_CLEAN = {"powder_clean": 1.0}


def _from_powder(test: PowderTest) -> dict[str, float]:
    sure = {}
    for arrow_part, bow_part in test.marks:
        if arrow_part == "shaft" and bow_part != "window":
            continue  # the sliding mark
        if arrow_part == "nock":
            sure["powder_nock_rest" if bow_part == "rest" else "powder_nock_side"] = 1.0
        elif arrow_part == "shaft":
            sure["powder_shaft_window"] = 1.0
        elif arrow_part == "lower vane" and bow_part == "rest":
            sure["powder_lower_vane"] = 1.0
        else:
            sure[f"powder_vane_{bow_part}"] = 1.0
    return sure or dict(_POWDER_CLEAN)


def _from_growth(growth: GrowthTest) -> dict[str, float]:
    if growth.growth == "faster than distance":
        return {"groups_long_poor": 1 - growth.long_p}
    if growth.growth == "short no better":
        return {"groups_short_poor": 1 - growth.short_p}
    return {"groups_in_proportion": 0.95} if growth.growth == "in proportion" else {}


def _from_judgement(evidence: Evidence, sure: Mapping[str, float]) -> dict[str, float]:
    """Good flight with poor groups, and poor flight with good groups."""
    if evidence.groups_judged == "poor" and "clean_flight" in sure:
        return {"flight_good_groups_poor": sure["clean_flight"]}
    disturbed = max((sure.get(name, 0.0) for name in DISTURBANCES), default=0.0)
    if evidence.groups_judged == "good" and disturbed >= 0.5:
        return {"flight_poor_groups_good": disturbed}
    return {}


def _from_eye(
    evidence: Evidence,
    flights: tuple[FlightSeen, ...],
    sure: Mapping[str, float],
    conflicts: list[Message],
) -> dict[str, float]:
    """Take what the coach saw; where clips say otherwise it counts for less, and that is said."""
    seen = {}
    for name in evidence.eye:
        disturbance = name.removeprefix("eye_")
        contradicted = flights and disturbance in DISTURBANCES and disturbance not in sure
        if contradicted:
            conflicts.append(message("tuning.conflict_eye", seen=disturbance))
        seen[name] = 0.3 if contradicted else 1.0
    return seen


def _in_wind(evidence: Evidence, sure: dict[str, float]) -> bool:
    """Doubt what a cross wind may have made or hidden, and nothing else.

    Bare shafts that are level in it may be so because it blew them back: that counts for nothing,
    and they are shot again where flights swing sideways, since the reason for that hangs on them.

    Returns
    -------
    bool
        Whether only groups were shot in it: they are left out then, since bare shafts in calm air
        say more.
    """
    sideways = {"bare_weak", "bare_stiff"} & sure.keys()
    windy_bare = False
    if (evidence.crosswind_m_s or 0.0) >= WINDY_M_S:
        level = sure.pop("bare_level_across", None) is not None
        windy_bare = bool(sideways) or (level and bool({"fishtailing", "minnowing"} & sure.keys()))
    windy_groups = (
        evidence.groups_crosswind_m_s or 0.0
    ) >= WINDY_M_S and "groups_long_poor" in sure
    if windy_bare or (windy_groups and not sideways):
        sure["crosswind"] = 1.0
    elif windy_groups:
        del sure["groups_long_poor"]
        return True
    return False


def _contradictions(
    sure: dict[str, float], conflicts: list[Message], *, dusted_again: bool
) -> None:
    """Make findings of tests that disagree with each other."""
    quick = sure.get("minnowing", 0.0) >= 0.75 and "powder_clean" in sure
    if quick and dusted_again:  # powder is believed when it says the same twice
        conflicts.append(message("tuning.conflict_powder_twice"))
    elif quick:
        sure["contact_contradicted"] = sure["minnowing"]
        conflicts.append(message("tuning.conflict_powder"))
    swings = "fishtailing" in sure or (quick and dusted_again)
    sideways = swings and "bare_level_across" in sure
    upright = "porpoising" in sure and "bare_level_vertical" in sure
    if (sideways or upright) and "powder_clean" in sure and "swing_varies" not in sure:
        sure["swing_unexplained"] = 1.0
        conflicts.append(message("tuning.conflict_unexplained"))
    if "clean_flight" in sure and ({"bare_far_weak", "bare_far_stiff"} & sure.keys()):
        conflicts.append(message("tuning.conflict_clean_bare"))


def bare_offset(tests: tuple[BareShaftTest, ...]) -> BareShaftOffset | None:
    """Offset of all bare-shaft tests of one set-up together.

    Parameters
    ----------
    tests
        Oldest first.

    Returns
    -------
    BareShaftOffset or None
        None where there is none, or they contradict each other.
    """
    offset, _ = _bare_offset(_that_agree(tests))
    return offset
