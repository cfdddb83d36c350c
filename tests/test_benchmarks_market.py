"""The simulated market: the same by seed, readable by the loader, and true to what it says is true."""

from __future__ import annotations

import dataclasses
import importlib
import sys
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest

from benchmarks.market import ablation, engine, hand, informed, pictures, recovery, textbook
from benchmarks.market.answers import blank
from benchmarks.market.config import DAYS, HORIZONS, HURDLE, STANDARD, VARIANTS
from benchmarks.market.draw import FIRST, draw_market, listings_of
from benchmarks.market.report import table
from benchmarks.market.rivals import worlds
from benchmarks.market.run import READERS, World, measure
from benchmarks.market.score import score
from benchmarks.market.shapes import draw_speeds, log_age, log_demand, speed_points
from benchmarks.market.shelf import BUCKETS, terms_of
from benchmarks.market.simulate import cheaper, sell
from sourcing.storage import open_store
from sourcing.terms import Terms

SMALL = dataclasses.replace(STANDARD, name="small", styles=300, listings=(3_600, 4_000), shelf=120)


@pytest.fixture(scope="module")
def world() -> World:
    return World(SMALL, 3)


def test_a_seed_gives_the_same_market_and_another_seed_another(world: World) -> None:
    again, other = World(SMALL, 3), World(SMALL, 4)
    assert again.spoilt.earlier == world.spoilt.earlier
    assert again.spoilt.later == world.spoilt.later
    assert np.array_equal(again.following, world.following, equal_nan=True)
    assert np.array_equal(again.truth.best, world.truth.best)
    assert other.spoilt.later != world.spoilt.later
    assert other.market.constants.speed_shape != world.market.constants.speed_shape


def test_the_market_is_of_the_kind_described(world: World) -> None:
    listings = world.market.listings
    assert 0.65 < np.mean(listings.status == 1) < 0.88
    assert 3_600 <= len(listings.style) <= 4_000
    assert listings.ended[listings.status > 0].max() <= DAYS
    assert set(world.shelf.bucket) == set(range(len(BUCKETS)))
    assert 0.3 < np.mean(world.truth.best > HURDLE) < 0.85  # neither always a buy nor always a pass


def test_the_files_load_through_the_real_loader(world: World, tmp_path: Path) -> None:
    store = open_store(str(tmp_path / "data.sqlite3"))
    earlier, later = engine.load(store, world.spoilt, tmp_path)
    store.close()
    assert (earlier.rejected, later.rejected) == (0, 0)
    assert earlier.read == len(world.spoilt.earlier)
    assert later.read == len(world.spoilt.later)
    both = set(world.spoilt.earlier) & set(world.spoilt.later)
    assert later.known == len(both) > 100  # the overlap is told apart, nothing is counted twice
    notes = [problem for report in (earlier, later) for problem in report.problems]
    assert {problem.column for problem in notes} <= {"gtin", ""}  # mistyped barcodes, and rows that repeat


@pytest.mark.parametrize("name", ["sold only", "open only", "no dates", "stale exports"])
def test_variants_leave_out_what_they_say(name: str) -> None:
    config = dataclasses.replace(VARIANTS[name], styles=60, listings=(800, 800), shelf=20)
    spoilt = World(config, 1).spoilt
    rows = [*spoilt.earlier, *spoilt.later]
    status, dated = {row[13] for row in rows}, [row for row in rows if row[11] or row[12]]
    if name == "sold only":
        assert status == {"sold"}
    elif name == "open only":
        assert status == {"open"}
        assert not spoilt.earlier
    elif name == "no dates":
        assert not dated
        assert status == {"sold", "open", "ended unsold"}
    else:
        assert any(row[13] == "open" for row in spoilt.earlier)


def test_foresight_scores_one_and_passing_on_everything_nothing(world: World) -> None:
    following = world.following
    best = score(READERS["foresight"](world), world.truth, following, {})
    none = score(blank(len(world.shelf)), world.truth, following, {})
    assert best["share"] == pytest.approx(1.0, abs=1e-12)
    assert best["profit bias"] == pytest.approx(0.0, abs=1e-9)
    assert none["share"] == 0.0
    assert none["buys"] == 0
    assert np.isnan(none["profit bias"])


