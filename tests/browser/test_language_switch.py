"""A phone in German: its pages and its own verdict without signal."""

from __future__ import annotations

import re
import time
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest
from conftest import serving
from playwright.sync_api import Browser, Page, expect
from steps import SIZES, SLOW, clean

from sourcing.settings import load_settings, save_settings
from sourcing.storage import Store

pytestmark = pytest.mark.browser


KEPT = """async () => {
  const names = (await caches.keys()).filter((name) => name.startsWith("aisle-"));
  const kept = await caches.match("/aisle/check", { ignoreVary: true });
  return [names.length, (await kept?.text())?.match(/<html lang="(\\w+)"/)[1]];
}"""


def renewed(page: Page, address: str, language: str) -> None:
    """Come by until the pages that stand in for the server are in a language, and no others are kept."""
    page.goto(address)
    page.evaluate("navigator.serviceWorker.ready.then(() => undefined)")
    last = time.monotonic() + SLOW / 1000
    while page.evaluate(KEPT) != [1, language]:
        assert time.monotonic() < last, page.evaluate(KEPT)
        page.wait_for_timeout(200)


def test_a_phone_without_signal_speaks_german_and_goes_back_to_english(
    browser: Browser, sampled: Callable[[Path], Store], tmp_path: Path
) -> None:
    store = sampled(tmp_path / "comps.db")
    plain = load_settings(store)
    save_settings(store, replace(plain, locale="de_DE"), "a test")
    code = store.read("SELECT style_code FROM product WHERE style_code != '' LIMIT 1")[0][0]
    width, height = SIZES["phone"]
    with serving(tmp_path / "comps.db") as address:
        context = browser.new_context(viewport={"width": width, "height": height})
        page = context.new_page()
        page.goto(address)
        expect(page.locator("#aisle-line")).to_contain_text("Antwortet auch ohne den Server.", timeout=SLOW)
        renewed(page, address, "de")
        context.set_offline(True)
        page.goto(address)
        page.fill("#code", str(code))
        page.fill("#price", "1,50")
        page.get_by_role("button", name="Beurteilen").click()
        expect(page.locator("#verdict .word")).to_contain_text("Kaufen", timeout=SLOW)
        expect(page.locator("#verdict .most")).to_contain_text("Höchster lohnender Preis")
        expect(page.locator("#verdict .reason")).to_contain_text(
            "Luft nach der Regel, die entscheidet: Erwarteter Gewinn"
        )
        clean(page, "german-verdict", at_foot=False)
        meanings = page.locator("#more li .grow").all_text_contents()
        assert any("\N{NO-BREAK SPACE}%" in one for one in meanings), meanings
        assert not any(re.search(r"\d%", one) for one in meanings), meanings
        page.goto(address)
        page.fill("#code", str(code))
        page.fill("#price", "3 für 4,50")
        page.get_by_role("button", name="Beurteilen").click()
        expect(page.locator("#verdict .against")).to_contain_text("1,50", timeout=SLOW)
        page.goto(f"{address}/waiting")
        expect(page.locator("#items")).to_contain_text("Prüfung: kaufen", timeout=SLOW)
        context.set_offline(False)
        save_settings(store, plain, "a test")
        renewed(page, address, "en")
        context.set_offline(True)
        page.goto(address)
        expect(page.locator("html")).to_have_attribute("lang", "en")
        expect(page.locator("#aisle-line")).to_contain_text("Answers without your server", timeout=SLOW)
    store.close()
