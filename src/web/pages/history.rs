//! What happened to a score, oldest first, in words.

use super::say;
use super::shell::{When, words};
use crate::actions::amend::{Amendment, Happened};
use crate::actions::language;
use crate::actions::views::{HistoryItem, HistoryView};
use crate::rules::competition::Competition;
use crate::rules::window;
use crate::words::{Noun, Sentence, put};
use jiff::tz::TimeZone;

/// One line of a history.
#[derive(Debug)]
pub struct Line {
    /// What happened.
    pub what: String,
    /// When.
    pub at: When,
    /// "by Gym staff".
    pub by: String,
    /// The figures it set; empty: none.
    pub figures: String,
    /// In words; empty: none, or not for this reader.
    pub reason: String,
}

/// A history in words.
#[must_use]
pub fn lines(history: &HistoryView, zone: &TimeZone) -> Vec<Line> {
    let mut seen = std::collections::HashSet::new();
    history.items.iter().map(|item| line(item, zone, !seen.insert(item.attempt))).collect()
}

/// How many there are, over a history that is folded.
#[must_use]
pub fn title(lines: &[Line]) -> String {
    let w = words();
    put(w.history_of, &[("n", &(w.count)(lines.len() as u64, Noun::Change))])
}

/// What was put right about an entry, in words. What it was before is said to nobody.
#[must_use]
pub fn of_entry(amended: &[Amendment], zone: &TimeZone) -> Vec<Line> {
    let w = words();
    let one = |a: &Amendment| Line {
        what: match a.what {
            Happened::Name => w.amended_name,
            Happened::Email => w.amended_email,
            Happened::Consent => w.amended_consent,
            Happened::Facts => w.amended_facts,
            Happened::Shown => w.amended_shown,
            Happened::Hidden => w.amended_hidden,
        }
        .to_owned(),
        at: When::new(a.at, zone),
        by: put(w.by_role, &[("role", &say::role(a.role))]),
        figures: String::new(),
        reason: String::new(),
    };
    amended.iter().map(one).collect()
}

fn line(item: &HistoryItem, zone: &TimeZone, again: bool) -> Line {
    let w = words();
    let mut what = what(item, again);
    for remark in [(item.late, w.event_late), (item.upward, w.event_upward)] {
        if remark.0 {
            what = format!("{what} ({})", remark.1);
        }
    }
    if let Some(n) = item.attempt.filter(|n| *n > 1) {
        what = format!("{} · {what}", put(w.attempt_n, &[("n", &n)]));
    }
    let figures = item.performance.as_ref().map_or(String::new(), |p| figures(&p.text, &p.written));
    Line {
        what,
        at: When::new(item.at, zone),
        by: put(w.by_role, &[("role", &say::role(item.role))]),
        figures,
        reason: item.reason.clone().unwrap_or_default(),
    }
}

/// That they take no part, as it was stated last, is taken back by a result; `None`: it was never stated.
#[must_use]
pub fn stated_out(history: &HistoryView, competition: &Competition) -> Option<String> {
    let stated = history.items.iter().rev().find(|item| item.action == "not_taking_part")?;
    let at = window::local(stated.at, &competition.time_zone);
    let at = format!("{at} ({})", competition.time_zone_name);
    Some(language::say(&Sentence::new("was_not_taking_part").with("at", at)))
}

/// The figures, and as they were written where that differs.
pub fn figures(text: &str, written: &str) -> String {
    if written.trim().eq_ignore_ascii_case(text) {
        text.to_owned()
    } else {
        format!("{text} ({}: {written})", words().written)
    }
}

fn what(item: &HistoryItem, again: bool) -> String {
    let w = words();
    let judge = item.attestation.as_ref().map_or("", |a| a.judge.as_str());
    let doubt = say::doubt(item.flag.unwrap_or_default());
    match item.action {
        "submitted" if again => w.event_revised.to_owned(),
        "submitted" => w.event_submitted.to_owned(),
        "detailed" => w.event_detailed.to_owned(),
        "attested" if item.late => put(w.event_attested_waiting, &[("judge", &judge)]),
        "attested" => put(w.event_attested, &[("judge", &judge)]),
        "withdrawn" => w.event_withdrawn.to_owned(),
        "not_taking_part" => w.event_not_taking_part.to_owned(),
        "taking_part" => w.event_taking_part.to_owned(),
        "flagged" if item.state == Some("withheld") => put(w.event_withheld, &[("reason", &doubt)]),
        "flagged" => put(w.event_flagged, &[("reason", &doubt)]),
        "ruled" => put(w.event_ruled, &[("what", &say::ruling(item.ruling.unwrap_or_default()))]),
        "appealed" => w.event_appealed.to_owned(),
        "admitted" if item.admitted == Some(false) => w.event_refused.to_owned(),
        "admitted" => w.event_admitted.to_owned(),
        _ => w.event_other.to_owned(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn item(action: &'static str) -> HistoryItem {
        HistoryItem {
            seq: 1,
            at: jiff::Timestamp::UNIX_EPOCH,
            action,
            role: Some("staff"),
            attempt: Some(1),
            version: Some(1),
            performance: None,
            attestation: None,
            flag: None,
            ruling: None,
            state: None,
            admitted: None,
            late: false,
            upward: false,
            reason: None,
        }
    }

    #[test]
    fn the_first_figures_are_entered_and_the_next_corrected() {
        let first = item("submitted");
        let next = HistoryItem { upward: true, ..item("submitted") };
        let history = HistoryView {
            competition: "s".to_owned(),
            workout: "w1".to_owned(),
            bib: 1,
            items: vec![first, next],
            log_seq: 2,
        };
        let said = lines(&history, &TimeZone::UTC);
        assert_eq!(said[0].what, "Score entered");
        assert_eq!(said[1].what, "Score corrected (raised after the close)");
    }

    #[test]
    fn what_was_written_stands_beside_the_figures_where_it_differs() {
        assert_eq!(figures("6+14", "6 rds + 14"), "6+14 (As written: 6 rds + 14)");
        assert_eq!(figures("6+14 tb 11:24", " 6+14 TB 11:24"), "6+14 tb 11:24");
    }

    #[test]
    fn doubts_and_rulings_name_what_they_are_about() {
        let flagged = HistoryItem { flag: Some("range_of_motion"), ..item("flagged") };
        assert_eq!(what(&flagged, false), "Being checked: the range of motion");
        let withheld = HistoryItem { state: Some("withheld"), ..flagged };
        assert_eq!(what(&withheld, false), "Taken off the places: the range of motion");
        let ruled = HistoryItem { ruling: Some("strike"), ..item("ruled") };
        assert_eq!(what(&ruled, false), "Ruling: struck");
    }
}
