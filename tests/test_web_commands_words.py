"""The command line speaks the language of its environment, then of the settings; machines are answered alike in all."""

from __future__ import annotations

import ast
import json
import os
import re
import subprocess
import sys
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path

import click
import pytest
from click.testing import CliRunner, Result

import web.commands
from sourcing.settings import load_settings, save_settings
from sourcing.storage import Store
from web import languages
from web.cli import main
from web.commands import words

GERMAN = {"LC_ALL": "", "LANG": "de_DE.UTF-8"}
ROOM = Path(web.commands.__file__).parent
SAID = {"gettext", "ngettext", "gettext_noop"}
# Texts of the commands that are looked up nowhere: what is typed or read by a program, in any language.
TYPED = re.compile(
    r"sourcing prep (?:finish|start photograph --category shoes)|sourcing (?:outcomes|today) --undo"
    r"|--(?:inside|answer)|https?://|/connect|/enter/|/trust|column:|\.csv$"
)


def below(command: click.Command, *names: str) -> Iterator[tuple[tuple[str, ...], click.Command]]:
    """Yield a command and all below it, with what is typed for each."""
    yield names, command
    if isinstance(command, click.Group):
        for name, one in command.commands.items():
            yield from below(one, *names, name)


EVERY = list(below(main))


def run(*typed: str, **environment: str) -> Result:
    return CliRunner().invoke(main, [str(word) for word in typed], env=environment, prog_name="sourcing")


def german(*typed: str) -> Result:
    return run(*typed, **GERMAN)


class TestCatalog:
    def test_it_holds_what_every_command_says_of_itself(self) -> None:
        known = {str(one.id) for one in languages.read("de") if one.id}
        for names, command in EVERY:
            said = command.help or ""
            assert said, names
            for paragraph in re.split(r"\n\s*\n", said.strip()):
                if "Example: " not in paragraph:
                    assert " ".join(paragraph.split()) in known, (names, paragraph)
            for param in command.params:
                help_text = getattr(param, "help", None)
                assert help_text or isinstance(param, click.Argument), (names, param.name)
                assert not help_text or help_text in known, (names, help_text)

    def test_it_holds_clicks_own_words(self) -> None:
        known = {str(one.id) for one in languages.read("de") if one.id}
        assert {"Usage:", "Options", "Commands", words.HELP, "Missing argument", words.REQUIRED} <= known

    @pytest.mark.parametrize(
        ("names", "command"), EVERY, ids=lambda one: "-".join(one) if isinstance(one, tuple) else ""
    )
    def test_every_help_is_shown_in_german(self, names: tuple[str, ...], command: click.Command) -> None:
        """No line of the English help is left, but for examples and what is typed."""
        english = {line.strip() for line in run(*names, "--help").output.splitlines()}
        told = german(*names, "--help")
        assert told.exit_code == 0
        alike = {line.strip() for line in told.output.splitlines()} & english - {""}
        assert not {line for line in alike if re.search(r"[a-z]{3,} [a-z]{3,}", re.sub(r"\[.*\]", "", line))}, alike
        for example in re.findall(r"Example: (.+)", run(*names, "--help").output):
            assert f"Beispiel: {example}" in told.output

    def test_every_command_is_one_that_is_translated(self) -> None:
        assert [names for names, command in EVERY if not isinstance(command, words.Command)] == []


def literals(node: ast.AST) -> Iterator[ast.Constant | ast.JoinedStr]:
    """Yield the texts below a node that no call looks up: not those of docstrings, help, keys and formats."""
    if isinstance(node, ast.JoinedStr):
        yield node
    elif isinstance(node, ast.Constant) and isinstance(node.value, str):
        yield node
        return
    for child in ast.iter_child_nodes(node):
        if isinstance(child, ast.Call):
            name = child.func.id if isinstance(child.func, ast.Name) else getattr(child.func, "attr", "")
            if name in SAID:
                for value in child.keywords:
                    yield from literals(value)
                continue
            if name in {"option", "argument", "dumps", "whole", "get"}:
                continue
        if isinstance(child, ast.Compare) or (isinstance(node, ast.Subscript) and child is node.slice):
            continue
        if isinstance(node, ast.FormattedValue) and child is node.format_spec:
            continue
        if isinstance(child, ast.Expr) and isinstance(child.value, ast.Constant):
            continue  # a docstring
        if isinstance(node, ast.JoinedStr) and isinstance(child, ast.Constant):
            continue  # part of a text that was yielded as a whole
        yield from literals(child)


def text_of(node: ast.Constant | ast.JoinedStr) -> str:
    if isinstance(node, ast.Constant):
        return str(node.value)
    return "\0".join(str(part.value) if isinstance(part, ast.Constant) else "" for part in node.values)


def is_said(node: ast.Constant | ast.JoinedStr) -> bool:
    """Tell a text for people: a filled-in one with a word, or a plain one of several words."""
    text = TYPED.sub("", text_of(node))
    pattern = r"[^\W\d_]{2,}" if isinstance(node, ast.JoinedStr) else r"[^\W\d_]{2,}[,:;.]? [^\W\d_]{2,}"
    return re.search(pattern, text) is not None


