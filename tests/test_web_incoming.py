"""Bringing files in: what each page shows and does, without JavaScript."""

from __future__ import annotations

import csv
import io
import sqlite3
import threading
import time
import zipfile
from collections.abc import Iterator
from contextlib import closing, suppress
from pathlib import Path
from random import Random

import lxml.html
import pytest
import table_files
from flask import Flask
from flask.testing import FlaskClient
from werkzeug.test import TestResponse

from sourcing import comps, history
from sourcing.comps import layouts, waiting
from sourcing.comps.columns import NAMES
from sourcing.comps.incoming import PRICE
from sourcing.comps.rows import STORED
from sourcing.errors import NotFound, Stopped
from sourcing.storage import Store
from web import incoming_form as forms
from web import mending
from web.app import create_app
from web.jobs import Job, Jobs

ROWS = [
    ["Item name", "Maker", "Sold price", "Date sold", "State", "Ref"],
    *[[f"Ridge shoe {n % 3}", "Tarvo", f"{50 + n}.00", f"2026-01-{n + 1:02d}", "worn", f"=R{n}"] for n in range(20)],
]
OURS = "title,status,sold_price,ended_on\nRidge shoe,sold,50.00,2026-01-05\nRidge shoe,sold,55.00,2026-01-09\n"


@pytest.fixture
def app(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Flask]:
    app = create_app(tmp_path / "comps.db")
    app.config["WTF_CSRF_ENABLED"] = False  # what it refuses has its own tests
    monkeypatch.setattr("web.incoming_work.learn", lambda state: None)
    monkeypatch.setattr("web.jobs.SOON", 30.0)
    monkeypatch.setattr(Job.wait, "__defaults__", (30.0,))
    yield app
    app.extensions["sourcing"].store.close()


@pytest.fixture
def store(app: Flask) -> Store:
    return app.extensions["sourcing"].store


def text(element: lxml.html.HtmlElement) -> str:
    return " ".join(element.text_content().split())


def html(answer: TestResponse, status: int = 200) -> lxml.html.HtmlElement:
    assert answer.status_code == status, answer.text
    return lxml.html.fromstring(answer.text)


def bring(client: FlaskClient, content: bytes, name: str = "export.csv") -> TestResponse:
    data = {"file": (io.BytesIO(content), name)}
    return client.post("/comps/load", data=data, follow_redirects=True)


def table(rows: list[list[str]] = ROWS, delimiter: str = ",") -> bytes:
    return table_files.delimited(rows, delimiter)


def broken() -> bytes:
    rows = [list(row) for row in ROWS]
    rows[3][2] = "5o.00"
    rows[5][2] = ""
    return table(rows)


def fields(page: lxml.html.HtmlElement) -> dict[str, str]:
    """Return what a browser would send from the form of the columns."""
    form = next(form for form in page.forms if (form.get("action") or "").endswith("/say"))
    return {name: value for name, value in form.form_values() if name != "csrf_token"}


def file_of(app: Flask) -> waiting.Waiting:
    return waiting.waiting(app.extensions["sourcing"].folder)[0]


def to_rows(client: FlaskClient, app: Flask, content: bytes, **said: str) -> lxml.html.HtmlElement:
    page = html(bring(client, content))
    return html(client.post(f"/comps/file/{file_of(app).token}/say", data=fields(page) | said, follow_redirects=True))


def sums(page: lxml.html.HtmlElement) -> list[int]:
    return [int(one.text) for one in page.xpath("//*[@class='sums']/strong")]


def load(client: FlaskClient, page: lxml.html.HtmlElement) -> TestResponse:
    form = next(form for form in page.forms if (form.get("action") or "").endswith("/load"))
    return client.post(form.get("action"), data=dict(form.form_values()), follow_redirects=True)


def test_there_are_words_for_every_field_and_every_stored_name() -> None:
    assert set(forms.FIELDS) == {*NAMES, PRICE}
    assert set(forms.STORED) | {"title", "key"} == {*STORED, "listing", "currency"}
    assert set(forms.EVERY_ROW) <= set(NAMES)


