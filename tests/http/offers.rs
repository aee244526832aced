//! No page offers what its reader may not do: every form and every link of every page, as every
//! role, is tried, and none is answered that it is not allowed.

use crate::every_page::PAGES;
use crate::routes::{Person, people, stage};
use crate::support::{Client, SALTMARSH, TestApp, grant};
use std::collections::BTreeSet;
use tallywright::rules::access::{Grant, Role};
use tallywright::web::pages::typed::is_known;

/// What stands in an attribute of the tags that begin with `tag`.
fn attributes(page: &str, tag: &str, attribute: &str) -> Vec<String> {
    page.split(&format!("<{tag} "))
        .skip(1)
        .filter_map(|rest| rest.split_once('>')?.0.split_once(&format!("{attribute}=\""))?.1.split_once('"'))
        .map(|(value, _)| value.replace("&amp;", "&").replace("&#38;", "&").replace("&#x2F;", "/"))
        .collect()
}

/// Fields of the forms of a page that nobody said what they are: were their reader signed out meanwhile,
/// what was typed there could not be shown.
fn unknown_fields(page: &str) -> Vec<String> {
    let forms = page.split("<form ").skip(1).filter_map(|form| form.split("</form>").next());
    let posts = forms.filter(|form| form.split('>').next().is_some_and(|tag| tag.contains("method=\"post\"")));
    let fields = posts.flat_map(|form| {
        let action = form.split_once("action=\"").and_then(|(_, rest)| rest.split_once('"')).map_or("", |(a, _)| a);
        let names = form.split(" name=\"").skip(1).filter_map(|rest| rest.split('"').next());
        names.filter(|name| !is_known(action, name)).map(|name| format!("{action}: {name}")).collect::<Vec<_>>()
    });
    fields.collect()
}

/// Where the forms of a page are sent, with the first of their buttons that asks for something by name.
fn forms(page: &str) -> Vec<(String, String)> {
    let posts = page.split("<form ").skip(1).filter(|form| form.split('>').next().is_some_and(|t| t.contains("post")));
    let sent = posts.filter_map(|form| {
        let form = form.split("</form>").next()?;
        let action = form.split_once("action=\"")?.1.split_once('"')?.0.to_owned();
        let hidden = form.split("<input type=\"hidden\" ").skip(1).filter_map(|input| {
            let name = input.split_once("name=\"")?.1.split_once('"')?.0;
            let value = input.split_once("value=\"")?.1.split_once('"')?.0;
            Some(format!("{name}={}", form_urlencoded::byte_serialize(value.as_bytes()).collect::<String>()))
        });
        Some((action, hidden.collect::<Vec<_>>().join("&")))
    });
    sent.collect()
}

/// Without what scripts make rows of: nobody comes to that as it stands there.
fn without_templates(page: &str) -> String {
    let (first, rest) = page.split_once("<template").unwrap_or((page, ""));
    let after = rest.split("<template").filter_map(|part| part.split_once("</template>"));
    after.fold(first.to_owned(), |page, (_, after)| page + after)
}

/// Ends the session, or the account: then nothing else could be tried.
fn ends(action: &str) -> bool {
    action == "/signout" || action.ends_with("/end") || action.ends_with("/erase")
}

/// Not allowed, not there, or there in another way only.
fn is_refused(status: http::StatusCode) -> bool {
    [403, 404, 405].contains(&status.as_u16())
}

async fn offered(app: &TestApp, who: &str, browser: &Client) -> Vec<String> {
    let (mut wrong, mut tried, mut posted) = (Vec::new(), BTreeSet::new(), 0);
    for (_, address) in PAGES {
        let reply = browser.get(address).accept("text/html").await;
        if reply.status != 200 || address.starts_with("/signin/link") {
            continue;
        }
        let page = without_templates(&reply.text());
        for href in attributes(&page, "a", "href") {
            let href = href.split('#').next().unwrap_or_default().to_owned();
            if href.starts_with('/') && tried.insert(href.clone()) {
                let status = browser.get(&href).accept("text/html").await.status;
                if is_refused(status) {
                    wrong.push(format!("{who}: {address} leads to {href}, which is {status}"));
                }
            }
        }
        wrong.extend(unknown_fields(&page));
        for (action, hidden) in forms(&page) {
            if ends(&action) || !tried.insert(format!("POST {action}")) {
                continue;
            }
            posted += 1;
            let status = browser.post(&action).body("application/x-www-form-urlencoded", hidden).await.status;
            if is_refused(status) {
                wrong.push(format!("{who}: {address} has a form for {action}, which is {status}"));
            }
        }
    }
    assert!(posted > 0 || who == "nobody", "{who} was offered no form at all");
    let _ = app;
    wrong
}

#[tokio::test]
async fn no_page_offers_a_form_or_a_link_that_its_reader_may_not_use() {
    let names =
        ["nobody", "no role", "athlete 1042", "athlete 1043", "judge", "judge of millpond", "staff of quayside"];
    let more = ["staff of millpond", "referee", "organiser", "organiser of all"];
    let mut wrong = Vec::new();
    for n in 0..names.len() + more.len() {
        // Each role on a stage of its own: what one has done must not hide a form from the next.
        let (app, ..) = stage().await;
        // And something that still waits for a judge.
        let waits = serde_json::json!({ "performance": "5+1 tb 11:00" });
        let score = "/api/v1/competitions/saltmarsh/workouts/w1/scores/1044";
        app.staff_of("quayside").await.put(score).json(waits).await.expect(201);
        let Person { browser, .. } = people(&app).await.swap_remove(n);
        wrong.extend(offered(&app, names.iter().chain(&more).nth(n).expect("a name"), &browser).await);
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[tokio::test]
async fn a_referee_of_the_gym_reads_why_there_is_no_form() {
    let (app, ..) = stage().await;
    let grants = [
        grant(Role::Referee, Some(SALTMARSH)),
        Grant { gym: Some("quayside".to_owned()), ..grant(Role::Staff, Some(SALTMARSH)) },
    ];
    let tied = app.browser("tied@example.org", &grants).await;
    let address = "/referee/saltmarsh/w1/1042";
    let page = tied.get(address).accept("text/html").await.expect(200).text();
    assert!(page.contains("This is for a referee who has no part in it"), "{page}");
    assert!(forms(&page).iter().all(|(action, _)| !action.starts_with(address)), "{page}");
    let free = app.in_browser(&app.referee().await).await;
    let page = free.get(address).accept("text/html").await.expect(200).text();
    let actions: Vec<String> =
        forms(&page).into_iter().map(|(action, _)| action).filter(|a| a.starts_with("/referee")).collect();
    assert_eq!(actions, [format!("{address}/flag"), format!("{address}/ruling")]);
    // Last, as what is offered is done: the score is taken back.
    let wrong = offered(&app, "tied referee", &tied).await;
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[tokio::test]
async fn who_enters_no_scores_reads_who_does() {
    let (app, ..) = stage().await;
    let organiser = app.in_browser(&app.organiser().await).await;
    let page = organiser.get("/desk/saltmarsh/quayside/w1/1042").accept("text/html").await.expect(200).text();
    assert!(page.contains("Scores are entered by the staff of the gym, or by the athlete."), "{page}");
    assert!(!page.contains("name=\"performance\""));
    let athlete = organiser.get("/c/saltmarsh/athletes/1042").accept("text/html").await.expect(200).text();
    assert!(!athlete.contains("Enter or correct the score"));
}
