//! What must hold after every fault.

use crate::field::{ATHLETES, DIVISIONS, Field, SLUG, WORKOUTS};
use crate::load::{Acknowledged, Done, written};
use serde_json::Value;
use std::collections::BTreeMap;
use std::io::{Read, Write};
use std::net::{SocketAddr, TcpStream};

/// The log verifies, the tables equal it, and it holds each acknowledged change once, in order, with
/// its attestation; of each score at most the one change more that was on its way.
pub fn stored(field: &Field, made: &Acknowledged, in_flight: &BTreeMap<(u32, &'static str), u64>) {
    field.done(&["log", "verify"]);
    let logged = logged(field, u64::MAX);
    for (score @ (bib, workout), figures) in made {
        let expected: Vec<String> = figures.iter().map(|reps| written(workout, *reps)).collect();
        let stored = logged.get(&(*bib, (*workout).to_owned())).cloned().unwrap_or_default();
        let on_its_way = in_flight.get(score).map(|reps| written(workout, *reps));
        let (known, more) = stored.split_at(expected.len().min(stored.len()));
        assert_eq!(known, expected, "bib {bib} in {workout}: acknowledged and not there, or there twice");
        assert!(more.len() <= 1 && more.first().is_none_or(|text| Some(text) == on_its_way.as_ref()), "{more:?}");
    }
    for (bib, workout) in logged.keys() {
        let known = |of: &(u32, &'static str)| of.0 == *bib && of.1 == workout;
        assert!(made.keys().any(known) || in_flight.keys().any(known), "bib {bib} in {workout}: nobody sent that");
    }
}

/// The log verifies, the tables equal it, and it is that of one moment: of each score it holds the first
/// so many of the changes that were acknowledged in the end, and all that were acknowledged `before`.
pub fn a_moment(field: &Field, before: &Acknowledged, done: &Done) {
    field.done(&["log", "verify"]);
    let logged = logged(field, u64::MAX);
    let missing = before.keys().find(|(bib, workout)| !logged.contains_key(&(*bib, (*workout).to_owned())));
    assert_eq!(missing, None, "acknowledged before and not there");
    for ((bib, workout), stored) in logged {
        let score = done.made.keys().find(|known| known.0 == bib && known.1 == workout).expect("somebody sent it");
        let all: Vec<String> = done.made[score].iter().map(|reps| written(score.1, *reps)).collect();
        assert!(all.starts_with(&stored), "bib {bib} in {workout}: {stored:?} of {all:?}");
        assert!(stored.len() >= before.get(score).map_or(0, Vec::len), "bib {bib} in {workout}: {stored:?}");
    }
}

/// The figures of each (bib, workout) in the log up to a position. Each must be followed by its attestation: the two
/// are one change.
fn logged(field: &Field, upto: u64) -> BTreeMap<(u32, String), Vec<String>> {
    let mut all: BTreeMap<(u32, String), Vec<String>> = BTreeMap::new();
    let mut waiting: Option<Value> = None;
    for line in field.done(&["log", "export", "--competition", SLUG]).lines() {
        let record: Value = serde_json::from_str(line).expect("a record a line");
        if record["seq"].as_u64().expect("a position") > upto {
            break;
        }
        let Some(score) = record["subject"].as_str().and_then(|s| s.strip_prefix("score/")) else { continue };
        let (workout, bib) = score.split_once('/').expect("workout and bib");
        // Guests' are looked at by those who made them.
        if bib.parse::<u32>().is_ok_and(|bib| bib > ATHLETES) {
            continue;
        }
        match record["action"].as_str().expect("an action") {
            "submitted" => {
                assert!(waiting.is_none(), "half a change before {line}");
                let text = record["body"]["stored"]["text"].as_str().expect("figures").to_owned();
                all.entry((bib.parse().expect("a bib"), workout.to_owned())).or_default().push(text);
                waiting = Some(record);
            }
            "attested" => {
                let of = waiting.take().expect("an attestation belongs to the figures before it");
                assert_eq!(of["subject"], record["subject"]);
            }
            other => panic!("nobody did {other}: {line}"),
        }
    }
    assert!(waiting.is_none(), "half a change at the end: {waiting:?}");
    all
}

/// All that [`stored`] says with nothing on its way, and the standings that are served equal those
/// worked out from the acknowledged figures alone.
pub fn whole(field: &Field, at: SocketAddr, done: &Done) {
    stored(field, &done.made, &BTreeMap::new());
    for (n, page) in pages(at).into_iter().enumerate() {
        assert_eq!(served(&page), standings(&bibs(n), |score| last(done.made.get(&score))), "{page}");
    }
}

/// The standings that are served just now, while changes go on, equal those worked out from the log as far as
/// they say they go.
pub fn board(field: &Field, at: SocketAddr) {
    for (n, page) in pages(at).into_iter().enumerate() {
        let logged = logged(field, page["log_seq"].as_u64().expect("a position"));
        let figures = |(bib, workout): (u32, &str)| {
            let text = logged.get(&(bib, workout.to_owned()))?.last()?;
            (1..=500).find(|reps| written(workout, *reps) == *text)
        };
        assert_eq!(served(&page), standings(&bibs(n), figures), "{page}");
    }
}

/// All standings of each division.
fn pages(at: SocketAddr) -> Vec<Value> {
    let page = |division| get(at, &format!("/api/v1/competitions/{SLUG}/divisions/{division}/standings?limit=500"));
    DIVISIONS.iter().map(page).collect()
}

fn served(page: &Value) -> Vec<(Option<u64>, u64)> {
    rows(page).map(|row| (row["standing"].as_u64(), row["bib"].as_u64().expect("a bib"))).collect()
}

/// Those of the nth division.
fn bibs(n: usize) -> Vec<u32> {
    (1..=ATHLETES).filter(|bib| usize::from(bib % 2 == 0) == n).collect()
}

fn last(figures: Option<&Vec<u64>>) -> Option<u64> {
    figures?.last().copied()
}

fn rows(page: &Value) -> impl Iterator<Item = &Value> {
    page["rows"].as_array().unwrap_or_else(|| panic!("rows: {page}")).iter()
}

/// Standings by sum of places, ties by places from best to worst; then the bib. One who has no score
/// at all has no standing.
fn standings(bibs: &[u32], figures: impl Fn((u32, &'static str)) -> Option<u64>) -> Vec<(Option<u64>, u64)> {
    let reps = |bib: u32, workout| figures((bib, workout));
    let counting = WORKOUTS.iter().filter(|w| bibs.iter().any(|bib| reps(*bib, **w).is_some()));
    let places = counting.map(|workout| {
        let figures: Vec<Option<u64>> = bibs.iter().map(|bib| reps(*bib, *workout)).collect();
        let place = |own: &Option<u64>| 1 + figures.iter().flatten().filter(|other| Some(**other) > *own).count();
        figures.iter().map(place).collect::<Vec<usize>>()
    });
    let places: Vec<Vec<usize>> = places.collect();
    let mut rows: Vec<(bool, usize, Vec<usize>, u32)> = Vec::new();
    for (n, bib) in bibs.iter().enumerate() {
        let mut own: Vec<usize> = places.iter().map(|column| column[n]).collect();
        own.sort_unstable();
        let never = WORKOUTS.iter().all(|workout| reps(*bib, *workout).is_none());
        rows.push(if never { (true, 0, Vec::new(), *bib) } else { (false, own.iter().sum(), own, *bib) });
    }
    rows.sort();
    let standing = |row: &(bool, usize, Vec<usize>, u32)| {
        let better = rows.iter().filter(|other| (&other.0, &other.1, &other.2) < (&row.0, &row.1, &row.2)).count();
        (!row.0).then_some(better as u64 + 1)
    };
    rows.iter().map(|row| (standing(row), u64::from(row.3))).collect()
}

/// A public answer as JSON.
pub fn get(at: SocketAddr, path: &str) -> Value {
    let (head, body) = raw(at, path);
    assert!(is_ok(&head), "{path}: {head}");
    serde_json::from_str(&body).unwrap_or_else(|error| panic!("{path}: {error}: {body}"))
}

/// Head and body of an answer.
pub fn raw(at: SocketAddr, path: &str) -> (String, String) {
    let mut stream = TcpStream::connect(at).expect("it listens");
    write!(stream, "GET {path} HTTP/1.0\r\nhost: {at}\r\n\r\n").expect("it reads");
    let mut answer = String::new();
    stream.read_to_string(&mut answer).expect("it answers");
    let (head, body) = answer.split_once("\r\n\r\n").expect("head and body");
    (head.to_owned(), body.to_owned())
}

/// Whether an answer with this head is a 200.
pub fn is_ok(head: &str) -> bool {
    head.split(' ').nth(1) == Some("200")
}
