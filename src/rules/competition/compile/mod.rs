//! What a competition file means: [`RawCompetition`] → [`Competition`], every fault at once.
//!
//! Reading order: here the head, then `divisions`, `workout` (windows and what each format takes),
//! `scheme`, `prescription` (loads, and who may score what), `digest`. Faults name keys as
//! `workout[1].prescription[0].cap`; lines are put to them where there is a text
//! ([`super::from_toml`]).

mod digest;
mod divisions;
mod loads;
mod prescription;
mod scheme;
mod workout;

pub(super) use digest::shape as scheme_shape;

use super::raw::{RawCompetition, RawHead, RawOverall, RawPastEnd, RawPoints};
use super::shape::{clip, nearest};
use super::tree::{item, member};
use super::{Competition, Level};
use crate::rules::fault::{Checked, Fault, Warning};
use crate::rules::people::check_line;
use crate::rules::place::{OverallRules, Points};
use crate::rules::window::read_date;
use crate::words::Sentence;
use jiff::civil::Date;
use jiff::tz::{TimeZone, TimeZoneDatabase};

/// The most divisions of a competition.
pub const MAX_DIVISIONS: usize = 200;
/// The most workouts of a competition: a reader's are one bit each.
pub const MAX_WORKOUTS: usize = 32;
/// The most levels: three bits of the key.
pub const MAX_LEVELS: usize = 8;
/// The most characters of a title.
const MAX_TITLE: usize = 200;
/// The most places in a table of points.
const MAX_TABLE: usize = 10_000;
/// The most points of a place: sums of 32 workouts with the largest weight stay far below 2^63.
const MAX_POINTS: u32 = 1_000_000;

/// Faults and warnings so far.
#[derive(Default)]
struct Notes {
    faults: Vec<Fault>,
    warnings: Vec<Warning>,
}

impl Notes {
    fn fault(&mut self, at: &str, sentence: Sentence) {
        self.faults.push(Fault::new(at, sentence));
    }

    fn warn(&mut self, at: &str, sentence: Sentence) {
        self.warnings.push(Warning { pointer: at.to_owned(), sentence });
    }

    /// The value, or its fault at `at`.
    fn take<T>(&mut self, at: &str, read: Result<T, Sentence>) -> Option<T> {
        read.map_err(|sentence| self.fault(at, sentence)).ok()
    }

    /// A slug: `[a-z0-9-]`, 1 to 40.
    fn slug(&mut self, at: &str, slug: &str) {
        if !is_slug(slug) {
            self.fault(at, Sentence::new("file_slug").with("slug", clip(slug)));
        }
    }

    /// A title: one line, not empty; as it is kept.
    fn title(&mut self, at: &str, title: &str) -> String {
        match check_line(title, MAX_TITLE) {
            Ok(kept) if kept.is_empty() => self.fault(at, Sentence::new("file_title_missing")),
            Ok(kept) => return kept,
            Err(sentence) => self.fault(at, sentence),
        }
        String::new()
    }

    /// A number within bounds.
    fn within<T: PartialOrd + std::fmt::Display>(&mut self, at: &str, value: T, from: T, to: T) {
        if value < from || value > to {
            let sentence = Sentence::new("file_out_of_range").with("value", value).with("from", from).with("to", to);
            self.fault(at, sentence);
        }
    }
}

/// Whether a text is a slug: `[a-z0-9-]`, 1 to 40 characters.
#[must_use]
pub fn is_slug(text: &str) -> bool {
    (1..=40).contains(&text.len()) && text.bytes().all(|b| b.is_ascii_lowercase() || b.is_ascii_digit() || b == b'-')
}

/// What every part of the file is compiled against.
struct Frame {
    zone: Option<TimeZone>,
    levels: Vec<Level>,
}

impl Frame {
    fn level(&self, slug: &str) -> Option<u8> {
        self.levels.iter().position(|l| l.slug == slug).and_then(|at| u8::try_from(at).ok())
    }

    fn level_names(&self) -> String {
        self.levels.iter().map(|l| l.slug.as_str()).collect::<Vec<_>>().join(", ")
    }
}

/// Compiles; warnings for what is taken but odd (load pairs 6 % apart).
pub fn compile(raw: &RawCompetition) -> Result<Checked<Competition>, Vec<Fault>> {
    let mut notes = Notes::default();
    let head = &raw.competition;
    notes.slug("competition.slug", &head.slug);
    let title = notes.title("competition.title", &head.title);
    let frame = Frame { zone: zone(head, &mut notes), levels: levels(head, &mut notes) };
    let age_date = age_date(head, &mut notes);
    let overall = overall(&head.overall, &mut notes);

    let within_bounds = bounded(raw, &mut notes);
    let (divisions, workouts) = if within_bounds {
        let divisions = divisions::compile(&raw.division, &frame, &mut notes);
        let workouts = workout::compile(&raw.workout, &divisions, &frame, &mut notes);
        divisions::check_combined(&divisions, &workouts, &frame, &mut notes);
        (divisions, workouts)
    } else {
        (Vec::new(), Vec::new())
    };

    let (Some(time_zone), Some(age_date)) = (frame.zone, age_date) else {
        return Err(notes.faults);
    };
    if !notes.faults.is_empty() {
        return Err(notes.faults);
    }
    let value = Competition {
        slug: head.slug.clone(),
        title,
        time_zone_name: time_zone.iana_name().unwrap_or("UTC").to_owned(),
        time_zone,
        age_date,
        leap_birthday: head.leap_birthday,
        levels: frame.levels,
        private: head.private,
        overall,
        divisions,
        workouts: workouts.into_iter().flatten().collect(),
    };
    Ok(Checked { value, warnings: notes.warnings, questions: Vec::new() })
}

