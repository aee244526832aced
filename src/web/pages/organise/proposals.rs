//! `/organise/{c}/proposals`: whom the gyms propose, all on one page, confirmed or not, many at once.

use super::super::form::{FieldError, Fields};
use super::super::html;
use super::super::proposals::{facts, kind, texts};
use super::super::scope::gym_name;
use super::super::shell::{Link, Shell, When, words};
use super::{frame, number};
use crate::actions::lists::{self, Find};
use crate::actions::proposals::{self, Became, Decision, How, Waiting};
use crate::actions::views::{GymView, RosterWritten};
use crate::actions::{Failure, language};
use crate::app::App;
use crate::rules::competition::Competition;
use crate::rules::proposal::Kind;
use crate::store::proposals::Proposal;
use crate::web::extract::Path;
use crate::web::problem::Answer;
use crate::web::session::{Caller, Form};
use crate::words::en::pages::Pages;
use crate::words::en::proposals::Proposals;
use crate::words::put;
use askama::Template;
use axum::extract::State;
use axum::response::IntoResponse;
use http::StatusCode;
use std::collections::{BTreeMap, BTreeSet};

#[derive(Template)]
#[template(path = "organise_proposals.html")]
struct View {
    shell: Shell,
    w: &'static Pages,
    t: &'static Proposals,
    csrf: String,
    action: String,
    done: Vec<String>,
    /// Of those confirmed, what somebody should know.
    remarks: Vec<Remark>,
    /// Sign-ins just made, with whose they are.
    links: Vec<Link>,
    /// What is said of letters with them; nothing: there are none.
    mailed: Option<&'static str>,
    errors: Vec<FieldError>,
    more: String,
    /// The last that is shown: what comes later is not confirmed unseen.
    upto: i64,
    rows: Vec<Row>,
    confirm_all: String,
    reason: String,
}

/// A proposal that waits.
struct Row {
    id: i64,
    name: String,
    kind: &'static str,
    facts: String,
    gym: String,
    by: String,
    /// What is odd about it.
    odd: Vec<String>,
    ticked: bool,
    faults: Vec<String>,
}

/// Something about somebody.
struct Remark {
    name: String,
    text: String,
}

fn row(c: &Competition, gyms: &[GymView], p: Proposal) -> Row {
    let at = When::new(p.created_at, &c.time_zone).said();
    let proposed = p.proposed.unwrap_or_default();
    // What is wrong with it is said where it is confirmed in vain.
    let odd = proposed.check(c, &p.gym).unwrap_or_default();
    Row {
        id: p.id,
        kind: kind(p.kind),
        facts: facts(c, &proposed),
        name: proposed.name,
        gym: gym_name(gyms, &p.gym).to_owned(),
        by: if p.by.is_empty() { at } else { put(texts().by_whom, &[("at", &at), ("who", &p.by)]) },
        odd: odd.iter().map(|warning| language::say(&warning.sentence)).collect(),
        ticked: false,
        faults: Vec::new(),
    }
}

async fn view(app: &App, caller: &Caller, competition: &str) -> Answer<View> {
    let (actor, now, t) = (&caller.actor, caller.received, texts());
    let Waiting { reader, all, proposals } = proposals::waiting(app, actor, now, competition).await?;
    let gyms = lists::gyms(app, actor, now, competition, &Find::default()).await?;
    let c = &reader.competition;
    let shown = proposals.len() as u64;
    Ok(View {
        shell: frame(caller, &reader, "proposals", t.organise_title),
        w: words(),
        t,
        csrf: caller.csrf.clone(),
        action: format!("/organise/{}/proposals", c.slug),
        done: Vec::new(),
        remarks: Vec::new(),
        links: Vec::new(),
        mailed: None,
        errors: Vec::new(),
        more: if all > shown { put(t.organise_more, &[("n", &number(all))]) } else { String::new() },
        upto: proposals.last().map_or(0, |p| p.id),
        confirm_all: put(t.confirm_all, &[("n", &number(shown))]),
        rows: proposals.into_iter().map(|p| row(c, &gyms, p)).collect(),
        reason: String::new(),
    })
}

/// The link to this page, with how many wait.
pub(super) async fn link(app: &App, caller: &Caller, slug: &str) -> Answer<Link> {
    let t = texts();
    let text = match proposals::waiting(app, &caller.actor, caller.received, slug).await?.all {
        0 => t.organise_link.to_owned(),
        n => put(t.organise_link_n, &[("n", &number(n))]),
    };
    Ok(Link::new(format!("/organise/{slug}/proposals"), text))
}

/// `GET /organise/{c}/proposals`.
pub async fn get_proposals(State(app): State<App>, caller: Caller, Path(slug): Path<String>) -> Answer {
    Ok(html(&view(&app, &caller, &slug).await?)?.into_response())
}

