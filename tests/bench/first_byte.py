#!/usr/bin/env python3
"""How long every page lets a reader wait for its first byte: cold, right after the service has started,
and warm.

    tests/bench/first_byte.py [ATHLETES]      of the sample where nothing is said

Makes the sample with the release build, starts the service on it anew, and asks for each page of
tests/http/every_page.rs as whoever it is for, each time on a connection of its own, compressed. Prints a
line of JSON a page: the first answer and the median and the longest of those after it, in ms, and the
bytes. Ends with 1 when a page lets anybody wait for LIMIT or longer, or does not answer 200.

On a machine that does other work besides, the longest of the warm ones says more about that work.
Needs Rust and Python 3.
"""

import datetime
import http.client
import json
import os
import pathlib
import re
import signal
import socket
import statistics
import subprocess
import sys
import time
import urllib.parse

LIMIT = 100.0
WARM = 15
ROOT = pathlib.Path(__file__).resolve().parents[2]
OUT = ROOT / "target/bench"
OURS = ROOT / "target/release/tallywright"


def ask(address, path, cookie="", form=None, packing="br", kind="text/html"):
    """The answer, its body, and the time from opening the connection to the first byte in ms."""
    body = urllib.parse.urlencode(form) if form else None
    headers = {"Accept": kind, "Accept-Encoding": packing, "Cookie": cookie}
    if form:
        headers |= {"Content-Type": "application/x-www-form-urlencoded", "Origin": f"http://{address}"}
    started = time.perf_counter()
    connection = http.client.HTTPConnection(address, timeout=60)
    connection.request("POST" if form else "GET", path, body, headers)
    answer = connection.getresponse()
    first = (time.perf_counter() - started) * 1000
    data = answer.read()
    connection.close()
    return answer, data, first


def read(address, path, cookie=""):
    """What the API says."""
    answer, data, _ = ask(address, f"/api/v1{path}", cookie, packing="identity", kind="application/json")
    assert answer.status == 200, f"{path} answers {answer.status}"
    return json.loads(data)


def session(address, path, form):
    """The cookie of somebody who signs in."""
    answer, _, _ = ask(address, path, form=form)
    assert answer.status == 303, f"signing in answers {answer.status}"
    return answer.headers["Set-Cookie"].split(";")[0]


def free_port():
    with socket.socket() as held:
        held.bind(("127.0.0.1", 0))
        return held.getsockname()[1]


def start(database, *arguments):
    command = [OURS, "--database", database, *map(str, arguments)]
    return subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True)


def stop(service):
    service.send_signal(signal.SIGTERM)
    service.wait()


def pages(address, demo, cookies):
    """Who looks, and the address: those of the test of every page, for the sample, and what there are
    several of for everybody."""
    text = (ROOT / "tests/http/every_page.rs").read_text()
    listed = re.findall(r'\(Who::(\w+), "([^"]+)"\)', text[text.index("PAGES: &[") : text.index("];")])
    assert len(listed) > 40, "the list of every page is not found"
    slug = demo["competition"]
    athlete, staff = (next(s for s in demo["sign_in"] if s["role"] == role) for role in ("athlete", "staff"))
    competition = read(address, f"/competitions/{slug}")
    now = datetime.datetime.now(datetime.timezone.utc)
    running = [w["slug"] for w in competition["workouts"] if datetime.datetime.fromisoformat(w["opens"]) <= now < datetime.datetime.fromisoformat(w["closes"])]
    desk = read(address, f"/competitions/{slug}/workouts/{running[0]}/scores?gym={staff['gym']}", cookies["Staff"])
    other = next(row["bib"] for row in desk["rows"] if row["score"] and row["bib"] != athlete["bib"])
    renamed = {"saltmarsh": slug, "quayside": staff["gym"], "w1": running[0], "1042": str(athlete["bib"]), "1043": str(other)}
    # A referee looks at a score that is there.
    scored = renamed | {"1042": str(other)}
    found = []
    for who, path in listed:
        names = scored if path.startswith("/referee/") else renamed
        found.append((who, re.sub(r"\w+", lambda word: names.get(word.group(), word.group()), path)))
    for workout in competition["workouts"]:
        found.append(("Nobody", f"/c/{slug}/workouts/{workout['slug']}"))
    for division in competition["divisions"]:
        found.append(("Nobody", f"/c/{slug}/divisions/{division['slug']}"))
        found += [("Nobody", f"/c/{slug}/divisions/{division['slug']}/workouts/{w['slug']}") for w in competition["workouts"]]
    return list(dict.fromkeys(found))


def measure(address, found, cookies):
    """Prints a line a page; those that let anybody wait, or do not answer."""
    over, slowest = [], 0.0
    for who, path in found:
        answer, data, cold = ask(address, path, cookies[who])
        warm = [ask(address, path, cookies[who])[2] for _ in range(WARM)]
        told = {"page": path, "as": who, "status": answer.status, "bytes": len(data), "cold_ms": round(cold, 2)}
        told |= {"warm_ms": round(statistics.median(warm), 2), "warm_longest_ms": round(max(warm), 2)}
        print(json.dumps(told), flush=True)
        slowest = max(slowest, cold, told["warm_ms"])
        if answer.status != 200 or max(cold, told["warm_ms"]) >= LIMIT:
            over.append(f"{path} as {who}")
    print(json.dumps({"pages": len(found), "slowest_ms": round(slowest, 2), "limit_ms": LIMIT, "over": over}))
    return over


def main():
    athletes = sys.argv[1:2]
    OUT.mkdir(parents=True, exist_ok=True)
    if not os.environ.get("TALLYWRIGHT_BUILT"):
        subprocess.run(["cargo", "build", "--release", "--quiet"], cwd=ROOT, check=True)
    file = OUT / "first-byte.db"
    for left in OUT.glob("first-byte.db*"):
        left.unlink()
    database = f"sqlite://{file}"
    making = start(database, "demo", "--listen", "127.0.0.1:0", "--json", *(["--athletes", athletes[0]] if athletes else []))
    demo = json.loads(making.stdout.readline())
    stop(making)
    told = subprocess.run([OURS, "--database", database, "account", "add", "all@first-byte.example", "--role", "organiser"], check=True, capture_output=True, text=True)
    code = re.search(r"code=(\S+)", told.stdout + told.stderr).group(1)

    address = f"127.0.0.1:{free_port()}"
    service = start(database, "serve", "--listen", address)
    try:
        for _ in range(600):
            try:
                if ask(address, "/readyz")[0].status == 200:
                    break
            except OSError:
                time.sleep(0.1)
        cookies = {"Nobody": "", "OrganiserOfAll": session(address, "/signin/link", {"code": code})}
        for person in demo["sign_in"]:
            form = {"email": person["email"], "password": person["password"]}
            cookies[person["role"].capitalize()] = session(address, "/signin", form)
        return 1 if measure(address, pages(address, demo, cookies), cookies) else 0
    finally:
        stop(service)


if __name__ == "__main__":
    sys.exit(main())
