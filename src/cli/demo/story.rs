//! What happens in the demo from the first file to this minute, told in the order it happened,
//! with the clock moved along: files come in, entries move, referees doubt and rule, an athlete
//! appeals, the organiser lets late scores in.

use super::deeds::{Deed, Happening, happenings};
use super::field::{Field, Size};
use super::series::{Calendar, SLUG};
use crate::actions::import::{ImportView, Rows, What, import};
use crate::actions::{Failure, Request, ScorePath, admit, appeal, apply, extend, move_entry, referee, withdraw};
use crate::app::{App, Clock};
use crate::rules::access::Actor;
use crate::rules::competition;
use crate::rules::ledger::Precondition;
use crate::rules::roster::EntryChange;
use anyhow::anyhow;
use jiff::Timestamp;
use std::collections::{BTreeMap, HashMap};

/// Rows that are sent as one file at most.
pub(super) const FILE: usize = 10_000;

/// Who acts in the story.
pub(super) struct Cast {
    /// Files, late scores, entries.
    pub organiser: Actor,
    /// Flags and rules.
    pub referee: Actor,
    /// Decides appeals.
    pub second_referee: Actor,
    /// Send in the files of their gym, by its slug.
    pub staff: BTreeMap<String, Actor>,
    /// The command line of the machine: for athletes without a gym.
    pub operator: Actor,
}

impl Cast {
    /// Who acts for a gym.
    fn staff_of(&self, gym: &str) -> &Actor {
        self.staff.get(gym).unwrap_or(&self.operator)
    }
}

/// How many rows became what.
#[derive(Clone, Debug, Default)]
pub(super) struct Told {
    /// Gyms there are.
    pub gyms: usize,
    /// Scores stored.
    pub scores: u32,
    /// Anything that was refused, in words: nothing should be.
    pub refused: Vec<String>,
}

/// Tells the story from the first sheet up to `now`. `step` hears how far it is, in thousandths.
pub(super) async fn tell(
    app: &App,
    clock: &Clock,
    calendar: &Calendar,
    field: &Field,
    now: Timestamp,
    cast: &Cast,
    mut step: impl FnMut(usize),
) -> anyhow::Result<Told> {
    let mut told = Told::default();
    let happenings = happenings(field, calendar, now)?;
    let count = happenings.len().max(1);
    let gyms: HashMap<u32, &str> = field.athletes.iter().map(|a| (a.bib, field.gym_of(a))).collect();
    for (index, happening) in happenings.into_iter().enumerate() {
        clock.set(happening.at);
        if let Err(refused) = happen(app, cast, &gyms, happening, &mut told).await {
            told.refused.push(format!("{refused:?}"));
        }
        step(index * 1000 / count);
    }
    Ok(told)
}

/// The file is applied; gyms, judges and entries come in, from the command line of the machine:
/// accounts can only have roles in a competition that is there. `step` hears how many entries are in.
pub(super) async fn open(
    app: &App,
    clock: &Clock,
    calendar: &Calendar,
    size: Size,
    mut step: impl FnMut(usize),
) -> anyhow::Result<Field> {
    let text = calendar.first_file()?;
    let raw = competition::from_toml(&text).map_err(|f| anyhow!("the demo's file does not read: {f:?}"))?;
    let compiled = competition::compile(&raw).map_err(|f| anyhow!("the demo's file does not hold together: {f:?}"))?;
    let field = Field::draw(calendar, compiled.value.age_date, size);
    let (operator, request) = (Actor::operator(), || Request::at(clock.now()));
    apply::apply(app, &operator, None, request(), raw, apply::How::default()).await?;
    let take = async |what: What, json: Vec<u8>| {
        let name = format!("{what:?}");
        let view = import(app, &operator, SLUG, request(), what, Rows::Json(json)).await?;
        anyhow::ensure!(view.refused == 0, "{name} of the demo are refused: {:?}", view.rows.first());
        Ok(())
    };
    take(What::Gyms, serde_json::to_vec(&field.gyms)?).await?;
    take(What::Judges, serde_json::to_vec(&field.judges)?).await?;
    let (mut entries, mut done) = (field.entries(), 0);
    loop {
        let some: Vec<_> = entries.by_ref().take(FILE).collect();
        if some.is_empty() {
            break;
        }
        take(What::Entries, serde_json::to_vec(&some)?).await?;
        done += some.len();
        step(done);
    }
    Ok(field)
}

async fn happen(
    app: &App,
    cast: &Cast,
    gyms: &HashMap<u32, &str>,
    happening: Happening,
    told: &mut Told,
) -> Result<(), Failure> {
    let staff = |bib: u32| cast.staff_of(gyms.get(&bib).copied().unwrap_or_default());
    let request = Request::at(happening.at);
    let seen = || Request::at(happening.at).having_seen(Precondition::Any);
    let path = |workout: &str, bib| ScorePath { competition: SLUG.to_owned(), workout: workout.to_owned(), bib };
    match happening.what {
        Deed::Sheet(sheet) => {
            let actor = cast.staff_of(&sheet.gym);
            let what = What::Scores { workout: Some(sheet.workout.to_owned()) };
            let view = import(app, actor, SLUG, request, what, Rows::Csv(sheet.csv.into_bytes())).await?;
            count(&view, sheet.workout, told);
        }
        Deed::Move(bib, state, reason) => {
            let change = EntryChange { state: Some(state), reason: reason.to_owned(), ..EntryChange::default() };
            move_entry::move_entry(app, &cast.organiser, SLUG, bib, request, change, false).await?;
        }
        Deed::NotTakingPart(workout, bib) => {
            withdraw::state_not_taking_part(app, staff(bib), &path(workout, bib), request, true).await?;
        }
        Deed::Flag { workout, bib, reason, note, withhold } => {
            let act = path(workout, bib);
            if withhold {
                referee::withhold(app, &cast.referee, &act, seen(), reason, note.to_owned()).await?;
            } else {
                referee::flag(app, &cast.referee, &act, seen(), reason, note.to_owned()).await?;
            }
        }
        Deed::Rule { workout, bib, decision, reason, on_appeal } => {
            let actor = if on_appeal { &cast.second_referee } else { &cast.referee };
            referee::rule(app, actor, &path(workout, bib), seen(), decision, reason.to_owned(), on_appeal).await?;
        }
        Deed::Appeal { workout, bib, reason } => {
            appeal::appeal(app, staff(bib), &path(workout, bib), seen(), reason.to_owned()).await?;
        }
        Deed::Admit { workout, bib, admit: let_in, reason } => {
            admit::admit(app, &cast.organiser, &path(workout, bib), seen(), let_in, reason.to_owned()).await?;
        }
        Deed::Apply(text, reason) => {
            let raw = competition::from_toml(&text).map_err(Failure::faults)?;
            let how = apply::How { reason: reason.to_owned(), ..apply::How::default() };
            apply::apply(app, &cast.organiser, Some(SLUG), request, raw, how).await?;
        }
        Deed::Extend(extension, reason) => {
            extend::extend(app, &cast.organiser, SLUG, request, extension, reason.to_owned()).await?;
        }
    }
    Ok(())
}

pub(super) fn count(view: &ImportView, workout: &str, told: &mut Told) {
    told.scores += view.taken;
    for row in &view.rows {
        let why: Vec<&str> = row.errors.iter().map(|e| e.message.as_str()).collect();
        told.refused.push(format!("{workout}, {}: {}", row.cells.join(","), why.join(" ")));
    }
}
