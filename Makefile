# The only list of commands. `make demo` and `make test` need nothing but python3 (3.11 or newer) and make.
.DEFAULT_GOAL := help
.PHONY: help install demo run test rehearse check coverage fix lock bench validate rehearse-django6 screenshots clean-demo

V := .venv
BIN := $(V)/bin
PORT ?= 8000
export VAR_DIR ?= $(CURDIR)/var
export OPENBLAS_NUM_THREADS ?= 1
# Without compiled files each of the hundred processes that the tests start compiles the program anew.
unexport PYTHONDONTWRITEBYTECODE
PIP := $(BIN)/python -m pip install -q --disable-pip-version-check --require-hashes --only-binary :all:

# The first suitable interpreter: 3.11 or newer, able to make an environment.
PY := $(shell for p in python3.13 python3.12 python3.11 python3.14 python3; do \
  $$p -c 'import sys, ensurepip, venv; sys.exit(sys.version_info < (3, 11))' 2>/dev/null && { echo $$p; break; }; done)

# For the rehearsal on the next Django, which asks for a newer interpreter; it is reported and gates nothing.
V6 := .venv-django6
# Settings that the next Django only announces (mail) have no other name on the one that is declared.
LATER := default::django.utils.deprecation.RemovedAfterNextVersionWarning
PY6 ?= $(shell for p in python3.13 python3.12 python3.14 python3; do \
  $$p -c 'import sys, ensurepip, venv; sys.exit(sys.version_info < (3, 12))' 2>/dev/null && { echo $$p; break; }; done)

help: ## this list
	@grep -E '^[a-z-]+:.*##' $(MAKEFILE_LIST) | sed -E 's/:.*## /\t/' | expand -t 14

$(V)/made:
	@test -n "$(PY)" || { echo "Python 3.11 or newer with venv is needed (Debian/Ubuntu: apt install python3-venv)"; exit 1; }
	@echo "Making the environment with $(PY)"
	@$(PY) -m venv $(V) && touch $@

$(V)/base.ok: $(V)/made requirements/base.txt
	@echo "Installing what the program needs (once; about a minute)"
	@$(PIP) -r requirements/base.txt && touch $@

$(V)/test.ok: $(V)/base.ok requirements/test.txt
	@echo "Installing what the tests need (once)"
	@$(PIP) -r requirements/test.txt && touch $@

$(V)/dev.ok: $(V)/test.ok requirements/dev.txt
	@$(PIP) -r requirements/dev.txt && touch $@

$(V)/oracle.ok: $(V)/test.ok requirements/oracle.txt
	@echo "Installing the reference libraries (once; large)"
	@$(PIP) -r requirements/oracle.txt && touch $@

install: $(V)/base.ok ## the environment in .venv

demo: $(V)/base.ok ## the invented clinic on http://127.0.0.1:8000 (PORT=… overrides)
	@mkdir -p $(VAR_DIR)
	@$(BIN)/python manage.py migrate -v 0
	@$(BIN)/python manage.py demo --if-empty --show-logins --port $(PORT)
	@exec $(BIN)/python manage.py runserver --noreload --insecure 127.0.0.1:$(PORT)

run: $(V)/base.ok ## serve the database as it is
	@mkdir -p $(VAR_DIR) && $(BIN)/python manage.py migrate -v 0 && exec $(BIN)/python manage.py runserver --insecure 127.0.0.1:$(PORT)

test: $(V)/test.ok ## all tests that this machine can run, but the rehearsal
	@$(BIN)/python -m pytest -n 2 --dist worksteal --ignore tests/rehearsal

rehearse: $(V)/test.ok ## a clinic from nothing by the README, its upgrade and rollback, servers killed (four minutes)
	@$(BIN)/python -m pytest -n 2 tests/rehearsal

check: $(V)/dev.ok ## lint, format, types, migrations, hazard table, deployment settings
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .
	$(BIN)/mypy clinic offload
	$(BIN)/python manage.py makemigrations --check --dry-run
	$(BIN)/python -m pytest -q -n 0 tests/test_hazards.py tests/security/test_asvs.py tests/test_examples.py
	PRODUCTION=1 SECRET_KEY=check-only-0123456789-abcdefghijklmnopqrstuvwxyz-ABCDEFGHIJ ALLOWED_HOSTS=clinic.example.org \
	  $(BIN)/python manage.py check --deploy --fail-level WARNING
	@$(BIN)/python -m tests.coverage_by_package

coverage: $(V)/dev.ok ## share of lines that the pure packages' own tests run, by package; `make check` shows it again
	@mkdir -p $(VAR_DIR)
	@COVERAGE_FILE=$(VAR_DIR)/coverage $(BIN)/python -m coverage run -m pytest -q -n 0 --ignore-glob='*/validation/*' \
	  tests/clinic/guidelines tests/clinic/healing tests/clinic/charts tests/offload/core
	@$(BIN)/python -m tests.coverage_by_package

fix: $(V)/dev.ok ## mend lint and format
	$(BIN)/ruff check --fix . && $(BIN)/ruff format .

lock: $(V)/dev.ok ## pin requirements/*.in with hashes and without host names
	cd requirements && for set in base test dev oracle; do \
	  constraints=""; [ $$set = base ] || constraints="-c base.txt"; \
	  case $$set in dev|oracle) constraints="$$constraints -c test.txt";; esac; \
	  ../$(BIN)/uv pip compile -q --universal --fork-strategy fewest --python-version 3.11 --generate-hashes \
	    --no-emit-index-url --no-emit-find-links --no-header --no-annotate $$constraints $$set.in -o $$set.txt || exit 1; \
	done; \
	awk '/^[a-z]/ {keep = !/^django==/} keep' test.txt > .all-but-django; \
	../$(BIN)/uv pip compile -q --universal --fork-strategy fewest --python-version 3.12 --generate-hashes \
	  --no-emit-index-url --no-emit-find-links --no-header --no-annotate \
	  -c .all-but-django --override django6.in test.in -o django6.txt; done=$$?; rm .all-but-django; exit $$done
	@! grep -n '://' requirements/*.txt

bench: $(V)/test.ok ## performance as ratios measured in one run
	@$(BIN)/python -m tests.bench

validate: $(V)/oracle.ok ## compare with the heavy reference libraries
	@$(BIN)/python -m pytest -m oracle -n 2 --dist worksteal

rehearse-django6: ## the tests on the next Django, where Python 3.12 or newer is; tells and never fails the build
	@test -n "$(PY6)" || { echo "no rehearsal on Django 6: it needs Python 3.12 or newer, none is here"; exit 0; }; \
	test -x $(V6)/bin/python || $(PY6) -m venv $(V6); \
	$(subst $(BIN),$(V6)/bin,$(PIP)) -r requirements/django6.txt && { \
	  $(V6)/bin/python -m django --version; \
	  $(V6)/bin/python manage.py makemigrations --check --dry-run; \
	  $(V6)/bin/python -m pytest -n 2 -W "$(LATER)" $(PARTS); } || echo "the rehearsal on Django 6 found what stands above"

screenshots: $(V)/test.ok ## the README's pictures
	@$(BIN)/python -m tests.journeys.screenshots

clean-demo: ## forget the demonstration clinic
	@rm -rf $(VAR_DIR)
