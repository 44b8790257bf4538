"""The measuring tape is measured: what the accuracy benchmark counts, on errors made to order."""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np
import pytest

from fixtures.plan import FlightPlan, Sensor
from fixtures.truth import Truth, shoot
from tests.benchmarks.filmed_flights import Compared, compared, long_plan
from tests.benchmarks.tail_bound import TailBound
from tests.benchmarks.tracker_accuracy import bound_table, films_summary, locking_line
from tests.flight_clips import clip_of
from tests.tracked_films import HZ, small_flight
from tracker.types import Followed, Track


def lone_disc(rng: np.random.Generator) -> FlightPlan:
    """Plan a long flight of a nock alone, without vanes and with a thread for a shaft."""
    plan = long_plan(rng)
    return replace(
        plan,
        arrow=replace(plan.arrow, vanes=0, shaft_diameter_m=1e-5),
        sensor=Sensor(psf_px=1.1, read_dn=2.0, shot_dn=0.0),
        scene=replace(plan.scene, background="hall"),
    )


def test_bound_of_a_small_disc_is_that_of_a_spot(rng: np.random.Generator) -> None:
    """0.7979 noise over peak for a Gaussian spot, whatever its width.

    The Fisher information of a Gaussian of standard deviation w and peak A in white noise s is
    pi A^2 / (2 s^2), w cancelling: 1/sqrt(pi/2) = 0.7979. A nock of half a pixel behind a blur of
    1.1 pixels is a Gaussian to a few parts in a hundred.
    """
    plan = lone_disc(rng)
    film = shoot(plan, seed=5).truth
    bound = TailBound(plan, seed=5)
    for row in np.flatnonzero(film.visible & (film.tail_px < 1.2) & (film.tail_px > 0.9))[::12]:
        drawn = bound.picture(int(row))
        least = bound.at(int(row))
        assert drawn is not None
        assert least is not None
        box, picture = drawn
        change = picture - bound.scene[box]
        # the peak lies between pixels: a Gaussian's is its sum over 2 pi w^2, w^2 by moments
        y, x = np.indices(change.shape)
        total = change.sum()
        middle = [(change * x).sum() / total, (change * y).sum() / total]
        width2 = (change * ((x - middle[0]) ** 2 + (y - middle[1]) ** 2)).sum() / total / 2
        peak = total / (2 * np.pi * width2)
        noise = np.sqrt(4 + 1 / 12)
        np.testing.assert_allclose(least.known_px, 0.7979 * noise / peak, rtol=0.06)


def track_with(truth: Truth, error_px: np.ndarray, sigma_px: float, plan: FlightPlan) -> Followed:
    """Claim the truth with errors, in the frames that show the nock."""
    seen = np.where(truth.visible[:, None], 1.0, np.nan)
    rows = np.flatnonzero(truth.visible)
    track = Track(
        time_s=truth.time_s,
        xy_px=(truth.xy_in(3) + error_px) * seen,
        sigma_px=np.full((len(seen), 2), sigma_px) * seen,
        shake_px=np.zeros((len(seen), 2)),
        tail_px=truth.tail_px * seen[:, 0],
        reference_frame=3,
        first_frame=int(rows[0]),
        last_frame=int(rows[-1]),
        release_s=truth.release_s,
        impact_s=truth.impact_s,
        release_sigma_s=0.002,
        impact_sigma_s=0.002,
        found_by="itself",
        confidence=1.0,
    )
    clip = clip_of(track, plan.camera.capture_hz)
    return Followed(clip=clip, flights=(track,), lost=None, plate=None)


def test_errors_are_counted_as_made(rng: np.random.Generator) -> None:
    """0.2 and 0.1 px of error beside a constant offset come out so; half the claim is z2 of 4."""
    plan = small_flight()
    truth = shoot(plan, seed=1).truth
    made = rng.normal(0, 1, (len(truth.time_s), 2)) * [0.2, 0.1] + [0.3, -0.2]
    one = compared(plan, track_with(truth, made, 0.1, plan), truth)
    assert one.outcome == "right"
    np.testing.assert_allclose(one.rms_px(), [0.2, 0.1], rtol=0.3)
    np.testing.assert_allclose(one.z2().mean(axis=0), [4.0, 1.0], rtol=0.5)
    assert one.wide.sum() == one.flying_frames


