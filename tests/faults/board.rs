//! What is shown of a division, and what has to be: worked out from the figures alone, in the plainest way.

use crate::check::{self, Logged};
use crate::field::{ATHLETES, DIVISIONS, SLUG, WORKOUTS, gym};
use crate::load::{figures_of, written};
use serde_json::Value;
use std::collections::BTreeMap;
use std::net::SocketAddr;

/// Most rows that are given at once.
const MOST: usize = 500;

/// All rows of one state.
pub struct Page {
    /// Everybody in the division.
    division: Vec<u32>,
    /// Those who are ranked against each other.
    among: Vec<u32>,
    of: Of,
    shown: Value,
}

#[derive(Clone, Copy)]
enum Of {
    Overall,
    Workout(&'static str),
}

/// The figures that count of each (bib, workout).
pub type Figures = BTreeMap<(u32, &'static str), u64>;

/// A row as it is shown, overall: standing, bib, points, standing in the whole division, and of each workout the
/// place that counts and the figures.
type Overall = (Option<u64>, u32, Option<u64>, Option<u64>, Vec<(String, Option<u64>, Option<String>)>);
/// The same of one workout: place, how many share it, bib, place in the whole division, figures.
type Place = (Option<u64>, u64, u32, Option<u64>, Option<String>);

/// The divisions: overall, overall in a gym, and each workout.
pub fn pages(at: SocketAddr) -> Vec<Page> {
    let mut all = Vec::new();
    for (n, slug) in DIVISIONS.iter().enumerate() {
        let division: Vec<u32> = (1..=ATHLETES).filter(|bib| usize::from(bib % 2 == 0) == n).collect();
        let page = |among: &dyn Fn(u32) -> bool, of, path: &str| Page {
            among: division.iter().copied().filter(|bib| among(*bib)).collect(),
            division: division.clone(),
            of,
            shown: check::get(at, &format!("/api/v1/competitions/{SLUG}/divisions/{slug}/{path}limit={MOST}")),
        };
        all.push(page(&|_| true, Of::Overall, "standings?"));
        let quayside = |bib| gym(bib) == "quayside";
        all.push(page(&quayside, Of::Overall, "standings?gym=quayside&"));
        for workout in WORKOUTS {
            all.push(page(&|_| true, Of::Workout(workout), &format!("workouts/{workout}/places?")));
        }
    }
    all
}

/// The guests, overall: those with these bibs.
pub fn guests(at: SocketAddr, bibs: &[u32]) -> Page {
    let path = format!("/api/v1/competitions/{SLUG}/divisions/guests/standings?limit={MOST}");
    let mut page = check::get(at, &path);
    while page["rows"].as_array().is_some_and(|rows| rows.len() < bibs.len()) {
        let from = page["rows"].as_array().map_or(0, Vec::len) + 1;
        let mut next = check::get(at, &format!("{path}&from={from}"));
        assert_eq!(next["log_seq"], page["log_seq"], "nothing changes any more");
        let more = std::mem::take(next["rows"].as_array_mut().expect("rows"));
        assert!(!more.is_empty(), "{} of {} guests", from - 1, bibs.len());
        page["rows"].as_array_mut().expect("rows").extend(more);
    }
    Page { division: bibs.to_vec(), among: bibs.to_vec(), of: Of::Overall, shown: page }
}

impl Page {
    /// It shows what these figures make.
    pub fn agrees(&self, figures: &Figures) {
        let rows = self.shown["rows"].as_array().unwrap_or_else(|| panic!("rows: {}", self.shown)).iter();
        match self.of {
            Of::Overall => {
                let shown: Vec<Overall> = rows.map(shown_overall).collect();
                same(&shown, &overall(&self.division, &self.among, figures), &self.shown);
            }
            Of::Workout(workout) => {
                let shown: Vec<Place> = rows.map(shown_place).collect();
                same(&shown, &places(&self.among, workout, figures), &self.shown);
            }
        }
    }

    /// The same of the figures in the log, as far as it says that it goes.
    pub fn agrees_with(&self, logged: &Logged) {
        let logged = logged.upto(self.shown["log_seq"].as_u64().expect("a position"));
        let last = |((bib, workout), all): (&(u32, String), &Vec<String>)| {
            let workout = *WORKOUTS.iter().find(|known| *known == workout).expect("a workout");
            ((*bib, workout), figures_of(workout, all.last().expect("figures")))
        };
        self.agrees(&logged.iter().map(last).collect());
    }
}

fn same<T: PartialEq + std::fmt::Debug>(shown: &[T], expected: &[T], page: &Value) {
    assert_eq!(shown.len(), expected.len(), "{page}");
    for (shown, expected) in shown.iter().zip(expected) {
        assert_eq!(shown, expected, "shown and expected: {page}");
    }
}

fn shown_overall(row: &Value) -> Overall {
    let cell = |cell: &Value| (text(&cell["workout"]).expect("a slug"), cell["place"].as_u64(), text(&cell["text"]));
    let cells = row["workouts"].as_array().expect("workouts").iter().map(cell).collect();
    (row["standing"].as_u64(), bib(row), row["points"].as_u64(), row["unscoped_standing"].as_u64(), cells)
}

fn shown_place(row: &Value) -> Place {
    let shared = row["shared"].as_u64().expect("a number");
    (row["place"].as_u64(), shared, bib(row), row["unscoped_place"].as_u64(), text(&row["text"]))
}

fn bib(row: &Value) -> u32 {
    row["bib"].as_u64().and_then(|bib| u32::try_from(bib).ok()).expect("a bib")
}

fn text(value: &Value) -> Option<String> {
    value.as_str().map(str::to_owned)
}

/// Places of some by their figures: more is better, equals share one. Who has none is one after the last.
fn by_figures(bibs: &[u32], workout: &'static str, figures: &Figures) -> BTreeMap<u32, u64> {
    let mut all: Vec<u64> = bibs.iter().filter_map(|bib| figures.get(&(*bib, workout)).copied()).collect();
    all.sort_unstable();
    let better = |own: &u64| all.len() - all.partition_point(|other| other <= own);
    bibs.iter().map(|bib| (*bib, figures.get(&(*bib, workout)).map_or(all.len(), better) as u64 + 1)).collect()
}

/// One workout: by place, then by bib; those without figures at the end.
fn places(bibs: &[u32], workout: &'static str, figures: &Figures) -> Vec<Place> {
    let placed = by_figures(bibs, workout, figures);
    let mut sharing: BTreeMap<u64, u64> = BTreeMap::new();
    for bib in bibs.iter().filter(|bib| figures.contains_key(&(**bib, workout))) {
        *sharing.entry(placed[bib]).or_default() += 1;
    }
    let row = |bib: &u32| {
        let own = figures.get(&(*bib, workout));
        let place = own.map(|_| placed[bib]);
        (place, place.map_or(0, |place| sharing[&place]), *bib, place, own.map(|reps| written(workout, *reps)))
    };
    let mut rows: Vec<Place> = bibs.iter().map(row).collect();
    rows.sort_by_key(|row| (row.0.is_none(), row.0, row.2));
    rows
}

/// Those of a division who are ranked against each other.
fn overall(division: &[u32], among: &[u32], figures: &Figures) -> Vec<Overall> {
    let whole: BTreeMap<u32, Option<u64>> =
        standings(division, figures).into_iter().map(|row| (row.bib, row.position)).collect();
    let shown = |row: Standing| {
        let cell = |(workout, place): (&&'static str, Option<u64>)| {
            ((*workout).to_owned(), place, figures.get(&(row.bib, *workout)).map(|reps| written(workout, *reps)))
        };
        let cells = WORKOUTS.iter().zip(row.places).map(cell).collect();
        (row.position, row.bib, row.position.map(|_| row.points), whole[&row.bib], cells)
    };
    standings(among, figures).into_iter().map(shown).collect()
}

struct Standing {
    bib: u32,
    /// `None`: no score at all.
    position: Option<u64>,
    points: u64,
    /// In each workout; none where nobody has a score.
    places: [Option<u64>; WORKOUTS.len()],
}

/// Standings by sum of places, ties by places from best to worst; then the bib. One who has no score
/// at all has no standing.
fn standings(bibs: &[u32], figures: &Figures) -> Vec<Standing> {
    let columns = WORKOUTS.map(|workout| {
        let counts = bibs.iter().any(|bib| figures.contains_key(&(*bib, workout)));
        counts.then(|| by_figures(bibs, workout, figures))
    });
    let row = |bib: &u32| {
        let places = columns.each_ref().map(|column| Some(column.as_ref()?[bib]));
        let never = !WORKOUTS.iter().any(|workout| figures.contains_key(&(*bib, *workout)));
        let mut own: Vec<u64> = places.iter().copied().flatten().collect();
        own.sort_unstable();
        let points: u64 = own.iter().sum();
        (if never { (true, 0, Vec::new()) } else { (false, points, own) }, *bib, places)
    };
    let mut rows: Vec<_> = bibs.iter().map(row).collect();
    rows.sort();
    let (mut before, mut standing) = (None, 0);
    let mut out = Vec::new();
    for (n, (stands, bib, places)) in rows.into_iter().enumerate() {
        if before.as_ref() != Some(&stands) {
            standing = n as u64 + 1;
        }
        out.push(Standing { bib, position: (!stands.0).then_some(standing), points: stands.1, places });
        before = Some(stands);
    }
    out
}
