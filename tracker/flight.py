"""One stretch of film around a likely release goes in, the flight in it comes out, or nothing."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from tracker.arrowlike import FEWEST_SEEN, behind, features_of, probability, shipped_arrow_model
from tracker.candidates import joined
from tracker.claims import claimed_px
from tracker.footage import FromRow
from tracker.landing import Landing, landing
from tracker.path import QUICK, Breadth, Guess, Sky, passes, search
from tracker.scene import STROKE_TRUE_S, Seen, Window, look, sky_of
from tracker.settle import Settled, settle
from tracker.standing import TOGETHER, Aftermath, blur_for, gone
from tracker.types import ByteArray, Click, FloatArray, Message, Track
from tracker.vouched import Vouched, vouched, with_click

FEWEST_FRAMES = 16
"""Below this a clip cannot hold a flight that tells anything."""

SURE, CLAIM = 0.9, 0.6
"""Confidence at which other paths are not tried, and below which none is claimed (chosen here: of
films left out of the training two more are right than from 0.7, and none more is wrong)."""

CLAIM_UNTIMED = 0.4
"""The same where nobody vouches for the capture rate: nothing is read from such a path, but the
person is told what is missing (chosen here)."""

CLAIM_CLICKED = 0.2
"""Confidence above which a path is claimed that a person clicked on (chosen here)."""

CARRIED_BY = 5
"""Last places by which the path is carried on to where the arrow strikes (chosen here)."""

STRIKES_TRUE_S = 0.8
"""How long after it was last seen an arrow may strike: until then it flies 40 m, and from further
away nobody knows where it is bound for (chosen here)."""

MAY_STAND = 2
"""Last places that are left out where the moment of the impact is not known (chosen here)."""

RIVAL = 0.8
"""Share of the best path's score from which another may be that of a second arrow (chosen here)."""

BOTH_SURE = 0.95
"""Confidence from which each of two paths is an arrow's, and the one seen first counts."""

VAGUE_PX = 1.0
"""A place is left out if it may be off by more than this and than the nock is wide. Such errors
were claimed in six of 32 hard films and one of 24 clear ones. Where little else is left of a path
that is surely an arrow's, all of it is given: a person then sees why nothing can be read."""

SAME_ARROW = 12.0
"""Widths of the nock within which another path is that of the same arrow's shaft (chosen here)."""

LATER_TRIALS = 14
"""Singular times tried for arrows of a later release."""

STROKE_SIGMA_TRUE_S = 0.003
"""Draw lengths and speeds differ."""

BEFORE_IT_LEFT = 2.0
"""Standard errors of the release by which an arrow may be seen before it."""

SINKING_TRUE_S, SINKING_SIGMA_TRUE_S = 0.004, 0.003
"""How long after its point has touched the target an arrow seems to stop: it sinks 10 to 30 cm deep
(common practice), which from 55 m/s takes 4 to 11 ms, and is all but still on the way."""


