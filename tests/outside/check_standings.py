#!/usr/bin/env python3
"""Works out the standings of a whole competition again with scipy and pandas, from the scores
that the service gives out, and compares them with the standings that it gives out.

    check_standings.py URL COMPETITION DEMO.json [--save DIR]
    check_standings.py URL COMPETITION --token TOKEN [--save DIR]
    check_standings.py --from DIR

Everything is first read over the HTTP API, as the organiser (only organisers and referees see
all scores): signed in as what `demo --json` printed says, or by a token. DIR holds the same
answers as files:

    competition.json         GET /api/v1/competitions/{c}
    entries.json             GET .../entries
    scores-{w}.json          GET .../workouts/{w}/scores
    standings-{d}.json       GET .../divisions/{d}/standings     (or `standings --json`)
    places-{d}-{w}.json      GET .../divisions/{d}/workouts/{w}/places

Further standings files may have any suffix (standings-women@gym=quayside.json): division and
scope are read from inside. Pages of one list are joined before they are saved.

Of the overall's options only the default ones are known here (sum of places, one place after
the last for a missing result, nothing left out, countback, running workouts as the file says);
all others are held against a slow twin in tests/rules. Tiebreaks of finishers are not known
either. Prints what was compared; exit 1 with the differences.
"""

import argparse
import json
import pathlib
import sys
import urllib.parse
import urllib.request

import numpy
import pandas
from scipy.stats import rankdata

PLACED = {"attested", "flagged", "amended"}
NEVER = 1 << 40
PAGE = 500


class Api:
    """The answers of a running service, kept as files if wanted."""

    def __init__(self, url, competition, save):
        self.root = f"{url.rstrip('/')}/api/v1"
        self.base = f"{self.root}/competitions/{competition}"
        self.headers = {"Accept": "application/json"}
        self.save = pathlib.Path(save) if save else None
        if self.save:
            self.save.mkdir(parents=True, exist_ok=True)

    def sign_in(self, demo):
        """As the organiser of a demo."""
        people = json.loads(pathlib.Path(demo).read_text(encoding="utf-8"))["sign_in"]
        person = next(person for person in people if person["role"] == "organiser")
        body = json.dumps({"email": person["email"], "password": person["password"]}).encode()
        request = urllib.request.Request(f"{self.root}/session", body, {"Content-Type": "application/json"})
        with urllib.request.urlopen(request, timeout=60) as answer:
            self.headers["Cookie"] = answer.headers["Set-Cookie"].split(";")[0]

    def get(self, path, **query):
        address = self.base + path + ("?" + urllib.parse.urlencode(query) if query else "")
        request = urllib.request.Request(address, headers=self.headers)
        with urllib.request.urlopen(request, timeout=60) as answer:
            return json.load(answer)

    def all_rows(self, path, **query):
        """All pages of one list, from one state."""
        whole = self.get(path, **query, **{"from": 1, "limit": PAGE})
        while len(whole["rows"]) < whole["entries"]:
            page = self.get(path, **query, **{"from": len(whole["rows"]) + 1, "limit": PAGE})
            if page["log_seq"] != whole["log_seq"] or not page["rows"]:
                raise SystemExit(f"{path}: the state changed between two pages, or a page is empty: run again")
            whole["rows"] += page["rows"]
        return whole

    def read(self):
        got = {"competition": self.get(""), "entries": self.get("/entries")}
        gyms = sorted({row["gym"] for row in rows_of(got["entries"]) if row["gym"]})
        countries = sorted({row["country"] for row in rows_of(got["entries"]) if row["country"]})
        for workout in got["competition"]["workouts"]:
            slug = workout["slug"]
            got[f"scores-{slug}"] = self.get(f"/workouts/{slug}/scores")
        for division in got["competition"]["divisions"]:
            slug = division["slug"]
            path = f"/divisions/{slug}"
            got[f"standings-{slug}"] = self.all_rows(path + "/standings")
            for country in countries[:3]:
                got[f"standings-{slug}@country={country}"] = self.all_rows(path + "/standings", country=country)
            for gym in gyms[:3]:
                got[f"standings-{slug}@gym={gym}"] = self.all_rows(path + "/standings", gym=gym)
            for workout in got["competition"]["workouts"]:
                name = workout["slug"]
                got[f"places-{slug}-{name}"] = self.all_rows(path + f"/workouts/{name}/places")
        if self.save:
            for name, body in got.items():
                (self.save / f"{name}.json").write_text(json.dumps(body, indent=1), encoding="utf-8")
        return got


