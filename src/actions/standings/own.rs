//! Where one entry stands: in every workout and scope, and how far it is to the next place.

use super::{Desk, StandingsQuery};
use crate::actions::Failure;
use crate::actions::language;
use crate::actions::score::{count, find_entry};
use crate::actions::views::{EntryStandingView, GapView, OwnPlace, OwnWorkout, ScopeView};
use crate::app::App;
use crate::rules::access::Actor;
use crate::rules::order;
use crate::rules::quantity::LoadUnit;
use crate::rules::workout::Prescription;
use crate::standings::{EntryRanking, NextPlace, NextStanding, Scope, ScoreView};
use crate::words::Sentence;
use jiff::Timestamp;

/// Where one entry stands in every workout and scope, with the gap to the next place.
pub async fn entry_standing(
    app: &App,
    actor: &Actor,
    now: Timestamp,
    competition: &str,
    bib: u32,
    at_least: Option<u64>,
) -> Result<EntryStandingView, Failure> {
    let query = StandingsQuery { at_least, ..StandingsQuery::default() };
    entry_in(app, &Desk::open(app, actor, now, competition, &query).await?, bib).await
}

/// The same in a state that is at hand.
///
/// # Errors
/// Not found.
pub async fn entry_in(app: &App, desk: &Desk, bib: u32) -> Result<EntryStandingView, Failure> {
    let Some(standing) = desk.view.entry(bib, desk.mask) else {
        find_entry(app, &desk.reader, bib).await?;
        return Err(Failure::not_found(Sentence::new("not_ranked").with("bib", bib)));
    };
    let name = desk.reader.names(app, &[bib]).await?.remove(&bib).unwrap_or_default();
    let own_division = standing.athlete.division.to_string();
    let workouts = standing.rankings.first().map(|r| r.workouts.as_slice()).unwrap_or_default();
    let workouts = workouts.iter().map(|first| OwnWorkout {
        workout: desk.workout(first.cell.workout),
        text: first
            .cell
            .score
            .as_ref()
            .filter(|_| first.cell.placed)
            .map(|s| desk.figures(first.cell.workout, &own_division, s.level, &s.text)),
        state: first.cell.score.as_ref().map(|s| s.state.as_str()),
        places: standing
            .rankings
            .iter()
            .filter_map(|r| {
                let own = r.workouts.iter().find(|w| w.cell.workout == first.cell.workout)?;
                Some(OwnPlace {
                    division: r.division.clone(),
                    scope: scope(&r.scope),
                    place: own.cell.place.filter(|_| own.cell.placed),
                    of: count(own.of),
                    gap: gap(desk, &own_division, own.cell.workout, own.cell.score.as_ref(), own.next.as_ref()),
                })
            })
            .collect(),
    });
    Ok(EntryStandingView {
        bib,
        name,
        workouts: workouts.collect(),
        division: own_division.clone(),
        log_seq: standing.seq,
        overall: standing.rankings.iter().map(overall).collect(),
    })
}

pub(super) fn scope(scope: &Scope) -> ScopeView {
    ScopeView { gym: scope.gym.clone(), region: scope.region.clone(), country: scope.country.clone() }
}

fn overall(ranking: &EntryRanking) -> OwnPlace {
    OwnPlace {
        division: ranking.division.clone(),
        scope: scope(&ranking.scope),
        place: ranking.standing,
        of: count(ranking.of),
        gap: points_gap(ranking.next, ranking.points),
    }
}

/// What the next better standing needs, in points.
pub(super) fn points_gap(next: Option<NextStanding>, points: Option<u64>) -> Option<GapView> {
    let (next, points) = (next?, points?);
    let missing = points.abs_diff(next.points);
    let sentence = match missing {
        // With equal points the better single places stand first: those are missing.
        0 => Sentence::new("gap_countback"),
        1 => Sentence::new("gap_point"),
        _ => Sentence::new("gap_points"),
    };
    let sentence = sentence.with("points", missing);
    let missing_said = language::say(&sentence);
    Some(GapView { place: next.standing, text: None, bib: next.bib, missing: missing_said, level: missing == 0 })
}

/// The unit in which loads of a prescription are said: the one it is published in.
pub(super) fn unit(p: Option<&Prescription>) -> LoadUnit {
    p.and_then(|p| p.loads.first()).map_or(LoadUnit::Kg, |l| l.first)
}

/// What the next better place in a workout needs, in the workout's own unit.
pub(super) fn gap(
    desk: &Desk,
    division: &str,
    workout: usize,
    score: Option<&ScoreView>,
    next: Option<&NextPlace>,
) -> Option<GapView> {
    let (score, next) = (score?, next?);
    let key = score.key?;
    let what = desk.reader.competition.workouts.get(workout)?;
    let prescription = desk.reader.competition.prescription(&what.slug, division, score.level);
    let task = prescription.map_or(&what.task, |p| &p.task);
    // In the unit it was written in, else the published one.
    let unit = if score.text.ends_with(" lb") { LoadUnit::Lb } else { unit(prescription) };
    Some(GapView {
        place: next.place,
        text: Some(desk.figures(workout, division, next.level, &next.text)),
        bib: next.bib,
        missing: language::say(&order::gap(task, next.key, key, unit)),
        level: false,
    })
}
