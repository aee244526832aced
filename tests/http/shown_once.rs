//! What is shown once waits in the browser until its page is loaded.

use crate::support::TestApp;

/// What waits to be shown is sent along with every request: it never becomes too much for a head.
#[tokio::test]
async fn of_many_things_that_wait_to_be_shown_the_oldest_make_room() {
    let app = TestApp::new().await;
    let browser = app.browser("many@example.org", &[]).await;
    let csrf = browser.get("/account").await.expect(200).csrf();
    let session = browser.cookies();
    let token = [("csrf", &*csrf), ("name", "one of many"), ("days", "9")];
    let (mut waiting, mut made, mut led): (Vec<(String, String)>, Vec<String>, Vec<String>) = Default::default();
    let at = |waiting: &[(String, String)]| {
        let all = waiting.iter().map(|(name, value)| format!("; {name}={value}"));
        browser.clone().with(http::header::COOKIE, &std::iter::once(session.clone()).chain(all).collect::<String>())
    };
    let shown = async |waiting: &[(String, String)], address: &str| {
        let page = at(waiting).get(address).await.expect(200).text();
        page.contains("Copy it now")
    };
    for n in 1..=7 {
        let done = at(&waiting).post("/account/tokens").form(&token).await.expect(303);
        for set in done.headers.get_all("set-cookie") {
            let (name, rest) = set.to_str().expect("text").split_once('=').expect("a cookie");
            let value = rest.split(';').next().expect("a value");
            if rest.ends_with("Max-Age=0") {
                assert_eq!(waiting.remove(0).0, name, "the oldest goes first");
            } else {
                made.push(name.to_owned());
                waiting.push((name.to_owned(), value.to_owned()));
            }
        }
        led.push(done.header("location").split('#').next().expect("an address").to_owned());
        // As many as have room, the newest of all.
        let names: Vec<&String> = waiting.iter().map(|(name, _)| name).collect();
        assert_eq!(made.len(), n);
        assert_eq!(names, made.iter().skip(n.saturating_sub(4)).collect::<Vec<_>>());
    }
    for (n, address) in led.iter().enumerate() {
        assert_eq!(shown(&waiting, address).await, n >= 3, "{address}, number {n}");
    }
}