class TestMatching:
    def test_a_file_of_its_own_shape_is_matched_tried_and_loaded(
        self, app: Flask, client: FlaskClient, store: Store
    ) -> None:
        page = html(bring(client, table()))
        assert "What are the columns of export.csv?" in text(page.xpath("//h1")[0])
        assert [text(one) for one in page.xpath("//li[@class='column']/h2")][:2] == ["Item name", "Maker"]
        assert "of 100" in text(page.xpath("//li[@class='column']")[0])
        rows = to_rows(client, app, table(), **{"all-category": "shoes"})
        assert sums(rows) == [20, 20, 0, 0]
        assert comps.overview(store).comps == 0
        assert "Ridge shoe 0" in text(rows.xpath("//*[@class='stored']")[0])
        assert "shoes" in text(rows.xpath("//*[@class='stored']")[0])
        loaded = html(load(client, rows))
        assert sums(loaded) == [20, 20, 0, 0]
        assert "“shoes” for every row" in text(loaded)
        assert comps.overview(store).comps == 20

    def test_two_columns_for_one_field_are_refused_and_nothing_said_is_lost(
        self, app: Flask, client: FlaskClient
    ) -> None:
        page = html(bring(client, table()))
        said = fields(page) | {"column-1": "title", "all-category": "shoes"}
        wrong = html(client.post(f"/comps/file/{file_of(app).token}/say", data=said), 400)
        assert "Two columns are both the title" in text(wrong.get_element_by_id("error"))
        assert fields(wrong)["column-1"] == "title"
        assert fields(wrong)["all-category"] == "shoes"
        assert file_of(app).layout is None

    def test_what_was_said_is_there_after_a_restart(self, app: Flask, client: FlaskClient, tmp_path: Path) -> None:
        to_rows(client, app, table(), **{"column-1": "note"})
        again = create_app(tmp_path / "comps.db")
        again.config["WTF_CSRF_ENABLED"] = False
        page = html(again.test_client().get(f"/comps/file/{file_of(app).token}?match=1"))
        assert fields(page)["column-1"] == "note"
        again.extensions["sourcing"].store.close()

    @pytest.mark.parametrize(
        ("said", "words"),
        [
            ({"column-1": "colour"}, "nothing a column can be"),
            ({"column-99": "title"}, "no column number 100"),
            ({"column-x": "title"}, "the number of no column"),
            ({"all-category": "x" * 201}, "Up to 200"),
            ({"all-currency": "money"}, "money"),
            ({"answer:days:3": "backwards"}, "no order of days"),
        ],
    )
    def test_what_cannot_be_is_said_in_words(
        self, app: Flask, client: FlaskClient, said: dict[str, str], words: str
    ) -> None:
        page = html(bring(client, table()))
        wrong = html(client.post(f"/comps/file/{file_of(app).token}/say", data=fields(page) | said), 400)
        assert words in text(wrong.get_element_by_id("error"))

    def test_a_question_shows_cells_as_each_answer_reads_them_and_can_be_asked_again(
        self, app: Flask, client: FlaskClient
    ) -> None:
        rows = [["Item name", "Sold price", "Date sold"]]
        rows += [["Ridge shoe", "50.00", f"0{n % 9 + 1}/0{n % 7 + 1}/2026"] for n in range(20)]
        page = html(bring(client, table(rows)))
        group = page.get_element_by_id("open").xpath(".//fieldset")[0]
        assert "2026-01-01" not in text(group)  # reads the same either way
        assert {one.get("value") for one in group.xpath(".//input")} == {"dmy", "mdy"}
        token, name = file_of(app).token, group.xpath(".//input")[0].get("name")
        unsaid = client.post(f"/comps/file/{token}/say", data=fields(page), follow_redirects=True)
        assert "still to be said" in text(html(unsaid))
        tried = html(client.post(f"/comps/file/{token}/say", data=fields(page) | {name: "mdy"}, follow_redirects=True))
        assert "2026-02-02" in text(tried)
        assert "2026-03-03" in text(tried)
        assert not html(client.get(f"/comps/file/{token}?match=1")).xpath("//*[@id='open']/fieldset")
        again = html(client.post(f"/comps/file/{token}/again", follow_redirects=True))
        assert again.xpath("//*[@id='open']/fieldset")


