#!/usr/bin/env bash
# Runs a command with PostgreSQL and Redis at hand: TEST_DATABASE_URL and REDIS_URL name them.
#
# What answers on loopback and lets us in is used; what does not is started for the command's time only, on ports of
# its own and with nothing kept, so that no cluster of yours is ever touched.
set -euo pipefail
cd "$(dirname "$0")/.."

scratch="$(mktemp -d)"
postgres_bin="$(ls -d /usr/lib/postgresql/*/bin 2>/dev/null | sort -V | tail -n 1 || true)"
own_cluster=""
own_redis=""

# The postgres user must reach its own folder when we are root, and PostgreSQL refuses to run as root.
as_postgres() {
    if [ "$(id -u)" -eq 0 ]; then (cd / && runuser -u postgres -- "$@"); else "$@"; fi
}

stop() {
    [ -n "$own_cluster" ] && as_postgres "$postgres_bin/pg_ctl" -D "$own_cluster" -m immediate stop >/dev/null 2>&1
    [ -n "$own_redis" ] && kill "$own_redis" 2>/dev/null && wait "$own_redis" 2>/dev/null
    rm -rf "$scratch"
}
trap 'stop || true' EXIT

free_port() {
    .venv/bin/python -c 'import socket; s = socket.socket(); s.bind(("127.0.0.1", 0)); print(s.getsockname()[1])'
}

# May we make and drop databases there, without a password?
answers() { psql -w -q -d "$1" -c 'DO $$ BEGIN ASSERT (SELECT rolcreatedb OR rolsuper FROM pg_roles WHERE rolname = current_user); END $$' >/dev/null 2>&1; }

start_postgres() {
    local port
    port="$(free_port)"
    chmod 711 "$scratch"
    mkdir "$scratch/postgres"
    [ "$(id -u)" -eq 0 ] && chown postgres "$scratch/postgres"
    own_cluster="$scratch/postgres/cluster"
    as_postgres "$postgres_bin/initdb" -D "$own_cluster" -U postgres -A trust -E UTF8 --locale=C --no-sync >/dev/null
    as_postgres "$postgres_bin/pg_ctl" -D "$own_cluster" -w -l "$scratch/postgres/log" start >/dev/null -o \
        "-p $port -c listen_addresses=127.0.0.1 -c unix_socket_directories='' -c fsync=off -c full_page_writes=off"
    TEST_DATABASE_URL="postgresql://postgres@127.0.0.1:$port/postgres"
}

if [ -z "${TEST_DATABASE_URL:-}" ]; then
    TEST_DATABASE_URL="postgresql://postgres@127.0.0.1:5432/postgres"
    answers "$TEST_DATABASE_URL" || start_postgres
fi

if [ -z "${REDIS_URL:-}" ]; then
    port=6379
    if [ "$(redis-cli -h 127.0.0.1 -p "$port" ping 2>/dev/null)" != PONG ]; then
        port="$(free_port)"
        redis-server --bind 127.0.0.1 --port "$port" --save "" --appendonly no --dir "$scratch" >"$scratch/redis.log" &
        own_redis=$!
        until [ "$(redis-cli -h 127.0.0.1 -p "$port" ping 2>/dev/null)" = PONG ]; do
            kill -0 "$own_redis" || { cat "$scratch/redis.log" >&2; exit 1; }
            sleep 0.1
        done
    fi
    REDIS_URL="redis://127.0.0.1:$port/0"
fi

export TEST_DATABASE_URL REDIS_URL
"$@"
