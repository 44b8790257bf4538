"""Rendered frames against their truth: place, shake, order, noise, repeatability."""

from dataclasses import replace
from fractions import Fraction

import numpy as np
import pytest
from numpy.testing import assert_allclose, assert_array_equal

from fixtures.camera import aim_camera, aim_launch
from fixtures.plan import (
    Arrow,
    Camera,
    FlightPlan,
    Launch,
    Misfits,
    Rigid,
    Scene,
    Sensor,
    Shake,
    Swings,
)
from fixtures.render import Rendered, render
from fixtures.truth import shoot

SILENT = Sensor(psf_px=0.6, read_dn=0.0, shot_dn=0.0)


@pytest.fixture(scope="module")
def plan() -> FlightPlan:
    """Give a small film of an arrow alone, without noise, in a dim hall."""
    whole = FlightPlan(
        camera=Camera(
            width_px=480, height_px=272, capture_hz=Fraction(240), focal_px=900.0, behind_m=2.5,
            right_m=0.3, up_m=0.22, exposure_s=1 / 2000,
        ),
        launch=Launch(speed_m_s=52.0, elevation_deg=0.0, azimuth_deg=0.0, distance_m=18.0),
        sensor=SILENT,
        arrow=Arrow(index_luma=190.0),
        swings=Swings(yaw=Rigid(deg=1.5, f_hz=3.0)),
        scene=Scene(pre_roll_s=0.04, post_roll_s=0.03, archer=False, background="hall"),
    )  # fmt: skip
    return aim_camera(aim_launch(whole, right_m=0.05, up_m=0.02), x_share=0.68, y_share=0.35)


def _added_place(film: Rendered, row: int) -> np.ndarray:
    """Centroid of what the arrow adds to the scene around its true place."""
    frame = next(film.frames(first=row)).astype(float)
    empty = next(film.frames(first=0)).astype(float)
    x, y = np.rint(film.truth.xy_raw_px[row]).astype(int)
    box = np.s_[y - 6 : y + 7, x - 6 : x + 7]
    added = frame[box] - empty[box]
    ys, xs = np.mgrid[box]
    return np.array([(added * xs).sum(), (added * ys).sum()]) / added.sum()


@pytest.mark.parametrize("later", [3, 8, 20, 40])
def test_nock_appears_where_the_truth_says(plan: FlightPlan, later: int) -> None:
    """A nock alone stands in the frame within a twentieth of a pixel of the truth.

    Brightness is rounded to whole codes, so a centroid in the frame is no closer; the patch
    itself is held to a hundredth on its own.
    """
    nock = Arrow(
        vanes=0, shaft_diameter_m=1e-5, shaft_luma=118.0, nock_length_m=1e-4, nock_luma=255.0
    )  # what is left of the shaft has the brightness of the wall
    film = render(replace(plan, arrow=nock), seed=3)
    row = film.truth.release_frame + later
    assert_allclose(_added_place(film, row), film.truth.xy_raw_px[row], atol=0.05)


def test_same_seed_gives_the_same_bytes(plan: FlightPlan) -> None:
    """Frames repeat, whichever way they are walked through; another seed differs."""
    noisy = replace(plan, sensor=Sensor(), shake=Shake(rms_px=1.0))
    first, again, other = (render(noisy, seed=s) for s in (5, 5, 6))
    assert_array_equal(next(first.frames(first=12)), list(again.frames(first=10, last=13))[2])
    assert (next(first.frames(first=12)) != next(other.frames(first=12))).mean() > 0.2


def test_raw_minus_shake_is_the_still_path(plan: FlightPlan) -> None:
    """The path with shake taken off equals the path of a camera on a stand."""
    shaken = shoot(replace(plan, shake=Shake(rms_px=4.0, rotation_deg=0.2)), seed=4).truth
    still = shoot(plan, seed=4).truth
    assert_allclose(shaken.xy_raw_px - shaken.shake_px, still.xy_px, atol=1e-9)
    assert_allclose(still.shake_px, 0.0, atol=1e-9)
    assert_allclose(shaken.xy_in(7)[7], shaken.xy_raw_px[7], atol=1e-9)
    assert np.abs(shaken.shake_px).max() > 1.0


def test_scenery_moves_with_the_shake(plan: FlightPlan) -> None:
    """A pure shift of the picture moves the scenery by as much, to the interpolation's error."""
    shaken = render(replace(plan, shake=Shake(rms_px=5.0), launch=plan.launch), seed=8)
    still = render(plan, seed=8)
    base = next(still.frames(first=0)).astype(float)
    moved = next(shaken.frames(first=0)).astype(float)
    shift = shaken.truth.shake_affine[0, :, 2]
    inner = base[40:230, 40:440]
    gx, gy = np.gradient(base, axis=1)[40:230, 40:440], np.gradient(base, axis=0)[40:230, 40:440]
    whole = np.rint(shift).astype(int)
    seen = moved[40 + whole[1] : 230 + whole[1], 40 + whole[0] : 440 + whole[0]]
    rest = np.linalg.lstsq(
        np.stack([gx.ravel(), gy.ravel()], axis=1), (inner - seen).ravel(), rcond=None
    )[0]
    assert_allclose(whole + rest, shift, atol=0.2)


