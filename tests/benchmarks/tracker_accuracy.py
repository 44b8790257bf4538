"""Print how well the nock is found and placed, on films of known truth. Every seed is yours to say.

``python -m tests.benchmarks.tracker_accuracy films --clips 20 --seed 1 --difficulty clear
--misfits 2`` follows compressed films without a click: who is found, how far off, how honest.
``noise --clips 4 --seed 1``: claimed errors against true ones at five levels of noise.
``bound --clips 6 --seed 1``: errors against the least that the rendered tail allows, by size.
``locking --clips 6 --seed 1``: whether the error depends on where in its pixel the nock lies.
The last three are on uncompressed films. Rows are printed as they come.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import replace
from typing import TypeVar

import click
import cv2
import numpy as np
from joblib import Parallel, delayed
from scipy.stats import f as f_distribution

from fixtures.encode import LOSSLESS
from fixtures.evaluate import BITS_PER_PIXEL, phone_coding
from fixtures.misfits import FINISH_KINDS, Difficulty, plan_with_misfits
from tests.benchmarks.filmed_flights import (
    Compared,
    compared,
    filmed,
    long_plan,
    small_plan,
)
from tests.benchmarks.tail_bound import TailBound

DIFFICULTIES: tuple[Difficulty, ...] = ("clear", "hard")
NOISE_DN = ((0.5, 0.5), (1.0, 1.5), (2.0, 2.5), (3.5, 4.0), (6.0, 6.0))
"""Noise of a black pixel and what light adds at full white, in grey levels: from a bright day to a
dim hall."""
SIZES_PX = (12.0, 8.0, 5.0, 3.0, 2.0, 1.0, 0.5)
WITHIN = 1.2
"""A bin holds nocks up to a fifth larger or smaller."""
EVERY = 2
"""The bound is worked out in every second frame."""
FRACTION_BINS = 8

T = TypeVar("T")

clips_option = click.option("--clips", type=click.IntRange(min=1), required=True)
seed_option = click.option("--seed", type=int, required=True)
jobs_option = click.option("--jobs", type=click.IntRange(min=1), default=1, show_default=True)


@click.group(help=__doc__)
def main() -> None:
    """Measure the tracker."""


def in_turn(run: Callable[[int], T], numbers: range, jobs: int) -> Iterator[T]:
    """Give each number's result as soon as it and those before it are there."""
    results: Iterator[T] = Parallel(n_jobs=jobs, return_as="generator")(
        delayed(run)(number) for number in numbers
    )
    return results


@main.command()
@clips_option
@seed_option
@click.option("--difficulty", type=click.Choice([*DIFFICULTIES]), required=True)
@click.option(
    "--misfits",
    type=click.IntRange(min=0, max=6),
    required=True,
    help="How many departures from what a tracker may assume, in each film.",
)
@click.option(
    "--finish",
    type=click.Choice([*FINISH_KINDS]),
    multiple=True,
    help="What the phone does to its own pictures, in every film.",
)
@click.option(
    "--first",
    type=click.IntRange(min=0),
    default=0,
    show_default=True,
    help="Number of the first film, to go on where a run was ended.",
)
@click.option(
    "--bits",
    type=click.FloatRange(min=0, min_open=True),
    default=None,
    help="For each pixel of the film, instead of those usual for the difficulty.",
)
@jobs_option
def films(
    clips: int,
    seed: int,
    difficulty: Difficulty,
    misfits: int,
    finish: tuple[str, ...],
    first: int,
    bits: float | None,
    jobs: int,
) -> None:
    """Follow compressed films without a click."""
    bits = bits or BITS_PER_PIXEL[difficulty]
    click.echo(f"{difficulty} films, seed {seed}, {misfits} misfits each, "
               f"{bits} bits a pixel; errors over frames with a nock of "
               f"1 px or more, a constant offset removed")  # fmt: skip
    click.echo("film  outcome   rms x  rms y   mid x  mid y   z2 x  z2 y   frames  misfits")

    def run(number: int) -> tuple[int, Compared, tuple[str, ...]]:
        cv2.setNumThreads(1)
        rng = np.random.default_rng([seed, number, DIFFICULTIES.index(difficulty)])
        plan, kinds = plan_with_misfits(rng, difficulty, misfits=misfits, finish=finish)
        coding = phone_coding(plan, bits)
        film_seed = int(rng.integers(2**31))
        made = filmed(plan, seed=film_seed, coding=coding)
        return number, compared(plan, *made), kinds

    all_: list[Compared] = []
    for number, one, kinds in in_turn(run, range(first, first + clips), jobs):
        all_.append(one)
        told = one.why
        if _counts(one):
            rms, middle, z2 = one.rms_px(), one.middle_px(), one.z2().mean(axis=0)
            told = (
                f"{rms[0]:5.3f}  {rms[1]:5.3f}   {middle[0]:5.3f}  {middle[1]:5.3f}  {z2[0]:5.2f} "
                f"{z2[1]:5.2f}   {one.wide.sum():3d}/{one.flying_frames:3d}"
            )
        click.echo(f"{number:4d}  {one.outcome:8s}  {told:55s} {', '.join(kinds)}")
    click.echo("\n".join(films_summary(all_)))


