//! A gym's heats in a workout: made from its entries, changed by hand, taken away. Somebody of another gym
//! who does the workout here gets a lane by the bib. For its staff and the organiser; outside the log.

use super::Failure;
use super::reader::{Reader, athlete};
use super::sheet::entries;
use crate::app::App;
use crate::rules::access::{Act, Actor, Permit, Role, permit};
use crate::rules::fault::Fault;
use crate::rules::heats::{Athlete, Judging, Later, Place, Plan, Settings};
use crate::rules::ledger::Refusal;
use crate::rules::life::State;
use crate::rules::people::{Entry, EntryState, Judge, Person, fold_name};
use crate::rules::tag::Tag;
use crate::rules::window::{self, Window};
use crate::rules::workout::Workout;
use crate::store::entries::Named;
use crate::store::scores::ScoreFilter;
use crate::words::Sentence;
use jiff::Timestamp;
use std::collections::{BTreeMap, BTreeSet, HashMap};

/// Judges that are read at a time.
const PAGE: u32 = 1_000;

/// Which heats.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct HeatsPath {
    /// Competition slug.
    pub competition: String,
    /// Gym slug.
    pub gym: String,
    /// Workout slug.
    pub workout: String,
}

/// An entry that may do the workout: of the gym, or a visitor who has a lane.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct HeatEntry {
    /// Who.
    pub bib: u32,
    /// The name.
    pub name: String,
    /// Division slug.
    pub division: String,
    /// Of another gym.
    pub visiting: bool,
}

/// Heats as the gym's people see them.
#[derive(Clone, Debug)]
pub struct HeatsView {
    /// Who reads, and what.
    pub reader: Reader,
    /// The gym's name.
    pub gym: String,
    /// The zone it was given; empty: the competition's.
    pub gym_zone: String,
    /// The times that hold for the workout there.
    pub window: Window,
    /// How often they were changed; 0: there are none.
    pub version: u64,
    /// The heats.
    pub plan: Option<Plan>,
    /// All of the gym that may do the workout, by division and bib; then the visitors in its heats.
    pub entries: Vec<HeatEntry>,
    /// Code and name of the judges who may be named.
    pub judges: Vec<(String, String)>,
    /// Whoever of the gym has a score in it, where that was asked for ([`with_scores`]).
    pub scored: BTreeSet<u32>,
    people: Vec<Athlete>,
    all: Vec<Judge>,
}

/// What a gym wants of its heats.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Wanted {
    /// Made anew from its entries.
    Made(Settings),
    /// These places.
    Changed(Vec<Place>),
    /// The same places, what starts from a heat on moved.
    Moved(Later),
    /// None any more.
    Gone,
}

/// Reads a gym's heats, and whom they can be made of.
///
/// # Errors
/// Not found: the workout, the gym; 401 and 403 for all but the gym's staff and the organiser.
pub async fn read(app: &App, actor: &Actor, now: Timestamp, path: &HeatsPath) -> Result<HeatsView, Failure> {
    read_with(app, actor, now, path, &[]).await
}

/// The same, with those of these bibs who are visitors.
async fn read_with(
    app: &App,
    actor: &Actor,
    now: Timestamp,
    path: &HeatsPath,
    more: &[u32],
) -> Result<HeatsView, Failure> {
    let reader = Reader::find(app, actor, now, &path.competition).await?;
    let permit = permit(actor, Act::PlanHeats { competition: &reader.slug, gym: &path.gym })?;
    let workout = reader.workout(&path.workout)?.clone();
    let Some(gym) = app.store.find_gym(reader.id, &path.gym).await? else {
        return Err(Failure::not_found(Sentence::new("no_gym").with("gym", super::reader::shown(&path.gym))));
    };
    let stored = plan(app, &permit, &reader, &path.gym, &path.workout).await?;
    let (version, plan) = stored.map_or((0, None), |(version, plan)| (version, Some(plan)));
    let extensions = app.store.list_extensions(reader.id).await?;
    let mut view = HeatsView {
        window: window::for_entry(&workout, &extensions, Some(&gym.slug), &gym.region),
        gym: gym.name,
        gym_zone: gym.time_zone,
        version,
        plan,
        entries: Vec::new(),
        judges: Vec::new(),
        scored: BTreeSet::new(),
        people: Vec::new(),
        all: Vec::new(),
        reader,
    };
    let bibs = view.plan.iter().flat_map(|plan| &plan.visitors).chain(more).copied().collect();
    let visitors = visitors(app, &view.reader, &path.gym, &bibs).await?;
    people(app, &permit, &mut view, (path, &workout), visitors).await?;
    Ok(view)
}

