"""Imports run one way, web -> sourcing -> models, and serving starts light."""

from __future__ import annotations

import ast
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
MAY = {"models": set(), "sourcing": {"models"}, "web": {"sourcing"}}
ROOMS = set(MAY)
NEVER = {
    "models": {"flask", "flask_wtf", "werkzeug", "jinja2", "sqlalchemy", "alembic", "click", "waitress"},
    "sourcing": {"flask", "flask_wtf", "werkzeug", "jinja2", "click", "waitress"},
    "web": {"sqlalchemy", "sqlite3", "alembic", "numpy", "scipy", "pandas", "sklearn", "statsmodels"},
}
HEAVY = {"pandas", "sklearn", "statsmodels"}


def imported(source: str) -> set[str]:
    names: set[str] = set()
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Import):
            names |= {alias.name.split(".")[0] for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.level == 0 and node.module:
            names.add(node.module.split(".")[0])
    return names


def wrong_arrows(room: str, source: str) -> set[str]:
    names = imported(source)
    return (names & ROOMS) - MAY[room] - {room} | names & NEVER[room]


FILES = [(room, path) for room in MAY for path in sorted((ROOT / room).rglob("*.py"))]


@pytest.mark.parametrize(("room", "path"), FILES, ids=[str(path.relative_to(ROOT)) for _, path in FILES])
def test_arrows_run_one_way(room: str, path: Path) -> None:
    assert wrong_arrows(room, path.read_text()) == set()


def test_a_wrong_arrow_is_seen() -> None:
    assert wrong_arrows("models", "def f():\n    from sourcing.codes import parse_code\n") == {"sourcing"}
    assert wrong_arrows("sourcing", "import flask") == {"flask"}
    assert wrong_arrows("web", "import models.price, sqlalchemy as sa") == {"models", "sqlalchemy"}
    assert wrong_arrows("web", "from sourcing import haul") == set()


@pytest.mark.parametrize(("room", "path"), FILES, ids=[str(path.relative_to(ROOT)) for _, path in FILES])
def test_nothing_heavy_at_module_top(room: str, path: Path) -> None:
    top = [node for node in ast.parse(path.read_text()).body if isinstance(node, ast.Import | ast.ImportFrom)]
    assert imported(ast.unparse(ast.Module(top, []))) & HEAVY == set()


def test_serving_starts_light(tmp_path: Path) -> None:
    code = (
        "import sys; from web.app import create_app; app = create_app(sys.argv[1]); "
        "print(' '.join(sorted({name.split('.')[0] for name in sys.modules})))"
    )
    run = subprocess.run(
        [sys.executable, "-c", code, str(tmp_path / "comps.db")],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=True,
    )
    heavy = HEAVY | {"sqlalchemy", "numpy", "scipy", "alembic", "PIL", "tomlkit", "openpyxl", "rich"}
    assert set(run.stdout.split()) & heavy == set()
    assert not (tmp_path / "comps.db").exists()
