"""The command line end to end on the sample files."""

from __future__ import annotations

import contextlib
import csv
import json
import os
import re
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from decimal import Decimal
from http.client import HTTPConnection
from pathlib import Path

import pytest
from click.testing import CliRunner, Result
from supposed import at_others
from table_files import xlsx

import sourcing.comps
from sourcing.answer import Query
from sourcing.errors import Busy
from sourcing.money import format_money
from sourcing.settings import load_settings
from sourcing.storage import open_store
from web.cli import main
from web.commands.check import inert

SAMPLES = Path(__file__).parent.parent / "sample_comps"


def run(*words: object) -> Result:
    return CliRunner().invoke(main, [str(word) for word in words])


@pytest.fixture(scope="module")
def data(tmp_path_factory: pytest.TempPathFactory) -> str:
    folder = str(tmp_path_factory.mktemp("cli"))
    result = CliRunner().invoke(main, ["--data", folder, "load", str(SAMPLES / "spring_sales.csv"), "--json"])
    assert result.exit_code == 0, result.output
    report = json.loads(result.stdout)[0]
    assert report["read"] == report["new"] + report["known"] + report["rejected"] == 1200
    return folder


def test_a_list_gets_one_answer_a_row_in_order(data: str, tmp_path: Path) -> None:
    out = tmp_path / "answers.csv"
    asked = SAMPLES / "shelf_list.csv"
    result = CliRunner().invoke(main, ["--data", data, "check", "--list", str(asked), "--out", str(out)])
    assert result.exit_code == 4
    with out.open(newline="") as file, asked.open(newline="") as source:
        answers, rows = list(csv.DictReader(file)), list(csv.DictReader(source))
    assert [row["code"] for row in answers] == [row["code"] for row in rows]
    assert {row["decision"] for row in answers} >= {"buy", "pass", "too little to go on"}
    assert "12,5o" in next(row["problem"] for row in answers if row["shelf_price"] == "12,5o")
    for row in answers:
        assert bool(row["decision"]) != bool(row["problem"])


def test_one_check_as_json(data: str) -> None:
    with (SAMPLES / "shelf_list.csv").open(newline="") as file:
        code = next(csv.DictReader(file))["code"]
    result = CliRunner().invoke(main, ["--data", data, "check", code, "--price", "9.99", "--json"])
    assert result.exit_code == 0, result.output
    assert json.loads(result.stdout)["shelf_price"] == "9.99"


@pytest.mark.parametrize("price", ["12,5o", "-3", "1e308", "nan"])
def test_a_bad_price_says_what_is_accepted(data: str, price: str) -> None:
    result = CliRunner().invoke(main, ["--data", data, "check", "AB1", f"--price={price}"])
    assert result.exit_code == 1
    assert price in result.stderr
    assert "12.50" in result.stderr
    assert "such as 3 for 20" in result.stderr


@pytest.mark.parametrize("words", [["explain", "AB1", "--price"], ["terms", "show", "--shelf"]])
def test_every_tag_is_read_alike(data: str, words: list[str]) -> None:
    wrong = CliRunner().invoke(main, ["--data", data, *words, "12,5o"])
    assert (wrong.exit_code, "such as 3 for 20" in wrong.stderr) == (1, True)
    several, each = (CliRunner().invoke(main, ["--data", data, *words, price]) for price in ("3 for 20", "6.67"))
    assert each.exit_code == 0, each.output
    assert several.stdout == each.stdout


def test_a_broken_file_stores_nothing_and_the_good_rows_can_be_kept(tmp_path: Path) -> None:
    broken = str(SAMPLES / "broken_on_purpose.csv")
    result = CliRunner().invoke(main, ["--data", str(tmp_path), "load", broken])
    assert result.exit_code == 3
    assert "12,5o" in result.stderr
    kept = CliRunner().invoke(main, ["--data", str(tmp_path), "load", broken, "--keep-good"])
    assert kept.exit_code == 0
    assert CliRunner().invoke(main, ["--data", str(tmp_path), "undo"]).exit_code == 0
    assert CliRunner().invoke(main, ["--data", str(tmp_path), "undo"]).exit_code == 1


