"""Print how long a coach waits for the dashboard: results, page changes, a slider.

Run as ``python -m tests.benchmarks.dashboard [rounds]`` on a machine that does nothing else; the
load is printed beside the figures. Times on the clock, from the key or click in Debian's Chromium
until what was asked for is drawn, looked for at every picture that the browser draws: a locator,
once it has waited for a while, looks twice a second. Page change and slider are asked to take less
than 0.3 s after the first load, the result of a demo clip less than 3 s.
"""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from statistics import median

from playwright.sync_api import Page, expect, sync_playwright

from tests.browser.conftest import CHROMIUM, settled
from ui.clip_chooser import choices
from ui.command_open import HOST, free_port, server_command, wait_until_ready
from ui.dash_words import Words

PAGES = {
    "Set-ups and rounds": "Set-ups and rounds",
    "Side by side": "Two clips side by side",
    "Teaching": "Teaching",
    "Filming plan": "Filming plan",
    "Logbook": "Logbook",
    "Read a clip": "Read a clip",
}
TURNED = """title => [...document.querySelectorAll('h1')].some(
    h => h.textContent.trim() === title && h.checkVisibility())
  && document.querySelector('footer.ts-foot')?.checkVisibility()
  && document.querySelector('[data-testid="stApp"][data-test-script-state="notRunning"]')"""
FILM = """() => [document, ...[...document.querySelectorAll('*')].map(e => e.shadowRoot)].some(
    root => root?.querySelector('video')?.readyState >= 2)"""
ANOTHER = """before => { const h = document.querySelector('.ts-card h2');
    return h?.checkVisibility() && h.innerText !== before }"""
SLIDER = "Slow swing from side to side, mm"


def timed(act: Callable[[], object]) -> float:
    """Tell how many seconds something takes."""
    start = time.perf_counter()
    act()
    return time.perf_counter() - start


def until(page: Page, condition: str, about: str = "") -> None:
    """Wait, from one drawn picture to the next, until a function of `about` holds in the page."""
    page.wait_for_function(condition, arg=about, polling="raf")


def until_verdict(page: Page) -> None:
    """Wait for the card with the label."""
    until(page, "() => document.querySelector('.ts-card h2')?.checkVisibility()")


def until_film(page: Page) -> None:
    """Wait until the follow view could be played."""
    until(page, FILM)


def results(page: Page, url: str) -> None:
    """Time the road from a newcomer's first click to the verdict, and the same again."""
    page.goto(url)
    button = page.get_by_role("button", name="Show me a demo clip")
    button.wait_for()
    start = time.perf_counter()
    button.click()
    until_verdict(page)
    print(f"first demo, clicked at once: verdict     {time.perf_counter() - start:6.2f} s")
    until_film(page)
    print(f"first demo, clicked at once: film        {time.perf_counter() - start:6.2f} s")
    settled(page)
    before = page.locator(".ts-card h2").first.inner_text()
    page.get_by_role("combobox", name=Words("en")("pages.choose_clip")).click()
    option = page.get_by_role("option", name=choices(Words("en"))["demo-clean"], exact=True)
    option.wait_for()
    start = time.perf_counter()
    option.click()
    until(page, ANOTHER, before)
    print(f"another demo, chosen on the page: verdict{time.perf_counter() - start:6.2f} s")
    until_film(page)
    settled(page)
    start = time.perf_counter()
    page.goto(f"{url}/?clip=demo-porpoising")
    until_verdict(page)
    print(f"another demo by its address: verdict     {time.perf_counter() - start:6.2f} s")
    until_film(page)
    print(f"another demo by its address: film        {time.perf_counter() - start:6.2f} s")
    settled(page)
    start = time.perf_counter()
    page.reload()
    until_verdict(page)
    print(f"the same again, page loaded anew: verdict{time.perf_counter() - start:6.2f} s")
    until_film(page)
    print(f"the same again, page loaded anew: film   {time.perf_counter() - start:6.2f} s")
    settled(page)


def read_ahead(page: Page, url: str, read_s: float) -> None:
    """Time the first demo for somebody who reads the greeting first."""
    page.goto(url)
    button = page.get_by_role("button", name="Show me a demo clip")
    button.wait_for()
    page.wait_for_timeout(1000 * read_s)
    button.click()
    start = time.perf_counter()
    until_verdict(page)
    took = time.perf_counter() - start
    print(f"first demo, after {read_s:.0f} s of greeting: verdict{took:7.2f} s")


