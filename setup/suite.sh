#!/usr/bin/env bash
# The whole suite on SQLite, then what touches the database beneath pages and papers on PostgreSQL. Run by
# setup/with-services.sh.
#
# Both always run, so that one failing does not hide what the other would say. A test that needs a service may not
# skip itself here (WELLHOLD_ALL_SERVICES). The tests of one file stay in one process: some load the demo or start the
# product once for all of them; they are begun in the order of tests/conftest.py, the slowest first.
set -uo pipefail
cd "$(dirname "$0")/.."
export WELLHOLD_ALL_SERVICES=1
failed=0

echo "== the whole suite, on SQLite"
env -u DATABASE_URL .venv/bin/pytest -n 2 --dist loadfile --no-loadscope-reorder -q "$@" || failed=1

echo "== what touches the database beneath pages and papers, on PostgreSQL"
DATABASE_URL="$TEST_DATABASE_URL" .venv/bin/pytest -n 2 --dist loadfile --no-loadscope-reorder -q -m on_both_databases "$@" || failed=1

exit "$failed"
