"""Files of any shape brought in in a real browser: from upload to a first verdict, with and without JavaScript."""

from __future__ import annotations

import io
import json
import random
import zipfile
from collections.abc import Callable
from datetime import date, timedelta
from pathlib import Path
from typing import Literal

import openpyxl
import pytest
from playwright.sync_api import Browser, Page
from steps import clean, judge, learnt, look, opened

pytestmark = pytest.mark.browser
FIRST = date(2026, 9, 1)


def german(place: Path) -> Path:
    """Write a semicolon file with decimal commas and yes and no in German; row 6 has a slip in its price."""
    draw, path = random.Random(3), place / "verkaufte_artikel.csv"
    lines = ["Artikel;Marke;Preis;Verkauft;Eingestellt am;Verkauft am;Zustand;Interne Nr"]
    for at in range(60):
        listed, sold = FIRST + timedelta(days=at % 40), at % 4 != 3
        ended = f"{listed + timedelta(days=draw.randrange(2, 30)):%d.%m.%Y}" if sold else ""
        amount = f"{draw.randrange(52, 75)},{draw.randrange(100):02d} €"
        amount = amount.replace("€", "EUR0") if at == 4 else amount
        words = f"Wanderschuh Felsgrat Gr. {40 + at % 4}", "Tarvo", amount, "ja" if sold else "nein"
        lines.append(";".join((*words, f"{listed:%d.%m.%Y}", ended, "gebraucht" if at % 3 else "neu", str(1000 + at))))
    path.write_text("\n".join(lines), encoding="utf-8")
    return path


def workbook(place: Path) -> Path:
    """Write a workbook of two sheets, the table on the second, size and condition inside its titles."""
    draw, path, book = random.Random(4), place / "book.xlsx", openpyxl.Workbook()
    book.active.title = "About"
    book.active.append(["This book", "lists sales"])
    book.active.append(["made in", "November"])
    sheet = book.create_sheet("Sales")
    sheet.append(["Item title", "Sold price", "Sold date", "Brand"])
    for at in range(40):
        title = f"Kestrel quilted vest size {('S', 'M', 'L')[at % 3]} {'used' if at % 2 else 'new with tags'}"
        sheet.append([title, 30 + draw.randrange(900) / 100, (FIRST + timedelta(days=at)).isoformat(), "Kestrel"])
    book.save(path)
    return path


def archive(place: Path) -> Path:
    """Write JSON lines in a zip."""
    draw, path, out = random.Random(5), place / "lines.zip", io.StringIO()
    for at in range(30):
        listed = FIRST + timedelta(days=at)
        row = {"title": "Walnut pepper mill", "price": draw.randrange(1800, 2600) / 100, "state": "sold"}
        row |= {"listed": listed.isoformat(), "ended": (listed + timedelta(days=9)).isoformat(), "id": f"Z{at}"}
        out.write(json.dumps(row) + "\n")
    with zipfile.ZipFile(path, "w") as packed:
        packed.writestr("export.jsonl", out.getvalue())
    return path


def looked_at(page: Page, name: str, scripts: bool = True) -> None:
    """Hold a page to axe where scripts run, and to its width."""
    if scripts:
        clean(page, f"in-{name}")
    else:
        page.wait_for_load_state()
        assert page.evaluate("document.documentElement.scrollWidth <= innerWidth"), name
        look(page, f"in-{name}")


def upload(page: Page, address: str, path: Path) -> None:
    page.goto(f"{address}/comps")
    page.set_input_files("#file", path)
    page.get_by_role("button", name="Load", exact=True).click()
    page.wait_for_url("**/comps/file/*")


def answered(page: Page, choices: dict[str, str], look: Callable[[str], None], name: str) -> None:
    """Answer what is asked, by a word of the question, and go on until the rows are shown."""
    for turn in range(5):
        page.wait_for_url("**/comps/file/**")
        if page.url.endswith("/rows"):
            return
        look(f"{name}-match{turn or ''}")
        for group in page.locator("#open fieldset").all():
            legend = group.locator("legend").inner_text()
            wanted = next((choice for word, choice in choices.items() if word in legend), None)
            assert wanted is not None, legend
            group.locator(f"input[value='{wanted}']").check()
        page.locator(".bar .main").click()
        page.wait_for_load_state()
    assert page.url.endswith("/rows"), page.inner_text("main")


