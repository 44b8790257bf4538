"""Patches around a path go in, the nock's place in each with its standard error comes out.

One arrow, one look: brightness, size, blur and vanes are shared by all frames and fitted to them
together, the place of the nock and what its vanes do is each frame's own. Every frame's own numbers
are eliminated before the shared ones are stepped (a bundle adjustment [1]), and weights come from
the pixels' own noise.

References
----------
[1] B. Triggs et al., "Bundle adjustment - a modern synthesis", LNCS 1883 (2000) 298-372.
[2] P. J. Huber, "Robust statistics", Wiley 1981.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from tracker.tail import Covers, Look, Patch, covers
from tracker.types import FloatArray

HUBER = 3.0
"""Residual in standard deviations from which a pixel is trusted less [2]."""

NO_MATTER = 0.05
"""Fall of chi-square, over what is left of it per pixel, by which a pose is not improved further: a
place is then known to a fifth of its standard error, and the last step makes it better still."""

TILT = 1.0
"""So many nock's diameters, not as seen but as it is, the shaft's tip strays from the flight path
(about 0.7 degrees)."""

FIXED = 7
"""A frame's own numbers but for the sectors of the ring."""

NOWHERE = 1e-9
"""One over the variance of a nock's place before any pixel is looked at: where no pixel counts it
may be anywhere."""

SCENE_SHIFT_PX, SCENE_LEVELS = 0.1, 2.0
"""How well the scene's place in a frame is known, and its brightness (chosen here)."""

_BENEATH = np.array([SCENE_SHIFT_PX, SCENE_SHIFT_PX, SCENE_LEVELS]) ** -2.0
"""The same as one over the variances of `Pose.beneath`."""

VANE_SPREAD = 0.5
"""Sectors of the ring differ by this share of the nock's contrast (chosen here)."""


NOCK_UNLIKE, SHAFT_UNLIKE = 0.1, 1.2
"""Shares of `Look.unlike`: a nock is a disc, but a shaft is lit as it turns (tuned on rendered
films)."""

