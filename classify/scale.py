"""How pixels become metres: every clue weighed against the others, or no metres at all.

A fitted flight and what the coach knows go in, a `Scale` comes out; None where nothing ties pixels
to metres. Priors for the fit are made from the same knowledge here, so that `classify.spectral`
needs to know neither arrows nor lenses.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from classify.chances import chi2_exceeded
from classify.clues import (
    CAMERA_SIGMA_M,
    LENS_WRONG,
    LENS_WRONG_SHARE,
    SPEED_SIGMA,
    STROKE_M,
    USUAL_SPEED_M_S,
    Clue,
    Source,
    find_clues,
    focal_length_px,
    to_release_s,
)
from classify.types import LIMIT_SIGMAS, Estimate, Known, Prediction, Priors, Scale, Spectrum
from tracker.types import Clip, FloatArray, Message, Track, message

WIDEST = 0.35
"""A scale less sure than this, as a relative error, is none."""

PHONE_FOCAL = Estimate(value=1.2, sigma=0.8)
"""Focal length over the longer side of a phone's picture, from no zoom to several times; chosen
here, so wide that it only keeps a poor fit from the absurd."""

DISAGREE = 1e-3
"""Probability by chance of a clue that lies so far from the others."""

BETTER = 0.5
"""Share of what was left open of the fall before, from which other clues count (chosen here)."""

DOUBTED = 2.0
"""Standard errors between the fall as it was fitted and as other clues tell it, from which neither
is believed more: the face may be of another size than was said (chosen here)."""

SPEED_OVER_FOCAL = np.array([-1.0, 1.0])
"""Powers of focal length and speed in metres per pixel second."""

AS_WELL = 6.0
"""Misfit by which leaving out one word must do better than leaving out any other, else nobody knows
which is wrong: a face of twice the size agrees with itself in two clues (chosen here)."""

RESTS_ON: dict[str, tuple[Source, ...]] = {
    "impact": ("flight time", "face at impact"),
    "face": ("face at impact", "face at its distance"),
    "distance": ("flight time", "face at its distance"),
    "focal length": ("focal length",),
    "field of view": ("field of view",),
    "speed": ("speed",),
    "camera distance": ("camera distance",),
    "nock": ("nock",),
    "fall": ("fall",),
    "usual speed": ("usual speed",),
}
"""What the clues rest on: the coach's words and moments in the film."""


def priors_for(*, known: Known, prediction: Prediction, clip: Clip, track: Track) -> Priors:
    """Say what to expect of a track, from what the coach knows and physics predicts.

    Parameters
    ----------
    known
        What the coach knows.
    prediction
        What physics expects of the arrow.
    clip
        For the width of the picture.
    track
        For the time between release and the first followed frame.

    Returns
    -------
    Priors
        For `classify.spectral.fit_swing`.
    """
    speed = prediction.speed_m_s
    if known.speed_m_s is not None:
        speed = Estimate(value=known.speed_m_s, sigma=SPEED_SIGMA * known.speed_m_s)
    focal = focal_length_px(known, clip.width)
    if focal is None:
        long_side = max(clip.width, clip.height)
        focal = Estimate(value=PHONE_FOCAL.value * long_side, sigma=PHONE_FOCAL.sigma * long_side)
    ratio = focal.value / speed.value
    lens = [(1.0, focal.sigma / focal.value)]
    if known.field_of_view_deg is not None and known.focal_px is None:
        lens = [(1.0 - LENS_WRONG_SHARE, lens[0][1]), (LENS_WRONG_SHARE, LENS_WRONG)]
    relative = speed.sigma / speed.value
    cases = tuple(
        (share, Estimate(value=ratio, sigma=ratio * float(np.hypot(sigma, relative))))
        for share, sigma in lens
    )
    singular = Priors().singular_time_s
    late = to_release_s(track, int(np.flatnonzero(track.seen)[0]))
    if known.camera_distance_m is not None and late is not None:
        behind = (known.camera_distance_m + STROKE_M.value) / speed.value
        value = max(behind + late.value, 0.3 * behind)
        sigma_m = float(np.hypot(CAMERA_SIGMA_M, STROKE_M.sigma))
        sigma = float(
            np.hypot(behind * speed.sigma / speed.value, sigma_m / speed.value) + late.sigma
        )
        singular = Estimate(value=value, sigma=sigma / value)
    return Priors(
        yaw_hz=prediction.yaw_hz,
        yaw_damping_ratio=prediction.yaw_damping_ratio,
        singular_time_s=singular,
        fall_px_s=_together(cases),
        fall_cases=cases,
    )


