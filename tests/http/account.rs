//! `/account`: own data taken along, and erasing oneself, with nothing left in the files.

use crate::log_lines::Log;
use crate::support::{Client, SALTMARSH, TestApp, grant};
use serde_json::{Value, json};
use std::task::Poll;
use tallywright::actions::{erase, upkeep};
use tallywright::rules::access::{Actor, Grant, Role};

/// What must be in no file afterwards. Nothing else of the tests is called so.
const PLANTED: [&str; 7] = [
    "Quorzella Vexwhistle",
    "quorzella",
    "1987-03-21",
    "zephyrine.box",
    "videos.example.org/quor-1",
    "seen limping on the left",
    "quor laptop token",
];
const C: &str = "/api/v1/competitions/saltmarsh";

/// An athlete with all that can be kept about one, signed in by browser.
pub async fn athlete(app: &TestApp, more: &[Grant]) -> (Client, String) {
    let organiser = app.organiser().await;
    let entry = json!({ "bib": 4711, "name": "Quorzella Vexwhistle", "born": "1987-03-21", "category": "women",
        "division": "women", "gym": "quayside", "email": "quorzella@zephyrine.box" });
    organiser.post(&format!("{C}/entries")).json(entry).await.expect(201);
    let staff = app.staff_of("quayside").await;
    let score = format!("{C}/workouts/w1/scores/4711");
    let sent = json!({ "performance": "6+14 tb 11:24", "video": "https://videos.example.org/quor-1",
        "attestation": { "judge": "J-1", "how": "paper_sheet" } });
    let stored = staff.put(&score).json(sent).await.expect(201).json();
    let flag = json!({ "reason": "other", "note": "seen limping on the left" });
    let etag = stored["etag"].as_str().expect("an etag");
    app.referee().await.post(&format!("{score}/flags")).if_match(etag).json(flag).await.expect(200);
    // Answers are kept for a repeat, and this one says whose bib it is.
    let row = "bib,name,performance\n4711,Somebody Else,278\n";
    let file = staff.post(&format!("{C}/workouts/w1/scores")).header("idempotency-key", "a-file").csv(row);
    assert!(file.await.expect(200).text().contains("Quorzella Vexwhistle"));
    let own = Grant { bib: Some(4711), ..grant(Role::Athlete, Some(SALTMARSH)) };
    let browser = app.browser("quorzella@zephyrine.box", &[&[own], more].concat()).await;
    let csrf = browser.get("/account").await.expect(200).csrf();
    let token = [("csrf", &*csrf), ("name", "quor laptop token"), ("days", "9")];
    browser.post("/account/tokens").form(&token).await.expect(303);
    (browser, csrf)
}

/// The planted values that the database holds.
pub fn found(app: &TestApp) -> Vec<&'static str> {
    let held = app.database.held();
    let holds = |text: &str| {
        held.iter().any(|bytes| bytes.windows(text.len()).any(|w| w.eq_ignore_ascii_case(text.as_bytes())))
    };
    PLANTED.into_iter().filter(|text| holds(text)).collect()
}

/// The log names no one: with all levels on, only the engine's own lines carry what it was given.
fn assert_silent(log: &Log) {
    let said = log.text();
    let ours = said.lines().filter(|line| {
        let line: Value = serde_json::from_str(line).expect("JSON");
        !line["target"].as_str().is_some_and(|target| target.starts_with("sqlx"))
    });
    let ours: Vec<String> = ours.map(str::to_lowercase).collect();
    assert!(ours.iter().any(|line| line.contains("/account/erase")), "the requests are in it");
    for planted in PLANTED {
        let line = ours.iter().find(|line| line.contains(&planted.to_lowercase()));
        assert_eq!(line, None, "the log says {planted}");
    }
}

pub async fn assert_log_holds(app: &TestApp) {
    for verified in upkeep::verify(&app.app, None).await.expect("verified") {
        assert_eq!(verified.difference, None, "{}", verified.competition);
    }
}

