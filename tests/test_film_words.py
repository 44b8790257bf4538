"""Every sentence about films has its template, and every template is said somewhere."""

from __future__ import annotations

import re
import tomllib
from importlib.resources import files
from pathlib import Path

import tracker

FILM = re.compile(r"\"film\.(\w+)\"")


def test_code_and_templates_name_the_same_sentences() -> None:
    """No key without a sentence, no sentence without use."""
    folder = Path(tracker.__file__).parent
    used = {key for file in folder.glob("*.py") for key in FILM.findall(file.read_text("utf-8"))}
    catalogue = files("ui.words") / "en" / "film.toml"
    assert used == set(tomllib.loads(catalogue.read_text("utf-8")))


def test_every_language_fills_the_same_gaps() -> None:
    """A translation names the same sentences with the same values."""
    gaps = re.compile(r"\{(\w+)")
    english, spanish = (
        {
            key: sorted(gaps.findall(template))
            for key, template in tomllib.loads(
                (files("ui.words") / language / "film.toml").read_text("utf-8")
            ).items()
        }
        for language in ("en", "es")
    )
    assert english == spanish
