//! What waits for a judge's word: stored, and nobody vouches for it yet.
//!
//! First what was done in the own lanes, which the judge counted: its figures are read whether they are published
//! or not. Then what others did in the judge's gym, for a lane that went to another, once everybody may read it.
//! Only what can still be vouched for in time; never the judge's own.

use super::{Credential, Lane, Share};
use crate::actions::Failure;
use crate::actions::reader::Reader;
use crate::actions::score::show;
use crate::app::App;
use crate::rules::access::{Act, Permit, permit};
use crate::rules::life::{Attempt, State};
use crate::rules::people::{Entry, EntryState};
use crate::rules::tag::Tag;
use crate::rules::window;
use crate::rules::workout::Workout;
use crate::store::scores::ScoreFilter;
use jiff::{SignedDuration, Timestamp};
use std::collections::BTreeMap;

/// Others of a gym that are listed at most: as these are done, the next ones come.
const OTHERS: usize = 200;
/// So much before its start by the plan a heat may begin; what was done before that was done in another.
const EARLY: SignedDuration = SignedDuration::from_hours(12);
/// Rows that are read at a time.
const PAGE: u32 = 500;

/// A stored attempt that waits for a judge.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Waits {
    /// Whose.
    pub bib: u32,
    /// Which attempt.
    pub attempt: u32,
    /// The state it is in.
    pub tag: Tag,
    /// The name as the judge sees it.
    pub name: String,
    /// The judge's own lane that it was done in.
    pub lane: Option<Lane>,
    /// The figures, written.
    pub text: String,
    /// As they were sent.
    pub written: String,
    /// The level, by its title, where it is not the division's own.
    pub level: Option<String>,
    /// The score's state, by its name in the API.
    pub state: &'static str,
    /// Of a late one: whether the organiser did not let it in.
    pub refused: bool,
    /// When it was done.
    pub performed_at: Timestamp,
}

/// Whether a word can be given for it.
fn awaits(attempt: &Attempt) -> bool {
    matches!(attempt.state, State::Entered | State::Late) && attempt.attestation.is_none() && !attempt.stale
}

/// Adds what waits to each share of a credential.
pub(super) async fn add(app: &App, reader: &Reader, credential: &mut Credential) -> Result<(), Failure> {
    let act = Act::ReadJudging { competition: &reader.slug, judge: &credential.judge.code };
    let permit = permit(&reader.actor, act)?;
    let mut shares = std::mem::take(&mut credential.shares);
    for share in &mut shares {
        if let Some(workout) = reader.competition.workout(&share.workout).filter(|x| x.window.opened(reader.now)) {
            add_to(app, reader, &permit, credential, workout, share).await?;
        }
    }
    credential.shares = shares;
    Ok(())
}

async fn add_to(
    app: &App,
    reader: &Reader,
    permit: &Permit,
    credential: &Credential,
    workout: &Workout,
    share: &mut Share,
) -> Result<(), Failure> {
    let mut found = in_lanes(app, reader, workout, &share.lanes).await?;
    if let Some(gym) = &credential.judge.gym {
        share.hidden = !reader.sees_scores(workout, Some(gym));
        if !share.hidden {
            let (others, more) = others(app, reader, permit, workout, gym).await?;
            for attempt in others {
                found.entry((attempt.score.bib, attempt.score.attempt)).or_insert((None, attempt));
            }
            share.more = more;
        }
    }
    let bibs: Vec<u32> = found.keys().map(|(bib, _)| *bib).collect();
    let entries = app.store.list_named(reader.id, &bibs).await?;
    let themselves = credential.own.among(app, permit, reader, &entries).await?;
    let names = reader.names(app, &bibs).await?;
    let in_time = |entry: &Entry| {
        let window = window::for_entry(workout, &credential.extensions, entry.gym.as_deref(), &entry.region);
        window.takes_corrections(reader.now)
    };
    let mut waiting: Vec<Waits> = Vec::new();
    for ((bib, number), (lane, attempt)) in found {
        let Some(entry) = entries.get(&bib).map(|named| &named.entry) else { continue };
        if themselves.contains(&bib) || entry.state == EntryState::Removed || !in_time(entry) {
            continue;
        }
        let shown = show::performance(reader, workout, &entry.division, &attempt.stored);
        let own = reader.competition.division(&entry.division).map(|d| d.level);
        let level = reader.competition.levels.get(usize::from(attempt.stored.level));
        waiting.push(Waits {
            bib,
            attempt: number,
            tag: attempt.tag(),
            name: names.get(&bib).cloned().unwrap_or_default(),
            lane: lane.cloned(),
            text: shown.text,
            written: shown.written,
            level: level.filter(|_| own != Some(attempt.stored.level)).map(|level| level.title.clone()),
            state: attempt.state.as_str(),
            refused: attempt.refused,
            performed_at: attempt.stored.performed_at,
        });
    }
    waiting.sort_by_key(|one| {
        let turn = one.lane.as_ref().map(|lane| (lane.starts, lane.lane));
        (turn.is_none(), turn, one.bib, one.attempt)
    });
    share.waiting = waiting;
    Ok(())
}

type Found<'a> = BTreeMap<(u32, u32), (Option<&'a Lane>, Attempt)>;

/// What was done in these lanes: by those who start there, at the gym whose heats they are, and not long before.
async fn in_lanes<'a>(app: &App, reader: &Reader, workout: &Workout, lanes: &'a [Lane]) -> Result<Found<'a>, Failure> {
    let bibs: Vec<u32> = lanes.iter().map(|lane| lane.bib).collect();
    let attempts = app.store.list_attempts_of_many(reader.id, &workout.slug, &bibs).await?;
    let fits = |attempt: Attempt| {
        let key = (attempt.score.bib, attempt.score.attempt);
        let at = attempt.stored.gym.as_deref();
        let began = attempt.stored.performed_at.checked_add(EARLY).unwrap_or(Timestamp::MAX);
        let lane = lanes.iter().find(|lane| lane.bib == key.0 && at == Some(&lane.gym.slug) && began >= lane.starts)?;
        awaits(&attempt).then_some((key, (Some(lane), attempt)))
    };
    Ok(attempts.into_values().flatten().filter_map(fits).collect())
}

/// What waits of all that was done in a gym, by its own and by visitors, and whether there is more of it.
async fn others(
    app: &App,
    reader: &Reader,
    permit: &Permit,
    workout: &Workout,
    gym: &str,
) -> Result<(Vec<Attempt>, bool), Failure> {
    let (mut all, mut more) = (Vec::new(), false);
    let fits = |attempt: &Attempt| awaits(attempt) && attempt.stored.gym.as_deref() == Some(gym);
    for state in [State::Entered, State::Late] {
        let mut filter = ScoreFilter { gym: Some(gym), state: Some(state), limit: PAGE, ..ScoreFilter::default() };
        loop {
            let page = app.store.list_scores(permit, reader.id, &workout.slug, &filter).await?;
            let full = page.len() >= PAGE as usize;
            filter.after = page.last().map_or(filter.after, |l| (l.attempt.score.bib, l.attempt.score.attempt));
            all.extend(page.into_iter().map(|l| l.attempt).filter(fits));
            if !full || all.len() > OTHERS {
                break;
            }
        }
        more |= all.len() > OTHERS;
        all.truncate(OTHERS);
    }
    let visitors = app.store.list_visiting_scores(permit, reader.id, &workout.slug, gym).await?;
    all.extend(visitors.into_iter().filter(fits));
    Ok((all, more))
}
