//! Pages, one entry's places, the gap to the next, what figures would do, waiting for a position.

use super::{EVERYTHING, applied, board, entry, plain, score, whole};
use std::sync::Arc;
use std::time::Duration;
use tallywright::rules::life::State;
use tallywright::rules::order::Key;
use tallywright::rules::people::EntryState;
use tallywright::rules::placement::{Change, Placement};
use tallywright::standings::{Board, Cut, Gap, Mask, Moved, NextStanding, Query, Scope};

fn bibs(board: &Board, query: &Query, cut: Cut) -> (usize, Vec<u32>) {
    let page = board.standings(1, query, cut).unwrap();
    (page.from, page.rows.iter().map(|row| row.athlete.bib).collect())
}

#[test]
fn pages_are_cut_from_row_one_on() {
    let board = board();
    let query = whole("all");
    assert_eq!(bibs(&board, &query, EVERYTHING), (1, vec![10, 14, 11, 12, 13]));
    assert_eq!(bibs(&board, &query, Cut::Rows { from: 2, limit: 2 }), (2, vec![14, 11]));
    assert_eq!(bibs(&board, &query, Cut::Rows { from: 0, limit: 1 }), (1, vec![10]));
    assert_eq!(bibs(&board, &query, Cut::Rows { from: 9, limit: 2 }), (9, vec![]));
    assert_eq!(bibs(&board, &query, Cut::Rows { from: usize::MAX, limit: usize::MAX }), (usize::MAX, vec![]));
    assert_eq!(bibs(&board, &query, Cut::Holding { bib: 12, limit: 2 }), (3, vec![11, 12]));
    assert_eq!(bibs(&board, &query, Cut::Holding { bib: 13, limit: 2 }), (5, vec![13]));
    assert_eq!(bibs(&board, &query, Cut::Holding { bib: 13, limit: 0 }), (5, vec![13]));
    assert_eq!(bibs(&board, &query, Cut::Holding { bib: 99, limit: 2 }), (0, vec![]));
    assert!(board.standings(1, &whole("nobody"), EVERYTHING).is_none());
    assert!(board.standings(2, &query, EVERYTHING).is_none());
}

#[test]
fn a_page_of_places_lists_those_without_a_place_too() {
    let board = board();
    board.follow(1, 12, None, &[entry(11, 15, "a", None, "", ""), entry(12, 9, "a", None, "", "")]);
    let page = board.places(1, &whole("a"), 0, EVERYTHING).unwrap();
    let rows: Vec<_> = page.rows.iter().map(|row| (row.athlete.bib, row.place, row.shared)).collect();
    let tied = (Some(2), 2);
    assert_eq!(
        rows,
        [(10, Some(1), 1), (11, tied.0, tied.1), (12, tied.0, tied.1), (13, None, 0), (9, None, 0), (15, None, 0)]
    );
    assert_eq!((page.of, page.entries), (3, 6));
    let next = page.rows[2].next.clone().unwrap();
    assert_eq!((next.place, next.bib, next.key, &*next.text), (1, 10, Key(100), "6"));
    assert!(page.rows[0].next.is_none());
    assert_eq!(page.rows[3].score.as_ref().unwrap().state, State::Entered);
    assert!(board.places(1, &whole("a"), 3, EVERYTHING).is_none());
    let page = board.places(1, &whole("a"), 0, Cut::Holding { bib: 13, limit: 3 }).unwrap();
    assert_eq!((page.from, page.rows.len()), (4, 3));
}

