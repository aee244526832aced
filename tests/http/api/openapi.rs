//! `/api/openapi.json`: what programs are made from.

use crate::support::TestApp;
use serde_json::Value;
use std::collections::BTreeSet;

/// The committed copy.
const COPY: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/http/openapi.json");

async fn document() -> Value {
    TestApp::empty().await.nobody().get("/api/openapi.json").await.expect(200).json()
}

/// Set `TALLYWRIGHT_BLESS=1` to write the copy anew after a change that is meant.
#[tokio::test]
async fn the_committed_copy_is_not_stale() {
    let text = format!("{:#}\n", document().await);
    if std::env::var_os("TALLYWRIGHT_BLESS").is_some() {
        std::fs::write(COPY, &text).expect("the copy is written");
    }
    let copy = std::fs::read_to_string(COPY).unwrap_or_default();
    let line = text.lines().zip(copy.lines()).position(|(a, b)| a != b);
    assert!(
        text == copy,
        "tests/http/openapi.json is stale from line {line:?} on: run this test with TALLYWRIGHT_BLESS=1"
    );
}

#[tokio::test]
async fn it_is_openapi_3_1_and_every_reference_leads_somewhere() {
    let document = document().await;
    assert_eq!(document["openapi"], "3.1.0");
    let mut found = Vec::new();
    references(&document, &mut found);
    assert!(found.len() > 50, "only {} references", found.len());
    for reference in found {
        let pointer = reference.strip_prefix('#').expect("a local reference");
        assert!(document.pointer(pointer).is_some(), "{reference} leads nowhere");
    }
}

fn references(value: &Value, found: &mut Vec<String>) {
    match value {
        Value::Object(members) => {
            for (name, value) in members {
                if let ("$ref", Value::String(reference)) = (name.as_str(), value) {
                    found.push(reference.clone());
                }
                references(value, found);
            }
        }
        Value::Array(items) => items.iter().for_each(|item| references(item, found)),
        _ => {}
    }
}

#[tokio::test]
async fn every_operation_has_a_summary_its_problems_and_a_name_of_its_own() {
    let document = document().await;
    let mut names = BTreeSet::new();
    for (path, operations) in document["paths"].as_object().expect("paths") {
        for (method, operation) in operations.as_object().expect("operations") {
            let at = format!("{method} {path}");
            assert!(operation["summary"].as_str().is_some_and(|s| !s.is_empty()), "{at}: no summary");
            let name = operation["operationId"].as_str().expect("a name").to_owned();
            assert!(names.insert(name.clone()), "{at}: {name} is taken");
            let responses = operation["responses"].as_object().expect("responses");
            assert!(responses.contains_key("401") && responses.contains_key("422"), "{at}: no problems");
            let writes = ["put", "patch", "post"].contains(&method.as_str()) && path.contains("/competitions");
            assert!(!writes || responses.contains_key("412"), "{at}: no problems of writes");
        }
    }
}

/// The paths of the design, all of them.
#[tokio::test]
async fn every_path_of_the_design_is_there() {
    let document = document().await;
    let score = "/workouts/{workout}/scores/{bib}";
    let wanted = [
        ("get", String::new()),
        ("get", "/{competition}".into()),
        ("put", "/{competition}".into()),
        ("get", "/{competition}/gyms".into()),
        ("post", "/{competition}/gyms".into()),
        ("get", "/{competition}/entries".into()),
        ("post", "/{competition}/entries".into()),
        ("get", "/{competition}/judges".into()),
        ("post", "/{competition}/judges".into()),
        ("get", "/{competition}/entries/{bib}".into()),
        ("patch", "/{competition}/entries/{bib}".into()),
        ("get", "/{competition}/entries/{bib}/standing".into()),
        ("put", format!("/{{competition}}{score}")),
        ("get", format!("/{{competition}}{score}")),
        ("get", format!("/{{competition}}{score}/history")),
        ("get", "/{competition}/workouts/{workout}/scores".into()),
        ("post", "/{competition}/workouts/{workout}/scores".into()),
        ("post", format!("/{{competition}}{score}/attestation")),
        ("post", format!("/{{competition}}{score}/withdrawal")),
        ("post", format!("/{{competition}}{score}/not-taking-part")),
        ("delete", format!("/{{competition}}{score}/not-taking-part")),
        ("post", format!("/{{competition}}{score}/flags")),
        ("post", format!("/{{competition}}{score}/withhold")),
        ("post", format!("/{{competition}}{score}/ruling")),
        ("post", format!("/{{competition}}{score}/appeal")),
        ("post", format!("/{{competition}}{score}/admission")),
        ("post", "/{competition}/workouts/{workout}/extensions".into()),
        ("get", "/{competition}/rulings".into()),
        ("get", "/{competition}/divisions/{division}/standings".into()),
        ("get", "/{competition}/divisions/{division}/workouts/{workout}/places".into()),
        ("get", "/{competition}/log".into()),
    ];
    for (method, below) in wanted {
        let path = format!("/api/v1/competitions{below}");
        assert!(document["paths"][&path][method].is_object(), "{method} {path} is not there");
    }
}
