"""The scene after a flight goes in; the arrow that stands there, and did not before, comes out.

Far from the camera a flying nock is lost long before it strikes, and then something of the scenery
may pass for a nock at rest. But an arrow that has struck stays: the mean of many frames shows it
where no single one does, and the frame from which its place looks otherwise than before the release
is that of the impact. Nothing is known of the nock's look here, only of the place it is bound for.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

from tracker.footage import Footage
from tracker.landing import Landing
from tracker.types import BoolArray, FloatArray, IntArray

Pictures = npt.NDArray[np.float32]

BLURRED = 0.45
"""Standard deviation of the blur before a place is looked at, over the nock's diameter; at least
`LEAST_BLUR_PX`. Chosen here, as all numbers below that name no source."""

LEAST_BLUR_PX, TREMBLE_BLUR = 0.8, 0.6
"""The same in pixels; and the further blur, in the first one, by which a nock that trembles where
it stands still counts as standing."""

TOGETHER, STRIDE = 8, 4
"""Frames that are looked at as one, and from one such lot to the next."""

REACH_PX, WANDERS = 1.5, 0.2
"""How far from its path's end an arrow may stand: so many pixels, and a share of the way since it
was last seen."""

FURTHEST_PX = 30.0
"""Way since it was last seen beyond which no place is its path's end."""

STANDS_OUT, ALONE = 6.0, 1.8
"""Standard deviations of the picture by which a standing arrow differs, and how much further than
anything else that its path may reach. Chosen on filmed clear flights (seed 731): one that had been
lost 90 frames before it struck at 50 m had something else that stood out, but not alone."""

EDGE = 0.03
"""Share of the picture's slope, grey levels to the pixel, that a shaking camera leaves over."""

SHOWN = 0.25
"""Share of what the flying arrow differs from the scene by, below which nothing stands at a place.
Of 33 places where an arrow stood the least was 0.35, of 3 of the scenery the most 0.20 (rendered
films, 2026-11-29)."""

CLEAR_FLIGHT = 8.0
"""Standard deviations by which a flying arrow must differ for that to tell anything."""

NARROWER_PX, NARROWER_SIGMA_PX = 0.9, 1.0
"""How far before its end an arrow's picture half covers that of the standing one, and the error."""

STEP_SIGMA = 0.5
"""Error of the first frame that shows it standing, in frames."""

LEFT = 4.5
"""How many times the blur a nock must be from a place to be no longer seen there."""

MOST_EARLY = 2
"""Frames by which an arrow may have struck before it was last seen to fly."""

HELD = 0.7
"""Share of what an arrow shows that its place must show, in the mean, in the frames from the first
in which it stands."""

