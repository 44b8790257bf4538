"""Small films for the tracker's tests: quick to draw, with all in them that may mislead it."""

from __future__ import annotations

from collections.abc import Iterable
from fractions import Fraction
from pathlib import Path

import numpy as np

from fixtures.camera import aim_camera, aim_launch
from fixtures.encode import Coding, write_clip
from fixtures.plan import (
    Arrow,
    Camera,
    FlightPlan,
    Launch,
    Misfits,
    Planar,
    Rigid,
    Roll,
    Scene,
    Sensor,
    Swings,
)
from tracker.types import ByteArray, FloatArray, Track

HZ = Fraction(240)
CODING = Coding(crf=17, options={"preset": "ultrafast"})


def small_flight(
    misfits: Misfits | None = None,
    *,
    distance_m: float = 12.0,
    strike_m: tuple[float, float] = (0.05, 0.04),
    yaw_deg: float = 1.2,
    face_at: tuple[float, float] = (0.6, 0.4),
) -> FlightPlan:
    """Plan a flight in a picture of 640 by 360 pixels, the nock 5 to 1 pixel wide.

    Parameters
    ----------
    misfits
        What may mislead.
    distance_m
        A short range keeps it quick.
    strike_m
        Where on the face it strikes.
    yaw_deg
        How wide it swings.
    face_at
        Place of the face in the picture, as shares of width and height.

    Returns
    -------
    FlightPlan
    """
    plan = FlightPlan(
        camera=Camera(
            width_px=640,
            height_px=360,
            capture_hz=HZ,
            focal_px=1700.0,
            behind_m=2.6,
            right_m=0.22,
            up_m=0.16,
            exposure_s=1 / 1500,
        ),
        launch=Launch(
            speed_m_s=54.0,
            elevation_deg=0.0,
            azimuth_deg=0.0,
            distance_m=distance_m,
            face_up_m=-0.12,
        ),
        sensor=Sensor(psf_px=0.6, read_dn=0.8, shot_dn=1.4),
        arrow=Arrow(nock_luma=250.0, vane_luma=200.0, index_luma=160.0),
        roll=Roll(turns_per_s=25.0),
        swings=Swings(
            yaw=Rigid(deg=yaw_deg, f_hz=3.4, phase_rad=0.8),
            bending=Planar(mm=1.2, f_hz=80.0, decay_per_s=12.0),
        ),
        scene=Scene(pre_roll_s=0.18, post_roll_s=0.1, light=0.8),
        misfits=misfits or Misfits(),
    )
    aimed = aim_launch(plan, right_m=strike_m[0], up_m=strike_m[1])
    return aim_camera(aimed, x_share=face_at[0], y_share=face_at[1])


def written(folder: Path, frames: Iterable[ByteArray]) -> Path:
    """Write frames as a film of 240 a second."""
    return write_clip(folder / "flight.mp4", frames, container_hz=HZ, coding=CODING)


def distance_px(track: Track, true_px: FloatArray) -> float:
    """Median distance of a track's places from the true ones of the same frames."""
    rows = np.flatnonzero(track.seen)
    return float(np.median(np.hypot(*(track.xy_px[rows] - true_px[rows]).T)))


def right(track: Track, true_px: FloatArray) -> bool:
    """Whether a track is that of the arrow: half of its places within half a pixel of the nock."""
    return distance_px(track, true_px) < 0.5
