"""A worked-out filming plan goes in, what to tell the person comes out, most important first."""

from __future__ import annotations

import math
from collections.abc import Mapping

from classify.nock_noise import Marking
from classify.physics import folded_band
from classify.plan_types import CameraSetting, FilmingPlan, Shot, SwingPlan
from classify.thresholds import shipped_thresholds
from tracker.types import Message, message

LEAST_FRAME_HZ = 48.0
"""Below this a fast swing of 20 Hz is at or past the limit of what the frames can hold."""

SECOND_BENDING_HZ = (210.0, 220.0)
"""J. Park, "Arrows: dynamic behaviour", Bow International."""

ASSUMED: Mapping[Marking, str] = {
    "lit": "plan.assumed_lit",
    "bright": "plan.assumed_bright",
    "plain": "plan.assumed_plain",
    "dark": "plan.assumed_dark",
}


def why_refused(plan: FilmingPlan, frame_hz: float, seen_s: float) -> Message | None:
    """Say why a film would show nothing, or None.

    Parameters
    ----------
    plan
        As far as it is worked out.
    frame_hz
        Frames a second.
    seen_s
        How long the nock is seen.

    Returns
    -------
    Message or None
    """
    thresholds = shipped_thresholds()
    if frame_hz < LEAST_FRAME_HZ:
        return message("plan.refused_rate", frame_hz=frame_hz, frames=plan.frames)
    least = thresholds.refusal_least_frames
    if plan.seen_frames >= least and seen_s >= thresholds.refusal_least_seconds:
        return None
    if plan.frames < least:
        return message("plan.refused_short", frames=plan.frames, needed=least)
    return message("plan.refused_unseen", seen=plan.seen_frames, frames=plan.frames, needed=least)


def plan_verdict(plan: FilmingPlan, camera: CameraSetting, shot: Shot) -> tuple[Message, ...]:
    """Say what the film would show, what limits it, and what to mind.

    Parameters
    ----------
    plan
        Worked out, refused or not.
    camera, shot
        What it was worked out for.

    Returns
    -------
    tuple of Message
        The refusal or the two swings, then limits, then assumptions; the caution last but always.
    """
    told: list[Message] = []
    if plan.refused is not None:
        told.append(plan.refused)
    bending = _bending(plan, float(camera.frame_hz))
    if plan.yaw is not None and plan.fast is not None:
        swings = [_slow(plan.yaw), _fast(plan.fast), *_frequency(plan, plan.yaw)]
        # a swing that may be mistaken for bending is not seen, however wide it is
        told += bending + swings if plan.bending_passes_for else swings + bending
    else:
        told += bending
    if plan.seen_frames < plan.frames and plan.seen_frames > 0:
        told.append(message("plan.followed_to", seen=plan.seen_frames, frames=plan.frames))
    if camera.zoom > 1:
        told.append(message("plan.zoom_of_the_lens"))
    told += [message(ASSUMED[shot.marking]), message("plan.caution_line")]
    return tuple(told)


def _slow(swing: SwingPlan) -> Message:
    key = "plan.slow_seen" if swing.enough else "plan.slow_missed"
    return message(
        key,
        smallest_mm=swing.smallest_mm,
        wanted_mm=swing.wanted_mm,
        frequency_hz=swing.expected_hz,
    )


def _fast(swing: SwingPlan) -> Message:
    key = "plan.fast_seen" if swing.enough else "plan.fast_missed"
    return message(
        key,
        smallest_mm=swing.smallest_mm,
        wanted_mm=swing.wanted_mm,
        frequency_hz=swing.expected_hz,
    )


def _frequency(plan: FilmingPlan, yaw: SwingPlan) -> list[Message]:
    """Say how well the slow swing's frequency would be known, once that was worked out."""
    if math.isinf(yaw.frequency_sigma_hz):
        return []
    key = "plan.periods" if yaw.frequency_from_clip else "plan.periods_too_few"
    return [
        message(
            key,
            periods=plan.yaw_periods,
            expected_hz=yaw.expected_hz,
            sigma_hz=yaw.frequency_sigma_hz,
            wanted_mm=yaw.wanted_mm,
        )
    ]


def _bending(plan: FilmingPlan, frame_hz: float) -> list[Message]:
    """Say where bending appears, if that can mislead."""
    low, high = plan.bending_seen_hz
    if "yaw" in plan.bending_passes_for:
        return [message("plan.bending_anywhere", frame_hz=frame_hz, low_hz=low, high_hz=high)]
    if plan.bending_passes_for:
        return [message("plan.bending_folds", frame_hz=frame_hz, low_hz=low, high_hz=high)]
    thresholds = shipped_thresholds()
    second = folded_band(*SECOND_BENDING_HZ, frame_hz)
    if second[0] < thresholds.bands_fast_high_hz and second[1] > thresholds.bands_fast_low_hz:
        return [
            message(
                "plan.second_bending_folds", frame_hz=frame_hz, low_hz=second[0], high_hz=second[1]
            )
        ]
    return []