def read_files(folder):
    files = sorted(pathlib.Path(folder).glob("*.json"))
    return {path.name.removesuffix(".json"): json.loads(path.read_text(encoding="utf-8")) for path in files}


def rows_of(body):
    """The rows of a list, whether bare or in an object."""
    return body if isinstance(body, list) else next(v for k, v in body.items() if isinstance(v, list))


def figures(performance):
    """(not finished, figure, tiebreak), each with less for better."""
    tiebreak = performance.get("tiebreak_ms")
    tiebreak = NEVER if tiebreak is None else tiebreak
    match performance["format"]:
        case "amrap":
            return 0, -performance["total_reps"], tiebreak
        case "for_time" if performance["finished"]:
            return 0, performance["time_ms"], 0
        case "for_time":
            return 1, -performance["total_reps"], tiebreak
        case "max_load":
            return 0, -performance["grams"], tiebreak
        case "max_count":
            return 0, -performance["count"], tiebreak
        case "intervals" if performance.get("unit"):
            return 0, -performance["combined"], 0
        case "intervals":
            return 0, performance["combined"], 0
    raise SystemExit(f"unknown format: {performance['format']}")


def table_of_scores(got):
    """One line for each placed score: workout, bib, level and figures."""
    levels = {level: n for n, level in enumerate(got["competition"]["levels"])}
    lines = []
    for name, body in got.items():
        if not name.startswith("scores-"):
            continue
        for row in rows_of(body):
            score = row["score"]
            if score and score["state"] in PLACED:
                lines.append((score["workout"], row["bib"], levels[score["level"]], *figures(score["performance"])))
    return pandas.DataFrame(lines, columns=["workout", "bib", "level", "unfinished", "figure", "tiebreak"])


def ranked(table, columns):
    """Places of the rows of a table: scipy's standard competition ranking of what the columns say."""
    if table.empty:
        return numpy.array([], dtype=int)
    return rankdata(table.groupby(columns).ngroup(), method="min").astype(int)


def among(got, body):
    """Bibs ranked and guests of a division within the scope of an answer."""
    division = next(d for d in got["competition"]["divisions"] if d["slug"] == body["division"])
    plain = set(division["combines"]) or {division["slug"]}
    scope = {key: value for key, value in body["scope"].items() if value is not None}
    entries = pandas.DataFrame(rows_of(got["entries"]))
    entries = entries[entries["division"].isin(plain) & (entries["state"] != "removed")]
    for key, value in scope.items():
        entries = entries[entries[key] == value]
    guest = entries["state"] == "guest"
    return sorted(entries.loc[~guest, "bib"]), sorted(entries.loc[guest, "bib"])


def places_in(scores, workout, bibs):
    """Place by bib in one workout."""
    own = scores[(scores["workout"] == workout) & scores["bib"].isin(bibs)]
    return dict(zip(own["bib"], ranked(own, ["level", "unfinished", "figure", "tiebreak"]), strict=True))


def standings(scores, workouts, bibs):
    """Rows (bib, standing, points, {workout: place used}) in order, by sum of places and countback."""
    places = {workout: places_in(scores, workout, bibs) for workout in workouts}
    counting = [workout for workout in workouts if places[workout]]
    table = pandas.DataFrame({"bib": bibs})
    for workout in counting:
        after_last = len(places[workout]) + 1
        table[workout] = [places[workout].get(bib, after_last) for bib in bibs]
    here = table["bib"].isin([bib for workout in counting for bib in places[workout]])
    with_score, without = table[here].copy(), table[~here]
    out = []
    if counting and not with_score.empty:
        with_score["points"] = with_score[counting].sum(axis=1)
        best = pandas.DataFrame(numpy.sort(with_score[counting].to_numpy(), axis=1), index=with_score.index)
        best.columns = [f"best{n}" for n in best.columns]
        with_score = with_score.join(best)
        with_score["standing"] = ranked(with_score, ["points", *best.columns])
        with_score = with_score.sort_values(["standing", "bib"])
        for row in with_score.to_dict("records"):
            out.append((row["bib"], row["standing"], row["points"], {w: row[w] for w in counting}))
    for row in without.to_dict("records"):
        out.append((row["bib"], None, None, {w: row[w] for w in counting}))
    return out


