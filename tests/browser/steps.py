"""What a person does on more than one page: loads a file, asks for a verdict, looks at a page."""

from __future__ import annotations

import os
from pathlib import Path

from accessible import violations
from playwright.sync_api import Browser, Page, expect

SIZES = {"phone": (390, 844), "laptop": (1280, 800)}
PICTURES = os.environ.get("SCREENSHOTS", "")
SLOW = 30_000  # milliseconds


def opened(browser: Browser, address: str, size: str, *, scripts: bool = True, scheme: str = "light") -> Page:
    width, height = SIZES[size]
    page = browser.new_context(
        viewport={"width": width, "height": height},
        java_script_enabled=scripts,
        color_scheme=scheme,  # type: ignore[arg-type]
    ).new_page()
    page.goto(address)
    return page


def load(page: Page, address: str, comps: Path) -> None:
    """Load a file of the documented form, and wait until what it tells has been learnt."""
    page.goto(f"{address}/comps")
    page.set_input_files("#file", comps)
    page.get_by_role("button", name="Load", exact=True).click()
    page.wait_for_url("**/comps/batch/*", timeout=SLOW)
    learnt(page, address)


def learnt(page: Page, address: str) -> None:
    for _ in range(240):
        page.goto(f"{address}/progress")
        if page.get_by_role("heading", name="Ready").count():
            return
        page.wait_for_timeout(250)
    raise AssertionError(page.inner_text("main"))


def judge(page: Page) -> None:
    """Ask for the verdict on what was filled in, and go to the server's page of it.

    A phone that has its pack shows its own verdict when the server takes its time, and leads to the server's.
    """
    page.get_by_role("button", name="Judge it").click()
    expect(page.locator("h1.word:visible")).to_have_count(1, timeout=SLOW)
    if "/check/" not in page.url:
        page.locator("#fuller a").click(timeout=SLOW)
        page.wait_for_url("**/check/*")
    page.wait_for_load_state()  # The word can stand there before the stylesheet that sets it on a line of its own.


def taken(page: Page) -> None:
    """Wait until a piece is taken: the page goes on to the haul, or says that it stands in the phone's own."""
    page.wait_for_function(
        "() => location.pathname === '/haul' || document.getElementById('taken')?.hidden === false", timeout=SLOW
    )
    page.wait_for_load_state()


def look(page: Page, name: str) -> None:
    """Keep a picture for people to look at, where a folder was named."""
    if PICTURES:
        Path(PICTURES).mkdir(parents=True, exist_ok=True)
        width = page.viewport_size["width"] if page.viewport_size else 0
        page.screenshot(path=f"{PICTURES}/{name}-{width}.png")
        page.screenshot(path=f"{PICTURES}/{name}-{width}-whole.png", full_page=True)


def clean(page: Page, name: str, *, at_foot: bool = True) -> None:
    """Hold a page whose scripts run to axe in both themes and to its width, and keep its picture."""
    found = violations(page, at_foot=at_foot)
    assert not found, (name, found)
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth"), name
    look(page, name)
