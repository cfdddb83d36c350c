"""The files for an always-on box: read by their own tools where there are any, and held to the command line."""

from __future__ import annotations

import configparser
import json
import re
import shlex
import shutil
import subprocess
from pathlib import Path

import pytest

from web.commands.serve import serve

ROOT = Path(__file__).parent.parent
UNIT = ROOT / "deploy" / "sourcing.service"
CONTAINER = ROOT / "deploy" / "Containerfile"


def understood(words: list[str]) -> dict[str, object]:
    """Return the options of `sourcing serve` as the command line itself takes them apart."""
    context = serve.make_context("serve", words)
    return dict(context.params)


def unit() -> dict[str, list[str]]:
    """Return the unit's settings of all sections; a name may stand more than once."""
    read = configparser.RawConfigParser(strict=False)
    read.optionxform = str  # type: ignore[assignment,method-assign]
    read.read(UNIT)
    return {name: [value] for section in read.sections() for name, value in read.items(section)}


def test_the_unit_starts_what_the_command_line_knows() -> None:
    said = unit()
    program, command, *words = shlex.split(said["ExecStart"][0])
    assert (program, command) == ("/usr/local/lib/sourcing/bin/sourcing", "serve")
    options = understood(words)
    assert options["https"] is True
    assert options["no_link"] is True  # the journal may hold no key
    (example,) = re.findall(r"#   (--behind-proxy .+)", UNIT.read_text())
    assert understood(shlex.split(example))["proxy"] == "127.0.0.1"


def test_the_unit_gives_it_its_folder_and_nothing_else() -> None:
    said = {name: values[0] for name, values in unit().items()}
    assert said["User"] == "sourcing"
    assert said["StateDirectory"] == "sourcing"
    assert "SOURCING_DATA=/var/lib/sourcing" in said["Environment"]
    assert (said["ProtectSystem"], said["ProtectHome"], said["NoNewPrivileges"]) == ("strict", "yes", "yes")
    assert said["CapabilityBoundingSet"] == ""
    assert said["Restart"] == "on-failure"


def test_the_services_own_reader_takes_the_unit(tmp_path: Path) -> None:
    reader = shutil.which("systemd-analyze")
    if reader is None:
        pytest.skip("no systemd-analyze here; the unit was parsed above")
    text = UNIT.read_text().replace("/usr/local/lib/sourcing/bin/sourcing", "/bin/true")  # not installed here
    copy = tmp_path / UNIT.name
    copy.write_text(text)
    for content, fine in ((text, True), (text.replace("ProtectSystem=strict", "ProtectSystem=maybe"), False)):
        copy.write_text(content)
        read = subprocess.run([reader, "verify", "--man=no", str(copy)], capture_output=True, text=True, timeout=60)
        if "Failed to initialize manager" in read.stderr or "unavailable" in read.stderr:
            pytest.skip(f"systemd-analyze cannot work here: {read.stderr.strip()}")
        about_it = [line for line in read.stderr.splitlines() if UNIT.name in line]  # not of the machine's other units
        assert (about_it == []) is fine, read.stderr


def steps() -> list[list[tuple[str, str]]]:
    """Return the container file's stages, each a list of instruction and words, lines joined."""
    text = re.sub(r"^#.*\n", "", CONTAINER.read_text(), flags=re.M).replace("\\\n", " ")
    stages: list[list[tuple[str, str]]] = []
    for line in filter(None, (line.strip() for line in text.splitlines())):
        instruction, words = line.split(None, 1)
        assert re.fullmatch(
            r"FROM|WORKDIR|COPY|RUN|ENV|USER|VOLUME|EXPOSE|HEALTHCHECK|STOPSIGNAL|ENTRYPOINT|CMD", instruction
        )
        if instruction == "FROM":
            stages.append([])
        stages[-1].append((instruction, words))
    return stages


def test_the_container_installs_while_building_alone() -> None:
    build, final = steps()
    assert any("uv sync --frozen" in words for _, words in build)
    version = re.search(r'^required-version = "==(.*)"', (ROOT / "pyproject.toml").read_text(), re.M)
    assert version
    assert version[1] not in CONTAINER.read_text()  # stated in one place
    run = " ".join(words for instruction, words in final if instruction == "RUN")
    assert "pip" not in run
    assert "uv" not in run.split()
    assert "libzbar0" in run
    said = dict(final)
    assert said["USER"] == "10001"
    assert said["VOLUME"] == "/data"
    assert "SOURCING_DATA=/data" in said["ENV"]
    assert any(words.startswith("--from=build") for instruction, words in final if instruction == "COPY")


def test_the_container_starts_what_the_command_line_knows() -> None:
    said = dict(steps()[1])
    program, command, *words = json.loads(said["ENTRYPOINT"]) + json.loads(said["CMD"])
    assert (program, command) == ("sourcing", "serve")
    options = understood(words)
    assert (options["https"], options["no_link"]) == (True, True)
    assert str(options["port"]) in said["EXPOSE"].split()


def test_no_key_or_data_is_carried_into_a_layer() -> None:
    ignored = (ROOT / "deploy" / "Containerfile.dockerignore").read_text().splitlines()
    assert {".git", ".venv", "**/secret_key", "**/*.sqlite3", "**/https"} <= set(ignored)