def _together(cases: tuple[tuple[float, Estimate], ...]) -> Estimate:
    """Give mean and standard deviation of a mixture."""
    share, value, sigma = np.array([(s, one.value, one.sigma) for s, one in cases]).T
    mean = float(share @ value)
    return Estimate(value=mean, sigma=float(np.sqrt(share @ (sigma**2 + (value - mean) ** 2))))


def find_scale(
    spectrum: Spectrum, *, known: Known, clip: Clip, track: Track, face_px: Estimate | None
) -> Scale | None:
    """Weigh every clue and give metres per pixel second.

    Parameters
    ----------
    spectrum
        The fitted flight.
    known, clip, track, face_px
        As for `classify.clues.find_clues`.

    Returns
    -------
    Scale or None
        None where the clues leave more than `WIDEST` open.
    """
    clues = find_clues(spectrum, known=known, clip=clip, track=track, face_px=face_px)
    if all(clue.powers[0] == 0 for clue in clues):
        return None  # nothing says how many pixels there are to a metre
    clues, notes = _trusted(clues)
    weighed = _weigh_in_doubt(clues)
    ratio, relative = _product(weighed, SPEED_OVER_FOCAL)
    if relative > WIDEST:
        return None
    tau = spectrum.singular_time_s
    release = ratio * tau.value * 1e3
    speed = float(np.exp(weighed.value[1]))
    sigma_v = float(np.sqrt(weighed.covariance[1, 1]))
    usual = USUAL_SPEED_M_S.sigma / USUAL_SPEED_M_S.value
    off = abs(float(np.log(speed / USUAL_SPEED_M_S.value)))
    if known.speed_m_s is None and off - LIMIT_SIGMAS * sigma_v > 2 * usual:
        low, high = (
            round(USUAL_SPEED_M_S.value + side * USUAL_SPEED_M_S.sigma) for side in (-2, 2)
        )
        notes += (message("motion.speed_unusual", speed_m_s=round(speed), low=low, high=high),)
    return Scale(
        m_per_px_s=Estimate(value=ratio, sigma=ratio * relative),
        mm_per_px_at_release=Estimate(
            value=release, sigma=release * float(np.hypot(relative, tau.sigma / tau.value))
        ),
        from_=" and ".join(_rests_on(clues)),
        speed_m_s=Estimate(value=speed, sigma=speed * sigma_v) if sigma_v < 0.7 * usual else None,
        notes=notes,
    )


def clues_disagree(clues: tuple[Clue, ...]) -> Message | None:
    """Say which clues lie apart by more than chance explains.

    Parameters
    ----------
    clues
        Of the fitted flight.

    Returns
    -------
    Message or None
        None where all agree.
    """
    notes = _trusted(clues)[1]
    return notes[0] if notes else None


def told_priors(priors: Priors, clues: tuple[Clue, ...]) -> Priors:
    """Say better how fast the arrow falls in the picture, if other clues than that fall tell it.

    A face of known size at the moment it was struck and the flight time tell it five times better
    than lens and usual speed do before the flight is fitted, and a slow pitch is told from the fall
    so much the better.

    Parameters
    ----------
    priors
        As used for the fit.
    clues
        Of the fitted flight.

    Returns
    -------
    Priors
        The same where the clues say little more, and where they disagree with each other or with
        the fall: a moment that was no impact would make a pitch out of nothing. What a field of
        view said that the others contradict is dropped.
    """
    before = priors.fall_px_s
    if before is None:
        return priors
    trusted, disagreement = _trusted(clues)
    if disagreement:
        left_out = any(clue.source == "field of view" and clue not in trusted for clue in clues)
        return _without_lens(priors) if left_out and priors.fall_cases else priors
    cases = []
    for share, weighed in _lens_ways(tuple(clue for clue in trusted if clue.source != "fall")):
        value, relative = _product(weighed, -SPEED_OVER_FOCAL)
        cases.append((share, Estimate(value=value, sigma=value * relative)))
    told = _together(tuple(cases))
    value, relative = told.value, told.sigma / told.value
    doubted = any(
        abs(clue.value - np.log(value)) > DOUBTED * np.hypot(clue.sigma, relative)
        for clue in trusted
        if clue.source == "fall"
    )
    if doubted or value * relative > BETTER * before.sigma:
        return priors
    return replace(priors, fall_px_s=told, fall_cases=tuple(cases))


