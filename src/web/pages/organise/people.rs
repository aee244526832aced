//! `/organise/{c}/people`: who may do what in the competition, roles taken away, and sign-ins for
//! all gyms at once.

use super::super::form::{FieldError, Fields};
use super::super::scope::gym_name;
use super::super::shell::{Shell, words};
use super::super::{html, say};
use super::give::Give;
use super::posted::Posted;
use super::{frame, reader, texts};
use crate::actions::accounts::{self, AccountError, Invitation, Invited, RolesOf};
use crate::actions::directory;
use crate::actions::language;
use crate::actions::letters::{self, Link, Told};
use crate::actions::lists::{self, Find};
use crate::actions::mail::{Handed, Letter, Outcome};
use crate::actions::reader::Reader;
use crate::actions::views::GymView;
use crate::app::App;
use crate::rules::access::Grant;
use crate::rules::ledger::Refusal;
use crate::rules::people::fold_name;
use crate::rules::table;
use crate::store::grants::Granted;
use crate::web::api::csv_file;
use crate::web::extract::{Path, Query};
use crate::web::once::{self, Shown};
use crate::web::problem::Answer;
use crate::web::session::{Caller, Form};
use crate::words::en::letters::Letters;
use crate::words::en::organise::Organise;
use crate::words::en::pages::Pages;
use crate::words::{self, joined, put};
use askama::Template;
use axum::extract::State;
use axum::response::{IntoResponse, Redirect};
use http::{HeaderMap, StatusCode};
use std::collections::HashMap;
use std::sync::Arc;

/// Roles shown at most.
const SHOWN: usize = 200;

#[derive(Template)]
#[template(path = "organise_people.html")]
pub(super) struct View {
    shell: Shell,
    w: &'static Pages,
    o: &'static Organise,
    csrf: String,
    base: String,
    done: Option<String>,
    pub(super) errors: Vec<FieldError>,
    /// A link just made, and whose: shown once.
    link: Option<(String, String)>,
    /// What became of the letter with it, or with one that is shown to nobody.
    told: Option<String>,
    /// Gyms to which no letter could go, and why.
    unsent: Vec<(String, String)>,
    /// How many more of those there are.
    unsent_more: Option<String>,
    /// A role that is to be taken away: asked once more.
    sure: Option<Row>,
    pub(super) give: Give,
    l: &'static Letters,
    /// Whether letters can be sent.
    mail: bool,
    letters: Posted,
    q: String,
    lead: String,
    caption: String,
    rows: Vec<Row>,
}

/// A role somebody has.
struct Row {
    id: i64,
    account: i64,
    email: String,
    role: String,
    own: bool,
    /// Whether it holds in all competitions: who organises one does not take it away.
    everywhere: bool,
}

pub(super) async fn view(app: &App, caller: &Caller, reader: &Reader, q: String) -> Answer<View> {
    let (o, c) = (texts(), &reader.competition);
    let all = everybody(app, caller, &c.slug).await?;
    let named = Named::read(app, caller, reader, &all).await?;
    let n = all.len();
    let folded = fold_name(&q);
    let fits = |r: &Row| fold_name(&r.email).contains(&folded) || fold_name(&joined(&r.role)).contains(&folded);
    let rows: Vec<Row> = all.into_iter().map(|g| row(g, &named, caller)).filter(fits).take(SHOWN).collect();
    let lead = match rows.len() {
        0 => o.people_none.to_owned(),
        SHOWN => put(o.list_more, &[("n", &SHOWN)]),
        found if found < n => put(o.list_found, &[("n", &super::number(found as u64))]),
        _ => put(o.list_lead, &[("n", &super::number(n as u64))]),
    };
    Ok(View {
        shell: frame(caller, reader, "people", o.people_title),
        w: words(),
        o,
        csrf: caller.csrf.clone(),
        base: here(&c.slug),
        done: None,
        errors: Vec::new(),
        link: None,
        told: None,
        unsent: Vec::new(),
        unsent_more: None,
        sure: None,
        give: Give::read(app, reader, &Fields::default()).await?,
        l: words::letters(language::reader()),
        mail: app.post.is_there(),
        letters: Posted::new(letters::list(app, &caller.actor, &c.slug).await?, &c.time_zone),
        q,
        lead,
        caption: put(o.people_caption, &[("competition", &c.title)]),
        rows,
    })
}

