//! A scheme as a strip of stations, and the loads and heights of a prescription.

use super::shell::words;
use crate::rules::competition::Competition;
use crate::rules::quantity::{Grams, Load, LoadUnit, Millimetres, centimetres, inches, kilograms, pounds};
use crate::rules::scheme::{Block, Counts, Repeat, Scheme, Station};
use crate::rules::workout::{Prescription, PublishedHeight, PublishedLoad, Workout};
use crate::words::Noun;
use crate::words::put;

/// One scheme, for all or for some divisions.
#[derive(Debug, PartialEq, Eq)]
pub struct SchemeView {
    /// Empty: for all.
    pub whom: String,
    /// In order.
    pub blocks: Vec<BlockView>,
    /// Sums.
    pub lines: Vec<String>,
}

/// A block of it.
#[derive(Debug, Default, PartialEq, Eq)]
pub struct BlockView {
    /// Empty: none.
    pub title: String,
    /// How often, or how long the rest is.
    pub repeat: String,
    /// In order; none for a rest.
    pub stations: Vec<StationView>,
    /// Empty: no such limit.
    pub by: String,
}

/// A station.
#[derive(Debug, PartialEq, Eq)]
pub struct StationView {
    /// `20`, `60 m`, `24, 16, 8`.
    pub count: String,
    /// What is done.
    pub movement: String,
}

/// The schemes of a workout: one for all, or one for each group of prescriptions that differ.
#[must_use]
pub fn schemes(c: &Competition, x: &Workout) -> Vec<SchemeView> {
    let mut groups: Vec<(&Scheme, Vec<&Prescription>)> = Vec::new();
    for p in &x.prescriptions {
        let Some(scheme) = &p.task.scheme else { continue };
        match groups.iter_mut().find(|(s, _)| *s == scheme) {
            Some((_, members)) => members.push(p),
            None => groups.push((scheme, vec![p])),
        }
    }
    if groups.is_empty() {
        return x.task.scheme.iter().map(|s| scheme_view(s, String::new())).collect();
    }
    let single = groups.len() == 1;
    let whom = |members: &[&Prescription]| {
        if single { String::new() } else { members.iter().map(|p| whom(c, p)).collect::<Vec<_>>().join("; ") }
    };
    groups.iter().map(|(scheme, members)| scheme_view(scheme, whom(members))).collect()
}

/// "Women, Women 40+ (scaled)".
#[must_use]
pub fn whom(c: &Competition, p: &Prescription) -> String {
    let divisions = divisions(c, p);
    match p.level.and_then(|l| c.levels.get(usize::from(l))) {
        Some(level) if c.levels.len() > 1 => format!("{divisions} ({})", level.title),
        _ => divisions,
    }
}

/// The titles of a prescription's divisions.
#[must_use]
pub fn divisions(c: &Competition, p: &Prescription) -> String {
    p.divisions.iter().map(|d| super::say::division(c, d)).collect::<Vec<_>>().join(", ")
}

/// One scheme and whom it is for.
#[must_use]
pub fn scheme_view(scheme: &Scheme, whom: String) -> SchemeView {
    let w = words();
    let reps = |n| (w.count)(n, Noun::Rep);
    let mut lines = Vec::new();
    if let Some(total) = scheme.end() {
        lines.push(put(w.scheme_total, &[("reps", &reps(total))]));
    } else if let (Some(Block::Work { repeat: Repeat::Endless, .. }), Some(size)) =
        (scheme.blocks().last(), scheme.round_size(0))
    {
        lines.push(put(w.scheme_round, &[("reps", &reps(size))]));
    }
    SchemeView { whom, blocks: scheme.blocks().iter().map(block).collect(), lines }
}

fn block(block: &Block) -> BlockView {
    let w = words();
    match block {
        Block::Rest(time) => BlockView { repeat: put(w.rest, &[("time", &time.exact())]), ..BlockView::default() },
        Block::Work { title, stations, repeat, by } => BlockView {
            title: title.clone().unwrap_or_default(),
            repeat: how_often(repeat),
            stations: stations.iter().enumerate().map(|(i, s)| station(i, s, repeat)).collect(),
            by: by.map(|time| put(w.by_time, &[("time", &time.exact())])).unwrap_or_default(),
        },
    }
}

fn how_often(repeat: &Repeat) -> String {
    let w = words();
    let rounds = |template, n: u64| put(template, &[("n", &(w.count)(n, Noun::Round))]);
    match repeat {
        Repeat::Rounds(0 | 1) => w.repeat_once.to_owned(),
        Repeat::Rounds(n) => rounds(w.repeat_rounds, *n),
        Repeat::Endless => w.repeat_endless.to_owned(),
        Repeat::List(_) => w.repeat_list.to_owned(),
        Repeat::Ladder { rounds: Some(n), .. } => rounds(w.repeat_ladder, *n),
        Repeat::Ladder { rounds: None, .. } => w.repeat_ladder_endless.to_owned(),
    }
}

