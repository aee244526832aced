//! What was typed into a form whose reader was signed out meanwhile: said in the words of the form, never
//! a secret, and signing in leads back to where the form is.

use crate::support::{Client, Reply, TestApp};

const DESK: &str = "/desk/saltmarsh/quayside";

/// A browser that was signed out, with the hidden field of the forms that it still shows.
async fn signed_out(app: &TestApp, who: &Client) -> (Client, String) {
    let browser = app.in_browser(who).await;
    let csrf = browser.get("/account").await.expect(200).csrf();
    browser.post("/signout").form(&[("csrf", &csrf)]).await.expect(303);
    (browser, csrf)
}

/// What stands under a label.
#[track_caller]
fn under<'a>(page: &'a str, label: &str) -> &'a str {
    let rest = page.split_once(&format!("<dt>{label}</dt><dd>")).map(|(_, rest)| rest);
    let value = rest.and_then(|rest| rest.split_once("</dd>")).map(|(value, _)| value);
    value.unwrap_or_else(|| panic!("{label}: {page}"))
}

/// Where one signs in from a page, as the form there will lead on.
fn leads_back(page: &Reply) -> String {
    let page = page.plain();
    let next = page.split_once("href=\"/signin?next=").and_then(|(_, rest)| rest.split_once('"')).expect("a link").0;
    form_urlencoded::parse(format!("x={next}").as_bytes()).next().expect("a value").1.into_owned()
}

#[tokio::test]
async fn a_result_is_said_with_its_bib_and_under_its_labels() {
    let app = TestApp::new().await;
    let (staff, csrf) = signed_out(&app, &app.staff_of("quayside").await).await;
    let path = format!("{DESK}/w1/1042");
    let typed = [
        ("csrf", csrf.as_str()),
        ("etag", "88-0a0b0c"),
        ("performance", "6+14 tb 11:24"),
        ("how", "video"),
        ("reason", "<b>counted</b> again"),
        ("confirm-pace", "yes"),
    ];
    // It was sent from its row on the desk: back there.
    let from = format!("http://127.0.0.1:8080{DESK}?judge=J-1");
    let reply = staff.post(&path).header("referer", &from).accept("text/html").form(&typed).await.expect(401);
    let page = reply.plain();
    assert_eq!(under(&page, "Bib"), "1042");
    assert_eq!(under(&page, "Result"), "6+14 tb 11:24");
    assert_eq!(under(&page, "How the judge vouches"), "Counted from a video");
    assert_eq!(under(&page, "Reason"), "&#60;b&#62;counted&#60;/b&#62; again");
    assert!(!page.contains("88-0a0b0c") && !page.contains("pace"), "machinery: {page}");
    assert_eq!(leads_back(&reply), format!("{DESK}?judge=J-1"));

    let german = staff.post(&path).header("accept-language", "de").accept("text/html").form(&typed).await.expect(401);
    assert_eq!(under(&german.plain(), "Ergebnis"), "6+14 tb 11:24");
    assert_eq!(leads_back(&german), path, "without a word on where it came from, the page of the form");

    // Signing in from there leads there.
    app.staff_of("quayside").await;
    let next = leads_back(&reply);
    let page = staff.get(&format!("/signin?next={}", next.replace('?', "%3F"))).await.expect(200).plain();
    assert!(page.contains(&format!("name=\"next\" value=\"{next}\"")), "{page}");

    // A form of an older session: the same; of another page: nothing of what another site sends comes out.
    let again = app.in_browser(&app.staff_of("quayside").await).await;
    let page = again.post(&path).accept("text/html").form(&typed).await.expect(403).plain();
    assert_eq!(under(&page, "Result"), "6+14 tb 11:24");
    let elsewhere = again.post(&path).header("sec-fetch-site", "cross-site").accept("text/html").form(&typed).await;
    assert!(!elsewhere.expect(403).plain().contains("6+14"));
}

