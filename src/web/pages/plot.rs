//! A plot of a workout's results: bars of an SVG without any style of their own, a sentence or two,
//! and the same as a table. Lengths are shares of the width and height, so that the letters keep
//! their size on any screen. No name is in it.

use super::shell::words;
use crate::actions::language;
use crate::actions::standings::{Marked, Spread};
use crate::rules::competition::Competition;
use crate::rules::quantity::Rounding;
use crate::rules::spread::{Band, Bin, Kind, Span};
use crate::rules::workout::{CountUnit, Format, Task};
use crate::words::en::plot::Plot;
use crate::words::{Noun, plot, put};

/// All of the width, or of the height: shares are counted in hundredths of a percent.
const WHOLE: u64 = 10_000;
/// Share of the width between two bands.
const GAP: u64 = 300;
/// The widest bar.
const WIDEST: u64 = 900;
/// A band is as wide as so many bars at least: the ends of its scale are written below it.
const NARROWEST: usize = 4;
/// The lowest bar: a single result stays visible beside ten thousand.
const LOWEST: u64 = 150;
/// Share of the height above the tallest bar.
const TOP: u64 = 1_600;
/// Where bars stand.
const FOOT: u64 = 8_400;

/// The plot and what is said of it.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct PlotView {
    /// Sentences: what it shows, for those who do not see it too.
    pub lines: Vec<String>,
    /// Left to right.
    pub bars: Vec<Bar>,
    /// Texts below the bars.
    pub ends: Vec<Label>,
    /// Above the bar of whom the reader asked for.
    pub mark: Option<Label>,
    /// The tallest bar's count.
    pub most: String,
    /// The same as rows.
    pub rows: Vec<BinRow>,
}

/// A bar: shares of the plot.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Bar {
    /// Of the width, from the left.
    pub x: String,
    /// Of the width.
    pub width: String,
    /// Of the height, from the top.
    pub y: String,
    /// Of the height.
    pub height: String,
    /// Whether the one that the reader asked for is in it.
    pub own: bool,
}

/// A text in the plot.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Label {
    /// Of the width.
    pub x: String,
    /// `start`, `middle` or `end`.
    pub anchor: &'static str,
    /// For people.
    pub text: String,
    /// Of the width: the middle of the bar it is about.
    pub at: String,
}

/// A bin in the table.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct BinRow {
    /// Above it; empty: the band goes on.
    pub band: String,
    /// The results in it.
    pub range: String,
    /// How many.
    pub count: String,
    /// "3rd to 9th"; "none".
    pub places: String,
    /// Whether the one that the reader asked for is in it.
    pub own: bool,
}

fn texts() -> &'static Plot {
    plot(language::reader())
}

/// `12.5%`.
fn share(n: u64) -> String {
    let text = format!("{}.{:02}", n / 100, n % 100);
    format!("{}%", text.trim_end_matches('0').trim_end_matches('.'))
}

/// A count as a factor.
fn times(n: usize) -> u64 {
    u64::try_from(n).unwrap_or(u64::MAX)
}

/// The view of a spread; `own`: the bib that is the reader's.
#[must_use]
pub fn view(c: &Competition, task: &Task, spread: &Spread, own: Option<u32>) -> PlotView {
    let most = spread.bands.iter().flat_map(|b| &b.bins).map(|b| b.count).max().unwrap_or(0);
    let mut view =
        PlotView { lines: lines(c, task, spread, own), most: (words().number)(most.into()), ..PlotView::default() };
    let slots: u64 = spread.bands.iter().map(|b| times(b.bins.len().max(NARROWEST))).sum();
    let gaps = GAP * times(spread.bands.len().saturating_sub(1));
    let one = (WHOLE.saturating_sub(gaps) / slots.max(1)).min(WIDEST);
    let at = spread.mark.as_ref().and_then(|m| m.at);
    let mut x = 0;
    for (n, band) in spread.bands.iter().enumerate() {
        for (m, bin) in band.bins.iter().enumerate() {
            let (left, own_bar) = (x + one * times(m), at == Some((n, m)));
            if bin.count > 0 {
                let height = ((FOOT - TOP) * u64::from(bin.count) / u64::from(most)).max(LOWEST);
                view.bars.push(Bar {
                    x: share(left + one * 6 / 100),
                    width: share(one * 88 / 100),
                    y: share(FOOT - height),
                    height: share(height),
                    own: own_bar,
                });
            }
            if own_bar {
                view.mark = spread.mark.as_ref().map(|m| mark(m, left + one / 2, own));
            }
            view.rows.push(row(c, task, band, bin, own_bar, m == 0 && spread.bands.len() > 1));
        }
        view.ends.extend(ends(task, band, x, one));
        x += one * times(band.bins.len().max(NARROWEST)) + GAP;
    }
    view
}

