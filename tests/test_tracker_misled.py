"""What moves beside the arrow, or looks like one, must not be taken for it: small films of each."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from fixtures.camera import nock_px
from fixtures.evaluate import phone_coding
from fixtures.make_clips import CLIPS
from fixtures.misfits import plan_with_misfits
from fixtures.passers import other_arrow_plan
from fixtures.plan import FlightPlan, Misfits
from fixtures.render import Rendered, render
from tests.benchmarks.filmed_flights import compared, filmed
from tests.tracked_films import distance_px, right, small_flight, written
from tracker.follow import follow
from tracker.types import Click, FloatArray, message
from ui.words import say

SEED = 3


def other_arrow_px(plan: FlightPlan, film: Rendered) -> tuple[FloatArray, np.ndarray]:
    """Give the neighbour's nock in every frame, and the frames in which it is in the picture."""
    other, delay_s = other_arrow_plan(plan)
    since = film.truth.time_s - film.truth.release_s - delay_s
    xy, _ = nock_px(other, since)
    size = (plan.camera.width_px, plan.camera.height_px)
    return xy, np.flatnonzero((since > 0) & (xy > 0).all(axis=1) & (xy < size).all(axis=1))


@pytest.fixture(scope="module")
def two_arrows(tmp_path_factory: pytest.TempPathFactory) -> tuple[FlightPlan, Rendered, Path]:
    """Film a flight while the neighbour's arrow crosses the picture."""
    plan = small_flight(Misfits(other_arrow=True))
    film = render(plan, seed=SEED)
    return plan, film, written(tmp_path_factory.mktemp("two"), film)


def test_the_archers_arrow_wins_over_the_neighbours(
    two_arrows: tuple[FlightPlan, Rendered, Path],
) -> None:
    """The arrow that leaves this archer's bow comes first; any other path is the neighbour's."""
    plan, film, path = two_arrows
    flights = follow(path).flights
    assert right(flights[0], film.truth.xy_in(flights[0].reference_frame))
    other, _ = other_arrow_px(plan, film)
    assert all(right(track, other) for track in flights[1:])


@pytest.mark.parametrize(
    "share",
    [
        0.35,
        pytest.param(0.9, marks=pytest.mark.long),
        *(pytest.param(x, marks=[pytest.mark.long, pytest.mark.endurance]) for x in (0.1, 0.6)),
    ],
)
def test_a_click_wins(two_arrows: tuple[FlightPlan, Rendered, Path], share: float) -> None:
    """A click on the neighbour's arrow, early or late, makes that the one that is followed."""
    plan, film, path = two_arrows
    other, there = other_arrow_px(plan, film)
    frame = int(there[int(share * len(there))])
    x, y = other[frame].tolist()
    (track,) = follow(path, click=Click(frame=frame, x_px=x, y_px=y)).flights
    assert right(track, other)
    assert track.release_s is None, "this archer's release is not the neighbour's"


@pytest.mark.parametrize(
    ("x", "y"),
    [(320, 40), pytest.param(500, 300, marks=[pytest.mark.long, pytest.mark.endurance])],
    ids=str,
)
def test_a_click_on_bare_background_is_refused(
    two_arrows: tuple[FlightPlan, Rendered, Path], x: float, y: float
) -> None:
    """Where nothing flies no path is claimed, though two arrows are there; a sentence says so."""
    _, film, path = two_arrows
    frame = film.truth.release_frame + 22
    followed = follow(path, click=Click(frame=frame, x_px=x, y_px=y))
    assert followed.flights == ()
    assert followed.lost is not None
    assert followed.lost.reason == message("tracker.lost_at_click", frame=frame)
    assert str(frame) in say(followed.lost.reason)


def test_a_click_on_the_arrow_keeps_it(two_arrows: tuple[FlightPlan, Rendered, Path]) -> None:
    """A click three pixels beside the nock finds the same path, and says who found it."""
    _, film, path = two_arrows
    frame = film.truth.release_frame + 15
    x, y = film.truth.xy_raw_px[frame].tolist()
    (track,) = follow(path, click=Click(frame=frame, x_px=x + 2, y_px=y - 2)).flights
    assert track.found_by == "click"
    assert right(track, film.truth.xy_in(track.reference_frame))