fn row(g: Granted, named: &Named, caller: &Caller) -> Row {
    let own = Some(g.account) == caller.actor.account;
    let everywhere = g.grant.competition.is_none();
    Row { id: g.id, account: g.account, role: named.role(&g.grant), own, everywhere, email: g.email }
}

/// Who has a role here: in all competitions first, then in this one.
async fn everybody(app: &App, caller: &Caller, slug: &str) -> Answer<Vec<Granted>> {
    let mut all = accounts::list_roles(app, &caller.actor, RolesOf::Everywhere(slug)).await?;
    all.extend(accounts::list_roles(app, &caller.actor, RolesOf::Competition(slug)).await?);
    Ok(all)
}

/// What the roles of a competition name, by the names that people know it by.
struct Named {
    gyms: Arc<Vec<GymView>>,
    judges: HashMap<String, String>,
    athletes: HashMap<u32, String>,
}

impl Named {
    async fn read(app: &App, caller: &Caller, reader: &Reader, all: &[Granted]) -> Answer<Self> {
        let bibs: Vec<u32> = all.iter().filter_map(|g| g.grant.bib).collect();
        let judges = lists::judges(app, &caller.actor, caller.received, &reader.slug, &Find::default()).await?;
        Ok(Self {
            gyms: directory::gyms(app, reader).await?,
            judges: judges.into_iter().filter_map(|j| Some((j.code, j.name?))).collect(),
            athletes: reader.names(app, &bibs).await?,
        })
    }

    /// A role and what it holds for: "Staff, Quayside Gym".
    fn role(&self, grant: &Grant) -> String {
        let w = words();
        let title = say::role(Some(crate::actions::views::names::role(grant.role)));
        if grant.competition.is_none() {
            return put(w.role_everywhere, &[("role", &title)]);
        }
        let gym = grant.gym.as_ref().map(|gym| gym_name(&self.gyms, gym).to_owned());
        let called = |name: Option<&String>, code: String| name.map_or(code.clone(), |name| format!("{name} ({code})"));
        let judge = grant.judge.as_ref().map(|code| called(self.judges.get(code), code.clone()));
        let athlete = grant.bib.map(|bib| called(self.athletes.get(&bib), format!("{} {bib}", w.bib)));
        let details = [gym, judge, athlete].into_iter().flatten();
        details.fold(title.to_owned(), |role, detail| put(w.role_detail, &[("role", &role), ("detail", &detail)]))
    }
}

/// `GET /organise/{c}/people`.
pub async fn get_people(
    State(app): State<App>,
    caller: Caller,
    Path(slug): Path<String>,
    headers: HeaderMap,
    Query(fields): Query<Fields>,
) -> Answer {
    let reader = reader(&app, &caller, &slug).await?;
    let done = (fields.get("done") == "removed").then(|| texts().people_removed.to_owned());
    let mut page = View { done, ..view(&app, &caller, &reader, fields.get("q").to_owned()).await? };
    let Some((shown, gone)) = once::take(&app, &caller, &headers, &here(&slug), fields.get(once::FIELD)) else {
        return Ok(html(&page)?.into_response());
    };
    page.done = Some(shown.done).filter(|text| !text.is_empty());
    page.told = Some(shown.told).filter(|text| !text.is_empty());
    page.unsent = shown.left_out;
    page.unsent_more = (shown.more > 0).then(|| put(texts().invite_unsent_more, &[("n", &shown.more)]));
    page.link = Some(shown.secret)
        .filter(|secret| !secret.is_empty())
        .map(|secret| (address(&app.config.public_url, &secret), shown.whose));
    Ok((gone, html(&page)?).into_response())
}

/// Where the page is.
pub(super) fn here(slug: &str) -> String {
    format!("/organise/{slug}/people")
}

/// `POST /organise/{c}/people/invite`: a sign-in for every gym, by mail (`do=mail`) or as CSV for a
/// mail merge.
pub async fn post_invite(
    State(app): State<App>,
    caller: Caller,
    Path(slug): Path<String>,
    Form(fields): Form<Fields>,
) -> Answer {
    let reader = reader(&app, &caller, &slug).await?;
    let invited = accounts::invite_gyms(&app, &caller.actor, caller.received, &slug).await?;
    if fields.get("do") == "mail" && app.post.is_there() {
        let unsent = unsent(&invited);
        let letters = invited.into_iter().filter_map(|i| gym_letter(&app, &reader, i)).collect();
        let told = mailed(&app.post.send_all(letters).await.unwrap_or_default());
        return Ok(once::lead(&app, &caller, &here(&slug), Shown { told, left_out: unsent, ..Shown::default() }));
    }
    let rows = invited.into_iter().map(|i| merged(i, &app.config.public_url));
    let text = table::write(&["gym", "gym_name", "contact", "email", "link", "until", "remark"], rows);
    Ok(csv_file(text, &format!("invitations-{slug}.csv")))
}

