"""How far places may be from the nock: the stored numbers, their fit, and films they never saw."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from scipy.ndimage import gaussian_filter

from fixtures.render import render
from fixtures.train_claims import errors_of, fitted
from tests.tracked_films import small_flight, written
from tracker.claims import (
    FEATURES,
    LARGEST_FACTOR,
    claim_features,
    claimed_px,
    shipped_claim_model,
)
from tracker.linear_model import LinearModel, parse_linear_model, write_linear_model
from tracker.path import Perspective
from tracker.refine import clumped
from tracker.settle import Settled
from tracker.tail import Look


def settled(n: int, sigma_px: float, rng: np.random.Generator) -> Settled:
    """Make up a path of n places, with two frames in which nothing was seen."""
    size = np.geomspace(8, 1.2, n)
    xy = np.column_stack([np.linspace(100, 300, n), np.linspace(200, 150, n)])
    xy[[3, n // 2]] = np.nan
    sigma = np.where(np.isfinite(xy), sigma_px, np.nan)
    look = Look(
        size_px_s=0.1, blur_px=0.9, ring=2.8, exposure_s=7e-4, shaft_s=0.013, nock=200.0,
        shaft=45.0, vanes=4.0, unlike=0.5,
    )  # fmt: skip
    return Settled(
        xy_px=xy,
        sigma_px=sigma,
        spotted=np.isfinite(xy[:, 0]),
        size_px=np.where(np.isfinite(xy[:, 0]), size, np.nan),
        contrast=rng.uniform(10, 60, n),
        amplitude=rng.uniform(0.8, 1.2, n),
        explained=rng.uniform(0.6, 0.98, n),
        misfit=rng.uniform(0.5, 6, n),
        clumped=rng.uniform(0, 0.5, n),
        depth_s=0.1 / size,
        look=look,
        path=Perspective(singular_s=0.0, x=np.zeros(3), y=np.zeros(3)),
    )


def test_shipped_model_fits_the_features() -> None:
    """One finite weight for each feature, with the seed and number of its films."""
    model = shipped_claim_model()
    assert model.weights.shape == (len(FEATURES),)
    assert np.isfinite(model.weights).all()
    assert model.films >= 60


def test_a_model_is_read_as_it_was_written(tmp_path: Path) -> None:
    """To the last bit; for other features or another version it is refused."""
    model = LinearModel(weights=np.array([0.1, -2 / 3]), offset=1 / 3, seed=7, films=9)
    path = tmp_path / "model.json"
    write_linear_model(path, model, ("a", "b"), 3)
    text = path.read_text(encoding="utf-8")
    again = parse_linear_model(text, ("a", "b"), 3)
    assert (again.weights == model.weights).all()
    assert (again.offset, again.seed, again.films) == (model.offset, 7, 9)
    for features, version in ((("b", "a"), 3), (("a", "b"), 2)):
        with pytest.raises(ValueError, match="train it again"):
            parse_linear_model(text, features, version)


def test_claims_keep_to_the_places(rng: np.random.Generator) -> None:
    """Nothing is claimed where no place is, and no claim is changed beyond what was said."""
    path = settled(40, 0.2, rng)
    claimed = claimed_px(path)
    seen = np.isfinite(path.xy_px[:, 0])
    assert np.isfinite(claimed[seen]).all()
    assert np.isnan(claimed[~seen]).all()
    change = claimed[seen] / path.sigma_px[seen]
    assert (change <= LARGEST_FACTOR * (1 + 1e-9)).all()
    assert (change >= 1 / LARGEST_FACTOR * (1 - 1e-9)).all()
    assert claim_features(path, np.flatnonzero(seen)).shape == (seen.sum(), 2, len(FEATURES))


def test_few_places_keep_what_was_claimed(rng: np.random.Generator) -> None:
    """With too few it is not known what is usual."""
    path = settled(9, 0.3, rng)
    np.testing.assert_array_equal(claimed_px(path), path.sigma_px)


def test_fit_finds_the_law_that_errors_were_drawn_by(rng: np.random.Generator) -> None:
    """Invented errors, normal with a known spread and one in fifty a stray: weights within 0.05."""
    film = np.repeat(np.arange(40), 100)
    features = rng.normal(size=(len(film), 3))
    truth, offset = np.array([0.8, -0.4, 0.0]), -1.5
    error = rng.normal(size=len(film)) * np.exp(features @ truth + offset)
    error[::50] *= 30
    weights, found = fitted(features, error, film.astype(np.float64))
    assert weights == pytest.approx(truth, abs=0.05)
    assert found == pytest.approx(offset, abs=0.1)


@pytest.mark.parametrize("blur_px", [1.0, 1.5, 3.0])
def test_what_is_left_is_alike_as_far_as_it_was_blurred(
    blur_px: float, rng: np.random.Generator
) -> None:
    """White noise is not; behind a Gaussian blur of s pixels exp(-1 / (4 s^2)) is left of it."""
    left = rng.normal(size=(200, 200))
    assert abs(clumped(left)) < 0.02
    blurred = gaussian_filter(left, blur_px, mode="wrap")
    assert clumped(blurred) == pytest.approx(np.exp(-1 / (4 * blur_px**2)), abs=0.03)


@pytest.mark.parametrize("noise_dn", [0.8, pytest.param(4.0, marks=pytest.mark.long)])
def test_claims_are_true_on_films_of_another_size(noise_dn: float, tmp_path: Path) -> None:
    """Small films, of a size it was not trained on, as they were rendered.

    Six such films of two noises gave squared errors of 0.7 to 1.0 of the variance; before it was
    weighed whether what is left is alike in neighbouring pixels, 0.35 to 0.53.
    """
    plan = small_flight()
    sensor = replace(plan.sensor, read_dn=noise_dn, shot_dn=1.5 * noise_dn)
    rendered = render(replace(plan, sensor=sensor), seed=8)
    errors = errors_of(written(tmp_path, rendered.frames()), rendered.truth, "clear")
    assert errors is not None
    sigma = np.exp(shipped_claim_model().score(errors.features))
    z2 = (errors.error_px / sigma) ** 2
    assert 0.55 < z2.mean() < 1.6
