"""How a forecast came about: shares, words, the one more sale, and the sentences where little is known."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import date, timedelta
from decimal import Decimal
from pathlib import Path

import pytest
from click.testing import CliRunner

from sourcing.answer import Query
from sourcing.check import check, forget
from sourcing.comps import load_file
from sourcing.explain import Explanation, explain
from sourcing.fitting import current_fit, refit
from sourcing.settings import default_settings, save_settings
from sourcing.storage import Store, open_store
from web.cli import main

KNOWN = Query(code="WE804-175", size="S")


@pytest.fixture(scope="module")
def folder(sampled: Callable[[Path], Store], tmp_path_factory: pytest.TempPathFactory) -> Path:
    made = tmp_path_factory.mktemp("explain")
    sampled(made / "sourcing.sqlite3").close()
    return made


@pytest.fixture
def store(folder: Path) -> Iterator[Store]:
    forget()
    opened = open_store(str(folder / "sourcing.sqlite3"))
    yield opened
    opened.close()


def words(found: Explanation) -> str:
    return " ".join(sentence for section in found.sections for sentence in section.sentences)


def test_shares_are_whole_and_own_comps_count_only_where_there_are_some(store: Store) -> None:
    known = explain(store, KNOWN)
    fresh = explain(store, Query(title="Fleece moss", brand="Wexholt", category="clothing"))
    for one in (known, fresh):
        assert sum(source.share for source in one.sources) == pytest.approx(1.0, abs=1e-3)
    assert known.sources[0].share > 0.5
    assert fresh.sources[0].share == 0
    assert "No comps of its own" in words(fresh)
    assert "No listing of its own carries dates" in words(fresh) or fresh.speed is None


def test_one_more_sale_is_what_the_check_answers_once_it_is_loaded(
    sampled: Callable[[Path], Store], tmp_path: Path
) -> None:
    store = sampled(tmp_path / "one.sqlite3")
    before, fit = explain(store, KNOWN), current_fit(store)
    assert fit is not None
    foretold = before.what_if[2]
    item = before.item
    more = tmp_path / "more.csv"
    day = date(1970, 1, 1) + timedelta(days=fit.as_of)
    condition = fit.categories["clothing"].base_condition
    more.write_text(
        "style_code,brand,category,title,size,condition,sold_price,ended_on,status\n"
        f"{item.style_code},{item.brand},{item.category},{item.title},S,{condition},{foretold.price},{day},sold\n"
    )
    assert load_file(store, more, name="more.csv").new == 1
    then = check(store, KNOWN)
    assert then.sale_price is not None
    assert then.sale_price.mid == foretold.median
    assert then.most_worth_paying == foretold.most_worth_paying
    assert before.what_if[0].median < before.what_if[1].median < foretold.median
    store.close()


def test_words_of_the_title_are_named_with_what_they_add(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    fit = current_fit(store)
    assert fit is not None
    told = replace(fit, words={"fleece": 0.06, "clothing\tfleece": 0.04, "moss": -0.02})
    monkeypatch.setattr("sourcing.explain.current_fit", lambda _store: told)
    found = explain(store, KNOWN)
    assert [(one.word, one.change) for one in found.words] == [("fleece", 0.1052), ("moss", -0.0198)]
    assert found.words_change == pytest.approx(0.0833, abs=1e-4)  # exp(0.08) - 1
    assert found.sources[1].share > 0


def test_asking_more_lowers_the_chance_and_json_holds_the_figures(folder: Path, store: Store) -> None:
    found = explain(store, KNOWN)
    assert found.chance_30 is not None
    assert found.chance_30_dearer is not None
    assert 0 < found.chance_30_dearer < found.chance_30 < 1
    assert found.chance_30 == pytest.approx(found.verdict.sold_within[30], abs=1e-4)
    made = CliRunner().invoke(main, ["explain", "WE804-175", "--size", "S", "--json", "--data", str(folder)])
    assert made.exit_code == 0
    assert json.loads(made.stdout)["chance_30"] == found.chance_30


def test_no_chance_is_said_to_rise_with_the_asking_price(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    fit = current_fit(store)
    assert fit is not None
    monkeypatch.setattr("sourcing.explain.current_fit", lambda _store: replace(fit, slope=0.4, slope_se=0.5))
    assert "by about 0.0\xa0%; anything from 0.0\xa0% to 0.4\xa0% would fit" in words(explain(store, KNOWN))


def test_the_chance_within_30_days_is_the_verdicts_where_the_plan_gives_up_sooner(
    sampled: Callable[[Path], Store], tmp_path: Path
) -> None:
    store = sampled(tmp_path / "soon.sqlite3")
    settings = default_settings()
    save_settings(store, replace(settings, default={**settings.default, "give_up_day": 14, "cuts": ()}), "a test")
    found = explain(store, KNOWN)
    assert found.chance_30 is not None
    assert found.verdict.sold_within[14] < found.verdict.sold_within[30]
    assert found.chance_30 == pytest.approx(found.verdict.sold_within[30], abs=1e-4)
    store.close()


def test_the_command_says_it_and_refuses_a_wrong_code(folder: Path) -> None:
    said = CliRunner().invoke(main, ["explain", "WE804-175", "--price", "16.99", "--data", str(folder)])
    assert said.exit_code == 0
    assert "Its own comps give" in said.stdout
    assert "One more sale" in said.stdout
    wrong = CliRunner().invoke(main, ["explain", "9521234567890", "--data", str(folder)])
    assert wrong.exit_code == 1
    assert CliRunner().invoke(main, ["explain"]).exit_code == 2


def test_no_fit_no_dates_and_too_little_say_so(tmp_path: Path) -> None:
    store = open_store(str(tmp_path / "few.sqlite3"))
    none = explain(store, KNOWN)
    assert none.sections[0].heading == "No forecast yet"
    assert none.what_if == ()
    rows = "".join(f"AB-101,Tarnwick,lamps,Desk lamp,sold,{price}\n" for price in (20, 22, 24, 21))
    path = tmp_path / "few.csv"
    path.write_text("style_code,brand,category,title,status,sold_price\n" + rows)
    load_file(store, path, name="few.csv")
    refit(store)
    undated = explain(store, Query(code="AB-101"))
    assert "no listing dates" in words(undated)
    assert "none of them dated" in words(undated)
    assert "carry no date" in words(undated)
    assert undated.speed is None
    assert "Too few later sales" in words(undated)
    settings = default_settings()
    strict = replace(settings, default={**settings.default, "least_comps": Decimal(50)})
    save_settings(store, strict, "a test")
    unknown = explain(store, Query(title="Garden gnome", category="gnomes"))
    assert unknown.verdict.decision == "too little to go on"
    assert "category is not known" in words(unknown)
    assert unknown.verdict.would_settle in words(unknown)
    store.close()