SHAPELESS_PX, SHAPED_PX = 1.5, 4.0
"""Nock's diameter up to which no shape is seen, and from which all of that error counts."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Pose:
    """What is each frame's own.

    Attributes
    ----------
    xy_px
        (2,) nock, raw coordinates.
    lean_px
        (2,) shaft's tip beside the flight path ahead.
    sectors
        (s,) brightness of the ring by angle, beyond the shared one.
    beneath
        (3,) by how many pixels the scene lies further right and down than it was drawn, and by how
        many grey levels it is brighter: shake is known to a tenth of a pixel, light flickers.
    """

    xy_px: FloatArray
    lean_px: FloatArray
    sectors: FloatArray
    beneath: FloatArray

    @classmethod
    def at(cls, xy_px: FloatArray, sectors: int) -> Pose:
        """Give the pose of which nothing but the place is known."""
        return cls(xy_px=xy_px, lean_px=np.zeros(2), sectors=np.zeros(sectors), beneath=np.zeros(3))

    @property
    def own(self) -> FloatArray:
        """(7 + s,) what priors hold near nought, in the order of `Drawn.slopes`; not the place."""
        return np.concatenate([np.zeros(2), self.lean_px, self.beneath, self.sectors])

    def stepped(self, step: FloatArray) -> Pose:
        """Take a step, in the order of `Drawn.slopes`."""
        return Pose(
            xy_px=self.xy_px + step[:2],
            lean_px=self.lean_px + step[2:4],
            beneath=self.beneath + step[4:FIXED],
            sectors=self.sectors + step[FIXED:],
        )


@dataclass(frozen=True, kw_only=True, eq=False)
class Placed:
    """One frame's answer.

    Attributes
    ----------
    pose
        The best one.
    covariance
        (2, 2) of the nock's place, from the pixels' noise and the model's own errors.
    misfit
        Chi-square per pixel that the model leaves, its own errors counted in.
    gain
        Drop of chi-square against the scene without an arrow, from the noise alone.
    left
        Chi-square beyond the noise alone.
    clumped
        Correlation of neighbouring pixels in what the model leaves: none where that is the noise of
        the camera, much where it is compression's, or another tail's than the model's.
    contrast, amplitude
        Contrast of nock and shaft with the scene in its own standard errors, and as a share of the
        look's. A dull nock before a wall as bright is told by its shaft alone.
    """

    pose: Pose
    covariance: FloatArray
    misfit: float
    gain: float
    left: float
    clumped: float
    contrast: float
    amplitude: float

    @property
    def explained(self) -> float:
        """Share of what changed that the model explains, noise left out: faint nocks have much."""
        return self.gain / max(self.gain + self.left, 1e-9)


def sectors_of(diameter_px: float) -> int:
    """Choose how finely the vanes are told apart at a size."""
    return 1 if diameter_px < 1.8 else 6 if diameter_px < 3.5 else 12 if diameter_px < 6 else 24


@dataclass(frozen=True, kw_only=True, eq=False)
class Drawn:
    """What the arrow changes in the scene.

    Attributes
    ----------
    change
        (h, w) grey levels.
    slopes
        (7 + s, h * w) what each of a frame's own numbers adds: place, lean, scene and sectors;
        empty if they were not asked for.
    scene
        (h, w) what of the change is the scene's own.
    covers
        How much the parts cover.
    """

    change: FloatArray
    slopes: FloatArray
    scene: FloatArray
    covers: Covers


def draw(
    patch: Patch, look: Look, pose: Pose, ahead_px: FloatArray, *, slopes: bool = True
) -> Drawn:
    """Draw what the arrow changes in the scene.

    Parameters
    ----------
    patch, look, pose, ahead_px
        See `place`.
    slopes
        Whether they are wanted: they double the work.

    Returns
    -------
    Drawn
    """
    sectors = len(pose.sectors)
    c = covers(patch, look, pose.xy_px, ahead_px + pose.lean_px, sectors, slopes=slopes)
    # the nock hides the ring, the ring is thin enough to add to the shaft
    free = 1 - c.nock
    columns = (free * c.sectors).reshape(sectors, -1)
    nock, shaft = look.nock - patch.scene, look.shaft - patch.scene
    level: FloatArray | float = look.vanes + pose.sectors[0]
    if sectors == 1:
        ring = level * c.ring
    else:
        ring = ((look.vanes + pose.sectors) @ c.sectors.reshape(sectors, -1)).reshape(c.ring.shape)
        # that the vanes seem to turn as the nock moves is left out: it makes no place better
        level = ring / np.maximum(c.ring, 1e-9)
    bare = free * (1 - c.shaft)
    scene = bare * (pose.beneath @ patch.shifts.reshape(3, -1)).reshape(bare.shape)
    change = nock * c.nock + shaft * c.shaft + free * ring + scene
    if not slopes:
        return Drawn(change=change, slopes=np.zeros((0, change.size)), scene=scene, covers=c)
    every = np.empty((FIXED + sectors, change.size))
    by_pose = every[:4].reshape(4, *change.shape)
    np.multiply(nock - ring, c.nock_slope, out=by_pose)
    by_pose += shaft * c.shaft_slope
    by_pose += (free * level) * c.ring_slope
    np.multiply(bare, patch.shifts, out=every[4:FIXED].reshape(3, *change.shape))
    every[FIXED:] = columns
    return Drawn(change=change, slopes=every, scene=scene, covers=c)


def place(patch: Patch, look: Look, start: Pose, ahead_px: FloatArray, rounds: int = 6) -> Placed:
    """Fit one frame's pose by damped Gauss-Newton with Huber weights [2].

    Parameters
    ----------
    patch
        The pixels.
    look
        The arrow's look.
    start
        Where to begin.
    ahead_px
        (2,) from the nock to where it will be after the arrow has flown its own length.
    rounds
        Steps at most.

    Returns
    -------
    Placed
    """
    pose = start
    data = patch.picture - patch.scene
    prior = _prior(patch, look, len(pose.sectors))
    drawn = draw(patch, look, pose, ahead_px)
    damp = 1e-3
    size = FIXED + len(pose.sectors)
    normal, weight = np.eye(size), patch.weight
    for _ in range(rounds):
        J = drawn.slopes
        miss = data - drawn.change
        weight = _trust(patch, look, drawn.covers)
        cost = _cost(weight, miss, pose, prior)
        eased = weight * _huber(miss * np.sqrt(weight))
        normal = (J * eased.ravel()) @ J.T + np.diag(prior)
        slope = J @ (eased * miss).ravel() - prior * pose.own
        enough = NO_MATTER * max(cost / miss.size, 1.0)
        moved = False
        for _ in range(4):
            stiff = normal + damp * np.diag(np.diag(normal))
            step = np.asarray(np.linalg.solve(stiff, slope), dtype=np.float64)
            reach = np.hypot(step[0], step[1])
            limit = 0.5 + 0.35 * look.size_px_s / patch.depth_s
            step *= min(1.0, limit / max(reach, 1e-9))
            if reach < limit and float(slope @ step) < enough:
                pose = pose.stepped(step)  # so small that nothing need be drawn again
                break
            trial = pose.stepped(step)
            again = draw(patch, look, trial, ahead_px)
            cost2 = _cost(weight, data - again.change, trial, prior)
            if cost2 <= cost:
                moved = cost - cost2 > enough
                pose, drawn = trial, again
                damp = max(damp / 5, 1e-6)
                break
            damp *= 10
        if not moved:
            break
    miss = data - drawn.change
    template = drawn.covers.nock * (look.nock - patch.scene)
    template += drawn.covers.shaft * (look.shaft - patch.scene)
    trust = _trust(patch, look, drawn.covers)
    power = float((trust * template**2).sum())
    without = miss + template
    amplitude = float((trust * template * without).sum()) / max(power, 1e-12)
    return Placed(
        pose=pose,
        covariance=np.asarray(np.linalg.inv(normal)[:2, :2], dtype=np.float64),
        misfit=float((weight * miss**2).mean()),
        gain=float((patch.weight * ((data - drawn.scene) ** 2 - miss**2)).sum()),
        left=max(float((patch.weight * miss**2).sum()) - miss.size, 0.0),
        clumped=clumped(miss * np.sqrt(patch.weight)),
        contrast=amplitude * float(np.sqrt(power)),
        amplitude=amplitude,
    )


def _trust(patch: Patch, look: Look, c: Covers) -> FloatArray:
    """(h, w) one over each pixel's variance, what the drawn parts may be wrong by counted in."""
    diameter = look.size_px_s / patch.depth_s
    share = float(np.clip((diameter - SHAPELESS_PX) / (SHAPED_PX - SHAPELESS_PX), 0, 1))
    if not share:
        return patch.weight
    contrast = _contrast(patch, look)
    off = (contrast * (1 - c.nock) * np.minimum(c.ring, 1)) ** 2
    off += (NOCK_UNLIKE * contrast * c.nock) ** 2
    off += (SHAFT_UNLIKE * (look.shaft - patch.scene) * c.shaft) ** 2
    return np.asarray(patch.weight / (1 + patch.weight * (share * look.unlike) ** 2 * off))


