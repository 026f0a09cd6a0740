# Two commands do everything on a fresh machine: `make study` and `make test`.
PYTHON ?= python3
VENV := .venv
BIN := $(VENV)/bin
DEMO := halyard
PIP := $(BIN)/python -m pip install -q --disable-pip-version-check
# what was installed is compiled on all cores; some packages bring files that are no Python of ours
COMPILE := $(BIN)/python -m compileall -qq -j 0 $(VENV)/lib || true
export OPENBLAS_NUM_THREADS ?= 1

.PHONY: study test kernels docs bench checked gpu lint types web clean

$(VENV)/.run: requirements-run.lock pyproject.toml
	@echo "Making the environment (about a minute) ..."
	@test -x $(BIN)/python || $(PYTHON) -m venv $(VENV)
	@$(PIP) --no-compile --require-hashes -r requirements-run.lock
	@$(COMPILE)
	@$(PIP) --no-deps -e .
	@touch $@

$(VENV)/.all: requirements.lock $(VENV)/.run
	@$(PIP) --no-compile --require-hashes -r requirements.lock
	@$(COMPILE)
	@touch $@

study: $(VENV)/.run  ## the main job on the demo project
	@test -e $(DEMO)/project.toml || $(BIN)/tuftwork demo $(DEMO)
	@$(BIN)/tuftwork study $(DEMO) --report

test: $(VENV)/.all  ## everything that CI runs
	@$(MAKE) -j 2 --output-sync=target lint types docs kernels
	$(BIN)/python -m pytest -n logical --dist loadfile --no-loadscope-reorder

kernels: $(VENV)/.all  ## those that several workers would otherwise compile, each for itself
	@$(BIN)/python -c "from tuftwork.study.ahead import KERNELS; [one() for one in KERNELS.values()]"

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