/// The same, with whoever has a score already: how far the evening is in truth, whatever the plan says.
///
/// # Errors
/// As [`read`].
pub async fn with_scores(app: &App, actor: &Actor, now: Timestamp, path: &HeatsPath) -> Result<HeatsView, Failure> {
    let mut view = read(app, actor, now, path).await?;
    if view.plan.is_none() {
        return Ok(view);
    }
    let permit = permit(actor, Act::ReadDesk { competition: &view.reader.slug, gym: Some(&path.gym) })?;
    let mut filter = ScoreFilter { gym: Some(&path.gym), limit: PAGE, ..ScoreFilter::default() };
    loop {
        let page = app.store.list_scores(&permit, view.reader.id, &path.workout, &filter).await?;
        filter.after = page.last().map_or(filter.after, |l| (l.attempt.score.bib, l.attempt.score.attempt));
        let full = page.len() >= PAGE as usize;
        let there = page.into_iter().map(|l| l.attempt).filter(|a| a.state != State::Withdrawn);
        view.scored.extend(there.map(|a| a.score.bib));
        if !full {
            break;
        }
    }
    // Of visitors what they did here.
    if view.plan.as_ref().is_some_and(|plan| !plan.visitors.is_empty()) {
        let here = app.store.list_visiting_scores(&permit, view.reader.id, &path.workout, &path.gym).await?;
        view.scored.extend(here.into_iter().filter(|a| a.state != State::Withdrawn).map(|a| a.score.bib));
    }
    Ok(view)
}

/// Stands for a gym's heats in a workout as they are stored: another one says that they were changed. `None`:
/// there are none, or they are not this reader's to see.
pub(super) async fn tag(app: &App, reader: &Reader, gym: &str, workout: &str) -> Result<Option<String>, Failure> {
    let Ok(permit) = permit(&reader.actor, Act::PlanHeats { competition: &reader.slug, gym }) else {
        return Ok(None);
    };
    let stored = app.store.find_heats(&permit, reader.id, gym, workout).await?;
    Ok(stored.map(|(version, plan)| Tag::of(version, &plan).to_string()))
}

/// Who of these takes part and is of another gym than this, by bib, with the name that the reader may see.
pub(super) async fn visitors(
    app: &App,
    reader: &Reader,
    gym: &str,
    bibs: &BTreeSet<u32>,
) -> Result<Vec<(Entry, String)>, Failure> {
    if bibs.is_empty() {
        return Ok(Vec::new());
    }
    let bibs: Vec<u32> = bibs.iter().copied().collect();
    let found = app.store.list_named(reader.id, &bibs).await?;
    let names = reader.names(app, &bibs).await?;
    let there = |e: &Entry| matches!(e.state, EntryState::Active | EntryState::Guest) && e.gym.as_deref() != Some(gym);
    let with_name = |e: Entry| {
        let name = names.get(&e.bib).cloned().unwrap_or_else(|| athlete(e.bib));
        (e, name)
    };
    let mut found: Vec<_> = found.into_values().map(|n| n.entry).filter(there).map(with_name).collect();
    found.sort_by_key(|(e, _)| e.bib);
    Ok(found)
}

