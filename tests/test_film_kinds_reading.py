"""Every kind of film gives the same reading: one demo, encoded into each, read to the end."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest

from classify.pipeline import read_clip
from classify.types import Known, ModeLine, Reading
from fixtures.encode import Coding, has_encoder, write_clip
from fixtures.make_clips import CLIPS, demos
from tests.test_film_kinds import KINDS
from tracker.decode import Reader

pytestmark = [pytest.mark.long, pytest.mark.endurance]

DEMO = "minnowing"  # a swing of a few millimetres: compression harms it first
ORIGINAL = "mp4 h264"
BITS_PER_S = 120_000_000  # for encoders without a quality: 240 pictures of 720p a second
CRF = 12  # the kind of film is tried, not how hard it is compressed

OTHERS = [kind for kind in KINDS if kind != ORIGINAL]


@pytest.fixture(scope="module")
def frames() -> list[np.ndarray]:
    """Give the brightness of the demo's frames."""
    with Reader(CLIPS / f"{DEMO}.mp4") as reader:
        return [frame.luma.copy() for frame in reader.frames()]


def reading_of(kind: str, frames: list[np.ndarray], folder: Path) -> Reading:
    """Encode and read, told what a coach knows."""
    name, coding = KINDS[kind]
    if coding.bit_rate is not None:
        coding = replace(coding, bit_rate=BITS_PER_S)
    if coding.crf is not None:
        coding = replace(coding, crf=CRF)
    path = write_clip(folder / name, frames, container_hz=Fraction(240), coding=coding)
    demo = next(demo for demo in demos() if demo.name == DEMO)
    camera, launch = demo.plan.camera, demo.plan.launch
    known = Known(
        distance_m=launch.distance_m,
        camera_distance_m=camera.behind_m - launch.stroke_m,
        hand=demo.plan.scene.hand,
    )
    reading = read_clip(path, known=known).reading
    path.unlink()
    return reading


@pytest.fixture(scope="module")
def original(frames: list[np.ndarray], tmp_path_factory: pytest.TempPathFactory) -> Reading:
    """Read the H.264 film."""
    return reading_of(ORIGINAL, frames, tmp_path_factory.mktemp("original"))


def fast_swing(reading: Reading) -> ModeLine:
    """Give the quick swing across."""
    return next(line for line in reading.across if line.kind == "fast")


@pytest.mark.parametrize("kind", OTHERS)
def test_a_kind_reads_as_its_original(
    kind: str, frames: list[np.ndarray], original: Reading, tmp_path: Path
) -> None:
    """The label is the same; frequency and swing agree within two joint standard errors."""
    coding: Coding = KINDS[kind][1]
    if not has_encoder(coding.codec):
        pytest.skip(f"no encoder {coding.codec}")
    reading = reading_of(kind, frames, tmp_path)
    assert reading.refused is None
    assert reading.label == original.label == DEMO
    one, other = fast_swing(reading), fast_swing(original)
    joint_hz = np.hypot(one.frequency_sigma_hz, other.frequency_sigma_hz)
    assert abs(one.frequency_hz - other.frequency_hz) < 2 * joint_hz
    assert one.swing_mm is not None
    assert other.swing_mm is not None
    assert one.swing_sigma_mm is not None
    assert other.swing_sigma_mm is not None
    joint_mm = np.hypot(one.swing_sigma_mm, other.swing_sigma_mm)
    assert abs(one.swing_mm - other.swing_mm) < 2 * joint_mm
