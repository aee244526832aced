//! `/desk/{c}/{gym}`: what is left to do, for a gym's staff on the last evening.

use super::competition::time_left;
use super::form::Fields;
use super::shell::{Link, Shell, When, encoded, left, words};
use super::{html, say};
use crate::actions::lists::{self, Find};
use crate::actions::reader::Reader;
use crate::actions::score::DeskQuery;
use crate::actions::views::{DeskRow, DeskView};
use crate::actions::{ScorePath, score, standings};
use crate::app::App;
use crate::rules::access::{Act, permit};
use crate::rules::competition::Competition;
use crate::rules::performance::{self, Around, RawPerformance};
use crate::rules::workout::Workout;
use crate::web::extract::{Path, Query};
use crate::web::problem::Answer;
use crate::web::session::Caller;
use crate::words::en::pages::Pages;
use crate::words::{Lang, Sentence, put};
use askama::Template;
use axum::extract::State;
use axum::response::{IntoResponse, Redirect};

#[derive(Template)]
#[template(path = "desk.html")]
struct View {
    shell: Shell,
    w: &'static Pages,
    title: String,
    saved: Option<Saved>,
    workouts: Vec<WorkoutView>,
}

/// What has just been stored.
struct Saved {
    title: String,
    lines: Vec<String>,
    next: Option<Link>,
}

struct WorkoutView {
    id: String,
    slug: String,
    href: String,
    title: String,
    summary: String,
    left: String,
    /// Scores can be entered.
    open: bool,
    /// In time; of one that has closed, what is left is folded away.
    running: bool,
    todo: Vec<Line>,
    todo_title: String,
    all_done: String,
    settled: Vec<Line>,
    settled_title: String,
    visitor_action: String,
}

/// One entry.
struct Line {
    href: String,
    name: String,
    bib: u32,
    division: String,
    text: String,
    state: &'static str,
}

/// What a page of the desk remembers from one athlete to the next: the judge, and how.
fn remembered(fields: &Fields) -> String {
    let both = ["judge", "how"].map(|n| (n, fields.get(n)));
    let said: Vec<String> =
        both.iter().filter(|(_, v)| !v.is_empty()).map(|(n, v)| format!("{n}={}", encoded(v))).collect();
    if said.is_empty() { String::new() } else { format!("?{}", said.join("&")) }
}

/// `GET /desk/{c}/{gym}`.
pub async fn get_desk(
    State(app): State<App>,
    caller: Caller,
    Path((slug, gym)): Path<(String, String)>,
    Query(fields): Query<Fields>,
) -> Answer {
    let (w, actor, now) = (words(), &caller.actor, caller.received);
    let reader = Reader::find(&app, actor, now, &slug).await?;
    permit(actor, Act::ReadDesk { competition: &slug, gym: Some(&gym) })?;
    let base = format!("/desk/{}/{}", encoded(&slug), encoded(&gym));
    if let (Some(bib), Some(workout)) = (fields.find("bib"), fields.find("workout")) {
        return Ok(Redirect::to(&format!("{base}/{}/{}", encoded(&workout), encoded(&bib))).into_response());
    }
    let gyms = lists::gyms(&app, actor, now, &slug, &Find::default()).await?;
    let Some(found) = gyms.iter().find(|g| g.slug == gym) else {
        let sentence = Sentence::new("no_gym").with("gym", crate::actions::reader::shown(&gym));
        return Err(crate::web::problem::Problem::not_found(sentence));
    };
    let tail = remembered(&fields);
    let mut open: Vec<&Workout> = reader.workouts().collect();
    // The running ones first, then by their close; those still to come last.
    open.sort_by_key(|x| (x.window.opens > now, x.window.attest_by <= now, x.window.closes));
    let mut workouts = Vec::new();
    for x in open {
        let query = DeskQuery { gym: Some(gym.clone()), state: None };
        let list = score::desk(&app, actor, now, &slug, &x.slug, query).await?;
        workouts.push(workout(&reader, x, &list, &base, &tail));
    }
    let saved = match saved_path(&slug, fields.get("saved")) {
        Some(path) => saved(&app, &reader, &path, &workouts).await?,
        None => None,
    };
    let c = &reader.competition;
    let title = put(w.desk_title, &[("gym", &found.name)]);
    let view = View {
        shell: Shell::new(&caller, base, &title)
            .below([Link::new(format!("/c/{slug}"), &c.title), Link::new("", &title)]),
        w,
        title,
        saved,
        workouts,
    };
    Ok(html(&view)?.into_response())
}

