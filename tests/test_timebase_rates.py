"""Wrong capture rates are caught, right ones are left alone."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import numpy as np
import pytest

from classify.physics import predict
from classify.scale import find_scale, priors_for
from classify.spectral import fit_swing
from classify.timebase import TimeBase, check_time_base
from classify.types import Known, Spectrum
from tests.flight_clips import clip_of, coach_distance_m, face_px_of, with_clock
from tests.simulated_tracks import Shot, Vibration, fly
from ui.words import LANGUAGES, say

TRUE_HZ = 240

FLIGHTS = 2
"""Each with five wrong rates and four ways of saying what is known: sixty."""


def chance_shot(rng: np.random.Generator, distance_m: float) -> Shot:
    """Draw a flight with a moderate swing of every sort."""
    return Shot(
        distance_m=distance_m,
        speed_m_s=float(np.clip(rng.normal(55, 4), 46, 64)),
        camera_behind_m=rng.uniform(2, 5),
        camera_offset_m=tuple(rng.normal(0, 0.25, 2)),
        camera_roll_rad=rng.normal(0, 0.015),
        yaw_hz=rng.uniform(1.8, 4.0),
        yaw_m=tuple(np.abs(rng.normal(0, 0.006, 2))),
        yaw_phase_rad=tuple(rng.uniform(-3, 3, 2)),
        vibrations=(
            Vibration(f_hz=rng.uniform(65, 90), decay_per_s=8, amplitude_m=(0.002, 0.001)),
        ),
    )


def verdict(
    shot: Shot, factor: float, said: str, rng: np.random.Generator, *, vouched: bool = True
) -> TimeBase:
    """Read a flight whose seconds are stretched by a factor, with what the coach said."""
    track = with_clock(fly(shot, rng), factor)
    clip = clip_of(track, Fraction(TRUE_HZ) / Fraction(factor), vouched=vouched)
    size = 0.4 if shot.distance_m < 30 else 1.22
    distance = coach_distance_m(shot, rng)
    known = {
        "distance": Known(distance_m=distance),
        "face": Known(face_diameter_m=size),
        "face and distance": Known(face_diameter_m=size, distance_m=distance),
        "focal length": Known(focal_px=shot.focal_px * (1 + rng.normal(0, 0.02))),
        "speed and distance": Known(speed_m_s=shot.speed_m_s, distance_m=distance),
        "nothing": Known(),
    }[said]
    face = face_px_of(shot, size, rng)
    prediction = predict(None, speed_m_s=None)
    priors = priors_for(known=known, prediction=prediction, clip=clip, track=track)
    spectrum = fit_swing(track, priors)
    assert isinstance(spectrum, Spectrum)
    scale = find_scale(spectrum, known=known, clip=clip, track=track, face_px=face)
    return check_time_base(spectrum, scale, known, clip, track, face_px=face)


@pytest.mark.parametrize("said", ["distance", "face and distance"])
@pytest.mark.parametrize("factor", [0.5, 2.0, 8.0])
def test_wrong_rate_is_caught_and_the_right_one_suggested(said, factor, rng):
    """Twice too fast, half and an eighth as fast as filmed: caught, 240 a second suggested."""
    found = verdict(chance_shot(rng, 18.0), factor, said, rng)
    assert not found.ok
    assert found.suggested_hz == TRUE_HZ
    assert "240" in say(found.messages[0])


@pytest.mark.parametrize("said", ["distance", "face", "focal length", "nothing"])
def test_right_rate_is_left_alone(said, rng):
    """The true clock stands, whatever was said."""
    found = verdict(chance_shot(rng, 18.0), 1.0, said, rng)
    assert found == TimeBase(ok=True, messages=(), suggested_hz=None)


def test_a_light_bow_is_told_how_to_be_believed(rng):
    """At 30 m/s and with the distance alone only the usual speed speaks against the right rate.

    The sentence says so, and does not say that fall and flight time were explained; with what it
    asks for the rate stands, and a wrong one is still caught.
    """
    shot = replace(chance_shot(rng, 18.0), speed_m_s=30.0)
    found = verdict(shot, 1.0, "distance", rng)
    assert [told.key for told in found.messages] == ["motion.rate_unusual"]
    far_off = verdict(shot, 8.0, "distance", rng)
    assert [told.key for told in far_off.messages] == ["motion.rate_wrong"]
    for language in LANGUAGES:
        assert "--speed-m-s 35" in say(found.messages[0], language)
    for said in ("speed and distance", "face and distance"):
        assert verdict(shot, 1.0, said, rng).ok
        for factor in (0.5, 2.0):
            wrong = verdict(shot, factor, said, rng)
            assert [told.key for told in wrong.messages] == ["motion.rate_wrong"]
            assert wrong.suggested_hz == TRUE_HZ


def test_unknown_rate_is_suggested_where_physics_can_tell(rng):
    """A file stretched to 30 a second, with a distance: 240 is suggested, not taken for granted."""
    found = verdict(chance_shot(rng, 18.0), 8.0, "distance", rng, vouched=False)
    assert not found.ok
    assert found.suggested_hz == TRUE_HZ
    assert "240" in say(found.messages[0])


def test_unknown_rate_stays_open_where_physics_cannot_tell(rng):
    """Without any ruler no rate is guessed."""
    found = verdict(chance_shot(rng, 18.0), 8.0, "nothing", rng, vouched=False)
    assert not found.ok
    assert found.suggested_hz is None


@pytest.mark.long
@pytest.mark.parametrize("distance_m", [18.0, pytest.param(50.0, marks=pytest.mark.endurance)])
def test_nearly_all_wrong_rates_are_caught(distance_m):
    """At least 95 % of wrong rates with a distance or a scale, at most 5 % of right ones."""
    rng = np.random.default_rng(5)
    factors = [0.25, 0.5, 2.0, 4.0, 8.0]
    said = ["distance", "face", "face and distance", "focal length"]
    caught, named, blamed, tried = 0, 0, 0, 0
    for _ in range(FLIGHTS):
        shot = chance_shot(rng, distance_m)
        for word in said:
            blamed += not verdict(shot, 1.0, word, rng).ok
            for factor in factors:
                found = verdict(shot, factor, word, rng)
                caught += not found.ok
                named += found.suggested_hz == TRUE_HZ
                tried += 1
    assert caught >= 0.95 * tried
    assert named >= 0.85 * tried
    assert blamed <= 0.05 * FLIGHTS * len(said)
