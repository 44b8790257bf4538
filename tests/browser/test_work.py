"""The coach's work in a real browser: teaching, a round with its next change, the phone's door."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, expect

import ui.page_round
from tests.browser.conftest import pressed_at_once, settled
from tests.made_readings import made_reading, made_refusal, made_two_at_once
from tracker.types import message
from ui.clip_queue import QueuedClip
from ui.dash_words import Words
from ui.page_round import table_html
from ui.phone_gate import PhoneGate
from ui.shelf import Shelf

pytestmark = pytest.mark.browser


def test_naming_exercise_is_answered_and_counted(dashboard: str, page: Page) -> None:
    """An answer gets the measured one beside it, and a place in the trainee's table."""
    page.goto(f"{dashboard}/teach?lesson=naming&trainee=Robin&flight=drawn-77")
    settled(page)
    expect(page.locator("canvas.sketch")).to_be_visible()
    expect(page.locator(".ts-card h2")).to_have_count(0)
    page.locator("label", has_text="Porpoising").click()
    page.get_by_role("button", name="That is my answer").click()
    expect(page.locator(".ts-card h2").first).to_be_visible()
    expect(page.get_by_role("region", name="What was shown, and what you said")).to_be_visible()
    page.reload()
    settled(page)
    expect(page.get_by_text("Robin: ")).to_contain_text("of 1 right")
    answer = page.get_by_role("button", name="That is my answer")
    page.get_by_role("button", name="Next flight").click()
    expect(answer).to_be_visible()  # nobody answered this one yet
    page.go_back()  # to the one that was answered: it is not asked for again
    expect(answer).to_have_count(0)
    expect(page.get_by_text("Robin: ")).to_contain_text("of 1 right")
    assert "flight=drawn-77" in page.url
    page.goto(f"{dashboard}/teach?lesson=naming&trainee=Robin&flight=drawn-78")
    settled(page)
    page.locator("label", has_text="Minnowing").click()
    page.get_by_role("button", name="That is my answer").click()
    expect(page.get_by_text("Robin: ")).to_contain_text("of 2 right")
    progress = page.locator(".st-key-teach-progress")  # one of several charts, drawn last
    with page.expect_download() as coming:
        progress.get_by_role("button", name="Save as a picture").click()
    assert coming.value.suggested_filename == "tailsway-progress.png"
    assert Path(coming.value.path()).read_bytes().startswith(b"\x89PNG")


def test_going_back_leads_through_the_parts_of_a_page(dashboard: str, page: Page) -> None:
    """What was looked at before is shown again, and the browser is not thrown forward."""
    page.goto(f"{dashboard}/teach?lesson=sheets&sheet=minnowing")
    settled(page)
    page.get_by_role("radio", name="Clean flight").click()
    page.wait_for_url("**sheet=clean*")
    settled(page)
    page.go_back()
    expect(page.locator(".ts-card h2").first).to_have_text("Minnowing")
    settled(page)
    assert "sheet=minnowing" in page.url


def test_a_phone_shows_the_sandbox_sliders_above_what_they_move(dashboard: str, page: Page) -> None:
    """Nobody scrolls two screens between a slider and its flight: they fit one above the other."""
    page.set_viewport_size({"width": 390, "height": 900})
    page.goto(f"{dashboard}/teach")
    settled(page)
    expect(page.locator(".ts-card h2").first).to_have_text("Fishtailing")
    first, last = (
        page.get_by_role("slider", name=name).bounding_box()
        for name in ("Slow swing from side to side, mm", "Frames a second")
    )
    flight = page.locator("canvas.sketch").bounding_box()
    assert first is not None
    assert last is not None
    assert flight is not None
    assert last["y"] - first["y"] < 600
    assert last["y"] < flight["y"] < last["y"] + 900


def test_sandbox_answers_a_slider_at_once(dashboard: str, page: Page) -> None:
    """The label follows the slider; after the first draw it takes less than the 0.3 s we ask."""
    page.goto(f"{dashboard}/teach")
    settled(page)
    expect(page.locator(".ts-card h2").first).to_have_text("Fishtailing")
    slider = page.get_by_role("slider", name="Slow swing from side to side, mm")
    slider.focus()
    page.keyboard.press("Home")
    expect(page.locator(".ts-card h2").first).not_to_have_text("Fishtailing")


def open_season(dashboard: str, page: Page) -> None:
    """Open the set-ups, with the worked season in the logbook."""
    page.goto(f"{dashboard}/rounds")
    settled(page)
    season = page.get_by_role("button", name="Show me a worked season")
    season.or_(page.get_by_text("What to look at")).first.wait_for()
    if season.is_visible():
        season.click()
    page.get_by_text("What to look at").wait_for()


