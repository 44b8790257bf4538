"""The rules of the knowledge file: its tables go in, every rule it breaks comes out.

Knows nothing of what a finding means; only that the file is closed and that hands mirror.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterator, Mapping
from importlib.resources import files
from typing import Literal, cast, get_args

Direction = Literal[
    "right", "left", "up", "down", "in", "out", "more", "less", "stiffer", "softer",
    "turn", "either", "test", "replace", "keep",
]  # fmt: skip
MIRRORED: Mapping[str, Direction] = {"right": "left", "left": "right"}
"""Directions that change places for a left-handed archer; all others stay."""


def raw_knowledge(language: str = "en") -> dict[str, object]:
    """Read the data file as it stands.

    Parameters
    ----------
    language
        Two letters. Numbers always come from the English file; another language brings sentences.

    Returns
    -------
    dict
        Tables of the TOML file.
    """
    folder = files(__package__)
    raw = tomllib.loads((folder / "knowledge.toml").read_text(encoding="utf-8"))
    translated = folder / f"knowledge.{language}.toml"
    if language != "en" and translated.is_file():
        _overlay(raw, tomllib.loads(translated.read_text(encoding="utf-8")))
    return raw


def _overlay(below: dict[str, object], above: Mapping[str, object]) -> None:
    """Put the sentences of `above` in the place of those below, table by table."""
    for key, value in above.items():
        inner = below.get(key)
        if isinstance(value, dict) and isinstance(inner, dict):
            _overlay(inner, value)
        elif isinstance(value, str) and isinstance(inner, str):
            below[key] = value


SENTENCES = (
    "title",
    "why",
    "change",
    "step",
    "far_step",
    "caution",
    "next_clip",
    "next_test",
    "stop",
)
_NEEDED = {
    "findings": ("kind", "title", "source"),
    "causes": ("stage", "title", "why", "start", "for", "against", "cures", "source"),
    "cures": ("direction", "change", "step", "cost", "reversible", "caution", "next_clip",
              "next_test", "stop", "source"),
}  # fmt: skip


def faults(raw: Mapping[str, object]) -> list[str]:
    """List every rule of its own that a knowledge file breaks.

    Parameters
    ----------
    raw
        As `raw_knowledge` returns it.

    Returns
    -------
    list of str
        Empty if every finding speaks for a cause, every cause has known findings, a stage and a
        cure, every cure has a direction, a step, a caution, a test, a stop and a source and is
        used, and no sentence names a side that would not mirror.
    """
    found = list(_missing_fields(raw))
    if found:  # the checks below need the fields
        return found
    findings, causes, cures = table(raw, "findings"), table(raw, "causes"), table(raw, "cures")
    order = cast("list[str]", raw["order"])
    if set(order) != set(cast("dict[str, str]", raw["stages"])):
        found.append("order and stages name different stages")
    spoken_for: set[str] = set()
    used: set[str] = set()
    for name, cause in causes.items():
        pro, con = (cast("dict[str, float]", cause[side]) for side in ("for", "against"))
        spoken_for |= pro.keys()
        used |= set(cast("list[str]", cause["cures"]))
        if cause["stage"] not in order:
            found.append(f"cause {name} has an unknown stage {cause['stage']}")
        if not cause["cures"] or not pro:
            found.append(f"cause {name} lacks a cure or a finding that speaks for it")
        found += [f"cause {name} weighs {f} for and against" for f in pro if f in con]
        found += [f"cause {name} weighs unknown {f}" for f in (pro | con) if f not in findings]
        found += [f"cause {name}: {f} speaks the wrong way" for f, w in pro.items() if w <= 0]
        found += [f"cause {name}: {f} speaks the wrong way" for f, w in con.items() if w >= 0]
        found += [f"cause {name} has unknown cure {c}" for c in cast("list[str]", cause["cures"])
                  if c not in cures]  # fmt: skip
    found += [f"finding {name} speaks for no cause" for name in findings if name not in spoken_for]
    found += [f"cure {name} cures nothing" for name in cures if name not in used]
    found += [f"cure {name} has an unknown direction" for name, cure in cures.items()
              if cure["direction"] not in get_args(Direction)]  # fmt: skip
    return found + list(_unmirrored(raw))


def _missing_fields(raw: Mapping[str, object]) -> Iterator[str]:
    for kind, fields in _NEEDED.items():
        for name, entry in table(raw, kind).items():
            for needed in fields:
                if entry.get(needed) in (None, ""):
                    yield f"{kind} {name} lacks {needed}"


def _unmirrored(raw: Mapping[str, object]) -> Iterator[str]:
    """Sides named outside braces, which would not change places for the other hand."""
    words = cast("dict[str, str]", raw["words"])
    bare = re.compile(rf"(?<!{{)\b({words['right']}|{words['left']})\b(?![-}}])", re.IGNORECASE)
    for kind in ("findings", "causes", "cures"):
        for name, entry in table(raw, kind).items():
            for field in SENTENCES:
                if bare.search(str(entry.get(field, ""))):
                    yield f"{kind} {name}: {field} names a side outside braces"


def table(raw: Mapping[str, object], kind: str) -> dict[str, dict[str, object]]:
    """Entries of one kind ("findings", "causes", "cures") by name."""
    return cast("dict[str, dict[str, object]]", raw[kind])
