//! What must hold after every fault.

use crate::board;
use crate::field::{ATHLETES, Field, SLUG};
use crate::load::{Acknowledged, Done, Load, written};
use serde_json::Value;
use std::collections::BTreeMap;
use std::io::{Read, Write};
use std::net::{SocketAddr, TcpStream};

/// What is on its way: of each score the figures that were sent and not acknowledged.
type InFlight = BTreeMap<(u32, &'static str), u64>;

/// The log verifies, the tables equal it, and it holds each acknowledged change once, in order, with
/// its attestation; of each score at most the one change more that was on its way.
pub fn stored(field: &Field, made: &Acknowledged, in_flight: &InFlight) {
    field.done(&["log", "verify"]);
    let logged = Logged::read(field).upto(u64::MAX);
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
    let logged = Logged::read(field).upto(u64::MAX);
    let missing = before.keys().find(|(bib, workout)| !logged.contains_key(&(*bib, (*workout).to_owned())));
    assert_eq!(missing, None, "acknowledged before and not there");
    for ((bib, workout), stored) in logged {
        let score = done.made.keys().find(|known| known.0 == bib && known.1 == workout).expect("somebody sent it");
        let all: Vec<String> = done.made[score].iter().map(|reps| written(score.1, *reps)).collect();
        assert!(all.starts_with(&stored), "bib {bib} in {workout}: {stored:?} of {all:?}");
        assert!(stored.len() >= before.get(score).map_or(0, Vec::len), "bib {bib} in {workout}: {stored:?}");
    }
}

/// While changes go on: the log verifies, the tables equal it, of each score it begins with all that was acknowledged
/// before this was asked, in order and once, and what these services show equals what the figures in the log make, as
/// far as they say they go.
pub fn meanwhile(field: &Field, at: &[SocketAddr], load: &Load) {
    let (made, _) = load.so_far();
    let pages: Vec<board::Page> = at.iter().flat_map(|at| board::pages(*at)).collect();
    field.done(&["log", "verify"]);
    let logged = Logged::read(field);
    let all = logged.upto(u64::MAX);
    for ((bib, workout), figures) in &made {
        let expected: Vec<String> = figures.iter().map(|reps| written(workout, *reps)).collect();
        let stored = all.get(&(*bib, (*workout).to_owned())).map_or(&[][..], Vec::as_slice);
        assert!(stored.starts_with(&expected), "bib {bib} in {workout}: {stored:?}, acknowledged {expected:?}");
    }
    for page in pages {
        page.agrees_with(&logged);
    }
}

/// The same of what these services show alone.
pub fn shown(field: &Field, at: &[SocketAddr]) {
    let pages: Vec<board::Page> = at.iter().flat_map(|at| board::pages(*at)).collect();
    let logged = Logged::read(field);
    for page in pages {
        page.agrees_with(&logged);
    }
}

/// All that [`stored`] says with nothing on its way, and what is served equals what is worked out from the
/// acknowledged figures alone.
pub fn whole(field: &Field, at: SocketAddr, done: &Done) {
    stored(field, &done.made, &BTreeMap::new());
    let last: board::Figures = done.made.iter().filter_map(|(score, all)| Some((*score, *all.last()?))).collect();
    for page in board::pages(at) {
        page.agrees(&last);
    }
}

/// Every record of the log, in order.
pub fn records(field: &Field) -> Vec<Value> {
    let lines = field.done(&["log", "export", "--competition", SLUG]);
    lines.lines().map(|line| serde_json::from_str(line).expect("a record a line")).collect()
}

/// The changes of scores in the log, guests' left out: those are looked at by who made them.
pub struct Logged(Vec<Change>);

struct Change {
    /// Where its two records stand.
    at: [u64; 2],
    bib: u32,
    workout: String,
    text: String,
}

impl Logged {
    /// Each must be followed by its attestation: the two are one change.
    fn read(field: &Field) -> Self {
        let (mut changes, mut waiting) = (Vec::new(), None::<(u64, Value)>);
        for (n, record) in records(field).into_iter().enumerate() {
            let seq = record["seq"].as_u64().expect("a position");
            assert_eq!(seq, n as u64 + 1, "positions without gaps");
            let Some(score) = record["subject"].as_str().and_then(|s| s.strip_prefix("score/")) else { continue };
            let (workout, bib) = score.split_once('/').expect("workout and bib");
            let (workout, bib) = (workout.to_owned(), bib.parse::<u32>().expect("a bib"));
            if bib > ATHLETES {
                continue;
            }
            match record["action"].as_str().expect("an action") {
                "submitted" => {
                    assert!(waiting.is_none(), "half a change before {record}");
                    waiting = Some((seq, record));
                }
                "attested" => {
                    let (begun, of) = waiting.take().expect("an attestation belongs to the figures before it");
                    assert_eq!(of["subject"], record["subject"]);
                    let text = of["body"]["stored"]["text"].as_str().expect("figures").to_owned();
                    changes.push(Change { at: [begun, seq], bib, workout, text });
                }
                other => panic!("nobody did {other}: {record}"),
            }
        }
        assert!(waiting.is_none(), "half a change at the end: {waiting:?}");
        Self(changes)
    }

    /// The figures of each (bib, workout) up to a position, which must not stand within a change.
    pub fn upto(&self, position: u64) -> BTreeMap<(u32, String), Vec<String>> {
        let mut all: BTreeMap<(u32, String), Vec<String>> = BTreeMap::new();
        for Change { at: [begun, ended], bib, workout, text } in &self.0 {
            if *begun > position {
                break;
            }
            assert!(*ended <= position, "half a change at {position}: bib {bib} in {workout}");
            all.entry((*bib, workout.clone())).or_default().push(text.clone());
        }
        all
    }
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
