//! One workout at the desk: what is left, what awaits a judge, what is settled.

use super::judges;
use crate::actions::heats::Filled;
use crate::actions::language;
use crate::actions::views::{DeskRow, DeskView, ScoreView};
use crate::rules::competition::Competition;
use crate::rules::window::{self, Window};
use crate::rules::workout::{Format, Workout};
use crate::web::pages::form::Choice;
use crate::web::pages::shell::{Dated, Link, left, words};
use crate::web::pages::{late_said, say, vouching};
use crate::words::{self, put};
use jiff::Timestamp;
use jiff::tz::TimeZone;
use serde_json::{Map, Value, json};
use std::collections::BTreeMap;

/// A workout of the desk.
pub(super) struct WorkoutView {
    pub(super) id: String,
    pub(super) slug: String,
    pub(super) href: String,
    pub(super) title: String,
    pub(super) summary: Dated,
    /// When it closes and until when judges may vouch, at this gym.
    pub(super) windows: Vec<Dated>,
    pub(super) left: Countdown,
    /// Scores can be entered.
    pub(super) open: bool,
    /// First scores count; of one where they do not any more, what is left is folded away.
    pub(super) running: bool,
    /// What is left, heat by heat; the last group, of those without one, is always there.
    pub(super) todo: Vec<Group>,
    pub(super) todo_title: String,
    /// Where each of those who are left has a field of their own, if not on the page as it comes.
    pub(super) fields_href: String,
    /// How judges are named where there are heats; empty: there are none.
    pub(super) heats_hint: &'static str,
    /// Stands for the heats as they are, for the script; empty: there are none.
    pub(super) heats: String,
    pub(super) all_done: String,
    pub(super) awaiting: Vec<Line>,
    /// The statement for those that are ticked was ticked too.
    pub(super) stated: bool,
    /// Whose word it was to be, as typed, and how they counted; empty: as at the desk.
    pub(super) vouched_by: String,
    pub(super) vouched_how: String,
    pub(super) awaiting_title: String,
    pub(super) settled: Vec<Line>,
    pub(super) settled_title: String,
    /// The desk, and where this workout's ticked results are vouched for.
    pub(super) visitor_action: String,
    pub(super) vouch_action: String,
    pub(super) script: ForScript,
}

/// How long there is, then how long first scores still count, and then how long judges may still vouch,
/// for `static/time.js` to keep right.
#[derive(Default)]
pub(super) struct Countdown {
    pub(super) text: String,
    pub(super) until: String,
    pub(super) say: &'static str,
    pub(super) grace_until: String,
    pub(super) grace_say: &'static str,
    pub(super) then_until: String,
    pub(super) then_say: &'static str,
    pub(super) over: &'static str,
}

/// What the script needs to know of a workout.
pub(super) struct ForScript {
    /// More keys than all workouts need.
    pub(super) keys: &'static str,
    /// Levels by division, as JSON: `{"women": [["prescribed", "As prescribed"]]}`.
    pub(super) levels: String,
    /// A row to be filled in for a visitor.
    pub(super) blank: Line,
}

/// Those of one heat, or without one.
pub(super) struct Group {
    /// Empty: there are no heats at all.
    pub(super) title: Dated,
    pub(super) lines: Vec<Line>,
}

impl WorkoutView {
    /// Everything that is left, in order.
    pub(super) fn left_to_do(&self) -> impl Iterator<Item = &Line> {
        self.todo.iter().flat_map(|g| &g.lines)
    }

    /// Whether each of those who are left has a field of their own on the page as it comes.
    pub(super) fn fields(&self) -> bool {
        self.fields_href.is_empty()
    }

    /// Whether a way of counting is the one that its form for many says.
    pub(super) fn vouches_how(&self, how: &Choice) -> bool {
        if self.vouched_how.is_empty() { how.chosen } else { self.vouched_how == how.value }
    }

    /// Every row of the workout.
    pub(super) fn lines(&self) -> impl Iterator<Item = &Line> {
        self.left_to_do().chain(&self.awaiting).chain(&self.settled)
    }
}