def test_settings_travel_by_file(tmp_path: Path) -> None:
    runner, file = CliRunner(), str(tmp_path / "rules.toml")
    assert runner.invoke(main, ["--data", str(tmp_path), "settings", "export", file]).exit_code == 0
    assert runner.invoke(main, ["--data", str(tmp_path), "settings", "import", file]).exit_code == 0
    assert runner.invoke(main, ["--data", str(tmp_path), "settings", "undo"]).exit_code == 0
    (tmp_path / "rules.toml").write_text("[default]\nfee_rat = 1\n", encoding="utf-8")
    refused = runner.invoke(main, ["--data", str(tmp_path), "settings", "import", file])
    assert refused.exit_code == 1
    assert "fee_rate" in refused.stderr


def test_a_file_that_cannot_be_read_does_not_keep_the_next_from_loading(tmp_path: Path) -> None:
    (tmp_path / "empty.csv").touch()
    result = run("load", tmp_path / "empty.csv", SAMPLES / "housewares.xlsx", "--data", tmp_path, "--json")
    assert result.exit_code == 1
    first, second = json.loads(result.stdout)
    assert "empty" in first["error"]["wrong"]
    assert "with its rows" in first["error"]["next_step"]
    assert second["new"] == 344
    assert "Fitted on" in result.stderr  # a load is never left unfitted


def test_the_sheet_that_is_named_is_loaded_in_our_own_format_too(tmp_path: Path) -> None:
    first, second = ([["title", "sold_price"], [title, "9"]] for title in ("Mug", "Pan"))
    (tmp_path / "book.xlsx").write_bytes(xlsx(first, second=second))
    result = run("load", tmp_path / "book.xlsx", "--sheet", "second", "--data", tmp_path, "--json")
    assert json.loads(result.stdout)[0]["new"] == 1
    with contextlib.closing(open_store(str(tmp_path / "sourcing.sqlite3"))) as store:
        assert store.read("SELECT title FROM comp") == [("Pan",)]


def test_the_day_a_file_was_made_can_be_named(tmp_path: Path) -> None:
    result = run("load", SAMPLES / "housewares.xlsx", "--as-of", "2026-11-24", "--data", tmp_path, "--json")
    assert json.loads(result.stdout)[0]["as_of"] == "2026-11-24"
    undone = run("undo", "--data", tmp_path, "--json")
    assert json.loads(undone.stdout) == {"batch": 1, "removed": 344}


def test_busy_data_has_its_own_code(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def busy(*_: object, **__: object) -> None:
        raise Busy("Something else is being written.", next_step="Try again.")

    monkeypatch.setattr(sourcing.comps, "load_file", busy, raising=False)
    monkeypatch.setattr(sourcing.comps, "undo_batch", busy, raising=False)
    assert run("load", SAMPLES / "spring_sales.csv", "--data", tmp_path).exit_code == 5
    assert run("undo", 1, "--data", tmp_path).exit_code == 5


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["check"], "Name a code"),
        (["check", "--list", SAMPLES / "shelf_list.csv", "--price", "3"], "file alone"),
        (["check", "AB1", "--out", "x.csv"], "--list"),
        (["serve", "--host", "0.0.0.0"], "--lan"),
        (["serve", "--port", "99999"], "65535"),
        (["load", "no_such_file.csv"], "does not exist"),
    ],
)
def test_wrong_usage_is_code_2(words: list[object], said: str) -> None:
    result = run(*words)
    assert result.exit_code == 2
    assert said in result.stderr
    assert result.stdout == ""


def test_a_check_is_kept_and_a_list_is_not(data: str, tmp_path: Path) -> None:
    from sourcing import history
    from sourcing.storage import open_store

    store = open_store(str(Path(data) / "sourcing.sqlite3"))
    before = len(history.recent(store, 100))
    said = run("check", "FA123-001", "--price", "14.99", "--data", data)
    buys = said.stdout.startswith("Buy")
    assert bool(re.search(r"^Take (1|up to \d)", said.stdout, re.M)) == buys  # how many copies are worth taking
    run("check", "--list", SAMPLES / "shelf_list.csv", "--out", tmp_path / "out.csv", "--data", data)
    assert len(history.recent(store, 100)) == before + 1
    store.close()


