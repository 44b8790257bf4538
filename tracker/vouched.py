"""A person's word for where the nock is: what it asks of a path, and candidates that stand for it.

A click on a screen is a few pixels off. It says which of several things that fly is meant, and that
it is an arrow at all; the nock's exact place is still read from the pixels.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from tracker.candidates import Candidates, joined
from tracker.footage import Footage
from tracker.types import Click, FloatArray

LEAST_PX, PICTURE_SHARE, NOCK_SHARE = 6.0, 0.006, 0.75
"""A click hits within so many pixels, this share of the picture's longer side (films are shown
smaller than they are), or this share of the nock's width, whichever is most (chosen here)."""

SNR = 5.0
"""How strongly the click stands among the candidates: as something faint but sure."""

NEAR_FRAMES = 14
"""Before the first and after the last place that is claimed, frames in which a click still counts:
the arrow is half hidden there, or too small to be placed (chosen here)."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Vouched:
    """A click in the coordinates of a window.

    Attributes
    ----------
    row
        Of the window.
    xy_px
        (2,) place in reference coordinates.
    within_px
        How far a path may pass from it.
    """

    row: int
    xy_px: FloatArray
    within_px: float

    def is_near(self, xy_px: FloatArray, more_px: float = 0.0, nock_px: float = 0.0) -> bool:
        """Tell whether a place (2,) in the click's frame is the clicked one.

        Parameters
        ----------
        xy_px
            Reference coordinates; NaN is near nothing.
        more_px
            By how much it may be off besides.
        nock_px
            Diameter of the nock there.
        """
        within = max(self.within_px, NOCK_SHARE * nock_px) + more_px
        return bool(np.linalg.norm(xy_px - self.xy_px) < within)

    def hits(self, flown_px: FloatArray, path_px: FloatArray, size_px: FloatArray) -> bool:
        """Tell whether the click lies on a flight.

        Parameters
        ----------
        flown_px
            (n, 2) places of the nock in the window's frames, NaN where none is claimed.
        path_px
            (n, 2) its smooth path, for frames in which none is.
        size_px
            (n,) diameter of the nock, NaN where no place is claimed.
        """
        rows = np.flatnonzero(np.isfinite(flown_px[:, 0]))
        if not len(rows) or not rows[0] - NEAR_FRAMES <= self.row <= rows[-1] + NEAR_FRAMES:
            return False
        if np.isfinite(flown_px[self.row, 0]):
            return self.is_near(flown_px[self.row], nock_px=float(size_px[self.row]))
        # between places the arrow swings about its path as it does beside them
        near = rows[np.argsort(np.abs(rows - self.row))[:3]]
        swing = np.median(flown_px[near] - path_px[near], axis=0)
        return self.is_near(path_px[self.row] + swing, nock_px=float(size_px[near[0]]))


def vouched(click: Click, first_frame: int, footage: Footage) -> Vouched:
    """Carry a click from its frame's raw picture into a window.

    Parameters
    ----------
    click
        Inside the film.
    first_frame
        Number of the window's first frame.
    footage
        Its frames.
    """
    row = click.frame - first_frame
    raw = np.array([[click.x_px, click.y_px]])
    return Vouched(
        row=row,
        xy_px=footage.motion(row).to_reference(raw)[0],
        within_px=max(LEAST_PX, PICTURE_SHARE * max(footage.height, footage.width)),
    )


def with_click(seen: Candidates, click: Vouched, first_frame: int, size_px: float) -> Candidates:
    """Add the clicked place to the candidates, in case the nock itself is none of them.

    Parameters
    ----------
    seen
        What was found.
    click
        The place.
    first_frame
        Number of the window's first frame.
    size_px
        Its size, as of `Candidates`.
    """
    one = Candidates(
        frame=np.array([first_frame + click.row]),
        xy_px=click.xy_px[None],
        snr=np.array([SNR]),
        size_px=np.array([size_px]),
    )
    return joined([seen, one])


def draw_through(
    click: Vouched,
    places_px: FloatArray,
    weight: FloatArray,
    usable: npt.NDArray[np.int64],
    least_span: int,
    rng: np.random.Generator,
    count: int,
) -> tuple[npt.NDArray[np.int64], npt.NDArray[np.int64]]:
    """Draw triples of candidates, one of each in the clicked place.

    Parameters
    ----------
    click
        The place.
    places_px
        (n, k, 2) candidates of each frame by rank; far away where there is none.
    weight
        (n, k) of each candidate's draw, in the other two frames.
    usable
        Frames that hold candidates, rising.
    least_span
        Frames between first and last of a triple.
    rng
        Source of the draws.
    count
        How many to draw.

    Returns
    -------
    frames, rank : numpy.ndarray
        (m, 3) each, m at most `count`: frames rising, and the candidate's rank in each.
    """
    none = np.zeros((0, 3), np.int64)
    here = np.linalg.norm(places_px[click.row] - click.xy_px, axis=1) < click.within_px
    if click.row not in usable or not here.any():
        return none, none
    total = np.cumsum(weight, axis=1)
    others = rng.choice(usable, (count, 2))
    rank = (total[others] < (rng.random((count, 2)) * total[others, -1])[..., None]).sum(axis=2)
    frames = np.column_stack([others, np.full(count, click.row)])
    rank = np.column_stack([rank, rng.choice(np.flatnonzero(here), count)])
    rank = np.minimum(rank, places_px.shape[1] - 1)
    order = np.argsort(frames, axis=1)
    frames, rank = (np.take_along_axis(part, order, axis=1) for part in (frames, rank))
    apart = (np.diff(frames, axis=1) > 0).all(axis=1)
    apart &= frames[:, 2] - frames[:, 0] >= least_span
    return frames[apart], rank[apart]