STAYS, LATER, LASTS = 6, 40, 0.6
"""Frames after one that flew on would have gone: so many are needed, the last of so many at most
must still show the arrow, and that by this share of what differed at first. The path may lead
ahead of an arrow that is slow in the picture."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Aftermath:
    """What differs from the scene before the release, about the end of a flight.

    Attributes
    ----------
    rows
        (m,) of the window.
    differs
        (m, h, w) grey levels, blurred to the nock's size.
    slope
        (h, w) of the scene, grey levels to the pixel.
    corner
        (2,) of the pictures' first pixel, reference coordinates.
    quiet
        (m,) the row shows no flight yet.
    blur_px
        Standard deviation.
    """

    rows: IntArray
    differs: Pictures
    slope: Pictures
    corner: FloatArray
    quiet: BoolArray
    blur_px: float

    @classmethod
    def of(
        cls,
        footage: Footage,
        path_px: FloatArray,
        xy_px: FloatArray,
        diameter_px: float,
        until: int,
    ) -> Aftermath | None:
        """Take the pictures.

        Parameters
        ----------
        footage
            The frames.
        path_px
            (n, 2) the way that the nock was on, carried on beyond its last place.
        xy_px
            (n, 2) its places, NaN where not seen.
        diameter_px
            Of the nock at the end.
        until
            Row after which nothing is looked at.

        Returns
        -------
        Aftermath or None
            None where the end lies outside what is kept of the frames.
        """
        seen = np.flatnonzero(np.isfinite(xy_px[:, 0]))
        last = int(seen[-1])
        bound = _bound(path_px, last)
        bound = bound[bound <= until]
        margin = 8.0 + 6.0 * diameter_px
        ends = np.concatenate([path_px[bound], xy_px[seen[-TOGETHER:]]])
        low = np.floor(ends.min(axis=0) - margin).astype(int)
        size = np.ceil(ends.max(axis=0) + margin).astype(int) - low + 1
        quiet = np.arange(footage.first_kept, footage.reference + 1)
        flight = seen[seen > footage.reference][-2 * TOGETHER :]
        later = np.arange(last, min(int(bound[-1]) + LATER, until) + 1)
        rows = np.unique(np.concatenate([quiet, flight, later]))
        taken = [_cut(footage, int(row), low, size) for row in rows]
        there = np.array([one is not None for one in taken])
        is_quiet = rows <= footage.reference
        if (there & is_quiet).sum() < TOGETHER:
            return None
        stack = np.stack([one for one in taken if one is not None])
        rows, is_quiet = rows[there], is_quiet[there]
        scene = np.median(stack[is_quiet], axis=0)
        slopes = [cv2.Scharr(scene, cv2.CV_32F, *way) / 32 for way in ((1, 0), (0, 1))]
        differs = _without_shake(stack - scene, [*slopes, scene - scene.mean()])
        blur = blur_for(diameter_px)
        return cls(
            rows=rows,
            differs=np.stack([cv2.GaussianBlur(one, (0, 0), blur) for one in differs]),
            slope=np.hypot(*slopes).astype(np.float32),
            corner=low.astype(np.float64),
            quiet=is_quiet,
            blur_px=blur,
        )

    def nothing_at(self, xy_px: FloatArray, stood_px: FloatArray, since: int) -> bool:
        """Tell whether where a nock seemed to stand nothing differs from before.

        Parameters
        ----------
        xy_px
            (n, 2) places of the flight, NaN where not seen or no longer flying.
        stood_px
            (2,) where it seemed to stand.
        since
            First row in which one that flies would be out of the way, by `gone`.

        Returns
        -------
        bool
            False where too little was filmed after that, or the flying nock itself hardly differed
            from the scene.
        """
        after = self.differs[self.rows >= since]
        if len(after) < TOGETHER // 2:
            return False
        mean = after.mean(axis=0)
        shown = abs(_most_about(mean, stood_px - self.corner))
        flying = [
            abs(_most_about(picture, xy_px[row] - self.corner))
            for row, picture in zip(self.rows.tolist(), self.differs, strict=True)
            if np.isfinite(xy_px[row, 0])
        ]
        usual = float(np.median(flying)) if len(flying) >= TOGETHER else 0.0
        return bool(usual > CLEAR_FLIGHT * _spread(mean) and shown < SHOWN * usual)

    def impact(self, time_s: FloatArray, path_px: FloatArray, last: int) -> Landing | None:
        """Find where and from when on the arrow stands.

        Parameters
        ----------
        time_s
            (n,) of the window's rows.
        path_px
            (n, 2) as for `of`.
        last
            Row in which the nock was last seen flying.

        Returns
        -------
        Landing or None
            None where nothing stands alone near the path's end, or it cannot be told from an arrow
            that still flies.
        """
        allowed = self._allowed(path_px, last)
        lots = [
            slice(int(first), int(first) + TOGETHER)
            for first in range(0, len(self.rows) - TOGETHER + 1, STRIDE)
            if self.rows[first] >= last
        ]
        for lot in lots:
            spot = self._stands_out(lot, allowed)
            if spot is None:
                continue
            found = self._since(spot, lot, time_s, path_px, last)
            if found is not None:
                return found
        return None

    def _allowed(self, path_px: FloatArray, last: int) -> FloatArray:
        """(h, w) how far each pixel lies off the path, over how far it may."""
        h, w = self.slope.shape
        y, x = np.mgrid[:h, :w] + self.corner[::-1, None, None]
        off = np.full((h, w), np.inf)
        bound = _bound(path_px, last)
        for row in bound:
            may = REACH_PX + WANDERS * float(np.linalg.norm(path_px[row] - path_px[last]))
            off = np.minimum(off, np.hypot(x - path_px[row, 0], y - path_px[row, 1]) / may)
        return off

    def _stands_out(self, lot: slice, allowed: FloatArray) -> tuple[int, int] | None:
        """Give row and column of what differs most, if it stands alone."""
        mean = self.differs[lot].mean(axis=0)
        z = np.abs(mean) / np.hypot(_spread(mean), EDGE * self.slope)
        score = np.where(allowed < 3.0, z * np.exp(-0.5 * (allowed / 1.5) ** 2), 0.0)
        y, x = np.unravel_index(int(score.argmax()), score.shape)
        rows, columns = np.indices(score.shape)
        elsewhere = np.hypot(columns - x, rows - y) > 2.5 * self.blur_px + 2.0
        rival = float(score[elsewhere].max(initial=0.0))
        if z[y, x] < STANDS_OUT or z[y, x] < ALONE * rival or allowed[y, x] > 2.0:
            return None
        return int(y), int(x)

    def _since(
        self,
        spot: tuple[int, int],
        lot: slice,
        time_s: FloatArray,
        path_px: FloatArray,
        last: int,
    ) -> Landing | None:
        """Find the first frame of a standstill, if it is one."""
        blur = TREMBLE_BLUR * self.blur_px
        shown = np.array([float(cv2.GaussianBlur(p, (0, 0), blur)[spot]) for p in self.differs])
        calm = shown.copy()
        calm[1:-1] = np.median(np.stack([shown[:-2], shown[1:-1], shown[2:]]), axis=0)
        share = calm / np.median(shown[lot])
        rises = np.flatnonzero((share[:-1] < 0.5) & (share[1:] >= 0.5))
        # one that trembles may leave its place once more
        held = [k for k in rises.tolist() if share[k + 1 : k + 1 + TOGETHER].mean() > HELD]
        if not held or self.quiet[held[0]] or held[0] + 1 >= lot.stop:
            return None
        k = held[0]
        row = int(self.rows[k])
        if row < last - MOST_EARLY or not self._stays(share, row, path_px):
            return None
        rise = float(np.clip((0.5 - share[k]) / max(share[k + 1] - share[k], 1e-6), 0.0, 1.0))
        step_s = float(time_s[row + 1] - time_s[row])
        quick = max(float(np.linalg.norm(path_px[row + 1] - path_px[row])), 0.05)
        return Landing(
            row=min(row, last),
            time_s=float(time_s[row]) + step_s * (rise + NARROWER_PX / quick),
            sigma_s=step_s * float(np.hypot(STEP_SIGMA, NARROWER_SIGMA_PX / quick)),
        )

    def _stays(self, share: FloatArray, row: int, path_px: FloatArray) -> bool:
        """Tell whether a place still shows an arrow when one that flies would have gone on."""
        since = gone(path_px, path_px[row], row, self.blur_px)
        later = share[self.rows >= since][:LATER]
        return bool(len(later) >= STAYS and np.median(later[-TOGETHER:]) > LASTS)


def blur_for(diameter_px: float) -> float:
    """Give the standard deviation by which pictures are blurred for a nock's diameter, pixels."""
    return max(LEAST_BLUR_PX, BLURRED * diameter_px)


