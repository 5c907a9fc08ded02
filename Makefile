# `make help` lists the targets. Everything lands in .venv/ and var/; `make clean` removes both.
SHELL := /bin/bash
PY := .venv/bin/python

.DEFAULT_GOAL := help
.PHONY: help setup tools run test check bench lock demo clean

help: ## this list
	@grep -hE '^[a-z]+:.*## ' $(MAKEFILE_LIST) | sed -E 's/^([a-z]+):.*## (.*)/  make \1\t\2/' | expand -t 16

setup: ## install what is missing, make the tables, load the demo into an empty database
	@setup/packages.sh run
	@setup/environment.sh run
	@$(PY) -m config.prepare

run: setup ## set up, then start web server and worker; Ctrl-C stops both (port: WELLHOLD_PORT, 8000)
	@exec $(PY) -m config.start

tools: setup
	@setup/packages.sh test
	@setup/environment.sh test

test: tools ## the whole suite on SQLite, then what touches the database beneath pages and papers on PostgreSQL
	@setup/with-services.sh setup/suite.sh $(ARGS)

check: tools ## ruff, mypy, import-linter, migrations, check --deploy
	@setup/check.sh

bench: tools ## measure what must be quick, each against a floor taken in the same run
	@$(PY) bench/run.py $(ARGS)

demo: ## put the database and its files aside, then set up with a demo whose dates are today's
	@setup/fresh-demo.sh
	@$(MAKE) --no-print-directory setup

lock: tools ## make the lock files anew from requirements.in and requirements-dev.in
	@setup/lock.sh
	@setup/environment.sh test

clean: ## remove .venv, var and every cache: the database and its files too
	@printf 'This removes var/ with its database and files. Go on? [y/N] ' && read -r answer && [ "$$answer" = y ]
	rm -rf .venv var .mypy_cache .ruff_cache .pytest_cache .hypothesis .import_linter_cache
	find . -name __pycache__ -type d -prune -exec rm -rf {} +