#[tokio::test]
async fn own_data_is_whole_and_nobody_elses() {
    let app = TestApp::new().await;
    let (browser, csrf) = athlete(&app, &[]).await;
    for show in ["no", "yes"] {
        let fields = [("csrf", &*csrf), ("competition", "saltmarsh"), ("bib", "4711"), ("show", show)];
        browser.post("/account/name").form(&fields).await.expect(303);
    }
    let reply = browser.get("/account/data.json").await.expect(200);
    assert!(reply.header("content-disposition").starts_with("attachment"));
    let data = reply.json();
    assert_eq!(data["account"]["email"], "quorzella@zephyrine.box");
    assert_eq!(data["roles"][0]["role"], "athlete");
    let entry = &data["entries"][0];
    assert_eq!((&entry["competition"], &entry["entry"]["bib"]), (&json!("saltmarsh"), &json!(4711)));
    assert_eq!(
        (&entry["person"]["name"], &entry["person"]["born"]),
        (&json!("Quorzella Vexwhistle"), &json!("1987-03-21"))
    );
    assert_eq!(entry["scores"][0]["performance"]["text"], "6+14 tb 11:24");
    assert_eq!(entry["scores"][0]["video"], "https://videos.example.org/quor-1");
    let actions: Vec<&Value> =
        entry["history"][0]["items"].as_array().expect("items").iter().map(|i| &i["action"]).collect();
    assert_eq!(actions, ["submitted", "attested", "flagged"]);
    // Each time, where a page tells the last of it.
    let amended: Vec<(&Value, &Value)> =
        entry["amended"].as_array().expect("a list").iter().map(|a| (&a["role"], &a["what"])).collect();
    let (role, hidden, shown) = (json!("athlete"), json!("hidden"), json!("shown"));
    assert_eq!(amended, [(&role, &hidden), (&role, &shown)]);
    for planted in PLANTED {
        assert!(reply.text().to_lowercase().contains(&planted.to_lowercase()), "{planted} in {}", reply.text());
    }
    assert!(!reply.text().contains("Ines Duarte"));
}

/// A judge with all that can be kept about one, signed in by browser.
async fn judge(app: &TestApp) -> (Client, String) {
    let row = "code,name,gym,valid_from,valid_to,email\n\
        J-7,Quorzella Vexwhistle,quayside,2026-01-01,2027-12-31,quorzella@zephyrine.box\n";
    let told = app.organiser().await.post(&format!("{C}/judges")).csv(row).await.expect(200).json();
    assert_eq!(told["refused"], 0, "{told}");
    let staff = app.staff_of("quayside").await;
    let sent = json!({ "performance": "6+14 tb 11:24", "attestation": { "judge": "J-7", "how": "paper_sheet" } });
    staff.put(&format!("{C}/workouts/w1/scores/1042")).json(sent).await.expect(201);
    let desk = app.in_browser(&staff).await;
    let csrf = desk.get("/account").await.csrf();
    let heats = "/desk/saltmarsh/quayside/heats/w1";
    let make = [("do", "make"), ("version", "0"), ("lanes", "2"), ("minutes", "20"), ("start", "2027-01-15T18:00")];
    desk.post(heats).form(&[&make[..], &[("judging", "judges"), ("csrf", &csrf)]].concat()).await.expect(303);
    let lane = [("do", "change"), ("version", "1"), ("heat-1043", "2"), ("lane-1043", "1"), ("judge-1043", "J-7")];
    desk.post(heats).form(&[&lane[..], &[("csrf", &csrf)]].concat()).await.expect(303);
    let own = Grant { judge: Some("J-7".to_owned()), ..grant(Role::Judge, Some(SALTMARSH)) };
    let browser = app.browser("quorzella@zephyrine.box", &[own]).await;
    let csrf = browser.get("/account").await.expect(200).csrf();
    let token = [("csrf", &*csrf), ("name", "quor laptop token"), ("days", "9")];
    browser.post("/account/tokens").form(&token).await.expect(303);
    (browser, csrf)
}

