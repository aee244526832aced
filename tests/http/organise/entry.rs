//! `/organise/{c}/entries/{bib}`: an entry withdrawn, moved, made a guest, once it is seen what follows.

use super::organiser;
use crate::routes::stage;
use crate::support::TestApp;

const PATH: &str = "/organise/saltmarsh/entries/1042";

async fn state(app: &TestApp) -> (String, String, String) {
    let entry = app.nobody().get("/api/v1/competitions/saltmarsh/entries/1042").await.expect(200).json();
    let text = |name: &str| entry[name].as_str().unwrap_or_default().to_owned();
    (text("state"), text("division"), text("gym"))
}

/// What a page has shown.
fn seen(page: &str) -> String {
    let (_, after) = page.split_once("name=\"seen\" value=\"").expect("something was shown");
    after
        .split('"')
        .next()
        .unwrap_or_default()
        .replace("&quot;", "\"")
        .replace("&#34;", "\"")
        .replace("&gt;", ">")
        .replace("&#62;", ">")
}

fn was() -> (String, String, String) {
    ("active".to_owned(), "women".to_owned(), "quayside".to_owned())
}

#[tokio::test]
async fn an_entry_is_found_by_name_looked_at_and_withdrawn() {
    let (app, ..) = stage().await;
    let (browser, csrf) = organiser(&app).await;
    let list = browser.get("/organise/saltmarsh/lists/entries?q=duarte").await.expect(200).text();
    assert!(list.contains(&format!("href=\"{PATH}\"")), "{list}");
    browser.get(PATH).await.expect(200);
    let fields = |state: &'static str, what: &'static str, seen: String| {
        [
            ("seen", seen),
            ("csrf", csrf.clone()),
            ("state", state.to_owned()),
            ("division", "women".to_owned()),
            ("gym", "Quayside Gym".to_owned()),
            ("reason", "injured".to_owned()),
            ("do", what.to_owned()),
        ]
    };
    let send = async |state, what, seen: &str, status| {
        let fields = fields(state, what, seen.to_owned());
        let fields: Vec<(&str, &str)> = fields.iter().map(|(n, v)| (*n, v.as_str())).collect();
        browser.post(PATH).form(&fields).await.expect(status).text()
    };
    let looked = send("withdrawn", "look", "", 200).await;
    assert!(looked.contains("keep their places") && looked.contains("value=\"apply\""), "{looked}");
    assert!(looked.contains("value=\"injured\""), "what was typed stays");
    assert_eq!(state(&app).await, was(), "looking changes nothing");
    // Not what was looked at: it is shown, and not done.
    let other = send("removed", "apply", &seen(&looked), 409).await;
    assert!(other.contains("This is not what was shown before"), "{other}");
    assert_eq!(state(&app).await, was());
    send("withdrawn", "apply", &seen(&looked), 303).await;
    assert_eq!(state(&app).await.0, "withdrawn");
    assert!(send("withdrawn", "apply", &seen(&looked), 422).await.contains("It is so already"));
    // Nor what was looked at while the entry was another: somebody has withdrawn it meanwhile.
    send("removed", "apply", &seen(&other), 409).await;
    assert_eq!(state(&app).await.0, "withdrawn");
    // And back.
    let looked = send("active", "look", "", 200).await;
    send("active", "apply", &seen(&looked), 303).await;
    assert_eq!(state(&app).await, was());
}

#[tokio::test]
async fn what_a_move_does_to_each_score_is_said_before_it_is_done() {
    let (app, ..) = stage().await;
    let (browser, csrf) = organiser(&app).await;
    let send = async |fields: &[(&str, &str)], status| {
        let fields: Vec<(&str, &str)> = fields.iter().copied().chain([("csrf", csrf.as_str())]).collect();
        browser.post(PATH).form(&fields).await.expect(status).plain()
    };
    // Another gym: the division, and so the scores, stay.
    let moved = [("state", "active"), ("division", "women"), ("gym", "millpond"), ("reason", "moved house")];
    let looked = send(&moved, 200).await;
    assert!(looked.contains("From now on Millpond Gym enters the scores."), "{looked}");
    let seen = seen(&looked);
    send(&[moved.as_slice(), &[("do", "apply"), ("seen", seen.as_str())]].concat(), 303).await;
    assert_eq!(state(&app).await.2, "millpond");
    // Faults beside their fields, all at once, with what was typed.
    let wrong = [("state", "active"), ("division", "men"), ("gym", "nowhere hall"), ("reason", ""), ("do", "apply")];
    let page = send(&wrong, 422).await;
    assert!(page.contains("href=\"#gym\"") && page.contains("href=\"#reason\""), "{page}");
    assert!(page.contains("href=\"#division\"") && page.contains("nowhere hall"), "{page}");
    assert_eq!(state(&app).await.2, "millpond");
}

/// Two who have seen the same entry change it at the same moment: the second is shown what has become of it.
#[tokio::test]
async fn of_two_who_change_an_entry_at_once_the_second_is_asked_again() {
    let (app, ..) = stage().await;
    let (browser, csrf) = organiser(&app).await;
    let send = async |state: &str, what: &str, seen: &str| {
        let fields = [
            ("csrf", csrf.as_str()),
            ("state", state),
            ("division", "women"),
            ("gym", "Quayside Gym"),
            ("reason", "injured"),
            ("do", what),
            ("seen", seen),
        ];
        browser.post(PATH).form(&fields).await
    };
    for _ in 0..10 {
        let one = seen(&send("withdrawn", "look", "").await.expect(200).text());
        let two = seen(&send("removed", "look", "").await.expect(200).text());
        let (one, two) = tokio::join!(send("withdrawn", "apply", &one), send("removed", "apply", &two));
        let mut statuses = [one.status.as_u16(), two.status.as_u16()];
        let now = if statuses[0] == 303 { "withdrawn" } else { "removed" };
        let told = if statuses[0] == 303 { two.text() } else { one.text() };
        statuses.sort_unstable();
        assert_eq!(statuses, [303, 409]);
        assert!(told.contains("This is not what was shown before") && told.contains("value=\"apply\""), "{told}");
        assert_eq!(state(&app).await.0, now);
        let back = seen(&send("active", "look", "").await.expect(200).text());
        send("active", "apply", &back).await.expect(303);
    }
}
