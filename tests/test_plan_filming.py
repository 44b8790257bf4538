"""What the filming plan says: aliases, refusals, places to stand, and sentences for all of it."""

from dataclasses import replace
from fractions import Fraction
from string import Formatter

import numpy as np
import pytest

from classify.plan import best_standing, plan_filming
from classify.plan_types import Standing, StandingLimits
from classify.types import ArrowSpec, Estimate
from tests.test_plan_covariance import CAMERA, SHOT, STANDING
from tracker.types import InputError
from ui.words import LANGUAGES, catalogue, say

ARROW = ArrowSpec(
    spine=400.0,
    length_m=0.7112,
    shaft_kg_per_m=0.02092,
    point_kg=0.007776,
    nock_kg=0.00055,
    fletching_kg=0.00075,
    vane_from_nock_m=0.035,
)
"""First bending 84.6 Hz, so 72 to 99 Hz with twice its 8 %."""
LIMITS = StandingLimits(nearest_m=1.0, furthest_m=4.0, least_offset_m=0.3, most_offset_m=0.9)


def at_rate(frame_hz, shot=SHOT):
    """Plan with another frame rate."""
    return plan_filming(replace(CAMERA, frame_hz=Fraction(frame_hz)), STANDING, shot)


def keys(plan):
    """Give the names of what the plan says."""
    return [m.key for m in plan.verdict]


def test_size_of_the_nock_is_similar_triangles():
    """Focal length times diameter over distance: half a metre forward, an arrow short of 18 m."""
    focal_px = 960 / np.tan(np.radians(32.5)) * 2
    plan = plan_filming(CAMERA, STANDING, SHOT)
    np.testing.assert_allclose(plan.nock_px, focal_px * 0.0065 / np.array([2.5, 19.78]), rtol=1e-9)


def test_an_18_m_flight_lasts_a_third_of_a_second_and_holds_a_period_of_yaw():
    """0.33 s at 55 m/s less an arrow's length, 0.31; half to one and a half periods.

    Computed independently, 1.3e-3 of the speed lost in each metre.
    """
    plan = plan_filming(CAMERA, STANDING, SHOT)
    np.testing.assert_allclose(plan.flight_s, np.expm1(1.3e-3 * 17.28) / 1.3e-3 / 56, atol=1e-3)
    assert 0.5 < plan.yaw_periods < 1.5
    assert plan.frames == pytest.approx(240 * plan.flight_s, abs=1)


@pytest.mark.parametrize(
    ("frame_hz", "seen_hz"), [(60, (12, 30)), (120, (21, 48)), (240, (72, 99)), (480, (72, 99))]
)
def test_where_bending_appears(frame_hz, seen_hz):
    """84.6 Hz and twice 8 % either way, folded at each rate by hand."""
    plan = at_rate(frame_hz, replace(SHOT, arrow=ARROW))
    np.testing.assert_allclose(plan.bending_seen_hz, seen_hz, atol=0.8)


@pytest.mark.parametrize(
    ("frame_hz", "passes_for", "key"),
    [
        (60, ("yaw", "fast"), "plan.bending_anywhere"),
        (120, ("fast",), "plan.bending_folds"),
        (240, (), "plan.second_bending_folds"),
        (480, (), None),
    ],
)
def test_what_bending_can_pass_for(frame_hz, passes_for, key):
    """At 60 for anything, at 120 for a fast swing, at 240 only the second mode folds."""
    plan = at_rate(frame_hz)
    assert plan.bending_passes_for == passes_for
    assert [k for k in keys(plan) if "bending" in k] == ([key] if key else [])


def test_thirty_frames_a_second_are_refused():
    """No numbers, a reason, and what to do instead."""
    plan = at_rate(30)
    assert plan.refused is not None
    assert plan.refused.key == "plan.refused_rate"
    assert (plan.yaw, plan.fast) == (None, None)
    assert "240" in say(plan.refused)


def test_a_flight_too_short_is_refused():
    """Few frames are few whatever the camera."""
    plan = plan_filming(
        replace(CAMERA, frame_hz=Fraction(60)), STANDING, replace(SHOT, distance_m=8.0)
    )
    assert plan.refused is not None
    assert plan.refused.key == "plan.refused_short"


def test_a_nock_too_small_is_refused():
    """A dark nock through a wide lens from far behind is not seen."""
    wide = replace(CAMERA, field_of_view_deg=100.0, zoom=1.0)
    plan = plan_filming(wide, Standing(behind_m=6.0, offset_m=0.4), replace(SHOT, marking="dark"))
    assert plan.refused is not None
    assert plan.refused.key == "plan.refused_unseen"


def test_what_leaves_the_picture_is_not_counted():
    """From far to the side through a long lens the release is out of the picture."""
    near = Standing(behind_m=0.5, offset_m=1.5)
    plan = plan_filming(replace(CAMERA, zoom=3.0), near, SHOT)
    assert plan.seen_frames < plan.frames
    assert "plan.followed_to" in keys(plan)


