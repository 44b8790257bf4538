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


def say(message: Message, language: str = "en") -> str:
    """Turn a message into a sentence.

    Parameters
    ----------
    message
        What to say.
    language
        Two letters; a sentence that the language lacks is said in English.

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
    template = catalogue(language).get(message.key) or catalogue("en")[message.key]
    return template.format(**_with_errors(message.values), **message.values)


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