def test_round_is_read_and_a_change_proposed_and_reported(
    dashboard: str, page: Page, chromium: Browser, tmp_path: Path
) -> None:
    """From the worked season to a report that opens."""
    open_season(dashboard, page)
    expect(page.locator(".ts-change").first).to_be_visible()
    page.get_by_text("Report", exact=True).first.click()
    page.get_by_role("button", name="Make the report").click()
    with page.expect_download() as coming:
        page.get_by_role("button", name="Save as PDF").click()
    assert Path(coming.value.path()).read_bytes().startswith(b"%PDF")
    with page.expect_download() as coming:
        page.get_by_role("button", name="Save as a web page").click()
    saved = tmp_path / "report.html"
    coming.value.save_as(saved)
    report = chromium.new_page()
    report.goto(saved.as_uri())
    expect(report.locator("h1").first).to_be_visible()
    report.close()


def test_archer_and_bow_outlast_other_pages_and_a_reload(dashboard: str, page: Page) -> None:
    """Nobody writes down a shot for the wrong bow: what was chosen or just made stays chosen."""
    open_season(dashboard, page)
    page.goto(f"{dashboard}/rounds?archer=Birch")
    settled(page)
    for there in ("Logbook", "Set-ups and rounds"):
        page.get_by_role("link", name=there, exact=True).click()
        expect(page.get_by_role("heading", level=1, name=there)).to_be_visible()
        settled(page)
    archer, bow = (page.get_by_role("combobox").nth(k) for k in (0, 1))
    expect(archer).to_have_value("Birch")
    archer.click()
    page.get_by_role("option", name="Cedar").click()
    page.wait_for_url("**archer=Cedar*")
    settled(page)
    page.go_back()  # one step, though the set-up goes along with the archer
    expect(archer).to_have_value("Birch")
    settled(page)
    page.get_by_text("Another set-up").click()
    page.get_by_label("What it is called").fill("travel bow")
    page.get_by_role("button", name="Write the set-up down").click()
    expect(page.get_by_text("Written down: travel bow.").first).to_be_visible()
    expect(bow).to_have_value("travel bow")
    page.reload()
    settled(page)
    expect(archer).to_have_value("Birch")
    expect(bow).to_have_value("travel bow")
    page.get_by_text("Remove the set-up or the archer").click()
    page.get_by_role("button", name="Remove the set-up travel bow").click()
    page.get_by_role("button", name="Yes, remove").click()
    expect(page.get_by_text("Removed: travel bow.").first).to_be_visible()
    expect(bow).to_have_value("main bow")


def test_impacts_are_clicked_on_faces_that_fit_the_window(dashboard: str, page: Page) -> None:
    """Side by side, face and button in a laptop's window; clicks stay where they were, then go."""
    page.set_viewport_size({"width": 1280, "height": 800})
    open_season(dashboard, page)
    page.get_by_text("What was seen", exact=True).first.click()
    page.get_by_text("a bare-shaft test", exact=True).last.click()
    page.get_by_text("Click on each face where every arrow landed").wait_for()
    faces, sends = page.locator(".stage"), page.get_by_role("button", name="These are the shots")
    expect(faces).to_have_count(2)
    settled(page)
    # both in one moment: what is measured one after the other may have moved in between
    first, second = faces.evaluate_all(
        "all => all.map(one => one.getBoundingClientRect().toJSON())"
    )
    assert first["y"] == pytest.approx(second["y"], abs=1)
    assert first["height"] <= 422  # with its border
    for n, places in enumerate((((0.6, 0.5), (0.65, 0.55)), ((0.5, 0.5), (0.5, 0.55)))):
        for x, y in (*places, (0.55, 0.45)):
            face = {"x": x * first["width"], "y": y * first["height"]}
            faces.nth(n).click(position=face)
        expect(sends.nth(n)).to_be_enabled()
        sends.nth(n).click()
        expect(page.get_by_text("Noted, not kept yet")).to_have_count(n + 1, timeout=30_000)
    expect(page.locator(".mark.picked")).to_have_count(6)
    settled(page)
    page.get_by_role("button", name="Keep the bare-shaft test").click()
    expect(page.get_by_test_id("stAlert")).to_contain_text("Kept with version", timeout=30_000)
    expect(page.locator(".mark.picked")).to_have_count(0)
    expect(page.get_by_text("0 of 3 set")).to_have_count(2)


def test_a_group_is_kept_though_a_link_is_pressed_at_once(dashboard: str, page: Page) -> None:
    """Form and navigation in one moment: the next page is drawn, and the group kept."""
    open_season(dashboard, page)
    page.goto(f"{dashboard}/rounds?archer=Cedar&part=seen")
    settled(page)
    page.get_by_text("a group", exact=True).last.click()
    page.get_by_label("Widest distance between two arrows, cm").fill("43.5")
    pressed_at_once(page, ("button", "Keep the group"), ("a", "Logbook"))
    expect(page.get_by_role("heading", level=1, name="Logbook")).to_be_visible()
    page.goto(f"{dashboard}/rounds?archer=Cedar&part=seen")
    settled(page)
    expect(page.get_by_text("43.5 cm wide")).to_be_visible()


