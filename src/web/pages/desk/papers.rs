//! `/desk/{c}/{gym}/receipt`, all that is stored for a gym, with its positions in the log, to be
//! printed; `/desk/{c}/{gym}/missing`, a message for each who is missing.

use super::{Desk, judges};
use crate::actions::score::{self, DeskQuery};
use crate::actions::views::{DeskRow, ScoreView};
use crate::app::App;
use crate::web::extract::Path;
use crate::web::pages::shell::{Dated, Link, Shell, When, own_zone, words};
use crate::web::pages::{html, late_said, say};
use crate::web::problem::Answer;
use crate::web::session::Caller;
use crate::words::en::pages::Pages;
use crate::words::{put, put_plain};
use askama::Template;
use axum::extract::State;
use axum::response::IntoResponse;

#[derive(Template)]
#[template(path = "receipt.html")]
struct Receipt {
    shell: Shell,
    w: &'static Pages,
    title: String,
    about: String,
    back: String,
    workouts: Vec<Sheet>,
}

/// What is stored of one workout.
struct Sheet {
    title: String,
    caption: String,
    rows: Vec<Stored>,
}

struct Stored {
    bib: u32,
    name: String,
    text: String,
    /// "Attempt 2", where there are several.
    nth: String,
    state: &'static str,
    late: Vec<String>,
    judge: String,
    at: String,
    position: String,
}

#[derive(Template)]
#[template(path = "missing.html")]
struct Missing {
    shell: Shell,
    w: &'static Pages,
    title: String,
    back: String,
    workouts: Vec<Messages>,
}

/// Those who are missing in one workout.
struct Messages {
    title: String,
    messages: Vec<Message>,
}

struct Message {
    id: String,
    to: String,
    text: String,
}

fn shell(desk: &Desk, caller: &Caller, page: &str, title: &str) -> Shell {
    let c = &desk.reader.competition;
    let here = format!("{}/{page}", desk.base);
    Shell::new(caller, here, title).below([
        Link::new(format!("/c/{}", c.slug), &c.title),
        Link::new(&desk.base, put(words().desk_title, &[("gym", &desk.gym.name)])),
        Link::new("", title),
    ])
}