def overlooked(source: str) -> list[str]:
    return [text_of(node) for node in literals(ast.parse(source)) if is_said(node)]


KEPT = {"leave out", words.HELP}  # a key, and what click has in its own catalog


class TestSentences:
    def test_none_is_said_past_the_catalogs(self) -> None:
        paths = [*ROOM.glob("*.py"), ROOM.parent / "cli.py"]
        found = {path.name: [one for one in overlooked(path.read_text()) if one not in KEPT] for path in paths}
        assert {name: texts for name, texts in found.items() if texts} == {}

    @pytest.mark.parametrize(
        "source",
        [
            'say("Nothing was changed.")',
            'say(f"{count} rows")',
            'raise click.UsageError("Name a code, or a list.")',
            'lines.append("  " + f"sold {share}")',
            'gettext("{what} now", what="two words")',
        ],
    )
    def test_one_would_be_found(self, source: str) -> None:
        assert overlooked(source)

    def test_single_words_that_are_printed_are_looked_up(self) -> None:
        found = []
        for path in ROOM.glob("*.py"):
            for node in ast.walk(ast.parse(path.read_text())):
                name = getattr(node.func, "attr", getattr(node.func, "id", "")) if isinstance(node, ast.Call) else ""
                if isinstance(node, ast.Call) and name in {
                    "echo",
                    "say",
                    "failed",
                    "working",
                    "add_column",
                    "UsageError",
                }:
                    found += [
                        text_of(one) for part in node.args for one in literals(ast.Expression(part))
                        if re.search(r"[^\W\d_]{2,}", TYPED.sub("", text_of(one)))
                    ]  # fmt: skip
        assert found == []


class TestEnvironment:
    def test_errors_of_what_was_typed(self) -> None:
        told = german("stock", "sell")
        assert told.exit_code == 2
        assert told.stderr == (
            "Aufruf: sourcing stock sell [OPTIONS] PIECE\nHilfe gibt 'sourcing stock sell --help'.\n\n"
            "Fehler: Es fehlt das Argument 'PIECE'.\n"
        )
        assert "Fehler: --out gehört zu --list." in german("check", "--out", "x.csv", "A1").stderr
        assert run("check", "--out", "x.csv", "A1").stderr.endswith("Error: --out goes with --list.\n")

    def test_an_error_before_the_data_is_open(self, tmp_path: Path) -> None:
        (tmp_path / "file").write_text("")
        told = german("--data", str(tmp_path / "file"), "today")
        assert told.exit_code == 1
        assert told.stderr.startswith("Fehler: Die Datendatei ")

    def test_the_process_itself(self, tmp_path: Path) -> None:
        """Run it as people do: what is chosen while modules load is chosen by the environment too."""
        environment = {**os.environ, **GERMAN, "SOURCING_DATA": str(tmp_path)}
        command = [sys.executable, "-m", "web.cli"]
        told = subprocess.run([*command, "--help"], env=environment, capture_output=True, text=True, check=True).stdout
        assert told.startswith("Aufruf: ")
        for line in ("Optionen:", "Befehle:", "Diese Hilfe zeigen, sonst nichts.", "Die Version zeigen, sonst nichts."):
            assert line in told
        english = subprocess.run(
            [*command, "--help"], env={**environment, "LANG": "C"}, capture_output=True, text=True, check=True
        ).stdout
        assert english.startswith("Usage: ")
        assert "Show the version and exit." in english

    @pytest.mark.parametrize("asked", ["C", "en_US.UTF-8", "de_DE.UTF-8"])
    def test_help_reads_no_numbers_and_no_tables(self, asked: str) -> None:
        code = (
            "import sys, web.cli\ntry:\n    web.cli.main(['check', '--help'])\nexcept SystemExit:\n    pass\n"
            "print(*sorted({name.split('.')[0] for name in sys.modules}), file=sys.stderr)"
        )
        environment = {**os.environ, "LC_ALL": "", "LANG": asked}
        done = subprocess.run([sys.executable, "-c", code], env=environment, capture_output=True, text=True, check=True)
        assert not {"babel", "pandas", "numpy", "sklearn", "statsmodels", "flask", "rich"} & set(done.stderr.split())

    def test_english_again_in_the_same_process(self) -> None:
        assert "Diese Hilfe zeigen" in german("undo", "--help").output
        assert "Show this message and exit." in run("undo", "--help").output


@pytest.fixture
def folder(sampled: Callable[[Path], Store], tmp_path: Path) -> str:
    """Return a data folder whose settings are German, while the environment is English."""
    store = sampled(tmp_path / "sourcing.sqlite3")
    save_settings(store, replace(load_settings(store), locale="de_DE", currency="EUR"), "a test")
    store.close()
    return str(tmp_path)


