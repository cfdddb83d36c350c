"""The verdict at a glance, runs and counts on the pages; contrast measured from the stylesheet's own colours."""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from pathlib import Path
from typing import Any

import lxml.html
import pytest
import web_examples
from flask import Flask
from flask.testing import FlaskClient

from sourcing import haul, history, run
from sourcing.answer import Query
from sourcing.storage import Store
from web.glance import glance

STYLE = (Path(__file__).parent.parent / "web/static/style.css").read_text(encoding="utf-8")
HEAD = [(ground, "on") for ground in ("buy", "pass", "little")] + [("card", "ink"), ("card", "soft"), ("wash", "ink")]


@pytest.fixture
def store(app: Flask) -> Store:
    return app.extensions["sourcing"].store


def page(client: FlaskClient, path: str) -> lxml.html.HtmlElement:
    answer = client.get(path)
    assert answer.status_code == 200
    return lxml.html.fromstring(answer.text)


def text(element: lxml.html.HtmlElement) -> str:
    return " ".join(element.text_content().split())


class TestColours:
    @staticmethod
    def colours(dark: bool) -> dict[str, str]:
        light, *others = re.findall(r":root \{(.*?)\}", STYLE, re.S)
        return dict(re.findall(r"--(\w+): (#\w{6});", light + (others[0] if dark else "")))

    @staticmethod
    def luminance(colour: str) -> float:
        """Relative luminance as WCAG 2.2 defines it."""
        parts = [int(colour[at : at + 2], 16) / 255 for at in (1, 3, 5)]
        red, green, blue = (part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts)
        return 0.2126 * red + 0.7152 * green + 0.0722 * blue

    @pytest.mark.parametrize("dark", [False, True], ids=["light", "dark"])
    @pytest.mark.parametrize(("ground", "ink"), HEAD)
    def test_the_head_has_a_contrast_of_7_to_1(self, ground: str, ink: str, dark: bool) -> None:
        found = self.colours(dark)
        low, high = sorted(self.luminance(found[name]) for name in (ground, ink))
        assert (high + 0.05) / (low + 0.05) >= 7

    def test_the_measure_is_that_of_the_standard(self) -> None:
        assert self.luminance("#ffffff") == pytest.approx(1)
        assert 1.05 / (self.luminance("#767676") + 0.05) == pytest.approx(4.54, abs=0.005)  # W3C's own example of AA


LIMIT = {"rule": "least_profit", "meaning": "Expected profit of at least 10.00", "most": "28.40", "holds": True}


class TestGlance:
    @pytest.mark.parametrize(
        ("changes", "do", "why"),
        [
            (
                {"worth_taking": 3},
                "Take up to 3.",
                "3.41 to spare by the rule that decides: expected",
            ),
            ({"worth_taking": 1}, "Take it.", "3.41 to spare by"),
            ({"shelf_price": None}, "Take it at 28.40 or less.", "The rule that decides: expected profit"),
            ({"most_worth_paying": None, "limits": []}, "Take it.", "as it was said"),
            (
                {"decision": "pass", "shelf_price": "44.00"},
                "Leave it, or ask for 28.40.",
                "15.60 too much for the rule",
            ),
            ({"decision": "pass", "most_worth_paying": "0.00"}, "Leave it.", "No price meets this rule: expected"),
            (
                {"decision": "pass", "shelf_price": "44.00", "limits": []},
                "Leave it, or ask for 28.40.",
                "as it was said",
            ),
            ({"decision": "too little to go on", "most_worth_paying": None}, "", "as it was said"),
        ],
    )
    def test_what_to_do_and_why(self, changes: dict[str, Any], do: str, why: str) -> None:
        answer = {"decision": "buy", "most_worth_paying": "28.40", "shelf_price": "24.99", "worth_taking": None,
                  "limits": [LIMIT], "binding_rule": "least_profit", "reason": "as it was said"}  # fmt: skip
        said = glance(answer | changes, str)
        assert said.do == do
        assert said.why.startswith(why)
        assert len(re.findall(r"[.?!](?=\s|$)", said.why.rstrip("."))) == 0  # one sentence

    def test_everything_but_the_answer_unfolds(self, client: FlaskClient, store: Store) -> None:
        html = page(client, f"/check/{history.record(store, web_examples.verdict())}")
        folded = {text(one) for one in html.xpath("//details[not(@open)]/summary")}
        assert {"How many to take", "Where to ask", "Limits", "One sale, line by line", "More figures"} <= folded
        head = html.xpath("//article[@data-decision='buy']")[0]
        assert "size 9 US" in text(head.find("h1"))
        assert "Take up to 2." in text(head)

    def test_next_size_keeps_all_but_the_size_and_the_piece(self, client: FlaskClient, store: Store) -> None:
        query = Query("952123456789", Decimal("24.99"), "Fellwander", condition="new", size="9", flags=("no_box",))
        html = page(client, f"/check/{history.record(store, web_examples.verdict(query=query))}")
        form = page(client, html.xpath("//a[.='Next size']")[0].get("href")).forms
        ask = next(one for one in form if one.get("id") == "ask")
        assert not ask.xpath(".//input[@checked]")
        kept = {name: ask.fields[name] for name in ("code", "brand", "condition", "price", "size")}
        assert kept == {
            "code": "FWR1042", "brand": "Fellwander", "condition": "new", "price": "24.99", "size": ""
        }  # fmt: skip
        focused = ask.xpath(".//*[@autofocus]")
        assert [one.get("id") for one in focused] == ["size"]
        assert focused[0].xpath("ancestor::details")[0].get("open") is not None
        assert ask.xpath(".//input[@id='price']")[0].get("inputmode") == "decimal"
        assert page(client, "/?next=size").xpath("//details[.//input[@id='size']]/@open")  # though nothing is kept

    def test_an_item_checked_before_says_so_and_leads_there(self, client: FlaskClient, store: Store) -> None:
        old = history.record(store, web_examples.passing(), datetime.now(UTC) - timedelta(days=9))
        html = page(client, f"/check/{history.record(store, web_examples.verdict())}")
        (link,) = html.xpath("//article//a")
        assert text(link) == "Passed at $44.00 nine days ago; $24.99 now."
        assert link.get("href") == f"/check/{old}"
        assert page(client, f"/check/{old}").xpath("//article//a") == []


