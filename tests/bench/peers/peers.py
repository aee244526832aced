"""The same field ranked by general engines. peers.py ATHLETES OURS ADDRESS FOLDER"""
import json, statistics, subprocess, sys, time

import duckdb, numpy as np, polars as pl, psycopg, scipy
from scipy.stats import rankdata

WORKOUTS, TIMES = 5, 5
# Whatever is missing is one place after the last: worse than any.
WORST = 1 << 24


def field(n):
    """Keys [workouts, n], the smaller the better, -1 missing. An athlete's ability is in half the
    variance of every result; a first result of 0 to 400 reps, then a tiebreak of 0 to 600 s; 8 % missing."""
    random = np.random.Generator(np.random.PCG64(4_020_261 + n))
    ability, keys = random.standard_normal(n), np.empty((WORKOUTS, n), np.int32)
    for w in range(WORKOUTS):
        reps = np.clip(np.rint(150 + 45 * np.sqrt(0.5) * (ability + random.standard_normal(n))), 0, 400)
        keys[w] = (400 - reps) * 602 + random.integers(0, 602, n)
        keys[w][random.random(n) < 0.08] = -1
    nobody = (keys < 0).all(axis=0)
    keys[0][nobody] = 1
    return keys


def dense(columns):
    """Places by these columns in turn, equal rows equal."""
    order = np.lexsort(columns[::-1])
    new = np.zeros(len(order), bool)
    new[0] = True
    for column in columns:
        new[1:] |= column[order][1:] != column[order][:-1]
    places = np.empty(len(order), np.int64)
    places[order] = np.maximum.accumulate(np.where(new, np.arange(1, len(order) + 1), 0))
    return places


def overall(places):
    ordered = np.sort(places, axis=1)
    return dense([ordered.sum(axis=1), *ordered.T])


def by_numpy(keys):
    places = np.empty(keys.shape[::-1], np.int64)
    for w, column in enumerate(keys):
        column = np.where(column < 0, 401 * 602, column)
        counts = np.bincount(column)
        places[:, w] = (np.cumsum(counts) - counts + 1)[column]
    return overall(places)


def by_scipy(keys):
    return overall(np.stack([rankdata(np.where(k < 0, WORST, k), method="min").astype(np.int64) for k in keys], 1))


def by_polars(frame):
    names = [f"k{w}" for w in range(WORKOUTS)]
    columns = ["total", "a", "b", "c", "d", "e"]
    ranked = (
        frame.lazy()
        .select("athlete", *[pl.col(name).rank("min") for name in names])
        .select("athlete", pl.sum_horizontal(names).alias("total"), pl.concat_list(names).list.sort().alias("all"))
        .select("athlete", "total", *[pl.col("all").list.get(i).alias(c) for i, c in enumerate(columns[1:])])
        .sort(columns)
        .with_columns(new=pl.struct(columns) != pl.struct(columns).shift(), row=pl.int_range(1, pl.len() + 1))
        .with_columns(place=pl.when(pl.col("new").fill_null(True)).then(pl.col("row")).forward_fill())
        .sort("athlete")
        .collect()
    )
    return ranked["place"].to_numpy()


RANKS = ", ".join(f"rank() OVER (ORDER BY k{w})::int AS r{w}" for w in range(WORKOUTS))
ALL = ", ".join(f"r{w}" for w in range(WORKOUTS))
TOTAL = ALL.replace(", ", " + ")
SQL = f"""WITH places AS (SELECT athlete, {RANKS} FROM keys),
sums AS (SELECT athlete, {TOTAL} AS total, {{sort}} AS counted FROM places)
SELECT athlete, rank() OVER (ORDER BY total, counted) AS place FROM sums"""
COUNTS = ", ".join(
    f"c{w} AS MATERIALIZED (SELECT k{w} AS k, (1 + sum(count(*)) OVER (ORDER BY k{w}) - count(*))::int AS place FROM keys GROUP BY k{w})"
    for w in range(WORKOUTS)
)
JOINS = " ".join(f"JOIN c{w} ON c{w}.k = x.k{w}" for w in range(WORKOUTS))
PLACES = ", ".join(f"c{w}.place" for w in range(WORKOUTS))
BY_COUNTING = f"""WITH {COUNTS},
sums AS (SELECT x.athlete, {PLACES.replace(", ", " + ")} AS total, sort(ARRAY[{PLACES}]) AS counted FROM keys x {JOINS})
SELECT athlete, rank() OVER (ORDER BY total, counted) AS place FROM sums"""
# All places are worked out for it, and little else.
ALL_OF_IT = "SELECT sum(place) FROM ({sql}) q"
CHECK = "SELECT sum(place::{kind} * ((athlete::bigint * 2654435761 & 4294967295) % 1000003)) FROM ({sql}) q"


