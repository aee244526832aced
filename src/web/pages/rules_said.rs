//! How a workout is scored and an overall worked out, said in plain words from the compiled file.

use super::shell::words;
use crate::actions::language;
use crate::rules::competition::Competition;
use crate::rules::place::{LevelRule, Missing, Points, Running, Ties};
use crate::rules::quantity::{Millis, Rounding, TimeStep};
use crate::rules::worked;
use crate::rules::workout::{CountUnit, Format, IntervalMeasure, Scored, Task, Tiebreak, Workout};
use crate::words::Noun;
use crate::words::put;

/// "As many rounds and reps as possible in 12:00".
#[must_use]
pub fn format(task: &Task) -> String {
    let w = words();
    let cap = task.cap.map(Millis::exact).unwrap_or_default();
    let capped = |template| put(template, &[("cap", &cap)]);
    match task.format {
        Format::Amrap => capped(w.format_amrap),
        Format::ForTime => capped(w.format_for_time),
        Format::MaxLoad if task.lifts.len() > 1 => put(w.format_max_load_sum, &[("lifts", &task.lifts.join(", "))]),
        Format::MaxLoad => w.format_max_load.to_owned(),
        Format::MaxCount => capped(match task.unit {
            CountUnit::Reps => w.format_max_reps,
            CountUnit::Calories => w.format_max_calories,
            CountUnit::Metres => w.format_max_metres,
        }),
        Format::Intervals => {
            let (n, measure) = task.intervals.map_or((0, IntervalMeasure::Count), |i| (i.n, i.measure));
            let template = match measure {
                IntervalMeasure::Count => w.format_intervals_count,
                IntervalMeasure::Time => w.format_intervals_time,
            };
            put(template, &[("n", &(w.count)(u64::from(n), Noun::Interval))])
        }
    }
}

/// How places, overall points and ties are worked out here, as far as the reader knows the workouts.
#[must_use]
pub fn overall(c: &Competition, knows: impl Fn(&Workout) -> bool) -> Vec<String> {
    let (w, rules) = (words(), &c.overall);
    let mut said = vec![w.rule_place.to_owned()];
    if c.levels.len() > 1 {
        said.push(w.rule_level.to_owned());
    }
    said.push(w.rule_attested.to_owned());
    said.push(match &rules.points {
        Points::Places => w.rule_points_places.to_owned(),
        Points::Table { table, past_end_last } => {
            put(w.rule_points_table, &[("table", &points(table, *past_end_last))])
        }
    });
    for x in c.workouts.iter().filter(|x| x.weight > 1 && knows(x)) {
        said.push(put(w.rule_weight, &[("workout", &x.title), ("weight", &x.weight)]));
    }
    said.push(match rules.missing {
        Missing::AfterLast => w.rule_missing_after_last.to_owned(),
        Missing::BelowComplete => format!("{} {}", w.rule_missing_after_last, w.rule_missing_below),
        Missing::Unplaced => w.rule_missing_unplaced.to_owned(),
    });
    match rules.drop_worst {
        0 => {}
        1 => said.push(w.rule_drop_one.to_owned()),
        n => said.push(put(w.rule_drop, &[("n", &n)])),
    }
    if rules.level_rule == LevelRule::Lowest {
        said.push(w.rule_lowest_level.to_owned());
    }
    let mut ties = vec![match rules.ties {
        Ties::Countback => w.rule_ties_countback,
        Ties::Shared => w.rule_ties_shared,
    }];
    if rules.last_workout {
        ties.push(w.rule_last_workout);
    }
    if rules.ties == Ties::Countback || rules.last_workout {
        ties.push(w.rule_ties_end);
    }
    said.push(ties.join(" "));
    said.push(
        match rules.running {
            Running::With => w.rule_running_with,
            Running::Without => w.rule_running_without,
        }
        .to_owned(),
    );
    said
}

