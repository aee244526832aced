//! The board is the pure function of the placements, whatever happened in whatever order, and
//! whoever read in between; what it says of one entry agrees with its pages.

mod asked;
mod consequence;
mod large;
mod moves;
mod oracle;
mod sample;

use std::sync::Arc;
use tallywright::rules::competition::Competition;
use tallywright::rules::life::State;
use tallywright::rules::order::Key;
use tallywright::rules::people::EntryState;
use tallywright::rules::place::OverallRules;
use tallywright::rules::placement::{Change, Placement};
use tallywright::standings::{Board, Cut, InForce, Mask, Query, Scope};

pub const EVERYTHING: Cut = Cut::Rows { from: 1, limit: usize::MAX };

pub fn entry(seq: u64, bib: u32, division: &str, gym: Option<&str>, region: &str, country: &str) -> Placement {
    let change = Change::Entry {
        division: division.into(),
        gym: gym.map(Into::into),
        country: country.into(),
        region: region.into(),
        state: EntryState::Active,
    };
    Placement { seq, bib, change }
}

pub fn score(seq: u64, bib: u32, workout: &str, key: Option<i64>) -> Placement {
    let key = key.map(Key);
    let change = Change::Score {
        workout: workout.into(),
        attempt: 1,
        key,
        level: key.map_or(0, tallywright::rules::place::level_of),
        state: if key.is_some() { State::Attested } else { State::Entered },
        text: format!("{seq}"),
    };
    Placement { seq, bib, change }
}

pub fn whole(division: &str) -> Query {
    Query { division: division.into(), scope: Scope::default(), mask: Mask::ALL }
}

/// Two plain divisions, one that combines them, three workouts.
pub fn plain() -> Arc<Competition> {
    let divisions: &[(&str, &[&str])] = &[("a", &[]), ("b", &[]), ("all", &["a", "b"])];
    Arc::new(sample::competition(OverallRules::default(), &[("w1", 1), ("w2", 1), ("w3", 1)], divisions))
}

/// A file, applied at this log position.
pub fn applied(at: u64, competition: Arc<Competition>) -> InForce {
    InForce { at, leaf: [0; 32], competition }
}

/// A board with four entries of division `a`, one of `b`, and scores in the first workout.
pub fn board() -> Board {
    let board = Board::default();
    let rows = vec![
        entry(1, 10, "a", Some("north"), "hills", "PT"),
        entry(2, 11, "a", Some("north"), "hills", "PT"),
        entry(3, 12, "a", Some("south"), "coast", "PT"),
        entry(4, 13, "a", None, "", ""),
        entry(5, 14, "b", Some("south"), "coast", "ES"),
        score(6, 10, "w1", Some(100)),
        score(7, 11, "w1", Some(300)),
        score(8, 12, "w1", Some(300)),
        score(9, 13, "w1", None),
        score(10, 14, "w1", Some(200)),
    ];
    board.load(1, applied(10, plain()), 10, rows);
    board
}
