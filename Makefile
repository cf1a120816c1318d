# Everything one does with this tree. `make` lists it. Needs python3 (3.11 to 3.13) with venv; brings the rest itself,
# from the locks in .ci/lock, and installs again when they change.

PYTHON ?= python3
WORKERS ?= 2

VENV := .venv
BIN := $(VENV)/bin
RUNTIME := $(VENV)/.runtime
DEV := $(VENV)/.dev
JS := tests/js/node_modules/.stamp

SHELL := /bin/bash
.SHELLFLAGS := -euo pipefail -c
.DEFAULT_GOAL := help
.DELETE_ON_ERROR:
MAKEFLAGS += --no-print-directory
export PATH := $(CURDIR)/$(BIN):$(PATH)
export PIP_DISABLE_PIP_VERSION_CHECK := 1
export PIP_ROOT_USER_ACTION := ignore

INSTALL := $(BIN)/python -m pip install --quiet --no-input --no-deps
COMPILE := $(BIN)/uv pip compile --quiet --universal --python-version 3.11 --fork-strategy fewest --generate-hashes \
	--no-emit-index-url --no-emit-find-links --custom-compile-command "make lock" $(if $(UPGRADE),--upgrade)

NODE_SERVES := { command -v npm && node -e 'process.exit(parseInt(process.versions.node) < 20 ? 1 : 0)'; } >/dev/null 2>&1

# A target whose work is still to be written says so and fails; it never passes for done.
later = @echo "make $@ comes with $(1); there is nothing to run yet." >&2; exit 2

.PHONY: help
help: ## This list
	@awk -F ':.*## ' '/^[a-z0-9-]+:.*## / { printf "  make %-14s %s\n", $$1, $$2 }' $(MAKEFILE_LIST)

.PHONY: run
run: $(RUNTIME) ## Start the server on this machine
	@$(BIN)/pennon serve

.PHONY: demo
demo: $(RUNTIME) ## The Saltmarsh Coast League, ready to try, on this machine
	@PENNON_DATA="$${PENNON_DATA:-$(CURDIR)/.build/demo}" $(BIN)/pennon demo

.PHONY: test
test: check ## All checks, then all tests (ARGS="-k clock" for some)
	@$(BIN)/pytest -n $(WORKERS) --dist loadfile $(ARGS)

.PHONY: check
check: $(DEV) $(JS) ## Style, layers and types of Python, JS and CSS: the fast half of `make test`
	@$(BIN)/ruff check --quiet .
	@$(BIN)/ruff format --quiet --check .
	@$(BIN)/lint-imports --no-logo
	@$(BIN)/mypy
	@cd tests/js && npm run --silent types
	@cd tests/js && npm run --silent lint
	@cd tests/js && npm test --silent

.PHONY: bench
bench: $(DEV) ## Costs against a plain tool doing the same, one JSON object a line (ONLY=name)
	@$(BIN)/python -m tests.bench.run $(if $(ONLY),--only $(ONLY)) $(ARGS)

.PHONY: accept-1
accept-1: $(DEV) ## Acceptance of stage 1: recordings in, a lesson video out, from the command line
	@$(BIN)/python -m tests.accept.accept_1 $(ARGS)

.PHONY: accept-2
accept-2: $(DEV) $(JS) ## Acceptance of stage 2: the whole flow on a server, for its three users
	@$(BIN)/python -m tests.accept.accept_2 $(ARGS)

.PHONY: accept-3
accept-3: $(DEV) $(JS) ## Acceptance of stage 3: any recording in, an exact tape out, what it costs, what survives
	@$(BIN)/python -m tests.accept.accept_3 $(ARGS)

.PHONY: accept-4
accept-4: $(DEV) $(JS) ## Acceptance of stage 4: a check on a phone, fair on a bad line, and nothing told before its time
	@$(BIN)/python -m tests.accept.accept_4 $(ARGS)

.PHONY: pictures
pictures: $(DEV) ## Take the pictures of README.md again, of the running demo
	@$(BIN)/python -m tests.browser.pictures

.PHONY: fault
fault: $(DEV) ## Kill it at its points and at random, and count what was lost (KILLS=100 SEED=1)
	@$(BIN)/python -m tests.fault.harness --kills $(or $(KILLS),100) --seed $(or $(SEED),1)

.PHONY: fuzz
fuzz: ## Random requests and files against a running server
	$(call later,the server)

.PHONY: load
load: $(DEV) ## Three hundred phones at once: errors, lost answers, waits (KILLS=20 to kill the server in each of 20 runs)
	@$(BIN)/python -m tests.load.run $(if $(KILLS),--kills $(KILLS)) $(if $(SEED),--seed $(SEED)) $(ARGS)

.PHONY: simulate
simulate: $(DEV) ## What the statistics promise, exact or simulated, one JSON object a line (ARGS="--only 5")
	@$(BIN)/python -m tests.simulate.targets $(ARGS)

.PHONY: test-engines
test-engines: ## The pages in a second and third browser engine
	$(call later,the pages)

.PHONY: lock
lock: $(DEV) ## Write the lock files anew (UPGRADE=1 for the newest releases)
	@$(COMPILE) pyproject.toml --group build -o .ci/lock/runtime.txt
	@$(COMPILE) pyproject.toml --group build --extra dev -c .ci/lock/runtime.txt -o .ci/lock/dev.txt
	@$(COMPILE) --group pyproject.toml:node -o .ci/lock/node.txt
	@cd tests/js && npm install --package-lock-only --silent $(if $(UPGRADE),&& npm update --package-lock-only --silent)


# What the targets above stand on. pip is the last thing that `venv` writes, so a venv broken off half-way is redone.
$(BIN)/pip:
	@$(PYTHON) -c 'import sys; sys.exit(not (3, 11) <= sys.version_info[:2] <= (3, 13))' \
		|| { echo "Pennon needs Python 3.11 to 3.13: make PYTHON=python3.12 ..." >&2; exit 1; }
	@$(PYTHON) -c 'import ensurepip, venv' 2>/dev/null \
		|| { echo "This python3 cannot make virtual environments. Run: apt-get install python3-venv" >&2; exit 1; }
	@echo "Making $(VENV) ..."
	@$(PYTHON) -m venv $(VENV)

$(RUNTIME): .ci/lock/runtime.txt pyproject.toml | $(BIN)/pip
	@echo "Installing what Pennon runs on ..."
	@$(INSTALL) --require-hashes -r .ci/lock/runtime.txt
	@PYTHONWARNINGS=ignore $(INSTALL) --no-build-isolation --editable .
	@touch $@

$(DEV): .ci/lock/dev.txt $(RUNTIME)
	@echo "Installing what the checks and tests need ..."
	@$(INSTALL) --require-hashes -r .ci/lock/dev.txt
	@touch $@

# The wheel's node lands in $(BIN), which comes first on the path.
$(JS): tests/js/package-lock.json $(DEV)
	@$(NODE_SERVES) || { echo "No node 20 with npm here: installing one from a wheel ..."; \
		$(INSTALL) --require-hashes -r .ci/lock/node.txt; }
	@$(NODE_SERVES) || { echo "The JS checks need node 20 or newer with npm; the wheel does not run here." >&2; exit 1; }
	@echo "Installing what the JS checks need ..."
	@cd tests/js && npm ci --silent
	@touch $@
