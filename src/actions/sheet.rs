//! What a judge's sheet is made of: for whom, at which level, and how far it has to count.
//!
//! Names are filled in for those who may know all names of a gym: its staff and the organiser.
//! How it looks on paper is the page's.

use super::Failure;
use super::reader::{Reader, athlete, shown};
use crate::app::App;
use crate::rules::access::{Act, Actor, Permit, permit};
use crate::rules::competition::Competition;
use crate::rules::heats::Plan;
use crate::rules::people::{Entry, EntryState, Gym, Person};
use crate::rules::performance::{Around, Performance, RawPerformance, check};
use crate::rules::workout::{Format, Prescription, Task, Workout};
use crate::standings::{Cut, Mask, Query, Scope, ScoreView};
use crate::store::entries::EntryFilter;
use crate::words::Sentence;
use jiff::Timestamp;
use std::collections::{BTreeMap, BTreeSet};

/// Entries that are read at a time.
const PAGE: u32 = 1_000;
/// With fewer scores than this, somebody may well go further than the best so far.
const ENOUGH: usize = 5;
/// The most sheets without a name at once.
pub const MOST_COPIES: usize = 20;
/// So many of the best scores at a level are looked at.
const BEST: usize = 50;
/// Rows of the places read at a time.
const ROWS: usize = 500;

/// Which sheets are wanted.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Wanted {
    /// Division slug; none: of a gym all, else the first that does the workout.
    pub division: Option<String>,
    /// Level slug; none: each division's own.
    pub level: Option<String>,
    /// Gym slug: its emergency line and, unless `blank`, a sheet for each of its entries.
    pub gym: Option<String>,
    /// Sheets without a name.
    pub blank: bool,
    /// How many without a name, as asked for; empty: one.
    pub copies: String,
}

/// Sheets of one workout.
#[derive(Clone, Debug)]
pub struct Sheets {
    /// Who reads, and what.
    pub reader: Reader,
    /// Workout slug.
    pub workout: String,
    /// Where it is done.
    pub gym: Option<Gym>,
    /// One a page.
    pub sheets: Vec<Sheet>,
}

/// One sheet.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Sheet {
    /// Division slug.
    pub division: String,
    /// Index of the level.
    pub level: u8,
    /// How many reps somebody is likely to reach.
    pub reach: u64,
    /// Whose; `None`: to be written in.
    pub athlete: Option<(u32, String)>,
    /// When and where; `None`: to be written in.
    pub heat: Option<HeatPlace>,
}

/// A place in a gym's heats.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct HeatPlace {
    /// Number of the heat, from 1.
    pub heat: u32,
    /// Number of the lane, from 1.
    pub lane: u32,
    /// When it starts.
    pub start: Timestamp,
    /// Code and name of who judges, for people.
    pub judge: Option<String>,
}

impl Sheets {
    /// The workout.
    ///
    /// # Errors
    /// Not found, where it is gone.
    pub fn workout(&self) -> Result<&Workout, Failure> {
        self.reader.workout(&self.workout)
    }
}

/// The sheets that are wanted.
///
/// # Errors
/// Not found: the workout (also before its announcement), the gym, the division. 401 or 403: names
/// for those who may not know them. A level the division does not score at.
pub async fn sheets(
    app: &App,
    actor: &Actor,
    now: Timestamp,
    competition: &str,
    workout: &str,
    wanted: &Wanted,
) -> Result<Sheets, Failure> {
    let reader = Reader::find(app, actor, now, competition).await?;
    let named = wanted.gym.as_deref().filter(|_| !wanted.blank);
    let permit = match named {
        Some(gym) => Some(permit(actor, Act::ReadPersons { competition: &reader.slug, gym: Some(gym) })?),
        None => None,
    };
    let x = reader.workout(workout)?;
    let gym = match &wanted.gym {
        Some(slug) => Some(app.store.find_gym(reader.id, slug).await?.ok_or_else(|| no_gym(slug))?),
        None => None,
    };
    let level = level(&reader.competition, wanted.level.as_deref())?;
    if let Some(division) = &wanted.division {
        known_division(&reader.competition, division)?;
    }
    let mut reach = Reach { app, reader: &reader, workout: x, known: BTreeMap::new() };
    let mut sheets = Vec::new();
    if let (Some(permit), Some(gym)) = (permit, named) {
        let plan = super::heats::plan(app, &permit, &reader, gym, &x.slug).await?.map(|(_, plan)| plan);
        let division = wanted.division.as_deref();
        let own = entries(app, &reader, &permit, x, gym, division).await?.into_iter().map(|(entry, person)| {
            let name = person.map(|p| p.name).filter(|n| !n.is_empty()).unwrap_or_else(|| athlete(entry.bib));
            (entry, name)
        });
        // Somebody of another gym has a sheet by their lane.
        let visitors = match &plan {
            Some(plan) => super::heats::visitors(app, &reader, gym, &plan.visitors).await?,
            None => Vec::new(),
        };
        let visitors = visitors.into_iter().filter(|(e, _)| division.is_none_or(|d| e.division == d));
        for (entry, name) in own.chain(visitors) {
            let Some(level) = fits(&reader.competition, x, &entry.division, level) else { continue };
            let reach = reach.of(&entry.division, level);
            let athlete = Some((entry.bib, name));
            let heat = plan.as_ref().and_then(|plan| heat(plan, entry.bib));
            sheets.push(Sheet { division: entry.division, level, reach, athlete, heat });
        }
        // In the order in which they start; who has no place comes last.
        sheets.sort_by_key(|s| s.heat.as_ref().map_or((u32::MAX, u32::MAX), |h| (h.heat, h.lane)));
        name_judges(app, &reader, &permit, &mut sheets).await?;
    } else {
        let (division, level) = blank(&reader.competition, x, wanted.division.as_deref(), level)?;
        let reach = reach.of(&division, level);
        let one = Sheet { division, level, reach, athlete: None, heat: None };
        sheets = vec![one; copies(&wanted.copies)?];
    }
    Ok(Sheets { workout: x.slug.clone(), gym, sheets, reader })
}

