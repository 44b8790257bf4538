"""A clip in a real browser: uploaded, read, played, corrected, and all of it still there later."""

from __future__ import annotations

import json
import re
from pathlib import Path

import numpy as np
import pytest
from playwright.sync_api import Browser, Page, expect

from tests.browser.conftest import pressed_at_once, settled
from ui.films import SLOW

pytestmark = pytest.mark.browser

AGAIN_MS = 60_000
"""A corrected flight is fitted and filmed again, which takes a busy computer a while."""

CLIPS = Path(__file__).parents[2] / "fixtures" / "clips"
FRAME_SUM = """video => {
  const canvas = document.createElement("canvas");
  canvas.width = video.videoWidth; canvas.height = video.videoHeight;
  const pen = canvas.getContext("2d");
  pen.drawImage(video, 0, 0);
  let sum = 0;
  const pixels = pen.getImageData(0, 0, canvas.width, canvas.height).data;
  for (let i = 0; i < pixels.length; i += 97) sum = (sum * 31 + pixels[i]) % 1000003;
  return sum;
}"""


def test_film_is_uploaded_and_read(dashboard: str, page: Page, demo_film: Path) -> None:
    """What is known is asked for, nothing assumed; the label appears, and the address names it."""
    page.goto(f"{dashboard}/")
    settled(page)
    page.locator('input[type="file"]').set_input_files(str(demo_film))
    page.wait_for_url("**clip=*")
    settled(page)
    form = page.get_by_text("What you know about this clip")
    if not page.get_by_role("textbox", name="Distance to the target, m").is_visible():
        form.click()
    for label, text in (
        ("Frames a second, as filmed", "240"),
        ("Distance to the target, m", "18"),
        ("Diameter of the whole face, cm", "40"),
        ("Camera to nock at full draw, m", "2.07"),
    ):
        field = page.get_by_role("textbox", name=label)
        assert field.input_value() == ""
        field.fill(text)
    page.get_by_role("button", name="Read again with this").click()
    expect(page.locator(".ts-card h2").first).to_have_text("Fishtailing")
    page.reload()
    settled(page)
    expect(page.locator(".ts-card h2").first).to_have_text("Fishtailing")


def test_follow_view_really_plays(dashboard: str, page: Page) -> None:
    """Its time moves, one frame differs from the next, and the curves' cursor moves along."""
    page.goto(f"{dashboard}/?clip=demo-fishtailing")
    settled(page)
    film = page.locator("video").first
    loaded(page)
    cursor = page.locator(".cursor").first
    start = cursor.evaluate("mark => mark.style.left")
    page.get_by_role("button", name="Play", exact=True).click()
    page.wait_for_timeout(900)
    page.get_by_role("button", name="Pause", exact=True).click()
    assert film.evaluate("v => v.currentTime") > 0.2
    assert cursor.evaluate("mark => mark.style.left") != start
    first = film.evaluate(FRAME_SUM)
    page.get_by_role("button", name="One frame forward").click()
    page.wait_for_timeout(400)
    assert film.evaluate(FRAME_SUM) != first


def loaded(page: Page) -> None:
    """Wait until the first film can be shown; it may be drawn anew meanwhile."""
    film = page.locator("video").first
    for _ in range(600):
        if film.evaluate("v => v.readyState") >= 2:
            return
        page.wait_for_timeout(100)
    pytest.fail("the film never came")


def test_every_step_shows_its_own_frame(dashboard: str, page: Page) -> None:
    """The time of the shown frame is that under the film, also where the nock was not seen."""
    page.goto(f"{dashboard}/?clip=demo-fishtailing")
    settled(page)
    loaded(page)
    film, readout = page.locator("video").first, page.locator(".readout").first
    film.evaluate(
        "v => { const note = (_, m) => { v.dataset.at = m.mediaTime;"
        " v.requestVideoFrameCallback(note); }; v.requestVideoFrameCallback(note); }"
    )
    last = frame_of(str(readout.text_content()))
    unseen = 0
    for _ in range(int(str(page.get_by_label("Place in the flight").get_attribute("max")))):
        page.get_by_role("button", name="One frame forward").click()
        said = str(readout.text_content())
        assert frame_of(said) == last + 1
        last, unseen = last + 1, unseen + ("not seen" in said)
        wanted = SLOW * float(said.split(" s", 1)[0])
        page.wait_for_function(
            "([v, at]) => Math.abs(v.dataset.at - at) < 0.006",
            arg=[film.element_handle(), wanted],
            timeout=10_000,
        )
    assert unseen > 0


