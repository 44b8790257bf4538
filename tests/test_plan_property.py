"""Whatever is typed into the physics and the plan: finite numbers or a sentence, nothing else."""

import math
from dataclasses import fields

from hypothesis import given, settings
from hypothesis import strategies as st

from classify.physics import bending_hz, complete, folded_band, folded_hz, mm_per_degree, predict
from classify.plan import plan_filming
from classify.plan_types import CameraSetting, Shot, Standing
from classify.types import ArrowSpec, Estimate
from tracker.types import InputError
from ui.words import say

ANYTHING = st.floats(allow_nan=True, allow_infinity=True)
LIKELY = st.floats(min_value=1e-6, max_value=2.0)
PART = st.none() | LIKELY | ANYTHING
ARROWS = st.builds(
    ArrowSpec,
    **{
        field.name: st.none() | st.integers(-1, 6) if field.name == "vanes" else PART
        for field in fields(ArrowSpec)
        if field.name != "spine"
    },
    spine=st.none() | st.floats(min_value=100, max_value=2000) | ANYTHING,
)
SPEEDS = st.none() | st.builds(
    Estimate,
    value=st.floats(min_value=1, max_value=200) | ANYTHING,
    sigma=st.floats(min_value=0, max_value=20) | ANYTHING,
)


def must_be_sentence(refusal):
    """Fail unless a refusal can be said."""
    assert say(refusal.message).endswith(".")


@settings(max_examples=100, deadline=None)
@given(arrow=ARROWS, speed=SPEEDS)
def test_a_prediction_is_finite_or_refused(arrow, speed):
    """Any sheet gives usable expectations or one sentence."""
    try:
        got = predict(arrow, speed_m_s=speed)
        arm = mm_per_degree(arrow)
        whole, _ = complete(arrow)
        frequency = bending_hz(whole)
    except InputError as error:
        must_be_sentence(error)
        return
    for estimate in (got.yaw_hz, got.bending_hz, got.yaw_damping_ratio, got.speed_m_s, arm):
        assert math.isfinite(estimate.value)
        assert math.isfinite(estimate.sigma)
        assert estimate.value > 0
        assert estimate.sigma >= 0
    assert math.isfinite(frequency)


@settings(max_examples=200, deadline=None)
@given(low=ANYTHING, high=ANYTHING, rate=ANYTHING)
def test_a_fold_stays_below_half_the_rate(low, high, rate):
    """Any band at any rate appears between zero and half the rate, and holds its ends."""
    try:
        seen = folded_band(low, high, rate)
    except InputError as error:
        must_be_sentence(error)
        return
    room = 1e-9 * max(low, high, rate)
    assert -room <= seen[0] <= seen[1] <= rate / 2 + room
    assert seen[0] - room <= float(folded_hz(low, rate)) <= seen[1] + room


POISON = {
    "rate": st.fractions(min_value=-5, max_value=5000),
    "width": st.integers(-5, 20000),
    "lens": ANYTHING,
    "behind": ANYTHING,
    "offset": ANYTHING,
    "distance": ANYTHING,
    "nock": ANYTHING,
    "marking": st.just("neon"),
    "arrow": ARROWS,
    "speed": SPEEDS,
}
SETTINGS = st.fixed_dictionaries(
    {
        "rate": st.fractions(min_value=20, max_value=500),
        "width": st.integers(320, 4000),
        "lens": st.floats(10, 110),
        "behind": st.floats(0.5, 20),
        "offset": st.floats(-2, 2),
        "distance": st.floats(3, 90),
        "nock": st.floats(0.003, 0.05),
        "marking": st.sampled_from(["lit", "bright", "plain", "dark"]),
        "arrow": st.none(),
        "speed": st.none() | st.builds(Estimate, value=st.floats(40, 70), sigma=st.floats(0, 10)),
    }
)
BAD = st.sampled_from([None, *POISON]).flatmap(
    lambda name: st.just({}) if name is None else st.fixed_dictionaries({name: POISON[name]})
)


@settings(max_examples=150, deadline=None)
@given(usual=SETTINGS, bad=BAD)
def test_a_plan_is_finite_or_refused(usual, bad):
    """Any setting gives a plan whose every sentence can be said, or one sentence."""
    given_ = usual | bad
    try:
        plan = plan_filming(
            CameraSetting(
                frame_hz=given_["rate"],
                width_px=given_["width"],
                height_px=1080,
                field_of_view_deg=given_["lens"],
            ),
            Standing(behind_m=given_["behind"], offset_m=given_["offset"]),
            Shot(
                distance_m=given_["distance"],
                nock_diameter_m=given_["nock"],
                marking=given_["marking"],
                arrow=given_["arrow"],
                speed_m_s=given_["speed"],
            ),
        )
    except InputError as error:
        must_be_sentence(error)
        return
    assert 0 <= plan.seen_frames <= plan.frames
    for swing in (plan.yaw, plan.fast):
        if swing is not None:
            assert math.isfinite(swing.smallest_mm)
            assert swing.smallest_mm > 0
            assert math.isfinite(swing.frequency_sigma_hz)
    assert all(say(told).endswith(".") for told in plan.verdict)