/// One entry.
#[derive(Clone, Default)]
#[expect(clippy::struct_excessive_bools, reason = "each is a fact of its own; none excludes another")]
pub(super) struct Line {
    /// Where it comes: heat, lane, bib; those without a heat last.
    pub(super) turn: (u32, u32, u32),
    /// In words; empty: in no heat.
    pub(super) place: String,
    /// In a heat: the judge of the lane, as a field shows it.
    pub(super) by: String,
    /// The code that the plan gives the lane; empty: none.
    pub(super) planned: String,
    pub(super) by_label: String,
    /// When it was done as the heat says, once that has begun: for a form, in the zone.
    pub(super) done: String,
    /// The same whether it has begun or not, for the script.
    pub(super) done_at: String,
    /// What is to be said of lateness.
    pub(super) late: Vec<String>,
    pub(super) id: String,
    pub(super) href: String,
    pub(super) name: String,
    pub(super) bib: u32,
    /// Which attempt it shows; 0: nothing is stored.
    pub(super) attempt: u32,
    /// It stands beside the line of the same entry, with an attempt that does not count.
    pub(super) other: bool,
    /// "Attempt 2", where it has to be said.
    pub(super) nth: String,
    /// Stands for the attempt in the names of fields.
    pub(super) key: String,
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
    /// "Saved 19:47", by the gym's clock; empty: nothing is stored.
    pub(super) saved: String,
    /// The same as an instant, for the script.
    pub(super) received: String,
    pub(super) sheet: String,
    pub(super) sheet_label: String,
    /// Only a referee changes it.
    pub(super) locked: bool,
    pub(super) label: String,
    pub(super) level_label: String,
    /// To be vouched for, in a form that has to be mended.
    pub(super) ticked: bool,
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
    /// The gym's judges: code and name.
    pub(super) judges: &'a [Link],
    /// Who vouches for those without a heat; empty: nobody.
    pub(super) judge: &'a str,
    /// Whether the reader may store results here.
    pub(super) enters: bool,
    /// The gym's zone, where it was given one.
    pub(super) own_zone: Option<&'a TimeZone>,
}