#[test]
fn an_entry_is_ranked_in_its_division_the_combined_ones_and_its_scopes() {
    let board = board();
    let entry = board.entry(1, 12, Mask::ALL).unwrap();
    let rankings: Vec<_> =
        entry.rankings.iter().map(|r| (r.division.as_str(), r.scope.clone(), r.standing, r.of)).collect();
    let gym = Scope { gym: Some("south".into()), ..Scope::default() };
    let region = Scope { region: Some("coast".into()), ..Scope::default() };
    let country = Scope { country: Some("PT".into()), ..Scope::default() };
    assert_eq!(
        rankings,
        [
            ("a", Scope::default(), Some(2), 3),
            ("all", Scope::default(), Some(3), 4),
            ("a", gym, Some(1), 1),
            ("a", region, Some(1), 1),
            ("a", country, Some(2), 3),
        ]
    );
    let combined = &entry.rankings[1];
    assert_eq!((combined.row, combined.shared, combined.points), (4, 2, Some(3)));
    assert_eq!(combined.next, Some(NextStanding { standing: 2, bib: 14, points: 2 }));
    let first = &combined.workouts[0];
    assert_eq!((first.cell.place, first.shared, first.of), (Some(3), 2, 4));
    assert_eq!(first.next.as_ref().map(|next| next.bib), Some(14));
    assert_eq!(combined.workouts[1].cell.place, None, "nobody has a place there yet");
    assert_eq!(board.entry(1, 13, Mask::ALL).unwrap().rankings.len(), 2, "no gym, region or country");
    assert!(board.entry(1, 99, Mask::ALL).is_none());
}

#[test]
fn a_removed_entry_is_not_there_and_a_guest_takes_no_place() {
    let board = board();
    let state = |seq, bib, state| {
        let mut row = entry(seq, bib, "a", None, "", "");
        if let Change::Entry { state: s, .. } = &mut row.change {
            *s = state;
        }
        row
    };
    board.follow(1, 12, None, &[state(11, 10, EntryState::Guest), state(12, 11, EntryState::Removed)]);
    let page = board.standings(1, &whole("a"), EVERYTHING).unwrap();
    let rows: Vec<_> = page.rows.iter().map(|row| (row.athlete.bib, row.standing)).collect();
    assert_eq!(rows, [(12, Some(1)), (13, None), (10, None)]);
    assert_eq!(page.rows[2].athlete.state, EntryState::Guest);
    let cell = &page.rows[2].workouts[0];
    assert_eq!((cell.place, cell.points, cell.placed, cell.counted), (None, None, false, false));
    assert_eq!(&*cell.score.as_ref().unwrap().text, "6");
    assert!(board.entry(1, 11, Mask::ALL).is_none());
    assert_eq!(board.entry(1, 10, Mask::ALL).unwrap().rankings[0].standing, None);
    let count = &board.counts(1).unwrap()[0];
    assert_eq!((count.entries, count.guests, &count.placed, &count.scores), (3, 1, &vec![1, 0, 0], &vec![3, 0, 0]));
}

#[test]
fn figures_not_yet_sent_have_a_place_to_be() {
    let board = board();
    let would_be = |key, bib| board.would_be(1, "a", 0, Key(key), bib).unwrap();
    assert_eq!(would_be(50, 13), 1);
    assert_eq!(would_be(100, 13), 1);
    assert_eq!(would_be(200, 13), 2);
    assert_eq!(would_be(300, 13), 2);
    assert_eq!(would_be(301, 13), 4);
    assert_eq!(would_be(301, 11), 3, "the own present score is not counted");
    assert_eq!(would_be(200, 10), 1);
    assert_eq!(board.would_be(1, "a", 7, Key(1), 13), None);
    assert_eq!(board.would_be(1, "nobody", 0, Key(1), 13), None);
}

