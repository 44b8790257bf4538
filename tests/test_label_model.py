"""The learned correction of the label, on weights that are made by hand."""

from __future__ import annotations

import json

import numpy as np
import pytest

from classify.label_model import FEATURES, VERSION, LabelModel, Showing, parse_label_model
from classify.types import DISTURBANCES
from fixtures.train_labels import calibration_error


def showing(rule: float, swing_mm: float) -> Showing:
    """Make a showing against a threshold of 4.6 mm."""
    return Showing(
        rule=rule, swing_mm=swing_mm, sigma_mm=0.6, threshold_mm=4.6, odds=1.0, chi2_per_dof=1.0
    )


def text_of(features: tuple[str, ...]) -> str:
    """Write a model that passes the rule on unchanged."""
    return json.dumps(
        {
            "version": VERSION,
            "features": features,
            "weights": {name: [1.0, 0.0, 0.0, 0.0, 0.0, 0.0] for name in DISTURBANCES},
            "offsets": dict.fromkeys(DISTURBANCES, 0.0),
            "seed": 1,
            "flights": 1,
        }
    )


@pytest.mark.parametrize("rule", [0.02, 0.5, 0.97])
def test_the_logit_of_the_rule_alone_gives_the_rule_back(rule):
    """Logistic of logit is the identity."""
    model = parse_label_model(text_of(FEATURES))
    np.testing.assert_allclose(model.presence("minnowing", showing(rule, 4.0)), rule, rtol=1e-9)


def test_a_wider_swing_with_weight_on_size_is_likelier():
    """One weight on ln size moves presence by the worked odds: twice as wide, twice the odds."""
    weights = (0.0, 1.0, 0.0, 0.0, 0.0, 0.0)
    model = LabelModel(
        weights=dict.fromkeys(DISTURBANCES, weights),
        offsets=dict.fromkeys(DISTURBANCES, 0.0),
        seed=1,
        flights=1,
    )
    p, q = (model.presence("porpoising", showing(0.5, mm)) for mm in (4.6, 9.2))
    np.testing.assert_allclose([p / (1 - p), q / (1 - q)], [1.0, 2.0], rtol=1e-9)


def test_a_model_for_other_features_is_refused():
    """Weights that belong to other numbers do not load."""
    with pytest.raises(ValueError, match="train it again"):
        parse_label_model(text_of(FEATURES[:-1]))


def test_calibration_error_of_a_worked_example():
    """Two bins, worked by hand: 0.5 |0.25 - 0| + 0.5 |0.75 - 1| = 0.25."""
    error = calibration_error(np.array([0.25, 0.25, 0.75, 0.75]), np.array([0.0, 0, 1, 1]), bins=2)
    np.testing.assert_allclose(error, 0.25, rtol=1e-12)