/// The gym's entries and judges, and who of them, and of its visitors, is the same person: by e-mail or by
/// account.
async fn people(
    app: &App,
    permit: &Permit,
    view: &mut HeatsView,
    (path, x): (&HeatsPath, &Workout),
    visitors: Vec<(Entry, String)>,
) -> Result<(), Failure> {
    let reader = &view.reader;
    let mut found = entries(app, reader, permit, x, &path.gym, None).await?;
    let order = |d: &str| reader.competition.divisions.iter().position(|x| x.slug == d);
    found.sort_by_key(|(e, _)| (order(&e.division), e.bib));
    let mut judges = Vec::new();
    loop {
        let after = judges.last().map_or(String::new(), |j: &Judge| j.code.clone());
        let page = app.store.list_judges(reader.id, None, &after, PAGE).await?;
        let full = page.len() >= PAGE as usize;
        judges.extend(page);
        if !full {
            break;
        }
    }
    let ids: Vec<u64> = judges.iter().map(|j| j.person.id).chain(visitors.iter().map(|v| v.0.person.id)).collect();
    let persons = app.store.list_persons(permit, reader.id, &ids).await?;
    let own = found.iter().map(|(e, p)| (e.bib, p.as_ref().map_or("", |p| p.email.as_str())));
    let mail = |e: &Entry| persons.get(&e.person.id).map_or("", |p| p.email.as_str());
    let athletes: Vec<(u32, &str)> = own.chain(visitors.iter().map(|(e, _)| (e.bib, mail(e)))).collect();
    view.people = themselves(app, reader, &athletes, &judges, &persons).await?;
    let name = |j: &Judge| persons.get(&j.person.id).map_or(String::new(), |p| p.name.clone());
    let here = judges.iter().filter(|j| {
        j.gym.as_deref() == Some(path.gym.as_str()) || view.people.iter().any(|p| p.judges.contains(&j.code))
    });
    view.judges = here.map(|j| (j.code.clone(), name(j))).collect();
    let own = found.into_iter().map(|(entry, person)| HeatEntry {
        bib: entry.bib,
        name: person.map(|p| p.name).filter(|n| !n.is_empty()).unwrap_or_else(|| athlete(entry.bib)),
        division: entry.division,
        visiting: false,
    });
    let visiting = |(e, name): (Entry, String)| HeatEntry { bib: e.bib, name, division: e.division, visiting: true };
    view.entries = own.chain(visitors.into_iter().map(visiting)).collect();
    view.all = judges;
    Ok(())
}

/// As which judges these athletes count: those under their e-mail, and those of their account.
async fn themselves(
    app: &App,
    reader: &Reader,
    athletes: &[(u32, &str)],
    judges: &[Judge],
    persons: &HashMap<u64, Person>,
) -> Result<Vec<Athlete>, Failure> {
    let mut by_mail: BTreeMap<String, Vec<&str>> = BTreeMap::new();
    for judge in judges {
        let mail = persons.get(&judge.person.id).map(|p| fold_name(&p.email)).filter(|m| !m.is_empty());
        by_mail.entry(mail.unwrap_or_default()).or_default().push(&judge.code);
    }
    let grants = app.store.list_grants_in(&reader.slug).await?;
    let same_account = |bib: u32| {
        let own = |role, account| grants.iter().filter(move |g| g.grant.role == role && account == Some(g.account));
        let accounts = grants.iter().filter(move |g| g.grant.role == Role::Athlete && g.grant.bib == Some(bib));
        accounts.flat_map(move |g| own(Role::Judge, Some(g.account))).filter_map(|g| g.grant.judge.clone())
    };
    let athlete = |(bib, mail): &(u32, &str)| {
        let mail = Some(fold_name(mail)).filter(|m| !m.is_empty());
        let mut codes: Vec<String> =
            mail.and_then(|m| by_mail.get(&m)).into_iter().flatten().map(|c| (*c).to_owned()).collect();
        codes.extend(same_account(*bib));
        codes.sort();
        codes.dedup();
        Athlete { bib: *bib, judges: codes }
    };
    Ok(athletes.iter().map(athlete).collect())
}

/// A gym's heats and their version. Who has become the athlete of a lane since they were made does not
/// count there any more: that lane has no judge.
pub(super) async fn plan(
    app: &App,
    permit: &Permit,
    reader: &Reader,
    gym: &str,
    workout: &str,
) -> Result<Option<(u64, Plan)>, Failure> {
    let Some((version, mut plan)) = app.store.find_heats(permit, reader.id, gym, workout).await? else {
        return Ok(None);
    };
    let counted = plan.places.iter().filter(|p| p.judge.is_some()).map(|p| p.bib).collect::<Vec<_>>();
    let mut judges = Vec::new();
    for code in plan.places.iter().filter_map(|p| p.judge.as_deref()).collect::<BTreeSet<_>>() {
        judges.extend(app.store.find_judge(reader.id, code).await?);
    }
    let entries = app.store.list_named(reader.id, &counted).await?;
    let ids: Vec<u64> = judges.iter().map(|j| j.person.id).chain(entries.values().map(|n| n.entry.person.id)).collect();
    let persons = app.store.list_persons(permit, reader.id, &ids).await?;
    let mail = |n: &Named| (n.entry.bib, persons.get(&n.entry.person.id).map_or("", |p| p.email.as_str()));
    let athletes: Vec<(u32, &str)> = entries.values().map(mail).collect();
    let people = themselves(app, reader, &athletes, &judges, &persons).await?;
    for place in &mut plan.places {
        let own = |code: &String| people.iter().any(|a| a.bib == place.bib && a.judges.contains(code));
        place.judge = place.judge.take().filter(|code| !own(code));
    }
    Ok(Some((version, plan)))
}

