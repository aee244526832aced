//! `GET` and `POST …/{competition}/gyms`, `/entries`, `/judges`.

use super::C;
use crate::support::TestApp;
use serde_json::{Value, json};

fn bodies() -> [(&'static str, Value, Vec<&'static str>); 3] {
    [
        ("gyms", json!({ "slug": "hill", "name": "Hill Hall", "country": "ES" }), vec!["slug", "name", "country"]),
        (
            "entries",
            json!({ "name": "Eva Sol", "born": "1995-01-31", "category": "women", "division": "women", "gym": "millpond" }),
            vec!["name", "born", "category", "division"],
        ),
        (
            "judges",
            json!({ "code": "J-9", "name": "Ida Roth", "valid_from": "2026-01-01", "valid_to": "2027-12-31" }),
            vec!["code", "name", "valid_from", "valid_to"],
        ),
    ]
}

#[tokio::test]
async fn one_is_added_then_unchanged_and_only_by_an_organiser() {
    let app = TestApp::new().await;
    let organiser = app.organiser().await;
    for (path, body, needed) in bodies() {
        let path = format!("{C}/{path}");
        app.nobody().post(&path).json(body.clone()).await.expect(401);
        for client in
            [app.referee().await, app.staff_of("millpond").await, app.athlete(1042).await, app.stranger().await]
        {
            client.post(&path).json(body.clone()).await.expect(403);
            client.post(&path).json(json!({ "wrong": 1 })).await.expect(403);
        }
        let empty = organiser.post(&path).json(json!({ "wrong": 1 })).await.expect(422);
        // What else is missing is said along with it.
        assert!(empty.errors().len() > 2 && empty.errors()[0] == "/wrong member_unknown", "{}", empty.text());
        let empty = organiser.post(&path).json(json!({})).await.expect(422).errors();
        for member in needed {
            assert!(empty.iter().any(|e| e.starts_with(&format!("/{member} "))), "{path} {member}: {empty:?}");
        }
        let added = organiser.post(&path).json(body.clone()).await.expect(201).json();
        assert_eq!(added["outcome"], "created");
        let again = organiser.post(&path).json(body.clone()).await.expect(200).json();
        assert_eq!((&again["outcome"], &again["id"]), (&json!("unchanged"), &added["id"]), "{path}");
        let mut changed = body;
        changed["name"] = json!("Another Name");
        if path.ends_with("entries") {
            changed["bib"] = json!(added["id"].as_str().unwrap().parse::<u32>().unwrap());
        }
        let changed = organiser.post(&path).json(changed).await.expect(200).json();
        assert_eq!(changed["outcome"], "changed");
        organiser.post(&path.replace("saltmarsh", "nowhere")).json(json!({})).await.expect(404);
    }
}

#[tokio::test]
async fn personal_facts_are_never_given_out() {
    let app = TestApp::new().await;
    let organiser = app.organiser().await;
    let child = json!({ "bib": 3001, "name": "Lia Novo", "born": "2011-03-02", "category": "women", "division": "women",
        "gym": "quayside", "email": "lia@example.org", "guardian_consent": true });
    organiser.post(&format!("{C}/entries")).json(child).await.expect(201);
    let nobody = app.nobody();
    let entry = nobody.get(&format!("{C}/entries/3001")).await.expect(200);
    assert_eq!(entry.json()["name"], "Athlete 3001");
    let all = nobody.get(&format!("{C}/entries")).await.expect(200);
    for text in [entry.text(), all.text(), nobody.get(&format!("{C}/divisions/women/standings")).await.text()] {
        for personal in ["Lia", "2011", "1996", "example.org"] {
            assert!(!text.contains(personal), "{personal} in {text}");
        }
    }
    let found = |reply: Value| reply.as_array().unwrap().len();
    assert_eq!(found(nobody.get(&format!("{C}/entries?q=lia")).await.json()), 0, "a hidden name is not searched");
    assert_eq!(found(nobody.get(&format!("{C}/entries?q=INES")).await.json()), 1);
    assert_eq!(found(nobody.get(&format!("{C}/entries?gym=millpond")).await.json()), 1);
    assert_eq!(app.organiser().await.get(&format!("{C}/entries/3001")).await.json()["name"], "Lia Novo");
    assert_eq!(app.staff_of("quayside").await.get(&format!("{C}/entries/3001")).await.json()["name"], "Lia Novo");
    assert_eq!(app.staff_of("millpond").await.get(&format!("{C}/entries/3001")).await.json()["name"], "Athlete 3001");
    nobody.get(&format!("{C}/entries/77")).await.expect(404);
    nobody.get(&format!("{C}/entries?gim=millpond")).await.expect(422);
}

