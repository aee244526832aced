//! `/organise/{c}/people`: roles seen and taken away, sign-ins for all gyms.

use super::organiser;
use crate::support::{SALTMARSH, TestApp, grant};
use serde_json::json;
use tallywright::rules::access::{Grant, Role};

const PATH: &str = "/organise/saltmarsh/people";

/// Signs in by a link and says what the account may be.
async fn roles_by(app: &TestApp, link: &str) -> serde_json::Value {
    let code = link.split_once("code=").expect("a code").1;
    app.nobody().get(&format!("/signin/link?code={code}")).await.expect(200);
    let begun = app.nobody().post("/signin/link").form(&[("code", code)]).await.expect(303);
    let cookie = begun.header("set-cookie").split_once('=').and_then(|(_, v)| v.split_once(';')).expect("a cookie").0;
    // Once only.
    app.nobody().post("/signin/link").form(&[("code", code)]).await.expect(401);
    app.nobody().with_cookie(cookie).get("/account/data.json").await.expect(200).json()["roles"].clone()
}

#[tokio::test]
async fn all_gyms_are_invited_with_a_table_for_a_mail_merge() {
    let app = TestApp::new().await;
    let gyms = "slug,name,country,contact,email\nquayside,Quayside Gym,PT,=Ana Cruz,ana@quayside.example\nhilltop,Hilltop,PT,,hill@top.example\n";
    app.organiser().await.post("/api/v1/competitions/saltmarsh/gyms").csv(gyms).await.expect(200);
    app.db_account("hill@top.example", Some("three old oars"), &[]).await;
    let (browser, csrf) = organiser(&app).await;
    let reply = browser.post(&format!("{PATH}/invite")).form(&[("csrf", &csrf)]).await.expect(200);
    assert!(reply.header("content-disposition").contains("invitations-saltmarsh.csv"));
    assert_eq!(reply.header("cache-control"), "no-store");
    let text = reply.text();
    let rows: Vec<&str> = text.lines().collect();
    assert_eq!(rows[0], "gym,gym_name,contact,email,link,until,remark");
    assert!(rows[1].starts_with("hilltop,Hilltop,,hill@top.example,,,Has a sign-in"), "{text}");
    assert!(rows[2].contains("millpond,Millpond Gym,,,,,No e-mail"), "{text}");
    assert!(
        rows[3].starts_with(
            "quayside,Quayside Gym,'=Ana Cruz,ana@quayside.example,http://127.0.0.1:8080/signin/link?code="
        )
    );
    assert!(rows[3].contains(",2027-01-21T12:00:00Z,"), "{text}");
    let link = rows[3].split(',').nth(4).expect("a link");
    let roles = roles_by(&app, link).await;
    assert_eq!((&roles[0]["role"], &roles[0]["gym"]), (&json!("staff"), &json!("quayside")));
    // Again: nobody gets a role twice, and who has no password yet gets another link.
    let again = browser.post(&format!("{PATH}/invite")).form(&[("csrf", &csrf)]).await.expect(200).text();
    let link = again.lines().nth(3).and_then(|r| r.split(',').nth(4)).expect("a link").to_owned();
    assert_eq!(roles_by(&app, &link).await.as_array().map(Vec::len), Some(1));
    // After seven days a link is none.
    let old = browser.post(&format!("{PATH}/invite")).form(&[("csrf", &csrf)]).await.expect(200).text();
    let code = old.split_once("code=").and_then(|(_, r)| r.split_once(',')).expect("a code").0.to_owned();
    app.set_clock("2027-01-21T12:00:01Z");
    app.nobody().post("/signin/link").form(&[("code", &code)]).await.expect(401);
}

