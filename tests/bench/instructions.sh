#!/usr/bin/env bash
# Instructions of one rebuild (100,000 rows × 5, one key changed) and of one page of standings that nothing has kept, as
# an emulator counts them: the same on a busy machine. Compared with what is written down in tests/bench/instructions.json.
#
#   tests/bench/instructions.sh             prints both as lines of JSON; ends with 1 where one has grown by 5 % or more
#   tests/bench/instructions.sh --keep      writes them down: the commit says why one has grown
#
# Needs valgrind (Debian) and Python 3. Counts are those of one compiler: which one is written down too.
set -euo pipefail
cd "$(dirname "$0")/../.."

out=$PWD/target/bench
kept=tests/bench/instructions.json
mkdir -p "$out"
if [ -z "${TALLYWRIGHT_BUILT:-}" ]; then cargo build --release --quiet; cargo build --release --quiet --bench instructions; fi
counted=$(ls -t target/release/deps/instructions-* | grep -v '\.d$' | head -n 1)
service=target/release/tallywright
database=$out/instructions.db
if [ ! -e "$database.done" ]; then
  rm -f "$database"*
  "$service" --database "sqlite://$database" demo --athletes 2400 --workouts 5 --seed 1 --only-make >/dev/null
  touch "$database.done"
fi
slug=$(python3 -c '
import sqlite3, sys
print(sqlite3.connect(sys.argv[1]).execute("SELECT slug FROM competitions").fetchone()[0])' "$database")
path=/c/$slug/divisions/women

# What one of so many costs: begin and end are the same however many are done.
each() {
  local many=$1 count
  shift
  for times in 1 $((1 + many)); do
    count=$(valgrind --tool=callgrind --callgrind-out-file=/dev/null "$counted" "$1" "$times" "${@:2}" 2>&1 |
      sed -n 's/.*Collected : *//p')
    echo "$count"
  done | awk -v many="$many" 'NR == 1 { first = $1 } END { printf "%d\n", ($1 - first) / many }'
}

rebuild=$(each 4 rebuild)
page=$(each 40 page "sqlite://$database" "$path")
python3 - "$kept" "$rebuild" "$page" "$(rustc --version)" "${1:-}" <<'PY'
import json
import pathlib
import sys

kept, rebuild, page, compiler, keep = sys.argv[1:]
now = {"compiler": compiler, "rebuild": int(rebuild), "page": int(page)}
file = pathlib.Path(kept)
if keep == "--keep":
    file.write_text(json.dumps(now, indent=2) + "\n")
if not file.exists():
    sys.exit(f"Nothing is written down yet: {json.dumps(now)}. Write it down with --keep.")
before = json.loads(file.read_text())
grown = False
for what in ("rebuild", "page"):
    ratio = now[what] / before[what]
    grown |= ratio >= 1.05
    print(json.dumps({"what": what, "instructions": now[what], "written_down": before[what], "ratio": round(ratio, 4)}))
if before["compiler"] != compiler:
    print(f"Written down with {before['compiler']}; this is {compiler}.", file=sys.stderr)
if grown:
    print("Grown by 5 % or more: find out why, or write it down with --keep and say why in the commit.", file=sys.stderr)
sys.exit(grown)
PY
