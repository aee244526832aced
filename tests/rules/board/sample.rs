//! Competitions for the board: only what a ranking looks at matters, the rest is the same for all.

use std::fmt::Write;
use tallywright::rules::competition::{Competition, compile, from_toml};
use tallywright::rules::place::OverallRules;

/// A competition with these workouts (slug, weight) and divisions (slug, what it combines).
pub fn competition(overall: OverallRules, workouts: &[(&str, u32)], divisions: &[(&str, &[&str])]) -> Competition {
    let mut text = String::from(
        "[competition]\nslug = 'sample'\ntitle = 'Sample'\ntime_zone = 'Europe/Lisbon'\nage_date = 2027-01-15\n",
    );
    for (slug, combines) in divisions {
        writeln!(text, "[[division]]\nslug = '{slug}'\ntitle = '{slug}'").unwrap();
        if combines.is_empty() {
            writeln!(text, "allow_lower = true").unwrap();
        } else {
            writeln!(text, "combines = {combines:?}").unwrap();
        }
    }
    let plain: Vec<_> = divisions.iter().filter(|(_, combines)| combines.is_empty()).map(|(slug, _)| slug).collect();
    for (slug, weight) in workouts {
        writeln!(
            text,
            "[[workout]]\nslug = '{slug}'\ntitle = '{slug}'\nformat = 'max_load'\nweight = {weight}\n\
             opens = '2027-01-12T19:00'\ncloses = '2027-01-17T21:00'\nlifts = ['clean']\nstandards = 'To a stand.'\n\
             [[workout.prescription]]\ndivisions = {plain:?}\n\
             [[workout.prescription]]\ndivisions = {plain:?}\nlevel = 'scaled'",
        )
        .unwrap();
    }
    let raw = from_toml(&text).unwrap_or_else(|faults| panic!("{faults:#?}\n{text}"));
    let mut competition = compile(&raw).unwrap_or_else(|faults| panic!("{faults:#?}\n{text}")).value;
    competition.overall = overall;
    competition
}
