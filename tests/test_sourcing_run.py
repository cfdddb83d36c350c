"""Runs: which checks belong, how quick they were, ending and undoing that, what is to prep; items checked before."""

from __future__ import annotations

import sys
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from pathlib import Path

import pytest
import sqlalchemy as sa
import web_examples
from alembic import command
from alembic.config import Config

from sourcing import again, haul, history, run
from sourcing.answer import Verdict
from sourcing.errors import BadInput, NotFound, Refused
from sourcing.settings import load_settings
from sourcing.storage import Store, migrate, open_store
from sourcing.storage.store import APPLICATION_ID

NOW = datetime.now(UTC)


@pytest.fixture(autouse=True)
def _now(monkeypatch: pytest.MonkeyPatch) -> None:
    """Let each test have its own now: the next second, as what starts now is kept to the second."""
    monkeypatch.setattr(sys.modules[__name__], "NOW", datetime.now(UTC).replace(microsecond=0) + timedelta(seconds=1))


@pytest.fixture
def store(new_store: Callable[[], Store]) -> Store:
    return new_store()


def shoe(price: str, decision: str = "pass", size: str = "9 US", gtin: str = "09521234567899") -> Verdict:
    like = {"buy": web_examples.verdict, "pass": web_examples.passing}.get(decision, web_examples.unknown)()
    query = replace(like.query, shelf_price=Decimal(price))
    item = web_examples.item(gtin=gtin, size=size)
    return like.but({"query": query, "shelf_price": Decimal(price), "item": item})


def checked(store: Store, verdict: Verdict, minutes: float) -> int:
    """Keep a check so many minutes after now."""
    return history.record(store, verdict, NOW + timedelta(minutes=minutes))


def said(store: Store, check_id: int, price: str) -> list[str]:
    at = {one.id: one.at for one in history.recent(store)}[check_id]
    return [again.words(one, at, Decimal(price), str) for one in again.earlier(store, check_id)]


class TestEarlier:
    def test_it_is_said_with_both_prices_newest_first(self, store: Store) -> None:
        day = 24 * 60
        checked(store, shoe("39.99"), -20 * day)
        checked(store, shoe("34.99"), -9 * day)
        mine = checked(store, shoe("32.00"), 0)
        assert said(store, mine, "32.00") == [
            "Passed at 34.99 nine days ago; 32.00 now.",
            "Passed at 39.99 20 days ago; 32.00 now.",
        ]

    def test_the_very_item_by_either_name_and_no_other_size(self, store: Store) -> None:
        by_code = checked(store, shoe("34.99"), -90)
        checked(store, shoe("34.99", gtin="09521234567882", size=""), -80)  # the same style under another code
        checked(store, shoe("34.99", gtin="", size="10 US"), -70)
        by_style = checked(store, shoe("34.99", gtin="", size="9  us"), -60)
        assert [one.id for one in again.earlier(store, checked(store, shoe("30.00"), 0))] == [by_style, by_code]
        typed = checked(store, shoe("30.00", gtin="", size="9 US"), 30)
        assert len(again.earlier(store, typed)) == 3

    def test_another_item_is_not_recognised(self, store: Store) -> None:
        other = shoe("30.00", gtin="").but({"item": web_examples.item(gtin="", style_code="FWR1043")})
        checked(store, other, -60)
        assert again.earlier(store, checked(store, shoe("30.00"), 0)) == []
        assert again.earlier(store, 99) == []

    def test_a_correction_is_no_repeat_but_what_came_before_it_is(self, store: Store) -> None:
        old = checked(store, shoe("34.99"), -60)
        checked(store, shoe("3.29"), -3)
        checked(store, shoe("32.90"), -1.5)
        assert [one.id for one in again.earlier(store, checked(store, shoe("32.00"), 0))] == [old]

    def test_one_whose_piece_was_taken_was_no_mistake(self, store: Store) -> None:
        first = checked(store, shoe("20.00", "buy"), -1)
        assert again.earlier(store, checked(store, shoe("20.00", "buy"), -0.5)) == []
        haul.take(store, first, 2)
        assert said(store, checked(store, shoe("20.00", "buy"), 0), "20.00") == [
            "Taken at 20.00 one minute ago; the same price now."
        ]

    def test_a_run_that_ended_between_separates(self, store: Store) -> None:
        haul.start(store, "Tannery Row")
        now = datetime.now(UTC)
        one = history.record(store, shoe("20.00"), now - timedelta(seconds=30))
        haul.close(store)
        two = history.record(store, shoe("21.00"), now + timedelta(seconds=30))
        assert [found.id for found in again.earlier(store, two)] == [one]

    @pytest.mark.parametrize(
        ("decision", "price", "now", "words"),
        [
            ("buy", "12.00", "11.00", "A buy at 12.00 yesterday, not taken; 11.00 now."),
            ("too little to go on", "12.00", "12.00", "Too little to go on at 12.00 yesterday; the same price now."),
            ("pass", None, "12.00", "Passed, with no price, yesterday; 12.00 now."),
            ("pass", "12.00", None, "Passed at 12.00 yesterday."),
        ],
    )
    def test_words(self, decision: str, price: str | None, now: str | None, words: str) -> None:
        noon = NOW.astimezone().replace(hour=12)
        one = again.Earlier(1, noon - timedelta(days=1), decision, None if price is None else Decimal(price), 0)
        assert again.words(one, noon, None if now is None else Decimal(now), str) == words

    @pytest.mark.parametrize(
        ("back", "words"),
        [
            (timedelta(seconds=-5), "a moment ago"),  # a clock put right meanwhile
            (timedelta(minutes=1), "one minute ago"),
            (timedelta(minutes=59), "59 minutes ago"),
            (timedelta(hours=1), "one hour ago"),
            (timedelta(hours=13), "yesterday"),
            (timedelta(days=12), "twelve days ago"),
            (timedelta(days=13), "13 days ago"),
        ],
    )
    def test_ago_by_the_days_of_the_calendar(self, back: timedelta, words: str) -> None:
        noon = NOW.astimezone().replace(hour=12, minute=30)
        assert again.ago(noon - back, noon) == words


