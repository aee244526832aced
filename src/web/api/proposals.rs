//! Whom gyms propose to the organiser, and what becomes of them.

use super::paths::{OfCompetition, OfGym};
use crate::actions::language;
use crate::actions::proposals::{self, Became, Decision, How};
use crate::actions::views::{RemarkView, RosterWritten};
use crate::app::App;
use crate::rules::proposal::{Kind, Proposed};
use crate::store::proposals::Proposal;
use crate::web::extract::{Json, Path};
use crate::web::problem::{Answer, Problem, Problems, WriteProblems};
use crate::web::session::Caller;
use axum::extract::State;
use axum::response::IntoResponse;
use http::StatusCode;
use serde::{Deserialize, Serialize};
use std::collections::BTreeSet;
use utoipa::{IntoParams, ToSchema};
use utoipa_axum::router::OpenApiRouter;
use utoipa_axum::routes;

/// The routes of this file.
pub fn routes() -> OpenApiRouter<App> {
    OpenApiRouter::new()
        .routes(routes!(list_proposals_of_gym, propose))
        .routes(routes!(withdraw_proposal))
        .routes(routes!(list_waiting_proposals))
        .routes(routes!(decide_proposals))
}

/// What somebody is to be.
#[derive(ToSchema)]
#[schema(rename_all = "lowercase")]
pub enum ProposalKind {
    /// An athlete.
    Entry,
    /// A judge of the gym.
    Judge,
    /// Staff of the gym.
    Staff,
}

/// Somebody who is proposed. Which members are needed depends on the kind.
#[derive(Clone, Debug, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct ProposedForm {
    /// What they are to be.
    #[schema(value_type = ProposalKind, example = "entry")]
    kind: Kind,
    /// One full name, as the person writes it.
    #[schema(example = "Ines Duarte")]
    name: String,
    /// For staff needed: they get their sign-in there.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    email: String,
    /// Of an athlete.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    #[schema(example = "1996-04-02")]
    born: String,
    /// Of an athlete: `women` or `men`.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    category: String,
    /// Of an athlete: slug.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    division: String,
    /// Of an athlete under 18: whether the guardian consents.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    guardian_consent: bool,
    /// Of a judge.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    code: String,
    /// Of a judge: first day.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    valid_from: String,
    /// Of a judge: last day.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    valid_to: String,
}

impl From<ProposedForm> for Proposed {
    fn from(form: ProposedForm) -> Self {
        let ProposedForm { kind, name, email, born, category, division, guardian_consent, code, valid_from, valid_to } =
            form;
        Self { kind, name, email, born, category, division, guardian_consent, code, valid_from, valid_to }
    }
}

impl From<Proposed> for ProposedForm {
    fn from(proposed: Proposed) -> Self {
        let Proposed { kind, name, email, born, category, division, guardian_consent, code, valid_from, valid_to } =
            proposed;
        Self { kind, name, email, born, category, division, guardian_consent, code, valid_from, valid_to }
    }
}

/// A proposal.
#[derive(Debug, Serialize, ToSchema)]
pub struct ProposalView {
    /// Number.
    #[schema(example = 7)]
    id: i64,
    /// Gym slug.
    #[schema(example = "quayside")]
    gym: String,
    /// What the person is to be.
    #[schema(value_type = ProposalKind, example = "entry")]
    kind: Kind,
    /// When it was made.
    #[schema(format = DateTime)]
    proposed_at: String,
    /// Who; null: it was decided, and nobody's facts are kept.
    proposed: Option<ProposedForm>,
    /// What became of it; null: it waits.
    decided: Option<DecidedView>,
}

/// What became of a proposal.
#[derive(Debug, Serialize, ToSchema)]
pub struct DecidedView {
    /// When.
    #[schema(format = DateTime)]
    at: String,
    /// `confirmed`, `refused`, `withdrawn` (by the gym) or `erased` (at the person's wish).
    #[schema(example = "confirmed")]
    outcome: &'static str,
    /// The bib, or the judge's code; empty: neither.
    #[schema(example = "1045")]
    id: String,
    /// The organiser's reason; may be empty.
    reason: String,
}

