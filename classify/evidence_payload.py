"""How evidence is written in the logbook: plain values go in; checked evidence comes out.

By kind, all lengths in metres, right and up as the archer sees the target:

- flight: ``reading`` (the object that ``tailsway read --json`` prints), ``arrow`` (text or null)
- bare shaft: ``distance_m``, ``bare_m``, ``fletched_m`` (lists of pairs), ``crosswind_m_s`` or null
- powder: ``marks`` (list of pairs: part of the arrow, part of the bow)
- groups: ``distance_m`` and one of ``points_m``; ``diameter_m`` with ``arrows``; ``score`` with
  ``arrows`` and ``face_diameter_m``; ``crosswind_m_s`` or null
- eye: ``seen`` (names of findings of kind "eye"), ``groups_judged`` ("good", "poor" or null)
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Any, Literal, cast, get_args

import numpy as np

from classify.evidence import (
    ArrowPart,
    BareShaftTest,
    BowPart,
    FlightSeen,
    PowderTest,
    flight_from_json,
)
from classify.impacts import (
    GroupSize,
    group_from_diameter,
    group_from_points,
    group_from_score,
)
from classify.knowledge import load_knowledge
from tracker.types import InputError

EvidenceKind = Literal["flight", "bare shaft", "powder", "groups", "eye"]
KINDS: tuple[EvidenceKind, ...] = get_args(EvidenceKind)

Payload = Mapping[str, Any]
"""Plain values as JSON holds them; every use below checks what it takes."""


def check_payload(kind: EvidenceKind, payload: Mapping[str, object]) -> None:
    """Refuse a payload that is not what its kind needs.

    Parameters
    ----------
    kind, payload
        As they are to be kept.

    Raises
    ------
    InputError
        Naming what is missing or wrong.
    """
    if kind not in KINDS:
        raise InputError("tuning.evidence_kind", found=str(kind), kinds=", ".join(KINDS))
    readers = {
        "flight": read_flight,
        "bare shaft": read_bare,
        "powder": read_powder,
        "groups": read_group,
        "eye": read_eye,
    }
    try:
        readers[kind](payload)
        json.dumps(payload, allow_nan=False)
    except KeyError as error:
        raise InputError("tuning.payload_lacks", kind=kind, field=str(error.args[0])) from None
    except (TypeError, ValueError, OverflowError, AttributeError):
        raise InputError("tuning.payload", kind=kind) from None


def read_flight(payload: Payload) -> FlightSeen:
    """Take the flight of a payload."""
    arrow = payload.get("arrow")
    return flight_from_json(payload["reading"], arrow=None if arrow is None else str(arrow))


def read_bare(payload: Payload) -> BareShaftTest:
    """Take the bare-shaft test of a payload."""
    test = BareShaftTest(
        distance_m=float(payload["distance_m"]),
        bare_m=np.asarray(payload["bare_m"], dtype=np.float64),
        fletched_m=np.asarray(payload["fletched_m"], dtype=np.float64),
    )
    if len(test.bare_m) < 1 or len(test.fletched_m) < 3:
        raise InputError("tuning.bare_arrows", bare=len(test.bare_m), fletched=len(test.fletched_m))
    group_from_points(test.fletched_m, distance_m=test.distance_m)  # refuses one without spread
    return test


def read_powder(payload: Payload) -> PowderTest:
    """Take the powder test of a payload."""
    marks = [(str(a), str(b)) for a, b in payload["marks"]]
    return PowderTest(marks=tuple(cast("list[tuple[ArrowPart, BowPart]]", marks)))


def read_group(payload: Payload) -> GroupSize:
    """Take the group of a payload."""
    distance_m = float(payload["distance_m"])
    if payload.get("points_m") is not None:
        return group_from_points(payload["points_m"], distance_m=distance_m)
    arrows = int(payload["arrows"])
    if payload.get("diameter_m") is not None:
        diameter_m = float(payload["diameter_m"])
        return group_from_diameter(diameter_m, arrows=arrows, distance_m=distance_m)
    return group_from_score(
        float(payload["score"]),
        arrows=arrows,
        distance_m=distance_m,
        face_diameter_m=float(payload["face_diameter_m"]),
    )


def read_eye(payload: Payload) -> tuple[tuple[str, ...], Literal["good", "poor"] | None]:
    """Take what the coach saw, and what they think of the groups."""
    known = [f.name for f in load_knowledge(None).findings.values() if f.kind == "eye"]
    seen = tuple(str(name) for name in payload["seen"])
    for name in seen:
        if name not in known:
            plain = [one.removeprefix("eye_") for one in (name, *known)]  # as people type them
            raise InputError("tuning.eye", found=plain[0], known=", ".join(plain[1:]))
    judged = payload.get("groups_judged")
    if judged not in ("good", "poor", None):
        raise InputError("tuning.groups_judged", found=str(judged))
    return seen, judged
