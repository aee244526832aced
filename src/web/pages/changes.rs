//! What was changed of a workout since it was published: each change in the words of the page, as it
//! was and as it is, with the organiser's reason.
//!
//! Both files are said in the reader's language, fact by fact, and the facts compared. Where no fact
//! says a difference, the file's own key does.

use super::scheme_said::{BlockView, SchemeView, height, load, scheme_view};
use super::shell::{When, words};
use super::{competition, markdown, rules_said, workout};
use crate::actions::changes::{self, Changed, Told};
use crate::actions::reader::Reader;
use crate::actions::{Failure, language};
use crate::app::App;
use crate::rules::competition::{Competition, Difference};
use crate::rules::workout::{Prescription, Workout};
use crate::words::put;

/// One file that changed something.
#[derive(Debug, PartialEq, Eq)]
pub struct ChangeView {
    /// When it was applied.
    pub at: When,
    /// The organiser's reason; empty: nobody was asked then.
    pub reason: String,
    /// What changed.
    pub lines: Vec<Line>,
}

/// One thing that changed.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Line {
    /// `Load, barbell`.
    pub what: String,
    /// Whom it concerns; empty: everybody.
    pub whom: String,
    /// As it was; empty: there was none.
    pub from: String,
    /// As it is; empty: there is none.
    pub to: String,
}

/// One thing that a file says.
#[derive(Clone, Debug, PartialEq, Eq)]
struct Fact {
    what: String,
    /// Slugs of a division and a level, with what they are called; `None`: everybody.
    whom: Option<Whom>,
    value: String,
}

/// A division at a level.
#[derive(Clone, Debug, PartialEq, Eq)]
struct Whom {
    division: String,
    level: String,
    title: String,
}

/// The changes of a workout, the newest first.
pub async fn views(app: &App, reader: &Reader, x: &Workout) -> Result<Vec<ChangeView>, Failure> {
    // Said in a language, to somebody who knows of some workouts.
    let knows: Vec<&str> = reader.workouts().map(|x| x.slug.as_str()).collect();
    let form = format!("page {:?} {}", language::reader(), knows.join(" "));
    let told = changes::of_workout(app, reader, x, &form, |changed| lines(reader, &x.slug, changed)).await?;
    let view = |told: Told<Vec<Line>>| ChangeView {
        at: When::new(told.at, &reader.competition.time_zone),
        reason: told.reason.unwrap_or_default(),
        lines: told.what,
    };
    Ok(told.into_iter().map(view).filter(|c| !c.lines.is_empty()).collect())
}

fn lines(reader: &Reader, slug: &str, changed: &Changed) -> Vec<Line> {
    let (before, after) = (&changed.before, &changed.after);
    let knows = |x: &Workout| reader.competition.workout(&x.slug).is_some_and(|x| reader.sees(x));
    let mut found = Vec::new();
    if let (Some(old), Some(new), false) = (before.workout(slug), after.workout(slug), changed.own.is_empty()) {
        let both = whoms(before, old).into_iter().filter(|w| whoms(after, new).contains(w)).collect::<Vec<_>>();
        found = compared(&of_workout(before, old), &of_workout(after, new), &both);
        if found.is_empty() {
            found = by_key(&changed.own);
        }
    }
    if !changed.all.is_empty() {
        let all = compared(&of_all(before, knows), &of_all(after, knows), &[]);
        found.extend(if all.is_empty() { by_key(&changed.all) } else { all });
    }
    found
}

/// Differences as the file names them.
fn by_key(differences: &[Difference]) -> Vec<Line> {
    let line = |d: &Difference| Line {
        what: d.key.clone(),
        whom: String::new(),
        from: d.from.clone().unwrap_or_default(),
        to: d.to.clone().unwrap_or_default(),
    };
    differences.iter().map(line).collect()
}

/// What is said differently, in the order of the page. `both`: the divisions and levels that are in
/// both files: what comes or goes as a whole is no change of what it is.
fn compared(old: &[Fact], new: &[Fact], both: &[Whom]) -> Vec<Line> {
    let concerns = |f: &&Fact| f.whom.as_ref().is_none_or(|w| both.iter().any(|b| b.same(w)));
    let named = |f: &Fact| f.whom.as_ref().map(|w| (w.division.clone(), w.level.clone()));
    let of = |facts: &[Fact], at: &Fact| -> Vec<String> {
        let same = facts.iter().filter(|f| f.what == at.what && named(f) == named(at));
        same.map(|f| f.value.clone()).collect()
    };
    let mut groups: Vec<(Line, Vec<Whom>)> = Vec::new();
    let mut done: Vec<(String, Option<(String, String)>)> = Vec::new();
    for fact in new.iter().chain(old).filter(concerns) {
        let at = (fact.what.clone(), named(fact));
        if done.contains(&at) {
            continue;
        }
        let (was, is) = (of(old, fact), of(new, fact));
        let gone: Vec<&String> = was.iter().filter(|v| !is.contains(v)).collect();
        let come: Vec<&String> = is.iter().filter(|v| !was.contains(v)).collect();
        for n in 0..gone.len().max(come.len()) {
            let text = |side: &[&String]| side.get(n).map_or_else(String::new, |v| (*v).clone());
            let line = Line { what: at.0.clone(), whom: String::new(), from: text(&gone), to: text(&come) };
            let whom = fact.whom.clone();
            match groups.iter_mut().find(|(known, _)| *known == line) {
                Some((_, members)) => members.extend(whom),
                None => groups.push((line, whom.into_iter().collect())),
            }
        }
        done.push(at);
    }
    let said = groups.into_iter().map(|(line, members)| {
        let titles: Vec<&str> = members.iter().map(|w| w.title.as_str()).collect();
        let whom = if members.len() == both.len() { String::new() } else { titles.join(", ") };
        Line { whom, ..line }
    });
    said.collect()
}