def test_a_case_worked_by_hand() -> None:
    """Three items whose best profits are 20, 14 and 2; surplus 8 + 2 + 0 = 10."""
    profits = {30.0: 18.0, 40.0: -3.0, 50.0: 2.0}
    truth = SimpleNamespace(
        best=np.array([20.0, 14.0, 2.0]),
        best_ask=np.array([33.0, 44.0, 50.0]),
        surplus=lambda: np.array([8.0, 2.0, 0.0]),
        profit=lambda ask: np.array([[profits[value]] for value in ask[:, 0]]),
        chance=lambda ask: np.array([[0.2, 0.3, 0.5, 0.6]] * 3),
        happened=lambda ask: np.array([[0.0, 1.0, 1.0, 1.0], [0.0, 0.0, 1.0, 1.0], [0.0, 0.0, 0.0, 0.0]]),
        shelf=SimpleNamespace(bucket=np.array([0, 3, 3]), category=np.array([0, 0, 0])),
        market=SimpleNamespace(constants=SimpleNamespace(names=("shoes",))),
    )
    answers = pd.DataFrame(
        {
            "decision": ["buy", "buy", "pass"],
            "ask": [30.0, 40.0, np.nan],  # the third names none: the best stands in where one is needed
            "q10": [25.0, 30.0, 40.0],
            "q50": [33.0, 40.0, 50.0],
            "q90": [40.0, 44.0, 60.0],
            "sold_14": [0.2, 0.2, 0.2],
            "sold_30": [0.5, 0.4, np.nan],
            "sold_60": [0.5, 0.5, 0.5],
            "sold_90": [0.6, 0.6, 0.6],
            "profit": [19.0, 13.0, np.nan],
        }
    )
    found = score(answers, truth, np.array([30.0, 50.0, 50.0]), {"flat": np.full(3, 0.5)})  # type: ignore[arg-type]
    assert found["share"] == pytest.approx((6 - 15) / 10)
    assert found["share 0"] == pytest.approx(6 / 8)
    assert found["share 13+"] == pytest.approx(-15 / 2)
    assert found["profit bias"] == pytest.approx((1 + 16) / 2)
    assert (found["buys"], found["losing buys"], found["losing share"]) == (2, 1, 0.5)
    assert found["error median"] == pytest.approx(0.1)  # of 0.1, 0.2 and 0
    assert found["error mean"] == pytest.approx(0.1)
    assert found["coverage"] == pytest.approx(2 / 3)
    assert found["width"] == pytest.approx(0.4)  # of 15/33, 14/40 and 20/50
    assert found["level"] == pytest.approx(1.0)
    # Quantile losses at 10, 50 and 90 %, item by item, over nine.
    assert found["pinball"] == pytest.approx((0.5 + 1.5 + 1.0 + 2.0 + 5.0 + 5.4 + 1.0 + 0.0 + 1.0) / 9)
    assert found["brier 30"] == pytest.approx((0.25 + 0.16) / 2)
    assert found["chance bias 30"] == pytest.approx(0.15)
    assert found["brier 30, flat"] == pytest.approx(0.25)
    with pytest.raises(ValueError, match="without an asking price"):
        score(answers.assign(decision="buy"), truth, np.array([30.0, 50.0, 50.0]), {})  # type: ignore[arg-type]


@pytest.mark.parametrize("name", ["standard", "humped", "decaying", "cliff"])
def test_true_profit_and_chance_are_those_of_many_sales_drawn_one_by_one(name: str) -> None:
    """Each day a coin is tossed for every copy of the item; the formula lies within four standard errors."""
    one = World(dataclasses.replace(VARIANTS[name], styles=60, listings=(800, 800), shelf=24), 5)
    market, shelf, constants = one.market, one.shelf, one.market.constants
    rng, copies = np.random.default_rng(8), 10_000
    for i in (0, 13, 23):
        c, style = int(shelf.category[i]), int(shelf.style[i])
        terms = terms_of(market)[c]
        listings, ask = market.listings, float(one.truth.best_ask[i]) * 0.97
        in_category = (listings.status == 1) & (market.styles.category[listings.style] == c)
        usual = float((listings.sold - listings.value)[in_category].mean())
        waiting, net, days = np.ones(copies, dtype=bool), np.zeros(copies), np.full(copies, 120.0)
        for day in range(1, 121):
            cut = 0.8 if day > 60 else 0.9 if day > 30 else 1.0
            value = float(market.level(np.array([style]), DAYS + day)[0]) + shelf.offset[i]
            hazard = constants.hazard[c] * market.styles.speed[style]
            hazard *= np.exp(
                constants.season[c, DAYS + day - FIRST] + log_age(constants.config.age, np.array(day - 0.5))
            )
            x = np.array(np.log(ask * cut) - value)
            hazard *= np.exp(log_demand(constants.config.demand, x, float(constants.elasticity[c])))
            now = waiting & (rng.random(copies) < 1.0 - np.exp(-hazard))
            paid = ask * cut * np.exp(np.minimum(rng.normal(constants.haggle[c], constants.haggle_sd[c], copies), 0.0))
            net[now], days[now] = _net(paid[now], terms), day
            waiting &= ~now
        net[waiting] = _net(np.array(0.4 * np.exp(value + usual)), terms)
        profit = net - float(terms.labour()) - shelf.price[i] * (1.0 + float(terms.capital_rate) * days / 365.0)
        mine = one.truth.profit(np.full((len(shelf), 1), ask))[i, 0]
        assert abs(profit.mean() - mine) < 4 * profit.std() / np.sqrt(copies)
        # The same item among the market's own listings, its asking price held.
        many = worlds(market.styles, np.full(copies, style))
        each, today = np.arange(copies), np.full(copies, DAYS)
        size, condition = np.full(copies, shelf.size[i]), np.full(copies, shelf.condition[i])
        own = listings_of(rng, constants, many, each, size, condition, today)
        own.ask[:], own.cuts[:], own.leave[:] = np.log(ask), 0.0, 1e9
        sell(constants, many, own, DAYS + 90)
        chance = one.truth.chance(np.full(len(shelf), ask))[i]
        for k, horizon in enumerate(HORIZONS):
            share = np.mean((own.status == 1) & (own.ended <= DAYS + horizon))
            assert abs(share - chance[k]) < 4 * np.sqrt(chance[k] * (1 - chance[k]) / copies) + 1e-9


