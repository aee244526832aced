//! `POST /organise/{c}/people`: a role given by e-mail. Who has no sign-in yet gets a link that works
//! once, shown here and mailed where letters can be sent.

use super::super::desk::judges;
use super::super::form::{self, Choice, FieldError, Fields};
use super::super::shell;
use super::super::{html, say};
use super::people::{here, mail_link, view};
use super::{reader, texts};
use crate::actions::accounts::{self, AccountError, NewAccount};
use crate::actions::lists::{self, Find};
use crate::actions::reader::Reader;
use crate::actions::{directory, views::GymView};
use crate::app::App;
use crate::rules::access::{Grant, Role};
use crate::rules::ledger::Refusal;
use crate::rules::people::fold_name;
use crate::web::extract::Path;
use crate::web::once::{self, Shown};
use crate::web::problem::Answer;
use crate::web::session::{Caller, Form};
use crate::words::put;
use axum::extract::State;
use axum::response::IntoResponse;
use http::StatusCode;

const FIELDS: &[&str] = &["email", "role", "gym", "judge"];
/// Gyms offered in the field at most; any can be typed.
const OFFERED: usize = 200;

/// The form, as typed.
#[derive(Default)]
pub(super) struct Give {
    pub(super) email: String,
    pub(super) roles: Vec<Choice>,
    pub(super) gym: String,
    pub(super) gyms: Vec<shell::Link>,
    pub(super) judge: String,
}

impl Give {
    pub(super) async fn read(app: &App, reader: &Reader, fields: &Fields) -> Answer<Self> {
        let gyms = directory::gyms(app, reader).await?;
        let role = fields.find("role").unwrap_or_else(|| "staff".to_owned());
        Ok(Self {
            email: fields.get("email").to_owned(),
            roles: ["staff", "judge", "referee", "organiser"]
                .map(|name| Choice::new(name, say::role(Some(name)), &role))
                .into(),
            gym: fields.get("gym").to_owned(),
            gyms: gyms.iter().take(OFFERED).map(|g| shell::Link::new(&g.slug, &g.name)).collect(),
            judge: fields.get("judge").to_owned(),
        })
    }
}

/// The gym that is meant: by its slug or its name.
pub(super) fn gym_meant(gyms: &[GymView], typed: &str) -> Option<String> {
    let folded = fold_name(typed);
    let fits = |g: &&GymView| g.slug.eq_ignore_ascii_case(typed) || fold_name(&g.name) == folded;
    let mut found = gyms.iter().filter(fits);
    found.next().filter(|_| found.next().is_none()).map(|g| g.slug.clone())
}

/// The role as typed, with what is wrong with it beside its fields.
async fn meant(
    app: &App,
    caller: &Caller,
    reader: &Reader,
    fields: &Fields,
    errors: &mut Vec<FieldError>,
) -> Answer<Grant> {
    let o = texts();
    let role = match fields.get("role") {
        "referee" => Role::Referee,
        "judge" => Role::Judge,
        "organiser" => Role::Organiser,
        _ => Role::Staff,
    };
    let mut gym = fields.find("gym");
    if let Some(typed) = gym.as_deref() {
        let gyms = directory::gyms(app, reader).await?;
        match gym_meant(&gyms, typed) {
            Some(slug) => gym = Some(slug),
            None => errors.push(FieldError::new("gym", put(o.give_gym_none, &[("typed", &typed)]))),
        }
    }
    let mut judge = fields.find("judge");
    if let Some(typed) = judge.as_deref() {
        let all = lists::judges(app, &caller.actor, caller.received, &reader.slug, &Find::default()).await?;
        let all: Vec<_> = all.into_iter().map(|j| shell::Link::new(j.code, j.name.unwrap_or_default())).collect();
        match judges::meant(&all, typed) {
            Ok(code) => judge = Some(code),
            Err(why) => errors.push(FieldError::new("judge", why)),
        }
    } else if role == Role::Judge {
        errors.push(FieldError::new("judge", o.give_judge_needed));
    }
    Ok(Grant { role, competition: Some(reader.slug.clone()), gym, bib: None, judge })
}

/// `POST /organise/{c}/people`.
pub async fn post_role(
    State(app): State<App>,
    caller: Caller,
    Path(slug): Path<String>,
    Form(fields): Form<Fields>,
) -> Answer {
    let reader = reader(&app, &caller, &slug).await?;
    let mut errors = Vec::new();
    let grant = meant(&app, &caller, &reader, &fields, &mut errors).await?;
    let email = fields.get("email").to_owned();
    if email.is_empty() {
        errors.insert(0, FieldError::new("email", texts().give_email_needed));
    }
    // What cannot be meant is wrong already; the rest is asked of the rules too, so that all is said at once.
    let tried = Grant {
        gym: grant.gym.clone().filter(|_| !form::has(&errors, "gym")),
        judge: grant.judge.clone().filter(|_| !form::has(&errors, "judge")),
        ..grant.clone()
    };
    let given = if errors.is_empty() {
        accounts::add_account(&app, &caller.actor, NewAccount { email, password: None, grants: vec![grant] }).await
    } else {
        accounts::check_account(&app, &caller.actor, &email, &[tried])
            .await
            .and(Err(Refusal::Faults(Vec::new()).into()))
    };
    let added = match given {
        Ok(added) => added,
        Err(AccountError::Refused(Refusal::Faults(faults))) => {
            form::add_others(&mut errors, form::beside(&faults, FIELDS, &[]));
            let mut page = view(&app, &caller, &reader, String::new()).await?;
            page.give = Give::read(&app, &reader, &fields).await?;
            page.errors = errors;
            return Ok((StatusCode::UNPROCESSABLE_ENTITY, html(&page)?).into_response());
        }
        Err(other) => return Err(other.into()),
    };
    // It is stored: whatever goes wrong from here on is told beside that.
    let o = texts();
    let mut shown = Shown { done: o.give_done.to_owned(), ..Shown::default() };
    let secret = match added.link {
        Some(secret) => Ok(secret),
        // Made before, and never signed in to with a password: another link does no harm.
        None => accounts::relink(&app, &caller.actor, added.account).await,
    };
    match secret {
        Ok(secret) => {
            shown.told = mail_link(&app, &reader, &added.email, &secret).await.unwrap_or_default();
            (shown.secret, shown.whose) = (secret, added.email);
        }
        Err(AccountError::Refused(_)) => shown.told = put(o.give_known, &[("email", &added.email)]),
        Err(failed) => {
            tracing::error!(target: "problem", code = "no_link", error = format!("{failed:#}"));
            shown.told = put(o.give_no_link, &[("email", &added.email)]);
        }
    }
    Ok(once::lead(&app, &caller, &here(&slug), shown))
}
