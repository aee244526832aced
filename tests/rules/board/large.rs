//! A larger field in which very much changes: what is answered without ranking again is what ranking
//! everybody says.

use super::{applied, sample};
use proptest::prelude::*;
use std::sync::Arc;
use tallywright::rules::life::State;
use tallywright::rules::order::Key;
use tallywright::rules::people::EntryState;
use tallywright::rules::place::{LevelRule, Missing, OverallRules, Points, Ties, level_of};
use tallywright::rules::placement::{Change, Placement};
use tallywright::standings::{Board, Cut, Mask, Query, Scope, Settling, View};

const WORKOUTS: [&str; 4] = ["w1", "w2", "w3", "w4"];
const ENTRIES: u32 = 400;

fn entry(seq: u64, bib: u32) -> Placement {
    let change = Change::Entry {
        division: "a".into(),
        gym: Some(["north", "south", "west"][bib as usize % 3].into()),
        country: "PT".into(),
        region: String::new(),
        state: EntryState::Active,
    };
    Placement { seq, bib, change }
}

fn score(seq: u64, bib: u32, workout: usize, key: Option<i64>) -> Placement {
    let key = key.map(Key);
    let change = Change::Score {
        workout: WORKOUTS[workout].into(),
        attempt: 1,
        key,
        level: key.map_or(0, level_of),
        state: if key.is_some() { State::Attested } else { State::Withheld },
        text: seq.to_string(),
    };
    Placement { seq, bib, change }
}

fn rules() -> impl Strategy<Value = OverallRules> {
    let missing = prop_oneof![Just(Missing::AfterLast), Just(Missing::BelowComplete), Just(Missing::Unplaced)];
    let points = prop_oneof![
        4 => Just(Points::Places),
        1 => Just(Points::Table { table: vec![100, 90, 81, 73, 66, 60], past_end_last: true })
    ];
    (points, missing, 0u32..2, any::<bool>(), any::<bool>(), any::<bool>()).prop_map(
        |(points, missing, drop_worst, shared, last_workout, lowest)| OverallRules {
            points,
            missing,
            drop_worst,
            ties: if shared { Ties::Shared } else { Ties::Countback },
            last_workout,
            level_rule: if lowest { LevelRule::Lowest } else { LevelRule::PerWorkout },
            ..OverallRules::default()
        },
    )
}

/// The next of a repeatable sequence of numbers below `n` (xorshift).
fn draw(random: &mut u64, n: u64) -> u64 {
    *random ^= *random << 13;
    *random ^= *random >> 7;
    *random ^= *random << 17;
    *random % n
}

/// What two states say, from the top, the middle and the end.
fn same(live: &View, anew: &View) {
    for gym in [None, Some("south".to_owned())] {
        let query = Query { division: "a".into(), scope: Scope { gym, ..Scope::default() }, mask: Mask::ALL };
        for from in [1, 7, 100, 190, 260, 390] {
            let cut = Cut::Rows { from, limit: 13 };
            assert_eq!(live.standings(&query, cut), anew.standings(&query, cut), "{query:?} {cut:?}");
            assert_eq!(live.places(&query, 1, cut), anew.places(&query, 1, cut), "{query:?} {cut:?}");
        }
    }
    for bib in (1..=ENTRIES).step_by(37) {
        assert_eq!(live.entry(bib, Mask::ALL), anew.entry(bib, Mask::ALL), "{bib}");
        let then = |view: &View| view.what_if(bib, 2, Key(40), Mask::ALL);
        assert_eq!(then(live), then(anew), "{bib}");
        let query = Query { division: "a".into(), scope: Scope::default(), mask: Mask::ALL };
        let moved = |view: &View| view.moved_by(&query, 2, bib, Some(Key(40)));
        assert_eq!(moved(live), moved(anew), "{bib}");
    }
    assert_eq!(live.counts(), anew.counts());
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 12, ..ProptestConfig::default() })]

    #[test]
    fn up_to_ten_thousand_changes_are_answered_exactly(
        rules in rules(), seed in 1_u64.., spread in prop_oneof![Just(5_u64), Just(200), Just(1 << 40)],
        changes in prop_oneof![Just(1_usize), Just(10), Just(100), Just(1_000), Just(10_000)],
        settling in prop_oneof![Just(usize::MAX), Just(20)],
    ) {
        let workouts: Vec<_> = WORKOUTS.iter().zip([1, 2, 1, 3]).map(|(slug, weight)| (*slug, weight)).collect();
        let definition = Arc::new(sample::competition(rules, &workouts, &[("a", &[])]));
        let mut random = seed;
        let mut any_score = |seq: u64| {
            let bib = u32::try_from(draw(&mut random, ENTRIES.into())).unwrap() + 1;
            let workout = usize::try_from(draw(&mut random, 4)).unwrap();
            let key = (draw(&mut random, 12) > 0).then(|| {
                let level = i64::try_from(draw(&mut random, 9) / 8).unwrap();
                level << 60 | i64::try_from(draw(&mut random, spread)).unwrap()
            });
            score(seq, bib, workout, key)
        };
        let mut rows: Vec<Placement> = (1..=ENTRIES).map(|bib| entry(bib.into(), bib)).collect();
        let mut seq = u64::from(ENTRIES);
        for _ in 0..4 * ENTRIES {
            seq += 1;
            rows.push(any_score(seq));
        }
        let settling = Settling { changes: settling, patience: 1_000, ..Settling::default() };
        let board = Board::settling(settling);
        board.load(1, applied(0, Arc::clone(&definition)), seq, rows.clone());
        same(&board.view(1).unwrap(), &Board::as_of(Arc::clone(&definition), rows.clone(), seq));
        for n in 1..=changes {
            seq += 1;
            let row = any_score(seq);
            board.follow(1, seq, None, std::slice::from_ref(&row));
            rows.push(row);
            if n.is_power_of_two() || n == changes {
                same(&board.view(1).unwrap(), &Board::as_of(Arc::clone(&definition), rows.clone(), seq));
            }
        }
    }
}
