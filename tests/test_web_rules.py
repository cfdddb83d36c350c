"""The Rules pages: every setting has its place, what is typed is kept, nothing is saved unasked, one tap undoes."""

from __future__ import annotations

import io
import re
from dataclasses import replace
from decimal import Decimal
from pathlib import Path

import lxml.html
import pytest
from flask import Flask
from flask.testing import FlaskClient

from sourcing import haul, history
from sourcing.answer import Query
from sourcing.check import check
from sourcing.comps import load_file
from sourcing.comps.lookup import known_codes
from sourcing.fitting import refit
from sourcing.settings import default_settings, load_settings, save_settings, to_toml
from sourcing.settings_table import SETTINGS
from sourcing.storage import Store
from web import sheets

SAMPLES = Path(__file__).parent.parent / "sample_comps"
SHOES = "/rules/category?name=shoes"
EVERY = "/rules/part/rules"
CHANNEL, FLAG = "/rules/channel?name=main", "/rules/flag?name=no_box"
PAGES = [*(f"/rules/part/{part}" for part in sheets.PARTS), SHOES, CHANNEL, FLAG]


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
    """Return what a browser would send of the page's form."""
    return dict(html.get_element_by_id("sheet").form_values())


def sent(client: FlaskClient, path: str, do: str, **changes: str) -> dict[str, str]:
    return {**form_of(page(client, path)), **changes, "do": do}


def rules_of(store: Store, name: str = "") -> dict[str, object]:
    return dict(vars(load_settings(store).for_category(name).rules))


class TestPlaces:
    def test_every_setting_has_its_place(self, client: FlaskClient) -> None:
        found = {
            name: {key.removesuffix(":off").removesuffix(":ticks") for key in form_of(page(client, name))}
            for name in PAGES
        }

        def has(name: str, setting: str) -> bool:
            return any(key == setting or key.startswith(f"{setting}.") for key in found[name])

        homes = {"flag": FLAG, "parcel": "/rules/part/postage", "channel": CHANNEL, "fee": CHANNEL}
        short = {"fee_rate": "p0.share", "fee_fixed": "p0.fixed", "fee_cap": "p0.most"}
        for setting in SETTINGS:
            if setting.place == "category":
                assert sum(has(f"/rules/part/{part}", setting.name) for part in sheets.PARTS) == 1, setting.name
                assert has(SHOES, setting.name), setting.name
                continue
            name = f"p0.{setting.name}" if setting.place == "fee" else short.get(setting.name, setting.name)
            assert has(homes.get(setting.place, f"/rules/part/{setting.place}"), name), setting.name

    @pytest.mark.parametrize("path", PAGES)
    def test_every_field_has_a_name_for_those_who_hear_it(self, client: FlaskClient, path: str) -> None:
        html = page(client, path)
        fields = html.xpath("//form[@id='sheet']//input[not(@type='hidden')] | //form[@id='sheet']//select")
        assert fields
        for field in fields:
            labelled = field.get("aria-label") or field.xpath("ancestor::label")
            assert labelled or html.xpath(f"//label[@for='{field.get('id')}']"), field.name
            for described in (field.get("aria-describedby") or "").split():
                assert text(html.get_element_by_id(described))

    @pytest.mark.parametrize("path", PAGES)
    def test_saving_a_page_untouched_changes_nothing(self, client: FlaskClient, store: Store, path: str) -> None:
        assert client.post(path, data=sent(client, path, "save")).status_code == 303
        assert store.read("SELECT count(*) FROM settings_version")[0][0] == 0
        assert to_toml(load_settings(store)) == to_toml(default_settings())

    def test_the_start_page_leads_to_all(self, client: FlaskClient) -> None:
        links = page(client, "/rules").xpath("//a/@href")
        for path in PAGES:
            assert path in links, path

    @pytest.mark.parametrize("path", ["/rules/part/nothing", "/rules/part/"])
    def test_no_such_page(self, client: FlaskClient, path: str) -> None:
        page(client, path, 404)
        assert client.post("/rules/part/nothing", data={}).status_code == 404

    @pytest.mark.parametrize("path", ["/rules/category", "/rules/category?name=%20", f"/rules/flag?name={'x' * 81}"])
    def test_a_name_is_needed(self, client: FlaskClient, path: str) -> None:
        assert "1 to 80 characters" in text(page(client, path, 400))