/// What is said of so many letters.
fn mailed(handed: &[Handed]) -> String {
    let l = words::letters(language::reader());
    if handed.is_empty() {
        return l.invite_nobody.to_owned();
    }
    let text = if handed.iter().all(Handed::is_listed) { l.invite_done } else { l.invite_unlisted };
    put(text, &[("n", &handed.len())])
}

/// The gyms to which no letter can go, and why.
fn unsent(invited: &[Invited]) -> Vec<(String, String)> {
    let o = texts();
    let why = |i: &Invited| match i.outcome {
        Invitation::NoAddress => Some(o.invite_no_address),
        Invitation::Refused => Some(o.invite_refused),
        Invitation::Ended => Some(o.invite_ended),
        Invitation::Link(..) | Invitation::Known => None,
    };
    invited.iter().filter_map(|i| Some((i.name.clone(), why(i)?.to_owned()))).collect()
}

/// A row for a letter.
fn merged(i: Invited, public_url: &str) -> Vec<String> {
    let o = texts();
    let (link, until, remark) = match i.outcome {
        Invitation::Link(secret, until) => (address(public_url, &secret), until.to_string(), ""),
        Invitation::Known => (String::new(), String::new(), o.invite_known),
        Invitation::NoAddress => (String::new(), String::new(), o.invite_no_address),
        Invitation::Refused => (String::new(), String::new(), o.invite_refused),
        Invitation::Ended => (String::new(), String::new(), o.invite_ended),
    };
    vec![i.gym, i.name, i.contact, i.email, link, until, remark.to_owned()]
}

/// The letter to a gym's contact; `None` for those who get no link.
fn gym_letter(app: &App, reader: &Reader, i: Invited) -> Option<Letter> {
    let Invitation::Link(secret, until) = i.outcome else { return None };
    Some(letters::gym(&reader.competition, &i.name, &i.contact, i.email, &Link::new(app, &secret, until)))
}

/// Mails a link, and says what became of it as far as a moment shows.
pub(super) async fn mail_link(app: &App, reader: &Reader, to: &str, secret: &str) -> Option<String> {
    let link = Link::new(app, secret, app.clock.now() + accounts::link_span());
    let l = words::letters(language::reader());
    let Told { outcome, listed } =
        letters::send(app, letters::sign_in(app, Some(&reader.competition), to, &link)).await?;
    Some(match outcome {
        Outcome::Sent => put(l.link_sent, &[("email", &to)]),
        Outcome::Waiting if listed => put(l.link_waiting, &[("email", &to)]),
        Outcome::Waiting => put(l.link_unlisted, &[("email", &to)]),
        Outcome::Failed(why) => put(l.link_failed, &[("email", &to), ("why", &language::say(&why))]),
    })
}

fn address(public_url: &str, secret: &str) -> String {
    format!("{public_url}/signin/link?code={secret}")
}

/// `POST /organise/{c}/people/{id}/remove`: takes the role with this number away, once it is sure.
pub async fn post_remove(
    State(app): State<App>,
    caller: Caller,
    Path((slug, id)): Path<(String, i64)>,
    Form(fields): Form<Fields>,
) -> Answer {
    let reader = reader(&app, &caller, &slug).await?;
    if !fields.ticked("sure") {
        let all = accounts::list_roles(&app, &caller.actor, RolesOf::Competition(&slug)).await?;
        if let Some(granted) = all.into_iter().find(|g| g.id == id) {
            let mut page = view(&app, &caller, &reader, String::new()).await?;
            let named = Named::read(&app, &caller, &reader, std::slice::from_ref(&granted)).await?;
            page.sure = Some(row(granted, &named, &caller));
            return Ok(html(&page)?.into_response());
        }
    }
    accounts::remove_role(&app, &caller.actor, id).await?;
    Ok(Redirect::to(&format!("/organise/{slug}/people?done=removed")).into_response())
}

