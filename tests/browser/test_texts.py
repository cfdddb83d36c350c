"""Texts of files that would turn the page around, or run off it, do neither."""

from __future__ import annotations

from pathlib import Path

import pytest
from playwright.sync_api import Browser

from sourcing.comps import load_file
from sourcing.storage import open_store

pytestmark = pytest.mark.browser
OVERRIDE = "\u202egnp.exe mug"  # a right-to-left override without its end
ROWS = f"""title,style_code,sold_price,brand,ended_on
{OVERRIDE},RT-100,5.00,Tarvo,2026-03-01
مرحبا كوب,RT-200,6.00,Tarvo,2026-03-02
{"unbroken" * 1_250},RT-300,7.00,Tarvo,2026-03-03
🦊🦊🦊,RT-400,8.00,Tarvo,2026-03-04
"""

FOLLOWING = """element => {
    const after = document.createTextNode("1 2");
    element.after(after);
    const x = (place) => {
        const range = document.createRange();
        range.setStart(after, place);
        range.setEnd(after, place + 1);
        return range.getBoundingClientRect().x;
    };
    const found = x(0) < x(2);
    after.remove();
    return found;
}"""  # whether two digits put behind it stand in their order


def test_titles_turn_nothing_around_them_and_hold_at_320(browser: Browser, address: str, tmp_path: Path) -> None:
    """Unicode UAX #9, isolates; WCAG 2.2, 1.4.10: nothing is to be scrolled sideways at 320 pixels."""
    (tmp_path / "strange.csv").write_text(ROWS, encoding="utf-8")
    store = open_store(str(tmp_path / "comps.db"))
    load_file(store, tmp_path / "strange.csv")
    store.close()
    page = browser.new_context(viewport={"width": 320, "height": 640}).new_page()
    for path in ("/comps/table", "/comps/table?query=RT-300", "/comps", "/comps/batch/1", "/history"):
        page.goto(address + path)
        assert page.evaluate("document.documentElement.scrollWidth") <= 320, path
    page.goto(f"{address}/comps/table?query=RT-100")
    box = page.locator("bdi", has_text="gnp.exe").first
    assert box.evaluate("element => getComputedStyle(element).unicodeBidi") == "isolate"
    # What follows the title in its line still reads from left to right; it would not without the isolation.
    assert box.evaluate(FOLLOWING) is True
    box.evaluate("element => { element.style.unicodeBidi = 'normal'; }")
    assert box.evaluate(FOLLOWING) is False
