"""The documents say what the code does."""

from __future__ import annotations

import csv
import re
from pathlib import Path

import click
import pytest

from sourcing.answers import COLUMNS
from sourcing.pack.figures import COLUMNS as COLUMNS_OF_PACK
from sourcing.pack.file import VERSION
from sourcing.settings import SETTINGS
from web.cli import BUSY, FAILED, REFUSED, SOME_FAILED, main
from web.routes import ROUTES

ROOT = Path(__file__).parent.parent


def test_every_setting_and_answer_column_has_its_entry() -> None:
    settings = (ROOT / "docs/settings.md").read_text(encoding="utf-8")
    answers = (ROOT / "docs/answer_columns.md").read_text(encoding="utf-8")
    assert [one.name for one in SETTINGS] == re.findall(r"^\| `(\w+)`", settings, re.M)
    assert [one.name for one in COLUMNS] == re.findall(r"^\| `(\w+)`", answers, re.M)


def test_every_command_has_help_an_example_and_an_entry() -> None:
    text = (ROOT / "docs/commands.md").read_text(encoding="utf-8")
    for name, command in main.commands.items():
        assert f"sourcing {name}" in text
        assert "Example:" in (command.help or "")
        if isinstance(command, click.Group):
            for below, inner in command.commands.items():
                assert "Example:" in (inner.help or "")
                assert f"`{below}`" in text or f"{name} {below}" in text


def every_option(command: click.Command) -> set[str]:
    """Long options of a command and of those below it, as a user types them."""
    found = {
        name for param in command.params if isinstance(param, click.Option) for name in param.opts if name[:2] == "--"
    }
    below = command.commands.values() if isinstance(command, click.Group) else ()
    return found.union(*(every_option(one) for one in below))


def test_every_option_has_its_entry_and_no_other() -> None:
    text = (ROOT / "docs/commands.md").read_text(encoding="utf-8")
    table = "\n".join(re.findall(r"^\| `--.*", text, re.M))
    assert set(re.findall(r"`(--[\w-]+)`", table)) - {"--help"} == every_option(main)


def test_every_exit_code_has_its_entry() -> None:
    text = (ROOT / "docs/commands.md").read_text(encoding="utf-8")
    listed = set(map(int, re.findall(r"(\d) [a-z]", text.split("Exit codes:")[1])))
    assert listed == {0, 2, FAILED, REFUSED, SOME_FAILED, BUSY}  # 2 is click's own for wrong usage


def test_the_pack_is_described_as_it_is_written() -> None:
    text = (ROOT / "docs/pack_format.md").read_text(encoding="utf-8")
    assert re.findall(r"version of the format, now (\d+)", text) == [str(VERSION)]
    history = text.split("## Versions")[1].split("## ")[0]
    assert re.findall(r"^\| (\d+) \|", history, re.M) == [str(number) for number in range(1, VERSION + 1)]
    columns = text.split("The figures are ")[1].split("## ")[0]
    assert set(re.findall(r"`([a-z]+(?:_\w+)?)`", columns)) == {one.name for one in COLUMNS_OF_PACK}
    reads = (ROOT / "web/static/aisle/file.js").read_text(encoding="utf-8")
    assert f"FORMAT = {VERSION};" in reads


def test_every_page_has_its_entry_and_no_other() -> None:
    text = (ROOT / "docs/pages.md").read_text(encoding="utf-8")
    assert set(re.findall(r"^\| `(/\S*)`", text, re.M)) == {one.rule for one in ROUTES if one.method == "GET"}


PAGES = sorted(
    path.relative_to(ROOT).as_posix()
    for pattern in ("*.md", "docs/*.md", "sample_comps/*.md")
    for path in ROOT.glob(pattern)
)


@pytest.mark.parametrize("page", PAGES)
def test_commands_that_are_shown_exist(page: str) -> None:
    text = (ROOT / page).read_text(encoding="utf-8")
    shown = re.findall(r"`[^`\n]+`|^ {4}.+", text, re.M)
    targets = set(re.findall(r"^([a-z]+):", (ROOT / "Makefile").read_text(encoding="utf-8"), re.M))
    for piece in shown:
        for word in re.findall(r"\bmake ([a-z]+)", piece):
            assert word in targets, piece
        for word in re.findall(r"(?:^`|/|run )sourcing ([a-z]+)", piece):
            assert word in main.commands, piece


@pytest.mark.parametrize("page", PAGES)
def test_no_page_is_unfinished_or_names_a_place_of_one_machine(page: str) -> None:
    text = (ROOT / page).read_text(encoding="utf-8")
    found = re.findall(
        r"\b(?:TODO|FIXME|TBD|XXX)\b|lorem ipsum|(?<![\w.~])/(?:home|root|mnt|opt|srv|tmp|work|Users)/", text
    )
    assert found == []


def test_the_readme_is_short_and_names_the_two_commands() -> None:
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    assert len(text.splitlines()) <= 100
    assert re.findall(r"^    make (\w+)", text, re.M) == ["run", "test"]
    assert {f"docs/{path.name}" for path in ROOT.glob("docs/*.md")} <= set(re.findall(r"\]\(([^)#]+)", text))


@pytest.mark.parametrize("page", PAGES)
def test_links_lead_somewhere(page: str) -> None:
    for target in re.findall(r"\]\((?!http)([^)#]+)\)", (ROOT / page).read_text(encoding="utf-8")):
        assert ((ROOT / page).parent / target).exists(), target


def test_the_samples_have_the_rows_they_say() -> None:
    text = (ROOT / "sample_comps/README.md").read_text(encoding="utf-8")
    for name, rows in re.findall(r"`(\w+\.csv)` \| (\d+)", text):
        with (ROOT / "sample_comps" / name).open(newline="", encoding="utf-8") as file:
            assert len(list(csv.DictReader(file))) == int(rows)
