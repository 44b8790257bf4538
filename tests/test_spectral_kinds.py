"""What the fit makes of bending, two swings at once, nothing, and tracks that break its rules."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from classify.motion import picture_of_swing
from classify.spectral import aliases_of, fit_swing
from classify.types import Priors, Spectrum, Unread
from tests.simulated_tracks import (
    Shot,
    Vibration,
    fly,
    picture,
    singular_time_s,
    speed_at_first_seen,
)
from tracker.types import Track
from ui.words import say

YAW_BELOW_HZ = 7.0


def read(track: Track) -> Spectrum:
    """Fit with nothing known."""
    spectrum = fit_swing(track, Priors())
    assert isinstance(spectrum, Spectrum)
    return spectrum


def mm(shot: Shot, px_s: np.ndarray) -> np.ndarray:
    """Turn px·s into millimetres with the simulator's own lens and speed."""
    return 1e3 * np.asarray(px_s) * speed_at_first_seen(shot) / shot.focal_px


def bent(rng: np.random.Generator, frame_hz: float) -> Shot:
    """Draw a clean flight whose shaft bends by 1 to 5 mm at 60 to 95 Hz."""
    angle, phase = rng.uniform(0, 2 * np.pi), rng.uniform(-3, 3)
    size = rng.uniform(0.001, 0.005)
    return Shot(
        frame_hz=frame_hz,
        camera_behind_m=rng.uniform(2, 5),
        camera_offset_m=tuple(rng.normal(0, 0.25, 2)),
        vibrations=(
            Vibration(
                f_hz=rng.uniform(60, 95),
                decay_per_s=rng.uniform(5, 15),
                amplitude_m=(size * np.cos(angle), size * np.sin(angle)),
                phase_rad=(phase, phase),
            ),
        ),
    )


def seen_at(f_hz: float, frame_hz: float) -> float:
    """Fold a frequency at half the frame rate."""
    return abs((f_hz + frame_hz / 2) % frame_hz - frame_hz / 2)


def check_bending(rng: np.random.Generator, frame_hz: float, count: int) -> int:
    """Every mode found must be the bending or its image; give how many were found."""
    found = 0
    for _ in range(count):
        shot = bent(rng, frame_hz)
        true = shot.vibrations[0].f_hz
        spectrum = read(fly(shot, rng))
        for mode, images in zip(spectrum.modes, spectrum.aliases, strict=True):
            assert abs(mode.f_hz - seen_at(true, frame_hz)) < 4 * mode.sigma_f_hz + 0.3
            if true > frame_hz / 2:
                assert min(abs(image - true) for image in images) < 4 * mode.sigma_f_hz + 0.3
            found += 1
    return found


@pytest.mark.parametrize("frame_hz", [240.0, 120.0])
def test_bending_is_found_where_it_is_or_as_its_image(rng, frame_hz):
    """Bending alone leaves one mode, at its frequency or at its fold with the true one listed."""
    assert check_bending(rng, frame_hz, 5) >= 2


@pytest.mark.long
@pytest.mark.parametrize("frame_hz", [240.0, 120.0])
def test_bending_is_never_another_motion(frame_hz):
    """The same over 40 flights each."""
    assert check_bending(np.random.default_rng(31), frame_hz, 40) >= 14


# Folding at the frame rate: plain arithmetic.
@pytest.mark.parametrize(
    ("true_hz", "rate_hz", "seen_hz"),
    [(70, 60, 10), (70, 120, 50), (80, 60, 20), (80, 120, 40), (85, 60, 25), (85, 120, 35),
     (90, 60, 30), (90, 120, 30), (215, 60, 25), (215, 120, 25), (215, 240, 25)],
)  # fmt: skip
def test_aliases_hold_the_true_frequency(true_hz, rate_hz, seen_hz):
    """What was folded to the seen frequency is among its aliases."""
    assert seen_at(true_hz, rate_hz) == seen_hz
    assert true_hz in aliases_of(float(seen_hz), float(rate_hz))


