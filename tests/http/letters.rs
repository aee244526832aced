//! What became of letters, at several services on one database; mail servers of our own as in `mail.rs`.

use crate::account::{athlete, found};
use crate::mail::{Manner, Sink, behind, behind_with, by, code};
use crate::support::{Client, Reply, SALTMARSH, TestApp, grant};
use serde_json::json;
use std::time::Duration;
use tallywright::rules::access::{Grant, Role};

const PEOPLE: &str = "/organise/saltmarsh/people";
const PATIENT: Duration = Duration::from_mins(1);

/// The part of the page that lists letters.
async fn listed(browser: &Client) -> String {
    let page = browser.get(PEOPLE).await.expect(200).plain();
    let (before, _) = page.split_once("id=\"who\"").expect("roles");
    before.split_once("id=\"letters\"").map_or(String::new(), |(_, list)| list.to_owned())
}

/// Waits until the list says this so often.
async fn comes_to_say(browser: &Client, text: &str, times: usize) -> String {
    for _ in 0..400 {
        if listed(browser).await.matches(text).count() == times {
            break;
        }
        tokio::time::sleep(Duration::from_millis(25)).await;
    }
    let list = listed(browser).await;
    assert_eq!(list.matches(text).count(), times, "{list}");
    list
}

/// Mails all gyms their sign-ins.
async fn invite(browser: &Client, csrf: &str) -> Reply {
    browser.post(&format!("{PEOPLE}/invite")).form(&[("csrf", csrf), ("do", "mail")]).await.expect(303)
}

