# Two commands: `make demo` and `make test`. Both need Python 3.11 or later with venv, and make; nothing else.
PYTHON ?= python3
BIN := .venv/bin
PIP := $(BIN)/python -m pip --disable-pip-version-check --quiet

OLDEST_TESTS := tests/pan tests/money tests/spatial $(patsubst %,tests/outputs/test_%.py,isoxml geojson geopackage shapefile rasters kml_gpx)

.PHONY: demo test slow lint oldest bench truth mutants snapshot clean

demo: .venv/run
	$(BIN)/hardpan demo --out out/demo

test: .venv/test
	$(BIN)/python -m pytest -n 2 --dist loadfile -m "not slow"

slow: .venv/test
	$(BIN)/python -m pytest -n 2 -m slow
	$(BIN)/python -m pytest -n 2 --nbmake --nbmake-timeout=120 notebooks

lint: .venv/lint
	$(BIN)/ruff format --check .
	$(BIN)/ruff check .
	$(BIN)/mypy
	$(BIN)/lint-imports
	$(BIN)/codespell
	$(BIN)/nbstripout --verify notebooks/*.ipynb

oldest: .venv/oldest/done
	.venv/oldest/bin/python -m hardpan demo --out out/oldest
	.venv/oldest/bin/python -m pytest -p no:cacheprovider -o filterwarnings=default $(OLDEST_TESTS)
	@echo "oldest versions: the demo and $(OLDEST_TESTS) ran with .ci/oldest.txt"

bench: .venv/test
	$(BIN)/python tests/benchmarks/demo.py
	$(BIN)/python tests/benchmarks/bench.py
	$(BIN)/python tests/benchmarks/coasts.py
	PYTHONPATH=tests $(BIN)/python tests/benchmarks/farm.py

truth: .venv/test
	PYTHONPATH=tests $(BIN)/python -m truth.study
	PYTHONPATH=tests $(BIN)/python -m truth.decision
	PYTHONPATH=tests $(BIN)/python -m truth.clay
	PYTHONPATH=tests $(BIN)/python -m truth.sites 36
	PYTHONPATH=tests $(BIN)/python -m truth.passes
	PYTHONPATH=tests $(BIN)/python -m truth.endings
	PYTHONPATH=tests $(BIN)/python -m truth.comparison
	PYTHONPATH=tests $(BIN)/python -m truth.strips
	PYTHONPATH=tests $(BIN)/python -m truth.strips power

mutants: .venv/test
	$(BIN)/python tests/mutation/check.py

snapshot: .venv/test
	PYTHONPATH=tests:data/demo $(BIN)/python -m golden.snapshot

clean:
	rm -rf .venv out

.venv/python:
	$(PYTHON) -m venv .venv
	touch $@

.venv/run: .venv/python pyproject.toml constraints.txt
	$(PIP) install -c constraints.txt -e .
	touch $@

.venv/test: .venv/python pyproject.toml constraints.txt
	$(PIP) install -c constraints.txt -e '.[test]'
	touch $@ .venv/run

.venv/lint: .venv/test
	$(PIP) install -c constraints.txt -e '.[test,lint]'
	touch $@

.venv/oldest/done: .venv/python pyproject.toml .ci/oldest.txt
	$(PYTHON) -m venv .venv/oldest
	.venv/oldest/bin/python -m pip --disable-pip-version-check --quiet install -c .ci/oldest.txt -e . pytest pytest-benchmark pytest-timeout hypothesis
	touch $@
