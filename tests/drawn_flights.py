"""Flights drawn at random and aimed at the face, as a simulated tracker follows them."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from classify.types import Known
from fixtures.camera import aim_launch
from fixtures.misfits import framed, random_plan
from fixtures.simulate import random_tracking, simulate_track
from fixtures.train_labels import clip_of
from fixtures.truth import Truth
from tracker.types import Clip, Track


@dataclass(frozen=True, kw_only=True, eq=False)
class Drawn:
    """One flight, and what its coach measured: all that a tape measure and the phone tell."""

    track: Track
    clip: Clip
    truth: Truth
    known: Known


def drawn_flight(*seed: int) -> Drawn:
    """Draw a clear flight.

    Parameters
    ----------
    seed
        Of the draw.

    Returns
    -------
    Drawn
    """
    rng = np.random.default_rng(seed)
    plan = random_plan(rng, "clear")
    right_m, up_m = (float(part) for part in 0.3 * plan.launch.face_diameter_m * rng.normal(size=2))
    plan = framed(aim_launch(plan, right_m=right_m, up_m=up_m), rng)
    track, truth = simulate_track(plan, rng=rng, tracking=random_tracking(rng, hard=False))
    known = replace(truth.known, focal_px=None)  # the field of view says the same
    return Drawn(track=track, clip=clip_of(plan, truth), truth=truth, known=known)
