"""The stopwatch of a batch: pauses, midnight, daylight saving, clocks set back, forgotten watches, undo; the learnt."""

from __future__ import annotations

import shutil
import time
from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from decimal import Decimal as D
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
import web_examples
from hypothesis import given
from hypothesis import strategies as st

from sourcing import haul, history
from sourcing.errors import BadInput, NotFound, Refused, SourcingError
from sourcing.labour import Learnt
from sourcing.prep import clock as clocks
from sourcing.prep import watch
from sourcing.prep.batch import FINISHED, LEFT_OUT, PAUSED, RUNNING, Batch, Kind, Tap, in_words, told
from sourcing.prep.clock import Reading, between
from sourcing.prep.learnt import learn_from
from sourcing.prep.pace import beside, paces
from sourcing.settings import default_settings, load_settings, save_settings, undo_settings
from sourcing.settings_edit import with_values
from sourcing.stock.bring import bring
from sourcing.storage import Store, open_store

NOON = datetime(2026, 11, 20, 12, 0, tzinfo=UTC)


class Hands:
    """A clock that is moved by hand: the wall's may be set, the steady one only runs on."""

    def __init__(self, at: datetime = NOON) -> None:
        self.wall, self.steady, self.boot = at, 1000.0, "first"

    def __call__(self) -> Reading:
        return Reading(self.wall, self.steady, self.boot)

    def pass_(self, minutes: float) -> None:
        self.wall += timedelta(minutes=minutes)
        self.steady += 60 * minutes

    def restart(self) -> None:
        """Start the machine anew."""
        self.steady, self.boot = 5.0, f"{self.boot}+"


@pytest.fixture
def store(empty: Path, tmp_path: Path) -> Iterator[Store]:
    shutil.copy(empty, tmp_path / "comps.db")
    store = open_store(str(tmp_path / "comps.db"))
    store.read("PRAGMA synchronous=OFF")
    yield store
    store.close()


@pytest.fixture
def hands() -> Hands:
    return Hands()


class TestTime:
    def test_pauses_do_not_count(self, store: Store, hands: Hands) -> None:
        number = watch.start(store, "photograph", category="shoes", clock=hands)
        hands.pass_(20)
        watch.pause(store, number, clock=hands)
        hands.pass_(300)
        watch.resume(store, number, clock=hands)
        hands.pass_(10)
        batch = watch.finish(store, number, 12, clock=hands)
        assert (batch.state, batch.minutes, batch.pieces) == (FINISHED, pytest.approx(30), 12)
        assert batch.per_hour == pytest.approx(24)
        assert batch.done == (Kind("shoes", (), 12),)

    def test_over_midnight(self, store: Store) -> None:
        hands = Hands(datetime(2026, 12, 31, 23, 50, tzinfo=UTC))
        number = watch.start(store, "list", clock=hands)
        hands.pass_(5)
        watch.pause(store, number, clock=hands)
        hands.pass_(30)  # paused over midnight and the year
        watch.resume(store, number, clock=hands)
        hands.pass_(15)
        batch = watch.finish(store, number, 5, clock=hands)
        assert batch.minutes == pytest.approx(20)
        assert batch.ended == datetime(2027, 1, 1, 0, 40, tzinfo=UTC)

    @pytest.mark.parametrize(("day", "shift"), [(datetime(2026, 3, 29, 1, 30), 1), (datetime(2026, 10, 25, 1, 30), -1)])
    def test_daylight_saving(self, store: Store, day: datetime, shift: int) -> None:
        """The wall's hands jump an hour forward or back in the middle of a batch; an hour and a half is one."""
        began = day.replace(tzinfo=ZoneInfo("Europe/Berlin"))
        ended = (began.astimezone(UTC) + timedelta(minutes=90)).astimezone(began.tzinfo)
        assert ended.replace(tzinfo=None) - day == timedelta(minutes=90 + 60 * shift)
        hands = Hands(began.astimezone(UTC))
        hands.boot = ""  # only the wall's clock is there
        number = watch.start(store, "clean", clock=hands)
        hands.wall = ended.astimezone(UTC)
        assert watch.finish(store, number, 60, clock=hands).minutes == pytest.approx(90)

    def test_a_clock_set_back_makes_no_difference_where_another_runs_on(self, store: Store, hands: Hands) -> None:
        number = watch.start(store, "clean", clock=hands)
        hands.pass_(25)
        hands.wall -= timedelta(hours=3)
        assert watch.finish(store, number, 9, clock=hands).minutes == pytest.approx(25)

    def test_set_back_with_nothing_else_to_go_by_it_is_asked(self, store: Store, hands: Hands) -> None:
        number = watch.start(store, "clean", clock=hands)
        hands.restart()
        hands.wall -= timedelta(hours=1)
        assert watch.get(store, number, clock=hands).forgotten
        with pytest.raises(BadInput, match="clock was set back") as caught:
            watch.finish(store, number, 9, clock=hands)
        assert caught.value.field == "minutes"
        batch = watch.finish(store, number, 9, minutes=D("31.5"), clock=hands)
        assert (batch.minutes, batch.typed, batch.unsure) == (31.5, True, False)

    def test_the_machine_is_started_again_meanwhile(self, store: Store, hands: Hands, tmp_path: Path) -> None:
        number = watch.start(store, "clean", clock=hands)
        hands.pass_(10)
        hands.restart()
        hands.wall += timedelta(minutes=7)
        store.close()
        again = open_store(str(tmp_path / "comps.db"))
        assert watch.running(again, clock=hands)[0].minutes == pytest.approx(17)
        assert watch.finish(again, number, 5, clock=hands).minutes == pytest.approx(17)

    def test_two_batches_at_once_do_not_mix(self, store: Store, hands: Hands) -> None:
        first = watch.start(store, "clean", clock=hands)
        hands.pass_(10)
        second = watch.start(store, "photograph", clock=hands)
        hands.pass_(10)
        watch.pause(store, first, clock=hands)
        hands.pass_(10)
        assert [(one.id, one.state, round(one.minutes)) for one in watch.running(store, clock=hands)] == [
            (first, PAUSED, 20), (second, RUNNING, 20),
        ]  # fmt: skip
        assert watch.finish(store, second, 4, clock=hands).minutes == pytest.approx(20)
        assert [one.id for one in watch.running(store, clock=hands)] == [first]

    def test_the_real_clocks_run_on(self) -> None:
        first = clocks.now()
        time.sleep(0.01)
        passed = between(first, clocks.now())
        assert passed is not None
        assert 0.005 < passed < 5

    @given(st.lists(st.tuples(st.floats(0.1, 50), st.floats(0.1, 500)), min_size=1, max_size=6))
    def test_any_pauses_add_up(self, spans: list[tuple[float, float]]) -> None:
        hands = Hands()
        taps = []
        for at, (work, rest) in enumerate(spans):
            taps.append(Tap(2 * at, "resume" if at else "start", hands(), {}))
            hands.pass_(work)
            taps.append(Tap(2 * at + 1, "pause", hands(), {}))
            hands.pass_(rest)
        batch = told(1, "pack", "{}", taps, hands())
        assert batch.minutes == pytest.approx(sum(work for work, _ in spans), abs=1e-4)
        assert (batch.state, batch.stretch) == (PAUSED, 0)


