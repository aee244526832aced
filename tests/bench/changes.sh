#!/usr/bin/env bash
# One score changes: how long until its athlete's place over everybody, and a page of fifty in the middle, are known
# again. Ours over HTTP, the change durable and attested, beside PostgreSQL that keeps places and sums in a table and
# moves on all whom a change touches (the best SQL way that is known here; equals by count-back left out).
#
#   tests/bench/changes.sh [ATHLETES [CHANGES]]     1000000 and 200 where nothing is said
#
# Lines of JSON: medians in ms, and ratios. Needs PostgreSQL (Debian) and Python 3; installs psycopg and numpy from PyPI
# under target/bench. The field is that of http.sh, copied, as it is written to.
set -euo pipefail
cd "$(dirname "$0")/../.."

athletes=${1:-1000000}
changes=${2:-200}
out=$PWD/target/bench
made=$out/http-$athletes.db
database=$out/changes-$athletes.db
mkdir -p "$out"

if [ ! -x "$out/changes-python/bin/python" ]; then
  python3 -m venv "$out/changes-python"
  "$out/changes-python/bin/python" -m pip install --quiet --disable-pip-version-check numpy==2.4.6 'psycopg[binary]==3.3.9'
fi
if [ -z "${TALLYWRIGHT_BUILT:-}" ]; then cargo build --release --quiet; fi
service=target/release/tallywright
if [ ! -e "$made.done" ]; then
  rm -f "$made"*
  "$service" --database "sqlite://$made" demo --athletes "$athletes" --workouts 5 --only-make
  touch "$made.done"
fi
rm -f "$database"*
cp "$made" "$database"
export TALLYWRIGHT_DATABASE=sqlite://$database
# What is open counts at once, and one division ranks everybody.
"$service" competition show saltmarsh | python3 -c '
import sys
before, rest = sys.stdin.read().split("[[workout]]", 1)
rest = rest.replace("publish = \"at_close\"", "publish = \"live\"")
everyone = "[[division]]\nslug = \"everyone\"\ntitle = \"Everyone\"\nmixed = true\ncombines = [\"women\", \"men\", \"women-35\", \"men-35\", \"women-50\", \"men-50\"]\n\n"
print(before + everyone + "[[workout]]" + rest)' >"$out/changes.toml"
"$service" competition apply "$out/changes.toml" --reason "To be measured."
"$service" account add bench@example.org --role staff --gym quayside --competition saltmarsh >"$out/changes.account" 2>&1
token=$("$service" token issue bench@example.org 2>/dev/null | tail -n 1)

"$service" serve --listen 127.0.0.1:18411 2>"$out/changes.log" &
service_pid=$!
server=$out/postgres
trap 'kill "$service_pid" 2>/dev/null || true; wait 2>/dev/null || true; tests/postgres stop "$server"' EXIT
address=$(tests/postgres start "$server")
until curl --silent --fail --output /dev/null http://127.0.0.1:18411/readyz; do
  kill -0 "$service_pid"
  sleep 0.2
done
"$out/changes-python/bin/python" tests/bench/changes.py "$athletes" "$changes" "$token" "$address" "$database"
