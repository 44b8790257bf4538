"""Draws a plain chart as SVG: axes, grid, lines, dots, bands; knows nothing of arrows.

Colours are CSS variables of the page, so that one picture serves the light and the dark theme. All
text is escaped here.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from html import escape

import numpy as np
import numpy.typing as npt

from tracker.types import FloatArray

FONT_PX = 14
_LEFT, _RIGHT, _TOP, _BOTTOM = 56.0, 14.0, 30.0, 44.0
_KEY_ROW, _KEY_LEFT, _KEY_MARK, _KEY_LETTER = 18, 8.0, 44.0, 6.6
"""Pixels: height of a row of keys, where it begins, width of a mark with its gaps, of a letter."""


@dataclass(frozen=True, kw_only=True)
class Axis:
    """One axis of a chart.

    Attributes
    ----------
    low, high
        What it spans, in data units.
    name
        What it shows, with unit.
    log
        True if equal ratios are equally long; `low` is above 0 then.
    whole
        True if it counts things: no mark stands between whole numbers.
    """

    low: float
    high: float
    name: str
    log: bool = False
    whole: bool = False

    def __post_init__(self) -> None:
        if not (math.isfinite(self.low) and math.isfinite(self.high) and self.low < self.high):
            raise ValueError(f"an axis from {self.low} to {self.high} spans nothing")
        if self.log and self.low <= 0:
            raise ValueError(f"an axis of ratios cannot begin at {self.low}")

    def share(self, values: npt.ArrayLike) -> FloatArray:
        """Tell how far along the axis values lie.

        Parameters
        ----------
        values
            (n,) in data units.

        Returns
        -------
        numpy.ndarray
            (n,) 0 at `low`, 1 at `high`.
        """
        given = np.asarray(values, dtype=float)
        if self.log:
            with np.errstate(divide="ignore", invalid="ignore"):
                return np.log(given / self.low) / math.log(self.high / self.low)
        return (given - self.low) / (self.high - self.low)

    def ticks(self, most: int) -> list[float]:
        """Find round values to mark.

        Parameters
        ----------
        most
            How many at most.

        Returns
        -------
        list of float
            In data units, ascending.

        Examples
        --------
        >>> Axis(low=0, high=0.31, name="time, s").ticks(5)
        [0.0, 0.1, 0.2, 0.3]
        """
        if self.log:
            decades = range(math.floor(math.log10(self.low)), math.ceil(math.log10(self.high)) + 1)
            every = [m * 10.0**power for power in decades for m in (1, 2, 5)]
            return [value for value in every if self.low <= value <= self.high]
        rough = max((self.high - self.low) / most, 1.0 if self.whole else 0.0)
        power = 10.0 ** math.floor(math.log10(rough))
        step = next(m * power for m in (1, 2, 5, 10) if m * power >= rough * 0.999)
        first = math.ceil(self.low / step - 1e-9)
        last = math.floor(self.high / step + 1e-9)
        return [round(index * step, 12) + 0.0 for index in range(first, last + 1)]


def span(values: FloatArray, *, around_zero: bool, least: float) -> tuple[float, float]:
    """Choose what an axis should span.

    Parameters
    ----------
    values
        Any shape; NaN is left out.
    around_zero
        True if zero shall be in the middle.
    least
        Least span to each side, so that a flat curve does not fill the chart with noise.

    Returns
    -------
    tuple of float
        Lowest and highest, with a margin.
    """
    finite = values[np.isfinite(values)]
    reach = max(least, 1.1 * float(np.abs(finite).max())) if finite.size else least
    if around_zero:
        return -reach, reach
    low, high = (float(finite.min()), float(finite.max())) if finite.size else (0.0, least)
    return low, max(high, low + least)


@dataclass(frozen=True, kw_only=True)
class Key:
    """What one kind of mark means, for the row under a chart.

    Attributes
    ----------
    kind
        Class of the mark.
    text
        What it means.
    dot
        ``round`` or ``diamond``; empty for a line.
    """

    kind: str
    text: str
    dot: str = ""

    @property
    def width(self) -> float:
        """About how wide it is drawn, in pixels."""
        return _KEY_MARK + _KEY_LETTER * len(self.text)


@dataclass
class Chart:
    """A chart being drawn; marks are added, then `svg` gives the picture.

    Attributes
    ----------
    width, height
        In the picture's own pixels.
    x, y
        Its axes.
    title
        Drawn above and read out by screen readers.
    says
        A sentence that says what the chart shows, for those who cannot see it.
    equal
        True if one unit shall be equally long on both axes.
    keys
        What its marks mean; the picture grows by their rows.
    """

    width: int
    height: int
    x: Axis
    y: Axis
    title: str
    says: str
    equal: bool = False
    keys: tuple[Key, ...] = ()
    _marks: list[str] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.height += _KEY_ROW * len(self._key_rows())
        if not self.equal:
            return
        across = (self.width - _LEFT - _RIGHT) / (self.x.high - self.x.low)
        along = (self.height - _TOP - self._below) / (self.y.high - self.y.low)
        if across > along:
            self.x = _widened(self.x, across / along)
        else:
            self.y = _widened(self.y, along / across)

    @property
    def plot_box(self) -> tuple[float, float, float, float]:
        """Left, top, right and bottom edge of the plot as shares of width and height."""
        return (
            _LEFT / self.width,
            _TOP / self.height,
            1 - _RIGHT / self.width,
            1 - self._below / self.height,
        )

    @property
    def _below(self) -> float:
        return _BOTTOM + _KEY_ROW * len(self._key_rows())

    def place(self, x: npt.ArrayLike, y: npt.ArrayLike) -> FloatArray:
        """Turn data into the picture's pixels.

        Parameters
        ----------
        x, y
            (n,) in data units.

        Returns
        -------
        numpy.ndarray
            (n, 2) pixels.
        """
        right, bottom = self.width - _RIGHT, self.height - self._below
        return np.column_stack(
            (
                _LEFT + self.x.share(x) * (right - _LEFT),
                bottom - self.y.share(y) * (bottom - _TOP),
            )
        )

    def line(self, x: npt.ArrayLike, y: npt.ArrayLike, kind: str) -> None:
        """Draw a line; it breaks where a value is NaN.

        Parameters
        ----------
        x, y
            (n,) in data units.
        kind
            Class of the mark, which gives its colour and dash.
        """
        for run in _runs(self.place(x, y)):
            self._marks.append(f'<polyline class="{kind}" points="{_points(run)}"/>')

    def band(self, x: npt.ArrayLike, low: npt.ArrayLike, high: npt.ArrayLike, kind: str) -> None:
        """Fill between two curves.

        Parameters
        ----------
        x, low, high
            (n,) in data units.
        kind
            Class of the mark.
        """
        edge = np.vstack((self.place(x, low), self.place(x, high)[::-1]))
        edge = edge[np.isfinite(edge).all(axis=1)]
        self._marks.append(f'<polygon class="{kind}" points="{_points(edge)}"/>')

    def dots(self, x: npt.ArrayLike, y: npt.ArrayLike, kind: str, shape: str) -> None:
        """Draw a dot at each point.

        Parameters
        ----------
        x, y
            (n,) in data units.
        kind
            Class of the mark.
        shape
            ``round`` or ``diamond``.
        """
        places = self.place(x, y)
        places = places[np.isfinite(places).all(axis=1)]
        # A found swing stands out from the samples around it.
        r = 6.0 if kind.startswith("mode") else 2.6
        # One mark for all: a browser is slow at hundreds of small ones.
        d = _rounds(places, r) if shape == "round" else _diamonds(places, 1.38 * r)
        self._marks.append(f'<path class="{kind}" d="{d}"/>')

    def shade(self, low: float, high: float, kind: str) -> None:
        """Shade a range of x over the full height.

        Parameters
        ----------
        low, high
            In data units; cut to the axis.
        kind
            Class of the mark.
        """
        low, high = max(low, self.x.low), min(high, self.x.high)
        if low >= high:
            return
        (left, _), (right, _) = self.place([low, high], [self.y.low, self.y.low])
        height = self.height - _TOP - self._below
        self._marks.append(
            f'<rect class="{kind}" x="{left:.1f}" y="{_TOP}" width="{right - left:.1f}" '
            f'height="{height:.1f}"/>'
        )

    def write(
        self, x: float, y: float, text: str, *, anchor: str = "start", dx: int = 0, dy: int = 0
    ) -> None:
        """Write text at a point.

        Parameters
        ----------
        x, y
            In data units.
        text
            Escaped here.
        anchor
            ``start``, ``middle`` or ``end``.
        dx, dy
            Pixels further right and down.
        """
        (px, py), *_ = self.place([x], [y])
        self._marks.append(
            f'<text class="note" x="{px + dx:.1f}" y="{py + dy:.1f}" text-anchor="{anchor}">'
            f"{escape(text)}</text>"
        )

    def svg(self) -> str:
        """Give the picture.

        Returns
        -------
        str
            One ``svg`` element.
        """
        return "".join(
            (
                f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {self.width} {self.height}" '
                f'role="img" aria-label="{escape(self.title)}: {escape(self.says)}">',
                f'<text class="title" x="{_LEFT:.0f}" y="18">{escape(self.title)}</text>',
                self._grid(),
                *self._marks,
                *self._written_keys(),
                "</svg>",
            )
        )

    def _key_rows(self) -> list[list[Key]]:
        rows: list[list[Key]] = []
        for key in self.keys:
            if rows and sum(k.width for k in (*rows[-1], key)) <= self.width - 2 * _KEY_LEFT:
                rows[-1].append(key)
            else:
                rows.append([key])
        return rows

    def _written_keys(self) -> Iterator[str]:
        rows = self._key_rows()
        for index, row in enumerate(rows):
            x, y = _KEY_LEFT, self.height - 6 - _KEY_ROW * (len(rows) - 1 - index)
            for key in row:
                mark = np.array([[x + 12, y - 4.0]])
                if not key.dot:
                    yield f'<polyline class="{key.kind}" points="{x},{y - 4} {x + 24},{y - 4}"/>'
                else:
                    d = _rounds(mark, 6.0) if key.dot == "round" else _diamonds(mark, 8.3)
                    yield f'<path class="{key.kind}" d="{d}"/>'
                yield f'<text class="key" x="{x + 30}" y="{y}">{escape(key.text)}</text>'
                x += key.width

    def _grid(self) -> str:
        right, bottom = self.width - _RIGHT, self.height - self._below
        parts: list[str] = []
        for value in self.x.ticks(max(3, self.width // 80)):
            (px, _), *_ = self.place([value], [self.y.low])
            parts.append(
                f'<line class="grid" x1="{px:.1f}" x2="{px:.1f}" y1="{_TOP}" y2="{bottom}"/>'
                f'<text class="tick" x="{px:.1f}" y="{bottom + 17}" text-anchor="middle">'
                f"{_minus(value)}</text>"
            )
        for value in self.y.ticks(max(3, self.height // 45)):
            (_, py), *_ = self.place([self.x.low], [value])
            kind = "zero" if value == 0 else "grid"
            parts.append(
                f'<line class="{kind}" x1="{_LEFT}" x2="{right}" y1="{py:.1f}" y2="{py:.1f}"/>'
                f'<text class="tick" x="{_LEFT - 6}" y="{py + 5:.1f}" text-anchor="end">'
                f"{_minus(value)}</text>"
            )
        parts.append(
            f'<text class="axis" x="{(right + _LEFT) / 2:.0f}" y="{bottom + _BOTTOM - 8}" '
            f'text-anchor="middle">{escape(self.x.name)}</text>'
            f'<text class="axis" transform="translate(14 {(bottom + _TOP) / 2:.0f}) rotate(-90)" '
            f'text-anchor="middle">{escape(self.y.name)}</text>'
        )
        return "".join(parts)


def _minus(value: float) -> str:
    return f"{value:g}".replace("-", "−")


def _widened(axis: Axis, factor: float) -> Axis:
    middle, half = (axis.low + axis.high) / 2, factor * (axis.high - axis.low) / 2
    return Axis(low=middle - half, high=middle + half, name=axis.name)


def _rounds(places: FloatArray, r: float) -> str:
    half = f"a{r:g},{r:g} 0 1 0 "
    return "".join(
        f"M{x:.1f},{y:.1f}{half}{2 * r:g},0{half}{-2 * r:g},0z" for x, y in places - [r, 0.0]
    )


def _diamonds(places: FloatArray, r: float) -> str:
    sides = f"l{r:.2f},{r:.2f} {-r:.2f},{r:.2f} {-r:.2f},{-r:.2f}z"
    return "".join(f"M{x:.1f},{y:.1f}{sides}" for x, y in places - [0.0, r])


def _runs(points: FloatArray) -> Sequence[FloatArray]:
    good = np.isfinite(points).all(axis=1)
    edges = np.flatnonzero(np.diff(np.concatenate(([0], good.astype(int), [0]))))
    return [points[a:b] for a, b in zip(edges[::2], edges[1::2], strict=True) if b - a > 1]


def _points(points: FloatArray) -> str:
    return " ".join(f"{x:.1f},{y:.1f}" for x, y in points)
