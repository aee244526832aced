//! Reading competitions: the list, and one with its divisions and announced workouts.

use super::Failure;
use super::reader::Reader;
use super::views::{CompetitionView, DivisionView, SummaryView, WindowView, WorkoutView, names};
use crate::app::App;
use crate::rules::access::Actor;
use crate::rules::competition::Competition;
use crate::rules::division::Division;
use crate::rules::workout::Workout;
use jiff::Timestamp;
use std::cmp::Reverse;

/// Competitions the reader may see, by slug.
pub async fn list(app: &App, actor: &Actor, now: Timestamp) -> Result<Vec<SummaryView>, Failure> {
    let known = app.store.list_competitions().await?;
    Ok(known.into_iter().map(|k| Reader::new(k, actor, now)).filter(Reader::exists).map(|r| summary(&r)).collect())
}

fn summary(reader: &Reader) -> SummaryView {
    SummaryView {
        slug: reader.slug.clone(),
        title: reader.competition.title.clone(),
        time_zone: reader.competition.time_zone_name.clone(),
        private: reader.competition.private,
        workouts: reader
            .workouts()
            .map(|w| WindowView {
                workout: w.slug.clone(),
                title: w.title.clone(),
                opens: w.window.opens,
                closes: w.window.closes,
                phase: names::phase(&w.window, reader.now),
            })
            .collect(),
    }
}

/// One competition.
pub async fn read(app: &App, actor: &Actor, now: Timestamp, slug: &str) -> Result<CompetitionView, Failure> {
    let reader = Reader::find(app, actor, now, slug).await?;
    let competition = &reader.competition;
    Ok(CompetitionView {
        slug: reader.slug.clone(),
        title: competition.title.clone(),
        time_zone: competition.time_zone_name.clone(),
        age_date: competition.age_date,
        levels: competition.levels.iter().map(|l| l.slug.clone()).collect(),
        private: competition.private,
        etag: reader.definition_tag.to_string(),
        log_seq: reader.seq,
        divisions: competition.divisions.iter().map(|d| division(competition, d)).collect(),
        workouts: reader.workouts().map(|w| workout(w, now)).collect(),
    })
}

/// The competitions that somebody has a role in, the one that matters most first: one that runs before the
/// others, then the one that closes last. By what is announced alone, and from memory.
#[must_use]
pub fn foremost(app: &App, actor: &Actor, now: Timestamp) -> Vec<String> {
    let mut slugs: Vec<String> = actor.grants.iter().filter_map(|grant| grant.competition.clone()).collect();
    slugs.sort_unstable();
    slugs.dedup();
    if slugs.len() > 1 {
        slugs.sort_by_cached_key(|slug| {
            let view = app.board.find(slug).and_then(|id| app.board.view(id));
            let workouts = view.iter().flat_map(|view| &view.definition().workouts);
            let windows = workouts.map(|x| &x.window).filter(|window| window.announced(now));
            let each = windows.map(|window| (window.opened(now) && !window.closed(now), window.closes));
            // One that runs is later than all that do not.
            Reverse(each.max())
        });
    }
    slugs
}

/// When the competition's first file was applied: the instant of its record in the log.
pub async fn began(app: &App, reader: &Reader) -> Result<Timestamp, Failure> {
    let records = app.store.list_history(reader.id, "competition", 0, 1).await?;
    Ok(match records.first() {
        Some(stored) => stored.record()?.at,
        None => Timestamp::UNIX_EPOCH,
    })
}

fn division(competition: &Competition, division: &Division) -> DivisionView {
    let level = competition.levels.get(usize::from(division.level));
    DivisionView {
        slug: division.slug.clone(),
        title: division.title.clone(),
        category: names::category(division.category),
        from_age: division.from_age,
        to_age: division.to_age,
        level: level.map_or_else(String::new, |l| l.slug.clone()),
        allow_lower: division.allow_lower,
        combines: division.combines.clone(),
        mixed: division.mixed,
    }
}

fn workout(workout: &Workout, now: Timestamp) -> WorkoutView {
    let window = &workout.window;
    WorkoutView {
        slug: workout.slug.clone(),
        title: workout.title.clone(),
        session: workout.session.clone(),
        format: names::format(workout.format),
        cap_ms: workout.task.cap.map(|cap| cap.0),
        announce: window.announce,
        opens: window.opens,
        closes: window.closes,
        grace_ends: window.grace_ends,
        attest_by: window.attest_by,
        phase: names::phase(window, now),
        publish: names::publish(workout.publish),
        attempts: names::attempts(workout.attempts),
        weight: workout.weight,
        standards: workout.standards.clone(),
        standards_in: workout.standards_in.iter().cloned().collect(),
    }
}
