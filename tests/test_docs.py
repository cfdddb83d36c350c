"""The documents say what the code does."""

from __future__ import annotations

import csv
import re
from pathlib import Path

import click
import pytest

from sourcing.answers import COLUMNS
from sourcing.settings import SETTINGS
from web.cli import main

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


@pytest.mark.parametrize(
    "page", sorted(p.relative_to(ROOT).as_posix() for p in [*ROOT.glob("*.md"), *ROOT.glob("docs/*.md")])
)
def test_links_lead_somewhere(page: str) -> None:
    for target in re.findall(r"\]\((?!http)([^)#]+)\)", (ROOT / page).read_text(encoding="utf-8")):
        assert ((ROOT / page).parent / target).exists(), target


def test_the_samples_have_the_rows_they_say() -> None:
    text = (ROOT / "sample_comps/README.md").read_text(encoding="utf-8")
    for name, rows in re.findall(r"`(\w+\.csv)` \| (\d+)", text):
        with (ROOT / "sample_comps" / name).open(newline="", encoding="utf-8") as file:
            assert len(list(csv.DictReader(file))) == int(rows)