@pytest.mark.parametrize("width", [1280, 1000, 390])
def test_a_refusal_in_the_table_leaves_the_numbers_in_sight(page: Page, width: int) -> None:
    """It wraps, and so do two swings and the longest name: nothing lies outside the frame."""
    readings = (made_refusal(), made_two_at_once(), made_reading())
    clips = [
        QueuedClip(
            token=n, name=f"{n}.mp4", path=Path(n), sha256=n, said={}, state="done", reading=r
        )
        for n, r in zip((f"{'a' * 70}.mp4", "b", "c"), readings, strict=True)
    ]
    problem = message("film.not_a_film", path=f"{64 * 'f'}.mp4")
    failed = replace(clips[0], state="failed", reading=None, problem=problem)
    clips.append(failed)
    css = (Path(ui.page_round.__file__).parent / "page.css").read_text(encoding="utf-8")
    page.set_viewport_size({"width": width, "height": 900})
    page.set_content(f"<style>{css}</style>{table_html(clips, Words('en'))}")
    hidden_px = page.locator(".ts-table").evaluate("box => box.scrollWidth - box.clientWidth")
    assert hidden_px == 0


def test_many_clips_are_read_in_a_queue(dashboard: str, page: Page, demo_film: Path) -> None:
    """Two films at once: both get a line, in the end both are done."""
    page.goto(f"{dashboard}/round")
    settled(page)
    other = demo_film.with_name("clean.mp4")
    page.locator('input[type="file"]').set_input_files([str(demo_film), str(other)])
    rows = page.get_by_role("region", name="The round").locator("tbody tr")
    expect(rows).to_have_count(2, timeout=60_000)
    expect(page.get_by_text("2 of 2 done")).to_be_visible(timeout=120_000)


def test_plan_answers_to_the_frame_rate(dashboard: str, page: Page) -> None:
    """The verdict is there at once."""
    page.goto(f"{dashboard}/plan")
    settled(page)
    expect(page.locator(".ts-card h2").first).to_have_text("This film would show part of it")


def test_what_was_set_is_still_there_after_a_reload(dashboard: str, page: Page) -> None:
    """Sandbox and plan stand in the address: a reload, or the address on its own, brings them back.

    An address with what nobody could set there is put right and does no harm.
    """
    page.goto(f"{dashboard}/teach")
    settled(page)
    slider = page.get_by_role("slider", name="Slow swing from side to side, mm")
    slider.focus()
    page.keyboard.press("Home")
    expect(page.locator(".ts-card h2").first).not_to_have_text("Fishtailing")
    page.reload()
    settled(page)
    expect(slider).to_have_value("0")
    page.goto(f"{dashboard}/plan?plan-behind_m=3.25&plan-marking=dark&plan-zoom=much")
    settled(page)
    behind = page.get_by_role("spinbutton", name="Camera behind the nock, m")
    expect(behind).to_have_value("3.25")
    expect(page.get_by_role("spinbutton", name="Zoom of the lens")).to_have_value("2")
    behind.fill("2.75")
    behind.press("Enter")
    page.get_by_role("radio", name="lighted nock").click()
    page.wait_for_url("**plan-marking=lit*")
    page.reload()
    settled(page)
    expect(behind).to_have_value("2.75")
    expect(page.get_by_role("radio", name="lighted nock")).to_be_checked()
    page.get_by_role("link", name="Teaching").first.click()
    page.wait_for_url("**/teach*")
    page.get_by_role("link", name="Filming plan").first.click()
    expect(behind).to_have_value("2.75")
    expect(page.get_by_role("radio", name="lighted nock")).to_be_checked()


@pytest.fixture
def gate(tmp_path: Path) -> Iterator[PhoneGate]:
    """Give an open door on this computer alone."""
    made = PhoneGate(
        Shelf(tmp_path),
        "127.0.0.1",
        most_bytes=2**26,
        arrived=lambda _: "The film is on the laptop.",
        language="en",
    )
    made.start()
    yield made
    made.stop()


def test_phone_with_the_wrong_code_is_refused(
    gate: PhoneGate, chromium: Browser, demo_film: Path
) -> None:
    """Nothing is kept; with the right code the film arrives whole."""
    page = chromium.new_page(viewport={"width": 390, "height": 844})
    page.goto(str(gate.url))
    page.get_by_label("Access code from the laptop").fill("12345678")
    page.get_by_label("Clip").set_input_files(str(demo_film))
    page.get_by_role("button", name="Send").click()
    expect(page.get_by_role("status")).to_contain_text("The code is wrong")
    assert gate.shelf.clips() == []
    page.get_by_label("Access code from the laptop").fill(gate.code)
    page.get_by_role("button", name="Send").click()
    expect(page.get_by_role("status")).to_contain_text("The film is on the laptop")
    page.close()
    sha256 = hashlib.sha256(demo_film.read_bytes()).hexdigest()
    assert gate.shelf.clip(sha256) is not None
