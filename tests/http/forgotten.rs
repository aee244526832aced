//! A forgotten password: the letter, and that nobody learns from it who has an account.

use crate::log_lines::Log;
use crate::mail::{Manner, Sink, behind, code, plain};
use crate::support::{Client, Reply, TestApp};
use std::time::Duration;
use tallywright::actions::accounts::{self};
use tallywright::rules::access::{Actor, Role};

const PATH: &str = "/signin/forgotten";
const OLD: &str = "three old oars";
const NEW: &str = "five other boats";

async fn ask(client: &Client, email: &str) -> Reply {
    client.post(PATH).form(&[("email", email)]).await
}

/// With an account that has a password.
async fn with_ines(url: &str) -> TestApp {
    let (app, ..) = behind(url).await;
    app.db_account("ines@example.org", Some(OLD), &[crate::support::grant(Role::Referee, Some("saltmarsh"))]).await;
    app
}

#[tokio::test]
async fn the_letter_leads_to_a_new_password_and_works_once() {
    let sink = Sink::new(Manner::Takes).await;
    let app = with_ines(&sink.url).await;
    assert!(app.nobody().get("/signin").await.expect(200).text().contains("href=\"/signin/forgotten\""));
    assert!(app.nobody().get(PATH).await.expect(200).text().contains("name=\"email\""));
    let asked = ask(&app.nobody(), " Ines@Example.org ").await.expect(303);
    let said = app.nobody().get(asked.header("location")).await.expect(200).text();
    assert!(said.contains("If there is an account with this e-mail"), "{said}");
    let letter = sink.wait_for(1).await.remove(0);
    assert!(letter.contains("To: ines@example.org\r\n") && letter.contains("Subject: A new password\r\n"), "{letter}");
    assert!(plain(&letter).contains("14 January 2027, 13:00 (UTC)"), "an hour from noon: {}", plain(&letter));
    let form = [("code", code(&letter))];
    let form = form.each_ref().map(|(name, value)| (*name, value.as_str()));
    let begun = app.nobody().post("/signin/link").form(&form).await.expect(303);
    let cookie = begun.header("set-cookie").split_once('=').and_then(|(_, v)| v.split_once(';')).expect("a cookie").0;
    let browser = app.nobody().with_cookie(cookie);
    let csrf = browser.get("/account").await.expect(200).csrf();
    browser.post("/account/password").form(&[("csrf", &csrf), ("new", NEW)]).await.expect(303);
    for (password, status) in [(OLD, 401), (NEW, 303)] {
        let sent = [("email", "ines@example.org"), ("password", password)];
        app.nobody().post("/signin").form(&sent).await.expect(status);
    }
    app.nobody().post("/signin/link").form(&form).await.expect(401);
}

#[tokio::test]
async fn its_link_ends_after_an_hour() {
    let sink = Sink::new(Manner::Takes).await;
    let app = with_ines(&sink.url).await;
    ask(&app.nobody(), "ines@example.org").await.expect(303);
    let letter = sink.wait_for(1).await.remove(0);
    app.set_clock("2027-01-14T13:00:00Z");
    app.nobody().post("/signin/link").form(&[("code", &code(&letter))]).await.expect(401);
}

#[tokio::test]
async fn the_answer_tells_nobody_who_has_an_account() {
    let log = Log::default();
    let _another = tracing::Dispatch::new(tracing_subscriber::registry());
    let _log = log.listen();
    let sink = Sink::new(Manner::Takes).await;
    let app = with_ines(&sink.url).await;
    let (closed, _) = app.db_account("closed@example.org", Some(OLD), &[]).await;
    accounts::close_account(&app.app, &Actor::operator(), closed).await.expect("closed");
    let mut answers = Vec::new();
    for email in ["nobody@example.org", "closed@example.org", "ines@example.org"] {
        let reply = ask(&app.nobody().seen_from("198.51.100.7"), email).await;
        answers.push((reply.status, reply.header("location").to_owned(), reply.text()));
    }
    assert!(answers.windows(2).all(|pair| pair[0] == pair[1]), "{answers:?}");
    let letters = sink.wait_for(1).await;
    assert!(letters[0].contains("To: ines@example.org\r\n"));
    // The same limits for all of them.
    for email in ["nobody@example.org", "ines@example.org"] {
        for _ in 0..2 {
            ask(&app.nobody(), email).await.expect(303);
        }
        let told = ask(&app.nobody(), email).await.expect(429).text();
        assert!(told.contains("Too many letters were asked for") && told.contains(email), "{told}");
    }
    sink.wait_for(3).await;
    let said = log.text();
    let ours: Vec<_> = said.lines().filter(|l| !l.contains("sqlx")).collect();
    assert!(!ours.iter().any(|l| l.contains("example.org") || l.contains("code=")), "{ours:#?}");
}

