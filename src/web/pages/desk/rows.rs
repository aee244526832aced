//! One workout at the desk: what is left, what awaits a judge, what is settled.

use crate::actions::views::{DeskRow, DeskView};
use crate::rules::competition::Competition;
use crate::rules::window::Window;
use crate::rules::workout::{Format, Workout};
use crate::web::pages::form::Choice;
use crate::web::pages::say;
use crate::web::pages::shell::{When, left, words};
use crate::words::put;
use jiff::Timestamp;
use serde_json::{Map, Value, json};

/// A workout of the desk.
pub(super) struct WorkoutView {
    pub(super) id: String,
    pub(super) slug: String,
    pub(super) href: String,
    pub(super) title: String,
    pub(super) summary: String,
    pub(super) left: String,
    /// Scores can be entered.
    pub(super) open: bool,
    /// In time; of one that has closed, what is left is folded away.
    pub(super) running: bool,
    pub(super) todo: Vec<Line>,
    pub(super) todo_title: String,
    pub(super) all_done: String,
    pub(super) awaiting: Vec<Line>,
    pub(super) awaiting_title: String,
    pub(super) settled: Vec<Line>,
    pub(super) settled_title: String,
    /// The desk, and where this workout's ticked results are vouched for.
    pub(super) visitor_action: String,
    pub(super) vouch_action: String,
    pub(super) script: ForScript,
}

/// What the script needs to know of a workout.
pub(super) struct ForScript {
    pub(super) closes: String,
    pub(super) attest_by: String,
    pub(super) attest_text: String,
    /// More keys than all workouts need.
    pub(super) keys: &'static str,
    /// Levels by division, as JSON: `{"women": [["prescribed", "As prescribed"]]}`.
    pub(super) levels: String,
    /// A row to be filled in for a visitor.
    pub(super) blank: Line,
}

/// One entry.
#[derive(Clone, Default)]
pub(super) struct Line {
    pub(super) id: String,
    pub(super) href: String,
    pub(super) name: String,
    pub(super) bib: u32,
    pub(super) division: String,
    pub(super) division_slug: String,
    pub(super) visiting: bool,
    pub(super) text: String,
    pub(super) state: &'static str,
    /// The state by its name in the API.
    pub(super) code: &'static str,
    pub(super) etag: String,
    pub(super) level: String,
    /// More than one: to be chosen from.
    pub(super) levels: Vec<Choice>,
    pub(super) judge: String,
    pub(super) how: &'static str,
    /// Only a referee changes it.
    pub(super) locked: bool,
    pub(super) label: String,
    pub(super) level_label: String,
}

/// Where and when a desk is looked at.
pub(super) struct At<'a> {
    pub(super) c: &'a Competition,
    pub(super) now: Timestamp,
    pub(super) gym: &'a str,
    /// `/desk/{c}/{gym}`.
    pub(super) base: &'a str,
    /// `?judge=…` for the forms of one athlete.
    pub(super) tail: &'a str,
}

