"""The pack in a real browser: the phone's verdict beside the server's, bytes that are no good, codes as typed."""

from __future__ import annotations

import base64
import gzip
import os
from collections.abc import Callable
from decimal import Decimal
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from made_up_pack import CONDITIONS, discount, made_up
from made_up_pack import wanted as wanted_of
from playwright.sync_api import Browser, Page
from supposed import at_others

from sourcing.answer import Query
from sourcing.check import check
from sourcing.codes import closest, parse_code, style_key
from sourcing.comps.lookup import known_codes
from sourcing.errors import BadInput
from sourcing.pack import kept
from sourcing.pack.figures import COLUMNS, OTHERS
from sourcing.pack.file import START, packed
from sourcing.pack.reckoned import Group
from sourcing.settings import Settings, default_settings, load_settings
from sourcing.storage import Store
from web import forms

pytestmark = pytest.mark.browser

ROWS = int(os.environ.get("PARITY_ROWS", "6000"))  # a run over 100,000 takes minutes
OPEN = """async ([text]) => {
  const { openPack } = await import("/static/aisle/pack.js"), { judge } = await import("/static/aisle/judge.js");
  const bytes = Uint8Array.from(atob(text), (char) => char.charCodeAt(0));
  Object.assign(window, { judge });
  try {
    window.pack = await openPack(bytes);
  } catch (error) {
    return [error.state ?? String(error.stack), error.message, error.wayOn];
  }
  return window.pack.about;
}"""
FIELDS = (
    "decision", "binding_rule", "most_worth_paying", "shelf_price", "landed_cost", "asking_price", "expected_proceeds",
    "profit_before_labour", "profit_after_labour", "profit_per_hour", "days_50", "days_80", "reason", "would_settle",
    "speed_basis", "objective", "rests_on", "match", "newest_comp", "comps_sold", "comps_unsold", "sale_price",
    "proceeds", "profit", "limits", "sold_within", "warnings", "currency", "at_others",
)  # fmt: skip
JUDGE = """([fields, table]) => table.map(([code, price, discount, condition, category, brand]) => {
  const answer = window.judge(window.pack, { code, price, discount, condition, category, brand });
  return answer.problem ? answer.problem : fields.map((name) => answer[name]);
})"""


@pytest.fixture
def page(browser: Browser, address: str) -> Page:
    page = browser.new_page()
    page.set_default_timeout(300_000)
    page.goto(f"{address}/help")
    return page


def opened(page: Page, data: bytes) -> Any:
    return page.evaluate(OPEN, [base64.b64encode(data).decode()])


def typed(steps: Any) -> str:
    return "" if steps is None else str(steps)


def alike(page: Page, asked: list[tuple[Any, ...]], wanted: list[dict[str, Any]]) -> None:
    """Hold the phone's answers to the server's, field by field."""
    for at in range(0, len(asked), 10_000):
        found = page.evaluate(JUDGE, [list(FIELDS), asked[at : at + 10_000]])
        for ask, one, want in zip(asked[at : at + 10_000], found, wanted[at : at + 10_000], strict=True):
            assert isinstance(one, list), (ask, one)
            both = {name: (value, want[name]) for name, value in zip(FIELDS, one, strict=True) if value != want[name]}
            assert not both, (ask, both)


EUROS, RUPEES = Settings(locale="de_DE", currency="EUR"), Settings(locale="hi_IN", currency="INR")


