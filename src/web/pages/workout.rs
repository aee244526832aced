//! `/c/{c}/workouts/{w}`: the brief, for athlete and judge before the start.

use super::markdown;
use super::scheme_said::{ItemView, SchemeView, divisions, height, load, schemes};
use super::shell::{Left, Link, Shell, When, words};
use super::{changes, competition, html, rules_said};
use crate::actions::language;
use crate::actions::reader::Reader;
use crate::app::App;
use crate::rules::competition::Competition;
use crate::rules::workout::{Attempts, Prescription, Publish, Workout};
use crate::web::extract::Path;
use crate::web::problem::Answer;
use crate::web::session::Caller;
use crate::web::shared::Shared;
use crate::words::cautions::Cautions;
use crate::words::en::pages::Pages;
use crate::words::{put, sheet};
use askama::Template;
use axum::extract::State;
use axum::response::IntoResponse;

#[derive(Template)]
#[template(path = "workout.html")]
struct View {
    shell: Shell,
    w: &'static Pages,
    title: String,
    state: &'static str,
    format: String,
    left: Option<Left>,
    facts: Vec<(&'static str, When, String)>,
    zone: String,
    more: Vec<(&'static str, String)>,
    schemes: Vec<SchemeView>,
    loads: Vec<Loads>,
    /// Safe HTML.
    standards: String,
    scoring: Vec<String>,
    written: Vec<(String, String)>,
    cautions: &'static Cautions,
    divisions: Vec<Link>,
    sheet: Link,
    /// Whether everybody may know of it.
    announced: bool,
    /// What was changed since, the newest first.
    changes: Vec<changes::ChangeView>,
}

/// Loads and heights of one prescription.
struct Loads {
    divisions: String,
    level: String,
    items: Vec<ItemView>,
    alternatives: String,
}

/// `GET /c/{c}/workouts/{w}`.
pub async fn get_workout(
    State(app): State<App>,
    caller: Caller,
    Path((slug, workout)): Path<(String, String)>,
) -> Answer {
    let reader = Reader::find(&app, &caller.actor, caller.received, &slug).await?;
    let shared = Shared::of(&app, &reader);
    let x = reader.workout(&workout)?;
    let c = &reader.competition;
    let base = format!("/c/{slug}");
    let places = |d: &str| format!("{base}/divisions/{d}/workouts/{workout}");
    let page = html(&View {
        shell: Shell::new(&caller, format!("{base}/workouts/{workout}"), format!("{} · {}", x.title, c.title))
            .below([Link::new(&base, &c.title), Link::new("", &x.title)]),
        w: words(),
        title: x.title.clone(),
        state: competition::phase(x, reader.now),
        format: rules_said::format(&x.task),
        left: competition::time_left(x, reader.now),
        facts: facts(c, x),
        zone: c.time_zone_name.clone(),
        more: more(x),
        schemes: schemes(c, x),
        loads: x.prescriptions.iter().filter_map(|p| loads(c, p)).collect(),
        standards: markdown::html(&x.standards),
        scoring: rules_said::scoring(x),
        written: rules_said::notation(&x.task),
        cautions: words().cautions,
        divisions: c.divisions.iter().map(|d| Link::new(places(&d.slug), &d.title)).collect(),
        sheet: Link::new(format!("{base}/workouts/{workout}/sheet"), sheet(language::reader()).link),
        announced: x.window.announced(reader.now),
        changes: changes::views(&app, &reader, x).await?,
    })?;
    Ok(shared.says(&caller, page.into_response()))
}

/// The instants of the window.
pub(super) fn facts(c: &Competition, x: &Workout) -> Vec<(&'static str, When, String)> {
    let w = words();
    let at = |t| When::new(t, &c.time_zone);
    let grace = if x.window.grace_ends > x.window.closes {
        put(w.grace_until, &[("at", &at(x.window.grace_ends).text)])
    } else {
        String::new()
    };
    vec![
        (w.opens, at(x.window.opens), String::new()),
        (w.closes, at(x.window.closes), grace),
        (w.attest_by, at(x.window.attest_by), String::new()),
    ]
}

/// Attempts, publishing, weight, evidence.
pub(super) fn more(x: &Workout) -> Vec<(&'static str, String)> {
    let w = words();
    let attempts = match x.attempts {
        Attempts::Best => w.attempts_best,
        Attempts::Last => w.attempts_last,
        Attempts::One => w.attempts_one,
    };
    let publish = match x.publish {
        Publish::Live => w.publish_live,
        Publish::AtClose => w.publish_at_close,
    };
    let mut rows = vec![(w.attempts, attempts.to_owned()), (w.publish, publish.to_owned())];
    if x.weight > 1 {
        rows.push((w.weight, put(w.weight_times, &[("n", &x.weight)])));
    }
    let mut evidence = Vec::new();
    if x.evidence.all {
        evidence.push(w.evidence_all.to_owned());
    }
    if let Some(top) = x.evidence.top {
        evidence.push(put(w.evidence_top, &[("n", &top)]));
    }
    if x.evidence.no_gym {
        evidence.push(w.evidence_no_gym.to_owned());
    }
    if !evidence.is_empty() {
        rows.push((w.evidence, evidence.join("; ")));
    }
    rows
}

fn loads(c: &Competition, p: &Prescription) -> Option<Loads> {
    let items: Vec<ItemView> = p.loads.iter().map(load).chain(p.heights.iter().map(height)).collect();
    if items.is_empty() && p.alternatives.is_empty() {
        return None;
    }
    let own = p.divisions.first().and_then(|d| c.division(d)).map(|d| d.level);
    let level = p.level.or(own).and_then(|l| c.levels.get(usize::from(l)));
    Some(Loads {
        divisions: divisions(c, p),
        level: level.map_or(String::new(), |l| l.title.clone()),
        items,
        alternatives: p.alternatives.clone(),
    })
}

#[cfg(test)]
mod tests {
    use super::super::samples;
    use super::super::scheme_said::{BlockView, StationView};
    use super::*;

    fn view() -> View {
        View {
            shell: samples::shell("Workout 1"),
            w: words(),
            title: samples::HOSTILE.to_owned(),
            state: words().window_open,
            format: "For time, at most 9:00".to_owned(),
            left: Some(samples::left("closes in 2 h")),
            facts: vec![(words().closes, samples::when(), "Scores are still taken.".to_owned())],
            zone: "Europe/Lisbon".to_owned(),
            more: vec![(words().attempts, "The best one counts".to_owned())],
            schemes: vec![SchemeView {
                whom: samples::BIDI.to_owned(),
                blocks: vec![BlockView {
                    title: samples::HOSTILE.to_owned(),
                    repeat: "3 rounds of:".to_owned(),
                    stations: vec![StationView { count: "20".to_owned(), movement: samples::LONG.to_owned() }],
                    by: String::new(),
                }],
                lines: vec!["That is 60 reps in all.".to_owned()],
            }],
            loads: vec![Loads {
                divisions: samples::BIDI.to_owned(),
                level: "prescribed".to_owned(),
                items: vec![ItemView {
                    item: samples::HOSTILE.to_owned(),
                    first: "16 kg".to_owned(),
                    second: "35 lb".to_owned(),
                }],
                alternatives: samples::HOSTILE.to_owned(),
            }],
            standards: markdown::html(samples::HOSTILE),
            scoring: vec!["More is better.".to_owned()],
            written: vec![("3+4".to_owned(), "three rounds".to_owned())],
            cautions: words().cautions,
            divisions: vec![Link::new("/c/s/divisions/women/workouts/w1", samples::LONG)],
            sheet: Link::new("/c/s/workouts/w1/sheet", sheet(language::reader()).link),
            announced: true,
            changes: vec![changes::ChangeView {
                at: samples::when(),
                reason: samples::BIDI.to_owned(),
                lines: vec![changes::Line {
                    what: "Load, kettlebell".to_owned(),
                    whom: samples::HOSTILE.to_owned(),
                    from: "24 kg".to_owned(),
                    to: samples::LONG.to_owned(),
                }],
            }],
        }
    }

    #[test]
    fn the_brief_survives_hostile_text_and_carries_all_cautions() {
        let page = view().render().expect("renders");
        samples::assert_sound(&page);
        for line in words().cautions.groups.iter().flat_map(|(_, lines)| lines.iter()) {
            assert!(page.contains(&line.replace('\'', "&#39;")), "{line}");
        }
        assert!(page.contains("16 kg <span class=\"faint\">(35 lb)</span>"));
    }

    #[test]
    fn a_workout_without_scheme_or_loads_says_so() {
        let bare =
            View { schemes: Vec::new(), loads: Vec::new(), standards: String::new(), changes: Vec::new(), ..view() };
        let page = bare.render().expect("renders");
        samples::assert_sound(&page);
        assert!(page.contains(words().loads_none) && page.contains(words().scheme_none));
        assert!(page.contains(words().changes_none));
    }
}
