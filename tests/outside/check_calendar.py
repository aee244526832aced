"""Reads a competition's feed of windows with a general library and compares it with the API.

python check_calendar.py URL COMPETITION
"""

import json
import sys
import urllib.request
from datetime import datetime

from icalendar import Calendar


def fetch(url):
    with urllib.request.urlopen(url) as answer:
        return answer.read()


def main(base, competition):
    raw = fetch(f"{base}/c/{competition}/calendar.ics")
    lines = raw.split(b"\r\n")
    assert raw.endswith(b"\r\n") and b"\n" not in b"".join(lines), "every line ends with CR and LF"
    assert all(len(line) <= 75 for line in lines), "no line is longer than 75 octets"
    calendar = Calendar.from_ical(raw)
    assert calendar["version"] == "2.0" and calendar["prodid"]
    assert not calendar.errors
    events = {str(e["url"]).rsplit("/", 1)[1]: e for e in calendar.walk("VEVENT")}
    facts = json.loads(fetch(f"{base}/api/v1/competitions/{competition}"))
    workouts = {w["slug"]: w for w in facts["workouts"]}
    assert workouts and events.keys() == workouts.keys(), (events.keys(), workouts.keys())
    for slug, event in events.items():
        workout = workouts[slug]
        assert not event.errors, event.errors
        assert event["dtstart"].dt == datetime.fromisoformat(workout["opens"]), slug
        assert event["dtend"].dt == datetime.fromisoformat(workout["closes"]), slug
        assert event["dtstamp"].dt.tzinfo is not None
        assert str(event["summary"]) == f"{workout['title']}: {facts['title']}", slug
        assert "\n" in str(event["description"])
    assert len({str(e["uid"]) for e in events.values()}) == len(events)
    print(f"{len(events)} windows read")


main(*sys.argv[1:])
