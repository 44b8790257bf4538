"""Pinned dependencies: whole, with hashes, and within the bounds that pyproject.toml states."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

import pytest
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

ROOT = Path(__file__).parents[1]
FILES = ("lock.txt", "lock-dev.txt")


def wanted(*extras: str) -> list[Requirement]:
    """List what pyproject.toml asks for."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"]
    texts = list(project["dependencies"])
    for extra in extras:
        texts += project["optional-dependencies"][extra]
    return [Requirement(text) for text in texts]


def entries(file: str) -> list[tuple[Requirement, list[str]]]:
    """List what a file pins, with the hashes of each."""
    text = (ROOT / ".ci" / file).read_text("utf-8").replace("\\\n", " ")
    lines = [line.split("--hash=") for line in text.splitlines() if line.strip()]
    return [(Requirement(first), [one.strip() for one in rest]) for first, *rest in lines]


def pinned(file: str) -> dict[str, str]:
    """Give version by name, for this Python and system."""
    here = [one for one, _ in entries(file) if one.marker is None or one.marker.evaluate()]
    return {canonicalize_name(one.name): str(one.specifier).removeprefix("==") for one in here}


@pytest.mark.parametrize("file", FILES)
def test_every_entry_is_one_version_with_hashes(file: str) -> None:
    """Nothing can be put in the place of what was tested."""
    for one, hashes in entries(file):
        assert re.fullmatch(r"==[0-9][0-9a-z.]*", str(one.specifier)), one
        assert hashes, one
        assert all(re.fullmatch(r"sha256:[0-9a-f]{64}", text) for text in hashes), one


@pytest.mark.parametrize(("file", "extras"), [("lock.txt", ()), ("lock-dev.txt", ("dev",))])
def test_pinned_versions_are_allowed(file: str, extras: tuple[str, ...]) -> None:
    """Whoever changes a bound pins anew."""
    versions = pinned(file)
    for one in wanted(*extras):
        assert one.specifier.contains(versions[canonicalize_name(one.name)]), one


def test_tools_are_pinned_on_top_of_the_rest() -> None:
    """What is tested is what is used."""
    assert pinned("lock.txt").items() <= pinned("lock-dev.txt").items()


@pytest.mark.parametrize("file", FILES)
def test_no_address_is_written_down(file: str) -> None:
    """Where packages come from is the business of the machine that installs them."""
    text = (ROOT / ".ci" / file).read_text("utf-8")
    assert "://" not in text
    assert "--index" not in text
    assert "--find-links" not in text


def test_every_dependency_has_its_reason() -> None:
    """The contributors' page says of each when it came in, and what for."""
    page = (ROOT / "DEVELOPERS.md").read_text("utf-8").partition("## Dependencies")[2]
    listed = page.partition("\n## ")[0].lower()
    missing = [one.name for one in wanted("dev") if one.name.lower() not in listed]
    assert not missing
