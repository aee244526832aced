//! `/c/{c}/workouts/{w}/sheet`: the judge's sheet, one side of paper for each athlete.
//!
//! Everything on it comes from the compiled task; sizes are worked out here, so that it stays one
//! page (`sheet_layout`). It is a page of its own, without the frame of the others, for paper.

use super::form::{Choice, Fields};
use super::scheme_said::{ItemView, height, load};
use super::sheet_layout::Space;
use super::sheet_said::{TallyView, capped, done, done_at_length, example, intervals, lifts, tally, tens};
use super::shell::{encoded, own_zone, words};
use super::{Page, html, rules_said, say};
use crate::actions::language;
use crate::actions::sheet::{self, Sheet, Sheets, Wanted};
use crate::app::App;
use crate::rules::competition::Competition;
use crate::rules::workout::{CountUnit, Format, IntervalMeasure, Prescription, Scored, Tiebreak, Workout};
use crate::web::extract::{Path, Query};
use crate::web::problem::Answer;
use crate::web::session::Caller;
use crate::words::en::pages::Pages;
use crate::words::{self, put};
use askama::Template;
use axum::extract::State;

#[derive(Template)]
#[template(path = "sheet.html")]
struct View {
    w: &'static Pages,
    s: &'static words::en::sheet::Sheet,
    title: String,
    back: String,
    back_text: String,
    paper: Paper,
    divisions: Vec<Choice>,
    levels: Vec<Choice>,
    papers: Vec<Choice>,
    gym: String,
    /// Address of a sheet without a name; empty: this is one.
    blank: String,
    /// Address of a gym's sheets, and their text.
    named: Option<(String, String)>,
    count: String,
    /// How many without a name; `None`: these have names.
    copies: Option<usize>,
    pages: Vec<SheetView>,
}

/// The paper.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Paper {
    A4,
    Letter,
}

impl Paper {
    pub(super) fn of(text: &str) -> Self {
        if text.eq_ignore_ascii_case("letter") { Self::Letter } else { Self::A4 }
    }

    fn as_str(self) -> &'static str {
        if self == Self::A4 { "a4" } else { "letter" }
    }

    fn style(self) -> &'static str {
        if self == Self::A4 { "sheet-a4.css" } else { "sheet-letter.css" }
    }

    /// The style of pages that flow over as many sides as they need.
    pub(super) fn page_style(self) -> &'static str {
        if self == Self::A4 { "paper-a4.css" } else { "paper-letter.css" }
    }

    /// To choose from.
    pub(super) fn choices(self) -> Vec<Choice> {
        let s = texts();
        vec![Choice::new("a4", s.paper_a4, self.as_str()), Choice::new("letter", s.paper_letter, self.as_str())]
    }

    /// Within margins of 8 mm, with 4 mm to spare; as in the style sheets.
    fn space(self) -> Space {
        match self {
            Self::A4 => Space { width: 1_940, height: 2_770 },
            Self::Letter => Space { width: 1_990, height: 2_590 },
        }
    }
}

/// One side of paper.
struct SheetView {
    id: String,
    competition: String,
    workout: String,
    format: String,
    /// What is done in the same effort.
    session: Option<String>,
    division: String,
    name: String,
    bib: String,
    judge: String,
    gym: String,
    heat: String,
    lane: String,
    date: String,
    start: String,
    /// In which zone the clock shows that; empty: to be written in.
    zone: String,
    levels: Vec<LevelView>,
    done: String,
    tally: Option<TallyView>,
    lifts: Vec<String>,
    tens: Vec<Vec<u64>>,
    reading: bool,
    intervals: Vec<Vec<u32>>,
    sums: bool,
    markers: Vec<u64>,
    time_of: bool,
    write: String,
    write_capped: String,
    emergency: String,
    stamp: String,
}

/// A level to tick, with its loads and heights.
struct LevelView {
    title: String,
    items: Vec<ItemView>,
    alternatives: String,
}

fn texts() -> &'static words::en::sheet::Sheet {
    words::sheet(language::reader())
}

