"""Fees by part, bracket, floor, cap, base and day: hand-worked receipts, and what holds of every schedule.

Rounding: each fee part, the returns, each step of labour and each line at the till is rounded half up to the cent by
itself; nothing else is rounded.
"""

from __future__ import annotations

from datetime import date
from decimal import Decimal
from typing import Any

import pytest
from hypothesis import given
from hypothesis import settings as run
from hypothesis import strategies as st

from sourcing.day import day_writer
from sourcing.errors import BadInput
from sourcing.fees import BASES, ITEM, TAXED, WAYS, WHOLE, Bracket, FeePart, one_fee
from sourcing.labour import Flag
from sourcing.purchase import Discounts
from sourcing.receipt import fee_note
from sourcing.settings import from_toml, to_toml
from sourcing.terms import Terms

D = Decimal
CENT = D("0.01")


def part(share: Any = "0.10", **rest: Any) -> FeePart:
    rows = [(0, share)] if isinstance(share, str) else share
    brackets = tuple(Bracket(*(D(str(value)) for value in row)) for row in rows)
    for name in ("least", "most", "fixed", "only"):
        if name in rest:
            rest[name] = D(rest[name])
    return FeePart(**{"fixed": D(0), "share": brackets, **rest})


TWO, JUMP = [(0, "0.12"), (1000, "0.02")], [(0, "0", "2.95"), (15, "0.20")]
STEPPED = [(0, "0.15"), (50, "0.10"), (200, "0.05")]


# part, shipping charged, buyer's tax, total, what it comes to; worked by hand.
@pytest.mark.parametrize(
    ("one", "shipping", "tax", "total", "charge"),
    [
        (part("0.13", fixed="0.30"), "0", "0", "50.00", "6.80"),
        (part("0.1325"), "0", "0", "20.06", "2.66"),  # 2.65795
        (part(most="4", fixed="0.30"), "0", "0", "50.00", "4.30"),  # the cap bounds the share alone
        (part(most="4", fixed="0.30"), "0", "0", "39.95", "4.30"),  # 3.995 + 0.30
        (part(most="4", fixed="0.30"), "0", "0", "39.94", "4.29"),  # 3.994 + 0.30
        (part("0.05", least="0.50"), "0", "0", "8.00", "0.50"),  # 0.40
        (part("0.05", least="0.50"), "0", "0", "10.00", "0.50"),
        (part("0.05", least="0.50"), "0", "0", "10.10", "0.51"),  # 0.505
        (part(TWO), "0", "0", "1200.00", "124.00"),  # 120 + 4
        (part(TWO), "0", "0", "1000.00", "120.00"),
        (part(TWO), "0", "0", "1000.50", "120.01"),
        (part(STEPPED), "0", "0", "250.00", "25.00"),  # 7.50 + 15 + 2.50
        (part(JUMP, by=WHOLE), "0", "0", "14.99", "2.95"),
        (part(JUMP, by=WHOLE), "0", "0", "15.00", "3.00"),  # the bracket begins at its amount
        (part(JUMP, by=WHOLE), "0", "0", "15.03", "3.01"),  # 3.006
        (part([(0, "0.10"), (100, "0.08")], by=WHOLE), "0", "0", "99.99", "10.00"),  # 9.999
        (part([(0, "0.10"), (100, "0.08")], by=WHOLE), "0", "0", "100.00", "8.00"),
        (part([(0, "0.10", 1), (100, "0.08", 2)], by=WHOLE), "0", "0", "150.00", "14.00"),  # 12 + 2
        (part([(0, "0.10", 1), (100, "0.05", 2)]), "0", "0", "150.00", "14.50"),  # 10 + 2.50 + 2
        (part(on=ITEM), "7.50", "0", "57.50", "5.00"),
        (part(on=ITEM), "7.50", "0", "5.00", "0.00"),  # shipping is more than all
        (part(on=ITEM, least="0.40"), "7.50", "0", "5.00", "0.40"),
        (part("0.03", on=TAXED), "0", "0.07", "50.00", "1.61"),  # 3 % of 53.50 is 1.605
        (part("0.029", on=TAXED, fixed="0.30"), "0", "0.0825", "64.99", "2.34"),  # 2.0402 + 0.30
        (part("0.05", on=ITEM, only="0.4"), "7.50", "0", "57.50", "1.00"),  # 2.50 on four in ten
        (part(only="0", fixed="0.30"), "0", "0", "50.00", "0.00"),
        (part(only="0.25", fixed="1.00"), "0", "0", "50.00", "1.50"),  # a quarter of 5 + 1
        (part("0.08", least="1", most="10"), "0", "0", "5.00", "1.00"),
        (part("0.08", least="1", most="10"), "0", "0", "60.00", "4.80"),
        (part("0.08", least="1", most="10"), "0", "0", "300.00", "10.00"),
        (part("0.13", fixed="0.30"), "0", "0", "0.00", "0.30"),
        (part("0.95"), "0", "0", "10.00", "9.50"),
        (part("0.0635"), "0", "0", "33.33", "2.12"),  # 2.116455
        (part([(0, "0.15"), (80, "0.12")], by=WHOLE, most="12"), "0", "0", "120.00", "12.00"),  # 14.40
        (part([(0, "0.15"), (80, "0.12")], by=WHOLE, most="12"), "0", "0", "79.99", "12.00"),  # 11.9985
        (part([(0, "0.02"), (100, "0.10")], least="5"), "0", "0", "100.00", "5.00"),  # 2
        (part([(0, "0.02"), (100, "0.10")], least="5"), "0", "0", "130.00", "5.00"),  # 2 + 3
        (part([(0, "0.02"), (100, "0.10")], least="5"), "0", "0", "150.00", "7.00"),  # 2 + 5
        (part([(0, "0.10"), (100, "0.05")], on=TAXED), "0", "0.10", "100.00", "10.50"),  # 10 + 0.50
    ],
)
def test_a_charge_by_hand(one: FeePart, shipping: str, tax: str, total: str, charge: str) -> None:
    shipped = D(shipping) or "you pay"
    terms = Terms(fees=(one,), shipping=shipped, buyer_tax=D(tax))
    assert terms.fee(D(total)) == D(charge)
    assert terms.receipt(D(total))[1].amount == -D(charge)