/// Changes a gym's heats. `version`: that of the heats the sender has seen.
///
/// # Errors
/// As [`read`]; what cannot be, all of it at once; a conflict where somebody else was quicker.
pub async fn change(
    app: &App,
    actor: &Actor,
    now: Timestamp,
    path: &HeatsPath,
    version: u64,
    wanted: Wanted,
) -> Result<(), Failure> {
    let bibs: Vec<u32> = match &wanted {
        Wanted::Changed(places) => places.iter().map(|p| p.bib).collect(),
        Wanted::Made(_) | Wanted::Moved(_) | Wanted::Gone => Vec::new(),
    };
    let view = read_with(app, actor, now, path, &bibs).await?;
    let permit = permit(actor, Act::PlanHeats { competition: &view.reader.slug, gym: &path.gym })?;
    let moved = if let Wanted::Moved(by) = wanted { Some(by) } else { None };
    let plan = match wanted {
        Wanted::Made(settings) => Some(made(&view, settings, path)?),
        Wanted::Changed(places) => {
            let mut plan = Plan { places, ..view.plan.clone().ok_or_else(changed_meanwhile)? };
            plan.visitors = visiting(&view, &plan);
            plan.sort();
            Some(plan)
        }
        Wanted::Moved(by) => Some(view.plan.as_ref().ok_or_else(changed_meanwhile)?.moved(by)),
        Wanted::Gone => None,
    };
    let id = view.reader.id;
    let done = match plan {
        None => app.store.remove_heats(&permit, id, &path.gym, &path.workout, version).await?,
        Some(plan) => {
            let faults = match moved {
                Some(by) => move_faults(&view, &plan, by),
                None => faults(&view, &plan),
            };
            if !faults.is_empty() {
                return Err(Failure::faults(faults));
            }
            app.store.save_heats(&permit, id, &path.gym, &path.workout, version, &plan, now).await?
        }
    };
    if done { Ok(()) } else { Err(changed_meanwhile()) }
}

/// Who in these heats is of another gym.
fn visiting(view: &HeatsView, plan: &Plan) -> BTreeSet<u32> {
    let there = |e: &&HeatEntry| e.visiting && plan.place(e.bib).is_some();
    view.entries.iter().filter(there).map(|e| e.bib).collect()
}

fn changed_meanwhile() -> Failure {
    Refusal::Conflict(Sentence::new("heats_changed"), Vec::new()).into()
}

/// The heats as they are made anew by these settings: by the same people and settings the same.
///
/// # Errors
/// What of the settings cannot be.
pub fn made(view: &HeatsView, settings: Settings, path: &HeatsPath) -> Result<Plan, Failure> {
    let faults = settings.faults();
    if !faults.is_empty() {
        return Err(Failure::faults(faults));
    }
    let valid = |code: &String| view.all.iter().any(|j| j.code == *code && holds(view, j, settings.start));
    let own = |j: &&Judge| j.gym.as_deref() == Some(path.gym.as_str());
    let judges: Vec<String> = view.all.iter().filter(own).map(|j| j.code.clone()).filter(valid).collect();
    let people: Vec<Athlete> = view
        .people
        .iter()
        .map(|p| Athlete { bib: p.bib, judges: p.judges.iter().filter(|c| valid(c)).cloned().collect() })
        .collect();
    let plan = Plan::distribute(settings, &people, &judges);
    Ok(Plan { visitors: visiting(view, &plan), ..plan })
}

/// Whether a judge's credential holds on the day of an instant.
fn holds(view: &HeatsView, judge: &Judge, at: Timestamp) -> bool {
    let day = view.reader.competition.time_zone.to_datetime(at).date();
    (judge.valid_from..=judge.valid_to).contains(&day)
}

