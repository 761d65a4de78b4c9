# Two commands do it all: `make demo` runs the main job, `make test` passes the tests.
PYTHON ?= python3
SPEED ?= 30
VENV := .venv
BIN := $(VENV)/bin
READY := $(VENV)/.ready

.PHONY: demo test lint bench truth clean

demo: $(READY)
	@$(BIN)/boretight demo --speed $(SPEED)

test: $(READY) lint
	@.ci/need-programs
	@$(BIN)/python -m pytest -n auto --dist loadfile

lint: $(READY)
	@$(BIN)/ruff check .
	@$(BIN)/ruff format --check .
	@$(BIN)/mypy
	@$(BIN)/lint-imports

bench: $(READY)
	@.ci/need-programs broker
	@$(BIN)/python -m tests.benchmarks

truth: $(READY)
	@$(BIN)/python -m tests.benchmarks.truth --picture .cache/truth.svg

$(READY): pyproject.toml .lock/dev.txt
	@echo "Setting up an isolated environment in $(VENV) (once; a minute or two)..."
	@$(PYTHON) -c 'import sys; sys.exit(sys.version_info < (3, 11))' || { echo "Python 3.11 or newer is needed; this is $$($(PYTHON) --version). Next: make PYTHON=/path/to/python3.11"; exit 69; }
	@$(PYTHON) -m venv $(VENV) || { echo "This Python cannot make environments. Next, on Debian: apt-get install python3-venv"; exit 69; }
	@$(BIN)/python -m pip install --quiet --disable-pip-version-check --require-hashes -r .lock/dev.txt
	@$(BIN)/python -m pip install --quiet --disable-pip-version-check --no-deps -e .
	@touch $@

clean:
	rm -rf $(VENV) .cache .mypy_cache .ruff_cache .pytest_cache .hypothesis
