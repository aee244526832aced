"""Reads competitions' feeds of windows with a general library and compares them with the API: the demo's, and that of
a competition whose titles are meant to break what they stand in, each in both languages.

python check_calendar.py URL COMPETITION PATH-TO-tallywright
"""

import json
import pathlib
import sys
import urllib.request
import zoneinfo
from datetime import datetime

from icalendar import Calendar

from service import service

HOSTILE = pathlib.Path(__file__).resolve().parent.parent / "data" / "hostile" / "series.toml"
# What an event says of the times, in the words of each language: before the close, and between it and the judges' end.
SAID = {
    "en": ("Scores are taken until ", ", judges vouch by "),
    "de": ("Ergebnisse werden bis ", " angenommen, Judges bestätigen bis "),
}


def fetch(url, language="en"):
    with urllib.request.urlopen(urllib.request.Request(url, headers={"Accept-Language": language})) as answer:
        return answer.read()


def read(base, competition, language):
    """The feed in a language, held against what the API says; how many windows it has."""
    raw = fetch(f"{base}/c/{competition}/calendar.ics", language)
    lines = raw.split(b"\r\n")
    assert raw.endswith(b"\r\n") and b"\n" not in b"".join(lines), "every line ends with CR and LF"
    assert all(len(line) <= 75 for line in lines), "no line is longer than 75 octets"
    calendar = Calendar.from_ical(raw)
    assert calendar["version"] == "2.0" and str(calendar["prodid"]).endswith(f"//{language.upper()}"), calendar["prodid"]
    assert not calendar.errors
    assert {part.name for part in calendar.walk()} == {"VCALENDAR", "VEVENT"}, "nothing but events"
    events = {str(e["url"]).rsplit("/", 1)[1]: e for e in calendar.walk("VEVENT")}
    facts = json.loads(fetch(f"{base}/api/v1/competitions/{competition}"))
    assert str(calendar["name"]) == str(calendar["x-wr-calname"]) == facts["title"], calendar["name"]
    workouts = {w["slug"]: w for w in facts["workouts"]}
    assert workouts and events.keys() == workouts.keys(), (events.keys(), workouts.keys())
    for slug, event in events.items():
        workout = workouts[slug]
        assert not event.errors, event.errors
        assert event["dtstart"].dt == datetime.fromisoformat(workout["opens"]), slug
        assert event["dtend"].dt == datetime.fromisoformat(workout["closes"]), slug
        assert event["dtstamp"].dt.tzinfo is not None
        assert str(event["summary"]) == f"{workout['title']}: {facts['title']}", slug
        kind, said = str(event["description"]).split("\n")
        before, between = SAID[language]
        assert kind and said.startswith(before) and said.endswith(f" ({facts['time_zone']})."), said
        closes, attested = said.removeprefix(before).split(between)
        for moment, there in [("closes", closes), ("attest_by", attested)]:
            at = datetime.fromisoformat(workout[moment]).astimezone(zoneinfo.ZoneInfo(facts["time_zone"]))
            assert all(part in there for part in [f"{at:%H:%M}", str(at.day), str(at.year)]), (moment, at, said)
    assert len({str(e["uid"]) for e in events.values()}) == len(events)
    return len(events)


def main(base, competition, binary):
    for language in SAID:
        print(f"{read(base, competition, language)} windows of {competition} read, {language}")
    with service(binary) as it:
        it.run("competition", "apply", str(HOSTILE))
        for language in SAID:
            print(f"{read(it.url, 'zz-hostile', language)} windows of zz-hostile read, {language}")


main(*sys.argv[1:])