def count(page: Page) -> list[int]:
    return [int(one.inner_text().replace(",", "")) for one in page.locator(".sums strong").all()]


@pytest.mark.parametrize(("size", "scripts"), [("phone", True), ("laptop", True), ("phone", False)])
def test_three_exports_from_upload_to_a_verdict(
    browser: Browser, address: str, tmp_path: Path, size: str, scripts: bool
) -> None:
    page = opened(browser, address, size, scripts=scripts)
    wrong: list[str] = []
    page.on("pageerror", lambda error: wrong.append(str(error)))

    def look(name: str) -> None:
        looked_at(page, name if scripts else f"plain-{name}", scripts)

    upload(page, address, german(tmp_path))
    page.locator("input[name='inside-size']").check()
    answered(page, {"nein": "open"}, look, "german")
    look("german-rows")
    tried = count(page)
    assert tried == [60, 59, 0, 1]
    page.get_by_role("button", name="Load the 59 good rows, leave 1 aside").click()
    page.wait_for_url("**/comps/batch/*")
    assert count(page) == tried
    look("german-batch")
    page.locator(".mend input").first.fill("61,50 €")
    page.get_by_role("button", name="Load the mended rows").click()
    page.get_by_text("All rejected rows have been put right").wait_for()

    upload(page, address, workbook(tmp_path))
    if page.get_by_label("Sheet").count():
        if not page.get_by_label("Sheet").is_visible():
            page.get_by_text("take another").click()
        look("book-sheet")
        page.get_by_label("Sheet").select_option("Sales")
        page.get_by_role("button", name="Take it").click()
        page.wait_for_url("**/comps/file/*")
    for name in ("size", "condition"):
        page.locator(f"input[name='inside-{name}']").check()
    answered(page, {"stand": "sold"}, look, "book")
    look("book-rows")
    assert count(page) == [40, 40, 0, 0]
    assert page.locator(".stored dt", has_text="Size").count() > 0
    page.get_by_role("button", name="Load 40 rows").click()
    page.wait_for_url("**/comps/batch/*")

    upload(page, address, archive(tmp_path))
    answered(page, {}, look, "lines")
    page.get_by_role("button", name="Load 30 rows").click()
    page.wait_for_url("**/comps/batch/*")
    look("lines-batch")

    learnt(page, address)
    page.goto(f"{address}/comps")
    look("comps")
    page.goto(address)
    page.get_by_text("or no code at all").click()
    page.fill("#title", "Walnut pepper mill")
    page.fill("#price", "5")
    judge(page)
    assert page.get_by_role("heading", level=1).inner_text().split("\n")[0].strip() in ("Buy", "Pass")
    look("verdict")
    assert wrong == []


@pytest.mark.parametrize(("size", "theme"), [("phone", "dark"), ("laptop", "light")])
def test_what_is_picked_and_how_far_a_long_load_is(
    browser: Browser, address: str, tmp_path: Path, size: str, theme: Literal["light", "dark"]
) -> None:
    page = opened(browser, address, size, scheme=theme)
    old = tmp_path / "alt.csv"
    old.write_bytes("Größe;Artikel;Verkaufspreis\n42;Schuh für Übung;12,50\n".encode("cp1252"))
    upload(page, address, old)
    looked_at(page, f"encoding-{theme}")
    both = tmp_path / "both.zip"
    with zipfile.ZipFile(both, "w") as packed:
        packed.writestr("first.csv", "name,paid\nMug,5.00\n")
        packed.writestr("second.csv", "name,paid\nPan,6.00\n")
    upload(page, address, both)
    looked_at(page, f"member-{theme}")
    long = tmp_path / "long.csv"  # so long that trying it takes many times what a page waits for it
    day = "2026-09-01"
    long.write_text("name,paid,sold on\n" + "".join(f"Mug {at % 50},{5 + at % 9}.50,{day}\n" for at in range(400_000)))
    page.goto(f"{address}/comps")
    page.set_input_files("#file", long)
    page.get_by_role("button", name="Load", exact=True).click()
    page.wait_for_url("**/comps/file/*", timeout=60_000)
    page.get_by_role("button", name="Look at the rows").click()
    page.wait_for_url("**/comps/progress/*", timeout=60_000)
    page.get_by_role("link", name="Stop looking by itself").click()
    looked_at(page, f"progress-{theme}")
