"""Print what many coaches at once have to wait for, and what becomes of what they gave.

Run as ``python -m tests.benchmarks.load [sessions]`` (10 unless told). Each session is a browser
of its own in one Chromium: it uploads a film that is its own by its bytes, says what it knows, and
waits for the verdict. One more browser is closed in the middle of its reading. Times on the clock;
memory of the server and of the processes that read for it, shared pages divided among their users.
"""

from __future__ import annotations

import hashlib
import os
import subprocess
import sys
import tempfile
import threading
import time
from dataclasses import dataclass
from pathlib import Path
from statistics import median

from playwright.sync_api import Browser, Page, sync_playwright

from tests.benchmarks.soak import another, descendants, resident_mib
from tests.browser.conftest import CHROMIUM
from ui.command_open import HOST, free_port, server_command, wait_until_ready
from ui.shelf import Shelf

FILM = Path(__file__).parents[2] / "fixtures" / "clips" / "fishtailing.mp4"
PATIENCE_MS = 900_000
KNOWN = (
    ("Frames a second, as filmed", "240"),
    ("Distance to the target, m", "18"),
    ("Diameter of the whole face, cm", "40"),
    ("Camera to nock at full draw, m", "2.07"),
)


@dataclass(frozen=True, kw_only=True)
class Session:
    """What one of many at once saw.

    Attributes
    ----------
    sha256
        Of the film it gave.
    kept_s, told_s
        Seconds from the upload until the film was acknowledged, and from saying what is known to
        the verdict.
    verdict
        The label on its page.
    """

    sha256: str
    kept_s: float
    told_s: float
    verdict: str


def crowd(url: str, browser: Browser, folder: Path, count: int) -> list[Session]:
    """Let many sessions upload and read at once.

    Parameters
    ----------
    url
        Of the dashboard.
    browser
        Each session gets a context of its own in it.
    folder
        For the films.
    count
        How many sessions.

    Returns
    -------
    list of Session
        In order.
    """
    films = _films(folder, count)
    pages = [_page(browser, url) for _ in films]
    for page in pages:
        page.locator('input[type="file"]').first.wait_for(state="attached")
    given = time.monotonic()
    for page, film in zip(pages, films, strict=True):
        page.locator('input[type="file"]').first.set_input_files(str(film))
    kept = []
    for page in pages:
        page.wait_for_url("**clip=*")
        kept.append(time.monotonic() - given)
    for page in pages:  # the first reading ends: a verdict, or what is missing
        page.get_by_text("What you know about this clip").first.wait_for()
    asked = time.monotonic()
    for page in pages:
        _say(page)
    told, verdicts = [], []
    for page in pages:
        page.locator(".ts-card h2", has_text="Fishtailing").first.wait_for()
        told.append(time.monotonic() - asked)
        verdicts.append(page.locator(".ts-card h2").first.inner_text())
    for page in pages:
        page.context.close()
    hashes = [hashlib.sha256(film.read_bytes()).hexdigest() for film in films]
    return [
        Session(sha256=sha256, kept_s=one, told_s=other, verdict=verdict)
        for sha256, one, other, verdict in zip(hashes, kept, told, verdicts, strict=True)
    ]


def leave_in_the_middle(url: str, browser: Browser, folder: Path) -> str:
    """Upload a film and close the browser while it is read.

    Parameters
    ----------
    url, browser, folder
        As for `crowd`.

    Returns
    -------
    str
        Hash of the film.
    """
    film = folder / "left.mp4"
    film.write_bytes(another(FILM.read_bytes(), 10**9))
    page = _page(browser, url)
    page.locator('input[type="file"]').first.set_input_files(str(film))
    page.wait_for_url("**clip=*")
    page.get_by_text("Decoding the film").or_(page.get_by_text("Waiting")).first.wait_for()
    page.context.close()
    return hashlib.sha256(film.read_bytes()).hexdigest()


def _films(folder: Path, count: int) -> list[Path]:
    made = []
    for number in range(count):
        film = folder / f"film {number}.mp4"
        film.write_bytes(another(FILM.read_bytes(), number))
        made.append(film)
    return made


def _page(browser: Browser, url: str) -> Page:
    page = browser.new_context(viewport={"width": 1280, "height": 900}).new_page()
    page.set_default_timeout(PATIENCE_MS)
    page.goto(url, wait_until="commit")
    return page


def _say(page: Page) -> None:
    field = page.get_by_role("textbox", name="Distance to the target, m")
    if not field.is_visible():
        page.get_by_text("What you know about this clip").first.click()
    for label, text in KNOWN:
        page.get_by_role("textbox", name=label).fill(text)
    page.get_by_role("button", name="Read again with this").click()


class Watch(threading.Thread):
    """Looks at the memory of a server while others work; `most` and `last` in MiB."""

    def __init__(self, pid: int) -> None:
        super().__init__(daemon=True)
        self._pid = pid
        self._over = threading.Event()
        self.most = self.last = 0.0

    def run(self) -> None:
        """Look twice a second."""
        while not self._over.wait(0.5):
            self.last = sum(resident_mib(pid) for pid in [self._pid, *descendants(self._pid)])
            self.most = max(self.most, self.last)

    def end(self) -> None:
        """Stop looking."""
        self._over.set()
        self.join()


def main() -> None:
    """Serve an empty folder, let the sessions in, and print."""
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 10
    print(f"processors {os.cpu_count()}, load before {os.getloadavg()[0]:.1f}, sessions {count}")
    with tempfile.TemporaryDirectory() as coach, tempfile.TemporaryDirectory() as films:
        port = free_port()
        environment = {**os.environ, "TAILSWAY_FOLDER": coach, "TAILSWAY_LANGUAGE": "en"}
        server = subprocess.Popen(
            server_command(port), env=environment, cwd=coach, stdout=subprocess.DEVNULL
        )
        watch = Watch(server.pid)
        try:
            url = f"http://{HOST}:{port}"
            wait_until_ready(url, server)
            watch.start()
            with sync_playwright() as playwright:
                browser = playwright.chromium.launch(
                    executable_path=CHROMIUM, args=["--no-sandbox"]
                )
                left = leave_in_the_middle(url, browser, Path(films))
                sessions = crowd(url, browser, Path(films), count)
                browser.close()
            _print(sessions, left, Shelf(Path(coach)))
            time.sleep(2.0)
            print(f"memory: at most {watch.most:.0f} MiB, afterwards {watch.last:.0f} MiB; "
                  f"load {os.getloadavg()[0]:.1f}")  # fmt: skip
        finally:
            watch.end()
            server.terminate()
            server.wait(timeout=20)


def _print(sessions: list[Session], left: str, shelf: Shelf) -> None:
    kept = [one.kept_s for one in sessions]
    told = [one.told_s for one in sessions]
    whole = [
        clip is not None and hashlib.sha256(clip.path.read_bytes()).hexdigest() == one.sha256
        for one in sessions
        for clip in [shelf.clip(one.sha256)]
    ]
    print(f"upload acknowledged after {median(kept):.1f} s, at most {max(kept):.1f} s")
    print(f"verdict after {median(told):.1f} s, at most {max(told):.1f} s")
    print(
        f"right label: {sum(one.verdict == 'Fishtailing' for one in sessions)} of {len(sessions)}"
    )
    print(f"films kept whole: {sum(whole)} of {len(sessions)}; "
          f"the one whose browser was closed: {shelf.clip(left) is not None}")  # fmt: skip


if __name__ == "__main__":
    main()
