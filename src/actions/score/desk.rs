//! Working lists of a workout: who has a score and how far it is, who is missing, who takes no
//! part. The desk's is of one gym, the referees' of all.

use super::count;
use super::show::{Show, notes};
use crate::actions::heats;
use crate::actions::lists::{self, Find};
use crate::actions::reader::Reader;
use crate::actions::views::names::entry_state;
use crate::actions::views::{DeskRow, DeskView};
use crate::actions::{Failure, signed_in};
use crate::app::App;
use crate::rules::access::{Act, Actor, Permit, permit};
use crate::rules::event::Extension;
use crate::rules::ledger;
use crate::rules::life::{Attempt, State};
use crate::rules::people::{Entry, EntryState};
use crate::rules::window;
use crate::store::entries::EntryFilter;
use crate::store::scores::ScoreFilter;
use crate::words::Sentence;
use jiff::Timestamp;
use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

/// Rows that are read at a time.
const PAGE: u32 = 1_000;

/// The states that can be asked for besides a score's own.
const MISSING: &str = "missing";
const OUT: &str = "not_taking_part";
const GUEST: &str = "guest";

/// Which lines of a working list are asked for.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct DeskQuery {
    /// Entries of this gym, and those of others who did the workout in it; `None`: all.
    pub gym: Option<String>,
    /// Only this state: a score's, `missing`, `not_taking_part` or `guest`.
    pub state: Option<String>,
}

/// The working list of a workout: the desk's (own gym) and the referees' (all gyms).
pub async fn desk(
    app: &App,
    actor: &Actor,
    now: Timestamp,
    competition: &str,
    workout: &str,
    query: DeskQuery,
) -> Result<DeskView, Failure> {
    signed_in(actor)?;
    let reader = Reader::find(app, actor, now, competition).await?;
    let workout = reader.workout(workout)?;
    let gym = query.gym.as_deref();
    let permit = permit(actor, Act::ReadDesk { competition: &reader.slug, gym })?;
    let wanted = query.state.as_deref();
    let known = [MISSING, OUT, GUEST];
    if wanted.is_some_and(|s| !known.contains(&s) && !ALL.iter().any(|state| state.as_str() == s)) {
        let words = ALL.iter().map(|s| s.as_str()).chain(known).collect::<Vec<_>>().join(", ");
        let sentence = Sentence::new("member_word").with("member", "state").with("words", words);
        return Err(Failure::fault("/state", sentence));
    }
    let lists = Lists::read(app, &reader, &permit, &workout.slug, gym).await?;
    let bibs: Vec<u32> = lists.entries.keys().copied().collect();
    let names = reader.names(app, &bibs).await?;
    let ids: Vec<u64> = lists.attempts.values().flatten().filter_map(|a| Some(a.details.video.as_ref()?.id)).collect();
    let notes = Arc::new(notes(app, &reader, Some(&permit), &ids).await?);
    let extensions: Arc<[Extension]> = app.store.list_extensions(reader.id).await?.into();

    let window = match gym {
        Some(gym) if !extensions.is_empty() => {
            let find = Find { gym: Some(gym.to_owned()), q: None };
            let gyms = lists::gyms(app, actor, now, competition, &find).await?;
            let region = gyms.into_iter().find(|g| g.slug == gym).map(|g| g.region).unwrap_or_default();
            window::for_entry(workout, &extensions, Some(gym), &region)
        }
        _ => workout.window,
    };

    let heats = match gym {
        Some(gym) => heats::tag(app, &reader, gym, &workout.slug).await?,
        None => None,
    };
    let mut view = DeskView {
        workout: workout.slug.clone(),
        gym: query.gym.clone(),
        closes: window.closes,
        attest_by: window.attest_by,
        entries: count(lists.entries.len()),
        settled: 0,
        awaiting: 0,
        missing: 0,
        heats,
        rows: Vec::new(),
        log_seq: reader.seq,
    };
    for (bib, entry) in &lists.entries {
        let all = lists.attempts.get(bib).map_or(&[][..], Vec::as_slice);
        let attempt = ledger::shown(workout.attempts, all);
        let there = |a: &&Attempt| a.state != State::Withdrawn;
        let present = attempt.filter(there);
        let others: Vec<&Attempt> =
            all.iter().filter(there).filter(|a| Some(&a.score) != present.map(|p| &p.score)).collect();
        let awaiting = all.iter().filter(|a| a.state == State::Entered).count();
        // Who has withdrawn takes no part, whatever was stated; of a guest nothing is expected.
        let stated = lists.out.get(bib);
        let out = stated.is_some() || entry.state == EntryState::Withdrawn;
        let missing = present.is_none() && !out && entry.state == EntryState::Active;
        let state = match (present, attempt) {
            (Some(attempt), _) => attempt.state.as_str(),
            _ if out => OUT,
            (None, Some(withdrawn)) => withdrawn.state.as_str(),
            _ if missing => MISSING,
            _ => GUEST,
        };
        view.awaiting += count(awaiting);
        match awaiting {
            0 if missing => view.missing += 1,
            0 => view.settled += 1,
            _ => {}
        }
        let fits = |w: &str| w == state || (w == MISSING && missing) || others.iter().any(|a| a.state.as_str() == w);
        if wanted.is_some_and(|w| !fits(w)) {
            continue;
        }
        let show = Show::with(&reader, workout, entry, Arc::clone(&notes), Arc::clone(&extensions), reader.seq);
        view.rows.push(DeskRow {
            bib: *bib,
            name: names.get(bib).cloned().unwrap_or_default(),
            division: entry.division.clone(),
            gym: entry.gym.clone(),
            entry_state: entry_state(entry.state),
            state,
            stated_at: stated.copied().flatten().filter(|_| state == OUT),
            score: attempt.map(|a| show.score(a)),
            others: others.into_iter().map(|a| show.score(a)).collect(),
        });
    }
    Ok(view)
}

