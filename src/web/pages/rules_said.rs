//! How a workout is scored and an overall worked out, said in plain words from the compiled file.

use super::shell::words;
use crate::actions::language;
use crate::rules::competition::Competition;
use crate::rules::performance::{Says, Way, ways};
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

/// How a task of this workout is scored, with examples made from its own scheme.
#[must_use]
pub fn scoring(x: &Workout, task: &Task) -> Vec<String> {
    let w = words();
    let mut said = scoring_rules(x, task);
    if let Some(example) = example(task) {
        said.insert(1, example);
    }
    for p in worked::pairs(task) {
        let gap = language::say(&p.gap);
        said.push(put(w.score_pair, &[("better", &p.better), ("other", &p.other), ("gap", &gap)]));
    }
    said
}

/// How a task of this workout is scored; the first line is what is better.
#[must_use]
pub fn scoring_rules(x: &Workout, task: &Task) -> Vec<String> {
    let w = words();
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

/// "3+22 is 154 reps in all", where rounds are counted.
fn example(task: &Task) -> Option<String> {
    let w = words();
    let rounds = ways(task).into_iter().find(|way| matches!(way.says, Says::Rounds { .. }))?;
    let Says::Rounds { rounds: whole, reps } = rounds.says else { return None };
    let total = task.scheme.as_ref()?.total(whole, reps).ok()?;
    Some(put(w.score_amrap_example, &[("written", &rounds.text), ("reps", &(w.count)(total, Noun::Rep))]))
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

/// How to write a result of this task: written, and what it means.
#[must_use]
pub fn notation(task: &Task) -> Vec<(String, String)> {
    ways(task).into_iter().map(|way| (way.text.clone(), means(&way))).collect()
}

fn means(way: &Way) -> String {
    let w = words();
    let n = |n, noun| (w.count)(n, noun);
    let said = match way.says {
        Says::Rounds { rounds, reps } => {
            put(w.write_rounds, &[("rounds", &n(rounds, Noun::Round)), ("reps", &n(reps, Noun::Rep))])
        }
        Says::Left(left) => put(w.write_left, &[("reps", &n(left, Noun::Rep))]),
        Says::Total => w.write_total.to_owned(),
        Says::Finished => w.write_time.to_owned(),
        Says::Capped => w.write_capped.to_owned(),
        Says::Load => w.write_load.to_owned(),
        Says::LoadInPounds => w.write_load_lb.to_owned(),
        Says::Lifts => w.write_load_sum.to_owned(),
        Says::NoLift => w.write_no_lift.to_owned(),
        Says::Count => w.write_count.to_owned(),
        Says::Intervals => w.write_intervals.to_owned(),
    };
    match way.tiebreak {
        Some(time) => format!("{said}, {}", put(w.write_tb, &[("time", &time.exact())])),
        None => said,
    }
}

/// What to write into the field of a result.
#[must_use]
pub fn hint(task: &Task) -> String {
    let w = words();
    let ways = ways(task);
    let written = |which: fn(Says) -> bool| ways.iter().find(|way| which(way.says)).map(|way| way.text.as_str());
    let first = match task.format {
        Format::Amrap => match written(|s| matches!(s, Says::Rounds { .. })) {
            Some(example) => put(w.hint_amrap, &[("example", &example)]),
            None => said(w.hint_total, &[("example", written(|s| s == Says::Total))]),
        },
        Format::ForTime => {
            let (time, reps) = (written(|s| s == Says::Finished), written(|s| s == Says::Capped));
            said(w.hint_for_time, &[("time", time), ("reps", reps)])
        }
        Format::MaxLoad if task.lifts.len() > 1 => {
            let example = written(|s| s == Says::Lifts);
            said(w.hint_max_load_sum, &[("lifts", Some(&task.lifts.join(", "))), ("example", example)])
        }
        Format::MaxLoad => {
            let (kg, lb) = (written(|s| s == Says::Load), written(|s| s == Says::LoadInPounds));
            said(w.hint_max_load, &[("kg", kg), ("lb", lb)])
        }
        Format::MaxCount => {
            let unit = match task.unit {
                CountUnit::Reps => w.unit_reps,
                CountUnit::Calories => w.unit_calories,
                CountUnit::Metres => w.unit_metres,
            };
            put(w.hint_count, &[("unit", &unit)])
        }
        Format::Intervals => {
            let n = (w.count)(task.intervals.map_or(0, |i| u64::from(i.n)), Noun::Interval);
            said(w.hint_intervals, &[("n", Some(&n)), ("example", written(|s| s == Says::Intervals))])
        }
    };
    match ways.iter().find(|way| way.tiebreak.is_some()) {
        Some(way) => first + &put(w.hint_tiebreak, &[("example", &way.text)]),
        None => first,
    }
}

/// A text with what is known; what no task that can be scored lacks stays empty.
fn said(template: &str, parts: &[(&'static str, Option<&str>)]) -> String {
    let parts: Vec<(&'static str, &str)> = parts.iter().map(|(name, part)| (*name, part.unwrap_or_default())).collect();
    let parts: Vec<(&'static str, &dyn std::fmt::Display)> =
        parts.iter().map(|(name, part)| (*name, part as _)).collect();
    put(template, &parts)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::actions::language::speaking;
    use crate::rules::competition::{compile, from_toml};
    use crate::rules::performance::{Around, RawPerformance, check};
    use crate::words::Lang;

    /// The tasks of a file, each once; `{dates}` left open are filled in.
    fn tasks(text: &str) -> Vec<(String, Task)> {
        let mut text = text.replace("{age_date}", "2027-01-15");
        for (month, w) in ["w1", "w2", "w4", "w5"].into_iter().enumerate() {
            for (day, at) in [(1, "announce"), (2, "opens"), (6, "closes")] {
                text = text.replace(&format!("{{{w}_{at}}}"), &format!("2027-{:02}-{day:02}T18:00", month + 1));
            }
        }
        let compiled = compile(&from_toml(&text).expect("reads")).expect("holds together").value;
        let of = |x: &Workout| {
            let own =
                |p: &crate::rules::workout::Prescription| (format!("{} {:?}", x.slug, p.divisions), p.task.clone());
            std::iter::once((x.slug.clone(), x.task.clone())).chain(x.prescriptions.iter().map(own)).collect::<Vec<_>>()
        };
        compiled.workouts.iter().flat_map(of).collect()
    }

    fn all() -> Vec<(String, Task)> {
        let files = [
            include_str!("../../cli/demo/series.toml"),
            include_str!("organise/example.toml"),
            include_str!("../../../tests/data/saltmarsh.toml"),
            include_str!("../../../tests/data/small.toml"),
            include_str!("../../../tests/data/hard_on_paper.toml"),
        ];
        files.into_iter().flat_map(tasks).collect()
    }

    #[tokio::test]
    async fn every_example_and_every_hint_is_a_result_that_is_taken() {
        for lang in Lang::ALL {
            speaking(lang, async {
                for (whose, task) in all() {
                    let rows = notation(&task);
                    assert!(!rows.is_empty(), "{whose}");
                    let timed = task.tiebreak != Tiebreak::None;
                    assert_eq!(rows.iter().any(|row| row.0.contains(" tb ")), timed, "{whose}: {rows:?}");
                    for (text, means) in &rows {
                        let checked = check(&task, &RawPerformance::Text(text.clone()), &Around::default());
                        let questions = checked.as_ref().map(|c| c.questions.clone());
                        assert_eq!(questions, Ok(Vec::new()), "{whose}: {text} ({means})");
                    }
                    // Whatever figure the hint shows is one of them: nothing else in it has a digit.
                    let mut rest = hint(&task);
                    for text in rows.iter().map(|row| &row.0).rev() {
                        rest = rest.replace(text.as_str(), "");
                    }
                    rest = rest.replacen(&task.intervals.map_or(0, |i| i.n).to_string(), "", 1);
                    assert!(!rest.contains(|c: char| c.is_ascii_digit()), "{whose}: {} leaves {rest}", hint(&task));
                    assert!(!rest.contains('{'), "{whose}: {rest}");
                }
            })
            .await;
        }
    }

    #[test]
    fn what_a_refusal_shows_as_an_example_is_taken_too() {
        for (whose, task) in all() {
            let faults =
                check(&task, &RawPerformance::Text("soon".to_owned()), &Around::default()).expect_err("refused");
            for fault in faults {
                for (name, value) in fault.sentence.args() {
                    let text = value.say(Lang::En).into_owned();
                    if !["example", "other"].contains(&name) || text.ends_with('…') {
                        continue;
                    }
                    let whole = task.format == Format::Intervals && name == "other";
                    let checked = check(&task, &RawPerformance::Text(text.clone()), &Around::default());
                    assert!(whole || checked.is_ok(), "{whose}: {text} {checked:?}");
                }
            }
        }
    }

    #[test]
    fn a_division_with_counts_of_its_own_has_examples_of_its_own() {
        let found = |whose: &str| {
            let tasks = tasks(include_str!("../../cli/demo/series.toml"));
            let task = &tasks.iter().find(|(name, _)| name.starts_with(whose)).expect("is there").1;
            notation(task).into_iter().map(|row| row.0).collect::<Vec<_>>()
        };
        // 96 reps in 8:00, and 72 for those of 50 and over.
        assert_eq!(found("w2"), ["6:24", "76 reps", "cap+20", "76 reps tb 6:44"]);
        assert_eq!(found("w2 [\"women-50\"]"), ["6:24", "57 reps", "cap+15", "57 reps tb 6:44"]);
    }
}
