//! Letters, against mail servers of our own on this machine: one that takes them, one that refuses,
//! one that never answers, and none at all.

use crate::log_lines::Log;
use crate::organise::organiser as organiser_browser;
use crate::support::{Client, SALTMARSH, TestApp, grant};
use serde_json::{Value, json};
use std::sync::{Arc, Mutex};
use std::time::Duration;
use tallywright::actions::mail::Letter;
use tallywright::config::{Mail, Patience};
use tallywright::rules::access::{Grant, Role};
use tokio::io::{AsyncBufReadExt, AsyncWriteExt, BufReader};
use tokio::net::{TcpListener, TcpStream};

const PEOPLE: &str = "/organise/saltmarsh/people";

/// How a mail server of the tests behaves.
#[derive(Clone, Copy, PartialEq, Eq)]
pub enum Manner {
    Takes,
    /// Refuses every address for good.
    Refuses,
    /// Is busy at the first letter, and takes it when it comes again.
    BusyOnce,
    /// Is connected to, and says nothing.
    Silent,
}

/// A mail server.
pub struct Sink {
    pub url: String,
    letters: Arc<Mutex<Vec<String>>>,
}

impl Sink {
    pub async fn new(manner: Manner) -> Self {
        let listener = TcpListener::bind(("127.0.0.1", 0)).await.expect("a port");
        let url = format!("smtp://{}", listener.local_addr().expect("an address"));
        let letters = Arc::new(Mutex::new(Vec::new()));
        let (kept, busy) = (Arc::clone(&letters), Arc::new(Mutex::new(manner == Manner::BusyOnce)));
        tokio::spawn(async move {
            while let Ok((stream, _)) = listener.accept().await {
                tokio::spawn(speak(stream, manner, Arc::clone(&kept), Arc::clone(&busy)));
            }
        });
        Self { url, letters }
    }

    pub fn letters(&self) -> Vec<String> {
        self.letters.lock().expect("not poisoned").clone()
    }

    /// The letters, once there are so many.
    pub async fn wait_for(&self, n: usize) -> Vec<String> {
        for _ in 0..400 {
            if self.letters().len() >= n {
                break;
            }
            tokio::time::sleep(Duration::from_millis(25)).await;
        }
        let letters = self.letters();
        assert_eq!(letters.len(), n);
        letters
    }
}

/// As much of RFC 5321 as a sender needs.
async fn speak(stream: TcpStream, manner: Manner, letters: Arc<Mutex<Vec<String>>>, busy: Arc<Mutex<bool>>) {
    if manner == Manner::Silent {
        tokio::time::sleep(Duration::from_mins(1)).await;
    }
    let mut stream = BufReader::new(stream);
    let say = async |stream: &mut BufReader<TcpStream>, text: &str| stream.write_all(text.as_bytes()).await.is_ok();
    if !say(&mut stream, "220 sink\r\n").await {
        return;
    }
    loop {
        let mut line = String::new();
        if stream.read_line(&mut line).await.unwrap_or(0) == 0 {
            return;
        }
        let verb: String = line.chars().take(4).collect::<String>().to_uppercase();
        let answer = match verb.as_str() {
            "EHLO" | "HELO" => "250-sink\r\n250 8BITMIME\r\n",
            "RCPT" if manner == Manner::Refuses => "550 nobody here\r\n",
            "RCPT" if std::mem::take(&mut *busy.lock().expect("not poisoned")) => "451 later\r\n",
            "DATA" => {
                say(&mut stream, "354 go on\r\n").await;
                let mut text = String::new();
                loop {
                    let mut line = String::new();
                    if stream.read_line(&mut line).await.unwrap_or(0) == 0 {
                        return;
                    }
                    if line == ".\r\n" {
                        break;
                    }
                    text.push_str(&line);
                }
                letters.lock().expect("not poisoned").push(text);
                "250 taken\r\n"
            }
            "QUIT" => {
                say(&mut stream, "221 bye\r\n").await;
                return;
            }
            _ => "250 fine\r\n",
        };
        if !say(&mut stream, answer).await {
            return;
        }
    }
}

/// Letters are sent by this address, each tried for so long, and once more.
pub fn by(url: &str, each: Duration) -> Mail {
    let patience = Patience { each, again: vec![Duration::from_millis(50)] };
    Mail { url: url.to_owned(), from: "Scores <scores@example.org>".to_owned(), patience }
}

/// A service that sends by this address, with a gym that has a contact.
pub async fn behind(url: &str) -> (TestApp, Client, String) {
    behind_with(by(url, Duration::from_millis(400))).await
}