/// "100, 96, 93 …; places after that earn nothing".
fn points(table: &[u32], past_end_last: bool) -> String {
    let w = words();
    let numbers: Vec<String> = table.iter().map(u32::to_string).collect();
    format!("{}; {}", numbers.join(", "), if past_end_last { w.rule_table_last } else { w.rule_table_zero })
}

/// How this workout is scored, with examples made from its own scheme.
#[must_use]
pub fn scoring(x: &Workout) -> Vec<String> {
    let w = words();
    let mut said = scoring_rules(x);
    if let Some(example) = example(&x.task) {
        said.insert(1, example);
    }
    for p in worked::pairs(&x.task) {
        let gap = p.gap.say(language::reader());
        said.push(put(w.score_pair, &[("better", &p.better), ("other", &p.other), ("gap", &gap)]));
    }
    said
}

/// How this workout is scored; the first line is what is better.
#[must_use]
pub fn scoring_rules(x: &Workout) -> Vec<String> {
    let (w, task) = (words(), &x.task);
    let mut said = vec![match task.format {
        Format::Amrap => w.score_amrap.to_owned(),
        Format::ForTime => w.score_for_time.to_owned(),
        Format::MaxLoad if task.lifts.len() > 1 => {
            let missed = if task.all_required { w.score_max_load_all } else { w.score_max_load_some };
            format!("{} {missed}", w.score_max_load)
        }
        Format::MaxLoad => w.score_max_load.to_owned(),
        Format::MaxCount => w.score_max_count.to_owned(),
        Format::Intervals => intervals(task).to_owned(),
    }];
    said.push(tiebreak(task));
    if task.time_step != TimeStep::Second || task.time_rounding == Rounding::Up {
        let step = match task.time_step {
            TimeStep::Second => "1 s",
            TimeStep::Tenth => "0.1 s",
            TimeStep::Hundredth => "0.01 s",
        };
        let way = match task.time_rounding {
            Rounding::Down => w.way_down,
            Rounding::Up => w.way_up,
        };
        said.push(put(w.score_time_step, &[("step", &(w.decimal)(step)), ("way", &way)]));
    }
    if let Some(seconds) = x.seconds_per_rep {
        said.push(put(w.score_deduction, &[("n", &(w.count)(u64::from(seconds), Noun::Second))]));
    }
    said
}

fn intervals(task: &Task) -> &'static str {
    let w = words();
    let Some(i) = task.intervals else { return w.score_intervals_sum };
    match (i.scored, i.measure) {
        (Scored::Sum, IntervalMeasure::Count) => w.score_intervals_sum,
        (Scored::Sum, IntervalMeasure::Time) => w.score_intervals_sum_time,
        (Scored::Least, _) => w.score_intervals_least,
        (Scored::Best, _) => w.score_intervals_best,
        (Scored::Slowest, _) => w.score_intervals_slowest,
        (Scored::Fastest, _) => w.score_intervals_fastest,
    }
}

/// Rounds and a part of the next one, with their total: from the workout's own scheme.
#[must_use]
pub fn example_figures(task: &Task) -> Option<(String, u64)> {
    let scheme = task.scheme.as_ref().filter(|_| task.format == Format::Amrap)?;
    let reps = scheme.round_size(3)? / 3;
    let total = scheme.total(3, reps).ok()?;
    Some((format!("3+{reps}"), total))
}

fn example(task: &Task) -> Option<String> {
    let w = words();
    let (written, total) = example_figures(task)?;
    Some(put(w.score_amrap_example, &[("written", &written), ("reps", &(w.count)(total, Noun::Rep))]))
}

fn tiebreak(task: &Task) -> String {
    let w = words();
    let first = match &task.tiebreak {
        Tiebreak::None => return w.tiebreak_none.to_owned(),
        Tiebreak::EachRound => w.tiebreak_each_round.to_owned(),
        Tiebreak::EachStation => w.tiebreak_each_station.to_owned(),
        Tiebreak::At(totals) => {
            let totals: Vec<String> = totals.iter().map(u64::to_string).collect();
            put(w.tiebreak_at, &[("at", &totals.join(", "))])
        }
        Tiebreak::Time => w.tiebreak_time.to_owned(),
    };
    if task.format != Format::ForTime {
        return first;
    }
    format!("{first} {}", if task.tiebreak_for_finishers { w.tiebreak_finishers } else { w.tiebreak_unfinished })
}

