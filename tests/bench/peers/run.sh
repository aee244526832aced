#!/usr/bin/env bash
# Overall standings by sum of places, countback for equals, of a whole field: ours, and what one would otherwise ask. Lines
# of JSON with versions, ratios at the end. Each has to come to the same standings.
#
#   tests/bench/peers/run.sh [ATHLETES ...]      100000 and 1000000 where nothing is said
#
# Needs Python 3 and PostgreSQL (Debian); installs DuckDB and others from PyPI under target/bench.
set -euo pipefail
cd "$(dirname "$0")/../../.."

out=$PWD/target/bench
mkdir -p "$out"
if [ ! -x "$out/peers/bin/python" ]; then
  python3 -m venv "$out/peers"
  "$out/peers/bin/python" -m pip install --quiet --disable-pip-version-check \
    numpy==2.4.6 scipy==1.17.1 polars==2.1.0 duckdb==2.0.1 'psycopg[binary]==3.3.9' pyarrow==26.0.1
fi
if [ -z "${TALLYWRIGHT_BUILT:-}" ]; then cargo build --release --quiet --bench peers; fi
ours=$(ls -t target/release/deps/peers-* | grep -v '\.d$' | head -n 1)
server=$out/postgres
address=$(tests/postgres start "$server")
trap 'tests/postgres stop "$server"' EXIT
for athletes in "${@:-100000 1000000}"; do
  for n in $athletes; do "$out/peers/bin/python" tests/bench/peers/peers.py "$n" "$ours" "$address" "$out"; done
done