/// What of the planted a judge has.
const OF_A_JUDGE: [&str; 4] = ["Quorzella Vexwhistle", "quorzella", "zephyrine.box", "quor laptop token"];

#[tokio::test]
async fn a_judge_takes_along_who_they_are_and_where_they_counted() {
    let app = TestApp::new().await;
    let (browser, _) = judge(&app).await;
    let reply = browser.get("/account/data.json").await.expect(200);
    let data = reply.json();
    let own = &data["judges"][0];
    assert_eq!((&own["judge"]["code"], &own["judge"]["gym"]), (&json!("J-7"), &json!("quayside")), "{own}");
    assert_eq!(own["judge"]["name"], "Quorzella Vexwhistle");
    assert_eq!(
        (&own["person"]["name"], &own["person"]["email"]),
        (&json!("Quorzella Vexwhistle"), &json!("quorzella@zephyrine.box"))
    );
    let lane = json!([{ "workout": "w1", "gym": "quayside", "heat": 2, "lane": 1, "starts": "2027-01-15T18:20:00Z", "bib": 1043 }]);
    assert_eq!(own["lanes"], lane);
    let said = &own["vouched"][0];
    assert_eq!(
        (&said["workout"], &said["bib"], &said["text"], &said["how"], &said["at"]),
        (&json!("w1"), &json!(1042), &json!("6+14 tb 11:24"), &json!("paper_sheet"), &json!("2027-01-14T12:00:00Z"))
    );
    assert_eq!(data["entries"], json!([]));
    for name in ["Ines Duarte", "Rita Alves", "Vera Lopes"] {
        assert!(!reply.text().contains(name), "{name} in {}", reply.text());
    }
}

#[tokio::test]
async fn who_erases_themselves_is_in_no_file_and_no_log_and_the_log_still_holds() {
    let log = Log::default();
    let _another = tracing::Dispatch::new(tracing_subscriber::registry());
    let _log = log.listen();
    let app = TestApp::new().await;
    let (browser, csrf) = athlete(&app, &[]).await;
    assert_eq!(found(&app), PLANTED, "planted");
    assert_log_holds(&app).await;
    let wrong = browser.post("/account/erase").form(&[("csrf", &csrf), ("me", "q@zephyrine.box")]).await.expect(422);
    assert!(wrong.text().contains("href=\"#me\""));
    let erased = [("csrf", &*csrf), ("me", "Quorzella@zephyrine.box")];
    let gone = browser.post("/account/erase").form(&erased).await.expect(303);
    assert!(gone.header("set-cookie").contains("Max-Age=0"), "{}", gone.header("set-cookie"));
    assert_eq!(found(&app), [""; 0]);
    assert_log_holds(&app).await;
    browser.get("/account").await.expect(401);
    for page in
        ["/c/saltmarsh/divisions/women", "/c/saltmarsh/athletes/4711", "/c/saltmarsh/divisions/women/workouts/w1"]
    {
        let text = app.nobody().get(page).await.expect(200).text();
        assert!(text.contains("Athlete 4711") && !text.contains("Quorzella"), "{page}");
    }
    // For the gym and the organiser too, who may read hidden names.
    let organiser = app.organiser().await;
    let entry = organiser.get(&format!("{C}/entries?q=4711")).await.expect(200).json();
    assert_eq!(entry[0]["name"], "Athlete 4711");
    let score = organiser.get(&format!("{C}/workouts/w1/scores/4711")).await.expect(200).json();
    assert_eq!(
        (&score["state"], &score["video"], &score["flag"]["note"]),
        (&json!("flagged"), &Value::Null, &Value::Null)
    );
    assert_silent(&log);
    // The address is free, and what was erased does not come back by a repeated import.
    let row = "bib,name,born,category,division,gym\n4711,Quorzella Vexwhistle,1987-03-21,women,women,quayside\n";
    let again = organiser.post(&format!("{C}/entries")).csv(row).await.expect(200).json();
    assert_eq!((&again["refused"], &again["taken"]), (&json!(1), &json!(0)), "{again}");
    app.db_account("quorzella@zephyrine.box", None, &[]).await;
}