def _contrast(patch: Patch, look: Look) -> float:
    """Nock's brightness beside the scene's, grey levels."""
    return max(abs(look.nock - float(patch.scene.mean())), 20.0)


def beneath(patch: Patch) -> FloatArray:
    """(h, w) what of a patch's change the scene beneath explains, shifted and lit otherwise."""
    columns = patch.shifts.reshape(3, -1)
    root = patch.weight.ravel()
    normal = (columns * root) @ columns.T + np.diag(_BENEATH)
    pull = columns @ (root * (patch.picture - patch.scene).ravel())
    return np.asarray((np.linalg.solve(normal, pull) @ columns).reshape(patch.scene.shape))


def _prior(patch: Patch, look: Look, sectors: int) -> FloatArray:
    """(7 + s,) one over the variances of a frame's own numbers; the place is all but free."""
    diameter = look.size_px_s / patch.depth_s
    contrast = _contrast(patch, look)
    # a vane fills the more of a sector, the narrower that is
    spread = VANE_SPREAD * contrast * (0.02 if sectors == 1 else sectors / 24)
    # the tip is further away than the nock
    far = diameter * patch.depth_s / (patch.depth_s + look.shaft_s)
    tilt = np.full(2, (TILT * far) ** -2.0)
    return np.concatenate([np.full(2, NOWHERE), tilt, _BENEATH, np.full(sectors, spread**-2.0)])


