"""A run's trip typed, stores and books read, a photo kept and brought back, on a phone and on a laptop."""

from __future__ import annotations

from datetime import timedelta
from decimal import Decimal
from pathlib import Path

import pytest
import web_examples
from PIL import Image
from playwright.sync_api import Browser, expect
from steps import clean, opened

from sourcing import haul, history
from sourcing.stock import sales, shelf
from sourcing.stock.bring import bring
from sourcing.storage import open_store


@pytest.mark.browser
@pytest.mark.parametrize("size", ["phone", "laptop"])
def test_from_the_run_to_the_books(browser: Browser, address: str, tmp_path: Path, size: str) -> None:
    store = open_store(str(tmp_path / "comps.db"))
    for place in ("Tannery Row", "Quarry Lane"):
        run = haul.start(store, place)
        haul.take(store, history.record(store, web_examples.verdict()), 3)
        bring(store, run)
    for piece in shelf.find(store)[1:5]:
        sales.sell(store, piece.id, Decimal("61.50"), piece.bought_on + timedelta(0), fees=Decimal("8.30"))
    piece_id = shelf.find(store)[0].id
    store.close()
    Image.new("RGB", (900, 700), (120, 70, 30)).save(tmp_path / "sole.jpg")

    page = opened(browser, f"{address}/run/{run}", size)
    page.get_by_label("Driving").fill("40")
    page.get_by_label("Shopping").fill("1:05")
    page.get_by_label("Distance").fill("24.5")
    page.get_by_role("button", name="Save").click()
    expect(page.locator("#trip")).to_contain_text("Saved.")
    page.locator("#photos summary").click()
    page.set_input_files("#kept-photo", tmp_path / "sole.jpg")
    page.get_by_label("What it shows").fill("the receipt")
    page.get_by_role("button", name="Keep the photo").click()
    expect(page.get_by_role("img", name="the receipt")).to_be_visible()
    clean(page, "run-brought", at_foot=False)
    page.get_by_role("img", name="the receipt").click()
    page.get_by_role("button", name="Remove it").click()
    page.get_by_role("button", name="Bring it back").click()
    expect(page.get_by_role("img", name="the receipt")).to_be_visible()
    page.get_by_role("link", name="Beside other stores").click()
    expect(page.locator("h1")).to_contain_text("What an hour brings")
    clean(page, "stores", at_foot=False)
    page.locator("#main").get_by_role("link", name="Books").click()
    expect(page.locator("h1")).to_contain_text("Books")
    clean(page, "books", at_foot=False)
    page.goto(f"{address}/stock/{piece_id}")
    expect(page.locator("#photos")).to_be_visible()