#[tokio::test]
async fn the_organiser_erases_who_asks_and_other_roles_stay() {
    let app = TestApp::new().await;
    let staff = Grant { gym: Some("quayside".to_owned()), ..grant(Role::Staff, Some(SALTMARSH)) };
    let (browser, _) = athlete(&app, &[staff]).await;
    let organiser = app.in_browser(&app.organiser().await).await;
    let csrf = organiser.get("/account").await.csrf();
    let path = "/organise/saltmarsh/erase";
    let send = |bib, seen, sure| {
        let fields = [("csrf", &*csrf), ("erase_bib", bib), ("seen", seen), ("sure", sure), ("do", "apply")];
        organiser.post(path).form(&fields)
    };
    // Whom the number stands for is shown first: a slip in it would be somebody else.
    let looked =
        organiser.post(path).form(&[("csrf", &csrf), ("erase_bib", "4711"), ("sure", "yes")]).await.expect(200);
    let (page, seen) = (looked.plain(), looked.seen());
    assert!(page.contains("<dd>Quorzella Vexwhistle</dd>") && page.contains("<dd>Quayside Gym</dd>"), "{page}");
    assert!(page.contains("<dt>Results stored</dt><dd>1</dd>"), "{page}");
    let page = send("4711", &seen, "").await.expect(422).text();
    assert!(page.contains("href=\"#sure\"") && page.contains("value=\"4711\""));
    assert!(send("", &seen, "yes").await.expect(422).text().contains("href=\"#erase_bib\""));
    send("999", &seen, "yes").await.expect(422);
    // Another number than the one that was looked at erases nobody, and says who that is.
    for (bib, seen) in [("1042", &*seen), ("4711", ""), ("4711", "athlete 1042")] {
        let page = send(bib, seen, "yes").await.expect(409).plain();
        assert!(page.contains("This is not whom you looked at"), "{page}");
    }
    assert!(found(&app).contains(&"Quorzella Vexwhistle"));
    let page = send("1042", &seen, "yes").await.expect(409).plain();
    assert!(page.contains("<dd>Ines Duarte</dd>"), "{page}");
    // The same form once more is a second tap: it is done, and nobody is asked who that is.
    for _ in 0..2 {
        let done = send("4711", &seen, "yes").await.expect(303);
        assert_eq!(done.header("location"), "/organise/saltmarsh?done=erased");
    }
    let page = organiser.follow(&send("4711", &seen, "yes").await).await.expect(200).plain();
    assert!(page.contains("Erased. No name is left there."), "{page}");
    assert!(send("4711", &seen, "").await.expect(422).text().contains("href=\"#sure\""));
    // Whoever looks reads that nothing is kept, and finishes what was left over.
    let look = [("csrf", &*csrf), ("erase_bib", "4711")];
    let page = organiser.post(path).form(&look).await.expect(200).plain();
    assert!(page.contains("<dd>Nobody: name and facts are erased already</dd>"), "{page}");
    assert!(
        page.contains("Nobody would be erased: it is done already") && !page.contains("Athlete 4711</dd>"),
        "{page}"
    );
    assert!(page.contains("takes away only what was left over") && !page.contains("This person would be"), "{page}");
    let german = organiser.post(path).header("accept-language", "de").form(&look).await.expect(200).plain();
    assert!(german.contains("Niemand: Name und Angaben sind schon gelöscht"), "{german}");
    assert!(german.contains("Niemand würde gelöscht: Das ist schon geschehen"), "{german}");
    organiser.erases("erase_bib", "4711").await.expect(303);
    let left = found(&app);
    assert!(!left.contains(&"Quorzella Vexwhistle") && !left.contains(&"1987-03-21"), "{left:?}");
    assert!(!left.contains(&"seen limping on the left") && left.contains(&"quor laptop token"), "{left:?}");
    let data = browser.get("/account/data.json").await.expect(200).json();
    assert_eq!((data["roles"].as_array().map(Vec::len), &data["roles"][0]["role"]), (Some(1), &json!("staff")));
    assert_log_holds(&app).await;
}

