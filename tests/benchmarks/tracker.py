"""Print what following the nock costs beside decoding alone and beside a general library.

``python -m tests.benchmarks.tracker --seed 1 --sizes 720p,1080p``: on the shipped demo and on
films of ten seconds with one short flight in them, as coaches make them, packed as tightly as sent
films are and, at 1080p, as loosely as phones store them; each run in a process of its own, all in
turns, the fewest seconds count. Then trackpy, if it is there (`pip install trackpy`; nothing else
here needs it), on the same frames; and a minute at 1080p and 240 a second: its peak memory, which
is not to pass 500 MB, and what reading costs beside decoding.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
import tempfile
from dataclasses import dataclass, replace
from importlib.util import find_spec
from pathlib import Path
from typing import Any

import click
import numpy as np

from fixtures.camera import aim_camera
from fixtures.make_clips import CLIPS, demos
from fixtures.plan import FlightPlan
from fixtures.render import Rendered, render
from fixtures.truth import Truth, shoot
from tests.benchmarks.long_film import LOOP, write_long_film
from tracker.types import FloatArray

DEMO = "fishtailing"
SIZES = {"720p": (1280, 720), "1080p": (1920, 1080), "2160p": (3840, 2160)}
TEN_SECONDS = (50, 45)
"""How often the tenth of a second of waiting is shown before and after the flight."""
A_MINUTE = (400, 195)
TIGHT, LOOSE = 20, 12
"""Constant qualities of the encoder; with the second 1080p at 240 a second takes 60 to 70 Mbit/s,
what phones store of it (common practice, from memory)."""
PEAK_MB, RATIO = 500.0, 1.5
SPOT_PX, SPOTS = 9, 100
"""Size given to the library, odd and a little more than the nock's; spots it may give per frame."""
NEAR_PX = 3.0


@dataclass(frozen=True, kw_only=True, eq=False)
class Film:
    """A film whose truth is known.

    Attributes
    ----------
    name
        For the table.
    path
        Of the file.
    truth
        Of the rendered frames.
    shown
        (n,) which of them each frame of the film shows.
    settings
        What a coach would say of it.
    """

    name: str
    path: Path
    truth: Truth
    shown: np.ndarray
    settings: dict[str, Any]

    def true_px(self, reference_frame: int) -> FloatArray:
        """(n, 2) the nock in every frame, in one frame's coordinates."""
        return np.asarray(self.truth.xy_in(int(self.shown[reference_frame]))[self.shown])


@click.command(help=__doc__)
@click.option("--seed", type=int, required=True, help="Of the films.")
@click.option("--rounds", type=click.IntRange(min=1), default=2, show_default=True)
@click.option("--sizes", default="720p,1080p", show_default=True, help="Of 720p, 1080p, 2160p.")
@click.option("--minute/--no-minute", default=True, help="Measure the memory of a minute of film.")
def main(seed: int, rounds: int, sizes: str, minute: bool) -> None:
    """Measure and print."""
    click.echo(f"processors {os.cpu_count()}, load {os.getloadavg()[0]:.1f}, best of {rounds}")
    with tempfile.TemporaryDirectory() as folder:
        click.echo(f"{'film':22}{'frames':>7} {'':9}{'decode':>8}{'follow':>8}{'read':>8}"
                   f"{'follow':>9}{'read':>7}   peak MB: decode follow read")  # fmt: skip
        films = [demo_film()]
        for size in sizes.split(","):
            films.append(long_film(Path(folder), size, TEN_SECONDS, seed))
            if size == "1080p":
                films.append(long_film(Path(folder), size, TEN_SECONDS, seed, crf=LOOSE))
        for film in films:
            print_costs(film, rounds)
        click.echo()
        for film in films:
            print_library(film)
        if minute:
            for film in films[1:]:
                film.path.unlink()
            print_minute(long_film(Path(folder), "1080p", A_MINUTE, seed))
    click.echo(f"load {os.getloadavg()[0]:.1f}")


def demo_film() -> Film:
    """Take a shipped film."""
    demo = next(demo for demo in demos() if demo.name == DEMO)
    truth = shoot(demo.plan, seed=demo.seed, occlusion=False).truth
    return Film(
        name=f"demo {DEMO}",
        path=CLIPS / f"{DEMO}.mp4",
        truth=truth,
        shown=np.arange(len(truth.time_s)),
        settings=_said(demo.plan),
    )


def long_film(folder: Path, size: str, waits: tuple[int, int], seed: int, crf: int = TIGHT) -> Film:
    """Make a film with much waiting: the demo's flight, filmed with more pixels."""
    demo = next(demo for demo in demos() if demo.name == DEMO)
    rendered: Rendered = render(enlarged(demo.plan, *SIZES[size]), seed=seed)
    written = write_long_film(
        folder / f"{size}_{waits[0]}_{crf}.mp4", rendered, before=waits[0], after=waits[1], crf=crf
    )
    seconds = written.frames / float(rendered.plan.camera.capture_hz)
    rate = written.path.stat().st_size * 8e-6 / seconds
    return Film(
        name=f"{seconds:.0f} s {size} {rate:.0f} Mbit/s",
        path=written.path,
        truth=rendered.truth,
        shown=written.shown,
        settings=_said(rendered.plan),
    )


def enlarged(plan: FlightPlan, width_px: int, height_px: int) -> FlightPlan:
    """Film the same flight with a sensor of more pixels, from the same place."""
    camera = replace(
        plan.camera,
        width_px=width_px,
        height_px=height_px,
        focal_px=plan.camera.focal_px * height_px / plan.camera.height_px,
    )
    scene = replace(
        plan.scene,
        pre_roll_s=(LOOP + 24) / float(camera.capture_hz),
        post_roll_s=(LOOP + 24) / float(camera.capture_hz),
    )
    return aim_camera(replace(plan, camera=camera, scene=scene), x_share=0.63, y_share=0.34)