fn workout(reader: &Reader, x: &Workout, list: &DeskView, base: &str, tail: &str) -> WorkoutView {
    let (w, c, now) = (words(), &reader.competition, reader.now);
    let open = now >= x.window.opens;
    let line = |r: &DeskRow| Line {
        href: format!("{base}/{}/{}{tail}", x.slug, r.bib),
        name: r.name.clone(),
        bib: r.bib,
        division: say::division(c, &r.division).to_owned(),
        text: r.score.as_ref().map_or(String::new(), |s| s.performance.text.clone()),
        state: say::state(r.state, r.score.as_ref().is_some_and(|s| s.refused)),
    };
    let is_left = |r: &&DeskRow| matches!(r.state, "missing" | "entered" | "withdrawn");
    let todo: Vec<Line> = list.rows.iter().filter(|r| open && is_left(r)).map(line).collect();
    let settled: Vec<Line> = list.rows.iter().filter(|r| open && !is_left(r)).map(line).collect();
    let counts: [(&'static str, &dyn std::fmt::Display); 4] =
        [("settled", &list.settled), ("all", &list.entries), ("waiting", &list.awaiting), ("missing", &list.missing)];
    let all_done = match list.entries {
        0 => w.desk_nobody.to_owned(),
        all => put(w.desk_all_done, &[("all", &all)]),
    };
    WorkoutView {
        id: format!("w-{}", x.slug),
        slug: x.slug.clone(),
        href: format!("/c/{}/workouts/{}", c.slug, x.slug),
        title: x.title.clone(),
        summary: if open {
            put(w.desk_summary, &counts)
        } else {
            put(w.desk_opens, &[("at", &When::new(x.window.opens, &c.time_zone).text)])
        },
        left: if open { until(c, x, reader) } else { String::new() },
        open,
        running: open && now < x.window.closes,
        todo_title: put(w.desk_todo_n, &[("n", &todo.len())]),
        settled_title: put(w.desk_settled, &[("n", &settled.len())]),
        todo,
        all_done: if open { all_done } else { String::new() },
        settled,
        visitor_action: base.to_owned(),
    }
}

/// "closes in 3 h 12 min"; after the close, how long judges may still vouch.
fn until(c: &Competition, x: &Workout, reader: &Reader) -> String {
    let w = words();
    if let Some(left) = time_left(x, reader.now) {
        return left;
    }
    let at = When::new(x.window.attest_by, &c.time_zone).text;
    match left(reader.now, x.window.attest_by) {
        Some(time) => put(w.desk_attest_left, &[("left", &time), ("at", &at)]),
        None => w.desk_over.to_owned(),
    }
}

/// `w1/1042`.
fn saved_path(competition: &str, saved: &str) -> Option<ScorePath> {
    let (workout, bib) = saved.split_once('/')?;
    Some(ScorePath { competition: competition.to_owned(), workout: workout.to_owned(), bib: bib.parse().ok()? })
}

/// What has just been stored, with its place now, and who is next.
async fn saved(app: &App, reader: &Reader, path: &ScorePath, workouts: &[WorkoutView]) -> Answer<Option<Saved>> {
    let (w, c, now) = (words(), &reader.competition, reader.now);
    let Ok(x) = reader.workout(&path.workout) else { return Ok(None) };
    let entry = lists::entry(app, &reader.actor, now, &path.competition, path.bib).await?;
    let list = workouts.iter().find(|v| v.slug == path.workout);
    let next = list.and_then(|v| {
        let others = || v.todo.iter().filter(|l| l.bib != path.bib && l.state == w.state_missing);
        let line = others().find(|l| l.bib > path.bib).or_else(|| others().next())?;
        Some(Link::new(&line.href, put(w.saved_next, &[("name", &line.name)])))
    });
    let Ok(read) = score::read(app, &reader.actor, now, path).await else {
        let line = put(w.saved_not_taking_part, &[("workout", &x.title)]);
        let stated =
            list.is_some_and(|v| v.settled.iter().any(|l| l.bib == path.bib && l.state == w.state_not_taking_part));
        let back = put(w.saved_taking_part, &[("name", &entry.name)]);
        return Ok(Some(Saved { title: entry.name, lines: vec![if stated { line } else { back }], next }));
    };
    let s = &read.score;
    let mut lines = Vec::new();
    match s.state {
        "entered" => lines.push(w.saved_waiting.to_owned()),
        "late" => lines.push(w.saved_late.to_owned()),
        "attested" | "flagged" | "amended" => {
            let own = standings::entry_standing(app, &reader.actor, now, &path.competition, path.bib, None).await?;
            let places = own.workouts.iter().find(|o| o.workout == path.workout).map(|o| &o.places);
            if let Some(first) = places.and_then(|p| p.iter().find(|p| p.place.is_some())) {
                let ordinal = (w.ordinal)(first.place.unwrap_or_default().into());
                let division = say::division(c, &first.division);
                let values: [(&'static str, &dyn std::fmt::Display); 3] =
                    [("ordinal", &ordinal), ("of", &first.of), ("division", &division)];
                lines.push(put(w.saved_placed, &values));
            }
        }
        other => lines.push(say::state(other, s.refused).to_owned()),
    }
    let level = c.levels.iter().position(|l| l.slug == s.level).and_then(|n| u8::try_from(n).ok()).unwrap_or(0);
    if let Some(p) = c.prescription(&path.workout, &entry.division, level) {
        let raw = RawPerformance::Text(s.performance.text.clone());
        if let Ok(checked) = performance::check(&p.task, &raw, &Around::default()) {
            lines.extend(checked.warnings.iter().map(|x| x.sentence.say(Lang::default())));
        }
    }
    let title = put(w.saved_title, &[("name", &entry.name), ("text", &s.performance.text)]);
    Ok(Some(Saved { title, lines, next }))
}

#[cfg(test)]
mod tests {
    use super::super::samples;
    use super::*;

    fn line(bib: u32, name: &str, state: &'static str) -> Line {
        Line {
            href: format!("/desk/s/g/w1/{bib}"),
            name: name.to_owned(),
            bib,
            division: samples::HOSTILE.to_owned(),
            text: "6+14".to_owned(),
            state,
        }
    }

    fn workout(id: &str, todo: Vec<Line>, settled: Vec<Line>) -> WorkoutView {
        WorkoutView {
            id: id.to_owned(),
            slug: "w1".to_owned(),
            href: "/c/s/workouts/w1".to_owned(),
            title: samples::BIDI.to_owned(),
            summary: "38 of 52 settled".to_owned(),
            left: "closes in 3 h 12 min".to_owned(),
            open: true,
            running: id == "w-w1",
            todo_title: "Left to do: 2".to_owned(),
            todo,
            all_done: "All 52 settled. You can go home.".to_owned(),
            settled,
            settled_title: "Settled: 1".to_owned(),
            visitor_action: "/desk/s/g".to_owned(),
        }
    }

    fn page(saved: Option<Saved>, workouts: Vec<WorkoutView>) -> String {
        let view =
            View { shell: samples::shell("Desk"), w: words(), title: samples::HOSTILE.to_owned(), saved, workouts };
        view.render().expect("renders")
    }

    #[test]
    fn what_is_left_comes_first_and_what_was_saved_is_said() {
        let saved = Saved {
            title: samples::HOSTILE.to_owned(),
            lines: vec!["Placed 12th of 311 in Women.".to_owned()],
            next: Some(Link::new("/desk/s/g/w1/2", samples::BIDI)),
        };
        let w = words();
        let todo = vec![line(1, samples::LONG, w.state_missing), line(2, samples::BIDI, w.state_entered)];
        let page = page(
            Some(saved),
            vec![
                workout("w-w1", todo, vec![line(3, samples::HOSTILE, w.state_attested)]),
                workout("w-w2", Vec::new(), Vec::new()),
            ],
        );
        samples::assert_sound(&page);
        assert!(page.contains("role=\"status\"") && page.contains("Placed 12th of 311"));
        assert!(page.contains("You can go home."));
    }

    #[test]
    fn without_a_workout_the_desk_says_what_will_be_there() {
        let page = page(None, Vec::new());
        samples::assert_sound(&page);
        assert!(page.contains(words().desk_no_workout));
    }

    #[test]
    fn the_judge_is_remembered_from_one_athlete_to_the_next() {
        let fields = Fields(vec![("judge".to_owned(), "J 1&2".to_owned()), ("how".to_owned(), "video".to_owned())]);
        assert_eq!(remembered(&fields), "?judge=J%201%262&how=video");
        assert_eq!(remembered(&Fields::default()), "");
        assert_eq!(saved_path("s", "w1/1042").map(|p| p.bib), Some(1042));
        assert_eq!(saved_path("s", "w1/x"), None);
    }
}
