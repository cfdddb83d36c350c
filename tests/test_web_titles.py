"""A title as long as a file may hold one stands shortened wherever it is one of several, or part of a sentence."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from click.testing import CliRunner
from flask.testing import FlaskClient

from sourcing.comps import load_file
from sourcing.fitting import refit
from sourcing.storage import open_store
from web.app import create_app
from web.cli import main

LONG = "unbroken" * 1_250  # 10,000 characters, the most a title may have
ROWS = f"""title,style_code,category,sold_price,brand,ended_on
{LONG},RT-300,mugs,70.00,Tarvo,2026-03-03
{LONG},RT-300,mugs,75.00,Tarvo,2026-03-13
"""
TOO_MUCH = LONG[:160]


@pytest.fixture(scope="module")
def folder(empty: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Hold such rows, learnt from, with a check of the item and one that was taken."""
    folder = tmp_path_factory.mktemp("titles")
    shutil.copy(empty, folder / "sourcing.sqlite3")
    (folder / "long.csv").write_text(ROWS, encoding="utf-8")
    store = open_store(str(folder / "sourcing.sqlite3"))
    load_file(store, folder / "long.csv")
    refit(store)
    store.close()
    return folder


@pytest.fixture(scope="module")
def client(folder: Path) -> Iterator[FlaskClient]:
    app = create_app(folder / "sourcing.sqlite3")
    app.config["WTF_CSRF_ENABLED"] = False  # what it refuses has its own tests
    client = app.test_client()
    for price in ("90", "9"):
        check_id = client.post("/check", data={"code": "RT-300", "price": price}).headers["Location"].split("/")[-1]
    client.post("/haul/take", data={"check_id": check_id, "count": "1", "client_id": "one"})
    yield client
    app.extensions["sourcing"].store.close()


@pytest.mark.parametrize(
    "path", ["/", "/history", "/run", "/plan", "/haul", "/ladder", "/whatif?code=RT-300&price=9", "/comps/table"]
)
def test_pages(client: FlaskClient, path: str) -> None:
    shown = client.get(path).text
    assert (LONG[:56] in shown, TOO_MUCH in shown) == (True, False)


def test_the_explanation_has_it_whole_once_behind_a_tap(client: FlaskClient) -> None:
    shown = client.get("/explain?code=RT-300&price=9").text
    assert shown.count(LONG) == 1
    head, details = shown.split("<details><summary>The whole title", 1)
    assert TOO_MUCH not in head
    assert LONG in details.split("</details>")[0]


@pytest.mark.parametrize("words", [["plan"], ["comps", "search", "RT-300"]])
def test_lines_of_commands(client: FlaskClient, folder: Path, words: list[str]) -> None:
    result = CliRunner().invoke(main, [*words, "--data", str(folder)])
    assert (LONG[:56] in result.stdout, TOO_MUCH in result.stdout) == (True, False), result.output
