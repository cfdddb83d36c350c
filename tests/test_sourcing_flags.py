"""Flags of a piece from settings to verdict: what comps teach, what is claimed, and that nothing counts twice."""

from __future__ import annotations

import random
from dataclasses import replace
from datetime import date, timedelta
from decimal import Decimal
from pathlib import Path

import pytest

from sourcing import history
from sourcing.answer import Query, Verdict
from sourcing.check import check, check_list
from sourcing.comps import load_file
from sourcing.errors import BadInput
from sourcing.fitting import current_fit, keep_up, refit
from sourcing.flags.effects import FEWEST
from sourcing.flags.marked import read_flags
from sourcing.labour import Flag
from sourcing.settings import default_settings, load_settings, save_settings, undo_settings
from sourcing.storage import Store, open_store
from sourcing.tuning.past import past_fits

HEAD = "style_code,brand,category,title,condition,status,asking_price,sold_price,listed_on,ended_on,note\n"
FIRST = date(2026, 1, 1)
LESS = 0.75  # what a scuffed piece brings, of what a sound one does


def comps_file(path: Path, *, scuffed: float, styles: int = 40, each: int = 10, name: str = "scuffed") -> Path:
    """Write sales of styles of which ``each`` tenth row says it; HO100-001 alone is said to be so in every row."""
    draw = random.Random(7)
    lines = []
    for style in range(styles):
        level = draw.uniform(30, 80)
        for sale in range(each):
            said = sale % 5 == 0 or style == 1
            paid = level * draw.gauss(1.0, 0.06) * (scuffed if said else 1.0)
            listed = FIRST + timedelta(days=draw.randrange(200))
            title = f"Hollin trail shoe {style}, {name}" if said else f"Hollin trail shoe {style}"
            lines.append(
                f'HO100-{style:03},Hollin,shoes,"{title}",used,sold,{paid * 1.05:.2f},{paid:.2f},{listed},'
                f"{listed + timedelta(days=draw.randrange(5, 40))},\n"
            )
    path.write_text(HEAD + "".join(lines))
    return path


def opened(folder: Path, **kind: object) -> Store:
    store = open_store(str(folder / "data.sqlite3"))
    load_file(store, comps_file(folder / "comps.csv", **kind), name="comps.csv")  # type: ignore[arg-type]
    refit(store)
    return store


@pytest.fixture(scope="module")
def store(tmp_path_factory: pytest.TempPathFactory) -> Store:
    return opened(tmp_path_factory.mktemp("flags"), scuffed=LESS)


def asked(store: Store, *flags: str, style: int = 2, **more: object) -> Verdict:
    query = Query(code=f"HO100-{style:03}", shelf_price=Decimal(5), condition="used", flags=flags, **more)  # type: ignore[arg-type]
    return check(store, query)


def middle(verdict: Verdict) -> float:
    assert verdict.sale_price is not None
    return float(verdict.sale_price.mid)


def width(verdict: Verdict) -> float:
    assert verdict.sale_price is not None
    return float(verdict.sale_price.high / verdict.sale_price.low)


def test_a_flag_that_comps_show_moves_the_price_and_widens_the_interval(store: Store) -> None:
    plain, marked = asked(store), asked(store, "scuffed")
    assert middle(marked) / middle(plain) == pytest.approx(LESS, abs=0.03)
    assert width(marked) > width(plain)
    (note,) = marked.flags
    assert note.price_change == pytest.approx(LESS - 1, abs=0.03)
    assert note.low is not None
    assert note.high is not None
    assert note.low < LESS - 1 < note.high < 0
    assert note.comps == 39 * 2  # of the style that is said to be so in every row there is nothing like it
    assert "Price -2" in note.words
    assert plain.flags == ()