#[tokio::test]
async fn a_judge_is_erased_with_their_account() {
    let log = Log::default();
    let _another = tracing::Dispatch::new(tracing_subscriber::registry());
    let _log = log.listen();
    let app = TestApp::new().await;
    let (browser, csrf) = judge(&app).await;
    assert_eq!(found(&app), OF_A_JUDGE, "planted");
    let me = [("csrf", &*csrf), ("me", "quorzella@zephyrine.box")];
    browser.post("/account/erase").form(&me).await.expect(303);
    assert_eq!(found(&app), [""; 0]);
    assert_silent(&log);
    let organiser = app.organiser().await;
    let judges = organiser.get(&format!("{C}/judges?q=J-7")).await.expect(200).json();
    let name = judges[0]["name"].as_str().unwrap_or_default();
    assert_eq!((&judges[0]["code"], name), (&json!("J-7"), ""), "{judges}");
    // The word stands, and the lane.
    let score = organiser.get(&format!("{C}/workouts/w1/scores/1042")).await.expect(200).json();
    assert_eq!((&score["state"], &score["attestation"]["judge"]), (&json!("attested"), &json!("J-7")), "{score}");
    browser.get("/account").await.expect(401);
    assert_log_holds(&app).await;
}

#[tokio::test]
async fn whoever_has_a_role_closes_the_own_account_and_the_only_organiser_hands_over_first() {
    let app = TestApp::new().await;
    let staff = app.in_browser(&app.staff_of("quayside").await).await;
    let csrf = staff.get("/account").await.expect(200).csrf();
    let me = [("csrf", csrf.as_str()), ("me", "staff.quayside@example.org")];
    // Without the tick the role stays.
    staff.post("/account/erase").form(&me).await.expect(303);
    staff.get("/desk/saltmarsh/quayside").await.expect(200);
    let done = staff.post("/account/erase").form(&[me.as_slice(), &[("close", "yes")]].concat()).await.expect(303);
    assert_eq!(done.header("location"), "/");
    staff.get("/account").await.expect(401);
    let organiser = app.in_browser(&app.organiser().await).await;
    let roles = organiser.get("/organise/saltmarsh/people").await.expect(200).plain();
    assert!(!roles.contains("staff.quayside@example.org"), "{roles}");
    let csrf = organiser.get("/account").await.csrf();
    let me = [("csrf", csrf.as_str()), ("me", "organiser@example.org"), ("close", "yes")];
    let told = organiser.post("/account/erase").form(&me).await.expect(409).plain();
    assert!(told.contains("You are the only organiser of saltmarsh"), "{told}");
    app.db_account("second@example.org", None, &[grant(Role::Organiser, Some(SALTMARSH))]).await;
    organiser.post("/account/erase").form(&me).await.expect(303);
    organiser.get("/account").await.expect(401);
}

