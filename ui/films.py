"""The follow view: a short film cropped along the fitted flight path, to make the swing seen.

The crop moves with the path and not with the nock, and grows as the arrow recedes, so that the
tail stays the same size and one millimetre of swing is the same length in every frame. Frames and a
reading go in, a film that every browser plays comes out.
"""

from __future__ import annotations

import tempfile
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path

import av
import cv2
import numpy as np

from tracker.types import ByteArray, FloatArray, Track
from ui.curves import Curves

SLOW = 8
"""How many times slower than life a film runs at speed 1."""

SIDE_PX = 480
_TICKS = 90_000
_MOST_ZOOM = 60.0
_BLUE, _ORANGE, _WHITE, _BLACK = (64, 160, 255), (255, 140, 40), (255, 255, 255), (0, 0, 0)


@dataclass(frozen=True, kw_only=True, eq=False)
class Film:
    """A short film of one flight.

    Attributes
    ----------
    mp4
        The file; a frame that was taken at true time t is shown at ``SLOW * (t - time_s[0])``.
    time_s
        (n,) true time of each of its frames, since the first followed one.
    frame
        (n,) their numbers in the clip.
    says
        What it shows, for those who cannot see it.
    caption
        Above it; empty for none.
    drawn_on
        Whether flight path, nock and swing are drawn into it.
    """

    mp4: bytes
    time_s: FloatArray
    frame: FloatArray
    says: str
    caption: str = ""
    drawn_on: bool = True

    def middles_s(self, wanted_s: Sequence[float]) -> FloatArray:
        """Tell where in the file to look for what was taken at some times.

        Parameters
        ----------
        wanted_s
            (m,) true times.

        Returns
        -------
        numpy.ndarray
            (m,) the middle of the stay of the frame nearest to each, in the file's seconds: there
            exactly that frame is shown, however unlike the frames' stays are.
        """
        begins = self.time_s - self.time_s[0]
        ends = np.append(begins[1:], begins[-1] + _last_stay(self.time_s))
        nearest = np.abs(self.time_s[None, :] - np.asarray(wanted_s)[:, None]).argmin(axis=1)
        middles: FloatArray = SLOW * (begins + ends)[nearest] / 2
        return middles


@dataclass(frozen=True, kw_only=True)
class Framing:
    """How wide the follow view looks.

    Attributes
    ----------
    reach
        From the middle to the edge, in the unit of the curves.
    singular_time_s
        Camera distance over arrow speed: the picture of the tail shrinks as 1 / (t + this).
    """

    reach: float
    singular_time_s: float


def framing_for(curves: Curves, track: Track, singular_time_s: float) -> Framing:
    """Choose how wide to look: the swing fills the view, and the tail is not larger than it.

    Parameters
    ----------
    curves
        The swing.
    track
        For the size of the tail.
    singular_time_s
        From the fit.

    Returns
    -------
    Framing
        For `follow_film`.
    """
    widest = float(np.abs(curves.swing).max())
    tail = float(np.nanmedian(track.tail_px[track.first_frame : track.first_frame + 5]))
    per_px = curves.per_px_s * singular_time_s
    # Chosen here: a margin of a third around the swing, and room for three tails across.
    reach = max(1.35 * widest, (3.0 * tail if np.isfinite(tail) else 12.0) * per_px)
    return Framing(reach=reach, singular_time_s=max(singular_time_s, 1e-3))