def test_a_whole_receipt_by_hand() -> None:
    """59.99 at 13 % and 0.30; returns 4 % of 8.90 and 8.9985; labour 0.30 + 0.45 + 0.75 + 0.30; bought at 30.00."""
    terms = Terms(postage=D("8.90"))
    amounts = [line.amount for line in terms.receipt(D("59.99"), D("30.00"))]
    assert amounts == [*map(D, ("59.99", "-8.10", "-8.90", "-0.75", "-0.72", "-0.30", "-0.45", "-0.75", "-0.30",
                                "-30.00", "9.72"))]  # fmt: skip


def test_a_receipt_with_everything_by_hand() -> None:
    terms = Terms(
        fees=(
            part(TWO, name="selling", on=ITEM, fixed="0.30"),
            part("0.03", name="payment", on=TAXED),
            part("0.05", name="promoted", on=ITEM, only="0.4"),
        ),
        shipping="same as postage", buyer_tax=D("0.07"), fees_refunded=D("0.5"), supplies=D("1.20"),
        purchase_tax=D("0.0825"), hourly_value=D(20), return_rate=D("0.05"), return_value_lost=D("0.2"),
        return_outward_lost=D(1),
    ).flagged([Flag("ink", clean_minutes=D(3), supplies=D("0.15"))])  # fmt: skip
    lines = terms.receipt(D("65.00"), D("40.00"), Discounts.parse("30% then 5.00"))
    assert [(line.label, line.amount) for line in lines] == [
        ("Buyer pays", D("65.00")),
        ("Fee: selling", D("-7.20")),  # 12 % of 57.50, and 0.30
        ("Fee: payment", D("-2.09")),  # 3 % of 69.55 is 2.0865
        ("Fee: promoted", D("-1.15")),  # 5 % of 57.50 is 2.875, on 40 % of sales
        ("Postage", D("-7.50")),
        ("Supplies", D("-1.35")),
        ("Expected returns", D("-1.66")),  # 5 % of 7.50 + 7.50 + 13.00 + half of 10.44
        ("Cleaning", D("-1.33")),  # 4 min at 20 an hour
        ("Photographing", D("-0.50")),
        ("Listing", D("-0.83")),
        ("Packing", D("-0.33")),
        ("Shelf price", D("-40.00")),
        ("Store discount 30\xa0%", D("12.00")),
        ("Store discount 5.00", D("5.00")),
        ("Purchase tax", D("-1.90")),  # 23.00 comes to 24.8975
        ("Left", D("16.16")),
    ]
    assert lines[1].how == "12\xa0% of 57.50 + 0.30 an order; charged on the item alone"
    assert "on 40\xa0% of sales" in lines[3].how
    for words in ("5\xa0% of sales", "20\xa0% of 65.00", "7.50 postage back", "outward", "5.22 of fees"):
        assert words in lines[6].how
    assert all(line.how for line in lines)