def test_its_minutes_and_supplies_are_added(store: Store) -> None:
    plain, marked = asked(store), asked(store, "price_ink")
    flag = load_settings(store).flags["price_ink"]
    assert [(one.name, one.minutes, one.supplies) for one in marked.flags] == [("price_ink", Decimal(3),
                                                                                Decimal("0.15"))]  # fmt: skip
    terms = load_settings(store).for_category("shoes").terms
    more = terms.flagged([flag])
    assert marked.expected_proceeds is not None
    assert plain.expected_proceeds is not None
    assert plain.expected_proceeds - marked.expected_proceeds == pytest.approx(flag.supplies, abs=Decimal("0.02"))
    for verdict, labour in ((plain, terms.labour()), (marked, more.labour())):
        assert verdict.profit_before_labour is not None
        assert verdict.profit_after_labour is not None
        cost = verdict.profit_before_labour - verdict.profit_after_labour
        assert cost == pytest.approx(labour, abs=Decimal("0.01"))
    assert more.labour() == pytest.approx(terms.labour() + flag.minutes / 60 * terms.hourly_value, abs=Decimal("0.02"))


def test_comps_that_say_it_themselves_are_not_lowered_twice(store: Store) -> None:
    """Every sale of style 1 was scuffed: a scuffed one brings what they brought, a sound one more."""
    plain, marked = asked(store, style=1), asked(store, "scuffed", style=1)
    paid = [float(comp.paid) for comp in marked.comps if comp.paid is not None]
    assert middle(marked) == pytest.approx(sum(paid) / len(paid), rel=0.04)
    assert middle(plain) == pytest.approx(middle(marked) / LESS, rel=0.05)
    # What is unsure of the effect matters only where the comps have to be moved.
    assert width(plain) > width(marked)


def test_what_too_few_comps_show_is_not_claimed(store: Store) -> None:
    plain, marked = asked(store), asked(store, "no_box")
    assert middle(marked) == middle(plain)
    assert width(marked) == width(plain)
    assert [one.words for one in marked.flags] == ["Your comps do not show what “no box” costs; price left as it is."]
    assert marked.flags[0].price_change is None


def test_no_effect_is_claimed_where_comps_show_none(tmp_path: Path) -> None:
    store = opened(tmp_path, scuffed=1.0)
    plain, marked = asked(store), asked(store, "scuffed")
    assert middle(marked) == middle(plain)
    (note,) = marked.flags
    assert note.price_change is None
    assert note.low is not None
    assert note.high is not None
    assert note.low < 0 < note.high
    assert "no clear effect" in note.words
    store.close()


def test_without_flags_the_engine_answers_as_if_there_were_none(tmp_path: Path) -> None:
    """Comps that name no flag: whether flags are set or not, the answers are the same to the cent."""
    store = opened(tmp_path, scuffed=LESS, name="moss")
    queries = [Query(code=f"HO100-{style:03}", shelf_price=Decimal(20)) for style in range(40)]
    before = [one.but({"fit_made_at": None}) for one in check_list(store, queries)]
    assert save_settings(store, replace(default_settings(), flags={}), "no flags at all")
    refit(store)
    fit = current_fit(store)
    assert fit is not None
    assert fit.flags == {}
    assert [one.but({"fit_made_at": None}) for one in check_list(store, queries)] == before
    store.close()


def test_a_condition_that_says_it_moves_the_price_once(tmp_path: Path) -> None:
    path = comps_file(tmp_path / "comps.csv", scuffed=LESS)
    text = path.read_text().replace(', scuffed",used', '","used, scuffed"')
    path.write_text(text)
    store = open_store(str(tmp_path / "data.sqlite3"))
    load_file(store, path, name="comps.csv")
    refit(store)
    by_flag = check(store, Query(code="HO100-002", condition="used", flags=("scuffed",)))
    by_condition = check(store, Query(code="HO100-002", condition="used, scuffed"))
    by_both = check(store, Query(code="HO100-002", condition="used, scuffed", flags=("scuffed",)))
    assert middle(by_both) == middle(by_condition)
    assert middle(by_flag) == pytest.approx(middle(by_condition), rel=0.03)
    assert "not moved twice" in by_both.flags[0].words
    store.close()


def test_what_is_set_aside_as_damaged_stays_so(tmp_path: Path) -> None:
    path = comps_file(tmp_path / "comps.csv", scuffed=LESS)
    broken = (
        'HO100-002,Hollin,shoes,"Hollin trail shoe 2, scuffed, for parts",used,sold,,12.00,2026-05-01,2026-05-09,\n'
    )
    path.write_text(path.read_text() + broken)
    store = open_store(str(tmp_path / "data.sqlite3"))
    load_file(store, path, name="comps.csv")
    refit(store)
    for flags in ((), ("scuffed",)):
        aside = [comp for comp in asked(store, *flags).comps if comp.set_aside]
        assert [comp.paid for comp in aside] == [Decimal("12.00")]
    store.close()


