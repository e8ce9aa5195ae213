# Two commands do everything on a fresh machine: make demo, make test.
PYTHON ?= python3
VENV := .venv
BIN := $(VENV)/bin
STAMP := $(VENV)/.ready

.PHONY: demo test cover check bench truth setup warm ngspice browser postgresql node clean

setup: $(STAMP)

$(STAMP): pyproject.toml
	@$(PYTHON) -c 'import sys; sys.exit(sys.version_info < (3, 11))' || { echo "amptrail needs Python 3.11 or newer"; exit 1; }
	$(PYTHON) -m venv $(VENV)
	$(BIN)/python -m pip install --quiet --upgrade pip
	$(BIN)/python -m pip install --quiet -e '.[dev]'
	@touch $(STAMP)

# an independent circuit simulator for the comparisons; installed when this user may
ngspice:
	@command -v ngspice >/dev/null 2>&1 || sh scripts/install.sh "ngspice" "the comparisons with it will be SKIPPED"

# a real browser for the page tests; installed when this user may
browser:
	@command -v chromium >/dev/null 2>&1 || sh scripts/install.sh "chromium fonts-dejavu-core" "the pages are NOT tried in a browser"

# node for the type check of the pages' scripts, in development only; the machine's own, or the wheel's
node: $(STAMP)
	@command -v npm >/dev/null 2>&1 || $(BIN)/python -m pip install --quiet -e '.[scripts]' || echo "*** node cannot be installed: the scripts of the pages are NOT type-checked" >&2

# a database server for the tests of the store; installed when this user may
postgresql:
	@command -v postgres >/dev/null 2>&1 || ls /usr/lib/postgresql/*/bin/initdb >/dev/null 2>&1 || sh scripts/install.sh "postgresql" "the store is NOT tried on it"

# the solver is compiled to machine code once and kept, all four ways it is used (one cause, two, a feed, no power):
# two test workers must not both do it, and no page of a test may wait for it
warm: $(STAMP)
	@echo "preparing the solver (compiled once, some minutes on a small machine) ..."
	@cd demos/first && export AMPTRAIL=../../$(BIN)/amptrail && \
	$$AMPTRAIL next lamp.sheet lamp.readings --json > /dev/null && \
	$$AMPTRAIL suspects lamp.sheet lamp.readings --doubles all --json > /dev/null && \
	$$AMPTRAIL feed lamp.sheet --restore WORK --against "W2 open" --json > /dev/null && \
	$$AMPTRAIL expect lamp.sheet --phase off --with ohmmeter --json > /dev/null

demo: warm
	@$(BIN)/amptrail demo sprayer

test: warm ngspice browser postgresql node
	$(BIN)/python -m pytest -n 2 --dist loadfile

# the same tests with coverage measured: about twice as long
cover: warm ngspice browser postgresql node
	$(BIN)/python -m pytest -n 2 --dist loadfile --cov --cov-report=term:skip-covered

check: $(STAMP) node
	$(BIN)/ruff check src tests benchmarks
	$(BIN)/ruff format --check src tests benchmarks
	$(BIN)/mypy
	$(BIN)/python scripts/check_scripts.py

bench: warm ngspice
	$(BIN)/python -m benchmarks.bench

truth: warm ngspice
	$(BIN)/python -m benchmarks.oracle_misses
	$(BIN)/python -m benchmarks.oracle_misses --engine twin
	$(BIN)/python -m benchmarks.spice_misses
	$(BIN)/python -m benchmarks.doubles
	$(BIN)/python -m benchmarks.story_ranks
	$(BIN)/python -m benchmarks.twin_misses
	$(BIN)/python -m benchmarks.proofs
	$(BIN)/python -m benchmarks.dead_parts

clean:
	rm -rf $(VENV) .pytest_cache .mypy_cache .ruff_cache .hypothesis
