"""The channel page: a price list as people have it, the receipt beside it, bad input at its field."""

from __future__ import annotations

from datetime import date
from decimal import Decimal

import lxml.html
import pytest
from flask import Flask
from flask.testing import FlaskClient

from sourcing.fees import Bracket
from sourcing.settings import default_settings, load_settings, to_toml
from sourcing.storage import Store

MAIN = "/rules/channel?name=main"
NEW = "/rules/channel?name=bazaar"


@pytest.fixture
def store(app: Flask) -> Store:
    return app.extensions["sourcing"].store


def page(client: FlaskClient, path: str, status: int = 200) -> lxml.html.HtmlElement:
    answer = client.get(path)
    assert answer.status_code == status
    return lxml.html.fromstring(answer.text)


def text(element: lxml.html.HtmlElement) -> str:
    return " ".join(element.text_content().split())


def form_of(html: lxml.html.HtmlElement) -> dict[str, str]:
    return dict(html.get_element_by_id("sheet").form_values())


def sent(client: FlaskClient, path: str, do: str, **changes: str) -> dict[str, str]:
    return {**form_of(page(client, path)), "do": do} | {key.replace("__", "."): value for key, value in changes.items()}


def receipt_of(html: lxml.html.HtmlElement) -> dict[str, str]:
    rows = html.xpath("//table[contains(@class, 'worked')]//tr")
    return {row.xpath("./th/text()")[0].strip(): text(row.xpath("./td")[0]) for row in rows}


def test_untouched_it_stays_as_it_is(client: FlaskClient, store: Store) -> None:
    assert client.post(MAIN, data=sent(client, MAIN, "save")).status_code == 303
    assert to_toml(load_settings(store)) == to_toml(default_settings())


def test_one_percentage_stays_the_short_form(client: FlaskClient, store: Store) -> None:
    client.post(MAIN, data=sent(client, MAIN, "save", p0__share__0__1="11,5", p0__fixed="0.40", p0__most="50"))
    own = load_settings(store).channels["main"]
    assert (own["fee_rate"], own["fee_fixed"], own["fee_cap"]) == (Decimal("0.115"), Decimal("0.40"), 50)
    assert "fees" not in own
    client.post(MAIN, data=sent(client, MAIN, "save", p0__most=""))
    assert load_settings(store).channels["main"]["fee_cap"] is None


def test_a_price_list_with_brackets_and_a_payment_fee(client: FlaskClient, store: Store) -> None:
    """Invented: 12 % to 1000, 2 % above, 0.30 an order; payment 3 % of the total with 7 % tax. Worked by hand at 60."""
    form = sent(client, NEW, "save", p0__share__0__1="12", p0__share__1__0="1000", p0__share__1__1="2",
                p0__fixed="0.30", buyer_tax="7", since="2026-01-01", ex_total="60")  # fmt: skip
    seen = lxml.html.fromstring(client.post(NEW, data=form | {"do": "see"}).text)
    assert receipt_of(seen)["Fee: selling"] == "-$7.50"  # 7.20 + 0.30
    assert "bazaar" not in load_settings(store).channels
    assert client.post(NEW, data=form).status_code == 303
    more = {"p1.name": "payment", "p1.share.0.1": "3", "p1.on": "total with tax"}
    answer = client.post(NEW, data=sent(client, NEW, "save") | more, follow_redirects=True)
    fees = load_settings(store).channels["bazaar"]["fees"]
    assert list(fees) == [date(2026, 1, 1)]
    assert fees[date(2026, 1, 1)]["selling"]["share"] == (Bracket(Decimal(0), Decimal("0.12")),
                                                          Bracket(Decimal(1000), Decimal("0.02")))  # fmt: skip
    shown = receipt_of(lxml.html.fromstring(answer.text))
    assert shown["Fee: selling"] == "-$7.50"
    assert shown["Fee: payment"] == "-$1.93"  # 3 % of 64.20 is 1.926
    client.post(NEW, data=sent(client, NEW, "save") | {"p1:drop": "on"})
    assert list(load_settings(store).channels["bazaar"]["fees"][date(2026, 1, 1)]) == ["selling"]


def test_a_new_channel_sells_every_category_where_ticked(client: FlaskClient, store: Store) -> None:
    client.post(NEW, data=sent(client, NEW, "save", p0__share__0__1="10", everywhere="on"))
    assert load_settings(store).for_category("shoes").terms.channel == "bazaar"
    form = sent(client, "/rules/channel?name=fair", "save", p0__share__0__1="10")
    form.pop("everywhere")
    client.post("/rules/channel?name=fair", data=form)
    assert load_settings(store).for_category("shoes").terms.channel == "bazaar"
    assert "fair" in load_settings(store).channels


