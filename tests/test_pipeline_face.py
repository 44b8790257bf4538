"""The target face is looked for only where its apparent size would tell something."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from classify import pipeline
from classify.types import FaceMark, Known
from tests.made_readings import made_followed
from tracker.types import InputError

KNOWN = Known(face_diameter_m=0.4, distance_m=18.0)
MARK = FaceMark(frame=0, x1_px=10.0, y1_px=12.0, x2_px=40.0, y2_px=13.0)


@pytest.mark.parametrize(
    ("known", "looked"),
    [
        (KNOWN, True),
        (replace(KNOWN, face_diameter_m=None), False),
        (
            replace(KNOWN, face_mark=MARK),
            False,
        ),
    ],
)
def test_face_is_looked_for_if_it_tells_something(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, known: Known, looked: bool
) -> None:
    """A face of unknown size gives no scale, and one that the coach marked needs no search."""
    searched: list[object] = []
    monkeypatch.setattr(pipeline, "find_face", searched.append)
    pipeline.read_followed(made_followed(tmp_path / "film.mp4"), known=known)
    assert bool(searched) == looked


@pytest.mark.parametrize(
    "mark",
    [
        replace(MARK, frame=9999),
        replace(MARK, x2_px=8290.0),
        replace(MARK, y1_px=-3.0),
    ],
    ids=["frame", "right", "above"],
)
def test_a_mark_outside_the_film_is_refused(tmp_path: Path, mark: FaceMark) -> None:
    """With what the film has, as a click on the nock is; it gave a reading with another scale."""
    with pytest.raises(InputError, match="face_mark_outside"):
        pipeline.read_followed(
            made_followed(tmp_path / "film.mp4"), known=replace(KNOWN, face_mark=mark)
        )
