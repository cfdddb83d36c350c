"""The wheel holds everything the application reads and works away from the checkout; versions are stated once."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
import tomllib
import zipfile
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
PACKAGES = PROJECT["tool"]["hatch"]["build"]["targets"]["wheel"]["packages"]
# Run from the wheel alone: pages from its templates, the schema from its migrations, the samples from its data.
USE = """
import sys
from importlib.resources import files
from pathlib import Path
import models, sourcing, web
home = Path(sys.argv[1])
for package in (models, sourcing, web):
    assert Path(package.__file__).is_relative_to(home), package.__file__
samples = Path(str(files("sample_comps").joinpath("spring_sales.csv")))
assert samples.is_file() and samples.is_relative_to(home), samples
from web.app import create_app
page = create_app(sys.argv[2]).test_client()
for path in ("/", "/help", "/haul", "/comps", "/rules", "/static/style.css", "/static/photo.js"):
    assert page.get(path, base_url="http://localhost").status_code == 200, path
print("works")
"""


@pytest.fixture(scope="module")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> Path:
    beside = Path(sys.executable).parent / "uv"
    uv = str(beside) if beside.exists() else shutil.which("uv")
    if uv is None:
        pytest.skip("no uv: make test installs it")
    folder = tmp_path_factory.mktemp("wheel")
    built = subprocess.run(
        [uv, "build", "--wheel", "--out-dir", str(folder), str(ROOT)], capture_output=True, text=True, timeout=300
    )
    no_network = re.search("dns error|connect error|offline|timed out", built.stderr)
    if built.returncode and no_network and "CI" not in os.environ:
        pytest.skip("the build backend could not be fetched: no network")
    assert built.returncode == 0, built.stderr
    (found,) = folder.glob("*.whl")
    return found


def test_the_wheel_holds_every_file_of_its_packages(wheel: Path) -> None:
    here = {
        path.relative_to(ROOT).as_posix()
        for package in PACKAGES
        for path in (ROOT / package).rglob("*")
        if path.is_file() and "__pycache__" not in path.parts
    }
    inside = {name for name in zipfile.ZipFile(wheel).namelist() if ".dist-info/" not in name}
    assert inside == here
    for part in (
        "web/templates/base.html",
        "web/static/style.css",
        "sourcing/storage/migrations/env.py",
        "sourcing/storage/migrations/versions/0001_first_tables.py",
        "sourcing/storage/migrations/versions/0002_any_export.py",
        "sample_comps/shelf_list.csv",
        "sourcing/py.typed",
    ):
        assert part in inside


def test_the_wheel_works_away_from_the_checkout(wheel: Path, tmp_path: Path) -> None:
    home = tmp_path / "unpacked"
    zipfile.ZipFile(wheel).extractall(home)
    result = subprocess.run(
        [sys.executable, "-c", USE, str(home.resolve()), str(tmp_path / "comps.sqlite3")],
        cwd=tmp_path,
        env={**os.environ, "PYTHONPATH": str(home), "SOURCING_DATA": str(tmp_path)},
        capture_output=True,
        text=True,
        timeout=120,
    )
    assert result.stdout.strip() == "works", result.stderr


def test_the_wheel_names_command_licence_and_version(wheel: Path) -> None:
    archive = zipfile.ZipFile(wheel)
    (info,) = {name.split("/")[0] for name in archive.namelist() if ".dist-info/" in name}
    assert "sourcing = web.cli:main" in archive.read(f"{info}/entry_points.txt").decode()
    assert archive.read(f"{info}/licenses/LICENSE").startswith(b"MIT License")
    assert f"\nVersion: {PROJECT['project']['version']}\n" in archive.read(f"{info}/METADATA").decode()


def test_versions_are_stated_once() -> None:
    version = PROJECT["project"]["version"]
    newest = re.search(r"^## (\S+)", (ROOT / "CHANGELOG.md").read_text(encoding="utf-8"), re.M)
    assert newest is not None
    assert newest.group(1).strip("[]") in (version, "Unreleased")
    uv = PROJECT["tool"]["uv"]["required-version"].removeprefix("==")
    assert re.fullmatch(r"\d+\.\d+\.\d+", uv)
    for path in [ROOT / "Makefile", ROOT / ".ci/run", ROOT / "README.md", *ROOT.glob("docs/*.md")]:
        assert uv not in path.read_text(encoding="utf-8"), path
    for package in PACKAGES:
        for path in (ROOT / package).rglob("*.py"):
            assert "__version__ =" not in path.read_text(encoding="utf-8"), path


def test_the_lock_file_is_of_this_project_and_names_every_dependency() -> None:
    lock = tomllib.loads((ROOT / "uv.lock").read_text(encoding="utf-8"))
    (own,) = [one for one in lock["package"] if one["name"] == PROJECT["project"]["name"]]
    said = {re.split(r"[<>=!~\[; ]", one)[0] for one in PROJECT["project"]["dependencies"]}
    assert {one["name"] for one in own["dependencies"]} == said
    assert {name: {one["name"] for one in few} for name, few in own["dev-dependencies"].items()} == {
        name: {re.split(r"[<>=!~\[; ]", one)[0] for one in few} for name, few in PROJECT["dependency-groups"].items()
    }
