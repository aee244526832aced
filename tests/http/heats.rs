//! A gym's heats: made and changed through plain forms; nobody counts for themselves; the form of a
//! score and the judge's sheets are filled in from them.

use crate::support::{Client, Reply, SALTMARSH, TestApp};
use tallywright::actions::{Request, roster};
use tallywright::rules::access::{Actor, Grant, Role};
use tallywright::rules::roster::RawJudge;

const HEATS: &str = "/desk/saltmarsh/quayside/heats/w1";

/// A member of the staff in a browser, and the hidden field of their forms.
async fn staff(app: &TestApp) -> (Client, String) {
    let staff = app.in_browser(&app.staff_of("quayside").await).await;
    let csrf = staff.get("/account").await.csrf();
    (staff, csrf)
}

async fn post((client, csrf): &(Client, String), form: &str) -> Reply {
    client.post(HEATS).body("application/x-www-form-urlencoded", format!("{form}&csrf={csrf}")).await
}

async fn text(client: &Client, address: &str) -> String {
    client.get(address).accept("text/html").await.plain()
}

/// One heat at eleven in Lisbon, an hour ago; lanes for two.
const FORM: &str = "/desk/saltmarsh/quayside/w1/1042";
const MAKE: &str = "do=make&version=0&lanes=2&minutes=20&start=2027-01-14T11:00&judging=judges";

#[tokio::test]
async fn a_gym_makes_its_heats_and_prints_them_in_order() {
    let app = TestApp::new().await;
    let staff = staff(&app).await;
    assert_eq!(post(&staff, MAKE).await.status.as_u16(), 303);
    let page = text(&staff.0, HEATS).await;
    let at = |name: &str| page.find(name).unwrap_or_else(|| panic!("{name} in {page}"));
    assert!(at("Heat 1") < at("Ines Duarte") && at("Ines Duarte") < at("Heat 2"));
    assert!(page.contains("14 January 2027, 11:00") && page.contains("11:20") && page.contains("Vera Lopes (J-1)"));
    // And on paper, in the same order.
    let paper = text(&staff.0, &format!("{HEATS}/paper?paper=letter")).await;
    let at = |name: &str| paper.find(name).unwrap_or_else(|| panic!("{name} in {paper}"));
    assert!(at("Heat 1") < at("Ines Duarte") && at("Ines Duarte") < at("Heat 2") && at("Heat 2") < at("Tomás Brito"));
    assert!(paper.contains("11:20") && paper.contains("Vera Lopes (J-1)") && paper.contains("Quayside Gym"));
    assert!(paper.contains("/static/paper-letter.") && page.contains(&format!("{HEATS}/paper")));
    // The sheets follow, with everything filled in.
    let sheets = text(&staff.0, "/c/saltmarsh/workouts/w1/sheet?gym=quayside").await;
    let one = |name: &str| {
        let sheet = sheets.split("<article ").find(|sheet| sheet.contains(&format!("<dd>{name}</dd>")));
        sheet.unwrap_or_else(|| panic!("a sheet of {name} in {sheets}")).to_owned()
    };
    let judge = "Vera Lopes (J-1)";
    for (name, start, heat, lane, judge) in [
        ("Ines Duarte", "11:00", 1, 1, judge),
        ("Rita Alves", "11:00", 1, 2, ""),
        ("Tomás Brito", "11:20", 2, 1, judge),
    ] {
        let sheet = one(name);
        let judge = format!("<dt>Judge</dt><dd>{judge}</dd>");
        let start = format!("<dt>Start</dt><dd>{start} <small>Europe/Lisbon</small></dd>");
        let heat = format!("<dt>Heat</dt><dd>{heat}</dd>");
        let lane = format!("<dt>Lane</dt><dd>{lane}</dd>");
        for field in ["<dt>Date</dt><dd>2027-01-14</dd>", &*judge, &*start, &*heat, &*lane] {
            assert!(sheet.contains(field), "{field} in {sheet}");
        }
    }
}