/// `GET /desk/{c}/{gym}/receipt`.
pub async fn get_receipt(State(app): State<App>, caller: Caller, Path((slug, gym)): Path<(String, String)>) -> Answer {
    let desk = Desk::open(&app, &caller, &slug, &gym).await?;
    let (w, c, now) = (words(), &desk.reader.competition, desk.reader.now);
    let mut workouts = Vec::new();
    for (x, _) in desk.windows().into_iter().filter(|(_, own)| own.opened(now)) {
        let query = DeskQuery { gym: Some(gym.clone()), state: None };
        let list = score::desk(&app, &caller.actor, caller.received, &slug, &x.slug, query).await?;
        let values: [(&'static str, &dyn std::fmt::Display); 3] =
            [("workout", &x.title), ("settled", &list.settled), ("all", &list.entries)];
        let stored = |r: &DeskRow, state: &'static str, score: Option<&ScoreView>| {
            let judge = score.and_then(|s| s.attestation.as_ref());
            let nth = score.filter(|s| s.attempt > 1 || !r.others.is_empty());
            Stored {
                bib: r.bib,
                name: r.name.clone(),
                text: score.map_or_else(|| w.desk_words.receipt_nothing.to_owned(), |s| s.performance.text.clone()),
                nth: nth.map_or(String::new(), |s| put(w.attempt_n, &[("n", &s.attempt)])),
                state: say::state(state, score.is_some_and(|s| s.refused)),
                late: score.map_or(Vec::new(), late_said::lines),
                judge: judge.map_or(String::new(), |a| judges::called(&desk.judges, &a.judge)),
                at: score.map_or(String::new(), |s| When::new(s.received_at, &c.time_zone).said()),
                position: score.map_or(String::new(), |s| s.changed_at.to_string()),
            }
        };
        let all = |r: &DeskRow| {
            let others: Vec<Stored> = r.others.iter().map(|score| stored(r, score.state, Some(score))).collect();
            std::iter::once(stored(r, r.state, r.score.as_ref())).chain(others)
        };
        workouts.push(Sheet {
            title: x.title.clone(),
            caption: put(w.desk_words.receipt_caption, &values),
            rows: list.rows.iter().flat_map(all).collect(),
        });
    }
    let title = put(w.desk_words.receipt, &[("gym", &desk.gym.name)]);
    let at = When::new(now, &c.time_zone).said();
    let view = Receipt {
        shell: shell(&desk, &caller, "receipt", &title),
        w,
        title,
        about: put(w.desk_words.receipt_about, &[("at", &at), ("seq", &desk.reader.seq)]),
        back: desk.base.clone(),
        workouts,
    };
    Ok(html(&view)?.into_response())
}

/// `GET /desk/{c}/{gym}/missing`.
pub async fn get_missing(State(app): State<App>, caller: Caller, Path((slug, gym)): Path<(String, String)>) -> Answer {
    let desk = Desk::open(&app, &caller, &slug, &gym).await?;
    let (w, c, now) = (words(), &desk.reader.competition, desk.reader.now);
    let zone = own_zone(&desk.gym.time_zone);
    let mut workouts = Vec::new();
    for (x, window) in desk.windows().into_iter().filter(|(_, o)| o.opened(now) && o.takes_scores(now)) {
        let query = DeskQuery { gym: Some(gym.clone()), state: Some("missing".to_owned()) };
        let list = score::desk(&app, &caller.actor, caller.received, &slug, &x.slug, query).await?;
        let ends = if window.closed(now) { window.grace_ends } else { window.closes };
        let at = Dated::at_place("{at}", ends, &c.time_zone, zone.as_ref()).text();
        let message = |r: &DeskRow| {
            let values: [(&'static str, &dyn std::fmt::Display); 5] = [
                ("name", &r.name),
                ("workout", &x.title),
                ("competition", &c.title),
                ("gym", &desk.gym.name),
                ("at", &at),
            ];
            Message {
                id: format!("m-{}-{}", x.slug, r.bib),
                to: put(w.desk_words.missing_of, &[("name", &r.name), ("bib", &r.bib)]),
                text: put_plain(w.desk_words.missing_message, &values),
            }
        };
        let messages: Vec<Message> = list.rows.iter().map(message).collect();
        if !messages.is_empty() {
            workouts.push(Messages { title: x.title.clone(), messages });
        }
    }
    let title = put(w.desk_words.missing, &[("gym", &desk.gym.name)]);
    let shell = shell(&desk, &caller, "missing", &title);
    Ok(html(&Missing { shell, w, title, back: desk.base.clone(), workouts })?.into_response())
}

#[cfg(test)]
mod tests {
    use super::super::super::samples;
    use super::*;

    #[test]
    fn a_receipt_bears_any_text_and_names_the_positions_in_the_log() {
        let hostile = || samples::HOSTILE.to_owned();
        let row = |bib| Stored {
            bib,
            name: samples::BIDI.to_owned(),
            text: hostile(),
            nth: hostile(),
            state: words().state_attested,
            late: vec![hostile()],
            judge: hostile(),
            at: samples::when().text,
            position: "8812".to_owned(),
        };
        let sheet = Sheet { title: hostile(), caption: hostile(), rows: vec![row(1), row(2)] };
        let view = Receipt {
            shell: samples::shell("Receipt"),
            w: words(),
            title: hostile(),
            about: hostile(),
            back: "/desk/s/g".to_owned(),
            workouts: vec![sheet],
        };
        let page = view.render().expect("renders");
        samples::assert_sound(&page);
        assert!(page.contains("8812"));
    }

    #[test]
    fn each_who_is_missing_has_a_message_and_nobody_missing_is_said() {
        let view = |workouts| Missing {
            shell: samples::shell("Missing"),
            w: words(),
            title: samples::HOSTILE.to_owned(),
            back: "/desk/s/g".to_owned(),
            workouts,
        };
        let message = Message { id: "m-w1-7".into(), to: samples::BIDI.into(), text: samples::HOSTILE.into() };
        let some = view(vec![Messages { title: samples::HOSTILE.to_owned(), messages: vec![message] }]);
        let page = some.render().expect("renders");
        samples::assert_sound(&page);
        assert!(page.contains("id=\"m-w1-7\""));
        assert!(view(Vec::new()).render().expect("renders").contains(words().desk_words.missing_none));
    }
}
