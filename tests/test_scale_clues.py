"""Metres from every clue alone and together, against the simulator's own focal length and speed."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from classify.clues import Clue, find_clues, focal_length_px
from classify.judgement import read_track
from classify.physics import predict
from classify.scale import clues_disagree, find_scale, priors_for, told_priors, weigh
from classify.spectral import fit_swing
from classify.types import Estimate, FaceMark, Known, Priors, Scale, Spectrum
from tests.flight_clips import clip_of, coach_distance_m, face_px_of
from tests.simulated_tracks import Shot, fly, singular_time_s, speed_at_first_seen
from tracker.types import Track
from ui.words import say

SHOT = Shot(yaw_m=(0.006, 0.003), camera_roll_rad=0.01)


@pytest.fixture(scope="module")
def flight() -> tuple[Track, Spectrum]:
    """One flight over 18 m with its fit, no set-up known."""
    track = fly(SHOT, np.random.default_rng(8))
    spectrum = fit_swing(track, Priors())
    assert isinstance(spectrum, Spectrum)
    return track, spectrum


def scale_with(flight: tuple[Track, Spectrum], known: Known, face: Estimate | None = None) -> Scale:
    """Weigh the clues of the flight."""
    track, spectrum = flight
    clip = clip_of(track, 240)
    scale = find_scale(spectrum, known=known, clip=clip, track=track, face_px=face)
    assert scale is not None
    return scale


def clue_of(flight: tuple[Track, Spectrum], source: str, known: Known, face=None):
    """Give the one clue of a source."""
    track, spectrum = flight
    clues = find_clues(spectrum, known=known, clip=clip_of(track, 240), track=track, face_px=face)
    return next(clue for clue in clues if clue.source == source)


FACE = Estimate(value=1500 * 0.4 / (3.0 + 18.0 + 0.72), sigma=0.6)


@pytest.mark.parametrize(
    ("source", "known"),
    [
        ("fall", Known()),
        ("speed", Known(speed_m_s=55.0)),
        ("focal length", Known(focal_px=1500.0)),
        ("field of view", Known(field_of_view_deg=float(np.degrees(2 * np.arctan(960 / 1500))))),
        ("face at impact", Known(face_diameter_m=0.4)),
        ("face at its distance", Known(face_diameter_m=0.4, distance_m=18.72)),
        ("flight time", Known(distance_m=18.72)),
        ("camera distance", Known(camera_distance_m=2.5)),
    ],
)
def test_every_clue_agrees_with_the_truth(flight, source, known):
    """With the true clock each clue lies within 2.5 claimed errors of the true product."""
    clue = clue_of(flight, source, known, FACE)
    truth = np.array([np.log(1500.0), np.log(speed_at_first_seen(SHOT)), 0.0])
    gap = clue.value - float(np.array(clue.powers) @ truth)
    assert abs(gap) < 2.5 * clue.sigma
    assert clue.sigma < 0.3


def test_the_nock_itself_is_a_ruler():
    """Through a long lens the nock's apparent size gives focal length over speed."""
    shot = replace(SHOT, focal_px=4000.0)
    track = fly(shot, np.random.default_rng(3))
    spectrum = fit_swing(track, Priors())
    clue = clue_of((track, spectrum), "nock", Known(nock_diameter_m=0.006))
    gap = clue.value - np.log(4000.0 / speed_at_first_seen(shot))
    assert abs(gap) < 2.5 * clue.sigma


def test_fall_alone_gives_metres_without_any_ruler(flight):
    """Nothing known: speed over focal length from the fall, within its claimed error."""
    scale = scale_with(flight, Known())
    true = speed_at_first_seen(SHOT) / SHOT.focal_px
    assert scale.from_ == "fall"
    assert abs(scale.m_per_px_s.value - true) < 2 * scale.m_per_px_s.sigma
    assert scale.m_per_px_s.sigma < 0.2 * true
    assert scale.speed_m_s is None