def test_no_alias_below_nyquist_or_above_the_limit():
    """At 480 a second 85 Hz has no image below 250 Hz."""
    assert aliases_of(85.0, 480.0) == ()


def test_two_swings_at_once_are_both_found(rng):
    """Yaw of 15 mm and a fast swing of 4 mm at 18 Hz, each within three claimed errors."""
    shot = Shot(
        focal_px=2500,
        yaw_m=(0.015, 0.002),
        yaw_phase_rad=(0.8, 0.0),
        vibrations=(Vibration(f_hz=18.0, amplitude_m=(0.004, 0.0005)),),
    )
    spectrum = read(fly(shot, rng))
    slow = [m for m in spectrum.modes if m.f_hz < YAW_BELOW_HZ]
    fast = [m for m in spectrum.modes if m.f_hz >= YAW_BELOW_HZ]
    assert len(slow) == len(fast) == 1
    assert abs(mm(shot, slow[0].amplitude[0]) - 15) < 3 * mm(shot, slow[0].sigma_amplitude[0])
    assert abs(mm(shot, fast[0].amplitude[0]) - 4) < 3 * mm(shot, fast[0].sigma_amplitude[0])
    assert abs(fast[0].f_hz - 18) < 3 * fast[0].sigma_f_hz


def test_a_circle_is_seen_in_both_axes_a_quarter_period_apart(rng):
    """A wobble of 3 mm at 35 turns a second has equal amplitudes and phases 90 degrees apart."""
    turn = Vibration(
        f_hz=35.0, decay_per_s=0.0, amplitude_m=(0.003, 0.003), phase_rad=(0.0, -np.pi / 2)
    )
    shot = Shot(vibrations=(turn,))
    (mode,) = read(fly(shot, rng)).modes
    np.testing.assert_allclose(mm(shot, mode.amplitude), 3.0, atol=0.6)
    apart = (mode.phase_rad[0] - mode.phase_rad[1]) % (2 * np.pi)
    np.testing.assert_allclose(apart, np.pi / 2, atol=0.25)


def test_a_clean_flight_has_no_mode_and_an_upper_limit():
    """Ten flights without any swing: at most one false mode, limits of a few millimetres."""
    rng = np.random.default_rng(12)
    false, limits = 0, []
    for _ in range(10):
        shot = Shot(camera_offset_m=tuple(rng.normal(0, 0.25, 2)))
        spectrum = read(fly(shot, rng))
        false += len(spectrum.modes)
        limits.append([mm(shot, limit.amplitude) for limit in spectrum.limits])
    yaw, fast = np.median(limits, axis=0)
    assert false <= 1
    assert (yaw < 3).all()
    assert (fast < 1.2).all()


def test_hidden_swing_stays_below_its_limit():
    """Of 16 flights, half of them still, the limit at 95 % is passed in few."""
    rng = np.random.default_rng(9)
    passed = 0
    for i in range(16):
        swing = rng.normal(0, 0.010, (2, 2)) if i % 2 else np.zeros((2, 2))
        shot = Shot(
            camera_offset_m=tuple(rng.normal(0, 0.25, 2)),
            yaw_hz=2.8 * np.exp(np.clip(rng.normal(0, 0.35), -0.8, 0.8)),
            yaw_m=tuple(np.hypot(*swing)),
            yaw_phase_rad=tuple(np.arctan2(swing[1], swing[0])),
        )
        limit = read(fly(shot, rng)).limits[0].amplitude
        passed += int(np.sum(1e3 * np.array(shot.yaw_m) > mm(shot, limit)))
    # 32 limits at 95 %: 1.6 expected, 5 at three standard deviations.
    assert passed <= 5


