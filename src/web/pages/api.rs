//! `/api`: what the API offers, for people: a list of all requests, in place of which scripts put
//! a viewer of the `OpenAPI` document. What it does not do: describe anything itself.

use super::html;
use super::shell::{Shell, words};
use crate::actions::language;
use crate::web::problem::Answer;
use crate::web::session::Caller;
use crate::words::api;
use crate::words::en::api::Api;
use crate::words::en::pages::Pages;
use askama::Template;
use axum::response::IntoResponse;
use serde_json::Value;
use std::sync::LazyLock;

/// Where the document stands.
const DOCUMENT: &str = "/api/openapi.json";

#[derive(Template)]
#[template(path = "api.html")]
struct View {
    shell: Shell,
    w: &'static Pages,
    a: &'static Api,
    document: &'static str,
    groups: &'static [Group],
}

/// The operations of one tag.
struct Group {
    name: String,
    operations: Vec<Operation>,
}

struct Operation {
    method: String,
    path: String,
    summary: String,
}

static GROUPS: LazyLock<Vec<Group>> = LazyLock::new(|| {
    let document = serde_json::to_value(crate::web::api::router().to_openapi()).unwrap_or_default();
    groups(&document)
});

/// The operations of a document by their first tag, in the document's order.
fn groups(document: &Value) -> Vec<Group> {
    let mut groups: Vec<Group> = Vec::new();
    for (path, item) in document["paths"].as_object().into_iter().flatten() {
        for (method, operation) in item.as_object().into_iter().flatten() {
            let text = |value: &Value| value.as_str().unwrap_or_default().to_owned();
            let (name, summary) = (text(&operation["tags"][0]), text(&operation["summary"]));
            let operation = Operation { method: method.to_uppercase(), path: path.clone(), summary };
            match groups.iter_mut().find(|group| group.name == name) {
                Some(group) => group.operations.push(operation),
                None => groups.push(Group { name, operations: vec![operation] }),
            }
        }
    }
    groups
}

/// `GET /api`.
pub async fn get_api(caller: Caller) -> Answer {
    let a = api(language::reader());
    let shell = Shell::new(&caller, "/api", a.title);
    Ok(html(&View { shell, w: words(), a, document: DOCUMENT, groups: &GROUPS })?.into_response())
}

#[cfg(test)]
mod tests {
    use super::super::samples;
    use super::*;

    #[test]
    fn every_operation_is_listed_with_what_it_does() {
        let all: Vec<&Operation> = GROUPS.iter().flat_map(|group| &group.operations).collect();
        assert!(all.len() > 40 && all.iter().all(|o| !o.summary.is_empty()));
        assert!(all.iter().any(|o| o.method == "PUT" && o.path.ends_with("/scores/{bib}")));
        let view = View {
            shell: samples::shell("API"),
            w: words(),
            a: api(language::reader()),
            document: DOCUMENT,
            groups: &GROUPS,
        };
        samples::assert_sound(&view.render().expect("renders").replace("<script defer src=\"/static/", ""));
    }
}