def _net(total: np.ndarray, terms: Terms) -> np.ndarray:
    """Net proceeds by the default terms, written out; postage alone differs by category."""
    assert (float(terms.fees[0].share[0].share), float(terms.return_rate), float(terms.return_value_lost)) == (
        0.13,
        0.04,
        0.15,
    )
    return np.asarray(total * (1 - 0.13 - 0.04 * 0.15) - 0.30 - float(terms.postage) * 1.04 - 0.75)


def test_the_informed_reader_keeps_its_promises() -> None:
    """Coverage near 80 %, chances and profits without bias: the truth and the reader's sums agree."""
    inside, gap, profit = [], [], []
    for seed in (21, 22):
        one = World(SMALL, seed)
        answers = informed.answer(one.market, one.spoilt, one.shelf, seed, draws=48)
        inside.append(((answers["q10"] <= one.following) & (one.following <= answers["q90"])).to_numpy())
        ask = answers["ask"].to_numpy()
        gap.append(answers["sold_30"].to_numpy() - one.truth.chance(ask)[:, 1])
        bought = (answers["decision"] == "buy").to_numpy()
        profit.append((answers["profit"].to_numpy() - one.truth.profit(ask[:, None])[:, 0])[bought])
        scores = score(answers, one.truth, one.following, {})
        assert scores["share"] > 0.7
        by_hand = score(hand.answer(one.market, one.spoilt, one.shelf), one.truth, one.following, {})
        assert by_hand["share"] < 0.4
        assert by_hand["profit bias"] > 5.0
    # 240 items: the standard error is 0.026.
    assert np.mean(np.concatenate(inside)) == pytest.approx(0.80, abs=0.07)
    assert abs(np.mean(np.concatenate(gap))) < 0.02
    errors = np.concatenate(profit)
    assert abs(errors.mean()) < 3.5 * errors.std() / np.sqrt(len(errors)) + 0.1


@pytest.mark.parametrize("kind", ["gamma", "two-point", "mixture"])
def test_speeds_average_one_as_drawn_and_as_summed(kind: str) -> None:
    drawn = draw_speeds(np.random.default_rng(1), kind, 2.0, 200_000)  # type: ignore[arg-type]
    log, weight = speed_points(kind, 2.0)  # type: ignore[arg-type]
    assert drawn.mean() == pytest.approx(1.0, abs=0.01)
    assert weight @ np.exp(log) == pytest.approx(1.0, abs=0.01)
    assert weight @ np.exp(2 * log) - 1.0 == pytest.approx(drawn.var(), rel=0.05)


def test_cheaper_listings_of_the_same_style_are_counted() -> None:
    assert cheaper(np.array([0, 1, 0, 0, 1]), np.array([0.3, 0.1, -0.2, 0.1, 0.5])).tolist() == [2, 0, 0, 1, 1]


