"""The drawings of the one-page report: the swing over the versions, over time, and the impacts."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from math import degrees

import numpy as np

from classify.bare_shaft import BareShaftOffset
from classify.casebook import Case
from classify.evidence import BareShaftTest
from classify.evidence_payload import read_flight
from classify.several import Swing
from classify.types import Reading
from tracker.types import FloatArray
from ui.curves import curves_of
from ui.figure import Figure, Item, Line, Oval, Words, nice_steps

ACROSS, UP_DOWN, INK, FAINT = "#0a5a9c", "#b04300", "#15211e", "#b9b4a3"
Say = Callable[..., str]
"""Called with a key of the report's words and its values."""

W, H = 88.0, 50.0
LEFT, RIGHT, TOP, BOTTOM = 11.0, 3.0, 6.0, 9.0


def versions_figure(case: Case, say: Say) -> Figure | None:
    """Draw the swing of every flight, version by version.

    Parameters
    ----------
    case
        With all its versions.
    say
        Words of the report.

    Returns
    -------
    Figure or None
        None where no flight has a swing in millimetres.
    """
    swings: list[list[tuple[str, Swing]]] = [
        [
            (axis, swing)
            for item in seen
            if item.kind == "flight"
            for axis in ("across", "up_down")
            if (swing := getattr(read_flight(item.payload), axis)) is not None
        ]
        for seen in case.seen
    ]
    widest = [swing.value + swing.sigma for lot in swings for _, swing in lot]
    if not widest:
        return None
    top = max(*widest, 6.0) * 1.08

    def y(mm: float) -> float:
        return H - BOTTOM - max(mm, 0.0) / top * (H - TOP - BOTTOM)

    step = (W - LEFT - RIGHT) / len(swings)
    items: list[Item] = _axis_marks(nice_steps(0, top), y)
    for k, lot in enumerate(swings):
        middle = LEFT + (k + 0.5) * step
        number = str(case.versions[k].number)
        items.append(Words(x=middle, y=H - BOTTOM + 3.6, text=number, anchor="middle"))
        for axis, side, colour in (("across", -1, ACROSS), ("up_down", 1, UP_DOWN)):
            of_axis = [swing for name, swing in lot if name == axis]
            items += _dots(of_axis, middle + side * min(step * 0.18, 4.0), y, colour, axis)
    items += _legend(say)
    items.append(
        Words(x=(LEFT + W) / 2, y=H - 1.2, text=say("axis_version"), anchor="middle", size_mm=2.4)
    )
    return Figure(title=say("figure_versions"), width_mm=W, height_mm=H, items=tuple(items))


def _axis_marks(steps: Sequence[float], y: Callable[[float], float]) -> list[Item]:
    items: list[Item] = []
    for mark in steps:
        items.append(
            Line(points=((LEFT, y(mark)), (W - RIGHT, y(mark))), colour=FAINT, width_mm=0.15)
        )
        items.append(
            Words(x=LEFT - 1.2, y=y(mark) + 0.9, text=f"{mark:g}".replace("-", "−"), anchor="end",
                  size_mm=2.4)
        )  # fmt: skip
    return items


def _dots(
    swings: Sequence[Swing], x: float, y: Callable[[float], float], colour: str, axis: str
) -> list[Item]:
    """Draw flights side by side with their errors; up-down as rings, so that shape tells too."""
    items: list[Item] = []
    for k, swing in enumerate(swings):
        at = x + (k - (len(swings) - 1) / 2) * 0.9
        low, high = y(swing.value - swing.sigma), y(swing.value + swing.sigma)
        items.append(Line(points=((at, low), (at, high)), colour=colour, width_mm=0.25))
        fill, stroke = (colour, None) if axis == "across" else ("#ffffff", colour)
        items.append(
            Oval(x=at, y=y(swing.value), rx=0.7, ry=0.7, fill=fill, stroke=stroke, width_mm=0.3)
        )
    return items


def _legend(say: Say) -> list[Item]:
    y, across, up_down = 2.4, say("across"), say("up_down")
    # from the right edge, as long as each language has it; a letter is half as wide as it is high
    second = W - 1.5 - 1.25 * len(up_down)
    first = second - 6.0 - 1.25 * len(across)
    return [
        Words(x=1.0, y=y + 0.9, text=say("axis_mm"), size_mm=2.4),
        Oval(x=first - 2.0, y=y, rx=0.8, ry=0.8, fill=ACROSS),
        Words(x=first, y=y + 0.9, text=across, size_mm=2.4, colour=ACROSS),
        Oval(x=second - 2.0, y=y, rx=0.8, ry=0.8, fill="#ffffff", stroke=UP_DOWN),
        Words(x=second, y=y + 0.9, text=up_down, size_mm=2.4, colour=UP_DOWN),
    ]


