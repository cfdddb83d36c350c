"""A phone in German: its pages and its own verdict without signal."""

from __future__ import annotations

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


def renewed(page: Page, address: str, language: str) -> None:
    """Come by until the pages that stand in for the server are in a language."""
    page.goto(address)
    page.wait_for_function(
        """async (language) => {
          await navigator.serviceWorker.ready;
          const names = (await caches.keys()).filter((name) => name.startsWith("aisle-"));
          const kept = await caches.match("/aisle/check", { ignoreVary: true });
          return names.length === 1 && (await kept?.text())?.includes(`<html lang="${language}"`);
        }""",
        arg=language,
        timeout=SLOW,
    )


def test_a_phone_without_signal_speaks_german(
    browser: Browser, sampled: Callable[[Path], Store], tmp_path: Path
) -> None:
    store = sampled(tmp_path / "comps.db")
    save_settings(store, replace(load_settings(store), locale="de_DE"), "a test")
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
        page.goto(f"{address}/waiting")
        expect(page.locator("#items")).to_contain_text("Prüfung: kaufen", timeout=SLOW)
    store.close()