def _without_lens(priors: Priors) -> Priors:
    """Keep of what was expected before the flight was fitted the case of a wrong field of view."""
    _, wide = priors.fall_cases[-1]
    return replace(priors, fall_px_s=wide, fall_cases=())


@dataclass(frozen=True, kw_only=True, eq=False)
class Weighed:
    """What the clues say together.

    Attributes
    ----------
    value
        (2,) ln F and ln v.
    covariance
        (2, 2)
    misfit
        Weighted sum of squares left.
    log_evidence
        How well they go together, less what all sets of as many clues share.
    """

    value: FloatArray
    covariance: FloatArray
    misfit: float
    log_evidence: float


def weigh(clues: tuple[Clue, ...], ln_clock: float = 0.0) -> Weighed:
    """Combine clues by inverse variance, the clock being off by a known factor.

    Parameters
    ----------
    clues
        Any; none is needed.
    ln_clock
        Logarithm of claimed seconds per true second.

    Returns
    -------
    Weighed
        A focal length or a speed that no clue speaks of is left open, by a factor of ten and three.
    """
    rows = [(*c.powers[:2], c.line, c.value - c.powers[2] * ln_clock, c.sigma) for c in clues]
    rows.append((1.0, 0.0, 0.0, float(np.log(1500.0)), float(np.log(10.0))))
    rows.append((0.0, 1.0, 0.0, float(np.log(USUAL_SPEED_M_S.value)), 1.0))
    rows.append((0.0, 0.0, 1.0, 0.0, 1.0))  # where the archer stands on the line
    *slopes, value, sigma = np.array(rows).T
    A = np.stack(slopes, axis=1) / sigma[:, None]
    b = value / sigma
    covariance = np.linalg.inv(A.T @ A)
    x = covariance @ A.T @ b
    misfit = float(np.sum((b - A @ x) ** 2))
    log_evidence = float(np.linalg.slogdet(covariance)[1] - misfit) / 2 - np.log(sigma).sum()
    return Weighed(
        value=x[:2],
        covariance=covariance[:2, :2],
        misfit=misfit,
        log_evidence=float(log_evidence),
    )


def _lens_ways(clues: tuple[Clue, ...]) -> list[tuple[float, Weighed]]:
    """Combine clues with the field of view right and wrong, and say how likely each is."""
    wrong = tuple(
        replace(clue, sigma=LENS_WRONG) if clue.source == "field of view" else clue
        for clue in clues
    )
    if wrong == clues:
        return [(1.0, weigh(clues))]
    ways = [(1.0 - LENS_WRONG_SHARE, weigh(clues)), (LENS_WRONG_SHARE, weigh(wrong))]
    top = max(weighed.log_evidence for _, weighed in ways)
    shares = np.array([share * np.exp(weighed.log_evidence - top) for share, weighed in ways])
    shares /= shares.sum()
    return [(float(share), weighed) for share, (_, weighed) in zip(shares, ways, strict=True)]


def _weigh_in_doubt(clues: tuple[Clue, ...]) -> Weighed:
    """Combine clues as `weigh` does, the field of view known no better than it is."""
    ways = _lens_ways(clues)
    value = np.sum([share * one.value for share, one in ways], axis=0)
    covariance = np.sum(
        [
            share * (one.covariance + np.outer(one.value - value, one.value - value))
            for share, one in ways
        ],
        axis=0,
    )
    return replace(ways[0][1], value=value, covariance=covariance)


