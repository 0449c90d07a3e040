# make demo: build the environment, check and mend the piece that comes along, set its sketch for orchestra.
# make test: build the environment and pass the tests.
PY ?= python3
VENV := .venv
BIN := $(VENV)/bin

.PHONY: demo test check lint docs figures bench clean

demo: $(VENV)/.planned
	$(BIN)/deskproof demo -o mended.musicxml --force

test: $(VENV)/.tested
	$(BIN)/ruff check src tests tools benchmarks
	$(BIN)/mypy
	$(BIN)/python -m pytest

check: test

docs: $(VENV)/.installed
	$(BIN)/python tools/make_docs.py

figures: $(VENV)/.tested
	$(BIN)/python benchmarks/figures.py

bench: $(VENV)/.tested
	$(BIN)/python benchmarks/speed.py

$(VENV)/.made:
	@$(PY) -c 'import sys; sys.exit(sys.version_info < (3, 11))' 2>/dev/null || \
	  { echo "Deskproof needs Python 3.11 or newer; '$(PY)' is $$($(PY) --version 2>&1 || echo missing). Try: make $(MAKECMDGOALS) PY=python3.12"; exit 1; }
	@$(PY) -c 'import ensurepip, venv' 2>/dev/null || \
	  { echo "This Python has no venv module. On Debian or Ubuntu: apt install python3-venv"; exit 1; }
	$(PY) -m venv $(VENV)
	@touch $@

$(VENV)/.installed: $(VENV)/.made pyproject.toml
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --only-binary :all: -e . hatchling editables
	@touch $@

$(VENV)/.planned: $(VENV)/.installed pyproject.toml
	@echo "Installing the solver that plans a scoring (ortools, about 170 MB with what it needs)."
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --only-binary :all: -e '.[plan]'
	@touch $@

$(VENV)/.tested: $(VENV)/.installed pyproject.toml
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --only-binary :all: -e '.[test]'
	@touch $@

clean:
	rm -rf $(VENV) .pytest_cache .mypy_cache .ruff_cache mended.musicxml lamps.plan.toml lamps-full.musicxml lamps-short.musicxml
