"""Nock tracks from equations of motion in metres and a tilted pinhole camera, with their truth.

Independent of the fitted picture model: forces are integrated numerically, in three dimensions,
and the camera is a rotation matrix. Only the tests use it.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from scipy.integrate import solve_ivp

from tracker.types import Track

GRAVITY = 9.81


@dataclass(frozen=True, kw_only=True)
class Vibration:
    """A decaying oscillation at the first seen frame: metres and radians, across and up."""

    f_hz: float
    decay_per_s: float = 6.0
    amplitude_m: tuple[float, float] = (0.0, 0.0)
    phase_rad: tuple[float, float] = (0.0, 0.0)


@dataclass(frozen=True, kw_only=True)
class Shot:
    """All that decides one simulated track; lengths in metres, angles in radians."""

    speed_m_s: float = 55.0
    drag_per_m: float = 1.3e-3
    distance_m: float = 18.0
    camera_behind_m: float = 3.0
    camera_offset_m: tuple[float, float] = (0.25, 0.15)
    camera_aim_rad: tuple[float, float] = (0.01, -0.015)
    camera_roll_rad: float = 0.0
    launch_rad: tuple[float, float] = (0.0, 0.03)
    focal_px: float = 1500.0
    frame_hz: float = 240.0
    first_seen_s: float = 0.02
    noise_px: float = 0.15
    yaw_hz: float = 2.3
    yaw_damping_ratio: float = 0.09
    yaw_m: tuple[float, float] = (0.0, 0.0)
    yaw_phase_rad: tuple[float, float] = (0.0, 0.0)
    vibrations: tuple[Vibration, ...] = field(default=())
    nock_diameter_m: float = 0.006
    pitch_hz: float | None = None


def fly(shot: Shot, rng: np.random.Generator) -> Track:
    """Integrate the flight, look at it through the camera, add Gaussian noise to the pixels."""
    frames = _frames_in_flight(shot)
    first = 5
    t = np.arange(frames) / shot.frame_hz
    point, swing = _flight(shot, t)
    nock = point + np.stack([swing[:, 0], swing[:, 1], np.zeros(frames)], axis=1)
    uv, depth = picture(shot, nock)
    n = frames + first + 3
    xy = np.full((n, 2), np.nan)
    sigma = np.full((n, 2), np.nan)
    tail = np.full(n, np.nan)
    rows = slice(first, first + frames)
    xy[rows] = uv + rng.normal(0, shot.noise_px, uv.shape)
    sigma[rows] = shot.noise_px
    tail[rows] = shot.focal_px * shot.nock_diameter_m / depth * rng.normal(1, 0.05, frames)
    time = np.arange(n) / shot.frame_hz
    return Track(
        time_s=time,
        xy_px=xy,
        sigma_px=sigma,
        shake_px=np.zeros((n, 2)),
        tail_px=tail,
        reference_frame=0,
        first_frame=first,
        last_frame=first + frames - 1,
        release_s=float(time[first] - shot.first_seen_s),
        impact_s=float(time[first] - shot.first_seen_s + _flight_time(shot)),
        release_sigma_s=0.5 / shot.frame_hz,
        impact_sigma_s=0.5 / shot.frame_hz,
        found_by="itself",
        confidence=1.0,
    )


def singular_time_s(shot: Shot) -> float:
    """Camera distance at the first seen frame over the speed there."""
    z = np.log1p(shot.drag_per_m * shot.speed_m_s * shot.first_seen_s) / shot.drag_per_m
    return (shot.camera_behind_m + z) / speed_at_first_seen(shot)


def speed_at_first_seen(shot: Shot) -> float:
    """Speed at the first seen frame, m/s."""
    return shot.speed_m_s / (1 + shot.drag_per_m * shot.speed_m_s * shot.first_seen_s)


def _flight_time(shot: Shot) -> float:
    return float(np.expm1(shot.drag_per_m * shot.distance_m) / (shot.drag_per_m * shot.speed_m_s))


def _frames_in_flight(shot: Shot) -> int:
    return int((_flight_time(shot) - shot.first_seen_s) * shot.frame_hz)


def _flight(shot: Shot, t: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Give the (n, 3) path and the (n, 2) swing at times since the first seen frame."""
    right, up = shot.launch_rad
    v0 = shot.speed_m_s * np.array([np.sin(right), np.sin(up), np.cos(up) * np.cos(right)])
    v_seen = speed_at_first_seen(shot)
    omegas = 2 * np.pi * np.array([shot.yaw_hz, shot.pitch_hz or shot.yaw_hz])
    zeta = shot.yaw_damping_ratio
    # Damped frequencies are the given ones; stiffness and damping follow the speed.
    natural = omegas / np.sqrt(1 - zeta**2)

    def forces(_: float, state: np.ndarray) -> np.ndarray:
        velocity = state[3:6]
        v = float(np.linalg.norm(velocity))
        ratio = v / v_seen
        slew = -2 * zeta * natural * ratio * state[8:10] - (natural * ratio) ** 2 * state[6:8]
        pull = -shot.drag_per_m * v * velocity - np.array([0.0, GRAVITY, 0.0])
        return np.concatenate([velocity, pull, state[8:10], slew])

    a, phase = np.array(shot.yaw_m), np.array(shot.yaw_phase_rad)
    straight = np.concatenate([np.zeros(3), v0, np.zeros(4)])
    seen = solve_ivp(forces, (0, shot.first_seen_s), straight, rtol=1e-10, atol=1e-13).y[:, -1]
    seen[6:8] = a * np.cos(phase)
    seen[8:10] = a * (-zeta * natural * np.cos(phase) - omegas * np.sin(phase))
    y = solve_ivp(forces, (0, t[-1] + 1e-9), seen, t_eval=t, rtol=1e-10, atol=1e-13).y
    swing = y[6:8].T.copy()
    for vib in shot.vibrations:
        wave = np.exp(-vib.decay_per_s * t)[:, None] * np.cos(
            2 * np.pi * vib.f_hz * t[:, None] + np.array(vib.phase_rad)
        )
        swing += np.array(vib.amplitude_m) * wave
    return y[:3].T, swing


def picture(shot: Shot, nock: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Look from behind: pixels (y down) and depth."""
    camera = np.array([*shot.camera_offset_m, -shot.camera_behind_m])
    right, up = shot.camera_aim_rad
    cr, sr, cu, su = np.cos(right), np.sin(right), np.cos(up), np.sin(up)
    yaw = np.array([[cr, 0, -sr], [0, 1, 0], [sr, 0, cr]])
    pitch = np.array([[1, 0, 0], [0, cu, -su], [0, su, cu]])
    co, so = np.cos(shot.camera_roll_rad), np.sin(shot.camera_roll_rad)
    roll = np.array([[co, -so, 0], [so, co, 0], [0, 0, 1]])
    seen = (nock - camera) @ (roll @ pitch @ yaw).T
    depth = seen[:, 2]
    uv = shot.focal_px * np.stack([seen[:, 0], -seen[:, 1]], axis=1) / depth[:, None]
    return uv + np.array([960.0, 540.0]), depth