impl From<Proposal> for ProposalView {
    fn from(p: Proposal) -> Self {
        let decided = p.decided.map(|d| DecidedView {
            at: d.at.to_string(),
            outcome: d.outcome.as_str(),
            id: d.result,
            reason: d.reason,
        });
        let (proposed, proposed_at) = (p.proposed.map(ProposedForm::from), p.created_at.to_string());
        Self { id: p.id, gym: p.gym, kind: p.kind, proposed_at, proposed, decided }
    }
}

/// List a gym's proposals, the newest first.
///
/// At most 200, also those that were decided within the last sixty days. For the gym's staff and the
/// organiser.
#[utoipa::path(get, path = "/competitions/{competition}/gyms/{gym}/proposals", tag = "proposals", params(OfGym),
    responses((status = 200, description = "The newest first.", body = Vec<ProposalView>), Problems))]
async fn list_proposals_of_gym(State(app): State<App>, caller: Caller, Path(path): Path<OfGym>) -> Answer {
    let found = proposals::of_gym(&app, &caller.actor, caller.received, &path.competition, &path.gym).await?;
    Ok(Json(found.proposals.into_iter().map(ProposalView::from).collect::<Vec<_>>()).into_response())
}

/// A proposal was made.
#[derive(Debug, Serialize, ToSchema)]
pub struct ProposalMade {
    /// Its number.
    #[schema(example = 7)]
    id: i64,
    /// What is odd about it.
    warnings: Vec<RemarkView>,
}

/// Propose somebody.
///
/// They count for nothing before the organiser confirms it. The same once more, while it waits,
/// changes nothing.
#[utoipa::path(post, path = "/competitions/{competition}/gyms/{gym}/proposals", tag = "proposals", params(OfGym),
    request_body = ProposedForm, responses(
    (status = 201, description = "It waits for the organiser.", body = ProposalMade), Problems, WriteProblems))]
async fn propose(
    State(app): State<App>,
    caller: Caller,
    Path(path): Path<OfGym>,
    sent: Result<Json<ProposedForm>, Problem>,
) -> Answer {
    let (actor, now) = (&caller.actor, caller.received);
    proposals::may(&app, actor, now, &path.competition, &path.gym).await?;
    let Json(sent) = sent?;
    let (id, warnings) = proposals::propose(&app, actor, now, &path.competition, &path.gym, sent.into()).await?;
    Ok((StatusCode::CREATED, Json(ProposalMade { id, warnings })).into_response())
}

/// A proposal of a gym.
#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Path)]
pub struct OfProposal {
    /// The competition's slug.
    #[param(example = "saltmarsh")]
    competition: String,
    /// The gym's slug.
    #[param(example = "quayside")]
    gym: String,
    /// The proposal's number.
    id: i64,
}

/// Take a proposal back.
#[utoipa::path(delete, path = "/competitions/{competition}/gyms/{gym}/proposals/{id}", tag = "proposals", params(OfProposal),
    responses((status = 204, description = "Taken back; nobody's facts are kept."), Problems))]
async fn withdraw_proposal(State(app): State<App>, caller: Caller, Path(path): Path<OfProposal>) -> Answer {
    proposals::withdraw(&app, &caller.actor, caller.received, &path.competition, &path.gym, path.id).await?;
    Ok(StatusCode::NO_CONTENT.into_response())
}

/// List the proposals that wait for the organiser, the oldest first.
///
/// At most 200.
#[utoipa::path(get, path = "/competitions/{competition}/proposals", tag = "proposals", params(OfCompetition),
    responses((status = 200, description = "The oldest first.", body = Vec<ProposalView>), Problems))]
