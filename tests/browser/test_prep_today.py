"""A batch timed, forgotten and undone; prices moved and moved back: in a browser, with and without scripts."""

from __future__ import annotations

import shutil
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, expect
from steps import SIZES, clean, opened

from sourcing import haul, history
from sourcing.answer import Query
from sourcing.check import check
from sourcing.prep import watch
from sourcing.prep.clock import Reading
from sourcing.stock import moves, shelf
from sourcing.stock.bring import bring
from sourcing.storage import open_store

pytestmark = pytest.mark.browser


def _ago(minutes: float) -> Any:
    at = datetime.now(UTC) - timedelta(minutes=minutes)
    return lambda: Reading(at)


@pytest.fixture(scope="module")
def filled(samples: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A store with listed pieces and timed batches, invented."""
    place = tmp_path_factory.mktemp("prep") / "comps.db"
    shutil.copy(samples, place)
    store = open_store(str(place))
    number = haul.start(store, "Tannery Row")
    for (code,) in store.read("SELECT style_code FROM product WHERE style_code <> '' ORDER BY id LIMIT 6"):
        haul.take(store, history.record(store, check(store, Query(code=code, shelf_price=Decimal("6.99")))))
    bring(store, number)
    with store.write_rows() as raw:
        raw.execute("UPDATE stock_item SET bought_on = bought_on - 40 * id")
    for item in shelf.find(store)[:4]:
        moves.list_(store, [item.id], Decimal("88.00"), date.today() - timedelta(days=20 * item.id))
    for at in range(6):
        batch = watch.start(store, "photograph", category="shoes", clock=_ago(5000 - 300 * at))
        watch.finish(store, batch, 12, clock=_ago(5000 - 300 * at - 30 - at))
    watch.start(store, "clean", category="toys", clock=_ago(560))
    store.close()
    return place


@pytest.fixture(autouse=True)
def _ready(filled: Path, address: str, tmp_path: Path) -> None:
    shutil.copy(filled, tmp_path / "comps.db")


@pytest.mark.parametrize(("size", "scripts"), [("phone", True), ("laptop", False)])
def test_a_batch_is_timed(browser: Browser, address: str, size: str, scripts: bool) -> None:
    page = opened(browser, f"{address}/prep", size, scripts=scripts)
    page.get_by_role("button", name="Photograph", exact=True).click()
    card = page.locator(".watch").last
    card.get_by_role("button", name="Pause").click()
    card.get_by_role("button", name="Go on").click()
    card.get_by_label("Pieces done").fill("3")
    card.get_by_role("button", name="Finish").click()
    expect(page.get_by_role("status")).to_contain_text("Done: 3 in")
    page.locator("form.done").get_by_role("button", name="Undo").click()
    expect(page.locator(".watch")).to_have_count(2)
    # The forgotten one is asked about.
    lost = page.locator(".watch").first
    expect(lost).to_contain_text("without a tap")
    lost.get_by_label("Pieces done").fill("9")
    lost.get_by_role("button", name="Finish").click()
    expect(page.get_by_role("alert")).to_contain_text("How many minutes it really took")
    page.get_by_label("Minutes it really took").fill("20")
    page.locator(".watch").first.get_by_role("button", name="Finish").click()
    expect(page.get_by_role("status")).to_contain_text("Done: 9 in 20 min")


@pytest.mark.parametrize("size", SIZES)
def test_pages_are_clean_and_prices_move(browser: Browser, address: str, size: str) -> None:
    page = opened(browser, f"{address}/prep", size)
    clean(page, "prep")
    page.goto(f"{address}/today")
    clean(page, "today")
    page.locator(".move input[type=checkbox]").first.check()
    page.locator(".move .to input").first.fill("51.00")
    page.get_by_role("button", name="Move the ticked ones").click()
    expect(page.get_by_role("status")).to_contain_text("recorded")
    assert "51.00" in page.locator(".moves").inner_text()
    page.locator("form.done").get_by_role("button", name="Undo").click()
    expect(page.get_by_role("status")).to_contain_text("Taken back")
    assert "51.00" not in page.locator(".moves").inner_text()