class TestKnownFiles:
    def test_the_next_file_like_it_needs_one_tap(self, app: Flask, client: FlaskClient, store: Store) -> None:
        load(client, to_rows(client, app, table()))
        more = [
            ROWS[0][::-1],
            *[[f"{n}x" if p == 0 else c for p, c in enumerate(r[::-1])] for n, r in enumerate(ROWS[1:])],
        ]
        rows = html(bring(client, table(more, ";"), "next.csv"))
        assert "matched before" in text(rows)
        assert sums(rows)[0] == 20
        html(load(client, rows))
        assert [one.file_name for one in comps.batches(store)] == ["next.csv", "export.csv"]

    def test_forgetting_is_undone(self, app: Flask, client: FlaskClient, store: Store) -> None:
        load(client, to_rows(client, app, table()))
        (known,) = layouts.remembered(store)
        page = html(client.post("/comps/layouts/forget", data={"mark": known.fingerprint}))
        assert layouts.remembered(store) == []
        form = next(form for form in page.forms if form.get("action") == "/comps/layouts/back")
        client.post("/comps/layouts/back", data=dict(form.form_values()))
        assert [one.layout for one in layouts.remembered(store)] == [known.layout]
        assert client.post("/comps/layouts/forget", data={"mark": "x"}).status_code == 404
        assert client.post("/comps/layouts/back", data={"name": "x", "layout": "{}"}).status_code == 400


