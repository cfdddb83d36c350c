"""Setting up a channel and the shoes category from a price list, on a phone in a real browser; axe on each page."""

from __future__ import annotations

import pytest
from playwright.sync_api import Browser, Page, expect
from steps import SIZES, clean, opened

pytestmark = pytest.mark.browser
# Keystroke-level model, Card, Moran and Newell 1980, Communications of the ACM 23(7): the slowest typist's key,
# pointing, and making up one's mind, in seconds. Silent reading in words a minute: Brysbaert 2019, Journal of Memory
# and Language 109.
KEY, POINT, MIND, READ = 1.2, 1.1, 1.35, 238


class Thumb:
    """Taps and types as a person would, and counts what that takes."""

    def __init__(self, page: Page) -> None:
        self.page, self.taps, self.fields, self.seconds = page, 0, 0, 0.0

    def read(self, part: str = "main") -> None:
        """Read every word of a page, or of what is new on it, that is not folded away."""
        words = len(self.page.inner_text(part).split())
        self.seconds += 60.0 * words / READ

    def tap(self, role: str, name: str) -> None:
        """Tap one thing, which must be large enough."""
        target = self.page.get_by_role(role, name=name).first  # type: ignore[arg-type]
        target.wait_for()
        self.page.wait_for_load_state()  # Measured once its stylesheet has come, too.
        box = target.bounding_box()
        assert box
        assert box["height"] >= 44, name
        target.click()
        self._tapped()

    def open(self, name: str) -> None:
        """Open what is folded away."""
        self.page.locator("summary", has_text=name).first.click()
        self._tapped()

    def type(self, field: str, text: str) -> None:
        """Type into one field, clearing what stands there."""
        target = self.page.locator(f"[id='{field}']")
        assert target.get_attribute("inputmode") == "decimal"
        target.fill(text)
        self.fields += 1
        self._tapped()
        self.seconds += KEY * len(text)

    def _tapped(self) -> None:
        self.taps += 1
        self.seconds += POINT + MIND


@pytest.mark.parametrize("scripts", [True, False], ids=["script", "no script"])
def test_a_new_user_sets_up_a_channel_and_shoes_in_five_minutes(browser: Browser, address: str, scripts: bool) -> None:
    page = opened(browser, f"{address}/rules", "phone", scripts=scripts)
    thumb = Thumb(page)
    thumb.read()
    thumb.tap("link", "Shoes")
    thumb.read()
    thumb.type("least_profit", "12")
    thumb.open("Postage")
    thumb.type("packed_weight", "1300")
    thumb.tap("button", "Save")
    assert "Saved:" in page.inner_text("main")
    thumb.tap("link", "Rules")
    thumb.tap("link", "Fees: main")
    thumb.read()
    thumb.type("p0.share.0.1", "12")
    thumb.type("p0.share.1.0", "1000")
    thumb.type("p0.share.1.1", "2")
    thumb.type("p0.fixed", "0,40")
    thumb.tap("button", "Save")
    thumb.read(".example")  # the receipt of one sale of shoes
    assert "12\xa0% of 60 + 0.40 an order" in page.inner_text(".example")
    assert "-$7.60" in page.inner_text(".example")
    print(f"{thumb.taps} taps, {thumb.fields} fields, {thumb.seconds:.0f} s")
    assert thumb.taps <= 15
    assert thumb.fields <= 8
    assert thumb.seconds < 300


@pytest.mark.parametrize("size", SIZES)
def test_axe_finds_nothing(browser: Browser, address: str, size: str) -> None:
    page = opened(browser, address, size)
    for part in ("buying", "postage", "work", "selling", "rules", "haul", "general"):
        page.goto(f"{address}/rules/part/{part}")
        clean(page, f"rules-{part}")
    page.goto(f"{address}/rules/flag?name=no_box")
    clean(page, "rules-flag")
    page.goto(f"{address}/rules/category?name=shoes")
    page.fill("#least_profit", "a lot")
    page.get_by_role("button", name="Save").click()
    expect(page.locator("#least_profit")).to_be_focused()
    clean(page, "rules-wrong")
    page.fill("#least_profit", "12")
    page.get_by_role("button", name="See what it changes").click()
    clean(page, "rules-preview")
    page.get_by_role("button", name="Save").click()
    clean(page, "rules-saved")
    page.goto(f"{address}/rules/channel?name=main")
    for summary in page.locator("summary").all():
        summary.click()
    clean(page, "rules-channel")
    page.locator("[id='p0.share.0.1']").fill("100")
    page.get_by_role("button", name="See what it changes").click()
    clean(page, "rules-channel-wrong")
    page.goto(f"{address}/rules/receipt?category=shoes&shelf=12")
    clean(page, "rules-receipt")
