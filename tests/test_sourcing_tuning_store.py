"""The bench on a store: no peeking, what is replayed, what is kept, accepting and undoing, and bad input."""

from __future__ import annotations

import csv
import dataclasses
from collections.abc import Callable, Iterator
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from sourcing import history
from sourcing.answer import Query
from sourcing.check import check
from sourcing.comps import load_file
from sourcing.errors import BadInput, Refused, SourcingError
from sourcing.evidence import gather
from sourcing.fitting import current_fit, refit
from sourcing.haul import take
from sourcing.settings import load_settings, save_settings, undo_settings
from sourcing.storage import Store, open_store
from sourcing.tuning import Outcome, Suggestion, accept, is_prepared, past, prepare, tune
from sourcing.tuning.occasions import EPOCH, Occasion
from sourcing.tuning.outcomes import Known
from sourcing.tuning.past import origins, past_fits
from sourcing.tuning.prepare import FEWEST
from sourcing.tuning.racks import described, draw
from sourcing.tuning.walk import Walked, walk

D = Decimal
SAMPLES = Path(__file__).parent.parent / "sample_comps"


def quiet(_share: float, _words: str) -> None:
    pass


@pytest.fixture(scope="module", autouse=True)
def _two_fits() -> Iterator[None]:
    """Learn the past twice instead of five times: what is tested is the same."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(past, "_MOST", 2)
        yield


@pytest.fixture(scope="module")
def samples(tmp_path_factory: pytest.TempPathFactory) -> Store:
    store = open_store(str(tmp_path_factory.mktemp("samples") / "data.sqlite3"))
    for name in ("spring_sales.csv", "summer_and_autumn.csv"):
        load_file(store, SAMPLES / name, name=name)
    refit(store)
    prepare(store)
    return store


def rows_of(name: str) -> list[dict[str, str]]:
    with (SAMPLES / name).open(newline="", encoding="utf-8") as file:
        return list(csv.DictReader(file))


def put(path: Path, rows: list[dict[str, str]]) -> Path:
    with path.open("w", newline="", encoding="utf-8") as file:
        writer = csv.DictWriter(file, list(rows[0]))
        writer.writeheader()
        writer.writerows(rows)
    return path


def with_outliers(rows: list[dict[str, str]], day: str) -> list[dict[str, str]]:
    """Change what happened after a day: all that sold later did so for fifty times as much, ended when it did not,
    and new listings of everything are asked and sold at outlandish prices."""
    found, planted = [], []
    for at, row in enumerate(rows):
        row = dict(row)
        later = row["ended_on"] > day or row["status"] == "open"
        if later and row["listed_on"] and row["listed_on"] <= day:
            row |= {"ended_on": "2026-12-20", "status": "sold", "sold_price": f"{1 + at % 7 * 900}.00"}
        found.append(row)
        if row["style_code"] and at % 3 == 0:
            # Without a barcode: which code belongs to which style is no news of the market, and may come of any row.
            planted.append(row | {"gtin": "", "listed_on": "2026-11-30", "ended_on": "2026-12-01", "status": "sold",
                                  "asking_price": "4000.00", "sold_price": "3999.00"})  # fmt: skip
    return [row for row in found if not (row["listed_on"] > day)] + planted


def walked(folder: Path, rows: list[dict[str, str]], codes: list[str], day: int) -> Walked:
    store = open_store(str(folder / "data.sqlite3"))
    report = load_file(store, put(folder / "comps.csv", rows), as_of=date(2026, 12, 24))
    assert report.rejected == 0
    evidence = gather(store, [Query(code=code) for code in codes])
    occasions = [Occasion(day, item, "check", D("9.00")) for item in evidence.items]
    fits = past_fits(store, [day - 20], quiet)
    assert fits.fits[0] is not None
    found = walk(occasions, evidence.rows, fits, load_settings(store), quiet)
    store.close()
    return found


def some_codes(rows: list[dict[str, str]]) -> list[str]:
    return sorted({row["style_code"] for row in rows if row["style_code"]})[::4]


def test_a_future_outlier_changes_no_forecast_of_the_past(tmp_path: Path) -> None:
    """Forecasts of a day, by a fit of twenty days before: the same whatever was planted after either day."""
    day = date(2026, 7, 15)
    rows = rows_of("spring_sales.csv") + rows_of("summer_and_autumn.csv")
    number = (day - EPOCH).days
    for name in ("plain", "planted"):
        (tmp_path / name).mkdir()
    # A listing begun after the day is nobody's past: the plain table is without, or its items would be others.
    plain = [row for row in rows if not row["listed_on"] > day.isoformat()]
    codes = some_codes(plain)
    assert len(codes) > 40
    first = walked(tmp_path / "plain", plain, codes, number)
    second = walked(tmp_path / "planted", with_outliers(rows, day.isoformat()), codes, number)
    for field in dataclasses.fields(Walked):
        if field.name == "shelf":
            assert first.shelf == second.shelf
            continue
        # Rows of an item may stand in another order, which leaves its sums alike to the last digits.
        np.testing.assert_allclose(getattr(first, field.name), getattr(second, field.name), rtol=1e-9)


def test_a_past_outlier_does_change_them(tmp_path: Path) -> None:
    """What is planted before the day is seen: the test above can fail."""
    day = date(2026, 7, 15)
    rows = [row for row in rows_of("spring_sales.csv") if not row["listed_on"] > day.isoformat()]
    dearer = [row | ({"sold_price": "400.00"} if row["status"] == "sold" and at % 2 else {})
              for at, row in enumerate(rows)]  # fmt: skip
    for name in ("plain", "planted"):
        (tmp_path / name).mkdir()
    first, second = (
        walked(tmp_path / name, few, some_codes(rows), (day - EPOCH).days)
        for name, few in (("plain", rows), ("planted", dearer))
    )
    assert not np.allclose(first.mean_net, second.mean_net, rtol=0.05)


def test_without_a_history_occasions_are_drawn_and_it_says_so(samples: Store) -> None:
    bench = tune(samples)
    assert bench.frontiers
    assert any("drawn" in note for note in bench.notes)
    for one in bench.frontiers:
        assert one.source == "drawn"
        assert "drawn" in one.source_words
        assert one.by_own_outcome == 0
        assert one.by_later_comps == one.occasions
        assert one.occasions >= one.styles > 0
    assert all(count > 0 for _, count in bench.left_out)
    assert isinstance(bench.as_dict()["frontiers"], list)


def test_drawn_shelf_prices_are_as_the_stores_were_described(samples: Store) -> None:
    settings = load_settings(samples)
    own = {**settings.categories, "shoes": {"rack_prices": (D("0.40"), D("0.60"), D("0.80"))}}
    settings = dataclasses.replace(settings, categories=own)
    assert described(settings, "shoes")[1] == D("0.60")
    assert described(settings, "toys") == (D("0.15"), D("0.30"), D("0.50"))
    shares: dict[str, list[float]] = {"shoes": [], "toys": []}
    for one in draw(samples, settings, {"shoes", "toys"}).occasions:
        shares[one.item.category].append(one.share)
    assert np.quantile(shares["shoes"], [0.1, 0.5, 0.9]) == pytest.approx([0.40, 0.60, 0.80], rel=0.05)
    assert np.quantile(shares["toys"], [0.1, 0.5, 0.9]) == pytest.approx([0.15, 0.30, 0.50], rel=0.06)


def test_it_is_kept_until_what_it_stands_on_changes(samples: Store) -> None:
    assert is_prepared(samples)
    told: list[str] = []
    prepare(samples, lambda share, words: told.append(words))
    assert told == []
    settings = load_settings(samples)
    for changes, still in (({"least_profit": D("9.00")}, True), ({"return_rate": D("0.09")}, False),
                           ({"rack_prices": (D("0.2"), D("0.4"), D("0.6"))}, False)):  # fmt: skip
        save_settings(samples, dataclasses.replace(settings, default={**settings.default, **changes}), "try")
        assert is_prepared(samples) is still, changes
        undo_settings(samples)
    assert is_prepared(samples)


def test_work_that_is_stopped_keeps_nothing(samples: Store) -> None:
    settings = load_settings(samples)
    changed = dataclasses.replace(settings, default={**settings.default, "supplies": D("0.80")})

    def stop(share: float, words: str) -> None:
        if share > 0.9:
            raise Refused("You stopped it.")

    with pytest.raises(Refused):
        prepare(samples, stop, settings=changed)
    assert is_prepared(samples)  # what was kept for the settings in force still is


class TestHistory:
    @pytest.fixture(scope="class")
    def store(self, tmp_path_factory: pytest.TempPathFactory) -> Store:
        """Sample comps and a year of checks in one category, two of three of them taken into a haul."""
        store = open_store(str(tmp_path_factory.mktemp("history") / "data.sqlite3"))
        for name in ("spring_sales.csv", "summer_and_autumn.csv"):
            load_file(store, SAMPLES / name, name=name)
        refit(store)
        fit = current_fit(store)
        assert fit is not None
        codes = [row[0] for row in store.read("SELECT style_code FROM product WHERE category = 'shoes' AND id = root "
                                              "AND style_code <> '' ORDER BY id")]  # fmt: skip
        first = EPOCH + timedelta(days=fit.as_of - 160)
        for at in range(120):
            query = Query(code=codes[at % len(codes)], shelf_price=D(5 + at % 13))
            number = history.record(store, check(store, query))
            if at % 3:
                take(store, number)
            day = first + timedelta(days=at)
            with store.write() as connection:
                connection.exec_driver_sql(
                    "UPDATE checked SET at = ? WHERE id = ?",
                    (datetime(day.year, day.month, day.day, 12, tzinfo=UTC).isoformat(timespec="seconds"), number),
                )
        history.record(store, check(store, Query(code=codes[0], shelf_price=D(5))))  # today: too recent
        return store

    def test_own_checks_are_replayed(self, store: Store) -> None:
        found = prepare(store).by_category["shoes"]
        assert set(found.source.tolist()) == {0, 1}  # checks, and those taken into a haul
        assert FEWEST <= len(found) <= 120
        bench = tune(store, "Shoes")
        (one,) = bench.frontiers
        assert one.source == "history"
        assert one.occasions == len(found)
        assert dict(bench.left_out)["it is too recent for anything to have come of it"] == 1

    def test_another_check_of_today_leaves_the_replay_as_it_is(self, store: Store) -> None:
        prepare(store)
        history.record(store, check(store, Query(title="some jug", category="housewares", shelf_price=D(4))))
        assert is_prepared(store)

    def test_own_outcomes_count_before_what_others_sold_for(self, store: Store) -> None:
        known = [row[0] for row in store.read("SELECT id FROM checked ORDER BY id LIMIT 40")]
        outcomes = Known({number: Outcome(number, D("33.33"), 17) for number in known})
        found = prepare(store, outcomes=outcomes).by_category["shoes"]
        assert found.own.sum() == 40
        assert np.all(found.net[found.own] == 33.33)
        assert np.all(found.days[found.own] == 17)
        assert np.all(found.error[found.own] == 0)
        assert np.all(found.error[~found.own] > 0)
        one = tune(store, "shoes", outcomes=outcomes).frontiers[0]
        assert (one.by_own_outcome, one.by_later_comps) == (40, one.occasions - 40)


def test_a_suggestion_is_accepted_and_undone_in_one_step_each(samples: Store) -> None:
    before = load_settings(samples)
    was = before.for_category("shoes").rules.least_profit
    suggestion = Suggestion("shoes", "least_profit", was, D("11.00"), "profit", "Tuned least_profit of shoes to 11.00")
    accept(samples, suggestion)
    now = load_settings(samples)
    assert now.for_category("shoes").rules.least_profit == D("11.00")
    assert now.for_category("shoes").terms == before.for_category("shoes").terms
    assert now.for_category("toys").rules == before.for_category("toys").rules
    assert samples.read("SELECT why FROM settings_version ORDER BY id DESC LIMIT 1")[0][0] == suggestion.why
    with pytest.raises(Refused):  # a second tap: it was worked out for another setting
        accept(samples, suggestion)
    undo_settings(samples)
    assert load_settings(samples) == before


@pytest.mark.parametrize(
    ("call", "field", "accepted"),
    [
        (lambda store: tune(store, "shoos"), "category", "shoes"),
        (lambda store: tune(store, rule="least_proft"), "rule", "least_profit"),
        (lambda store: tune(store, objective="money"), "objective", "per hour"),
    ],
)
def test_what_is_not_known_is_said_with_what_is(
    samples: Store, call: Callable[[Store], Any], field: str, accepted: str
) -> None:
    with pytest.raises(BadInput) as error:
        call(samples)
    assert error.value.field == field
    assert accepted in error.value.accepted


def test_an_empty_table_has_nothing_to_replay(tmp_path: Path) -> None:
    store = open_store(str(tmp_path / "data.sqlite3"))
    assert not is_prepared(store)
    with pytest.raises(SourcingError, match="nothing to replay"):
        tune(store)


def test_a_short_table_answers_that_nothing_could_be_replayed(tmp_path: Path) -> None:
    rows = [row for row in rows_of("spring_sales.csv") if row["listed_on"] >= "2026-05-15"][:60]
    store = open_store(str(tmp_path / "data.sqlite3"))
    load_file(store, put(tmp_path / "few.csv", rows))
    refit(store)
    bench = tune(store)
    assert bench.frontiers == ()
    assert "no occasion could be replayed" in bench.notes[0]


def test_fits_are_as_far_apart_as_their_number_allows(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(past, "_MOST", 5)
    assert origins([]) == ()
    assert origins([100]) == (100,)
    assert origins([*range(100, 130)]) == (100,)
    found = origins([*range(100, 500)])
    assert len(found) == 5
    assert found[0] == 100
    assert max(found) < 499