def test_amounts_are_read_and_written_as_the_settings_say(tmp_path: Path) -> None:
    (tmp_path / "euro.toml").write_text('currency = "EUR"\nlocale = "de_DE"\n')
    comps = tmp_path / "comps.csv"
    rows = "".join(f"FWR1042,Ridge shoe,shoes,sold,{60 + day}.00,2026-01-0{day}\n" for day in range(1, 9))
    comps.write_text("style_code,title,category,status,sold_price,ended_on\n" + rows)
    assert run("settings", "import", tmp_path / "euro.toml", "--data", tmp_path).exit_code == 0
    assert run("load", comps, "--data", tmp_path).exit_code == 0
    said = run("check", "FWR1042", "--price", "9,50", "--data", tmp_path)
    assert said.exit_code == 0, said.stderr
    assert re.search(r"^asking_price +\d+,\d\d\xa0€$", said.stdout, re.M)
    for typed in ("9,50", "9.50", "9,50 €"):
        kept = json.loads(run("check", "FWR1042", "--price", typed, "--json", "--data", tmp_path).stdout)
        assert kept["shelf_price"] == "9.50", typed
    wrong = run("check", "FWR1042", "--price", "9.5o", "--data", tmp_path)
    assert wrong.exit_code == 1
    assert "12,50" in wrong.stderr


def answers(data: str, folder: Path, text: str | bytes) -> tuple[Result, list[dict[str, str]]]:
    source = folder / "list.csv"
    source.write_bytes(text if isinstance(text, bytes) else text.encode())
    result = run("check", "--list", source, "--out", folder / "out.csv", "--data", data)
    if not (folder / "out.csv").exists():
        return result, []
    with (folder / "out.csv").open(newline="", encoding="utf-8") as file:
        return result, list(csv.DictReader(file))


def test_odd_rows_keep_their_place(data: str, tmp_path: Path) -> None:
    text = "Code,Shelf Price,mine\nAB-1,3,=1+1\n,,\nAB-2,4\nAB-3,,-5\nAB-4,5,+x\n"
    result, rows = answers(data, tmp_path, text)
    assert result.exit_code == 4
    assert [row["Code"] for row in rows] == ["AB-1", "", "", "AB-3", "AB-4"]
    assert [row["mine"] for row in rows] == ["'=1+1", "", "", "-5", "'+x"]
    assert "empty" in rows[1]["problem"]
    assert "2 of the header's 3" in rows[2]["problem"]
    again = run("check", "--list", tmp_path / "out.csv", "--out", tmp_path / "twice.csv", "--data", data)
    assert again.exit_code in (0, 4)
    with (tmp_path / "twice.csv").open(newline="", encoding="utf-8") as file:
        assert next(csv.reader(file)) == list(rows[0])  # an answered list can be answered anew


def test_a_list_may_name_its_codes_as_comps_files_do(data: str, tmp_path: Path) -> None:
    with (SAMPLES / "shelf_list.csv").open(newline="") as file:
        codes = [row["code"] for row in csv.DictReader(file) if row["code"]][:12]
    _, by_code = answers(data, tmp_path, "\n".join(["code,shelf_price", *(f"{code},9" for code in codes)]) + "\n")
    named = [f"{code},,9" if code.isdigit() else f",{code},9" for code in codes]
    _, by_name = answers(data, tmp_path, "\n".join(["GTIN,style code,shelf_price", *named]) + "\n")
    assert {line[0] for line in named} > {","}  # some of either
    assert sum(int(row["comps_sold"] or 0) > 0 for row in by_code) > 5
    for name in ("decision", "most_worth_paying", "comps_sold", "problem"):
        assert [row[name] for row in by_code] == [row[name] for row in by_name]


def test_a_workbooks_name_for_the_answers_is_refused(data: str, tmp_path: Path) -> None:
    out = tmp_path / "answers.XLSX"
    result = run("check", "--list", SAMPLES / "shelf_list.csv", "--out", out, "--data", data)
    assert result.exit_code == 2
    assert "writes CSV" in result.stderr
    assert not out.exists()


def test_a_row_without_a_price_has_no_decision(data: str, tmp_path: Path) -> None:
    with (SAMPLES / "shelf_list.csv").open(newline="") as file:
        codes = [row["code"] for row in csv.DictReader(file)][:10]
    _, rows = answers(data, tmp_path, "code\n" + "\n".join(codes) + "\n")
    assert len(rows) == 10
    assert any(row["most_worth_paying"] for row in rows)
    for row in rows:
        assert row["decision"] in ("", "too little to go on")
        assert bool(row["decision"]) != ("price is missing" in row["problem"])


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("kode,prijs\nA1,3\n", "no column that says"),
        ("", "empty"),
        (b"code,shelf_price\nA\xe9,3\n", "UTF-8"),
        ("code,Code\nA,B\n", "two columns"),
    ],
)
def test_a_list_that_cannot_be_read_says_why(data: str, tmp_path: Path, text: str | bytes, said: str) -> None:
    result, rows = answers(data, tmp_path, text)
    assert (result.exit_code, rows) == (1, [])
    assert said in result.stderr


