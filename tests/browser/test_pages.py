"""Every page in a real browser: opened, usable with the keyboard, readable by everyone."""

from __future__ import annotations

from pathlib import Path

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, Page, expect

from tests.browser.conftest import settled
from ui.dash_words import Words

pytestmark = pytest.mark.browser
"""On one worker, which serves them from one dashboard: what one has read the next need not."""

PAGES = {
    "": "Read a clip",
    "?clip=demo-fishtailing": "Read a clip",
    "rounds": "Set-ups and rounds",
    "beside": "Two clips side by side",
    "teach": "Teaching",
    "teach?lesson=naming": "Teaching",
    "teach?lesson=sheets&sheet=minnowing": "Teaching",
    "round": "Many clips",
    "phone": "From the phone",
    "plan": "Filming plan",
    "logbook": "Logbook",
}
SERIOUS = ("serious", "critical")


@pytest.mark.parametrize("address", PAGES)
def test_page_opens_by_its_address(dashboard: str, page: Page, address: str) -> None:
    """Title and cautions are there, and the console stays silent."""
    page.goto(f"{dashboard}/{address}")
    settled(page)
    expect(page.get_by_role("heading", name=PAGES[address], exact=True)).to_be_visible()
    expect(page.locator("footer.ts-foot")).to_contain_text("forward of the shooting line")


@pytest.mark.parametrize("address", PAGES)
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_page_is_accessible(dashboard: str, chromium: Browser, address: str, scheme: str) -> None:
    """axe-core has no serious finding, in the light and in the dark theme."""
    context = chromium.new_context(color_scheme="dark" if scheme == "dark" else "light")
    page = context.new_page()
    page.set_default_timeout(60_000)
    page.goto(f"{dashboard}/{address}")
    settled(page)
    found = Axe().run(page, options={"resultTypes": ["violations"]})
    serious = [
        f"{violation['id']}: {node['target']} {node['html'][:160]}"
        for violation in found.response["violations"]
        if violation["impact"] in SERIOUS
        for node in violation["nodes"]
    ]
    context.close()
    assert serious == []


def test_pages_fit_a_phone(dashboard: str, chromium: Browser) -> None:
    """At 390 pixels nothing sticks out to the side."""
    context = chromium.new_context(viewport={"width": 390, "height": 844})
    page = context.new_page()
    page.set_default_timeout(60_000)
    wide = {}
    for address in PAGES:
        page.goto(f"{dashboard}/{address}")
        settled(page)
        wide[address] = page.evaluate(
            "() => document.querySelector('[data-testid=stMain]').scrollWidth"
        )
    context.close()
    assert {address: width for address, width in wide.items() if width > 390} == {}


def test_language_changes_every_sentence_we_wrote(dashboard: str, page: Page) -> None:
    """Spanish by the address, kept from page to page."""
    page.goto(f"{dashboard}/?language=es")
    settled(page)
    expect(page.locator("footer.ts-foot")).not_to_contain_text("Nobody stands")
    # what the tool that draws the page says in English alone is hidden, ours stands there
    choose = page.get_by_role("button", name="Upload Elegir", exact=True)
    expect(choose).to_be_visible()
    expect(choose.get_by_text("Upload", exact=True)).to_have_css("font-size", "0px")
    expect(page.get_by_text("per file")).not_to_be_visible()


def written(page: Page, selector: str, pseudo: str = "::after") -> str:
    """Give what the style sheet writes at a place, without its quotation marks."""
    return str(
        page.locator(selector).first.evaluate(
            "(e, pseudo) => getComputedStyle(e, pseudo).content", pseudo
        )
    ).strip('"')


def test_hints_of_fields_and_refused_files_are_said_in_the_language(
    dashboard: str, page: Page, tmp_path: Path
) -> None:
    """What Enter does, and that a file was not taken."""
    word = Words("es")
    page.goto(f"{dashboard}/teach?lesson=naming&language=es")
    settled(page)
    field = page.locator("input[type=text]").first
    field.fill("Ro")
    hint = '[data-testid="InputInstructions"] > span'
    expect(page.locator(hint)).to_have_count(1)
    assert written(page, hint) == word("pages.tool_enter_applies")
    expect(page.locator(hint)).to_have_css("font-size", "0px")
    field.press("Enter")
    expect(page.locator(hint)).to_have_count(0)
    page.goto(f"{dashboard}/round?language=es")
    settled(page)
    page.locator("input[type=text]").first.fill("240")
    assert written(page, hint) == word("pages.tool_enter_sends")
    page.goto(f"{dashboard}/?language=es")
    settled(page)
    (tmp_path / "notes.zip").write_text("no film")
    page.locator('input[type="file"]').first.set_input_files(tmp_path / "notes.zip")
    page.locator('[aria-invalid="true"]').first.wait_for()
    assert written(page, ".stFileUploader") == word("pages.tool_file_refused")


def test_wrapped_choices_are_closed_on_every_side(dashboard: str, chromium: Browser) -> None:
    """Each choice has a border all round where a phone breaks the line between them."""
    context = chromium.new_context(viewport={"width": 390, "height": 844})
    page = context.new_page()
    page.set_default_timeout(60_000)
    page.goto(f"{dashboard}/teach?lesson=naming&language=es")
    settled(page)
    sides = (
        page.locator('[data-testid="stButtonGroup"]')
        .first.locator("button")
        .evaluate_all(
            "all => all.map(e => { const s = getComputedStyle(e); return [s.borderTopColor,"
            " s.borderRightColor, s.borderBottomColor, s.borderLeftColor]; })"
        )
    )
    context.close()
    assert len(sides) == 3
    for colours in sides:
        assert len(set(colours)) == 1
        assert colours[0] != "rgba(0, 0, 0, 0)"


@pytest.mark.parametrize("language", ["en", "es"])
def test_the_menu_of_a_phone_gets_out_of_the_way(dashboard: str, page: Page, language: str) -> None:
    """Its button says what it is; after a choice, and after a reload, the page lies open."""
    page.set_viewport_size({"width": 390, "height": 844})
    page.goto(f"{dashboard}/?language={language}")
    settled(page)
    said, teaching = {"en": ("Menu", "Teaching"), "es": ("Menú", "Enseñar")}[language]
    button = page.get_by_role("button", name=said, exact=True)
    shown = button.evaluate("one => getComputedStyle(one, '::after').content")
    assert shown == f'"{said}"'
    button.click()
    link = page.get_by_test_id("stSidebarNavLink").filter(has_text=teaching)
    expect(link).to_be_in_viewport()
    link.click()
    settled(page)
    expect(page.get_by_role("heading", level=1, name=teaching)).to_be_visible()
    expect(link).not_to_be_in_viewport()
    button.click()
    expect(link).to_be_in_viewport()
    page.reload()
    settled(page)
    expect(link).not_to_be_in_viewport()