@pytest.mark.parametrize("settings", [default_settings(), EUROS, RUPEES], ids=lambda one: one.locale)
def test_the_phone_says_what_the_server_says(page: Page, settings: Settings) -> None:
    draw = np.random.default_rng(952)
    rows = ROWS if settings.locale == "en_US" else ROWS // 20
    data, groups = made_up(draw, 120, max(rows // 200, 3), settings)
    assert opened(page, packed(data))["items"] == sum(len(group.known) for group in groups)
    asked, wanted = asked_of(draw, groups, rows, settings)
    assert {one["decision"] for one in wanted} == {"buy", "pass", "too little to go on"}
    assert len({one["binding_rule"] for one in wanted}) == 5
    there = [(one["decision"], one["at_others"]["decision"]) for one in wanted if one["at_others"]]
    assert set(there) == {(one, other) for one in ("buy", "pass") for other in ("buy", "pass")}
    assert len(there) < len(wanted)
    alike(page, asked, wanted)


FIGURES = """([names]) => window.pack.groups.map((group) => names.map((name) =>
  Array.from({ length: group.slots }, (_, slot) =>
    Array.from({ length: group.count }, (_, at) => window.pack.figure(name, group.first + at, slot)))))"""


@pytest.mark.parametrize("each", [3, 300])  # too few to be foretold, and enough
def test_every_figure_comes_back_on_the_phone(page: Page, each: int) -> None:
    data, groups = made_up(np.random.default_rng(17), 3, each, default_settings())
    opened(page, packed(data))
    names = [one.name for one in COLUMNS]
    for group, found in zip(groups, page.evaluate(FIGURES, [names]), strict=True):
        for name, values in zip(names, found, strict=True):
            read = group.figures["others"] == 1 if name in OTHERS else np.ones_like(group.figures[name], dtype=bool)
            assert np.array_equal(np.array(values)[read], group.figures[name][read]), (group.category, name)


def test_a_wrong_figure_at_the_price_others_get_would_be_seen(page: Page) -> None:
    settings = default_settings()
    data, groups = made_up(np.random.default_rng(953), 20, 5, settings)
    opened(page, data)
    alike(page, *asked_of(np.random.default_rng(954), groups, 400, settings))
    # By a cent, and by as many days or as much of a chance as moves a limit by one.
    for name, by in {"others_net": 1, "others_loss": 1, "others_tied": 300, "others_by_target": 2_000}.items():
        for group in groups:
            group.figures[name] += by
        with pytest.raises(AssertionError, match="at_others"):
            alike(page, *asked_of(np.random.default_rng(954), groups, 400, settings))
        for group in groups:
            group.figures[name] -= by


def asked_of(draw: Any, groups: list[Group], rows: int, settings: Settings) -> tuple[list[tuple[Any, ...]], Any]:
    """Draw so many questions about made-up items, as the phone is asked them, and what the server says to each."""
    asked: list[tuple[Any, ...]] = []
    wanted = []
    for _ in range(rows):
        group = groups[int(draw.integers(len(groups)))]
        record = int(draw.integers(group.records))
        shelf = None if draw.random() < 0.05 else round(Decimal(int(draw.integers(0, 9_000))) / 100, 2)
        steps = discount(draw) if draw.random() < 0.4 else None
        condition = str(draw.choice(["", *CONDITIONS, "NEW ", "never heard of"]))
        code = group.known[record].style_code if group.known else ""
        category = "" if group.known else "unheard of" if group.category == "★" else group.category.upper()
        brand = "" if group.known else group.brands[record]
        query = Query(code=code, shelf_price=shelf, discount=steps, condition=condition, category=category, brand=brand)
        asked.append((code, None if shelf is None else int(shelf * 100), typed(steps), condition, category, brand))
        wanted.append(wanted_of(group, record, query, settings))
    return asked, wanted


def test_a_buy_is_not_sure_where_a_flag_moves_the_price_in_a_way_the_pack_does_not_hold(
    page: Page, address: str
) -> None:
    data, groups = made_up(np.random.default_rng(4), 1, 40, default_settings())
    page.goto(address)  # which has the shapes of the words
    opened(page, packed(data))
    said = """async ([codes, flags, effect]) => {
      const { verdict } = await import("/static/aisle/verdict.js"), { pack } = window;
      const judged = codes.map((code) => window.judge(pack, { code, price: 1, flags: [] }));
      const found = judged.find((one) => one.decision === "buy");
      const flag = { name: "no_box", label: "no box", minutes: ["0", "0", "0", "0"], supplies: "0" };
      pack.said.flags = [{ ...flag, price_effect: effect ? [found.item.category] : [] }];
      const answer = window.judge(pack, { code: found.query.code, price: 1, flags });
      const [article] = verdict(pack, answer, { words: "" });
      return [answer.decision, article.querySelector(".do").textContent, article.querySelector(".why").textContent,
        article.querySelector(".age").textContent];
    }"""
    codes = [one.style_code for group in groups for one in group.known]
    decision, do, why, age = page.evaluate(said, [codes, ["no_box"], True])
    assert (decision, do.startswith("Sure only well below ")) == ("buy", True)
    assert "does to the price is not counted here" in why
    assert "does to the price" not in age
    assert "The asking price is the one without flags." in age
    _, do, why, _ = page.evaluate(said, [codes, ["no_box"], False])
    assert do == "Take it."
    assert "not counted" not in why


PRICES = {
    "12,50": "12.50", "12.50 €": "12.50", "1299": "1299.00", "1.299,00": "1299.00", "1,299.00": "1299.00",
    "1 299,5": "1299.50", "1’299.00": "1299.00", "1.000.000,00": "1000000.00", "2 for 1.299,00": "649.50",
    "1.299": "1299.00", "1,299": None, "1.000.000": "1000000.00", "1.299 €": "1299.00", "2 for 1.299": "649.50",
    "1.000.001": None, "0.299": None, "1.2999": None, "12.999,000": None, "1.299.00": None, "0.299,00": None,
    "1.29,00": None,
    "1,299.00.": None, "-5,00": None, "12,5o": None, "1.000.000,01": None, "1e5": None,
}  # fmt: skip


DOLLARS = Settings(locale="en_US", currency="USD")
IN_DOLLARS = {
    "1,299": "1299.00", "$1,299": "1299.00", "1,000,000": "1000000.00", "2 for 1,299": "649.50", "1,299.00": "1299.00",
    "1,29": "1.29", "1.299": None, "1,000,001": None, "0,299": None, "1,299,": None, "1,299,29": None, "1,2999": None,
}  # fmt: skip


@pytest.mark.parametrize(("settings", "prices"), [(EUROS, PRICES), (DOLLARS, IN_DOLLARS)], ids=["de_DE", "en_US"])
def test_a_price_reads_alike_on_both_however_it_is_typed(
    page: Page, settings: Settings, prices: dict[str, str | None]
) -> None:
    data, _ = made_up(np.random.default_rng(3), 1, 3, settings)
    opened(page, packed(data))
    read = """async (texts) => {
      const { readPrice } = await import("/static/aisle/money.js");
      return texts.map((text) => { try { return readPrice(window.pack, text); } catch { return null; } });
    }"""
    cents = {text: None if price is None else int(Decimal(price) * 100) for text, price in prices.items()}
    assert dict(zip(prices, page.evaluate(read, list(prices)), strict=True)) == cents
    own = {}
    for text in prices:
        found = forms._price(text, settings.currency, settings.locale)
        own[text] = None if found is None else int(found * 100)
    assert own == cents


def test_the_samples_are_judged_as_the_server_judges_them(
    page: Page, sampled: Callable[[Path], Store], tmp_path: Path
) -> None:
    store = sampled(tmp_path / "samples.db")
    pack = kept.build(store)
    opened(page, pack.data)
    draw, settings = np.random.default_rng(5), load_settings(store)
    codes = [code for code in known_codes(store) if not (code.isdigit() and len(code) == 14)]
    asked: list[tuple[Any, ...]] = []
    wanted = []
    for code in [*draw.choice(codes, 60), "ZZ-1", "ZZ-2"]:
        for condition in ("", "used"):
            price = round(Decimal(int(draw.integers(100, 4_000))) / 100, 2)
            category = "Shoes" if code.startswith("ZZ") else ""
            steps = discount(draw) if draw.random() < 0.4 else None
            query = Query(code=str(code), shelf_price=price, discount=steps, condition=condition, category=category)
            try:
                answer = check(store, query, settings).as_dict()
            except BadInput:
                continue
            there = at_others(store, query, answer, settings)
            beside = there and {name: there[name] for name in ("decision", "most_worth_paying")}
            asked.append((str(code), int(price * 100), typed(steps), condition, category, ""))
            wanted.append(answer | {"at_others": beside})
    assert {one["at_others"] is None for one in wanted} == {True, False}
    alike(page, asked, wanted)
    gtin, root = store.read("SELECT gtin, root FROM code ORDER BY gtin LIMIT 1 OFFSET 40")[0]
    style = store.read("SELECT style_code FROM product WHERE id = ?", (root,))[0][0]
    found = page.evaluate("code => window.pack.item(window.pack.find(code).record).style_code", f"{gtin:014d}")
    assert found == style
    store.close()


def test_bytes_that_are_no_good_are_named(page: Page) -> None:
    data, _ = made_up(np.random.default_rng(1), 2, 3, default_settings())
    turned = bytearray(data)
    turned[len(data) // 2] ^= 4
    later, earlier = bytearray(data), bytearray(data)
    later[8] += 1
    earlier[8] -= 1
    squeezed = bytearray(packed(data))
    squeezed[len(squeezed) // 2] ^= 255
    for bad, state in (
        (bytes(turned), "damaged"),
        (data[:-7], "damaged"),
        (data[: START.size - 3], "damaged"),
        (bytes(squeezed), "damaged"),
        (gzip.compress(data)[:-30], "damaged"),
        (bytes(later), "other version"),
        (bytes(earlier), "other version"),
        (b"<!doctype html><title>Enter</title>", "not a pack"),
        (b"", "not a pack"),
    ):
        said = opened(page, bad)
        assert isinstance(said, list), bad[:20]
        assert said[0] == state
        assert said[1].endswith(".")
        assert said[2].endswith(".")
    assert opened(page, data)["stamp"] == "made up"


CODES = [
    "952000000001", "0952 0000 0000 16", "9520000000011", "01234565", "EAN-8 01234565", "UPC-E 01234565", "①23",
    "style 10263847", "0306406152", "ISBN 0306406152", "0-306-40615-2", "FA123-001", "fa 123/001", "2000000000015",
    "9.52E+12", "95200000000.0", "12345678901", "AB½", "ＡＢ１２", "٣٤٥٦٧٨٩", "B0OOOOOO1", "952OOOOOOO11",
    "Straße 12", "ﬁ12",
    "  ", "x" * 90, "19520000000018", "9770000000003", "12e5",
]  # fmt: skip
PARSE = """async (codes) => {
  const { parseCode } = await import("/static/aisle/codes.js");
  return codes.map((code) => {
    try { const one = parseCode(code); return [one.kind, one.gtin, one.styleKey, one.note, one.offers]; }
    catch (error) { return [error.wrong, error.accepted, error.way_on]; }
  });
}"""


def test_codes_are_understood_alike(page: Page) -> None:
    draw = np.random.default_rng(12)
    digits = [
        "".join(map(str, draw.integers(0, 10, int(size)))) for size in draw.choice([6, 8, 10, 11, 12, 13, 14], 4_000)
    ]
    letters = ["".join(draw.choice(list("0123456789OILXAB-. "), int(draw.integers(1, 15)))) for _ in range(3_000)]
    codes = [*CODES, *digits, *letters]
    for code, found in zip(codes, page.evaluate(PARSE, codes), strict=True):
        assert found == said_of(code), code


def said_of(code: str) -> list[Any]:
    try:
        one = parse_code(code)
    except BadInput as error:
        return [error.wrong, error.accepted, error.next_step]
    return [one.kind, one.gtin, one.style_key, one.note, list(one.alternatives)]


def test_near_codes_are_those_the_server_names(page: Page, sampled: Callable[[Path], Store], tmp_path: Path) -> None:
    store = sampled(tmp_path / "samples.db")
    opened(page, kept.build(store).data)
    known = known_codes(store)
    styles = [code for code in known if not code.isdigit()]
    for code in styles[::40]:
        wrong = code[:-1] + ("7" if code[-1] != "7" else "8")
        near = page.evaluate("code => window.pack.near(code).map((one) => one.code)", wrong)
        best = closest(style_key(wrong), known)
        assert near[0] in best
        assert code in near
    assert page.evaluate("() => window.pack.near('qqqqqqqq')") == []
    store.close()