/// `GET /c/{c}/workouts/{w}/sheet`.
pub async fn get_sheet(
    State(app): State<App>,
    caller: Caller,
    Path((slug, workout)): Path<(String, String)>,
    Query(fields): Query<Fields>,
) -> Answer<Page> {
    let wanted = Wanted {
        division: fields.find("division"),
        level: fields.find("level"),
        gym: fields.find("gym"),
        blank: fields.ticked("blank"),
        copies: fields.get("copies").to_owned(),
    };
    let sheets = sheet::sheets(&app, &caller.actor, caller.received, &slug, &workout, &wanted).await?;
    let paper = Paper::of(fields.get("paper"));
    html(&view(&sheets, &wanted, paper)?)
}

fn view(sheets: &Sheets, wanted: &Wanted, paper: Paper) -> Answer<View> {
    let (s, c, x) = (texts(), &*sheets.reader.competition, sheets.workout()?);
    let here = format!("/c/{}/workouts/{}", c.slug, x.slug);
    let (level, division) = (wanted.level.as_deref().unwrap_or(""), wanted.division.as_deref().unwrap_or(""));
    let scores = |d: &str| x.prescriptions.iter().any(|p| p.divisions.iter().any(|x| x == d));
    let divisions = c.divisions.iter().filter(|d| scores(&d.slug)).map(|d| Choice::new(&d.slug, &d.title, division));
    let own = Choice::new("", s.own_level, level);
    let levels = c.levels.iter().map(|l| Choice::new(&l.slug, &l.title, level));
    let gym = wanted.gym.clone().unwrap_or_default();
    let again = |more: &str| {
        let rest = format!("paper={}&division={}&level={}", paper.as_str(), encoded(division), encoded(level));
        format!("{here}/sheet?{rest}{more}")
    };
    let in_gym = |blank: &str| if gym.is_empty() { String::new() } else { format!("&gym={}{blank}", encoded(&gym)) };
    let named = sheets.gym.as_ref().filter(|_| wanted.blank);
    let all = sheets.sheets.len();
    Ok(View {
        w: words(),
        s,
        title: put(s.title, &[("workout", &x.title)]),
        back_text: x.title.clone(),
        back: here.clone(),
        paper,
        divisions: divisions.collect(),
        levels: std::iter::once(own).chain(levels).collect(),
        papers: paper.choices(),
        blank: if gym.is_empty() || wanted.blank { String::new() } else { again(&in_gym("&blank=yes")) },
        named: named.map(|g| (again(&in_gym("")), put(s.named_link, &[("gym", &g.name)]))),
        gym,
        copies: (wanted.gym.is_none() || wanted.blank).then_some(all),
        count: put(s.sheets_of, &[("n", &all)]),
        pages: sheets.sheets.iter().enumerate().filter_map(|(n, one)| page(sheets, x, one, paper, n)).collect(),
    })
}