class TestForgotten:
    def test_it_is_asked_about_and_not_counted(self, store: Store, hands: Hands) -> None:
        number = watch.start(store, "photograph", category="shoes", clock=hands)
        hands.pass_(9 * 60 + 12)
        assert watch.running(store, clock=hands)[0].forgotten
        with pytest.raises(BadInput, match="9 h 12 min without a pause") as caught:
            watch.finish(store, number, 12, clock=hands)
        assert caught.value.field == "minutes"
        assert watch.running(store, clock=hands)[0].state == RUNNING  # nothing was counted
        assert watch.finish(store, number, 12, minutes=D(25), clock=hands).minutes == 25

    def test_paused_at_last_it_is_asked_about_all_the_same(self, store: Store, hands: Hands) -> None:
        number = watch.start(store, "photograph", clock=hands)
        hands.pass_(500)
        watch.pause(store, number, clock=hands)
        with pytest.raises(BadInput, match="8 h 20 min"):
            watch.finish(store, number, 300, clock=hands)

    def test_all_of_it_was_work(self, store: Store, hands: Hands) -> None:
        number = watch.start(store, "photograph", clock=hands)
        hands.pass_(130)
        watch.still(store, number, clock=hands)
        assert not watch.get(store, number, clock=hands).forgotten
        hands.pass_(10)
        assert watch.finish(store, number, 90, clock=hands).minutes == pytest.approx(140)

    def test_far_more_than_usual_is_asked_about_too(self, store: Store, hands: Hands) -> None:
        number = watch.start(store, "photograph", category="shoes", clock=hands)  # 1.5 minutes a pair by the settings
        hands.pass_(50)
        with pytest.raises(BadInput, match="about 3 min would be usual"):
            watch.finish(store, number, 2, clock=hands)
        assert watch.finish(store, number, 2, as_is=True, clock=hands).minutes == pytest.approx(50)

    def test_left_out_it_counts_for_nothing(self, store: Store, hands: Hands) -> None:
        number = watch.start(store, "photograph", clock=hands)
        hands.pass_(500)
        watch.leave_out(store, number, clock=hands)
        assert watch.finished(store)[0].state == LEFT_OUT
        assert load_settings(store).learnt == Learnt()
        assert paces(watch.finished(store)) == {}


