"""The verdict at a glance on phones: fold, targets, keyboard, contrast, motion; a run with and without JavaScript."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
import web_examples
from accessible import AXE, violations
from playwright.sync_api import Browser, Page
from steps import look
from test_browser import EAN

from sourcing import haul, history
from sourcing.storage import open_store

pytestmark = pytest.mark.browser
PHONES = [(320, 568), (360, 640), (390, 844)]
BUY, PASS, LITTLE = 2, 3, 4
BOXES = """
() => [...document.querySelectorAll("a[href], button, summary, input:not([type=hidden]), .mark-chip")]
  .filter((one) => one.checkVisibility() && !one.matches(".skip, .mark-chip > input"))
  .filter((one) => !(one.matches("p > a:not(.tap)") && one.parentElement.textContent.trim() !== one.textContent.trim()))
  .map((one) => [one.getBoundingClientRect(), one.outerHTML.slice(0, 90)])
  .filter(([box]) => box.width > 0 && Math.min(box.width, box.height) < 44)
  .map(([box, html]) => [Math.round(box.width), Math.round(box.height), html])
"""


@pytest.fixture
def filled(address: str, tmp_path: Path) -> str:
    """Put invented checks and an open run into the served data."""
    store, now = open_store(str(tmp_path / "comps.db")), datetime.now(UTC)
    history.record(store, web_examples.passing(), now - timedelta(days=9))
    haul.start(store, "Tannery Row")
    for verdict in (web_examples.verdict(), web_examples.passing(), web_examples.unknown()):
        history.record(store, verdict, now)
    haul.take(store, BUY, 2)
    store.close()
    return address


def at_the_foot(page: Page, height: int) -> None:
    """The verdict ends above the bar, and the bar stands in the bottom third, whole."""
    verdict, bar = page.locator(".verdict").bounding_box(), page.locator("main > .bar").bounding_box()
    assert verdict
    assert bar
    assert verdict["y"] + verdict["height"] <= bar["y"], page.url
    assert height * 2 / 3 <= bar["y"]
    assert bar["y"] + bar["height"] <= height


def test_the_verdict_at_a_glance(browser: Browser, filled: str) -> None:
    page = browser.new_context(reduced_motion="reduce").new_page()
    for number in (BUY, PASS, LITTLE):
        page.goto(f"{filled}/check/{number}")
        for width, height in PHONES:
            page.set_viewport_size({"width": width, "height": height})
            at_the_foot(page, height)
            assert page.evaluate(BOXES) == []
            assert page.evaluate("document.documentElement.scrollWidth") <= width
            look(page, f"glance-{number}")
        sizes = page.evaluate(
            "[...document.querySelectorAll('main *')].filter(e => !e.children.length && e.textContent.trim() && "
            "e.checkVisibility()).map(e => [parseFloat(getComputedStyle(e).fontSize), !!e.closest('.most strong')])"
        )
        assert max(sizes)[1]
        page.evaluate("document.querySelectorAll('details').forEach((one) => (one.open = true))")
        page.evaluate(AXE.read_text())
        if number == BUY:  # whose page has every part
            assert violations(page) == []
        for scheme in ("light", "dark"):
            page.emulate_media(color_scheme=scheme)
            assert page.evaluate("document.getAnimations().length") == 0
            wanted = "color-contrast-enhanced"  # 7:1, of the head alone
            found = page.evaluate(f"axe.run('.verdict', {{runOnly: {{type: 'rule', values: ['{wanted}']}}}})")
            assert found["violations"] == []
            assert found["passes"]


@pytest.mark.parametrize("scripts", [True, False], ids=["script", "no script"])
def test_a_run_by_keyboard_alone(browser: Browser, filled: str, scripts: bool) -> None:
    page = browser.new_context(viewport={"width": 360, "height": 640}, java_script_enabled=scripts).new_page()

    def press_to(name: str) -> None:
        """Go on by the Tab key until something of that name has the focus, then press Enter."""
        for _ in range(60):
            page.keyboard.press("Tab")
            if page.locator(":focus").count() and name in page.locator(":focus").aria_snapshot():
                page.keyboard.press("Enter")
                return
        raise AssertionError(name)

    page.goto(f"{filled}/check/{BUY}")
    press_to("+1, one more")
    page.wait_for_url("**/check/2?**")
    assert "In the haul: 3" in page.inner_text(".verdict")
    press_to("Undo the count")
    page.wait_for_url("**was=3")
    assert "In the haul: 2" in page.inner_text(".verdict")
    press_to("Next size")
    page.wait_for_url("**next=size**")
    page.locator("#size:focus").wait_for(timeout=5_000)
    page.keyboard.type("10")
    assert [page.input_value(f"#{name}") for name in ("code", "size", "price")] == ["FWR1042", "10", "24.99"]
    page.goto(filled)
    assert "Tannery Row" in page.inner_text(".run-line")
    press_to("Tannery Row")
    page.wait_for_url("**/run")
    press_to("End this run")
    page.wait_for_url("**/run/1")
    look(page, "run-over")
    if scripts:
        assert page.evaluate(BOXES) == []
    press_to("Open it again")
    page.get_by_role("heading", name="Run so far at Tannery Row").wait_for()
    if scripts:
        assert violations(page, at_foot=False) == []
    page.goto(filled)
    page.fill("#code", EAN)
    page.fill("#price", "20")
    page.keyboard.press("Enter")
    page.wait_for_url("**/check/5")
    assert page.inner_text("h1").startswith("Too little to go on")