impl At<'_> {
    /// One workout with its list; `window` is this gym's.
    pub(super) fn workout(&self, x: &Workout, window: &Window, list: &DeskView) -> WorkoutView {
        let (w, now) = (words(), self.now);
        let open = now >= window.opens;
        let of = |fits: &dyn Fn(&DeskRow) -> bool| -> Vec<Line> {
            list.rows.iter().filter(|r| open && fits(r)).map(|r| self.line(x, r)).collect()
        };
        let is_left = |r: &DeskRow| matches!(r.state, "missing" | "withdrawn");
        let (todo, awaiting) = (of(&is_left), of(&|r| r.state == "entered"));
        let settled = of(&|r| !is_left(r) && r.state != "entered");
        let counts: [(&'static str, &dyn std::fmt::Display); 4] = [
            ("settled", &list.settled),
            ("all", &list.entries),
            ("waiting", &list.awaiting),
            ("missing", &list.missing),
        ];
        let all_done = match list.entries {
            0 => w.desk_nobody.to_owned(),
            all => put(w.desk_all_done, &[("all", &all)]),
        };
        WorkoutView {
            id: format!("w-{}", x.slug),
            slug: x.slug.clone(),
            href: format!("/c/{}/workouts/{}", self.c.slug, x.slug),
            title: x.title.clone(),
            summary: if open {
                put(w.desk_summary, &counts)
            } else {
                put(w.desk_opens, &[("at", &When::new(window.opens, &self.c.time_zone).text)])
            },
            left: if open { until(self.c, window, now) } else { String::new() },
            open,
            running: open && now < window.closes,
            todo_title: put(w.desk_todo_n, &[("n", &todo.len())]),
            awaiting_title: put(w.desk_words.awaiting, &[("n", &awaiting.len())]),
            settled_title: put(w.desk_settled, &[("n", &settled.len())]),
            all_done: if open && todo.is_empty() && awaiting.is_empty() { all_done } else { String::new() },
            todo,
            awaiting,
            settled,
            visitor_action: self.base.to_owned(),
            vouch_action: format!("{}/{}/attestation", self.base, x.slug),
            script: self.script(x, window),
        }
    }

    fn script(&self, x: &Workout, window: &Window) -> ForScript {
        let plain = self.c.divisions.iter().filter(|d| d.combines.is_empty());
        let levels: Map<String, Value> = plain
            .map(|d| {
                let all: Vec<Value> = levels(self.c, x, &d.slug).iter().map(|(l, t)| json!([l, t])).collect();
                (d.slug.clone(), Value::Array(all))
            })
            .collect();
        ForScript {
            closes: window.closes.to_string(),
            attest_by: window.attest_by.to_string(),
            attest_text: When::new(window.attest_by, &self.c.time_zone).text,
            keys: if x.format == Format::MaxLoad { "kg lb x" } else { "" },
            levels: Value::Object(levels).to_string(),
            blank: Line { id: format!("{}-0", x.slug), href: format!("{}/{}/0", self.base, x.slug), ..Line::default() },
        }
    }

    fn line(&self, x: &Workout, r: &DeskRow) -> Line {
        let (w, score) = (words(), r.score.as_ref());
        let own = self.c.division(&r.division).map_or(0, |d| usize::from(d.level));
        let own = self.c.levels.get(own).map_or("", |l| l.slug.as_str());
        let level = score.map_or(own, |s| &s.level);
        let levels = levels(self.c, x, &r.division);
        let chosen = if levels.iter().any(|(l, _)| *l == level) { level } else { levels.first().map_or("", |l| l.0) };
        let attestation = score.and_then(|s| s.attestation.as_ref());
        Line {
            id: format!("{}-{}", x.slug, r.bib),
            href: format!("{}/{}/{}{}", self.base, x.slug, r.bib, self.tail),
            name: r.name.clone(),
            bib: r.bib,
            division: say::division(self.c, &r.division).to_owned(),
            division_slug: r.division.clone(),
            visiting: r.gym.as_deref() != Some(self.gym),
            text: score.map_or(String::new(), |s| s.performance.text.clone()),
            state: say::state(r.state, score.is_some_and(|s| s.refused)),
            code: r.state,
            etag: score.map_or(String::new(), |s| s.etag.clone()),
            level: level.to_owned(),
            levels: levels.iter().map(|(l, title)| Choice::new(*l, *title, chosen)).collect(),
            judge: attestation.map_or(String::new(), |a| a.judge.clone()),
            how: attestation.map_or("", |a| a.how),
            locked: score.is_some_and(|s| s.locked || matches!(s.state, "flagged" | "withheld")),
            label: put(w.desk_words.result_of, &[("name", &r.name), ("workout", &x.title)]),
            level_label: put(w.desk_words.level_of, &[("name", &r.name), ("workout", &x.title)]),
        }
    }
}

/// The levels at which a division's entries may do a workout: slug and title.
fn levels<'a>(c: &'a Competition, x: &Workout, division: &str) -> Vec<(&'a str, &'a str)> {
    let found = c.division(division);
    let fits = |n: u8| {
        let may = found.is_some_and(|d| n == d.level || (d.allow_lower && n > d.level));
        may && c.prescription(&x.slug, division, n).is_some()
    };
    (0u8..).zip(&c.levels).filter(|(n, _)| fits(*n)).map(|(_, l)| (&*l.slug, &*l.title)).collect()
}

/// "closes in 3 h 12 min"; after the close, how long judges may still vouch.
fn until(c: &Competition, window: &Window, now: Timestamp) -> String {
    let w = words();
    if let Some(time) = left(now, window.closes) {
        return put(w.closes_in, &[("left", &time)]);
    }
    let at = When::new(window.attest_by, &c.time_zone).text;
    match left(now, window.attest_by) {
        Some(time) => put(w.desk_attest_left, &[("left", &time), ("at", &at)]),
        None => w.desk_over.to_owned(),
    }
}
