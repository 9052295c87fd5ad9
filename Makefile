# make demo: the demonstration laboratory on http://127.0.0.1:8000 · make test: the whole suite
PYTHON ?= python3
PORT ?= 8000
VENV := .venv
PY := $(VENV)/bin/python

.PHONY: demo setup setup-dev test lint bench screens lock clean

demo: setup
	@$(PY) -m labsite.launch --port $(PORT)

setup: $(VENV)/installed

setup-dev: $(VENV)/installed-dev

$(VENV)/installed: requirements.lock
	@echo "Installing what the site needs into $(VENV) (a minute or two the first time) …"
	@$(PYTHON) -c 'import sys; sys.exit(sys.version_info < (3, 11) and "Withstand needs Python 3.11 or later; set PYTHON=")'
	@test -x $(PY) || $(PYTHON) -m venv $(VENV)
	@$(PY) -m pip install --quiet --disable-pip-version-check --no-deps --require-hashes -r requirements.lock
	@touch $@

$(VENV)/installed-dev: requirements-dev.lock $(VENV)/installed
	@echo "Installing what the tests need …"
	@$(PY) -m pip install --quiet --disable-pip-version-check --no-deps --require-hashes -r requirements-dev.lock
	@touch $@

test: setup-dev
	@$(PY) -m tests.run $(ARGS)

lint: setup-dev
	$(VENV)/bin/ruff check .
	$(VENV)/bin/ruff format --check .
	$(VENV)/bin/mypy labsite equipment schedules records
	$(VENV)/bin/lint-imports
	$(PY) manage.py makemigrations --check --dry-run
	WITHSTAND_PRODUCTION=1 WITHSTAND_SECRET_KEY=$$($(PY) -c 'import secrets; print(secrets.token_urlsafe(60))') \
		$(PY) manage.py check --deploy --fail-level WARNING

bench: setup-dev
	$(PY) -m pytest tests/bench -m "bench and not postgres" -p no:randomly -s
	DATABASE_URL=$${WITHSTAND_TEST_POSTGRES:-postgresql://postgres@127.0.0.1:5432/postgres} \
		$(PY) -m pytest tests/bench -m "bench and postgres" -p no:randomly -s

screens: setup-dev
	$(PY) -m tests.browser.screens docs/screens

lock: setup-dev
	$(VENV)/bin/uv pip compile --universal --python-version 3.11 --generate-hashes --no-emit-index-url --no-header pyproject.toml -o requirements.lock
	$(VENV)/bin/uv pip compile --universal --python-version 3.11 --generate-hashes --no-emit-index-url --no-header --extra dev pyproject.toml -o requirements-dev.lock

clean:
	rm -rf $(VENV) .pytest_cache .mypy_cache .ruff_cache