def test_more_clues_make_the_scale_surer(flight):
    """Face, distance and focal length leave less open than the fall."""
    alone = scale_with(flight, Known())
    known = Known(face_diameter_m=0.4, distance_m=18.72, focal_px=1500.0)
    together = scale_with(flight, known, FACE)
    assert together.m_per_px_s.sigma < alone.m_per_px_s.sigma
    assert together.speed_m_s is not None
    assert together.notes == ()
    true = speed_at_first_seen(SHOT)
    assert abs(together.speed_m_s.value - true) < 2.5 * together.speed_m_s.sigma


def test_scale_at_release_is_the_picture_of_a_millimetre(flight):
    """At the first followed frame a millimetre has the size that the pinhole gives it."""
    scale = scale_with(flight, Known(focal_px=1500.0, speed_m_s=55.0))
    depth_m = singular_time_s(SHOT) * speed_at_first_seen(SHOT)
    true = 1e3 * depth_m / SHOT.focal_px
    gap = abs(scale.mm_per_px_at_release.value - true)
    assert gap < 2.5 * scale.mm_per_px_at_release.sigma


def test_no_clue_no_millimetres(flight):
    """Without fall, face, lens or nock nothing ties pixels to metres."""
    track, spectrum = flight
    blind = replace(spectrum, fall_px_s=None)
    clip = clip_of(track, 240)
    known = Known(distance_m=18.72, speed_m_s=55.0)
    assert find_scale(blind, known=known, clip=clip, track=track, face_px=FACE) is None
    vague = replace(spectrum, fall_px_s=Estimate(value=27.0, sigma=12.0))
    assert find_scale(vague, known=Known(), clip=clip, track=track, face_px=None) is None


def test_a_wrong_face_size_is_named(flight):
    """A 60 cm face where 40 cm was given: the message names what is odd, in one sentence."""
    wrong = Estimate(value=FACE.value * 1.5, sigma=0.6)
    known = Known(face_diameter_m=0.4, focal_px=1500.0, distance_m=18.72)
    scale = scale_with(flight, known, wrong)
    assert len(scale.notes) == 1
    assert scale.notes[0].values["odd"] == "face"
    assert "face" in say(scale.notes[0])


def test_a_wrong_impact_does_not_spoil_the_scale(flight):
    """An impact seen 100 ms early is named and left out; the rest still gives the true scale."""
    track, spectrum = flight
    early = replace(track, impact_s=track.impact_s - 0.1)
    known = Known(face_diameter_m=0.4, focal_px=1500.0, distance_m=18.72)
    scale = find_scale(spectrum, known=known, clip=clip_of(early, 240), track=early, face_px=FACE)
    assert scale.notes[0].values["odd"] == "impact"
    true = speed_at_first_seen(SHOT) / SHOT.focal_px
    assert abs(scale.m_per_px_s.value - true) < 2.5 * scale.m_per_px_s.sigma


def test_two_clicks_take_the_place_of_the_found_face(flight):
    """A person's word on the face's edges goes before what was found."""
    mark = FaceMark(frame=0, x1_px=900.0, y1_px=500.0, x2_px=900.0 + FACE.value, y2_px=500.0)
    marked = clue_of(
        flight, "face at impact", Known(face_diameter_m=0.4, face_mark=mark),
        Estimate(value=99.0, sigma=0.1),
    )  # fmt: skip
    found = clue_of(flight, "face at impact", Known(face_diameter_m=0.4), FACE)
    np.testing.assert_allclose(marked.value, found.value, atol=1e-6)


def test_field_of_view_is_a_focal_length():
    """A right angle over 1920 px: 960 px (plane trigonometry)."""
    focal = focal_length_px(Known(field_of_view_deg=90.0), 1920)
    assert focal is not None
    np.testing.assert_allclose(focal.value, 960.0, rtol=1e-12)


