//! `/c/{c}/calendar.ics`: the windows of a competition's announced workouts, for a calendar
//! (RFC 5545, read: §3.1 lines, §3.3.11 texts, §3.6.1 events; RFC 7986 for the name).
//!
//! Written here rather than by a library: it is one kind of event with six texts, and a library
//! would bring a second one for dates. A library reads it in the tests. What is not announced is
//! not in it, for the organiser neither: a feed is passed on.

use super::rules_said;
use super::shell::{When, words};
use crate::actions::reader::Reader;
use crate::actions::{changes, competitions};
use crate::app::App;
use crate::rules::competition::Competition;
use crate::rules::workout::Workout;
use crate::web::extract::Path;
use crate::web::problem::Answer;
use crate::web::session::Caller;
use crate::words::put_plain;
use axum::extract::State;
use axum::response::IntoResponse;
use http::header;
use jiff::Timestamp;

/// Longest line in octets, without its end (§3.1).
const LINE: usize = 75;

/// A calendar in the making.
struct Feed(String);

impl Feed {
    /// A line, folded where it is too long; never within a character.
    fn line(&mut self, name: &str, value: &str) {
        let mut octets = 0;
        for c in name.chars().chain([':']).chain(value.chars()) {
            if octets + c.len_utf8() > LINE {
                self.0.push_str("\r\n ");
                octets = 1;
            }
            self.0.push(c);
            octets += c.len_utf8();
        }
        self.0.push_str("\r\n");
    }

    /// A line whose value is a text (§3.3.11).
    fn text(&mut self, name: &str, text: &str) {
        let mut value = String::with_capacity(text.len());
        for c in text.replace("\r\n", "\n").chars() {
            match c {
                '\n' => value.push_str("\\n"),
                '\\' | ';' | ',' => value.extend(['\\', c]),
                c if c.is_control() => {}
                c => value.push(c),
            }
        }
        self.line(name, &value);
    }

    fn instant(&mut self, name: &str, at: Timestamp) {
        self.line(name, &at.strftime("%Y%m%dT%H%M%SZ").to_string());
    }
}

/// `GET /c/{c}/calendar.ics`.
pub async fn get_calendar(State(app): State<App>, caller: Caller, Path(slug): Path<String>) -> Answer {
    let reader = Reader::find(&app, &caller.actor, caller.received, &slug).await?;
    let mut events = Vec::new();
    for x in reader.competition.workouts.iter().filter(|x| x.window.announced(reader.now)) {
        let written = written(&app, &reader, x).await?;
        events.push((written, said(&reader.competition, x)));
    }
    let text = feed(&reader, &app.config.public_url, events);
    let kind = (header::CONTENT_TYPE, "text/calendar; charset=utf-8".to_owned());
    let name = (header::CONTENT_DISPOSITION, format!("inline; filename=\"{}.ics\"", reader.slug));
    Ok(([kind, name], text).into_response())
}

/// What an event says.
#[derive(PartialEq, Eq)]
struct Said {
    workout: String,
    starts: Timestamp,
    ends: Timestamp,
    summary: String,
    about: String,
}

/// When an event was last written, and a number that grows each time it is.
struct Written {
    at: Timestamp,
    sequence: u64,
}

/// The last file that changed what the event says, of those since it could be read. An event that only
/// something else was changed beside is not written anew: calendars tell their owners of a new one, and
/// what is not announced shows by nothing.
async fn written(app: &App, reader: &Reader, x: &Workout) -> Answer<Written> {
    let event = |c: &Competition| c.workout(&x.slug).map(|x| said(c, x));
    let form = format!("calendar, {}", words().lang);
    let told = changes::of_workout(app, reader, x, &form, |file| event(&file.before) != event(&file.after)).await?;
    if let Some(last) = told.iter().find(|told| told.what) {
        return Ok(Written { at: last.at, sequence: last.seq });
    }
    let began = competitions::began(app, reader).await?;
    Ok(Written { at: began.max(x.window.announce), sequence: 0 })
}

