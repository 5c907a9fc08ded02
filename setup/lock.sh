#!/usr/bin/env bash
# Makes both lock files anew from the .in files: exact pins of everything, direct and indirect.
#
# No option of the machine's own pip configuration may reach the files (an index or a folder of wheels that exists
# here exists nowhere else), hence every --no-emit switch, and no hashes: a wheel built locally has another hash.
set -euo pipefail
cd "$(dirname "$0")/.."

compile() {
    CUSTOM_COMPILE_COMMAND="make lock" .venv/bin/pip-compile --quiet --no-config --strip-extras --allow-unsafe \
        --no-emit-index-url --no-emit-find-links --no-emit-trusted-host --no-emit-options \
        --annotation-style=line --output-file "$2" "$1" 2>&1 | grep -v '^WARNING: Location' >&2 || true
}

compile requirements.in requirements.lock
compile requirements-dev.in requirements-dev.lock
if grep -nE '^-|^--|://' requirements.lock requirements-dev.lock | grep -v -- '-c requirements.lock'; then
    echo "The lock files hold an option or an address of this machine: see the lines above." >&2
    exit 1
fi
