"""The bench on histories made by hand and by simulation: a known best threshold, and no gain where there is none."""

from __future__ import annotations

import dataclasses
from decimal import Decimal
from typing import Any

import numpy as np
import pytest

from models.price import Floats
from sourcing.limits import Outlook, decide, limits
from sourcing.rules import Rules
from sourcing.settings import CategorySettings, default_settings
from sourcing.tuning.buys import RULES, bought, buys
from sourcing.tuning.frontier import frontier
from sourcing.tuning.grid import MOST, thresholds
from sourcing.tuning.nested import out_of_sample
from sourcing.tuning.replay import Replay, Replays
from sourcing.tuning.result import Frontier
from sourcing.tuning.tally import tally

D = Decimal
OFF = Rules(least_profit=None, least_return=None, wanted_chance=None, most_loss_chance=None, least_comps=None)
TERMS = dataclasses.replace(default_settings().for_category("").terms, capital_rate=D("0.20"))
LABOUR = float(TERMS.labour())


def deal(**rules: Any) -> CategorySettings:
    plain = default_settings().for_category("")
    return dataclasses.replace(plain, terms=TERMS, rules=dataclasses.replace(OFF, **rules))


def replay(
    forecast: Floats,
    truth: Floats,
    landed: Floats,
    *,
    style: Any = None,
    day: Any = None,
    error: float = 0.0,
    **more: Any,
) -> Replay:
    """Make a history with one asking price: net proceeds foretold and true, landed costs in money, 30 days tied up."""
    n = len(forecast)
    column = np.ones((n, 1))
    values: dict[str, Any] = {
        "day": np.arange(n),
        "style": np.arange(n) if style is None else style,
        "source": np.zeros(n, dtype=np.int64),
        "own": np.zeros(n, dtype=bool),
        "landed": np.rint(landed * 100).astype(np.int64),
        "least": np.ones(n, dtype=np.int64),
        "labour": np.full(n, LABOUR),
        "rate": np.full(n, 0.20),
        "hours": np.full(n, 0.1),
        "evidence": np.full(n, 5.0),
        "timed": np.ones(n, dtype=bool),
        "ask": 50.0 * column,
        "mean_net": forecast[:, None],
        "mean_days": 30.0 * column,
        "by_target": 0.8 * column,
        "loss": 0.1 * column,
        "net": truth[:, None],
        "days": 30.0 * column,
        "error": error * column,
    }
    return Replay(**{**values, **more})


def moved(history: Replay, rule: str = "least_profit", objective: str = "profit", **rules: Any) -> Frontier:
    return frontier(history, deal(**rules), "shoes", rule, objective, {}, "USD")


def test_rules_over_arrays_buy_what_the_verdict_buys() -> None:
    """Ten thousand random cases, most of them within a cent or two of a limit."""
    rng = np.random.default_rng(952)
    n = 10_000
    net, days, chance = rng.uniform(2, 90, n), rng.uniform(5, 200, n), rng.uniform(0, 1, n)
    rules = Rules(D("8.00"), D("0.25"), 60, D("0.30"), None, D("0.15"))
    near = [
        decide(limits(rules, TERMS, Outlook(a, b, c, 0.0, 5.0), None), None)[2] or D(0)
        for a, b, c in zip(net, days, chance, strict=True)
    ]
    shelf = [max(most + D(int(off)) / 100, D("0.01")) for most, off in zip(near, rng.integers(-2, 3, n), strict=True)]
    evidence = rng.choice([0.1, 0.15, 5.0], n, p=[0.05, 0.05, 0.9])
    history = replay(
        net, net, np.array([float(TERMS.landed(price)) for price in shelf]),
        mean_days=days[:, None], by_target=chance[:, None], evidence=evidence,
    )  # fmt: skip
    found = bought(history, dataclasses.replace(deal(), rules=rules))
    expected = [
        known >= 0.15 and decide(limits(rules, TERMS, Outlook(a, b, c, 0.0, known), price), price)[0] == "buy"
        for a, b, c, price, known in zip(net, days, chance, shelf, evidence.tolist(), strict=True)
    ]
    assert 2_000 < sum(expected) < 8_000
    assert found.tolist() == expected


def test_the_loss_rule_buys_up_to_its_chance() -> None:
    history = replay(np.full(3, 60.0), np.full(3, 60.0), np.full(3, 5.0), loss=np.array([[0.2], [0.35], [0.36]]))
    assert bought(history, deal(most_loss_chance=D("0.35"))).tolist() == [True, True, False]


