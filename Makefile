# Everything runs in .venv, which `make setup` builds; nothing needs root.

VENV := .venv
PY := $(VENV)/bin/python
STAMP := $(VENV)/made
PORT ?= 8050
export PORT

.DEFAULT_GOAL := help
.PHONY: help setup demo test peers test-long lint bench tables pictures lock clean

help: ## what there is to make
	@grep -hE '^[a-z-]+:.*## ' $(MAKEFILE_LIST) | sed -E 's/:.*## /\t/' | expand -t 12

setup: $(STAMP) ## build .venv and install the package in it (quick when nothing changed)

$(STAMP): pyproject.toml requirements/dev.lock scripts/venv.sh
	@bash scripts/venv.sh $(VENV)
	@touch $@

demo: setup ## a simulated line with the dashboard on http://127.0.0.1:$PORT (8050)
	$(PY) -m meltledger demo

test: setup ## the tests, all but the long ones
	$(PY) -m pytest -n auto --dist loadfile

peers: ## machines that we did not write, for the tests that talk with them (needs npm)
	npm ci --prefix tests/journeys/peers --ignore-scripts --no-audit --no-fund

test-long: setup ## soaks and long runs only
	$(PY) -m pytest -m long --timeout 7200

lint: setup ## style, formatting, types and the direction of imports
	$(VENV)/bin/ruff check .
	$(VENV)/bin/ruff format --check .
	$(VENV)/bin/mypy
	$(VENV)/bin/lint-imports

bench: setup ## our figures beside a plain way of doing the same, in one run
	$(PY) -m benchmarks all

tables: setup ## the tables in the pages that follow from the code
	PYTHONPATH=. $(PY) scripts/tables.py

pictures: setup ## the pictures of the README, made with the demo and Chromium
	$(PY) scripts/pictures.py

lock: ## pin what pyproject.toml asks for, tried in a fresh environment
	bash scripts/lock.sh

clean: ## what was built, but not .venv and not data/
	rm -rf build dist *.egg-info .mypy_cache .pytest_cache .ruff_cache .hypothesis .import_linter_cache
	find . -name __pycache__ -not -path './$(VENV)/*' -prune -exec rm -rf {} +
