"""Drag, rigid yaw and aliases against published and independently computed values."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from classify.physics import (
    distance_after_m,
    drag_per_m,
    fin_lift_slope,
    flight_time_s,
    folded_band,
    folded_hz,
    possible_true_hz,
    reynolds,
    speed_after_m_s,
    yaw_motion,
)
from tests.test_physics_arrow import SPINE_600
from tracker.types import InputError

# J. Ortiz, T. Miyazaki et al., Proceedings 49(1), 56 (2020), doi 10.3390/proceedings2020049056:
# drag coefficient with short straight vanes and with large ones, launch speed.
PUBLISHED_CD = (1.56, 2.05)
PUBLISHED_LAUNCH_M_S = 56.4


def test_speed_lost_over_a_long_flight():
    """Ortiz et al. 2020: about 8 % in the flight; their two vanes must bracket it over 70 m."""
    lost = [
        1 - speed_after_m_s(PUBLISHED_LAUNCH_M_S, drag_per_m(cd, 0.0055, 0.01987), 70.0) / 56.4
        for cd in PUBLISHED_CD
    ]
    assert lost[0] < 0.08 < lost[1]
    np.testing.assert_allclose(lost, 0.08, atol=0.02)


def test_drag_follows_the_equation_of_motion():
    """Closed forms against numerical integration of m dv/dt = -½ rho A Cd v²."""
    mass, d, cd, v0 = 0.020, 0.0055, 2.05, 57.0
    force = 0.5 * 1.204 * np.pi / 4 * d**2 * cd

    def motion(_t, state):
        return [state[1], -force / mass * state[1] ** 2]

    run = solve_ivp(motion, (0, 1.3), [0.0, v0], rtol=1e-10, atol=1e-10)
    z, v = run.y[:, -1]
    kappa = drag_per_m(cd, d, mass)
    np.testing.assert_allclose(distance_after_m(1.3, v0, kappa), z, rtol=1e-8)
    np.testing.assert_allclose(speed_after_m_s(v0, kappa, z), v, rtol=1e-8)
    np.testing.assert_allclose(flight_time_s(v0, kappa, z), 1.3, rtol=1e-8)


def test_flight_without_drag_is_distance_over_speed():
    """The limit of no air."""
    np.testing.assert_allclose(flight_time_s(55.0, 0.0, 18.0), 18 / 55)
    np.testing.assert_allclose(distance_after_m([0.1], 55.0, 0.0), [5.5])


def test_reynolds_number_of_published_runs():
    """1.2e4 belongs to a shaft of 3.2 mm at 56.4 m/s (Re = v d / nu, arithmetic)."""
    np.testing.assert_allclose(reynolds(56.4, 0.0032), 1.2e4, rtol=0.02)


def test_an_arrow_that_never_arrives_is_refused():
    """Drag past all sense."""
    with pytest.raises(InputError, match="stopped"):
        flight_time_s(50.0, 1.0, 18.0)


def test_lift_slope_of_three_vanes():
    """Barrowman 1967 (from memory) for 44 x 8 mm on 5.5 mm: 15.32 (computed independently)."""
    np.testing.assert_allclose(fin_lift_slope(SPINE_600), 15.32, atol=0.005)


def test_yaw_of_a_spine_600_arrow_at_55_m_s():
    """0.2585 N·m/rad, 2.218 Hz, 24.8 m, 0.086 (computed independently); unmeasured in any arrow."""
    yaw = yaw_motion(SPINE_600, 55.0)
    np.testing.assert_allclose(yaw.stiffness_n_m, 0.2585, rtol=1e-3)
    np.testing.assert_allclose(yaw.frequency_hz, 2.218, rtol=1e-3)
    np.testing.assert_allclose(yaw.wavelength_m, 24.8, atol=0.05)
    np.testing.assert_allclose(yaw.damping_ratio, 0.086, atol=5e-4)


def test_wavelength_and_damping_do_not_depend_on_speed():
    """James and Potts, Sports Engineering 21 (2018) 347-358: so it is with a thrown dart."""
    slow, quick = yaw_motion(SPINE_600, 30.0), yaw_motion(SPINE_600, 65.0)
    np.testing.assert_allclose(slow.wavelength_m, quick.wavelength_m)
    np.testing.assert_allclose(slow.damping_ratio, quick.damping_ratio)
    np.testing.assert_allclose(quick.frequency_hz / slow.frequency_hz, 65 / 30)


def test_damping_agrees_with_the_two_equations_of_motion():
    """Eigenvalues of drift and turning together against the one damping ratio."""
    V, rho = 55.0, 1.204
    yaw = yaw_motion(SPINE_600, V)
    # side force and moment on yaw angle a, turning rate q: a' = q - Z a, q' = -k/I a - c/I q
    k_over_i = (2 * np.pi * yaw.frequency_hz) ** 2
    area = np.pi / 4 * SPINE_600.diameter_m**2
    Z = 0.5 * rho * V * area * (fin_lift_slope(SPINE_600) + 2.0) / 0.01987
    total = 2 * yaw.damping_ratio * np.sqrt(k_over_i)
    poles = np.linalg.eigvals(np.array([[-Z, 1.0], [-k_over_i, -(total - Z)]]))
    np.testing.assert_allclose(-poles.real, total / 2, rtol=1e-9)
    # coupling stiffens the swing by less than one part in a hundred: f is told without it
    np.testing.assert_allclose(np.abs(poles), np.sqrt(k_over_i), rtol=0.01)


def test_bigger_vanes_swing_the_arrow_faster():
    """More lift at the same place is more stiffness."""
    bigger = replace(SPINE_600, vane_height_m=0.011)
    assert yaw_motion(bigger, 55.0).frequency_hz > yaw_motion(SPINE_600, 55.0).frequency_hz


def test_an_arrow_without_vanes_turns_over():
    """No stiffness, no frequency: refused, not invented."""
    with pytest.raises(InputError, match="turns_over"):
        yaw_motion(replace(SPINE_600, vanes=0), 55.0)


@pytest.mark.parametrize(
    ("true_hz", "seen_hz"),
    [
        (70, (10, 50, 70, 70)),
        (80, (20, 40, 80, 80)),
        (85, (25, 35, 85, 85)),
        (90, (30, 30, 90, 90)),
        (215, (25, 25, 25, 215)),
    ],
)
def test_where_bending_appears(true_hz, seen_hz):
    """At 60, 120, 240 and 480 frames a second (computed independently)."""
    seen = [float(folded_hz(true_hz, rate)) for rate in (60, 120, 240, 480)]
    np.testing.assert_allclose(seen, seen_hz, atol=1e-12)


def test_folding_agrees_with_sampled_cosines():
    """A cosine at the true frequency and one at the seen frequency give the same samples."""
    rng = np.random.default_rng(20)
    k = np.arange(50)
    for true_hz, rate in zip(rng.uniform(1, 300, 20), rng.uniform(24, 300, 20), strict=True):
        seen = folded_hz(true_hz, rate)
        np.testing.assert_allclose(
            np.cos(2 * np.pi * seen * k / rate), np.cos(2 * np.pi * true_hz * k / rate), atol=1e-9
        )


def test_a_band_that_turns_back_reaches_its_turning_point():
    """65 to 95 Hz at 120 a second: 25 to 55; at 60 a second from nothing to the limit."""
    np.testing.assert_allclose(folded_band(65, 95, 120), (25, 55))
    np.testing.assert_allclose(folded_band(58, 95, 60), (0, 30))
    np.testing.assert_allclose(folded_band(65, 95, 240), (65, 95))


def test_every_frequency_that_would_look_the_same():
    """Each candidate folds onto the one seen, and none below the limit is left out."""
    found = possible_true_hz(25.0, 120.0, 250.0)
    np.testing.assert_allclose(found, [25, 95, 145, 215])
    np.testing.assert_allclose(folded_hz(found, 120.0), 25.0)
