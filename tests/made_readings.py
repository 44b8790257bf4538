"""Readings made by hand for the tests of the faces: known swing in, everything that follows out."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import numpy as np

from classify.pipeline import ReadResult
from classify.types import (
    Cause,
    Estimate,
    Known,
    Mode,
    ModeLine,
    Motion,
    Prediction,
    Reading,
    Scale,
    Spectrum,
)
from tracker.types import Clip, FloatArray, Followed, Track, message
from ui.films import write_mp4

FRAMES, FIRST, LAST = 100, 12, 85
CAPTURE_HZ = Fraction(240)
SPEED_M_S, FOCAL_PX, BEHIND_M = 55.0, 1100.0, 2.5
M_PER_PX_S = SPEED_M_S / FOCAL_PX
SINGULAR_S = BEHIND_M / SPEED_M_S
YAW_HZ, ACROSS_MM, UP_MM = 3.5, 14.0, 4.0


def swing_mm(time_s: FloatArray) -> FloatArray:
    """Give (n, 2) the swing that every made reading shows."""
    fade = np.exp(-1.5 * time_s)
    return np.column_stack(
        (
            ACROSS_MM * fade * np.cos(2 * np.pi * YAW_HZ * time_s),
            UP_MM * fade * np.sin(2 * np.pi * YAW_HZ * time_s),
        )
    )


def path_px(time_s: FloatArray) -> FloatArray:
    """Give (n, 2) the flight path in the picture: from low right towards the vanishing point."""
    near = 1.0 / (time_s + SINGULAR_S)
    return np.column_stack((330.0 + 2.0 * near, 170.0 + 3.5 * near))


def made_motion() -> Motion:
    """Make the swing with a little seeded noise, two frames lost."""
    frame = np.array([n for n in range(FIRST, LAST + 1) if n not in (40, 41)], dtype=float)
    time_s = (frame - FIRST) / float(CAPTURE_HZ)
    fitted = swing_mm(time_s) / 1000 / M_PER_PX_S
    noise = 0.15 * (time_s + SINGULAR_S)[:, None]
    swing = fitted + noise * np.random.default_rng(5).normal(size=fitted.shape)
    return Motion(
        time_s=time_s,
        swing=swing,
        sigma=np.broadcast_to(noise, fitted.shape),
        fitted=fitted,
        path_px=path_px(time_s),
        frame=frame,
    )


def made_spectrum() -> Spectrum:
    """Make a spectrum with one yaw mode."""
    mode = Mode(
        f_hz=YAW_HZ,
        decay_per_s=1.5,
        amplitude=np.array([ACROSS_MM, UP_MM]) / 1000 / M_PER_PX_S,
        phase_rad=[0.0, -np.pi / 2],
        sigma_f_hz=0.2,
        sigma_decay_per_s=0.5,
        sigma_amplitude=np.array([0.6, 0.5]) / 1000 / M_PER_PX_S,
        covariance=np.eye(6) * 1e-6,
        f_from_prior=False,
    )
    return Spectrum(
        modes=(mode,),
        motion=made_motion(),
        singular_time_s=Estimate(value=SINGULAR_S, sigma=0.001),
        fall_px_s=None,
        noise_px=0.15,
        chi2_per_dof=1.0,
        lowest_hz=3.3,
        highest_hz=120.0,
        aliases=((),),
        halves_agree=True,
        criterion="made by hand",
    )


def made_scale() -> Scale:
    """Make the scale that goes with the made swing."""
    return Scale(
        m_per_px_s=Estimate(value=M_PER_PX_S, sigma=0.02 * M_PER_PX_S),
        mm_per_px_at_release=Estimate(value=1000 * BEHIND_M / FOCAL_PX, sigma=0.05),
        from_="face",
        speed_m_s=Estimate(value=SPEED_M_S, sigma=1.1),
    )


def made_reading() -> Reading:
    """Make a fishtailing flight with a scale."""
    prediction = Prediction(
        yaw_hz=Estimate(value=3.2, sigma=0.25),
        bending_hz=Estimate(value=78.0, sigma=0.08),
        yaw_damping_ratio=Estimate(value=0.09, sigma=0.4),
        speed_m_s=Estimate(value=SPEED_M_S, sigma=0.1),
        from_="broad prior",
    )
    across = ModeLine(
        kind="yaw",
        frequency_hz=YAW_HZ,
        frequency_sigma_hz=0.2,
        swing_mm=ACROSS_MM,
        swing_sigma_mm=0.6,
        swing_deg=1.85,
        damping_ratio=0.07,
        expected_hz=Estimate(value=3.2, sigma=0.8),
    )
    cause = Cause(
        name="soft_shaft",
        title="The shaft acts too weak.",
        why="A weak shaft leaves the bow bent to one side.",
        first_change="Take one pound off the draw weight.",
        caution="Never below what the archer can hold steady.",
        source="common practice",
    )
    return Reading(
        label="fishtailing",
        presence={"fishtailing": 0.97, "minnowing": 0.004, "porpoising": 0.22},
        refused=None,
        reasons=(),
        across=(across,),
        up_down=(replace(across, swing_mm=UP_MM, swing_sigma_mm=0.5, swing_deg=0.53),),
        clean_below_mm=None,
        spectrum=made_spectrum(),
        scale=made_scale(),
        prediction=prediction,
        clip_facts={
            "frames": FRAMES,
            "container_hz": 30.0,
            "capture_hz": 240.0,
            "capture_from": "person",
            "width": 640,
            "height": 360,
        },
        flight_facts={"first_frame": FIRST, "last_frame": LAST, "speed_m_s": SPEED_M_S},
        known=Known(capture_hz=CAPTURE_HZ, hand="right"),
        causes=(cause,),
        version="0",
    )


def made_two_at_once() -> Reading:
    """Make a flight that fishtails and minnows at once, the slow swing in the lead."""
    reading = made_reading()
    fast = replace(
        reading.across[0],
        kind="fast",
        frequency_hz=18.9,
        frequency_sigma_hz=0.07,
        swing_mm=4.2,
        swing_sigma_mm=0.3,
        swing_deg=None,
        expected_hz=None,
    )
    return replace(
        reading,
        presence={"fishtailing": 0.999, "minnowing": 0.97, "porpoising": 0.02},
        across=(*reading.across, fast),
    )


def made_refusal() -> Reading:
    """Make a reading that was refused."""
    nan = float("nan")
    return replace(
        made_reading(),
        label=None,
        presence={"fishtailing": nan, "minnowing": nan, "porpoising": nan},
        refused=message("label.no_capture_rate"),
        across=(),
        up_down=(),
        scale=None,
        causes=(),
    )


def made_track() -> Track:
    """Make the track that goes with the made swing."""
    n = FRAMES
    motion = made_motion()
    rows = motion.frame.astype(int)
    xy = np.full((n, 2), np.nan)
    shrink = (motion.time_s + SINGULAR_S)[:, None]
    xy[rows] = motion.path_px + motion.swing / shrink * [1.0, -1.0]
    seen = np.isfinite(xy)
    tail = np.full(n, np.nan)
    tail[rows] = 0.0085 / M_PER_PX_S / shrink[:, 0]
    return Track(
        time_s=np.arange(n) / float(CAPTURE_HZ),
        xy_px=xy,
        sigma_px=np.where(seen, 0.15, np.nan),
        shake_px=np.column_stack((np.sin(np.arange(n) / 9.0), np.cos(np.arange(n) / 7.0))),
        tail_px=tail,
        reference_frame=0,
        first_frame=FIRST,
        last_frame=LAST,
        release_s=FIRST / float(CAPTURE_HZ),
        impact_s=LAST / float(CAPTURE_HZ),
        release_sigma_s=0.004,
        impact_sigma_s=0.004,
        found_by="itself",
        confidence=0.98,
    )


def made_frames() -> dict[int, np.ndarray[tuple[int, ...], np.dtype[np.uint8]]]:
    """Make pictures in which a bright spot stands where the track says, on a dim slope."""
    track = made_track()
    rows, columns = np.mgrid[0:360, 0:640].astype(float)
    scene = 60.0 + columns / 16.0 + rows / 30.0
    frames = {}
    for number in range(FIRST, LAST + 1):
        picture = scene.copy()
        if track.seen[number]:
            x, y = track.xy_px[number] + track.shake_px[number]
            radius = max(1.2, float(track.tail_px[number]) / 2)
            picture += 150.0 * np.exp(-((columns - x) ** 2 + (rows - y) ** 2) / (2 * radius**2))
        frames[number] = np.clip(picture, 0, 255).astype(np.uint8)
    return frames


def made_plate() -> np.ndarray[tuple[int, ...], np.dtype[np.uint8]]:
    """Make the scene of `made_frames` without the spot."""
    rows, columns = np.mgrid[0:360, 0:640].astype(float)
    return (60.0 + columns / 16.0 + rows / 30.0).astype(np.uint8)


def made_followed(path: Path) -> Followed:
    """Make what the tracker would hand over with the made track."""
    clip = Clip(
        path=path,
        sha256="0" * 64,
        container="mp4",
        codec="h264",
        width=640,
        height=360,
        rotation_deg=0,
        bit_depth=8,
        declared_frames=FRAMES,
        container_times_s=np.arange(FRAMES) / 30.0,
        container_hz=Fraction(30),
        capture_hz=CAPTURE_HZ,
        capture_from="person",
    )
    return Followed(clip=clip, flights=(made_track(),), lost=None, plate=made_plate())


def made_result(path: Path, reading: Reading | None = None) -> ReadResult:
    """Make what the pipeline would hand over."""
    return ReadResult(
        reading=made_reading() if reading is None else reading,
        followed=made_followed(path),
        track=made_track(),
    )


def write_made_film(path: Path) -> Path:
    """Write the made pictures as a film that plays in a browser."""
    frames, plate = made_frames(), made_plate()
    shown = [np.repeat(frames.get(n, plate)[:, :, None], 3, axis=2) for n in range(FRAMES)]
    path.write_bytes(write_mp4(shown, np.arange(FRAMES) / float(CAPTURE_HZ)))
    return path