def test_weighing_two_clues_is_the_inverse_variance_mean(flight):
    """Two clues on one product combine as the textbook's weighted mean."""
    clue = clue_of(flight, "fall", Known())
    speed = clue_of(flight, "speed", Known(speed_m_s=55.0))
    twin = replace(clue, value=clue.value + 0.2, sigma=0.1)
    one = replace(clue, sigma=0.2)
    both = weigh((one, twin, speed))
    mean = (clue.value / 0.04 + (clue.value + 0.2) / 0.01) / (1 / 0.04 + 1 / 0.01)
    np.testing.assert_allclose(both.value[0] - both.value[1], mean, atol=5e-4)


def test_claimed_errors_of_the_scale_are_true():
    """Over 12 flights with a face and a distance: speed over focal length within its errors.

    So is the fall that is expected by all but the fall itself, five times surer than before.
    """
    rng = np.random.default_rng(17)
    z, z_fall = [], []
    for _ in range(12):
        shot = replace(
            SHOT,
            speed_m_s=rng.normal(55, 4),
            camera_behind_m=rng.uniform(2, 5),
            camera_offset_m=tuple(rng.normal(0, 0.25, 2)),
            yaw_m=tuple(abs(rng.normal(0, 0.006, 2))),
            yaw_phase_rad=tuple(rng.uniform(-3, 3, 2)),
        )
        track = fly(shot, rng)
        clip = clip_of(track, 240)
        known = Known(face_diameter_m=0.4, distance_m=coach_distance_m(shot, rng))
        prediction = predict(None, speed_m_s=None)
        priors = priors_for(known=known, prediction=prediction, clip=clip, track=track)
        spectrum = fit_swing(track, priors)
        face = face_px_of(shot, 0.4, rng)
        scale = find_scale(spectrum, known=known, clip=clip, track=track, face_px=face)
        true = speed_at_first_seen(shot) / shot.focal_px
        z.append((scale.m_per_px_s.value - true) / scale.m_per_px_s.sigma)
        clues = find_clues(spectrum, known=known, clip=clip, track=track, face_px=face)
        told = told_priors(priors, clues)
        z_fall.append((told.fall_px_s.value - 1 / true) / told.fall_px_s.sigma)
        assert told.fall_px_s.sigma < 0.2 * priors.fall_px_s.sigma
        cases = told.fall_cases
        assert cases == ((1.0, told.fall_px_s),)
        assert replace(priors, fall_px_s=told.fall_px_s, fall_cases=cases) == told
    # Chi of 12: 0.5 to 1.5 at three standard deviations.
    for all_ in (z, z_fall):
        assert 0.5 < np.sqrt(np.mean(np.square(all_))) < 1.5, all_


@pytest.mark.parametrize("what", ["no impact", "an impact far too early", "no scale", "no prior"])
def test_the_fall_is_not_told_better_by_what_is_in_doubt(flight, what):
    """Where the impact is not seen, or cannot be one, the fall stays as open as it was."""
    track, spectrum = flight
    known = Known(face_diameter_m=0.4, distance_m=18.72, field_of_view_deg=65.2)
    clip = clip_of(track, 240)
    face: Estimate | None = FACE
    if what == "no impact":
        track = replace(track, impact_s=None, impact_sigma_s=None)
    elif what == "an impact far too early":
        track = replace(track, impact_s=track.impact_s - 0.1)
    elif what == "no scale":
        known, face = Known(), None
    priors = priors_for(
        known=known, prediction=predict(None, speed_m_s=None), clip=clip, track=track
    )
    if what == "no prior":
        priors = replace(priors, fall_px_s=None)
    clues = find_clues(spectrum, known=known, clip=clip, track=track, face_px=face)
    assert told_priors(priors, clues) == priors