def test_an_arrow_in_the_target_and_moving_leaves(tmp_path: Path) -> None:
    """What sticks in the butt has not flown, and leaves that sway by 4 pixels are no arrow."""
    film = render(small_flight(Misfits(stuck_arrow=True, leaves_px=4.0)), seed=SEED)
    (track,) = follow(written(tmp_path, film)).flights
    assert right(track, film.truth.xy_in(track.reference_frame))
    assert track.seen.sum() > 0.8 * film.truth.visible.sum()


def test_a_person_walking_behind(tmp_path: Path) -> None:
    """Somebody walks across behind the butt."""
    film = render(small_flight(Misfits(walker=True)), seed=SEED)
    (track,) = follow(written(tmp_path, film)).flights
    assert right(track, film.truth.xy_in(track.reference_frame))


@pytest.mark.long
@pytest.mark.parametrize(
    "face_at", [(0.6, 0.4), pytest.param((0.64, 0.36), marks=pytest.mark.endurance)]
)
def test_a_walker_far_away_is_no_arrow(tmp_path: Path, face_at: tuple[float, float]) -> None:
    """The same at 18 m, where a head is as large in the picture as a nock: the arrow or none."""
    film = render(small_flight(Misfits(walker=True), distance_m=18.0, face_at=face_at), seed=SEED)
    for track in follow(written(tmp_path, film)).flights:
        assert right(track, film.truth.xy_in(track.reference_frame))


@pytest.fixture(scope="module")
def plain() -> Rendered:
    """Film a flight that nothing disturbs."""
    return render(small_flight(), seed=SEED)


def clicked_as_alone(path: Path, share: float) -> None:
    """Compare the flight that is found alone with the one that a click on it, 3 px off, finds."""
    (alone,) = follow(path).flights
    rows = np.flatnonzero(alone.seen)
    frame = int(rows[int(share * len(rows))])
    x, y = (alone.xy_px + alone.shake_px)[frame].tolist()
    (track,) = follow(path, click=Click(frame=frame, x_px=x + 3, y_px=y - 1)).flights
    assert track.found_by == "click"
    # the scene is drawn from larger parts of the frames around a click: rounding differs
    np.testing.assert_allclose(track.xy_px, alone.xy_px, rtol=0, atol=1e-3)
    # and a claim goes by all that was seen of the tail, which rounding changes a little more
    np.testing.assert_allclose(track.sigma_px, alone.sigma_px, rtol=0.01, atol=1e-3)
    assert track.release_s == alone.release_s
    assert track.impact_s == pytest.approx(alone.impact_s, abs=1e-4)


def test_a_click_on_the_only_arrow_changes_nothing(plain: Rendered, tmp_path: Path) -> None:
    """The flight is the very one that is found without a click."""
    clicked_as_alone(written(tmp_path, plain), 0.5)


def test_a_click_finds_an_arrow_whose_release_was_not_filmed(
    plain: Rendered, tmp_path: Path
) -> None:
    """The film begins in the middle of the flight: a click is enough, no release is made up."""
    start = plain.truth.release_frame + 8
    path = written(tmp_path, list(plain)[start:])
    x, y = plain.truth.xy_raw_px[start + 15].tolist()
    (track,) = follow(path, click=Click(frame=15, x_px=x, y_px=y)).flights
    assert right(track, plain.truth.xy_in(start + track.reference_frame)[start:])
    assert track.release_s is None


@pytest.mark.long
@pytest.mark.parametrize(
    ("demo", "share"),
    [
        ("clean", 0.04),
        *(
            pytest.param(demo, share, marks=pytest.mark.endurance)
            for demo, share in [
                ("slow_motion_file", 0.97),
                ("clean", 0.5),
                ("clean", 0.97),
                ("slow_motion_file", 0.04),
                ("slow_motion_file", 0.5),
            ]
        ),
    ],
)
def test_a_click_changes_nothing_in_a_demo(demo: str, share: float) -> None:
    """Early, middle or late, at the size that phones film; also where the rate is unknown."""
    clicked_as_alone(CLIPS / f"{demo}.mp4", share)


