//! `/api/v1/accounts` and `/api/v1/roles`.

use crate::support::{HIDDEN, SALTMARSH, TestApp};
use serde_json::json;

#[tokio::test]
async fn an_organiser_invites_staff_who_sign_in_by_the_link() {
    let app = TestApp::new().await;
    let organiser = app.organiser().await;
    let roles = json!([{"role": "staff", "competition": SALTMARSH, "gym": "quayside"}]);
    let sent = json!({"email": "desk@example.org", "roles": roles});
    let invited = organiser.post("/api/v1/accounts").json(sent.clone()).await.expect(201).json();
    let link = invited["link"].as_str().unwrap();
    let (address, code) = link.split_once("?code=").unwrap();
    assert_eq!(address, "http://127.0.0.1:8080/signin/link");
    app.nobody().post("/api/v1/session").json(json!({"code": code})).await.expect(201);
    let again = organiser.post("/api/v1/accounts").json(sent).await.expect(200).json();
    assert_eq!(again["account"], invited["account"]);
    assert_eq!(again.get("link"), None, "no way into an account that exists");
    let listed = organiser.get("/api/v1/competitions/saltmarsh/roles").await.expect(200).json();
    let found = listed.as_array().unwrap().iter().filter(|r| r["email"] == "desk@example.org").count();
    assert_eq!(found, 1, "a role given twice is given once");
}

#[tokio::test]
async fn an_organiser_gives_roles_in_the_own_competition_alone() {
    let app = TestApp::new().await;
    let organiser = app.organiser().await;
    for role in [json!({"role": "referee", "competition": HIDDEN}), json!({"role": "organiser"})] {
        let sent = json!({"email": "friend@example.org", "roles": [role]});
        organiser.post("/api/v1/accounts").json(sent).await.expect(403);
    }
    organiser.post("/api/v1/accounts").json(json!({"email": "friend@example.org"})).await.expect(403);
    organiser.get("/api/v1/accounts").await.expect(403);
    app.referee().await.get("/api/v1/competitions/saltmarsh/roles").await.expect(403);
}

#[tokio::test]
async fn what_is_wrong_with_roles_is_said_all_at_once() {
    let app = TestApp::new().await;
    let sent = json!({"email": "no address", "roles": [
        {"role": "staff", "competition": SALTMARSH},
        {"role": "staff", "competition": SALTMARSH, "gym": "nowhere"},
        {"role": "athlete", "competition": SALTMARSH, "bib": 9, "gym": "quayside"},
        {"role": "judge", "competition": SALTMARSH, "judge": "J-9"},
        {"role": "referee", "competition": "none"},
        {"role": "judge", "competition": SALTMARSH},
    ]});
    let reply = app.administrator().await.post("/api/v1/accounts").json(sent).await.expect(422);
    let errors = reply.errors();
    assert!(errors[0].starts_with("/email "), "{errors:?}");
    assert_eq!(
        errors[1..],
        [
            "/roles/0/gym role_needs_gym",
            "/roles/1/gym role_no_such_gym",
            "/roles/2/gym role_takes_no_gym",
            "/roles/2/bib role_no_such_bib",
            "/roles/3/judge role_no_such_judge",
            "/roles/4/competition role_nowhere",
            "/roles/5/judge role_needs_judge",
        ]
    );
}

#[tokio::test]
async fn a_role_taken_away_is_gone_at_once() {
    let app = TestApp::new().await;
    let (organiser, referee) = (app.organiser().await, app.referee().await);
    let listed = organiser.get("/api/v1/competitions/saltmarsh/roles").await.expect(200).json();
    let role = listed.as_array().unwrap().iter().find(|r| r["role"]["role"] == "referee").unwrap()["id"].clone();
    referee.get("/api/v1/competitions/saltmarsh/log").await.expect(200);
    referee.delete(&format!("/api/v1/roles/{role}")).await.expect(404);
    organiser.delete(&format!("/api/v1/roles/{role}")).await.expect(204);
    referee.get("/api/v1/competitions/saltmarsh/log").await.expect(403);
}

#[tokio::test]
async fn a_closed_account_has_no_way_in() {
    let app = TestApp::empty().await;
    let administrator = app.administrator().await;
    let browser = app.browser("ines@example.org", &[]).await;
    let id = browser.get("/api/v1/me").await.expect(200).json()["account"].clone();
    let token = browser.post("/api/v1/me/tokens").json(json!({"name": "desk"})).await.expect(201).json();
    let program = app.nobody().with_token(token["token"].as_str().unwrap());
    let link = administrator.post(&format!("/api/v1/accounts/{id}/link")).await.expect(201).json();
    administrator.delete(&format!("/api/v1/accounts/{id}")).await.expect(204);
    browser.get("/api/v1/me").await.expect(401);
    program.get("/api/v1/me").await.expect(401);
    let code = link["link"].as_str().unwrap().split_once("?code=").unwrap().1.to_owned();
    app.nobody().post("/api/v1/session").json(json!({"code": code})).await.expect(401);
}
