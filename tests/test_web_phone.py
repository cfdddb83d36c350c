"""What the page of a check says of the phone that judged first, and what it gives the phone to keep."""

from __future__ import annotations

import json
from datetime import UTC, datetime
from typing import Any

import lxml.html
import pytest
import web_examples
from flask import Flask
from flask.testing import FlaskClient

from sourcing import history, sent
from sourcing.storage import Store
from sourcing.storage.schema_sent import sent as table

BUILT = "2026-11-20T07:00:00+00:00"


@pytest.fixture
def store(app: Flask) -> Store:
    return app.extensions["sourcing"].store


def check_said(store: Store, shown: Any) -> int:
    """Keep a check of 18.00 at most, of which a phone had said something."""
    number = history.record(store, web_examples.verdict(), datetime.now(UTC))
    with store.write() as connection:
        connection.execute(
            table.insert().values(
                client_id=f"phone-one-{number}", kind="check", state="stored", target=number,
                said=json.dumps({"shown": shown}), at="2026-11-24T10:00:00+00:00", phone_at="", received_at="",
            )
        )  # fmt: skip
    return number


def page(client: FlaskClient, number: int) -> lxml.html.HtmlElement:
    return lxml.html.fromstring(client.get(f"/check/{number}").text)


def words(page: lxml.html.HtmlElement) -> str:
    return " ".join(page.text_content().split())


def test_another_word_of_the_phone_is_named(client: FlaskClient, store: Store) -> None:
    found = words(page(client, check_said(store, {"decision": "pass", "most": "12.50", "built": BUILT})))
    assert "On 24 Nov 2026 your phone said: pass, most worth paying $12.50, by its pack of 20 Nov 2026." in found
    assert "It is another word here" in found


def same(built: str, **figures: Any) -> dict[str, Any]:
    verdict = web_examples.verdict()
    assert verdict.sale_price is not None
    shown = {"others": str(verdict.sale_price.mid), "days": verdict.days_50, "profit": str(verdict.profit_after_labour)}
    return {
        "decision": verdict.decision, "most": str(verdict.most_worth_paying), "built": built,
        "figures": shown | figures,
    }  # fmt: skip


def test_the_same_of_a_pack_of_the_day_needs_no_word(client: FlaskClient, store: Store) -> None:
    fresh = same("2026-11-24T07:00:00+00:00")
    assert "your phone said" not in words(page(client, check_said(store, fresh)))
    del fresh["figures"]  # from a phone whose page is older
    assert "your phone said" not in words(page(client, check_said(store, fresh)))


def test_the_same_of_an_old_pack_is_said_without_more(client: FlaskClient, store: Store) -> None:
    found = words(page(client, check_said(store, same(BUILT))))
    assert "your phone said: buy" in found
    assert "another" not in found.partition("your phone said")[2].partition("Not in the comps")[0][:200]


@pytest.mark.parametrize("figures", [{"days": 999}, {"others": "1.00"}, {"profit": None}])
def test_another_figure_of_a_fresh_pack_is_named(client: FlaskClient, store: Store, figures: dict[str, Any]) -> None:
    found = words(page(client, check_said(store, same("2026-11-24T07:00:00+00:00", **figures))))
    assert "your phone said: buy" in found
    assert "A figure is another here" in found


@pytest.mark.parametrize("shown", [
    {}, None, "buy", {"decision": "buy", "most": "a lot", "built": BUILT},
    {"decision": "sell", "most": "1", "built": BUILT},
    {"decision": "buy", "most": "1.00", "built": "yesterday"},
])  # fmt: skip
def test_what_cannot_be_read_is_not_said(client: FlaskClient, store: Store, shown: Any) -> None:
    assert "your phone said" not in words(page(client, check_said(store, shown)))


def test_what_the_phone_keeps_of_a_piece_taken_here(client: FlaskClient, store: Store) -> None:
    verdict = web_examples.verdict()
    number = history.record(store, verdict, datetime.now(UTC))
    (form,) = page(client, number).xpath("//form[@id='take-here']")
    assert form.get("data-server") == sent.server_name(store)
    shown = json.loads(form.get("data-shown"))
    assert verdict.landed_cost is not None
    assert (shown["label"], shown["decision"]) == (verdict.item.label, "buy")
    assert shown["landed"] == int(verdict.landed_cost * 100)
    assert shown["minutes"] > 0