/// Makes what is done to the list fail (`INSERT`, `UPDATE`), or lets it go again.
pub async fn breaks(app: &TestApp, what: &str, broken: bool) {
    let mut raw = app.database.raw().await;
    let sql = match (app.database.is_served(), broken) {
        (true, true) => format!(
            "CREATE OR REPLACE FUNCTION broken() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN RAISE disk_full; END $$;
             CREATE TRIGGER stop BEFORE {what} ON letters FOR EACH ROW EXECUTE FUNCTION broken()"
        ),
        (false, true) => {
            format!("CREATE TRIGGER stop BEFORE {what} ON letters BEGIN SELECT RAISE(ABORT, 'broken'); END")
        }
        (true, false) => "DROP TRIGGER stop ON letters".to_owned(),
        (false, false) => "DROP TRIGGER stop".to_owned(),
    };
    raw.run(&sql).await.expect("a trigger");
    raw.close().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn letters_that_go_at_one_service_are_listed_at_the_other_and_whom_it_erases_at_neither() {
    let sink = Sink::new(Manner::Takes).await;
    let (one, here, csrf) = behind(&sink.url).await;
    let two = one.beside_configured(|config| config.mail = Some(by(&sink.url, PATIENT))).await;
    let there = two.as_here(&here);
    let gyms = "slug,name,country,contact,email\nmillpond,Millpond Gym,PT,Bo Lind,Bo@Millpond.example\n";
    one.organiser().await.post("/api/v1/competitions/saltmarsh/gyms").csv(gyms).await.expect(200);
    let sent = invite(&here, &csrf).await;
    // The page comes from the other one, and says at once whom letters went to.
    let page = there.follow(&sent).await.expect(200).plain();
    assert!(page.contains("2 letters are on their way. What became of them stands below."), "{page}");
    for address in ["ana@quayside.example", "bo@millpond.example"] {
        assert!(listed(&there).await.contains(address), "{page}");
    }
    let letters = sink.wait_for(2).await;
    let said = comes_to_say(&there, "<td>taken by the mail server</td>", 2).await;
    assert!(said.contains("Taken by the mail server: 2.") && said.contains("Letters of the last 30 days"), "{said}");
    assert_eq!(listed(&here).await, said, "the same at both");
    let german = there.get(PEOPLE).header("accept-language", "de").await.expect(200).plain();
    assert!(german.contains("Vom Mailserver angenommen: 2."), "{german}");
    // Nothing of what a letter says is kept.
    for letter in &letters {
        let secret = code(letter);
        assert!(one.database.held().iter().all(|held| !held.windows(secret.len()).any(|w| w == secret.as_bytes())));
    }
    there.erases("erase_gym", "quayside").await.expect(303);
    for browser in [&here, &there] {
        let list = listed(browser).await;
        assert!(!list.contains("ana@quayside") && list.contains("bo@millpond.example"), "{list}");
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn whoever_got_a_letter_takes_along_that_they_did_and_erases_it_at_every_service() {
    let sink = Sink::new(Manner::Takes).await;
    let (one, here, csrf) = behind(&sink.url).await;
    let two = one.beside_configured(|config| config.mail = Some(by(&sink.url, PATIENT))).await;
    let (own, _) = athlete(&one, &[]).await;
    let own_there = two.as_here(&own);
    let (account, _) = one.db_account("quorzella@zephyrine.box", None, &[]).await;
    here.post(&format!("{PEOPLE}/{account}/link")).form(&[("csrf", &csrf)]).await.expect(303);
    sink.wait_for(1).await;
    let said = comes_to_say(&two.as_here(&here), "<td>taken by the mail server</td>", 1).await;
    assert!(said.contains("quorzella@zephyrine.box"), "{said}");
    let data = own_there.get("/account/data.json").await.expect(200).json();
    let letter = json!({ "competition": SALTMARSH, "to": "quorzella@zephyrine.box", "at": "2027-01-14T12:00:00Z", "outcome": "sent" });
    assert_eq!(data["letters"], json!([letter]));
    // Others in the same competition are told of none; an address alone is not enough elsewhere.
    let other = one.athlete(1042).await;
    let data = one.in_browser(&other).await.get("/account/data.json").await.expect(200).json();
    assert_eq!(data["letters"], json!([]));
    let own_csrf = own_there.get("/account").await.expect(200).csrf();
    let me = [("csrf", &*own_csrf), ("me", "quorzella@zephyrine.box")];
    own_there.post("/account/erase").form(&me).await.expect(303);
    assert_eq!(listed(&here).await, "");
    assert_eq!(found(&one), [""; 0]);
}

#[tokio::test(flavor = "multi_thread")]
async fn the_organiser_erases_with_somebody_what_is_listed_of_letters_to_them() {
    let sink = Sink::new(Manner::Takes).await;
    let (one, here, csrf) = behind(&sink.url).await;
    let two = one.beside().await;
    // The role of staff, and with it the account, stays.
    let staff = Grant { gym: Some("quayside".to_owned()), ..grant(Role::Staff, Some(SALTMARSH)) };
    athlete(&one, &[staff]).await;
    let (account, _) = one.db_account("quorzella@zephyrine.box", None, &[]).await;
    here.post(&format!("{PEOPLE}/{account}/link")).form(&[("csrf", &csrf)]).await.expect(303);
    let there = two.as_here(&here);
    assert!(listed(&there).await.contains("quorzella@zephyrine.box"), "a service without a mail server lists it too");
    there.erases("erase_bib", "4711").await.expect(303);
    assert_eq!(listed(&here).await, "");
}

#[tokio::test(flavor = "multi_thread")]
async fn of_a_letter_whose_service_is_gone_it_is_said_that_nobody_knows() {
    let sink = Sink::new(Manner::Silent).await;
    let (one, here, csrf) = behind_with(by(&sink.url, PATIENT)).await;
    let two = one.beside().await;
    let there = two.as_here(&here);
    let (waiting, unknown) = ("<td>on its way</td>", "not known: it was not heard of again. Make a new link");
    invite(&here, &csrf).await;
    let said = listed(&there).await;
    assert!(said.contains(waiting) && said.contains("On their way: 1."), "{said}");
    // Killed, nobody would say any more that it is on its way.
    two.set_clock("2027-01-14T12:01:59Z");
    assert!(listed(&there).await.contains(waiting));
    two.set_clock("2027-01-14T12:02:00Z");
    let said = listed(&there).await;
    assert!(said.contains(unknown) && said.contains("Not known what became of them: 1."), "{said}");
    let german = there.get(PEOPLE).header("accept-language", "de").await.expect(200).plain();
    assert!(german.contains("nicht bekannt: davon war nichts mehr zu hören"), "{german}");
    // Told to stop, it says so itself.
    two.set_clock("2027-01-14T12:00:00Z");
    assert!(listed(&there).await.contains(waiting));
    one.stop().await;
    let said = listed(&there).await;
    assert!(said.contains(unknown) && !said.contains(waiting), "{said}");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_list_that_cannot_be_written_keeps_no_letter_from_going_and_that_is_said() {
    let sink = Sink::new(Manner::Takes).await;
    let (app, browser, csrf) = behind(&sink.url).await;
    breaks(&app, "INSERT", true).await;
    let sent = invite(&browser, &csrf).await;
    let page = browser.follow(&sent).await.expect(200).plain();
    assert!(page.contains("1 letters are on their way, but the list below could not be written"), "{page}");
    sink.wait_for(1).await;
    assert_eq!(listed(&browser).await, "");
    breaks(&app, "INSERT", false).await;

    // What became of one is known, and written down as soon as that can be done.
    breaks(&app, "UPDATE", true).await;
    let role = Grant { judge: Some("J-1".to_owned()), ..grant(Role::Judge, Some(SALTMARSH)) };
    let (account, _) = app.db_account("vera@example.org", None, &[role]).await;
    let led = browser.post(&format!("{PEOPLE}/{account}/link")).form(&[("csrf", &csrf)]).await.expect(303);
    let page = browser.follow(&led).await.expect(200).plain();
    assert!(page.contains("Mailed to vera@example.org.") && page.contains("<td>on its way</td>"), "{page}");
    breaks(&app, "UPDATE", false).await;
    browser.post(&format!("{PEOPLE}/{account}/link")).form(&[("csrf", &csrf)]).await.expect(303);
    comes_to_say(&browser, "<td>taken by the mail server</td>", 2).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn many_letters_are_listed_together_and_all_of_them_are_counted() {
    let sink = Sink::new(Manner::Takes).await;
    let (app, browser, csrf) = behind_with(by(&sink.url, PATIENT)).await;
    let rows: Vec<String> = (0..300).map(|n| format!("gym-{n},Gym {n},PT,Contact {n},c{n}@example.org")).collect();
    let gyms = format!("slug,name,country,contact,email\n{}\n", rows.join("\n"));
    let told = app.organiser().await.post("/api/v1/competitions/saltmarsh/gyms").csv(&gyms).await.expect(200).json();
    assert_eq!(told["refused"], 0, "{told}");
    invite(&browser, &csrf).await;
    assert!(listed(&browser).await.contains("Only the first 200 stand here."));
    sink.wait_for(301).await;
    let list = comes_to_say(&browser, "Taken by the mail server: 301.", 1).await;
    assert!(!list.contains("On their way") && list.matches("<th scope=\"row\">").count() == 200, "{list}");
}