#[tokio::test]
async fn a_score_form_is_filled_in_from_the_heat() {
    let app = TestApp::new().await;
    let staff = staff(&app).await;
    let form = "/desk/saltmarsh/quayside/w1/1042";
    assert!(!text(&staff.0, form).await.contains("value=\"J-1\" autocomplete"));
    post(&staff, MAKE).await;
    let page = text(&staff.0, form).await;
    assert!(page.contains("value=\"J-1\" autocomplete") && page.contains("value=\"2027-01-14T11:00\""), "{page}");
    // A heat that is still to come says who counts, not when it was.
    post(&staff, &MAKE.replace("version=0", "version=1&sure=yes").replace("T11:00", "T18:00")).await;
    let page = text(&staff.0, form).await;
    assert!(page.contains("value=\"J-1\" autocomplete") && !page.contains("T18:00"));
}

#[tokio::test]
async fn nobody_counts_for_themselves_nor_twice_in_a_heat() {
    let app = TestApp::new().await;
    // Bib 1042 is the judge J-3, by account.
    let judge = RawJudge {
        code: "J-3".into(),
        name: "Ines Duarte".into(),
        gym: Some("quayside".into()),
        valid_from: "2026-01-01".into(),
        valid_to: "2027-12-31".into(),
        ..RawJudge::default()
    };
    roster::set_judge(&app.app, &Actor::operator(), SALTMARSH, Request::at(app.app.clock.now()), judge).await.unwrap();
    let grant = |role, bib, judge: Option<&str>| Grant {
        role,
        competition: Some(SALTMARSH.into()),
        gym: None,
        bib,
        judge: judge.map(Into::into),
    };
    let grants = [grant(Role::Athlete, Some(1042), None), grant(Role::Judge, None, Some("J-3"))];
    app.db_account("ines@example.org", None, &grants).await;
    let staff = staff(&app).await;
    post(&staff, &MAKE.replace("judging=judges", "judging=previous")).await;
    let change = |places: &str| format!("do=change&version=1&{places}");
    let own = post(&staff, &change("heat-1042=1&lane-1042=1&judge-1042=J-3")).await;
    assert_eq!(own.status.as_u16(), 422);
    assert!(own.plain().contains("Nobody attests their own performance"));
    let busy = post(&staff, &change("heat-1042=1&lane-1042=1&heat-1043=1&lane-1043=2&judge-1043=J-3")).await;
    assert!(busy.plain().contains("they start in heat 1 themselves"));
    let twice = "heat-1043=1&lane-1043=1&judge-1043=J-1&heat-1044=1&lane-1044=1&judge-1044=J-1";
    let said = post(&staff, &change(twice)).await.plain();
    assert!(said.contains("named twice") && said.contains("Lane 1 of heat 1"), "{said}");
    assert!(post(&staff, &change("heat-1043=1&lane-1043=1&judge-1043=J-99")).await.plain().contains("no judge J-99"));
    // The athlete of the heat before counts.
    let fine = "heat-1042=1&lane-1042=1&judge-1042=J-1&heat-1043=2&lane-1043=1&judge-1043=J-3";
    assert_eq!(post(&staff, &change(fine)).await.status.as_u16(), 303);
    assert!(text(&staff.0, HEATS).await.contains("Without a place: Tomás Brito (1044)"));
}

/// Who was a judge alone when the heats were made, and is the athlete of the lane now, by e-mail or by account.
#[tokio::test]
async fn who_becomes_the_athlete_of_their_lane_counts_in_it_no_more() {
    let app = TestApp::new().await;
    let staff = staff(&app).await;
    let judge = app.in_browser(&app.judge("J-1").await).await;
    post(&staff, MAKE).await;
    post(&staff, "do=change&version=1&heat-1042=1&lane-1042=1&judge-1042=J-1&heat-1043=2&lane-1043=1&judge-1043=J-1")
        .await;
    let all = [
        (&staff.0, HEATS.to_owned()),
        (&staff.0, format!("{HEATS}/paper")),
        (&staff.0, "/c/saltmarsh/workouts/w1/sheet?gym=quayside".to_owned()),
        (&staff.0, FORM.to_owned()),
        (&judge, "/judge/saltmarsh".to_owned()),
    ];
    let count = async |said: &str| {
        let mut found = Vec::new();
        for (client, address) in &all {
            found.push(text(client, address).await.matches(said).count());
        }
        found
    };
    let before = count("Vera Lopes (J-1)").await;
    assert!(text(&judge, "/judge/saltmarsh").await.contains("heat 1, lane 1"));
    let athlete =
        Grant { role: Role::Athlete, competition: Some(SALTMARSH.into()), gym: None, bib: Some(1042), judge: None };
    app.db_account("j-1@example.org", None, &[athlete]).await;
    let after = count("Vera Lopes (J-1)").await;
    for ((_, address), (before, after)) in all.iter().zip(before.iter().zip(&after)).take(3) {
        assert_eq!(*after, before - 1, "{address}");
    }
    assert!(!text(&staff.0, FORM).await.contains("value=\"J-1\" autocomplete"), "the score's form");
    let lanes = text(&judge, "/judge/saltmarsh").await;
    assert!(!lanes.contains("heat 1, lane 1") && lanes.contains("heat 2, lane 1"), "{lanes}");
}

