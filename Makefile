# The words used everywhere: run | test | lint | types | bench | wheel | lock
PYTHON ?= python3
PORT ?= 8000
UV_VERSION := $(shell sed -n 's/^required-version = "==\(.*\)"/\1/p' pyproject.toml)
BIN := .venv/bin
APT := DEBIAN_FRONTEND=noninteractive apt-get -y -q -o Acquire::Retries=3

.PHONY: run test lint types bench wheel lock

run: .venv/ready
	$(BIN)/sourcing serve --port $(PORT) --samples-if-empty

test: .venv/ready-dev
	@command -v chromium >/dev/null || if [ "$$(id -u)" = 0 ]; then $(APT) update && $(APT) install chromium; \
	else echo "Browser tests need chromium: sudo apt-get install chromium"; fi
	$(BIN)/python -m pytest

lint: .venv/ready-dev
	$(BIN)/ruff check .

types: .venv/ready-dev
	$(BIN)/mypy

bench: .venv/ready-dev
	$(BIN)/python -m benchmarks.load

wheel: .venv/ready-dev
	$(BIN)/uv build --wheel --out-dir dist

lock: .venv/made
	$(BIN)/uv lock

# A bare Debian has Python without ensurepip and without libzbar0; root gets them, others the command to give.
.venv/made:
	@$(PYTHON) -c 'import ensurepip' 2>/dev/null || if [ "$$(id -u)" = 0 ]; then $(APT) update && $(APT) install python3-venv; \
	else echo "Python lacks ensurepip: sudo apt-get install python3-venv"; exit 1; fi
	@ldconfig -p | grep -q libzbar.so.0 || if [ "$$(id -u)" = 0 ]; then $(APT) update && $(APT) install libzbar0; \
	else echo "Photos are read by the second reader alone until: sudo apt-get install libzbar0"; fi
	$(PYTHON) -m venv .venv
	$(BIN)/pip install -q "uv==$(UV_VERSION)"
	@touch $@

.venv/ready: .venv/made pyproject.toml uv.lock
	$(BIN)/uv sync -q --frozen --inexact --no-default-groups
	@touch $@

.venv/ready-dev: .venv/made pyproject.toml uv.lock
	$(BIN)/uv sync -q --frozen --inexact
	@touch $@
