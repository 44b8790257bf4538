"""What tells an arrow's path from others: the stored numbers, and what they make of films."""

from __future__ import annotations

import json
from importlib.resources import files
from pathlib import Path

import numpy as np
import pytest
from sklearn.linear_model import LogisticRegression

from fixtures.plan import Misfits
from fixtures.render import render
from fixtures.train_arrowlike import paths_of, summary
from tests.tracked_films import small_flight, written
from tracker.arrowlike import FEATURES, VERSION, probability, shipped_arrow_model
from tracker.flight import CLAIM
from tracker.linear_model import LinearModel, parse_linear_model


def test_shipped_model_fits_the_features() -> None:
    """One finite weight for each feature, with the seed and number of its films."""
    model = shipped_arrow_model()
    assert model.weights.shape == (len(FEATURES),)
    assert np.isfinite(model.weights).all()
    assert model.films >= 100


def test_model_of_other_features_is_refused() -> None:
    """Numbers trained for another list are not taken for these."""
    raw = json.loads((files("tracker") / "arrowlike.json").read_text(encoding="utf-8"))
    raw["features"] = raw["features"][::-1]
    with pytest.raises(ValueError, match="train it again"):
        parse_linear_model(json.dumps(raw), FEATURES, VERSION)


def test_probability_is_that_of_scikit_learn() -> None:
    """scikit-learn's own prediction from the same weights, on invented numbers."""
    rng = np.random.default_rng(3)
    x = rng.normal(size=(200, len(FEATURES)))
    fitted = LogisticRegression().fit(x, x[:, 0] + rng.normal(size=200) > 0)
    model = LinearModel(
        weights=fitted.coef_[0], offset=float(fitted.intercept_[0]), seed=3, films=200
    )
    mine = [probability(model, row) for row in x]
    assert mine == pytest.approx(fitted.predict_proba(x)[:, 1], abs=1e-9)


@pytest.mark.long
@pytest.mark.parametrize(
    "misfits",
    [
        pytest.param(Misfits(), marks=pytest.mark.endurance),
        Misfits(walker=True, leaves_px=3.0),
    ],
)
def test_arrows_are_likelier_than_what_else_moves(tmp_path: Path, misfits: Misfits) -> None:
    """Of all paths through a small film the arrow's is claimed and no other is."""
    plan = small_flight(misfits)
    rendered = render(plan, seed=5)
    paths = paths_of(written(tmp_path, rendered.frames()), plan, rendered.truth)
    sure = [probability(shipped_arrow_model(), one) for one in paths.features]
    claimed = np.array(sure) * paths.possible > CLAIM
    assert claimed[paths.true].any()
    assert not claimed[~paths.true].any()


def test_summary_counts_the_surest_path_of_each_film() -> None:
    """Three films by hand: one right, one wrong, one unsure."""
    film = np.array([0, 0, 1, 2])
    sure = np.array([0.95, 0.2, 0.85, 0.3])
    true = np.array([True, False, False, True])
    lines = summary(film, sure, true, 3)
    assert lines[0] == "4 paths of 3 films, 2 an arrow's; in 2 films there is one"
    assert "claimed above 0.8: right in 1 films, wrong in 1" in lines
    assert "claimed above 0.9: right in 1 films, wrong in 0" in lines