class TestChanging:
    def test_percent_is_typed_as_percent(self, client: FlaskClient, store: Store) -> None:
        path = "/rules/part/buying"
        assert form_of(page(client, path))["purchase_tax"] == "0"
        client.post(path, data=sent(client, path, "save", purchase_tax="8,25 %"))
        assert load_settings(store).default["purchase_tax"] == Decimal("0.0825")
        assert form_of(page(client, path))["purchase_tax"] == "8.25"

    def test_a_category_inherits_has_its_own_and_goes_back(self, client: FlaskClient, store: Store) -> None:
        client.post(SHOES, data=sent(client, SHOES, "save", least_profit="12"))
        assert load_settings(store).categories["shoes"]["least_profit"] == 12
        assert "Its own. Elsewhere $8.00" in text(page(client, SHOES))
        client.post(EVERY, data=sent(client, EVERY, "save", least_profit="9,50"))
        assert rules_of(store, "shoes")["least_profit"] == 12
        assert rules_of(store, "toys")["least_profit"] == Decimal("9.50")
        client.post(SHOES, data=sent(client, SHOES, "save", least_profit=""))
        assert "least_profit" not in load_settings(store).categories["shoes"]
        assert rules_of(store, "shoes")["least_profit"] == Decimal("9.50")

    def test_what_an_empty_field_inherits_stands_where_nothing_cuts_it_off(self, client: FlaskClient) -> None:
        """A field as narrow as a phone's has room for a number, and none for a sentence beside its unit."""
        html = page(client, SHOES)
        assert not html.xpath("//input[@placeholder]")
        said = html.get_element_by_id(html.get_element_by_id("least_profit").get("aria-describedby").split()[0])
        assert "As elsewhere: $8.00." in text(said)
        said = html.get_element_by_id(html.get_element_by_id("least_comps").get("aria-describedby").split()[0])
        assert "As elsewhere: 0.15 sales." in text(said)

    def test_a_rule_is_switched_off_and_on(self, client: FlaskClient, store: Store) -> None:
        client.post(SHOES, data=sent(client, SHOES, "save") | {"wanted_chance:off": "on"})
        assert rules_of(store, "shoes")["wanted_chance"] is None
        assert rules_of(store, "toys")["wanted_chance"] is not None
        form = sent(client, SHOES, "save")
        assert form["wanted_chance:off"] == "on"
        client.post(SHOES, data=form | {"wanted_chance": "70"})  # typing a value is enough, whatever the switch
        assert rules_of(store, "shoes")["wanted_chance"] == Decimal("0.7")
        client.post(SHOES, data=sent(client, SHOES, "save") | {"wanted_chance:off": "on"})
        assert rules_of(store, "shoes")["wanted_chance"] is None  # the value still stood in its field
        form = sent(client, SHOES, "save")
        del form["wanted_chance:off"]
        client.post(SHOES, data=form)
        assert "wanted_chance" not in load_settings(store).categories["shoes"]

    def test_rows_grow_and_shrink(self, client: FlaskClient, store: Store) -> None:
        path = "/rules/part/selling"
        form = sent(client, path, "save")
        assert [form[f"cuts.{row}.{part}"] for row in range(2) for part in (0, 1)] == ["30", "10", "60", "20"]
        client.post(path, data=form | {"cuts.2.0": "90", "cuts.2.1": "35"})
        assert load_settings(store).default["cuts"][-1] == (90, Decimal("0.35"))
        client.post(path, data=sent(client, path, "save") | {"cuts.0.0": "", "cuts.0.1": ""})
        assert load_settings(store).default["cuts"] == ((60, Decimal("0.2")), (90, Decimal("0.35")))

    def test_sides_and_off(self, client: FlaskClient, store: Store) -> None:
        path = "/rules/part/postage"
        form = sent(client, path, "save")
        client.post(path, data=form | {"packed_size.0.0": "33,5", "packed_size.0.1": "22", "packed_size.0.2": "12"})
        assert load_settings(store).default["packed_size"] == (Decimal("33.5"), 22, 12)
        client.post(path, data=sent(client, path, "save") | {"packed_size:off": "on"})
        assert load_settings(store).default["packed_size"] is None

    def test_a_new_category_by_name(self, client: FlaskClient, store: Store) -> None:
        path = "/rules/category?name=Hand+Bags"
        assert "hand bags" not in load_settings(store).categories
        client.post(path, data=sent(client, path, "save", packed_weight="900"))
        assert load_settings(store).categories["hand bags"] == {"packed_weight": 900}
        assert "Hand bags" in text(page(client, "/rules"))
        client.post(path, data={"do": "remove"})
        assert "hand bags" not in load_settings(store).categories

    def test_a_flag_has_words(self, client: FlaskClient, store: Store) -> None:
        path = "/rules/flag?name=laces_missing"
        client.post(path, data=sent(client, path, "save", words="no laces, laces missing", pack_minutes="1.5"))
        flag = load_settings(store).flags["laces_missing"]
        assert (flag.words, flag.pack_minutes) == (("no laces", "laces missing"), Decimal("1.5"))

    def test_one_tap_undoes_and_stays_on_the_page(self, client: FlaskClient, store: Store) -> None:
        answer = client.post(SHOES, data=sent(client, SHOES, "save", least_profit="12"), follow_redirects=True)
        html = lxml.html.fromstring(answer.text)
        assert "Saved: shoes: least profit default → $12.00" in text(html)
        undo = html.xpath("//form[@action='/rules/undo']")[0]
        back = client.post("/rules/undo", data=dict(undo.form_values()))
        assert (back.status_code, back.location) == (303, f"{SHOES}&undone=1")
        assert rules_of(store, "shoes")["least_profit"] == 8
        undone = page(client, back.location)
        assert "Undone: shoes: least profit default → $12.00" in text(undone)
        (again,) = undone.xpath("//form[@action='/rules/undo']")
        assert again.xpath(".//button[@name='do']/@value") == ["redo"]
        done = client.post("/rules/undo", data={**dict(again.form_values()), "do": "redo"}, follow_redirects=True)
        assert rules_of(store, "shoes")["least_profit"] == 12
        assert "Saved: shoes: least profit default → $12.00" in text(lxml.html.fromstring(done.text))
        assert client.post("/rules/undo", data={"do": "redo"}).status_code == 404  # nothing is left to do again
        client.post("/rules/undo")
        assert "Do it again" in text(page(client, "/rules"))
        assert client.post("/rules/undo", data={"back": "//elsewhere.example"}).status_code == 404  # nothing is left

    def test_undo_leads_nowhere_else(self, client: FlaskClient) -> None:
        for back in ("//elsewhere.example", "https://elsewhere.example/rules", "/rules/../help", ""):
            client.post(SHOES, data=sent(client, SHOES, "save", least_profit="12"))
            assert client.post("/rules/undo", data={"back": back}).location == "/rules?undone=1"


