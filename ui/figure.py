"""Small drawings in millimetres that go into a page and into a PDF alike.

Lines, dots, ellipses and texts go in; SVG comes out here, and `ui.report_pdf` draws the same items.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from html import escape
from typing import Literal

Anchor = Literal["start", "middle", "end"]


@dataclass(frozen=True, kw_only=True)
class Line:
    """A broken line.

    Attributes
    ----------
    points
        (x, y) in mm, y down.
    colour, width_mm, dashed
        How it looks.
    """

    points: tuple[tuple[float, float], ...]
    colour: str
    width_mm: float = 0.3
    dashed: bool = False


@dataclass(frozen=True, kw_only=True)
class Oval:
    """A dot, circle or turned ellipse.

    Attributes
    ----------
    x, y, rx, ry
        Middle and half axes in mm.
    turn_deg
        Clockwise, as the y axis points down.
    fill, stroke
        Colours; None for none.
    width_mm
        Of the outline.
    """

    x: float
    y: float
    rx: float
    ry: float
    turn_deg: float = 0.0
    fill: str | None = None
    stroke: str | None = None
    width_mm: float = 0.3


@dataclass(frozen=True, kw_only=True)
class Words:
    """A short text.

    Attributes
    ----------
    x, y
        Its baseline's start, middle or end in mm.
    text
        One line.
    size_mm
        Height of the type.
    anchor, colour, bold
        How it looks.
    """

    x: float
    y: float
    text: str
    size_mm: float = 2.6
    anchor: Anchor = "start"
    colour: str = "#15211e"
    bold: bool = False


Item = Line | Oval | Words


@dataclass(frozen=True, kw_only=True)
class Figure:
    """A drawing.

    Attributes
    ----------
    title
        Said to those who cannot see it, and above it.
    width_mm, height_mm
        Size.
    items
        Drawn in this order.
    """

    title: str
    width_mm: float
    height_mm: float
    items: tuple[Item, ...]


def figure_svg(figure: Figure) -> str:
    """Write a drawing as SVG.

    Parameters
    ----------
    figure
        What to draw.

    Returns
    -------
    str
        One element; every text in it is escaped.
    """
    body = "".join(_svg(item) for item in figure.items)
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" role="img" '
        f'viewBox="0 0 {figure.width_mm:g} {figure.height_mm:g}">'
        f"<title>{escape(figure.title)}</title>{body}</svg>"
    )


def _svg(item: Item) -> str:
    if isinstance(item, Line):
        points = " ".join(f"{x:.2f},{y:.2f}" for x, y in item.points)
        dash = ' stroke-dasharray="1.2 0.9"' if item.dashed else ""
        return (
            f'<polyline points="{points}" fill="none" stroke="{escape(item.colour)}" '
            f'stroke-width="{item.width_mm:g}"{dash}/>'
        )
    if isinstance(item, Oval):
        return (
            f'<ellipse cx="{item.x:.2f}" cy="{item.y:.2f}" rx="{item.rx:.2f}" ry="{item.ry:.2f}" '
            f'transform="rotate({item.turn_deg:.1f} {item.x:.2f} {item.y:.2f})" '
            f'fill="{escape(item.fill or "none")}" stroke="{escape(item.stroke or "none")}" '
            f'stroke-width="{item.width_mm:g}"/>'
        )
    weight = ' font-weight="700"' if item.bold else ""
    return (
        f'<text x="{item.x:.2f}" y="{item.y:.2f}" font-size="{item.size_mm:g}" '
        f'text-anchor="{item.anchor}" fill="{escape(item.colour)}"{weight}>'
        f"{escape(item.text)}</text>"
    )


def nice_steps(low: float, high: float, wanted: int = 4) -> Sequence[float]:
    """Round numbers between two values for the marks of an axis.

    Parameters
    ----------
    low, high
        Ends of the axis, low below high.
    wanted
        About how many steps.

    Returns
    -------
    sequence of float
        Multiples of 1, 2 or 5 times a power of ten within the ends.

    Examples
    --------
    >>> list(nice_steps(0, 21))
    [0.0, 5.0, 10.0, 15.0, 20.0]
    """
    raw = (high - low) / wanted
    power = 10.0 ** math.floor(math.log10(raw))
    step = next(m * power for m in (1, 2, 5, 10) if m * power >= raw * 0.999)
    first = math.ceil(low / step - 1e-9)
    last = math.floor(high / step + 1e-9)
    return [k * step for k in range(first, last + 1)]