/// One side of paper; `None` where the division does not score at this level.
fn page(sheets: &Sheets, x: &Workout, one: &Sheet, paper: Paper, index: usize) -> Option<SheetView> {
    let (s, c) = (texts(), &*sheets.reader.competition);
    let prescription = c.prescription(&x.slug, &one.division, one.level)?;
    let task = &prescription.task;
    let gym = sheets.gym.as_ref();
    let levels = levels(c, x, one, prescription);
    let mut done = task.scheme.as_ref().map_or(String::new(), done);
    let emergency = gym.map_or(String::new(), |g| g.emergency.clone());
    let markers = task.scheme.as_ref().map_or(Vec::new(), |scheme| scheme.inner_markers(&task.tiebreak));
    let above = HEAD + level_height(&levels, paper) + marker_height(markers.len());
    let below = FOOT + text_height(&emergency, paper);
    let space = |done: &str| {
        let taken = above + text_height(done, paper) + below;
        Space { height: paper.space().height.saturating_sub(taken), width: paper.space().width }
    };
    let set = |done: &str| task.scheme.as_ref().map(|scheme| tally(scheme, task, one.reach, space(done)));
    let mut totals = set(&done);
    if let Some(scheme) = task.scheme.as_ref().filter(|_| done.is_empty() && totals.as_ref().is_some_and(|t| t.bare)) {
        done = done_at_length(scheme);
        totals = set(&done);
    }
    let space = space(&done);
    let heat = one.heat.as_ref();
    // The clock that the sheet is read beside hangs in the gym.
    let own = gym.and_then(|g| own_zone(&g.time_zone));
    let zone = own.as_ref().unwrap_or(&c.time_zone);
    let start = heat.map(|h| zone.to_datetime(h.start));
    Some(SheetView {
        id: format!("sheet-{}", index + 1),
        competition: c.title.clone(),
        workout: x.title.clone(),
        format: rules_said::format(task),
        session: super::competition::one_effort(&sheets.reader, x),
        division: say::division(c, &one.division).to_owned(),
        name: one.athlete.as_ref().map_or(String::new(), |(_, name)| name.clone()),
        bib: one.athlete.as_ref().map_or(String::new(), |(bib, _)| bib.to_string()),
        judge: heat.and_then(|h| h.judge.clone()).unwrap_or_default(),
        gym: gym.map_or(String::new(), |g| g.name.clone()),
        heat: heat.map_or(String::new(), |h| h.heat.to_string()),
        lane: heat.map_or(String::new(), |h| h.lane.to_string()),
        date: start.map_or(String::new(), |at| at.date().to_string()),
        start: start.map_or(String::new(), |at| at.strftime("%H:%M").to_string()),
        zone: start.map_or(String::new(), |_| zone.iana_name().unwrap_or("UTC").to_owned()),
        levels,
        done,
        tally: totals,
        lifts: if task.format == Format::MaxLoad { lifts(task) } else { Vec::new() },
        tens: tens(task, one.reach, space),
        reading: task.format == Format::MaxCount && task.unit != CountUnit::Reps,
        intervals: intervals(task, space),
        sums: task.intervals.is_some_and(|i| i.scored == Scored::Sum && i.measure == IntervalMeasure::Count),
        markers,
        time_of: task.tiebreak == Tiebreak::Time,
        write: put(s.write, &[("example", &example(task))]),
        write_capped: capped(task).map_or(String::new(), |text| put(s.write_capped, &[("example", &text)])),
        emergency,
        stamp: put(s.stamp, &[("seq", &sheets.reader.definition_seq), ("competition", &c.slug)]),
    })
}

// Heights of what stands around the totals, in tenths of a millimetre; the style sheet keeps to them.

/// Title, names, the level's heading, the totals' headings.
const HEAD: u64 = 540;
/// No-reps, result, signatures, cautions, stamp.
const FOOT: u64 = 750;
/// One line of small text.
const LINE: u64 = 42;

/// How high a text of usual letters is at most.
fn text_height(text: &str, paper: Paper) -> u64 {
    let a_line = paper.space().width / 19;
    (text.chars().count() as u64).div_ceil(a_line) * LINE
}

fn level_height(levels: &[LevelView], paper: Paper) -> u64 {
    let text = |l: &LevelView| {
        let items = l.items.iter().map(|i| i.item.len() + i.first.len() + i.second.len() + 8).sum::<usize>();
        " ".repeat(l.title.len() + items + l.alternatives.len() + 8)
    };
    levels.iter().map(|l| text_height(&text(l), paper) + 12).sum()
}

fn marker_height(markers: usize) -> u64 {
    if markers == 0 { 0 } else { LINE + 85 * (markers as u64).div_ceil(6) }
}

/// The levels that are done with the same counts: one is ticked.
fn levels(c: &Competition, x: &Workout, one: &Sheet, p: &Prescription) -> Vec<LevelView> {
    let same = |q: &Prescription| q.task.scheme == p.task.scheme && q.task.cap == p.task.cap;
    let all = (0u8..).zip(&c.levels);
    let found = all.filter_map(|(n, level)| {
        let q = c.prescription(&x.slug, &one.division, n).filter(|q| n == one.level || same(q))?;
        Some(LevelView {
            title: level.title.clone(),
            items: q.loads.iter().map(load).chain(q.heights.iter().map(height)).collect(),
            alternatives: q.alternatives.clone(),
        })
    });
    found.collect()
}

#[cfg(test)]
mod tests {
    use super::super::samples;
    use super::*;
    use crate::rules::performance::{Around, RawPerformance, check};
    use crate::rules::quantity::Millis;
    use crate::rules::scheme::{Block, Counts, Repeat, Scheme, Station};
    use crate::rules::workout::Task;

    fn task(format: Format, repeat: Repeat, tiebreak: Tiebreak) -> Task {
        let station = |n| Station { movement: samples::HOSTILE.to_owned(), counts: Some(Counts::Reps(n)) };
        let block = Block::Work { title: None, stations: vec![station(20), station(14)], repeat, by: None };
        let scheme = Scheme::new(vec![block], format == Format::Amrap).unwrap();
        Task { scheme: Some(scheme), cap: Some(Millis(720_000)), tiebreak, ..Task::of(format) }
    }

