"""The page of benchmarks: one part is measured anew, the others stay as they were."""

from __future__ import annotations

import sys
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

sys.path.append(str(Path(__file__).parents[1]))
from benchmarks import __main__ as bench


@pytest.fixture
def page(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Give the page a place of its own, and two benchmarks whose figures are ones and twos."""
    path = tmp_path / "benchmarks.md"
    path.write_text(bench.INTRO, encoding="utf-8")
    figures = {"load": 1.0, "serving": 2.0}

    def module(name: str) -> Any:
        ratio = figures[name.removeprefix("benchmarks.")]
        return SimpleNamespace(run=lambda: [{"name": "a thing", "ratio": ratio, "bar": 1.5, "detail": "x | y"}])

    monkeypatch.setattr(bench, "PAGE", path)
    monkeypatch.setattr(bench.os, "getloadavg", lambda: (0.5, 0.5, 0.5))
    monkeypatch.setattr(bench, "modules", lambda: ["load", "serving"])
    monkeypatch.setattr(bench.importlib, "import_module", module)
    return path


def test_named_parts_are_replaced_and_the_others_kept(page: Path) -> None:
    assert bench.main(["serving"]) == 0
    assert list(bench.parts(page.read_text())) == ["serving"]
    assert bench.main(["load"]) == 0
    first = bench.parts(page.read_text())
    assert list(first) == ["load", "serving"]
    assert "load average up to 0.5." in first["load"]
    assert "| a thing | 1 | 1.5 | yes | x / y |" in first["load"]
    assert "| 2 | 1.5 | **no** | x / y |" in first["serving"]
    assert bench.main([]) == 0
    assert page.read_text().startswith(bench.INTRO)
    assert bench.parts(page.read_text()) == first


def test_an_unknown_name_is_refused_and_nothing_written(page: Path, capsys: pytest.CaptureFixture[str]) -> None:
    before = page.read_text()
    assert bench.main(["nothing"]) == 2
    assert "There are: load, serving." in capsys.readouterr().err
    assert page.read_text() == before
