"""Random plans, misfits and simulated tracks keep what they promise."""

from dataclasses import replace

import numpy as np
import pytest
from numpy.testing import assert_allclose, assert_array_equal

from classify.types import DISTURBANCES, Disturbance
from fixtures.flight import verdict
from fixtures.misfits import FINISH_KINDS, MISFIT_KINDS, Difficulty, random_plan, with_misfit
from fixtures.render import render
from fixtures.simulate import CLEAR_TRACKING, Tracking, random_tracking, simulate_track
from fixtures.truth import shoot


@pytest.mark.parametrize("difficulty", ["clear", "hard", "misfit"])
def test_nock_is_in_the_picture_from_release_to_impact(
    difficulty: Difficulty, rng: np.random.Generator
) -> None:
    """Every random plan is framed so that the whole flight is seen but for what hides it."""
    for _ in range(25):
        plan = random_plan(rng, difficulty)
        truth = shoot(plan, seed=1, occlusion=False).truth
        assert truth.visible.sum() >= 0.97 * truth.flying.sum()
        face = np.array(truth.face_xy_px)
        assert_allclose(truth.xy_px[truth.impact_frame - 1], face, atol=1.2 * truth.face_px)


def test_asked_for_disturbances_are_present_and_no_others(rng: np.random.Generator) -> None:
    """Presence is as ordered: well above the threshold or well below."""
    wanted: list[tuple[Disturbance, ...]] = [
        (), ("fishtailing",), ("minnowing", "porpoising"), DISTURBANCES,
    ]  # fmt: skip
    for names in wanted:
        for _ in range(10):
            found = verdict(random_plan(rng, "clear", disturbances=names)).presence
            assert {name for name, there in found.items() if there} == set(names)


@pytest.mark.parametrize("kind", MISFIT_KINDS + FINISH_KINDS)
def test_every_misfit_changes_the_plan_and_can_be_filmed(
    kind: str, rng: np.random.Generator
) -> None:
    """A misfit is a different plan, and its frames can be drawn."""
    plan = random_plan(rng, "clear", disturbances=("fishtailing",))
    small = replace(plan, camera=replace(plan.camera, width_px=320, height_px=180, focal_px=500.0))
    bent = with_misfit(small, kind, rng)
    assert bent != small
    film = render(bent, seed=1)
    frame = next(film.frames(first=film.truth.release_frame + 15))
    assert frame.shape == (180, 320)


def test_unknown_misfit_is_named(rng: np.random.Generator) -> None:
    """A wrong name lists the right ones."""
    with pytest.raises(ValueError, match="there are blur"):
        with_misfit(random_plan(rng, "clear"), "hail", rng)


def test_same_generator_draws_the_same_plan() -> None:
    """A plan follows from its generator alone."""
    first, again = (random_plan(np.random.default_rng(8), "misfit") for _ in range(2))
    assert first == again


def test_simulated_errors_have_the_claimed_size(rng: np.random.Generator) -> None:
    """Errors over claimed sigma have unit variance for an honest tracker, within 5 %."""
    pulls = []
    for _ in range(40):
        track, truth = simulate_track(random_plan(rng, "clear"), rng=rng, tracking=CLEAR_TRACKING)
        seen = track.seen
        pulls.append(((track.xy_px - truth.xy_px) / track.sigma_px)[seen].ravel())
    assert_allclose(np.concatenate(pulls).std(), 1.0, rtol=0.05)


def test_simulated_noise_grows_as_the_tail_shrinks(rng: np.random.Generator) -> None:
    """Claimed sigma at the end of the flight is above that at its start."""
    track, truth = simulate_track(random_plan(rng, "clear"), rng=rng, tracking=CLEAR_TRACKING)
    sigma = track.sigma_px[track.seen][:, 0]
    assert sigma[-1] > 2 * sigma[0]
    assert truth.tail_px[track.first_frame] > truth.tail_px[track.last_frame]


def test_lost_frames_are_rows_of_nothing(rng: np.random.Generator) -> None:
    """Gaps, late starts and early ends are NaN rows; no row is dropped."""
    tracking = Tracking(gap_share=0.2, late_frames=5, early_frames=3)
    track, truth = simulate_track(random_plan(rng, "clear"), rng=rng, tracking=tracking)
    assert len(track.time_s) == len(truth.time_s)
    flying = np.flatnonzero(truth.flying)
    assert not track.seen[flying[:5]].any()
    assert not track.seen[flying[-3:]].any()
    lost = ~track.seen[flying[5:-3]]
    assert 0.05 < lost.mean() < 0.4
    assert_array_equal(np.isnan(track.sigma_px), np.isnan(track.xy_px))


def test_correlated_errors_keep_their_variance(rng: np.random.Generator) -> None:
    """Errors carried over from frame to frame have the asked-for correlation and size."""
    tracking = Tracking(correlation=0.4, gap_share=0.0, late_frames=0)
    pulls, products = [], []
    for _ in range(40):
        track, truth = simulate_track(random_plan(rng, "clear"), rng=rng, tracking=tracking)
        pull = ((track.xy_px - truth.xy_px) / track.sigma_px)[track.seen][:, 0]
        pulls.append(pull)
        products.append(pull[1:] * pull[:-1])
    assert_allclose(np.concatenate(pulls).std(), 1.0, rtol=0.06)
    assert_allclose(np.concatenate(products).mean(), 0.4, atol=0.06)


def test_hard_trackers_are_noisier(rng: np.random.Generator) -> None:
    """Drawn trackers of hard clips have about twice the noise."""
    floors = [
        np.mean([random_tracking(rng, hard=hard).floor_px for _ in range(50)])
        for hard in (False, True)
    ]
    assert_allclose(floors[1] / floors[0], 2.0, rtol=0.2)
