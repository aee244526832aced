//! Schemes against a walk rep by rep.

use super::generate::{endless_scheme, finite_scheme, reps, rounds_of_44, scheme, work};
use proptest::prelude::*;
use tallywright::rules::quantity::Millis;
use tallywright::rules::scheme::{Block, Counts, Ends, MAX_TOTAL, Marker, Repeat, Scheme, Station, TotalError};
use tallywright::rules::workout::Tiebreak;

/// One station of one round as a walk meets it.
#[derive(Clone, Copy, Debug)]
struct Step {
    block: usize,
    round: u64,
    station: usize,
    of: u64,
    /// Total once it is done.
    end: u64,
    /// Whether a round ends with it.
    ends_round: bool,
}

/// Walks from block to block and round to round until `reps` are passed.
fn walk(scheme: &Scheme, reps: u64) -> Vec<Step> {
    let mut steps = Vec::new();
    let mut end = 0;
    for (block, described) in scheme.blocks().iter().enumerate() {
        let Block::Work { stations, repeat, .. } = described else { continue };
        let mut round = 0;
        while end <= reps {
            let row: Vec<u64> = match repeat {
                Repeat::Rounds(n) if round == *n => break,
                Repeat::List(rows) if round == rows.len() as u64 => break,
                Repeat::Ladder { rounds: Some(n), .. } if round == *n => break,
                Repeat::Rounds(_) | Repeat::Endless => stations.iter().map(given).collect(),
                Repeat::List(rows) => rows[usize::try_from(round).unwrap()].clone(),
                Repeat::Ladder { start, step, .. } => start
                    .iter()
                    .enumerate()
                    .map(|(i, s)| {
                        let change = step[i % step.len()] * i64::try_from(round).unwrap();
                        s.checked_add_signed(change).unwrap()
                    })
                    .collect(),
            };
            let last = row.iter().rposition(|n| *n > 0).unwrap();
            for (station, of) in row.into_iter().enumerate() {
                end += of;
                steps.push(Step { block, round, station, of, end, ends_round: station == last });
            }
            round += 1;
        }
    }
    steps
}

fn given(station: &Station) -> u64 {
    match station.counts.unwrap() {
        Counts::Reps(n) | Counts::Calories(n) | Counts::Once(n) => n,
        Counts::Lengths { metres, per } => metres / per,
    }
}

/// Markers as a walk meets them.
fn walked_markers(steps: &[Step], tiebreak: &Tiebreak) -> Vec<Marker> {
    let stations = steps.iter().filter(|s| s.of > 0);
    match tiebreak {
        Tiebreak::EachStation => stations
            .map(|s| Marker {
                total: s.end,
                ends: Ends::Station { block: s.block, round: s.round, station: s.station },
            })
            .collect(),
        Tiebreak::EachRound => stations
            .filter(|s| s.ends_round)
            .map(|s| Marker { total: s.end, ends: Ends::Round { block: s.block, round: s.round } })
            .collect(),
        _ => Vec::new(),
    }
}

/// How far a walk goes.
const WALKED: u64 = 600;

