#!/usr/bin/env bash
# Installs the operating system's packages that are missing, and only those. Usage: packages.sh run|test
#
# Asks nothing as root, uses sudo otherwise; where neither apt nor the right to use it exists, says in one line what is
# missing and lets the caller go on or stop (exit 1).
set -euo pipefail

purpose="${1:-run}"
missing=()

installed() { dpkg-query -W -f='${Status}' "$1" 2>/dev/null | grep -q '^install ok installed$'; }
library() { ldconfig -p 2>/dev/null | grep "$1" >/dev/null; }

# The libraries WeasyPrint draws certificates with, and fonts for it to draw.
library libpango-1.0.so.0 || missing+=(libpango-1.0-0)
library libpangoft2-1.0.so.0 || missing+=(libpangoft2-1.0-0)
library libharfbuzz-subset.so.0 || missing+=(libharfbuzz-subset0)
# Not grep -q: it ends before what it reads from has, which pipefail takes for something missing.
font() { fc-list 2>/dev/null | grep -i "$1" >/dev/null; }
font 'dejavu' || missing+=(fontconfig fonts-dejavu-core)
font 'open sans' || missing+=(fonts-open-sans)
font 'charis' || missing+=(fonts-sil-charis)

# A Python of 3.11 or newer that can make a virtual environment.
if ! python="$("$(dirname "$0")/find-python.sh")"; then
    missing+=(python3 python3-venv)
elif ! "$python" -c 'import ensurepip, venv' 2>/dev/null; then
    missing+=("$(basename "$(readlink -f "$python")")-venv")
fi

if [ "$purpose" = test ]; then
    if ! command -v "${WELLHOLD_CHROMIUM:-chromium}" >/dev/null; then missing+=(chromium); fi
    if ! command -v redis-server >/dev/null; then missing+=(redis-server); fi
    if ! command -v psql >/dev/null || ! ls /usr/lib/postgresql/*/bin/initdb >/dev/null 2>&1; then
        missing+=(postgresql)
    fi
fi

[ "${#missing[@]}" -eq 0 ] && exit 0

if ! command -v apt-get >/dev/null; then
    echo "Missing system packages (Debian's names): ${missing[*]}. Install them with your system's package manager." >&2
    exit 1
fi
as_root=()
if [ "$(id -u)" -ne 0 ]; then
    if ! command -v sudo >/dev/null; then
        echo "Missing system packages: ${missing[*]}. Install them as root: apt-get install ${missing[*]}" >&2
        exit 1
    fi
    as_root=(sudo)
fi

echo "Installing system packages: ${missing[*]}"
export DEBIAN_FRONTEND=noninteractive
log="$(mktemp)"
install() {
    "${as_root[@]}" apt-get update -q &&
        "${as_root[@]}" env DEBIAN_FRONTEND=noninteractive apt-get install -q -y --no-install-recommends "${missing[@]}"
}
if ! install >"$log" 2>&1 </dev/null; then
    tail -n 20 "$log" >&2
    echo "Missing system packages that could not be installed: ${missing[*]} (log: $log)" >&2
    exit 1
fi
rm -f "$log"