#[tokio::test]
async fn two_people_never_overwrite_each_other() {
    let app = TestApp::new().await;
    let staff = staff(&app).await;
    post(&staff, MAKE).await;
    let other = MAKE.replace("lanes=2", "lanes=3");
    let late = post(&staff, &format!("{other}&sure=yes")).await;
    assert_eq!(late.status.as_u16(), 409);
    assert!(late.text().contains("Somebody changed these heats meanwhile"));
    // One tap takes nothing away that was planned.
    for slip in ["do=remove&version=1", &other.replace("version=0", "version=1")] {
        let page = post(&staff, slip).await;
        assert_eq!(page.status.as_u16(), 422);
        assert!(page.text().contains("what is planned now would be lost") && page.text().contains("Heat 1"));
    }
    assert_eq!(post(&staff, "do=remove&version=1&sure=yes").await.status.as_u16(), 303);
    assert!(text(&staff.0, HEATS).await.contains("No heats yet"));
}

/// Tapped twice, the second tap finds what is wanted: made, made anew, or taken away. What somebody else has
/// changed by hand meanwhile is another plan.
#[tokio::test]
async fn a_second_tap_finds_what_the_first_one_did() {
    let app = TestApp::new().await;
    let staff = staff(&app).await;
    let version = async || staff.0.get(HEATS).accept("text/html").await.expect(200).hidden("version");
    let twice = async |form: &str| {
        for _ in 0..2 {
            post(&staff, form).await.expect(303);
        }
    };
    twice(MAKE).await;
    assert_eq!(version().await, "1", "made once");
    let anew = MAKE.replace("version=0", "version=1").replace("lanes=2", "lanes=3");
    twice(&format!("{anew}&sure=yes")).await;
    assert_eq!(version().await, "2");
    post(&staff, "do=change&version=2&heat-1042=4&lane-1042=1").await.expect(303);
    let page = post(&staff, &format!("{anew}&sure=yes")).await.expect(409).plain();
    assert!(page.contains("Somebody changed these heats meanwhile") && page.contains("Heat 4"), "{page}");
    // A second tap with something wrong in it is told what.
    let wrong = anew.replace("version=1", "version=3").replace("lanes=3", "lanes=0");
    post(&staff, &format!("{wrong}&sure=yes")).await.expect(422);
    twice("do=remove&version=3&sure=yes").await;
    assert!(text(&staff.0, HEATS).await.contains("No heats yet"));
    let page = post(&staff, "do=change&version=3&heat-1042=1&lane-1042=1").await.expect(409).plain();
    assert!(page.contains("meanwhile"), "there is nothing to change any more: {page}");
}