proptest! {
    #[test]
    fn split_is_where_a_walk_stands(scheme in scheme(9)) {
        let steps = walk(&scheme, WALKED);
        if let Some(end) = scheme.end() {
            let walked = steps.last().unwrap().end;
            prop_assert!(walked == end || walked > WALKED);
        }
        for total in 0..=WALKED {
            let Some(at) = scheme.split(total) else {
                prop_assert!(scheme.end().unwrap() < total);
                continue;
            };
            // The next rep's station; at the end the last one that counts.
            let next = steps.iter().find(|s| s.end > total);
            let step = next.or_else(|| steps.iter().rfind(|s| s.of > 0)).unwrap();
            prop_assert_eq!((at.block, at.round, at.station, at.of), (step.block, step.round, step.station, step.of));
            prop_assert_eq!(at.done, total + step.of - step.end);
        }
    }

    #[test]
    fn split_and_total_are_inverse(scheme in scheme(50), totals in prop::collection::vec(0..MAX_TOTAL, 20), small in prop::collection::vec(0..2000_u64, 20)) {
        for total in totals.into_iter().chain(small).filter(|t| *t <= scheme.most()) {
            let at = scheme.split(total).unwrap();
            if let Some(rounds) = at.rounds {

                prop_assert_eq!(scheme.total(rounds, at.reps), Ok(total));
                prop_assert_eq!(scheme.through(rounds), Some(total - at.reps));
                prop_assert!(scheme.round_size(rounds).is_none_or(|size| at.reps < size));
            } else {

                prop_assert_eq!(at.reps, total);
                prop_assert!(scheme.repeating().is_none() || scheme.through(0).unwrap() > total);
            }
        }
    }

    #[test]
    fn total_and_split_are_inverse(scheme in scheme(50), rounds in 0..3000_u64, reps in 0..200_u64) {
        match scheme.total(rounds, reps) {
            Ok(total) => {
                let at = scheme.split(total).unwrap();
                prop_assert_eq!((at.rounds, at.reps), (Some(rounds), reps));
            }
            // What it is instead is the same total, written rightly.
            Err(TotalError::WholeRound { size, rounds: r, reps: p }) => {
                prop_assert!(reps >= size && r > rounds);
                prop_assert_eq!(scheme.total(r, p).unwrap(), scheme.through(rounds).unwrap() + reps);
            }
            Err(TotalError::NoRounds) => prop_assert_eq!(scheme.repeating(), None),
            Err(TotalError::Beyond { most }) => prop_assert_eq!(most, scheme.most()),
        }
    }

    #[test]
    fn markers_are_those_a_walk_meets(scheme in scheme(9)) {
        let steps = walk(&scheme, WALKED);
        let until = WALKED.min(scheme.most());
        for tiebreak in [Tiebreak::EachRound, Tiebreak::EachStation] {
            let walked: Vec<Marker> = walked_markers(&steps, &tiebreak).into_iter().filter(|m| m.total <= until).collect();
            let markers: Vec<Marker> = scheme.markers(&tiebreak, until).collect();
            prop_assert_eq!(&markers, &walked);
            for total in 0..=until {
                let last = walked.iter().rfind(|m| m.total <= total).cloned();
                prop_assert_eq!(scheme.last_marker(&tiebreak, total), last);
            }
        }
    }

    #[test]
    fn rows_add_up_to_rounds(scheme in scheme(50), rounds in 0..40_u64) {
        if let Some(block) = scheme.repeating()
            && let (Some(size), Some(through)) = (scheme.round_size(rounds), scheme.through(rounds))
        {
            prop_assert_eq!(scheme.row(block, rounds).iter().sum::<u64>(), size);
            prop_assert_eq!(scheme.through(rounds + 1), Some(through + size));
        }
    }

    #[test]
    fn a_round_always_counts(scheme in endless_scheme(9), rounds in 0..100_000_u64) {
        prop_assert!(scheme.round_size(rounds).unwrap() >= 1);
    }

    #[test]
    fn the_end_is_the_end(scheme in finite_scheme(50)) {
        let end = scheme.end().unwrap();
        prop_assert!(scheme.split(end).is_some());
        prop_assert_eq!(scheme.split(end + 1), None);
        prop_assert_eq!(scheme.next_marker(&Tiebreak::EachRound, end), None);
        prop_assert_eq!(scheme.last_marker(&Tiebreak::EachStation, end).unwrap().total, end);
        prop_assert_eq!(scheme.last_marker(&Tiebreak::EachRound, end).unwrap().total, end);
    }
}

#[test]
fn ladders_split_exactly_far_out() {
    let station = || Station { movement: "burpee".into(), counts: None };
    for (start, step) in [(1, 0), (1, 1), (2, 2), (7, 3), (1, 1000), (100_000, 1), (1, 134_217_727)] {
        let ladder = Repeat::Ladder { start: vec![start], step: vec![step], rounds: None };
        let scheme = Scheme::new(vec![work(vec![station()], ladder)], true).unwrap();
        let last = (1..=MAX_TOTAL).take_while(|r| scheme.through(*r).is_some()).last().unwrap_or(0);
        for rounds in [0, 1, 2, last / 2, last.saturating_sub(1), last].into_iter().filter(|r| *r <= last) {
            let through = scheme.through(rounds).unwrap();
            let at = scheme.split(through).unwrap();
            assert_eq!((at.rounds, at.reps), (Some(rounds), 0), "{start} {step} {rounds}");
            if rounds > 0 {
                let before = scheme.split(through - 1).unwrap();
                assert_eq!(before.rounds, Some(rounds - 1), "{start} {step} {rounds}");
            }
        }
    }
}

#[test]
fn forty_of_forty_is_a_whole_round() {
    let scheme = Scheme::new(vec![work(vec![reps("swing", 40)], Repeat::Endless)], true).unwrap();
    assert_eq!(scheme.total(5, 40), Err(TotalError::WholeRound { size: 40, rounds: 6, reps: 0 }));
    assert_eq!(scheme.total(5, 12), Ok(212));
    assert_eq!(scheme.total(u64::MAX, u64::MAX), Err(TotalError::Beyond { most: MAX_TOTAL }));
    assert_eq!(scheme.split(MAX_TOTAL + 1), None);
}