#[test]
fn what_a_ruling_would_move_is_known_before() {
    let board = board();
    let moved = |bib, key: Option<i64>| board.moved_by(1, &whole("a"), 0, bib, key.map(Key));
    assert_eq!(moved(10, Some(100)), Some(Moved { place: Some(1), places: 0, standings: 0 }));
    assert_eq!(moved(10, None), Some(Moved { place: None, places: 2, standings: 2 }));
    assert_eq!(moved(10, Some(400)), Some(Moved { place: Some(3), places: 2, standings: 2 }));
    assert_eq!(moved(12, Some(301)), Some(Moved { place: Some(3), places: 0, standings: 0 }));
    assert_eq!(moved(13, Some(50)), Some(Moved { place: Some(1), places: 3, standings: 3 }));
    let blind = Query { mask: Mask::ALL.without(0), ..whole("a") };
    assert_eq!(
        board.moved_by(1, &blind, 0, 10, None),
        Some(Moved { place: None, places: 2, standings: 0 }),
        "a workout that is not counted moves no standing"
    );
    assert_eq!(moved(99, None), None);
}

#[test]
fn rows_already_known_are_skipped_and_a_gap_is_refused() {
    let board = board();
    board.follow(1, 10, None, &[score(8, 12, "w1", Some(1))]);
    assert_eq!(board.entry(1, 12, Mask::ALL).unwrap().rankings[0].standing, Some(2));
    let late = [score(12, 12, "w1", Some(1))];
    assert_eq!(board.follow_after(1, 11, 12, None, &late), Err(Gap { position: Some(10) }));
    assert_eq!(board.position(1), Some(10));
    assert_eq!(board.follow_after(1, 10, 12, None, &late), Ok(()));
    assert_eq!(board.entry(1, 12, Mask::ALL).unwrap().rankings[0].standing, Some(1));
    assert_eq!(board.follow_after(2, 3, 4, None, &[]), Err(Gap { position: None }));
    assert_eq!(board.position(2), None);
    board.follow(2, 1, Some(applied(1, plain())), &[]);
    assert_eq!(board.position(2), Some(1));
}

#[test]
fn a_version_is_the_last_change_that_a_division_can_show() {
    let board = board();
    let versions = || ["a", "b", "all"].map(|division| board.view(1).unwrap().version(division).unwrap());
    assert_eq!(versions(), [10, 10, 10]);
    board.follow(1, 11, None, &[score(11, 14, "w2", Some(1))]);
    assert_eq!(versions(), [10, 11, 11]);
    board.follow(1, 12, None, &[entry(12, 14, "a", None, "", "")]);
    assert_eq!(versions(), [12, 12, 12]);
    board.follow(1, 13, None, &[]);
    assert_eq!(versions(), [12, 12, 12]);
    board.follow(1, 14, Some(applied(14, plain())), &[]);
    assert_eq!(versions(), [14, 14, 14]);
    assert_eq!(board.view(1).unwrap().version("nobody"), None);
}

#[test]
fn a_score_before_its_entry_waits_for_it() {
    let board = Board::default();
    board.load(1, applied(1, plain()), 1, vec![score(1, 7, "w1", Some(5))]);
    assert_eq!(board.standings(1, &whole("a"), EVERYTHING).unwrap().entries, 0);
    board.follow(1, 2, None, &[entry(2, 7, "a", None, "", "")]);
    assert_eq!(board.entry(1, 7, Mask::ALL).unwrap().rankings[0].standing, Some(1));
}

#[test]
fn a_reader_waits_for_the_state_it_was_told_of() {
    let board = Arc::new(board());
    let runtime = tokio::runtime::Builder::new_current_thread().enable_time().build().unwrap();
    runtime.block_on(async {
        assert!(board.at_least(1, 10, Duration::ZERO).await);
        assert!(!board.at_least(1, 11, Duration::from_millis(5)).await);
        assert!(!board.at_least(2, 0, Duration::from_millis(5)).await);
        let writer = Arc::clone(&board);
        let late: Placement = score(11, 13, "w1", Some(1));
        let wrote = async move { writer.follow(1, 11, None, &[late]) };
        let (there, ()) = tokio::join!(board.at_least(1, 11, Duration::from_mins(1)), wrote);
        assert!(there);
        assert_eq!(board.view(1).unwrap().seq(), 11);
    });
}
