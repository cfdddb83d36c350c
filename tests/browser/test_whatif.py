"""What if, the table for the rack and the cautions in a real browser, with and without JavaScript."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from conftest import serving
from playwright.sync_api import Browser, expect
from steps import SIZES, SLOW, clean, opened

pytestmark = pytest.mark.browser
ITEM = "whatif?code=WE804-175&price=4.50"


@pytest.fixture
def filled(samples: Path, tmp_path: Path) -> Iterator[str]:
    shutil.copy(samples, tmp_path / "comps.db")
    with serving(tmp_path / "comps.db") as address:
        yield address


@pytest.mark.parametrize("size", SIZES)
def test_axe_finds_nothing(browser: Browser, filled: str, size: str) -> None:
    page = opened(browser, filled, size)
    for name in (
        ITEM,
        f"{ITEM}&ask=x",
        "whatif?code=ZZQ7788",
        "ladder?category=shoes&rows=200",
        "ladder?part=little",
        "ladder?sort=x",
        "help?caution=recalls",
    ):
        page.goto(f"{filled}/{name}")
        clean(page, name.split("?")[0])


def test_figures_follow_the_slider_and_the_last_answer_wins(browser: Browser, filled: str) -> None:
    page = browser.new_context(viewport={"width": 390, "height": 844}).new_page()
    wrong: list[str] = []
    page.on("pageerror", lambda error: wrong.append(str(error)))
    page.goto(f"{filled}/{ITEM}")
    assert page.locator("#ask-now").count() == 0
    slider = page.get_by_role("slider", name="Asking price, slider")
    slider.evaluate(
        "(one) => { for (const at of [25, 30, 60]) {"
        " one.value = at; one.dispatchEvent(new Event('input', {bubbles: true})); } }"
    )
    expect(page.locator("#figures")).to_contain_text("$60.00", timeout=SLOW)
    assert page.input_value("#ask") == "60.00"
    assert "$60.00" in page.inner_text("#figures")
    assert "ask=60.00" in page.url
    before = page.inner_text("#figures")
    page.fill("#ask", "dear")
    expect(page.locator("#ask-wrong")).to_contain_text("is not an asking price", timeout=SLOW)
    assert page.inner_text("#figures") == before  # what was known stays
    page.fill("#ask", "")
    expect(page.locator("#ask-wrong")).to_have_text("", timeout=SLOW)
    assert wrong == []


def test_a_late_answer_to_an_earlier_question_is_not_shown(browser: Browser, filled: str) -> None:
    page = browser.new_context().new_page()
    page.goto(f"{filled}/{ITEM}")
    # The answer to 25 waits in the road until that to 60 has been shown.
    page.evaluate(
        """() => { const real = window.fetch; window.fetch = async (address) => {
             const answer = await real(address);
             if (String(address).includes('ask=25')) await new Promise((done) => { window.letgo = done; });
             return answer; }; }"""
    )
    page.fill("#ask", "25")
    for _ in range(200):
        if page.evaluate("window.letgo !== undefined"):
            break
        page.wait_for_timeout(100)
    page.fill("#ask", "60")
    expect(page.locator("#figures")).to_contain_text("$60.00", timeout=SLOW)
    page.evaluate("window.letgo()")
    page.wait_for_timeout(300)
    assert "$60.00" in page.inner_text("#figures")
    assert "ask=60" in page.url


def test_without_scripts_a_button_asks(browser: Browser, filled: str) -> None:
    page = browser.new_context(java_script_enabled=False).new_page()
    page.goto(f"{filled}/{ITEM}")
    page.fill("#ask", "60")
    page.get_by_role("button", name="Show what follows").click()
    assert "$60.00" in page.inner_text("#figures")
    page.goto(f"{filled}/ladder")
    page.select_option("#category", "shoes")
    page.get_by_role("button", name="Show").click()
    assert page.inner_text("h1") == "Most worth paying: shoes"
    page.get_by_role("button", name="Got it: In the shop").click()
    page.get_by_role("button", name="Undo: In the shop").click()
    assert page.get_by_role("button", name="Got it: In the shop").count() == 1


def test_the_printed_table_is_black_on_white_without_controls(browser: Browser, filled: str) -> None:
    page = browser.new_context(color_scheme="dark").new_page()
    page.goto(f"{filled}/ladder?category=shoes")
    page.emulate_media(media="print")
    style = page.evaluate(
        "[getComputedStyle(document.body).color, getComputedStyle(document.body).backgroundColor,"
        " getComputedStyle(document.querySelector('.rack th[scope=row] small')).color]"
    )
    assert style == ["rgb(0, 0, 0)", "rgb(255, 255, 255)", "rgb(0, 0, 0)"]
    for gone in (".top", "form.looking", ".bar", ".apart", ".pages"):
        assert not page.locator(gone).first.is_visible()
    assert page.locator(".facts-line").is_visible()
