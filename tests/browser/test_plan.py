"""The plan of a haul in a real browser: chosen, taken and undone with and without JavaScript; axe in both themes."""

from __future__ import annotations

from decimal import Decimal
from pathlib import Path

import pytest
from playwright.sync_api import Browser
from steps import SIZES, clean, opened

from sourcing import haul, history
from sourcing.answer import Query
from sourcing.check import check
from sourcing.comps import load_file
from sourcing.fitting import refit
from sourcing.storage import open_store

pytestmark = pytest.mark.browser
SAMPLES = Path(__file__).parents[2] / "sample_comps"
PRICES = {"TI443-195": "3.99", "WE804-175": "3.99", "TA918-061": "30.99", "LI528-139": "5.99", "TA387-100": "4.99"}


@pytest.fixture(autouse=True)
def _filled(address: str, tmp_path: Path) -> None:
    """Give the running server a haul: it reads the same file."""
    store = open_store(str(tmp_path / "comps.db"))
    load_file(store, SAMPLES / "spring_sales.csv")
    refit(store)
    for code, price in PRICES.items():
        haul.take(store, history.record(store, check(store, Query(code=code, shelf_price=Decimal(price)))), 2)
    store.close()


@pytest.mark.parametrize("scripts", [True, False], ids=["script", "no script"])
def test_a_plan_is_taken_and_undone(browser: Browser, address: str, scripts: bool) -> None:
    page = opened(browser, f"{address}/haul", "phone", scripts=scripts)
    before = page.locator(".rows .row:not(.gone)").count()
    page.get_by_role("link", name="Plan what to take").click()
    page.fill("#cash", "9")
    page.get_by_role("button", name="Plan again").click()
    answer = page.locator("#answer").inner_text()
    assert answer.startswith("Take ")
    page.get_by_role("button", name="Make the haul this").click()
    page.wait_for_url("**/haul")
    pieces = page.locator("dl.three dd").first.inner_text()
    assert pieces == answer.split()[1].replace("nothing", "0")
    page.get_by_role("button", name="Undo the plan").click()
    page.wait_for_url("**/haul")
    assert page.locator(".rows .row:not(.gone)").count() == before


@pytest.mark.parametrize("size", SIZES)
def test_axe_finds_nothing(browser: Browser, address: str, size: str) -> None:
    page = opened(browser, f"{address}/plan", size)
    clean(page, "plan, as the settings have it")
    page.fill("#cash", "12")
    page.fill("#prep_hours", "0.5")
    for summary in page.locator("summary").all():
        summary.click()
    page.set_input_files("#list", SAMPLES / "shelf_list.csv")
    clean(page, "plan, all open")
    page.locator(".bar button").first.click()
    page.wait_for_selector(".used .meter")
    clean(page, "plan, planned with a list")
    page.fill("#cash", "nan")
    page.locator(".bar button").first.click()
    page.wait_for_selector(".wrong")
    clean(page, "plan, a limit that is none")