    fn sheet(task: &Task) -> SheetView {
        let hostile = || samples::HOSTILE.to_owned();
        let space = Space { width: 1_940, height: 1_300 };
        SheetView {
            id: "sheet-1".to_owned(),
            competition: hostile(),
            workout: samples::BIDI.to_owned(),
            format: rules_said::format(task),
            session: Some(hostile()),
            division: hostile(),
            name: samples::LONG.to_owned(),
            bib: "1042".to_owned(),
            judge: hostile(),
            gym: hostile(),
            heat: "1".to_owned(),
            lane: "2".to_owned(),
            date: "2027-01-14".to_owned(),
            start: "18:30".to_owned(),
            zone: "America/Argentina/ComodRivadavia".to_owned(),
            levels: vec![LevelView { title: hostile(), items: Vec::new(), alternatives: hostile() }],
            done: task.scheme.as_ref().map_or(String::new(), done),
            tally: task.scheme.as_ref().map(|s| tally(s, task, 100, space)),
            lifts: lifts(task),
            tens: tens(task, 100, space),
            reading: true,
            intervals: intervals(task, space),
            sums: true,
            markers: vec![30],
            time_of: true,
            write: example(task),
            write_capped: capped(task).unwrap_or_default(),
            emergency: hostile(),
            stamp: hostile(),
        }
    }

    fn page(pages: Vec<SheetView>) -> String {
        View {
            w: words(),
            s: texts(),
            title: samples::HOSTILE.to_owned(),
            back: "/c/s/workouts/w1".to_owned(),
            back_text: samples::BIDI.to_owned(),
            paper: Paper::Letter,
            divisions: vec![Choice::new("women", samples::HOSTILE, "women")],
            levels: Vec::new(),
            papers: Vec::new(),
            gym: "quayside".to_owned(),
            blank: "/c/s/workouts/w1/sheet?gym=quayside&blank=yes".to_owned(),
            named: None,
            count: String::new(),
            copies: Some(pages.len()),
            pages,
        }
        .render()
        .expect("renders")
    }

    #[test]
    fn a_sheet_survives_hostile_text_and_carries_its_boxes_and_cautions() {
        let task = task(Format::Amrap, Repeat::Endless, Tiebreak::EachRound);
        let page = page(vec![sheet(&task)]);
        samples::assert_sound(&page);
        for (total, time) in [(20, false), (34, true), (54, false), (68, true), (136, true)] {
            let cell = format!("<td><b>{total}</b>{}</td>", if time { " <i class=\"time\"></i>" } else { "" });
            assert!(page.contains(&cell), "{cell}");
        }
        assert!(!page.contains("<b>190</b>"), "the round of the 100th rep and two more, no further");
        assert!(page.contains(words().caution_short) && page.contains("sheet-letter"));
    }

    #[test]
    fn for_time_says_what_is_left() {
        let page = page(vec![sheet(&task(Format::ForTime, Repeat::Rounds(2), Tiebreak::None))]);
        samples::assert_sound(&page);
        assert!(page.contains("<td><b>20</b> <small>48 left</small></td>"), "{page}");
        assert!(page.contains("<td><b>68</b> <small>0 left</small></td>"));
    }

    #[test]
    fn nobody_left_is_said() {
        let page = page(Vec::new());
        samples::assert_sound(&page);
        assert!(page.contains(texts().nobody));
    }

    #[test]
    fn the_example_is_one_that_is_taken() {
        let tasks = [
            task(Format::Amrap, Repeat::Endless, Tiebreak::EachRound),
            task(Format::ForTime, Repeat::Rounds(5), Tiebreak::EachStation),
            task(Format::ForTime, Repeat::Rounds(5), Tiebreak::None),
            Task { tiebreak: Tiebreak::Time, cap: Some(Millis(360_000)), ..Task::of(Format::MaxLoad) },
            Task { cap: Some(Millis(60_000)), ..Task::of(Format::MaxCount) },
        ];
        for task in tasks {
            for text in std::iter::once(example(&task)).chain(capped(&task)) {
                let checked = check(&task, &RawPerformance::Text(text.clone()), &Around::default());
                assert!(checked.is_ok(), "{text}: {checked:?}");
            }
        }
    }
}
