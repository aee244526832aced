//! `/organise/{c}/entries/{bib}`: one entry moved to another division or gym, made a guest, withdrawn
//! or removed. What would become of its scores is shown first; only then is there a button that does it, and
//! it does nothing else. Who it is is put right by [`super::entry_facts`].

use super::super::form::{Choice, FieldError, Fields};
use super::super::history::{self, Line};
use super::super::scope::gym_name;
use super::super::shell::{Link, Shell, words};
use super::super::{html, say};
use super::entry_facts::{self, FactsForm};
use super::give::gym_meant;
use super::{frame, reader, refused, texts};
use crate::actions::amend::{self, Amendment, Facts};
use crate::actions::reader::Reader;
use crate::actions::views::{EntryView, GymView, MovedView};
use crate::actions::{Failure, Request, directory, lists, move_entry};
use crate::app::App;
use crate::rules::ledger::{Precondition, Refusal};
use crate::rules::people::{EntryState, entry_tag};
use crate::rules::roster::EntryChange;
use crate::web::extract::{Path, Query};
use crate::web::problem::Answer;
use crate::web::session::{Caller, Form};
use crate::words::en::organise::Organise;
use crate::words::en::pages::Pages;
use crate::words::{apart, put};
use askama::Template;
use axum::extract::State;
use axum::response::{IntoResponse, Redirect};
use http::StatusCode;
use std::sync::Arc;

const FIELDS: &[&str] = &["state", "division", "gym", "reason"];
/// Gyms offered in the field at most; any can be typed.
const OFFERED: usize = 200;

#[derive(Template)]
#[template(path = "organise_entry.html")]
pub(super) struct View {
    shell: Shell,
    w: &'static Pages,
    o: &'static Organise,
    csrf: String,
    action: String,
    name: String,
    facts: Vec<(&'static str, String)>,
    athlete: String,
    done: Option<&'static str>,
    pub(super) errors: Vec<FieldError>,
    states: Vec<Choice>,
    divisions: Vec<Choice>,
    gym: String,
    gyms: Vec<Link>,
    reason: String,
    /// What would happen; `None`: it was not looked at yet.
    would: Option<Would>,
    /// Who it is; `None`: they were erased.
    who: Option<FactsForm>,
    /// What was put right of that.
    history: Vec<Line>,
}

/// What a change would do.
struct Would {
    /// What is changed, from what, to what.
    changes: Vec<(&'static str, String, String)>,
    /// What that means for the scores.
    means: Vec<String>,
    /// What it is of what: only that is done by the button.
    seen: String,
}

/// What the page is about.
pub(super) struct About {
    reader: Reader,
    entry: EntryView,
    gyms: Arc<Vec<GymView>>,
    pub(super) facts: Option<Facts>,
    amended: Vec<Amendment>,
}

impl About {
    pub(super) async fn read(app: &App, caller: &Caller, slug: &str, bib: u32) -> Answer<Self> {
        let reader = reader(app, caller, slug).await?;
        let entry = lists::entry(app, &caller.actor, caller.received, slug, bib).await?;
        let gyms = directory::gyms(app, &reader).await?;
        let facts = amend::read(app, &caller.actor, caller.received, slug, bib).await?;
        let amended = amend::history(app, &reader, bib, entry.gym.as_deref()).await?;
        Ok(Self { reader, entry, gyms, facts, amended })
    }

    fn action(&self) -> String {
        format!("/organise/{}/entries/{}", self.reader.slug, self.entry.bib)
    }

    fn gym(&self, slug: Option<&str>) -> String {
        slug.map_or(words().no_gym, |gym| gym_name(&self.gyms, gym)).to_owned()
    }

    fn division(&self, slug: &str) -> String {
        say::division(&self.reader.competition, slug).to_owned()
    }

    /// The page with these fields of its forms (of where it stands, of who it is), or with the entry as it is.
    pub(super) fn view(&self, caller: &Caller, fields: Option<&Fields>, who: Option<&Fields>) -> View {
        let (w, o, c, e) = (words(), texts(), &self.reader.competition, &self.entry);
        let typed = |name: &str, stored: &str| fields.map_or(stored, |f| f.get(name)).to_owned();
        let (state, division) = (typed("state", e.state), typed("division", &e.division));
        let plain = c.divisions.iter().filter(|d| d.combines.is_empty());
        View {
            shell: frame(caller, &self.reader, &format!("entries/{}", e.bib), &apart(&e.name)),
            w,
            o,
            csrf: caller.csrf.clone(),
            action: self.action(),
            name: e.name.clone(),
            facts: vec![
                (w.bib, e.bib.to_string()),
                (w.division, self.division(&e.division)),
                (w.gym, self.gym(e.gym.as_deref())),
                (o.list_state, state_said(e.state).to_owned()),
            ],
            athlete: format!("/c/{}/athletes/{}", c.slug, e.bib),
            done: None,
            errors: Vec::new(),
            states: STATES.map(|s| Choice::new(s, state_said(s), &state)).into(),
            divisions: plain.map(|d| Choice::new(&d.slug, &d.title, &division)).collect(),
            gym: typed("gym", &self.own_gym()),
            gyms: self.gyms.iter().take(OFFERED).map(|g| Link::new(&g.name, &g.slug)).collect(),
            reason: typed("reason", ""),
            would: None,
            who: self.facts.as_ref().map(|facts| FactsForm::new(facts, who)),
            history: history::of_entry(&self.amended, &c.time_zone),
        }
    }

