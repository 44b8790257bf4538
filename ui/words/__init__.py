"""Every sentence a coach reads: messages go in, sentences of one language come out.

A language is a folder here, of TOML files, one for each area; ``area.name`` is the name under
`area.toml`. Templates use `str.format` fields. A number that comes with its standard error can be
asked for as one text.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from functools import cache
from importlib.resources import files
from typing import Literal

from tracker.types import Message, Value
from ui.rounding import with_error

LANGUAGES: Mapping[str, str] = {"en": "English", "es": "Español"}


@cache
def catalogue(language: str) -> Mapping[str, str]:
    """Read every template of a language, by ``area.name``.

    Parameters
    ----------
    language
        Two letters, a key of `LANGUAGES`.

    Returns
    -------
    Mapping
        Template by key.
    """
    templates: dict[str, str] = {}
    for entry in (files(__package__) / language).iterdir():
        if entry.name.endswith(".toml"):
            area = entry.name.removesuffix(".toml")
            for name, template in tomllib.loads(entry.read_text(encoding="utf-8")).items():
                templates[f"{area}.{name}"] = template
    return templates


Face = Literal["command", "page"]
"""Where a sentence is read: what the coach is to give is an option there and a field here."""

ENTRY = "entry"
"""Value of a message that names one thing a coach can give, as `entries` has it."""

SEEN = "seen"
"""Value of a message that names a disturbance."""

FIELD = "field"
"""Value of a message that names a field of the set-up sheet; a page has a label for it."""

SOURCES = ("odd", "others")
"""Values that name what a scale rests on, with commas between several."""


@cache
def entries(language: str, face: Face) -> Mapping[str, str]:
    """Name everything that a coach can give about a clip, as the face of the tool names it.

    Parameters
    ----------
    language
        Two letters.
    face
        Where it is given.

    Returns
    -------
    Mapping
        Name by key of what is known: ``--capture-hz``, or “Frames a second, as filmed”.
    """
    said, english = catalogue(language), catalogue("en")
    helped = "pages.known_help_"
    names = [key.removeprefix(helped) for key in english if key.startswith(helped)]
    if face == "command":
        return {name: f"--{name.replace('_', '-')}" for name in names}
    labels = {name: f"pages.known_{name}" for name in names}
    quoted = said.get("pages.entry", english["pages.entry"])
    return {name: quoted.format(label=said.get(key, english[key])) for name, key in labels.items()}


def say(message: Message, language: str = "en", face: Face = "command") -> str:
    """Turn a message into a sentence.

    Parameters
    ----------
    message
        What to say.
    language
        Two letters; a sentence that the language lacks is said in English.
    face
        Where it is read. A template asks by ``{give_capture_hz}`` for the option or the field in
        which the capture rate is given.

    Returns
    -------
    str
        One sentence or more.

    Raises
    ------
    KeyError
        If not even English has the key, or a value is missing: a mistake in the code, which a test
        over all keys catches.

    Examples
    --------
    >>> from tracker.types import message
    >>> say(message("film.missing_file", path="a.mp4"))
    'There is no file a.mp4. Give the path of a film file.'
    """
    said = catalogue(language)
    template = said.get(message.key) or catalogue("en")[message.key]
    named = entries(language, face)
    # A value follows: behind an option as it is typed, behind a field's label after a colon.
    then = ":" if face == "page" else ""
    values: dict[str, Value] = {f"give_{name}": text + then for name, text in named.items()}
    values |= _with_errors(message.values) | dict(message.values)
    if ENTRY in values:
        values[ENTRY] = named.get(str(values[ENTRY]), values[ENTRY])
    if FIELD in values and face == "page":
        label = f"logbook.field_{str(values[FIELD]).replace(' ', '_')}"
        values[FIELD] = said.get(label) or catalogue("en").get(label) or values[FIELD]
    if f"reading.label_{values.get(SEEN)}" in catalogue("en"):
        values[SEEN] = said.get(f"reading.label_{values[SEEN]}", str(values[SEEN])).lower()
    values |= {name: _sources(str(values[name]), language) for name in SOURCES if name in values}
    return template.format(**values)


def season_said(text: str, language: str) -> str:
    """Say in one language what the worked season writes down in English, beside people's own words.

    Parameters
    ----------
    text
        A note or a reason, as kept.
    language
        Two letters.

    Returns
    -------
    str
        In that language if the season wrote it; anything else as it was typed.
    """
    for key, english in catalogue("en").items():
        if key.startswith("rounds.season_said_") and english == text:
            return catalogue(language).get(key, text)
    return text


def _sources(names: str, language: str) -> str:
    """Name what a scale rests on; a name that the catalogue lacks stays as it is."""
    english, said = catalogue("en"), catalogue(language)
    keys = {name: f"reading.source_{name.replace(' ', '_')}" for name in names.split(", ")}
    return ", ".join(said.get(key, english.get(key, name)) for name, key in keys.items())


def _with_errors(values: Mapping[str, Value]) -> dict[str, str]:
    """Write each number that brings its standard error as one text, rounded as that allows.

    ``swing_mm`` with ``swing_sigma_mm`` gives a template ``swing``: rounded in the template, it
    would be rounded otherwise than in the tables beside it.
    """
    texts = {}
    for name, sigma in values.items():
        what, marked, unit = name.partition("_sigma_")
        value = values.get(f"{what}_{unit}")
        if marked and isinstance(value, int | float) and isinstance(sigma, int | float):
            texts[what] = with_error(value, sigma)
    return {what: text for what, text in texts.items() if what not in values}
