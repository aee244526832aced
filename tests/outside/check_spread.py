#!/usr/bin/env python3
"""Holds what the pages say of how results are spread against numpy and scipy: the bins of the plots
(numpy.histogram), shared places (numpy.unique), percentiles (scipy.stats.percentileofscore, "weak"),
and what another result would change (the standings worked out again as in check_standings.py).

    check_spread.py URL COMPETITION DEMO.json

Scores and entries are read over the API, the rest from the pages as anybody gets them, in English.
Prints what was compared; exit 1 with the differences.
"""

import argparse
import html.parser
import math
import re
import sys
import urllib.parse
import urllib.request

import numpy
import pandas
from scipy.stats import percentileofscore, rankdata

from check_standings import PLACED, Api, Report, among, figures, rows_of, standings, table_of_scores

# International pound, exactly (NIST SP 811, App. B).
GRAMS = {"kg": 1000, "lb": 453.59237}
# Of each division and workout every so many athletes, by place, the first and the last always.
EVERY = 23


class Page(html.parser.HTMLParser):
    """Tables (by caption), paragraphs, and terms with what is said of them."""

    def __init__(self, text):
        super().__init__()
        self.tables, self.paragraphs, self.terms = {}, [], []
        self.rows = self.cells = self.caption = None
        self.text, self.kept = "", []
        self.feed(text)

    def handle_starttag(self, tag, attrs):
        if tag == "table":
            self.rows, self.caption = [], ""
        elif tag == "tr":
            self.cells = []
        if tag in {"caption", "td", "th", "p", "dt", "dd"}:
            self.kept.append(self.text)
            self.text = ""

    def handle_endtag(self, tag):
        if tag in {"caption", "td", "th", "p", "dt", "dd"} and self.kept:
            said = " ".join(self.text.split())
            self.text = self.kept.pop()
            match tag:
                case "caption":
                    self.caption = said
                case "td" | "th" if self.cells is not None:
                    self.cells.append(said)
                case "p":
                    self.paragraphs.append(said)
                case "dt" | "dd":
                    self.terms.append((tag, said))
        if tag == "tr" and self.rows is not None and self.cells:
            self.rows.append(self.cells)
        if tag == "table" and self.rows is not None:
            self.tables[self.caption] = self.rows
            self.rows = None

    def handle_data(self, data):
        self.text += data.replace("\u00a0", " ").replace("\u202f", " ")


def page(api, path, **query):
    """A page as somebody gets it who is not signed in."""
    address = api.root.removesuffix("/api/v1") + path + ("?" + urllib.parse.urlencode(query) if query else "")
    request = urllib.request.Request(address, headers={"Accept": "text/html", "Accept-Language": "en"})
    with urllib.request.urlopen(request, timeout=60) as answer:
        return Page(answer.read().decode())


def number(text):
    return int(re.sub(r"[^0-9]", "", text))


def ordinals(text):
    """"3rd to 9th" -> (3, 9)."""
    found = [number(n) for n in re.findall(r"[\d,. ]*\d(?:st|nd|rd|th)", text)]
    return (found[0], found[-1]) if found else None


def milliseconds(text):
    whole, _, part = text.partition(".")
    seconds = 0
    for field in whole.split(":"):
        seconds = seconds * 60 + int(field)
    return seconds * 1000 + int(f"{part:0<3}" if part else 0)


def span(text):
    """What a row of the plot's table reaches over: a kind, least and most, both in it; loads in grams,
    the most not in it."""
    numbers = r"([\d,]+)"
    if text == "before the first round":
        return "rounds", -1, -1
    if found := re.fullmatch(rf"{numbers} to {numbers} rounds|{numbers} rounds?", text):
        least, most, only = found.groups()
        return ("rounds", number(only), number(only)) if only else ("rounds", number(least), number(most))
    if text == "no lift":
        return "no lift", 0, 0
    if found := re.fullmatch(r"([\d.]+) ?(kg|lb) to less than ([\d.]+) ?(kg|lb)", text):
        least, unit, most, _ = found.groups()
        return "load", round(float(least) * GRAMS[unit]), round(float(most) * GRAMS[unit])
    if found := re.fullmatch(r"([\d:.]*:[\d:.]+)(?: to ([\d:.]*:[\d:.]+))?", text):
        least, most = found.groups()
        return "time", milliseconds(least), milliseconds(most or least)
    if found := re.fullmatch(rf"{numbers}(?: to {numbers})? \w+", text):
        least, most = found.groups()
        return "count", number(least), number(most or least)
    raise SystemExit(f"a range that this check does not know: {text!r}")


def value(kind, performance):
    """What a performance is counted by on the scale of a range."""
    match kind:
        case "rounds":
            return -1 if performance["rounds"] is None else performance["rounds"]
        case "time":
            return performance["time_ms"]
        case "load" | "no lift":
            return performance["grams"]
    return performance["count"] if performance.get("count") is not None else performance.get(
        "total_reps"
    ) if performance.get("total_reps") is not None else performance["combined"]