class TestUndo:
    def test_each_tap_is_taken_back_and_done_again(self, store: Store, hands: Hands) -> None:
        number = watch.start(store, "list", clock=hands)
        hands.pass_(5)
        watch.pause(store, number, clock=hands)
        hands.pass_(5)
        watch.finish(store, number, 4, clock=hands)
        states = [watch.get(store, number, clock=hands)]
        for expected in (PAUSED, RUNNING):
            watch.undo(store, number)
            states.append(watch.get(store, number, clock=hands))
            assert states[-1].state == expected
        assert states[-1].minutes == pytest.approx(10)  # the pause is undone: it ran on
        assert watch.undo(store, number) == "start"
        with pytest.raises(NotFound, match=f"no batch number {number}"):
            watch.get(store, number)
        with pytest.raises(NotFound, match="Nothing of this batch is left to undo"):
            watch.undo(store, number)
        for before in (states[2], states[1], states[0]):
            watch.redo(store, number)
            assert watch.get(store, number, clock=hands) == before
        with pytest.raises(NotFound, match="left to do again"):
            watch.redo(store, number)

    def test_what_was_undone_does_not_come_back_over_something_new(self, store: Store, hands: Hands) -> None:
        number = watch.start(store, "list", clock=hands)
        watch.pause(store, number, clock=hands)
        watch.undo(store, number)
        hands.pass_(3)
        watch.finish(store, number, 2, clock=hands)
        with pytest.raises(NotFound, match="left to do again"):
            watch.redo(store, number)

    def test_a_tap_sent_twice_acts_once(self, store: Store, hands: Hands) -> None:
        number = watch.start(store, "list", client_id="a", clock=hands)
        assert watch.start(store, "list", client_id="a", clock=hands) == number
        watch.pause(store, number, "b", hands)
        watch.pause(store, number, "b", hands)
        hands.pass_(4)
        watch.finish(store, number, 2, client_id="c", as_is=True, clock=hands)
        watch.finish(store, number, 2, client_id="c", clock=hands)
        assert len(watch.get(store, number).taps) == 3

    def test_put_right(self, store: Store, hands: Hands) -> None:
        number = watch.start(store, "list", category="toys", clock=hands)
        hands.pass_(20)
        watch.finish(store, number, 10, clock=hands)
        watch.correct(store, number, pieces=8)
        assert (watch.get(store, number).pieces, watch.get(store, number).minutes) == (8, pytest.approx(20))
        watch.correct(store, number, minutes=D(16))
        batch = watch.get(store, number)
        assert (batch.pieces, batch.minutes, batch.category) == (8, 16, "toys")
        watch.undo(store, number)
        watch.undo(store, number)
        assert watch.get(store, number).pieces == 10


def _wrong(store: Store, hands: Hands) -> int:
    number = watch.start(store, "list", clock=hands)
    hands.pass_(10)
    return number


@pytest.mark.parametrize(
    ("call", "message", "kind"),
    [
        (lambda s, n: watch.start(s, "iron"), "“iron” is no step", BadInput),
        (lambda s, n: watch.start(s, "list", flags=["no such"]), "There is no flag", BadInput),
        (lambda s, n: watch.start(s, "list", items=[99]), "no piece number 99", NotFound),
        (lambda s, n: watch.finish(s, n), "No piece was done", BadInput),
        (lambda s, n: watch.finish(s, n, 0), "No piece was done", BadInput),
        (lambda s, n: watch.finish(s, n, 10_001), "10001 pieces in one batch", BadInput),
        (lambda s, n: watch.finish(s, n, 3, minutes=D(0)), "0 minutes", BadInput),
        (lambda s, n: watch.finish(s, n, 3, minutes=D(1441)), "1441 minutes", BadInput),
        (lambda s, n: watch.finish(s, 77, 3), "no batch number 77", NotFound),
        (lambda s, n: watch.resume(s, n), "is running and cannot run on", Refused),
        (lambda s, n: watch.correct(s, n, pieces=3), "is running and cannot be put right", Refused),
    ],
)
def test_bad_input_has_a_message(store: Store, hands: Hands, call: object, message: str, kind: type) -> None:
    number = _wrong(store, hands)
    with pytest.raises(SourcingError, match=message) as caught:
        call(store, number)  # type: ignore[operator]
    assert type(caught.value) is kind
    assert watch.get(store, number, clock=hands).state == RUNNING


def test_pieces_of_stock_know_their_category_and_flags(store: Store, hands: Hands) -> None:
    number = haul.start(store, "Tannery Row")
    haul.take(store, history.record(store, web_examples.verdict()), 3)
    bring(store, number)
    items = [row[0] for row in store.read("SELECT id FROM stock_item")]
    store.read("UPDATE stock_item SET flags = '[\"no_box\"]' WHERE id = ?", (items[0],))
    number = watch.start(store, "pack", items=items, clock=hands)
    hands.pass_(9)
    batch = watch.finish(store, number, items=items[:2], clock=hands)
    assert set(batch.done) == {Kind("shoes", ("no_box",), 1), Kind("shoes", (), 1)}
    assert batch.items == tuple(items[:2])