def test_readers_run_and_the_table_lists_them(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(VARIANTS, "small", dataclasses.replace(SMALL, styles=40, listings=(400, 400), shelf=20))
    records = [*measure("small", 1, ("hand", "engine")), *measure("small", 2, ("hand",))]
    text = table(pd.DataFrame(records))
    assert [line.split(" | ")[1] for line in text.splitlines()[2:]] == ["hand", "engine"]
    assert "±" in text


def test_the_textbook_reader_believes_the_truth_where_the_textbook_is_right() -> None:
    """Fitted elasticities scatter around the true ones: also a check of the market's own days by another way."""
    errors = []
    for seed in (1, 2, 3):
        market = draw_market(dataclasses.replace(STANDARD, listings=(8_000, 8_000)), seed)
        told = textbook.believed(market)
        errors.append(told.elasticity - market.constants.elasticity)
        assert told.hazard == pytest.approx(market.constants.hazard, rel=0.12)
        assert told.ask_sd == pytest.approx(market.constants.ask_sd, rel=0.06)
    every = np.concatenate(errors)
    assert abs(every.mean()) < 3.5 * every.std() / np.sqrt(len(every))
    assert every.std() < 0.6


@pytest.mark.parametrize("part", [part for part, how in ablation.PARTS.items() if how])
def test_a_part_is_out_of_action_only_while_asked(part: str) -> None:
    """Every stand-in takes the place of something that is there, and gives it back."""

    def found(target: str) -> object:
        module, _, name = target.rpartition(".")
        place = sys.modules.get(module)
        if place is None:  # a method: the class is the last but one
            outer, _, owner = module.rpartition(".")
            place = getattr(sys.modules[outer], owner)
        return getattr(place, name)

    importlib.import_module("sourcing.learning")
    importlib.import_module("sourcing.forecast")
    before = [found(target) for target, _ in ablation.PARTS[part]]
    with ablation.without(part):
        assert [found(target) for target, _ in ablation.PARTS[part]] != before
    assert [found(target) for target, _ in ablation.PARTS[part]] == before


def test_the_ablation_shows_changes_from_the_whole() -> None:
    rows = [
        {"variant": "standard", "seed": seed, "part": part, **dict.fromkeys(ablation.SHOWN, value + seed)}
        for seed in (1, 2)
        for part, value in (("the whole engine", 0.5), ("title words", 0.25), (ablation.TAKEN_OUT[0], 0.5))
    ]
    shown = ablation.table(pd.DataFrame(rows))
    assert "| (the whole engine) | 2 | 2.000" in shown
    assert "| title words | 2 | -0.250 ± 0.000" in shown
    assert f"| {ablation.TAKEN_OUT[0]} (taken out since) | 2 | +0.000 ± 0.000" in shown


def test_recovery_counts_what_lies_inside() -> None:
    """True 0; estimates one standard error off lie inside, two off outside (1.645 are 90 %)."""
    rows = [
        {"seed": k, "parameter": "slope", "true": 0.0, "estimate": off, "error": 1.0}
        for k, off in enumerate([1.0, -1.0, 2.0, 0.0])
    ]
    assert "| slope | 4 | 0.75 | +0.500 |" in recovery.table(pd.DataFrame(rows))


@pytest.mark.parametrize(("turn", "low", "high"), [(0.0, -0.012, 0.012), (-0.7, 0.03, 0.12)])
def test_sales_lie_over_a_level_that_falls_faster(turn: float, low: float, high: float) -> None:
    """They follow a level late by a tenth of a year or so; where it does not turn they stay where they were."""
    flat = dataclasses.replace(SMALL, drift=(0.0, 0.0), price_season=(0.0, 0.0), speed_season=(0.0, 0.0))
    market = draw_market(dataclasses.replace(flat, turn=(turn, turn)), 6)
    lag = recovery._lag(market, 6, 40_000)
    assert low < lag.mean() < high


def test_the_true_season_is_read_back(world: World) -> None:
    days = np.arange(FIRST, FIRST + 800)
    season = 0.2 * np.sin(2 * np.pi * days / 365.25) - 0.1 * np.cos(2 * np.pi * days / 365.25)
    assert recovery._wave(season) == pytest.approx((0.2, -0.1), abs=1e-9)
    told = world.market.constants.season[0]
    assert np.hypot(*recovery._wave(told)) == pytest.approx(np.abs(told).max(), rel=0.01)


def test_pictures_are_drawn_the_same_again(tmp_path: Path) -> None:
    names = [f"{name} {bucket}" for name in ("error median", "coverage") for bucket in BUCKETS]
    names += [f"reliability 30, tenth {k}" for k in range(1, 11)]
    rows = [
        {
            "variant": "standard",
            "reader": reader,
            "seed": seed,
            "share": 0.1 * seed,
            **dict.fromkeys(names, 0.01 * seed),
        }
        for reader in pictures.READERS
        for seed in (1, 2)
    ]
    first = pictures.draw(pd.DataFrame(rows), tmp_path / "a")
    again = pictures.draw(pd.DataFrame(rows), tmp_path / "b")
    assert len(first) == 4
    for one, other in zip(first, again, strict=True):
        assert one.read_text() == other.read_text()
        assert "informed" in one.read_text()


def test_few_rows_do_not_make_the_engine_sure() -> None:
    """Twelve tables of sixty rows: later sales fall into the intervals no less often than it says, less two points."""
    inside, wide = [], []
    for seed in range(101, 113):
        one = World(VARIANTS["60 rows"], seed)
        found = score(engine.answer(one.market, one.spoilt, one.shelf), one.truth, one.following, {})
        inside.append(found["coverage"])
        wide.append(found["coverage 90"])
    assert 0.78 < np.mean(inside) < 0.92
    assert 0.88 < np.mean(wide) < 0.97