def gone(path_px: FloatArray, stood_px: FloatArray, since: int, blur_px: float) -> int:
    """Find the first row in which a nock that flies on no longer covers a place.

    Parameters
    ----------
    path_px
        (n, 2) as for `Aftermath.of`.
    stood_px
        (2,) the place.
    since
        First row in which it seemed to stand there.
    blur_px
        Of what is looked at, a standard deviation.

    Returns
    -------
    int
        n if there is none.
    """
    off = np.linalg.norm(path_px[since:] - stood_px, axis=1)
    clear = np.flatnonzero(off > LEFT * blur_px)
    return since + (int(clear[0]) if len(clear) else len(off))


def _bound(path_px: FloatArray, last: int) -> IntArray:
    """Rows from the last place to where the path is out of what may be told."""
    away = np.linalg.norm(path_px[last:] - path_px[last], axis=1)
    beyond = np.flatnonzero(~(away < FURTHEST_PX))
    return np.arange(last, last + (int(beyond[0]) if len(beyond) else len(away)))


def _cut(footage: Footage, row: int, low: IntArray, size: IntArray) -> Pictures | None:
    """Draw a part of a frame in reference coordinates; None where it was not kept."""
    part, motion = footage.part(row), footage.motion(row)
    corners = low + np.array([[0, 0], [1, 0], [0, 1], [1, 1]]) * (size - 1)
    raw = motion.to_raw(corners.astype(np.float64)) - (part.x0, part.y0)
    h, w = part.luma.shape
    if raw.min() < 0 or (raw > (w - 1, h - 1)).any():
        return None
    matrix = motion.matrix.copy()
    matrix[:, 2] += matrix[:, :2] @ low - (part.x0, part.y0)
    return cv2.warpAffine(
        part.luma,
        matrix,
        (int(size[0]), int(size[1])),
        flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP,
        borderMode=cv2.BORDER_REPLICATE,
    ).astype(np.float32)


def _without_shake(stack: Pictures, shapes: list[Pictures]) -> Pictures:
    """Take off a frame what its light and what the camera's motion left over explain."""
    columns = np.stack([np.ones_like(shapes[0]), *shapes], axis=-1).reshape(-1, len(shapes) + 1)
    flat = stack.reshape(len(stack), -1)
    wide = 3 * 1.4826 * np.median(np.abs(flat), axis=1, keepdims=True) + 1e-3
    told = np.linalg.lstsq(columns, np.clip(flat, -wide, wide).T, rcond=None)[0]
    return np.asarray((flat - (columns @ told).T).reshape(stack.shape), dtype=np.float32)


def _spread(picture: Pictures) -> float:
    """Robust standard deviation of a picture."""
    return float(1.4826 * np.median(np.abs(picture - np.median(picture)))) + 1e-3


def _most_about(picture: Pictures, at: FloatArray) -> float:
    """Value furthest from nought within a pixel of a place; nought outside the picture."""
    x, y = np.round(at).astype(int).tolist()
    about = picture[max(y - 1, 0) : max(y + 2, 0), max(x - 1, 0) : max(x + 2, 0)]
    return float(about.flat[np.abs(about).argmax()]) if about.size else 0.0
