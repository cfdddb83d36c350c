"""The track record and a file of sales in a real browser: read, corrected, undone; matched, recorded, undone."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path

import pytest
from conftest import serving
from playwright.sync_api import Browser, expect
from steps import SIZES, clean, opened

from benchmarks._reseller import Truth, fill
from sourcing.settings import load_settings, save_settings
from sourcing.storage import open_store

pytestmark = pytest.mark.browser


@pytest.fixture
def stocked(empty: Path, tmp_path: Path) -> Iterator[str]:
    """Serve a reseller whose prices are forecast too high, with one label on a listed piece."""
    shutil.copy(empty, tmp_path / "comps.db")
    store = open_store(str(tmp_path / "comps.db"))
    fill(store, 2, 500, date.today(), Truth(bias=-0.2))
    with store.write_rows() as raw:
        raw.execute(
            "UPDATE stock_item SET label = '2648-0001J' "
            "WHERE id = (SELECT min(id) FROM stock_item WHERE state = 'listed')"
        )
    store.close()
    with serving(tmp_path / "comps.db") as address:
        yield address


def test_no_table_is_cut_off_on_a_phone_that_speaks_german(browser: Browser, empty: Path, tmp_path: Path) -> None:
    shutil.copy(empty, tmp_path / "comps.db")
    store = open_store(str(tmp_path / "comps.db"))
    save_settings(store, replace(load_settings(store), locale="de_DE", currency="EUR"), "a test")
    fill(store, 2, 60, date.today())
    with store.write_rows() as raw:
        raw.execute("UPDATE stock_sale SET paid = 115200, fees = NULL WHERE id = (SELECT max(id) FROM stock_sale)")
    store.close()
    with serving(tmp_path / "comps.db") as address:
        for path in ("outcomes", *(f"record?within={days}" for days in (14, 90))):
            page = opened(browser, f"{address}/{path}", "phone")
            assert page.locator("html").get_attribute("lang") == "de"
            page.evaluate("document.querySelectorAll('details').forEach((one) => { one.open = true; })")
            rooms = page.evaluate(
                "[...document.querySelectorAll('.scroll')].map((one) => [one.scrollWidth, one.clientWidth])"
            )
            assert rooms, path
            assert all(needed <= room for needed, room in rooms), (path, rooms)
            assert page.locator("tbody").get_by_role("row").count() > 3  # however they are laid out
            clean(page, f"{path.partition('?')[0]}-german")


@pytest.mark.parametrize("size", SIZES)
def test_a_record_is_read_and_sales_are_recorded(browser: Browser, stocked: str, size: str, tmp_path: Path) -> None:
    page = opened(browser, f"{stocked}/record", size, scripts=size == "laptop")
    expect(page.get_by_role("heading", name="A correction would have helped")).to_be_visible()
    assert page.locator("svg[role=img]").count() == 3
    if size == "laptop":  # axe needs scripts
        clean(page, "record")
    page.get_by_role("button", name="Correct the forecasts").first.click()
    expect(page.get_by_text("at work", exact=False).last).to_be_visible()
    page.get_by_role("button", name="Undo: 1").click()
    expect(page.get_by_role("heading", name="A correction would have helped")).to_be_visible()

    day = (date.today() - timedelta(days=1)).isoformat()
    sales = tmp_path / "my sales.csv"
    sales.write_text(
        "stock label,style code,sold price,sold on,selling fees,postage cost\n"
        f"2648-0001J,,31.00,{day},4.33,8.25\n,QQ9,55.00,{day},7.45,8.00\n"
    )
    page.goto(f"{stocked}/outcomes")
    page.set_input_files("#sales-file", sales)
    page.get_by_role("button", name="Look at it").click()
    expect(page.get_by_role("heading", name="1 sure match")).to_be_visible()
    if size == "laptop":
        clean(page, "outcomes-file")
    page.get_by_role("button", name="Record it").click()
    expect(page.get_by_text("1 sale recorded.")).to_be_visible()
    page.get_by_role("button", name="Undo").first.click()
    expect(page.get_by_text("Undone: the pieces are as they were before the file.")).to_be_visible()
    if size == "laptop":
        clean(page, "outcomes")


def test_pages_are_clean_on_a_phone(browser: Browser, stocked: str) -> None:
    page = opened(browser, f"{stocked}/record?by=period&within=14", "phone")
    clean(page, "record")
    page.goto(f"{stocked}/outcomes")
    page.locator("details summary").first.click()
    clean(page, "outcomes")