class TestCount:
    def test_pieces_of_another_check_are_counted_where_it_is_a_buy(self, client: FlaskClient, store: Store) -> None:
        first, again = (history.record(store, web_examples.verdict()) for _ in range(2))
        dearer = history.record(store, web_examples.passing())
        haul.take(store, first)
        html = page(client, f"/check/{again}")
        assert "In the haul: 1. 1 more is worth taking." in text(html.xpath("//article")[0])
        assert html.xpath("//form[@id='take-here']")
        assert text(html.xpath("//details/summary")[-1]) == "Checked before (1)"
        (said,) = html.xpath("//article")
        assert (said.get("class"), said.get("data-decision")) == ("verdict buy", "buy")
        assert text(said.xpath("./h1")[0]).startswith("Buy")
        told = text(page(client, f"/check/{dearer}").xpath("//article")[0])
        assert "Taken at $24.99 a moment ago" in told
        assert "In the haul" not in told

    def test_where_there_are_enough_the_word_is_no_longer_buy(self, client: FlaskClient, store: Store) -> None:
        check_id = history.record(store, web_examples.verdict())
        haul.take(store, check_id, 2)
        html = page(client, f"/check/{check_id}")
        (said,) = html.xpath("//article")
        assert said.get("class") == "verdict pass"
        assert text(said.xpath("./h1")[0]).startswith("Enough taken")
        assert html.xpath("//title")[0].text.startswith("Enough taken: ")
        assert "Most worth paying for the first" in text(said)
        assert "No more are worth taking: 2 are." in text(said)
        assert "to spare" not in text(said)

    def test_one_more_is_one_more_however_often_it_is_sent_and_undone(self, client: FlaskClient, store: Store) -> None:
        check_id = history.record(store, web_examples.verdict())
        client.post("/haul/take", data={"check_id": check_id, "count": "2", "client_id": "a"})
        html = page(client, f"/check/{check_id}")
        assert "In the haul: 2" in text(html.xpath("//article")[0])
        form = next(one for one in html.forms if one.action == "/haul/recount")
        tapped = {**form.fields, "count_now": form.xpath(".//button[@name='count_now']")[0].get("value")}
        for _ in range(2):
            answer = client.post("/haul/recount", data=tapped)
        assert haul.current(store).pieces == 3
        assert answer.location.startswith(f"/check/{check_id}?")
        client.post("/haul/recount", data={**form.fields, "count": "7"})
        assert haul.current(store).pieces == 7
        undo = page(client, client.post("/haul/recount", data={"item_id": 1, "count": "4"}).location)
        form = next(one for one in undo.forms if "done" in one.get("class", "").split())
        client.post(form.action, data=dict(form.fields))
        assert haul.current(store).pieces == 7

    @pytest.mark.parametrize(("count", "status"), [("0", 400), ("1000", 400), ("x", 400), ("", 400)])
    def test_bad_counts_change_nothing(self, client: FlaskClient, store: Store, count: str, status: int) -> None:
        haul.take(store, history.record(store, web_examples.verdict()), 2)
        answer = client.post("/haul/recount", data={"item_id": "1", "count": count})
        assert answer.status_code == status
        assert haul.current(store).pieces == 2