class TestRun:
    def test_what_was_checked_how_quickly_and_what_came_of_it(self, store: Store) -> None:
        checked(store, shoe("9.00", gtin="09521234567882"), -5)  # before the run
        haul.start(store, "Tannery Row")
        for at, (price, decision) in enumerate([("44.00", "pass"), ("20.00", "buy"), ("30.00", "pass"), ("9", "?")]):
            checked(store, shoe(price, decision, gtin=f"0952123450{at:04}"), 3 + 2 * at)
        found = run.open_run(store)
        assert found is not None
        assert (len(found.checks), found.buys, found.passes, found.unsure) == (4, 1, 2, 1)
        assert found.per_minute == pytest.approx(0.5)
        assert [one.too_dear_by for one in found.best_passes] == [Decimal("1.60"), Decimal("15.60")]
        checked(store, shoe("31.00", "pass", gtin="09521234500002"), 15)  # the nearest one once more, dearer
        again = run.open_run(store)
        assert again is not None
        assert [one.too_dear_by for one in again.best_passes] == [Decimal("1.60"), Decimal("15.60")]
        assert again.passes == 3

    def test_mended_checks_count_once_with_their_last_answer(self, store: Store) -> None:
        haul.start(store)
        checked(store, shoe("2.00", "buy"), 1)
        checked(store, shoe("44.00"), 2)
        checked(store, shoe("44.00"), 20)  # met again
        found = run.open_run(store)
        assert found is not None
        assert (found.buys, found.passes) == (0, 2)

    def test_a_check_whose_piece_was_taken_is_not_mended(self, store: Store) -> None:
        haul.start(store)
        haul.take(store, checked(store, shoe("20.00", "buy"), 1))
        checked(store, shoe("44.00"), 2)
        found = run.open_run(store)
        assert found is not None
        assert (found.buys, found.passes) == (1, 1)

    def test_the_first_check_belongs_though_taking_it_started_the_run(self, store: Store) -> None:
        haul.take(store, checked(store, shoe("20.00", "buy"), -3))
        found = run.open_run(store)
        assert found is not None
        assert (found.buys, found.per_minute) == (1, None)

    def test_none_is_open(self, store: Store) -> None:
        assert run.open_run(store) is None
        with pytest.raises(NotFound, match="7"):
            run.get(store, 7)
        with pytest.raises(NotFound):
            run.end(store, 7)
        with pytest.raises(NotFound):
            run.reopen(store, 7)

    def test_ending_and_its_undo_are_exact(self, store: Store) -> None:
        number = haul.start(store, "Tannery Row")
        haul.take(store, checked(store, shoe("20.00", "buy"), 0))
        before = run.get(store, number), haul.current(store)
        run.end(store, number)
        once = run.get(store, number)
        run.end(store, number)
        assert run.get(store, number) == once
        assert once.ended_at is not None
        assert haul.current(store).id is None
        assert haul.view(store, number) == before[1]
        run.reopen(store, number)
        assert (run.get(store, number), haul.current(store)) == before

    def test_a_run_opened_again_takes_the_place_of_an_empty_one_only(self, store: Store) -> None:
        first = haul.start(store, "Tannery Row")
        check_id = checked(store, shoe("20.00", "buy"), 0)
        haul.take(store, check_id)
        second = haul.start(store, "Quay")
        run.reopen(store, first)
        assert haul.current(store).id == first
        with pytest.raises(Refused, match="Tannery Row"):
            run.reopen(store, second)

    def test_reopening_beside_one_that_holds_something_is_refused(self, store: Store) -> None:
        first = haul.start(store, "Tannery Row")
        run.end(store, first)
        haul.start(store, "Quay")
        haul.take(store, checked(store, shoe("20.00", "buy"), 0))
        with pytest.raises(Refused, match="Quay"):
            run.reopen(store, first)
        assert haul.current(store).store == "Quay"

    def test_names_used_before_are_offered_once_the_last_first(self, store: Store) -> None:
        for name in ("Quay", "Tannery Row", "", "quay"):
            haul.start(store, name)
        assert run.stores(store) == ["quay", "Tannery Row"]

    def test_ended_runs_leave_out_what_held_nothing(self, store: Store) -> None:
        full = haul.start(store, "Tannery Row")
        haul.take(store, checked(store, shoe("20.00", "buy"), 0))
        haul.start(store, "Quay")
        haul.close(store)
        assert full in [number for number, _, _ in run.ended(store)]


