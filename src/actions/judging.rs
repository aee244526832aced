//! What a judge has to do in a competition: the lanes that the heats of their gym give them.

use super::Failure;
use super::reader::Reader;
use crate::app::App;
use crate::rules::access::{Act, Actor, Denied, Role, permit};
use crate::rules::people::Judge;
use crate::rules::window::{self, Window};
use jiff::Timestamp;

/// A lane in which a judge counts.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Lane {
    /// Which heat, from 1.
    pub heat: u32,
    /// Which lane, from 1.
    pub lane: u32,
    /// When the heat starts.
    pub starts: Timestamp,
    /// Whom they count.
    pub bib: u32,
    /// The name as the judge sees it.
    pub name: String,
}

/// What a judge has to do in one workout.
#[derive(Clone, Debug)]
pub struct Share {
    /// Its slug.
    pub workout: String,
    /// The times that hold for it at the judge's gym.
    pub window: Window,
    /// In the order of their starts.
    pub lanes: Vec<Lane>,
}

/// What a judge has to do.
#[derive(Clone, Debug)]
pub struct Work {
    /// The competition, as the judge sees it.
    pub reader: Reader,
    /// Who judges.
    pub judge: Judge,
    /// Their name; empty: erased.
    pub name: String,
    /// The zone of their gym, where it has one of its own.
    pub zone: String,
    /// In the order of the file.
    pub shares: Vec<Share>,
}

/// What whoever asks has to do as a judge.
///
/// # Errors
/// 401 and 403 for who is no judge there.
pub async fn work(app: &App, actor: &Actor, now: Timestamp, competition: &str) -> Result<Work, Failure> {
    let reader = Reader::find(app, actor, now, competition).await?;
    let own = actor.grants.iter().find(|g| g.role == Role::Judge && g.competition.as_deref() == Some(&*reader.slug));
    let code = own.and_then(|g| g.judge.clone()).unwrap_or_default();
    let permit = permit(actor, Act::ReadJudging { competition: &reader.slug, judge: &code })?;
    let judge = app.store.find_judge(reader.id, &code).await?.ok_or(Denied::NotAllowed)?;
    let name = app.store.find_person(&permit, reader.id, judge.person.id).await?.map_or(String::new(), |p| p.name);
    let gym = match &judge.gym {
        Some(gym) => app.store.find_gym(reader.id, gym).await?,
        None => None,
    };
    let extensions = app.store.list_extensions(reader.id).await?;
    let (at, region) = gym.as_ref().map_or((None, ""), |gym| (Some(gym.slug.as_str()), gym.region.as_str()));
    let mut shares = Vec::new();
    for workout in reader.workouts() {
        let stored = match &gym {
            Some(gym) => app.store.find_heats(&permit, reader.id, &gym.slug, &workout.slug).await?,
            None => None,
        };
        let mut own: Vec<Lane> = stored.map_or(Vec::new(), |(_, plan)| {
            let mine = plan.places.iter().filter(|place| place.judge.as_ref() == Some(&code));
            let lane = |place: &crate::rules::heats::Place| Lane {
                heat: place.heat,
                lane: place.lane,
                starts: plan.settings.starts(place.heat),
                bib: place.bib,
                name: String::new(),
            };
            mine.map(lane).collect()
        });
        let bibs: Vec<u32> = own.iter().map(|lane| lane.bib).collect();
        let names = reader.names(app, &bibs).await?;
        for lane in &mut own {
            lane.name = names.get(&lane.bib).cloned().unwrap_or_default();
        }
        own.sort_by_key(|lane| (lane.starts, lane.lane));
        let window = window::for_entry(workout, &extensions, at, region);
        shares.push(Share { workout: workout.slug.clone(), window, lanes: own });
    }
    let zone = gym.as_ref().map_or(String::new(), |gym| gym.time_zone.clone());
    Ok(Work { reader, judge, name, zone, shares })
}