#[tokio::test]
async fn roles_are_found_by_the_names_of_gyms_and_people_and_those_in_all_competitions_stand_there() {
    let app = TestApp::new().await;
    for _ in [app.staff_of("millpond").await, app.judge("J-1").await, app.athlete(1042).await] {}
    app.administrator().await;
    let (browser, csrf) = organiser(&app).await;
    let found = async |q: &str| browser.get(&format!("{PATH}?q={q}")).await.expect(200).plain();
    for (q, whose) in [("millpond+gym", "staff.millpond@"), ("vera", "j-1@"), ("ines", "athlete.1042@")] {
        let page = found(q).await;
        assert!(page.contains(whose) && page.matches("@example.org</th>").count() == 1, "{q}: {page}");
    }
    let page = found("administrator").await;
    assert!(page.contains("Organiser in all competitions") && !page.contains("/remove\""), "{page}");
    // What holds in all is not this organiser's to take away.
    let all = app.app.store.list_grants_everywhere().await.expect("grants");
    let form = [("csrf", &*csrf), ("sure", "yes")];
    browser.post(&format!("{PATH}/{}/remove", all[0].id)).form(&form).await.expect(404);
    assert_eq!(app.app.store.list_grants_everywhere().await.expect("grants").len(), 1);
}

#[tokio::test]
async fn roles_are_seen_and_taken_away() {
    let app = TestApp::new().await;
    let staff = app.staff_of("quayside").await;
    let (browser, csrf) = organiser(&app).await;
    let page = browser.get(PATH).await.expect(200).plain();
    assert!(page.contains("staff.quayside@example.org") && page.contains("Gym staff, Quayside Gym"), "{page}");
    let of = |what: &str| {
        let row = page.split("<tr>").find(|r| r.contains("staff.quayside@")).expect("a row");
        let before = row.split(what).next().expect("an address");
        before.rsplit('/').next().expect("a number").to_owned()
    };
    let (role, account) = (of("/remove\""), of("/link\""));
    let found = browser.get(&format!("{PATH}?q=referee")).await.expect(200).plain();
    assert!(!found.contains("staff.quayside@"));
    let desk = "/api/v1/competitions/saltmarsh/workouts/w1/scores?gym=quayside";
    staff.get(desk).await.expect(200);
    let led = browser.post(&format!("{PATH}/{account}/link")).form(&[("csrf", &csrf)]).await.expect(303);
    assert!(led.header("location").starts_with(&format!("{PATH}?once=")), "{led:?}");
    let fresh = browser.follow(&led).await.expect(200);
    assert!(fresh.plain().contains("/signin/link?code=") && fresh.header("set-cookie").contains("=; "), "{led:?}");
    // Of two that are made in two tabs at once both are shown, each on its own.
    let make = || browser.post(&format!("{PATH}/{account}/link")).form(&[("csrf", &csrf)]);
    let both = [make().await.expect(303), make().await.expect(303)];
    let tabs = browser.given(&both);
    let mut links = Vec::new();
    for led in &both {
        let page = tabs.get(led.header("location")).await.expect(200).plain();
        links.push(page.split_once("code=").expect("a link").1.chars().take(20).collect::<String>());
    }
    assert_ne!(links[0], links[1]);
    // The page loaded again sends nothing and shows it to nobody.
    assert!(!browser.get(PATH).await.expect(200).plain().contains("code="));
    // Another session is shown nothing of it.
    let (other, _) = organiser(&app).await;
    assert!(!other.follow(&led).await.expect(200).plain().contains("code="));
    // One tap asks; only the answer takes it away.
    let asked = browser.post(&format!("{PATH}/{role}/remove")).form(&[("csrf", &csrf)]).await.expect(200).plain();
    assert!(asked.contains("Take this role away?") && asked.contains("Gym staff, Quayside Gym"), "{asked}");
    staff.get(desk).await.expect(200);
    let sure = [("csrf", csrf.as_str()), ("sure", "yes")];
    browser.post(&format!("{PATH}/{role}/remove")).form(&sure).await.expect(303);
    staff.get(desk).await.expect(403);
}

