# Everything happens in .venv, which the first command makes; remove the folder to begin afresh.

PYTHON := $(shell for name in python3 python3.13 python3.12 python3.11 python3.14 python; do \
	$$name -c 'import sys; sys.exit(not sys.version_info >= (3, 11))' 2>/dev/null \
	&& { echo $$name; break; }; done)
BIN := .venv/bin

.PHONY: help play test check clean

help: ## Show what there is to make
	@grep -E '^[a-z]+:.*##' $(MAKEFILE_LIST) | sed -E 's/:[^#]*## /\t/' | expand -t 12

play: .venv/installed ## Set up, and play along with the chords that come in (or with a rehearsal)
	@exec $(BIN)/groundling play $(ARGS)

test: .venv/tested ## Set up, and run the tests
	$(BIN)/python -m pytest -q $(ARGS)

check: .venv/tested ## Lint, types, imports, docstrings
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .
	$(BIN)/mypy
	$(BIN)/lint-imports
	$(BIN)/interrogate -q engine ports presets bench tests

clean: ## Remove what was set up
	rm -rf .venv build *.egg-info

.venv/made:
	@if [ -z "$(PYTHON)" ]; then \
		echo "Groundling needs Python 3.11 or later, and none is on the PATH; please install one." >&2; \
		exit 1; \
	fi
	@$(PYTHON) -m venv .venv || { \
		echo "$(PYTHON) cannot make a virtual environment; on Debian and Ubuntu install $(PYTHON)-venv." >&2; \
		rm -rf .venv; exit 1; \
	}
	@touch $@

.venv/installed: .venv/made pyproject.toml
	@echo "Setting up in .venv ..."
	@$(BIN)/python -m pip install -q --disable-pip-version-check -e .
	@touch $@

.venv/tested: .venv/installed pyproject.toml
	@$(BIN)/python -m pip install -q --disable-pip-version-check -e '.[dev]'
	@touch $@
