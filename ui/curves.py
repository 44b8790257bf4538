"""The swing in the unit a coach reads: millimetres with a scale, pixels at release without."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from classify.periodogram import swing_periodogram
from classify.types import Reading, Scale, Spectrum
from tracker.types import FloatArray


@dataclass(frozen=True, kw_only=True, eq=False)
class Curves:
    """What the charts and films of one reading draw.

    Attributes
    ----------
    time_s
        (n,) since the first followed frame.
    frame
        (n,) frame numbers.
    swing, sigma, fitted
        (n, 2) across (right positive) and up-down (up positive), in `unit`.
    path_px
        (n, 2) the fitted flight path in the picture.
    unit
        Millimetres, or pixels of the picture at the first followed frame.
    per_px_s
        `unit` for one px·s of the fit.
    clock
        Whose seconds the times are: true ones, or the file's own while nobody vouches for the rate
        at which the frames were taken.
    """

    time_s: FloatArray
    frame: FloatArray
    swing: FloatArray
    sigma: FloatArray
    fitted: FloatArray
    path_px: FloatArray
    unit: Literal["mm", "px"]
    per_px_s: float
    clock: Literal["true", "file"] = "true"


def curves_of(reading: Reading) -> Curves | None:
    """Bring the swing of a reading into the coach's unit.

    Parameters
    ----------
    reading
        What was read.

    Returns
    -------
    Curves or None
        None where the reading did not get as far as a swing.
    """
    if reading.spectrum is None or len(reading.spectrum.motion.time_s) < 2:
        return None
    factor, unit = _unit(reading.spectrum, reading.scale)
    motion = reading.spectrum.motion
    return Curves(
        time_s=motion.time_s,
        frame=motion.frame,
        swing=motion.swing * factor,
        sigma=motion.sigma * factor,
        fitted=motion.fitted * factor,
        path_px=motion.path_px,
        unit=unit,
        per_px_s=factor,
        clock="file" if reading.clip_facts.get("capture_hz") is None else "true",
    )


def since_release(curves: Curves, reading: Reading, clip_time_s: FloatArray) -> Curves:
    """Count time from the release, so that two flights can run in step.

    Parameters
    ----------
    curves
        With time since the first followed frame.
    reading
        Says when the arrow left.
    clip_time_s
        (n,) time of every frame of the clip.

    Returns
    -------
    Curves
        The same with time since the release; unchanged where the release was not seen.
    """
    release = reading.flight_facts.get("release_s")
    if not isinstance(release, float):
        return curves
    first = float(clip_time_s[int(curves.frame[0])])
    return replace(curves, time_s=curves.time_s + (first - release))


def _unit(spectrum: Spectrum, scale: Scale | None) -> tuple[float, Literal["mm", "px"]]:
    if scale is not None:
        return 1000.0 * scale.m_per_px_s.value, "mm"
    # A swing of A px·s stands A / (b/v) pixels wide in the picture at release.
    return 1.0 / max(spectrum.singular_time_s.value, 1e-3), "px"


def spectrum_curve(spectrum: Spectrum, per_px_s: float) -> tuple[FloatArray, FloatArray]:
    """Give the curve under the marks of the spectrum chart.

    Parameters
    ----------
    spectrum
        What the fit found.
    per_px_s
        Unit of the result for one px·s.

    Returns
    -------
    tuple of numpy.ndarray
        (m,) frequencies up to the highest that the clip resolves, and (m, 2) amplitudes.
    """
    # Below half a swing in the flight, and at the very end of the band, where sine and cosine are
    # sampled alike, the fit of a steady swing runs wild.
    f_hz = np.geomspace(0.6 * spectrum.lowest_hz, 0.96 * spectrum.highest_hz, 300)
    return f_hz, swing_periodogram(spectrum.motion, f_hz) * per_px_s