class TestPreview:
    @pytest.fixture
    def checked(self, store: Store) -> Store:
        load_file(store, SAMPLES / "spring_sales.csv", name="spring_sales.csv")
        refit(store)
        codes = [code for code in known_codes(store) if not code.isdigit()][:24]
        for place, code in enumerate(codes):
            price = Decimal("3.00") if place % 2 else Decimal("18.00")
            number = history.record(store, check(store, Query(code=code, shelf_price=price)))
            if place < 6:
                haul.take(store, number, 2)
        return store

    def test_it_shows_what_flips_and_why_and_saves_nothing(self, client: FlaskClient, checked: Store) -> None:
        answer = client.post(EVERY, data=sent(client, EVERY, "see", least_profit="500"))
        assert answer.status_code == 200
        html = lxml.html.fromstring(answer.text)
        shown = text(html.xpath("//section[@aria-label='What it changes']")[0])
        buys = sum(check(checked, one.query).decision == "buy" for one in history.recent(checked, 24))
        assert buys
        assert f"{buys} of the last 24 checks would come out differently" in shown
        assert "Then: Expected profit of at least $500.00, at no price." in shown
        assert "of 6 lines would come out differently" in shown
        assert "Nothing is saved yet" in shown
        assert form_of(html)["least_profit"] == "500"
        assert rules_of(checked)["least_profit"] == 8
        client.post(EVERY, data=form_of(html) | {"do": "save"})
        assert rules_of(checked)["least_profit"] == 500

    def test_each_rule_says_what_it_does(self, client: FlaskClient, checked: Store) -> None:
        client.post(EVERY, data=sent(client, EVERY, "save", least_profit="14"))
        html = page(client, EVERY)
        now = load_settings(checked)
        without = replace(now, default={**now.default, "least_profit": None})
        past = [one.query for one in history.recent(checked, 24)]
        verdicts = [check(checked, query, now) for query in past]
        binds = sum(verdict.binding_rule == "least_profit" for verdict in verdicts)
        more = sum(
            check(checked, query, without).decision == "buy" != verdict.decision
            for query, verdict in zip(past, verdicts, strict=True)
        )
        assert binds
        said = text(html.get_element_by_id("least_profit-effect"))
        assert said.startswith(f"Binds in {binds} of the last 24 checks; {more or 'none'} would be ")
        assert "No past checks of nothing" in text(page(client, "/rules/category?name=nothing"))


