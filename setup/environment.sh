#!/usr/bin/env bash
# Makes .venv and installs the pinned packages into it. Usage: environment.sh run|test
#
# A stamp holds the hash of what was installed from: an unchanged lock costs nothing the second time.
set -euo pipefail
cd "$(dirname "$0")/.."

purpose="${1:-run}"

if ! .venv/bin/python -c 'import pip' 2>/dev/null; then
    rm -rf .venv
    "$(setup/find-python.sh)" -m venv .venv
fi

install_lock() {
    local lock="$1" stamp=".venv/.installed-$1" wanted
    wanted="$(sha256sum "$lock" | cut -d' ' -f1)"
    [ "$(cat "$stamp" 2>/dev/null)" = "$wanted" ] && return
    echo "Installing the packages of $lock"
    # --no-deps: the lock is complete, and nothing outside it may come in.
    .venv/bin/python -m pip install -qq --disable-pip-version-check --no-input --no-deps -r "$lock" </dev/null
    echo "$wanted" >"$stamp"
}

install_lock requirements.lock
if [ "$purpose" = test ]; then install_lock requirements-dev.lock; fi