def band_of(level, performance):
    """Which band of the plot a result is in: level, then finished, at the cap, or without a lift."""
    if performance["format"] == "for_time" and not performance["finished"]:
        return level, 1
    if performance["format"] == "max_load" and performance["grams"] == 0:
        return level, 2
    return level, 0


def placed(got, workout, bibs):
    """Scores of a workout that have a place among these, with scipy's places."""
    levels = {level: n for n, level in enumerate(got["competition"]["levels"])}
    scores = [row["score"] for row in rows_of(got[f"scores-{workout}"]) if row["score"]]
    scores = [s for s in scores if s["state"] in PLACED and s["bib"] in bibs]
    keys = [(levels[s["level"]], *figures(s["performance"])) for s in scores]
    order = sorted(set(keys))
    places = rankdata([order.index(key) for key in keys], method="min").astype(int) if keys else []
    return [(s, int(place), levels[s["level"]]) for s, place in zip(scores, places, strict=True)]


def check_plot(report, name, found, scores):
    """The rows of a plot's table against numpy.histogram."""
    rows = next(rows for caption, rows in found.tables.items() if caption.startswith("How many results lie"))[1:]
    bands = []
    for row in rows:
        if len(row) == 1 or not bands:
            bands.append([])
        if len(row) == 3:
            bands[-1].append(row)
    ours = {}
    for score, place, level in scores:
        ours.setdefault(band_of(level, score["performance"]), []).append((score["performance"], place))
    report.equal(f"{name}, bands", len(ours), len(bands))
    for (_, members), rows in zip(sorted(ours.items()), bands, strict=True):
        spans = [span(row[0]) for row in rows]
        kind = spans[-1][0] if len(spans) > 1 else spans[0][0]
        values = numpy.array([value(kind, performance) for performance, _ in members])
        places = numpy.array([place for _, place in members])
        step = 1 if kind != "time" else 1000
        # Best first on the page; numpy wants rising edges.
        rising = sorted(enumerate(spans), key=lambda pair: pair[1][1])
        after = [most if kind == "load" else most + step for _, (_, _, most) in rising]
        edges = [least for _, (_, least, _) in rising] + [after[-1]]
        report.equal(f"{name}, one bin ends where the next begins", edges[1:], after)
        counts, _ = numpy.histogram(values, numpy.array(edges) - 0.5)
        for (at, _), count, least, most in zip(rising, counts, edges[:-1], edges[1:], strict=True):
            inside = places[(values >= least) & (values < most)]
            said = rows[at]
            report.equal(f"{name}, {said[0]}, how many", int(count), number(said[1]))
            report.equal(
                f"{name}, {said[0]}, places", (int(inside.min()), int(inside.max())) if len(inside) else None, ordinals(said[2])
            )


def check_ties(report, name, found, scores):
    """The sentence on shared places against numpy.unique."""
    which, counts = numpy.unique([place for _, place, _ in scores], return_counts=True)
    shared = counts > 1
    text = next(p for p in found.paragraphs if re.search(r"place is shared|places: |^No place", p))
    if not shared.any():
        report.equal(f"{name}, ties", "No place is shared.", text)
        return
    most = counts.max()
    largest = (int(which[counts.argmax()]), int(most))
    numbers = [number(n) for n in re.findall(r"\d[\d,]*", text)]
    if shared.sum() == 1:
        report.equal(f"{name}, ties", [*largest], numbers)
    else:
        report.equal(f"{name}, ties", [int(shared.sum()), int(counts[shared].sum()), *largest], numbers)


def percentiles(found):
    """The percentiles on an athlete's page, in its order of workouts."""
    said = [text for before, (tag, text) in zip(found.terms, found.terms[1:]) if before == ("dt", "Percentile") and tag == "dd"]
    return [float(text.removesuffix("%").strip()) for text in said]


def check_percentiles(report, api, competition, got, by_workout):
    """Each on the athlete's page against scipy, cut down to a tenth; less is better, so signs turn."""
    sample = sorted({s["bib"] for scores in by_workout.values() for s in every(scores)})
    workouts = [w["slug"] for w in got["competition"]["workouts"]]
    for bib in sample:
        expected = []
        for workout in workouts:
            scores = by_workout.get((bib_division(got, bib), workout), [])
            own = next((place for s, place, _ in scores if s["bib"] == bib), None)
            if own is not None:
                share = percentileofscore([-place for _, place, _ in scores], -own, kind="weak")
                expected.append(math.floor(share * 10 + 1e-9) / 10)
        found = page(api, f"/c/{competition}/athletes/{bib}")
        report.equal(f"percentiles of {bib}", sorted(expected), sorted(percentiles(found)))


def bib_division(got, bib):
    return next(row["division"] for row in rows_of(got["entries"]) if row["bib"] == bib)


def every(scores):
    """Some of these scores: by place, the first and the last among them."""
    inorder = [s for s, *_ in sorted(scores, key=lambda row: row[1])]
    return [s for n, s in enumerate(inorder) if n % EVERY == 0 or n == len(inorder) - 1]


