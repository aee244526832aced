//! The box on an athlete's page that works out what another result would change: a plain form that
//! asks, and a table of places now and then. It stores nothing.

use super::form::{self, Choice, FieldError, Fields};
use super::own_places::among;
use super::rules_said;
use super::shell::words;
use crate::actions::Failure;
use crate::actions::language;
use crate::actions::reader::Reader;
use crate::actions::standings::{self as action, Changed, Other, Ranking};
use crate::actions::views::{EntryView, GymView};
use crate::app::App;
use crate::rules::ledger::Refusal;
use crate::rules::workout::Workout;
use crate::standings::Spot;
use crate::web::problem::Answer;
use crate::words::en::what_if::WhatIf;
use crate::words::{Noun, put, what_if};
use http::StatusCode;

/// The fields, as the address has them.
const FIELDS: &[&str] = &["workout", "level", "performance"];

/// The box.
#[derive(Debug, Default)]
pub struct WhatIfBox {
    /// The page's own address.
    pub action: String,
    /// What can be tried.
    pub workouts: Vec<Choice>,
    /// At which levels; one: not asked.
    pub levels: Vec<Choice>,
    /// As typed.
    pub performance: String,
    /// How to write it.
    pub hint: String,
    /// What is wrong with it.
    pub errors: Vec<FieldError>,
    /// What came of it.
    pub found: Option<Found>,
}

/// What would change.
#[derive(Debug, Default, PartialEq, Eq)]
pub struct Found {
    /// "With 6+14 in Low Tide".
    pub title: String,
    /// Of the table.
    pub caption: String,
    /// Questions, remarks.
    pub lines: Vec<String>,
    /// Each ranking.
    pub rows: Vec<Row>,
}

/// One ranking.
#[derive(Debug, Default, PartialEq, Eq)]
pub struct Row {
    /// Division, or scope.
    pub among: String,
    /// In the workout.
    pub place_now: String,
    /// In the workout.
    pub place_then: String,
    /// Overall.
    pub overall_now: String,
    /// Overall.
    pub overall_then: String,
}

/// The texts of the box.
#[must_use]
pub fn texts() -> &'static WhatIf {
    what_if(language::reader())
}

/// The box of an entry that is ranked, and the status its answer has; `None`: there is nothing
/// that can be tried.
pub async fn read(
    app: &App,
    reader: &Reader,
    gyms: &[GymView],
    entry: &EntryView,
    fields: &Fields,
) -> Answer<Option<(WhatIfBox, StatusCode)>> {
    let c = &reader.competition;
    let all: Vec<&Workout> = action::offered(reader, &entry.division).collect();
    let Some(last) = all.last().filter(|_| matches!(entry.state, "active" | "withdrawn")) else { return Ok(None) };
    let other = Other {
        workout: fields.find("workout").unwrap_or_else(|| last.slug.clone()),
        level: fields.get("level").chars().take(60).collect(),
        performance: fields.get("performance").chars().take(200).collect(),
    };
    let chosen = all.iter().find(|x| x.slug == other.workout).unwrap_or(last);
    let own = c.division(&entry.division).map_or(0, |d| d.level);
    let fits = |n: u8| all.iter().any(|x| c.prescription(&x.slug, &entry.division, n).is_some());
    let now =
        if other.level.is_empty() { c.levels.get(usize::from(own)).map_or("", |l| &l.slug) } else { &other.level };
    let level = (0..).zip(&c.levels).find(|(_, l)| l.slug == *now).map_or(own, |(n, _)| n);
    let task = c.prescription(&chosen.slug, &entry.division, level).map_or(&chosen.task, |p| &p.task);
    let mut made = WhatIfBox {
        action: format!("/c/{}/athletes/{}", c.slug, entry.bib),
        workouts: all.iter().map(|x| Choice::new(&x.slug, &x.title, &other.workout)).collect(),
        levels: (0..)
            .zip(&c.levels)
            .filter(|(n, _)| fits(*n))
            .map(|(_, l)| Choice::new(&l.slug, &l.title, now))
            .collect(),
        performance: other.performance.clone(),
        hint: rules_said::hint(task),
        ..WhatIfBox::default()
    };
    if !fields.0.iter().any(|(name, _)| FIELDS.contains(&name.as_str())) {
        return Ok(Some((made, StatusCode::OK)));
    }
    let status = match action::what_if(app, &reader.actor, reader.now, &c.slug, entry.bib, &other).await {
        Ok(changed) => {
            made.found = Some(found(reader, gyms, chosen, &changed));
            StatusCode::OK
        }
        Err(Failure::Refused(Refusal::Faults(faults))) => {
            // A level that is not asked for has no field to stand beside.
            let level = if made.levels.len() > 1 { "level" } else { "performance" };
            made.errors = form::beside(&faults, FIELDS, &[("tiebreak", "performance"), ("level", level)]);
            StatusCode::UNPROCESSABLE_ENTITY
        }
        Err(Failure::Busy) => {
            made.errors = vec![FieldError::new("performance", texts().busy)];
            StatusCode::SERVICE_UNAVAILABLE
        }
        Err(other) => return Err(other.into()),
    };
    Ok(Some((made, status)))
}

fn found(reader: &Reader, gyms: &[GymView], x: &Workout, changed: &Changed) -> Found {
    let t = texts();
    let mut lines: Vec<String> = changed.remarks.iter().map(|r| put(t.check, &[("said", &r.message)])).collect();
    if !changed.counts {
        lines.push(put(t.not_counted, &[("workout", &x.title)]));
    }
    if changed.rankings.iter().all(|r| r.now == r.then) {
        lines.push(t.same.to_owned());
    }
    Found {
        title: put(t.with, &[("text", &changed.text), ("workout", &x.title)]),
        caption: put(t.caption, &[("text", &changed.text)]),
        lines,
        rows: changed.rankings.iter().map(|r| row(reader, gyms, r)).collect(),
    }
}

fn row(reader: &Reader, gyms: &[GymView], r: &Ranking) -> Row {
    let place = |spot: &Spot| of(spot.place, spot.placed);
    let overall = |spot: &Spot| match spot.standing.zip(spot.points) {
        Some((n, points)) => {
            let values: [(&'static str, &dyn std::fmt::Display); 3] = [
                ("ordinal", &(words().ordinal)(n.into())),
                ("of", &spot.standings),
                ("points", &(words().count)(points, Noun::Point)),
            ];
            put(texts().of_with, &values)
        }
        None => of(None, spot.standings),
    };
    Row {
        among: among(&reader.competition, gyms, &r.division, &r.scope),
        place_now: place(&r.now),
        place_then: place(&r.then),
        overall_now: overall(&r.now),
        overall_then: overall(&r.then),
    }
}

/// "12th of 311".
fn of(place: Option<u32>, all: usize) -> String {
    match place {
        Some(n) => put(texts().of, &[("ordinal", &(words().ordinal)(n.into())), ("of", &all)]),
        None => texts().none.to_owned(),
    }
}