def test_a_row_of_a_list_that_cannot_be_read_says_why(data: str, tmp_path: Path) -> None:
    result, rows = answers(data, tmp_path, "code,shelf_price\n" + "x" * 70_000 + ",3\nA-1,4\n")
    assert result.exit_code == 4
    assert ["longer" in row["problem"] for row in rows] == [True, False]


def test_the_list_itself_is_never_written_over(data: str, tmp_path: Path) -> None:
    source = tmp_path / "list.csv"
    source.write_text("code,shelf_price\nA1,3\n")
    assert run("check", "--list", source, "--out", source, "--data", data).exit_code == 2
    assert source.read_text() == "code,shelf_price\nA1,3\n"
    gone = run("check", "--list", source, "--out", tmp_path / "no" / "out.csv", "--data", data)
    assert gone.exit_code == 1
    assert "No such file" in gone.stderr


@pytest.mark.parametrize(
    ("cell", "written"),
    [("=1+1", "'=1+1"), ("+a", "'+a"), ("@x", "'@x"), ("\t=1", "'\t=1"), ("\r=1", "'\r=1"), ("-", "'-"),
     ("-2+3", "'-2+3"), ("-Infinity", "'-Infinity"), ("-5.20", "-5.20"), ("12", "12"), ("", ""), ("a=1", "a=1")],
)  # fmt: skip
def test_formula_cells_are_inert(cell: str, written: str) -> None:
    assert inert(cell) == written


def test_the_demo_shows_buys_passes_and_too_little(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("NO_COLOR", "1")
    result = run("demo")
    assert result.exit_code == 0
    for word in (" buy ", " pass ", "too little to go on", "problem", "invented"):
        assert word in result.stdout
    assert "\x1b" not in result.stdout


def test_the_command_line_starts_light() -> None:
    code = "import sys, web.cli; print(*sorted({name.split('.')[0] for name in sys.modules}))"
    made = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    heavy = {"flask", "waitress", "sqlalchemy", "numpy", "scipy", "pandas", "sklearn", "statsmodels", "rich", "segno"}
    assert set(made.stdout.split()) & heavy == set()


@contextmanager
def serving(folder: Path, *words: str) -> Iterator[tuple[subprocess.Popen[str], int]]:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    command = [sys.executable, "-m", "web.cli", "--data", str(folder), "serve", "--port", str(port), *words]
    with (folder / "out").open("w") as out, (folder / "err").open("w") as err:
        # A run that was started in the background may ignore Ctrl-C, and a child inherits that.
        ours = signal.signal(signal.SIGINT, signal.default_int_handler)
        process = subprocess.Popen(command, stdout=out, stderr=err, text=True, env=os.environ | {"NO_COLOR": "1"})
        signal.signal(signal.SIGINT, ours)
        try:
            for _ in range(600):
                assert process.poll() is None, (folder / "err").read_text()
                with socket.socket() as knock:
                    if knock.connect_ex(("127.0.0.1", port)) == 0 and "Ctrl-C" in (folder / "out").read_text():
                        break
                time.sleep(0.1)
            yield process, port
        finally:
            process.kill()
            process.wait()


def fetch(port: int, path: str) -> tuple[int, dict[str, str]]:
    connection = HTTPConnection("127.0.0.1", port, timeout=20)
    connection.request("GET", path)
    answer = connection.getresponse()
    answer.read()
    connection.close()
    return answer.status, dict(answer.getheaders())


@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGINT])
def test_serving_stops_cleanly(tmp_path: Path, number: signal.Signals) -> None:
    with serving(tmp_path) as (process, port):
        status, headers = fetch(port, "/")
        assert status == 200
        assert "Server" not in headers
        taken = run("serve", "--port", port, "--data", tmp_path)
        assert taken.exit_code == 1
        assert f"Port {port}" in taken.stderr
        assert "--port" in taken.stderr
        process.send_signal(number)
        assert process.wait(15) == 0
    assert (tmp_path / "err").read_text() == "Stopped.\n"
    assert f"http://127.0.0.1:{port}/" in (tmp_path / "out").read_text()


