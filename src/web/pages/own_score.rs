//! `/c/{c}/athletes/{bib}/workouts/{w}`: an athlete's own score, for those who belong to no gym: the
//! same form as at a desk, of no desk.

use super::form::Fields;
use super::score::{get_score, post_score};
use super::take_back::post_withdrawal;
use crate::app::App;
use crate::web::extract::{Path, Query};
use crate::web::problem::Answer;
use crate::web::session::{Caller, Form};
use axum::extract::State;

/// Stands for no gym; none can be called so.
pub(super) const NO_GYM: &str = "";

type Own = (String, u32, String);

/// `GET /c/{c}/athletes/{bib}/workouts/{w}`.
pub async fn get_own(app: State<App>, caller: Caller, Path((c, bib, w)): Path<Own>, query: Query<Fields>) -> Answer {
    get_score(app, caller, Path((c, NO_GYM.to_owned(), w, bib)), query).await
}

/// `POST /c/{c}/athletes/{bib}/workouts/{w}`.
pub async fn post_own(app: State<App>, caller: Caller, Path((c, bib, w)): Path<Own>, form: Form<Fields>) -> Answer {
    post_score(app, caller, Path((c, NO_GYM.to_owned(), w, bib)), form).await
}

/// `POST /c/{c}/athletes/{bib}/workouts/{w}/withdrawal`.
pub async fn post_own_withdrawal(
    app: State<App>,
    caller: Caller,
    Path((c, bib, w)): Path<Own>,
    form: Form<Fields>,
) -> Answer {
    post_withdrawal(app, caller, Path((c, NO_GYM.to_owned(), w, bib)), form).await
}
