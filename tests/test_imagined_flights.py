"""Flights set by hand: the label that a clip of them would get, and frame rates that deceive."""

from __future__ import annotations

import time

import numpy as np
import pytest

from classify.imagined import Imagined, arrow_shape_mm, imagine


@pytest.mark.parametrize(
    ("flight", "label"),
    [
        (Imagined(yaw_mm=15.0), "fishtailing"),
        (Imagined(fast_mm=5.0), "minnowing"),
        (Imagined(pitch_mm=15.0), "porpoising"),
        (Imagined(), "clean"),
    ],
)
def test_plain_flights_get_their_names(flight: Imagined, label: str) -> None:
    """One wide swing of a kind is named for it; bending alone is clean."""
    assert imagine(flight).label == label


def test_bending_at_a_low_frame_rate_is_never_called_for_sure() -> None:
    """At 60 frames a second bending looks like a fast swing: no sure minnowing from it alone."""
    reading = imagine(Imagined(bending_mm=4.0, bending_hz=80.0, frame_hz=60))
    assert reading.label != "minnowing" or reading.presence["minnowing"] < 0.9


def test_bending_stands_where_the_frame_rate_folds_it() -> None:
    """80 Hz seen at 60 frames a second is 20 Hz, at 240 it is 80 (calc)."""
    seen = [
        imagine(Imagined(bending_mm=4.0, frame_hz=rate)).across[0].frequency_hz
        for rate in (60, 240)
    ]
    np.testing.assert_allclose(seen, [20.0, 80.0])


def test_swing_starts_as_wide_as_it_was_set() -> None:
    """The slow swing across begins at its full width, the one up-down at nought."""
    reading = imagine(Imagined(yaw_mm=12.0, pitch_mm=7.0, bending_mm=0.0))
    assert reading.spectrum is not None
    assert reading.scale is not None
    first = reading.spectrum.motion.swing[0] * 1e3 * reading.scale.m_per_px_s.value
    np.testing.assert_allclose(first, [12.0, 0.0], atol=1e-9)
    assert reading.across[0].swing_mm == pytest.approx(12.0)


def test_error_bars_are_those_of_a_fit_to_noisy_flights() -> None:
    """Claimed error of a fast swing against the scatter of fits to 300 noisy flights.

    The fit leaves offset, drift, frequency and decay free, linearised at the truth; a fast swing is
    so well timed that the priors of the claim do not matter. 300 flights scatter by 4 % (calc).
    """
    reading = imagine(Imagined(fast_mm=6.0, bending_mm=0.0))
    assert reading.spectrum is not None
    motion, mode = reading.spectrum.motion, reading.spectrum.modes[0]
    t, sigma = motion.time_s, motion.sigma[:, 0]
    size, turn = float(mode.amplitude[0]), 2 * np.pi * mode.f_hz * t
    fade = np.exp(-mode.decay_per_s * t)
    wave, slope = fade * np.sin(turn), fade * np.cos(turn)
    columns = np.column_stack((wave, slope, t * size * slope, t * size * wave, np.ones_like(t), t))
    rng = np.random.default_rng(17)
    noisy = (motion.swing[:, :1] + sigma[:, None] * rng.normal(size=(len(t), 300))) / sigma[:, None]
    found, *_ = np.linalg.lstsq(columns / sigma[:, None], noisy, rcond=None)
    np.testing.assert_allclose(found[0].std(), mode.sigma_amplitude[0], rtol=0.15)


def test_a_yawed_arrow_turns_about_its_balance_point() -> None:
    """Nock and point lie on opposite sides, as 0.46 to 0.26 m; a bent one has both on one side."""
    now = np.array([0.0])
    nock, _, point = arrow_shape_mm(Imagined(yaw_mm=10.0, bending_mm=0.0), now)[0, :, 0]
    np.testing.assert_allclose(point / nock, -0.26 / 0.46)
    nock, middle, point = arrow_shape_mm(Imagined(bending_mm=5.0), now)[0, :, 0]
    np.testing.assert_allclose([middle / nock, point / nock], [-0.608, 1.0])


def test_a_slider_answers_at_once() -> None:
    """One change of the sandbox computes well within a third of a second (ours to keep)."""
    imagine(Imagined())
    start = time.perf_counter()
    for _ in range(5):
        imagine(Imagined(yaw_mm=9.0, fast_mm=3.0, pitch_mm=4.0))
    assert (time.perf_counter() - start) / 5 < 0.15