/// Who the mark is, above its bar and inside the plot.
fn mark(marked: &Marked, x: u64, own: Option<u32>) -> Label {
    let text = if own == Some(marked.bib) { texts().you.to_owned() } else { marked.bib.to_string() };
    let anchor = match x {
        x if x < 600 => "start",
        x if x > 9_400 => "end",
        _ => "middle",
    };
    let at = share(x);
    let x = if anchor == "start" { 0 } else { x };
    Label { x: share(x), anchor, text, at }
}

/// The ends of a band's scale.
fn ends(task: &Task, band: &Band, x: u64, one: u64) -> Vec<Label> {
    let (Some(first), Some(last)) = (band.bins.first(), band.bins.last()) else { return Vec::new() };
    let best = match first.span {
        // The unit is said once.
        Span::Rounds(_, n) => (words().count)(n, Noun::Round),
        Span::Count(_, n) => (words().count)(n, noun(task, band)),
        span => edges(task, span).0,
    };
    let mut labels = vec![Label { x: share(x), anchor: "start", text: best, at: String::new() }];
    if band.bins.len() >= NARROWEST {
        let (_, worst) = edges(task, last.span);
        labels.push(Label {
            x: share(x + one * times(band.bins.len())),
            anchor: "end",
            text: worst,
            at: String::new(),
        });
    }
    labels
}

/// The better and the worse end of a span, as short as can be.
fn edges(task: &Task, span: Span) -> (String, String) {
    let time = |t: crate::rules::quantity::Millis| t.shown(task.time_step, Rounding::Down);
    let number = |load: crate::rules::quantity::Load| load.text();
    match span {
        Span::Rounds(a, b) | Span::Count(a, b) => (b.to_string(), a.to_string()),
        Span::BeforeRounds => ("0".to_owned(), "0".to_owned()),
        Span::Time(a, b) => (time(a), time(b)),
        Span::Load(a, _) => (number(a), number(a)),
        Span::NoLift => (texts().no_lift.to_owned(), texts().no_lift.to_owned()),
    }
}

/// What a band counts.
fn noun(task: &Task, band: &Band) -> Noun {
    match task.unit {
        _ if band.kind == Kind::Capped || matches!(task.format, Format::Amrap | Format::ForTime) => Noun::Rep,
        CountUnit::Reps => Noun::Rep,
        CountUnit::Calories => Noun::Calorie,
        CountUnit::Metres => Noun::Metre,
    }
}

/// What a bin reaches over, in words.
fn range(task: &Task, band: &Band, span: Span) -> String {
    let (w, t, noun) = (words(), texts(), noun(task, band));
    let from_to = |template, from: &dyn std::fmt::Display, to: &dyn std::fmt::Display| {
        put(template, &[("from", from), ("to", to)])
    };
    match span {
        Span::Rounds(a, b) if a == b => (w.count)(a, Noun::Round),
        Span::Rounds(a, b) => from_to(t.rounds_from_to, &a, &b),
        Span::BeforeRounds => t.before_rounds.to_owned(),
        Span::Count(a, b) if a == b => (w.count)(a, noun),
        Span::Count(a, b) => from_to(t.from_to, &(words().number)(a), &(w.count)(b, noun)),
        Span::Time(a, b) => {
            let (a, b) = (a.shown(task.time_step, Rounding::Down), b.shown(task.time_step, Rounding::Down));
            if a == b { a } else { from_to(t.from_to, &a, &b) }
        }
        Span::Load(a, b) => from_to(t.load_from_under, &a.text(), &b.text()),
        Span::NoLift => t.no_lift.to_owned(),
    }
}

/// "Lighter loads: not finished at the cap".
fn called(c: &Competition, task: &Task, band: &Band) -> String {
    let t = texts();
    let name = match band.kind {
        Kind::Done if task.format == Format::ForTime => t.band_done,
        Kind::Done => t.band_all,
        Kind::Capped => t.band_capped,
        Kind::NoLift => t.band_no_lift,
    };
    match c.levels.get(usize::from(band.level)).filter(|_| c.levels.len() > 1) {
        Some(level) if band.kind == Kind::Done && task.format != Format::ForTime => level.title.clone(),
        Some(level) => put(t.band_level, &[("level", &level.title), ("band", &name)]),
        None => name.to_owned(),
    }
}

/// How many are in a band.
fn size(band: &Band) -> String {
    (words().count)(band.bins.iter().map(|b| u64::from(b.count)).sum(), Noun::Athlete)
}

