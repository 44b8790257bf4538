"""`tailsway plan`: says what a film would show before it is made."""

from __future__ import annotations

import re

import click

from classify.nock_noise import MARKINGS, Marking
from classify.plan import plan_filming
from classify.plan_types import CameraSetting, Shot, Standing
from tracker.types import InputError, message
from ui.command_number import NUMBER
from ui.command_words import language_of, language_option
from ui.known_input import parse_capture_hz
from ui.plan_words import WORTH_FILMING, plan_headline
from ui.words import say


def _help(name: str) -> str:
    return say(message(f"planning.help_{name}"))


@click.command("plan", help=_help("command"))
@click.option("--frame-hz", required=True, metavar="HZ", help=_help("frame_hz"))
@click.option("--picture", required=True, metavar="WxH", help=_help("picture"))
@click.option("--field-of-view-deg", required=True, type=NUMBER, help=_help("field_of_view_deg"))
@click.option("--zoom", type=NUMBER, default=1.0, show_default=True, help=_help("zoom"))
@click.option("--behind-m", required=True, type=NUMBER, help=_help("behind_m"))
@click.option("--offset-m", required=True, type=NUMBER, help=_help("offset_m"))
@click.option("--distance-m", required=True, type=NUMBER, help=_help("distance_m"))
@click.option("--nock-mm", required=True, type=NUMBER, help=_help("nock_mm"))
@click.option("--marking", required=True, type=click.Choice(MARKINGS), help=_help("marking"))
@click.option("--wanted-slow-mm", type=NUMBER, help=_help("wanted_slow_mm"))
@click.option("--wanted-fast-mm", type=NUMBER, help=_help("wanted_fast_mm"))
@language_option
@click.pass_context
def plan(
    ctx: click.Context,
    /,
    frame_hz: str,
    picture: str,
    field_of_view_deg: float,
    zoom: float,
    behind_m: float,
    offset_m: float,
    distance_m: float,
    nock_mm: float,
    marking: Marking,
    wanted_slow_mm: float | None,
    wanted_fast_mm: float | None,
) -> None:
    """Print what the film would show; exit status 3 if it is not worth filming."""
    language = language_of(ctx)
    width, height = parse_picture(picture)
    made = plan_filming(
        CameraSetting(
            frame_hz=parse_capture_hz(frame_hz, entry="--frame-hz"),
            width_px=width,
            height_px=height,
            field_of_view_deg=field_of_view_deg,
            zoom=zoom,
        ),
        Standing(behind_m=behind_m, offset_m=offset_m),
        Shot(
            distance_m=distance_m,
            nock_diameter_m=nock_mm / 1000,
            marking=marking,
            wanted_slow_mm=wanted_slow_mm,
            wanted_fast_mm=wanted_fast_mm,
        ),
    )
    headline = plan_headline(made)
    click.echo(say(headline, language))
    for sentence in made.verdict:
        click.echo(f"- {say(sentence, language)}")
    ctx.exit(0 if headline.key in WORTH_FILMING else 3)


def parse_picture(text: str) -> tuple[int, int]:
    """Read the size of a picture.

    Parameters
    ----------
    text
        Width and height, for example ``1920x1080``.

    Returns
    -------
    tuple of int
        Width and height in pixels.

    Raises
    ------
    InputError
        If it is none.

    Examples
    --------
    >>> parse_picture("1920x1080")
    (1920, 1080)
    """
    found = re.fullmatch(r"\s*(\d{1,5})\s*[xX×]\s*(\d{1,5})\s*", text)
    if found is None:
        raise InputError("planning.bad_picture", text=text)
    return int(found[1]), int(found[2])