/// How to write a result of this workout: written, and what it means.
#[must_use]
pub fn notation(task: &Task) -> Vec<(String, String)> {
    let w = words();
    let row = |written: &str, means: &str| (written.to_owned(), means.to_owned());
    let mut rows = match task.format {
        Format::Amrap => match example_figures(task) {
            Some((written, total)) => vec![
                (written.clone(), put(w.write_rounds, &[("reps", &written.trim_start_matches("3+"))])),
                (total.to_string(), w.write_total.to_owned()),
            ],
            None => vec![row("148", w.write_total)],
        },
        Format::ForTime => {
            vec![row("9:32", w.write_time), row("148 reps", w.write_capped), row("cap+12", w.write_left)]
        }
        Format::MaxLoad if task.lifts.len() > 1 => {
            let lifts: Vec<&str> = ["95", "120", "80", "60"].into_iter().cycle().take(task.lifts.len()).collect();
            vec![row(&format!("{} kg", lifts.join(" + ")), w.write_load_sum), row("no lift", w.write_no_lift)]
        }
        Format::MaxLoad => {
            vec![row("102.5 kg", w.write_load), row("225 lb", w.write_load_lb), row("no lift", w.write_no_lift)]
        }
        Format::MaxCount => vec![row(
            match task.unit {
                CountUnit::Reps => "148 reps",
                CountUnit::Calories => "57 cal",
                CountUnit::Metres => "1250 m",
            },
            w.write_count,
        )],
        Format::Intervals => vec![(interval_example(task), w.write_intervals.to_owned())],
    };
    let plain = rows.get(usize::from(task.format == Format::ForTime)).cloned();
    if let Some((first, means)) = plain.filter(|_| task.tiebreak != Tiebreak::None) {
        rows.push((format!("{first} tb 8:24"), format!("{means}, {}", w.write_tb)));
    }
    rows
}

fn interval_example(task: &Task) -> String {
    let (n, times) = task.intervals.map_or((4, false), |i| (i.n as usize, i.measure == IntervalMeasure::Time));
    let figures: &[&str] = if times { &["1:52", "1:58", "2:03", "2:01"] } else { &["21", "19", "18", "18"] };
    figures.iter().copied().cycle().take(n.min(60)).collect::<Vec<_>>().join("/")
}

/// What to write into the field of a result.
#[must_use]
pub fn hint(task: &Task) -> String {
    let w = words();
    let first = match task.format {
        Format::Amrap => {
            let example = example_figures(task).map_or("148".to_owned(), |(written, _)| written);
            put(w.hint_amrap, &[("example", &example)])
        }
        Format::ForTime => w.hint_for_time.to_owned(),
        Format::MaxLoad if task.lifts.len() > 1 => put(w.hint_max_load_sum, &[("lifts", &task.lifts.join(", "))]),
        Format::MaxLoad => w.hint_max_load.to_owned(),
        Format::MaxCount => {
            let unit = match task.unit {
                CountUnit::Reps => w.unit_reps,
                CountUnit::Calories => w.unit_calories,
                CountUnit::Metres => w.unit_metres,
            };
            put(w.hint_count, &[("unit", &unit)])
        }
        Format::Intervals => {
            let example = interval_example(task);
            let n = task.intervals.map_or(0, |i| u64::from(i.n));
            put(w.hint_intervals, &[("n", &(w.count)(n, Noun::Interval)), ("example", &example)])
        }
    };
    if task.tiebreak == Tiebreak::None { first } else { format!("{first}{}", w.hint_tiebreak) }
}