def swing_figure(reading: Reading, say: Say) -> Figure | None:
    """Draw one flight's swing against time: what was measured and what was fitted.

    Parameters
    ----------
    reading
        Of the film.
    say
        Words of the report.

    Returns
    -------
    Figure or None
        None where the reading has no swing.
    """
    curves = curves_of(reading)
    if curves is None:
        return None
    reach = float(np.nanmax(np.abs(np.concatenate([curves.swing, curves.fitted])))) * 1.1
    end = float(curves.time_s[-1])

    def y(value: float) -> float:
        return TOP + (1 - value / reach) / 2 * (H - TOP - BOTTOM)

    def x(t_s: float) -> float:
        return LEFT + t_s / end * (W - LEFT - RIGHT)

    items = _axis_marks(nice_steps(-reach, reach), y)
    for mark in nice_steps(0.0, end):
        items.append(
            Words(x=x(mark), y=H - BOTTOM + 3.6, text=f"{mark:g}", anchor="middle", size_mm=2.4)
        )
    for axis, colour, dashed in ((0, ACROSS, False), (1, UP_DOWN, True)):
        for t_s, value in zip(curves.time_s, curves.swing[:, axis], strict=True):
            items.append(Oval(x=x(t_s), y=y(value), rx=0.4, ry=0.4, fill=colour))
        points = tuple(
            (x(float(t_s)), y(float(value)))
            for t_s, value in zip(curves.time_s, curves.fitted[:, axis], strict=True)
        )
        items.append(Line(points=points, colour=colour, width_mm=0.45, dashed=dashed))
    items += _legend(say)
    items.append(
        Words(x=(LEFT + W) / 2, y=H - 1.2, text=say("axis_time"), anchor="middle", size_mm=2.4)
    )
    return Figure(title=say("figure_swing"), width_mm=W, height_mm=H, items=tuple(items))


def impacts_figure(test: BareShaftTest, offset: BareShaftOffset, say: Say) -> Figure:
    """Draw bare shafts and fletched arrows as the archer sees them, with the offset's region.

    Parameters
    ----------
    test
        The impacts.
    offset
        Judged from them (or from them and earlier tests).
    say
        Words of the report.

    Returns
    -------
    Figure
        About the fletched group's middle; ten centimetres are marked.
    """
    middle = test.fletched_m.mean(axis=0)
    points = np.concatenate([test.bare_m, test.fletched_m]) - middle
    long, short, turn = offset.ellipse_m
    reach = (
        max(float(np.abs(points).max()), float(np.abs(offset.offset_m).max()) + long, 0.08) * 1.1
    )
    side = H - TOP - 2.0
    centre_x, centre_y = W / 2, TOP + side / 2
    scale = side / 2 / reach

    def place(point: FloatArray) -> tuple[float, float]:
        return centre_x + float(point[0]) * scale, centre_y - float(point[1]) * scale

    items: list[Item] = [
        Line(points=((centre_x - side / 2, centre_y), (centre_x + side / 2, centre_y)),
             colour=FAINT, width_mm=0.2),
        Line(points=((centre_x, centre_y - side / 2), (centre_x, centre_y + side / 2)),
             colour=FAINT, width_mm=0.2),
    ]  # fmt: skip
    limit = 0.08 * offset.distance_m / 18.0
    for sign in (-1, 1):
        at = centre_x + sign * limit * scale
        if limit < reach:
            items.append(
                Line(points=((at, centre_y - side / 2), (at, centre_y + side / 2)), colour=FAINT,
                     width_mm=0.25, dashed=True)
            )  # fmt: skip
    for impact in test.fletched_m - middle:
        px, py = place(impact)
        items.append(Oval(x=px, y=py, rx=0.9, ry=0.9, fill=INK))
    for impact in test.bare_m - middle:
        px, py = place(impact)
        items.append(
            Oval(x=px, y=py, rx=1.0, ry=1.0, fill="#ffffff", stroke=UP_DOWN, width_mm=0.45)
        )
    px, py = place(offset.offset_m)
    items.append(
        Oval(x=px, y=py, rx=long * scale, ry=short * scale, turn_deg=-degrees(turn), stroke=UP_DOWN)
    )
    items += [
        Oval(x=2.0, y=2.4, rx=0.9, ry=0.9, fill=INK),
        Words(x=4.0, y=3.3, text=say("fletched"), size_mm=2.4),
        Oval(x=26.0, y=2.4, rx=1.0, ry=1.0, fill="#ffffff", stroke=UP_DOWN, width_mm=0.45),
        Words(x=28.0, y=3.3, text=say("bare"), size_mm=2.4, colour=UP_DOWN),
        Line(points=((2.0, H - 4.0), (2.0 + 0.1 * scale, H - 4.0)), colour=INK, width_mm=0.4),
        Words(x=2.0, y=H - 1.0, text=say("ten_cm"), size_mm=2.4),
    ]
    title = say("figure_impacts", distance_m=offset.distance_m)
    return Figure(title=title, width_mm=W, height_mm=H, items=tuple(items))
