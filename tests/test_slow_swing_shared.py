"""Errors that neighbouring places share look like slow swing: they widen what is claimed of it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from classify import slow_swing
from classify.joint_fit import JointFit
from classify.judgement import measure, read_track
from classify.spectral import fit_swing
from classify.types import ModeLine, Priors, Spectrum, Unread
from fixtures.misfits import random_plan
from fixtures.simulate import CLEAR_TRACKING, simulate_track
from fixtures.train_labels import clip_of
from tests.drawn_flights import drawn_flight
from tests.simulated_tracks import Shot, fly

FLIGHTS, IGNORED = 18, 9
"""How many flights are read, and how many of them without allowing for shared errors too."""

SHARED = 0.8
"""Correlation from frame to frame: an error lasts for five frames, as on rendered films."""

CHANCE = 3 * np.sqrt(0.95 * 0.05 / FLIGHTS)
"""Three standard deviations of the share of so many intervals of 95 % that hold the truth."""


def yaw_in_sigmas(flights: int) -> np.ndarray:
    """Read yaw of flights whose places err alike: (flights, 2) errors over those claimed.

    Of its frequency, and of its swing across; NaN where no yaw was read.
    """
    tracking = replace(CLEAR_TRACKING, correlation=SHARED)
    found = np.full((flights, 2), np.nan)
    for seed in range(flights):
        rng = np.random.default_rng([41, seed])
        plan = random_plan(rng, "clear", disturbances=("fishtailing",))
        track, truth = simulate_track(plan, rng=rng, tracking=tracking)
        reading = read_track(track, clip=clip_of(plan, truth), known=truth.known)
        lines: list[ModeLine] = [line for line in reading.across if line.kind == "yaw"]
        if not lines:
            continue
        mode = next(m for m in truth.modes if m.kind == "yaw" and m.axis == "across")
        first = int(reading.flight_facts["first_frame"])
        swing_mm = mode.swing_mm_at(float(truth.time_s[first]) - truth.release_s)
        found[seed] = (
            (lines[0].frequency_hz - mode.f_hz) / lines[0].frequency_sigma_hz,
            (lines[0].swing_mm - swing_mm) / lines[0].swing_sigma_mm,
        )
    return found


@pytest.mark.long
def test_shared_errors_are_covered(monkeypatch: pytest.MonkeyPatch) -> None:
    """Intervals of 95 % hold frequency and swing, and fewer would without allowing for them."""
    allowed = yaw_in_sigmas(FLIGHTS)
    read = allowed[np.isfinite(allowed[:, 0])]
    assert len(read) >= 0.8 * FLIGHTS
    assert (np.abs(read) < 1.96).mean(axis=0).min() >= 0.95 - CHANCE
    monkeypatch.setattr(JointFit, "slow_noise", lambda _fit, _share: 1.0)
    ignored = yaw_in_sigmas(IGNORED)
    with_allowance, without = np.nanmean(allowed[:IGNORED] ** 2, axis=0), np.nanmean(ignored**2, 0)
    assert (with_allowance < 0.8 * without).all()


@pytest.mark.parametrize(("correlation", "low", "high"), [(0.0, 1.0, 1.4), (0.8, 3.0, 9.0)])
def test_the_slow_waves_of_the_residual_tell_of_shared_errors(correlation, low, high):
    """Errors kept from row to row by 0.8 have nine times the power in waves as slow as yaw."""
    shot = Shot(distance_m=50, yaw_m=(0.012, 0.006))
    rng = np.random.default_rng(8)
    excess = []
    for _ in range(6):
        track = fly(replace(shot, noise_px=1e-9), rng)
        error = rng.normal(size=track.xy_px.shape)
        for row in range(1, len(error)):
            error[row] = correlation * error[row - 1] + np.sqrt(1 - correlation**2) * error[row]
        sigma = np.where(np.isfinite(track.sigma_px), 0.15, np.nan)
        track = replace(track, xy_px=track.xy_px + 0.15 * error, sigma_px=sigma)
        spectrum = fit_swing(track, Priors())
        assert isinstance(spectrum, Spectrum)
        excess.append(spectrum.excess)
    assert low <= np.median(excess) <= high


def test_errors_that_split_yaw_from_pitch_make_no_fishtailing() -> None:
    """A porpoising to which the fit gave two vague frequencies; one of them was called yaw."""
    drawn = drawn_flight(31, 39)
    measured = measure(drawn.track, clip=drawn.clip, known=drawn.known)
    assert not isinstance(measured, Unread)
    assert sum(mode.slow for mode in measured.spectrum.modes) == 2
    reading = read_track(drawn.track, clip=drawn.clip, known=drawn.known)
    assert drawn.truth.presence["porpoising"]
    assert not drawn.truth.presence["fishtailing"]
    assert reading.presence["porpoising"] > 0.9
    assert reading.presence["fishtailing"] < 0.3


def test_slow_swing_believes_no_more_of_a_place_than_the_joint_fit(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """A tracker that claims a hundredth of its error is not believed by either."""
    monkeypatch.setattr(slow_swing, "JITTER_MM", 1e-3)
    rng = np.random.default_rng([43, 0])
    plan = random_plan(rng, "clear", disturbances=("fishtailing",))
    track, truth = simulate_track(plan, rng=rng, tracking=CLEAR_TRACKING)
    sigmas = []
    for claimed in (1.0, 0.01):
        sure = replace(track, sigma_px=claimed * track.sigma_px)
        measured = measure(sure, clip=clip_of(plan, truth), known=truth.known)
        assert not isinstance(measured, Unread)
        assert measured.slow is not None
        sigmas.append(measured.slow.swing_mm(0)[1])
    # What compression and the shape of the tail leave is most of the error of a clear film.
    assert sigmas[1] > 0.5 * sigmas[0]