/// Who saves again after somebody else was quicker changes what they changed, and takes nothing of theirs back.
#[tokio::test]
async fn saving_again_after_a_conflict_keeps_what_the_other_changed() {
    let app = TestApp::new().await;
    let staff = staff(&app).await;
    post(&staff, MAKE).await;
    // As the page holds it: Ines and Rita in the first heat, Tomás in the second.
    let form = |page: &str| {
        let hidden = |name: &str| {
            let value = page.split_once(&format!("name=\"{name}\" value=\"")).map(|(_, rest)| rest);
            value.and_then(|rest| rest.split_once('"')).map_or("", |(value, _)| value).to_owned()
        };
        let row = |bib: u32| {
            let typed = |name: &str| {
                let input = page.split_once(&format!("id=\"{name}-{bib}\"")).map_or("", |(_, rest)| rest);
                let value = input.split_once("value=\"").and_then(|(_, rest)| rest.split_once('"'));
                value.map_or("", |(value, _)| value).to_owned()
            };
            [hidden(&format!("was-{bib}")), typed("heat"), typed("lane"), typed("judge")]
        };
        (hidden("version"), [1042, 1043, 1044].map(row))
    };
    let sent = |(version, rows): &(String, [[String; 4]; 3])| {
        let row = |(bib, [was, heat, lane, judge]): (u32, &[String; 4])| {
            format!("&was-{bib}={}&heat-{bib}={heat}&lane-{bib}={lane}&judge-{bib}={judge}", was.replace(' ', "+"))
        };
        format!("do=change&version={version}{}", [1042, 1043, 1044].into_iter().zip(rows).map(row).collect::<String>())
    };
    let seen = form(&text(&staff.0, HEATS).await);
    assert_eq!(seen.1[0], ["1 1 J-1", "1", "1", "J-1"]);
    let (mut one, mut other) = (seen.clone(), seen);
    // One moves Ines and Rita, the other Rita and Tomás.
    (one.1[0][1], one.1[0][2]) = ("3".to_owned(), "1".to_owned());
    (one.1[1][1], one.1[1][2]) = ("4".to_owned(), "2".to_owned());
    (other.1[1][1], other.1[1][2]) = ("5".to_owned(), "1".to_owned());
    (other.1[2][1], other.1[2][2]) = ("6".to_owned(), "2".to_owned());
    post(&staff, &sent(&one)).await.expect(303);
    let page = post(&staff, &sent(&other)).await.expect(409).plain();
    assert!(page.contains("with your changes in their fields"), "{page}");
    assert_eq!(page.matches("Now: heat 4, lane 2; who counts: nobody yet.").count(), 2, "beside it, and above: {page}");
    assert!(!page.contains("Now: heat 3, lane 1") && !page.contains("Now: heat 2"), "changed by one alone: {page}");
    let again = form(&page);
    let typed = |bib: usize| again.1[bib].each_ref().map(String::as_str);
    assert_eq!(typed(0), ["3 1 J-1", "3", "1", "J-1"], "theirs, as it is now");
    assert_eq!(typed(1)[..3], ["4 2 ", "5", "1"], "changed by both: what was typed stays");
    assert_eq!(typed(2)[1..3], ["6", "2"]);
    post(&staff, &sent(&again)).await.expect(303);
    // A second tap: it is so already.
    post(&staff, &sent(&again)).await.expect(303);
    let done = form(&text(&staff.0, HEATS).await);
    let places = done.1.each_ref().map(|row| format!("{} {}", row[1], row[2]));
    assert_eq!(places, ["3 1", "5 1", "6 2"]);
    // What somebody else took out, or changed in the same way, is told apart.
    let mut out = done.clone();
    out.1[1] = [out.1[1][0].clone(), String::new(), String::new(), String::new()];
    out.1[2][1] = "7".to_owned();
    post(&staff, &sent(&out)).await.expect(303);
    let mut late = done;
    late.1[1][1] = "8".to_owned();
    late.1[2][1] = "7".to_owned();
    let page = post(&staff, &sent(&late)).await.expect(409).plain();
    assert_eq!(page.matches("took this athlete out meanwhile").count(), 2, "{page}");
    assert!(!page.contains("changed this row too"), "both did the same: {page}");
}

#[tokio::test]
async fn what_is_typed_wrong_is_told_beside_its_field_and_kept() {
    let app = TestApp::new().await;
    let staff = staff(&app).await;
    let page = post(&staff, "do=make&version=0&lanes=0&minutes=900&start=soon").await;
    assert_eq!(page.status.as_u16(), 422);
    let page = page.text();
    assert!(page.contains("Say the day and the time") && page.contains("value=\"900\""), "{page}");
    let page = post(&staff, "do=make&version=0&lanes=0&minutes=900&start=2027-01-14T11:00").await.text();
    assert!(page.contains("id=\"lanes-error-1\"") && page.contains("Minutes apart: a number from 1 to 240."), "{page}");
}

