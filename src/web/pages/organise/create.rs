//! `/new-competition`: a competition made from its file, looked at before it is there; and a file to
//! begin with. For those who organise all competitions.
//!
//! It stands outside `/organise/{c}`, where any word may be a competition's.

use super::super::html;
use super::super::shell::{Link, Shell};
use super::super::upload::Upload;
use super::file::{View, look};
use super::texts;
use crate::actions::language;
use crate::app::App;
use crate::rules::access::{Act, permit};
use crate::rules::competition::from_toml;
use crate::web::problem::{Answer, Problem};
use crate::web::session::Caller;
use crate::words;
use axum::extract::State;
use axum::response::{IntoResponse, Redirect};

/// Where the page is.
pub(super) const PATH: &str = "/new-competition";
/// Where the example is.
pub(super) const EXAMPLE: &str = "/new-competition/example.toml";
/// The example itself.
const TEXT: &str = include_str!("example.toml");

fn view(caller: &Caller) -> Answer<View> {
    permit(&caller.actor, Act::Administer)?;
    let n = words::new_competition(language::reader());
    let shell = Shell::new(caller, PATH, n.title).below([Link::new("/organise", texts().nav), Link::new("", n.title)]);
    Ok(View::fresh(caller, shell, n))
}

/// `GET /new-competition`.
pub async fn get_new(caller: Caller) -> Answer {
    Ok(html(&view(&caller)?)?.into_response())
}

/// `POST /new-competition`: `do=apply` makes what was shown; anything else only looks.
pub async fn post_new(State(app): State<App>, caller: Caller, upload: Result<Upload, Problem>) -> Answer {
    let (view, upload) = (view(&caller)?, upload?);
    let (status, view) = look(&app, &caller, None, &upload, view).await?;
    if view.applied() {
        let slug = upload.text().and_then(|text| from_toml(&text).ok()).map(|raw| raw.competition.slug);
        return Ok(Redirect::to(&format!("/organise/{}?done=created", slug.unwrap_or_default())).into_response());
    }
    Ok((status, html(&view)?).into_response())
}

/// `GET /new-competition/example.toml`.
pub async fn get_example(caller: Caller) -> Answer {
    permit(&caller.actor, Act::Administer)?;
    Ok(super::file::toml_file("competition.toml", TEXT))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::rules::competition::compile;

    #[test]
    fn the_example_is_a_whole_competition_without_a_remark() {
        let raw = from_toml(TEXT).expect("reads");
        let checked = compile(&raw).expect("compiles");
        assert_eq!(checked.warnings, vec![]);
        let formats: std::collections::HashSet<_> =
            checked.value.workouts.iter().map(|w| format!("{:?}", w.format)).collect();
        assert!(formats.len() >= 3, "it shows several formats: {formats:?}");
    }
}