def test_cursor_moves_by_keys_and_steps_by_frames(dashboard: str, page: Page) -> None:
    """The arrow keys step through the flight, one sample each."""
    page.goto(f"{dashboard}/?clip=demo-fishtailing")
    settled(page)
    scrub = page.get_by_label("Place in the flight")
    scrub.focus()
    for _ in range(3):
        page.keyboard.press("ArrowRight")
    assert scrub.input_value() == "3"
    assert page.locator(".viewer").get_attribute("data-index") == "3"


def test_what_the_coach_sees_is_kept_after_a_reload(dashboard: str, page: Page) -> None:
    """The coach's own opinion stands beside the reading, and neither replaces the other."""
    page.goto(f"{dashboard}/?clip=demo-porpoising")
    settled(page)
    page.get_by_text("Correct the tool").click()
    page.get_by_text("I see something else", exact=True).click()
    page.locator("label", has_text="Minnowing").click()
    page.get_by_label("Because").fill("the nock blurs to both sides")
    page.get_by_role("button", name="Keep what I see").click()
    expect(page.locator(".ts-opinion")).to_contain_text("The coach sees: Minnowing.")
    page.reload()
    settled(page)
    expect(page.locator(".ts-opinion")).to_contain_text("the nock blurs to both sides")
    expect(page.locator(".ts-card h2").first).not_to_have_text("Minnowing")
    open_correction(page, "I see something else")
    page.get_by_role("button", name="Take back what I see").click()
    expect(page.locator(".ts-opinion")).to_have_count(0)


@pytest.mark.parametrize("how", ["link", "two buttons and a link", "closed"])
def test_what_the_coach_sees_is_kept_whatever_is_pressed_next(
    dashboard: str, chromium: Browser, how: str
) -> None:
    """A link in the same moment, another form's button before it, the window closed after it."""
    context = chromium.new_context(viewport={"width": 1280, "height": 900})
    page = context.new_page()
    page.set_default_timeout(60_000)
    page.goto(f"{dashboard}/?clip=demo-minnowing")
    settled(page)
    open_correction(page, "I see something else")
    page.locator("label", has_text="Clean flight").click()
    page.get_by_label("Because").fill(how)
    keep, link = ("button", "Keep what I see"), ("a", "Logbook")
    if how == "closed":
        pressed_at_once(page, keep)
        page.close()
        page = context.new_page()
    else:
        before = [("button", "Read again with this")] if how != "link" else []
        pressed_at_once(page, *before, keep, link)
        expect(page.get_by_role("heading", level=1, name="Logbook")).to_be_visible()
    page.goto(f"{dashboard}/?clip=demo-minnowing")
    settled(page)
    expect(page.locator(".ts-opinion")).to_have_text(f"The coach sees: Clean flight. {how}")
    context.close()


def test_nock_shown_by_a_click_is_kept_after_a_reload(dashboard: str, page: Page) -> None:
    """The click goes into the reading in pixels of the film, and can be taken back."""
    page.goto(f"{dashboard}/?clip=demo-porpoising")
    settled(page)
    open_correction(page, "The nock")
    picture = page.locator(".stage img")
    picture.wait_for()
    frame = frame_of(str(picture.get_attribute("alt")).lower())
    x_px, y_px = nock_in("porpoising", frame)
    shown = float(picture.evaluate("image => image.width / image.naturalWidth"))
    page.locator(".stage").click(position={"x": (x_px + 0.5) * shown, "y": (y_px + 0.5) * shown})
    where = json.loads(str(page.locator(".picker").get_attribute("data-points")))
    # The screen's whole pixels are coarser than the film's.
    np.testing.assert_allclose(where, [[x_px, y_px]], atol=1.0 / shown + 0.5)
    page.get_by_role("button", name="The nock is here").click()
    back = page.get_by_role("button", name="Take this correction back")
    back.wait_for()
    expect(page.locator(".ts-card h2").first).to_have_text("Porpoising")
    page.reload()
    settled(page)
    expect(page.locator(".ts-card h2").first).to_have_text("Porpoising")
    open_correction(page, "What was said")
    expect(page.locator(".ts-history")).to_contain_text("place of the nock")
    page.get_by_text("The nock", exact=True).click()
    back.click()
    expect(back).to_have_count(0)


