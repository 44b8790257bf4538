"""Places of which no more is known than that the arrow is about there are left out."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from unittest.mock import patch

import numpy as np
import pytest

from fixtures.render import render
from tests.tracked_films import small_flight, written
from tracker import flight
from tracker.claims import claimed_px
from tracker.follow import follow
from tracker.settle import Settled
from tracker.types import FloatArray, Followed


@pytest.fixture(scope="module")
def film(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Write a small film of one flight."""
    return written(tmp_path_factory.mktemp("film"), render(small_flight(), seed=8).frames())


def followed(film: Path, claim: Callable[[Settled], FloatArray]) -> Followed:
    """Follow a film, its places claimed by another rule."""
    with patch.object(flight, "claimed_px", claim):
        return follow(film)


def some_vague(settled: Settled) -> FloatArray:
    """Claim across, by turns: more than a pixel and the width, less than both, as it is."""
    sigma, size = claimed_px(settled), settled.size_px
    sigma[::3, 0] = np.maximum(1.01, 1.01 * size[::3])
    sigma[1::3, 0] = np.maximum(0.99, 0.99 * size[1::3])
    return sigma


def test_vague_places_are_left_out_and_no_others(film: Path) -> None:
    """Too much along one axis is enough."""
    usual = follow(film).flights[0]
    some = followed(film, some_vague).flights[0]
    left_out = np.flatnonzero(usual.seen & ~some.seen)
    assert len(left_out) == pytest.approx(usual.seen.sum() / 3, abs=2)
    # as it struck, one or two more may be taken for the target's
    assert len(set(left_out[:-2] % 3)) == 1
    assert np.isnan(some.sigma_px[left_out]).all()
    assert np.isnan(some.tail_px[left_out]).all()


def test_a_path_of_vague_places_is_no_flight(film: Path) -> None:
    """It is said that no arrow was found, instead of a path that tells nothing."""
    none = followed(film, lambda settled: np.full_like(settled.sigma_px, 50.0))
    assert none.flights == ()
    assert none.lost is not None
    assert none.lost.reason.key == "tracker.no_flight"