#[tokio::test]
async fn letters_are_few_from_one_address_and_come_again_with_time() {
    let sink = Sink::new(Manner::Takes).await;
    let app = with_ines(&sink.url).await;
    let asker = app.nobody().seen_from("198.51.100.7");
    for n in 0..10 {
        ask(&asker, &format!("somebody.{n}@example.org")).await.expect(303);
    }
    ask(&asker, "ines@example.org").await.expect(429);
    ask(&app.nobody().seen_from("198.51.100.8"), "ines@example.org").await.expect(303);
    app.set_clock("2027-01-14T12:02:00Z");
    ask(&asker, "ines@example.org").await.expect(303);
    sink.wait_for(2).await;
}

#[tokio::test]
async fn what_is_no_address_is_said_beside_the_field() {
    let sink = Sink::new(Manner::Takes).await;
    let app = with_ines(&sink.url).await;
    for (email, said) in [("", "Write the e-mail"), ("ines at home", "is no e-mail address")] {
        let page = ask(&app.nobody(), email).await.expect(422).text();
        assert!(page.contains(said) && page.contains("href=\"#email\""), "{page}");
    }
}

#[tokio::test]
async fn without_a_mail_server_one_is_told_whom_to_ask() {
    let app = TestApp::new().await;
    let page = app.nobody().get(PATH).await.expect(200).text();
    assert!(page.contains("ask whoever runs this service") && !page.contains("<form class=\"stack\""), "{page}");
    ask(&app.nobody(), "ines@example.org").await.expect(409);
}

/// A mail server that says nothing keeps who asks waiting no longer than one that does, and nobody
/// waits for the letter at all.
#[tokio::test]
async fn nobody_waits_for_the_letter() {
    let sink = Sink::new(Manner::Silent).await;
    let app = with_ines(&sink.url).await;
    let asked = tokio::time::timeout(Duration::from_secs(30), ask(&app.nobody(), "ines@example.org")).await;
    asked.expect("an answer").expect(303);
    assert_eq!(sink.letters(), [""; 0]);
}

/// Who made an account with a code, under an address that was not theirs, keeps no way in once its
/// owner has come by the letter.
#[tokio::test]
async fn an_account_under_somebody_elses_address_becomes_its_owners() {
    let sink = Sink::new(Manner::Takes).await;
    let app = with_ines(&sink.url).await;
    let phc = accounts::hash_password(OLD, &[7; 16]).expect("a hash");
    let store = &app.app.store;
    let taken = app.db_unconfirmed("ana@example.org", &phc).await;
    let squatter = accounts::issue_token(&app.app, &Actor::operator(), Some("ana@example.org"), "mine", 90).await;
    let squatter = app.nobody().with_token(&squatter.expect("a token").secret);
    squatter.get("/api/v1/me").await.expect(200);
    ask(&app.nobody(), "ana@example.org").await.expect(303);
    let letter = sink.wait_for(1).await.remove(0);
    squatter.get("/api/v1/me").await.expect(200);
    app.nobody().post("/signin/link").form(&[("code", &code(&letter))]).await.expect(303);
    squatter.get("/api/v1/me").await.expect(401);
    let account = store.find_account(taken).await.expect("read").expect("there");
    assert!(account.confirmed && account.password_hash.is_none());
}