fn station(index: usize, station: &Station, repeat: &Repeat) -> StationView {
    let w = words();
    let count = match repeat {
        Repeat::List(rows) => {
            let counts: Vec<String> = rows.iter().filter_map(|row| row.get(index)).map(u64::to_string).collect();
            with_unit(counts.join(", "), station.counts)
        }
        Repeat::Ladder { start, step, .. } => {
            let start = start.get(index).or(start.first()).copied().unwrap_or_default();
            let step = step.get(index).or(step.first()).copied().unwrap_or_default();
            let start = with_unit(start.to_string(), station.counts);
            match step {
                0 => put(w.ladder_same, &[("n", &start)]),
                1.. => put(w.ladder_up, &[("n", &start), ("step", &step)]),
                _ => put(w.ladder_down, &[("n", &start), ("step", &step.unsigned_abs())]),
            }
        }
        Repeat::Rounds(_) | Repeat::Endless => match station.counts {
            Some(Counts::Reps(n)) => n.to_string(),
            Some(Counts::Calories(n)) => (w.count)(n, Noun::Calorie),
            Some(Counts::Lengths { metres, per }) => put(w.counts_lengths, &[("metres", &metres), ("per", &per)]),
            Some(Counts::Once(0)) => w.counts_nothing.to_owned(),
            Some(Counts::Once(_)) | None => w.counts_once.to_owned(),
        },
    };
    StationView { count, movement: station.movement.clone() }
}

/// What counts from round to round, with what is counted where that is no rep.
fn with_unit(counts: String, of: Option<Counts>) -> String {
    let w = words();
    match of {
        Some(Counts::Calories(_)) => put(w.list_calories, &[("n", &counts)]),
        Some(Counts::Lengths { per, .. }) => put(w.list_lengths, &[("n", &counts), ("per", &per)]),
        Some(Counts::Reps(_) | Counts::Once(_)) | None => counts,
    }
}

/// A load or height: the published unit first, the other one beside it.
#[derive(Debug, PartialEq, Eq)]
pub struct ItemView {
    /// What.
    pub item: String,
    /// As published.
    pub first: String,
    /// In the other unit.
    pub second: String,
}

/// A load in both units; the one that is not published is converted.
#[must_use]
pub fn load(load: &PublishedLoad) -> ItemView {
    let in_pounds = |hundredths: u64| Load { unit: LoadUnit::Lb, hundredths };
    let number = |hundredths: u64| in_pounds(hundredths).text().trim_end_matches(" lb").to_owned();
    let kg: Vec<String> = if load.kg.is_empty() {
        load.lb_hundredths.iter().map(|h| tenth(in_pounds(*h).grams())).collect()
    } else {
        load.kg.iter().map(|g| kilograms(*g)).collect()
    };
    let lb: Vec<String> = if load.lb_hundredths.is_empty() {
        load.kg.iter().map(|g| whole_pounds(*g)).collect()
    } else {
        load.lb_hundredths.iter().map(|h| number(*h)).collect()
    };
    let (kg, lb) = (listed(&kg, "kg"), listed(&lb, "lb"));
    let (first, second) = match load.first {
        LoadUnit::Kg => (kg, lb),
        LoadUnit::Lb => (lb, kg),
    };
    ItemView { item: load.item.clone(), first, second }
}

/// `40, 50 kg`, `42,5; 50 kg`: decimals as the reader's language writes them.
fn listed(numbers: &[String], unit: &str) -> String {
    let said: Vec<String> = numbers.iter().map(|n| (words().decimal)(n)).collect();
    let joint = if said.iter().any(|n| n.contains(',')) { "; " } else { ", " };
    format!("{} {unit}", said.join(joint))
}

/// A converted load, to the tenth of a kilogram.
fn tenth(grams: Grams) -> String {
    kilograms(Grams((grams.0 + 50) / 100 * 100))
}

/// A converted load, to the pound.
fn whole_pounds(grams: Grams) -> String {
    let text = pounds(grams);
    let (whole, rest) = text.split_once('.').unwrap_or((&text, "0"));
    let up = rest.starts_with(['5', '6', '7', '8', '9']);
    whole.parse::<u64>().map_or_else(|_| whole.to_owned(), |n| (n + u64::from(up)).to_string())
}

/// A height in both units.
#[must_use]
pub fn height(height: &PublishedHeight) -> ItemView {
    let cm = |length| format!("{} cm", (words().decimal)(&centimetres(length)));
    let inch = |hundredths| format!("{} in", (words().decimal)(&inches(hundredths)));
    let (first, second) = match (height.cm, height.inch_hundredths) {
        (Some(length), Some(hundredths)) => (cm(length), inch(hundredths)),
        // 1 in = 25.4 mm, to the inch: hundredths of an inch are mm × 100 / 25.4.
        (Some(length), None) => (cm(length), inch((length.0 * 10 + 127) / 254 * 100)),
        (None, Some(hundredths)) => {
            let length = Millimetres::from_inch_hundredths(hundredths);
            (inch(hundredths), cm(Millimetres((length.0 + 5) / 10 * 10)))
        }
        (None, None) => (String::new(), String::new()),
    };
    ItemView { item: height.item.clone(), first, second }
}

