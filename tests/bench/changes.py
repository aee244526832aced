"""One score after the other, ours over HTTP and PostgreSQL's. changes.py ATHLETES CHANGES TOKEN ADDRESS DATABASE"""
import http.client, json, random, sqlite3, statistics, sys, time

import numpy as np, psycopg

AT = "/api/v1/competitions/saltmarsh"
WORKOUTS, SLOW_TIMES = 5, 7


def ours(changes, token, database):
    """Medians in ms: the change, the place after it, the page after it; and how many are ranked."""
    connection = http.client.HTTPConnection("127.0.0.1", 18411)

    def ask(method, path, body=None, **headers):
        headers = {"Authorization": f"Bearer {token}", **{k.replace("_", "-"): v for k, v in headers.items()}}
        if body is not None:
            body, headers["Content-Type"] = json.dumps(body), "application/json"
        connection.request(method, AT + path, body, headers)
        answer = connection.getresponse()
        read = answer.read()
        assert answer.status in (200, 201), (answer.status, path, read)
        return json.loads(read)

    file = sqlite3.connect(f"file:{database}?mode=ro", uri=True)
    rows = "SELECT s.bib FROM scores s JOIN entries e USING (competition, bib) WHERE s.workout = 'w5' AND e.gym = 'quayside' AND e.division <> 'lighter' AND s.state = 'attested' ORDER BY 1"
    bibs = [bib for (bib,) in file.execute(rows)]
    file.close()
    of = ask("GET", "/divisions/everyone/standings?limit=1")["entries"]
    page = f"/divisions/everyone/standings?from={of // 2}&limit=50"
    draw = random.Random(4_020_261)
    times = {"change": [], "own place": [], "page of 50": []}
    for n in range(changes):
        bib = draw.choice(bibs)
        path = f"/workouts/w5/scores/{bib}"
        etag = ask("GET", path)["etag"]
        score = {"performance": str(draw.randint(1500, 3000)), "attestation": {"judge": "J-0101", "how": "paper_sheet"}}
        begun = time.perf_counter()
        seq = ask("PUT", path, score, If_Match=f'"{etag}"', Idempotency_Key=f'"change-{n}"')["log_seq"]
        changed = time.perf_counter()
        if n % 2:
            said = ask("GET", page)
            assert len(said["rows"]) == 50
            times["page of 50"].append(time.perf_counter() - changed)
        else:
            said = ask("GET", f"/entries/{bib}/standing")
            assert any(o["division"] == "everyone" and o["place"] for o in said["overall"])
            times["own place"].append(time.perf_counter() - changed)
        times["change"].append(changed - begun)
        assert said["log_seq"] >= seq, "nobody is shown a state older than the answer"
    return {what: statistics.median(all) * 1e3 for what, all in times.items()}, of


def by_sql(n, address):
    """Medians in ms of a change and a question together, on a field of the same size."""
    random_ = np.random.Generator(np.random.PCG64(4_020_261 + n))
    ability = random_.standard_normal(n)
    keys = np.empty((WORKOUTS, n), np.int64)
    for w in range(WORKOUTS):
        reps = np.clip(np.rint(150 + 45 * np.sqrt(0.5) * (ability + random_.standard_normal(n))), 0, 400)
        keys[w] = (400 - reps) * 602 + random_.integers(0, 602, n)
    total = np.zeros(n, np.int64)
    for column in keys:
        counts = np.bincount(column)
        total += (np.cumsum(counts) - counts + 1)[column]
    server = psycopg.connect(address, autocommit=True)
    names = [f"k{w}" for w in range(WORKOUTS)]
    server.execute("DROP TABLE IF EXISTS live")
    server.execute(f"CREATE TABLE live (athlete int, {', '.join(f'{k} int' for k in names)}, total bigint) WITH (fillfactor = 45)")
    with server.cursor().copy("COPY live FROM STDIN (FORMAT csv)") as copy:
        for at in range(0, n, 100_000):
            rows = np.column_stack([np.arange(at, min(n, at + 100_000)), keys[:, at : at + 100_000].T, total[at : at + 100_000]])
            copy.write("\n".join(",".join(map(str, row)) for row in rows.tolist()) + "\n")
    server.execute("ALTER TABLE live ADD PRIMARY KEY (athlete)")
    # No index on what changes for many at once: a row that is in none moves on within its page.
    server.execute("VACUUM ANALYZE live")

    def change():
        athlete, w = int(random_.integers(0, n)), int(random_.integers(0, WORKOUTS))
        key = int(random_.integers(0, 400 * 602))
        old = server.execute(f"SELECT k{w} FROM live WHERE athlete = %s", (athlete,)).fetchone()[0]
        low, high, step = min(key, old), max(key, old), 1 if key < old else -1
        # Who had a key between the two moves on by one.
        between = f"k{w} >= %s AND k{w} < %s" if key < old else f"k{w} > %s AND k{w} <= %s"
        with server.transaction():
            server.execute(f"UPDATE live SET total = total + %s WHERE {between} AND athlete <> %s", (step, low, high, athlete))
            place = f"(SELECT count(*) FROM live WHERE k{w} < %s AND athlete <> %s)"
            server.execute(f"UPDATE live SET k{w} = %s, total = total + {place} - {place} WHERE athlete = %s", (key, key, athlete, old, athlete, athlete))
        return athlete

    def own():
        athlete = change()
        return server.execute("SELECT 1 + count(*) FROM live WHERE total < (SELECT total FROM live WHERE athlete = %s)", (athlete,)).fetchone()

    def page():
        change()
        assert len(server.execute("SELECT athlete, total FROM live ORDER BY total LIMIT 50 OFFSET %s", (n // 2,)).fetchall()) == 50

    times = {}
    for what, work in (("own place", own), ("page of 50", page)):
        times[what] = []
        for _ in range(SLOW_TIMES):
            begun = time.perf_counter()
            work()
            times[what].append(time.perf_counter() - begun)
            server.execute("VACUUM live")
    keys = ", ".join(f"rank() OVER (ORDER BY k{w}) AS r{w}" for w in range(WORKOUTS))
    sums = f"SELECT athlete, {' + '.join(f'r{w}' for w in range(WORKOUTS))} AS sum FROM (SELECT athlete, {keys} FROM live) q"
    wrong = server.execute(f"SELECT count(*) FROM live JOIN ({sums}) q USING (athlete) WHERE sum <> total").fetchone()[0]
    assert wrong == 0, f"{wrong} sums differ from those worked out anew"
    return {what: statistics.median(all) * 1e3 for what, all in times.items()}, f"postgresql {server.info.server_version // 10000}"


def main(athletes, changes, token, address, database):
    took, of = ours(int(changes), token, database)
    for what, ms in took.items():
        print(json.dumps({"what": f"ours: {what}", "of": of, "ms": round(ms, 2)}), flush=True)
    sql, version = by_sql(int(athletes), address)
    for what, ms in sql.items():
        after, whole = took[what], took["change"] + took[what]
        ratios = {"times_ours_after_the_answer": round(ms / after), "times_ours_with_the_change": round(ms / whole)}
        print(json.dumps({"what": f"{version}, places kept in a table: change and {what}", "of": int(athletes), "ms": round(ms, 1), **ratios}), flush=True)


main(*sys.argv[1:])