def main(n, ours, address, folder):
    keys = field(n)
    path = f"{folder}/field-{n}.bin"
    keys.tofile(path)
    said = [json.loads(line) for line in subprocess.run([ours, path], check=True, capture_output=True, text=True).stdout.splitlines()]
    for line in said:
        print(json.dumps(line), flush=True)
    wanted = said[0]["sum"]
    weights = (np.arange(n, dtype=np.uint64) * np.uint64(2654435761) & np.uint64(0xFFFFFFFF)) % np.uint64(1000003)

    def same(name, got):
        got = int((np.asarray(got).astype(np.uint64) * weights).sum()) if isinstance(got, np.ndarray) else int(got)
        assert got == wanted, f"{name}: {got}, not {wanted}"

    full = {"athlete": np.arange(n, dtype=np.int32), **{f"k{w}": np.where(k < 0, WORST, k) for w, k in enumerate(keys)}}
    frame = pl.DataFrame(full)
    duck = duckdb.connect()
    duck.execute("SET threads = 2")
    duck.register("given", frame.to_arrow())
    duck.execute("CREATE TABLE keys AS SELECT * FROM given")
    server = psycopg.connect(address, autocommit=True)
    server.execute("CREATE EXTENSION IF NOT EXISTS intarray")
    server.execute("DROP TABLE IF EXISTS keys")
    server.execute("CREATE TABLE keys (athlete int PRIMARY KEY, " + ", ".join(f"k{w} int" for w in range(WORKOUTS)) + ")")
    with server.cursor().copy("COPY keys FROM STDIN (FORMAT csv)") as copy:
        for at in range(0, n, 200_000):
            copy.write(frame.slice(at, 200_000).write_csv(include_header=False))
    server.execute("VACUUM ANALYZE keys")
    for setting in ("work_mem = '2GB'", "jit = off", "max_parallel_workers_per_gather = 2"):
        server.execute(f"SET {setting}")

    def sql(engine, kind, text):
        return (
            lambda: engine.execute(ALL_OF_IT.format(sql=text)).fetchone(),
            lambda: engine.execute(CHECK.format(kind=kind, sql=text)).fetchone()[0],
        )

    def array(work):
        return work, work

    version = f"postgresql {server.info.server_version // 10000}"
    peers = {
        f"numpy {np.__version__}": array(lambda: by_numpy(keys)),
        f"scipy {scipy.__version__}": array(lambda: by_scipy(keys)),
        f"polars {pl.__version__}": array(lambda: by_polars(frame)),
        f"duckdb {duckdb.__version__}": sql(duck, "hugeint", SQL.format(sort=f"list_sort([{ALL}])")),
        f"{version}, window functions": sql(server, "numeric", SQL.format(sort=f"sort(ARRAY[{ALL}])")),
        f"{version}, by counting": sql(server, "numeric", BY_COUNTING),
    }
    for name, (work, check) in peers.items():
        same(name, check())
        times = []
        for _ in range(TIMES):
            begun = time.perf_counter()
            work()
            times.append((time.perf_counter() - begun) * 1e3)
        ms = statistics.median(times)
        ratios = {line["what"]: round(ms / line["ms"], 1) for line in said}
        print(json.dumps({"what": name, "athletes": n, "ms": round(ms, 1), "times_ours": ratios}), flush=True)


main(int(sys.argv[1]), *sys.argv[2:])
