"""Many at once, a browser closed in the middle, and names that want to be more than names."""

from __future__ import annotations

import hashlib
import os
import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, expect

from classify import logbook
from classify.logbook_file import LogbookFile
from tests.benchmarks.load import crowd, leave_in_the_middle
from tests.browser.conftest import settled
from ui.command_open import HOST, free_port, server_command, wait_until_ready
from ui.shelf import Shelf

pytestmark = pytest.mark.browser


@pytest.fixture
def coach(tmp_path: Path) -> Path:
    """Give a folder for a dashboard of its own."""
    folder = tmp_path / "coach"
    folder.mkdir()
    return folder


@pytest.fixture
def own(coach: Path) -> Iterator[str]:
    """Serve a dashboard on that folder, and give its address."""
    yield from _served(coach)


@pytest.fixture
def second(coach: Path, own: str) -> Iterator[str]:
    """Serve another dashboard on the same folder."""
    for url in _served(coach):
        assert url != own
        yield url


def _served(folder: Path) -> Iterator[str]:
    port = free_port()
    server = subprocess.Popen(
        server_command(port),
        env={**os.environ, "TAILSWAY_FOLDER": str(folder), "TAILSWAY_LANGUAGE": "en"},
        cwd=folder,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )
    url = f"http://{HOST}:{port}"
    try:
        wait_until_ready(url, server)
        yield url
    finally:
        server.terminate()
        server.wait(timeout=20)


@pytest.mark.long
@pytest.mark.endurance
def test_ten_at_once_and_one_who_leaves(
    own: str, coach: Path, chromium: Browser, tmp_path: Path
) -> None:
    """Each gets its own verdict, every acknowledged film is whole, nobody waits for who left."""
    left = leave_in_the_middle(own, chromium, tmp_path)
    sessions = crowd(own, chromium, tmp_path, 10)
    assert [one.verdict for one in sessions] == ["Fishtailing"] * 10
    shelf = Shelf(coach)
    assert {clip.sha256 for clip in shelf.clips()} == {left, *(one.sha256 for one in sessions)}
    for clip in shelf.clips():
        assert hashlib.sha256(clip.path.read_bytes()).hexdigest() == clip.sha256
    assert list((coach / "clips").glob("*.part")) == []


def test_two_dashboards_on_one_folder(own: str, second: str, page: Page, coach: Path) -> None:
    """An archer written down in one is in the other; a name that is in use is said in both."""
    page.goto(f"{own}/rounds")
    settled(page)
    page.get_by_role("textbox", name="Name or code").fill("Robin")
    page.get_by_role("button", name="Write the archer down").click()
    page.get_by_text("has no set-up yet").wait_for()
    page.goto(f"{second}/logbook")
    settled(page)
    expect(page.get_by_role("link", name="Robin")).to_be_visible()
    assert [archer.name for archer in logbook.archers(LogbookFile(coach))] == ["Robin"]


def test_a_name_fetches_nothing_and_runs_nothing(own: str, page: Page, coach: Path) -> None:
    """Markdown, HTML and formulas in an archer's name are shown as they were typed.

    An address in it may become a link, which says where it leads; nothing follows it by itself.
    """
    asked: list[str] = []
    page.on("request", lambda request: asked.append(request.url))
    evil = "![x](http://elsewhere.example/x.png) <img src=http://elsewhere.example/y> **b** $x^2$"
    book = LogbookFile(coach)
    logbook.add_archer(book, evil, hand="left")
    page.goto(f"{own}/rounds")
    settled(page)
    expect(page.get_by_text("![x](http://elsewhere.example/x.png)").first).to_be_visible()
    assert page.locator("img[src*='elsewhere'], .katex, strong:text-is('b')").count() == 0
    page.goto(f"{own}/logbook?find=elsewhere")
    settled(page)
    page.get_by_role("link", name=evil).first.click()  # found, and among the archers
    settled(page)
    assert page.locator("img[src*='elsewhere'], .katex, strong:text-is('b')").count() == 0
    assert not [url for url in asked if not url.startswith((own, "data:", "blob:", "ws:"))]
