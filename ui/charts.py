"""The charts of a reading: swing against time, the tail's path from behind, the spectrum.

Each chart is drawn twice, for a wide page and for a phone, and carries what a shared cursor needs.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from classify.types import Estimate, Kind, ModeLine, Reading
from tracker.types import FloatArray, message
from ui.curves import Curves, curves_of, spectrum_curve
from ui.drawing import Axis, Chart, Key, span
from ui.reading_words import frequency_words, swing_words
from ui.words import say

WIDE, NARROW = (560, 220), (350, 230)
_SQUARE = (440, 400)
AXES = ("across", "up_down")
_DOTS = {"across": "round", "up_down": "diamond"}
# Least span of a swing axis to each side: a flat flight must look flat.
_LEAST = {"mm": 5.0, "px": 3.0}
_FIRST_ROW, _SECOND_ROW, _THIRD_ROW = 14, 30, 46
"""Pixels from the top of the plot down to the words of the shaded ranges."""
_HEADROOM = 1.45
"""The spectrum's axis goes so far beyond all that is drawn that no mark lies under those words."""


@dataclass(frozen=True, kw_only=True)
class Picture:
    """One chart, drawn for two widths.

    Attributes
    ----------
    name
        What the page calls it.
    wide, narrow
        The SVG.
    wide_box, narrow_box
        Left, top, right and bottom edge of the plot as shares of width and height.
    times_s
        First and last time on the horizontal axis, where that is time; else None.
    trail
        Points that grow with time as shares of width and height, one for each sample, where the
        chart has such; else None. Wide and narrow are the same picture then.
    """

    name: str
    wide: str
    narrow: str
    wide_box: tuple[float, float, float, float]
    narrow_box: tuple[float, float, float, float]
    times_s: tuple[float, float] | None = None
    trail: tuple[tuple[float, float], ...] | None = None


def swing_picture(reading: Reading, axis: int, language: str = "en") -> Picture | None:
    """Draw the swing against time along one axis: measured, fitted, and the band of its error.

    Parameters
    ----------
    reading
        What was read.
    axis
        0 across, 1 up-down.
    language
        Two letters.

    Returns
    -------
    Picture or None
        None without a swing.
    """
    curves = curves_of(reading)
    if curves is None:
        return None
    return compared_picture((curves,), axis, language)


def compared_picture(shown: tuple[Curves, ...], axis: int, language: str = "en") -> Picture:
    """Draw the swing of one flight, or of two on the same axes.

    Parameters
    ----------
    shown
        One or two flights, in one unit; the second is drawn in another colour and dash.
    axis
        0 across, 1 up-down.
    language
        Two letters.

    Returns
    -------
    Picture
        With time on the horizontal axis.
    """
    name = AXES[axis]
    first = shown[0]
    low, high = span(
        np.concatenate([curves.swing[:, axis] for curves in shown]),
        around_zero=True,
        least=_LEAST[first.unit],
    )
    last = max(float(curves.time_s[-1]) for curves in shown)
    start = min(0.0, *(float(curves.time_s[0]) for curves in shown))
    title = say(message(f"charts.swing_{name}"), language)
    y_name = say(message(f"charts.axis_{name}", unit=first.unit), language)
    x_key = "time" if len(shown) == 1 else "release"
    if first.clock == "file":
        x_key = "file_time"
    x_name = say(message(f"charts.axis_{x_key}"), language)
    reach = float(np.abs(first.swing[:, axis]).max())
    says = say(message("charts.says_swing", reach=reach, unit=first.unit), language)

    def draw(width: int, height: int) -> Chart:
        chart = Chart(
            width=width,
            height=height,
            x=Axis(low=start, high=last, name=x_name),
            y=Axis(low=low, high=high, name=y_name),
            title=title,
            says=says,
        )
        for curves, kind in zip(shown, (name, "second"), strict=False):
            fit, error = curves.fitted[:, axis], 2 * curves.sigma[:, axis]
            chart.band(curves.time_s, fit - error, fit + error, f"band {kind}")
            chart.line(curves.time_s, fit, f"fit {kind}")
            chart.dots(curves.time_s, curves.swing[:, axis], f"dot {kind}", _DOTS[name])
        return chart

    return _picture(name, draw, times_s=(start, last))


def behind_picture(reading: Reading, language: str = "en") -> Picture | None:
    """Draw the tail's path about the flight path as seen from behind.

    Parameters
    ----------
    reading
        What was read.
    language
        Two letters.

    Returns
    -------
    Picture or None
        None without a swing; the trail has one point for each sample.
    """
    curves = curves_of(reading)
    if curves is None:
        return None
    reach = max(
        span(curves.swing, around_zero=True, least=_LEAST[curves.unit])[1],
        0.0,
    )
    width, height = _SQUARE
    chart = Chart(
        width=width,
        height=height,
        x=Axis(
            low=-reach,
            high=reach,
            name=say(message("charts.axis_across", unit=curves.unit), language),
        ),
        y=Axis(
            low=-reach,
            high=reach,
            name=say(message("charts.axis_up_down", unit=curves.unit), language),
        ),
        title=say(message("charts.behind"), language),
        says=say(message("charts.says_behind", reach=reach, unit=curves.unit), language),
        equal=True,
    )
    chart.dots(curves.swing[:, 0], curves.swing[:, 1], "dot faint", "round")
    chart.line(curves.fitted[:, 0], curves.fitted[:, 1], "fit behind")
    points = chart.place(curves.swing[:, 0], curves.swing[:, 1]) / (width, height)
    svg = chart.svg()
    return Picture(
        name="behind",
        wide=svg,
        narrow=svg,
        wide_box=chart.plot_box,
        narrow_box=chart.plot_box,
        trail=tuple((float(x), float(y)) for x, y in points),
    )