@pytest.mark.parametrize("width", [1280, 390])
def test_the_picture_to_click_on_shows_where_the_tool_sees_the_nock(
    dashboard: str, chromium: Browser, width: int
) -> None:
    """A cross stands on the nock, frame by frame, and on a phone no loupe lies on the picture."""
    context = chromium.new_context(viewport={"width": width, "height": 900})
    page = context.new_page()
    page.set_default_timeout(60_000)
    page.goto(f"{dashboard}/?clip=demo-fishtailing")
    settled(page)
    open_correction(page, "The nock")
    picture = page.locator(".stage img")
    frame = frame_of(str(picture.get_attribute("alt")).lower())
    # The correction begins where the nock was lost, so that no cross need be there yet.
    for _ in range(9):
        page.locator("button", has_text="❯ One frame forward").click()
        frame += 1
        page.get_by_alt_text(f"Frame {frame}", exact=True).wait_for()
        if page.get_by_text("The cross stands where").count():
            break
    cross, film = page.locator(".believed").bounding_box(), picture.bounding_box()
    assert cross is not None
    assert film is not None
    x_px, y_px = nock_in("fishtailing", frame)
    shown = film["width"] / float(picture.evaluate("image => image.naturalWidth"))
    np.testing.assert_allclose(
        [cross["x"] + cross["width"] / 2 - film["x"], cross["y"] + cross["height"] / 2 - film["y"]],
        [(x_px + 0.5) * shown, (y_px + 0.5) * shown],
        atol=2.0,
    )
    loupe = page.locator(".loupe").bounding_box()
    assert loupe is not None
    below = loupe["y"] >= film["y"] + film["height"]
    assert below or loupe["width"] < 0.25 * film["width"]
    assert below == (width == 390)
    page.locator("button", has_text="❮ One frame back").click()
    page.get_by_alt_text(f"Frame {frame - 1}", exact=True).wait_for()
    context.close()


def open_correction(page: Page, tab: str) -> None:
    """Open the tools for corrections at one of them."""
    page.get_by_text("Correct the tool").click()
    page.get_by_text(tab, exact=True).click()


def nock_in(demo: str, frame: int) -> tuple[float, float]:
    """Take the true place of the nock in a frame of a shipped clip from its truth."""
    truth = json.loads((CLIPS / f"{demo}.json").read_text(encoding="utf-8"))
    x_px, y_px = truth["frames"]["xy_raw_px"][frame]
    return float(x_px), float(y_px)


def test_ends_of_the_flight_set_by_hand_change_the_reading(dashboard: str, page: Page) -> None:
    """The flight begins where the coach says, also after a reload, until that is taken back."""
    page.goto(f"{dashboard}/?clip=demo-minnowing")
    settled(page)
    readout = page.locator(".readout").first
    found = frame_of(str(readout.text_content()))
    open_correction(page, "Release and impact")
    button = page.get_by_role("button", name="The flight begins in frame")
    button.wait_for()
    slider = page.get_by_role("slider", name="Frame")
    slider.focus()
    for _ in range(4):
        page.keyboard.press("ArrowRight")
    page.get_by_role("button", name=f"The flight begins in frame {found + 4}").click()
    expect(readout).to_contain_text(f"frame {found + 4} ", timeout=AGAIN_MS)
    page.reload()
    settled(page)
    expect(readout).to_contain_text(f"frame {found + 4} ", timeout=AGAIN_MS)
    open_correction(page, "Release and impact")
    back = page.get_by_role("button", name="Take this correction back")
    back.click()
    expect(back).to_have_count(0)
    expect(readout).to_contain_text(f"frame {found} ", timeout=AGAIN_MS)


def frame_of(readout: str) -> int:
    """Take the frame's number out of what stands under the film."""
    found = re.search(r"frame (\d+)", readout)
    assert found is not None
    return int(found.group(1))


def test_two_clips_run_in_step(dashboard: str, page: Page) -> None:
    """Both films move, and the difference of the slow swing is said in a sentence."""
    page.goto(f"{dashboard}/beside?first=demo-fishtailing&second=demo-clean")
    settled(page)
    said = page.locator("p", has_text="Side to side, slow swing:")
    expect(said).to_contain_text("the second shows none")
    films = page.locator("video")
    expect(films).to_have_count(2)
    page.get_by_role("button", name="Play", exact=True).click()
    page.wait_for_timeout(1200)
    page.get_by_role("button", name="Pause", exact=True).click()
    times = [films.nth(n).evaluate("v => v.currentTime") for n in (0, 1)]
    assert min(times) > 0.1
    assert abs(times[0] - times[1]) < 1.0