class Report:
    def __init__(self):
        self.differences = []
        self.compared = 0

    def equal(self, where, ours, theirs):
        self.compared += 1
        if ours != theirs:
            self.differences.append(f"{where}: here {ours!r}, the service {theirs!r}")


def check_standings(report, name, got, scores, body):
    bibs, guests = among(got, body)
    shown = [cell["workout"] for cell in body["rows"][0]["workouts"]] if body["rows"] else []
    expected = standings(scores, shown, bibs)
    report.equal(f"{name}, entries", len(expected) + len(guests), body["entries"])
    report.equal(f"{name}, with a standing", sum(row[1] is not None for row in expected), body["of"])
    report.equal(f"{name}, order", [row[0] for row in expected] + guests, [row["bib"] for row in body["rows"]])
    given = {row["bib"]: row for row in body["rows"]}
    whole = got.get(f"standings-{body['division']}")
    unscoped = {row["bib"]: row["standing"] for row in whole["rows"]} if whole else {}
    for bib, standing, points, used in expected:
        row = given.get(bib)
        if row is None:
            continue
        report.equal(f"{name}, {bib}, standing", standing, row["standing"])
        report.equal(f"{name}, {bib}, points", points, row["points"])
        cells = {cell["workout"]: cell["place"] for cell in row["workouts"]}
        report.equal(f"{name}, {bib}, places", {w: used.get(w) for w in shown}, cells)
        if unscoped:
            report.equal(f"{name}, {bib}, unscoped", unscoped.get(bib), row["unscoped_standing"])


def check_places(report, name, got, scores, body):
    bibs, guests = among(got, body)
    expected = places_in(scores, body["workout"], bibs)
    report.equal(f"{name}, placed", len(expected), body["of"])
    report.equal(f"{name}, entries", len(bibs) + len(guests), body["entries"])
    for row in body["rows"]:
        report.equal(f"{name}, {row['bib']}", expected.get(row["bib"]), row["place"])
    order = sorted(expected, key=lambda bib: (expected[bib], bib))
    report.equal(f"{name}, order", order, [row["bib"] for row in body["rows"]][: len(order)])


def main():
    parser = argparse.ArgumentParser(description=__doc__.split("\n\n", maxsplit=1)[0])
    parser.add_argument("url", nargs="?", help="address of a running service")
    parser.add_argument("competition", nargs="?", help="slug")
    parser.add_argument("demo", nargs="?", help="what `demo --json` printed")
    parser.add_argument("--token", help="bearer token of an organiser or referee")
    parser.add_argument("--from", dest="folder", help="folder of answers")
    parser.add_argument("--save", help="folder to keep the answers in")
    args = parser.parse_args()
    if args.folder:
        got = read_files(args.folder)
    elif args.url and args.competition:
        api = Api(args.url, args.competition, args.save)
        if args.token:
            api.headers["Authorization"] = f"Bearer {args.token}"
        elif args.demo:
            api.sign_in(args.demo)
        got = api.read()
    else:
        parser.error("either URL and COMPETITION, or --from")
    scores = table_of_scores(got)
    report = Report()
    pages = 0
    for name, body in got.items():
        if name.startswith("standings-"):
            check_standings(report, name, got, scores, body)
            pages += 1
        elif name.startswith("places-"):
            check_places(report, name, got, scores, body)
            pages += 1
    print(f"{len(scores)} placed scores, {pages} lists, {report.compared} figures compared", end="")
    print(f", {len(report.differences)} differ" if report.differences else ", all equal")
    for difference in report.differences[:40]:
        print("  " + difference[:400])
    if report.differences or not pages or scores.empty:
        sys.exit(1)


if __name__ == "__main__":
    main()