def another_day(page: Page, url: str) -> None:
    """Time a demo that was looked at before the server was started anew."""
    page.goto(f"{url}/plan")
    settled(page)
    start = time.perf_counter()
    page.goto(f"{url}/?clip=demo-porpoising")
    until_verdict(page)
    print(f"the same again, on another day: verdict  {time.perf_counter() - start:6.2f} s")
    until_film(page)
    print(f"the same again, on another day: film     {time.perf_counter() - start:6.2f} s")


def turn(page: Page, link: str, title: str) -> None:
    """Go to another page as a coach does, and wait for its title and its foot."""
    page.get_by_role("link", name=link, exact=True).click()
    until(page, TURNED, title)


def page_changes(page: Page, url: str, rounds: int) -> None:
    """Time page changes after each page was opened once."""
    page.goto(f"{url}/plan")
    settled(page)
    for link, title in PAGES.items():
        turn(page, link, title)
        page.wait_for_timeout(500)
    for link, title in PAGES.items():
        spans = []
        for _ in range(rounds):
            turn(page, "From the phone", "From the phone")
            page.wait_for_timeout(300)
            spans.append(timed(lambda link=link, title=title: turn(page, link, title)))  # type: ignore[misc]
            page.wait_for_timeout(300)
        print(f"page change to {link:26}{median(spans):6.2f} s, at most {max(spans):.2f} s")


def slider(page: Page, url: str, rounds: int) -> None:
    """Time the sandbox: from the key to the drawing of the changed flight."""
    page.goto(f"{url}/teach")
    settled(page)
    page.locator("canvas.sketch").wait_for()
    handle = page.get_by_role("slider", name=SLIDER)
    handle.focus()
    viewer = page.locator(".viewer").element_handle()
    spans = []
    for step in range(rounds + 1):
        before = page.locator(".viewer").get_attribute("data-id")
        start = time.perf_counter()
        page.keyboard.press("ArrowLeft")
        page.wait_for_function(
            "([viewer, id]) => viewer.dataset.id !== id", arg=[viewer, before], polling=10
        )
        if step:
            spans.append(time.perf_counter() - start)
        page.wait_for_timeout(300)
    print(f"slider of the sandbox{' ':20}{median(spans):6.2f} s, at most {max(spans):.2f} s")


def on_a_fresh_server(*measures: Callable[[Page, str], None]) -> None:
    """Serve an empty folder, and measure in a new tab; further measures on servers after it."""
    with tempfile.TemporaryDirectory() as coach:
        for measure in measures:
            on_a_server(Path(coach), measure)


def on_a_server(coach: Path, measure: Callable[[Page, str], None]) -> None:
    """Serve a coach's folder, and measure in a new tab."""
    port = free_port()
    environment = {**os.environ, "TAILSWAY_FOLDER": str(coach), "TAILSWAY_LANGUAGE": "en"}
    server = subprocess.Popen(server_command(port), env=environment, cwd=coach)
    try:
        url = f"http://{HOST}:{port}"
        wait_until_ready(url, server)
        with sync_playwright() as playwright:
            browser = playwright.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
            page = browser.new_page(viewport={"width": 1280, "height": 900})
            page.set_default_timeout(120_000)
            expect.set_options(timeout=120_000)
            measure(page, url)
            browser.close()
    finally:
        server.terminate()
        server.wait(timeout=20)


def main() -> None:
    """Measure everything and print it."""
    rounds = int(sys.argv[1]) if len(sys.argv) > 1 else 5
    print(f"processors {os.cpu_count()}, load before {os.getloadavg()[0]:.1f}")
    on_a_fresh_server(lambda page, url: read_ahead(page, url, 8.0))

    def the_rest(page: Page, url: str) -> None:
        results(page, url)
        page_changes(page, url, rounds)
        slider(page, url, rounds)

    on_a_fresh_server(the_rest, another_day)
    print(f"load after {os.getloadavg()[0]:.1f}")


if __name__ == "__main__":
    main()
