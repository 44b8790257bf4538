"""The command starts quickly: what a command does not need is not loaded."""

from __future__ import annotations

import subprocess
import sys

import pytest
from click.testing import CliRunner

from ui.command import ELSEWHERE, main

SELDOM_NEEDED = ("fpdf", "fontTools", "jinja2", "streamlit", "segno", "scipy.stats", "pandas")
"""Slow to load, and no part of reading a clip."""


@pytest.mark.parametrize("module", ["ui.command", "ui.command_book", "classify.pipeline"])
def test_what_is_seldom_needed_is_not_loaded(module: str) -> None:
    """Reports, pages and tables of every probability law cost a second together."""
    program = f"import sys, {module}; print(*sys.modules)"
    done = subprocess.run(
        [sys.executable, "-c", program], capture_output=True, text=True, check=True, timeout=120
    )
    assert set(SELDOM_NEEDED).isdisjoint(done.stdout.split())


def test_every_command_is_listed_before_it_is_loaded() -> None:
    """The list of commands is whole, in order of the alphabet."""
    listed = CliRunner().invoke(main, ["--help"]).stdout.partition("Commands:")[2]
    names = [line.split()[0] for line in listed.splitlines() if line.startswith("  ")]
    assert names == sorted([*ELSEWHERE, "read"])


@pytest.mark.parametrize("name", sorted(ELSEWHERE))
def test_every_command_can_be_loaded(name: str) -> None:
    """Each explains itself."""
    done = CliRunner().invoke(main, [name, "--help"])
    assert done.exit_code == 0
    assert done.stdout.startswith(f"Usage: main {name}")


def test_an_unknown_command_is_a_slip() -> None:
    """One sentence and status 2."""
    done = CliRunner().invoke(main, ["raed"])
    assert done.exit_code == 2
    assert "raed" in done.stderr
