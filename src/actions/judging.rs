//! What a judge has to do in a competition: the lanes that the heats give them, of their gym and of others;
//! and what is stored under their code, for them to look over.

use super::Failure;
use super::reader::Reader;
use super::score::show;
use super::views::names::how;
use crate::app::App;
use crate::rules::access::{Act, Actor, Denied, Permit, permit};
use crate::rules::event::Extension;
use crate::rules::people::{Gym, Judge, Person};
use crate::rules::window::{self, Window};
use crate::rules::workout::Workout;
use jiff::Timestamp;
use std::sync::Arc;

/// A lane in which a judge counts.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Lane {
    /// Which heat, from 1.
    pub heat: u32,
    /// Which lane, from 1.
    pub lane: u32,
    /// When the heat starts.
    pub starts: Timestamp,
    /// Whose heats they are.
    pub gym: Arc<Gym>,
    /// The times that hold for it there.
    pub window: Window,
    /// Whom they count.
    pub bib: u32,
    /// The name as the judge sees it.
    pub name: String,
}

/// A score that a judge vouches for.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Vouched {
    /// Whose.
    pub bib: u32,
    /// The name as the judge sees it.
    pub name: String,
    /// The figures, written.
    pub text: String,
    /// The score's state, by its name in the API.
    pub state: &'static str,
    /// Of a late one: whether the organiser did not let it in.
    pub refused: bool,
    /// How the word was given.
    pub how: &'static str,
    /// When it was recorded.
    pub at: Timestamp,
    /// It came too late, and waits for the organiser.
    pub waiting: bool,
}

/// What a judge has to do, and has done, in one workout.
#[derive(Clone, Debug)]
pub struct Share {
    /// Its slug.
    pub workout: String,
    /// The times that hold for it at the judge's gym.
    pub window: Window,
    /// In the order of their starts.
    pub lanes: Vec<Lane>,
    /// By bib.
    pub vouched: Vec<Vouched>,
}

impl Share {
    /// Until when the judge may vouch, here or for a lane elsewhere.
    #[must_use]
    pub fn ends(&self) -> Timestamp {
        let elsewhere = self.lanes.iter().map(|lane| lane.window.attest_by);
        elsewhere.fold(self.window.attest_by, Timestamp::max)
    }
}

/// One credential of whoever asks.
#[derive(Clone, Debug)]
pub struct Credential {
    /// Who judges.
    pub judge: Judge,
    /// Who that is; `None`: erased.
    pub person: Option<Person>,
    /// The zone of their gym, where it has one of its own.
    pub zone: String,
    /// In the order of the file.
    pub shares: Vec<Share>,
}

/// What a judge has to do.
#[derive(Clone, Debug)]
pub struct Work {
    /// The competition, as the judge sees it.
    pub reader: Reader,
    /// Mostly one; who judges at several gyms has a code of each.
    pub credentials: Vec<Credential>,
}

/// What whoever asks has to do as a judge.
///
/// # Errors
/// 401 and 403 for who is no judge there.
pub async fn work(app: &App, actor: &Actor, now: Timestamp, competition: &str) -> Result<Work, Failure> {
    let reader = Reader::find(app, actor, now, competition).await?;
    let codes = actor.codes_in(&reader.slug);
    let first = codes.first().copied().unwrap_or_default();
    permit(actor, Act::ReadJudging { competition: &reader.slug, judge: first })?;
    let mut credentials = Vec::new();
    for code in codes {
        credentials.extend(credential(app, actor, &reader, code).await?);
    }
    if credentials.is_empty() {
        return Err(Denied::NotAllowed.into());
    }
    Ok(Work { reader, credentials })
}

/// One of them; `None`: there is no such judge any more.
pub(super) async fn credential(
    app: &App,
    actor: &Actor,
    reader: &Reader,
    code: &str,
) -> Result<Option<Credential>, Failure> {
    let permit = permit(actor, Act::ReadJudging { competition: &reader.slug, judge: code })?;
    let Some(judge) = app.store.find_judge(reader.id, code).await? else { return Ok(None) };
    let person = app.store.find_person(&permit, reader.id, judge.person.id).await?;
    let gym = match &judge.gym {
        Some(gym) => app.store.find_gym(reader.id, gym).await?,
        None => None,
    };
    let extensions = app.store.list_extensions(reader.id).await?;
    let listed = app.store.list_vouched(&permit, reader.id, code).await?;
    let (at, region) = gym.as_ref().map_or((None, ""), |gym| (Some(gym.slug.as_str()), gym.region.as_str()));
    let mut shares = Vec::new();
    for workout in reader.workouts() {
        let mut lanes = lanes(app, &permit, reader, workout, &extensions, code).await?;
        let late = app.store.list_late_words(&permit, reader.id, &workout.slug, code).await?;
        let done = listed.iter().filter(|l| l.attempt.score.workout == workout.slug);
        let done = done.map(|l| (l, l.attempt.attestation.as_ref(), false));
        let all = done.chain(late.iter().map(|l| (l, l.attempt.waiting_attestation.as_ref(), true)));
        let vouched = all.filter_map(|(l, attestation, waiting)| {
            Some(Vouched {
                bib: l.attempt.score.bib,
                name: String::new(),
                text: show::performance(reader, workout, &l.division, &l.attempt.stored).text,
                state: l.attempt.state.as_str(),
                refused: l.attempt.refused,
                how: how(attestation?.how),
                at: attestation?.at,
                waiting,
            })
        });
        let mut vouched: Vec<Vouched> = vouched.collect();
        let bibs: Vec<u32> = lanes.iter().map(|l| l.bib).chain(vouched.iter().map(|v| v.bib)).collect();
        let names = reader.names(app, &bibs).await?;
        let called = |bib: u32| names.get(&bib).cloned().unwrap_or_default();
        for lane in &mut lanes {
            lane.name = called(lane.bib);
        }
        for one in &mut vouched {
            one.name = called(one.bib);
        }
        lanes.sort_by(|a, b| (a.starts, &a.gym.slug, a.lane).cmp(&(b.starts, &b.gym.slug, b.lane)));
        let window = window::for_entry(workout, &extensions, at, region);
        shares.push(Share { workout: workout.slug.clone(), window, lanes, vouched });
    }
    let zone = gym.as_ref().map_or(String::new(), |gym| gym.time_zone.clone());
    Ok(Some(Credential { judge, person, zone, shares }))
}

/// The lanes of a workout that heats give a judge, without names.
async fn lanes(
    app: &App,
    permit: &Permit,
    reader: &Reader,
    workout: &Workout,
    extensions: &[Extension],
    code: &str,
) -> Result<Vec<Lane>, Failure> {
    let mut lanes = Vec::new();
    for gym in app.store.list_heats_of_judge(permit, reader.id, &workout.slug, code).await? {
        let Some(gym) = app.store.find_gym(reader.id, &gym).await?.map(Arc::new) else { continue };
        let stored = super::heats::plan(app, permit, reader, &gym.slug, &workout.slug).await?;
        let Some((_, plan)) = stored else { continue };
        let window = window::for_entry(workout, extensions, Some(&gym.slug), &gym.region);
        let mine = plan.places.iter().filter(|place| place.judge.as_deref() == Some(code));
        lanes.extend(mine.map(|place| Lane {
            heat: place.heat,
            lane: place.lane,
            starts: plan.settings.starts(place.heat),
            gym: Arc::clone(&gym),
            window,
            bib: place.bib,
            name: String::new(),
        }));
    }
    Ok(lanes)
}