def test_a_frontier_by_hand() -> None:
    """Landed 10 for 30 days at 20 % a year costs 0.164384; foretold to leave 5 and 15 of which 2 and 20 came true."""
    hold = 10 * 0.20 * 30 / 365
    nets = np.array([5.0, 15.0]) + LABOUR + 10 + hold
    truth = np.array([2.0, 20.0]) + LABOUR + 10 + hold
    tried = (None, D("5.00"), D("5.01"), D("15.01"))
    history = replay(nets, truth, np.full(2, 10.0))
    found = tally(history, buys(history, deal(), "least_profit", tried)).total
    assert found[:, 0].tolist() == [2, 2, 1, 0]
    assert found[:, 1] == pytest.approx([22.0, 22.0, 20.0, 0.0])  # profit
    assert found[:, 2] == pytest.approx([22.0 + 2 * LABOUR, 22.0 + 2 * LABOUR, 20.0 + LABOUR, 0.0])  # before labour
    assert found[:, 3] == pytest.approx([600 / 365, 600 / 365, 300 / 365, 0.0])  # cash times years
    assert found[:, 4] == pytest.approx([20.0, 20.0, 10.0, 0.0])
    assert found[:, 5] == pytest.approx([0.2, 0.2, 0.1, 0.0])


def simulated(seed: int, shift: float, n: int = 1_500) -> Replay:
    """Forecasts off by ``shift``: what is foretold to leave so much leaves nothing, on average."""
    rng = np.random.default_rng(seed)
    styles = 250
    style = rng.integers(0, styles, n)
    landed = np.round(rng.uniform(3, 20, n), 2)
    foretold = rng.normal(8.0, 12.0, n)
    luck = rng.normal(0.0, 3.0, styles)[style] + rng.normal(0.0, 4.0, n)
    cost = landed * (1 + 0.2 * 30 / 365) + LABOUR
    return replay(foretold + cost, foretold - shift + luck + cost, landed, style=style, error=2.0)


def test_recovers_a_known_best_threshold_within_its_band() -> None:
    inside, gained = 0, 0
    for seed in range(20):
        found = moved(simulated(seed, 10.0), least_profit=D("2.00"))
        low, high = found.best_range
        inside += low is not None and high is not None and low <= 10 <= high
        assert found.best is not None
        best = found.points[found.best].threshold
        assert best is not None
        assert 6 <= best <= 14
        assert found.gain.amount is not None
        gained += found.gain.enough and found.suggestion is not None
    assert inside >= 16  # nominal 18 of 20
    assert gained >= 16  # what lies between 2 and 10 loses 4 a piece: told from luck


