"""A settled path goes in, how far each place may be from the nock comes out.

What the pixels' noise and the scatter of neighbours tell of an error is not all: compression, vanes
and blur unlike the model's, and edges beneath shift neighbouring places together. How much, goes by
the nock's width, by what of the tail is seen, by how well the picture explains what changed, and by
whether what is left is alike in neighbouring pixels, which the camera's noise is not. A linear
model of the logarithm of the error, trained on rendered films of which the truth is known, by
``python -m fixtures.train_claims``, and stored as plain numbers in `claims.json`.
"""

from __future__ import annotations

from functools import cache

import numpy as np

from tracker.linear_model import LinearModel, shipped_linear_model
from tracker.settle import Settled
from tracker.types import FloatArray, IntArray

VERSION = 2
FEATURES = (
    "ln_sigma", "ln_width", "ln_width_squared", "unlike", "unexplained", "ln_misfit",
    "ln_contrast", "usually_unexplained", "usual_ln_sigma", "ln_places", "clumped",
    "usually_clumped",
)  # fmt: skip

MIDDLING_PX = 3.0
"""Width of a nock that is neither small nor large."""

MOST_UNLIKE = 0.5
"""Logarithm of how much brighter or darker than usual a tail may be; beyond it is all the same."""

FEWEST = 8
"""Places from which it is known what is usual."""

LARGEST_FACTOR = 6.0
"""By so much a claim is changed at most."""


def claim_features(settled: Settled, rows: IntArray) -> FloatArray:
    """Tell what the errors of some places may depend on.

    Parameters
    ----------
    settled
        The path.
    rows
        (m,) where it has places.

    Returns
    -------
    numpy.ndarray
        (m, 2, f) by place and axis, in the order of `FEATURES`.
    """
    ln_sigma = np.log(settled.sigma_px[rows])
    width = np.log(settled.size_px[rows] / MIDDLING_PX)
    amplitude = np.maximum(settled.amplitude[rows], 0.05)
    unlike = np.abs(np.log(amplitude / np.median(amplitude)))
    unexplained = 1 - settled.explained[rows]
    every = {
        "ln_width": width,
        "ln_width_squared": width**2,
        "unlike": np.minimum(unlike, MOST_UNLIKE),
        "unexplained": unexplained,
        "ln_misfit": np.log(settled.misfit[rows]),
        "ln_contrast": np.log(np.maximum(settled.contrast[rows], 1.0)),
        "usually_unexplained": np.full(len(rows), np.median(unexplained)),
        "clumped": settled.clumped[rows],
        "usually_clumped": np.full(len(rows), np.median(settled.clumped[rows])),
        "ln_places": np.full(len(rows), np.log(len(rows))),
    }
    both = {name: np.stack([one, one], axis=1) for name, one in every.items()}
    both["ln_sigma"] = ln_sigma
    both["usual_ln_sigma"] = np.broadcast_to(np.median(ln_sigma, axis=0), ln_sigma.shape)
    return np.stack([both[name] for name in FEATURES], axis=2)


def claimed_px(settled: Settled) -> FloatArray:
    """Give the standard errors that are claimed for a path's places.

    Parameters
    ----------
    settled
        The path.

    Returns
    -------
    numpy.ndarray
        (n, 2) pixels, NaN where there is no place.
    """
    rows = np.flatnonzero(np.isfinite(settled.xy_px[:, 0]))
    claimed = settled.sigma_px.copy()
    if len(rows) >= FEWEST:
        factor = np.exp(shipped_claim_model().score(claim_features(settled, rows))) / claimed[rows]
        claimed[rows] *= np.clip(factor, 1 / LARGEST_FACTOR, LARGEST_FACTOR)
    return claimed


@cache
def shipped_claim_model() -> LinearModel:
    """Read the model that travels with the package."""
    return shipped_linear_model("claims.json", FEATURES, VERSION)