def _counts(one: Compared) -> bool:
    """Whether there are enough wide nocks on the right arrow to speak of an error."""
    return one.outcome in {"right", "tail"} and int(one.wide.sum()) >= 4


def films_summary(all_: list[Compared]) -> list[str]:
    """Sum up: outcomes, errors over films, honesty over frames.

    Parameters
    ----------
    all_
        The films.

    Returns
    -------
    list of str
        Lines for a person.
    """
    outcome = Counter(one.outcome for one in all_)
    there = outcome["right"] + outcome["tail"]
    in_doubt = sum(one.in_doubt for one in all_) - outcome["doubted"]
    lines = [
        f"{len(all_)} films: right arrow {there} ({100 * there / len(all_):.1f} %), of them on its "
        f"tail more than a nock's width off {outcome['tail']} and in doubt {in_doubt}; refused "
        f"{outcome['refused']}, wrong path in doubt {outcome['doubted']}, wrong path claimed "
        f"{outcome['wrong']}"
    ]
    good = [one for one in all_ if _counts(one)]
    if not good:
        return lines
    rms = np.array([one.rms_px() for one in good])
    z2 = np.concatenate([one.z2() for one in good])
    share = [one.wide.sum() / max(one.flying_frames, 1) for one in good]
    for axis, name in enumerate("xy"):
        lines.append(
            f"rms error {name}: median {np.median(rms[:, axis]):.3f} px, 90th percentile "
            f"{np.percentile(rms[:, axis], 90):.3f} px; mse/sigma2 {z2[:, axis].mean():.2f}, "
            f"by median {np.median(z2[:, axis]) / 0.4549:.2f}; without strays (1.48 MAD) median "
            f"{np.median([one.middle_px()[axis] for one in good]):.3f} px"
        )
    lines.append(f"share of flying frames followed: median {np.median(share):.2f}")
    return lines


@main.command()
@clips_option
@seed_option
@jobs_option
def noise(clips: int, seed: int, jobs: int) -> None:
    """Hold claimed errors against true ones at five levels of noise, uncompressed."""
    click.echo(f"mean squared error over claimed sigma2, {clips} films, seed {seed}, a constant "
               f"offset removed, nock 1 px or more")  # fmt: skip
    click.echo("noise (black, white) dn  right  frames    x     y   by median x, y   rms x  rms y")
    whole: list[Compared] = []
    for level, (read_dn, shot_dn) in enumerate(NOISE_DN):

        def run(number: int, level: int = level) -> Compared:
            cv2.setNumThreads(1)
            rng = np.random.default_rng([seed, number])
            plan = small_plan(rng)
            dn = NOISE_DN[level]
            sensor = replace(plan.sensor, read_dn=dn[0], shot_dn=dn[1])
            noisy = replace(plan, sensor=sensor)
            film_seed = int(rng.integers(2**31)) + level
            return compared(noisy, *filmed(noisy, seed=film_seed, coding=LOSSLESS))

        these = list(in_turn(run, range(clips), jobs))
        whole += these
        click.echo(f"{read_dn:6.1f}, {np.hypot(read_dn, shot_dn):4.1f}           "
                   f"{_honesty(these)}")  # fmt: skip
    click.echo(f"{'all':24}{_honesty(whole)}")


