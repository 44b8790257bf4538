"""The dashboard's libraries are loaded once, ahead of the first page, by one thread."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest
from streamlit.testing.v1 import AppTest

from ui import page_read, served_app
from ui.command_open import server_command


def test_page_is_drawn_by_the_script_that_is_served(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The file that the server is given draws the greeting, without a mistake."""
    monkeypatch.setenv("TAILSWAY_FOLDER", str(tmp_path))
    monkeypatch.setenv("TAILSWAY_LANGUAGE", "en")
    monkeypatch.setattr(page_read, "read_ahead", lambda _work, _name: None)
    served = next(part for part in server_command(1) if part.endswith(".py"))
    assert Path(served) == Path(served_app.__file__)
    page = AppTest.from_file(served_app.app.script_path, default_timeout=60).run()
    assert not page.exception
    assert page.title[0].value == "Read a clip"


def test_libraries_are_loaded_without_a_page() -> None:
    """After waiting, what a page imports is there already."""
    program = (
        "import sys, ui.loading as l; assert 'ui.dashboard' not in sys.modules;"
        "l.load_ahead(); l.wait_until_loaded(); print('ui.dashboard' in sys.modules)"
    )
    done = subprocess.run(
        [sys.executable, "-c", program], capture_output=True, text=True, check=True, timeout=120
    )
    assert done.stdout.strip() == "True"


def test_a_file_in_the_coachs_folder_is_no_library(tmp_path: Path) -> None:
    """A folder `ui` where the command is run does not stand in for ours."""
    (tmp_path / "ui").mkdir()
    (tmp_path / "ui" / "__init__.py").write_text("raise SystemExit(9)\n", encoding="utf-8")
    program, *_ = server_command(1)
    flags = server_command(1)[1:4]
    done = subprocess.run(
        [program, *flags, "--version"], cwd=tmp_path, capture_output=True, text=True, check=False,
        timeout=120,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    assert "Streamlit" in done.stdout