class TestComingIn:
    def test_a_file_in_our_own_format_is_loaded_at_once(self, app: Flask, client: FlaskClient, store: Store) -> None:
        assert sums(html(bring(client, OURS.encode()))) == [2, 2, 0, 0]
        again = html(bring(client, OURS.encode()))
        assert "Nothing new was loaded" in text(again)
        assert waiting.waiting(app.extensions["sourcing"].folder) == []
        assert layouts.remembered(store) == []

    def test_one_bad_row_of_it_stores_nothing_until_the_user_says(self, client: FlaskClient, store: Store) -> None:
        rows = html(bring(client, (OURS + "Ridge shoe,sold,5o.00,2026-01-11\n").encode()))
        assert sums(rows) == [3, 2, 0, 1]
        assert comps.overview(store).comps == 0
        assert sums(html(load(client, rows))) == [3, 2, 0, 1]
        assert comps.overview(store).comps == 2

    def test_several_at_once(self, app: Flask, client: FlaskClient, store: Store) -> None:
        files = [
            (io.BytesIO(OURS.encode()), "ours.csv"),
            (io.BytesIO(table()), "theirs.csv"),
            (io.BytesIO(bytes(range(256)) * 40), "picture.png"),
        ]
        page = html(client.post("/comps/load", data={"file": files}, follow_redirects=True))
        assert [text(one) for one in page.xpath("//a[.='Go on']/ancestor::li//a[@class='tap']")] == ["theirs.csv"]
        assert "picture.png" in text(page.xpath("//*[@class='note'][strong]")[0])
        assert comps.overview(store).comps == 2
        gone = html(client.post(f"/comps/file/{file_of(app).token}/drop", follow_redirects=True))
        assert "theirs.csv waits no longer" in text(gone)

    @pytest.mark.parametrize(
        ("content", "name", "words"),
        [(b"", "empty.csv", "empty"), (b"\x89PNG\r\n\x1a\n" + bytes(range(256)) * 40, "photo.png", "")],
    )
    def test_what_is_no_table_is_said_and_not_kept(
        self, app: Flask, client: FlaskClient, content: bytes, name: str, words: str
    ) -> None:
        answer = bring(client, content, name)
        assert answer.status_code == 400
        assert words in text(html(answer, 400)).lower()
        assert waiting.waiting(app.extensions["sourcing"].folder) == []

    def test_no_file(self, client: FlaskClient) -> None:
        assert "No file was chosen" in text(html(client.post("/comps/load", data={}), 400))

    @pytest.mark.parametrize("token", ["x", "..", "%2e%2e%2fsecret_key", "a" * 24])
    def test_a_foreign_token_is_not_found(self, client: FlaskClient, token: str) -> None:
        assert client.get(f"/comps/file/{token}").status_code == 404
        for action in ("pick", "say", "again", "load", "drop"):
            assert client.post(f"/comps/file/{token}/{action}").status_code == 404

    def test_a_file_of_an_archive_is_picked_and_the_others_go_on_waiting(
        self, app: Flask, client: FlaskClient, store: Store
    ) -> None:
        out = io.BytesIO()
        with zipfile.ZipFile(out, "w") as packed:
            packed.writestr("a.csv", OURS)
            packed.writestr("b.csv", table())
        page = html(bring(client, out.getvalue(), "two.zip"))
        assert [one.get("value") for one in page.xpath("//input[@name='member']")] == ["a.csv", "b.csv"]
        token = file_of(app).token
        assert client.post(f"/comps/file/{token}/pick", data={"member": "../c.csv"}).status_code in (400, 404)
        assert file_of(app).member == ""
        page = html(client.post(f"/comps/file/{token}/pick", data={"member": "b.csv"}, follow_redirects=True))
        rows = html(client.post(f"/comps/file/{token}/say", data=fields(page), follow_redirects=True))
        assert "still waits" in text(html(load(client, rows)))
        assert comps.overview(store).comps == 20
        assert file_of(app).member == ""

    def test_an_encoding_is_picked_by_rows_in_which_they_differ(self, app: Flask, client: FlaskClient) -> None:
        rows = [["Item name", "Sold price", "Date sold"]]
        rows += [[f"Caf\u00e9 kettle {n}", "50.00", f"2026-01-{n + 1:02d}"] for n in range(20)]
        page = html(bring(client, table_files.delimited(rows, encoding="cp1252")))
        shown = {
            one.get("value"): text(one.getparent()).split("kettle")[0]
            for one in page.xpath("//input[@name='encoding']")
        }
        assert "Caf\u00e9" in shown["cp1252"]
        assert len(shown) == len(set(shown.values())) > 1
        token = file_of(app).token
        page = html(client.post(f"/comps/file/{token}/pick", data={"encoding": "mac_roman"}, follow_redirects=True))
        assert "Caf\u00c8" in text(page.xpath("//li[@class='column']")[0])
        page = html(client.post(f"/comps/file/{token}/pick", data={"encoding": ""}, follow_redirects=True))
        page = html(client.post(f"/comps/file/{token}/pick", data={"encoding": "cp1252"}, follow_redirects=True))
        assert "Caf\u00e9" in text(page.xpath("//li[@class='column']")[0])

    def test_dropping_a_file_is_undone(self, app: Flask, client: FlaskClient) -> None:
        bring(client, table())
        one = file_of(app)
        page = html(client.post(f"/comps/file/{one.token}/drop", follow_redirects=True))
        assert waiting.waiting(app.extensions["sourcing"].folder) == []
        assert client.get(f"/comps/file/{one.token}").status_code == 404
        (undo,) = (form for form in page.forms if (form.get("action") or "").endswith("/bring_back"))
        page = html(client.post(undo.get("action"), follow_redirects=True))
        assert "export.csv waits again" in text(page)
        assert file_of(app) == one
        assert not [form for form in page.forms if (form.get("action") or "").endswith("/bring_back")]


