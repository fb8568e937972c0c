# make demo   a fresh machine to a live picture
# make test   everything that is checked; LIGHTOFF_REQUIRE_ALL=1 lets nothing skip
# make soak   the long forms of the same tests
# make bench  speed, as ratios measured side by side

PYTHON ?= python3
VENV := .venv
BIN := $(VENV)/bin
RUN_STAMP := $(VENV)/.installed-run
TEST_STAMP := $(VENV)/.installed-test

.PHONY: demo test soak bench library recordings screenshots clean
.DEFAULT_GOAL := demo

demo: $(RUN_STAMP)
	@$(BIN)/lightoff demo $(DEMO)

test: $(TEST_STAMP)
	$(BIN)/ruff format --check .
	$(BIN)/ruff check .
	$(BIN)/mypy
	$(BIN)/lint-imports
ifdef TESTS
	$(BIN)/python -m pytest $(TESTS)
else
	$(BIN)/python -m pytest -n 3 --dist loadfile --no-loadscope-reorder -m "not alone" --ignore=tests/benchmarks
	$(BIN)/python -m pytest -m alone tests/system tests/collector
	$(BIN)/python -m pytest tests/benchmarks
endif

soak: $(TEST_STAMP)
	$(BIN)/python -m tests.soak docs/soak.md $(TESTS)

bench: $(TEST_STAMP)
	LIGHTOFF_BENCH=1 LIGHTOFF_HOURS=24 LIGHTOFF_BENCH_TABLE=$(or $(TABLE),benchmarks.md) $(BIN)/python -m pytest -s -q tests/benchmarks

library: $(TEST_STAMP)
	$(BIN)/python -m drivers.simulate.library collector/cases.npz
	$(BIN)/python -m drivers.simulate.learning collector/cases.npz collector/net.npz

screenshots: $(TEST_STAMP)
	mkdir -p docs
	LIGHTOFF_SCREENSHOTS=docs $(BIN)/python -m pytest -q tests/system -k screenshots

recordings: $(RUN_STAMP)
	$(BIN)/python replay_data/make_recordings.py

$(BIN)/python:
	@$(PYTHON) -c 'import sys; sys.exit(sys.version_info < (3, 11))' || \
	  { echo "lightoff needs Python 3.11 or newer; say make PYTHON=/path/to/python3.11" >&2; exit 1; }
	@$(PYTHON) -c 'import ensurepip, venv' 2>/dev/null || \
	  { echo "Python's venv is missing; run: sudo apt-get install -y python3-venv" >&2; exit 1; }
	@$(PYTHON) -m venv $(VENV)

$(RUN_STAMP): $(BIN)/python pyproject.toml constraints.txt
	@echo "installing into $(VENV), once ..."
	@$(BIN)/python -m pip install --quiet --disable-pip-version-check -c constraints.txt -e .
	@touch $@

$(TEST_STAMP): $(RUN_STAMP)
	@$(BIN)/python -m pip install --quiet --disable-pip-version-check -c constraints.txt -e '.[dev]'
	@touch $@

clean:
	rm -rf $(VENV) build *.egg-info
