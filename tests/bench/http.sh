#!/usr/bin/env bash
# Pages under load, beside a server of plain files that sends the same compressed bytes.
#
#   tests/bench/http.sh [ATHLETES [SECONDS]]     100000 and 10 where nothing is said
#
# Both serve on this machine in turn, twice each, and both write a line of log for every request. What
# it prints are lines of JSON: requests a second, the time to answer in ms (p50, p99), CPU of the server in µs for
# a request, and at the end each of ours as a ratio to the reference beside it.
#
# Needs nginx, wrk, redis-server and redis-tools (Debian), Python 3. The field is made once and kept under target/bench.
set -euo pipefail
cd "$(dirname "$0")/../.."

athletes=${1:-100000}
seconds=${2:-10}
out=$PWD/target/bench
database=$out/http-$athletes.db
ours=http://127.0.0.1:18411
files=http://127.0.0.1:18412
redis=18413
mkdir -p "$out/files/logs"

if [ -z "${TALLYWRIGHT_BUILT:-}" ]; then cargo build --release --quiet; fi
service=target/release/tallywright
if [ ! -e "$database.done" ]; then
  rm -f "$database"*
  "$service" --database "sqlite://$database" demo --athletes "$athletes" --workouts 5 --only-make
  touch "$database.done"
fi

pids=()
# Those that this script has started, and no others.
end() { for pid in "${pids[@]}"; do kill "$pid" 2>/dev/null || true; done; wait 2>/dev/null || true; }
trap end EXIT

TALLYWRIGHT_LOG=info "$service" --database "sqlite://$database" serve --listen 127.0.0.1:18411 2>"$out/service.log" &
service_pid=$!
pids+=("$service_pid")
until curl --silent --fail --output /dev/null "$ours/readyz"; do
  kill -0 "$service_pid"
  sleep 0.2
done

# Where the field stands.
read -r competition division entries <<<"$(curl --silent "$ours/api/v1/competitions" | python3 -c '
import json, sys, urllib.request
found = json.load(sys.stdin)
found = found.get("items", found) if isinstance(found, dict) else found
slug = found[0]["slug"]
def entries(division):
    at = f"'"$ours"'/api/v1/competitions/{slug}/divisions/{division}/standings?limit=1"
    return json.load(urllib.request.urlopen(at))["entries"]
one = json.load(urllib.request.urlopen(f"'"$ours"'/api/v1/competitions/{slug}"))
sizes = {d["slug"]: entries(d["slug"]) for d in one["divisions"]}
largest = max(sizes, key=sizes.get)
print(slug, largest, sizes[largest])')"
page=/c/$competition/divisions/$division
json=/api/v1/competitions/$competition/divisions/$division/standings
row=$((entries / 2))

# The same bytes as files.
curl --silent --header 'Accept-Encoding: gzip' "$ours$page" >"$out/files/page.gz"
curl --silent --header 'Accept-Encoding: gzip' "$ours$json?limit=50&from=$row" >"$out/files/json.gz"
cat >"$out/files/nginx.conf" <<CONF
daemon off;
worker_processes auto;
pid $out/files/logs/pid;
error_log $out/files/logs/error.log;
events { worker_connections 2048; }
http {
  access_log $out/files/logs/access.log;
  sendfile on;
  tcp_nopush on;
  keepalive_requests 100000000;
  gzip_static always;
  default_type text/html;
  client_body_temp_path $out/files/logs; proxy_temp_path $out/files/logs; fastcgi_temp_path $out/files/logs;
  uwsgi_temp_path $out/files/logs; scgi_temp_path $out/files/logs;
  server { listen 127.0.0.1:18412 reuseport; root $out/files; }
}
CONF
nginx -p "$out/files" -c "$out/files/nginx.conf" 2>"$out/files/logs/start.log" &
files_pid=$!
pids+=("$files_pid")
redis-server --port $redis --bind 127.0.0.1 --save '' --appendonly no --dir "$out" >/dev/null &
redis_pid=$!
pids+=("$redis_pid")
sleep 1
curl --silent --fail --output /dev/null "$files/page"
seq 1 "$entries" | awk '{ printf "ZADD w0 %d a%012d\r\n", ($1 * 7919) % 400000, $1 }' | redis-cli -p $redis --pipe >/dev/null

# Clock ticks that a process and its children have run.
ticks() {
  local pid sum=0
  for pid in "$1" $(pgrep --parent "$1" || true); do
    sum=$((sum + $(awk '{ print $14 + $15 }' "/proc/$pid/stat")))
  done
  echo $sum
}