@pytest.mark.parametrize(("widths", "outcome"), [(0.9, "right"), (1.1, "tail"), (2.1, "wrong")])
def test_a_path_two_nocks_aside_is_wrong(widths: float, outcome: str) -> None:
    """A path is right up to a nock's width from the true one, and its arrow's up to two."""
    plan = small_flight()
    truth = shoot(plan, seed=1).truth
    aside = widths * np.maximum(truth.tail_px, 1.0)[:, None] * [0.6, 0.8]
    followed = track_with(truth, aside, 0.1, plan)
    assert compared(plan, followed, truth).outcome == outcome
    (track,) = followed.flights
    doubted = replace(followed, flights=(replace(track, confidence=0.93),))
    one = compared(plan, doubted, truth)
    assert one.outcome == ("doubted" if outcome == "wrong" else outcome)
    assert one.in_doubt
    # beside a wrong path that nobody doubts, a doubted one is no excuse
    both = compared(plan, replace(followed, flights=(track, *doubted.flights)), truth)
    assert both.outcome == outcome


def test_no_path_is_a_refusal() -> None:
    """Without a flight nothing is claimed."""
    plan = small_flight()
    truth = shoot(plan, seed=1).truth
    followed = replace(track_with(truth, np.zeros((1, 2)), 0.1, plan), flights=())
    assert compared(plan, followed, truth).outcome == "refused"


def made_up(rng: np.random.Generator, locked_px: float) -> list[Compared]:
    """Eight films of 300 places with errors of 0.1 px and a share that follows the fraction."""
    films = []
    for _ in range(8):
        fraction = rng.random((300, 2))
        error = rng.normal(0, 0.1, (300, 2)) + locked_px * np.sin(2 * np.pi * fraction)
        films.append(
            Compared(
                outcome="right",
                why="",
                in_doubt=False,
                frame=np.arange(300),
                size_px=np.full(300, 2.0),
                error_px=error,
                sigma_px=np.full((300, 2), 0.1),
                fraction=fraction,
                flying_frames=300,
            )
        )
    return films


@pytest.mark.parametrize("locked_px", [0.0, 0.03])
def test_pixel_locking_is_found_where_it_is(rng: np.random.Generator, locked_px: float) -> None:
    """An amplitude of 0.03 px is told with its error, and none is made up."""
    line = locking_line(made_up(rng, locked_px), 0, 1.0, 3.0)
    told = re.search(r"amplitude (\S+) \+- (\S+) px, by chance (\S+);", line)
    assert told is not None
    amplitude, sigma, chance = (float(number) for number in told.groups())
    # 0.1 sqrt(2 / 2400) is the least error of such an amplitude
    np.testing.assert_allclose(sigma, 0.1 * np.sqrt(2 / 2400), rtol=0.6)
    assert (chance < 0.001) == (locked_px > 0)
    assert abs(amplitude - locked_px) < 4 * sigma


def test_summary_of_films_is_honest(rng: np.random.Generator) -> None:
    """Claims that are true give ratios near 1."""
    text = "\n".join(films_summary(made_up(rng, 0.0)))
    ratios = [float(number) for number in re.findall(r"mse/sigma2 (\S+),", text)]
    np.testing.assert_allclose(ratios, [1.0, 1.0], atol=0.1)


def test_bound_table_gives_errors_in_bounds(rng: np.random.Generator) -> None:
    """Errors twice the bound are shown as 2 in their bin, and the other bins are empty."""
    n = 4000
    error = rng.normal(0, 0.02, (n, 2))
    bound = np.full((n, 2), 0.01)
    film = np.repeat(np.arange(4.0), n // 4)
    rows = np.column_stack([film, np.full(n, 3.0), error, 2 * bound, bound, 2 * bound])
    (line,) = (line for line in bound_table(rows) if line.startswith("  3.0"))
    ratios = [float(number) for number in line.split()[6:]]
    np.testing.assert_allclose(ratios, [2, 2, 2, 2, 1, 1, 2, 2], rtol=0.05)
    assert sum("too few" in line for line in bound_table(rows)) == 6


def test_small_flights_are_as_told() -> None:
    """The nock of the small films is about 5 pixels wide at release and a pixel at the end."""
    truth = shoot(small_flight(), seed=1).truth
    wide = truth.tail_px[[truth.release_frame, truth.impact_frame]]
    np.testing.assert_allclose(wide, [5.2, 1.0], atol=0.1)
    assert small_flight().camera.capture_hz == HZ
