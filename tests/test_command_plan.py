"""`tailsway plan`: what a film would show, told before it is made, with an exit status."""

from __future__ import annotations

import pytest
from click.testing import CliRunner

from ui.command import main

SETTINGS = {
    "frame-hz": "240",
    "picture": "1920x1080",
    "field-of-view-deg": "65",
    "zoom": "2",
    "behind-m": "2",
    "offset-m": "0.4",
    "distance-m": "30",
    "nock-mm": "6.5",
    "marking": "bright",
}
GOOD = ["plan", *(f"--{name}={value}" for name, value in SETTINGS.items())]


def changed(*changes: str) -> list[str]:
    """Give the good plan with some options said again."""
    return [*GOOD, *changes]


def test_good_plan_is_worth_filming_and_ends_with_the_line() -> None:
    """The verdict first, the caution for safety among the sentences."""
    done = CliRunner().invoke(main, GOOD)
    assert done.exit_code == 0
    assert done.stdout.startswith("This film would show it")
    assert "forward of the shooting line" in done.stdout


def test_normal_speed_is_not_worth_filming() -> None:
    """30 frames a second: status 3, and the rate is named as the reason."""
    done = CliRunner().invoke(main, changed("--frame-hz", "30"))
    assert done.exit_code == 3
    assert "frames per second" in done.stdout


@pytest.mark.parametrize(
    "change",
    [("--behind-m", "-1"), ("--picture", "large"), ("--zoom", "0"), ("--frame-hz", "fast")],
)
def test_what_cannot_be_is_a_sentence(change: tuple[str, str]) -> None:
    """Status 2, nothing on standard output, no traceback."""
    done = CliRunner().invoke(main, changed(*change))
    assert (done.exit_code, done.stdout) == (2, "")
    assert done.stderr.strip().endswith(".")


def test_an_impossible_rate_is_told_by_the_option_s_own_name() -> None:
    """Planning has no --capture-hz."""
    done = CliRunner().invoke(main, changed("--frame-hz", "0"))
    assert done.exit_code == 2
    assert done.stderr.startswith("--frame-hz is 0")


def test_numbers_take_a_comma_and_no_unit() -> None:
    """As everywhere else; what is no number is a sentence."""
    commas = changed("--offset-m", "0,4", "--nock-mm", "6,5")
    assert CliRunner().invoke(main, commas).stdout == CliRunner().invoke(main, GOOD).stdout
    for wrong in ("18 m", "nan", "1,000,5"):
        done = CliRunner().invoke(main, changed("--distance-m", wrong))
        assert (done.exit_code, done.stdout) == (2, "")
        assert done.stderr.startswith(f"--distance-m is '{wrong}', which is not a number.")


def test_a_film_that_would_not_show_it_ends_with_status_3() -> None:
    """Scripts and people hear the same: the headline decides."""
    done = CliRunner().invoke(main, changed("--wanted-slow-mm", "0.1", "--wanted-fast-mm", "0.1"))
    assert done.stdout.startswith("This film would not show it")
    assert done.exit_code == 3
