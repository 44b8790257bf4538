"""Charts: axes that fit, escaped words, gaps that stay gaps, marks where the numbers are."""

from __future__ import annotations

import xml.etree.ElementTree as ET
from dataclasses import replace

import numpy as np
import pytest

from classify.periodogram import swing_periodogram
from classify.types import Kind, Motion
from tests.made_readings import YAW_HZ, made_motion, made_reading, made_refusal
from tracker.types import message
from ui.charts import AXES, NARROW, WIDE, behind_picture, spectrum_picture, swing_picture
from ui.curves import curves_of
from ui.drawing import Axis, Chart, span
from ui.words import say

SVG = "{http://www.w3.org/2000/svg}"


def chart(**changes: object) -> Chart:
    """Make an empty chart of odd size."""
    settings: dict[str, object] = {
        "width": 301,
        "height": 203,
        "x": Axis(low=0.0, high=2.0, name="x"),
        "y": Axis(low=-1.0, high=3.0, name="y"),
        "title": "t",
        "says": "s",
        **changes,
    }
    return Chart(**settings)  # type: ignore[arg-type]


def test_corners_of_the_data_are_corners_of_the_plot() -> None:
    """Low and high of each axis fall on the box that the cursor uses."""
    made = chart()
    left, top, right, bottom = made.plot_box
    points = made.place([0.0, 2.0], [-1.0, 3.0]) / (301, 203)
    np.testing.assert_allclose(points, [[left, bottom], [right, top]])


def test_equal_axes_have_equal_units() -> None:
    """A circle stays a circle."""
    made = chart(equal=True)
    (x0, y0), (x1, _), (_, y1) = made.place([0.0, 1.0, 0.0], [0.0, 0.0, 1.0])
    np.testing.assert_allclose(x1 - x0, y0 - y1)


def test_words_cannot_break_out_of_the_picture() -> None:
    """Text is escaped; the picture stays well-formed."""
    made = chart(title="<script>alert('&')</script>", says='a "quote"')
    made.write(1.0, 1.0, "<b>")
    root = ET.fromstring(made.svg())  # noqa: S314 - our own picture
    assert not list(root.iter(f"{SVG}script"))
    assert root.attrib["aria-label"].endswith('a "quote"')


def test_lost_samples_break_the_line() -> None:
    """No line is drawn across a gap."""
    made = chart()
    made.line([0, 0.5, 1, 1.5, 2], [0, 1, np.nan, 1, 0], "fit")
    assert made.svg().count("<polyline") == 2


def test_ticks_are_round_and_inside() -> None:
    """1, 2 or 5 times a power of ten, on both kinds of axis."""
    assert Axis(low=-0.31, high=0.29, name="").ticks(4) == [-0.2, 0.0, 0.2]
    assert Axis(low=0.9, high=120.0, name="", log=True).ticks(5) == [1, 2, 5, 10, 20, 50, 100]
    with pytest.raises(ValueError, match="spans nothing"):
        Axis(low=1.0, high=1.0, name="")
    with pytest.raises(ValueError, match="ratios"):
        Axis(low=0.0, high=1.0, name="", log=True)


def test_a_flat_flight_looks_flat() -> None:
    """The span never shrinks to the noise."""
    assert span(np.array([0.01, -0.02, np.nan]), around_zero=True, least=5.0) == (-5.0, 5.0)


def test_every_chart_of_a_reading_is_well_formed_twice() -> None:
    """Wide and narrow drawings parse, and say what they show."""
    reading = made_reading()
    for picture in (
        swing_picture(reading, 0),
        swing_picture(reading, 1),
        behind_picture(reading),
        spectrum_picture(reading),
    ):
        assert picture is not None
        for svg in (picture.wide, picture.narrow):
            assert len(ET.fromstring(svg).attrib["aria-label"]) > 20  # noqa: S314


def test_trail_has_a_point_for_every_sample_inside_the_picture() -> None:
    """The cursor finds a place on the trail for every step."""
    picture = behind_picture(made_reading())
    assert picture is not None
    assert picture.trail is not None
    points = np.array(picture.trail)
    assert len(points) == len(made_motion().time_s)
    assert ((points > 0) & (points < 1)).all()


def test_without_a_scale_the_unit_is_pixels() -> None:
    """A reading without a scale has no millimetres anywhere."""
    bare = replace(made_reading(), scale=None)
    curves = curves_of(bare)
    assert curves is not None
    assert curves.unit == "px"
    picture = swing_picture(bare, 0)
    assert picture is not None
    assert "px" in picture.wide
    assert "mm" not in picture.wide


def test_nothing_is_drawn_where_nothing_was_fitted() -> None:
    """A refusal before the fit has no curves."""
    bare = replace(made_refusal(), spectrum=None)
    assert swing_picture(bare, 0) is None
    assert behind_picture(bare) is None
    assert spectrum_picture(bare) is None