#[tokio::test]
async fn of_two_who_alone_administer_the_service_and_close_at_once_one_stays() {
    let app = TestApp::new().await;
    let mut own = Vec::new();
    for name in ["one", "two"] {
        let browser = app.browser(&format!("{name}@example.org"), &[grant(Role::Organiser, None)]).await;
        let csrf = browser.get("/account").await.expect(200).csrf();
        own.push((browser, csrf, format!("{name}@example.org")));
    }
    let close = async |n: usize| {
        let (browser, csrf, email) = &own[n];
        browser.post("/account/erase").form(&[("csrf", &**csrf), ("me", email), ("close", "yes")]).await
    };
    let answers = tokio::join!(close(0), close(1));
    let answers = [answers.0, answers.1];
    let mut statuses: Vec<u16> = answers.iter().map(|reply| reply.status.as_u16()).collect();
    statuses.sort_unstable();
    assert_eq!(statuses, [303, 409]);
    let left = usize::from(answers[0].status == 303);
    assert!(answers[left].text().contains("You are the only one who administers this service"));
    own[left].0.get("/account").await.expect(200);
    own[1 - left].0.get("/account").await.expect(401);
    // Nor by the other two ways that lead there.
    let last = app.somebody(&own[left].2, &[]).await;
    let id = last.get("/api/v1/me").await.expect(200).json()["account"].as_i64().expect("a number");
    let told = last.delete(&format!("/api/v1/accounts/{id}")).await.expect(409).json();
    assert_eq!(told["code"], "only_administrator");
    let roles = last.get(&format!("/api/v1/accounts/{id}/roles")).await.expect(200).json();
    let told = last.delete(&format!("/api/v1/roles/{}", roles[0]["id"])).await.expect(409).json();
    assert_eq!(told["code"], "only_administrator");
    app.db_account("three@example.org", None, &[grant(Role::Organiser, None)]).await;
    last.delete(&format!("/api/v1/roles/{}", roles[0]["id"])).await.expect(204);
}

#[tokio::test]
async fn what_goes_wrong_after_erasing_is_told_as_that_and_doing_it_again_does_the_rest() {
    let app = TestApp::new().await;
    let (browser, csrf) = athlete(&app, &[]).await;
    let mut raw = app.database.raw().await;
    let (stop, go) = if app.database.is_served() {
        let broken = "CREATE FUNCTION broken() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN RAISE disk_full; END $$;
                      CREATE TRIGGER stop BEFORE DELETE ON grants FOR EACH ROW EXECUTE FUNCTION broken()";
        (broken, "DROP TRIGGER stop ON grants")
    } else {
        ("CREATE TRIGGER stop BEFORE DELETE ON grants BEGIN SELECT RAISE(ABORT, 'broken'); END", "DROP TRIGGER stop")
    };
    raw.run(stop).await.expect("a trigger");
    let me = [("csrf", &*csrf), ("me", "quorzella@zephyrine.box")];
    let told = browser.post("/account/erase").form(&me).await.expect(503);
    assert!(told.text().contains("The name and all facts are erased for good. A code, a role"), "{}", told.text());
    assert!(!told.header("retry-after").is_empty());
    let left = found(&app);
    assert!(!left.contains(&"Quorzella Vexwhistle") && !left.contains(&"1987-03-21"), "{left:?}");
    browser.get("/account").await.expect(200);
    raw.run(go).await.expect("no trigger");
    raw.close().await;
    browser.post("/account/erase").form(&me).await.expect(303);
    browser.get("/account").await.expect(401);
    assert_eq!(found(&app), Vec::<&str>::new());
    assert_log_holds(&app).await;
}

/// Who hangs up does not leave the half of it behind: their roles and their account go too.
#[tokio::test]
async fn erasing_goes_on_when_whoever_asked_has_hung_up() {
    let app = TestApp::new().await;
    let (browser, _) = athlete(&app, &[]).await;
    let email = "quorzella@zephyrine.box".to_owned();
    let grants = vec![Grant { bib: Some(4711), ..grant(Role::Athlete, Some(SALTMARSH)) }];
    let account = Some(app.db_account(&email, None, &grants).await.0);
    let actor = Actor { account, email, grants, ..Actor::default() };
    // Asked, and nobody waits for the answer any more.
    let mut asked = Box::pin(erase::erase_me(&app.app, &actor, app.app.clock.now()));
    let answered = std::future::poll_fn(|cx| Poll::Ready(asked.as_mut().poll(cx).is_ready())).await;
    assert!(!answered, "it takes longer than that");
    drop(asked);
    for _ in 0..200 {
        if found(&app).is_empty() {
            break;
        }
        tokio::time::sleep(std::time::Duration::from_millis(20)).await;
    }
    assert_eq!(found(&app), Vec::<&str>::new());
    browser.get("/account").await.expect(401);
    assert_log_holds(&app).await;
}
