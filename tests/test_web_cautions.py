"""Cautions on the pages: shown where they matter, put away with an undo, always under Help."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import lxml.html
import pytest
from flask.testing import FlaskClient

from sourcing.cautions import CAUTIONS
from web.app import create_app


@pytest.fixture
def client(tmp_path: Path) -> Iterator[FlaskClient]:
    app = create_app(tmp_path / "comps.db")
    app.config["WTF_CSRF_ENABLED"] = False  # what it refuses has its own tests
    yield app.test_client()
    app.extensions["sourcing"].store.close()


def shown(client: FlaskClient, address: str) -> list[str]:
    page = lxml.html.fromstring(client.get(address).text)
    return page.xpath("//div[@class='caution']//input[@name='name']/@value")  # type: ignore[no-any-return]


def sent(client: FlaskClient, address: str, name: str) -> str:
    """Press the button of one caution and return where that leads."""
    page = lxml.html.fromstring(client.get(address).text)
    (form,) = [form for form in page.forms if "/cautions/" in (form.action or "") and form.fields["name"] == name]
    answer = client.post(form.action, data=dict(form.form_values()))
    assert answer.status_code == 303
    return str(answer.headers["Location"])


@pytest.mark.parametrize(
    ("address", "names"),
    [
        ("/", ["forecasts"]),
        ("/ladder", ["forecasts", "shop"]),
        ("/rules", ["purchase tax", "reporting"]),
    ],
)
def test_each_page_shows_its_own_until_it_was_read(client: FlaskClient, address: str, names: list[str]) -> None:
    assert shown(client, address) == names
    back = sent(client, address, names[0])
    assert back.split("?")[0] == address
    assert shown(client, back.split("#")[0]) == names[1:]
    again = sent(client, back.split("#")[0], names[0])
    assert "caution=" not in again
    assert shown(client, address) == names


def test_a_verdict_shows_what_fits_the_item(client: FlaskClient) -> None:
    for category, first in (("toys", "children"), ("shoes", "recalls")):
        answer = client.post("/check", data={"title": "Marble run", "category": category, "price": "5"})
        names = shown(client, answer.headers["Location"])
        assert names[0] == first
        assert names[-2:] == ["recalls", "counterfeits"]


def test_the_haul_speaks_of_records_once_something_was_taken(client: FlaskClient) -> None:
    assert shown(client, "/haul") == []
    client.post("/check", data={"title": "Marble run", "category": "toys", "price": "5"})
    client.post("/haul/take", data={"check_id": "1"})
    assert shown(client, "/haul") == ["records", "licences"]


def test_help_holds_all_of_them_whatever_was_put_away(client: FlaskClient) -> None:
    def topics() -> list[str]:
        page = lxml.html.fromstring(client.get("/help").text)
        return page.xpath("//section[@id='cautions']//dt/text()")  # type: ignore[no-any-return]

    assert topics() == [one.topic for one in CAUTIONS]
    client.post("/cautions/dismiss", data={"name": "recalls", "back": "/check/1"})
    assert topics() == [one.topic for one in CAUTIONS]
    sent(client, "/help", "recalls")
    assert not lxml.html.fromstring(client.get("/help").text).xpath("//form[contains(@action, 'bring_back')]")


@pytest.mark.parametrize(
    "back",
    [
        "",
        "//evil.example/x",
        "https://evil.example/",
        "/nowhere",
        "javascript:alert(1)",
        "\\\\evil.example",
        "/haul/take",
    ],
)
def test_it_leads_to_our_own_pages_alone(client: FlaskClient, back: str) -> None:
    answer = client.post("/cautions/dismiss", data={"name": "recalls", "back": back})
    assert answer.headers["Location"] == "/help?caution=recalls#cautions"


def test_an_unknown_one_is_refused(client: FlaskClient) -> None:
    assert client.post("/cautions/dismiss", data={"name": "dragons"}).status_code == 404
    assert client.get("/?caution=dragons").status_code == 200
