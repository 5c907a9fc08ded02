#!/usr/bin/env bash
# Puts the embedded database and its files aside, so that the next set-up loads the demo anew. Nothing is deleted.
set -euo pipefail
cd "$(dirname "$0")/.."

var="${WELLHOLD_VAR:-var}"
[ -e "$var/wellhold.sqlite3" ] || exit 0
# The running product would go on writing into what was put aside.
if command -v fuser >/dev/null && fuser -s "$var/wellhold.sqlite3"; then
    echo "Wellhold is running on $var; stop it first." >&2
    exit 1
fi
aside="$var/before-$(date -u +%Y%m%dT%H%M%SZ)"
mkdir -m 700 "$aside"
for name in wellhold.sqlite3 wellhold.sqlite3-wal wellhold.sqlite3-shm files queue queue-control; do
    if [ -e "$var/$name" ]; then mv "$var/$name" "$aside/"; fi
done
echo "The database and its files are now in $aside."
