"""The track record of made-up resellers whose truth is known, and corrections accepted and undone."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import date
from decimal import Decimal as D

import numpy as np
import pytest
import web_examples

from benchmarks._reseller import SPREAD, TODAY, Truth, fill
from sourcing import haul, history
from sourcing.answer import Query
from sourcing.check import check
from sourcing.errors import BadInput, NotFound, Refused
from sourcing.evidence import gather
from sourcing.fitting import current_fit, fold
from sourcing.forecast import Forecasts, forecast_group
from sourcing.record import corrected
from sourcing.record.offers import LEAST_SALES, offers
from sourcing.record.outcomes import outcomes
from sourcing.record.parts import groups, price_part, profit_part, speed_part
from sourcing.record.record import accept, record
from sourcing.settings import load_settings
from sourcing.stock import moves, sales, shelf
from sourcing.stock.bring import bring
from sourcing.storage import Store

NewStore = Callable[[], Store]


@pytest.fixture(scope="module")
def straight(new_store: NewStore) -> tuple[Store, np.ndarray]:
    """A reseller whose forecasts are right."""
    store = new_store()
    return store, fill(store, 1, 1500, TODAY)


class TestStraight:
    def test_level_and_coverage_hold_what_was_forecast(self, straight: tuple[Store, np.ndarray]) -> None:
        part = price_part(outcomes(straight[0], today=TODAY))
        assert part is not None
        # Four standard errors of a median, and of a share: a right forecast is beyond them once in 16,000.
        error = 1.2533 * SPREAD / np.sqrt(part.count)
        assert abs(np.log(part.level)) < 4 * error
        assert 2 < np.log(part.high / part.low) / error < 5  # 3.29 on the whole
        assert part.inside_80 is not None
        assert part.inside_90 is not None
        assert part.inside_80[0] == pytest.approx(0.8, abs=4 * np.sqrt(0.16 / part.count))
        assert part.inside_90[0] == pytest.approx(0.9, abs=4 * np.sqrt(0.09 / part.count))
        assert part.more <= 0
        assert part.study is not None
        assert part.study.level == pytest.approx(part.level)

    @pytest.mark.parametrize("days", [14, 30, 60])
    def test_reliability_is_recovered_within_its_bands(self, straight: tuple[Store, np.ndarray], days: int) -> None:
        part = speed_part(outcomes(straight[0], today=TODAY), days)
        assert part is not None
        assert part.unsold > 100
        # How often the bands hold the truth is measured over many (tests of the models, benchmarks/record.py); here
        # none of the bins may be off by more than twice its band, over three standard errors.
        assert all(one.sold is not None and abs(one.sold - one.forecast) < one.high - one.low for one in part.bins)
        assert part.parts is not None
        assert part.parts.reliability < 0.01 < part.parts.resolution

    def test_profit_of_what_ended_speaks_for_what_goes_on(self, straight: tuple[Store, np.ndarray]) -> None:
        part = profit_part(outcomes(straight[0], today=TODAY))
        assert part is not None
        assert part.going > 100
        assert abs(part.gap) < 4 * (part.high - part.low) / 2 / 1.645

    @pytest.mark.parametrize("by", ["category", "store", "evidence", "period"])
    def test_groups_add_up_to_all(self, straight: tuple[Store, np.ndarray], by: str) -> None:
        found = outcomes(straight[0], today=TODAY)
        whole = price_part(found)
        assert whole is not None
        assert sum(line.price.count for line in groups(found, by, 30) if line.price) == whole.count

    def test_nothing_is_offered(self, straight: tuple[Store, np.ndarray]) -> None:
        tried = offers(outcomes(straight[0], today=TODAY))
        assert (tried.offers, tried.tries) == ((), 8)


def test_a_known_bias_of_price_is_found_and_its_correction_offered(new_store: NewStore) -> None:
    store = new_store()
    fill(store, 2, 700, TODAY, Truth(bias=-0.15))
    (one,) = offers(outcomes(store, today=TODAY)).offers
    assert (one.kind, one.category) == ("price", "")
    assert abs(one.value + 0.15) < one.high - one.low
    assert one.gain_low > 0


def test_a_known_bias_of_pace_is_found_though_much_is_unsold(new_store: NewStore) -> None:
    store = new_store()
    fill(store, 3, 700, TODAY, Truth(pace=0.6))
    (one,) = offers(outcomes(store, today=TODAY)).offers
    assert (one.kind, one.category) == ("speed", "")
    assert abs(one.value - np.log(0.6)) < one.high - one.low


def test_a_bias_of_one_category_is_told_from_the_others(new_store: NewStore) -> None:
    store = new_store()
    fill(store, 4, 1200, TODAY, Truth(category_bias=(("toys", 0.3),)))
    found = {one.name: one.value for one in offers(outcomes(store, today=TODAY)).offers}
    assert found["price:toys"] + found.get("price:", 0.0) == pytest.approx(0.3, abs=0.08)


def test_users_without_a_bias_are_hardly_ever_offered_a_correction(new_store: NewStore) -> None:
    """At least 90 % of them; here of 20."""
    offered = 0
    for seed in range(20):
        store = new_store()
        fill(store, 100 + seed, 300, TODAY)
        offered += bool(offers(outcomes(store, today=TODAY)).offers)
        store.close()
    assert offered <= 2


def test_few_say_how_many_more_it_takes(new_store: NewStore) -> None:
    store = new_store()
    fill(store, 5, 20, TODAY)
    found = record(store, today=TODAY)
    assert found.price is not None
    assert found.price.more == 40 - found.price.count
    assert found.tried.lacking == LEAST_SALES - found.price.count
    assert found.tried.offers == ()


def test_nothing_known_is_no_error(new_store: NewStore) -> None:
    found = record(new_store())
    assert (found.pieces, found.price, found.speed, found.profit, found.passes) == (0, None, None, None, None)
    assert found.as_dict()["pieces"] == 0


def test_bad_requests_are_told(new_store: NewStore) -> None:
    with pytest.raises(BadInput, match="nothing to take it apart by"):
        record(new_store(), by="colour")
    with pytest.raises(BadInput, match="Nothing was forecast for 31 days"):
        record(new_store(), within=31)
    with pytest.raises(Refused, match="not offered"):
        accept(new_store(), "price:")


def test_a_piece_from_its_verdict_to_its_sale_and_return(new_store: NewStore) -> None:
    """By hand: forecast 70.00 in the middle, listed 2 March, sold 12 March for 77.00, back on 20 March."""
    store = new_store()
    answer = web_examples.verdict()
    number = haul.start(store, "Tannery Row")
    haul.take(store, history.record(store, answer), 1)
    bring(store, number)
    (item,) = shelf.find(store)
    found = outcomes(store, today=date(2030, 3, 1))
    assert (found.priced[0], found.timed[0], found.ended[0]) == (False, False, False)
    moves.list_(store, [item.id], D("80.00"), date(2030, 3, 2))
    found = outcomes(store, today=date(2030, 3, 7))
    assert (found.days[0], found.sold[0]) == (5, False)
    sales.sell(store, item.id, D("77.00"), date(2030, 3, 12), fees=D("10.00"), postage=D("7.00"))
    found = outcomes(store, today=date(2030, 4, 1))
    assert answer.sale_price is not None
    assert found.error[0] == pytest.approx(np.log(77 / float(answer.sale_price.mid)))
    assert (found.days[0], found.sold[0], found.left[0]) == (10, True, 59.25)  # and 0.75 of supplies by the terms
    sales.correct(store, item.id, fees=D("12.34"))
    assert outcomes(store, today=date(2030, 4, 1)).left[0] == pytest.approx(56.91)
    sales.take_back(store, item.id, D("77.00"), date(2030, 3, 20), D("5.00"))
    found = outcomes(store, today=date(2030, 4, 1))
    assert not found.ended[0]
    assert found.sold[0]  # a sale it was, whatever came after


def _forecast(store: Store, query: Query) -> Forecasts:
    fit, evidence = current_fit(store), gather(store, [query])
    assert fit is not None
    category = fold(evidence.items[0].category)
    deal = load_settings(store).for_category(category)
    return forecast_group(fit, category, [evidence.items[0]], [evidence.rows[0]], deal.terms, deal.rules)


def test_a_piece_bought_without_a_forecast_is_counted_apart(new_store: NewStore) -> None:
    store = new_store()
    number = haul.start(store, "Tannery Row")
    haul.take(store, history.record(store, web_examples.verdict()), 2)
    haul.take(store, history.record(store, replace(web_examples.unknown(), landed_cost=D("21.40"))), 1)
    bring(store, number)
    told = record(store)
    assert (told.pieces, told.going, told.blind) == (2, 2, 1)
    blind, *_ = shelf.find(store)
    assert blind.forecast.get("sale_price") is None
    sales.sell(store, blind.id, D("30.00"), date.today())
    assert (record(store).pieces, record(store).going) == (2, 2)
    sales.sell(store, 1, D("60.00"), date.today())
    assert (record(store).pieces, record(store).going, record(store).as_dict()["blind"]) == (2, 1, 1)


class TestCorrections:
    def test_accepted_it_moves_the_forecast_and_undone_it_is_as_before(
        self, sampled: Callable[..., Store], tmp_path
    ) -> None:  # type: ignore[no-untyped-def]
        store = sampled(tmp_path / "data.db")
        query = Query(
            code=store.read("SELECT style_code FROM product WHERE style_code <> '' AND id = root LIMIT 1")[0][0]
        )
        before, was = check(store, query), _forecast(store, query)
        price = corrected.accept(store, "price", "", float(np.log(0.9)), {}, "tap-one-0001")
        assert corrected.accept(store, "price", "", float(np.log(0.9)), {}, "tap-one-0001") == price
        after = check(store, query)
        assert before.sale_price is not None
        assert after.sale_price is not None
        assert float(after.sale_price.mid / before.sale_price.mid) == pytest.approx(0.9, abs=0.005)
        speed = corrected.accept(store, "speed", "", float(np.log(0.5)), {})
        now = _forecast(store, query)
        assert now.rate == pytest.approx(was.rate * 0.5)
        assert now.mean == pytest.approx(was.mean + np.log(0.9))
        corrected.undo(store, speed)
        corrected.undo(store, price)
        assert check(store, query).sold_within == before.sold_within
        assert check(store, query).sale_price == before.sale_price
        with pytest.raises(Refused, match="done already"):
            corrected.undo(store, price)
        with pytest.raises(NotFound):
            corrected.undo(store, 99)
        corrected.redo(store, price)
        assert current_fit(store).correction("anything")[0] == pytest.approx(np.log(0.9))  # type: ignore[union-attr]

    def test_what_has_been_put_right_is_not_found_again(self, new_store: NewStore) -> None:
        store = new_store()
        fill(store, 6, 700, TODAY, Truth(bias=-0.15))
        (one,) = offers(outcomes(store, today=TODAY)).offers
        number = corrected.accept(store, one.kind, one.category, one.value, one.as_dict())
        assert offers(outcomes(store, corrected.corrections(store), TODAY)).offers == ()
        corrected.undo(store, number)
        assert len(offers(outcomes(store, corrected.corrections(store), TODAY)).offers) == 1


def test_fees_and_postage_not_recorded_yet_count_as_the_terms_have_them(new_store: NewStore) -> None:
    store = new_store()
    number = haul.start(store, "Tannery Row")
    haul.take(store, history.record(store, web_examples.verdict()), 1)
    bring(store, number)
    (item,) = shelf.find(store)
    moves.list_(store, [item.id], D("80.00"), date(2030, 3, 2))
    sales.sell(store, item.id, D("77.00"), date(2030, 3, 12))
    terms = load_settings(store).for_category(item.category).terms
    net = D("77.00") - terms.fee(D("77.00")) - terms.postage - terms.supplies
    assert outcomes(store, today=date(2030, 4, 1)).left[0] == pytest.approx(float(net))