class TestSettings:
    def test_a_table(self, folder: str) -> None:
        told = run("ladder", "--data", folder, "--category", "shoes").stdout
        head = told.splitlines()[1]
        assert [name.strip() for name in re.split("┃", head) if name.strip()] == [
            "Nummer", "Artikel", "höchstens", "bringt", "Hälfte verkauft in", "verkauft", "neueste",
        ]  # fmt: skip
        assert re.search(r"\d+,\d\d\s€ │ +\d+,\d\d\s€ │ \d+ Tage", told)

    def test_lines_and_sentences(self, folder: str) -> None:
        found = run("comps", "search", "--data", folder, "--status", "sold")
        assert re.match(r"\d+-\d+  verkauft  \d+,\d\d  \d{4}-\d\d-\d\d  ", found.stdout)
        assert re.fullmatch(r"1\.\d{3} Zeilen; Seite 1 von \d+\.\n", found.stderr)
        assert run("comps", "search", "--data", folder, "--batch", "99").stderr == "Keine Zeile ist so.\n"
        assert run("prep", "list", "--data", folder).exit_code == 0
        assert run("prep", "learnt", "--data", folder).stderr.startswith("Noch kein Stapel wurde gestoppt.")

    def test_an_error_after_the_data_is_open_has_clicks_words_in_the_same_language(self, folder: str) -> None:
        told = run("today", "--data", folder, "--cut", "x").stderr
        assert told.startswith("Aufruf: sourcing today [OPTIONS]\nHilfe gibt ")
        assert "Fehler: Ungültiger Wert: „x“ ist kein neuer Preis" in told
        told = german("today", "--data", folder, "--cut", "x").stderr
        assert "Fehler: Ungültiger Wert: „x“" in told

    def test_english_settings_in_a_german_environment(self, sampled: Callable[[Path], Store], tmp_path: Path) -> None:
        sampled(tmp_path / "sourcing.sqlite3").close()
        told = german("today", "--data", str(tmp_path), "--cut", "x").stderr
        assert told.startswith("Usage: sourcing today [OPTIONS]\nTry ")
        assert "Error: Invalid value: “x” is no new price" in told

    def test_settings_that_are_taken_in_are_spoken(self, folder: str, tmp_path: Path) -> None:
        file = tmp_path / "settings.toml"
        assert run("settings", "export", "--data", folder, str(file)).stderr == f"Die Einstellungen sind in {file}.\n"
        file.write_text(file.read_text().replace('locale = "de_DE"', 'locale = "en_US"'))
        told = run("settings", "import", "--data", folder, str(file))
        assert told.stderr.endswith("The settings of settings.toml are in force.\n")
        assert run("settings", "undo", "--data", folder).stderr.endswith("vor der letzten Änderung gelten.\n")

    def test_machines_are_answered_alike(self, folder: str, sampled: Callable[[Path], Store], tmp_path: Path) -> None:
        """JSON, CSV and exit codes are those of English, where their values are no sentences."""
        (tmp_path / "en").mkdir()
        store = sampled(tmp_path / "en" / "sourcing.sqlite3")
        save_settings(store, replace(load_settings(store), currency="EUR"), "a test")
        store.close()
        for typed in (("comps", "search", "--json"), ("ladder", "--json"), ("prep", "learnt", "--json"),
                      ("stock", "list", "--json"), ("stores", "--json"), ("access", "list", "--json")):  # fmt: skip
            both = [run(*typed, "--data", place) for place in (folder, str(tmp_path / "en"))]
            assert both[0].exit_code == both[1].exit_code == 0
            told = [json.loads(one.stdout) for one in both]
            if typed[0] == "ladder":
                assert {row.pop("match") for row in told[0]} != {row.pop("match") for row in told[1]}  # words
            assert told[0] == told[1], typed
        lists = []
        for place in (folder, str(tmp_path / "en")):
            asked = tmp_path / "asked.csv"
            asked.write_text("code,brand\nZZ999-111,Qwx\n")
            lists.append(run("check", "--data", place, "--list", str(asked)))
        assert lists[0].stdout.splitlines()[0] == lists[1].stdout.splitlines()[0]
        assert lists[0].exit_code == lists[1].exit_code
        one = json.loads(run("check", "--data", folder, "--json", "ZZ999-111").stdout)
        assert one["decision"] == "too little to go on"
        shown = run("check", "--data", folder, "ZZ999-111").stdout
        assert re.search(r"^decision +too little to go on$", shown, re.MULTILINE)  # fields and values stay

    def test_one_and_several(self, folder: str, tmp_path: Path) -> None:
        for rows, said in ((1, "1 Zeile beantwortet"), (2, "2 Zeilen beantwortet")):
            asked = tmp_path / "asked.csv"
            asked.write_text("code\n" + "ZZ999-111\n" * rows)
            told = run("check", "--data", folder, "--list", str(asked), "--out", str(tmp_path / "out.csv")).stderr
            assert told.startswith(said)
