//! What a judge has to do in a competition: the lanes that the heats give them, of their gym and of others;
//! what waits for their word; and what is stored under their code, for them to look over.

mod own;
mod waiting;

pub use waiting::Waits;

use super::Failure;
use super::reader::Reader;
use super::score::show;
use super::views::names::how;
use crate::app::App;
use crate::rules::access::{Act, Actor, Denied, Permit, permit};
use crate::rules::event::Extension;
use crate::rules::people::{Gym, Judge, Person};
use crate::rules::window::{self, Window};
use jiff::Timestamp;
use own::Own;
use std::collections::HashMap;
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
    /// What nobody vouches for yet, as long as a word for it is in time: those of the own lanes in their order,
    /// then others of the judge's gym by bib. Only in what [`work`] finds.
    pub waiting: Vec<Waits>,
    /// More of the gym's wait than these.
    pub more: bool,
    /// Those of others are not published yet.
    pub hidden: bool,
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
    /// As whom they take part themselves.
    own: Own,
    /// All that are in force.
    extensions: Arc<[Extension]>,
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
        let Some(mut one) = credential(app, actor, &reader, code).await? else { continue };
        waiting::add(app, &reader, &mut one).await?;
        credentials.push(one);
    }
    if credentials.is_empty() {
        return Err(Denied::NotAllowed.into());
    }
    Ok(Work { reader, credentials })
}

/// 401 and 403 for all but the judge with this code, 404 for a workout that there is not.
///
/// # Errors
/// As said.
pub async fn may(
    app: &App,
    actor: &Actor,
    now: Timestamp,
    competition: &str,
    (workout, code): (&str, &str),
) -> Result<(), Failure> {
    let reader = Reader::find(app, actor, now, competition).await?;
    permit(actor, Act::ReadJudging { competition: &reader.slug, judge: code })?;
    reader.workout(workout)?;
    Ok(())
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
    let own = Own::of(app, reader, &judge, person.as_ref()).await?;
    let gym = match &judge.gym {
        Some(gym) => app.store.find_gym(reader.id, gym).await?,
        None => None,
    };
    let extensions: Arc<[Extension]> = app.store.list_extensions(reader.id).await?.into();
    let listed = app.store.list_vouched(&permit, reader.id, code).await?;
    let (at, region) = gym.as_ref().map_or((None, ""), |gym| (Some(gym.slug.as_str()), gym.region.as_str()));
    let mut lanes = lanes(app, &permit, reader, &extensions, &own).await?;
    let mut shares = Vec::new();
    for workout in reader.workouts() {
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
        shares.push(Share {
            workout: workout.slug.clone(),
            window: window::for_entry(workout, &extensions, at, region),
            lanes: lanes.remove(workout.slug.as_str()).unwrap_or_default(),
            vouched: vouched.collect(),
            waiting: Vec::new(),
            more: false,
            hidden: false,
        });
    }
    let of = |share: &Share| share.lanes.iter().map(|l| l.bib).chain(share.vouched.iter().map(|v| v.bib)).collect();
    let names =
        reader.names(app, &shares.iter().flat_map(|share| -> Vec<u32> { of(share) }).collect::<Vec<_>>()).await?;
    let called = |bib: u32| names.get(&bib).cloned().unwrap_or_default();
    for share in &mut shares {
        share.lanes.iter_mut().for_each(|lane| lane.name = called(lane.bib));
        share.vouched.iter_mut().for_each(|one| one.name = called(one.bib));
        share.lanes.sort_by(|a, b| (a.starts, &a.gym.slug, a.lane).cmp(&(b.starts, &b.gym.slug, b.lane)));
    }
    let zone = gym.as_ref().map_or(String::new(), |gym| gym.time_zone.clone());
    Ok(Some(Credential { judge, person, zone, shares, own, extensions }))
}

/// The lanes that heats give a judge, by workout, without names. Who has become the athlete of a lane since the
/// heats were made does not count there any more.
async fn lanes(
    app: &App,
    permit: &Permit,
    reader: &Reader,
    extensions: &[Extension],
    own: &Own,
) -> Result<HashMap<String, Vec<Lane>>, Failure> {
    let mut gyms: HashMap<String, Option<Arc<Gym>>> = HashMap::new();
    let mut lanes: HashMap<String, Vec<Lane>> = HashMap::new();
    for (gym, workout, plan) in app.store.list_heats_of_judge(permit, reader.id, own.code()).await? {
        let Ok(workout) = reader.workout(&workout) else { continue };
        if !gyms.contains_key(&gym) {
            gyms.insert(gym.clone(), app.store.find_gym(reader.id, &gym).await?.map(Arc::new));
        }
        let Some(gym) = gyms.get(&gym).and_then(Option::as_ref) else { continue };
        let window = window::for_entry(workout, extensions, Some(&gym.slug), &gym.region);
        let mine = plan.places.iter().filter(|place| place.judge.as_deref() == Some(own.code()));
        lanes.entry(workout.slug.clone()).or_default().extend(mine.map(|place| Lane {
            heat: place.heat,
            lane: place.lane,
            starts: plan.starts(place.heat),
            gym: Arc::clone(gym),
            window,
            bib: place.bib,
            name: String::new(),
        }));
    }
    let bibs: Vec<u32> = lanes.values().flatten().map(|lane| lane.bib).collect();
    let themselves = own.among(app, permit, reader, &app.store.list_named(reader.id, &bibs).await?).await?;
    for lanes in lanes.values_mut() {
        lanes.retain(|lane| !themselves.contains(&lane.bib));
    }
    Ok(lanes)
}