class TestRun:
    def test_it_is_started_on_the_check_page_by_a_name_used_before(self, client: FlaskClient, store: Store) -> None:
        assert client.post("/haul/start", data={"store": "Tannery Row", "to": "check"}).location == "/"
        haul.close(store)
        html = page(client, "/")
        assert [one.get("value") for one in html.xpath("//datalist/option")] == ["Tannery Row"]
        (button,) = html.xpath("//details[@class='run-line']//button[@name='store']")
        client.post("/haul/start", data={"store": button.get("value"), "to": "check"})
        assert haul.current(store).store == "Tannery Row"

    def test_one_line_on_the_check_page(self, client: FlaskClient, store: Store) -> None:
        client.post("/haul/start", data={"store": "Tannery Row"})
        now = datetime.now(UTC) + timedelta(seconds=1)
        buy = history.record(store, web_examples.verdict(), now)
        other = web_examples.passing().but({"item": web_examples.item(gtin="", style_code="FWR3000")})
        history.record(store, other, now + timedelta(minutes=2))
        haul.take(store, buy, 2)
        hours = f"{haul.current(store).prep_minutes / 60:.1f}"
        said = text(page(client, "/").xpath("//p[@class='run-line']")[0])
        assert said == f"Tannery Row 2 checks, 0.5 a minute 1 buy, 1 pass $53.48 {hours} h"

    def test_a_limit_that_is_passed_is_said_in_words(self, client: FlaskClient, store: Store) -> None:
        from dataclasses import replace

        from sourcing.rules import HaulLimits
        from sourcing.settings import load_settings, save_settings

        save_settings(store, replace(load_settings(store), haul=HaulLimits(Decimal(50), Decimal(4))), "tighter")
        haul.take(store, history.record(store, web_examples.verdict()), 2)
        said = text(page(client, "/").xpath("//p[@class='run-line']")[0])
        assert "$53.48 of $50.00: over" in said
        assert "of 4.0 h" in said
        assert "4.0 h: over" not in said

    def test_its_end_is_summed_up_and_undone(self, client: FlaskClient, store: Store) -> None:
        number = haul.start(store, "Tannery Row")
        now = datetime.now(UTC) + timedelta(seconds=1)
        boxless = web_examples.verdict(item=web_examples.item(flags=("no_box",)))
        haul.take(store, history.record(store, boxless, now), 2)
        kettle = web_examples.passing().but(
            {"item": web_examples.item(gtin="", style_code="K1", label="Copper kettle")}
        )
        history.record(store, kettle, now)
        before = run.get(store, number)
        form = next(one for one in page(client, "/run").forms if one.action == "/run/end")
        answer = client.post("/run/end", data=dict(form.fields))
        assert answer.location == f"/run/{number}"
        haul.close(store)
        with store.write() as connection:  # the checks above lie a second ahead of the clock
            connection.exec_driver_sql("UPDATE haul SET closed_at = ?", ((now + timedelta(hours=1)).isoformat(),))
        html = page(client, answer.location)
        said = text(html.xpath("//main")[0])
        for words in ("Run at Tannery Row", "Checks2", "Pieces taken2", "Outlay$53.48", "All checks (2)"):
            assert words in said
        assert "Of these, for no box 4 min" in said
        assert "Copper kettleasked $44.00, worth $28.40$15.60too much" in said.partition("Nearest to a buy")[2]
        form = next(one for one in html.forms if one.action == "/run/reopen")
        client.post("/run/reopen", data=dict(form.fields))
        assert run.get(store, number) == before

    def test_without_one_the_page_starts_one_and_leads_to_those_before(self, client: FlaskClient, store: Store) -> None:
        assert "No run is open" in text(page(client, "/run"))
        number = haul.start(store, "Tannery Row")
        haul.take(store, history.record(store, web_examples.verdict()))
        assert client.post("/haul/close").location == f"/run/{number}"
        assert page(client, "/run").xpath(f"//a[@href='/run/{number}']")

    @pytest.mark.parametrize(("data", "status"), [({"haul_id": "x"}, 400), ({}, 400), ({"haul_id": "99"}, 404)])
    def test_what_is_no_run_gets_a_message(self, client: FlaskClient, data: dict[str, str], status: int) -> None:
        for path in ("/run/end", "/run/reopen"):
            answer = client.post(path, data=data)
            assert answer.status_code == status
            assert "run" in answer.text
        assert client.get("/run/99").status_code == 404