def scopes(got, bib):
    """Where somebody is ranked, in the order of the page: as `among` of check_standings takes it."""
    entry = next(row for row in rows_of(got["entries"]) if row["bib"] == bib)
    nothing = {"gym": None, "region": None, "country": None}
    asked = [{"division": entry["division"], "scope": nothing}]
    asked += [
        {"division": d["slug"], "scope": nothing}
        for d in got["competition"]["divisions"]
        if entry["division"] in d["combines"]
    ]
    scoped = [name for name in nothing if entry.get(name)]
    return asked + [{"division": entry["division"], "scope": nothing | {name: entry[name]}} for name in scoped]


def spot(scores, shown, bibs, workout, bib):
    """"12 of 311" and "3 of 300, 45" as numbers, each a list; [] where there is none."""
    inside = scores[(scores["workout"] == workout) & scores["bib"].isin(bibs)]
    ranks = dict(
        zip(
            inside["bib"],
            rankdata(inside.groupby(["level", "unfinished", "figure", "tiebreak"]).ngroup(), method="min").astype(int),
            strict=True,
        )
    )
    place = [int(ranks[bib]), len(inside)] if bib in ranks else []
    rows = standings(scores, shown, bibs)
    own = next(row for row in rows if row[0] == bib)
    overall = [own[1], sum(row[1] is not None for row in rows), int(own[2])] if own[1] is not None else []
    return place, overall


def check_what_if(report, api, competition, got, scores, workout, bib, donor, level):
    """The table of the box on an athlete's page, with the figures of somebody else."""
    text = donor["performance"]["text"]
    found = page(api, f"/c/{competition}/athletes/{bib}", workout=workout, level=donor["level"], performance=text)
    name = f"{bib} with {text} in {workout}"
    rows = next((rows for caption, rows in found.tables.items() if caption.startswith("Places now and with")), None)
    if rows is None:
        report.equal(name, "a table", found.paragraphs[:4])
        return
    other = (workout, bib, level, *figures(donor["performance"]))
    then = scores[~((scores["workout"] == workout) & (scores["bib"] == bib))]
    then = pandas.concat([then, pandas.DataFrame([other], columns=scores.columns)], ignore_index=True)
    asked = scopes(got, bib)
    report.equal(f"{name}, rankings", len(asked), len(rows) - 1)
    shown = [cell["workout"] for cell in got[f"standings-{asked[0]['division']}"]["rows"][0]["workouts"]]
    for where, row in zip(asked, rows[1:], strict=True):
        bibs, _ = among(got, where)
        now, after = spot(scores, shown, bibs, workout, bib), spot(then, shown, bibs, workout, bib)
        said = [[number(n) for n in re.findall(r"\d[\d,]*", cell)] for cell in row[1:]]
        for column, ours, theirs in zip(("place now", "place then", "overall now", "overall then"), (now[0], after[0], now[1], after[1]), said, strict=True):
            # Without a standing the page says so, with or without how many have one.
            report.equal(f"{name}, {row[0]}, {column}", ours, theirs if ours else [])


def main():
    parser = argparse.ArgumentParser(description=__doc__.split("\n\n", maxsplit=1)[0])
    parser.add_argument("url", help="address of a running service")
    parser.add_argument("competition", help="slug")
    parser.add_argument("demo", help="what `demo --json` printed")
    args = parser.parse_args()
    api = Api(args.url, args.competition, None)
    api.sign_in(args.demo)
    got = api.read()
    scores = table_of_scores(got)
    report, by_workout, tried = Report(), {}, 0
    for division in got["competition"]["divisions"]:
        bibs, _ = among(got, {"division": division["slug"], "scope": {}})
        for workout in got["competition"]["workouts"]:
            found = placed(got, workout["slug"], set(bibs))
            if not found or f"places-{division['slug']}-{workout['slug']}" not in got:
                continue
            by_workout[division["slug"], workout["slug"]] = found
            name = f"{division['slug']}, {workout['slug']}"
            said = page(api, f"/c/{args.competition}/divisions/{division['slug']}/workouts/{workout['slug']}")
            check_plot(report, name, said, found)
            if len(found) > 1:
                check_ties(report, name, said, found)
            if division["combines"]:
                continue
            # The last tries the result of the first, the middle one that of the last.
            inorder = sorted(found, key=lambda row: row[1])
            for whose, donor in ((-1, 0), (len(inorder) // 2, -1), (0, len(inorder) // 3)):
                bib, (score, _, level) = inorder[whose][0]["bib"], inorder[donor]
                check_what_if(report, api, args.competition, got, scores, workout["slug"], bib, score, level)
                tried += 1
    compared = report.compared
    plain = {key: found for key, found in by_workout.items() if not next(d for d in got["competition"]["divisions"] if d["slug"] == key[0])["combines"]}
    check_percentiles(report, api, args.competition, got, plain)
    print(f"{len(by_workout)} plots, {tried} what-ifs, {report.compared - compared} athletes' percentiles", end="")
    print(f", {report.compared} figures compared", end="")
    print(f", {len(report.differences)} differ" if report.differences else ", all equal")
    for difference in report.differences[:40]:
        print("  " + difference[:400])
    if report.differences or not by_workout or not tried:
        sys.exit(1)


if __name__ == "__main__":
    main()