fn row(c: &Competition, task: &Task, band: &Band, bin: &Bin, own: bool, first: bool) -> BinRow {
    let (w, t) = (words(), texts());
    let ordinal = |n: u32| (w.ordinal)(n.into());
    BinRow {
        band: if first { called(c, task, band) } else { String::new() },
        range: range(task, band, bin.span),
        count: (words().number)(bin.count.into()),
        places: match bin.places {
            None => t.nobody.to_owned(),
            Some((from, to)) if from == to => ordinal(from),
            Some((from, to)) => put(t.places_from_to, &[("from", &ordinal(from)), ("to", &ordinal(to))]),
        },
        own,
    }
}

/// What the plot shows, in sentences.
fn lines(c: &Competition, task: &Task, spread: &Spread, own: Option<u32>) -> Vec<String> {
    let (w, t) = (words(), texts());
    let mut lines = Vec::new();
    if let Some(marked) = &spread.mark {
        let yours = own == Some(marked.bib);
        lines.push(match &marked.placed {
            Some((place, text)) => {
                let template = if yours { t.yours } else { t.theirs };
                let ordinal = (w.ordinal)((*place).into());
                put(template, &[("bib", &marked.bib), ("ordinal", &ordinal), ("text", text)])
            }
            None if yours => t.unplaced_you.to_owned(),
            None => put(t.unplaced, &[("bib", &marked.bib)]),
        });
    }
    if let Some(text) = &spread.median {
        lines.push(put(t.median, &[("text", text)]));
    }
    let ties = &spread.ties;
    if let Some((place, n)) = ties.largest {
        let template = if ties.places == 1 { t.ties_one } else { t.ties };
        let athletes = |n: u32| (w.count)(n.into(), Noun::Athlete);
        let values: [(&'static str, &dyn std::fmt::Display); 4] = [
            ("places", &(w.number)(ties.places.into())),
            ("athletes", &athletes(ties.athletes)),
            ("ordinal", &(w.ordinal)(place.into())),
            ("n", &athletes(n)),
        ];
        lines.push(put(template, &values));
    } else if spread.of > 1 {
        lines.push(t.ties_none.to_owned());
    }
    if spread.bands.len() > 1 {
        let band = |b: &Band| put(t.band, &[("name", &called(c, task, b)), ("n", &size(b))]);
        let bands: Vec<String> = spread.bands.iter().map(band).collect();
        lines.push(put(t.bands, &[("bands", &bands.join("; "))]));
    }
    lines
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::actions::standings::Ties;
    use crate::rules::competition;

    fn the_competition() -> Competition {
        let raw = competition::from_toml(include_str!("../../../tests/data/small.toml")).expect("reads");
        competition::compile(&raw).expect("holds together").value
    }

    fn spread(counts: &[u32], at: Option<(usize, usize)>) -> Spread {
        let bin = |(n, count): (usize, &u32)| Bin {
            span: Span::Count(times(n), times(n)),
            amounts: (times(n), times(n)),
            count: *count,
            places: (*count > 0).then_some((1, *count)),
        };
        let bins = counts.iter().enumerate().map(bin).collect();
        let mark = at.map(|at| Marked { bib: 1042, placed: Some((12, "6+14".to_owned())), at: Some(at) });
        let bands = vec![Band { level: 0, kind: Kind::Done, bins }];
        Spread { bands, of: counts.iter().sum(), median: None, ties: Ties::default(), mark }
    }

    fn percent(text: &str) -> f64 {
        text.trim_end_matches('%').parse().expect("a share")
    }

    #[test]
    fn bars_stay_inside_the_plot_from_one_result_to_ten_thousand() {
        let (c, task) = (the_competition(), Task::of(Format::MaxCount));
        for counts in [vec![1], vec![1, 1], vec![1, 0, 10_000, 3], vec![500; 20]] {
            let view = view(&c, &task, &spread(&counts, Some((0, 0))), Some(1042));
            assert_eq!(view.bars.len(), counts.iter().filter(|n| **n > 0).count());
            for bar in &view.bars {
                assert!(percent(&bar.x) >= 0.0 && percent(&bar.x) + percent(&bar.width) <= 100.0, "{bar:?}");
                assert!(percent(&bar.y) >= 16.0 && percent(&bar.height) >= 1.5, "{bar:?}");
                assert!((percent(&bar.y) + percent(&bar.height) - 84.0).abs() < 0.001, "{bar:?}");
            }
            assert_eq!(view.rows.len(), counts.len());
            assert_eq!(view.bars.iter().filter(|b| b.own).count(), 1);
            assert_eq!(view.mark.as_ref().map(|m| m.text.as_str()), Some("You"));
        }
    }

    #[test]
    fn nobody_placed_gives_an_empty_plot() {
        let empty = Spread { bands: Vec::new(), ..spread(&[], None) };
        assert_eq!(view(&the_competition(), &Task::of(Format::MaxCount), &empty, None).bars, []);
    }
}