/// `POST /organise/{c}/proposals`: `do` is `confirm` or `refuse` (boxes `p-N`), or `all` that were
/// shown, up to `upto`. It answers with the page, as links are shown once.
pub async fn post_proposals(
    State(app): State<App>,
    caller: Caller,
    Path(slug): Path<String>,
    Form(fields): Form<Fields>,
) -> Answer {
    let (actor, now) = (&caller.actor, caller.received);
    let waiting = proposals::waiting(&app, actor, now, &slug).await?;
    let ticked: BTreeSet<i64> = fields.rests("p-").iter().filter_map(|id| id.parse().ok()).collect();
    let ids = match fields.get("do") {
        "all" => {
            let upto = fields.get("upto").parse::<i64>().unwrap_or(0);
            waiting.proposals.iter().map(|p| p.id).filter(|id| *id <= upto).collect()
        }
        _ => ticked.clone(),
    };
    let decision = match fields.get("do") {
        "refuse" => Decision::Refuse(fields.get("reason").to_owned()),
        _ => Decision::Confirm,
    };
    if ids.is_empty() {
        let mut view = view(&app, &caller, &slug).await?;
        fields.get("reason").clone_into(&mut view.reason);
        view.errors.push(FieldError::new("", texts().nobody_ticked));
        return Ok((StatusCode::UNPROCESSABLE_ENTITY, html(&view)?).into_response());
    }
    let became = proposals::decide(&app, actor, now, &slug, &ids, &decision).await;
    let mut view = view(&app, &caller, &slug).await?;
    let status = match became {
        Ok(became) => {
            tell(&mut view, became);
            if view.errors.is_empty() { StatusCode::OK } else { StatusCode::UNPROCESSABLE_ENTITY }
        }
        Err(failure @ Failure::Refused(_)) => {
            let status = super::refused(failure, &["reason"], &mut view.errors)?;
            view.rows.iter_mut().for_each(|r| r.ticked = ticked.contains(&r.id));
            status
        }
        Err(other) => return Err(other.into()),
    };
    if status != StatusCode::OK {
        fields.get("reason").clone_into(&mut view.reason);
    }
    Ok((status, html(&view)?).into_response())
}

/// What became of them, on the page.
fn tell(view: &mut View, became: Vec<Became>) {
    let t = texts();
    let (mut confirmed, mut refused, mut gone) = (0_u64, 0_u64, 0_u64);
    let mut faults = BTreeMap::new();
    for one in became {
        match one.how {
            How::Confirmed(RosterWritten { id, outcome, warnings, .. }) => {
                confirmed += 1;
                let kind = one.of.as_ref().map(|of| of.kind);
                let name = one.of.and_then(|of| of.proposed).map(|p| p.name).unwrap_or_default();
                let there = if kind == Some(Kind::Judge) { t.there_judge } else { t.there_entry };
                let there = (outcome != "created").then(|| put(there, &[("id", &id)]));
                let said = there.into_iter().chain(warnings.into_iter().map(|warning| warning.message));
                view.remarks.extend(said.map(|text| Remark { name: name.clone(), text }));
            }
            How::Staff(link, mailed) => {
                confirmed += 1;
                let proposed = one.of.and_then(|of| of.proposed);
                let whose = proposed.map(|p| format!("{}, {}", p.name, p.email)).unwrap_or_default();
                view.links.extend(link.map(|link| Link::new(link.address, whose)));
                // One that may not be listed is said of all.
                match mailed {
                    Some(true) => view.mailed = view.mailed.or(Some(t.links_mailed)),
                    Some(false) => view.mailed = Some(t.links_unlisted),
                    None => {}
                }
            }
            How::Refused => refused += 1,
            How::Gone => gone += 1,
            How::Faults(sentences) => {
                let said: Vec<String> = sentences.iter().map(language::say).collect();
                faults.insert(one.id, said);
            }
        }
    }
    let waits = faults.len() as u64;
    let counts = [(confirmed, t.n_confirmed), (refused, t.n_refused), (gone, t.n_gone), (waits, t.n_faults)];
    let said = counts.into_iter().filter(|(n, _)| *n > 0);
    view.done = said.map(|(n, template)| put(template, &[("n", &number(n))])).collect();
    for row in &mut view.rows {
        if let Some(said) = faults.remove(&row.id) {
            view.errors.extend(said.iter().map(|text| FieldError::new(format!("p-{}", row.id), text)));
            row.ticked = true;
            row.faults = said;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::super::samples;
    use super::*;

    fn page(n: i64) -> String {
        let row = |id| Row {
            id,
            name: samples::HOSTILE.to_owned(),
            kind: "Athlete",
            facts: samples::BIDI.to_owned(),
            gym: samples::HOSTILE.to_owned(),
            by: samples::LONG.to_owned(),
            odd: vec![samples::HOSTILE.to_owned()],
            ticked: id == 1,
            faults: if id == 1 { vec![samples::HOSTILE.to_owned()] } else { Vec::new() },
        };
        let view = View {
            shell: samples::shell("Proposals"),
            w: words(),
            t: texts(),
            csrf: "x".to_owned(),
            action: "/organise/s/proposals".to_owned(),
            done: vec!["Confirmed: 3.".to_owned()],
            remarks: vec![Remark { name: samples::HOSTILE.to_owned(), text: "odd".to_owned() }],
            links: vec![Link::new("https://example.org/signin/link?code=abc", samples::HOSTILE)],
            mailed: (n > 0).then_some(texts().links_mailed),
            errors: vec![FieldError::new("p-1", samples::HOSTILE)],
            more: "300 wait in all".to_owned(),
            upto: n,
            rows: (1..=n).map(row).collect(),
            confirm_all: "Confirm all".to_owned(),
            reason: samples::HOSTILE.to_owned(),
        };
        view.render().expect("renders")
    }

    #[test]
    fn what_is_wrong_stands_beside_the_box_it_is_about() {
        let three = page(3);
        samples::assert_sound(&three);
        assert!(three.contains("id=\"p-1\"") && three.contains("href=\"#p-1\""));
        assert_eq!(three.matches(" checked").count(), 1);
        samples::assert_sound(&page(0));
        samples::assert_sound(&page(200));
    }
}
