//! `/account`: roles, password, sessions, tokens. First form.

use super::device;
use super::form::{self, FieldError, Fields};
use super::shell::{Link, Shell, When, words};
use super::{html, say};
use crate::actions::accounts::{self, AccountError};
use crate::actions::language;
use crate::actions::lists::{self, Find};
use crate::actions::reader::Reader;
use crate::actions::{Failure, Request, amend, erase, own_data};
use crate::app::App;
use crate::rules::access::{Denied, Grant, Role};
use crate::rules::ledger::Refusal;
use crate::rules::people::fold_name;
use crate::rules::roster::EntryFacts;
use crate::store::sessions::Session;
use crate::store::tokens::Token;
use crate::web::extract::{Path, Query};
use crate::web::once::{self, Shown};
use crate::web::problem::{Answer, Problem};
use crate::web::session::{Caller, Form};
use crate::words::en::organise::Organise;
use crate::words::en::pages::Pages;
use crate::words::{organise, put};
use askama::Template;
use axum::extract::State;
use axum::response::{IntoResponse, Redirect};
use http::{HeaderMap, StatusCode, header};
use jiff::tz::TimeZone;

#[derive(Template, Default)]
#[template(path = "account.html")]
struct View {
    shell: Shell,
    w: Words,
    o: Texts,
    csrf: String,
    email: String,
    done: Option<&'static str>,
    /// A token just issued: shown once.
    fresh: Option<String>,
    errors: Vec<FieldError>,
    roles: Vec<RoleView>,
    names: Vec<NameView>,
    sessions: Vec<SessionView>,
    tokens: Vec<TokenView>,
    token_name: String,
    days: String,
    /// Whether the current password is asked for.
    needs_current: bool,
}

