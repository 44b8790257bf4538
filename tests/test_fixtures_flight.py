"""The flight's physics against closed forms and textbook limits."""

from dataclasses import replace
from fractions import Fraction

import numpy as np
import pytest
from numpy.testing import assert_allclose

from fixtures.flight import (
    GRAVITY_M_S2,
    distance_flown_m,
    fall_m,
    impact_s,
    modes,
    roll_rad,
    speed_m_s,
    state,
    swing_m,
    verdict,
)
from fixtures.plan import (
    Camera,
    FlightPlan,
    Launch,
    Misfits,
    Planar,
    Rigid,
    Roll,
    Swings,
    Wobble,
)

CAMERA = Camera(
    width_px=1280, height_px=720, capture_hz=Fraction(240), focal_px=2000.0, behind_m=2.5,
    right_m=0.3, up_m=0.2,
)  # fmt: skip


def _plan(swings: Swings | None = None, **launch: float) -> FlightPlan:
    numbers = {
        "speed_m_s": 56.4, "elevation_deg": 0.0, "azimuth_deg": 0.0, "distance_m": 18.0, **launch,
    }  # fmt: skip
    return FlightPlan(camera=CAMERA, launch=Launch(**numbers), swings=swings or Swings())


def test_drag_follows_its_differential_equation() -> None:
    """dv/dt = -k v**2, by central differences of the distance."""
    plan, t, h = _plan(), np.linspace(0.01, 0.3, 7), 1e-4
    s = [distance_flown_m(plan, t + step) for step in (-h, 0.0, h)]
    assert_allclose((s[2] - s[0]) / (2 * h), speed_m_s(plan, t), rtol=1e-7)
    assert_allclose((s[2] - 2 * s[1] + s[0]) / h**2, -1.3e-3 * speed_m_s(plan, t) ** 2, rtol=1e-3)


def test_an_arrow_loses_about_a_twelfth_of_its_speed_over_a_long_shot() -> None:
    """About 8 % of 56.4 m/s lost in the flight.

    Ortiz, Miyazaki et al., Proceedings 49 (2020) 56, doi 10.3390/proceedings2020049056, whose
    flights were some 60 m long; drag between its short and its large vanes.
    """
    plan = _plan(distance_m=60.0)
    lost = 1 - speed_m_s(plan, [impact_s(plan)])[0] / 56.4
    assert 0.05 < lost < 0.11


def test_fall_without_drag_is_half_g_t_squared() -> None:
    """The textbook fall, as drag goes to nothing."""
    t = np.array([0.1, 0.33])
    assert_allclose(fall_m(_plan(drag_per_m=0.0), t), 0.5 * GRAVITY_M_S2 * t**2, rtol=1e-12)
    assert_allclose(fall_m(_plan(drag_per_m=1e-6), t), 0.5 * GRAVITY_M_S2 * t**2, rtol=1e-4)


def test_fall_with_drag_follows_its_differential_equation() -> None:
    """Y'' = g - k v y' downwards, by central differences."""
    plan, t, h = _plan(drag_per_m=4e-3), np.linspace(0.05, 0.3, 6), 1e-4
    y = [fall_m(plan, t + step) for step in (-h, 0.0, h)]
    down = (y[2] - y[0]) / (2 * h)
    assert_allclose(
        (y[2] - 2 * y[1] + y[0]) / h**2,
        GRAVITY_M_S2 - 4e-3 * speed_m_s(plan, t) * down,
        rtol=1e-4,
    )


def test_yaw_advances_with_the_distance_flown() -> None:
    """One wavelength v0/f on, the tail is back in phase and damped by the ratio's decrement."""
    plan = _plan(Swings(yaw=Rigid(deg=1.0, f_hz=4.0, damping_ratio=0.1)), drag_per_m=5e-3)
    wavelength = 56.4 / 4.0
    t = np.expm1(5e-3 * wavelength) / (5e-3 * 56.4)
    swung, _ = swing_m(plan, [0.0, t])
    decrement = np.exp(-2 * np.pi * 0.1 / np.sqrt(1 - 0.1**2))  # textbook logarithmic decrement
    assert_allclose(swung[1, 0] / swung[0, 0], decrement, rtol=1e-4)


def test_one_degree_of_yaw_is_about_eight_millimetres_at_the_nock() -> None:
    """7.2 to 8.1 mm for common arrows: centre of mass 0.41 to 0.465 m ahead (calculated)."""
    swung, tilt = swing_m(_plan(Swings(yaw=Rigid(deg=1.0))), [0.0])
    assert_allclose(swung[0], [0.46 * np.sin(np.pi / 180), 0.0], rtol=1e-12)
    assert_allclose(tilt[0], [-np.sin(np.pi / 180), 0.0], rtol=1e-12)


def test_bending_does_not_slow_with_the_arrow() -> None:
    """Bending keeps real time: a whole number of periods later only its decay has acted."""
    plan = _plan(Swings(bending=Planar(mm=3.0, f_hz=80.0, decay_per_s=10.0)), drag_per_m=5e-3)
    swung, _ = swing_m(plan, [0.0, 20 / 80.0])
    assert_allclose(swung[1, 0], 3e-3 * np.exp(-2.5), rtol=1e-9)