def _honesty(these: list[Compared]) -> str:
    good = [one for one in these if _counts(one)]
    if not good:
        return f"0/{len(these)}"
    z2 = np.concatenate([one.z2() for one in good])
    rms = np.sqrt(np.mean([one.rms_px() ** 2 for one in good], axis=0))
    middle = np.median(z2, axis=0) / 0.4549  # of the square of a standard normal variable
    mean = z2.mean(axis=0)
    return (f"{len(good):2d}/{len(these):2d}  {len(z2):6d}  {mean[0]:5.2f} {mean[1]:5.2f}   "
            f"{middle[0]:5.2f} {middle[1]:5.2f}     {rms[0]:6.3f} {rms[1]:6.3f}")  # fmt: skip


def long_films(clips: int, seed: int, jobs: int) -> Iterator[tuple[TailBound, Compared]]:
    """Film long flights, uncompressed, and follow them."""

    def run(number: int) -> tuple[TailBound, Compared]:
        cv2.setNumThreads(1)
        rng = np.random.default_rng([seed, number])
        plan = long_plan(rng)
        film_seed = int(rng.integers(2**31))
        followed, truth = filmed(plan, seed=film_seed, coding=LOSSLESS)
        return TailBound(plan, seed=film_seed), compared(plan, followed, truth)

    return in_turn(run, range(clips), jobs)


@main.command()
@clips_option
@seed_option
@jobs_option
def bound(clips: int, seed: int, jobs: int) -> None:
    """Hold errors against the Cramér-Rao bound of the rendered tail, by size, uncompressed."""
    click.echo(f"{clips} long films, seed {seed}, still camera, one offset per film removed")
    per_frame: list[np.ndarray] = []
    for number, (limit, one) in enumerate(long_films(clips, seed, jobs)):
        click.echo(f"film {number}: {one.outcome} {one.why} {len(one.frame)} frames")
        if one.outcome == "right" and len(one.frame):
            per_frame += list(_against_bound(number, limit, one))
    if per_frame:
        click.echo("\n".join(bound_table(np.array(per_frame))))


def _against_bound(number: int, limit: TailBound, one: Compared) -> Iterator[np.ndarray]:
    """Film, size, error x y, claim x y, bound x y, bound x y with unknown pose; frame by frame."""
    error = one.error_px - (one.error_px / one.sigma_px**2).sum(0) / (1 / one.sigma_px**2).sum(0)
    for k in range(0, len(one.frame), EVERY):
        if not any(size / WITHIN < one.size_px[k] < size * WITHIN for size in SIZES_PX):
            continue
        least = limit.at(int(one.frame[k]))
        if least is not None:
            yield np.concatenate(
                [[number, one.size_px[k]], error[k], one.sigma_px[k], least.known_px,
                 least.unknown_px]
            )  # fmt: skip


def bound_table(rows: np.ndarray) -> list[str]:
    """Sum up by size.

    Parameters
    ----------
    rows
        (n, 10) of `_against_bound`.

    Returns
    -------
    list of str
        Lines for a person.
    """
    lines = [
        "rms error over bound (each frame's own); 'scatter': each film's mean in the bin removed",
        "nock px  frames  bound x, y px    error x, y px   error/bound x  y   scatter/bound x  y"
        "   error/bound, pose unknown x  y   claimed/bound x  y",
    ]
    for size in SIZES_PX:
        here = rows[(rows[:, 1] > size / WITHIN) & (rows[:, 1] < size * WITHIN)]
        if len(here) < 2:
            lines.append(f"{size:5.1f}  {len(here):6d}  too few")
            continue
        error, claim, known, unknown = here[:, 2:4], here[:, 4:6], here[:, 6:8], here[:, 8:10]
        scatter = error.copy()
        for film in np.unique(here[:, 0]):
            mine = here[:, 0] == film
            left = max(int(mine.sum()) - 1, 1)
            scatter[mine] -= scatter[mine].mean(axis=0)
            scatter[mine] *= np.sqrt(mine.sum() / left)
        parts = [
            f"{size:5.1f}  {len(here):6d}   ",
            _two(_rms(known), 4),
            _two(_rms(error), 4),
            _two(_rms(error / known), 2),
            "    " + _two(_rms(scatter / known), 2),
            "       " + _two(_rms(error / unknown), 2),
            "             " + _two(_rms(claim / known), 2),
        ]
        lines.append("  ".join(parts))
    return lines