class TestPrep:
    def test_by_line_step_and_flag(self, store: Store) -> None:
        settings = load_settings(store)
        terms, flag = settings.for_category("shoes").terms, settings.flags["no_box"]
        plain = checked(store, shoe("20.00", "buy"), 0)
        boxless = shoe("21.00", "buy").but({"item": web_examples.item(flags=("no_box",))})
        haul.take(store, plain)
        haul.undo(store, haul.take(store, plain, 5))
        haul.take(store, checked(store, boxless, 10), 3)
        view = haul.current(store)
        assert view.id is not None
        found = run.to_prep(store, view.id)
        assert [(one.count, one.about[-1]) for one in found.lines] == [(3, flag.shown), (1, view.items[-1].about[-1])]
        assert sum(one.minutes for one in found.lines) == sum(found.steps.values()) == view.prep_minutes
        assert found.flags == {flag.shown: 3 * flag.minutes}
        assert found.steps["pack"] == 4 * terms.pack_minutes + 3 * flag.pack_minutes


class TestCount:
    def test_a_line_is_counted_anew_and_back(self, store: Store) -> None:
        line = haul.take(store, checked(store, shoe("20.00", "buy"), 0), 2)
        assert haul.recount(store, line, 5) == 2
        assert haul.recount(store, line, 5) == 5
        assert haul.current(store).pieces == 5
        haul.recount(store, line, 2)
        assert haul.current(store).pieces == 2
        for wrong in (0, 1000):
            with pytest.raises(BadInput, match=str(wrong)):
                haul.recount(store, line, wrong)

    def test_an_ended_run_keeps_its_counts(self, store: Store) -> None:
        line = haul.take(store, checked(store, shoe("20.00", "buy"), 0), 2)
        haul.close(store)
        with pytest.raises(Refused, match="closed"):
            haul.recount(store, line, 3)
        with pytest.raises(NotFound):
            haul.recount(store, line + 9, 3)


def test_checks_kept_by_an_earlier_version_are_recognised(new_store: Callable[[], Store], tmp_path: Path) -> None:
    """The columns that say what a check was about are filled when the file is first opened."""
    now = new_store()
    old = history.record(now, shoe("34.99"), NOW - timedelta(days=9))
    path = tmp_path / "data.db"
    config = Config()
    config.set_main_option("script_location", str(Path(migrate.__file__).parent / "migrations"))
    with sa.create_engine(f"sqlite:///{path}").begin() as connection:
        config.attributes["connection"] = connection
        command.upgrade(config, "0006")
        connection.exec_driver_sql(f"PRAGMA application_id={APPLICATION_ID}")
        names = [name for _, name, *_ in connection.exec_driver_sql("PRAGMA table_info(checked)")]
        assert "style_size" not in names
        (row,) = now.read(f"SELECT {', '.join(names)} FROM checked")
        marks = ", ".join("?" * len(names))
        connection.exec_driver_sql(f"INSERT INTO checked ({', '.join(names)}) VALUES ({marks})", row)
    store = open_store(str(path))
    mine = history.record(store, shoe("32.00"), NOW)
    assert [one.id for one in again.earlier(store, mine)] == [old]
