//! `/organise/{c}/erase`: a judge who has no sign-in, by the code.

use super::organiser;
use crate::account::{assert_log_holds, found};
use crate::support::TestApp;
use serde_json::json;

const C: &str = "/api/v1/competitions/saltmarsh";
const ERASE: &str = "/organise/saltmarsh/erase";
const ROW: &str = "code,name,gym,valid_from,valid_to,email\n\
    J-9,Quorzella Vexwhistle,quayside,2026-01-01,2027-12-31,quorzella@zephyrine.box\n";

#[tokio::test]
async fn a_judge_without_a_sign_in_is_looked_at_and_erased_by_the_code() {
    let app = TestApp::new().await;
    app.organiser().await.post(&format!("{C}/judges")).csv(ROW).await.expect(200);
    let score = format!("{C}/workouts/w1/scores/1042");
    let sent = json!({ "performance": "6+14 tb 11:24", "attestation": { "judge": "J-9", "how": "paper_sheet" } });
    app.staff_of("quayside").await.put(&score).json(sent).await.expect(201);
    let (browser, csrf) = organiser(&app).await;
    let post = |judge: &'static str, seen: String, more: &'static [(&'static str, &'static str)]| {
        let fields = [("csrf", csrf.as_str()), ("erase_judge", judge), ("seen", seen.as_str())];
        browser.post(ERASE).form(&[fields.as_slice(), more].concat())
    };
    let apply: &'static [(&str, &str)] = &[("sure", "yes"), ("do", "apply")];
    // Who that is is shown first, and stays until it is said twice.
    let looked = post("J-9", String::new(), &[("sure", "yes")]).await.expect(200);
    let (page, seen) = (looked.plain(), looked.seen());
    assert!(page.contains("<dd>Quorzella Vexwhistle</dd>") && page.contains("<dd>Quayside Gym</dd>"), "{page}");
    assert!(page.contains("<dd>J-9</dd>") && page.contains("quorzella@zephyrine.box"), "{page}");
    assert!(page.contains("name=\"erase_judge\" value=\"J-9\""), "{page}");
    // What is said of them is said of a judge, who has no birth date and no places, beside the button.
    let before_it = |page: &str| {
        let form = page.split_once("id=\"would\"").and_then(|(_, rest)| rest.split_once("</form>"));
        form.expect("a panel").0.to_owned()
    };
    let panel = before_it(&page);
    assert!(panel.contains("What they vouched for stays, under the code.") && !panel.contains("irth"), "{panel}");
    let told = post("J-9", seen.clone(), &[("do", "apply")]).await.expect(422).text();
    assert!(told.contains("href=\"#sure\""), "{told}");
    // Another code than the one that was looked at erases nobody, and says who that is.
    for (code, seen) in [("J-1", seen.clone()), ("J-9", String::new())] {
        let told = post(code, seen, apply).await.expect(409).plain();
        assert!(told.contains("This is not whom you looked at"), "{told}");
    }
    assert!(found(&app).contains(&"Quorzella Vexwhistle"));
    // Of the others each reads what is theirs.
    let contact = "slug,name,country,contact,email\nquayside,Quayside Gym,PT,Rui Costa,rui@costa.example\n";
    app.organiser().await.post(&format!("{C}/gyms")).csv(contact).await.expect(200);
    for (field, value, own, others) in [
        ("erase_bib", "1042", "Name, birth, e-mail", "vouched for"),
        ("erase_gym", "quayside", "A sign-in and roles that they have stay.", "irth"),
    ] {
        let page = browser.post(ERASE).form(&[("csrf", csrf.as_str()), (field, value)]).await.expect(200).plain();
        let panel = before_it(&page);
        assert!(panel.contains(own) && !panel.contains(others), "{field}: {panel}");
    }
    // The same once more is a second tap.
    for _ in 0..2 {
        let done = post("J-9", seen.clone(), apply).await.expect(303);
        assert_eq!(done.header("location"), "/organise/saltmarsh?done=erased");
    }
    assert_eq!(found(&app), Vec::<&str>::new());
    let page = post("J-9", String::new(), &[]).await.expect(200).plain();
    assert!(page.contains("Nobody would be erased") && page.contains("<dd>Nobody: name and facts"), "{page}");
    // What they vouched for stays, under the code; the others stay who they are.
    let kept = app.nobody().get(&score).await.expect(200).json();
    assert_eq!((&kept["state"], &kept["attestation"]["judge"]), (&json!("attested"), &json!("J-9")), "{kept}");
    let list = browser.get("/organise/saltmarsh/lists/judges").await.expect(200).plain();
    assert!(list.contains("J-9") && list.contains("Vera Lopes") && !list.contains("Quorzella"), "{list}");
    // A list that is sent again brings nobody back.
    let again = app.organiser().await.post(&format!("{C}/judges")).csv(ROW).await.expect(200).text();
    assert!(again.contains("The person behind J-9 was erased"), "{again}");
    assert_log_holds(&app).await;
}

#[tokio::test]
async fn one_is_erased_at_a_time_by_the_organiser_alone() {
    let app = TestApp::new().await;
    let (browser, csrf) = organiser(&app).await;
    let send = |browser: &crate::support::Client, csrf: &str, fields: &[(&str, &str)]| {
        let fields: Vec<(&str, &str)> = fields.iter().copied().chain([("csrf", csrf)]).collect();
        browser.post(ERASE).form(&fields)
    };
    let told = send(&browser, &csrf, &[("erase_judge", "J-99")]).await.expect(422).text();
    assert!(told.contains("href=\"#erase_judge\"") && told.contains("J-99"), "{told}");
    for fields in [
        [("erase_bib", "1042"), ("erase_judge", "J-1")],
        [("erase_gym", "quayside"), ("erase_judge", "J-1")],
        [("erase_bib", "1042"), ("erase_gym", "quayside")],
    ] {
        let told = send(&browser, &csrf, &fields).await.expect(422).plain();
        assert!(told.contains("one at a time") && told.contains(&format!("href=\"#{}\"", fields[1].0)), "{told}");
        assert!(!told.contains("This person would be erased"), "{told}");
    }
    let german = browser.post(ERASE).header("accept-language", "de");
    let fields = [("csrf", &*csrf), ("erase_bib", "1042"), ("erase_judge", "J-1")];
    assert!(german.form(&fields).await.expect(422).plain().contains("Immer nur eins auf einmal"));
    for client in [app.staff_of("quayside").await, app.judge("J-2").await, app.referee().await] {
        let other = app.in_browser(&client).await;
        let csrf = other.get("/account").await.csrf();
        send(&other, &csrf, &[("erase_judge", "J-1")]).await.expect(403);
    }
    let list = browser.get("/organise/saltmarsh/lists/judges").await.expect(200).plain();
    assert!(list.contains("Vera Lopes"), "{list}");
}