def _rms(values: np.ndarray) -> np.ndarray:
    return np.asarray(np.sqrt((values**2).mean(axis=0)))


def _two(values: np.ndarray, digits: int) -> str:
    return " ".join(f"{value:7.{digits}f}" for value in values)


@main.command()
@clips_option
@seed_option
@jobs_option
def locking(clips: int, seed: int, jobs: int) -> None:
    """Look for errors that depend on where in its pixel the nock lies, uncompressed."""
    click.echo(f"{clips} long films, seed {seed}; errors in units of the claims' sigma weighted")
    good: list[Compared] = []
    for number, (_, one) in enumerate(long_films(clips, seed, jobs)):
        click.echo(f"film {number}: {one.outcome} {one.why} {len(one.frame)} frames")
        if one.outcome == "right" and len(one.frame):
            good.append(one)
    for name, low, high in (("3 px and more", 3.0, 99.0), ("1 to 3 px", 1.0, 3.0),
                            ("below 1 px", 0.0, 1.0)):  # fmt: skip
        for axis in (0, 1):
            click.echo(f"nock {name}, {'xy'[axis]}: {locking_line(good, axis, low, high)}")


def locking_line(films_: list[Compared], axis: int, low: float, high: float) -> str:
    """Fit one wave per pixel to the errors against the true fraction of a pixel.

    With no locking half the squared amplitude over its variance follows Fisher's F with 2 and
    2 (n - 1) degrees of freedom; the variance is that of leaving out each of n films in turn, so
    that errors which neighbouring frames share do not make it too small.

    Parameters
    ----------
    films_
        Followed films.
    axis
        0 is x, 1 is y.
    low, high
        True widths of the nock.

    Returns
    -------
    str
        Amplitude with its error, probability of so large a one by chance, and the mean error in
        each eighth of a pixel.
    """
    parts = []
    for one in films_:
        use = (one.size_px >= low) & (one.size_px < high)
        if use.sum() >= 4:
            error, weight = one.error_px[use, axis], one.sigma_px[use, axis] ** -2.0
            error = error - (error * weight).sum() / weight.sum()
            parts.append((one.fraction[use, axis], error, weight))
    if len(parts) < 3:
        return "too few films"
    whole = _wave(parts)
    left_out = np.array([_wave(parts[:k] + parts[k + 1 :]) for k in range(len(parts))])
    n = len(parts)
    centred = left_out - left_out.mean(axis=0)
    covariance = (n - 1) / n * centred.T @ centred
    # few films tell a covariance poorly: the two waves are taken to scatter alike
    variance = float(np.trace(covariance)) / 2
    amplitude = float(np.hypot(*whole))
    chance = float(f_distribution.sf(amplitude**2 / (2 * variance), 2, 2 * (n - 1)))
    fraction = np.concatenate([part[0] for part in parts])
    error = np.concatenate([part[1] for part in parts])
    weight = np.concatenate([part[2] for part in parts])
    place = np.minimum((fraction * FRACTION_BINS).astype(int), FRACTION_BINS - 1)
    mass = np.bincount(place, weight, FRACTION_BINS)
    means = np.bincount(place, weight * error, FRACTION_BINS) / np.maximum(mass, 1e-12)
    return (
        f"{len(error)} places, amplitude {amplitude:.4f} +- {np.sqrt(variance):.4f} px, "
        f"by chance {chance:.2f}; means {' '.join(f'{mean:+.3f}' for mean in means)}"
    )


def _wave(parts: list[tuple[np.ndarray, np.ndarray, np.ndarray]]) -> np.ndarray:
    """Cosine and sine share of the errors, weighted."""
    fraction, error, weight = (np.concatenate(kind) for kind in zip(*parts, strict=True))
    angle = 2 * np.pi * fraction
    basis = np.stack([np.ones_like(angle), np.cos(angle), np.sin(angle)])
    solved = np.linalg.solve((basis * weight) @ basis.T, (basis * weight) @ error)
    return np.asarray(solved[1:])


if __name__ == "__main__":
    main()
