"""What the comps table adds to the record: passes judged by later comps, and own sales that count more or not."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from decimal import Decimal as D
from pathlib import Path

import numpy as np
import pytest

from sourcing import history
from sourcing.answer import Query
from sourcing.check import check
from sourcing.evidence import gather
from sourcing.fitting import current_fit, fold
from sourcing.forecast import forecast_group
from sourcing.learning import learn
from sourcing.outcomes.mark import OWN
from sourcing.outcomes.words import own_words
from sourcing.record.passes import passes
from sourcing.settings import load_settings
from sourcing.storage import Store

_PAID, _STATUS, _NOTE = 3, 0, 12  # in rows of `lookup.COLUMNS_READ`


@pytest.fixture
def sample(sampled: Callable[[Path], Store], tmp_path: Path) -> Store:
    return sampled(tmp_path / "data.db")


def _codes(store: Store, count: int) -> list[str]:
    """Style codes with the most sales."""
    rows = store.read(
        "SELECT p.style_code FROM product p JOIN comp c ON c.product_id = p.id WHERE p.style_code <> '' "
        "AND p.id = p.root AND c.status = 1 AND c.listed IS NOT NULL GROUP BY p.id "
        "ORDER BY count(*) DESC, p.id LIMIT ?",
        (count,),
    )
    return [row[0] for row in rows]


def test_passes_are_judged_by_later_comps(sample: Store) -> None:
    fit = current_fit(sample)
    assert fit is not None
    then = datetime(1970, 1, 1, tzinfo=UTC) + timedelta(days=fit.as_of - 100)
    for code in _codes(sample, 12):
        verdict = check(sample, Query(code=code, shelf_price=D("500.00")))
        assert verdict.decision == "pass"
        history.record(sample, verdict, then)
    found = passes(sample)
    assert found is not None
    assert found.count >= 5
    assert found.count + found.unknown == 12
    # At 500.00 nothing was worth it, and what it would have brought is of the size of what was forecast.
    assert (found.worth, found.left_behind) == (0, 0.0)
    assert found.brought == pytest.approx(found.expected, rel=0.6)
    assert passes(sample) is found  # kept until something changes


def test_an_own_sale_moves_the_level_by_its_weight(sample: Store) -> None:
    fit, settings = current_fit(sample), load_settings(sample)
    assert fit is not None
    evidence = gather(sample, [Query(code=_codes(sample, 1)[0])])
    item, rows = evidence.items[0], [list(row) for row in evidence.rows[0]]
    category = fold(item.category)
    deal = settings.for_category(category)

    def level(weight: float, own: int) -> float:
        marked = [tuple(f"{OWN}1" if at == own and place == _NOTE else cell for place, cell in enumerate(row))
                  for at, row in enumerate(rows)]  # fmt: skip
        weighed = replace(fit, own={"weight": weight, "plain": weight, "styles": 9})
        found = forecast_group(weighed, category, [item], [marked], deal.terms, deal.rules)
        assert own_words(found.seen, weighed)[0] == "1 of its sales is your own."
        return float(found.mean[0])

    sold = [at for at, row in enumerate(rows) if row[_STATUS] == 1]
    by_price = sorted(sold, key=lambda at: rows[at][_PAID])
    dear, cheap = by_price[int(0.75 * len(sold))], by_price[int(0.25 * len(sold))]
    assert level(4.0, dear) > level(1.0, dear)
    assert level(4.0, cheap) < level(1.0, cheap)
    assert level(1.0, dear) == level(1.0, cheap)


def test_every_fit_learns_the_weight(sample: Store) -> None:
    rng = np.random.default_rng(3)
    rows = []
    for style in range(14):
        for at in range(10):
            own = at < 4
            price = 40 + style * 3
            paid = round(100 * price * float(np.exp(rng.normal(0, 0.08 if own else 0.35))))
            rows.append((
                style + 1, "Fellwander", "shoes", f"Ridge {style}", 1, None, paid, 0, 20_000 + at, 20_020 + at, None,
                "9", "new", "", f"{OWN}{at}" if own else "",
            ))  # fmt: skip
    found = learn(rows, lambda _share, _words: None)
    assert found is not None
    assert (found["own"]["styles"], found["own"]["sales"]) == (14, 56)
    assert found["own"]["weight"] > 1.3
    none = learn([(*row[:-1], "") for row in rows], lambda _share, _words: None)
    assert none is not None
    assert (none["own"]["weight"], none["own"]["plain"]) == (1.0, None)
