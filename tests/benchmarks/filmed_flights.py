"""A plan goes in; it is filmed, written, followed without a click and compared with its truth.

What comes out is rows: for every frame in which the tracker claims a place, how far that is from
the true nock, how far the tracker says it may be, and how large the nock truly was.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from fixtures.camera import aim_launch
from fixtures.encode import Coding
from fixtures.filmed import filmed as film_of
from fixtures.misfits import framed, random_plan
from fixtures.nearness import ITS_TAIL, on_other_arrow, widths_off
from fixtures.plan import FlightPlan, Sensor
from fixtures.truth import Truth
from tracker.follow import follow
from tracker.types import FloatArray, Followed, InputError

SEEN_PX = 1.0
"""Errors are counted in frames whose nock is at least so wide."""

Outcome = Literal["right", "tail", "refused", "doubted", "wrong"]


@dataclass(frozen=True, kw_only=True, eq=False)
class Compared:
    """One film: what became of it, and a row for every place claimed on the right path.

    Attributes
    ----------
    outcome
        "right": every path claimed is an arrow's, and the first arrow's is among them. "tail": so
        is it, but it runs more than a width of the nock beside that. "wrong": a path is claimed
        that leaves its arrow. "doubted": the same, and the tracker says that it may well be. The
        worst of several paths counts. "refused": no path is claimed.
    why
        For a person: the reason of a refusal, or how far a path is that is not "right".
    in_doubt
        Whether the tracker doubts the path, right or not.
    frame
        (n,) number of the frame.
    size_px
        (n,) true width of the nock.
    error_px
        (n, 2) claimed less true place, the truth in the track's own coordinates.
    sigma_px
        (n, 2) claimed standard error.
    fraction
        (n, 2) true place in the raw picture, less the pixel it falls into: 0 to 1.
    flying_frames
        How many frames show the flying nock, at least `SEEN_PX` wide and not hidden.
    """

    outcome: Outcome
    why: str
    in_doubt: bool
    frame: np.ndarray
    size_px: FloatArray
    error_px: FloatArray
    sigma_px: FloatArray
    fraction: FloatArray
    flying_frames: int

    @property
    def wide(self) -> np.ndarray:
        """(n,) true where the nock is at least `SEEN_PX` wide."""
        return self.size_px >= SEEN_PX

    def without_offset(self) -> FloatArray:
        """(n, 2) errors less their mean over the frames with a nock at least `SEEN_PX` wide."""
        return np.asarray(self.error_px - self.error_px[self.wide].mean(axis=0))

    def rms_px(self) -> FloatArray:
        """(2,) root mean square error per axis over those frames, the offset removed."""
        return np.asarray(np.sqrt((self.without_offset()[self.wide] ** 2).mean(axis=0)))

    def middle_px(self) -> FloatArray:
        """(2,) what the root mean square would be without strays: 1.4826 median distances."""
        error = self.error_px[self.wide]
        return np.asarray(1.4826 * np.median(np.abs(error - np.median(error, axis=0)), axis=0))

    def z2(self) -> FloatArray:
        """(m, 2) squared error over claimed variance in those frames, an offset removed.

        The offset is the one that suits the claims best: the mean weighted by them.
        """
        error, sigma = self.error_px[self.wide], self.sigma_px[self.wide]
        offset = (error / sigma**2).sum(axis=0) / (1 / sigma**2).sum(axis=0)
        return np.asarray(((error - offset) / sigma) ** 2)


def small_plan(rng: np.random.Generator) -> FlightPlan:
    """Draw a clear flight of 18 m filmed at 1280 by 720, so that many go into a minute."""
    while True:
        plan = random_plan(rng, "clear")
        if plan.camera.width_px == 1280 and plan.launch.distance_m == 18.0:  # as drawn, exactly
            return plan


def long_plan(rng: np.random.Generator) -> FlightPlan:
    """Draw a clear flight in which the nock shrinks from more than 12 to less than 0.5 pixels.

    The phone stands near and still behind a long shot, and neither archer nor bow is in the
    picture, so that nothing but the tail decides.
    """
    plan = small_plan(rng)
    plan = replace(
        plan,
        camera=replace(
            plan.camera,
            focal_px=float(rng.uniform(2700, 3000)),
            behind_m=float(rng.uniform(1.5, 1.7)),
            right_m=np.sign(plan.camera.right_m) * 0.17,
            up_m=0.12,
        ),
        launch=replace(plan.launch, distance_m=58.0, face_diameter_m=1.22),
        shake=replace(plan.shake, rms_px=0.0, rotation_deg=0.0),
        sensor=Sensor(psf_px=plan.sensor.psf_px, read_dn=1.0, shot_dn=1.5),
        scene=replace(plan.scene, archer=False),
    )
    strike = 0.1 * rng.normal(size=2)
    return framed(aim_launch(plan, right_m=float(strike[0]), up_m=float(strike[1])), rng)


def filmed(plan: FlightPlan, *, seed: int, coding: Coding) -> tuple[Followed | InputError, Truth]:
    """Film a plan, write the film, follow it, and delete it.

    Parameters
    ----------
    plan
        What is filmed.
    seed
        Of shake, textures and noise.
    coding
        How the film is compressed.

    Returns
    -------
    followed : Followed or InputError
        What the tracker made of it; the error if it would not read the film.
    truth : Truth
        What it shows.
    """
    with film_of(plan, seed=seed, coding=coding) as (path, truth):
        try:
            return follow(path), truth
        except InputError as error:
            return error, truth


def compared(plan: FlightPlan, followed: Followed | InputError, truth: Truth) -> Compared:
    """Hold what was followed against the truth.

    A path is right if the median distance from the true nock is less than a nock's width, which is
    so if half of its places are nearer than that, and wrong from `ITS_TAIL` widths on; a pixel
    counts where the nock is less.

    Parameters
    ----------
    plan
        What was filmed.
    followed
        By the tracker.
    truth
        Of the film.

    Returns
    -------
    Compared
    """
    there = truth.visible & (truth.tail_px >= SEEN_PX)
    if isinstance(followed, InputError) or not followed.flights:
        key = followed.message.key if isinstance(followed, InputError) else _lost(followed)
        return _none("refused", key, int(there.sum()))
    right, aside, wrong = None, 0.0, {}
    for track in followed.flights:
        seen = np.flatnonzero(track.seen)
        claimed = truth, track.reference_frame, seen, track.xy_px[seen]
        off = widths_off(*claimed)
        if off < ITS_TAIL:
            right, aside = track, off
        elif not on_other_arrow(plan, *claimed):
            wrong[track.in_doubt] = f"median {off:.1f} nock widths off"
    if right is None and not wrong:
        in_doubt = all(track.in_doubt for track in followed.flights)
        wrong[in_doubt] = "only the other arrow"
    if wrong:
        in_doubt = False not in wrong
        outcome: Outcome = "doubted" if in_doubt else "wrong"
        return _none(outcome, wrong[in_doubt], int(there.sum()), in_doubt=in_doubt)
    rows = np.flatnonzero(right.seen)
    raw = truth.xy_raw_px[rows] + 0.5  # pixel 0 covers -0.5 to 0.5
    return Compared(
        outcome="right" if aside < 1 else "tail",
        why="" if aside < 1 else f"median {aside:.1f} nock widths off",
        in_doubt=right.in_doubt,
        frame=rows,
        size_px=truth.tail_px[rows],
        error_px=right.xy_px[rows] - truth.xy_in(right.reference_frame)[rows],
        sigma_px=np.array(right.sigma_px[rows]),
        fraction=raw - np.floor(raw),
        flying_frames=int(there.sum()),
    )


def _lost(followed: Followed) -> str:
    return "" if followed.lost is None else followed.lost.reason.key


def _none(outcome: Outcome, why: str, flying_frames: int, *, in_doubt: bool = False) -> Compared:
    nothing = np.zeros((0, 2))
    return Compared(
        outcome=outcome,
        why=why,
        in_doubt=in_doubt,
        frame=np.zeros(0, np.int64),
        size_px=np.zeros(0),
        error_px=nothing,
        sigma_px=nothing,
        fraction=nothing,
        flying_frames=flying_frames,
    )
