"""The moment an arrow stops, told from true places with noise added: no picture, no tracker."""

from __future__ import annotations

import numpy as np
import pytest

from fixtures.misfits import random_plan
from fixtures.truth import shoot
from tracker.flight import SINKING_SIGMA_TRUE_S, SINKING_TRUE_S
from tracker.landing import Landing, landing

FLIGHTS = 12
FIRST = 8
"""Frames after the release before which bow and archer hide the nock."""


def told(
    number: int,
    claimed_px: float,
    noise_px: float,
    *,
    whole: bool,
    shared: float = 0.0,
    hidden_s: float = 0.0,
) -> tuple[float, Landing | None]:
    """Give the true moment at which the point touches the face, and what is told of it.

    Neighbouring places may share a part of their errors, and some be hidden, most of them before it
    strikes.
    """
    rng = np.random.default_rng([5, number])
    truth = shoot(random_plan(rng, "clear"), seed=number, occlusion=False).truth
    assert truth.impact_s is not None
    rows = np.arange(truth.release_frame + FIRST, len(truth.time_s))
    if not whole:
        rows = rows[truth.time_s[rows] < truth.impact_s]
    time = truth.time_s[rows]
    error = rng.normal(0.0, noise_px, (len(rows), 2))
    for row in range(1, len(rows)):
        error[row] = shared * error[row - 1] + np.sqrt(1 - shared**2) * error[row]
    xy = truth.xy_in(truth.release_frame)[rows] + error
    xy[rng.random(len(rows)) < 0.15] = np.nan
    since = time - truth.impact_s
    xy[(since > -0.8 * hidden_s) & (since < 0.2 * hidden_s)] = np.nan
    since = time - (truth.release_s - truth.singular_time_s)
    size = truth.tail_px[rows[0]] * since[0] / since
    # the smaller the nock, the more the tracker claims
    claimed = claimed_px * np.linspace(1.0, 3.0, len(rows))[:, None] * np.ones(2)
    return truth.impact_s, landing(time, xy, claimed, size)


@pytest.mark.parametrize(("claimed_px", "noise_px"), [(0.1, 0.1), (0.4, 0.08)])
def test_impact_is_told_within_its_error(claimed_px: float, noise_px: float) -> None:
    """With errors claimed about rightly, and with far too large ones, which neighbours share."""
    far = []
    for number in range(FLIGHTS):
        impact_s, found = told(number, claimed_px, noise_px, whole=True)
        assert found is not None
        off = found.time_s - SINKING_TRUE_S - impact_s
        far.append(abs(off) / np.hypot(found.sigma_s, SINKING_SIGMA_TRUE_S))
    assert np.mean(np.array(far) < 2.0) >= 0.8
    assert max(far) < 5.0


@pytest.mark.parametrize(("shared", "hidden_s"), [(0.8, 0.0), (0.0, 0.1)])
def test_an_arrow_does_not_leap_to_where_it_stands(shared: float, hidden_s: float) -> None:
    """With errors that neighbours share, and with a gap in which it strikes."""
    far = []
    for number in range(30):
        impact_s, found = told(number, 0.25, 0.18, whole=True, shared=shared, hidden_s=hidden_s)
        if found is not None:
            off = found.time_s - SINKING_TRUE_S - impact_s
            far.append(off / np.hypot(found.sigma_s, SINKING_SIGMA_TRUE_S))
    assert len(far) >= 27
    assert np.mean(np.square(far)) < 1.5
    assert np.abs(far).max() < 3.5


@pytest.mark.parametrize(("claimed_px", "noise_px"), [(0.1, 0.1), (0.4, 0.08)])
def test_an_arrow_that_flies_to_the_end_does_not_land(claimed_px: float, noise_px: float) -> None:
    """Cut off before the impact, no flight is said to end, however slowly the nock creeps."""
    for number in range(FLIGHTS):
        _, found = told(number, claimed_px, noise_px, whole=False)
        assert found is None
