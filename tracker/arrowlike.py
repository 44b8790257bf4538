"""A settled path goes in, the probability that an arrow flew it comes out.

A logistic regression over what can be told of a path: an arrow is seen in most frames between its
first and last, swings as a tail does, comes into sight soon after the release from where the camera
stood behind it, explains what changed around it, keeps its brightness while it shrinks as one over
T, and falls as fast as its size says. Trained on rendered films, misfits among them, by
``python -m fixtures.train_arrowlike``, and stored as plain numbers in `arrowlike.json`.
"""

from __future__ import annotations

from functools import cache

import numpy as np

from tracker.along import GRAVITY, NOCK_M
from tracker.linear_model import LinearModel, shipped_linear_model
from tracker.path import Sky
from tracker.scene import Window
from tracker.settle import Settled
from tracker.types import FloatArray, IntArray

VERSION = 1
FEATURES = (
    "seen_share", "scatter", "growth", "ln_contrast", "ln_spotted", "ln_kept", "kept_share",
    "run_share", "explained", "ln_misfit", "ln_sigma", "ln_swing", "ln_rough", "ln_largest",
    "ln_smallest", "fall_z", "late", "score_share", "brightness",
)  # fmt: skip

FEWEST_SEEN = 12
"""Frames in which the nock must be seen."""

FALL_ALIKE = 0.3
"""Share by which fall and size of a nock may disagree, one standard deviation (chosen here)."""

USUAL_FALL_Z = 0.5
"""Where nothing is known of the fall, about the median of arrows."""

NEAREST_TRUE_S = (0.003, 0.010)
"""How long before the fingers let go an arrow at full speed would have passed the phone: never less
than the first, for all that stand a metre or more behind the drawn arrow more than the second; the
moment is known to some milliseconds."""

BRIGHT = 60.0
"""Grey level from which it does not matter how bright a nock is: a limb of the bow is darker."""


def probability(model: LinearModel, features: FloatArray) -> float:
    """Give the probability that an arrow flew a path.

    Parameters
    ----------
    model
        Its score is the logarithm of the odds.
    features
        (f,) from `features_of`.

    Returns
    -------
    float
    """
    return float(1 / (1 + np.exp(-np.clip(model.score(features), -30.0, 30.0))))


def features_of(
    window: Window, sky: Sky, settled: Settled, score_share: float
) -> FloatArray | None:
    """Tell what speaks for and against a path.

    Parameters
    ----------
    window, sky
        Where it was searched for.
    settled
        The path.
    score_share
        Its score in the search over that of the best path.

    Returns
    -------
    numpy.ndarray or None
        (f,) in the order of `FEATURES`; None if it is seen in too few frames.
    """
    kept = np.flatnonzero(np.isfinite(settled.xy_px[:, 0]))
    rows = np.flatnonzero(settled.spotted)
    if len(kept) < FEWEST_SEEN or len(rows) < FEWEST_SEEN:
        return None
    size_px = settled.look.size_px_s / settled.depth_s
    path_px = settled.path.at(window.times_s)
    off_px = settled.xy_px - path_px
    width_px = np.maximum(size_px, 1.0)
    amplitude, contrast = settled.amplitude[rows], np.maximum(settled.contrast[rows], 1e-3)
    middle = float(np.median(amplitude))
    scatter = 1.4826 * float(np.median(np.abs(amplitude - middle))) / max(middle, 1e-3)
    ln_depth = np.log(settled.depth_s[rows])
    growth = float(np.polyfit(ln_depth, np.log(np.maximum(amplitude, 0.05)), 1)[0])
    # faint places explain little of the noise around them, and near ones little of their vanes
    share = np.maximum(settled.explained[rows], 0)
    explained = max(float(np.median(share)), float(np.average(share, weights=contrast)))
    swing = np.abs(off_px[kept]) / size_px[kept][:, None]
    between = kept[1:-1][(np.diff(kept)[:-1] == 1) & (np.diff(kept)[1:] == 1)]
    bend = off_px[between - 1] - 2 * off_px[between] + off_px[between + 1]
    rough = np.linalg.norm(bend, axis=1) / width_px[between]
    found = {
        "seen_share": len(rows) / (rows[-1] - rows[0] + 1),
        "scatter": scatter,
        "growth": min(abs(growth), 1.5),
        "ln_contrast": float(np.log(np.linalg.norm(contrast))),
        "ln_spotted": float(np.log(len(rows))),
        "ln_kept": float(np.log(len(kept))),
        "kept_share": len(kept) / len(rows),
        "run_share": len(kept) / (kept[-1] - kept[0] + 1),
        "explained": explained,
        "ln_misfit": float(np.log(np.median(settled.misfit[rows]))),
        "ln_sigma": float(np.log(np.median(settled.sigma_px[kept].max(axis=1)))),
        "ln_swing": float(np.log(np.percentile(swing, 90) + 0.1)),
        "ln_rough": float(np.log(np.median(rough) + 0.02)) if len(between) else 0.0,
        "ln_largest": float(np.log(size_px[kept[0]])),
        "ln_smallest": float(np.log(size_px[kept[-1]])),
        "fall_z": min(abs(_fall_z(window, sky, settled, kept)), 4.0),
        "late": _late(window, int(rows[0])),
        "score_share": score_share,
        "brightness": min(settled.look.nock, BRIGHT) / BRIGHT,
    }
    return np.array([found[name] for name in FEATURES])


def _fall_z(window: Window, sky: Sky, settled: Settled, kept: IntArray) -> float:
    """How far the fall is from what the nock's size says: both grow with focal length over speed.

    The path is laid anew through the places, nothing said of its fall, and a swing up and down may
    hide as much as `Sky.tolerance_px` allows. Usual where the rate, and so the fall, is unknown.
    """
    if window.stretch is None:
        return USUAL_FALL_Z
    since = window.times_s[kept] - settled.path.singular_s
    tolerance = sky.tolerance_px(since)
    basis = np.stack([np.ones_like(since), 1 / since, since], axis=1) / tolerance[:, None]
    normal = basis.T @ basis
    fall = np.linalg.solve(normal, basis.T @ (settled.xy_px[kept, 1] / tolerance))[2]
    error = np.sqrt(np.linalg.inv(normal)[2, 2])
    due = settled.look.size_px_s * 0.5 * GRAVITY * window.stretch**2 / NOCK_M
    return float((fall - due) / np.hypot(error, FALL_ALIKE * due))


def behind(window: Window, settled: Settled) -> float:
    """Tell whether the camera stood behind the nock at the release, as a path says.

    The arrow of another archer, shot later, seems to have left a camera that stood before it.

    Parameters
    ----------
    window
        With the release.
    settled
        The path.

    Returns
    -------
    float
        1 if it did, 0 if not, between them if it stood too near to tell.
    """
    if window.stretch is None:
        return 1.0
    left_s = float(window.times_s[window.release - window.first])
    since_s = (left_s - settled.path.singular_s) * window.true_per_clock
    return float(np.interp(since_s, NEAREST_TRUE_S, [0.0, 1.0]))


def _late(window: Window, row: int) -> float:
    """Tenths of a second from the release until the nock came into sight, at most two."""
    seconds = (row + window.first - window.release) * window.step_s * window.true_per_clock
    return float(10 * min(seconds, 0.2))


@cache
def shipped_arrow_model() -> LinearModel:
    """Read the model that travels with the package."""
    return shipped_linear_model("arrowlike.json", FEATURES, VERSION)