@dataclass(frozen=True, kw_only=True, eq=False)
class FoundFlight:
    """A flight in the frames of its window.

    Attributes
    ----------
    first
        Number of the window's first frame.
    xy_px, sigma_px, shake_px
        (n, 2) as in `Track`, one row a frame of the window.
    tail_px
        (n,)
    reference_frame
        Whose coordinates are used.
    release_s, impact_s, release_sigma_s, impact_sigma_s
        Container seconds.
    confidence
        0 to 1.
    plate
        Scene without the arrow.
    notes
        For the person.
    """

    first: int
    xy_px: FloatArray
    sigma_px: FloatArray
    shake_px: FloatArray
    tail_px: FloatArray
    reference_frame: int
    release_s: float | None
    impact_s: float | None
    release_sigma_s: float | None
    impact_sigma_s: float | None
    confidence: float
    plate: ByteArray
    notes: tuple[Message, ...]

    @property
    def first_frame(self) -> int:
        """First frame in which the nock was seen flying."""
        return self.first + int(np.nonzero(np.isfinite(self.xy_px[:, 0]))[0][0])

    @property
    def last_frame(self) -> int:
        """Last frame in which the nock was seen flying."""
        return self.first + int(np.nonzero(np.isfinite(self.xy_px[:, 0]))[0][-1])

    def track(
        self, time_s: FloatArray, stretch: float | None, found_by: Literal["itself", "click"]
    ) -> Track:
        """Lay the flight into the rows of the whole clip."""
        n, rows = len(time_s), slice(self.first, self.first + len(self.xy_px))

        def spread(part: FloatArray, fill: float = np.nan) -> FloatArray:
            whole = np.full((n, *part.shape[1:]), fill)
            whole[rows] = part
            return whole

        scale = 1.0 if stretch is None else stretch

        def true(seconds: float | None) -> float | None:
            return None if seconds is None else seconds * scale

        return Track(
            time_s=time_s,
            xy_px=spread(self.xy_px),
            sigma_px=spread(self.sigma_px),
            shake_px=spread(self.shake_px, 0.0),
            tail_px=spread(self.tail_px),
            reference_frame=self.reference_frame,
            first_frame=self.first_frame,
            last_frame=self.last_frame,
            release_s=true(self.release_s),
            impact_s=true(self.impact_s),
            release_sigma_s=true(self.release_sigma_s),
            impact_sigma_s=true(self.impact_sigma_s),
            found_by=found_by,
            confidence=self.confidence,
            notes=self.notes,
        )


def follow_window(
    window: Window, fetch: FromRow, click: Click | None, breadth: Breadth = QUICK
) -> FoundFlight | None:
    """Search one stretch of film for a flight and place the nock in each of its frames.

    Parameters
    ----------
    window
        What is to be searched.
    fetch
        Gives its frames.
    click
        Where the nock is in one frame, if a person says so.
    breadth
        How many paths are tried.

    Returns
    -------
    FoundFlight or None
        None if no path there is an arrow's, or too little is known of where it went.
    """
    scene = look(window, fetch, None if click is None else click.frame - window.first)
    sky = sky_of(window, scene)
    guesses = search(scene.candidates, sky, scene.shape, np.random.default_rng(1), breadth)
    if click is None:
        best = _best(window, scene, sky, guesses, None)
        claim = CLAIM_UNTIMED if window.stretch is None else CLAIM
        return None if best is None or best[0] < claim else _found(window, scene, *best)
    there = vouched(click, window.first, scene.footage)
    # first what is found without a click, so that a click on it changes nothing
    guesses = [g for g in guesses if passes(g, sky, there)]
    best = _best(window, scene, sky, guesses, there)
    found = None
    if best is not None and best[0] >= CLAIM:
        found = _found(window, scene, *best)
    return found or _through(window, scene, sky, there)


def _best(
    window: Window, scene: Seen, sky: Sky, guesses: list[Guess], click: Vouched | None
) -> tuple[float, Settled] | None:
    """Settle guesses until one is surely an arrow's; with a click, only those it lies on count.

    Two archers may shoot at once: of arrows that are as sure the one that is seen first is that of
    this release.
    """
    best: tuple[float, Settled] | None = None
    for guess in guesses:
        share = guess.score / guesses[0].score
        if best is not None and best[0] > SURE:
            if share < RIVAL:
                break
            if _beside(window, guess, best[1]):
                continue
        settled = _settled(window, scene, sky, guess)
        if settled is None or (click is not None and not _hit(window, settled, click)):
            continue
        sure = confidence(window, sky, settled, share) * behind(window, settled)
        if best is None or _rather(sure, settled, best):
            best = sure, settled
    return best


def _rather(sure: float, settled: Settled, best: tuple[float, Settled]) -> bool:
    """Tell whether a path is rather the archer's arrow than the best so far."""
    if min(sure, best[0]) > BOTH_SURE:
        return _first_row(settled) < _first_row(best[1])
    return sure > best[0]


