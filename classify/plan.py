"""A camera, a place to stand and a shot go in; what the film would be able to show comes out.

It uses the same model and covariance as the reading, on a flight that was never filmed. It knows
nothing of a real picture: noise is what `classify.nock_noise` assumes.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from itertools import product

import numpy as np

from classify.clues import ARROW_LENGTH_M
from classify.motion import GRAVITY_M_S2, distance_over_speed, fall_shape
from classify.nock_noise import USUAL_NOISE, NockNoise, believed_sigma_px
from classify.physics import drag_per_m, flight_time_s, folded_band, mm_per_degree, predict
from classify.plan_covariance import PlannedFlight, frequency_sigma_hz, smallest_swing_m
from classify.plan_types import (
    CameraSetting,
    FilmingPlan,
    Shot,
    Standing,
    StandingLimits,
    Swing,
    SwingPlan,
)
from classify.plan_words import plan_verdict, why_refused
from classify.thresholds import shipped_thresholds
from classify.types import Estimate, Prediction, Priors
from tracker.types import BoolArray, FloatArray

POWER_STROKE_M = 0.5
"""From full draw until the string lets go: draw length less brace height (common practice)."""
KEPT_IN_VIEW = 0.9
"""Share of the picture that aiming by hand can use; chosen here."""
USUAL_DRAG_PER_M = drag_per_m(1.8, 0.0055, 0.0195)
"""Middle of the published drag coefficients on a usual target arrow."""
FAST_HZ = 20.0
"""A fast swing in the middle of where the reading looks for one; chosen here."""
BEHIND_ERROR = 0.05
"""How well a distance is paced out, as a share of it; chosen here."""
DRAG_ERROR = 0.4
"""Spread of the drag over arrows, as a share of it; from the published coefficients."""
LENS_ERROR = 0.05
"""How well a field of view is known, as a share of the focal length; chosen here."""


def plan_filming(
    camera: CameraSetting, standing: Standing, shot: Shot, noise: NockNoise = USUAL_NOISE
) -> FilmingPlan:
    """Work out what a film would be able to show.

    Parameters
    ----------
    camera
        What the phone is set to.
    standing
        Where it is.
    shot
        What is filmed.
    noise
        What is assumed of the tracker.

    Returns
    -------
    FilmingPlan

    Raises
    ------
    InputError
        If the arrow or its speed cannot be.

    Examples
    --------
    >>> from fractions import Fraction
    >>> camera = CameraSetting(frame_hz=Fraction(240), width_px=1920, height_px=1080,
    ...                        field_of_view_deg=65.0, zoom=2.0)
    >>> shot = Shot(distance_m=18.0, nock_diameter_m=0.0065, marking="bright")
    >>> plan = plan_filming(camera, Standing(behind_m=2.0, offset_m=0.4), shot)
    >>> plan.frames, plan.bending_passes_for
    (77, ())
    """
    return _plan(camera, standing, shot, noise, _expected(shot), with_frequency=True)


def best_standing(
    camera: CameraSetting, shot: Shot, limits: StandingLimits, noise: NockNoise = USUAL_NOISE
) -> FilmingPlan:
    """Search for the place from which the wanted swings stand out best.

    Parameters
    ----------
    camera
        What the phone is set to.
    shot
        What is filmed.
    limits
        Where the phone could be put; always behind the shooting line.
    noise
        What is assumed of the tracker.

    Returns
    -------
    FilmingPlan
        From the best place. Of places that are as good within 5 %, the one furthest from the
        archer; if every place is refused, the one with most to see, refused.

    Raises
    ------
    InputError
        If the arrow or its speed cannot be.

    Examples
    --------
    >>> from fractions import Fraction
    >>> camera = CameraSetting(frame_hz=Fraction(240), width_px=1920, height_px=1080,
    ...                        field_of_view_deg=65.0)
    >>> shot = Shot(distance_m=18.0, nock_diameter_m=0.0065, marking="bright")
    >>> limits = StandingLimits(nearest_m=1.0, furthest_m=4.0, least_offset_m=0.3,
    ...                         most_offset_m=0.6)
    >>> 1.0 <= best_standing(camera, shot, limits).standing.behind_m < 2.0
    True
    """
    expected = _expected(shot)
    plans = [
        _plan(
            camera,
            Standing(behind_m=float(behind), offset_m=float(offset)),
            shot,
            noise,
            expected,
            with_frequency=False,
        )
        for behind, offset in product(
            np.geomspace(limits.nearest_m, limits.furthest_m, 9),
            np.linspace(limits.least_offset_m, limits.most_offset_m, 4),
        )
    ]
    least = min(_shortfall(plan) for plan in plans)
    if math.isinf(least):
        chosen = max(plans, key=lambda plan: plan.seen_frames)
    else:
        good = [plan for plan in plans if _shortfall(plan) <= 1.05 * least]
        chosen = max(good, key=lambda plan: plan.standing.behind_m)
    return plan_filming(camera, chosen.standing, shot, noise)


def _shortfall(plan: FilmingPlan) -> float:
    """Smallest over wanted swing, the worse of the two kinds."""
    if plan.yaw is None or plan.fast is None:
        return math.inf
    return max(s.smallest_mm / s.wanted_mm for s in (plan.yaw, plan.fast))


@dataclass(frozen=True, kw_only=True)
class _Expected:
    """What physics and the trade say of the shot, worked out once."""

    prediction: Prediction
    wanted_mm: tuple[float, float]


def _expected(shot: Shot) -> _Expected:
    thresholds = shipped_thresholds()
    lever = mm_per_degree(shot.arrow).value
    return _Expected(
        prediction=predict(shot.arrow, speed_m_s=shot.speed_m_s),
        wanted_mm=(
            thresholds.swing_yaw_deg * lever
            if shot.wanted_slow_mm is None
            else shot.wanted_slow_mm,
            thresholds.swing_fast_mm if shot.wanted_fast_mm is None else shot.wanted_fast_mm,
        ),
    )


def _plan(
    camera: CameraSetting,
    standing: Standing,
    shot: Shot,
    noise: NockNoise,
    expected: _Expected,
    *,
    with_frequency: bool,
) -> FilmingPlan:
    view = _view(camera, standing, shot, noise, expected.prediction)
    yaw_hz, bending = expected.prediction.yaw_hz, expected.prediction.bending_hz
    reach = math.exp(2 * bending.sigma)
    frame_hz = float(camera.frame_hz)
    folded = folded_band(bending.value / reach, bending.value * reach, frame_hz)
    seen = view.seen[:-1]
    seen_s = float(np.ptp(view.t_s[:-1][seen])) if seen.any() else 0.0
    plan = FilmingPlan(
        standing=standing,
        flight_s=view.flight_s,
        frames=len(seen),
        seen_frames=int(seen.sum()),
        seen_to_m=float(view.flown_m[:-1][seen].max(initial=0.0)),
        nock_px=(float(view.nock_px[0]), float(view.nock_px[-1])),
        noise_px=(float(view.sigma_px[0]), float(view.sigma_px[-1])),
        yaw_periods=seen_s * yaw_hz.value,
        bending_seen_hz=folded,
        bending_passes_for=_passes_for(folded, yaw_hz),
        yaw=None,
        fast=None,
        refused=None,
    )
    refused = why_refused(plan, frame_hz, seen_s)
    if refused is None:
        flight = _flight(camera, standing, view, expected.prediction)
        yaw, fast = _swings(flight, expected, with_frequency=with_frequency)
        plan = replace(plan, yaw=yaw, fast=fast)
    else:
        plan = replace(plan, refused=refused)
    return replace(plan, verdict=plan_verdict(plan, camera, shot))


@dataclass(frozen=True, kw_only=True, eq=False)
class _View:
    """The flight frame by frame: time, distance flown and from the camera, height, size, noise."""

    flight_s: float
    speed_m_s: float
    t_s: FloatArray
    flown_m: FloatArray
    away_m: FloatArray
    up_m: FloatArray
    climb_m_s: float
    nock_px: FloatArray
    sigma_px: FloatArray
    inside: BoolArray

    @property
    def seen(self) -> BoolArray:
        """(n,) whether the nock is in the picture and clear enough."""
        return self.inside & np.isfinite(self.sigma_px)


def _view(
    camera: CameraSetting, standing: Standing, shot: Shot, noise: NockNoise, expected: Prediction
) -> _View:
    """Fly the arrow past the frames: launched so that it strikes level with its release.

    The nock stops an arrow's length before the target, as in what the reading reckons with.
    """
    v, F = expected.speed_m_s.value, camera.zoomed_focal_px
    length_m = shot.arrow.length_m if shot.arrow is not None else None
    way_m = shot.distance_m - (ARROW_LENGTH_M.value if length_m is None else length_m)
    T = flight_time_s(v, USUAL_DRAG_PER_M, way_m)
    # the last of these times is that of the point in the target
    t = np.append(np.arange(0.0, T, 1 / float(camera.frame_hz)), T)
    s, _ = distance_over_speed(t, USUAL_DRAG_PER_M * v)
    fall = GRAVITY_M_S2 / 2 * fall_shape(t, USUAL_DRAG_PER_M * v)[0]
    climb = float(fall[-1] / s[-1])
    away = standing.behind_m + POWER_STROKE_M + v * s
    up = climb * s - fall
    x, y = F * standing.offset_m / away, F * up / away
    # aimed so that the target stays in the picture; what does not fit is lost at the release
    inside = (np.abs(x - x[-1]) <= KEPT_IN_VIEW * camera.width_px) & (
        np.abs(y - y[-1]) <= KEPT_IN_VIEW * camera.height_px
    )
    nock = F * shot.nock_diameter_m / away
    return _View(
        flight_s=T,
        speed_m_s=v,
        t_s=t,
        flown_m=v * s,
        away_m=away,
        up_m=up,
        climb_m_s=climb,
        nock_px=nock,
        sigma_px=believed_sigma_px(noise.sigma_px(nock, shot.marking), nock),
        inside=inside,
    )


def _flight(
    camera: CameraSetting, standing: Standing, view: _View, expected: Prediction
) -> PlannedFlight:
    """Put the seen part of the flight into the terms of the joint fit."""
    rows = np.flatnonzero(view.seen[:-1])
    first = int(rows[0])
    v0, F = view.speed_m_s, camera.zoomed_focal_px
    slower = math.exp(-USUAL_DRAG_PER_M * float(view.flown_m[first]))
    v = v0 * slower
    tau, per_m = float(view.away_m[first]) / v, F / v
    climb = view.climb_m_s * slower - GRAVITY_M_S2 * float(view.t_s[first])
    speed_error = expected.speed_m_s.sigma / expected.speed_m_s.value
    yaw = expected.yaw_hz
    return PlannedFlight(
        t_s=view.t_s[rows] - view.t_s[first],
        sigma_px=view.sigma_px[rows],
        px_s_per_m=per_m,
        path=np.array(
            [
                0.0,
                -standing.offset_m * per_m,
                0.0,
                (float(view.up_m[first]) - climb * tau) * per_m,
                per_m,
            ]
        ),
        priors=Priors(
            yaw_hz=Estimate(value=yaw.value * slower, sigma=yaw.sigma),
            yaw_damping_ratio=expected.yaw_damping_ratio,
            drag_per_s=Estimate(
                value=USUAL_DRAG_PER_M * v, sigma=DRAG_ERROR * USUAL_DRAG_PER_M * v
            ),
            singular_time_s=Estimate(value=tau, sigma=math.hypot(BEHIND_ERROR, speed_error)),
            fall_px_s=Estimate(value=per_m, sigma=per_m * math.hypot(LENS_ERROR, speed_error)),
        ),
        fast_hz=FAST_HZ,
        bending_hz=expected.bending_hz,
        frame_hz=float(camera.frame_hz),
    )


def _swings(
    flight: PlannedFlight, expected: _Expected, *, with_frequency: bool
) -> tuple[SwingPlan, SwingPlan]:
    """Smallest swing and frequency error of yaw and of the fast swing."""
    smallest = smallest_swing_m(flight)
    sigma_hz = (math.inf, math.inf)
    if with_frequency:
        sigma_hz = frequency_sigma_hz(
            flight, (1e-3 * expected.wanted_mm[0], 1e-3 * expected.wanted_mm[1])
        )
    yaw_hz = expected.prediction.yaw_hz
    return (
        SwingPlan(
            expected_hz=yaw_hz.value,
            smallest_mm=1e3 * smallest[0],
            wanted_mm=expected.wanted_mm[0],
            frequency_sigma_hz=sigma_hz[0],
            frequency_from_clip=sigma_hz[0] < yaw_hz.sigma * yaw_hz.value,
        ),
        SwingPlan(
            expected_hz=FAST_HZ,
            smallest_mm=1e3 * smallest[1],
            wanted_mm=expected.wanted_mm[1],
            frequency_sigma_hz=sigma_hz[1],
            frequency_from_clip=True,
        ),
    )


def _passes_for(bending_hz: tuple[float, float], yaw_hz: Estimate) -> tuple[Swing, ...]:
    """Which swings lie where bending can appear."""
    thresholds, reach = shipped_thresholds(), math.exp(yaw_hz.sigma)
    bands: tuple[tuple[Swing, float, float], ...] = (
        ("yaw", yaw_hz.value / reach, yaw_hz.value * reach),
        ("fast", thresholds.bands_fast_low_hz, thresholds.bands_fast_high_hz),
    )
    return tuple(name for name, low, high in bands if bending_hz[0] < high and bending_hz[1] > low)