def _batch(number: int, minutes: float, pieces: int, step: str = "photograph", category: str = "shoes") -> Batch:
    at = NOON + timedelta(days=number)
    return Batch(
        number, step, FINISHED, category, (), (), "", at, at, minutes, 0.0, False, False, (Kind(category, (), pieces),)
    )


class TestLearnt:
    def test_it_takes_the_place_of_the_settings_and_gives_it_back(self, store: Store, hands: Hands) -> None:
        assert load_settings(store).for_category("shoes").terms.photograph_minutes == D("1.5")
        for at in range(8):
            number = watch.start(store, "photograph", category="shoes", clock=hands)
            hands.pass_(38 + at)
            watch.finish(store, number, 12, clock=hands)
            kept = load_settings(store).for_category("shoes").terms
            if at < 2:
                assert (kept.photograph_minutes, kept.learnt_steps) == (D("1.5"), ())
        assert kept.photograph_minutes == pytest.approx(D("3.4"), abs=D("0.2"))
        assert kept.learnt_steps == (("photograph", 8),)
        lines = {line.label: line.how for line in kept.receipt(D(60))}
        assert "learnt from 8 batches of yours" in lines["Photographing"]
        assert "learnt" not in lines["Listing"]
        # Other categories were never timed, so theirs stay.
        assert load_settings(store).for_category("games").terms.learnt_steps == ()
        # Switched off, and on again by undoing that.
        now = load_settings(store)
        save_settings(store, with_values(now, [("default", "", {**now.default, "learn_minutes": "no"})]), "off")
        assert load_settings(store).for_category("shoes").terms.photograph_minutes == D("1.5")
        undo_settings(store)
        assert load_settings(store).for_category("shoes").terms.learnt_steps == (("photograph", 8),)
        # A batch undone teaches nothing.
        for done in range(number, number - 6, -1):
            watch.undo(store, done)
        assert load_settings(store).for_category("shoes").terms.photograph_minutes == D("1.5")

    def test_a_change_elsewhere_in_the_settings_keeps_it(self, store: Store, hands: Hands) -> None:
        for _ in range(6):
            number = watch.start(store, "list", category="toys", clock=hands)
            hands.pass_(30)
            watch.finish(store, number, 6, clock=hands)
        now = load_settings(store)
        assert with_values(now, [("haul", "", {"cash": D(9)})]).for_category("toys") == now.for_category("toys")

    def test_flags_learn_their_own_minutes(self) -> None:
        kept = default_settings()
        plain = [_batch(at, 20.0 + at % 3, 10) for at in range(10)]
        inked = [
            replace(_batch(20 + at, 70.0 + at % 3, 10), done=(Kind("shoes", ("price_ink",), 10),)) for at in range(10)
        ]
        found = learn_from([*plain, *inked], kept)
        one = found.by_flag["price_ink", "photograph"]
        assert one.enough
        assert one.minutes == pytest.approx(D("5.0"), abs=D("0.4"))
        assert found.flag(kept.flags["price_ink"]).photograph_minutes == one.minutes
        assert found.flag(kept.flags["no_box"]) == kept.flags["no_box"]

    def test_a_category_of_another_name_counts_as_any_other(self) -> None:
        found = learn_from([_batch(at, 20, 10, category="lamps") for at in range(4)], default_settings())
        assert {name for name, _ in found.by_category} == {""}


class TestPace:
    def test_against_the_past_by_hand(self) -> None:
        batches = [_batch(at, 60, pieces) for at, pieces in enumerate((6, 8, 7, 9, 10, 12, 14))]
        pace = paces(batches)["photograph"]
        assert [point.usual for point in pace.points] == [6, 7, 7, 7.5, 8, 9, 10]
        assert (pace.now, pace.before) == (10, 7)

    def test_beside_the_trade(self) -> None:
        """Ten an hour is 6 minutes a pair: 3 to photograph and 3 to list are just that. Common practice, no source."""
        batches = [_batch(at, 60, 20) for at in range(3)] + [_batch(9 + at, 60, 20, "list") for at in range(3)]
        two, three = beside(paces(batches))
        assert (two.mine, two.practice) == (pytest.approx(10), 10)
        assert three.mine is None
        assert three.practice == pytest.approx(60 / 5.25)


@pytest.mark.parametrize(
    ("minutes", "words"), [(0.5, "30 s"), (12.4, "12 min"), (59.7, "1 h 00 min"), (552, "9 h 12 min")]
)
def test_minutes_in_words(minutes: float, words: str) -> None:
    assert in_words(minutes) == words