class TestBadInput:
    @pytest.mark.parametrize(
        ("path", "field", "typed", "accepted"),
        [
            ("/rules/part/work", "hourly_value", "-5", "from 0 to 1000000 with at most two decimals"),
            ("/rules/part/buying", "purchase_tax", "100", "A percentage from 0 to 95."),
            (EVERY, "least_profit", "1,500", "An amount"),
            (EVERY, "least_return", "lots", "A percentage from 0 to 2000, or off."),
            (EVERY, "target_days", "1.5", "A whole number of days"),
            ("/rules/part/haul", "cash", "-1", "An amount from 0"),
            ("/rules/part/haul", "most_of_style", "0", "from 1 to"),
            ("/rules/part/general", "currency", "GOLD", "ISO 4217"),
            ("/rules/part/postage", "postage_table.1.1", "1.00", "prices not falling"),
            ("/rules/part/selling", "cuts.1.0", "20", "both rising"),
            ("/rules/part/selling", "give_up_day", "10", "Cuts before the day of giving up"),
            (SHOES, "least_profit", "<b>12</b>", "An amount"),
        ],
    )
    def test_it_is_said_at_the_field_and_all_is_kept(
        self, client: FlaskClient, store: Store, path: str, field: str, typed: str, accepted: str
    ) -> None:
        form = sent(client, path, "save")
        form[field] = typed
        other = next((key for key in form if key not in (field, "do", "csrf_token") and ":" not in key), None)
        answer = client.post(path, data=form)
        assert answer.status_code == 400
        html = lxml.html.fromstring(answer.text)
        assert text(html.xpath("//title")[0]).startswith("Error:")
        wrong = html.xpath("//*[@aria-invalid]")
        assert len(wrong) == 1
        said = [one for one in wrong[0].get("aria-describedby").split() if one.endswith("-wrong")]
        assert accepted in text(html.get_element_by_id(said[0]))
        assert wrong[0].get("autofocus") is not None
        assert not html.xpath("//b")
        back = form_of(html)
        assert back[field] == typed
        assert other is None or back[other] == form[other]
        assert to_toml(load_settings(store)) == to_toml(default_settings())

    def test_all_mistakes_are_said_at_once(self, client: FlaskClient) -> None:
        answer = client.post(SHOES, data=sent(client, SHOES, "see", least_profit="x", packed_weight="0", supplies="y"))
        html = lxml.html.fromstring(answer.text)
        assert {one.get("id") for one in html.xpath("//*[@aria-invalid]")} == {
            "least_profit",
            "packed_weight",
            "supplies",
        }
        assert [one.get("id") for one in html.xpath("//*[@autofocus]")] == ["least_profit"]
        for field in html.xpath("//*[@aria-invalid]"):
            assert field.xpath("ancestor::details[@open]")  # a message nobody sees is none

    def test_a_channel_in_use_cannot_go(self, client: FlaskClient, store: Store) -> None:
        answer = client.post(CHANNEL, data={"do": "remove"})
        assert answer.status_code == 400
        assert "channel “main”" in answer.text
        assert "main" in load_settings(store).channels


