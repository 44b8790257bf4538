"""The label stage on spectra that are made by hand, so that only its own reasoning is tested."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from classify.kinds import KINDS, circularity, folded_from, kind_probabilities
from classify.label import chance_above, damping_ratio, label_flight
from classify.physics import predict
from classify.slow_posterior import SlowSwing
from classify.thresholds import parse_thresholds, shipped_thresholds
from classify.types import ArrowSpec, Estimate, Limit, Mode, Motion, Prediction, Scale, Spectrum
from ui.words import say

M_PER_PX_S = 0.02  # 55 m/s over 2750 px
BROAD = Prediction(
    yaw_hz=Estimate(value=2.8, sigma=0.35),
    bending_hz=Estimate(value=78.0, sigma=0.12),
    yaw_damping_ratio=Estimate(value=0.09, sigma=0.04),
    speed_m_s=Estimate(value=55.0, sigma=5.0),
    from_="broad prior",
)
SCALE = Scale(
    m_per_px_s=Estimate(value=M_PER_PX_S, sigma=0.0006),
    mm_per_px_at_release=Estimate(value=0.7, sigma=0.02),
    from_="fall",
    speed_m_s=None,
)


def mode(
    f_hz: float,
    across_mm: float,
    up_mm: float = 0.0,
    *,
    sigma_mm: float = 0.2,
    sigma_f_hz: float | None = None,
    phases: tuple[float, float] = (0.3, 0.3),
) -> Mode:
    """Make a mode from millimetres."""
    per_mm = 1e-3 / M_PER_PX_S
    return Mode(
        f_hz=f_hz,
        decay_per_s=2.0,
        amplitude=np.array([across_mm, up_mm]) * per_mm,
        phase_rad=np.array(phases),
        sigma_f_hz=0.05 * f_hz if sigma_f_hz is None else sigma_f_hz,
        sigma_decay_per_s=1.0,
        sigma_amplitude=np.array([sigma_mm, sigma_mm]) * per_mm,
        covariance=np.eye(6),
        f_from_prior=False,
    )


def spectrum(
    *modes: Mode, frames: int = 80, frame_hz: float = 240.0, hidden_mm: float = 0.3
) -> Spectrum:
    """Make a spectrum whose residual is small white noise."""
    rng = np.random.default_rng(5)
    sigma = np.full((frames, 2), 0.2e-3 / M_PER_PX_S)
    time_s = np.arange(frames) / frame_hz
    fitted = np.zeros((frames, 2))
    motion = Motion(
        time_s=time_s,
        swing=fitted + sigma * rng.standard_normal((frames, 2)),
        sigma=sigma,
        fitted=fitted,
        path_px=np.zeros((frames, 2)),
        frame=np.arange(frames),
    )
    return Spectrum(
        modes=modes,
        motion=motion,
        singular_time_s=Estimate(value=0.04, sigma=0.001),
        fall_px_s=Estimate(value=50.0, sigma=1.0),
        noise_px=0.1,
        chi2_per_dof=1.0,
        lowest_hz=3.0,
        highest_hz=frame_hz / 2,
        aliases=((),) * len(modes),
        halves_agree=True,
        criterion="BIC",
        limits=(
            Limit(low_hz=1.2, high_hz=6.5, amplitude=np.array([0.8e-3, 0.9e-3]) / M_PER_PX_S),
            Limit(
                low_hz=7.0, high_hz=50.0, amplitude=np.array([hidden_mm * 1e-3] * 2) / M_PER_PX_S
            ),
        ),
    )


def label(
    found: Spectrum,
    frame_hz: float = 240.0,
    *,
    slow: SlowSwing | None = None,
    prediction: Prediction = BROAD,
):
    """Label with the shipped thresholds, with the broad prediction unless another is given."""
    return label_flight(
        found,
        slow=slow,
        scale=SCALE,
        prediction=prediction,
        mm_per_deg=Estimate(value=7.7, sigma=0.3),
        frame_hz=frame_hz,
        thresholds=shipped_thresholds(),
        model=None,
    )


def test_circularity_of_a_circle_and_of_a_line():
    """A quarter period apart with equal size is a circle, in phase is a line."""
    circle = mode(40.0, 3.0, 3.0, phases=(0.0, np.pi / 2))
    np.testing.assert_allclose(circularity(circle), 1.0, atol=1e-12)
    np.testing.assert_allclose(circularity(mode(40.0, 3.0, 1.0)), 0.0, atol=1e-12)


@pytest.mark.parametrize(
    ("true_hz", "frame_hz", "seen_hz"),
    [
        (70.0, 60.0, 10.0),
        (70.0, 120.0, 50.0),
        (80.0, 60.0, 20.0),
        (80.0, 120.0, 40.0),
        (85.0, 60.0, 25.0),
        (90.0, 120.0, 30.0),
        (215.0, 120.0, 25.0),
        (215.0, 240.0, 25.0),
    ],
)
def test_true_frequency_is_among_those_that_fold(true_hz, frame_hz, seen_hz):
    """Folding arithmetic of the sampling theorem, worked by hand."""
    assert any(abs(found - true_hz) < 1e-9 for found in folded_from(seen_hz, frame_hz))


def test_kind_probabilities_add_up():
    """Whatever the frequency, the four kinds share one certainty."""
    for f_hz in (0.5, 3.0, 7.0, 20.0, 48.0, 80.0, 119.0):
        odds = kind_probabilities(
            mode(f_hz, 3.0), prediction=BROAD, frame_hz=240.0, thresholds=shipped_thresholds()
        )
        np.testing.assert_allclose(sum(odds[kind] for kind in KINDS), 1.0, rtol=1e-12)


def test_chance_above_matches_simulation():
    """The non-central chi-square against two Gaussian components drawn at random."""
    rng = np.random.default_rng(11)
    drawn = np.hypot(4.0 + 1.1 * rng.standard_normal(400_000), 1.1 * rng.standard_normal(400_000))
    # 0.003 is four standard errors of the simulated share
    np.testing.assert_allclose(chance_above(4.0, 1.1, 4.5), (drawn > 4.5).mean(), atol=0.003)


def test_damping_ratio_of_a_critical_fraction():
    """Decay = zeta w0 and w_d = w0 sqrt(1 - zeta²) give zeta back (textbook oscillator)."""
    zeta, w0 = 0.086, 14.0
    f_hz = w0 * np.sqrt(1 - zeta**2) / (2 * np.pi)
    np.testing.assert_allclose(damping_ratio(f_hz, zeta * w0), zeta, rtol=1e-12)


@pytest.mark.parametrize(
    ("modes", "expected"),
    [
        ((mode(2.5, 15.0, 1.0),), "fishtailing"),
        ((mode(2.5, 1.0, 12.0),), "porpoising"),
        ((mode(18.0, 4.0, 0.5), mode(2.5, 1.0, 0.5)), "minnowing"),
        ((mode(2.5, 1.0, 0.8), mode(80.0, 3.0, 0.5)), "clean"),
        ((), "clean"),
    ],
)
def test_label_of_one_motion(modes, expected):
    """Each motion alone gets its name; bending alone is clean."""
    assert label(spectrum(*modes)).label == expected


@pytest.mark.parametrize("bending_hz", [60.0, 70.0, 80.0, 95.0])
@pytest.mark.parametrize("size_mm", [1.0, 3.0, 5.0])
@pytest.mark.parametrize("frame_hz", [120.0, 240.0])
def test_bending_alone_is_never_minnowing(bending_hz, size_mm, frame_hz):
    """Bending is normal after a finger release, whether seen as it is or folded down."""
    seen = bending_hz if bending_hz < frame_hz / 2 else frame_hz - bending_hz
    found = label(spectrum(mode(seen, size_mm, 0.4, sigma_f_hz=1.0), frame_hz=frame_hz), frame_hz)
    assert found.label != "minnowing"
    assert found.presence["minnowing"] < 0.5


def test_two_disturbances_are_both_present():
    """A wide yaw and a fast swing in one flight are both reported."""
    found = label(spectrum(mode(2.4, 14.0), mode(17.0, 5.0)))
    assert found.label in {"fishtailing", "minnowing"}
    assert found.presence["fishtailing"] > 0.9
    assert found.presence["minnowing"] > 0.9


def test_what_is_seen_comes_before_what_is_only_likely():
    """A pitch that may be wide, but is not twice its error, is no headline beside a sure one."""
    found = label(spectrum(mode(2.4, 0.0, 14.0, sigma_mm=7.5), mode(17.0, 3.0)))
    assert found.presence["porpoising"] > 0.5
    assert found.label == "minnowing"


def test_wobble_is_not_called_clean():
    """A circling tail is none of the three, and not a clean flight either."""
    found = label(spectrum(mode(45.0, 4.0, 4.0, phases=(0.0, np.pi / 2), sigma_f_hz=0.5)))
    assert found.label is None
    assert found.refused is None
    assert "label.wobble_points_to" in {reason.key for reason in found.reasons}


def test_clean_carries_an_upper_limit():
    """Clean is a finding: the limit is the larger of what was seen and of what could hide."""
    found = label(spectrum(mode(2.5, 2.0, 0.5, sigma_mm=0.1)))
    assert found.label == "clean"
    assert found.clean_below_mm is not None
    # 2.0 mm with an error of 0.1 mm and a scale good to 3 %: 2 + 1.645 hypot(0.1, 0.06) mm
    np.testing.assert_allclose(found.clean_below_mm[0], 2.19, atol=0.01)
    np.testing.assert_allclose(found.clean_below_mm[1], 0.9, atol=1e-9)


@pytest.mark.parametrize(("hidden_mm", "said"), [(2.0, False), (9.8, True)])
def test_a_clean_flight_says_what_it_leaves_open(hidden_mm: float, said: bool):
    """A slow swing may hide, no fast one: half a wave of it looks like the path."""
    one = spectrum(mode(80.0, 3.0), hidden_mm=0.3)
    slow, fast = one.limits[:2]
    hidden = np.array([0.3, hidden_mm]) * 1e-3 / M_PER_PX_S
    one = replace(one, limits=(replace(slow, amplitude=hidden), fast, *one.limits[2:]))
    labelled = label(one)
    assert labelled.label == "clean"
    open_ = [why for why in labelled.reasons if why.key == "label.clean_open_up_down"]
    assert bool(open_) == said
    if said:
        assert open_[0] == labelled.reasons[0]
        assert "up to 9.8 mm" in say(open_[0])
        assert labelled.clean_below_mm is not None
        assert labelled.clean_below_mm[1] == pytest.approx(9.8)


def test_a_clip_too_poor_to_be_clean_is_refused():
    """Where a swing that counts could hide, nothing found is not clean."""
    found = label(spectrum(hidden_mm=4.0))
    assert found.label is None
    assert found.refused is not None
    assert found.refused.key == "label.hidden_minnowing"


def test_too_few_frames_are_refused():
    """Ten sightings are too few, whatever they show."""
    found = label(spectrum(mode(2.5, 15.0), frames=10))
    assert found.label is None
    assert found.refused is not None
    assert found.refused.key == "label.too_few_frames"


def test_halves_that_disagree_are_refused():
    """A flight whose halves tell different stories gets no name."""
    found = label(replace(spectrum(mode(2.5, 15.0)), halves_agree=False))
    assert found.refused is not None
    assert found.refused.key == "label.halves_disagree"


@pytest.mark.parametrize(("across_mm", "up_mm"), [(3.4, 3.4), (3.4, 1.0), (1.0, 1.0)])
def test_a_flight_is_clean_only_if_nothing_at_all_is_likely(across_mm: float, up_mm: float):
    """Fishtailing and porpoising may each be unlikely and one of the two still likely."""
    found = label(spectrum(mode(2.8, across_mm, up_mm, sigma_mm=1.5)))
    assert max(found.presence.values()) < shipped_thresholds().refusal_doubt_low
    nothing = np.prod([1.0 - chance for chance in found.presence.values()])
    assert (found.label == "clean") == bool(nothing > 0.7)
    if found.refused is not None:
        assert found.refused.key in ("label.vague_fishtailing", "label.vague_porpoising")
        assert found.refused.values["sigma_mm"] == pytest.approx(1.5, rel=0.1)


def test_fast_swing_that_may_be_bending_is_refused():
    """At 120 frames per second 34 Hz may be 86 Hz folded; a doubt that decides is said."""
    found = label(spectrum(mode(34.0, 4.0, 0.2, sigma_f_hz=1.0), frame_hz=120.0), 120.0)
    assert found.label != "minnowing"


def test_a_threshold_without_origin_is_refused():
    """A number that does not say where it is from does not load."""
    with pytest.raises(ValueError, match="does not say where"):
        parse_thresholds("[swing]\nyaw_deg = { value = 0.6 }\n")


SPINE_AND_LENGTH = ArrowSpec(spine=400.0, length_m=0.7112)
WHOLE = ArrowSpec(
    spine=600.0,
    length_m=0.7239,
    shaft_kg_per_m=0.01684,
    point_kg=0.00648,
    nock_kg=0.0005,
    fletching_kg=0.0007,
    diameter_m=0.0055,
    vanes=3,
    vane_length_m=0.044,
    vane_height_m=0.008,
    vane_from_nock_m=0.035,
)


def test_a_limit_holds_what_is_only_likelier_bending():
    """At 60 frames a second 25 Hz may be a fast swing: "below 0.5 mm" said more than was known."""
    found = label(spectrum(mode(25.0, 10.0), frame_hz=60.0), 60.0)
    fast = found.presence["minnowing"]
    assert 0.05 < fast < 0.3
    assert found.label == "clean"
    assert found.clean_below_mm[0] > 10.0
    assert found.reasons[0].key == "label.clean_open_across"


def test_a_slow_swing_that_may_be_folded_bending_is_called_so():
    """6.0 +- 0.3 mm was refused as not told from 4.6 mm; more frames a second would tell."""
    found = label(spectrum(mode(5.4, 6.0, sigma_mm=0.3), frame_hz=60.0), 60.0)
    assert found.label is None
    assert found.refused.key == "label.fast_or_bending"


def test_the_swing_that_makes_a_label_is_told_however_vague():
    """A fishtailing of 12 +- 8 mm had its label, and "no swing seen" beside it."""
    vague = SlowSwing(
        weight=np.array([0.2, 0.8]),
        f_hz=np.array([2.4, 2.6]),
        decay_per_s=np.array([1.5, 1.5]),
        mean_mm=np.array([np.zeros((2, 2)), [[12.0, 0.0], [0.0, 0.0]]]),
        covariance_mm2=np.array([[np.eye(2), np.eye(2)], [49.0 * np.eye(2), np.eye(2)]]),
        tilt_rad=np.zeros(2),
        tilt_variance=np.full(2, 1e-4),
    )
    told = label(spectrum(), slow=vague)
    assert told.label == "fishtailing"
    (line,) = told.across
    assert line.swing_mm < 2.0 * line.swing_sigma_mm
    assert told.unseen_below_mm[0] is None


@pytest.mark.parametrize(
    ("modes", "deciding"),
    [
        ((mode(80.0, 4.0), mode(3.9, 1.5, 15.0)), ["yaw_up_down"]),
        ((mode(17.0, 8.0), mode(80.0, 9.0)), ["fast_across"]),
        ((mode(80.0, 20.0), mode(3.0, 18.0, 15.0)), ["yaw_across", "yaw_up_down"]),
    ],
    ids=["porpoising", "minnowing", "both"],
)
def test_what_a_disturbance_is_read_from_is_told_first(modes, deciding):
    """Only the first two reasons are printed: bending beside a porpoising tail took their place."""
    told = label(spectrum(*modes))
    first = [reason.key.removesuffix("_usual") for reason in told.reasons[: len(deciding)]]
    assert first == [f"label.{name}" for name in deciding]
    assert "label.bending_across" in {reason.key for reason in told.reasons[len(deciding) :]}


@pytest.mark.parametrize(
    ("arrow", "typical"),
    [(None, True), (ArrowSpec(), True), (SPINE_AND_LENGTH, True), (WHOLE, False)],
)
def test_a_typical_arrow_is_not_called_this_arrow(arrow, typical):
    """Where a typical arrow's yaw stands for that of this one, it is called so.

    Spine and length alone tell how the shaft bends but not how the arrow yaws: 2.8 Hz, usual of
    all, was said to be expected of this one.
    """
    prediction = predict(arrow, speed_m_s=None)
    assert (prediction.yaw_hz.value == pytest.approx(2.8)) is typical
    told = label(spectrum(mode(3.0, 20.0), mode(17.0, 8.0)), prediction=prediction)
    said = [say(reason, "en") for reason in told.reasons[:2]]
    assert any("expected of" in text for text in said)
    assert any("can yaw" in text for text in said)
    for text in said:
        assert ("a typical arrow" in text) is typical
        assert ("this arrow" in text) is not typical
