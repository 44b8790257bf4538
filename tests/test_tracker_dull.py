"""A dull nock before a wall about as bright: the dark shaft's end stands out more than it does."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from fixtures.plan import FlightPlan
from fixtures.render import render
from tests.tracked_films import small_flight, written
from tracker.follow import follow
from tracker.likeness import discs, pixel_of, tails
from tracker.tail import Look, Patch, covers
from tracker.types import FloatArray


def off_in_nocks(plan: FlightPlan, seed: int, folder: Path) -> FloatArray:
    """Film a plan and follow it: how far each place lies from the truth, in widths of the nock."""
    rendered = render(plan, seed=seed)
    (track,) = follow(written(folder, rendered.frames())).flights
    rows = np.flatnonzero(track.seen)
    truth = rendered.truth
    away = np.linalg.norm(track.xy_px[rows] - truth.xy_in(track.reference_frame)[rows], axis=1)
    return np.asarray(away / truth.tail_px[rows])


@pytest.mark.long
@pytest.mark.parametrize(
    ("nock_luma", "light"),
    [(90.0, 0.8), pytest.param(75.0, 0.55, marks=pytest.mark.endurance)],
)
def test_the_nock_is_followed_and_not_the_shafts_end(
    nock_luma: float, light: float, tmp_path: Path
) -> None:
    """By median places lie within a third of the nock's width; once they lay one width off."""
    plan = small_flight()
    arrow = replace(plan.arrow, nock_luma=nock_luma, vane_luma=100.0, shaft_luma=40.0)
    plan = replace(plan, arrow=arrow, scene=replace(plan.scene, light=light))
    off = off_in_nocks(plan, 4, tmp_path)
    assert len(off) >= 25
    assert np.median(off) < 1 / 3


@pytest.mark.parametrize(
    ("vane_luma", "index_luma", "seed"),
    [
        (190.0, 60.0, 5),
        pytest.param(100.0, 230.0, 4, marks=[pytest.mark.long, pytest.mark.endurance]),
    ],
)
def test_a_dull_nock_is_told_from_brighter_vanes(
    vane_luma: float, index_luma: float, seed: int, tmp_path: Path
) -> None:
    """By median places lie within a third of the nock's width; once it was 0.4 and 0.8."""
    plan = small_flight()
    arrow = replace(
        plan.arrow, nock_luma=95.0, vane_luma=vane_luma, index_luma=index_luma, shaft_luma=40.0
    )
    plan = replace(plan, arrow=arrow, sensor=replace(plan.sensor, read_dn=2.5, shot_dn=4.0))
    off = off_in_nocks(plan, seed, tmp_path)
    assert len(off) >= 18
    assert np.median(off) < 1 / 3


def test_a_nock_as_bright_as_the_wall_is_found_by_its_shaft(rng: np.random.Generator) -> None:
    """Looked for from three pixels beside, a tail is found at its pixel; no disc stands there."""
    look = Look(
        size_px_s=0.2, blur_px=0.8, ring=2.0, exposure_s=1e-9, shaft_s=0.01,
        nock=140.0, shaft=40.0, vanes=0.0, unlike=0.5,
    )  # fmt: skip
    scene = np.tile(np.linspace(138.0, 142.0, 31), (27, 1))
    empty = Patch(
        row=0,
        x_px=np.arange(400.0, 431.0),
        y_px=np.arange(200.0, 227.0),
        picture=scene,
        scene=scene,
        weight=np.full(scene.shape, 0.25),
        depth_s=0.1,
        speed_px_s=np.zeros(2),
    )
    nock, ahead = np.array([413.7, 214.2]), np.array([5.0, -3.0])
    parts = covers(empty, look, nock, ahead, 1, slopes=False)
    drawn = scene + parts.nock * (look.nock - scene) + parts.shaft * (look.shaft - scene)
    patch = replace(empty, picture=drawn + rng.normal(0.0, 2.0, scene.shape))
    begun = nock + np.array([3.0, 2.0])
    gain = tails(patch, look, begun, ahead)
    assert gain is not None
    line, column = np.unravel_index(int(gain.argmax()), gain.shape)
    found = begun + np.subtract((column, line), pixel_of(patch, begun))
    np.testing.assert_allclose(found, nock, atol=0.75)
    for sign in (1.0, -1.0):
        contrast, _ = discs(patch, look, sign)
        line, column = np.unravel_index(int(contrast.argmax()), contrast.shape)
        assert np.hypot(*(np.array([column + 400.0, line + 200.0]) - nock)) > 1.0