# What, whose process, where, and a script of wrk for other addresses than that.
load() {
  local what=$1 pid=$2 at=$3 before after
  shift 3
  before=$(ticks "$pid")
  wrk --threads 2 --connections 64 --duration "${seconds}s" --latency --header 'Accept-Encoding: gzip' "$@" "$at" >"$out/wrk.txt"
  after=$(ticks "$pid")
  if grep -E 'Non-2xx|Socket errors' "$out/wrk.txt"; then cat "$out/wrk.txt"; exit 1; fi
  what=$what ticks=$((after - before)) athletes=$athletes python3 - "$out/wrk.txt" <<'PYTHON' | tee -a "$out/http.jsonl"
import json, os, re, sys

text = open(sys.argv[1]).read()
unit = {"us": 0.001, "ms": 1.0, "s": 1000.0}
def share(part):
    value, of = re.search(rf"^\s+{part}%\s+([\d.]+)(us|ms|s)$", text, re.M).groups()
    return round(float(value) * unit[of], 3)
done = int(re.search(r"(\d+) requests in", text).group(1))
print(json.dumps({
    "what": os.environ["what"],
    "athletes": int(os.environ["athletes"]),
    "per_second": float(re.search(r"Requests/sec:\s+([\d.]+)", text).group(1)),
    "p50_ms": share(50), "p99_ms": share(99),
    "cpu_us": round(int(os.environ["ticks"]) * 10_000 / done, 2),
}))
PYTHON
}

# The same for who has it already.
known() {
  local what=$1 pid=$2 at=$3 tag
  tag=$(curl --silent --dump-header - --output /dev/null --header 'Accept-Encoding: gzip' "$at" | tr -d '\r' | awk 'tolower($1) == "etag:" { print $2 }')
  [ "$(curl --silent --output /dev/null --write-out '%{http_code}' --header 'Accept-Encoding: gzip' --header "If-None-Match: $tag" "$at")" = 304 ]
  load "$what" "$pid" "$at" --header "If-None-Match: $tag"
}

# Any page of the division, and anybody's place.
cat >"$out/pages.lua" <<LUA
local threads = 0
function setup(thread) thread:set("seed", os.time() + 7919 * threads) threads = threads + 1 end
function init() math.randomseed(seed) end
function request() return wrk.format("GET", "$page?from=" .. (math.random(0, math.floor(($entries - 1) / 50)) * 50 + 1)) end
LUA
cat >"$out/own.lua" <<LUA
local threads = 0
function setup(thread) thread:set("seed", os.time() + 7919 * threads) threads = threads + 1 end
function init() math.randomseed(seed) end
function request() return wrk.format("GET", "/api/v1/competitions/$competition/entries/" .. math.random(1001, $((1000 + athletes))) .. "/standing") end
LUA

: >"$out/http.jsonl"
for _ in 1 2; do
  load files-page "$files_pid" "$files/page"
  load page "$service_pid" "$ours$page"
  load files-json "$files_pid" "$files/json"
  load json "$service_pid" "$ours$json?limit=50&from=$row"
  known files-304 "$files_pid" "$files/page"
  known json-304 "$service_pid" "$ours$json?limit=50&from=$row"
  load any-page "$service_pid" "$ours$page" --script "$out/pages.lua"
  load own-place "$service_pid" "$ours$page" --script "$out/own.lua"
  redis-benchmark -p $redis -c 64 -n $((seconds * 50000)) -r "$entries" --csv zrevrank w0 a__rand_int__ | python3 -c '
import csv, json, sys
row = list(csv.reader(sys.stdin))[-1]
print(json.dumps({"what": "redis-zrevrank", "athletes": '"$athletes"', "per_second": float(row[1]), "p50_ms": float(row[4]), "p99_ms": float(row[6])}))' | tee -a "$out/http.jsonl"
done

python3 - "$out/http.jsonl" "$(nginx -v 2>&1)" "$(redis-server --version)" "$(wrk -v 2>&1 | head -1)" <<'PYTHON'
import json, statistics, sys

seen = {}
for line in open(sys.argv[1]):
    line = json.loads(line)
    seen.setdefault(line["what"], []).append(line)
def of(what, member):
    return statistics.mean(line[member] for line in seen[what])
print(json.dumps({"versions": sys.argv[2:]}))
for what, reference in [("page", "files-page"), ("json", "files-json"), ("json-304", "files-304"), ("any-page", "files-page"), ("own-place", "redis-zrevrank")]:
    said = {"ratio": what, "to": reference, "per_second": round(of(what, "per_second") / of(reference, "per_second"), 2), "p99": round(of(what, "p99_ms") / of(reference, "p99_ms"), 2)}
    if "cpu_us" in seen[reference][0]:
        said["cpu"] = round(of(what, "cpu_us") / of(reference, "cpu_us"), 2)
    print(json.dumps(said))
PYTHON