def test_fees_of_a_later_day_wait_for_it_and_can_be_dropped(client: FlaskClient, store: Store) -> None:
    later = f"{MAIN}&day=new"
    form = sent(client, later, "save", since="2099-01-01", p0__share__0__1="20")
    assert form["p0.fixed"] == "0.30"  # begins as those in force
    client.post(MAIN, data=sent(client, MAIN, "save", since="2020-01-01"))
    answer = client.post(later, data=form, follow_redirects=True)
    kept = load_settings(store)
    assert kept.for_category("shoes").terms.fee(Decimal(100)) == Decimal("13.30")
    assert kept.for_category("shoes", date(2099, 1, 1)).terms.fee(Decimal(100)) == Decimal("20.30")
    assert "from 2020-01-01" in text(lxml.html.fromstring(answer.text))
    client.post(f"{MAIN}&day=2099-01-01", data={"do": "drop"})
    assert list(load_settings(store).channels["main"]["fees"]) == [date(2020, 1, 1)]


@pytest.mark.parametrize(
    ("changes", "field", "accepted"),
    [
        ({"p0.share.0.1": "100"}, "p0.share.0.0", "a percentage from 0 to 95"),
        ({"p0.share.1.0": "0", "p0.share.1.1": "5"}, "p0.share.0.0", "so that none overlap"),
        ({"p0.share.1.0": "-3", "p0.share.1.1": "5"}, "p0.share.0.0", "so that none overlap"),
        ({"p0.fixed": "-0.30"}, "p0.fixed", "An amount from 0"),
        ({"p0.least": "5", "p0.most": "2"}, "p0.least", "A floor not above the cap"),
        ({"p0.only": "101"}, "p0.only", "A percentage from 0 to 100"),
        ({"since": "soon"}, "since", "A day such as 2026-01-31"),
        ({"shipping": "sometimes"}, "shipping", "same as postage"),
        ({"p1.share.0.1": "90", "p1.name": "payment"}, "p0.share.0.0", "Less than 99 %"),
    ],
)
def test_bad_input_is_said_at_its_field(
    client: FlaskClient, store: Store, changes: dict[str, str], field: str, accepted: str
) -> None:
    form = sent(client, MAIN, "save") | changes
    answer = client.post(MAIN, data=form)
    assert answer.status_code == 400
    html = lxml.html.fromstring(answer.text)
    wrong = html.xpath("//*[@aria-invalid]")
    assert [one.get("id") for one in wrong] == [field]
    said = [one for one in wrong[0].get("aria-describedby").split() if one.endswith("-wrong")]
    assert accepted in text(html.get_element_by_id(said[0]))
    assert wrong[0].get("autofocus") is not None
    back = form_of(html)
    assert {key: back.get(key) for key in changes} == changes
    assert to_toml(load_settings(store)) == to_toml(default_settings())


def test_two_fees_of_one_name_and_no_fee_at_all(client: FlaskClient, store: Store) -> None:
    twice = client.post(MAIN, data=sent(client, MAIN, "save") | {"p1.name": "fee", "p1.fixed": "1"})
    assert twice.status_code == 400
    assert "Two fees are called" in twice.text
    none = client.post(NEW, data=sent(client, NEW, "save"))
    assert none.status_code == 400
    assert "No fee was typed" in none.text
    assert to_toml(load_settings(store)) == to_toml(default_settings())


@pytest.mark.parametrize("name", ["", "a,b", "x" * 81])
def test_names_that_are_none(client: FlaskClient, name: str) -> None:
    assert "no comma" in text(page(client, f"/rules/channel?name={name}", 400))


def test_the_receipt_page_adds_up_and_puts_the_best_channel_first(client: FlaskClient, store: Store) -> None:
    client.post(NEW, data=sent(client, NEW, "save", p0__share__0__1="5"))
    shoes = "/rules/category?name=shoes"
    form = form_of(page(client, shoes)) | {"channel": "main, bazaar", "do": "save"}
    assert client.post(shoes, data=form).status_code == 303
    html = page(client, "/rules/receipt?category=shoes&paid=60&shelf=12")
    assert [text(one) for one in html.xpath("//section/h2")] == ["On bazaar, the best of 2", "On main"]
    for table in html.xpath("//table"):
        amounts = [Decimal(text(one).replace("$", "")) for one in table.xpath(".//td")]
        assert sum(amounts[:-1]) == amounts[-1]
    assert "is not a shelf price" in text(page(client, "/rules/receipt?paid=lots", 400))