def test_gain_out_of_sample_is_the_true_one() -> None:
    """Between today's 2 and the best 10 lie a third of the buys at a known loss: the gain is theirs, on later days."""
    gains, true = [], []
    for seed in range(20):
        history = simulated(seed, 10.0)
        found = moved(history, least_profit=D("2.00"))
        assert found.gain.amount is not None
        gains.append(found.gain.amount.mid)
        later = history.of(np.arange(len(history)) >= len(history) // 4)
        foretold = later.mean_net[:, 0] - later.labour - later.landed / 100 * (1 + 0.2 * 30 / 365)
        true.append(float(np.sum(10.0 - foretold[(foretold >= 2) & (foretold < 10)])))
    assert np.mean(gains) == pytest.approx(np.mean(true), rel=0.10)


def idle(seed: int) -> Replay:
    """Thresholds do not matter: every piece leaves nothing on average, whatever is foretold of it."""
    rng = np.random.default_rng([7, seed])
    n, styles = 600, 120
    style = rng.integers(0, styles, n)
    landed = np.round(rng.uniform(3, 20, n), 2)
    luck = rng.normal(0.0, 6.0, styles)[style] + rng.normal(0.0, 6.0, n)
    cost = landed * (1 + 0.2 * 30 / 365) + LABOUR
    return replay(rng.normal(8.0, 12.0, n) + cost, luck + cost, landed, style=style, error=3.0)


def test_no_gain_where_thresholds_do_not_matter() -> None:
    """Suggestions are false alarms here: at most one in twenty, and 20 of 200 would come by chance once in 2,000."""
    alarms, flattering, honest = 0, [], []
    tried = (None, *(D(step) for step in range(0, 40, 2)))
    for seed in range(200):
        history = idle(seed)
        found = out_of_sample(history, buys(history, deal(), "least_profit", tried), tried.index(D(8)), "profit")
        assert found is not None
        alarms += found.amount[0] > 0
        honest.append(found.amount[1])
        flattering.append(found.flattering)
    assert alarms < 20
    spread = np.std(honest) / np.sqrt(len(honest))
    assert abs(np.mean(honest)) < 3.5 * spread  # no gain, on average
    assert np.mean(flattering) > np.mean(honest) + 10 * spread  # and the flattering one is


def test_scored_days_and_items_have_no_part_in_the_choice() -> None:
    """What became of the last quarter changes its score alone, never the settings chosen for the days before."""
    history = simulated(3, 10.0)
    last = np.arange(len(history)) >= len(history) * 3 // 4
    other = dataclasses.replace(history, net=np.where(last[:, None], history.net - 1_000.0, history.net))
    tried = (D(2), D(6), D(10), D(14))
    for one in (history, other):
        found = out_of_sample(one, buys(one, deal(), "least_profit", tried), 0, "profit")
        assert found is not None
    chosen = [
        out_of_sample(one.of(~last), buys(one.of(~last), deal(), "least_profit", tried), 0, "profit")
        for one in (history, other)
    ]
    assert chosen[0] == chosen[1]


def test_too_few_are_said_to_be() -> None:
    few = simulated(1, 10.0).of(np.arange(40))
    found = moved(few, least_profit=D("2.00"))
    assert not found.gain.enough
    assert "Too few to tell" in found.words
    assert found.suggestion is None
    assert "40 occasions" in found.gain.why


def test_without_prep_there_is_no_profit_per_hour() -> None:
    history = dataclasses.replace(simulated(1, 10.0), hours=np.zeros(1_500))
    found = moved(history, objective="per hour")
    assert "prep takes no time" in found.words
    assert all(point.per_hour is None for point in found.points)
    assert moved(history, objective="per cash").best is not None


def test_every_rule_can_be_tuned() -> None:
    """But the days within which it should sell, which belong to the chance, and the objective, which is no rule."""
    assert {field.name for field in dataclasses.fields(Rules)} - {"target_days", "objective"} == set(RULES)


def test_today_is_marked_also_where_it_is_no_round_figure_or_off() -> None:
    history = simulated(2, 0.0)
    for today in (D("7.77"), None, D("900.00")):
        found = moved(history, least_profit=today)
        assert found.points[found.today].threshold == today
        assert len(found.points) <= MOST + 2


@pytest.mark.parametrize("rule", ["least_profit", "least_return", "wanted_chance", "most_loss_chance", "least_comps"])
def test_stricter_thresholds_never_buy_more(rule: str) -> None:
    rng = np.random.default_rng(5)
    n = 400
    history = replay(
        rng.uniform(5, 80, n), rng.uniform(5, 80, n), rng.uniform(1, 30, n),
        by_target=rng.random((n, 1)), loss=rng.random((n, 1)), evidence=rng.exponential(3.0, n),
    )  # fmt: skip
    found = moved(history, rule)
    counts = [point.buys for point in found.points]
    assert counts == sorted(counts, reverse=True)
    assert counts[0] == n
    assert counts[-1] < n / 2


def test_each_objective_has_its_own_best() -> None:
    history = simulated(4, 0.0)
    best = {}
    for objective in ("profit", "per hour", "per cash", "blend"):
        found = moved(history, objective=objective, least_profit=D("2.00"))
        assert found.best is not None
        best[objective] = found.points[found.best]
    most = max(point.profit.mid for point in moved(history, least_profit=D("2.00")).points)
    assert best["profit"].profit.mid == most
    assert best["per hour"].buys < best["profit"].buys
    assert best["per hour"].profit.mid >= 0.5 * most  # or the best would be the one best piece
    assert best["per hour"].per_hour is not None
    assert best["profit"].per_hour is not None
    assert best["per hour"].per_hour.mid > best["profit"].per_hour.mid


def test_the_nearer_of_settings_that_buy_the_same_is_best() -> None:
    history = replay(np.full(100, 60.0), np.full(100, 60.0), np.full(100, 5.0), style=np.arange(100))
    found = moved(history, least_profit=D("9.00"))
    assert found.best == found.today
    assert found.suggestion is None


def test_thresholds_are_round_and_few() -> None:
    seen = np.random.default_rng(1).normal(20.0, 15.0, 5_000)
    found = thresholds("least_profit", seen, D("8.00"))
    assert found[0] is None
    assert D("8.00") in found
    assert len(found) <= MOST + 2
    assert all(one is None or one % D("0.50") == 0 for one in found)
    assert list(found[1:]) == sorted(one for one in found if one is not None)
    loss = thresholds("most_loss_chance", np.random.default_rng(1).random(500), D("0.35"))
    assert list(loss[1:]) == sorted((one for one in loss if one is not None), reverse=True)
    assert all(one is None or 0 < one <= D("0.95") for one in loss)


def test_a_replay_is_kept_whole() -> None:
    from datetime import UTC, datetime

    first = Replays(datetime(2026, 1, 2, tzinfo=UTC), 20_000, {"shoes": simulated(1, 0.0)}, {"shoes": {"why": 3}})
    again = Replays.unpack(first.made_at, first.pack())
    assert again.left_out == first.left_out
    assert again.as_of == first.as_of
    for field in dataclasses.fields(Replay):
        kept = getattr(again.by_category["shoes"], field.name)
        assert np.array_equal(kept, getattr(first.by_category["shoes"], field.name))
