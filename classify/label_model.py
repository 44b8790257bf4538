"""The learned part of the label: rule and swing of a disturbance go in, its presence comes out.

A logistic regression for each disturbance, trained on simulated flights, misfits among them,
by ``python -m fixtures.train_labels``. It is stored as plain numbers with seed and version in
`label_model.json`, and it corrects the rule where the rule is too sure; it never sees a clip.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from math import exp, log, log1p

from classify.types import DISTURBANCES, Disturbance

FEATURES = ("rule_logit", "ln_size", "ln_error", "rule_logit_by_error", "ln_residual", "odds")
VERSION = 1


@dataclass(frozen=True, kw_only=True)
class Showing:
    """How one disturbance shows in a flight.

    Attributes
    ----------
    rule
        Presence by the plain rule, 0 to 1.
    swing_mm, sigma_mm, threshold_mm
        The strongest swing that could be it, its error, and the swing from which it counts.
    odds
        Probability that this swing is of the right kind.
    chi2_per_dof
        Of the joint fit.
    """

    rule: float
    swing_mm: float
    sigma_mm: float
    threshold_mm: float
    odds: float
    chi2_per_dof: float

    def features(self) -> tuple[float, ...]:
        """List the numbers that the model weighs, in the order of `FEATURES`.

        Returns
        -------
        tuple of float
        """
        rule = min(max(self.rule, 1e-4), 1.0 - 1e-4)
        logit = log(rule) - log1p(-rule)
        size = log(max(self.swing_mm / self.threshold_mm, 0.03))
        error = log(min(max(self.sigma_mm / self.threshold_mm, 0.01), 10.0))
        residual = log(min(max(self.chi2_per_dof, 0.3), 30.0))
        return logit, size, error, logit * error, residual, self.odds


@dataclass(frozen=True, kw_only=True)
class LabelModel:
    """Weights of the logistic regressions.

    Attributes
    ----------
    weights
        For each disturbance one weight a feature.
    offsets
        For each disturbance.
    seed, flights
        What it was trained with.
    """

    weights: Mapping[Disturbance, tuple[float, ...]]
    offsets: Mapping[Disturbance, float]
    seed: int
    flights: int

    def presence(self, name: Disturbance, showing: Showing) -> float:
        """Probability that a disturbance is there.

        Parameters
        ----------
        name
            Which disturbance.
        showing
            How it shows.

        Returns
        -------
        float
        """
        terms = zip(self.weights[name], showing.features(), strict=True)
        score = self.offsets[name] + sum(weight * value for weight, value in terms)
        return 1.0 / (1.0 + exp(-min(max(score, -30.0), 30.0)))


def parse_label_model(text: str) -> LabelModel:
    """Read a model from its JSON.

    Parameters
    ----------
    text
        As written by ``python -m fixtures.train_labels``.

    Returns
    -------
    LabelModel

    Raises
    ------
    ValueError
        If it was made for other features or another version.
    """
    raw = json.loads(text)
    if raw["version"] != VERSION or tuple(raw["features"]) != FEATURES:
        raise ValueError("the label model was trained for other features; train it again")
    return LabelModel(
        weights={name: tuple(map(float, raw["weights"][name])) for name in DISTURBANCES},
        offsets={name: float(raw["offsets"][name]) for name in DISTURBANCES},
        seed=int(raw["seed"]),
        flights=int(raw["flights"]),
    )


@cache
def shipped_label_model() -> LabelModel | None:
    """Read the model that travels with the package.

    Returns
    -------
    LabelModel or None
        None where none was kept, because the plain rule did no worse.
    """
    file = files("classify") / "label_model.json"
    return parse_label_model(file.read_text(encoding="utf-8")) if file.is_file() else None