class TestFile:
    def test_export_comes_back_in(self, client: FlaskClient) -> None:
        toml = client.get("/rules/settings.toml")
        assert "attachment" in toml.headers["Content-Disposition"]
        given = {"file": (io.BytesIO(toml.data), "settings.toml")}
        assert client.post("/rules/import", data=given).status_code == 303
        assert client.get("/rules/settings.toml").data == toml.data
        assert "Saved: brought in from a file" in text(page(client, "/rules?done=1"))

    def test_an_older_file_says_what_moved(self, client: FlaskClient, store: Store) -> None:
        old = io.BytesIO(b"[default]\nfee_rate = 0.11\n")
        client.post("/rules/import", data={"file": (old, "settings.toml")})
        assert "fee_rate of [default] moved to [channel.main]" in text(page(client, "/rules"))
        assert load_settings(store).for_category("").terms.fee(Decimal(100)) == Decimal("11.30")

    def test_many_categories_fit(self, client: FlaskClient, store: Store) -> None:
        categories = {f"kind {place}": {"supplies": Decimal(place)} for place in range(60)}
        save_settings(store, replace(default_settings(), categories=categories), "a test")
        assert "Kind 59" in text(page(client, "/rules"))
        path = "/rules/category?name=kind+7"
        client.post(path, data=sent(client, path, "save", supplies="8.25"))
        assert load_settings(store).categories["kind 7"] == {"supplies": Decimal("8.25")}
        assert load_settings(store).categories["kind 8"] == {"supplies": Decimal(8)}


def test_a_change_says_by_how_much_the_haul_breaks_a_limit(client: FlaskClient, store: Store) -> None:
    load_file(store, SAMPLES / "spring_sales.csv", name="spring_sales.csv")
    refit(store)
    number = history.record(store, check(store, Query(code="WE804-175", shelf_price=Decimal("10.00"))))
    haul.take(store, number, 3)
    path = "/rules/part/haul"
    client.post(path, data=sent(client, path, "save", cash="40", most_of_style="5"))
    answer = client.post(path, data=sent(client, path, "see", cash="25", most_of_style="2", most_in_category="20"))
    card = text(lxml.html.fromstring(answer.text).xpath("//section[@aria-label='What it changes']")[0])
    assert "Cash for one haulNow: $30.00 / $40.00, it holds.Then: $30.00 / $25.00, $5.00 too much." in card
    assert "Now: 3 pieces / 5 pieces, it holds." in card.replace("\xa0", " ")
    assert "Then: 3 pieces / 2 pieces, 1 piece too much." in card.replace("\xa0", " ")
    assert "Now: off.Then: $30.00 / $20.00, $10.00 too much." in card
    shown = page(client, "/haul")
    assert "Cash for one haul $30.00 / $40.00$10.00 left" in text(shown)
    assert not shown.xpath("//li[@class='binds']")
    client.post(path, data=sent(client, path, "save", cash="25"))
    (broken,) = page(client, "/haul").xpath("//ul[@class='limits']/li[@class='binds']")
    assert text(broken) == "Cash for one haul $30.00 / $25.00$5.00 too much"
    # Terms move it too: with 10 % of purchase tax the same pieces cost more.
    taxed = client.post("/rules/part/buying", data=sent(client, "/rules/part/buying", "see", purchase_tax="10"))
    assert "Now: $30.00 / $25.00, $5.00 too much.Then: $33.00 / $25.00, $8.00 too much." in " ".join(
        lxml.html.fromstring(taxed.text).text_content().split()
    )