#[test]
fn inside_an_unfinished_buy_in_there_are_no_rounds() {
    let buy_in = work(vec![reps("step-up", 60)], Repeat::Rounds(1));
    let rounds = work(vec![reps("swing", 20), reps("squat", 10)], Repeat::Endless);
    let scheme = Scheme::new(vec![buy_in, Block::Rest(Millis(60_000)), rounds], true).unwrap();
    assert_eq!(scheme.repeating(), Some(2));
    let at = |total| scheme.split(total).map(|at| (at.rounds, at.reps, at.block, at.station)).unwrap();
    assert_eq!(at(59), (None, 59, 0, 0));
    assert_eq!(at(60), (Some(0), 0, 2, 0));
    assert_eq!(at(85), (Some(0), 25, 2, 1));
    assert_eq!(scheme.total(1, 5), Ok(95));
    let said = |total| scheme.describe(&scheme.last_marker(&Tiebreak::EachRound, total).unwrap()).say(super::LANG);
    assert_eq!(said(85), "part 1 ended");
    assert_eq!(said(95), "round 1 of part 2 ended");
}

#[test]
fn a_rest_alone_beside_a_block_leaves_it_the_only_one() {
    let blocks = vec![Block::Rest(Millis(60_000)), work(vec![reps("swing", 20)], Repeat::Rounds(5))];
    let scheme = Scheme::new(blocks, false).unwrap();
    assert_eq!(scheme.total(3, 7), Ok(67));
    assert_eq!(scheme.end(), Some(100));
    assert_eq!(scheme.total(5, 0), Ok(100));
    assert_eq!(scheme.total(5, 1), Err(TotalError::Beyond { most: 100 }));
}

#[test]
fn whole_lengths_and_stretches_count_as_the_file_says() {
    let stations = vec![
        Station { movement: "carry".into(), counts: Some(Counts::Lengths { metres: 60, per: 15 }) },
        Station { movement: "row".into(), counts: Some(Counts::Calories(10)) },
        Station { movement: "run".into(), counts: Some(Counts::Once(1)) },
        Station { movement: "walk".into(), counts: Some(Counts::Once(0)) },
    ];
    let scheme = Scheme::new(vec![work(stations, Repeat::Rounds(2))], false).unwrap();
    assert_eq!(scheme.row(0, 0), [4, 10, 1, 0]);
    assert_eq!(scheme.end(), Some(30));
    // The walk makes no marker of its own.
    let totals: Vec<u64> = scheme.markers(&Tiebreak::EachStation, 30).map(|m| m.total).collect();
    assert_eq!(totals, [4, 14, 15, 19, 29, 30]);
}

#[test]
fn a_movement_done_twice_in_a_round_is_numbered() {
    let stations = vec![reps("run", 1), reps("squat", 20), reps("run", 1)];
    let scheme = Scheme::new(vec![work(stations, Repeat::Rounds(3))], false).unwrap();
    let said = |total| scheme.describe(&scheme.last_marker(&Tiebreak::EachStation, total).unwrap()).say(super::LANG);
    assert_eq!(said(22), "the run (station 3) of round 1 ended");
    assert_eq!(said(21), "the squat of round 1 ended");
}

/// Codes of all that is wrong, with their places.
fn faults(blocks: Vec<Block>, endless: bool) -> Vec<(String, String)> {
    let faults = Scheme::new(blocks, endless).unwrap_err();
    faults.into_iter().map(|(place, sentence)| (place, sentence.code.into_owned())).collect()
}

fn one(block: Block, endless: bool) -> Vec<(String, String)> {
    faults(vec![block], endless)
}

fn said(place: &str, code: &str) -> Vec<(String, String)> {
    vec![(place.to_owned(), code.to_owned())]
}

