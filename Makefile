# Two commands on a fresh machine: `make demo` and `make test`. Needs Python 3.11+ with venv, and git.

PYTHON ?= $(shell for p in python3 python3.13 python3.12 python3.11 python; do \
	"$$p" -c 'import sys, venv; sys.exit(sys.version_info < (3, 11))' 2>/dev/null && { echo "$$p"; break; }; done)
VENV ?= .venv
BIN := $(VENV)/bin
PIP := $(BIN)/python -m pip install --quiet --disable-pip-version-check
DEMO := runs/quillback_hill
# tests are shared out by file, so that fixtures are made once; what is timed runs alone
JOBS ?= 2
FUZZ_S ?= 60
# what `make versions` runs: the code that leans on libraries; what they retire later is let pass
QUICK := tests/unit/io tests/unit/layers tests/unit/config tests/unit/report tests/unit/cli
TESTERS := contourpy hypothesis icalendar packaging pytest rio-cogeo
SHARED := -n $(JOBS) --dist loadfile

.PHONY: docs lock versions audit demo demo-garden test test-all lint format bench mutants fuzz machine clean help

help:  ## show these lines
	@grep -E '^[a-z-]+:.*##' $(MAKEFILE_LIST) | sed -E 's/:.*## /\t/'

$(BIN)/python:
	@test -n "$(PYTHON)" || { echo "Python 3.11 or later with venv was not found; install it, or name it: make demo PYTHON=/path/to/python3"; exit 2; }
	$(PYTHON) -m venv $(VENV)

$(VENV)/.run: pyproject.toml demo.lock | $(BIN)/python
	@echo "setting up brimline in $(VENV) (once)"
	$(PIP) --require-hashes --requirement demo.lock
	$(PIP) --no-deps --editable .
	@touch $@

$(VENV)/.test: pyproject.toml | $(BIN)/python
	@echo "setting up brimline and its test tools in $(VENV) (once)"
	$(PIP) --editable '.[test]'
	$(PIP) --no-deps gdal-utils  # its validator alone, without GDAL's bindings
	@touch $@ $(VENV)/.run

sample_data/quillback_hill/terrain.tif: sample_data/make_quillback_hill.py | $(VENV)/.run
	$(BIN)/python sample_data/make_quillback_hill.py

demo: $(VENV)/.run sample_data/quillback_hill/terrain.tif  ## set up, and run the whole job on the demo site
	$(BIN)/brimline run configs/quillback_hill.toml --out $(DEMO)

sample_data/fernhollow_yard/levels.csv: sample_data/make_fernhollow_yard.py | $(VENV)/.run
	$(BIN)/python sample_data/make_fernhollow_yard.py

demo-garden: $(VENV)/.run sample_data/fernhollow_yard/levels.csv  ## the same for a school garden, from spot levels without a map
	$(BIN)/brimline run configs/fernhollow_yard.toml --out runs/fernhollow_yard

machine: | $(BIN)/python
	@PYTHON=$(BIN)/python tests/setup_machine.sh

test: machine $(VENV)/.test  ## set up, and run the tests
	$(BIN)/python -m pytest -m "not slow" $(SHARED) --ignore=tests/benchmarks
	$(BIN)/python -m pytest -m "not slow" tests/benchmarks
	NUMBA_DISABLE_JIT=1 $(BIN)/python -m pytest -q -m "interpreted and not slow" $(SHARED)

test-all: machine $(VENV)/.test  ## every test, the slow ones too
	$(BIN)/python -m pytest $(SHARED) --hypothesis-profile=exploring --ignore=tests/benchmarks
	$(BIN)/python -m pytest tests/benchmarks
	NUMBA_DISABLE_JIT=1 $(BIN)/python -m pytest -q -m interpreted $(SHARED) --hypothesis-profile=exploring

lint: $(VENV)/.test  ## formatting, lint, types, and the direction of imports
	$(BIN)/ruff format --check .
	$(BIN)/ruff check .
	$(BIN)/mypy
	$(BIN)/lint-imports

format: $(VENV)/.test  ## format the code and mend what lint can mend
	$(BIN)/ruff format .
	$(BIN)/ruff check --fix .

$(VENV)/.docs: pyproject.toml | $(BIN)/python
	$(PIP) --editable '.[docs]'
	@touch $@ $(VENV)/.run

docs: $(VENV)/.docs  ## build the documentation site in build/docs
	$(BIN)/python -m sphinx -W -q -b html docs build/docs
	@echo "open build/docs/index.html"

lock: | $(BIN)/python  ## pin anew what `make demo` installs
	$(PIP) uv
	$(BIN)/uv pip compile --quiet --universal --python-version 3.11 --generate-hashes --no-header --no-annotate --no-emit-index-url pyproject.toml -o demo.lock

versions: | $(BIN)/python  ## quick tests on the lowest and on the newest versions that pyproject.toml allows
	$(PIP) uv
	@for which in lowest-direct highest; do echo "== $$which"; \
		$(BIN)/uv venv --quiet --clear build/$$which && \
		$(BIN)/uv pip install --quiet --python build/$$which --resolution $$which --editable . && \
		$(BIN)/uv pip install --quiet --python build/$$which $(TESTERS) && \
		build/$$which/bin/python -m pytest -q -W ignore::DeprecationWarning -m "not slow and not browser" $(QUICK) || exit 1; \
	done

audit: | $(BIN)/python  ## ask for known weaknesses of what `make demo` installs; needs the service of the Python index
	$(PIP) pip-audit
	$(BIN)/pip-audit --strict --disable-pip --requirement demo.lock

bench: $(VENV)/.test sample_data/quillback_hill/terrain.tif  ## time the kernels against peer libraries, and whole runs
	$(BIN)/python tests/benchmarks/run.py
	$(BIN)/python tests/benchmarks/whole_runs.py

mutants: $(VENV)/.test  ## plant errors in the domain rooms, and list those that no test notices
	$(PIP) --editable '.[test,mutants]'
	$(BIN)/python tests/mutants/run.py

fuzz: $(VENV)/.test  ## damaged bytes into every reader, led by what code they reach; FUZZ_S=600 for longer
	$(PIP) atheris
	$(BIN)/python tests/fuzz/run.py $(FUZZ_S)

clean:  ## remove what these commands made
	rm -rf $(VENV) runs sample_data/quillback_hill sample_data/fernhollow_yard
