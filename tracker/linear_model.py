"""Linear models that were trained on films and are stored as plain numbers."""

from __future__ import annotations

import json
from dataclasses import dataclass
from importlib.resources import files
from pathlib import Path

import numpy as np

from tracker.types import FloatArray


@dataclass(frozen=True, kw_only=True, eq=False)
class LinearModel:
    """A weighted sum of features.

    Attributes
    ----------
    weights
        (f,)
    offset
        Added.
    seed, films
        What it was trained with.
    """

    weights: FloatArray
    offset: float
    seed: int
    films: int

    def score(self, features: FloatArray) -> FloatArray:
        """Give the sum for (..., f) features, as (...)."""
        return np.asarray(features @ self.weights + self.offset)


def parse_linear_model(text: str, features: tuple[str, ...], version: int) -> LinearModel:
    """Read a model from its JSON.

    Parameters
    ----------
    text
        As `write_linear_model` writes it.
    features, version
        For which it must have been made.

    Returns
    -------
    LinearModel

    Raises
    ------
    ValueError
        If it was made for other features or another version.
    """
    raw = json.loads(text)
    if raw["version"] != version or tuple(raw["features"]) != features:
        raise ValueError("the model was trained for other features; train it again")
    return LinearModel(
        weights=np.array(raw["weights"], dtype=np.float64),
        offset=float(raw["offset"]),
        seed=int(raw["seed"]),
        films=int(raw["films"]),
    )


def shipped_linear_model(name: str, features: tuple[str, ...], version: int) -> LinearModel:
    """Read a model that travels with the package, by the name of its file."""
    text = (files("tracker") / name).read_text(encoding="utf-8")
    return parse_linear_model(text, features, version)


def write_linear_model(
    target: Path, model: LinearModel, features: tuple[str, ...], version: int
) -> None:
    """Write a model as JSON.

    Parameters
    ----------
    target
        The file.
    model
        The numbers.
    features, version
        What they are for.
    """
    written = {
        "version": version,
        "seed": model.seed,
        "films": model.films,
        "features": features,
        "weights": [float(weight) for weight in model.weights],
        "offset": model.offset,
    }
    target.write_text(json.dumps(written, indent=1) + "\n", encoding="utf-8")