#[test]
fn a_scheme_that_cannot_be_says_where_and_why() {
    let swing = || vec![reps("swing", 20)];
    let bare = |n| (0..n).map(|i| Station { movement: format!("m{i}"), counts: None }).collect::<Vec<_>>();
    let ladder =
        |start: &[u64], step: &[i64], rounds| Repeat::Ladder { start: start.to_vec(), step: step.to_vec(), rounds };
    assert_eq!(faults(vec![], true), said("", "scheme_empty"));
    assert_eq!(faults(vec![Block::Rest(Millis(1000))], false), said("", "scheme_empty"));
    assert_eq!(one(work(swing(), Repeat::Endless), false), said("blocks[0]", "scheme_needs_end"));
    assert_eq!(one(work(swing(), Repeat::Rounds(3)), true), said("blocks[0]", "scheme_needs_endless"));
    assert_eq!(
        faults(vec![work(swing(), Repeat::Endless), Block::Rest(Millis(1000))], true),
        said("blocks[0]", "scheme_endless_last")
    );
    assert_eq!(one(work(swing(), Repeat::Rounds(0)), false), said("blocks[0].rounds", "rounds_zero"));
    assert_eq!(one(work(vec![], Repeat::Rounds(1)), false), said("blocks[0].stations", "block_stations"));
    assert_eq!(one(work(bare(1), Repeat::Rounds(1)), false), said("blocks[0].stations[0]", "station_count"));
    assert_eq!(
        one(work(vec![reps("walk", 0)], Repeat::Rounds(1)), false),
        said("blocks[0].stations", "round_counts_nothing")
    );
    assert_eq!(
        one(work(vec![reps(" ", 3)], Repeat::Rounds(1)), false),
        said("blocks[0].stations[0].movement", "station_movement")
    );
    let lengths =
        |metres, per| vec![Station { movement: "carry".into(), counts: Some(Counts::Lengths { metres, per }) }];
    assert_eq!(
        one(work(lengths(50, 15), Repeat::Rounds(1)), false)[0],
        said("blocks[0].stations[0].metres", "lengths_uneven")[0]
    );
    assert_eq!(
        one(work(lengths(50, 0), Repeat::Rounds(1)), false)[0],
        said("blocks[0].stations[0].per", "lengths_per_zero")[0]
    );
    let twice = vec![Station { movement: "run".into(), counts: Some(Counts::Once(2)) }];
    assert_eq!(one(work(twice, Repeat::Rounds(1)), false)[0], said("blocks[0].stations[0].counts", "counts_once")[0]);
    assert_eq!(one(work(bare(2), Repeat::List(vec![])), false), said("blocks[0].list", "list_rows"));
    assert_eq!(one(work(bare(2), Repeat::List(vec![vec![1]])), false), said("blocks[0].list[0]", "list_width"));
    assert_eq!(
        one(work(bare(2), Repeat::List(vec![vec![1, 0], vec![0, 0]])), false),
        said("blocks[0].list[1]", "round_counts_nothing")
    );
    assert_eq!(
        one(work(swing(), Repeat::List(vec![vec![24], vec![20]])), false),
        said("blocks[0].stations[0]", "station_first_round")
    );
    assert_eq!(
        one(work(bare(1), ladder(&[1, 2], &[1], Some(3))), false),
        said("blocks[0].ladder.start", "ladder_start")
    );
    assert_eq!(one(work(bare(1), ladder(&[1], &[1, 2], Some(3))), false), said("blocks[0].ladder.step", "ladder_step"));
    assert_eq!(one(work(bare(1), ladder(&[9], &[-1], None)), true), said("blocks[0].ladder", "ladder_needs_rounds"));
    assert_eq!(
        one(work(bare(2), ladder(&[9, 1], &[-1, 1], Some(11))), false),
        said("blocks[0].ladder", "ladder_below_zero")
    );
    assert_eq!(
        one(work(bare(1), ladder(&[9], &[-1], Some(10))), false),
        said("blocks[0].ladder", "round_counts_nothing")
    );
    assert_eq!(
        one(work(bare(1), ladder(&[0], &[1], None)), true),
        said("blocks[0].ladder.start", "round_counts_nothing")
    );
    assert_eq!(one(work(vec![reps("swing", MAX_TOTAL)], Repeat::Rounds(2)), false), said("", "scheme_too_large"));
    assert_eq!(one(work(vec![reps("swing", u64::MAX)], Repeat::Rounds(2)), false)[0].1, "count_too_large");
    assert_eq!(one(work(bare(1), ladder(&[u64::MAX], &[i64::MIN], Some(u64::MAX))), false).len(), 3);
}

#[test]
fn all_that_is_wrong_is_said_at_once() {
    let blocks = vec![
        work(vec![reps("", 0)], Repeat::Rounds(0)),
        Block::Rest(Millis(0)),
        work(vec![reps("swing", 20)], Repeat::Rounds(3)),
    ];
    let places: Vec<String> = faults(blocks, true).into_iter().map(|f| f.0).collect();
    assert_eq!(
        places,
        ["blocks[2]", "blocks[0].stations[0].movement", "blocks[0].rounds", "blocks[0].stations", "blocks[1].rest"]
    );
}

#[test]
fn rounds_of_44_are_walked_as_written() {
    let scheme = rounds_of_44();
    let at = scheme.split(278).unwrap();
    assert_eq!((at.rounds, at.reps, at.station, at.done, at.of), (Some(6), 14, 0, 14, 20));
    let marker = scheme.last_marker(&Tiebreak::EachRound, 278).unwrap();
    assert_eq!(marker.total, 264);
    assert_eq!(scheme.describe(&marker).say(super::LANG), "round 6 ended");
    let at = scheme.last_marker(&Tiebreak::At(vec![60, 120, 500]), 278).unwrap();
    assert_eq!(scheme.describe(&at).say(super::LANG), "rep 120 was done");
}