    /// The change that is meant: what differs from the entry as it is.
    fn change(&self, fields: &Fields, errors: &mut Vec<FieldError>) -> EntryChange {
        let e = &self.entry;
        let state = match fields.get("state") {
            "active" => Some(EntryState::Active),
            "guest" => Some(EntryState::Guest),
            "withdrawn" => Some(EntryState::Withdrawn),
            "removed" => Some(EntryState::Removed),
            _ => None,
        };
        let typed = fields.get("gym");
        let gym = if typed.is_empty() { Some(String::new()) } else { gym_meant(&self.gyms, typed) };
        if gym.is_none() {
            errors.push(FieldError::new("gym", put(texts().give_gym_none, &[("typed", &typed)])));
        }
        EntryChange {
            division: fields.find("division").filter(|d| *d != e.division),
            gym: gym.filter(|gym| *gym != e.gym.clone().unwrap_or_default()),
            // Sent even where it stays: so that a reason is asked for, and nothing changed is told apart.
            state,
            reason: fields.get("reason").to_owned(),
        }
    }

    fn would(&self, change: &EntryChange, moved: &MovedView) -> Would {
        let (w, o, e) = (words(), texts(), &self.entry);
        let (mut changes, mut means) = (Vec::new(), Vec::new());
        if let Some(state) = change.state {
            let (slug, follows) = match state {
                EntryState::Active => ("active", o.entry_means_active),
                EntryState::Guest => ("guest", o.entry_means_guest),
                EntryState::Withdrawn => ("withdrawn", o.entry_means_withdrawn),
                EntryState::Removed => ("removed", o.entry_means_removed),
            };
            if slug != e.state {
                changes.push((o.list_state, state_said(e.state).to_owned(), state_said(slug).to_owned()));
                means.push(follows.to_owned());
            }
        }
        if let Some(division) = &change.division {
            changes.push((w.division, self.division(&e.division), self.division(division)));
            for score in &moved.scores {
                let title = self.reader.competition.workout(&score.workout).map_or("", |x| &x.title);
                means.push(put(o.entry_means_void, &[("workout", &title), ("n", &score.attempt)]));
            }
            means.push(if moved.scores.is_empty() { o.entry_means_along } else { o.entry_means_others }.to_owned());
        }
        if let Some(gym) = &change.gym {
            let new = Some(gym.as_str()).filter(|gym| !gym.is_empty());
            changes.push((w.gym, self.gym(e.gym.as_deref()), self.gym(new)));
            means.push(match new {
                Some(gym) => put(o.entry_means_gym, &[("gym", &self.gym(Some(gym)))]),
                None => o.entry_means_no_gym.to_owned(),
            });
        }
        means.extend(moved.warnings.iter().map(|warning| warning.message.clone()));
        Would { changes, means, seen: self.seen(change) }
    }

    /// The entry as it is, for the writer to compare.
    fn as_shown(&self) -> Precondition {
        let e = &self.entry;
        Precondition::Match(vec![entry_tag(&e.division, e.gym.as_deref(), &e.state)])
    }

    /// Names a change of the entry as it is.
    fn seen(&self, change: &EntryChange) -> String {
        let e = &self.entry;
        let state = change.state.map_or(String::new(), |state| format!("{state:?}"));
        let (division, gym) = (change.division.as_deref().unwrap_or_default(), change.gym.as_deref());
        format!("{} {} {} > {state} {division} {gym:?}", e.state, e.division, e.gym.as_deref().unwrap_or_default())
    }