/// How many without a name.
fn copies(asked: &str) -> Result<usize, Failure> {
    if asked.is_empty() {
        return Ok(1);
    }
    let number = asked.parse().ok().filter(|n| (1..=MOST_COPIES).contains(n));
    number.ok_or_else(|| Failure::fault("/copies", Sentence::new("sheet_copies").with("most", MOST_COPIES)))
}

/// Where the gym's heats place somebody.
fn heat(plan: &Plan, bib: u32) -> Option<HeatPlace> {
    let p = plan.place(bib)?;
    Some(HeatPlace { heat: p.heat, lane: p.lane, start: plan.starts(p.heat), judge: p.judge.clone() })
}

/// Puts the names of the judges beside their codes.
async fn name_judges(app: &App, reader: &Reader, permit: &Permit, sheets: &mut [Sheet]) -> Result<(), Failure> {
    let codes: BTreeSet<String> = sheets.iter().filter_map(|s| s.heat.as_ref()?.judge.clone()).collect();
    let mut names = BTreeMap::new();
    for code in codes {
        let Some(judge) = app.store.find_judge(reader.id, &code).await? else { continue };
        if let Some(person) = app.store.find_person(permit, reader.id, judge.person.id).await? {
            names.insert(code, person.name);
        }
    }
    for judge in sheets.iter_mut().filter_map(|s| s.heat.as_mut()?.judge.as_mut()) {
        if let Some(name) = names.get(judge) {
            *judge = format!("{name} ({judge})");
        }
    }
    Ok(())
}

fn no_gym(slug: &str) -> Failure {
    Failure::not_found(Sentence::new("no_gym").with("gym", shown(slug)))
}

fn known_division(c: &Competition, division: &str) -> Result<(), Failure> {
    if c.division(division).is_some() {
        return Ok(());
    }
    let known = c.divisions.iter().map(|d| d.slug.as_str()).collect::<Vec<_>>().join(", ");
    Err(Failure::not_found(Sentence::new("no_division").with("division", shown(division)).with("known", known)))
}

fn level(c: &Competition, slug: Option<&str>) -> Result<Option<u8>, Failure> {
    let Some(slug) = slug else { return Ok(None) };
    let found = (0u8..).zip(&c.levels).find(|(_, l)| l.slug == slug);
    let known = || c.levels.iter().map(|l| l.slug.as_str()).collect::<Vec<_>>().join(", ");
    let unknown = || Sentence::new("no_such_level").with("level", shown(slug)).with("levels", known());
    found.map(|(n, _)| Some(n)).ok_or_else(|| Failure::fault("/level", unknown()))
}

/// The level asked for where the division scores at it, else its own.
fn fits(c: &Competition, x: &Workout, division: &str, level: Option<u8>) -> Option<u8> {
    let own = c.division(division)?.level;
    [level, Some(own)].into_iter().flatten().find(|l| c.prescription(&x.slug, division, *l).is_some())
}

/// Division and level of a sheet without a name.
fn blank(c: &Competition, x: &Workout, division: Option<&str>, level: Option<u8>) -> Result<(String, u8), Failure> {
    let mut divisions = c.divisions.iter().filter(|d| division.is_none_or(|wanted| wanted == d.slug));
    let scores = |d: &str| level.or_else(|| c.division(d).map(|d| d.level));
    let found = divisions.find_map(|d| {
        let level = scores(&d.slug).filter(|l| c.prescription(&x.slug, &d.slug, *l).is_some())?;
        Some((d.slug.clone(), level))
    });
    found.ok_or_else(|| {
        let title = division.and_then(|d| c.division(d)).map_or_else(String::new, |d| d.title.clone());
        let sentence = Sentence::new("not_for_this_division").with("workout", &x.title).with("division", title);
        Failure::fault("/division", sentence)
    })
}

