"""What the prediction claims, and how honest its sigmas are."""

from dataclasses import replace

import numpy as np
import pytest

from classify.physics import bending_hz, complete, predict, yaw_motion
from classify.physics.arrow import POPULATION
from classify.physics.prediction import BENDING_FLOOR, YAW_FLOOR
from classify.types import ArrowSpec, Estimate
from tracker.types import InputError

KNOWN = ArrowSpec(
    spine=600.0,
    length_m=0.7239,
    shaft_kg_per_m=0.01684,
    point_kg=0.00648,
    nock_kg=0.00045,
    fletching_kg=0.00075,
    diameter_m=0.0055,
    vanes=3,
    vane_length_m=0.044,
    vane_height_m=0.008,
    vane_from_nock_m=0.035,
)
SPEED = Estimate(value=55.0, sigma=0.5)


def test_nothing_known_is_the_broad_prior():
    """Broad values, chosen here about theory and practice, with their log-sigmas."""
    prior = predict(None, speed_m_s=None)
    assert prior.from_ == "broad prior"
    assert (prior.yaw_hz.value, prior.yaw_hz.sigma) == (2.8, 0.35)
    assert (prior.bending_hz.value, prior.bending_hz.sigma) == (78.0, 0.12)
    assert (prior.yaw_damping_ratio.value, prior.yaw_damping_ratio.sigma) == (0.09, 0.04)
    assert (prior.speed_m_s.value, prior.speed_m_s.sigma) == (55.0, 5.0)


def test_broad_yaw_covers_the_range_of_target_arrows():
    """1.7 to 4.5 Hz over target arrows (computed independently) is the middle 80 % or more."""
    yaw = predict(None, speed_m_s=None).yaw_hz
    low, high = yaw.value * np.exp(np.array([-1.5, 1.5]) * yaw.sigma)
    assert low < 1.7
    assert high > 4.5


def test_an_empty_sheet_is_the_broad_prior_and_names_what_is_missing():
    """Filling in everything is knowing nothing."""
    prior = predict(ArrowSpec(), speed_m_s=None)
    assert replace(prior, assumed=()) == predict(None, speed_m_s=None)
    assert set(prior.assumed) == set(POPULATION)


def test_a_full_sheet_is_as_sure_as_the_theory():
    """With every part known only the floors of the two theories and the speed are left."""
    got = predict(KNOWN, speed_m_s=SPEED)
    assert got.from_ == "set-up"
    assert got.assumed == ()
    np.testing.assert_allclose(got.bending_hz.value, 73.7, atol=0.05)
    np.testing.assert_allclose(got.bending_hz.sigma, BENDING_FLOOR)
    np.testing.assert_allclose(got.yaw_hz.value, 2.218, rtol=1e-3)
    np.testing.assert_allclose(got.yaw_hz.sigma, np.hypot(YAW_FLOOR, 0.5 / 55))
    np.testing.assert_allclose(got.yaw_damping_ratio.value, 0.086, atol=5e-4)


@pytest.mark.parametrize("gap", ["shaft_kg_per_m", "vane_height_m", "fletching_kg", "point_kg"])
def test_a_gap_never_sharpens(gap):
    """Knowing less is never being surer, and never less sure than knowing nothing."""
    full, less = (
        predict(KNOWN, speed_m_s=SPEED),
        predict(replace(KNOWN, **{gap: None}), speed_m_s=SPEED),
    )
    broad = predict(None, speed_m_s=SPEED)
    assert full.yaw_hz.sigma <= less.yaw_hz.sigma <= broad.yaw_hz.sigma
    assert full.bending_hz.sigma <= less.bending_hz.sigma <= broad.bending_hz.sigma


def test_first_order_spread_agrees_with_drawn_arrows():
    """Claimed log-sigma of the parts against 1,000 arrows drawn from the population."""
    gaps = ("shaft_kg_per_m", "nock_kg", "fletching_kg")
    spec = replace(KNOWN, **dict.fromkeys(gaps))
    medians = complete(spec)[0]
    rng = np.random.default_rng(31)
    drawn = [
        replace(
            medians,
            **{g: getattr(medians, g) * np.exp(POPULATION[g][1] * rng.normal()) for g in gaps},
        )
        for _ in range(1000)
    ]
    got = predict(spec, speed_m_s=SPEED)
    for claimed, floor, values in (
        (got.bending_hz, BENDING_FLOOR, [bending_hz(arrow) for arrow in drawn]),
        (
            got.yaw_hz,
            np.hypot(YAW_FLOOR, 0.5 / 55),
            [yaw_motion(arrow, 55.0).frequency_hz for arrow in drawn],
        ),
    ):
        parts = np.sqrt(claimed.sigma**2 - floor**2)
        np.testing.assert_allclose(parts, np.std(np.log(values)), rtol=0.2)


def test_yaw_goes_with_the_speed_and_bending_does_not():
    """The one is made by the air, the other by the shaft."""
    slow, quick = (
        predict(KNOWN, speed_m_s=Estimate(value=v, sigma=1e-3 * v)) for v in (45.0, 63.0)
    )
    np.testing.assert_allclose(quick.yaw_hz.value / slow.yaw_hz.value, 63 / 45)
    assert quick.bending_hz == slow.bending_hz


def test_a_bare_shaft_keeps_the_broad_yaw():
    """Slender-body theory has no yaw for it; its bending is still known."""
    got = predict(replace(KNOWN, vanes=0), speed_m_s=None)
    assert got.yaw_hz == predict(None, speed_m_s=None).yaw_hz
    np.testing.assert_allclose(got.bending_hz.value, 73.7, atol=0.05)
    assert got.from_ == "broad prior"


@pytest.mark.parametrize("speed", [0.0, -5.0, float("nan"), float("inf")])
def test_impossible_speeds_are_refused(speed):
    """A sentence, not a traceback."""
    with pytest.raises(InputError, match="speed_m_s"):
        predict(None, speed_m_s=Estimate(value=speed, sigma=1.0))