#[tokio::test]
async fn a_role_is_given_by_e_mail_with_a_link_that_works_once() {
    let app = TestApp::new().await;
    let (browser, csrf) = organiser(&app).await;
    let give = async |fields: &[(&str, &str)]| {
        let fields: Vec<(&str, &str)> = fields.iter().copied().chain([("csrf", csrf.as_str())]).collect();
        let led = browser.post(PATH).form(&fields).await.expect(303);
        let at = led.header("location").to_owned();
        assert!(at.starts_with(PATH) && !at.contains("code="), "no secret stands in an address: {at}");
        browser.follow(&led).await.expect(200).plain()
    };
    let link =
        |page: &str| page.split_once("<code>").and_then(|(_, r)| r.split_once("</code>")).map(|(l, _)| l.to_owned());
    for (email, role, gym, judge, wanted) in [
        ("ref@example.org", "referee", "", "", json!({"role": "referee"})),
        ("second@example.org", "organiser", "", "", json!({"role": "organiser"})),
        ("desk@example.org", "staff", "quayside gym", "", json!({"role": "staff", "gym": "quayside"})),
        ("vera@example.org", "judge", "", "Vera Lopes", json!({"role": "judge", "judge": "J-1"})),
    ] {
        let page = give(&[("email", email), ("role", role), ("gym", gym), ("judge", judge)]).await;
        let roles = roles_by(&app, &link(&page).unwrap_or_else(|| panic!("no link: {page}"))).await;
        assert_eq!(roles[0]["competition"], SALTMARSH);
        for (member, value) in wanted.as_object().expect("members") {
            assert_eq!(&roles[0][member], value, "{email}");
        }
    }
    // Who has a password keeps it: no link into the account is shown.
    let (known, _) = app.db_account("known@example.org", Some("three old oars"), &[]).await;
    let page = give(&[("email", "known@example.org"), ("role", "referee")]).await;
    assert!(link(&page).is_none() && page.contains("known@example.org has a sign-in already"), "{page}");
    assert!(known > 0 && page.contains("Referee"));
}

#[tokio::test]
async fn what_is_stored_is_said_to_be_when_its_link_cannot_be_made() {
    let app = TestApp::new().await;
    let (browser, csrf) = organiser(&app).await;
    app.db_account("vera@example.org", None, &[grant(Role::Referee, Some(SALTMARSH))]).await;
    let mut raw = app.database.raw().await;
    raw.run("ALTER TABLE links RENAME TO links_away").await.expect("renamed");
    let fields = [("csrf", csrf.as_str()), ("email", "vera@example.org"), ("role", "organiser")];
    let led = browser.post(PATH).form(&fields).await.expect(303);
    raw.run("ALTER TABLE links_away RENAME TO links").await.expect("renamed");
    let page = browser.follow(&led).await.expect(200).plain();
    assert!(page.contains("The role is given.") && page.contains("a link for vera@example.org could not be"), "{page}");
    let roles = app.organiser().await.get("/api/v1/competitions/saltmarsh/roles").await.expect(200).json();
    let of = |r: &serde_json::Value| r["email"] == "vera@example.org" && r["role"]["role"] == "organiser";
    assert!(roles.as_array().is_some_and(|all| all.iter().any(of)), "{roles}");
}

#[tokio::test]
async fn every_fault_of_a_role_stands_beside_its_field_and_nothing_typed_is_lost() {
    let app = TestApp::new().await;
    let (browser, csrf) = organiser(&app).await;
    let fields = [
        ("csrf", csrf.as_str()),
        ("email", "nobody at all"),
        ("role", "judge"),
        ("gym", "nowhere hall"),
        ("judge", "Nobody Known"),
    ];
    let page = browser.post(PATH).form(&fields).await.expect(422).text();
    for field in ["email", "gym", "judge"] {
        assert!(page.contains(&format!("href=\"#{field}\"")), "{field}: {page}");
    }
    for typed in ["nobody at all", "nowhere hall", "Nobody Known", "value=\"judge\" selected"] {
        assert!(page.contains(typed), "{typed}: {page}");
    }
    let empty = browser.post(PATH).form(&[("csrf", csrf.as_str()), ("role", "staff")]).await.expect(422).text();
    assert!(empty.contains("href=\"#email\"") && empty.contains("href=\"#gym\""), "{empty}");
    let wrong = [("csrf", csrf.as_str()), ("email", "a@example.org"), ("role", "referee"), ("gym", "quayside")];
    assert!(browser.post(PATH).form(&wrong).await.expect(422).text().contains("Only a staff role names a gym"));
    let none = app.organiser().await.get("/api/v1/competitions/saltmarsh/roles").await.expect(200).text();
    assert!(!none.contains("a@example.org") && !none.contains("nobody at all"), "{none}");
}