def test_periodogram_peaks_where_the_swing_is() -> None:
    """A steady 21 Hz swing of 3 units, sampled unevenly, gives 3 at 21 Hz (exact by algebra)."""
    time_s = np.sort(np.random.default_rng(3).uniform(0, 0.4, 90))
    swing = np.column_stack((3 * np.sin(2 * np.pi * 21 * time_s + 0.4) + 7, 0 * time_s))
    motion = Motion(
        time_s=time_s,
        swing=swing,
        sigma=np.ones_like(swing),
        fitted=swing,
        path_px=swing,
        frame=np.arange(90.0),
    )
    f_hz = np.linspace(5, 60, 111)
    amplitude = swing_periodogram(motion, f_hz)
    np.testing.assert_allclose(amplitude[32], [3.0, 0.0], atol=1e-9)
    assert f_hz[amplitude[:, 0].argmax()] == pytest.approx(21.0)


def test_periodogram_of_too_few_samples_is_missing() -> None:
    """Three samples cannot carry three unknowns and an error."""
    motion = Motion(
        time_s=[0.0, 0.1, 0.2],
        swing=np.zeros((3, 2)),
        sigma=np.ones((3, 2)),
        fitted=np.zeros((3, 2)),
        path_px=np.zeros((3, 2)),
        frame=[0.0, 1.0, 2.0],
    )
    assert np.isnan(swing_periodogram(motion, np.array([YAW_HZ]))).all()


def test_unvouched_seconds_are_not_called_true() -> None:
    """Without a capture rate the time axis says that its seconds are the file's."""
    unsure = replace(made_reading(), clip_facts={"capture_hz": None}, scale=None)
    picture = swing_picture(unsure, 0)
    sure = swing_picture(made_reading(), 0)
    assert picture is not None
    assert sure is not None
    assert "the file&#x27;s own seconds" in picture.wide
    assert "the file&#x27;s own seconds" not in sure.wide


@pytest.mark.parametrize("kind", ["fast", "yaw"])
def test_no_mark_of_the_spectrum_lies_under_the_words(kind: Kind) -> None:
    """The widest swing, at any frequency, stands below the words of the shaded ranges."""
    reading = made_reading()
    tall = replace(reading.across[0], kind=kind, frequency_hz=19.0, swing_mm=40.0)
    picture = spectrum_picture(replace(reading, across=(*reading.across, tall)))
    assert picture is not None
    for svg in (picture.wide, picture.narrow):
        root = ET.fromstring(svg)  # noqa: S314 - our own picture
        words = [text for text in root.iter(f"{SVG}text") if text.attrib["class"] == "note"]
        marks = [m for m in root.iter(f"{SVG}path") if m.attrib["class"].startswith("mode")]
        tops = [float(mark.attrib["d"].split("a")[0].split(",")[1]) - 6.0 for mark in marks[:2]]
        assert len(tops) == 2
        assert max(float(text.attrib["y"]) for text in words) + 3.0 < min(tops)
        assert "too slow to tell" in [text.text for text in words]


def test_an_axis_that_counts_has_marks_at_whole_numbers_alone() -> None:
    """There is no answer one and a half, however few answers there are."""
    assert Axis(low=1.0, high=3.0, name="answers").ticks(5) == [1.0, 1.5, 2.0, 2.5, 3.0]
    assert Axis(low=1.0, high=3.0, name="answers", whole=True).ticks(5) == [1.0, 2.0, 3.0]
    assert Axis(low=1.0, high=40.0, name="answers", whole=True).ticks(5) == [10, 20, 30, 40]


@pytest.mark.parametrize("language", ["en", "es"])
def test_the_spectrum_says_what_its_lines_and_marks_mean(language: str) -> None:
    """Both lines and the mark are named inside the picture, below the plot."""
    picture = spectrum_picture(made_reading(), language)
    assert picture is not None
    for svg, box, most in (
        (picture.wide, picture.wide_box, WIDE[0]),
        (picture.narrow, picture.narrow_box, NARROW[0]),
    ):
        root = ET.fromstring(svg)  # noqa: S314 - our own picture
        height = float(root.attrib["viewBox"].split()[3])
        keys = [say(message(f"charts.key_{name}"), language) for name in (*AXES, "mode")]
        drawn = {text.text: text.attrib for text in root.iter(f"{SVG}text")}
        for key in keys:
            x, y = float(drawn[key]["x"]), float(drawn[key]["y"])
            assert box[3] * height < y <= height
            assert x + 6.6 * len(key) <= most


@pytest.mark.parametrize(("highest_hz", "told"), [(120.0, False), (60.0, True)])
def test_what_is_too_quick_for_the_film_is_shaded_where_the_shaft_bends(
    highest_hz: float, told: bool
) -> None:
    """At 120 frames a second nobody shall take the end of the axis for the end of all swinging."""
    reading = made_reading()
    assert reading.spectrum is not None
    assert reading.prediction is not None
    spectrum = replace(reading.spectrum, highest_hz=highest_hz)
    picture = spectrum_picture(replace(reading, spectrum=spectrum))
    assert picture is not None
    for svg in (picture.wide, picture.narrow):
        assert "shaft bending expected" in svg
        assert ("too quick to tell" in svg) == told
        assert svg.count('class="blind"') == 1 + told
