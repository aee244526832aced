//! `/c/{c}/workouts/{w}`: the brief, for athlete and judge before the start.

use super::markdown;
use super::scheme_said::{ItemView, SchemeView, divisions, height, load, schemes, whom};
use super::shell::{Dated, Left, Link, Shell, When, words};
use super::{changes, competition, html, rules_said};
use crate::actions::language;
use crate::actions::reader::Reader;
use crate::actions::times::Times;
use crate::app::App;
use crate::rules::competition::Competition;
use crate::rules::window::Window;
use crate::rules::workout::{Attempts, Prescription, Publish, Task, Workout};
use crate::web::extract::Path;
use crate::web::problem::Answer;
use crate::web::session::Caller;
use crate::web::shared::Shared;
use crate::words::cautions::Cautions;
use crate::words::en::pages::Pages;
use crate::words::{apart, put, sheet};
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
    /// What is done in the same effort.
    session: Option<String>,
    left: Option<Left>,
    /// Who has more time; empty: nobody.
    more_time: Dated,
    facts: Vec<(&'static str, When, Dated)>,
    zone: String,
    more: Vec<(&'static str, String)>,
    schemes: Vec<SchemeView>,
    loads: Vec<Loads>,
    /// Safe HTML, and its language where the file says it.
    standards: String,
    standards_lang: String,
    /// The same in other languages.
    others: Vec<Other>,
    scoring: Vec<String>,
    examples: Vec<Examples>,
    cautions: &'static Cautions,
    divisions: Vec<Link>,
    sheet: Link,
    /// Whether everybody may know of it.
    announced: bool,
    /// What was changed since, the newest first.
    changes: Vec<changes::ChangeView>,
}

/// The standards in a language that is not the reader's.
struct Other {
    /// Its tag; empty: as the file has them by default.
    lang: String,
    /// Its own name.
    name: String,
    /// Safe HTML.
    text: String,
}

/// How results of some divisions are written and compared, from their own scheme.
#[derive(PartialEq, Eq)]
struct Examples {
    /// Empty: all.
    whom: String,
    lines: Vec<String>,
    /// Written, and what it means.
    written: Vec<(String, String)>,
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
    let times = Times::of(&app, &reader).await?;
    let (c, window) = (&reader.competition, times.window(x));
    let base = format!("/c/{slug}");
    let places = |d: &str| format!("{base}/divisions/{d}/workouts/{workout}");
    let (scoring, examples) = examples(c, x);
    let (text, lang) = standards(x);
    let page = html(&View {
        shell: Shell::new(
            &caller,
            format!("{base}/workouts/{workout}"),
            format!("{} · {}", apart(&x.title), apart(&c.title)),
        )
        .below([Link::new(&base, &c.title), Link::new("", &x.title)]),
        w: words(),
        title: x.title.clone(),
        state: competition::phase(&window, reader.now),
        format: rules_said::format(&x.task),
        session: competition::one_effort(&reader, x),
        left: competition::time_left(&window, reader.now),
        more_time: competition::more_time(&reader, &times, x).unwrap_or_default(),
        facts: facts(c, &window),
        zone: c.time_zone_name.clone(),
        more: more(x),
        schemes: schemes(c, x),
        loads: x.prescriptions.iter().filter_map(|p| loads(c, p)).collect(),
        standards: markdown::html(text),
        standards_lang: lang.to_owned(),
        others: others(x),
        scoring,
        examples,
        cautions: words().cautions,
        divisions: c.divisions.iter().map(|d| Link::new(places(&d.slug), &d.title)).collect(),
        sheet: Link::new(format!("{base}/workouts/{workout}/sheet"), sheet(language::reader()).link),
        announced: x.window.announced(reader.now),
        changes: changes::views(&app, &reader, x).await?,
    })?;
    Ok(shared.says(&caller, page.into_response()))
}

/// The standards as the reader has them: in the reader's language where the file has it, else as it
/// has them by default. With their language, where the file says it.
pub(super) fn standards(x: &Workout) -> (&str, &str) {
    let reader = language::reader().tag();
    let own = x.standards_in.iter().find(|(tag, _)| primary(tag).eq_ignore_ascii_case(reader));
    own.map_or((&x.standards, ""), |(tag, text)| (text, tag))
}

/// `pt` of `pt-BR`.
fn primary(tag: &str) -> &str {
    tag.split(['-', '_']).next().unwrap_or(tag)
}

/// The standards in the other languages that the file has.
fn others(x: &Workout) -> Vec<Other> {
    let (_, shown) = standards(x);
    let default = (String::new(), x.standards.clone());
    std::iter::once(&default)
        .chain(&x.standards_in)
        .filter(|(tag, text)| tag != shown && !text.is_empty())
        .map(|(tag, text)| Other { lang: tag.clone(), name: own_name(tag), text: markdown::html(text) })
        .collect()
}

/// What a language calls itself; its tag where that is not known here.
fn own_name(tag: &str) -> String {
    let name = match primary(tag).to_ascii_lowercase().as_str() {
        "" => words().standards_default,
        "cs" => "Čeština",
        "da" => "Dansk",
        "de" => "Deutsch",
        "en" => "English",
        "es" => "Español",
        "fi" => "Suomi",
        "fr" => "Français",
        "it" => "Italiano",
        "nb" | "no" => "Norsk",
        "nl" => "Nederlands",
        "pl" => "Polski",
        "pt" => "Português",
        "sv" => "Svenska",
        _ => return tag.to_owned(),
    };
    if tag.contains(['-', '_']) { format!("{name} ({tag})") } else { name.to_owned() }
}

/// What is said of the scoring for all, and what differs by division: made from their own schemes.
fn examples(c: &Competition, x: &Workout) -> (Vec<String>, Vec<Examples>) {
    let of = |task: &Task| {
        let format = rules_said::format(task);
        let own = (format != rules_said::format(&x.task)).then_some(format);
        let lines = own.into_iter().chain(rules_said::scoring(x, task)).collect();
        Examples { whom: String::new(), lines, written: rules_said::notation(task) }
    };
    let mut groups: Vec<(Examples, Vec<String>)> = Vec::new();
    for p in &x.prescriptions {
        let said = of(&p.task);
        match groups.iter_mut().find(|(other, _)| *other == said) {
            Some((_, members)) => members.push(whom(c, p)),
            None => groups.push((said, vec![whom(c, p)])),
        }
    }
    if groups.is_empty() {
        groups.push((of(&x.task), Vec::new()));
    }
    let single = groups.len() == 1;
    let everywhere = |line: &String| groups.iter().all(|(said, _)| said.lines.contains(line));
    let first = groups.first().map_or(&[][..], |(said, _)| &said.lines);
    let shared: Vec<String> = first.iter().filter(|line| everywhere(line)).cloned().collect();
    let own = groups.into_iter().map(|(said, members)| Examples {
        whom: if single { String::new() } else { members.join("; ") },
        lines: said.lines.into_iter().filter(|line| !shared.contains(line)).collect(),
        written: said.written,
    });
    let own = own.collect();
    (shared, own)
}

/// The instants of the window.
pub(super) fn facts(c: &Competition, window: &Window) -> Vec<(&'static str, When, Dated)> {
    let w = words();
    let at = |t| When::new(t, &c.time_zone);
    let grace = if window.grace_ends > window.closes {
        Dated::new(w.grace_until, window.grace_ends, &c.time_zone)
    } else {
        Dated::default()
    };
    vec![
        (w.opens, at(window.opens), Dated::default()),
        (w.closes, at(window.closes), grace),
        (w.attest_by, at(window.attest_by), Dated::default()),
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
            session: Some(apart(samples::HOSTILE)),
            left: Some(samples::left("closes in 2 h")),
            more_time: Dated::plain("You were given more time."),
            facts: vec![(words().closes, samples::when(), Dated::plain("Scores are still taken."))],
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
            standards_lang: "de".to_owned(),
            others: vec![Other { lang: "pt".to_owned(), name: own_name("pt"), text: markdown::html(samples::HOSTILE) }],
            scoring: vec!["More is better.".to_owned()],
            examples: vec![Examples {
                whom: samples::HOSTILE.to_owned(),
                lines: vec![samples::BIDI.to_owned()],
                written: vec![("3+4".to_owned(), "three rounds".to_owned())],
            }],
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

    #[tokio::test]
    async fn the_standards_are_in_the_readers_language_where_the_file_has_it() {
        let text = include_str!("../../../tests/data/saltmarsh.toml");
        let text = text.replacen("standards_in = { pt", "standards_in = { de-CH = \"Hüfte gestreckt.\", pt", 1);
        let raw = crate::rules::competition::from_toml(&text).expect("reads");
        let c = crate::rules::competition::compile(&raw).expect("holds together").value;
        let x = c.workouts.iter().find(|x| !x.standards_in.is_empty()).expect("is there");
        let names = || others(x).into_iter().map(|o| (o.lang, o.name)).collect::<Vec<_>>();
        let name = |tag: &str, name: &str| (tag.to_owned(), name.to_owned());
        assert_eq!(standards(x), (x.standards.as_str(), ""));
        assert_eq!(names(), [name("de-CH", "Deutsch (de-CH)"), name("pt", "Português")]);
        language::speaking(crate::words::Lang::De, async {
            assert_eq!(standards(x), ("Hüfte gestreckt.", "de-CH"));
            assert_eq!(names(), [name("", words().standards_default), name("pt", "Português")]);
        })
        .await;
    }

    #[test]
    fn what_is_the_same_for_all_is_said_once_and_examples_by_division_where_schemes_differ() {
        let text = include_str!("../../../tests/data/saltmarsh.toml");
        let raw = crate::rules::competition::from_toml(text).expect("reads");
        let c = crate::rules::competition::compile(&raw).expect("holds together").value;
        for x in &c.workouts {
            let (shared, groups) = examples(&c, x);
            assert!(shared.contains(&rules_said::scoring_rules(x, &x.task)[0]), "{}", x.slug);
            assert_eq!(groups.len() == 1, groups.iter().any(|g| g.whom.is_empty()), "{}", x.slug);
            assert!(groups.iter().all(|g| !g.written.is_empty() && g.lines.iter().all(|l| !shared.contains(l))));
        }
    }

    #[test]
    fn a_workout_without_scheme_or_loads_says_so() {
        let bare = View {
            schemes: Vec::new(),
            loads: Vec::new(),
            standards: String::new(),
            others: Vec::new(),
            changes: Vec::new(),
            ..view()
        };
        let page = bare.render().expect("renders");
        samples::assert_sound(&page);
        assert!(page.contains(words().loads_none) && page.contains(words().scheme_none));
        assert!(page.contains(words().changes_none));
    }
}