#[tokio::test]
async fn an_organiser_gets_no_link_into_an_account_that_is_more_than_theirs() {
    let app = TestApp::new().await;
    let (browser, csrf) = organiser(&app).await;
    let link = |account: i64| browser.post(&format!("{PATH}/{account}/link")).form(&[("csrf", &csrf)]);
    let here = grant(Role::Referee, Some(SALTMARSH));
    let elsewhere = grant(Role::Referee, Some("hidden"));
    let (both, _) = app.db_account("both@example.org", None, &[here.clone(), elsewhere]).await;
    let everywhere: Grant = grant(Role::Organiser, None);
    let (all, _) = app.db_account("all@example.org", None, &[here.clone(), everywhere]).await;
    let (with, _) = app.db_account("with@example.org", Some("three old oars"), &[here]).await;
    link(both).await.expect(404);
    link(all).await.expect(404);
    assert!(link(with).await.expect(409).text().contains("has a password"));
    // Nor by naming somebody a gym's contact.
    let gyms = "slug,name,country,contact,email\nquayside,Quayside Gym,PT,Al,all@example.org\n";
    app.organiser().await.post("/api/v1/competitions/saltmarsh/gyms").csv(gyms).await.expect(200);
    let table = browser.post(&format!("{PATH}/invite")).form(&[("csrf", &csrf)]).await.expect(200).text();
    assert!(!table.contains("code="), "{table}");
}

#[tokio::test]
async fn inviting_all_gyms_again_gives_no_role_back_that_was_taken_away() {
    let app = TestApp::new().await;
    let gyms = "slug,name,country,contact,email\nquayside,Quayside Gym,PT,Ana Cruz,ana@quayside.example\nmillpond,Millpond Gym,PT,Bo Dahl,Bo@millpond.example\n";
    app.organiser().await.post("/api/v1/competitions/saltmarsh/gyms").csv(gyms).await.expect(200);
    let (browser, csrf) = organiser(&app).await;
    let invite = async || {
        let table = browser.post(&format!("{PATH}/invite")).form(&[("csrf", &csrf)]).await.expect(200).text();
        let row = |gym: &str| table.lines().find(|l| l.starts_with(gym)).expect("a row").to_owned();
        (row("millpond"), row("quayside"))
    };
    let staff = async || {
        let all = app.app.store.list_grants_in(SALTMARSH).await.expect("grants").into_iter();
        all.filter(|g| g.grant.role == Role::Staff).collect::<Vec<_>>()
    };
    let (bo, ana) = invite().await;
    assert!(bo.contains("code=") && ana.contains("code="), "{bo} {ana}");
    // One role is taken away, one account is closed.
    let held = staff().await;
    assert_eq!(held.len(), 2);
    let of = |email: &str| held.iter().find(|g| g.email == email).expect("a role");
    let sure = [("csrf", csrf.as_str()), ("sure", "yes")];
    let remove = format!("{PATH}/{}/remove", of("ana@quayside.example").id);
    browser.post(&remove).form(&sure).await.expect(303);
    let close = format!("/api/v1/accounts/{}", of("Bo@millpond.example").account);
    app.administrator().await.delete(&close).await.expect(204);
    for row in <[String; 2]>::from(invite().await) {
        assert!(!row.contains("code=") && row.contains("Their role here was taken away or given up"), "{row}");
    }
    assert_eq!(staff().await, []);
    let german = browser.post(&format!("{PATH}/invite")).header("accept-language", "de").form(&[("csrf", &csrf)]);
    assert!(german.await.expect(200).text().contains("Diese Rolle wurde weggenommen oder abgegeben"));
    // Given on purpose it is there again, and so is the invitation.
    let give = [("csrf", &*csrf), ("email", "ANA@quayside.example"), ("role", "staff"), ("gym", "quayside")];
    browser.post(PATH).form(&give).await.expect(303);
    let (bo, ana) = invite().await;
    assert!(ana.contains("code=") && bo.contains("taken away"), "{bo} {ana}");
    assert_eq!(staff().await.len(), 1);
    // Another contact of the gym is another person.
    let gyms = "slug,name,country,contact,email\nmillpond,Millpond Gym,PT,Cy Eder,cy@millpond.example\n";
    app.organiser().await.post("/api/v1/competitions/saltmarsh/gyms").csv(gyms).await.expect(200);
    assert!(invite().await.0.contains("code="));
}