async fn list_waiting_proposals(State(app): State<App>, caller: Caller, Path(path): Path<OfCompetition>) -> Answer {
    let found = proposals::waiting(&app, &caller.actor, caller.received, &path.competition).await?;
    Ok(Json(found.proposals.into_iter().map(ProposalView::from).collect::<Vec<_>>()).into_response())
}

/// What to do with proposals.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(rename_all = "lowercase")]
pub enum DecisionKind {
    /// Enter them.
    Confirm,
    /// Do not.
    Refuse,
}

/// Proposals, and what to do with them.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct DecisionForm {
    /// Which; at most 200.
    #[schema(value_type = Vec<i64>, example = json!([7, 8]))]
    ids: BTreeSet<i64>,
    /// What to do.
    decision: DecisionKind,
    /// Of a refusal; the gym reads it.
    #[serde(default)]
    #[schema(max_length = 500)]
    reason: String,
}

/// What became of a proposal just now.
#[derive(Debug, Serialize, ToSchema)]
pub struct BecameView {
    /// Its number.
    #[schema(example = 7)]
    proposal: i64,
    /// `confirmed`, `refused`, `waiting` (something is wrong with it) or `gone` (decided before).
    #[schema(example = "confirmed")]
    outcome: &'static str,
    /// The bib, or the judge's code; empty: neither.
    #[schema(example = "1045")]
    id: String,
    /// A one-time sign-in link for staff who cannot sign in yet; shown this once.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(nullable = false)]
    link: Option<String>,
    /// Whether a letter with it was handed to the mail server.
    mailed: bool,
    /// Of an athlete or judge who is confirmed: `created`, or, where they were there already, `changed` or `unchanged`.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(nullable = false, example = "created")]
    entered: Option<&'static str>,
    /// Taken, but somebody should know.
    warnings: Vec<RemarkView>,
    /// Everything that is wrong with it.
    errors: Vec<String>,
}

impl From<Became> for BecameView {
    fn from(became: Became) -> Self {
        let view = |outcome| Self {
            proposal: became.id,
            outcome,
            id: String::new(),
            link: None,
            mailed: false,
            entered: None,
            warnings: Vec::new(),
            errors: Vec::new(),
        };
        match became.how {
            How::Confirmed(RosterWritten { id, outcome, warnings, .. }) => {
                Self { id, entered: Some(outcome), warnings, ..view("confirmed") }
            }
            How::Staff(link, mailed) => {
                Self { link: link.map(|link| link.address), mailed: mailed.is_some(), ..view("confirmed") }
            }
            How::Refused => view("refused"),
            How::Gone => view("gone"),
            How::Faults(faults) => Self { errors: faults.iter().map(language::say).collect(), ..view("waiting") },
        }
    }
}

/// Confirm or refuse proposals.
///
/// One after the other; what is wrong with one stops none of the others, and it waits on. Who is
/// confirmed is entered as by the organiser: athletes and judges into the roster, staff with an
/// account and their role. For the organiser.
#[utoipa::path(post, path = "/competitions/{competition}/proposals/decisions", tag = "proposals", params(OfCompetition),
    request_body = DecisionForm, responses(
    (status = 200, description = "What became of each.", body = Vec<BecameView>), Problems, WriteProblems))]
async fn decide_proposals(
    State(app): State<App>,
    caller: Caller,
    Path(path): Path<OfCompetition>,
    sent: Result<Json<DecisionForm>, Problem>,
) -> Answer {
    let (actor, now) = (&caller.actor, caller.received);
    crate::actions::roster::may(&app, actor, &path.competition, &crate::actions::Request::at(now)).await?;
    let Json(sent) = sent?;
    let decision = match sent.decision {
        DecisionKind::Confirm => Decision::Confirm,
        DecisionKind::Refuse => Decision::Refuse(sent.reason),
    };
    let became = proposals::decide(&app, actor, now, &path.competition, &sent.ids, &decision).await?;
    Ok(Json(became.into_iter().map(BecameView::from).collect::<Vec<_>>()).into_response())
}