def shown_key(folder: Path) -> str:
    for _ in range(600):  # a minute, for a busy machine; it is there within a second on a quiet one
        if found := re.search(r"/enter/([\w-]{32})", (folder / "out").read_text()):
            return found[1]
        time.sleep(0.1)
    raise AssertionError((folder / "out").read_text())


def test_the_live_key_is_shown_again_until_it_is_taken_back(tmp_path: Path) -> None:
    shown = []
    for words in ((), (), ("--new-key",), ()):
        with serving(tmp_path, "--lan", "--host", "127.0.0.1", *words):
            shown.append(shown_key(tmp_path))
    first, second, third, fourth = shown
    assert first == second != third == fourth
    assert run("access", "--data", tmp_path).stdout == run("access", "list", "--data", tmp_path).stdout
    assert len(json.loads(run("access", "list", "--json", "--data", tmp_path).stdout)) == 2
    assert run("access", "revoke", "2", "--data", tmp_path).stdout == "Keys taken back: 1.\n"
    with serving(tmp_path, "--lan", "--host", "127.0.0.1") as (_, port):
        assert shown_key(tmp_path) == first
        assert fetch(port, f"/enter/{third}")[0] == 403
        assert fetch(port, f"/enter/{first}")[0] == 303
    assert run("serve", "--new-key").exit_code == 2


def test_the_home_network_needs_the_key_and_no_log_holds_it(tmp_path: Path) -> None:
    with serving(tmp_path, "--lan", "--host", "127.0.0.1") as (process, port):
        key = shown_key(tmp_path)
        assert fetch(port, "/")[0] == 403
        status, headers = fetch(port, f"/enter/{key}")
        assert status == 303
        assert "HttpOnly" in headers["Set-Cookie"]
        live = json.loads(run("access", "list", "--json", "--data", tmp_path).stdout)
        assert [one["revoked_at"] for one in live] == [None]
        assert run("access", "revoke", "--data", tmp_path).stdout == "Keys taken back: 1.\n"
        assert fetch(port, f"/enter/{key}")[0] == 403
        process.send_signal(signal.SIGTERM)
        assert process.wait(15) == 0
    assert key not in (tmp_path / "err").read_text()
    assert all(key.encode() not in path.read_bytes() for path in tmp_path.iterdir() if path.name != "out")


def test_a_check_names_the_limit_at_the_price_others_get(data: str) -> None:
    """As the page of the same check does."""
    with contextlib.closing(open_store(str(Path(data) / "sourcing.sqlite3"))) as store:
        codes = [row[0] for row in store.read("SELECT style_code FROM product WHERE style_code <> '' LIMIT 12")]
        settings, seen = load_settings(store), set()
        for code in [*codes, "9-NOTHING-9"]:
            told = json.loads(run("--data", data, "check", code, "--price", "6.99", "--json").stdout)
            out, beside = run("--data", data, "check", code, "--price", "6.99").stdout, told.pop("at_others")
            there = at_others(store, Query(code=code, shelf_price=Decimal("6.99")), told, settings)
            assert (beside is None) == (there is None), code
            assert (beside is not None) == ("what others get" in out), code
            if beside is not None and there is not None:
                assert beside["asking_price"] == told["sale_price"]["mid"]
                assert beside["most_worth_paying"] == there["most_worth_paying"]
                price, most = (format_money(Decimal(beside[name])) for name in ("asking_price", "most_worth_paying"))
                assert f"Asked at {price}, what others get, it is worth at most {most}." in out
            seen.add(beside is None)
    assert seen == {True, False}


def test_a_check_counts_with_the_store_discount_typed(data: str) -> None:
    def landed(*words: str) -> str:
        told = run("--data", data, "check", "FWR-1042", "--price", "40", "--json", *words)
        assert told.exit_code == 0, told.output
        return str(json.loads(told.stdout)["landed_cost"])

    full = Decimal(landed())
    assert Decimal(landed("--discount", "20%")) == full * Decimal("0.8")
    assert Decimal(landed("--discount", "30% then 5.00")) == full * Decimal(23) / 40  # 28.00, then 23.00
    assert "not a discount" in run("--data", data, "check", "FWR-1042", "--discount", "all").stderr
    assert run("--data", data, "check", "--list", SAMPLES / "shelf_list.csv", "--discount", "20%").exit_code == 2