/// Whether there are as many divisions and workouts as may be; past it nothing else is looked at.
fn bounded(raw: &RawCompetition, notes: &mut Notes) -> bool {
    let before = notes.faults.len();
    if raw.division.is_empty() {
        notes.fault("division", Sentence::new("file_no_division"));
    }
    if raw.division.len() > MAX_DIVISIONS {
        notes.fault("division", Sentence::new("file_too_many_divisions").with("most", MAX_DIVISIONS));
    }
    if raw.workout.len() > MAX_WORKOUTS {
        notes.fault("workout", Sentence::new("file_too_many_workouts").with("most", MAX_WORKOUTS));
    }
    notes.faults.len() == before || raw.division.is_empty() && raw.workout.len() <= MAX_WORKOUTS
}

fn zone(head: &RawHead, notes: &mut Notes) -> Option<TimeZone> {
    let zone = find_zone(&head.time_zone);
    notes.take("competition.time_zone", zone)
}

/// An IANA time zone of the bundled database, by name; the nearest one is named when unknown.
pub fn find_zone(name: &str) -> Result<TimeZone, Sentence> {
    let database = TimeZoneDatabase::bundled();
    let known = database.get(name).ok().filter(|zone| !name.is_empty() && zone.iana_name().is_some());
    known.ok_or_else(|| {
        let names: Vec<String> = database.available().map(|n| n.to_string()).collect();
        let last = |n: &str| n.rsplit('/').next().unwrap_or(n).to_lowercase();
        let wanted = last(name).replace(' ', "_");
        let same_place = names.iter().find(|n| last(n) == wanted && !wanted.is_empty()).map(String::as_str);
        match same_place.or_else(|| nearest(name, names.iter().map(String::as_str))) {
            Some(near) => Sentence::new("zone_unknown_near").with("near", near),
            None => Sentence::new("zone_unknown"),
        }
        .with("text", clip(name))
    })
}

fn age_date(head: &RawHead, notes: &mut Notes) -> Option<Date> {
    let date = read_date(&head.age_date);
    notes
        .take("competition.age_date", date.ok_or_else(|| Sentence::new("file_date").with("text", clip(&head.age_date))))
}

fn levels(head: &RawHead, notes: &mut Notes) -> Vec<Level> {
    let at = "competition.levels";
    if !(1..=MAX_LEVELS).contains(&head.levels.len()) {
        notes.fault(at, Sentence::new("file_levels_number").with("most", MAX_LEVELS));
    }
    let mut levels: Vec<Level> = Vec::new();
    for (i, slug) in head.levels.iter().take(MAX_LEVELS).enumerate() {
        let at = item(at, i);
        notes.slug(&at, slug);
        if levels.iter().any(|l| l.slug == *slug) {
            notes.fault(&at, Sentence::new("file_twice").with("slug", clip(slug)));
        }
        let title = match head.level_titles.get(slug) {
            Some(title) => notes.title(&member("competition.level_titles", slug), title),
            None => slug.clone(),
        };
        levels.push(Level { slug: slug.clone(), title });
    }
    for slug in head.level_titles.keys().filter(|slug| !head.levels.contains(slug)) {
        let sentence =
            Sentence::new("file_level_unknown").with("level", clip(slug)).with("levels", head.levels.join(", "));
        notes.fault(&member("competition.level_titles", slug), sentence);
    }
    levels
}

fn overall(raw: &RawOverall, notes: &mut Notes) -> OverallRules {
    let at = "competition.overall";
    if usize::try_from(raw.drop_worst).is_ok_and(|k| k >= MAX_WORKOUTS) {
        notes.within(&member(at, "drop_worst"), raw.drop_worst, 0, 31);
    }
    let points = match raw.points {
        RawPoints::Places => {
            if raw.table.is_some() {
                notes.fault(&member(at, "table"), Sentence::new("file_table_without_points"));
            }
            if raw.past_end.is_some() {
                notes.fault(&member(at, "past_end"), Sentence::new("file_table_without_points"));
            }
            Points::Places
        }
        RawPoints::Table => points_table(raw, &member(at, "table"), notes),
    };
    OverallRules {
        points,
        missing: raw.missing,
        drop_worst: raw.drop_worst,
        ties: raw.ties,
        last_workout: raw.last_workout,
        running: raw.running,
        level_rule: raw.level_rule,
    }
}

fn points_table(raw: &RawOverall, at: &str, notes: &mut Notes) -> Points {
    let table = raw.table.clone().unwrap_or_default();
    if table.is_empty() || table.len() > MAX_TABLE {
        notes.fault(at, Sentence::new("file_table_missing").with("most", MAX_TABLE));
    }
    if let Some(large) = table.iter().find(|points| **points > MAX_POINTS) {
        notes.within(at, *large, 0, MAX_POINTS);
    }
    if let Some(pair) = table.windows(2).find(|pair| pair[1] > pair[0]) {
        notes.fault(at, Sentence::new("file_table_rises").with("before", pair[0]).with("after", pair[1]));
    }
    Points::Table { table, past_end_last: raw.past_end.unwrap_or(RawPastEnd::Last) == RawPastEnd::Last }
}