def _cost(weight: FloatArray, miss: FloatArray, pose: Pose, prior: FloatArray) -> float:
    z = np.abs(miss) * np.sqrt(weight)
    rho = np.where(z < HUBER, z**2, 2 * HUBER * z - HUBER**2)
    return float(rho.sum() + (prior * pose.own**2).sum())


def _huber(z: FloatArray) -> FloatArray:
    return np.asarray(np.minimum(1.0, HUBER / np.maximum(np.abs(z), 1e-9)))


SHARED = ("size_px_s", "blur_px", "ring", "exposure_s", "shaft_s", "nock", "shaft", "vanes")
LOGARITHMIC = ("size_px_s", "blur_px", "shaft_s", "exposure_s")


def _nudged(look: Look, name: str, by: float) -> Look:
    value = getattr(look, name)
    return replace(look, **{name: value * np.exp(by) if name in LOGARITHMIC else value + by})


NUDGE = {"ring": 0.05}
PRIOR_SIGMA = {
    "size_px_s": 0.15,
    "blur_px": 0.25,
    "ring": 0.4,
    "exposure_s": 0.5,
    "shaft_s": 0.15,
    "nock": 80.0,
    "shaft": 30.0,
    "vanes": 6.0,
}
"""How far the look may stray from its start: logarithms for sizes and times, else own units."""


PRIOR_WEIGHT = 100.0
"""Pixels that speak for the start: the model's errors are shared by all pixels (chosen here)."""


def fit_look(
    patches: list[Patch], look: Look, poses: list[Pose], aheads: list[FloatArray], rounds: int = 6
) -> tuple[Look, list[Pose]]:
    """Fit the shared look, each frame's own numbers eliminated [1].

    Parameters
    ----------
    patches, poses, aheads
        Frames to learn from.
    look
        Where to start; `PRIOR_SIGMA` says how far it may go.
    rounds
        Outer steps.

    Returns
    -------
    look : Look
    poses : list of Pose
        Of the frames, under it.
    """
    start = look
    best: tuple[float, Look, list[Pose]] | None = None
    damp = 1e-2
    for _ in range(rounds):
        placed = [
            place(p, look, q, a, rounds=2) for p, q, a in zip(patches, poses, aheads, strict=True)
        ]
        trial = [q.pose for q in placed]
        cost = _shared_cost(look, start)
        cost += sum(
            scale_free_cost(p, look, q, a) for p, q, a in zip(patches, trial, aheads, strict=True)
        )
        if best is None or cost < best[0]:
            done = best is not None and best[0] - cost < 0.5
            best = cost, look, trial
            damp = max(damp / 4, 1e-5)
            if done:
                break
        else:
            damp *= 8
        cost, look, poses = best
        N, g = _shared_normal(patches, look, poses, aheads, start)
        step = np.linalg.solve(N + damp * np.diag(np.diag(N)), g)
        for name, by in zip(SHARED, step, strict=True):
            most = 0.35 if name in LOGARITHMIC else 0.5 if name == "ring" else 40.0
            look = _nudged(look, name, float(np.clip(by, -most, most)))
        look = replace(
            look,
            blur_px=max(look.blur_px, 0.3),
            ring=float(np.clip(look.ring, 1.3, 4.5)),
            nock=float(np.clip(look.nock, 0, 255)),
            shaft=float(np.clip(look.shaft, 0, 255)),
        )
    if best is None:
        return look, poses
    return best[1], best[2]


