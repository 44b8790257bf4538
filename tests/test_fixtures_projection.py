"""The picture's geometry against numbers worked by hand from u = cx + F X/Z, v = cy - F Y/Z."""

from dataclasses import replace
from fractions import Fraction

import numpy as np
import pytest
from numpy.testing import assert_allclose

from fixtures.camera import aim_camera, aim_launch, nock_px, project
from fixtures.flight import impact_s, state
from fixtures.plan import Camera, FlightPlan, Launch

LENS = Camera(
    width_px=641, height_px=361, capture_hz=Fraction(240), focal_px=1500.0, behind_m=2.5,
    right_m=0.3, up_m=0.2,
)  # fmt: skip
LAUNCH = Launch(speed_m_s=50.0, elevation_deg=1.0, azimuth_deg=0.5, distance_m=18.0)


def test_point_ahead_falls_where_the_hand_computation_says() -> None:
    """X = 0.1 - 0.3, Y = -0.05 - 0.2, Z = 5 + 2.5 give 320 - 40 and 180 + 50 pixels."""
    assert_allclose(project(LENS, [[0.1, -0.05, 5.0]]), [[280.0, 230.0]], atol=1e-9)


def test_aim_to_the_right_moves_the_scene_to_the_left() -> None:
    """Turned by atan(0.1), the far point straight ahead stands at cx - 0.1 F."""
    turned = replace(LENS, yaw_deg=float(np.degrees(np.arctan(0.1))))
    assert_allclose(project(turned, [[0.3, 0.2, 100.0]]), [[320.0 - 150.0, 180.0]], atol=1e-9)


def test_aim_upwards_moves_the_scene_down() -> None:
    """Turned up by atan(0.05), the far point straight ahead stands at cy + 0.05 F."""
    turned = replace(LENS, pitch_deg=float(np.degrees(np.arctan(0.05))))
    assert_allclose(project(turned, [[0.3, 0.2, 100.0]]), [[320.0, 180.0 + 75.0]], atol=1e-9)


def test_camera_rolled_clockwise_sees_up_turn_to_the_left() -> None:
    """Rolled by a right angle, a point above the axis is seen to the left of the middle."""
    turned = replace(LENS, roll_deg=90.0)
    assert_allclose(project(turned, [[0.3, 0.2 + 0.1, 7.5]]), [[320.0 - 15.0, 180.0]], atol=1e-9)


def test_barrel_distortion_pulls_by_the_cube_of_the_radius() -> None:
    """At X/Z = 0.2 and k1 = -0.1 the point moves in by 0.1 * 0.2**3 F = 1.2 px."""
    bent = replace(LENS, k1=-0.1)
    assert_allclose(project(bent, [[2.3, 0.2, 7.5]]), [[320.0 + 300.0 - 1.2, 180.0]], atol=1e-9)


def test_camera_aims_at_the_face() -> None:
    """The middle of the face lies at the wanted share of the picture."""
    plan = aim_camera(FlightPlan(camera=LENS, launch=LAUNCH), x_share=0.7, y_share=0.4)
    face = [[LAUNCH.face_right_m, LAUNCH.face_up_m, LAUNCH.distance_m]]
    # Pixel centres run from 0 to width - 1; aim by two turns is right to a pixel or two.
    assert_allclose(project(plan.camera, face), [[0.7 * 641 - 0.5, 0.4 * 361 - 0.5]], atol=2.0)


def test_arrow_strikes_where_it_was_aimed() -> None:
    """The nock's path at impact, prolonged by the arrow's length, meets the face within 2 cm."""
    plan = aim_launch(FlightPlan(camera=LENS, launch=LAUNCH), right_m=0.1, up_m=-0.07)
    now = state(plan, [impact_s(plan)])
    point = now.nock_m[0] + plan.arrow.length_m * now.axis[0]
    assert_allclose(point, [LAUNCH.face_right_m + 0.1, LAUNCH.face_up_m - 0.07, 18.0], atol=0.02)


def test_rolling_shutter_shows_each_row_at_its_own_time() -> None:
    """The nock stands where it was when its own row was read."""
    rolling = FlightPlan(camera=replace(LENS, readout_s=0.008), launch=LAUNCH)
    still = FlightPlan(camera=LENS, launch=LAUNCH)
    t = np.array([0.05, 0.12, 0.25])
    xy, _ = nock_px(rolling, t)
    own_time = t + 0.008 * (xy[:, 1] / 360 - 0.5)
    assert_allclose(xy, nock_px(still, own_time)[0], atol=1e-3)
    assert np.abs(xy - nock_px(still, t)[0]).max() > 0.1


@pytest.mark.parametrize("azimuth_deg", [-1.5, 0.0, 2.0])
def test_steady_flight_is_offset_over_distance(azimuth_deg: float) -> None:
    """Across, a swingless path is alpha + beta/(b' + z) exactly, wherever the camera looks.

    A straight line in space under a pinhole: any three points fix the curve, the rest must follow.
    The turn of the lens about two axes mixes in the fall, so the lens here is level.
    """
    plan = FlightPlan(
        camera=replace(LENS, yaw_deg=3.0), launch=replace(LAUNCH, azimuth_deg=azimuth_deg)
    )
    t = np.linspace(0.01, 0.3, 9)
    now = state(plan, t)
    u = project(plan.camera, now.nock_m)[:, 0]
    z = now.nock_m[:, 2]
    # u (b + z) = alpha b + beta + alpha z: linear in (b, alpha b + beta, alpha).
    rows = np.stack([-u, np.ones_like(u), z], axis=1)
    solved = np.linalg.solve(rows[[0, 4, 8]], (u * z)[[0, 4, 8]])
    assert_allclose(rows @ solved, u * z, rtol=1e-9)