#[tokio::test]
async fn contacts_are_for_the_organiser_and_judges_for_those_with_a_role() {
    let app = TestApp::new().await;
    let organiser = app.organiser().await;
    let gym = json!({ "slug": "hill", "name": "Hill Hall", "country": "ES", "contact": "Bo Lind", "email": "bo@example.org" });
    organiser.post(&format!("{C}/gyms")).json(gym).await.expect(201);
    let public = app.nobody().get(&format!("{C}/gyms?q=hill")).await.expect(200);
    assert!(!public.text().contains("Bo Lind") && !public.text().contains("bo@"), "{}", public.text());
    assert_eq!(organiser.get(&format!("{C}/gyms?q=hill")).await.json()[0]["contact"], "Bo Lind");
    let judges = format!("{C}/judges");
    app.nobody().get(&judges).await.expect(401);
    app.stranger().await.get(&judges).await.expect(403);
    let seen = app.staff_of("quayside").await.get(&judges).await.expect(200).json();
    assert_eq!((&seen[0]["code"], &seen[0]["name"]), (&json!("J-1"), &json!("Vera Lopes")));
    assert_eq!(app.athlete(1042).await.get(&judges).await.expect(200).json()[0]["name"], json!(null));
}

#[tokio::test]
async fn many_at_once_are_always_200_with_what_became_of_each() {
    let app = TestApp::new().await;
    let organiser = app.organiser().await;
    let csv = "name;born;category;division;gym\r\nEva Sol;1995-01-31;women;women;millpond\r\n;1990-01-01;men;men;\r\nAda Rey;2031-01-01;women;women;nowhere\r\n";
    let outcome = organiser.post(&format!("{C}/entries")).csv(csv).await.expect(200).json();
    assert_eq!((&outcome["taken"], &outcome["refused"]), (&json!(1), &json!(2)), "{outcome}");
    assert_eq!((&outcome["rows"][0]["row"], &outcome["rows"][0]["line"]), (&json!(2), &json!(3)));
    assert_eq!(outcome["rows"][0]["errors"][0]["column"], "name");
    let columns: Vec<&str> =
        outcome["rows"][1]["errors"].as_array().unwrap().iter().map(|e| e["column"].as_str().unwrap()).collect();
    assert!(columns.contains(&"division") && columns.contains(&"gym"), "{columns:?}");
    let again = organiser.post(&format!("{C}/entries")).csv(csv).await.expect(200).json();
    assert_eq!((&again["taken"], &again["unchanged"]), (&json!(0), &json!(1)), "{again}");

    let list = json!([{ "slug": "hill", "name": "Hill Hall", "country": "ES" }, { "slug": "HILL!" }, 7]);
    let outcome = organiser.post(&format!("{C}/gyms")).json(list).await.expect(200).json();
    assert_eq!((&outcome["taken"], &outcome["refused"]), (&json!(1), &json!(2)), "{outcome}");
    assert_eq!(outcome["rows"][1]["errors"][0]["code"], "not_an_object");

    organiser.post(&format!("{C}/gyms")).csv("name\nHill\n").await.expect(422);
    organiser.post(&format!("{C}/gyms")).body("text/csv", vec![0xff, 0xfe, 0x00]).await.expect(422);
    app.staff_of("quayside").await.post(&format!("{C}/gyms")).csv("slug\n").await.expect(403);
}