fn faults(view: &HeatsView, plan: &Plan) -> Vec<Fault> {
    let mut faults = plan.faults(&view.people);
    for p in &plan.places {
        if !view.people.iter().any(|a| a.bib == p.bib) {
            let known = view.plan.as_ref().is_some_and(|plan| plan.place(p.bib).is_some());
            let (field, code) = if known { ("heat", "heat_nobody") } else { ("visitor", "heat_no_visitor") };
            faults.push(Fault::new(format!("/{field}-{}", p.bib), Sentence::new(code).with("bib", p.bib)));
        }
        let Some(code) = &p.judge else { continue };
        let at = format!("/judge-{}", p.bib);
        match view.all.iter().find(|j| j.code == *code) {
            None => faults.push(Fault::new(at, Sentence::new("no_such_judge").with("judge", code))),
            Some(judge) if !holds(view, judge, plan.starts(p.heat)) => {
                let day = view.reader.competition.time_zone.to_datetime(plan.starts(p.heat)).date();
                let sentence = Sentence::new("credential_not_valid")
                    .with("judge", code)
                    .with("from", judge.valid_from)
                    .with("to", judge.valid_to)
                    .with("day", day);
                faults.push(Fault::new(at, sentence));
            }
            Some(_) => {}
        }
    }
    for (heat, next) in plan.out_of_order() {
        let first = plan.places.iter().filter(|p| p.heat == heat).min_by_key(|p| p.lane);
        let sentence = Sentence::new("heat_out_of_order")
            .with("heat", heat)
            .with("at", said(view, plan.starts(heat)))
            .with("after", next);
        faults.extend(first.map(|p| Fault::new(format!("/heat-{}", p.bib), sentence)));
    }
    faults
}

/// An instant as these heats' times are said.
fn said(view: &HeatsView, at: Timestamp) -> String {
    let c = &view.reader.competition;
    format!("{} ({})", window::local(at, &c.time_zone), c.time_zone_name)
}

/// What cannot be of moving heats: what was wrong with the places before stands in nobody's way, also where the
/// times that it is said with are others now.
fn move_faults(view: &HeatsView, plan: &Plan, by: Later) -> Vec<Fault> {
    let Some(before) = &view.plan else { return Vec::new() };
    let mut found = before.move_faults(by, &view.window, &|at| said(view, at));
    if found.is_empty() {
        let known = faults(view, before);
        let is_known = |f: &Fault| known.iter().any(|k| k.pointer == f.pointer && k.sentence.code == f.sentence.code);
        found = faults(view, plan);
        found.retain(|fault| !is_known(fault));
    }
    found
}

/// What a gym's heats say of one performance.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Filled {
    /// Number of the heat, from 1.
    pub heat: u32,
    /// Number of the lane, from 1.
    pub lane: u32,
    /// When it starts.
    pub start: Timestamp,
    /// The start, where a performance may have been done then: within the window.
    pub performed_at: Option<Timestamp>,
    /// Who counts, if anybody is named.
    pub judge: Option<String>,
    /// Somebody of another gym.
    pub visiting: bool,
}

/// What a gym's heats fill in, by bib; empty for those who may not see them, and where there are
/// none. `window`: this gym's.
pub async fn filled(
    app: &App,
    reader: &Reader,
    gym: &str,
    workout: &Workout,
    window: &Window,
) -> Result<BTreeMap<u32, Filled>, Failure> {
    let Ok(permit) = permit(&reader.actor, Act::PlanHeats { competition: &reader.slug, gym }) else {
        return Ok(BTreeMap::new());
    };
    // Most workouts have none: then nobody is read.
    if app.store.find_heats(&permit, reader.id, gym, &workout.slug).await?.is_none() {
        return Ok(BTreeMap::new());
    }
    let path = HeatsPath { competition: reader.slug.clone(), gym: gym.to_owned(), workout: workout.slug.clone() };
    let view = read(app, &reader.actor, reader.now, &path).await?;
    let Some(plan) = &view.plan else { return Ok(BTreeMap::new()) };
    let filled = plan.places.iter().map(|p| {
        let start = plan.starts(p.heat);
        let within = start >= window.opens && start < window.closes;
        let filled = Filled {
            heat: p.heat,
            lane: p.lane,
            start,
            performed_at: within.then_some(start),
            judge: p.judge.clone(),
            visiting: plan.visitors.contains(&p.bib),
        };
        (p.bib, filled)
    });
    Ok(filled.collect())
}

/// The way that a form calls `judging`.
#[must_use]
pub fn judging(text: &str) -> Judging {
    if text == "judges" { Judging::Judges } else { Judging::PreviousHeat }
}
