# The words used everywhere: run | test | lint | types | bench | languages | wheel | lock
PYTHON ?= python3
PORT ?= 8000
# Folder of the data; empty: $SOURCING_DATA, else the platform's own.
DATA ?=
# A language to begin (ISO 639-1); empty: those there are.
NEW ?=
UV_VERSION := $(shell sed -n 's/^required-version = "==\(.*\)"/\1/p' pyproject.toml)
BIN := .venv/bin
UV := .venv/uv-$(UV_VERSION)
APT := DEBIAN_FRONTEND=noninteractive apt-get -y -q -o Acquire::Retries=3
# $(call system,package,what goes without it): root installs, others are told the command; neither stops the run.
system = if [ "$$(id -u)" = 0 ] && $(APT) update && $(APT) install $(1); then :; \
	else echo "$(2) To install it: sudo apt-get install $(1)"; fi

.PHONY: run test lint types bench languages wheel lock

run: .venv/ready
	$(BIN)/sourcing $(if $(DATA),--data "$(DATA)") serve --port $(PORT) --samples-if-empty

test: .venv/ready-dev
	@command -v chromium >/dev/null || $(call system,chromium,Browser tests are skipped: chromium is missing.)
	$(BIN)/python -m pytest -n auto --dist loadfile

lint: .venv/ready-dev
	$(BIN)/ruff check .
	$(BIN)/ruff format --check --quiet .

types: .venv/ready-dev
	$(BIN)/mypy

bench: .venv/ready-dev
	$(BIN)/python -m benchmarks

# Brings the catalogs up to the code; NEW=fr begins one.
languages: .venv/ready-dev
	$(BIN)/python -m web.languages $(NEW)

wheel: $(UV)
	$(BIN)/uv build -q --wheel --out-dir dist

lock: $(UV)
	$(BIN)/uv lock

# The stamp carries uv's version, so that a new one stated in pyproject.toml is installed without being asked for.
# A bare Debian has Python without ensurepip, and no libzbar0.
$(UV):
	@$(PYTHON) -c 'import ensurepip' 2>/dev/null || $(call system,python3-venv,Python lacks ensurepip.)
	@ldconfig -p 2>/dev/null | grep -q libzbar.so.0 || \
	$(call system,libzbar0,Photos are read by the second reader alone: libzbar0 is missing.)
	$(PYTHON) -m venv .venv
	$(BIN)/pip install -q "uv==$(UV_VERSION)"
	@touch $@

# --inexact: making ready to run takes nothing away from what making ready to test has installed.
.venv/ready: $(UV) pyproject.toml uv.lock
	$(BIN)/uv sync -q --frozen --inexact --no-default-groups
	@touch $@

.venv/ready-dev: $(UV) pyproject.toml uv.lock
	$(BIN)/uv sync -q --frozen --inexact
	@touch $@ .venv/ready
