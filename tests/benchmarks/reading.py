"""Print what each stage of reading a clip costs beside decoding it with the library alone.

Run as ``python -m tests.benchmarks.reading [clip ...]`` with names of shipped clips. Processor time
over all threads, which is fair on a machine that does other things as well; the best of three.
"""

from __future__ import annotations

import os
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import TypeVar

import av

from classify.clues import SPEED_SIGMA
from classify.judgement import label_measured, measure
from classify.physics import predict
from classify.pipeline import read_clip
from classify.scale import priors_for
from classify.slow_swing import slow_swing
from classify.spectral import fit_swing
from classify.types import Estimate, Known, Prediction, Unread
from tests.benchmarks.decode import decode_alone
from tracker.face import find_face
from tracker.follow import follow
from ui.demo_clips import DemoClip, demo_clips
from ui.flight_views import flight_views

ROUNDS = 3
STAGES = ("follow", "face", "measure", "joint fit", "slow swing", "label", "whole reading", "views")
Result = TypeVar("Result")


def timed(act: Callable[[], Result]) -> tuple[Result, float]:
    """Give the result and the least processor time of several rounds, in seconds."""
    spans = []
    for _ in range(ROUNDS):
        start = time.process_time()
        result = act()
        spans.append(time.process_time() - start)
    return result, min(spans)


def costs(clip: DemoClip) -> dict[str, float]:
    """Measure the stages on one clip with a flight."""
    known, spent = clip.known, {}
    _, spent["decode alone"] = timed(lambda: decode_alone(clip.path))
    followed, spent["follow"] = timed(
        lambda: follow(clip.path, capture_hz=known.capture_hz, click=known.click)
    )
    (track, *_), plate, facts = followed.flights, followed.plate, followed.clip
    assert plate is not None
    face, spent["face"] = timed(lambda: find_face(plate))
    face_px = None if face is None else Estimate(value=face.diameter_px, sigma=face.sigma_px)
    measured, spent["measure"] = timed(
        lambda: measure(track, clip=facts, known=known, face_px=face_px)
    )
    assert not isinstance(measured, Unread)
    scale = measured.scale
    assert scale is not None
    priors = priors_for(known=known, prediction=_prediction(known), clip=facts, track=track)
    spectrum, spent["joint fit"] = timed(lambda: fit_swing(track, priors))
    assert not isinstance(spectrum, Unread)
    per_px_s = 1e3 * scale.m_per_px_s.value
    _, spent["slow swing"] = timed(
        lambda: slow_swing(track, measured.spectrum, priors=priors, mm_per_px_s=per_px_s)
    )
    assert facts.capture_hz is not None
    rate = float(facts.capture_hz)
    _, spent["label"] = timed(
        lambda: label_measured(measured, scale=scale, known=known, frame_hz=rate, model=None)
    )
    result, spent["whole reading"] = timed(lambda: read_clip(clip.path, known=known))
    # The frames for the views are decoded in a process of its own, whose time is not in here.
    _, spent["views"] = timed(lambda: flight_views(clip.path, result, says="a flight"))
    return spent


def _prediction(known: Known) -> Prediction:
    speed = known.speed_m_s
    typed = None if speed is None else Estimate(value=speed, sigma=SPEED_SIGMA * speed)
    return predict(known.arrow, speed_m_s=typed)


def frames_in(path: Path) -> int:
    """Count the frames of a film."""
    with av.open(str(path)) as container:
        return sum(1 for _ in container.decode(video=0))


def main() -> None:
    """Print a line for each clip, and the ratios."""
    wanted = sys.argv[1:] or ["fishtailing", "minnowing", "clean"]
    print(f"reading, processor seconds, best of {ROUNDS}; load {os.getloadavg()[0]:.1f}")
    print(f"{'clip':18}{'frames':>7}{'decode':>8}" + "".join(f"{name:>15}" for name in STAGES))
    for clip in demo_clips():
        if clip.name not in wanted:
            continue
        spent = costs(clip)
        alone = spent["decode alone"]
        seconds = "".join(f"{spent[name]:15.3f}" for name in STAGES)
        ratios = "".join(f"{spent[name] / alone:15.2f}" for name in STAGES)
        print(f"{clip.name:18}{frames_in(clip.path):7}{alone:8.3f}{seconds}")
        print(f"{'  over decode':18}{'':7}{1:8.1f}{ratios}", flush=True)


if __name__ == "__main__":
    main()