def test_wobble_is_a_circle_turning_with_the_arrow() -> None:
    """Its radius is constant; its angle is the arrow's roll."""
    plan = replace(
        _plan(Swings(wobble=Wobble(mm=2.0))), roll=Roll(turns_per_s=30.0, build_up_s=0.2)
    )
    t = np.linspace(0, 0.3, 11)
    swung, _ = swing_m(plan, t)
    assert_allclose(np.hypot(*swung.T), 2e-3, rtol=1e-12)
    assert_allclose(swung[:, 0], 2e-3 * np.cos(roll_rad(plan, t)), atol=1e-15)


def test_roll_builds_up_to_its_final_rate() -> None:
    """After many time constants the rate is the final one; at the start it is nil."""
    plan = replace(_plan(), roll=Roll(turns_per_s=30.0, build_up_s=0.02))
    turns = roll_rad(plan, [0.0, 1e-5, 0.29, 0.30]) / (2 * np.pi)
    assert turns[1] - turns[0] < 1e-6
    assert_allclose(turns[3] - turns[2], 0.3, rtol=1e-5)


def test_nock_on_the_string_joins_the_flight_without_a_jump() -> None:
    """Position and speed are continuous at release; the full draw lies a stroke behind."""
    plan = _plan(Swings(yaw=Rigid(deg=2.0, f_hz=3.0)))
    h = 1e-6
    z = state(plan, [-1.0, -2 * h, -h, h, 2 * h]).nock_m[:, 2]
    assert_allclose(z[0], -plan.launch.stroke_m, atol=1e-6)
    assert_allclose((z[2] - z[1]) / h, (z[4] - z[3]) / h, rtol=1e-3)


def test_flight_ends_when_the_point_touches_and_the_arrow_stays_in_the_butt() -> None:
    """Distance flown at impact is the range less the arrow; it then sinks in and rests."""
    plan = _plan()
    end = impact_s(plan)
    assert_allclose(distance_flown_m(plan, [end]), 18.0 - 0.72, rtol=1e-12)
    z = state(plan, [end, end + 1.0, end + 2.0]).nock_m[:, 2]
    assert_allclose(z[1] - z[0], plan.launch.sinks_m, rtol=1e-2)
    assert_allclose(z[2], z[1], atol=1e-6)


def test_changing_drag_meets_constant_drag_in_the_limit() -> None:
    """The tabled solution for drag that changes agrees with the closed form for no change."""
    steady = _plan()
    nearly = replace(steady, misfits=Misfits(drag_change=1 + 1e-9, drag_change_m=5.0))
    t = np.linspace(0, 0.3, 13)
    assert_allclose(distance_flown_m(nearly, t), distance_flown_m(steady, t), atol=1e-6)
    assert_allclose(fall_m(nearly, t), fall_m(steady, t), atol=1e-6)
    assert_allclose(impact_s(nearly), impact_s(steady), rtol=1e-7)
    assert_allclose(speed_m_s(nearly, t), speed_m_s(steady, t), rtol=1e-6)


def test_drag_that_changes_early_is_the_other_drag() -> None:
    """Changed at once, it flies like an arrow of that drag."""
    other = _plan(drag_per_m=2e-3)
    changed = _plan(drag_per_m=1e-3)
    changed = replace(changed, misfits=Misfits(drag_change=2.0, drag_change_m=-20.0))
    t = np.linspace(0, 0.3, 13)
    assert_allclose(distance_flown_m(changed, t), distance_flown_m(other, t), atol=1e-6)
    assert_allclose(fall_m(changed, t), fall_m(other, t), atol=1e-6)


def test_modes_tell_what_swings() -> None:
    """Strongest first, with the envelope that the motion has."""
    plan = _plan(Swings(fast=Planar(mm=5.0, f_hz=20.0, decay_per_s=3.0, direction_deg=30.0)))
    found = [(m.kind, m.axis) for m in modes(plan)]
    assert found == [("fast", "across"), ("fast", "up_down")]
    assert_allclose(modes(plan)[0].swing_mm_at(0.1), 5 * np.cos(np.pi / 6) * np.exp(-0.3))


@pytest.mark.parametrize(
    ("swings", "label"),
    [
        (Swings(), "clean"),
        (Swings(bending=Planar(mm=5.0, f_hz=80.0)), "clean"),
        (Swings(yaw=Rigid(deg=-1.0)), "fishtailing"),
        (Swings(pitch=Rigid(deg=0.7)), "porpoising"),
        (Swings(fast=Planar(mm=4.0), yaw=Rigid(deg=0.8)), "minnowing"),
        (Swings(fast=Planar(mm=4.0, direction_deg=90.0)), "clean"),
    ],
)
def test_label_is_the_disturbance_furthest_above_its_threshold(swings: Swings, label: str) -> None:
    """Bending alone is clean; the stronger of two leads."""
    assert verdict(_plan(swings)).label == label