DATED = (
    "[channel.main.fees.2026-01-01.selling]\nshare = 0.10\n[channel.main.fees.2026-01-01.payment]\nshare = 0.03\n"
    'on = "total with tax"\n[channel.main.fees.2026-06-01.selling]\nshare = [[0, 0.12], [1000, 0.02]]\n'
)


@pytest.mark.parametrize(
    ("day", "fee", "since", "later"),
    [
        (date(2026, 5, 31), "13.00", date(2026, 1, 1), date(2026, 6, 1)),
        (date(2026, 6, 1), "12.00", date(2026, 6, 1), None),
        (date(2025, 12, 31), "13.00", date(2026, 1, 1), date(2026, 6, 1)),  # the only ones known
    ],
)
def test_the_schedule_in_force_on_a_day_counts(day: date, fee: str, since: date, later: date | None) -> None:
    terms = from_toml(DATED).for_category("shoes", day).terms
    assert terms.fee(D(100)) == D(fee)
    assert (terms.fees_since, terms.fees_next) == (since, later)
    assert f"as of {day_writer()(since)}" in fee_note(terms)
    assert (f"{day_writer()(date(2026, 6, 1))} on" in fee_note(terms)) == (later is not None)


def test_schedules_come_back_from_their_file() -> None:
    found = from_toml(DATED)
    assert from_toml(to_toml(found)) == found
    assert "[channel.main.fees.2026-06-01.selling]" in to_toml(found)


@pytest.mark.parametrize(
    ("text", "field", "words"),
    [
        ("[channel.main.fees.soon.selling]\nshare = 0.1", "fees", "A day such as 2026-01-31"),
        ("[channel.main.fees.2026-02-01.a]\nshare = 0.1\n[channel.main.fees.2026-01-01.a]\nshare = 0.1", "fees",
         "Days in order"),
        ("[channel.main]\nfee_rate = 0.1\n[channel.main.fees.2026-01-01.a]\nshare = 0.1", "fees", "twice: fee_rate"),
        ("[channel.main.fees.2026-01-01]", "fees", "name no part"),
        ("[channel.main.fees.2026-01-01.a]\nshare = 1.0", "share", "A share from 0 to 0.95"),
        ("[channel.main.fees.2026-01-01.a]\nshare = [[0, 0.1], [50, 0.2], [50, 0.3]]", "share", "none overlap"),
        ("[channel.main.fees.2026-01-01.a]\nshare = [[0, 0.1], [90, 0.2], [50, 0.3]]", "share", "none overlap"),
        ("[channel.main.fees.2026-01-01.a]\nshare = [[5, 0.1]]", "share", "brackets from 0 on"),
        ("[channel.main.fees.2026-01-01.a]\nshare = [[0, 0.1, -1]]", "share", "[[0, 0.1, -1]]"),
        ("[channel.main.fees.2026-01-01.a]\nleast = 5\nmost = 4", "least", "A floor not above the cap"),
        ("[channel.main.fees.2026-01-01.a]\non = 'tax'", "on", "One of item, item and shipping, total with tax"),
        ("[channel.main.fees.2026-01-01.a]\nfixed = -1", "fixed", "fixed is -1"),
        ("[channel.main.fees.2026-01-01.a]\nshares = 0.1", "shares", "The closest is “share”"),
        ("[channel.main.fees.2026-01-01.a]\nshare = 0.6\n[channel.main.fees.2026-01-01.b]\nshare = 0.39", "share",
         "take 99.6\xa0% of the price"),
        ("[channel.main.fees.2026-01-01.a]\nshare = [[0, 0.1], [50, 0.95]]\non = 'total with tax'\n"
         "[channel.main.fees.2026-01-01.b]\nshare = 0.04", "share", "above 50.00"),
        ("[channel.main]\nshipping = 'free'", "shipping", "One of you pay, same as postage, or an amount"),
        ("[default]\nchannel = 'main, other'", "channel", "sold on channel “other”"),
        ("[default]\nclean_minutes = -2", "clean_minutes", "from 0 to 1440"),
        ("[category.toys]\npacked_weight = 50000", "postage_table", "no postage for toys"),
        ("[parcel]\nzone_shares = [0.5, 0.4]", "zone_shares", "come to 1"),
        ("[parcel]\nzone_shares = [0.5, 0.5]", "zone_shares", "As many shares as prices"),
        ("[parcel]\npostage_table = [[500, 4, 5], [900, 6, 4]]", "postage_table", "prices not falling"),
    ],
)  # fmt: skip
def test_refused_at_the_field(text: str, field: str, words: str) -> None:
    with pytest.raises(BadInput) as caught:
        from_toml(text)
    assert caught.value.field == field
    assert words in str(caught.value)
    assert caught.value.next_step