impl At<'_> {
    /// One workout with its list; `window` and `heats` are this gym's.
    pub(super) fn workout(
        &self,
        x: &Workout,
        window: &Window,
        list: &DeskView,
        heats: &BTreeMap<u32, Filled>,
    ) -> WorkoutView {
        let (w, now) = (words(), self.now);
        let open = now >= window.opens;
        let rows = list.rows.iter().filter(|_| open);
        let mut lines: Vec<Line> = rows.flat_map(|r| self.lines(x, r, heats.get(&r.bib))).collect();
        lines.sort_by_key(|l| l.turn);
        let is_left = |l: &Line| matches!(l.code, "missing" | "withdrawn" | "guest");
        let (todo, lines): (Vec<_>, Vec<_>) = lines.into_iter().partition(is_left);
        let (awaiting, settled): (Vec<_>, Vec<_>) = lines.into_iter().partition(|l| l.code == "entered");
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
                Dated::plain(put(w.desk_summary, &counts))
            } else {
                self.said(w.desk_opens, window.opens)
            },
            windows: if open {
                vec![
                    self.said(w.desk_words.closes, window.closes),
                    self.said(w.desk_words.vouch_until, window.attest_by),
                ]
            } else {
                Vec::new()
            },
            left: if open { until(window, now) } else { Countdown::default() },
            open,
            running: open && window.takes_scores(now),
            todo_title: put(w.desk_todo_n, &[("n", &todo.len())]),
            stated: false,
            vouched_by: String::new(),
            vouched_how: String::new(),
            awaiting_title: put(w.desk_words.awaiting, &[("n", &awaiting.len())]),
            settled_title: put(w.desk_settled, &[("n", &settled.len())]),
            all_done: if open && list.missing + list.awaiting == 0 { all_done } else { String::new() },
            heats_hint: if heats.is_empty() { "" } else { words::heats(language::reader()).desk_judges },
            heats: list.heats.clone().unwrap_or_default(),
            todo: self.groups(todo, heats),
            fields_href: String::new(),
            awaiting,
            settled,
            visitor_action: self.base.to_owned(),
            vouch_action: format!("{}/{}/attestation", self.base, x.slug),
            script: self.script(x),
        }
    }

    /// A sentence with an instant, in the competition's zone and the gym's.
    fn said(&self, sentence: &str, at: Timestamp) -> Dated {
        Dated::at_place(sentence, at, &self.c.time_zone, self.own_zone)
    }

    /// When it was stored: the hour, and the day where that is another.
    fn saved(&self, at: Timestamp) -> String {
        let w = words();
        let zone = self.own_zone.unwrap_or(&self.c.time_zone);
        let (then, now) = (at.to_zoned_datetime(zone.clone()), self.now.to_zoned_datetime(zone.clone()));
        let time = then.strftime("%H:%M").to_string();
        let time = if then.date() == now.date() { time } else { format!("{}, {time}", (w.day)(then.date())) };
        put(w.desk_words.script_words.saved_at, &[("time", &time)])
    }

    /// Heat by heat; those without one last.
    fn groups(&self, lines: Vec<Line>, heats: &BTreeMap<u32, Filled>) -> Vec<Group> {
        let h = words::heats(language::reader());
        let mut groups: Vec<Group> = Vec::new();
        let mut rest = Group { title: Dated::default(), lines: Vec::new() };
        for line in lines {
            let Some(filled) = heats.get(&line.bib) else {
                rest.lines.push(line);
                continue;
            };
            if groups.last().and_then(|g| g.lines.first()).is_none_or(|l| l.turn.0 != filled.heat) {
                let title = self.said(&put(h.desk_group, &[("n", &filled.heat)]), filled.start);
                groups.push(Group { title, lines: Vec::new() });
            }
            if let Some(group) = groups.last_mut() {
                group.lines.push(line);
            }
        }
        if !heats.is_empty() && !rest.lines.is_empty() {
            rest.title = Dated::plain(h.desk_rest);
        }
        groups.push(rest);
        groups
    }

    fn script(&self, x: &Workout) -> ForScript {
        let plain = self.c.divisions.iter().filter(|d| d.combines.is_empty());
        let levels: Map<String, Value> = plain
            .map(|d| {
                let all: Vec<Value> = levels(self.c, x, &d.slug).iter().map(|(l, t)| json!([l, t])).collect();
                (d.slug.clone(), Value::Array(all))
            })
            .collect();
        ForScript {
            keys: if x.format == Format::MaxLoad { "kg lb x" } else { "" },
            levels: Value::Object(levels).to_string(),
            blank: Line {
                turn: (u32::MAX, u32::MAX, 0),
                id: format!("{}-0", x.slug),
                href: format!("{}/{}/0", self.base, x.slug),
                ..Line::default()
            },
        }
    }

    /// The line of an entry, with the attempt that counts, and one for each other attempt.
    fn lines(&self, x: &Workout, r: &DeskRow, filled: Option<&Filled>) -> Vec<Line> {
        let others = r.others.iter().map(|score| self.line(x, r, filled, Some(score), true));
        std::iter::once(self.line(x, r, filled, r.score.as_ref(), false)).chain(others).collect()
    }

    fn line(&self, x: &Workout, r: &DeskRow, filled: Option<&Filled>, score: Option<&ScoreView>, other: bool) -> Line {
        let (w, h) = (words(), words::heats(language::reader()));
        let state = score.filter(|_| other).map_or(r.state, |s| s.state);
        let attempt = score.map_or(0, |s| s.attempt);
        let nth = if other || attempt > 1 { put(w.attempt_n, &[("n", &attempt)]) } else { String::new() };
        let named = |said: String| if nth.is_empty() { said } else { format!("{said}, {nth}") };
        let own = self.c.division(&r.division).map_or(0, |d| usize::from(d.level));
        let own = self.c.levels.get(own).map_or("", |l| l.slug.as_str());
        let level = score.map_or(own, |s| &s.level);
        let levels = levels(self.c, x, &r.division);
        let chosen = if levels.iter().any(|(l, _)| *l == level) { level } else { levels.first().map_or("", |l| l.0) };
        let stored = score.filter(|s| s.state != "withdrawn");
        let at = stored.map(received).or(r.stated_at);
        let attestation = score.and_then(|s| s.attestation.as_ref());
        let place = |f: &Filled| put(h.desk_place, &[("heat", &f.heat), ("lane", &f.lane)]);
        let by = |f: &Filled| match f.judge.as_deref().unwrap_or(self.judge) {
            "" => String::new(),
            code => judges::called(self.judges, code),
        };
        let done = filled.and_then(|f| f.performed_at);
        let local = |at: Timestamp| window::typed(at, &self.c.time_zone);
        Line {
            turn: filled.map_or((u32::MAX, u32::MAX, r.bib), |f| (f.heat, f.lane, r.bib)),
            place: filled.map_or(String::new(), place),
            by: filled.map_or(String::new(), by),
            planned: filled.and_then(|f| f.judge.clone()).unwrap_or_default(),
            by_label: put(h.desk_judge_of, &[("name", &r.name), ("workout", &x.title)]),
            done: done.filter(|at| *at <= self.now).map_or(String::new(), local),
            done_at: done.map_or(String::new(), |at| at.to_string()),
            late: score.map_or(Vec::new(), late_said::lines),
            id: if other { format!("{}-{}-{attempt}", x.slug, r.bib) } else { format!("{}-{}", x.slug, r.bib) },
            attempt,
            other,
            key: vouching::key(r.bib, attempt),
            href: if self.enters {
                let form = format!("{}/{}/{}{}", self.base, x.slug, r.bib, self.tail);
                let and = if self.tail.is_empty() { "?" } else { "&" };
                if other { format!("{form}{and}attempt={attempt}") } else { form }
            } else {
                format!("/c/{}/athletes/{}#w-{}", self.c.slug, r.bib, x.slug)
            },
            name: r.name.clone(),
            bib: r.bib,
            division: say::division(self.c, &r.division).to_owned(),
            division_slug: r.division.clone(),
            visiting: r.gym.as_deref() != Some(self.gym),
            text: score.map_or(String::new(), |s| s.performance.text.clone()),
            state: say::state(state, score.is_some_and(|s| s.refused)),
            code: state,
            etag: score.map_or(String::new(), |s| s.etag.clone()),
            level: level.to_owned(),
            levels: levels.iter().map(|(l, title)| Choice::new(*l, *title, chosen)).collect(),
            judge: attestation.map_or(String::new(), |a| a.judge.clone()),
            how: attestation.map_or("", |a| a.how),
            locked: r.entry_state == "withdrawn"
                || score.is_some_and(|s| s.locked || matches!(s.state, "flagged" | "withheld")),
            saved: at.map_or(String::new(), |at| self.saved(at)),
            received: at.map_or(String::new(), |at| at.to_string()),
            sheet: stored.and_then(|s| s.sheet.clone()).unwrap_or_default(),
            sheet_label: named(put(w.desk_words.script_words.sheet_of, &[("name", &r.name), ("workout", &x.title)])),
            label: named(put(w.desk_words.result_of, &[("name", &r.name), ("workout", &x.title)])),
            level_label: put(w.desk_words.level_of, &[("name", &r.name), ("workout", &x.title)]),
            ticked: false,
            nth,
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

/// "closes in 3 h 12 min"; after the close, how long first scores still count, then how long judges may
/// still vouch.
fn until(window: &Window, now: Timestamp) -> Countdown {
    let w = words();
    let steps =
        [(window.closes, w.closes_in), (window.grace_ends, w.desk_grace_left), (window.attest_by, w.desk_attest_left)];
    let next = steps.iter().find_map(|(at, say)| left(now, *at).map(|time| put(say, &[("left", &time)])));
    let [(until, say), (grace_until, grace_say), (then_until, then_say)] = steps.map(|(at, say)| (at.to_string(), say));
    let text = next.unwrap_or_else(|| w.desk_over.to_owned());
    Countdown { text, until, say, grace_until, grace_say, then_until, then_say, over: w.desk_over }
}

/// When what was saved last came: a correction that is late waits beside the score.
fn received(score: &ScoreView) -> Timestamp {
    score.waiting.as_ref().map_or(score.received_at, |waiting| waiting.received_at)
}