def test_the_wanted_swing_is_that_of_the_trade_unless_said():
    """About 0.6 degrees of yaw and 1.5 mm of fast swing, chosen here."""
    plan = plan_filming(CAMERA, STANDING, SHOT)
    np.testing.assert_allclose([plan.yaw.wanted_mm, plan.fast.wanted_mm], [4.6, 1.5], atol=0.1)
    asked = plan_filming(CAMERA, STANDING, replace(SHOT, wanted_slow_mm=18.0, wanted_fast_mm=0.01))
    assert "plan.slow_seen" in keys(asked)
    assert "plan.fast_missed" in keys(asked)


@pytest.mark.parametrize("frame_hz", [30, 60, 120, 240])
def test_everyone_stays_behind_the_line(frame_hz):
    """The caution is part of every plan, refused or not."""
    assert keys(at_rate(frame_hz))[-1] == "plan.caution_line"


@pytest.mark.parametrize("behind_m", [0.0, -3.0])
def test_a_camera_forward_of_the_line_is_refused(behind_m):
    """Whatever it would see."""
    with pytest.raises(InputError, match="forward_of_the_line"):
        Standing(behind_m=behind_m, offset_m=0.5)


def test_the_best_place_is_the_best_within_five_per_cent():
    """No place on a grid of its own within the limits does clearly better."""
    best = best_standing(CAMERA, SHOT, LIMITS)
    assert 1.0 <= best.standing.behind_m <= 4.0
    assert 0.3 <= best.standing.offset_m <= 0.9

    def need(plan):
        return max(s.smallest_mm / s.wanted_mm for s in (plan.yaw, plan.fast))

    others = [
        plan_filming(CAMERA, Standing(behind_m=b, offset_m=o), SHOT)
        for b in (1.0, 1.9, 2.8, 4.0)
        for o in (0.3, 0.6, 0.9)
    ]
    assert need(best) <= 1.07 * min(need(plan) for plan in others)


def test_no_good_place_is_a_refusal_not_an_error():
    """At 30 frames a second no place helps."""
    best = best_standing(replace(CAMERA, frame_hz=Fraction(30)), SHOT, LIMITS)
    assert best.refused is not None


def test_every_verdict_is_a_sentence():
    """All that a plan says over many settings can be said in English."""
    for frame_hz in (30, 60, 120, 240, 480):
        for marking in ("lit", "bright", "plain", "dark"):
            for distance_m in (8.0, 18.0, 70.0):
                shot = replace(SHOT, marking=marking, distance_m=distance_m)
                for told in at_rate(frame_hz, shot).verdict:
                    sentence = say(told)
                    assert sentence.endswith(".")
                    assert "nan" not in sentence
                    assert "inf" not in sentence


@pytest.mark.parametrize(
    ("make", "key"),
    [
        (lambda: replace(CAMERA, frame_hz=Fraction(0)), "bad_frame_rate"),
        (lambda: replace(CAMERA, width_px=0), "bad_picture_size"),
        (lambda: replace(CAMERA, focal_px=1500.0), "focal_or_field"),
        (lambda: replace(CAMERA, field_of_view_deg=None), "focal_or_field"),
        (lambda: replace(CAMERA, field_of_view_deg=180.0), "bad_field_of_view"),
        (
            lambda: replace(CAMERA, field_of_view_deg=None, focal_px=float("nan")),
            "bad_focal",
        ),
        (lambda: replace(CAMERA, zoom=0.0), "bad_zoom"),
        (lambda: Standing(behind_m=400.0, offset_m=0.0), "bad_behind"),
        (lambda: Standing(behind_m=2.0, offset_m=float("inf")), "bad_offset"),
        (lambda: replace(SHOT, distance_m=0.0), "bad_distance"),
        (lambda: replace(SHOT, nock_diameter_m=6.5), "bad_nock"),
        (lambda: replace(SHOT, marking="neon"), "bad_marking"),
        (lambda: replace(SHOT, speed_m_s=Estimate(value=440.0, sigma=1.0)), "bad_speed"),
        (lambda: replace(SHOT, wanted_fast_mm=-1.0), "bad_wanted"),
        (lambda: replace(LIMITS, nearest_m=5.0), "limits_reversed"),
        (lambda: replace(LIMITS, nearest_m=-1.0), "forward_of_the_line"),
    ],
)
def test_what_cannot_be_is_refused_with_a_sentence(make, key):
    """Found, needed, what to do."""
    with pytest.raises(InputError, match=key) as caught:
        make()
    assert say(caught.value.message).endswith(".")


@pytest.mark.parametrize("language", sorted(set(LANGUAGES) - {"en"}))
def test_other_languages_say_the_same_with_the_same_values(language):
    """Every template of this area has a twin that asks for the same fields."""
    ours = {k: v for k, v in catalogue("en").items() if k.startswith("plan.")}
    theirs = {k: v for k, v in catalogue(language).items() if k.startswith("plan.")}
    assert set(ours) == set(theirs)
    for key, template in ours.items():
        assert fields_of(template) == fields_of(theirs[key]), key


def fields_of(template):
    """Give the names of the values a template needs."""
    return {name for _, name, _, _ in Formatter().parse(template) if name}