def test_a_slow_yaw_of_a_short_flight_owes_its_frequency_to_the_prior(rng):
    """Half a period in noise: the frequency is flagged and no surer than data and prior allow."""
    shot = Shot(yaw_hz=1.7, yaw_m=(0.03, 0.0), noise_px=0.2, distance_m=15)
    spectrum = read(fly(shot, rng))
    slow = [m for m in spectrum.modes if m.f_hz < YAW_BELOW_HZ]
    assert spectrum.lowest_hz > 1.7
    assert slow
    assert slow[0].sigma_f_hz > 0.1 * slow[0].f_hz
    vague = fit_swing(fly(replace(shot, noise_px=1.5, yaw_m=(0.06, 0.0)), rng), Priors())
    assert all(m.f_from_prior for m in vague.modes if m.f_hz < YAW_BELOW_HZ)


def test_pitch_with_a_frequency_of_its_own_is_told_from_yaw():
    """Over 70 m yaw of 2 Hz and pitch of 3 Hz are two modes, one for each axis."""
    shot = Shot(distance_m=70, focal_px=2500, yaw_hz=2.0, pitch_hz=3.0, yaw_m=(0.02, 0.02))
    modes = read(fly(shot, np.random.default_rng(2))).modes
    slow = sorted((m for m in modes if m.f_hz < YAW_BELOW_HZ), key=lambda m: m.f_hz)
    np.testing.assert_allclose([m.f_hz for m in slow], [2.0, 3.0], atol=0.15)
    assert mm(shot, slow[0].amplitude[1]) < 1
    assert mm(shot, slow[1].amplitude[0]) < 1


def test_yaw_follows_the_speed_it_loses():
    """Over 70 m with strong drag the frequency at the start is found, not a mean one."""
    shot = Shot(distance_m=70, focal_px=2500, drag_per_m=2.2e-3, yaw_hz=3.0, yaw_m=(0.02, 0.01))
    priors = replace(Priors(), drag_per_s=replace(Priors().drag_per_s, value=0.12))
    spectrum = fit_swing(fly(shot, np.random.default_rng(4)), priors)
    slow = next(m for m in spectrum.modes if m.f_hz < YAW_BELOW_HZ)
    assert abs(slow.f_hz - 3.0) < 3 * slow.sigma_f_hz
    assert slow.sigma_f_hz < 0.06


FAST_SHOT = Shot(vibrations=(Vibration(f_hz=20.0, amplitude_m=(0.004, 0.001)),))


def spoilt(track: Track, rows: np.ndarray, by_px: np.ndarray | float) -> Track:
    """Move, or with NaN lose, some rows of a track."""
    xy, sigma = track.xy_px.copy(), track.sigma_px.copy()
    xy[rows] += by_px
    sigma[np.isnan(xy)] = np.nan
    return replace(track, xy_px=xy, sigma_px=sigma)


def fast_of(shot: Shot, track: Track) -> tuple[float, float]:
    """Frequency error in claimed errors, and swing across in millimetres, of the one mode."""
    (mode,) = read(track).modes
    return (mode.f_hz - 20.0) / mode.sigma_f_hz, float(mm(shot, mode.amplitude[0]))


def test_gaps_and_bad_frames_hardly_matter(rng):
    """A gap of 25 ms, lost frames and three frames 5 px off leave the fast swing as it is."""
    track = fly(FAST_SHOT, rng)
    rows = np.flatnonzero(track.seen)
    track = spoilt(track, rows[30:36], np.nan)
    track = spoilt(track, rows[[12, 50]], np.nan)
    track = spoilt(track, rows[[20, 44, 60]], np.array([5.0, -4.0]))
    off, swing = fast_of(FAST_SHOT, track)
    assert abs(off) < 3
    np.testing.assert_allclose(swing, 4.0, atol=1.2)