/// The texts, as a field that has a default.
struct Words(&'static Pages);

impl Default for Words {
    fn default() -> Self {
        Self(words())
    }
}

/// The same of the texts about own data.
struct Texts(&'static Organise);

impl Default for Texts {
    fn default() -> Self {
        Self(organise(language::reader()))
    }
}

impl std::ops::Deref for Texts {
    type Target = Organise;

    fn deref(&self) -> &Organise {
        self.0
    }
}

impl std::ops::Deref for Words {
    type Target = Pages;

    fn deref(&self) -> &Pages {
        self.0
    }
}

struct RoleView {
    text: String,
    links: Vec<Link>,
}

/// The own name in a competition.
struct NameView {
    competition: String,
    bib: u32,
    text: String,
    shown: bool,
    /// Whether it is the organiser's to decide.
    under_age: bool,
}

impl NameView {
    fn new(own: amend::OwnName) -> Self {
        let o = Texts::default().0;
        let text = if own.shown { o.name_shown } else { o.name_hidden };
        Self {
            text: put(text, &[("competition", &own.title), ("bib", &own.bib)]),
            competition: own.competition,
            bib: own.bib,
            shown: own.shown,
            under_age: own.under_age,
        }
    }
}

struct SessionView {
    id: i64,
    device: String,
    /// What the browser calls itself.
    sent: String,
    began: When,
    this: bool,
}

struct TokenView {
    id: i64,
    name: String,
    ends: When,
}

async fn view(app: &App, caller: &Caller) -> Answer<View> {
    if caller.actor.account.is_none() {
        return Err(Problem::not_signed_in());
    }
    let (w, now) = (words(), caller.received);
    let sessions = accounts::list_sessions(app, &caller.actor).await?;
    let tokens = accounts::list_tokens(app, &caller.actor).await?;
    let mut roles = Vec::new();
    for grant in &caller.actor.grants {
        roles.push(role(grant, &Named::of(app, caller, grant).await));
    }
    Ok(View {
        shell: Shell::new(caller, "/account", w.account_title),
        csrf: caller.csrf.clone(),
        email: caller.actor.email.clone(),
        roles,
        names: amend::own_names(app, &caller.actor, now).await.into_iter().map(NameView::new).collect(),
        sessions: sessions.into_iter().map(|s| session(s, caller.session)).collect(),
        tokens: tokens.into_iter().filter(|t| t.revoked_at.is_none() && t.expires_at > now).map(token).collect(),
        days: "90".to_owned(),
        needs_current: accounts::needs_current(app, &caller.actor, caller.session).await?,
        ..View::default()
    })
}

/// What a role's competition and gym are called: by their slugs where that cannot be read.
struct Named {
    competition: String,
    gym: String,
}

impl Named {
    async fn of(app: &App, caller: &Caller, grant: &Grant) -> Self {
        let (actor, now) = (&caller.actor, caller.received);
        let slug = grant.competition.clone().unwrap_or_default();
        let mut named = Self { competition: slug.clone(), gym: grant.gym.clone().unwrap_or_default() };
        if slug.is_empty() {
            return named;
        }
        if let Ok(reader) = Reader::find(app, actor, now, &slug).await {
            named.competition.clone_from(&reader.competition.title);
        }
        if grant.gym.is_some() {
            let find = Find { gym: grant.gym.clone(), q: None };
            let gyms = lists::gyms(app, actor, now, &slug, &find).await.unwrap_or_default();
            named.gym = gyms.into_iter().find(|g| Some(&g.slug) == grant.gym.as_ref()).map_or(named.gym, |g| g.name);
        }
        named
    }
}

/// A role, where it holds, and where its work is.
fn role(grant: &Grant, named: &Named) -> RoleView {
    let w = words();
    let (name, work) = match grant.role {
        Role::Organiser => {
            let here = grant.competition.as_ref().map_or("/organise".to_owned(), |c| format!("/organise/{c}"));
            ("organiser", Some((here, organise(language::reader()).nav)))
        }
        Role::Referee => ("referee", Some(("/referee".to_owned(), w.nav_referee))),
        Role::Staff => ("staff", None),
        Role::Judge => {
            let here = grant.competition.as_ref().filter(|_| grant.judge.is_some());
            ("judge", here.map(|c| (format!("/judge/{c}"), w.nav_judge)))
        }
        Role::Athlete => ("athlete", None),
    };
    let title = say::role(Some(name));
    let Some(c) = &grant.competition else {
        return RoleView {
            text: put(w.role_everywhere, &[("role", &title)]),
            links: work.map(|(href, text)| Link::new(href, text)).into_iter().collect(),
        };
    };
    let mut text = put(w.role_in, &[("role", &title), ("competition", &named.competition)]);
    let mut links = vec![Link::new(format!("/c/{c}"), w.role_competition)];
    links.extend(work.map(|(href, text)| Link::new(href, text)));
    if let Some(gym) = &grant.gym {
        text = put(w.role_detail, &[("role", &text), ("detail", &named.gym)]);
        links.push(Link::new(format!("/desk/{c}/{gym}"), w.nav_desk));
    }
    if let Some(code) = &grant.judge {
        text = put(w.role_detail, &[("role", &text), ("detail", code)]);
    }
    if let Some(bib) = grant.bib {
        text = put(w.role_detail, &[("role", &text), ("detail", &format!("{} {bib}", w.bib))]);
        links.push(Link::new(format!("/c/{c}/athletes/{bib}"), w.your_page));
    }
    RoleView { text, links }
}

fn session(s: Session, this: Option<i64>) -> SessionView {
    SessionView {
        id: s.id,
        device: device::name(&s.device),
        sent: s.device,
        began: utc(s.created_at),
        this: this == Some(s.id),
    }
}

fn token(t: Token) -> TokenView {
    TokenView { id: t.id, name: t.name, ends: utc(t.expires_at) }
}

/// An account belongs to no competition: its times are in UTC, and say so.
fn utc(at: jiff::Timestamp) -> When {
    let when = When::new(at, &TimeZone::UTC);
    When { text: format!("{} UTC", when.text), ..when }
}

/// `GET /account`.
pub async fn get_account(
    State(app): State<App>,
    caller: Caller,
    headers: HeaderMap,
    Query(fields): Query<Fields>,
) -> Answer {
    let w = words();
    let done = match fields.get("done") {
        "password" => Some(w.password_changed),
        "session" => Some(w.session_ended),
        "token" => Some(w.token_revoked),
        "name" => Some(Texts::default().0.name_done),
        "erased" => Some(Texts::default().0.me_done),
        _ => None,
    };
    let page = View { done, ..view(&app, &caller).await? };
    Ok(match once::take(&app, &caller, &headers, "/account", fields.get(once::FIELD)) {
        Some((shown, gone)) => (gone, html(&View { fresh: Some(shown.secret), ..page })?).into_response(),
        None => html(&page)?.into_response(),
    })
}

/// The page again, with what to mend beside the fields.
async fn again(app: &App, caller: &Caller, error: AccountError, change: impl FnOnce(&mut View)) -> Answer {
    let AccountError::Refused(Refusal::Faults(faults)) = error else { return Err(error.into()) };
    let mut view = view(app, caller).await?;
    view.errors = form::beside(&faults, &["current", "new", "name", "days"], &[]);
    change(&mut view);
    Ok((StatusCode::UNPROCESSABLE_ENTITY, html(&view)?).into_response())
}

/// `POST /account/password`.
pub async fn post_password(State(app): State<App>, caller: Caller, Form(fields): Form<Fields>) -> Answer {
    let current = Some(fields.exact("current")).filter(|c| !c.is_empty());
    match accounts::set_password(&app, &caller.actor, current, fields.exact("new"), caller.session).await {
        Ok(()) => Ok(Redirect::to("/account?done=password").into_response()),
        Err(error) => again(&app, &caller, error, |_| ()).await,
    }
}

/// `POST /account/sessions/{id}/end`.
pub async fn post_end_session(
    State(app): State<App>,
    caller: Caller,
    Path(id): Path<i64>,
    Form(_): Form<Fields>,
) -> Answer {
    accounts::end_session(&app, &caller.actor, id).await?;
    Ok(Redirect::to("/account?done=session").into_response())
}

/// `POST /account/tokens`: the page it leads to shows the token once.
pub async fn post_token(State(app): State<App>, caller: Caller, Form(fields): Form<Fields>) -> Answer {
    let (name, days) = (fields.get("name").to_owned(), fields.get("days").to_owned());
    // What is no number is out of range too, and gets that sentence.
    let number = days.parse().unwrap_or(0);
    match accounts::issue_token(&app, &caller.actor, None, &name, number).await {
        Ok(issued) => Ok(once::lead(&app, &caller, "/account", Shown { secret: issued.secret, ..Shown::default() })),
        Err(error) => {
            let typed = |view: &mut View| {
                view.token_name = name;
                view.days = days;
            };
            again(&app, &caller, error, typed).await
        }
    }
}

/// `POST /account/tokens/{id}/revoke`.
pub async fn post_revoke(State(app): State<App>, caller: Caller, Path(id): Path<i64>, Form(_): Form<Fields>) -> Answer {
    accounts::revoke_token(&app, &caller.actor, id).await?;
    Ok(Redirect::to("/account?done=token").into_response())
}

/// `GET /account/data.json`: everything that is kept about whoever asks.
pub async fn get_data(State(app): State<App>, caller: Caller) -> Answer {
    let data = own_data::own_data(&app, &caller.actor, caller.received).await?;
    let name = (header::CONTENT_DISPOSITION, "attachment; filename=\"tallywright-data.json\"");
    Ok(([name], axum::Json(data)).into_response())
}

/// `POST /account/name`: hides or shows the own name in a competition.
pub async fn post_name(State(app): State<App>, caller: Caller, Form(fields): Form<Fields>) -> Answer {
    if caller.actor.account.is_none() {
        return Err(Problem::not_signed_in());
    }
    let competition = fields.get("competition");
    let own = fields.get("bib").parse::<u32>().ok().filter(|bib| caller.actor.is_athlete(competition, *bib));
    let bib = own.ok_or_else(|| Failure::from(Denied::NotAllowed))?;
    let facts = EntryFacts { show_name: Some(fields.get("show") == "yes"), ..EntryFacts::default() };
    amend::amend(&app, &caller.actor, competition, bib, Request::at(caller.received), facts).await?;
    Ok(Redirect::to("/account?done=name").into_response())
}

/// `POST /account/erase`.
pub async fn post_erase(State(app): State<App>, caller: Caller, Form(fields): Form<Fields>) -> Answer {
    if caller.actor.account.is_none() {
        return Err(Problem::not_signed_in());
    }
    if fold_name(fields.get("me")) != caller.actor.email {
        let mut view = view(&app, &caller).await?;
        view.errors.push(FieldError::new("me", view.o.me_wrong));
        return Ok((StatusCode::UNPROCESSABLE_ENTITY, html(&view)?).into_response());
    }
    let closed = if fields.ticked("close") {
        match erase::close_me(&app, &caller.actor, caller.received).await {
            Ok(()) => true,
            Err(Failure::Refused(Refusal::Conflict(sentence, _))) => {
                let mut view = view(&app, &caller).await?;
                view.errors.push(FieldError::new("close", language::say(&sentence)));
                return Ok((StatusCode::CONFLICT, html(&view)?).into_response());
            }
            Err(other) => return Err(other.into()),
        }
    } else {
        erase::erase_me(&app, &caller.actor, caller.received).await?
    };
    if closed {
        let gone = (header::SET_COOKIE, crate::web::session::no_cookie(&app));
        return Ok(([gone], Redirect::to("/")).into_response());
    }
    Ok(Redirect::to("/account?done=erased").into_response())
}

#[cfg(test)]
mod tests {
    use super::super::samples;
    use super::*;

    #[test]
    fn roles_sessions_and_tokens_stand_on_one_page() {
        let grant = |role, gym: Option<&str>, bib| Grant {
            role,
            competition: Some("saltmarsh".to_owned()),
            gym: gym.map(str::to_owned),
            bib,
            judge: None,
        };
        let everywhere = Grant { competition: None, ..grant(Role::Organiser, None, None) };
        let page = View {
            shell: samples::shell("Your account"),
            csrf: "x".to_owned(),
            email: samples::HOSTILE.to_owned(),
            fresh: Some("tw_secret".to_owned()),
            errors: vec![
                FieldError::new("days", samples::HOSTILE),
                FieldError::new("new", "too short"),
                FieldError::new("me", samples::HOSTILE),
            ],
            roles: [grant(Role::Staff, Some("quayside"), None), grant(Role::Athlete, None, Some(1042)), everywhere]
                .iter()
                .map(|grant| {
                    role(grant, &Named { competition: samples::HOSTILE.to_owned(), gym: samples::BIDI.to_owned() })
                })
                .collect(),
            names: [true, false]
                .map(|under_age| {
                    NameView::new(amend::OwnName {
                        competition: "saltmarsh".to_owned(),
                        title: samples::HOSTILE.to_owned(),
                        bib: 1042,
                        shown: under_age,
                        under_age,
                    })
                })
                .into(),
            sessions: vec![
                SessionView {
                    id: 1,
                    device: samples::HOSTILE.to_owned(),
                    sent: samples::HOSTILE.to_owned(),
                    began: samples::when(),
                    this: true,
                },
                SessionView {
                    id: 2,
                    device: samples::BIDI.to_owned(),
                    sent: samples::BIDI.to_owned(),
                    began: samples::when(),
                    this: false,
                },
            ],
            tokens: vec![TokenView { id: 3, name: samples::HOSTILE.to_owned(), ends: samples::when() }],
            ..View::default()
        }
        .render()
        .expect("renders");
        samples::assert_sound(&page);
        assert!(page.contains("/desk/saltmarsh/quayside") && page.contains("/c/saltmarsh/athletes/1042"));
        assert!(page.contains("Organiser in all competitions") && page.contains("tw_secret"));
        assert_eq!(page.matches("/account/sessions/").count(), 1);
    }
}
