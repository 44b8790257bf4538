"""Every sentence that the code asks for exists, with the values it is given, in every language."""

from __future__ import annotations

import ast
import re
import string
from collections.abc import Iterator
from pathlib import Path
from typing import NamedTuple

import pytest

from ui.words import LANGUAGES, catalogue, entries

ROOT = Path(__file__).parent.parent
KEY = re.compile(r"[a-z_]+\.[a-z0-9_]+")
AREAS = {key.partition(".")[0] for key in catalogue("en")}
CALLS = {"message", "Message", "InputError", "word", "words"}


class Asked(NamedTuple):
    """One place in the code that asks for a sentence."""

    where: str
    key: str
    values: frozenset[str] | None


def sources() -> Iterator[Path]:
    """Every module of the project but the tests."""
    for package in ("tracker", "classify", "ui", "fixtures"):
        yield from sorted((ROOT / package).rglob("*.py"))


def asked_for() -> Iterator[Asked]:
    """Every constant key, with the names of its values where they are written out."""
    for path in sources():
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if not isinstance(node, ast.Call) or not node.args:
                continue
            name = getattr(node.func, "id", getattr(node.func, "attr", ""))
            first = node.args[0]
            if name not in CALLS or not isinstance(first, ast.Constant):
                continue
            if not isinstance(first.value, str) or not KEY.fullmatch(first.value):
                continue
            names = [keyword.arg for keyword in node.keywords]
            known = None if None in names else frozenset(str(n) for n in names)
            where = f"{path.relative_to(ROOT)}:{node.lineno}"
            yield Asked(where, first.value, known)


def prefixes_asked_for() -> Iterator[tuple[str, str]]:
    """Beginnings of keys that are put together from a name, ``area.beginning``."""
    for path in sources():
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if not isinstance(node, ast.Call) or not node.args:
                continue
            name = getattr(node.func, "id", getattr(node.func, "attr", ""))
            first = node.args[0]
            if name not in CALLS or not isinstance(first, ast.JoinedStr):
                continue
            start = first.values[0]
            if isinstance(start, ast.Constant) and "." in str(start.value):
                yield f"{path.relative_to(ROOT)}:{node.lineno}", str(start.value)


def fields(template: str) -> frozenset[str]:
    """Names that a template needs."""
    return frozenset(
        re.split(r"[.\[]", name)[0]
        for _, name, _, _ in string.Formatter().parse(template)
        if name is not None
    )


def test_every_sentence_asked_for_exists() -> None:
    """No key in the code is missing from the English catalogue."""
    missing = [f"{a.where}: {a.key}" for a in asked_for() if a.key not in catalogue("en")]
    assert missing == []


GIVEN = {f"give_{name}" for name in entries("en", "command")}
"""What `say` fills in by itself: where a coach gives something."""


def test_every_sentence_gets_the_values_it_needs() -> None:
    """A template's fields are all given where the call writes its values out."""
    short = [
        f"{a.where}: {a.key} needs {sorted(fields(catalogue('en')[a.key]) - a.values - GIVEN)}"
        for a in asked_for()
        if a.values is not None
        and a.key in catalogue("en")
        and not fields(catalogue("en")[a.key]) <= a.values | GIVEN
    ]
    assert short == []


def test_every_beginning_of_a_key_has_sentences() -> None:
    """Keys that are put together begin like at least one sentence."""
    missing = [
        f"{where}: {start}..."
        for where, start in prefixes_asked_for()
        if not any(key.startswith(start) for key in catalogue("en"))
    ]
    assert missing == []


@pytest.mark.parametrize("language", sorted(set(LANGUAGES) - {"en"}))
def test_another_language_is_complete(language: str) -> None:
    """Every sentence is there, with the same fields, and none that English lacks."""
    english, other = catalogue("en"), catalogue(language)
    assert sorted(set(english) - set(other)) == []
    assert sorted(set(other) - set(english)) == []
    unlike = [key for key in english if fields(english[key]) != fields(other[key])]
    assert unlike == []


@pytest.mark.parametrize("language", sorted(LANGUAGES))
def test_templates_are_well_formed(language: str) -> None:
    """No template has a field without a name, or a stray brace."""
    for key, template in catalogue(language).items():
        assert "" not in fields(template), key
        assert template.strip() == template, key


FORMAL = re.compile(
    r"\b(usted|Usted|Dé|Copie|Compruebe|Grabe|Diga|Revise|Indique|Recorte|Desactive|Reinicie"
    r"|Escriba|Elija|Ponga|Instale|Vuelva|Filme|Use|Mida)(lo|la|los|las)?\b"
)
"""A coach is spoken to as tú; these are how a sentence would begin that does otherwise."""

ENGLISH = re.compile(r"minnowing|porpoising|fishtail|coleo\b", re.IGNORECASE)
"""Names of swings that have one name of their own in Spanish: coleteo, cabeceo, serpenteo."""


def test_spanish_speaks_in_one_voice() -> None:
    """One way to speak to the coach, and one name for each swing, in every area."""
    said = catalogue("es")
    assert [key for key, text in said.items() if FORMAL.search(text)] == []
    typed = {"logbook.help_seen"}  # what the command takes is the same in every language
    assert {key for key, text in said.items() if ENGLISH.search(text)} == typed


@pytest.mark.parametrize("language", sorted(LANGUAGES))
def test_no_sentence_speaks_of_logarithms(language: str) -> None:
    """A coach weighs what speaks for and against; the odds' logarithm is the program's affair."""
    jargon = re.compile(r"\blog-?odds\b|logarit|logit", re.IGNORECASE)
    assert [key for key, text in catalogue(language).items() if jargon.search(text)] == []


@pytest.mark.parametrize("language", sorted(LANGUAGES))
def test_a_page_is_called_what_the_menu_calls_it(language: str) -> None:
    """Who follows the menu finds the page that it named."""
    words = catalogue(language)
    areas = [key.removesuffix(".nav") for key in words if key.endswith(".nav")]
    assert "round" in areas
    assert [area for area in areas if words[f"{area}.title"] != words[f"{area}.nav"]] == []