def test_postage_is_averaged_over_the_zones() -> None:
    """0.6 x 4.90 + 0.3 x 6.15 + 0.1 x 9 = 5.685, half up."""
    text = "[parcel]\nzone_shares = [0.6, 0.3, 0.1]\npostage_table = [[500, 4.90, 6.15, 9], [90000, 9, 9, 9]]\n"
    found = from_toml(text + "[default]\npacked_weight = 300\n[category.toys]\npacked_weight = 501\n")
    assert found.for_category("").terms.postage == D("5.69")
    assert found.for_category("toys").terms.postage == 9
    assert from_toml(to_toml(found)) == found


def test_a_category_may_be_sold_on_several_channels() -> None:
    found = from_toml(
        "[channel.a]\nfee_rate = 0.1\n[channel.b]\nfee_rate = 0.2\n[default]\nchannel = 'B , a'\n[category]"
    )
    deal = found.for_category("")
    assert [terms.channel for terms in deal.channels] == ["b", "a"]
    assert deal.terms == deal.channels[0]


shares = st.decimals(0, "0.3", places=3)
brackets = st.lists(
    st.tuples(st.integers(1, 300), shares, st.sampled_from([D(0), D(0), D("1.50")])),
    max_size=2,
    unique_by=lambda row: row[0],
).flatmap(
    lambda rows: shares.map(lambda first: (Bracket(D(0), first), *(Bracket(D(a), b, c) for a, b, c in sorted(rows))))
)
amounts = st.none() | st.decimals(0, 20, places=2)
parts = st.builds(
    lambda share, by, bounds, fixed, on, only: FeePart(
        "x", share, by, *(sorted(bounds) if None not in bounds else bounds), fixed, on, only
    ),
    brackets, st.sampled_from(WAYS), st.tuples(amounts, amounts), st.decimals(0, 3, places=2), st.sampled_from(BASES),
    st.sampled_from([D(1), D(1), D("0.4"), D(0)]),
)  # fmt: skip
money = st.decimals(0, 500, places=2)
terms = st.builds(
    Terms,
    fees=st.lists(parts, min_size=1, max_size=3).map(tuple),
    shipping=st.sampled_from(["you pay", "same as postage", D("4.20")]),
    buyer_tax=st.decimals(0, "0.1", places=3),
    fees_refunded=st.decimals(0, 1, places=2),
    postage=st.decimals(0, 30, places=2),
    purchase_tax=st.decimals(0, "0.3", places=4),
    return_rate=st.decimals(0, "0.2", places=3),
    return_way_back=st.sampled_from(["you pay", "buyer pays"]),
    return_outward_lost=st.decimals(0, 1, places=1),
)


def plainly(one: FeePart, base: Decimal) -> Decimal:
    """Work a charge out as the words have it, without lines."""
    at = max(k for k, row in enumerate(one.share) if row.start <= base)
    if one.by == WHOLE:
        whole = one.share[at].share * base
    else:
        stops = [row.start for row in one.share[1 : at + 1]] + [base]
        whole = sum((row.share * (stop - row.start) for row, stop in zip(one.share, stops, strict=False)), D(0))
    whole += one.share[at].flat
    if one.least is not None:
        whole = max(whole, one.least)
    if one.most is not None:
        whole = min(whole, one.most)
    return (whole + one.fixed) * one.only