/// The same with these settings.
pub async fn behind_with(mail: Mail) -> (TestApp, Client, String) {
    let app = TestApp::configured(|config| config.mail = Some(mail)).await;
    app.db_competition(SALTMARSH, false).await;
    let gyms = "slug,name,country,contact,email\nquayside,Quayside Gym,PT,Ana Cruz,ana@quayside.example\n";
    app.organiser().await.post("/api/v1/competitions/saltmarsh/gyms").csv(gyms).await.expect(200);
    let (browser, csrf) = organiser_browser(&app).await;
    (app, browser, csrf)
}

/// The text of a letter: quoted-printable undone (RFC 2045 §6.7).
pub fn plain(letter: &str) -> String {
    let (head, body) = letter.split_once("\r\n\r\n").expect("a head");
    if !head.contains("quoted-printable") {
        return body.to_owned();
    }
    let text = body.replace("=\r\n", "");
    let mut out = Vec::new();
    let mut bytes = text.bytes();
    while let Some(byte) = bytes.next() {
        let hex = (byte == b'=').then(|| [bytes.next(), bytes.next()].into_iter().flatten().collect::<Vec<u8>>());
        match hex {
            Some(hex) => out.extend(hex::decode(hex).expect("hex")),
            None => out.push(byte),
        }
    }
    String::from_utf8(out).expect("UTF-8")
}

pub fn code(letter: &str) -> String {
    let text = plain(letter);
    let rest = text.split_once("/signin/link?code=").expect("a link").1;
    rest.split(|c: char| c.is_whitespace()).next().expect("a code").to_owned()
}

#[tokio::test]
async fn all_gyms_get_their_sign_in_by_mail_and_what_became_of_each_is_listed() {
    let sink = Sink::new(Manner::Takes).await;
    let (app, browser, csrf) = behind(&sink.url).await;
    assert!(browser.get(PEOPLE).await.expect(200).text().contains("Mail the sign-ins"));
    let sent = browser.post(&format!("{PEOPLE}/invite")).form(&[("csrf", &csrf), ("do", "mail")]).await.expect(303);
    // The other gym has no address: that is said of it by name, once: loading the page again mails nothing.
    let told = browser.follow(&sent).await.expect(200).text();
    assert!(told.contains("1 letters are on their way"), "{told}");
    assert!(told.contains("No letter could go to these gyms") && told.contains("Millpond Gym"), "{told}");
    let letter = sink.wait_for(1).await.remove(0);
    assert!(letter.contains("To: ana@quayside.example\r\n") && letter.contains("From: Scores <scores@example.org>"));
    assert!(letter.contains("Auto-Submitted: auto-generated") && letter.contains("Date: Thu, 14 Jan 2027 12:00:00"));
    assert!(plain(&letter).contains("Hello Ana Cruz,") && plain(&letter).contains("Quayside Gym"), "{letter}");
    assert!(plain(&letter).contains("21 January 2027, 12:00 (Europe/Lisbon)"), "{letter}");
    app.nobody().post("/signin/link").form(&[("code", &code(&letter))]).await.expect(303);
    let page = browser.get(PEOPLE).await.expect(200).text();
    assert!(page.contains("ana@quayside.example"), "{page}");
    assert!(!page.contains(&code(&letter)), "no link is shown");
    // The table for a mail merge is there all the same.
    let table = browser.post(&format!("{PEOPLE}/invite")).form(&[("csrf", &csrf)]).await.expect(200);
    assert!(table.header("content-type").starts_with("text/csv"));
}

/// A sign-in for somebody new, by the organiser; the account.
async fn new_account(app: &TestApp, email: &str, password: Option<&str>) -> i64 {
    let role = Grant { judge: Some("J-1".to_owned()), ..grant(Role::Judge, Some(SALTMARSH)) };
    app.db_account(email, password, &[role]).await.0
}

#[tokio::test]
async fn a_new_link_is_mailed_and_shown() {
    let sink = Sink::new(Manner::BusyOnce).await;
    let (app, browser, csrf) = behind(&sink.url).await;
    let account = new_account(&app, "vera@example.org", None).await;
    let led = browser.post(&format!("{PEOPLE}/{account}/link")).form(&[("csrf", &csrf)]).await.expect(303);
    let page = browser.follow(&led).await.expect(200).plain();
    assert!(page.contains("Mailed to vera@example.org."), "tried again when told to: {page}");
    let letter = sink.wait_for(1).await.remove(0);
    assert!(page.contains(&code(&letter)), "the same link is shown");
    assert!(page.contains("taken by the mail server"));
}