def spectrum_picture(reading: Reading, language: str = "en") -> Picture | None:
    """Draw how strongly the tail swings at each frequency, with the modes and what is expected.

    Parameters
    ----------
    reading
        What was read.
    language
        Two letters.

    Returns
    -------
    Picture or None
        None without a swing. Shaded: what physics expects of this arrow, what is too slow for so
        short a flight to tell, and what is too quick for so few frames where the arrow does that.
    """
    curves = curves_of(reading)
    spectrum = reading.spectrum
    if curves is None or spectrum is None:
        return None
    f_hz, amplitude = spectrum_curve(spectrum, curves.per_px_s)
    modes = [(0, mode) for mode in reading.across] + [(1, mode) for mode in reading.up_down]
    heights = [mode.swing_mm for _, mode in modes if curves.unit == "mm" and mode.swing_mm]
    top = _HEADROOM * max(
        float(np.nanmax(amplitude, initial=0.0)), *heights, _LEAST[curves.unit] / 2
    )
    lowest = min(1.0, spectrum.lowest_hz / 2, *(0.8 * mode.frequency_hz for _, mode in modes))
    highest = max(spectrum.highest_hz, *(high for _, _, high in _expected_hz(reading)), 0.0)
    x_name = say(message("charts.axis_frequency"), language)
    y_name = say(message("charts.axis_amplitude", unit=curves.unit), language)
    title = say(message("charts.spectrum"), language)
    listed = "; ".join(
        f"{frequency_words(mode, language)}, {swing_words(mode, language)}" for _, mode in modes
    )
    says = say(message("charts.says_spectrum", modes=listed or "–"), language)
    keys = tuple(Key(kind=f"fit {name}", text=_key(name, language)) for name in AXES)
    if modes:
        first = AXES[modes[0][0]]
        found = Key(kind=f"mode {first}", text=_key("mode", language), dot=_DOTS[first])
        keys = (*keys, found)

    def draw(width: int, height: int) -> Chart:
        chart = Chart(
            width=width,
            height=height,
            x=Axis(low=lowest, high=highest, name=x_name, log=True),
            y=Axis(low=0.0, high=top, name=y_name),
            title=title,
            says=says,
            keys=keys,
        )
        chart.shade(lowest, spectrum.lowest_hz, "blind")
        blind = say(message("charts.too_slow"), language)
        chart.write(lowest, top, blind, dy=_SECOND_ROW, dx=4)
        if highest > spectrum.highest_hz:
            chart.shade(spectrum.highest_hz, highest, "blind")
            blind = say(message("charts.too_quick"), language)
            chart.write(highest, top, blind, anchor="end", dy=_THIRD_ROW, dx=-4)
        _draw_expected(chart, reading, language)
        chart.line(f_hz, amplitude[:, 0], "fit across")
        chart.line(f_hz, amplitude[:, 1], "fit up_down")
        for axis, mode in modes:
            height_at = _height(mode, axis, f_hz, amplitude, curves.unit)
            chart.dots([mode.frequency_hz], [height_at], f"mode {AXES[axis]}", _DOTS[AXES[axis]])
        return chart

    return _picture("spectrum", draw)


def _key(name: str, language: str) -> str:
    return say(message(f"charts.key_{name}"), language)


def _expected_hz(reading: Reading) -> list[tuple[Kind, float, float]]:
    """Give what physics expects of this arrow, with the ends of its 95 % range."""
    if reading.prediction is None:
        return []
    kinds: tuple[tuple[Kind, Estimate], ...] = (
        ("yaw", reading.prediction.yaw_hz),
        ("bending", reading.prediction.bending_hz),
    )
    ranges = ((kind, f_hz.value, float(np.exp(2 * f_hz.sigma))) for kind, f_hz in kinds)
    return [(kind, middle / factor, middle * factor) for kind, middle, factor in ranges]


def _draw_expected(chart: Chart, reading: Reading, language: str) -> None:
    for kind, low, high in _expected_hz(reading):
        chart.shade(low, high, f"expected {kind}")
        words = say(message(f"charts.expected_{kind}"), language)
        if kind == "yaw":
            chart.write(max(low, chart.x.low), chart.y.high, words, dy=_FIRST_ROW)
        else:
            chart.write(high, chart.y.high, words, anchor="end", dy=_SECOND_ROW)


def _height(mode: ModeLine, axis: int, f_hz: FloatArray, amplitude: FloatArray, unit: str) -> float:
    """Put a mode's mark at its swing, or on the curve where the swing has no unit."""
    if unit == "mm" and mode.swing_mm is not None:
        return mode.swing_mm
    return float(np.interp(mode.frequency_hz, f_hz, amplitude[:, axis]))


def _picture(
    name: str,
    draw: Callable[[int, int], Chart],
    times_s: tuple[float, float] | None = None,
) -> Picture:
    wide, narrow = draw(*WIDE), draw(*NARROW)
    return Picture(
        name=name,
        wide=wide.svg(),
        narrow=narrow.svg(),
        wide_box=wide.plot_box,
        narrow_box=narrow.plot_box,
        times_s=times_s,
    )