@run(max_examples=400, deadline=None)
@given(terms, money)
def test_lines_are_what_the_words_say(one: Terms, total: Decimal) -> None:
    for each in one.fees:
        base = each.base(total, one.shipping_charged, one.buyer_tax)
        assert abs(each.charge(base) - plainly(each, base)) <= CENT / 2
    line = [line for line in one.net_lines if line.start <= total][-1]
    off = abs(line.slope * total + line.fixed - one.net(total))
    # Half a cent for each rounded fee, which the cost of returns repeats by its share, and half for the returns.
    assert off <= CENT / 2 * (len(one.fees) * (1 + one.return_rate * (1 - one.fees_refunded)) + 1)


@run(max_examples=300, deadline=None)
@given(terms, money, st.none() | money)
def test_every_receipt_adds_up_exactly(one: Terms, total: Decimal, shelf: Decimal | None) -> None:
    *lines, left = one.receipt(total, shelf)
    assert sum(line.amount for line in lines) == left.amount
    spent = one.labour() + (one.landed(shelf) if shelf is not None else 0)
    assert left.amount == one.net(total) - spent
    assert all(line.amount == round(line.amount, 2) for line in lines)


@run(max_examples=300, deadline=None)
@given(terms, money, st.sampled_from(["share", "flat", "fixed", "least", "most", "another"]), st.integers(0, 200))
def test_a_higher_fee_never_leaves_more(one: Terms, total: Decimal, what: str, step: int) -> None:
    from dataclasses import replace

    first, *rest = one.fees
    if what == "another":
        dearer = (*one.fees, *one_fee(D(step) / 1000))
    else:
        changed: dict[str, Any] = {
            "share": tuple(row._replace(share=row.share + D(step) / 1000) for row in first.share),
            "flat": tuple(row._replace(flat=row.flat + D(step) / 100) for row in first.share),
            "fixed": first.fixed + D(step) / 100,
            "least": None if first.least is None else first.least + D(step) / 100,
            "most": None if first.most is None else first.most + D(step) / 100,
        }
        dearer = (replace(first, **{"share" if what == "flat" else what: changed[what]}), *rest)
    assert replace(one, fees=dearer).net(total) <= one.net(total)


@run(max_examples=300, deadline=None)
@given(terms, money, money, st.decimals("0.01", 50, places=2))
def test_profit_falls_with_the_shelf_price(one: Terms, total: Decimal, shelf: Decimal, more: Decimal) -> None:
    assert one.receipt(total, shelf + more)[-1].amount < one.receipt(total, shelf)[-1].amount


@run(max_examples=200, deadline=None)
@given(terms, st.decimals(0, 200, places=2))
def test_break_even_is_the_smallest_total_that_covers_everything(one: Terms, landed: Decimal) -> None:
    """Where fees jump with the whole amount, more paid may leave less, so smaller totals are looked at widely."""
    if any(line.slope <= D("0.01") for line in one.net_lines):
        return  # refused where settings are read
    total, need = one.break_even_sale(landed), landed + one.labour()
    assert one.net(total) >= need
    for less in [*range(1, 60), *range(100, int(total * 100), max(int(total), 37))]:
        if total - CENT * less >= 0:
            assert one.net(total - CENT * less) < need


def test_a_whole_amount_jump_is_looked_under() -> None:
    """10 % under 100 and 20 % from there on: 90 is left of 100 less a cent, 80 of 100; so 89 breaks even under it."""
    one = Terms(
        fees=(part([(0, "0.10"), (100, "0.20")], by=WHOLE),), postage=D(0), supplies=D(0), return_rate=D(0),
        hourly_value=D(0),
    )  # fmt: skip
    assert one.break_even_sale(D("89.00")) == D("98.89")  # 98.89 - 9.889 is 89.00
    assert one.break_even_sale(D("90.00")) == D("112.50")  # 99.99 leaves 89.99, and 80 % of 112.50 is 90.00