def test_noise_has_the_asked_for_size(plan: FlightPlan) -> None:
    """Standard deviation follows read and shot noise at the scene's brightness within 5 %."""
    noisy = render(replace(plan, sensor=Sensor(read_dn=2.0, shot_dn=6.0)), seed=9)
    clean = render(plan, seed=9)
    a = next(noisy.frames(first=0)).astype(float)[:60]
    b = next(clean.frames(first=0)).astype(float)[:60]
    expected = np.sqrt(4.0 + 36.0 * b.mean() / 255 + 1 / 12)
    assert_allclose((a - b).std(), expected, rtol=0.05)
    assert_allclose((a - b).mean(), 0.0, atol=0.15)


def test_noise_is_fresh_in_every_frame(plan: FlightPlan) -> None:
    """Two frames' noise is uncorrelated, and white across columns."""
    noisy = render(replace(plan, sensor=Sensor(read_dn=3.0, shot_dn=0.0)), seed=10)
    clean = next(render(plan, seed=10).frames(first=0)).astype(float)[:80]
    a, b = (f.astype(float)[:80] - clean for f in noisy.frames(first=0, last=2))
    assert abs(np.corrcoef(a.ravel(), b.ravel())[0, 1]) < 0.03
    assert abs(np.corrcoef(a[:, 1:].ravel(), a[:, :-1].ravel())[0, 1]) < 0.03


def test_dropped_frames_leave_a_gap_in_time(plan: FlightPlan) -> None:
    """Times keep the true gap; the other frames are what they were."""
    gappy = shoot(replace(plan, misfits=Misfits(dropped=(20, 21))), seed=1).truth
    whole = shoot(plan, seed=1).truth
    assert_allclose(np.diff(gappy.time_s)[19], 3 / 240, rtol=1e-9)
    assert_allclose(gappy.xy_px[20:], whole.xy_px[22:], atol=1e-12)


def test_doubled_frame_repeats_the_picture(plan: FlightPlan) -> None:
    """A doubled frame shows, and its truth is, the one before."""
    film = render(replace(plan, misfits=Misfits(doubled=(20,))), seed=1)
    nineteen, twenty = film.frames(first=19, last=21)
    assert_array_equal(nineteen, twenty)
    assert_allclose(film.truth.xy_px[20], film.truth.xy_px[19])


def test_archer_hides_the_nock_at_first_and_never_late(plan: FlightPlan) -> None:
    """Nothing is visible before release; the end of the flight is."""
    staged = replace(plan, scene=replace(plan.scene, archer=True))
    truth = shoot(staged, seed=1).truth
    assert not truth.visible[: truth.release_frame].any()
    assert truth.visible[truth.release_frame + 12 : truth.impact_frame].all()
    assert not truth.visible[truth.impact_frame :].any()


def test_left_handed_film_is_the_mirror_image(plan: FlightPlan) -> None:
    """A mirrored plan without scenery noise gives mirrored frames."""
    straight = replace(
        plan,
        launch=replace(plan.launch, azimuth_deg=0.0, face_right_m=0.0),
        camera=replace(plan.camera, yaw_deg=1.0),
        swings=Swings(),
        arrow=Arrow(vanes=0),
        scene=replace(plan.scene, archer=True),
    )
    mirrored = replace(
        straight,
        camera=replace(straight.camera, right_m=-straight.camera.right_m, yaw_deg=-1.0),
        scene=replace(straight.scene, hand="left"),
    )
    right, left = shoot(straight, seed=2).truth, shoot(mirrored, seed=2).truth
    width = straight.camera.width_px
    assert_allclose(left.xy_px[:, 0], width - 1 - right.xy_px[:, 0], atol=1e-9)
    assert_array_equal(left.visible, right.visible)
    row = right.release_frame + 3
    a = next(render(straight, seed=2).frames(first=row)).astype(float)
    b = next(render(mirrored, seed=2).frames(first=row)).astype(float)[:, ::-1]
    dark_a, dark_b = a < 80, b < 80  # archer and bow against the hall
    assert (dark_a != dark_b).mean() < 0.01
    assert dark_a.mean() > 0.05


def test_colour_frames_carry_the_same_brightness(plan: FlightPlan) -> None:
    """Luma of a colour frame is the grey frame; the colour planes have half its size."""
    film = render(plan, seed=3)
    colour = next(film.colour_frames())
    assert colour.shape == (408, 480)
    assert_array_equal(colour[:272], next(film.frames()))
