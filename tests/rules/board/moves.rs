//! Any sequence of entries coming, moving and leaving, scores changing and losing their places,
//! and definitions changing: board, past states and the slow way always agree.

use super::oracle::{Cell, Oracle, Row};
use super::{EVERYTHING, applied, sample};
use proptest::prelude::*;
use std::sync::Arc;
use tallywright::rules::competition::Competition;
use tallywright::rules::life::State;
use tallywright::rules::order::Key;
use tallywright::rules::people::EntryState;
use tallywright::rules::place::{LevelRule, Missing, OverallRules, Points, Ties, level_of};
use tallywright::rules::placement::{Change, Placement};
use tallywright::standings::{Board, Cut, EntryRanking, Mask, PlaceIn, Query, Scope, Settling, View};

const WORKOUTS: [&str; 4] = ["w1", "w2", "w3", "w4"];

#[derive(Clone, Debug)]
enum Move {
    Row(u32, Change),
    Define(OverallRules, Vec<(usize, u32)>),
    /// Somebody looks, so that rankings are kept.
    Read,
}

fn rules() -> impl Strategy<Value = OverallRules> {
    let table = (proptest::collection::vec(0u32..5, 1..4), any::<bool>());
    let points = prop_oneof![
        Just(Points::Places),
        table.prop_map(|(table, past_end_last)| Points::Table { table, past_end_last })
    ];
    let missing = prop_oneof![Just(Missing::AfterLast), Just(Missing::BelowComplete), Just(Missing::Unplaced)];
    (points, missing, 0u32..3, any::<bool>(), any::<bool>(), any::<bool>()).prop_map(
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

fn workouts() -> impl Strategy<Value = Vec<(usize, u32)>> {
    let order = Just(vec![0usize, 1, 2, 3]).prop_shuffle();
    (order, 1usize..=4, proptest::collection::vec(1u32..3, 4))
        .prop_map(|(order, n, weights)| order.into_iter().zip(weights).take(n).collect())
}

fn define(rules: &OverallRules, workouts: &[(usize, u32)]) -> Arc<Competition> {
    let workouts: Vec<_> = workouts.iter().map(|(n, weight)| (WORKOUTS[*n], *weight)).collect();
    let divisions: &[(&str, &[&str])] = &[("a", &[]), ("b", &[]), ("all", &["a", "b"])];
    Arc::new(sample::competition(rules.clone(), &workouts, divisions))
}

fn one_move() -> impl Strategy<Value = Move> {
    let state = prop_oneof![
        6 => Just(EntryState::Active),
        1 => Just(EntryState::Withdrawn),
        1 => Just(EntryState::Removed),
        1 => Just(EntryState::Guest)
    ];
    let division = prop_oneof![4 => Just("a"), 2 => Just("b"), 1 => Just("gone")];
    let gym = prop_oneof![Just(None), Just(Some("north")), Just(Some("south"))];
    let place = (prop_oneof![Just(""), Just("hills")], prop_oneof![Just("PT"), Just("ES")]);
    let entry = (1u32..13, division, gym, place, state).prop_map(|(bib, division, gym, (region, country), state)| {
        let change = Change::Entry {
            division: division.into(),
            gym: gym.map(Into::into),
            country: country.into(),
            region: region.into(),
            state,
        };
        Move::Row(bib * 37, change)
    });
    let key = proptest::option::weighted(0.85, (0i64..2, 0i64..4).prop_map(|(level, n)| Key(level << 60 | n)));
    let score = (1u32..13, 0usize..4, key, 0u32..1000).prop_map(|(bib, workout, key, text)| {
        let change = Change::Score {
            workout: WORKOUTS[workout].into(),
            attempt: 1,
            key,
            level: key.map_or(0, level_of),
            state: if key.is_some() { State::Attested } else { State::Withheld },
            text: text.to_string(),
        };
        Move::Row(bib * 37, change)
    });
    let define = (rules(), workouts()).prop_map(|(rules, workouts)| Move::Define(rules, workouts));
    prop_oneof![6 => entry, 14 => score, 1 => define, 3 => Just(Move::Read)]
}

/// Everybody ranked anew at each change, now and then, or never, and beside the readers or not.
fn settling() -> impl Strategy<Value = Settling> {
    let beside_from = prop_oneof![Just(0), Just(usize::MAX)];
    (prop_oneof![0_usize..6, Just(1000)], beside_from, 1_usize..4).prop_map(|(changes, beside_from, patience)| {
        Settling { changes, rows_per_change: 1 << 20, beside_from, patience }
    })
}

fn queries() -> Vec<Query> {
    let scopes = [
        Scope::default(),
        Scope { gym: Some("north".into()), ..Scope::default() },
        Scope { region: Some("hills".into()), country: Some("PT".into()), ..Scope::default() },
        Scope { country: Some("nowhere".into()), ..Scope::default() },
    ];
    let mut out = Vec::new();
    for division in ["a", "b", "all"] {
        for scope in &scopes {
            for mask in [Mask::ALL, Mask(0b101)] {
                out.push(Query { division: division.into(), scope: scope.clone(), mask });
            }
        }
    }
    out
}

fn rows(view: &View, query: &Query) -> Vec<Row> {
    let page = view.standings(query, EVERYTHING).unwrap();
    assert_eq!(page.entries, page.rows.len());
    assert_eq!(page.of, page.rows.iter().filter(|row| row.standing.is_some()).count());
    let row = |row: tallywright::standings::StandingRow| Row {
        bib: row.athlete.bib,
        standing: row.standing,
        points: row.points,
        unscoped: row.unscoped_standing,
        cells: row
            .workouts
            .into_iter()
            .map(|c| Cell {
                workout: c.workout,
                place: c.place,
                points: c.points,
                placed: c.placed,
                counted: c.counted,
                text: c.score.map(|s| s.text.to_string()),
            })
            .collect(),
    };
    page.rows.into_iter().map(row).collect()
}

/// Any page is a part of the whole list, wherever it is cut, and says of each what the entry says.
fn pages(view: &View, query: &Query) {
    let whole = view.standings(query, EVERYTHING).unwrap().rows;
    let places: Vec<_> = (0..view.definition().workouts.len())
        .map(|workout| view.places(query, workout, EVERYTHING).unwrap().rows)
        .collect();
    for from in 1..=whole.len() {
        for limit in [1, 3] {
            let cut = Cut::Rows { from, limit };
            let part = from - 1..whole.len().min(from - 1 + limit);
            assert_eq!(view.standings(query, cut).unwrap().rows, whole[part.clone()], "{query:?} {cut:?}");
            for (workout, places) in places.iter().enumerate() {
                assert_eq!(view.places(query, workout, cut).unwrap().rows, places[part.clone()], "{query:?} {cut:?}");
            }
        }
    }
    for (at, row) in whole.iter().enumerate() {
        let bib = row.athlete.bib;
        assert_eq!(view.standings(query, Cut::Holding { bib, limit: 1 }).unwrap().from, at + 1);
        let entry = view.entry(bib, query.mask).unwrap();
        let same = |ranking: &&EntryRanking| ranking.division == query.division && ranking.scope == query.scope;
        if let Some(ranking) = entry.rankings.iter().find(same) {
            assert_eq!((ranking.standing, ranking.shared, ranking.row), (row.standing, row.shared, at + 1));
            assert_eq!((ranking.points, ranking.next), (row.points, row.next));
        }
        let all = view.entry(bib, Mask::ALL).unwrap();
        for workout in 0..places.len() {
            let of = |ranking: &EntryRanking| {
                let own = ranking.workouts.iter().find(|own| own.cell.workout == workout)?;
                let place = own.cell.place.filter(|_| own.cell.placed);
                Some(PlaceIn { division: ranking.division.clone(), place, of: own.of })
            };
            let among: Vec<_> = all.rankings.iter().filter(|r| r.scope.whole()).filter_map(of).collect();
            assert_eq!(view.places_in(workout, bib).unwrap(), among, "{bib} {workout}");
        }
        let next = whole.iter().rfind(|other| other.standing < row.standing && other.standing.is_some());
        let first = next.and_then(|next| whole.iter().find(|other| other.standing == next.standing));
        let expected = first.filter(|_| row.standing.is_some()).map(|first| first.athlete.bib);
        assert_eq!(row.next.map(|next| next.bib), expected, "{query:?} {bib}");
        assert_eq!(row.next.map(|next| next.points), first.filter(|_| row.standing.is_some()).and_then(|f| f.points));
    }
}

fn agree(view: &View, oracle: &Oracle) {
    for query in queries() {
        assert_eq!(rows(view, &query), oracle.rows(&query), "{query:?}");
        pages(view, &query);
        for workout in 0..oracle.definition.workouts.len() {
            let page = view.places(&query, workout, EVERYTHING).unwrap();
            let mut last = 0;
            for row in &page.rows {
                let bib = row.athlete.bib;
                assert_eq!(row.place, oracle.place(&query.division, &query.scope, workout, bib), "{query:?} {bib}");
                assert_eq!(row.unscoped_place, oracle.place(&query.division, &Scope::default(), workout, bib));
                let place = row.place.unwrap_or(u32::MAX);
                assert!(place >= last, "places are listed in order");
                last = place;
                let shared = page.rows.iter().filter(|other| other.place == row.place && place < u32::MAX).count();
                assert_eq!(usize::try_from(row.shared).unwrap(), shared);
            }
        }
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 150, ..ProptestConfig::default() })]

    #[test]
    fn the_board_is_the_pure_function_after_any_moves(
        rules in rules(),
        workouts in workouts(),
        moves in proptest::collection::vec(one_move(), 1..60),
        settling in settling(),
    ) {
        let first = define(&rules, &workouts);
        let board = Board::settling(settling);
        board.load(1, applied(0, Arc::clone(&first)), 0, Vec::new());
        let mut oracle = Oracle::new(Arc::clone(&first));
        let mut log: Vec<Placement> = Vec::new();
        let mut past = Vec::new();
        let (mut seq, mut defined) = (0, 0);
        for step in moves {
            match step {
                Move::Row(bib, change) => {
                    seq += 1;
                    let row = Placement { seq, bib, change };
                    oracle.take(&row);
                    board.follow(1, seq, None, std::slice::from_ref(&row));
                    log.push(row);
                }
                Move::Define(rules, workouts) => {
                    seq += 1;
                    oracle.definition = define(&rules, &workouts);
                    defined = seq;
                    board.follow(1, seq, Some(applied(seq, Arc::clone(&oracle.definition))), &[]);
                }
                Move::Read => {
                    let view = board.view(1).unwrap();
                    prop_assert_eq!(view.seq(), seq);
                    for query in queries().iter().step_by(2) {
                        rows(&view, query);
                    }
                    past.push((view, oracle.clone()));
                }
            }
        }
        agree(&board.view(1).unwrap(), &oracle);

        // A snapshot taken earlier still says what held then, and so does the log.
        for (view, oracle) in past.iter().rev().take(2) {
            agree(view, oracle);
            let as_of = Board::as_of(Arc::clone(&oracle.definition), log.clone(), view.seq());
            prop_assert_eq!(as_of.seq(), view.seq());
            for query in queries() {
                prop_assert_eq!(as_of.standings(&query, EVERYTHING), view.standings(&query, EVERYTHING));
            }
        }

        // A restart: of the scores only the newest rows, in any order, at the last position. What
        // changed last is the same for one who has followed.
        let versions = |board: &Board| {
            let view = board.view(1).unwrap();
            queries().iter().map(|query| view.version(&query.division)).collect::<Vec<_>>()
        };
        let followed = versions(&board);
        log.reverse();
        let mut seen = std::collections::HashSet::new();
        log.retain(|row| match &row.change {
            Change::Entry { .. } => true,
            Change::Score { workout, .. } => seen.insert((row.bib, workout.clone())),
        });
        board.load(1, applied(defined, Arc::clone(&oracle.definition)), seq, log.clone());
        agree(&board.view(1).unwrap(), &oracle);
        prop_assert_eq!(&versions(&board), &followed);

        // So it is for one who has followed in one go.
        let board = Board::default();
        board.load(1, applied(0, first), 0, Vec::new());
        board.follow(1, seq, (defined > 0).then(|| applied(defined, Arc::clone(&oracle.definition))), &log);
        agree(&board.view(1).unwrap(), &oracle);
        prop_assert_eq!(&versions(&board), &followed);
    }

    #[test]
    fn a_combined_division_is_one_big_division(
        rules in rules(),
        moves in proptest::collection::vec(one_move(), 1..50),
    ) {
        let three: &[(&str, u32)] = &[("w1", 1), ("w2", 2), ("w3", 1)];
        let apart: &[(&str, &[&str])] = &[("a", &[]), ("b", &[]), ("all", &["a", "b"])];
        let (apart, big) = (sample::competition(rules.clone(), three, apart), sample::competition(rules, three, &[("all", &[])]));
        let rows = moves.into_iter().enumerate().filter_map(|(n, step)| match step {
            Move::Row(bib, change) => Some(Placement { seq: n as u64 + 1, bib, change }),
            _ => None,
        });
        let rows: Vec<_> = rows.collect();
        let mut together = rows.clone();
        for row in &mut together {
            if let Change::Entry { division, .. } = &mut row.change
 && ["a", "b"].contains(&division.as_str())
 {
*division = "all".into();
}
        }
        let apart = Board::as_of(Arc::new(apart), rows, 100);
        let big = Board::as_of(Arc::new(big), together, 100);
        for query in queries().into_iter().filter(|query| query.division == "all") {
            prop_assert_eq!(super::moves::rows(&apart, &query), super::moves::rows(&big, &query));
        }
    }

    #[test]
    fn a_scope_is_the_whole_of_those_in_it(
        rules in rules(),
        moves in proptest::collection::vec(one_move(), 1..50),
    ) {
        let definition = define(&rules, &[(0, 1), (1, 1), (2, 1), (3, 1)]);
        let rows: Vec<_> = moves.into_iter().enumerate().filter_map(|(n, step)| match step {
            Move::Row(bib, change) => Some(Placement { seq: n as u64 + 1, bib, change }),
            _ => None,
        }).collect();
        let all = Board::as_of(Arc::clone(&definition), rows.clone(), 100);
        let scope = Scope { gym: Some("north".into()), ..Scope::default() };
        let query = Query { division: "all".into(), scope, mask: Mask::ALL };
        let scoped = super::moves::rows(&all, &query);
        let inside: Vec<u32> = scoped.iter().map(|row| row.bib).collect();
        let only = rows.into_iter().filter(|row| inside.contains(&row.bib));
        let only = Board::as_of(definition, only, 100);
        let whole = super::moves::rows(&only, &Query { scope: Scope::default(), ..query });
        let bare = |rows: Vec<Row>| rows.into_iter().map(|row| Row { unscoped: None, ..row }).collect::<Vec<_>>();
        prop_assert_eq!(bare(scoped), bare(whole));
    }
}
