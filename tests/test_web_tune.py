"""The tuning page: what it shows of a bench, what one tap does, and what it says while it works or when it cannot."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, date, datetime
from decimal import Decimal as D
from pathlib import Path
from typing import Any

import lxml.html
import pytest
from flask import Flask
from flask.testing import FlaskClient

from sourcing import tuning
from sourcing.errors import BadInput
from sourcing.settings import load_settings
from sourcing.tuning import Band, Bench, Frontier, Gain, Point, Suggestion
from web.app import create_app
from web.charts_tuning import BOTTOM, LEFT, RIGHT, TOP, picture

NAMES = {"threshold": "least profit", "buys": "buys", "cash": "cash", "hours": "hours"}
WHY = "Tuned least_profit of shoes to 12.00"


def _point(threshold: str | None, buys: int, profit: float) -> Point:
    value = None if threshold is None else D(threshold)
    band = Band(profit - 10, profit, profit + 10)
    return Point(value, buys, band, Band(buys, 2 * buys, 3 * buys), 10.0 * buys, buys / 10, None, None)


POINTS = (_point(None, 50, 60.0), _point("4", 40, 80.0), _point("8", 30, 90.0), _point("12", 20, 100.0))
SUGGESTION = Suggestion("shoes", "least_profit", D("8.00"), D("12.00"), "profit", WHY)
SHOES = Frontier(
    "shoes", "least_profit", "money", "Buy only what leaves this much.", "history", "50 of your own checks.", 50, 20,
    12, 38, date(2030, 1, 1), date(2030, 6, 1), POINTS, 2, 3, (D(8), D(12)),
    Gain(True, "", Band(2.0, 9.0, 15.0), 0.1, Band(2.0, 9.0, 15.0), 10.0, 4, 50),
    "12.00 USD instead of today's 8.00 USD: +9 USD on later days.", (), SUGGESTION,
)  # fmt: skip
BENCH = Bench(
    (SHOES,), "least_profit", "profit", "USD", (("nothing came of them yet", 3),), datetime(2030, 6, 2, tzinfo=UTC),
    ("Figures have bands.",),
)  # fmt: skip


@pytest.fixture
def app(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Flask]:
    monkeypatch.setattr(tuning, "is_prepared", lambda store: True)
    monkeypatch.setattr(tuning, "tune", lambda store, category, rule, objective: BENCH)
    app = create_app(tmp_path / "comps.db")
    app.config["WTF_CSRF_ENABLED"] = False  # what it refuses has its own tests
    yield app
    app.extensions["sourcing"].store.close()


def _page(answer: Any) -> lxml.html.HtmlElement:
    assert answer.status_code == 200
    return lxml.html.fromstring(answer.text)


class TestPicture:
    def test_places_worked_by_hand(self) -> None:
        found = picture(SHOES, "threshold", NAMES, lambda point: f"{point.threshold}")
        assert found is not None
        # Thresholds 4, 8, 12 across; profit from 0 (or the lowest band, 70) to 110 up; off has no place along the foot.
        assert found.line == f"M{LEFT} {BOTTOM - (BOTTOM - TOP) * 80 / 110:.1f} L{(LEFT + RIGHT) / 2} " + (
            f"{BOTTOM - (BOTTOM - TOP) * 90 / 110:.1f} L{RIGHT} {BOTTOM - (BOTTOM - TOP) * 100 / 110:.1f}"
        )
        today, best = found.marks
        assert (today.words, today.x, best.words, best.x) == ("today: 8", (LEFT + RIGHT) / 2, "best here: 12", RIGHT)
        assert best.wave == -1  # a flag at the right edge flies inwards
        assert found.nothing is None

    def test_buys_stand_along_the_foot_with_the_loosest_setting_too(self) -> None:
        found = picture(SHOES, "buys", NAMES, lambda point: f"{point.threshold}")
        assert found is not None
        assert found.line.count(" L") == 3
        assert [mark.kind for mark in found.marks] == ["today", "best"]

    def test_losses_show_where_nothing_is(self) -> None:
        losing = replace(SHOES, points=(*POINTS[:3], _point("12", 20, -40.0)))
        found = picture(losing, "threshold", NAMES, str)
        assert found is not None
        assert found.nothing == pytest.approx(BOTTOM - (BOTTOM - TOP) * 50 / 150)

    def test_settings_that_buy_the_same_are_one_place_and_a_marked_one_is_kept(self) -> None:
        same = replace(SHOES, points=(_point("4", 30, 90.0), *POINTS[1:]), today=2)
        found = picture(same, "buys", NAMES, lambda point: f"{point.threshold}")
        assert found is not None
        assert found.line.count(" L") == 2
        assert found.marks[0].words == "today: 8"

    def test_no_picture_of_one_place(self) -> None:
        assert picture(replace(SHOES, points=POINTS[:1] * 3, today=0, best=None), "buys", NAMES, str) is None


class TestPage:
    def test_shows_words_figures_and_the_suggestion(self, client: FlaskClient) -> None:
        page = _page(client.get("/tune"))
        text = " ".join(page.text_content().split())
        for said in ("+9 USD on later days", "50 of your own checks", "3 occasions were left out", "Figures have bands",
                     "12 valued by your own sales, 38 by later comps"):  # fmt: skip
            assert said in text
        assert len(page.xpath("//svg[@role='img']")) == 1
        assert len(page.xpath("//table//tbody/tr")) == len(POINTS)
        assert page.xpath("//button[contains(., 'Set least profit of shoes to 12.00')]")

    def test_a_category_is_shown_against_buys_cash_and_hours(self, client: FlaskClient) -> None:
        assert len(_page(client.get("/tune?category=shoes")).xpath("//svg[@role='img']")) == 4

    def test_without_a_suggestion_there_is_nothing_to_take(
        self, client: FlaskClient, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        none = replace(BENCH, frontiers=(replace(SHOES, suggestion=None, best=None, words="Too few to tell: why."),))
        monkeypatch.setattr(tuning, "tune", lambda *asked: none)
        page = _page(client.get("/tune"))
        assert not page.xpath("//button[contains(., 'Set least profit')]")
        assert page.xpath("//strong[contains(., 'Too few to tell')]")

    def test_one_tap_takes_it_and_one_undoes(
        self, app: Flask, client: FlaskClient, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        asked: list[tuple[str, ...]] = []

        def suggested(store: Any, *words: str) -> Suggestion:
            asked.append(words)  # the page trusts nothing of the form but these
            return SUGGESTION

        monkeypatch.setattr(tuning, "suggestion_of", suggested)
        store = app.extensions["sourcing"].store
        before = load_settings(store).for_category("shoes").rules.least_profit
        form = {"of": "shoes", "category": "", "rule": "least_profit", "objective": "profit"}
        page = _page(client.post("/tune/accept", data=form, follow_redirects=True))
        assert asked == [("shoes", "least_profit", "profit")]
        assert load_settings(store).for_category("shoes").rules.least_profit == D("12.00")
        assert WHY in page.text_content()
        client.post("/tune/undo", data=form)
        assert load_settings(store).for_category("shoes").rules.least_profit == before

    def test_a_suggestion_that_is_none_any_longer_is_refused(
        self, client: FlaskClient, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        monkeypatch.setattr(tuning, "suggestion_of", lambda *asked: None)
        answer = client.post("/tune/accept", data={"of": "shoes"})
        assert answer.status_code == 409
        assert "no such suggestion any longer" in answer.text

    def test_an_unknown_rule_says_which_are_known(self, client: FlaskClient, monkeypatch: pytest.MonkeyPatch) -> None:
        def wrong(*asked: Any) -> Bench:
            raise BadInput("There is no rule “x”.", "least_profit", field="rule")

        monkeypatch.setattr(tuning, "tune", wrong)
        answer = client.get("/tune?rule=x")
        assert answer.status_code == 400
        assert "There is no rule" in answer.text


class TestReplay:
    @pytest.fixture(autouse=True)
    def _not_yet(self, app: Flask, monkeypatch: pytest.MonkeyPatch) -> None:
        monkeypatch.setattr(tuning, "is_prepared", lambda store: False)

    def test_offers_the_replay(self, client: FlaskClient) -> None:
        page = _page(client.get("/tune"))
        assert page.xpath("//form[@action='/tune/start']//button")
        assert not page.xpath("//meta[@http-equiv='refresh']")

    def test_says_how_far_it_is_and_can_be_cancelled(
        self, app: Flask, client: FlaskClient, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        said, go_on, ended = threading.Event(), threading.Event(), threading.Event()

        def slow(store: Any, tell: Any) -> None:
            try:
                tell(0.42, "Forecasting")
                said.set()
                assert go_on.wait(20)
                tell(0.43, "Forecasting")
            finally:
                ended.set()

        monkeypatch.setattr(tuning, "prepare", slow)
        client.post("/tune/start")
        assert said.wait(20)
        page = _page(client.get("/tune"))
        assert "42\xa0% Forecasting" in page.text_content()
        assert page.xpath("//*[@id='progress' and @data-running]")
        assert page.xpath("//form[@action='/tune/stop']//button")
        client.post("/tune/stop")
        go_on.set()
        assert ended.wait(20)
        work = app.extensions["sourcing"].replay
        for _ in range(2000):
            if not work.running:
                break
            threading.Event().wait(0.01)
        assert "It was cancelled" in _page(client.get("/tune")).text_content()

    def test_says_what_is_missing(self, app: Flask, client: FlaskClient, monkeypatch: pytest.MonkeyPatch) -> None:
        def nothing(store: Any, tell: Any) -> None:
            raise BadInput("There is nothing to replay: the table holds no sale.")

        monkeypatch.setattr(tuning, "prepare", nothing)
        client.post("/tune/start")
        work = app.extensions["sourcing"].replay
        for _ in range(2000):
            if not work.running:
                break
            threading.Event().wait(0.01)
        assert "the table holds no sale" in _page(client.get("/tune")).text_content()