def test_each_flight_of_a_clip_is_offered(plain: Rendered, tmp_path: Path) -> None:
    """Two arrows, shot one after the other into one film, come out in order of release."""
    second = render(small_flight(strike_m=(-0.08, -0.06), yaw_deg=0.4), seed=SEED)
    path = written(tmp_path, [*plain, *second])
    true = np.concatenate([plain.truth.xy_px, second.truth.xy_px])
    one, two = follow(path).flights
    assert one.last_frame < len(plain) <= two.first_frame
    assert right(one, true)
    assert right(two, true)
    for track, film, start_s in ((one, plain, 0.0), (two, second, len(plain) / 240)):
        assert track.release_s is not None
        assert track.release_sigma_s is not None
        off_s = track.release_s - start_s - film.truth.release_s
        assert abs(off_s) < 3 * track.release_sigma_s


@pytest.mark.parametrize(
    "px_per_frame", [pytest.param(1, id="slow"), pytest.param(2, id="fast", marks=pytest.mark.long)]
)
def test_panning_is_handled_or_refused(plain: Rendered, tmp_path: Path, px_per_frame: int) -> None:
    """A phone that turns after the arrow: its path in one frame's coordinates, or none at all."""
    width = (640 - px_per_frame * len(plain)) // 2 * 2
    frames = [
        np.ascontiguousarray(luma[:, px_per_frame * k : px_per_frame * k + width])
        for k, luma in enumerate(plain)
    ]
    followed = follow(written(tmp_path, frames))
    assert (followed.lost is None) == (len(followed.flights) > 0)
    for track in followed.flights:
        true = plain.truth.xy_px - [px_per_frame * track.reference_frame, 0]
        assert distance_px(track, true) < 1.0
        turned = track.shake_px[track.seen][-1] - track.shake_px[track.seen][0]
        went = px_per_frame * (track.last_frame - track.first_frame)
        np.testing.assert_allclose(turned, [-went, 0], atol=1.5)


def test_a_film_that_does_not_fit_is_followed_alike(
    plain: Rendered, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Whether frames are kept or decoded again changes nothing."""
    path = written(tmp_path, plain)
    kept = follow(path).flights[0]
    monkeypatch.setattr("tracker.follow.KEPT_BYTES", 10 * 640 * 360)
    np.testing.assert_array_equal(follow(path).flights[0].xy_px, kept.xy_px)


@pytest.mark.long
def test_the_look_is_not_learnt_from_the_bow() -> None:
    """In a dim hall string and archer stand out more than the nock does near the bow.

    Learnt there, it came out as dark as the shaft, and its path lay two widths beside it.
    """
    rng = np.random.default_rng([77, 23, 0])
    plan, kinds = plan_with_misfits(rng, "clear", misfits=1)
    assert kinds == ("blur",)
    made = filmed(plan, seed=int(rng.integers(2**31)), coding=phone_coding(plan, 0.12))
    one = compared(plan, *made)
    assert one.outcome == "right"
    assert one.wide.sum() > 30
    np.testing.assert_array_less(one.middle_px(), 0.6)


@pytest.mark.long
@pytest.mark.endurance
@pytest.mark.parametrize("number", [24, 38])
def test_a_dull_arrow_behind_what_moves_by_the_bow(number: int) -> None:
    """Bow and archer leave smoother paths than a dull arrow does: it is searched for once more."""
    rng = np.random.default_rng([6, number, 1])
    plan, _ = plan_with_misfits(rng, "hard", misfits=1)
    made = filmed(plan, seed=int(rng.integers(2**31)), coding=phone_coding(plan, 0.09))
    one = compared(plan, *made)
    assert one.outcome == "right"
    assert one.z2().mean() < 3.0