#[tokio::test]
async fn who_is_invited_over_the_api_gets_a_letter_too() {
    let sink = Sink::new(Manner::Takes).await;
    let (app, ..) = behind(&sink.url).await;
    let organiser = app.organiser().await;
    let invite = |email: &str| {
        let roles = json!([{ "role": "judge", "competition": SALTMARSH, "judge": "J-1" }, { "role": "referee", "competition": SALTMARSH }]);
        organiser.post("/api/v1/accounts").json(json!({ "email": email, "roles": roles }))
    };
    let told = invite("vera@example.org").await.expect(201).json();
    assert_eq!(told["letter"], json!({ "outcome": "sent" }));
    let letter = sink.wait_for(1).await.remove(0);
    assert!(letter.contains("To: vera@example.org\r\n") && plain(&letter).contains("Saltmarsh"), "{letter}");
    assert!(told["link"].as_str().is_some_and(|link| link.ends_with(&code(&letter))), "the same link: {told}");
    app.nobody().post("/signin/link").form(&[("code", &code(&letter))]).await.expect(303);
    // Who can sign in already needs none.
    let again = invite("vera@example.org").await.expect(200).json();
    assert_eq!((&again["letter"], &again["link"]), (&Value::Null, &Value::Null));
    // A role in all competitions, and a new link: the letter is about none of them.
    let all = app.administrator().await;
    let everywhere = json!({ "email": "chief@example.org", "roles": [{ "role": "referee" }] });
    let made = all.post("/api/v1/accounts").json(everywhere).await.expect(201).json();
    let path = format!("/api/v1/accounts/{}/link", made["account"]);
    let fresh = all.post(&path).await.expect(201).json();
    assert_eq!(fresh["letter"], json!({ "outcome": "sent" }));
    let letters = sink.wait_for(3).await;
    assert!(fresh["link"].as_str().is_some_and(|link| link.ends_with(&code(&letters[2]))), "{fresh}");
    assert!(
        plain(&letters[2]).contains("at http://127.0.0.1:8080:") && letters[2].contains("Subject: Your sign-in\r\n")
    );
    // The letters are nobody's to list; that the role holds here too is.
    let (browser, _) = organiser_browser(&app).await;
    let page = browser.get(PEOPLE).await.expect(200).plain();
    let (letters, roles) = page.split_once("id=\"who\"").expect("roles");
    assert!(!letters.contains("chief@example.org") && roles.contains("Referee in all competitions"), "{page}");
}

#[tokio::test]
async fn over_the_api_one_is_told_that_a_letter_was_not_sent() {
    let sink = Sink::new(Manner::Refuses).await;
    let (app, ..) = behind(&sink.url).await;
    let sent = json!({ "email": "vera@example.org", "roles": [{ "role": "judge", "competition": SALTMARSH, "judge": "J-1" }] });
    let told = app.organiser().await.post("/api/v1/accounts").json(sent.clone()).await.expect(201).json();
    assert_eq!(told["letter"]["outcome"], "failed");
    assert!(told["letter"]["detail"].as_str().is_some_and(|d| d.contains("550")) && told["link"].is_string(), "{told}");
    // Without a mail server nothing is said of letters.
    let quiet = TestApp::new().await;
    let told = quiet.organiser().await.post("/api/v1/accounts").json(sent).await.expect(201).json();
    assert!(told.get("letter").is_none() && told["link"].is_string(), "{told}");
}

#[tokio::test]
async fn a_letter_that_cannot_be_sent_is_told_in_a_sentence_and_the_link_is_shown() {
    for (manner, said) in
        [(Manner::Refuses, "refused the letter, with code 550"), (Manner::Silent, "did not answer in time")]
    {
        let sink = Sink::new(manner).await;
        let (app, browser, csrf) = behind(&sink.url).await;
        let account = new_account(&app, "vera@example.org", None).await;
        let led = browser.post(&format!("{PEOPLE}/{account}/link")).form(&[("csrf", &csrf)]).await.expect(303);
        let page = browser.follow(&led).await.expect(200).plain();
        assert!(page.contains("Not mailed to vera@example.org.") && page.contains(said), "{page}");
        assert!(page.contains("/signin/link?code="), "the link is shown all the same");
        assert_eq!(sink.letters(), [""; 0]);
    }
    // Nobody listens there.
    let free = TcpListener::bind(("127.0.0.1", 0)).await.expect("a port").local_addr().expect("an address");
    let (app, browser, csrf) = behind(&format!("smtp://{free}")).await;
    let account = new_account(&app, "vera@example.org", None).await;
    let led = browser.post(&format!("{PEOPLE}/{account}/link")).form(&[("csrf", &csrf)]).await.expect(303);
    let page = browser.follow(&led).await.expect(200).plain();
    assert!(page.contains("could not be reached") && page.contains("/signin/link?code="), "{page}");
}

