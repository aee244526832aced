//! What else goes on beside the scores: entries come in, one by one and in lists, what they do is flagged and ruled
//! on, somebody is erased, the file is applied anew, and what stands outside the log is stored; each at one service
//! after the other, and sent again where no answer came.

use crate::aside::{Aside, Kept};
use crate::desk::{Desk, Office, Said};
use crate::field::{ATHLETES, FILE, Field, SLUG};
use crate::load;
use crate::{board, check, long, pause, times};
use http::{Method, StatusCode};
use serde_json::{Value, json};
use std::collections::BTreeMap;
use std::fmt::Write;
use std::net::SocketAddr;
use std::ops::Range;
use tokio::task::JoinHandle;
use tokio_util::sync::CancellationToken;

/// Rows of a list.
const ROWS: u32 = 300;
/// Bibs of those who come in one by one; of those in lists.
const GUESTS: u32 = ATHLETES + 1_000;
const LISTED: u32 = 1_000_000;

/// People at work.
pub struct Mixed {
    stop: CancellationToken,
    cases: JoinHandle<Vec<Case>>,
    files: JoinHandle<u32>,
    lists: JoinHandle<Lists>,
    aside: JoinHandle<(Aside, Kept)>,
}

/// An entry made, and its score: entered, vouched for, flagged and ruled on.
struct Case {
    bib: u32,
    /// What the ruling left.
    reps: u32,
}

/// What became of lists.
#[derive(Default)]
struct Lists {
    /// Of each the bibs, and how many of its rows were said to be there already.
    taken: Vec<(Range<u32>, u64)>,
    /// How many were sent again under another key: a service that was killed holds the first.
    rekeyed: u32,
    erased: Vec<u32>,
}

/// How much of it was done.
#[derive(Debug)]
pub struct Did {
    pub cases: usize,
    pub files: u32,
    pub lists: usize,
    pub erased: usize,
    pub aside: usize,
}

impl Did {
    /// Whether there was some of each.
    pub fn is_all(&self) -> bool {
        self.cases > 1 && self.files > 1 && self.lists > 1 && self.erased > 0 && self.aside > 1
    }
}

impl Mixed {
    /// Starts at these services; a referee and an organiser are added, by the command line.
    pub async fn start(field: &Field, at: &[SocketAddr]) -> Self {
        field.done(&["account", "add", "bela@example.org", "--role", "referee", "--competition", SLUG]);
        let referee = field.done(&["token", "issue", "bela@example.org"]).trim().to_owned();
        let office = Office::open(field, at).await;
        let stop = CancellationToken::new();
        let desk = |name, token: &str| Desk::new(name, at, token);
        let (entries, judging) = (desk("desk", &field.token), desk("referee", &referee));
        Self {
            cases: tokio::spawn(cases(entries, judging, stop.clone())),
            files: tokio::spawn(files(desk("file", &field.token), stop.clone())),
            lists: tokio::spawn(lists(desk("list", &field.token), office, stop.clone())),
            aside: tokio::spawn(Aside::new(at, &field.token).work(stop.clone())),
            stop,
        }
    }

    /// Brings what they are at to an end and looks whether all of it is there, once, in order and whole: in the log,
    /// and at every service.
    pub async fn finish(self, field: &Field, at: &[SocketAddr]) -> Did {
        self.stop.cancel();
        let cases = self.cases.await.expect("a case found what must not be");
        let files = self.files.await.expect("a file found what must not be");
        let lists = self.lists.await.expect("a list found what must not be");
        let (aside, kept) = self.aside.await.expect("somebody aside found what must not be");
        let aside = aside.look_again(&kept).await;
        let http = load::http();
        for (at, case) in at.iter().flat_map(|at| cases.iter().map(move |case| (*at, case))) {
            let score = format!("/api/v1/competitions/{SLUG}/workouts/w2/scores/{}", case.bib);
            let (status, shown) = load::send(&http, load::get(at, &score)).await.expect("an answer");
            assert_eq!(status, StatusCode::OK, "{shown}");
            assert_eq!(shown["performance"]["text"], format!("{} reps", case.reps), "{shown}");
            let (_, history) = load::send(&http, load::get(at, &format!("{score}/history"))).await.expect("an answer");
            let items = history["items"].as_array().unwrap_or_else(|| panic!("a history: {history}"));
            let actions: Vec<&str> = items.iter().filter_map(|item| item["action"].as_str()).collect();
            assert_eq!(actions, ["submitted", "attested", "flagged", "ruled"], "bib {}", case.bib);
        }
        field.done(&["log", "verify"]);
        are_logged(&check::records(field), &cases, files, &lists);
        tokio::task::block_in_place(|| at.iter().for_each(|at| are_shown(*at, &cases, &lists)));
        let there: u64 = lists.taken.iter().map(|(_, there)| there).sum();
        let (all, again) = (lists.taken.len(), lists.rekeyed);
        println!("{all} lists, {there} of their rows there already, {again} under another key");
        Did { cases: cases.len(), files, lists: all, erased: lists.erased.len(), aside }
    }
}

/// Everybody who was acknowledged.
fn guests(cases: &[Case], lists: &Lists) -> Vec<u32> {
    cases.iter().map(|case| case.bib).chain(lists.taken.iter().flat_map(|(bibs, _)| bibs.clone())).collect()
}