def test_rows_on_the_string_are_left_out(rng):
    """Four frames of a nock that still gathers speed are no part of the flight."""
    shot = replace(FAST_SHOT, first_seen_s=1e-6)
    track = fly(shot, rng)
    first, stroke_s = track.first_frame, 0.02
    t = -np.arange(4, 0, -1) / shot.frame_hz
    # Constant acceleration up to the release speed, along the launch.
    way = shot.speed_m_s * (t + t**2 / (2 * stroke_s))
    right, up = shot.launch_rad
    launch = np.array([np.sin(right), np.sin(up), np.cos(up) * np.cos(right)])
    pushed, _ = picture(shot, way[:, None] * launch)
    xy, sigma = track.xy_px.copy(), track.sigma_px.copy()
    xy[first - 4 : first] = pushed + rng.normal(0, shot.noise_px, (4, 2))
    sigma[first - 4 : first] = shot.noise_px
    whole = replace(track, xy_px=xy, sigma_px=sigma, first_frame=first - 4)
    spectrum = read(whole)
    # The frame before the release is still within its error of free flight.
    assert spectrum.motion.frame[0] >= first - 1
    later = (spectrum.motion.frame[0] - first) / shot.frame_hz
    tau = spectrum.singular_time_s
    assert abs(tau.value - singular_time_s(shot) - later) < 3 * tau.sigma


def test_a_swing_that_changes_half_way_is_said():
    """A fast swing that stops at half time is no decaying oscillation: the halves disagree."""
    steady = Vibration(f_hz=20.0, decay_per_s=0.0, amplitude_m=(0.006, 0.002))
    still = fly(Shot(noise_px=0.05), np.random.default_rng(1))
    swinging = fly(Shot(noise_px=0.05, vibrations=(steady,)), np.random.default_rng(1))
    rows = np.flatnonzero(still.seen)
    xy = swinging.xy_px.copy()
    xy[rows[len(rows) // 2] :] = still.xy_px[rows[len(rows) // 2] :]
    assert read(swinging).halves_agree
    assert not read(replace(swinging, xy_px=xy)).halves_agree


def test_claimed_noise_too_small_widens_the_errors(rng):
    """With sigma claimed at half, chi-square says four and the errors stay honest."""
    track = fly(FAST_SHOT, rng)
    right, wrong = read(track), read(replace(track, sigma_px=track.sigma_px / 2))
    assert 2.5 < wrong.chi2_per_dof < 6
    ratio = wrong.modes[0].sigma_f_hz / right.modes[0].sigma_f_hz
    assert 0.75 < ratio < 1.4
    np.testing.assert_allclose(wrong.noise_px, FAST_SHOT.noise_px, rtol=0.25)


def test_too_few_rows_are_refused_in_words(rng):
    """Nine sightings do not make a reading; the sentence says how many would."""
    track = fly(Shot(), rng)
    rows = np.flatnonzero(track.seen)
    short = spoilt(track, rows[9:], np.nan)
    refused = fit_swing(short, Priors())
    assert isinstance(refused, Unread)
    assert "9 frames" in say(refused.reason)
    assert "10" in say(refused.reason)


def test_swing_goes_back_into_the_picture(rng):
    """The transform to swing and its inverse give the measured pixels again."""
    track = fly(FAST_SHOT, rng)
    spectrum = read(track)
    again = picture_of_swing(spectrum.motion, np.array(spectrum.path_parameters))
    frames = spectrum.motion.frame.astype(int)
    np.testing.assert_allclose(again, track.xy_px[frames], atol=1e-9)


def test_reading_does_not_depend_on_where_the_picture_lies(rng):
    """Shifted by any number of pixels, a track has the same modes."""
    track = fly(FAST_SHOT, rng)
    here, there = read(track), read(replace(track, xy_px=track.xy_px + np.array([300.0, -80.0])))
    np.testing.assert_allclose(there.modes[0].f_hz, here.modes[0].f_hz, rtol=1e-4)
    np.testing.assert_allclose(there.modes[0].amplitude, here.modes[0].amplitude, rtol=1e-3)


def test_mirrored_picture_mirrors_the_swing(rng):
    """Left and right exchanged: same amplitudes, phase across turned by half a turn."""
    track = fly(FAST_SHOT, rng)
    here, there = read(track), read(replace(track, xy_px=track.xy_px * np.array([-1.0, 1.0])))
    np.testing.assert_allclose(there.modes[0].amplitude, here.modes[0].amplitude, rtol=1e-3)
    turn = there.modes[0].phase_rad[0] - here.modes[0].phase_rad[0]
    np.testing.assert_allclose(np.cos(turn), -1.0, atol=1e-3)
