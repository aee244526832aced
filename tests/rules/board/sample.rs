//! Competitions for the board: only what a ranking looks at matters, the rest is the same for all.

use jiff::Timestamp;
use jiff::civil::date;
use jiff::tz::TimeZone;
use tallywright::rules::competition::{Competition, LeapBirthday, Level};
use tallywright::rules::division::{Category, Division};
use tallywright::rules::place::OverallRules;
use tallywright::rules::quantity::{Rounding, TimeStep};
use tallywright::rules::window::Window;
use tallywright::rules::workout::{Attempts, CountUnit, Evidence, Format, LoadStep, Publish, Task, Tiebreak, Workout};

/// A competition with these workouts (slug, weight) and divisions (slug, what it combines).
pub fn competition(overall: OverallRules, workouts: &[(&str, u32)], divisions: &[(&str, &[&str])]) -> Competition {
    Competition {
        slug: "sample".into(),
        title: "Sample".into(),
        time_zone: TimeZone::UTC,
        time_zone_name: "UTC".into(),
        age_date: date(2027, 1, 1),
        leap_birthday: LeapBirthday::Mar1,
        levels: vec![level("prescribed"), level("scaled")],
        private: false,
        overall,
        divisions: divisions.iter().map(|(slug, combines)| division(slug, combines)).collect(),
        workouts: workouts.iter().map(|(slug, weight)| workout(slug, *weight)).collect(),
    }
}

fn level(slug: &str) -> Level {
    Level { slug: slug.into(), title: slug.into() }
}

fn division(slug: &str, combines: &[&str]) -> Division {
    Division {
        slug: slug.into(),
        title: slug.into(),
        category: Category::Any,
        from_age: None,
        to_age: None,
        level: 0,
        allow_lower: true,
        combines: combines.iter().map(|slug| (*slug).into()).collect(),
        mixed: false,
    }
}

fn workout(slug: &str, weight: u32) -> Workout {
    let at = Timestamp::UNIX_EPOCH;
    Workout {
        slug: slug.into(),
        title: slug.into(),
        session: None,
        format: Format::MaxLoad,
        window: Window { announce: at, opens: at, closes: at, grace_ends: at, attest_by: at },
        publish: Publish::Live,
        attempts: Attempts::Best,
        weight,
        seconds_per_rep: None,
        evidence: Evidence::default(),
        standards: String::new(),
        standards_in: Vec::new(),
        task: Task {
            format: Format::MaxLoad,
            scheme: None,
            cap: None,
            tiebreak: Tiebreak::None,
            tiebreak_for_finishers: false,
            time_step: TimeStep::Second,
            time_rounding: Rounding::Down,
            lifts: vec!["lift".into()],
            all_required: false,
            load_step: LoadStep::default(),
            intervals: None,
            unit: CountUnit::Reps,
        },
        prescriptions: Vec::new(),
    }
}