/// All states of a score.
const ALL: [State; 8] = [
    State::Entered,
    State::Attested,
    State::Flagged,
    State::Withheld,
    State::Amended,
    State::Struck,
    State::Withdrawn,
    State::Late,
];

/// What the list is made of, by bib.
struct Lists {
    entries: BTreeMap<u32, Entry>,
    attempts: BTreeMap<u32, Vec<Attempt>>,
    /// Who takes no part, and when that was stated.
    out: BTreeMap<u32, Option<Timestamp>>,
}

impl Lists {
    async fn read(
        app: &App,
        reader: &Reader,
        permit: &Permit,
        workout: &str,
        gym: Option<&str>,
    ) -> Result<Self, Failure> {
        let mut lists = Self { entries: BTreeMap::new(), attempts: BTreeMap::new(), out: BTreeMap::new() };
        let mut filter = EntryFilter { gym, limit: PAGE, ..EntryFilter::default() };
        loop {
            let page = app.store.list_entries(reader.id, &filter).await?;
            let full = page.len() >= PAGE as usize;
            filter.after = page.last().map_or(filter.after, |n| n.entry.bib);
            let there = page.into_iter().map(|n| n.entry).filter(|e| e.state != EntryState::Removed);
            lists.entries.extend(there.map(|e| (e.bib, e)));
            if !full {
                break;
            }
        }
        let mut filter = ScoreFilter { gym, limit: PAGE, ..ScoreFilter::default() };
        loop {
            let page = app.store.list_scores(permit, reader.id, workout, &filter).await?;
            let full = page.len() >= PAGE as usize;
            for listed in page {
                filter.after = (listed.attempt.score.bib, listed.attempt.score.attempt);
                lists.attempts.entry(listed.attempt.score.bib).or_default().push(listed.attempt);
            }
            if !full {
                break;
            }
        }
        if let Some(gym) = gym {
            lists.add_visitors(app, reader, permit, workout, gym).await?;
        }
        lists.out.extend(app.store.list_not_taking_part(permit, reader.id, workout, gym).await?);
        Ok(lists)
    }

    /// Those of other gyms who did it in this one. Their other attempts are not this gym's to see.
    async fn add_visitors(
        &mut self,
        app: &App,
        reader: &Reader,
        permit: &Permit,
        workout: &str,
        gym: &str,
    ) -> Result<(), Failure> {
        let attempts = app.store.list_visiting_scores(permit, reader.id, workout, gym).await?;
        let bibs: BTreeSet<u32> = attempts.iter().map(|a| a.score.bib).collect();
        let bibs: Vec<u32> = bibs.into_iter().collect();
        for (bib, named) in app.store.list_named(reader.id, &bibs).await? {
            if named.entry.state != EntryState::Removed {
                self.entries.insert(bib, named.entry);
            }
        }
        for attempt in attempts.into_iter().filter(|a| self.entries.contains_key(&a.score.bib)) {
            self.attempts.entry(attempt.score.bib).or_default().push(attempt);
        }
        Ok(())
    }
}