def _beside(window: Window, guess: Guess, settled: Settled) -> bool:
    """Tell whether a path is that of another part of the same arrow."""
    rows = np.flatnonzero(np.isfinite(settled.xy_px[:, 0]))
    away = np.linalg.norm(guess.path.at(window.times_s[rows]) - settled.xy_px[rows], axis=1)
    return bool(np.nanmedian(away / settled.size_px[rows]) < SAME_ARROW)


def _first_row(settled: Settled) -> int:
    """Row in which the nock is first seen."""
    return int(np.flatnonzero(np.isfinite(settled.xy_px[:, 0]))[0])


def _hit(window: Window, settled: Settled, click: Vouched) -> bool:
    """Tell whether a click lies on a settled path."""
    return click.hits(settled.xy_px, settled.path.at(window.times_s), settled.size_px)


def _through(window: Window, scene: Seen, sky: Sky, click: Vouched) -> FoundFlight | None:
    """Follow a path through a click, whenever it began: it may be that of another bow's arrow.

    A person vouches for it, so less is asked of it. If it came into sight later than an arrow of
    this release would, its release was not seen.
    """
    middle_px = float(np.sqrt(sky.sizes_px[0] * sky.sizes_px[1]))
    parts = scene.candidates if scene.later is None else joined([scene.candidates, scene.later])
    scene = replace(scene, candidates=with_click(parts, click, window.first, middle_px))
    clicked_s = float(window.times_s[click.row])
    least_s = float(window.times_s[window.release - window.first] - sky.singular_s.max())
    most_s = clicked_s - float(sky.singular_s.min())
    if most_s <= least_s:
        return None
    further = clicked_s - np.geomspace(max(least_s, window.step_s), most_s, LATER_TRIALS)
    sky = replace(
        sky,
        singular_s=np.sort(np.concatenate([sky.singular_s, further])),
        latest_start=len(window.times_s),
    )
    guesses = search(scene.candidates, sky, scene.shape, np.random.default_rng(1), click=click)
    best: tuple[float, Settled] | None = None
    for guess in guesses:
        settled = _settled(window, scene, sky, guess)
        if settled is None or not _hit(window, settled, click):
            continue
        first = int(np.flatnonzero(np.isfinite(settled.xy_px[:, 0]))[0])
        came = replace(window, release=window.first + first)
        sure = confidence(came, sky, settled, guess.score / guesses[0].score)
        if sure > (CLAIM_CLICKED if best is None else best[0]):
            best = sure, settled
        if sure > SURE:
            break
    if best is None:
        return None
    found = _found(window, scene, *best)
    if found is None:
        return None
    if confidence(window, sky, best[1], 1.0) * behind(window, best[1]) < best[0] / 2:
        return replace(found, release_s=None, release_sigma_s=None)
    return found


def _settled(window: Window, scene: Seen, sky: Sky, guess: Guess) -> Settled | None:
    """Place the nock along one guess."""
    n = scene.footage.count
    xy, size = np.full((n, 2), np.nan), np.full(n, np.nan)
    rows = np.nonzero(guess.chosen >= 0)[0]
    rows = rows[(rows >= guess.first) & (rows <= guess.last)]
    xy[rows] = scene.candidates.xy_px[guess.chosen[rows]]
    size[rows] = scene.candidates.size_px[guess.chosen[rows]]
    return settle(scene.footage, sky, guess, xy, size, window.true_per_clock)


def confidence(window: Window, sky: Sky, settled: Settled, score_share: float) -> float:
    """Weigh how sure it is that a settled path is an arrow's, 0 to 1.

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
    float
        A probability by `tracker.arrowlike`; 0 if the nock is seen in too few frames.
    """
    features = features_of(window, sky, settled, score_share)
    return 0.0 if features is None else probability(shipped_arrow_model(), features)


