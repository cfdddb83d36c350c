"""When the fit is made anew, and when a small load leaves it as it is."""

from __future__ import annotations

from pathlib import Path

import pytest

from sourcing.answer import Query
from sourcing.check import check
from sourcing.comps import load_file
from sourcing.fitting import current_fit, keep_up, refit
from sourcing.storage import Store, open_store

SAMPLES = Path(__file__).parent.parent / "sample_comps"
HEADER = "style_code,brand,category,asking_price,sold_price,listed_on,ended_on,status"


@pytest.fixture
def store(tmp_path: Path) -> Store:
    store = open_store(str(tmp_path / "data.sqlite3"))
    for name in ("spring_sales.csv", "summer_and_autumn.csv"):
        load_file(store, SAMPLES / name, name=name)
    refit(store)
    return store


def add(store: Store, folder: Path, rows: list[str]) -> None:
    path = folder / "more.csv"
    path.write_text("\n".join([HEADER, *rows]) + "\n", encoding="utf-8")
    assert load_file(store, path).rejected == 0


def style_of(store: Store) -> tuple[str, str, str]:
    row = store.read("SELECT p.style_code, p.brand, p.category FROM product p JOIN comp c ON c.product_id = p.id WHERE "
                     "p.style_code <> '' GROUP BY p.id ORDER BY count(*), p.id LIMIT 1")[0]  # fmt: skip
    return str(row[0]), str(row[1]), str(row[2])


def newest(store: Store) -> str:
    return str(store.read("SELECT date(max(ended) * 86400, 'unixepoch') FROM comp")[0][0])


def test_a_small_load_counts_at_once_without_a_refit(store: Store, tmp_path: Path) -> None:
    code, brand, category = style_of(store)
    before, fit = check(store, Query(code=code)), current_fit(store)
    day = newest(store)
    add(store, tmp_path, [f"{code},{brand},{category},{300 + k}.00,{299 + k}.00,{day},{day},sold" for k in range(5)])
    report = keep_up(store)
    after = check(store, Query(code=code))
    assert fit is not None
    assert report.fit_id == fit.id
    assert report.comps == store.read("SELECT count(*) FROM comp")[0][0]
    assert before.sale_price is not None
    assert after.sale_price is not None
    assert after.comps_sold + after.comps_set_aside >= before.comps_sold + before.comps_set_aside + 5
    assert after.sale_price.mid > before.sale_price.mid


@pytest.mark.parametrize("rows", [
    ["NEW-1,Some Brand,a category of its own,50.00,48.00,{day},{day},sold"],
    [f"NEW-{k},Some Brand,shoes,50.00,48.00,{{day}},{{day}},sold" for k in range(200)],
])  # fmt: skip
def test_a_new_category_or_many_rows_make_it_anew(store: Store, tmp_path: Path, rows: list[str]) -> None:
    fit = current_fit(store)
    assert fit is not None
    add(store, tmp_path, [row.format(day=newest(store)) for row in rows])
    keep_up(store)
    again = current_fit(store)
    assert again is not None
    assert again.made_at > fit.made_at


def test_comps_of_a_later_month_make_it_anew(store: Store) -> None:
    fit = current_fit(store)
    assert fit is not None
    with store.write() as connection:
        connection.exec_driver_sql("UPDATE comp SET ended = ended + 11 WHERE ended = (SELECT max(ended) FROM comp)")
    keep_up(store)
    again = current_fit(store)
    assert again is not None
    assert again.made_at > fit.made_at


def test_a_fit_of_an_older_version_is_made_anew(store: Store) -> None:
    import json
    import zlib

    payload = json.loads(zlib.decompress(store.read("SELECT payload FROM fit")[0][0]))
    with store.write() as connection:
        connection.exec_driver_sql(
            "UPDATE fit SET made_at = '2020-01-01T00:00:00+00:00', payload = ?",
            (zlib.compress(json.dumps({**payload, "version": 0}).encode()),),
        )
    fit = current_fit(store)
    assert fit is not None
    assert fit.made_at.year > 2020