class TestMending:
    def test_rejected_rows_are_put_right_in_place(self, app: Flask, client: FlaskClient, store: Store) -> None:
        rows = to_rows(client, app, broken())
        assert sums(rows) == [20, 18, 0, 2]
        page = html(load(client, rows))
        assert sums(page) == [20, 18, 0, 2]
        assert page.get_element_by_id("cell-4-2").get("value") == "5o.00"
        address = f"/comps/batch/{comps.batches(store)[0].id}"
        assert client.post(f"{address}/mend", data={}).status_code == 400
        still = html(client.post(f"{address}/mend", data={"cell-4-2": "50", "cell-6-2": "many"}), 422)
        assert still.get_element_by_id("cell-6-2").get("value") == "many"
        assert comps.overview(store).comps == 19
        done = html(client.post(f"{address}/mend", data={"cell-6-2": "54.00"}, follow_redirects=True))
        assert "All rejected rows have been put right" in text(done)
        (partly,) = [one for one in comps.batches(store) if one.corrects and one.rejected]
        part = html(client.get(f"/comps/batch/{partly.id}"))
        assert f"What is still wrong waits at load {partly.corrects}" in text(part)
        assert "All rejected rows" not in text(part)
        assert comps.overview(store).comps == 20
        mended = [one.id for one in comps.batches(store) if one.corrects]
        page = html(client.post("/comps/undo", data={"batch_id": str(partly.corrects)}, follow_redirects=True))
        told = ", ".join(str(one) for one in sorted(mended))
        assert f"are loads of their own and stay: {told}." in text(page)

    def test_they_are_taken_along_as_a_harmless_file(self, app: Flask, client: FlaskClient, store: Store) -> None:
        load(client, to_rows(client, app, broken()))
        answer = client.get(f"/comps/batch/{comps.batches(store)[0].id}/rejected.csv")
        found = list(csv.reader(io.StringIO(answer.data.decode("utf-8-sig"))))
        assert found[0] == [*ROWS[0], "problem", "what to do"]
        assert found[1][:6] == ["Ridge shoe 2", "Tarvo", "5o.00", "2026-01-03", "worn", "'=R2"]
        assert all(found[1][6:])
        assert answer.headers["Content-Disposition"].startswith("attachment")

    @pytest.mark.parametrize("cell", ["=1+1", "+1", "-1", "@x", "\t=1"])
    def test_what_a_spreadsheet_would_run_gets_an_apostrophe(self, cell: str) -> None:
        assert mending.harmless(cell) == f"'{cell}"
        assert mending.harmless(f"a{cell}") == f"a{cell}"

    def test_rows_that_do_not_fit_are_only_listed(self, app: Flask, client: FlaskClient) -> None:
        page = html(load(client, to_rows(client, app, table() + b"Ridge shoe,Tarvo\r\n")))
        assert sums(page) == [21, 20, 0, 1]
        assert "only be put right in the file" in text(page)
        assert not page.xpath("//*[@class='mend']")