    /// The gym as the field has it: its name, where no other one is called so.
    fn own_gym(&self) -> String {
        let Some(slug) = self.entry.gym.as_deref() else { return String::new() };
        let name = gym_name(&self.gyms, slug);
        let alone = self.gyms.iter().filter(|g| g.name == name).count() == 1;
        if alone { name } else { slug }.to_owned()
    }
}

const STATES: [&str; 4] = ["active", "guest", "withdrawn", "removed"];

fn state_said(state: &str) -> &'static str {
    let o = texts();
    match state {
        "withdrawn" => o.state_withdrawn,
        "removed" => o.state_removed,
        "guest" => o.state_guest,
        _ => o.state_active,
    }
}

/// `GET /organise/{c}/entries/{bib}`.
pub async fn get_entry(
    State(app): State<App>,
    caller: Caller,
    Path((slug, bib)): Path<(String, u32)>,
    Query(fields): Query<Fields>,
) -> Answer {
    let about = About::read(&app, &caller, &slug, bib).await?;
    let mut view = about.view(&caller, None, None);
    view.done = match fields.get("done") {
        "yes" => Some(texts().entry_done),
        "facts" => Some(texts().entry_facts_done),
        _ => None,
    };
    Ok(html(&view)?.into_response())
}

/// `POST /organise/{c}/entries/{bib}`: `do=facts` puts right who it is, `do=apply` does what was shown; anything
/// else only looks.
pub async fn post_entry(
    State(app): State<App>,
    caller: Caller,
    Path((slug, bib)): Path<(String, u32)>,
    Form(fields): Form<Fields>,
) -> Answer {
    if fields.get("do") == "facts" {
        return entry_facts::post(&app, &caller, &slug, bib, &fields).await;
    }
    change(&app, &caller, &slug, bib, &fields, true).await
}

/// `first`: where the entry becomes another one between its reading and the change, it is read once more, and
/// shown as it is now.
async fn change(app: &App, caller: &Caller, slug: &str, bib: u32, fields: &Fields, first: bool) -> Answer {
    let about = About::read(app, caller, slug, bib).await?;
    let mut view = about.view(caller, Some(fields), None);
    let mut errors = Vec::new();
    let meant = about.change(fields, &mut errors);
    let other = fields.get("do") == "apply" && fields.get("seen") != about.seen(&meant);
    let looks = fields.get("do") != "apply" || !errors.is_empty() || other;
    let request = Request::at(caller.received);
    let request = if looks { request } else { request.having_seen(about.as_shown()) };
    let moved = move_entry::move_entry(app, &caller.actor, slug, bib, request, meant.clone(), looks).await;
    let status = match moved {
        Ok(moved) if errors.is_empty() && moved.changed && !looks => {
            return Ok(Redirect::to(&format!("{}?done=yes", about.action())).into_response());
        }
        Ok(_) if !errors.is_empty() => StatusCode::UNPROCESSABLE_ENTITY,
        Ok(moved) if !moved.changed => {
            errors.push(FieldError::new("", texts().entry_unchanged));
            StatusCode::UNPROCESSABLE_ENTITY
        }
        Ok(moved) => {
            view.would = Some(about.would(&meant, &moved));
            if other {
                errors.push(FieldError::new("", texts().entry_other));
            }
            if other { StatusCode::CONFLICT } else { StatusCode::OK }
        }
        Err(Failure::Refused(Refusal::PreconditionFailed(_))) if first => {
            return Box::pin(change(app, caller, slug, bib, fields, false)).await;
        }
        Err(failure) => refused(failure, FIELDS, &mut errors)?,
    };
    view.errors = errors;
    Ok((status, html(&view)?).into_response())
}

#[cfg(test)]
mod tests {
    use super::super::super::samples;
    use super::*;

    #[test]
    fn there_is_a_button_that_does_it_only_once_it_was_looked_at() {
        let page = |would| {
            let view = View {
                shell: samples::shell("Entry"),
                w: words(),
                o: texts(),
                csrf: "x".to_owned(),
                action: "/organise/s/entries/1042".to_owned(),
                name: samples::HOSTILE.to_owned(),
                facts: vec![(words().gym, samples::BIDI.to_owned())],
                athlete: "/c/s/athletes/1042".to_owned(),
                done: Some(texts().entry_done),
                errors: FIELDS.iter().map(|f| FieldError::new(*f, samples::HOSTILE)).collect(),
                states: STATES.map(|s| Choice::new(s, state_said(s), "guest")).into(),
                divisions: vec![Choice::new("women", samples::LONG, "women")],
                gym: samples::HOSTILE.to_owned(),
                gyms: vec![Link::new(samples::HOSTILE, "quayside")],
                reason: samples::HOSTILE.to_owned(),
                would,
                who: Some(FactsForm {
                    name: samples::HOSTILE.to_owned(),
                    email: samples::BIDI.to_owned(),
                    show: vec![Choice::new("hidden", texts().entry_name_hidden, "hidden")],
                    show_hint: texts().entry_show_hint,
                    consent: vec![Choice::new("missing", texts().entry_consent_missing, "missing")],
                    was_name: samples::HOSTILE.to_owned(),
                    was_email: samples::BIDI.to_owned(),
                    was_show: "hidden",
                    was_consent: "missing",
                }),
                history: vec![Line {
                    what: words().amended_name.to_owned(),
                    at: samples::when(),
                    by: "by Organiser".to_owned(),
                    figures: String::new(),
                    reason: String::new(),
                }],
            };
            view.render().expect("renders")
        };
        let first = page(None);
        samples::assert_sound(&first);
        assert!(!first.contains("value=\"apply\""));
        let changes = vec![(words().division, samples::HOSTILE.to_owned(), samples::BIDI.to_owned())];
        let looked =
            page(Some(Would { changes, means: vec![samples::HOSTILE.to_owned()], seen: samples::HOSTILE.to_owned() }));
        samples::assert_sound(&looked);
        assert!(looked.contains("value=\"apply\""));
    }
}