def clumped(z: FloatArray) -> float:
    """Tell how alike neighbouring pixels are: beside each other, and one above the other.

    Parameters
    ----------
    z
        (h, w) what is left of each, in units of its noise.

    Returns
    -------
    float
        A correlation.
    """
    alike = float((z[:, 1:] * z[:, :-1]).sum()) + float((z[1:] * z[:-1]).sum())
    return alike / max(2 * float((z**2).sum()), 1e-12)


def patch_cost(patch: Patch, look: Look, pose: Pose, ahead_px: FloatArray) -> float:
    """Huber's cost of what a look and a pose leave in a patch, per pixel."""
    change = draw(patch, look, pose, ahead_px, slopes=False).change
    prior = _prior(patch, look, len(pose.sectors))
    return (
        _cost(patch.weight, patch.picture - patch.scene - change, pose, prior) / patch.weight.size
    )


def scale_free_cost(patch: Patch, look: Look, pose: Pose, ahead_px: FloatArray) -> float:
    """Cost of a patch whose noise is known up to a factor only, so that none outweighs the rest.

    Twice the negative log-likelihood with the factor maximised out, up to a constant.
    """
    n = patch.weight.size
    return float(n * np.log1p(patch_cost(patch, look, pose, ahead_px)))


def _stray(look: Look, start: Look) -> FloatArray:
    """How far each shared number is from its start, in units of its prior's sigma."""
    out = []
    for name in SHARED:
        a, b = getattr(look, name), getattr(start, name)
        out.append((np.log(a / b) if name in LOGARITHMIC else a - b) / PRIOR_SIGMA[name])
    return np.array(out)


def _shared_cost(look: Look, start: Look) -> float:
    return PRIOR_WEIGHT * float((_stray(look, start) ** 2).sum())


def _shared_normal(
    patches: list[Patch], look: Look, poses: list[Pose], aheads: list[FloatArray], start: Look
) -> tuple[FloatArray, FloatArray]:
    sigma = np.array([PRIOR_SIGMA[name] for name in SHARED])
    N = PRIOR_WEIGHT * np.diag(sigma**-2.0)
    g = -PRIOR_WEIGHT * _stray(look, start) / sigma
    for patch, pose, ahead in zip(patches, poses, aheads, strict=True):
        drawn = draw(patch, look, pose, ahead)
        own, change, c = drawn.slopes, drawn.change, drawn.covers
        brightness = {"nock": c.nock, "shaft": c.shaft, "vanes": (1 - c.nock) * c.ring}
        shared = []
        for name in SHARED:
            if name in brightness:
                shared.append(brightness[name].ravel())
                continue
            by = NUDGE.get(name, 0.03)
            nudged = draw(patch, _nudged(look, name, by), pose, ahead, slopes=False).change
            shared.append((nudged - change).ravel() / by)
        S = np.stack(shared)
        miss = patch.picture - patch.scene - change
        w = (patch.weight * _huber(miss * np.sqrt(patch.weight))).ravel()
        prior = _prior(patch, look, len(pose.sectors))
        w /= 1 + _cost(patch.weight, miss, pose, prior) / w.size
        A = (own * w) @ own.T + np.diag(prior)
        C = (S * w) @ own.T
        pull = (own * w) @ miss.ravel() - prior * pose.own
        solve = np.linalg.solve(A, np.column_stack([C.T, pull]))
        N += (S * w) @ S.T - C @ solve[:, :-1]
        g += (S * w) @ miss.ravel() - C @ solve[:, -1]
    return N, g
