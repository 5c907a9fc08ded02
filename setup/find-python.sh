#!/usr/bin/env bash
# Prints the Python to build the virtual environment from: the one named by $PYTHON, else the first of 3.11 or newer.
set -euo pipefail

fits() { "$1" -c 'import sys; sys.exit(sys.version_info < (3, 11))' 2>/dev/null; }

for candidate in ${PYTHON:-python3 python3.11 python3.12 python3.13 python3.14}; do
    if path="$(command -v "$candidate")" && fits "$path"; then
        echo "$path"
        exit 0
    fi
done
echo "Python 3.11 or newer is needed; set PYTHON to its path if it has another name." >&2
exit 1