def follow_film(
    frames: Mapping[int, ByteArray],
    *,
    curves: Curves,
    track: Track,
    framing: Framing,
    says: str,
    caption: str = "",
    drawn_on: bool = True,
) -> Film:
    """Make the follow view.

    Parameters
    ----------
    frames
        Brightness by frame number, raw, from the first to the last followed frame.
    curves
        Swing and flight path.
    track
        Times and the shake that was removed.
    framing
        How wide to look.
    says, caption
        Words for the film.
    drawn_on
        False leaves out the fitted swing and the trail, for eyes that shall judge by themselves.

    Returns
    -------
    Film
        H.264 in MP4, one frame of film for each frame of the clip in the flight.

    Raises
    ------
    ValueError
        If no frame of the flight is given.
    """
    numbers = sorted(n for n in frames if curves.frame[0] <= n <= curves.frame[-1])
    if not numbers:
        raise ValueError("none of the frames is part of the flight")
    start_s = float(track.time_s[int(curves.frame[0])])
    times = np.array([float(track.time_s[n]) - start_s for n in numbers])
    path = np.column_stack([np.interp(numbers, curves.frame, curves.path_px[:, k]) for k in (0, 1)])
    shake = _filled(track.shake_px)[numbers]
    drawn: list[ByteArray] = []
    for index, number in enumerate(numbers):
        middle = path[index] + shake[index]
        time_s = float(times[index])
        zoom = zoom_at(curves, framing, time_s)
        # Where the enlargement has met its limit, the drawing keeps to the picture.
        per_unit = zoom / (curves.per_px_s * (time_s + framing.singular_time_s))
        view = _crop(frames[number], middle, zoom)
        # One with a caption stands beside another, and is shown half as wide.
        marked = _scale_bar(view, per_unit, curves.unit, size=1.4 if caption else 0.6)
        drawn.append(_drawn_on(marked, curves, per_unit, time_s) if drawn_on else marked)
    return Film(
        mp4=write_mp4(drawn, times),
        time_s=times,
        frame=np.array(numbers, dtype=float),
        says=says,
        caption=caption,
        drawn_on=drawn_on,
    )


def _last_stay(time_s: FloatArray) -> float:
    """Tell how long the last frame stays: as long as the one before it."""
    return float(time_s[-1] - time_s[-2]) if len(time_s) > 1 else 1 / (30 * SLOW)


def zoom_at(curves: Curves, framing: Framing, time_s: float) -> float:
    """Tell how many pixels of film show one pixel of the clip.

    Parameters
    ----------
    curves
        For the unit.
    framing
        How wide the view is.
    time_s
        Since the first followed frame.

    Returns
    -------
    float
        Grows as the arrow recedes, up to a limit past which there is only blur to see.
    """
    per_unit = SIDE_PX / 2 / framing.reach
    return min(_MOST_ZOOM, per_unit * curves.per_px_s * (time_s + framing.singular_time_s))


def _filled(shake: FloatArray) -> FloatArray:
    """Bridge frames without a shake estimate by their neighbours."""
    rows = np.arange(len(shake))
    filled = np.zeros_like(shake)
    for axis in (0, 1):
        good = np.isfinite(shake[:, axis])
        if good.any():
            filled[:, axis] = np.interp(rows, rows[good], shake[good, axis])
    return filled


def _crop(luma: ByteArray, middle: FloatArray, zoom: float) -> ByteArray:
    """Cut out and enlarge, with the middle at a fraction of a pixel."""
    half = (SIDE_PX - 1) / 2
    warp = np.array([[zoom, 0.0, half - zoom * middle[0]], [0.0, zoom, half - zoom * middle[1]]])
    flags = cv2.INTER_CUBIC if zoom > 1 else cv2.INTER_AREA
    grey = cv2.warpAffine(
        luma, warp, (SIDE_PX, SIDE_PX), flags=flags, borderMode=cv2.BORDER_REPLICATE
    )
    return _stretched(np.asarray(grey, dtype=np.uint8))


def _stretched(grey: ByteArray) -> ByteArray:
    """Lift contrast gently; a tail in the shade must be seen in the sun."""
    # A sixteenth of the pixels tells the range as well as all of them do.
    low, high = np.percentile(grey[::4, ::4], (1, 99))
    gain = 255.0 / max(float(high - low), 64.0)
    levels = np.clip((np.arange(256) - float(low)) * gain, 0, 255).astype(np.uint8)
    return np.asarray(cv2.LUT(grey, levels), dtype=np.uint8)