/// The feed of what is announced.
fn feed(reader: &Reader, public_url: &str, events: Vec<(Written, Said)>) -> String {
    let c = &reader.competition;
    let mut feed = Feed(String::new());
    feed.line("BEGIN", "VCALENDAR");
    feed.line("VERSION", "2.0");
    let product = concat!("-//Tallywright//Tallywright ", env!("CARGO_PKG_VERSION"), "//");
    feed.line("PRODID", &format!("{product}{}", words().lang.to_uppercase()));
    feed.line("CALSCALE", "GREGORIAN");
    feed.line("METHOD", "PUBLISH");
    feed.text("NAME", &c.title);
    feed.text("X-WR-CALNAME", &c.title);
    feed.line("REFRESH-INTERVAL;VALUE=DURATION", "PT6H");
    for (written, said) in events {
        event(&mut feed, &c.slug, public_url, &written, &said);
    }
    feed.line("END", "VCALENDAR");
    feed.0
}

fn said(c: &Competition, x: &Workout) -> Said {
    let w = words();
    let local = |at| When::new(at, &c.time_zone).text;
    let names: [(&'static str, &dyn std::fmt::Display); 2] = [("workout", &x.title), ("competition", &c.title)];
    let times: [(&'static str, &dyn std::fmt::Display); 4] = [
        ("format", &rules_said::format(&x.task)),
        ("closes", &local(x.window.closes)),
        ("attest_by", &local(x.window.attest_by)),
        ("zone", &c.time_zone_name),
    ];
    Said {
        workout: x.slug.clone(),
        starts: x.window.opens,
        ends: x.window.closes,
        summary: put_plain(w.calendar_event, &names),
        about: put_plain(w.calendar_about, &times),
    }
}

fn event(feed: &mut Feed, competition: &str, public_url: &str, written: &Written, said: &Said) {
    let host = public_url.split_once("://").map_or(public_url, |(_, host)| host);
    feed.line("BEGIN", "VEVENT");
    feed.text("UID", &format!("{}.{competition}@{host}", said.workout));
    feed.instant("DTSTAMP", written.at);
    feed.line("SEQUENCE", &written.sequence.to_string());
    feed.instant("DTSTART", said.starts);
    feed.instant("DTEND", said.ends);
    feed.text("SUMMARY", &said.summary);
    feed.text("DESCRIPTION", &said.about);
    feed.line("URL", &format!("{public_url}/c/{competition}/workouts/{}", said.workout));
    // A window is open for days: nobody is busy all the while.
    feed.line("TRANSP", "TRANSPARENT");
    feed.line("END", "VEVENT");
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn long_lines_are_folded_between_characters_and_read_back() {
        let title =
            format!("Ünïcode, {} ; \\ \u{5e9}\u{5dc}\u{5d5}\u{5dd} \u{1f3cb}\r\nBEGIN:VEVENT\u{7}", "é".repeat(200));
        let mut feed = Feed(String::new());
        feed.text("SUMMARY", &title);
        assert!(feed.0.ends_with("\r\n") && feed.0.matches("\r\n").count() > 5);
        for line in feed.0.split("\r\n") {
            assert!(line.len() <= LINE && !line.contains(['\r', '\n']), "{line:?}");
        }
        let whole = feed.0.replace("\r\n ", "");
        let wanted = title
            .replace('\\', "\\\\")
            .replace(',', "\\,")
            .replace(';', "\\;")
            .replace("\r\n", "\\n")
            .replace('\u{7}', "");
        assert_eq!(whole, format!("SUMMARY:{wanted}\r\n"));
    }

    #[test]
    fn a_line_of_exactly_seventy_five_octets_stays_whole() {
        let mut feed = Feed(String::new());
        feed.line("X", &"a".repeat(73));
        assert_eq!(feed.0.matches("\r\n").count(), 1);
        feed.line("X", &"a".repeat(74));
        assert_eq!(feed.0.matches("\r\n ").count(), 1);
    }
}