def _product(weighed: Weighed, powers: FloatArray) -> tuple[float, float]:
    """Give a product of powers of focal length and speed, and its relative error."""
    value = float(np.exp(powers @ weighed.value))
    return value, float(np.sqrt(powers @ weighed.covariance @ powers))


def _rests_on(clues: tuple[Clue, ...]) -> list[str]:
    """Name the clues without which the scale would be a good deal less sure, best first."""
    whole = weigh(clues).covariance
    variance = float(SPEED_OVER_FOCAL @ whole @ SPEED_OVER_FOCAL)
    loss = []
    for i, clue in enumerate(clues):
        rest = weigh(clues[:i] + clues[i + 1 :]).covariance
        loss.append((float(SPEED_OVER_FOCAL @ rest @ SPEED_OVER_FOCAL) / variance, clue.source))
    loss.sort(reverse=True)
    named = [source for ratio, source in loss if ratio > 1.3]
    return [str(source) for source in named] or [str(loss[0][1])]


def _trusted(clues: tuple[Clue, ...]) -> tuple[tuple[Clue, ...], tuple[Message, ...]]:
    """Give the clues to believe, and what the coach should look at again.

    What most archers shoot is no word of the coach's and no moment in the film: where all else
    agrees without it, and leaving it out does as well as leaving out any word, this archer shoots
    faster or slower than most, and no word is blamed for that.

    Clues that rest on one word of the coach's, or on one moment in the film, stand and fall
    together. Where chance does not explain how far the clues lie apart, those resting on the word
    that fits worst with all others are left out, as long as what remains agrees and says as much;
    else all stay, and their errors grow to cover the misfit. Where leaving out another word would
    do nearly as well, all that is in dispute is known no better than the two lie apart.
    """
    weighed = weigh(clues)
    spare = len(clues) - 2
    if spare < 1 or weighed.misfit < chi2_exceeded(DISAGREE, spare):
        return clues, ()
    ways: list[tuple[float, str, tuple[Clue, ...]]] = []
    for word, sources in RESTS_ON.items():
        rest = tuple(clue for clue in clues if clue.source not in sources)
        if len(rest) == len(clues) or not rest:
            continue
        ways.append((weigh(rest).misfit, word, rest))
    if not ways:
        return clues, ()
    ways.sort(key=lambda way: way[0])
    for misfit, word, rest in ways:
        if word == "usual speed" and misfit < ways[0][0] + AS_WELL and _agree(rest, misfit):
            return rest, ()
    misfit, word, rest = ways[0]
    without = weigh(rest)
    gaps = [
        clue.value - float(np.array(clue.powers[:2]) @ without.value)
        for clue in clues
        if clue not in rest
    ]
    told = message(
        "motion.clues_disagree",
        odd=word,
        others=", ".join(sorted(clue.source for clue in rest)),
        percent=round(100 * float(np.expm1(max(abs(gap) for gap in gaps)))),
    )
    # what is left must not only agree: it must have something to agree about
    agrees = len(rest) > 2 and _agree(rest, misfit)
    rivals = [way[2] for way in ways[1:] if way[0] < misfit + AS_WELL and way[2] != rest]
    if agrees and rivals:
        ratios = [weigh(kept).value @ SPEED_OVER_FOCAL for kept in (rest, *rivals)]
        apart = float(np.ptp(ratios))
        undisputed = set(rest).intersection(*rivals)
        return tuple(
            clue if clue in undisputed else replace(clue, sigma=float(np.hypot(clue.sigma, apart)))
            for clue in clues
        ), (told,)
    if agrees and any(clue.powers[0] for clue in rest):
        return rest, (told,)
    wider = float(np.sqrt(weighed.misfit / spare))
    return tuple(replace(clue, sigma=clue.sigma * wider) for clue in clues), (told,)


def _agree(clues: tuple[Clue, ...], misfit: float) -> bool:
    """Tell whether chance explains how far clues lie apart; two or fewer always agree."""
    return len(clues) <= 2 or misfit < chi2_exceeded(DISAGREE, len(clues) - 2)