def _drawn_on(picture: ByteArray, curves: Curves, per_unit: float, time_s: float) -> ByteArray:
    """Draw the flight path's place, the fitted swing and the trail so far.

    The ring is left out where the nock was not seen: it would stand where it was before.
    """
    past = curves.time_s <= time_s + 1e-9
    seen = bool(np.isclose(curves.time_s[past][-1:], time_s, rtol=0, atol=1e-6).any())
    half = (SIDE_PX - 1) / 2
    scale = np.array([1.0, -1.0]) * per_unit
    fitted = half + curves.fitted[past] * scale
    measured = half + curves.swing[past] * scale
    for shade, width in ((_BLACK, 4), (_BLUE, 2)):
        cv2.polylines(picture, [_fixed(fitted)], False, shade, width, cv2.LINE_AA, shift=4)
    recent = measured[-24:]
    for index, point in enumerate(recent):
        last = seen and index == len(recent) - 1
        x, y = (int(value) for value in _fixed(point[None])[0])
        if last:
            cv2.circle(picture, (x, y), 11 * 16, _ORANGE, 2, cv2.LINE_AA, shift=4)
        else:
            cv2.circle(picture, (x, y), 2 * 16, _ORANGE, -1, cv2.LINE_AA, shift=4)
    _cross(picture)
    return picture


def _fixed(points: FloatArray) -> np.ndarray[tuple[int, ...], np.dtype[np.int32]]:
    """Round to sixteenths of a pixel, as OpenCV's drawing takes them."""
    return np.round(points * 16).astype(np.int32)


def _cross(picture: ByteArray) -> None:
    half = SIDE_PX // 2
    for shade, width in ((_BLACK, 3), (_WHITE, 1)):
        cv2.line(picture, (half - 7, half), (half + 7, half), shade, width)
        cv2.line(picture, (half, half - 7), (half, half + 7), shade, width)


def _scale_bar(view: ByteArray, per_unit: float, unit: str, *, size: float) -> ByteArray:
    """Draw a bar of a round length; the unit's sign is the same in every language."""
    picture = np.asarray(cv2.cvtColor(view, cv2.COLOR_GRAY2RGB), dtype=np.uint8)
    length = next((step for step in (50, 20, 10, 5, 2, 1) if step * per_unit <= 0.3 * SIDE_PX), 1)
    wide = round(length * per_unit)
    left, level = 16, SIDE_PX - 18
    thin = round(2 * size / 0.6)
    for shade, width in ((_BLACK, thin + 3), (_WHITE, thin)):
        cv2.line(picture, (left, level), (left + wide, level), shade, width)
        cv2.putText(
            picture,
            f"{length} {unit}",
            (left, level - round(15 * size)),
            cv2.FONT_HERSHEY_SIMPLEX,
            size,
            shade,
            width,
            cv2.LINE_AA,
        )
    return picture


def write_mp4(pictures: list[ByteArray], times_s: FloatArray) -> bytes:
    """Write a film that Chromium, Firefox and Safari play, each frame at its own time.

    Parameters
    ----------
    pictures
        (height, width, 3) RGB of one even size, in order.
    times_s
        (n,) true time of each; the film runs `SLOW` times slower, from 0.

    Returns
    -------
    bytes
        H.264 (yuv420p, no B-frames, a key frame every tenth) in MP4 that starts at once.
    """
    height, width, _ = pictures[0].shape
    shown = np.round((times_s - times_s[0]) * SLOW * _TICKS).astype(int).tolist()
    stay = round(_last_stay(times_s) * SLOW * _TICKS)
    # Moving the index to the front reads the file again, which only works on a real file.
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "film.mp4"
        with av.open(str(path), "w", options={"movflags": "+faststart"}) as container:
            stream = container.add_stream("libx264", rate=30)
            stream.width, stream.height, stream.pix_fmt = width, height, "yuv420p"
            stream.codec_context.time_base = Fraction(1, _TICKS)
            # A film stays on this computer: made at once is worth more than small.
            stream.options = {"preset": "ultrafast", "crf": "20", "g": "10", "bf": "0"}
            # The last picture is written twice, so that it stays as long as the others.
            for picture, at in zip(
                [*pictures, pictures[-1]], [*shown, shown[-1] + stay], strict=True
            ):
                frame = av.VideoFrame.from_ndarray(picture, format="rgb24")
                frame.pts, frame.time_base = at, Fraction(1, _TICKS)
                container.mux(stream.encode(frame))
            container.mux(stream.encode())
        return path.read_bytes()