def _said(plan: FlightPlan) -> dict[str, Any]:
    return {
        "distance_m": plan.launch.distance_m,
        "camera_distance_m": plan.camera.behind_m - plan.launch.stroke_m,
        "capture_hz": str(plan.camera.capture_hz),
    }


def run(what: str, film: Film, settings: dict[str, Any] | None = None) -> dict[str, Any]:
    """Do one thing to one film in a process of its own."""
    command = [sys.executable, "-m", "tests.benchmarks.tracker_child", what, str(film.path)]
    command.append(json.dumps(film.settings if settings is None else settings))
    done = subprocess.run(command, capture_output=True, text=True, check=True)
    told: dict[str, Any] = json.loads(done.stdout.splitlines()[-1])
    return told


def print_costs(film: Film, rounds: int) -> None:
    """Print decoding, following and reading in turns, by processor and by the clock."""
    kinds = ("decode", "follow", "read")
    runs = [{kind: run(kind, film) for kind in kinds} for _ in range(rounds)]
    peaks = " ".join(f"{max(one[kind]['peak_mb'] for one in runs):6.0f}" for kind in kinds)
    for measure in ("processor", "clock"):
        least = {kind: min(one[kind][f"{measure}_s"] for one in runs) for kind in kinds}
        seconds = "".join(f"{least[kind]:7.2f}s" for kind in kinds)
        ratios = (least["follow"] / least["decode"], least["read"] / least["decode"])
        click.echo(
            f"{film.name:22}{len(film.shown):7d} {measure:9}{seconds}{ratios[0]:8.2f}x"
            f"{ratios[1]:6.2f}x   {peaks if measure == 'processor' else ''}"
        )
    told = runs[0]["read"]
    click.echo(f"{'':30}read: {told['label']}, refused: {told['refused']}; aim: read at most "
               f"{RATIO} times decoding at 1080p")  # fmt: skip


def print_library(film: Film) -> None:
    """Hold the tracker against trackpy on the frames of the flight: time and error.

    The library looks at those frames alone and links nothing: of the spots that it finds the one
    nearest to the true nock is taken as its answer, which is more than it could know. Its time for
    the whole film is that of the flight's frames times as many frames as the film has.
    """
    if find_spec("trackpy") is None:
        click.echo(f"{film.name:22} trackpy is not installed here: skipped")
        return
    rows = np.flatnonzero(film.truth.visible[film.shown])
    first, last = int(rows[0]), int(rows[-1])
    settings = {"first": first, "last": last, "diameter_px": SPOT_PX, "most": SPOTS}
    theirs, ours = run("spots", film, settings), run("follow", film)
    decoding = run("decode", film)
    wide = film.truth.tail_px[film.shown] >= 1.0
    spots = _nearest(theirs, film.true_px(first))
    lines = {"trackpy": spots[wide[spots[:, 0].astype(int)]]}
    if "xy_px" in ours:
        at = np.array(ours["rows"])
        off = np.array(ours["xy_px"]) - film.true_px(ours["reference_frame"])[at]
        lines["tailsway"] = np.column_stack([at, off])[wide[at]]
    whole_s = (theirs["processor_s"] - decoding["processor_s"]) / theirs["frames"]
    whole_s = whole_s * len(film.shown) + decoding["processor_s"]
    spent = {"trackpy": whole_s, "tailsway": ours["processor_s"]}
    peak = {"trackpy": theirs["peak_mb"], "tailsway": ours["peak_mb"]}
    for name, errors in lines.items():
        off = errors[:, 1:] - errors[:, 1:].mean(axis=0)
        rms = np.sqrt((off**2).mean(axis=0))
        times = spent[name] / ours["processor_s"]
        click.echo(
            f"{film.name:22} {name:9} processor {spent[name]:8.1f} s ({times:5.1f}x),"
            f" peak {peak[name]:5.0f} MB, rms error x {rms[0]:.3f} y {rms[1]:.3f} px in"
            f" {len(errors)} of {int((wide[rows]).sum())} frames"
        )


def _nearest(theirs: dict[str, Any], true: FloatArray) -> np.ndarray:
    """(n, 3) frame and error of the spot nearest to the nock, where one is near at all."""
    rows, xy = np.array(theirs["rows"]), np.array(theirs["xy_px"]).reshape(-1, 2)
    found = []
    for row in np.unique(rows):
        off = xy[rows == row] - true[row]
        best = off[np.argmin(np.hypot(*off.T))]
        if np.hypot(*best) < NEAR_PX:
            found.append([row, *best])
    return np.array(found).reshape(-1, 3)


def print_minute(film: Film) -> None:
    """Print the peak memory of a minute of film, and its cost beside decoding."""
    told, decoding = run("read", film), run("decode", film)
    times = [told[f"{one}_s"] / decoding[f"{one}_s"] for one in ("processor", "clock")]
    size = film.path.stat().st_size / 1e6
    verdict = "below" if told["peak_mb"] < PEAK_MB else "NOT below"
    click.echo(
        f"{film.name}, {told['frames']} frames, {size:.0f} MB file: peak {told['peak_mb']:.0f} MB "
        f"({told['base_mb']:.0f} MB before it began), {verdict} {PEAK_MB:.0f}; "
        f"{told['clock_s']:.0f} s; {times[0]:.2f} times decoding by processor, {times[1]:.2f} by "
        f"the clock; {told['label']}, refused: {told['refused']}"
    )


if __name__ == "__main__":
    main()