@pytest.mark.parametrize(("larger", "believed"), [(0.1, True), (0.4, False)])
def test_the_fitted_fall_may_doubt_the_face(larger, believed):
    """A vague fall agrees with a face a tenth larger than was said, not one half as large again."""
    told = 3.3
    clues = (
        Clue(source="fall", powers=(1, -1, -1), value=told, sigma=0.15),
        Clue(source="face at impact", powers=(1, -1, 1), value=told + larger, sigma=0.02),
    )
    priors = replace(Priors(), fall_px_s=Estimate(value=27.0, sigma=10.0))
    fall = told_priors(priors, clues).fall_px_s
    assert fall is not None
    if believed:
        np.testing.assert_allclose(np.log(fall.value), told + larger, atol=1e-3)
    else:
        assert fall == priors.fall_px_s


@pytest.mark.parametrize("late_s", [0.02, 0.05, 0.08, 0.12])
def test_a_late_start_does_not_make_the_face_look_further_away(late_s: float) -> None:
    """The camera stands behind the bow, not behind the place where the arrow was first followed.

    Counted twice, that way made the focal length 5 to 32 % too long, up to five claimed errors.
    """
    shot = replace(SHOT, first_seen_s=late_s, distance_m=17.28)
    track = fly(shot, np.random.default_rng(0))
    spectrum = fit_swing(track, Priors())
    assert isinstance(spectrum, Spectrum)
    later = float(track.time_s[int(spectrum.motion.frame[0])] - track.time_s[track.first_frame])
    tau = singular_time_s(replace(shot, first_seen_s=late_s + later))
    spectrum = replace(spectrum, singular_time_s=Estimate(value=tau, sigma=0.005 * tau))
    face = Estimate(value=1500 * 0.4 / (3.0 + 18.0), sigma=0.3)
    known = Known(face_diameter_m=0.4, distance_m=18.0)
    clue = clue_of((track, spectrum), "face at its distance", known, face)
    assert abs(clue.value - np.log(1500.0)) < 1.5 * clue.sigma


@pytest.mark.parametrize("times", [1.5, 0.7])
def test_a_face_of_another_size_is_not_believed_over_gravity(
    flight: tuple[Track, Spectrum], times: float
) -> None:
    """Its two clues agree with each other; the error grows until it holds the truth."""
    known = Known(face_diameter_m=0.4 * times, distance_m=18.72)
    scale = scale_with(flight, known, FACE)
    true = speed_at_first_seen(SHOT) / SHOT.focal_px
    assert abs(scale.m_per_px_s.value - true) < 2 * scale.m_per_px_s.sigma
    assert [note.key for note in scale.notes] == ["motion.clues_disagree"]


def test_a_face_of_twice_the_size_is_a_reason_to_refuse(flight: tuple[Track, Spectrum]) -> None:
    """Nobody knows which of two scales a factor of two apart is right; the sentence says why."""
    track, _ = flight
    known = Known(face_diameter_m=0.8, distance_m=18.72, capture_hz=240)
    reading = read_track(track, clip=clip_of(track, 240), known=known, face_px=FACE)
    assert reading.scale is None
    assert reading.refused is not None
    assert reading.refused.key == "motion.clues_disagree"


def test_an_error_of_the_distance_is_not_averaged_away() -> None:
    """Two clues of one distance share it: their product keeps it whole (arithmetic)."""
    shared = [
        Clue(source="face at its distance", powers=(1, 0, 0), value=7.0, sigma=1e-6, line=0.02),
        Clue(source="flight time", powers=(0, 1, -1), value=4.0, sigma=1e-6, line=0.02),
    ]
    covariance = weigh(tuple(shared)).covariance
    np.testing.assert_allclose(np.array([1, 1]) @ covariance @ [1, 1], 0.04**2, rtol=1e-2)
    np.testing.assert_allclose(np.array([1, -1]) @ covariance @ [1, -1], 0.0, atol=1e-6)