def _ended(
    window: Window, scene: Seen, settled: Settled, xy_px: FloatArray, sigma_px: FloatArray
) -> Landing | None:
    """Find when the arrow struck: by its places, else by what stands there afterwards.

    Places of a standstill that was none are taken away.
    """
    t, sizes = window.times_s, settled.look.size_px_s / settled.depth_s
    end = landing(t, xy_px, sigma_px, sizes)
    rows = np.flatnonzero(np.isfinite(xy_px[:, 0]))
    flown = rows if end is None else rows[rows <= end.row]
    last = int(flown[-1])
    path = settled.path.at(t)
    carried = flown[-CARRIED_BY:]
    path += np.median(xy_px[carried] - path[carried], axis=0)
    if end is not None:
        stood = np.median(xy_px[rows[rows > end.row]], axis=0)
        since = gone(path, stood, end.row + 1, blur_for(float(sizes[last])))
        flying = xy_px.copy()
        flying[end.row + 1 :] = np.nan
        until = min(since + TOGETHER, len(t)) - 1
        after = Aftermath.of(scene.footage, path, flying, float(sizes[last]), until)
        if after is None or not after.nothing_at(flying, stood, since):
            return end
        xy_px[end.row + 1 :] = sigma_px[end.row + 1 :] = np.nan
    until = int(np.searchsorted(t, t[last] + STRIKES_TRUE_S / window.true_per_clock))
    until = min(until, len(t) - 1)
    after = Aftermath.of(scene.footage, path, xy_px, float(sizes[last]), until)
    return None if after is None else after.impact(t, path, last)


def _found(window: Window, scene: Seen, sure: float, settled: Settled) -> FoundFlight | None:
    """Put a settled path into the form of a flight; None if too little is known of its places."""
    xy, sigma, size = settled.xy_px.copy(), claimed_px(settled), settled.size_px.copy()
    # of such a place no more is known than that the arrow is about there
    vague = sigma.max(axis=1) > np.maximum(VAGUE_PX, size)
    if (np.isfinite(xy[:, 0]) & ~vague).sum() >= FEWEST_SEEN:
        for part in (xy, sigma, size):
            part[vague] = np.nan
    elif sure < SURE:
        return None
    end = _ended(window, scene, settled, xy, sigma)
    size[np.isnan(xy[:, 0])] = np.nan
    if end is not None:
        for part in (xy, sigma, size):
            part[end.row + 1 :] = np.nan
    rows = np.nonzero(np.isfinite(xy[:, 0]))[0]
    if end is None and len(rows) >= FEWEST_SEEN + MAY_STAND:
        # lost as it struck: the last of them may stand in the target already
        for part in (xy, sigma, size):
            part[rows[-MAY_STAND:]] = np.nan
        rows = rows[:-MAY_STAND]
    shake = np.zeros_like(xy)
    centre = np.array([[scene.shape[1] / 2, scene.shape[0] / 2]])
    for k in (k for k in range(int(rows[-1]) + 1) if scene.footage.has_motion(k)):
        at = xy[k : k + 1] if np.isfinite(xy[k, 0]) else centre
        shake[k] = (scene.footage.motion(k).to_raw(at) - at)[0]
    step = window.step_s
    # what first shows in a frame began, on average, half a frame before it
    left = float(window.times_s[window.release - window.first]) - step / 2
    left += STROKE_TRUE_S / window.true_per_clock
    left_sigma = float(np.hypot(step / 2, STROKE_SIGMA_TRUE_S / window.true_per_clock))
    # an arrow seen to fly before that left at another moment, which was not filmed: where slow
    # motion begins in mid-flight, its jump is taken for the release
    left_unseen = float(window.times_s[rows[0]]) < left - BEFORE_IT_LEFT * left_sigma
    sinking, unsure = np.array([SINKING_TRUE_S, SINKING_SIGMA_TRUE_S]) / window.true_per_clock
    return FoundFlight(
        first=window.first,
        xy_px=xy,
        sigma_px=sigma,
        shake_px=shake,
        tail_px=size,
        reference_frame=scene.reference_frame,
        release_s=None if left_unseen else left,
        impact_s=None if end is None else end.time_s - float(sinking),
        release_sigma_s=None if left_unseen else left_sigma,
        impact_sigma_s=None if end is None else float(np.hypot(end.sigma_s, unsure)),
        confidence=sure,
        plate=scene.plate,
        notes=(),
    )