#[tokio::test]
async fn the_desk_is_in_the_order_of_the_heats_with_the_judge_of_each_lane() {
    let app = TestApp::new().await;
    let staff = staff(&app).await;
    post(&staff, MAKE).await;
    // Rita alone in the second heat, an hour from now; Tomás in none.
    let places = "do=change&version=1&heat-1042=1&lane-1042=1&judge-1042=J-1&heat-1043=5&lane-1043=2";
    assert_eq!(post(&staff, places).await.status.as_u16(), 303);
    let page = text(&staff.0, "/desk/saltmarsh/quayside").await;
    let at = |what: &str| page.find(what).unwrap_or_else(|| panic!("{what} in {page}"));
    assert!(at("<h4>Heat 1, ") < at("r-w1-1042") && at("r-w1-1042") < at("<h4>Heat 5, "), "{page}");
    assert!(
        at("<h4>Heat 5, ") < at("r-w1-1043")
            && at("r-w1-1043") < at("<h4>Without a heat")
            && at("<h4>Without a heat") < at("r-w1-1044")
    );
    assert!(page.contains("heat 1, lane 1") && page.contains("heat 5, lane 2"));
    let row = |bib: u32| {
        let rest = page.split_once(&format!("id=\"r-w1-{bib}\"")).expect("a row").1;
        rest.split_once("</li>").expect("its end").0.to_owned()
    };
    assert!(row(1042).contains("name=\"judge\" list=\"judges\" value=\"Vera Lopes (J-1)\""), "{}", row(1042));
    assert!(row(1042).contains("name=\"performed_at\" value=\"2027-01-14T11:00\""), "it has begun");
    assert!(
        row(1043).contains("name=\"judge\" list=\"judges\" value=\"\"") && !row(1043).contains("name=\"performed_at\"")
    );
    assert!(row(1043).contains("data-done=\"2027-01-14T12:20:00Z\""), "{}", row(1043));
    // As the form of the row sends it: stored as of the heat, vouched for by its judge.
    let fields = [
        ("performance", "6+14 tb 11:24"),
        ("judge", "Vera Lopes (J-1)"),
        ("desk_judge", ""),
        ("how", "paper_sheet"),
        ("performed_at", "2027-01-14T11:00"),
        ("csrf", &staff.1),
    ];
    let done = staff.0.post("/desk/saltmarsh/quayside/w1/1042").form(&fields).await.expect(303);
    assert!(
        done.header("location").contains("saved=w1/1042&judge=&"),
        "the lane's judge is not the desk's: {}",
        done.header("location")
    );
    let stored = app.nobody().get("/api/v1/competitions/saltmarsh/workouts/w1/scores/1042").await.expect(200).json();
    assert_eq!(
        (&stored["performed_at"], &stored["attestation"]["judge"]),
        (&"2027-01-14T11:00:00Z".into(), &"J-1".into())
    );
    let page = text(&staff.0, done.header("location").split('#').next().expect("an address")).await;
    assert!(page.contains("Next: Rita Alves"), "the next of the heats: {page}");
}

