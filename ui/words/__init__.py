"""Every sentence a coach reads: messages go in, sentences of one language come out.

A language is a folder here, of TOML files, one for each area; ``area.name`` is the name under
`area.toml`. Templates use `str.format` fields.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from functools import cache
from importlib.resources import files

from tracker.types import Message

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
    return template.format(**message.values)