/// `POST /organise/{c}/people/{id}/link`: a fresh link for the account with this number; the page it
/// leads to shows it once. Whoever has a password gets it by mail alone.
pub async fn post_link(
    State(app): State<App>,
    caller: Caller,
    Path((slug, id)): Path<(String, i64)>,
    Form(_): Form<Fields>,
) -> Answer {
    let reader = reader(&app, &caller, &slug).await?;
    let all = accounts::list_roles(&app, &caller.actor, RolesOf::Competition(&slug)).await?;
    let mut made = accounts::relink(&app, &caller.actor, id).await.map(|secret| (String::new(), secret));
    if let Ok((whose, _)) = &mut made {
        // Who administers the service makes links for those too who have no role here.
        *whose = match all.into_iter().find(|g| g.account == id) {
            Some(here) => here.email,
            None => accounts::find_account(&app, &caller.actor, id).await?.email,
        };
    }
    let unseen = app.post.is_there() && matches!(made, Err(AccountError::Refused(Refusal::Conflict(..))));
    if unseen {
        made = accounts::relink_by_mail(&app, &caller.actor, id).await;
    }
    let (status, why) = match made {
        Ok((email, secret)) => {
            let mut shown = Shown { whose: email, secret, ..Shown::default() };
            shown.told = mail_link(&app, &reader, &shown.whose, &shown.secret).await.unwrap_or_default();
            if unseen {
                let l = words::letters(language::reader());
                shown = Shown { told: format!("{} {}", shown.told, l.link_unseen), ..Shown::default() };
            }
            return Ok(once::lead(&app, &caller, &here(&slug), shown));
        }
        Err(AccountError::Refused(Refusal::Conflict(sentence, _))) => (StatusCode::CONFLICT, language::say(&sentence)),
        Err(AccountError::Refused(Refusal::NotFound(_))) => (StatusCode::NOT_FOUND, texts().link_not_yours.to_owned()),
        Err(other) => return Err(other.into()),
    };
    let mut view = view(&app, &caller, &reader, String::new()).await?;
    view.errors.push(FieldError::new("", why));
    Ok((status, html(&view)?).into_response())
}

#[cfg(test)]
mod tests {
    use super::super::super::form::Choice;
    use super::super::super::samples;
    use super::super::posted::LetterView;
    use super::*;

    fn page(n: i64) -> String {
        let row = |id| Row {
            id,
            account: id,
            email: samples::HOSTILE.to_owned(),
            role: samples::BIDI.to_owned(),
            own: id == 0,
            everywhere: id == 4,
        };
        let o = texts();
        let view = View {
            shell: samples::shell("People"),
            w: words(),
            o,
            csrf: "x".to_owned(),
            base: "/organise/s/people".to_owned(),
            done: Some(o.people_removed.to_owned()),
            errors: ["", "email", "role", "gym", "judge"].map(|id| FieldError::new(id, samples::HOSTILE)).into(),
            unsent: vec![(samples::HOSTILE.to_owned(), o.invite_no_address.to_owned())],
            unsent_more: Some("3 more".to_owned()),
            sure: (n > 0).then(|| row(7)),
            give: Give {
                email: samples::HOSTILE.to_owned(),
                roles: vec![Choice::new("staff", samples::BIDI, "staff")],
                gym: samples::HOSTILE.to_owned(),
                gyms: vec![super::super::super::shell::Link::new("quayside", samples::HOSTILE)],
                judge: samples::HOSTILE.to_owned(),
            },
            told: Some(samples::HOSTILE.to_owned()),
            l: words::letters(language::reader()),
            mail: n > 0,
            letters: Posted {
                lead: samples::LONG.to_owned(),
                caption: samples::LONG.to_owned(),
                rows: (0..n.min(200))
                    .map(|i| LetterView {
                        to: samples::HOSTILE.to_owned(),
                        at: samples::when(),
                        outcome: samples::BIDI.to_owned(),
                        failed: i == 0,
                    })
                    .collect(),
            },
            link: Some(("https://example.org/signin/link?code=abc".to_owned(), samples::HOSTILE.to_owned())),
            q: samples::HOSTILE.to_owned(),
            lead: "3 in all.".to_owned(),
            caption: samples::LONG.to_owned(),
            rows: (0..n).map(row).collect(),
        };
        view.render().expect("renders")
    }

    #[test]
    fn nobody_takes_the_own_role_away_by_a_slip() {
        let three = page(3);
        samples::assert_sound(&three);
        // One of the three is the own; one is asked about.
        assert_eq!(three.matches("/remove\"").count(), 3);
        samples::assert_sound(&page(0));
        samples::assert_sound(&page(10_000));
    }
}
