"""The clips that come with tailsway: a film, its truth, and what their coach knows."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction
from functools import cache
from importlib.resources import files
from pathlib import Path
from typing import cast

from classify.types import Hand, Known, Label
from tracker.types import InputError


@dataclass(frozen=True, kw_only=True)
class DemoClip:
    """One shipped clip.

    Attributes
    ----------
    name
        Of its files.
    path
        The film.
    label
        What it truly shows; None for the one that must be refused.
    known
        What its coach knows.
    truth
        All that its truth file says.
    """

    name: str
    path: Path
    label: Label | None
    known: Known
    truth: Mapping[str, object]


@cache
def demo_clips() -> tuple[DemoClip, ...]:
    """Find the shipped clips.

    Returns
    -------
    tuple of DemoClip
        One of each kind first, then those that show again what another showed, then those that must
        be refused; by name within each.

    Raises
    ------
    InputError
        If the installation lacks them, or a truth file is broken.
    """
    folder = Path(str(files("fixtures"))) / "clips"
    found = sorted(folder.glob("*.mp4")) if folder.is_dir() else []
    if not found:
        raise InputError("command.no_demo_clips")
    clips = [_demo_clip(path) for path in found]
    kinds = [(clip.label is None, clip.truth.get("presence")) for clip in clips]
    order = sorted(range(len(clips)), key=lambda k: (kinds[k][0], kinds[k] in kinds[:k]))
    return tuple(clips[k] for k in order)


def _demo_clip(path: Path) -> DemoClip:
    beside = path.with_suffix(".json")
    try:
        truth = json.loads(beside.read_text(encoding="utf-8"))
        label = None if truth["refused"] else truth["label"]
        return DemoClip(
            name=path.stem,
            path=path,
            label=cast(Label | None, label),
            known=_known(truth.get("known", {})),
            truth=truth,
        )
    except (OSError, ValueError, KeyError, TypeError) as mistake:
        raise InputError(
            "command.broken_demo_truth", path=str(beside), reason=str(mistake)
        ) from None


def _known(said: Mapping[str, object]) -> Known:
    def number(name: str) -> float | None:
        value = said.get(name)
        return None if value is None else float(cast(float, value))

    rate = said.get("capture_hz")
    focal_px = number("focal_px")
    return Known(
        capture_hz=None if rate in (None, "None") else Fraction(str(rate)),
        distance_m=number("distance_m"),
        camera_distance_m=number("camera_distance_m"),
        speed_m_s=number("speed_m_s"),
        face_diameter_m=number("face_diameter_m"),
        focal_px=focal_px,
        # The truth gives both, but they say the same thing.
        field_of_view_deg=None if focal_px is not None else number("field_of_view_deg"),
        nock_diameter_m=number("nock_diameter_m"),
        hand=cast(Hand | None, said.get("hand")),
    )