#[cfg(test)]
mod tests {
    use super::super::sheet_said;
    use super::*;

    #[test]
    fn the_published_unit_comes_first_and_the_other_is_converted() {
        let published = |kg: &[u64], lb: &[u64], first| PublishedLoad {
            item: "kettlebell".to_owned(),
            kg: kg.iter().map(|g| Grams(*g)).collect(),
            lb_hundredths: lb.to_vec(),
            first,
        };
        let said = |kg: &[u64], lb: &[u64], first| {
            let view = load(&published(kg, lb, first));
            (view.first, view.second)
        };
        let pair = |a: &str, b: &str| (a.to_owned(), b.to_owned());
        assert_eq!(said(&[16_000], &[3500], LoadUnit::Kg), pair("16 kg", "35 lb"));
        assert_eq!(said(&[16_000], &[3500], LoadUnit::Lb), pair("35 lb", "16 kg"));
        assert_eq!(said(&[40_000, 50_000], &[], LoadUnit::Kg), pair("40, 50 kg", "88, 110 lb"));
        assert_eq!(said(&[], &[9500], LoadUnit::Lb), pair("95 lb", "43.1 kg"));
    }

    #[test]
    fn heights_are_converted_to_whole_units() {
        let said = |cm: Option<u64>, inch_hundredths| {
            let view = height(&PublishedHeight { item: "box".to_owned(), cm: cm.map(Millimetres), inch_hundredths });
            (view.first, view.second)
        };
        assert_eq!(said(Some(500), None), ("50 cm".to_owned(), "20 in".to_owned()));
        assert_eq!(said(None, Some(2400)), ("24 in".to_owned(), "61 cm".to_owned()));
    }

    /// One station that counts so, round after round.
    fn scheme(counts: Counts, repeat: Repeat) -> Scheme {
        let station = |movement: &str, counts| Station { movement: movement.to_owned(), counts: Some(counts) };
        let stations = vec![station("row", counts), station("squat", Counts::Reps(4))];
        Scheme::new(vec![Block::Work { title: None, stations, repeat, by: None }], false).expect("a scheme")
    }

    /// A number is never left without what it counts: as the brief and the sheet say it.
    #[tokio::test]
    async fn what_is_counted_is_said_of_every_kind_in_every_repeat() {
        let list = || Repeat::List(vec![vec![4, 4], vec![2, 2]]);
        let ladder = || Repeat::Ladder { start: vec![4, 4], step: vec![2, 2], rounds: Some(2) };
        let said = |counts, repeat: Repeat| {
            let scheme = scheme(counts, repeat);
            (scheme_view(&scheme, String::new()).blocks[0].stations[0].count.clone(), sheet_said::done(&scheme))
        };
        let lengths = Counts::Lengths { metres: 60, per: 15 };
        let cases = [
            (Counts::Reps(4), Repeat::Rounds(2), "4", "4 row, 4 squat"),
            (Counts::Reps(4), list(), "4, 2", "4-2: row, squat"),
            (Counts::Calories(4), Repeat::Rounds(2), "4 calories", "4 cal row, 4 squat"),
            (Counts::Calories(4), list(), "4, 2 calories", "4-2: row (cal), squat"),
            (Counts::Calories(4), ladder(), "4 calories, then 2 more each round", "row (cal), squat"),
            (lengths, Repeat::Rounds(2), "60 m, every 15 m counts 1", "60 m (4 × 15 m) row, 4 squat"),
            (lengths, list(), "4, 2 × 15 m, each counts 1", "4-2: row (× 15 m), squat"),
            (Counts::Once(1), Repeat::Rounds(2), "once", "row, 4 squat"),
            (Counts::Once(0), Repeat::Rounds(2), "once, counts nothing", "row, 4 squat"),
        ];
        for (counts, repeat, strip, sheet) in cases {
            let case = format!("{counts:?} {repeat:?}");
            let (brief, line) = said(counts, repeat);
            assert!(brief == strip && line.ends_with(sheet), "{case}: {brief}, {line}");
        }
        let german = crate::actions::language::speaking(crate::words::Lang::De, async {
            [said(Counts::Calories(4), list()).0, said(lengths, list()).0, said(Counts::Once(0), Repeat::Rounds(2)).0]
        });
        assert_eq!(german.await, ["4, 2 Kalorien", "4, 2 × 15 m, je zählt 1", "einmal, zählt nicht"]);
    }
}
