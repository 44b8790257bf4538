"""A dull nock before a wall about as bright: the dark shaft's end stands out more than it does."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from fixtures.render import render
from tests.tracked_films import small_flight, written
from tracker.follow import follow


@pytest.mark.parametrize(("nock_luma", "light"), [(90.0, 0.8), (75.0, 0.55)])
def test_the_nock_is_followed_and_not_the_shafts_end(
    nock_luma: float, light: float, tmp_path: Path
) -> None:
    """By median places lie within a third of the nock's width; once they lay one width off."""
    plan = small_flight()
    arrow = replace(plan.arrow, nock_luma=nock_luma, vane_luma=100.0, shaft_luma=40.0)
    plan = replace(plan, arrow=arrow, scene=replace(plan.scene, light=light))
    rendered = render(plan, seed=4)
    (track,) = follow(written(tmp_path, rendered.frames())).flights
    rows = np.flatnonzero(track.seen)
    truth = rendered.truth
    away = np.linalg.norm(track.xy_px[rows] - truth.xy_in(track.reference_frame)[rows], axis=1)
    assert len(rows) >= 25
    assert np.median(away / truth.tail_px[rows]) < 1 / 3