class TestJobs:
    def test_they_run_in_the_order_asked_and_tell_what_came_of_them(self) -> None:
        jobs, order = Jobs(), list[int]()
        hold = threading.Event()
        first = jobs.ask("a", "load", "t", "a.csv", lambda job: hold.wait(20) and order.append(1))
        second = jobs.ask("b", "load", "t", "b.csv", lambda job: order.append(2) or "two")
        assert jobs.ask("b", "load", "t", "b.csv", lambda job: order.append(3)) is second
        look = jobs.ask("c", "look", "t", "c.csv", lambda job: "seen")
        assert look.wait(20)
        assert not second.wait(0.05)
        assert jobs.before(second) == 1
        hold.set()
        assert second.wait(20)
        assert (first.over, second.outcome(), order) == (True, "two", [1, 2])

    def test_one_is_stopped_between_rows(self) -> None:
        jobs, begun = Jobs(), threading.Event()

        def call(job: Job) -> None:
            for row in range(10_000):
                job.tell(row)
                begun.set()
                time.sleep(0.005)

        job = jobs.ask("a", "load", "t", "a.csv", call)
        assert begun.wait(20)
        job.stop()
        assert job.wait(20)
        assert job.state == "stopped"
        with pytest.raises(Stopped):
            job.outcome()
        assert jobs.find("a") is None  # asked again, it starts anew

    def test_a_failure_is_told_and_does_not_end_the_others(self) -> None:
        jobs = Jobs()
        bad = jobs.ask("a", "load", "t", "a.csv", lambda job: 1 / 0)
        good = jobs.ask("b", "load", "t", "b.csv", lambda job: 1)
        assert good.wait(20)
        with pytest.raises(ZeroDivisionError):
            bad.outcome()
        assert good.outcome() == 1
        with pytest.raises(NotFound):
            jobs.get(99)

    def test_the_page_of_a_long_load_shows_how_far_it_is_and_stops_it(
        self, app: Flask, client: FlaskClient, store: Store, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        rows = to_rows(client, app, table())
        form = next(form for form in rows.forms if (form.get("action") or "").endswith("/load"))
        hold, begun, told = threading.Event(), threading.Event(), Job.tell

        def slow(job: Job, count: int) -> None:
            told(job, count)
            if count:
                begun.set()
                hold.wait(20)
                told(job, count)

        monkeypatch.setattr(Job, "tell", slow)
        monkeypatch.setattr(Job.wait, "__defaults__", (0.05,))
        answer = client.post(form.get("action"), data=dict(form.form_values()))
        address = answer.headers["Location"]
        assert begun.wait(20)
        page = html(client.get(address))
        assert "20 of about 21" in text(page)
        assert page.xpath("//head/noscript/meta[@http-equiv='refresh']")
        assert client.get("/help").status_code == 200
        client.post(f"{address}/cancel")
        hold.set()
        monkeypatch.setattr(Job.wait, "__defaults__", (20.0,))
        assert app.extensions["sourcing"].jobs.get(int(address.rsplit("/", 1)[1])).wait()
        assert "stopped, nothing was stored" in text(html(client.get(address, follow_redirects=True)))
        assert comps.overview(store).comps == 0
        assert file_of(app).layout is not None

    def test_a_look_is_stopped_and_the_file_waits_on(
        self, app: Flask, client: FlaskClient, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        bring(client, table())
        one = file_of(app)
        one.path.write_bytes(table() + b"\n")  # not looked at as it is now
        hold, begun, told = threading.Event(), threading.Event(), Job.tell

        def slow(job: Job, count: int) -> None:
            told(job, count)
            if job.kind == "look" and count:
                begun.set()
                hold.wait(20)
                told(job, count)

        monkeypatch.setattr(Job, "tell", slow)
        monkeypatch.setattr(Job.wait, "__defaults__", (0.05,))
        address = client.get(f"/comps/file/{one.token}?match=1").headers["Location"]
        assert begun.wait(20)
        page = html(client.get(address))
        assert "20 of about 22" in text(page)
        assert page.xpath(f"//form[@action='{address}/cancel']")
        client.post(f"{address}/cancel")
        hold.set()
        monkeypatch.setattr(Job.wait, "__defaults__", (20.0,))
        assert app.extensions["sourcing"].jobs.get(int(address.rsplit("/", 1)[1])).wait()
        assert "stopped, nothing was stored" in text(html(client.get(address, follow_redirects=True)))
        assert file_of(app) == one
        assert "What are the columns" in text(html(client.get(f"/comps/file/{one.token}?match=1")))

    def test_a_button_pressed_twice_loads_once(self, app: Flask, client: FlaskClient, store: Store) -> None:
        rows = to_rows(client, app, table())
        assert load(client, rows).request.path == load(client, rows).request.path
        assert len(comps.batches(store)) == 1

    @pytest.mark.parametrize("files", [1, 2])
    def test_a_file_dropped_while_it_is_loaded_is_loaded_all_the_same(
        self, app: Flask, client: FlaskClient, store: Store, monkeypatch: pytest.MonkeyPatch, files: int
    ) -> None:
        content = table_files.zipped(**{f"{number}.csv": table() for number in range(files)})
        if files == 1:
            rows = to_rows(client, app, content)
        else:
            bring(client, content, "both.zip")
            address = f"/comps/file/{file_of(app).token}"
            page = html(client.post(f"{address}/pick", data={"member": "1.csv"}, follow_redirects=True))
            rows = html(client.post(f"{address}/say", data=fields(page), follow_redirects=True))
        tell = Job.tell

        def told(job: Job, read: int) -> None:
            tell(job, read)
            if job.kind == "load" and read:
                waiting.drop(app.extensions["sourcing"].folder, job.token)

        monkeypatch.setattr(Job, "tell", told)
        answer = load(client, rows)
        assert answer.status_code == 200
        assert answer.request.path == f"/comps/batch/{comps.batches(store)[0].id}"


def assert_kept(store: Store, checks: int) -> None:
    """Wait until so many checks are among the past ones."""
    for _ in range(200):
        if len(history.recent(store)) >= checks:
            break
        time.sleep(0.05)
    assert len(history.recent(store)) == checks


def test_a_check_is_answered_while_a_file_is_written(
    client: FlaskClient, store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    bring(client, OURS.encode())
    monkeypatch.setattr("sourcing.storage.store.BUSY_MS", 50)
    writes, done = threading.Event(), threading.Event()

    def write() -> None:
        with store.write_rows():
            writes.set()
            done.wait(60)

    thread = threading.Thread(target=write)
    thread.start()
    try:
        assert writes.wait(20)
        page = html(client.post("/check", data={"title": "Ridge shoe", "price": "9"}))
        assert "kept among the past ones as soon as that is done" in text(page)
        assert page.xpath("//*[contains(@class, 'verdict')]")
        assert not page.xpath("//form[@action='/haul/take']")
    finally:
        done.set()
        thread.join()
    assert client.post("/check", data={"title": "Ridge shoe", "price": "9"}).status_code == 303
    assert_kept(store, 2)


def test_checks_are_answered_while_a_load_has_outgrown_its_memory(
    app: Flask, client: FlaskClient, store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    bring(client, OURS.encode())
    monkeypatch.setattr("sourcing.storage.store.BUSY_MS", 50)
    monkeypatch.setattr("sourcing.comps.write.AT_ONCE", 300)
    hold, begun, shut = threading.Event(), threading.Event(), threading.Event()
    path = store._file
    assert path is not None

    def told(count: int) -> None:
        raw = store._kept()  # of the thread that loads
        raw.execute("PRAGMA cache_size=10")
        if count < 5_000 or begun.is_set():
            return
        begun.set()
        with closing(sqlite3.connect(path, timeout=0)) as other, suppress(sqlite3.OperationalError):
            other.execute("SELECT count(*) FROM comp").fetchall()
            shut.set()  # not so: anybody can read the file
        hold.wait(60)

    lines = [f"Ridge shoe {n % 700},sold,{20 + n % 90}.50,2026-01-{1 + n % 28:02d}" for n in range(6_000)]
    content = "\n".join(["title,status,sold_price,ended_on", *lines]).encode()
    thread = threading.Thread(target=lambda: comps.load_file(store, io.BytesIO(content), on_progress=told))
    thread.start()
    try:
        assert begun.wait(60)
        assert not shut.is_set()
        page = html(client.post("/check", data={"title": "Ridge shoe", "price": "9"}))
        assert "kept among the past ones as soon as that is done" in text(page)
        assert page.xpath("//*[contains(@class, 'verdict')]")
        assert comps.overview(store).comps == 2
        assert client.get("/comps").status_code == 200
        assert client.get("/comps/table").status_code == 200
    finally:
        hold.set()
        thread.join()
    assert comps.overview(store).comps > 1_000
    assert client.post("/check", data={"title": "Ridge shoe", "price": "9"}).status_code == 303
    assert_kept(store, 2)


def test_work_that_ends_while_its_page_is_written_is_still_followed(
    client: FlaskClient, app: Flask, monkeypatch: pytest.MonkeyPatch
) -> None:
    bring(client, table())
    job = app.extensions["sourcing"].jobs.get(1)
    assert job.over
    looked = iter([False])  # under way when the page is begun, over from then on
    monkeypatch.setattr(Job, "over", property(lambda _: next(looked, True)))
    page = html(client.get(f"/comps/progress/{job.number}"))
    assert page.xpath("//*[@id='progress']/@data-running")
    assert page.xpath("//script[contains(@src, 'progress.js')]")
    assert page.xpath("//*[@id='stop']")


@pytest.mark.parametrize(
    "content",
    [
        bytes(range(256)) * 40,
        b"PX\x03\x04" + b"\x00\x11\x9d" * 300,
        bytes(Random(1).choices(range(32, 256), k=3_000)),
    ],
    ids=["bytes", "no zip", "no text"],
)
@pytest.mark.parametrize("name", ["books.xlsx", "books.ods"])
def test_a_broken_workbook_is_told_as_one_and_leads_back_to_its_page(
    client: FlaskClient, content: bytes, name: str
) -> None:
    for path, page in (("/comps/load", "/comps"), ("/outcomes/load", "/outcomes")):
        answer = client.post(path, data={"file": (io.BytesIO(content), name)}, follow_redirects=True)
        found = html(answer, 400)
        assert "It is no workbook, or a damaged one" in text(found)
        assert "save it anew" in text(found)
        assert "UTF-8" not in text(found)
        (back,) = found.xpath("//div[@class='bar']/a[@class='button main']")
        assert back.get("href") == page


def test_text_that_is_called_a_workbook_is_read_all_the_same(client: FlaskClient) -> None:
    assert "but it is delimited text and was read as that" in text(html(bring(client, table(), "export.xlsx")))