impl Whom {
    fn same(&self, other: &Self) -> bool {
        self.division == other.division && self.level == other.level
    }
}

/// The divisions and levels that do a workout.
fn whoms(c: &Competition, x: &Workout) -> Vec<Whom> {
    prescribed(c, x).into_iter().map(|(whom, _)| whom).collect()
}

fn prescribed<'a>(c: &'a Competition, x: &Workout) -> Vec<(Whom, &'a Prescription)> {
    let mut found = Vec::new();
    for d in c.divisions.iter().filter(|d| !d.is_combined()) {
        for n in d.levels(c.levels.len()) {
            let Some((level, p)) = c.levels.get(usize::from(n)).zip(c.prescription(&x.slug, &d.slug, n)) else {
                continue;
            };
            let title = if n == d.level { d.title.clone() } else { format!("{} ({})", d.title, level.title) };
            found.push((Whom { division: d.slug.clone(), level: level.slug.clone(), title }, p));
        }
    }
    found
}

fn of_workout(c: &Competition, x: &Workout) -> Vec<Fact> {
    let w = words();
    let mut facts = Vec::new();
    let mut all = |what: &str, value: String| facts.push(Fact { what: what.to_owned(), whom: None, value });
    all(w.change_title, x.title.clone());
    for (what, at, grace) in workout::facts(c, &x.window) {
        all(what, at.text);
        if !grace.is_empty() {
            all(what, grace.text());
        }
    }
    for (what, value) in workout::more(x) {
        all(what, value);
    }
    let prescribed = prescribed(c, x);
    for (whom, p) in &prescribed {
        facts.extend(of_prescription(p).into_iter().map(|(what, value)| Fact {
            what,
            whom: Some(whom.clone()),
            value,
        }));
    }
    let mut all = |what: &str, value: String| facts.push(Fact { what: what.to_owned(), whom: None, value });
    for line in markdown::lines(super::workout::standards(x).0) {
        all(w.standards_of_movement, line);
    }
    for line in rules_said::scoring_rules(x, &x.task) {
        all(w.scoring_title, line);
    }
    facts
}

fn of_prescription(p: &Prescription) -> Vec<(String, String)> {
    let w = words();
    let mut facts = vec![(w.change_format.to_owned(), rules_said::format(&p.task))];
    if let Some(scheme) = &p.task.scheme {
        facts.push((w.scheme_title.to_owned(), in_a_line(&scheme_view(scheme, String::new()))));
    }
    for item in p.loads.iter().map(load).chain(p.heights.iter().map(height)) {
        let value = if item.second.is_empty() { item.first } else { format!("{} ({})", item.first, item.second) };
        facts.push((put(w.change_load, &[("item", &item.item)]), value));
    }
    if !p.alternatives.is_empty() {
        facts.push((w.change_alternatives.to_owned(), p.alternatives.clone()));
    }
    facts
}

/// A scheme without its strip.
fn in_a_line(scheme: &SchemeView) -> String {
    let block = |b: &BlockView| {
        let stations: Vec<String> = b.stations.iter().map(|s| format!("{} {}", s.count, s.movement)).collect();
        let parts = [b.title.as_str(), &b.repeat, &stations.join(", "), &b.by];
        parts.into_iter().filter(|part| !part.is_empty()).collect::<Vec<_>>().join(" ")
    };
    scheme.blocks.iter().map(block).collect::<Vec<_>>().join("; ")
}

/// What holds for all workouts.
fn of_all(c: &Competition, knows: impl Fn(&Workout) -> bool) -> Vec<Fact> {
    let w = words();
    let mut facts = Vec::new();
    let mut all = |what: String, value: String| facts.push(Fact { what, whom: None, value });
    for d in &c.divisions {
        let (who, level) = competition::division_said(c, d);
        let value = [who, level].into_iter().filter(|part| !part.is_empty()).collect::<Vec<_>>().join("; ");
        all(put(w.change_division, &[("division", &d.title)]), value);
    }
    all(w.divisions_title.to_owned(), competition::ages(c));
    all(w.time_zone.to_owned(), c.time_zone_name.clone());
    for level in &c.levels {
        all(w.level.to_owned(), level.title.clone());
    }
    for line in rules_said::overall(c, knows) {
        all(w.rules_title.to_owned(), line);
    }
    facts
}