/// Whatever way a result of somebody in a heat is stored, the desk goes on with whom it had, or nobody.
#[tokio::test]
async fn a_lanes_judge_never_becomes_the_desks() {
    let app = TestApp::new().await;
    let staff = staff(&app).await;
    post(&staff, MAKE).await;
    post(&staff, "do=change&version=1&heat-1042=1&lane-1042=1&judge-1042=J-1").await;
    let (browser, csrf) = (&staff.0, staff.1.as_str());
    let own = |page: &str| {
        let form = page.split(&format!("action=\"{FORM}\"")).nth(1).expect("a form").to_owned();
        form.split("</form>").next().unwrap_or_default().to_owned()
    };
    // The whole form, come to from the desk: with nobody at the desk, and with somebody.
    for (tail, at_desk) in [("", ""), ("?judge=J-1&how=video", "J-1")] {
        let form = own(&browser.get(&format!("{FORM}{tail}")).await.expect(200).text());
        assert!(form.contains(&format!("name=\"desk_judge\" value=\"{at_desk}\"")), "{form}");
        assert!(form.contains("name=\"judge\" list=\"judges\" value=\"J-1\"") || form.contains("(J-1)\""), "{form}");
    }
    // With a fault in it, it comes back as it was.
    let mut fields =
        vec![("performance", "lots"), ("judge", "J-1"), ("desk_judge", ""), ("how", "paper_sheet"), ("csrf", csrf)];
    let form = own(&browser.post(FORM).form(&fields).await.expect(422).text());
    assert!(form.contains("name=\"desk_judge\" value=\"\""), "{form}");
    fields[0] = ("performance", "6+14 tb 11:24");
    let done = browser.post(FORM).form(&fields).await.expect(303);
    assert!(done.header("location").contains("saved=w1/1042&judge=&"), "{}", done.header("location"));
    // Once it is attested the form names no judge, and still keeps them apart.
    let form = own(&browser.get(FORM).await.expect(200).text());
    assert!(form.contains("name=\"desk_judge\" value=\"\""), "{form}");
    // Who starts in no heat is judged by whom the desk has, a visitor too.
    let to = browser.get("/desk/saltmarsh/quayside?bib=2001&workout=w1&judge=J-1&how=video").await.expect(303);
    assert_eq!(to.header("location"), "/desk/saltmarsh/quayside/w1/2001?judge=J-1&how=video");
    let desk = browser.get("/desk/saltmarsh/quayside?judge=J-1&how=video").await.expect(200).text();
    let visitor = desk.split("visitor\" method=\"get\"").nth(1).and_then(|form| form.split("</form>").next());
    let visitor = visitor.expect("a form for visitors");
    assert!(visitor.contains("name=\"judge\" value=\"J-1\"") && visitor.contains("name=\"how\" value=\"video\""));
}

#[tokio::test]
async fn a_name_that_fits_no_judge_or_several_is_told_beside_the_field() {
    let app = TestApp::new().await;
    let staff = staff(&app).await;
    let send = |judge: &'static str| {
        let fields = [("performance", "6+14 tb 11:24"), ("judge", judge), ("csrf", &staff.1)];
        staff.0.post("/desk/saltmarsh/quayside/w1/1042").form(&fields)
    };
    let page = send("nobody").await.expect(422).plain();
    assert!(
        page.contains("id=\"judge-error-1\"") && page.contains("goes by nobody") && page.contains("value=\"nobody\""),
        "{page}"
    );
    send("vera").await.expect(303);
}

#[tokio::test]
async fn heats_outside_the_window_fill_in_no_time() {
    let app = TestApp::new().await;
    let staff = staff(&app).await;
    post(&staff, &MAKE.replace("2027-01-14T11:00", "2027-01-02T11:00")).await;
    let page = text(&staff.0, "/desk/saltmarsh/quayside").await;
    assert!(
        page.contains("<h4>Heat 1, ") && !page.contains("data-done=") && !page.contains("name=\"performed_at\""),
        "{page}"
    );
}

#[tokio::test]
async fn once_a_workout_is_over_no_heats_are_offered_to_be_made() {
    let app = TestApp::new().await;
    let staff = staff(&app).await;
    let over = HEATS.replace("w1", "w2");
    let offered = async |address: &str| text(&staff.0, address).await.contains("Make the heats");
    assert!(offered(HEATS).await && !offered(&over).await);
    assert!(text(&staff.0, &over).await.contains("This workout is over here."));
    // Who was given more time still makes some; what was made can be taken away.
    let more = serde_json::json!({ "gym": "quayside", "closes": "2027-01-15T21:00:00Z",
        "attest_by": "2027-01-16T21:00:00Z", "reason": "power cut" });
    let path = "/api/v1/competitions/saltmarsh/workouts/w2/extensions";
    app.organiser().await.post(path).json(more).await.expect(201);
    assert!(offered(&over).await);
    post(&staff, MAKE).await;
    app.set_clock("2027-01-17T21:00:00Z");
    let later = self::staff(&app).await;
    assert!(text(&later.0, HEATS).await.contains("name=\"do\" value=\"remove\""));
}

