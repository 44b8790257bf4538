"""Frames in which the tail is neither huge nor tiny go in, the look of the arrow comes out."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
from scipy.ndimage import median_filter

from tracker.along import Along, rows_of
from tracker.likeness import discs, from_segment, pixel_of
from tracker.refine import Pose, fit_look, patch_cost
from tracker.tail import Look, Patch
from tracker.types import FloatArray

CLEAR_CONTRAST = 4.0
"""Standard errors of contrast from which a place is claimed (chosen here)."""

EXPLAINED = 0.12
"""Share of what changed that a bright nock may leave for a dark one not to be tried."""

CLEARLY = 0.93
"""Share of what another look leaves below which a dark nock is believed (tuned on rendered
films)."""

NOCK_BEHIND = 1.2
"""Widths of the nock by which the end of the shaft lies before it, about."""

SEEN_LEVEL, SHAFT_LEVELS = 160.0, 20.0
"""Grey level from which a nock is not taken for the shaft's end, and difference from the shaft's
below which it may be just that (chosen here)."""

BEHIND, NO_NOCK = 0.97, 1.12
"""Share of what the first look leaves below which the nock is believed to lie behind; and where
what was found is as dark as the shaft, for no nock is sold so (tuned on rendered films)."""

LEARN_FROM, FEWEST_LEARNT = 9, 5
"""Frames the look is learnt from, and without which it is not (chosen here)."""

AGAIN_FROM, FEWEST_AGAIN = 14, 6
"""Frames a dull look is learnt from once more, and without which it is not (chosen here)."""

AGAIN_PX = (1.8, 6.0)
"""Diameters of the nock in them, pixels: a smaller one shows no shape (chosen here)."""

ALIKE_LEVELS = 45.0
"""Grey levels by which a nock may seem brighter or darker from frame to frame (chosen here)."""


@dataclass(frozen=True, kw_only=True, eq=False)
class _StandsOut:
    """Discs of the nock's size that stand out.

    Attributes
    ----------
    spots
        (n, 2) of one smooth path through them, reference coordinates.
    level
        Their brightness.
    steady
        (n,) where one lies as its neighbours do, about as bright.
    """

    spots: FloatArray
    level: float
    steady: npt.NDArray[np.bool_]


@dataclass(frozen=True, kw_only=True, eq=False)
class _Trial:
    """A look fitted to some patches, the poses under it, and what it leaves in each patch.

    `spots` are the places in all frames from which it began, (n, 2) reference coordinates.
    """

    look: Look
    poses: list[Pose]
    costs: FloatArray
    spots: FloatArray


def learn(along: Along) -> bool:
    """Fit the look on the frames in which the tail is neither huge nor tiny.

    A bright nock before a dark shaft, or a dark one, is tried both ways: whichever leaves
    less of the same pixels unexplained is kept.
    """
    wide = {row: p for row in along.rows.tolist() if (p := along.patch(row, wide=True)) is not None}
    if len(wide) < FEWEST_LEARNT:
        return False
    bright, dark = _stand_out(along, wide, 1.0), _stand_out(along, wide, -1.0)
    if max(bright.steady.sum(), dark.steady.sum()) < FEWEST_LEARNT:
        return False
    rows = _lessons(along, list(wide), bright.steady, dark.steady)
    patches = [wide[row] for row in rows]
    trials: list[_Trial] = []
    for stands in (bright, dark):
        look = replace(along.look, nock=stands.level)
        trials.append(_trial(along, patches, look, stands.spots))
        bare = [float((p.weight * (p.picture - p.scene) ** 2).mean()) for p in patches]
        if np.median((trials[-1].costs - 0.5) / np.array(bare)) < EXPLAINED:
            break
    # nocks are sold to be seen: a dark one must explain the pixels clearly better
    best = trials[-1] if _worse(trials[-1], trials[0]) < CLEARLY else trials[0]
    if best.look.nock < SEEN_LEVEL:
        behind = _behind(along, patches, best)
        if _worse(behind, best) < (NO_NOCK if _shafts_end(best.look) else BEHIND):
            best = behind
    along.look = best.look
    along.expected = along.expect(_spots(along, patches, best))
    return True


def learn_again(along: Along, poses: Mapping[int, Pose]) -> bool:
    """Fit the look of a dull nock once more, from more frames and with its vanes told apart.

    The first lesson saw few frames and a plain ring about the nock: of dull arrows the brightest
    vane was often taken for the nock, or the end of the shaft.

    Parameters
    ----------
    along
        Its look is replaced; where the nock turns out to lie behind, so is what is expected.
    poses
        By frame, what was placed and is believed.

    Returns
    -------
    bool
        Whether there is a new look.
    """
    diameter = along.look.size_px_s / along.depth
    rows = [row for row in poses if AGAIN_PX[0] < diameter[row] < AGAIN_PX[1]]
    if len(rows) < FEWEST_AGAIN:
        return False
    spread = np.unique(np.linspace(0, len(rows) - 1, AGAIN_FROM).astype(int)).tolist()
    cut = [(rows[k], along.patch(rows[k])) for k in spread]
    patches = [patch for _, patch in cut if patch is not None]
    if len(patches) < FEWEST_AGAIN:
        return False
    spots = np.full((along.n, 2), np.nan)
    for row, pose in poses.items():
        spots[row] = along.footage.motion(row).to_reference(pose.xy_px[None])[0]
    before = [poses[patch.row] for patch in patches]
    best = _fitted(along, patches, along.look, before, spots)
    behind = _behind(along, patches, best)
    if _worse(behind, best) < (NO_NOCK if _shafts_end(best.look) else 1.0):
        along.expected = along.expect(_spots(along, patches, behind))
        best = behind
    along.look = best.look
    return True


def _shafts_end(look: Look) -> bool:
    """Whether what was found is as dark as the shaft: no nock is sold so."""
    return abs(look.nock - look.shaft) < SHAFT_LEVELS


def _spots(along: Along, patches: list[Patch], trial: _Trial) -> FloatArray:
    """(n, 2) where a trial began, and where it ended in its own frames."""
    spots = trial.spots.copy()
    for patch, pose in zip(patches, trial.poses, strict=True):
        spots[patch.row] = along.footage.motion(patch.row).to_reference(pose.xy_px[None])[0]
    return spots


def _trial(along: Along, patches: list[Patch], look: Look, spots: FloatArray) -> _Trial:
    """Fit a look to patches from where the nock may be, (n, 2) reference coordinates."""
    raw = [along.footage.motion(p.row).to_raw(spots[p.row : p.row + 1])[0] for p in patches]
    return _fitted(along, patches, look, [Pose.at(one, 1) for one in raw], spots)


def _fitted(
    along: Along, patches: list[Patch], look: Look, poses: list[Pose], spots: FloatArray
) -> _Trial:
    """Fit a look to patches from poses, of which `spots` are the places."""
    aheads = [along.ahead(patch.row) for patch in patches]
    look, poses = fit_look(patches, look, poses, aheads, rounds=4)
    costs = [patch_cost(p, look, q, a) for p, q, a in zip(patches, poses, aheads, strict=True)]
    return _Trial(look=look, poses=poses, costs=np.array(costs) + 0.5, spots=spots)


def _behind(along: Along, patches: list[Patch], trial: _Trial) -> _Trial:
    """Try whether what was taken for the nock is the shaft, and the nock lies behind it.

    Where a dull nock is about as bright as the wall, the end of the shaft stands out more.
    """
    spots, levels, poses = trial.spots.copy(), [], []
    for row in rows_of(spots).tolist():
        spots[row] -= _back(along, row, trial.look)
    for patch, pose in zip(patches, trial.poses, strict=True):
        at = pose.xy_px - _back(along, patch.row, trial.look)
        poses.append(Pose.at(at, len(pose.sectors)))
        spots[patch.row] = along.footage.motion(patch.row).to_reference(at[None])[0]
        column, line = pixel_of(patch, at)
        if 0 <= column < len(patch.x_px) and 0 <= line < len(patch.y_px):
            levels.append(float(patch.picture[line, column]))
    level = float(np.median(levels)) if levels else trial.look.nock
    return _fitted(along, patches, replace(trial.look, nock=level), poses, spots)


def _back(along: Along, row: int, look: Look) -> FloatArray:
    """(2,) from the nock to the end of the shaft before it."""
    ahead = along.ahead(row)
    width = look.size_px_s / along.depth[row]
    return np.asarray(NOCK_BEHIND * width * ahead / max(float(np.hypot(*ahead)), 1e-6))


def _lessons(along: Along, rows: list[int], *steady: npt.NDArray[np.bool_]) -> list[int]:
    """Choose rows in which the nock is of middling size, by the first that tells enough.

    A disc that stands out in one frame alone is part of bow, archer or scene.
    """
    diameter = along.look.size_px_s / along.depth
    rows = sorted(rows, key=lambda row: abs(np.log(diameter[row] / 4.0)))
    for one in steady:
        told = [row for row in rows if one[row]]
        if len(told) >= FEWEST_LEARNT:
            rows = told
            break
    return rows[: 2 * LEARN_FROM : 2] if len(rows) >= 2 * LEARN_FROM else rows[:LEARN_FROM]


def _stand_out(along: Along, wide: dict[int, Patch], sign: float) -> _StandsOut:
    """Find in each patch the disc of the expected size that stands out most, bright or dark."""
    found = np.full((along.n, 2), np.nan)
    levels: dict[int, float] = {}
    strength: dict[int, float] = {}
    for row, patch in wide.items():
        radius = 0.5 * along.look.size_px_s / patch.depth_s
        score, change = discs(patch, along.look, sign)
        # a path through the middles of dark shafts has the nock behind it
        at = along.footage.motion(row).to_raw(along.expected[row : row + 1])[0]
        ahead = along.ahead(row)
        far = from_segment(patch, at - 0.6 * ahead, at + 0.2 * ahead)
        score = np.where(far < 2.0 + 2.0 * radius, score, 0)
        iy, ix = np.unravel_index(int(score.argmax()), score.shape)
        raw = np.array([[patch.x_px[ix], patch.y_px[iy]]])
        found[row] = along.footage.motion(row).to_reference(raw)[0]
        strength[row] = float(score[iy, ix])
        levels[row] = float(patch.scene[iy, ix] + sign * change[iy, ix])
    rows = rows_of(found)
    path = along.fitted(rows, found, None)
    if path is None or path.singular_s > along.sky.time_s[rows[0]] - 0.7 * along.step:
        path = along.path
    swing = (found - path.at(along.sky.time_s)) * along.depth[:, None]
    diameter = along.look.size_px_s / along.depth
    near = np.linalg.norm(swing, axis=1) < (2.0 + 1.2 * diameter) * along.depth
    found[~near] = np.nan
    steady = np.zeros(along.n, dtype=np.bool_)
    rows = rows_of(found)
    if len(rows) >= FEWEST_LEARNT:
        leap = swing[rows] - median_filter(swing[rows], size=(5, 1), mode="nearest")
        leap_px = np.linalg.norm(leap, axis=1) / along.depth[rows]
        level = np.array([levels[row] for row in rows])
        alike = np.abs(level - np.median(level)) < ALIKE_LEVELS
        clear = np.array([strength[row] for row in rows]) > CLEAR_CONTRAST
        steady[rows] = (leap_px < 0.5 + 0.2 * diameter[rows]) & alike & clear
    told = rows_of(np.where(steady[:, None], found, np.nan)) if steady.any() else list(levels)
    return _StandsOut(
        spots=np.where(np.isfinite(found), found, path.at(along.sky.time_s)),
        level=float(np.clip(np.median([levels[row] for row in told]), 0, 255)),
        steady=steady,
    )


def _worse(one: _Trial, other: _Trial) -> float:
    """Compare what two looks leave, each patch in units of what the better one leaves there."""
    least = np.minimum(one.costs, other.costs)
    left = [float(np.minimum(trial.costs / least, 6.0).mean()) for trial in (one, other)]
    return left[0] / left[1]