#[tokio::test]
async fn a_link_for_who_has_a_password_goes_to_its_owner_alone() {
    let sink = Sink::new(Manner::Takes).await;
    let (app, browser, csrf) = behind(&sink.url).await;
    let account = new_account(&app, "vera@example.org", Some("three old oars")).await;
    let led = browser.post(&format!("{PEOPLE}/{account}/link")).form(&[("csrf", &csrf)]).await.expect(303);
    let page = browser.follow(&led).await.expect(200).plain();
    let letter = sink.wait_for(1).await.remove(0);
    assert!(page.contains("Mailed to vera@example.org.") && !page.contains(&code(&letter)), "{page}");
    app.nobody().post("/signin/link").form(&[("code", &code(&letter))]).await.expect(303);
    // Not for an account that is more than this organiser's.
    let more = grant(Role::Referee, None);
    let (other, _) = app.db_account("chief@example.org", Some("three old oars"), &[more]).await;
    browser.post(&format!("{PEOPLE}/{other}/link")).form(&[("csrf", &csrf)]).await.expect(404);
    assert_eq!(sink.letters().len(), 1);
}

#[tokio::test]
async fn who_never_showed_an_address_to_be_theirs_takes_no_letters_to_it_along() {
    let sink = Sink::new(Manner::Takes).await;
    let (app, browser, _) = behind(&sink.url).await;
    let codes = json!({ "bibs": [1042] });
    let made = app.staff_of("quayside").await.post("/api/v1/competitions/saltmarsh/gyms/quayside/claim-codes");
    let code = made.json(codes).await.expect(200).json()[0]["code"].as_str().expect("a code").to_owned();
    let claim = [
        ("c", SALTMARSH),
        ("bib", "1042"),
        ("code", &*code),
        ("email", "vera@example.org"),
        ("password", "three old oars"),
    ];
    let done = app.nobody().post("/claim").form(&claim).await.expect(303);
    let letter = Letter {
        competition: SALTMARSH.to_owned(),
        to: "vera@example.org".to_owned(),
        subject: "To the one whose address it is".to_owned(),
        text: "Hello".to_owned(),
    };
    assert!(app.app.post.send(letter).await.is_some());
    sink.wait_for(1).await;
    let cookie = done.header("set-cookie").split_once('=').and_then(|(_, v)| v.split_once(';')).expect("a cookie").0;
    let athlete = app.nobody().with_cookie(cookie);
    let csrf = athlete.get("/account").await.expect(200).csrf();
    let data = athlete.get("/account/data.json").await.expect(200).json();
    assert_eq!(data["letters"], json!([]), "nor are they told of them");
    let erase = [("csrf", csrf.as_str()), ("me", "vera@example.org")];
    athlete.post("/account/erase").form(&erase).await.expect(303);
    assert!(browser.get(PEOPLE).await.expect(200).text().contains("vera@example.org"), "the letter stays listed");
}

#[tokio::test]
async fn a_slow_mail_server_keeps_nobody_waiting_and_no_secret_is_logged() {
    let log = Log::default();
    let _another = tracing::Dispatch::new(tracing_subscriber::registry());
    let _log = log.listen();
    let sink = Sink::new(Manner::Silent).await;
    let (_app, browser, csrf) = behind(&sink.url.replace("smtp://", "smtp://user:hunter2@")).await;
    let began = std::time::Instant::now();
    browser.post(&format!("{PEOPLE}/invite")).form(&[("csrf", &csrf), ("do", "mail")]).await.expect(303);
    assert!(began.elapsed() < Duration::from_millis(350), "{:?}", began.elapsed());
    for _ in 0..400 {
        if browser.get(PEOPLE).await.text().contains("did not answer in time") {
            break;
        }
        tokio::time::sleep(Duration::from_millis(25)).await;
    }
    assert!(browser.get(PEOPLE).await.text().contains("did not answer in time"));
    let said = log.text();
    assert!(said.contains("mail_slow"), "that it failed is logged");
    let ours = said.lines().filter(|l| !l.contains("sqlx"));
    let telling =
        ours.filter(|l| l.contains("hunter2") || l.contains("ana@quayside") || l.contains("signin/link?code"));
    assert_eq!(telling.collect::<Vec<_>>(), [""; 0]);
}

#[tokio::test]
async fn without_a_mail_server_links_are_shown_as_ever() {
    let app = TestApp::new().await;
    let (browser, csrf) = organiser_browser(&app).await;
    assert!(!browser.get(PEOPLE).await.expect(200).text().contains("Mail the sign-ins"));
    let table = browser.post(&format!("{PEOPLE}/invite")).form(&[("csrf", &csrf), ("do", "mail")]).await.expect(200);
    assert!(table.header("content-type").starts_with("text/csv"));
}
