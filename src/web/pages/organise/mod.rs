//! `/organise`: what the one who answers for a competition needs, a page each: how it goes (`overview`)
//! and what came late (`late`), who is missing (`missing`), the competition file (`file`), the
//! lists of gyms, entries and judges (`lists`), one entry (`entry`), whom to erase (`erase`), whom gyms propose (`proposals`), roles and sign-ins
//! (`people`, and `give` a role by e-mail); and, for who
//! organises all, a new one (`create`).

pub mod create;
pub mod entry;
mod entry_facts;
pub mod erase;
pub mod file;
pub mod give;
pub mod late;
pub mod lists;
pub mod missing;
pub mod overview;
pub mod people;
mod posted;
pub mod proposals;

use super::form::FieldError;
use super::html;
use super::shell::{Link, Shell, words};
use crate::actions::language;
use crate::actions::reader::Reader;
use crate::actions::{Failure, Request, competitions, roster};
use crate::app::App;
use crate::rules::access::{Act, permit};
use crate::rules::ledger::Refusal;
use crate::web::problem::{Answer, Problem};
use crate::web::session::Caller;
use crate::words::en::organise::Organise;
use crate::words::en::pages::Pages;
use crate::words::{self, Sentence, organise};
use askama::Template;
use axum::extract::State;
use axum::response::IntoResponse;
use http::StatusCode;

/// The texts of these pages in the reader's language.
fn texts() -> &'static Organise {
    organise(language::reader())
}

/// A number of people or scores as the reader's language writes it.
fn number(n: u64) -> String {
    (words().number)(n)
}

/// The competition, for its organiser alone.
async fn reader(app: &App, caller: &Caller, competition: &str) -> Answer<Reader> {
    Ok(roster::may(app, &caller.actor, competition, &Request::at(caller.received)).await?)
}

/// The frame of a page below the organiser's page of a competition; `below` empty: that page.
fn frame(caller: &Caller, reader: &Reader, below: &str, title: &str) -> Shell {
    let c = &reader.competition;
    let base = format!("/organise/{}", c.slug);
    let mut steps = vec![Link::new(format!("/c/{}", c.slug), &c.title)];
    if below.is_empty() {
        steps.push(Link::new("", texts().nav));
        return Shell::new(caller, base, title).below(steps);
    }
    steps.push(Link::new(&base, texts().nav));
    steps.push(Link::new("", title));
    Shell::new(caller, format!("{base}/{below}"), title).below(steps)
}

/// The status and the faults of a refusal that belongs on the page; others are problems.
fn refused(failure: Failure, fields: &[&str], errors: &mut Vec<FieldError>) -> Answer<StatusCode> {
    let say = |sentence: &Sentence| FieldError::new("", language::say(sentence));
    match failure {
        Failure::Refused(Refusal::Faults(faults)) => {
            errors.extend(super::form::beside(&faults, fields, &[]));
            Ok(StatusCode::UNPROCESSABLE_ENTITY)
        }
        Failure::Unreadable(faults) => {
            errors.extend(faults.iter().map(|f| say(&f.sentence)));
            Ok(StatusCode::UNPROCESSABLE_ENTITY)
        }
        Failure::Refused(Refusal::Conflict(sentence, _)) => {
            errors.push(say(&sentence));
            Ok(StatusCode::CONFLICT)
        }
        other => Err(other.into()),
    }
}

#[derive(Template)]
#[template(path = "organise_all.html")]
struct AllView {
    shell: Shell,
    w: &'static Pages,
    o: &'static Organise,
    competitions: Vec<Link>,
    /// For who may make one.
    new: Option<Link>,
}

/// `GET /organise`: the competitions somebody organises.
pub async fn get_all(State(app): State<App>, caller: Caller) -> Answer {
    if caller.actor.account.is_none() {
        return Err(Problem::not_signed_in());
    }
    let o = texts();
    let all = competitions::list(&app, &caller.actor, caller.received).await?;
    let mine = all.into_iter().filter(|c| permit(&caller.actor, Act::Organise { competition: &c.slug }).is_ok());
    let new = permit(&caller.actor, Act::Administer)
        .map(|_| Link::new(create::PATH, words::new_competition(language::reader()).link))
        .ok();
    let view = AllView {
        new,
        shell: Shell::new(&caller, "/organise", o.all_title).below([Link::new("", o.nav)]),
        w: words(),
        o,
        competitions: mine.map(|c| Link::new(format!("/organise/{}", c.slug), c.title)).collect(),
    };
    Ok(html(&view)?.into_response())
}

#[cfg(test)]
mod tests {
    use super::super::samples;
    use super::*;

    #[test]
    fn an_organiser_of_all_finds_each_of_them() {
        let page = |competitions| {
            let new = Some(Link::new(create::PATH, samples::HOSTILE));
            let view = AllView { shell: samples::shell("Organise"), w: words(), o: texts(), competitions, new };
            view.render().expect("renders")
        };
        let full = page(vec![Link::new("/organise/s", samples::HOSTILE), Link::new("/organise/t", samples::BIDI)]);
        samples::assert_sound(&full);
        assert!(full.contains("/organise/t"));
        samples::assert_sound(&page(Vec::new()));
    }
}
