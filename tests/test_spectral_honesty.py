"""Claimed errors against true ones over many simulated flights, and both against the bound.

The simulator integrates forces in metres and shares no formula with the fit. What share of flights
must lie within their error bars is arithmetic of the normal distribution.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from classify.joint_fit import JointFit
from classify.motion import Oscillation
from classify.separable import solve
from classify.spectral import fit_swing
from classify.types import Mode, Priors, Spectrum
from tests.simulated_tracks import (
    Shot,
    Vibration,
    fly,
    singular_time_s,
    speed_at_first_seen,
)

YAW_BELOW_HZ = 7.0

LONG_YAW = Shot(
    distance_m=50, focal_px=2500, yaw_hz=2.5, yaw_m=(0.012, 0.006), yaw_phase_rad=(0.5, -1.0)
)
FAST = Vibration(f_hz=18.0, decay_per_s=6.0, amplitude_m=(0.005, 0.001), phase_rad=(1.0, 1.0))


def chance_shot(rng: np.random.Generator, *, yaw: bool, fast: bool) -> Shot:
    """Draw a shot from the population that the priors describe."""
    swing = rng.normal(0, 0.010, (2, 2)) if yaw else np.zeros((2, 2))
    vibrations = ()
    if fast:
        vibrations = (
            Vibration(
                f_hz=rng.uniform(9, 45),
                decay_per_s=rng.uniform(1, 12),
                amplitude_m=(rng.uniform(0.002, 0.006), rng.uniform(0, 0.002)),
                phase_rad=tuple(rng.uniform(-3, 3, 2)),
            ),
        )
    return Shot(
        speed_m_s=rng.normal(55, 5),
        drag_per_m=rng.normal(1.3e-3, 3e-4),
        camera_behind_m=rng.uniform(2, 5),
        camera_offset_m=tuple(rng.normal(0, 0.25, 2)),
        camera_roll_rad=rng.normal(0, 0.02),
        yaw_hz=2.8 * np.exp(np.clip(rng.normal(0, 0.35), -0.8, 0.8)),
        yaw_damping_ratio=np.clip(rng.normal(0.09, 0.03), 0.02, 0.2),
        yaw_m=tuple(np.hypot(*swing)),
        yaw_phase_rad=tuple(np.arctan2(swing[1], swing[0])),
        vibrations=vibrations,
    )


def mode_errors(mode: Mode, f_hz: float, amplitude: np.ndarray) -> list[float]:
    """Frequency and the two amplitudes: error over claimed error."""
    return [
        (mode.f_hz - f_hz) / mode.sigma_f_hz,
        *((mode.amplitude - amplitude) / mode.sigma_amplitude),
    ]


def errors_in_sigmas(count: int, seed: int, *, yaw: bool, fast: bool) -> dict[str, np.ndarray]:
    """Fly, fit and compare; flights whose mode was not found have no error to compare."""
    rng = np.random.default_rng(seed)
    found: dict[str, list[list[float]]] = {"yaw": [], "fast": [], "path": []}
    for _ in range(count):
        shot = chance_shot(rng, yaw=yaw, fast=fast)
        spectrum = fit_swing(fly(shot, rng), Priors())
        assert isinstance(spectrum, Spectrum)
        ratio = shot.focal_px / speed_at_first_seen(shot)
        tau, fall = spectrum.singular_time_s, spectrum.fall_px_s
        found["path"].append(
            [(tau.value - singular_time_s(shot)) / tau.sigma, (fall.value - ratio) / fall.sigma]
        )
        for mode in spectrum.modes:
            if yaw and mode.f_hz < YAW_BELOW_HZ:
                true = np.array(shot.yaw_m) * ratio
                found["yaw"].append(mode_errors(mode, shot.yaw_hz, true))
            elif fast and mode.f_hz >= YAW_BELOW_HZ:
                true = np.array(shot.vibrations[0].amplitude_m) * ratio
                found["fast"].append(mode_errors(mode, shot.vibrations[0].f_hz, true))
    return {kind: np.array(rows) for kind, rows in found.items() if rows}


def share_within(z: np.ndarray, sigmas: float) -> float:
    """Share of all errors within so many claimed errors."""
    return float(np.mean(np.abs(z) < sigmas))


@pytest.mark.parametrize(
    "count", [25, pytest.param(60, marks=[pytest.mark.long, pytest.mark.endurance])]
)
def test_errors_of_an_indoor_flight_are_as_claimed(count):
    """Of flights over 18 m with yaw and a fast swing, most lie within their error bars."""
    errors = errors_in_sigmas(count, 4, yaw=True, fast=True)
    for kind, z in errors.items():
        assert len(z) >= 0.8 * count, kind
        # Three standard deviations of a share of so many flights.
        assert share_within(z, 1.0) > 0.68 - 3 * np.sqrt(0.68 * 0.32 / len(z)), kind
        assert share_within(z, 1.96) > 0.95 - 3 * np.sqrt(0.95 * 0.05 / len(z)), kind


@pytest.mark.long
@pytest.mark.endurance
@pytest.mark.parametrize(("yaw", "fast"), [(True, False), (False, True), (True, True)])
def test_intervals_cover_as_they_claim(yaw, fast):
    """68 % and 95 % intervals of modes cover within 5 points over 400 flights of 18 m."""
    errors = errors_in_sigmas(400, 21, yaw=yaw, fast=fast)
    for kind in {"yaw", "fast"} & errors.keys():
        np.testing.assert_allclose(share_within(errors[kind], 1.0), 0.683, atol=0.05)
        np.testing.assert_allclose(share_within(errors[kind], 1.96), 0.95, atol=0.05)
    # The camera's distance and the fall: never too sure; unsure of a pitch that may not be there.
    assert share_within(errors["path"], 1.0) > 0.633
    assert share_within(errors["path"], 1.96) > 0.90


def bound_of(shot: Shot, priors: Priors) -> np.ndarray:
    """Cramér-Rao bound of (frequency, amplitude across) of every mode, at the true parameters."""
    track = fly(replace(shot, noise_px=1e-9), np.random.default_rng(0))
    track = replace(track, sigma_px=np.where(np.isfinite(track.sigma_px), shot.noise_px, np.nan))
    slow = shot.yaw_m[0] > 0
    fit = JointFit.of(track, np.flatnonzero(track.seen), priors)
    fit = replace(
        fit.expect_swing(shot.focal_px / shot.speed_m_s),
        oscillations=(
            Oscillation(slow=True),
            *(Oscillation(slow=False) for _ in shot.vibrations),
        ),
    )
    theta = [np.log(singular_time_s(shot)), 0.07, 0.0, np.log(shot.yaw_hz), shot.yaw_damping_ratio]
    for vibration in shot.vibrations:
        theta += [np.log(vibration.f_hz), vibration.decay_per_s]
    solution = solve(fit.problem(), np.array(theta))
    C, q = solution.covariance(), len(theta)
    bounds = []
    for k in range(0 if slow else 1, len(fit.oscillations)):
        i, j = 3 + 2 * k, q + 5 + 4 * k
        along = solution.linear[j - q : j - q + 2]
        along = along / np.hypot(*along)
        sd_f = np.exp(solution.nonlinear[i]) * np.sqrt(C[i, i])
        bounds.append((sd_f, np.sqrt(along @ C[j : j + 2, j : j + 2] @ along)))
    return np.array(bounds)


def errors_over_bound(shot: Shot, count: int, seed: int) -> np.ndarray:
    """Root mean square error of (frequency, amplitude across) of every mode over its bound.

    A mode not found has no error; one flight in twenty may lose one.
    """
    rng = np.random.default_rng(seed)
    ratio = shot.focal_px / speed_at_first_seen(shot)
    wanted = [(shot.yaw_hz, shot.yaw_m[0])] if shot.yaw_m[0] > 0 else []
    wanted += [(v.f_hz, v.amplitude_m[0]) for v in shot.vibrations]
    errors = np.zeros((count, len(wanted), 2))
    quiet = fly(replace(shot, noise_px=1e-9), rng)
    sigma = np.where(np.isfinite(quiet.sigma_px), shot.noise_px, np.nan)
    for row in errors:
        noise = rng.normal(0, shot.noise_px, quiet.xy_px.shape)
        track = replace(quiet, xy_px=quiet.xy_px + noise, sigma_px=sigma)
        modes = fit_swing(track, Priors()).modes
        if len(modes) != len(wanted):
            row[:] = np.nan
            continue
        for place, (f, amplitude) in enumerate(wanted):
            mode = min(modes, key=lambda m, f=f: abs(np.log(m.f_hz / f)))
            row[place] = mode.f_hz - f, mode.amplitude[0] - amplitude * ratio
    assert np.isnan(errors[:, 0, 0]).sum() <= count / 20
    return np.sqrt(np.nanmean(errors**2, axis=0)) / bound_of(shot, Priors())


def test_fast_swing_is_read_at_the_bound():
    """20 flights of 18 m at 0.15 px: errors within 1.5 bounds, give or take chance."""
    ratio = errors_over_bound(Shot(vibrations=(FAST,)), 20, 1)
    chance = 1 / np.sqrt(2 * 20)
    assert (ratio < 1.5 * (1 + chance)).all()
    assert (ratio > 1 - 3 * chance).all()


@pytest.mark.long
@pytest.mark.parametrize(
    "noise_px",
    [
        pytest.param(0.05, marks=pytest.mark.endurance),
        0.15,
        pytest.param(0.4, marks=pytest.mark.endurance),
    ],
)
@pytest.mark.parametrize(
    "shot",
    [LONG_YAW, Shot(vibrations=(FAST,)), replace(LONG_YAW, vibrations=(FAST,))],
    ids=["yaw", "fast", "both"],
)
def test_errors_are_within_one_and_a_half_bounds(shot, noise_px):
    """Frequency and swing, yaw over 50 m and a fast swing over 18 m, 1.0 to 1.5 bounds."""
    ratio = errors_over_bound(replace(shot, noise_px=noise_px), 40, 1)
    chance = 1 / np.sqrt(2 * 40)
    assert (ratio < 1.5).all(), ratio
    # The priors lower the error under the bound a little where noise is high.
    assert (ratio > 1 - 3 * chance).all(), ratio