#[tokio::test]
async fn a_lanes_judge_is_meant_by_name_and_one_that_nobody_has_is_told() {
    let app = TestApp::new().await;
    let staff = staff(&app).await;
    post(&staff, MAKE).await;
    let unknown = post(&staff, "do=change&version=1&heat-1042=1&lane-1042=1&judge-1042=Nobody+Known").await;
    assert_eq!(unknown.status.as_u16(), 422);
    let page = unknown.plain();
    assert!(page.contains("No judge here goes by Nobody Known.") && page.contains("value=\"Nobody Known\""), "{page}");
    let named = post(&staff, "do=change&version=1&heat-1042=2&lane-1042=1&judge-1042=lopes").await;
    assert_eq!(named.status.as_u16(), 303, "{}", named.plain());
    let page = text(&staff.0, HEATS).await;
    assert!(page.contains("name=\"judge-1042\" list=\"judges\" autocomplete=\"off\" value=\"J-1\""), "{page}");
}

#[tokio::test]
async fn a_gym_without_heats_comes_to_its_sheets_from_the_desk() {
    let app = TestApp::new().await;
    let staff = staff(&app).await;
    let desk = text(&staff.0, "/desk/saltmarsh/quayside").await;
    let to = "/c/saltmarsh/workouts/w1/sheet?gym=quayside";
    assert!(desk.contains(&format!("<a href=\"{to}\">Judge&#39;s sheets</a>")), "{desk}");
    let sheets = text(&staff.0, to).await;
    assert!(sheets.contains("Ines Duarte") && sheets.contains("blank=yes"), "{sheets}");
}

#[tokio::test]
async fn a_lane_or_a_judge_without_a_heat_is_asked_about_and_an_emptied_heat_takes_somebody_out() {
    let app = TestApp::new().await;
    let staff = staff(&app).await;
    post(&staff, MAKE).await.expect(303);
    let change = |version: u32, places: &str| format!("do=change&version={version}&{places}");
    // Emptied, with lane and judge as they stood there.
    let out = "heat-1042=1&lane-1042=1&judge-1042=J-1&heat-1043=&lane-1043=2&judge-1043=";
    post(&staff, &change(1, out)).await.expect(303);
    let page = text(&staff.0, HEATS).await;
    assert!(page.contains("Without a place: Rita Alves (1043), Tomás Brito (1044)"), "{page}");
    for (places, bib) in [("heat-1043=&lane-1043=2", 1043), ("heat-1043=&lane-1043=&judge-1043=J-1", 1043)] {
        let kept = format!("heat-1042=1&lane-1042=1&judge-1042=J-1&{places}");
        let told = post(&staff, &change(2, &kept)).await.expect(422).plain();
        assert!(told.contains(&format!("href=\"#heat-{bib}\">Write the heat too")), "{told}");
        assert!(told.contains(&format!("id=\"heat-{bib}-error-1\"")), "{told}");
    }
    // Another lane than before, without the heat: meant to be moved, not to be taken out.
    let moved = post(&staff, &change(2, "heat-1042=&lane-1042=2&judge-1042=J-1")).await.expect(422).plain();
    assert!(moved.contains("href=\"#heat-1042\">Write the heat too"), "{moved}");
    // What is no number is that alone.
    let wrong = post(&staff, &change(2, "heat-1042=first&lane-1042=2")).await.expect(422).plain();
    assert_eq!(wrong.matches("href=\"#heat-1042\"").count(), 1, "{wrong}");
    assert!(!wrong.contains("Write the heat too"), "{wrong}");
    let german = staff.0.post(HEATS).header("accept-language", "de");
    let kept = format!("{}&csrf={}", change(2, "heat-1043=&lane-1043=2"), staff.1);
    let german = german.body("application/x-www-form-urlencoded", kept).await.expect(422).plain();
    assert!(german.contains("Schreib auch den Heat"), "{german}");
}

#[tokio::test]
async fn a_start_that_comes_twice_is_asked_about_and_taken_with_its_offset() {
    let app = TestApp::new().await;
    let staff = staff(&app).await;
    let twice = MAKE.replace("2027-01-14T11:00", "2027-10-31T01:30");
    let told = post(&staff, &twice).await.expect(422).plain();
    assert!(told.contains("2027-10-31T01:30+01:00") && told.contains("2027-10-31T01:30+00:00"), "{told}");
    assert!(told.contains("name=\"start\" type=\"text\" value=\"2027-10-31T01:30\""), "{told}");
    // With its offset it is read, whatever else is said of it.
    let told = post(&staff, &twice.replace("01:30", "01:30%2B01:00")).await.plain();
    assert!(!told.contains("happens twice"), "{told}");
}
