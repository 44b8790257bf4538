"""A dashboard of its own, as the command serves it, and Debian's Chromium to look at it."""

from __future__ import annotations

import os
import shutil
import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, ConsoleMessage, Page, expect, sync_playwright

from ui.command_open import HOST, free_port, server_command, wait_until_ready

CHROMIUM = os.environ.get("TAILSWAY_CHROMIUM") or shutil.which("chromium") or "/usr/bin/chromium"
# Streamlit looks for its own root under the address of a deep link first, and finds it elsewhere.
PROBES = ("_stcore/health", "_stcore/host-config")

NOTHING_SLIDES = """
const animate = Element.prototype.animate;
Element.prototype.animate = function (frames, how) {
  return animate.call(this, frames, typeof how === 'number' ? 0 : {...how, duration: 0});
};
"""
"""A part that is opened slides for half a second; a press of a machine, which is quicker than any
hand, goes down on its button and comes up on what has slid there, which is a press on nothing."""


@pytest.fixture(scope="session")
def dashboard(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """Serve a dashboard with an empty folder, and give its address."""
    port = free_port()
    folder = tmp_path_factory.mktemp("coach")
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


@pytest.fixture(scope="session")
def chromium() -> Iterator[Browser]:
    """Give Debian's Chromium, without a window."""
    expect.set_options(timeout=30_000)  # a busy machine draws slowly
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
        yield browser
        browser.close()


@pytest.fixture
def page(chromium: Browser) -> Iterator[Page]:
    """Give an empty tab that fails the test if a page complains on the console."""
    context = chromium.new_context(viewport={"width": 1280, "height": 900})
    context.add_init_script(NOTHING_SLIDES)
    tab = context.new_page()
    tab.set_default_timeout(60_000)
    complaints: list[str] = []

    def note(complaint: ConsoleMessage) -> None:
        where = str(complaint.location.get("url", ""))
        if complaint.type == "error" and not where.endswith(PROBES):
            complaints.append(f"{complaint.text} ({where})")

    tab.on("console", note)
    tab.on("pageerror", lambda mistake: complaints.append(str(mistake)))
    yield tab
    context.close()
    assert complaints == []


@pytest.fixture
def demo_film() -> Path:
    """Give a shipped clip to upload."""
    return Path(__file__).parents[2] / "fixtures" / "clips" / "fishtailing.mp4"


def pressed_at_once(page: Page, *named: tuple[str, str]) -> None:
    """Press several things in one moment, as a hand on a slow computer does: tag and text of each.

    Each is looked up before the first is pressed; nothing comes from the page in between.
    """
    for tag, text in named:
        page.locator(tag, has_text=text).first.wait_for(state="attached")
    page.evaluate(
        """named => named
             .map(([tag, text]) =>
               [...document.querySelectorAll(tag)].find(one => one.textContent.includes(text)))
             .forEach(one => one.click())""",
        [list(pair) for pair in named],
    )


def settled(page: Page) -> None:
    """Wait until the page is drawn to its foot and nothing runs any more."""
    page.locator("footer.ts-foot").wait_for()
    page.locator('[data-testid="stApp"][data-test-script-state="notRunning"]').wait_for()
