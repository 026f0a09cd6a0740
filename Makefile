# Two commands do everything on a fresh machine: `make study` and `make test`.
PYTHON ?= python3
VENV := .venv
BIN := $(VENV)/bin
DEMO := halyard
export OPENBLAS_NUM_THREADS ?= 1

.PHONY: study test docs bench checked gpu lint types web clean

$(VENV)/.run: requirements-run.lock pyproject.toml
	@echo "Making the environment (about a minute) ..."
	@test -x $(BIN)/python || $(PYTHON) -m venv $(VENV)
	@$(BIN)/python -m pip install -q --disable-pip-version-check --require-hashes -r requirements-run.lock
	@$(BIN)/python -m pip install -q --disable-pip-version-check --no-deps -e .
	@touch $@

$(VENV)/.all: requirements.lock $(VENV)/.run
	@$(BIN)/python -m pip install -q --disable-pip-version-check --require-hashes -r requirements.lock
	@touch $@

study: $(VENV)/.run  ## the main job on the demo project
	@test -e $(DEMO)/project.toml || $(BIN)/tuftwork demo $(DEMO)
	@$(BIN)/tuftwork study $(DEMO) --report

test: $(VENV)/.all lint types docs  ## everything that CI runs
	$(BIN)/python -m pytest -n logical --dist loadfile --no-loadscope-reorder

lint: $(VENV)/.all
	$(BIN)/ruff format --check src tests examples docs
	$(BIN)/ruff check src tests examples docs

types: $(VENV)/.all
	$(BIN)/mypy

docs: $(VENV)/.all  ## the manual, in docs/_build/html
	$(BIN)/sphinx-build -W --keep-going -q -b html docs docs/_build/html
	@echo "docs/_build/html/index.html"

bench: $(VENV)/.all  ## speed, as ratios within one run, kept as JSON
	@mkdir -p .benchmarks
	$(BIN)/python -m pytest tests/benchmark -q -o addopts="--import-mode=importlib --strict-markers" \
	  --benchmark-json=.benchmarks/latest.json

checked: $(VENV)/.all  ## unit tests with every annotated type checked as they run (slow)
	$(BIN)/python -m pytest tests/unit -n logical --dist loadfile \
	  --jaxtyping-packages=tuftwork,shapecheck.checker

gpu: $(VENV)/.all  ## the same flow tests on a graphics card
	$(BIN)/python -m pytest -m gpu

web:  ## the browser bundle, for developers (needs Node 20)
	cd web && npm ci --no-audit --no-fund && npm run build && npm test

clean:
	rm -rf $(VENV) docs/_build .pytest_cache .mypy_cache .ruff_cache
