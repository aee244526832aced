//! On the page of a gym's heats: those that run late, from which one on, and what was moved so far.

use super::form::{FieldError, Fields};
use crate::actions::heats::HeatsView;
use crate::actions::language;
use crate::rules::heats::{Later, Plan, moved_at};
use crate::words::{self, put};
use jiff::Timestamp;
use std::collections::BTreeSet;

/// What was moved, as the form holds it.
pub(super) fn held(later: &[Later]) -> String {
    later.iter().map(|l| format!("{} {}", l.heat, l.minutes)).collect::<Vec<_>>().join(",")
}

/// That read back; `None`: it is nothing of ours.
fn read(text: &str) -> Option<Vec<Later>> {
    let one = |part: &str| {
        let (heat, minutes) = part.split_once(' ')?;
        Some(Later { heat: heat.parse().ok()?, minutes: minutes.parse().ok()? })
    };
    text.split(',').filter(|part| !part.is_empty()).map(one).collect()
}

/// From which heat on, and by how much.
pub(super) fn asked(fields: &Fields, errors: &mut Vec<FieldError>) -> Option<Later> {
    let before = errors.len();
    let heat = fields.number("late_heat", errors).unwrap_or(0);
    let minutes: u16 = fields.number("late_minutes", errors).unwrap_or(0);
    let minutes = if fields.get("late_way") == "earlier" { -i32::from(minutes) } else { i32::from(minutes) };
    (errors.len() == before).then_some(Later { heat, minutes })
}

/// Whether a heat has been moved like this since the sender has seen the heats, whoever else moved others: an
/// answer was lost, or it was tapped twice.
pub(super) fn is_done(by: Later, fields: &Fields, plan: &Plan) -> bool {
    let seen = read(fields.get("was_moved"));
    seen.is_some_and(|seen| moved_at(&seen, by.heat).checked_add(by.minutes) == Some(moved_at(&plan.later, by.heat)))
}

/// What was moved, in words.
pub(super) fn said(later: &[Later]) -> Vec<String> {
    let h = words::heats(language::reader());
    let one = |l: &Later| {
        let text = if l.minutes < 0 { h.moved_earlier } else { h.moved_later };
        put(text, &[("n", &l.heat), ("minutes", &l.minutes.unsigned_abs())])
    };
    later.iter().map(one).collect()
}

/// Which heat comes next in truth, to be moved with all that follow; empty: that is not known. The plan does
/// not say it where heats run late: it is the first in which nobody has a score. Where nobody has one in any,
/// it is known only as long as no second one has begun by the plan.
pub(super) fn offered(found: &HeatsView) -> String {
    let Some(plan) = &found.plan else { return String::new() };
    next(plan, &found.scored, found.reader.now).map_or(String::new(), |heat| heat.to_string())
}

fn next(plan: &Plan, scored: &BTreeSet<u32>, now: Timestamp) -> Option<u32> {
    let heats: BTreeSet<u32> = plan.places.iter().map(|p| p.heat).collect();
    let done: BTreeSet<u32> = plan.places.iter().filter(|p| scored.contains(&p.bib)).map(|p| p.heat).collect();
    if done.is_empty() && heats.iter().filter(|heat| plan.starts(**heat) <= now).count() > 1 {
        return None;
    }
    heats.difference(&done).next().copied()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::rules::heats::{Athlete, Judging, Settings};

    /// Three heats from 20:00 on, twenty minutes apart: of bibs 1 and 2, of 3 and 4, of 5.
    fn plan() -> Plan {
        let start = "2027-01-14T20:00:00Z".parse().unwrap();
        let settings = Settings { start, minutes: 20, lanes: 2, judging: Judging::Judges };
        let athletes: Vec<Athlete> = (1..=5).map(|bib| Athlete { bib, judges: Vec::new() }).collect();
        Plan::distribute(settings, &athletes, &[])
    }

    #[test]
    fn the_next_heat_is_the_first_without_a_score_whatever_the_plan_says() {
        let plan = plan();
        let next = |scored: &[u32], time: &str| {
            let now = format!("2027-01-14T{time}:00Z").parse().unwrap();
            next(&plan, &scored.iter().copied().collect(), now)
        };
        // By the plan the third is on the floor; in truth the second is still to start.
        assert_eq!(next(&[1], "20:45"), Some(2));
        assert_eq!(next(&[1, 2, 4], "20:15"), Some(3), "ahead of the plan");
        // Nobody has one: before and in the first it is that; then nobody knows.
        assert_eq!([next(&[], "19:00"), next(&[], "20:19"), next(&[], "20:20")], [Some(1), Some(1), None]);
        assert_eq!(next(&[9], "20:45"), None, "somebody without a place says nothing");
        assert_eq!(next(&[1, 3, 5], "20:45"), None, "all are done");
    }

    #[test]
    fn what_was_moved_is_read_back_as_it_was_held() {
        let later = [Later { heat: 2, minutes: 25 }, Later { heat: 4, minutes: -5 }];
        assert_eq!(held(&later), "2 25,4 -5");
        assert_eq!(read(&held(&later)).as_deref(), Some(&later[..]));
        assert_eq!(read(""), Some(Vec::new()));
        for wrong in ["2", "x 25", "2 25 1", "2 99999999999"] {
            assert_eq!(read(wrong), None, "{wrong}");
        }
    }
}