/// A gym's entries that may still do the workout, by bib, with what only some may know.
pub(super) async fn entries(
    app: &App,
    reader: &Reader,
    permit: &Permit,
    x: &Workout,
    gym: &str,
    division: Option<&str>,
) -> Result<Vec<(Entry, Option<Person>)>, Failure> {
    let out: BTreeSet<u32> =
        app.store.list_not_taking_part(permit, reader.id, &x.slug, Some(gym)).await?.into_iter().map(|n| n.0).collect();
    let mut filter = EntryFilter { gym: Some(gym), division, limit: PAGE, ..EntryFilter::default() };
    let mut found = Vec::new();
    loop {
        let page = app.store.list_entries_privately(permit, reader.id, &filter).await?;
        let full = page.len() >= PAGE as usize;
        filter.after = page.last().map_or(filter.after, |(e, _)| e.bib);
        let here = |e: &Entry| matches!(e.state, EntryState::Active | EntryState::Guest) && !out.contains(&e.bib);
        found.extend(page.into_iter().filter(|(e, _)| here(e)));
        if !full {
            return Ok(found);
        }
    }
}

/// How far the athletes of a division are likely to get at a level, worked out once for each.
struct Reach<'a> {
    app: &'a App,
    reader: &'a Reader,
    workout: &'a Workout,
    known: BTreeMap<(String, u8), u64>,
}

impl Reach<'_> {
    fn of(&mut self, division: &str, level: u8) -> u64 {
        if let Some(known) = self.known.get(&(division.to_owned(), level)) {
            return *known;
        }
        let task =
            self.reader.competition.prescription(&self.workout.slug, division, level).map(|p: &Prescription| &p.task);
        let reach = task.map_or(0, |task| likely(task, &self.stored(task, division, level)));
        self.known.insert((division.to_owned(), level), reach);
        reach
    }

    /// The best stored totals of the division at this level that the reader may see.
    fn stored(&self, task: &Task, division: &str, level: u8) -> Vec<u64> {
        let index = self.reader.index(self.workout);
        let Some(view) = self.app.board.view(self.reader.id) else { return Vec::new() };
        let same = view.definition().workouts.get(index).is_some_and(|w| w.slug == self.workout.slug);
        if !same || !self.reader.sees_scores(self.workout, None) {
            return Vec::new();
        }
        let query = Query { division: division.to_owned(), scope: Scope::default(), mask: Mask::NONE.with(index) };
        let (mut found, mut from) = (Vec::new(), 1);
        while found.len() < BEST {
            let page = view.places(&query, index, Cut::Rows { from, limit: ROWS });
            let scores: Vec<_> = page.into_iter().flat_map(|p| p.rows).filter_map(|r| r.score).collect();
            // The list is by level, and those without a place stand at its end.
            let past = |s: &ScoreView| s.key.is_none() || s.level > level;
            let end = scores.len() < ROWS || scores.last().is_none_or(past);
            found.extend(scores.into_iter().filter(|s| s.key.is_some() && s.level == level).map(|s| s.text));
            if end {
                break;
            }
            from += ROWS;
        }
        found.iter().take(BEST).filter_map(|text| total(task, text)).collect()
    }
}

/// All reps of a stored performance.
fn total(task: &Task, text: &str) -> Option<u64> {
    let around = Around { confirm_all: true, ..Around::default() };
    let checked = check(task, &RawPerformance::Text(text.to_owned()), &around).ok()?;
    Performance::total_reps(&checked.value)
}

/// How many reps anyone is likely to reach: the best so far once there are enough scores, else at
/// least a rep a second for all of the cap. What ends, ends.
fn likely(task: &Task, stored: &[u64]) -> u64 {
    let best = stored.iter().copied().max().unwrap_or(0);
    let pace = task.cap.map_or(0, |cap| cap.0.div_ceil(1_000));
    let reach = if stored.len() >= ENOUGH { best } else { best.max(pace) };
    let end = task.scheme.as_ref().and_then(crate::rules::scheme::Scheme::end);
    if task.format == Format::ForTime { end.unwrap_or(reach) } else { end.map_or(reach, |end| reach.min(end)) }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::rules::quantity::Millis;

    #[test]
    fn the_best_so_far_once_there_are_enough_scores_else_a_generous_pace() {
        let task = Task { cap: Some(Millis(720_000)), ..Task::of(Format::Amrap) };
        assert_eq!(likely(&task, &[]), 720);
        assert_eq!(likely(&task, &[278, 250]), 720);
        assert_eq!(likely(&task, &[900, 250]), 900);
        assert_eq!(likely(&task, &[278, 250, 240, 200, 100]), 278);
        assert_eq!(likely(&Task::of(Format::MaxLoad), &[]), 0);
    }
}