def test_channels_are_ticked(client: FlaskClient, store: Store) -> None:
    kept = load_settings(store)
    save_settings(store, replace(kept, channels={**kept.channels, "bazaar": dict(kept.channels["main"])}), "a second")
    html = page(client, SHOES)
    assert html.xpath("//input[@name='channel']/@value") == ["main", "bazaar"]
    assert not html.xpath("//input[@name='channel'][@checked]")  # as elsewhere
    values = {**form_of(html), "do": "save"}
    client.post(SHOES, data={**values, "channel": ["bazaar", "main"]})
    assert load_settings(store).categories["shoes"]["channel"] == "bazaar, main"
    assert [one.channel for one in load_settings(store).for_category("shoes").channels] == ["bazaar", "main"]
    html = page(client, SHOES)
    assert html.xpath("//input[@name='channel'][@checked]/@value") == ["main", "bazaar"]
    client.post(SHOES, data={**values, "channel": []})  # none ticked: as elsewhere again
    assert "channel" not in load_settings(store).categories["shoes"]
    every = "/rules/part/selling"
    assert page(client, every).xpath("//input[@name='channel'][@checked]/@value") == ["main"]
    answer = client.post(every, data={**form_of(page(client, every)), "channel": [], "do": "save"})
    assert answer.status_code == 400
    assert (
        "Sold on: Nothing was typed"
        in lxml.html.fromstring(answer.text).get_element_by_id("channel-wrong").text_content()
    )
    assert (
        client.post(every, data={**form_of(page(client, every)), "channel": "nowhere", "do": "save"}).status_code == 400
    )


def test_zones_are_begun_on_the_postage_page(client: FlaskClient, store: Store) -> None:
    path = "/rules/part/postage"
    steps = {f"postage_table.{at}.2": f"{20 + at}.00" for at in range(8)}
    missing = client.post(
        path, data={**sent(client, path, "save"), **steps, "postage_table.3.2": "", "zone_shares": "60 40"}
    )
    assert missing.status_code == 400
    wrong = lxml.html.fromstring(missing.text)
    assert "as many prices" in wrong.get_element_by_id("postage_table-wrong").text_content()
    assert form_of(wrong)["postage_table.2.2"] == "22.00"  # what was typed is still there
    uneven = client.post(path, data={**sent(client, path, "save"), **steps, "zone_shares": "60 50"})
    assert "come to" in lxml.html.fromstring(uneven.text).get_element_by_id("zone_shares-wrong").text_content()
    alone = client.post(path, data={**sent(client, path, "save"), **steps})
    assert alone.status_code == 400  # zones without their shares
    answer = client.post(path, data={**sent(client, path, "save"), **steps, "zone_shares": "60, 40"})
    assert answer.status_code == 303
    parcel = load_settings(store).parcel
    assert parcel["zone_shares"] == (Decimal("0.6"), Decimal("0.4"))
    assert parcel["postage_table"][0] == (250, Decimal("4.20"), Decimal("20.00"))
    assert load_settings(store).for_category("games").terms.postage == Decimal("10.52")  # 0.6 x 4.20 + 0.4 x 20.00
    assert "Zone 3" in text(page(client, path))
    assert client.post(path, data=sent(client, path, "save")).status_code == 303  # nothing typed changes nothing
    assert load_settings(store).parcel == parcel


def test_the_page_says_what_a_change_of_currency_does_not_do(client: FlaskClient) -> None:
    html = page(client, "/rules/part/general")
    help_of = {name: text(html.get_element_by_id(f"{name}-help")) for name in ("currency", "locale")}
    assert "Amounts are not converted" in help_of["currency"]
    assert "Comps in another currency do not count" in help_of["currency"]
    assert "which language is spoken" in help_of["locale"].lower()


def test_percentages_stand_alike_side_by_side(client: FlaskClient, store: Store) -> None:
    (card,) = [text(one) for one in page(client, "/rules").xpath("//a[contains(@href, '/rules/part/')]/..")
               if "discount" in text(one)][:1]  # fmt: skip
    assert re.search(r"tax \S+ %, discount \S+ %", card), card


def test_the_error_about_the_locale_has_the_word_of_its_field(client: FlaskClient, store: Store) -> None:
    save_settings(store, replace(load_settings(store), locale="de_DE"), "a test")
    path = "/rules/part/general"
    answer = client.post(path, data=sent(client, path, "save", locale="xx_XX"))
    shown = text(lxml.html.fromstring(answer.text))
    assert answer.status_code == 400
    assert "Sprache und Land „xx_XX“" in shown
    assert "Gebiet" not in shown
