"""What is handed out works by itself: packed, unpacked, built and installed far from its source.

The source package is made from the working copy, the wheel from the source package, and the wheel
is installed with the pinned dependencies alone into an environment of its own. Everything runs in
an empty folder.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
import tarfile
import time
from dataclasses import dataclass
from pathlib import Path
from urllib.request import urlopen

import pytest

from ui.command_open import HOST, free_port

ROOT = Path(__file__).parents[1]
PACKAGES = ("tracker", "classify", "ui", "fixtures")
SLOWEST_S = 600

pytestmark = pytest.mark.long


@dataclass(frozen=True, kw_only=True)
class Installed:
    """An installation: its programs, where it keeps libraries, and an empty folder to work in."""

    programs: Path
    libraries: Path
    folder: Path
    source: Path

    def run(self, program: str, *arguments: str) -> subprocess.CompletedProcess[str]:
        """Run one of its programs in the empty folder."""
        return subprocess.run(
            [str(self.programs / program), *arguments],
            cwd=self.folder,
            env=self.environment(),
            capture_output=True,
            text=True,
            timeout=SLOWEST_S,
            check=False,
        )

    def environment(self) -> dict[str, str]:
        """Give variables in which nothing points back to the working copy."""
        kept = {name: os.environ[name] for name in ("PATH", "HOME") if name in os.environ}
        return {**kept, "TAILSWAY_FOLDER": str(self.folder), "TAILSWAY_LANGUAGE": "en"}


def program_folder(environment: Path) -> Path:
    """Give where a virtual environment keeps its programs."""
    return environment / ("Scripts" if sys.platform == "win32" else "bin")


def new_environment(place: Path) -> Path:
    """Make a virtual environment and give its Python."""
    subprocess.run([sys.executable, "-m", "venv", str(place)], check=True, timeout=SLOWEST_S)
    return program_folder(place) / "python"


def done(*command: str | Path, cwd: Path = ROOT) -> str:
    """Run a step that has to succeed, and give what it printed."""
    step = subprocess.run(
        [str(part) for part in command],
        cwd=cwd, capture_output=True, text=True, timeout=SLOWEST_S, check=False,
    )  # fmt: skip
    assert step.returncode == 0, f"{step.stdout}\n{step.stderr}"
    return step.stdout


@pytest.fixture(scope="module")
def installed(tmp_path_factory: pytest.TempPathFactory) -> Installed:
    """Pack, build and install."""
    place = tmp_path_factory.mktemp("handed-out")
    maker = new_environment(place / "maker")
    tools = subprocess.run(
        [str(maker), "-m", "pip", "install", "-q", "hatchling>=1.26"],
        capture_output=True, text=True, timeout=SLOWEST_S, check=False,
    )  # fmt: skip
    if tools.returncode:
        pytest.skip("no package registry can be reached, and the build tool comes from one")
    done(maker, "-m", "hatchling", "build", "-t", "sdist", "-d", place / "packed")
    (source,) = (place / "packed").glob("tailsway-*.tar.gz")
    unpacked = place / "unpacked"
    with tarfile.open(source) as archive:
        archive.extractall(unpacked, filter="data")
    (project,) = unpacked.iterdir()
    done(maker, "-m", "hatchling", "build", "-t", "wheel", "-d", place / "built", cwd=project)
    (wheel,) = (place / "built").glob("tailsway-*.whl")
    python = new_environment(place / "user")
    # what is never run need not be compiled: that is most of what an installation costs
    pip = (python, "-m", "pip", "install", "-q", "--no-compile")
    done(*pip, "--require-hashes", "-r", ROOT / ".ci" / "lock.txt")
    done(*pip, "--no-deps", wheel)
    folder = place / "empty"
    folder.mkdir()
    where = done(python, "-c", "import sysconfig; print(sysconfig.get_path('purelib'))", cwd=folder)
    return Installed(
        programs=program_folder(place / "user"),
        libraries=Path(where.strip()),
        folder=folder,
        source=source,
    )


def test_every_file_of_the_packages_is_in_the_wheel(installed: Installed) -> None:
    """Clips, words, knowledge, thresholds, fonts, style sheets: none is forgotten."""
    tracked = done("git", "ls-files", *PACKAGES).split("\n")
    missing = [name for name in tracked if name and not (installed.libraries / name).is_file()]
    assert not missing


def test_source_package_holds_what_it_takes_to_go_on(installed: Installed) -> None:
    """Tests, pinned versions and pages for people are in it."""
    with tarfile.open(installed.source) as archive:
        names = {name.partition("/")[2] for name in archive.getnames()}
    assert {"README.md", "DEVELOPERS.md", "tests/test_wheel.py", ".ci/lock.txt"} <= names


def test_the_installation_needs_nothing_else(installed: Installed) -> None:
    """Its metadata agrees with the pinned versions, and no module comes from the working copy."""
    assert installed.run("python", "-m", "pip", "check").returncode == 0
    program = f"import {', '.join(PACKAGES)}; print({', '.join(f'{p}.__file__' for p in PACKAGES)})"
    found = installed.run("python", "-c", program).stdout.split()
    assert all(Path(name).is_relative_to(installed.libraries) for name in found)


def test_demo_reads_every_shipped_clip_rightly(installed: Installed) -> None:
    """The command says so itself with status 0."""
    demo = installed.run("tailsway", "demo")
    assert demo.returncode == 0, demo.stdout
    clips = sorted(path.stem for path in (installed.libraries / "fixtures/clips").glob("*.mp4"))
    assert sorted(line.split()[0] for line in demo.stdout.splitlines()[2:-1]) == clips


def test_a_clip_is_read_in_another_language(installed: Installed) -> None:
    """Thresholds, knowledge and words come from the wheel."""
    clip = installed.libraries / "fixtures/clips/fishtailing.mp4"
    read = installed.run(
        "tailsway", "read", str(clip), "--distance-m", "18", "--hand", "right", "--json",
        "--language", "es",
    )  # fmt: skip
    assert read.returncode == 0, read.stderr
    said = json.loads(read.stdout)
    assert said["label"] == "fishtailing"
    assert said["causes"]
    assert any("Hz" in reason and "lado" in reason for reason in said["reasons"])


def test_a_report_is_written(installed: Installed) -> None:
    """Template and fonts come from the wheel."""
    for arguments in (
        ("archer", "Fern", "--hand", "left"),
        ("setup", "Fern", "blue bow", "--set", "bow_length=68 in", "--date", "2026-02-01"),
        ("report", "Fern", "--pdf", "report.pdf", "--html", "report.html"),
    ):
        step = installed.run("tailsway", "book", *arguments)
        assert step.returncode == 0, step.stderr
    assert (installed.folder / "report.pdf").read_bytes().startswith(b"%PDF")
    assert "Fern" in (installed.folder / "report.html").read_text("utf-8")


def test_dashboard_answers(installed: Installed) -> None:
    """The command starts it, it answers, and it ends with the command."""
    port = free_port()
    command = subprocess.Popen(
        [str(installed.programs / "tailsway"), "open", "--no-browser", "--port", str(port)],
        cwd=installed.folder,
        env=installed.environment(),
        stdout=subprocess.PIPE,
        text=True,
    )
    try:
        assert command.stdout is not None
        until = time.monotonic() + 120
        while str(port) not in command.stdout.readline() and time.monotonic() < until:
            pass
        with urlopen(f"http://{HOST}:{port}/", timeout=30) as answer:
            assert answer.status == 200
            assert b"<!doctype html>" in answer.read().lower()
    finally:
        command.terminate()
        command.communicate(timeout=60)


def test_pages_of_the_dashboard_are_drawn(installed: Installed) -> None:
    """The greeting stands on the page, without a mistake."""
    # The greeting begins to read a clip; it is not waited for.
    program = """
import os
import ui.dashboard
from streamlit.testing.v1 import AppTest
page = AppTest.from_file(ui.dashboard.__file__, default_timeout=120).run()
assert not page.exception, page.exception
assert not page.error, page.error
print(page.title[0].value, "|", page.button[0].label, flush=True)
os._exit(0)
"""
    drawn = installed.run("python", "-c", program)
    assert drawn.returncode == 0, drawn.stderr
    assert drawn.stdout.strip() == "Read a clip | Show me a demo clip"