#[tokio::test]
async fn a_word_for_many_is_said_by_bibs_and_leads_back_to_the_desk() {
    let app = TestApp::new().await;
    let (staff, csrf) = signed_out(&app, &app.staff_of("quayside").await).await;
    let typed = [
        ("csrf", csrf.as_str()),
        ("a-1042", "88-0a0b0c"),
        ("s-1042", "17"),
        ("s-1043", ""),
        ("judge", "Kaya"),
        ("how", "paper_sheet"),
        ("statement", "yes"),
    ];
    // The form that was shown again stands at an address that only forms are sent to.
    let path = format!("{DESK}/w1/attestation");
    let from = format!("http://127.0.0.1:8080{path}");
    let reply = staff.post(&path).header("referer", &from).accept("text/html").form(&typed).await.expect(401);
    let page = reply.plain();
    assert_eq!(under(&page, "Bib 1042"), "ticked");
    assert_eq!(under(&page, "Bib 1042, Sheet"), "17");
    assert_eq!(under(&page, "Judge"), "Kaya");
    assert!(!page.contains("88-0a0b0c") && !page.contains("1043"), "{page}");
    assert!(!page.contains("Wren Abiodun"), "nobody's name but what was typed: {page}");
    assert_eq!(leads_back(&reply), DESK);
}

#[tokio::test]
async fn of_a_file_is_said_which_to_choose_again_and_of_a_text_all_of_it() {
    let app = TestApp::new().await;
    let (organiser, csrf) = signed_out(&app, &app.organiser().await).await;
    let path = "/organise/saltmarsh/lists/gyms";
    let fields = [("csrf", csrf.as_str()), ("text", "gym,name\nmill,Mill & Co"), ("do", "send")];
    let reply = organiser.post(path).accept("text/html").upload(&fields, b"gym,name\nquay,planted").await.expect(401);
    let page = reply.plain();
    assert_eq!(under(&page, "The file"), "f: choose it again");
    let text = under(&page, "Or the rows");
    assert!(text.contains("<textarea") && text.contains("gym,name\nmill,Mill &#38; Co"), "{text}");
    assert!(!page.contains("planted"), "what a file holds is still in the file: {page}");
    assert_eq!(leads_back(&reply), path);
    let none = organiser.post(path).accept("text/html").upload(&fields, b"").await.expect(401).plain();
    assert!(!none.contains("choose it again"), "{none}");
}

#[tokio::test]
async fn no_password_no_code_and_no_link_comes_out() {
    let app = TestApp::new().await;
    let (staff, csrf) = signed_out(&app, &app.staff_of("quayside").await).await;
    let secrets = [("csrf", csrf.as_str()), ("current", "three old oars"), ("new", "four new paddles")];
    let reply = staff.post("/account/password").accept("text/html").form(&secrets).await.expect(401);
    assert!(!reply.plain().contains("oars") && !reply.plain().contains("paddles"), "{}", reply.plain());
    assert_eq!(leads_back(&reply), "/account");
    // Signed in, with a form that has become too old.
    let again = app.in_browser(&app.staff_of("quayside").await).await;
    let old = ("csrf", csrf.as_str());
    let code = [old, ("c", "saltmarsh"), ("bib", "1042"), ("code", "CDFG-HJKM"), ("password", "three old oars")];
    let page = again.post("/claim").accept("text/html").form(&code).await.expect(403).plain();
    assert_eq!(under(&page, "Competition"), "saltmarsh");
    assert!(!page.contains("CDFG") && !page.contains("oars"), "{page}");
    let page =
        again.post("/signin/link").accept("text/html").form(&[old, ("code", "planted")]).await.expect(403).plain();
    assert!(!page.contains("planted"), "{page}");
    let both = [old, ("email", "a@example.org"), ("password", "three old oars"), ("next", "/planted")];
    let page = again.post("/signin").accept("text/html").form(&both).await.expect(403).plain();
    assert_eq!(under(&page, "E-mail"), "a@example.org");
    assert!(!page.contains("oars") && !page.contains("planted"), "{page}");
}
