"""Takes a picture of every page: laptop and phone width, light and dark.

Run with ``python -m tests.browser.screenshots FOLDER``; it serves a dashboard of its own. With
``best`` behind the folder it takes those alone that the README shows.
"""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
from pathlib import Path

from playwright.sync_api import Page, sync_playwright

from tests.browser.conftest import CHROMIUM, settled
from ui.command_open import HOST, free_port, server_command, wait_until_ready

PAGES = {
    "hello": "",
    "read": "?clip=demo-fishtailing",
    "refused": "?clip=demo-normal_speed",
    "rounds": "rounds?archer=Alder",
    "sheet": "rounds?archer=Alder&part=sheet",
    "beside": "beside?first=demo-fishtailing&second=demo-clean",
    "sandbox": "teach",
    "naming": "teach?lesson=naming&flight=drawn-77&trainee=Robin",
    "sheets": "teach?lesson=sheets&sheet=minnowing",
    "round": "round",
    "phone": "phone",
    "plan": "plan",
    "logbook": "logbook",
    "spanish": "?clip=demo-minnowing&language=es",
}
# Name: address, width, height, dark.
BEST = {
    "reading": ("?clip=demo-fishtailing", 1280, 1560, False),
    "next_change": ("rounds?archer=Birch", 1280, 900, False),
    "teaching": ("teach", 1280, 1200, True),
}
WIDTHS = (1280, 390)
TALLEST = 7000


def take_all(url: str, folder: Path) -> None:
    """Take every picture.

    Parameters
    ----------
    url
        Of a running dashboard.
    folder
        Where the pictures go.
    """
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
        for width in WIDTHS:
            for dark in (False, True):
                context = browser.new_context(
                    viewport={"width": width, "height": 900},
                    color_scheme="dark" if dark else "light",
                )
                page = context.new_page()
                page.set_default_timeout(120_000)
                for name, address in PAGES.items():
                    page.goto(f"{url}/{address}")
                    settled(page)
                    scheme = "dark" if dark else "light"
                    take(page, folder / f"{name}-{width}-{scheme}.png", width)
                context.close()
        browser.close()


def take_best(url: str, folder: Path) -> None:
    """Take the pictures that the README shows.

    Parameters
    ----------
    url
        Of a running dashboard.
    folder
        Where the pictures go.
    """
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
        for name, (address, width, height, dark) in BEST.items():
            page = browser.new_page(
                viewport={"width": width, "height": height},
                color_scheme="dark" if dark else "light",
            )
            page.set_default_timeout(120_000)
            page.goto(f"{url}/{address}")
            settled(page)
            page.wait_for_timeout(2000)
            if name == "reading":
                for _ in range(16):
                    page.get_by_role("button", name="One frame forward").click()
                page.evaluate("() => document.querySelector('[data-testid=stMain]').scrollTo(0, 0)")
            elif name == "next_change":
                page.get_by_role("combobox", name="As of version").click()
                page.get_by_role("option", name="1", exact=True).click()
                settled(page)
            page.mouse.move(0, 0)
            page.wait_for_timeout(500)
            page.screenshot(path=folder / f"{name}.png")
            page.close()
        browser.close()


def take(page: Page, path: Path, width: int) -> None:
    """Take one picture of the whole page.

    Parameters
    ----------
    page
        Drawn.
    path
        Of the picture.
    width
        Of the window.
    """
    page.wait_for_timeout(1500)
    tall = page.evaluate("() => document.querySelector('[data-testid=stMain]').scrollHeight")
    page.set_viewport_size({"width": width, "height": min(int(tall) + 10, TALLEST)})
    page.wait_for_timeout(700)
    page.screenshot(path=path)
    page.set_viewport_size({"width": width, "height": 900})


def main() -> None:
    """Serve a dashboard with the worked season in it and take its pictures."""
    folder = Path(sys.argv[1])
    folder.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory() as coach:
        environment = {**os.environ, "TAILSWAY_FOLDER": coach, "TAILSWAY_LANGUAGE": "en"}
        season = "from ui.command import main; main()"
        subprocess.run(
            [sys.executable, "-c", season, "book", "season"],
            env=environment,
            check=False,
            stdout=subprocess.DEVNULL,
        )
        port = free_port()
        server = subprocess.Popen(server_command(port), env=environment, cwd=coach)
        url = f"http://{HOST}:{port}"
        try:
            wait_until_ready(url, server)
            pictures = take_best if sys.argv[2:] == ["best"] else take_all
            pictures(url, folder)
        finally:
            server.terminate()
            server.wait(timeout=20)


if __name__ == "__main__":
    main()
