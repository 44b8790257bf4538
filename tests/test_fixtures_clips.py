"""The shipped demo clips agree with their truth, and both with the plans they are made from."""

import json
from fractions import Fraction
from typing import Any

import av
import numpy as np
import pytest
from numpy.testing import assert_allclose

from fixtures.make_clips import CLIPS, Demo, demos, truth_json
from fixtures.truth import shoot

DEMOS = demos()
LARGEST_BYTES, ALL_BYTES = 1_000_000, 6_000_000


def _told(demo: Demo) -> dict[str, Any]:
    """Give the truth as shipped."""
    told: dict[str, Any] = json.loads((CLIPS / f"{demo.name}.json").read_text(encoding="utf-8"))
    return told


@pytest.mark.parametrize("demo", DEMOS, ids=lambda demo: demo.name)
def test_shipped_truth_is_what_the_plan_says(demo: Demo) -> None:
    """The file beside the film equals the truth worked out anew from plan and seed."""
    fresh = json.loads(json.dumps(truth_json(demo, shoot(demo.plan, seed=demo.seed).truth)))
    told = _told(demo)
    for rows, tolerance in (("xy_px", 2e-4), ("xy_raw_px", 2e-4), ("time_s", 1e-6)):
        assert_allclose(told["frames"].pop(rows), fresh["frames"].pop(rows), atol=tolerance)
    for part in ("known", "presence", "clip"):
        assert told.pop(part) == pytest.approx(fresh.pop(part))
    for was, now in zip(told.pop("modes"), fresh.pop("modes"), strict=True):
        assert was == pytest.approx(now)
    assert_allclose(told.pop("face_xy_px"), fresh.pop("face_xy_px"))
    assert told.pop("frames")["visible"] == fresh.pop("frames")["visible"]
    assert told == pytest.approx(fresh)


@pytest.mark.parametrize("demo", DEMOS, ids=lambda demo: demo.name)
def test_shipped_film_has_the_told_frames_and_rate(demo: Demo) -> None:
    """Frame count, size and container rate of the file are those of its truth."""
    told = _told(demo)["clip"]
    with av.open(str(CLIPS / f"{demo.name}.mp4")) as container:
        stream = container.streams.video[0]
        assert (stream.width, stream.height) == (told["width"], told["height"])
        assert stream.average_rate == Fraction(told["container_hz"])
        assert stream.frames == told["frames"] == len(_told(demo)["frames"]["time_s"])


def test_films_are_small() -> None:
    """Each below a million bytes, all together below six."""
    sizes = [(CLIPS / f"{demo.name}.mp4").stat().st_size for demo in DEMOS]
    assert max(sizes) < LARGEST_BYTES
    assert sum(sizes) < ALL_BYTES


def test_demos_cover_what_a_coach_meets() -> None:
    """Each label, two at once, a left-handed archer, a slow file and one to refuse."""
    told = {demo.name: _told(demo) for demo in DEMOS}
    assert {t["label"] for t in told.values()} == {
        "clean", "fishtailing", "minnowing", "porpoising",
    }  # fmt: skip
    assert sum(told["two_at_once"]["presence"].values()) == 2
    assert told["left_handed"]["known"]["hand"] == "left"
    assert told["slow_motion_file"]["clip"]["container_hz"] == "30"
    assert [name for name, t in told.items() if t["refused"]] == ["normal_speed"]


@pytest.mark.parametrize("name", ["fishtailing", "left_handed"])
def test_nock_shines_where_the_truth_says(name: str) -> None:
    """In the compressed film the brightest spot near the true place is there, on the median.

    Frames in which the nock is at least 2.5 px wide and not hidden. String and vanes are bright
    too and pull single frames aside: half a pixel or so is all that so plain a look can promise.
    """
    told = _told(next(demo for demo in DEMOS if demo.name == name))["frames"]
    wide = [
        k
        for k, (visible, tail) in enumerate(zip(told["visible"], told["tail_px"], strict=True))
        if visible and tail > 2.5
    ]
    assert len(wide) > 5
    misses = []
    with av.open(str(CLIPS / f"{name}.mp4")) as container:
        for k, frame in enumerate(container.decode(video=0)):
            if k not in wide:
                continue
            x, y = told["xy_raw_px"][k]
            box = np.s_[round(y) - 5 : round(y) + 6, round(x) - 5 : round(x) + 6]
            luma = frame.to_ndarray(format="gray")[box].astype(float)
            weight = np.clip(luma - 0.75 * luma.max(), 0, None)
            ys, xs = np.mgrid[box]
            total = weight.sum()
            misses.append(
                np.hypot((weight * xs).sum() / total - x, (weight * ys).sum() / total - y)
            )
    assert np.median(misses) < 0.7