/// The log has each file once and in order, each entry once, each erasure once, and nobody's that was not sent.
fn are_logged(records: &[Value], cases: &[Case], files: u32, lists: &Lists) {
    let of = |action: &'static str| records.iter().filter(move |record| record["action"] == action);
    let title = |record: &Value| record["body"]["definition"]["competition"]["title"].as_str().map(str::to_owned);
    let applied: Vec<String> = of("applied").map(|record| title(record).expect("a title")).collect();
    let sent = (1..=files).map(|n| format!("Harbour Trials {n}"));
    let sent: Vec<String> = std::iter::once("Harbour Trials".to_owned()).chain(sent).collect();
    assert_eq!(applied, sent, "files, each once and in order");

    let (mut entered, mut persons) = (Vec::new(), BTreeMap::new());
    for record in of("entry_set") {
        let entry = &record["body"]["entry"];
        let bib = entry["bib"].as_u64().and_then(|bib| u32::try_from(bib).ok()).expect("a bib");
        if bib > ATHLETES {
            entered.push(bib);
            persons.insert(bib, entry["person"]["id"].as_u64().expect("a number"));
        }
    }
    let mut expected = guests(cases, lists);
    expected.sort_unstable();
    entered.sort_unstable();
    assert_eq!(entered, expected, "everybody once, and nobody who was not acknowledged");

    let mut gone: Vec<u64> = of("erased").map(|record| record["body"]["person"].as_u64().expect("a number")).collect();
    let mut expected: Vec<u64> = lists.erased.iter().map(|bib| persons[bib]).collect();
    gone.sort_unstable();
    expected.sort_unstable();
    assert_eq!(gone, expected, "erased, each once");
}

/// Guests stand by what the rulings left, and whoever was erased has no name any more.
fn are_shown(at: SocketAddr, cases: &[Case], lists: &Lists) {
    let figures = |case: &Case| ((case.bib, "w2"), u64::from(case.reps));
    board::guests(at, &guests(cases, lists)).agrees(&cases.iter().map(figures).collect());
    for bib in lists.erased.iter().flat_map(|bib| [*bib, bib + 1]) {
        let shown = check::get(at, &format!("/api/v1/competitions/{SLUG}/entries/{bib}"));
        let name = if lists.erased.contains(&bib) { format!("Athlete {bib}") } else { named(bib) };
        assert_eq!(shown["name"], name, "{shown}");
    }
}

fn named(bib: u32) -> String {
    format!("Guest No{bib}")
}

async fn cases(desk: Desk, referee: Desk, stop: CancellationToken) -> Vec<Case> {
    let mut done = Vec::new();
    for bib in GUESTS..LISTED {
        if stop.is_cancelled() {
            break;
        }
        let entry = json!({
            "bib": bib, "name": named(bib), "born": "1990-01-01", "category": "women",
            "division": "guests", "gym": "quayside",
        });
        desk.send(Method::POST, "entries", None, &entry).await;
        let reps = 10 + bib % 300;
        let score = format!("workouts/w2/scores/{bib}");
        let figures =
            json!({ "performance": reps.to_string(), "attestation": { "judge": "J-1", "how": "paper_sheet" } });
        let stored = desk.send(Method::PUT, &score, None, &figures).await;
        let flag = json!({ "reason": "count", "note": "Looks like less." });
        let flagged = referee.send(Method::POST, &format!("{score}/flags"), Some(&stored), &flag).await;
        let ruling = json!({ "kind": "deduct", "reps": 3, "reason": "Three short of the standard." });
        let ruled = referee.send(Method::POST, &format!("{score}/ruling"), Some(&flagged), &ruling).await;
        assert_eq!(ruled["state"], "amended", "{ruled}");
        done.push(Case { bib, reps: reps - 3 });
        pause(20).await;
    }
    done
}

async fn files(organiser: Desk, stop: CancellationToken) -> u32 {
    let mut applied = 0;
    while !stop.is_cancelled() {
        applied += 1;
        let file = FILE.replace("Harbour Trials", &format!("Harbour Trials {applied}"));
        organiser.apply(applied, &file).await;
        pause(400).await;
    }
    applied
}

/// Lists of entries, and of each that is taken in one erased. A list whose key a service held that was killed is left
/// for later: so long that key is nobody's.
async fn lists(desk: Desk, office: Office, stop: CancellationToken) -> Lists {
    let (mut lists, mut held) = (Lists::default(), Vec::new());
    for n in 0.. {
        if stop.is_cancelled() {
            break;
        }
        let bibs = LISTED + n * ROWS..LISTED + (n + 1) * ROWS;
        match desk.list(&format!("{n}"), &list(&bibs), ROWS).await {
            Said::Done(there) => {
                office.erase(bibs.start).await;
                lists.erased.push(bibs.start);
                lists.taken.push((bibs, there));
            }
            Said::BeingMade => held.push((n, bibs)),
        }
        pause(times(500, 3_000)).await;
    }
    for (n, bibs) in held {
        // Until it may be had again: a minute after its service is gone; or at once, under another key.
        let key = if long() { format!("{n}") } else { format!("{n} again") };
        let mut tries = 0..120;
        let there = loop {
            assert!(tries.next().is_some(), "{key}: nobody gives it back");
            match desk.list(&key, &list(&bibs), ROWS).await {
                Said::Done(there) => break there,
                Said::BeingMade => pause(1_000).await,
            }
        };
        lists.rekeyed += u32::from(!long());
        lists.taken.push((bibs, there));
    }
    lists
}

fn list(bibs: &Range<u32>) -> String {
    let mut rows = "bib,name,born,category,division,gym\n".to_owned();
    for bib in bibs.clone() {
        writeln!(rows, "{bib},{},1990-01-01,women,guests,quayside", named(bib)).expect("a text grows");
    }
    rows
}