@pytest.mark.parametrize(("distance_m", "told"), [(18.72, False), (25.0, True)])
def test_a_speed_that_no_recurve_has_is_remarked(
    flight: tuple[Track, Spectrum], distance_m: float, told: bool
) -> None:
    """A distance that was paced out wrongly shows in the speed (45 to 65 m/s, common practice)."""
    scale = scale_with(flight, Known(distance_m=distance_m))
    assert ("motion.speed_unusual" in [note.key for note in scale.notes]) == told


SLOW = replace(SHOT, speed_m_s=34.0)
"""A young archer's arrow: 20 to 24 lb and 34 m/s (common practice)."""


@pytest.mark.parametrize(
    ("said", "widest"),
    [
        (Known(speed_m_s=34.0), 0.03),
        (Known(distance_m=18.72), 0.03),
        (Known(face_diameter_m=0.4, distance_m=18.72), 0.02),
        (Known(focal_px=1500.0), 0.03),
    ],
    ids=["speed", "distance", "face and distance", "lens"],
)
def test_a_light_bow_is_not_held_against_what_the_coach_said(said: Known, widest: float) -> None:
    """What most archers shoot is no reason to doubt a right word, nor to widen the scale.

    At 34 m/s a typed speed and a right distance were blamed for being 38 % off, and the scale's
    error grew to five times that of the fall alone.
    """
    track = fly(SLOW, np.random.default_rng(8))
    clip = clip_of(track, 240)
    priors = priors_for(
        known=said, prediction=predict(None, speed_m_s=None), clip=clip, track=track
    )
    spectrum = fit_swing(track, priors)
    assert isinstance(spectrum, Spectrum)
    scale = find_scale(spectrum, known=said, clip=clip, track=track, face_px=FACE)
    assert scale is not None
    told = [] if said.speed_m_s is not None else ["motion.speed_unusual"]
    assert [note.key for note in scale.notes] == told
    true = speed_at_first_seen(SLOW) / SLOW.focal_px
    assert scale.m_per_px_s.sigma < widest * true
    assert abs(scale.m_per_px_s.value - true) < 2.5 * scale.m_per_px_s.sigma
    assert scale.speed_m_s is not None
    assert abs(scale.speed_m_s.value - speed_at_first_seen(SLOW)) < 2 * scale.speed_m_s.sigma


@pytest.mark.parametrize("source", ["face at its distance", "face at impact"])
def test_a_typed_speed_says_how_far_away_things_are(source: str) -> None:
    """The way to the camera and the arrow's length go from seconds to metres by the typed speed.

    By the usual one a camera 8 m behind a 34 m/s arrow seemed to stand 13 m behind it, and the
    face's distance 18 % further than it was.
    """
    shot = replace(SLOW, camera_behind_m=8.0)
    track = fly(shot, np.random.default_rng(8))
    spectrum = fit_swing(track, Priors())
    assert isinstance(spectrum, Spectrum)
    tau = Estimate(value=singular_time_s(shot), sigma=0.01 * singular_time_s(shot))
    face = Estimate(value=1500 * 0.4 / (8.0 + 18.0 + 0.72), sigma=0.1)
    known = Known(face_diameter_m=0.4, distance_m=18.72, speed_m_s=34.0)
    clue = clue_of((track, replace(spectrum, singular_time_s=tau)), source, known, face)
    truth = np.array([np.log(1500.0), np.log(speed_at_first_seen(shot)), 0.0])
    np.testing.assert_allclose(clue.value, np.array(clue.powers) @ truth, atol=0.01)


def test_what_disagrees_is_named_in_the_language(flight: tuple[Track, Spectrum]) -> None:
    """The Spanish sentence names the clues in Spanish."""
    known = Known(face_diameter_m=0.8, distance_m=18.72, capture_hz=240)
    told = clues_disagree(
        find_clues(flight[1], known=known, clip=clip_of(flight[0], 240), track=flight[0],
                   face_px=FACE)
    )  # fmt: skip
    assert told is not None
    sentence = say(told, "es")
    assert "la caída de la flecha" in sentence
    assert not any(word in sentence for word in ("face", "fall", "usual speed", "impact"))