def test_other_words_are_learnt_anew(tmp_path: Path) -> None:
    store = opened(tmp_path, scuffed=LESS, name="heel worn")
    assert "do not show" in asked(store, "scuffed").flags[0].words
    settings = load_settings(store)
    worn = replace(settings.flags["scuffed"], words=("heel worn",))
    assert save_settings(store, replace(settings, flags={**settings.flags, "scuffed": worn}), "other words")
    assert "not been learnt yet" in asked(store, "scuffed").flags[0].words
    before = current_fit(store)
    keep_up(store)
    after = current_fit(store)
    assert before is not None
    assert after is not None
    assert before.made_at != after.made_at
    assert asked(store, "scuffed").flags[0].price_change == pytest.approx(LESS - 1, abs=0.03)
    keep_up(store)
    assert current_fit(store) is after
    assert undo_settings(store)
    minutes = replace(worn, words=settings.flags["scuffed"].words, clean_minutes=Decimal(9))
    assert not save_settings(store, replace(settings, flags={**settings.flags, "scuffed": minutes}), "only minutes")
    store.close()


def test_flags_are_read_by_name_or_label_each_once_in_order() -> None:
    settings = default_settings()
    assert read_flags(settings, ["Scuffed", "no box", "NO-BOX", "", "needs a battery test"]) == (
        "no_box", "scuffed", "battery_test"
    )  # fmt: skip


@pytest.mark.parametrize(
    ("typed", "hint"), [("no_bx", "The closest is “no_box”."), ("scufed", "“scuffed”"), ("zzz", "Known: price_ink, ")]
)
def test_an_unknown_flag_says_which_is_closest(typed: str, hint: str) -> None:
    with pytest.raises(BadInput) as caught:
        read_flags(default_settings(), [typed])
    assert typed in str(caught.value)
    assert hint in str(caught.value)
    assert caught.value.field == "flags"


def test_no_flag_at_all_is_said_so() -> None:
    with pytest.raises(BadInput, match="No flag is set"):
        read_flags(replace(default_settings(), flags={}), ["no_box"])


def test_flags_are_kept_and_a_past_check_outlives_its_flag(store: Store) -> None:
    number = history.record(store, asked(store, "no_box", "scuffed"))
    query, answer = history.get(store, number)
    assert query.flags == ("no_box", "scuffed")
    assert [one["name"] for one in answer["flags"]] == ["no_box", "scuffed"]
    gone = replace(default_settings(), flags={"scuffed": Flag("scuffed")})
    again = check(store, query, gone)
    assert [one.words for one in again.flags] == [
        "It is not among your flags any more.", "It has no words to look for in comps; price left as it is."
    ]  # fmt: skip


def test_fewest_is_what_the_docs_say() -> None:
    assert FEWEST == 5
    assert "from five such sales on" in (Path(__file__).parent.parent / "docs" / "method.md").read_text()


def test_a_fit_of_the_past_knows_flags_as_of_its_day(store: Store) -> None:
    """By the first sixty days few sales name it; by the last day all do. Other words, another fit."""
    origin = (FIRST - date(1970, 1, 1)).days
    days = (origin + 60, origin + 260)
    early, late = past_fits(store, days, lambda share, words: None).fits
    whole = current_fit(store)
    assert early is not None
    assert late is not None
    assert whole is not None
    marked = [fit.flags["scuffed"].effects["shoes"][2] for fit in (early, late)]
    assert 0 < marked[0] < marked[1]
    assert late.flags["scuffed"].mean == pytest.approx(whole.flags["scuffed"].mean, rel=1e-9)  # all was known by then
    settings = load_settings(store)
    save_settings(store, replace(settings, flags={"torn": Flag("torn", words=("torn",))}), "other words")
    try:
        (other,) = past_fits(store, days[1:], lambda share, words: None).fits
        assert other is not None
        assert set(other.flags) == {"torn"}
    finally:
        undo_settings(store)
