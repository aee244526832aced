//! `/c/{c}/calendar.ics`: what stands in the feed, and what never does. That a general library
//! reads it is checked from outside.

use crate::support::TestApp;

#[tokio::test]
async fn announced_windows_are_in_the_feed_and_nothing_else_for_nobody() {
    let app = TestApp::new().await;
    let path = "/c/saltmarsh/calendar.ics";
    let reply = app.nobody().get(path).await.expect(200);
    assert_eq!(reply.header("content-type"), "text/calendar; charset=utf-8");
    let text = reply.text().replace("\r\n ", "");
    assert!(text.starts_with("BEGIN:VCALENDAR\r\nVERSION:2.0\r\n") && text.ends_with("END:VCALENDAR\r\n"));
    assert_eq!(text.matches("BEGIN:VEVENT").count(), 2);
    assert!(text.contains("UID:w1.saltmarsh@127.0.0.1:8080\r\nDTSTAMP:20270114T120000Z\r\n"), "{text}");
    assert!(text.contains("DTSTART:20270112T190000Z\r\nDTEND:20270117T210000Z\r\n"));
    assert!(text.contains("SUMMARY:Workout 1: Saltmarsh Winter Series\r\n"));
    assert!(text.contains("URL:http://127.0.0.1:8080/c/saltmarsh/workouts/w1\r\n"));
    // The organiser knows of w3, but a feed is passed on.
    let organiser = app.in_browser(&app.organiser().await).await;
    assert!(organiser.get("/c/saltmarsh").await.text().contains("Workout 3"));
    assert_eq!(organiser.get(path).await.expect(200).text(), reply.text());
    // Later, and after a score, the same events have the same names.
    app.set_clock("2027-01-19T20:00:00Z");
    let later = app.nobody().get(path).await.expect(200).text().replace("\r\n ", "");
    assert_eq!(later.matches("BEGIN:VEVENT").count(), 3);
    let uids = |text: &str| text.lines().filter(|l| l.starts_with("UID:")).map(str::to_owned).collect::<Vec<_>>();
    assert_eq!(uids(&later)[..2], uids(&text)[..]);
}

/// The stamp and the number of the event of a workout.
fn written(feed: &str, workout: &str) -> (String, u64) {
    let event = feed.split_once(&format!("UID:{workout}.saltmarsh@")).expect("an event").1;
    let line = |name: &str| {
        let rest = event.split_once(&format!("\r\n{name}:")).expect("a line").1;
        rest.split_once("\r\n").expect("an end").0.to_owned()
    };
    (line("DTSTAMP"), line("SEQUENCE").parse().expect("a number"))
}

/// A calendar tells its owner of an event with a higher number: only of what it can be read in (RFC 5545,
/// 3.8.7.4, by which the number grows with each change that matters and never goes down).
#[tokio::test]
async fn an_event_is_new_only_where_the_file_changed_what_it_says() {
    let app = TestApp::new().await;
    let path = "/c/saltmarsh/calendar.ics";
    let feed = async || app.nobody().get(path).await.expect(200).text().replace("\r\n ", "");
    let first = feed().await;
    let mut file = include_str!("../data/small.toml").to_owned();
    let mut apply = async |at: &str, from: &str, to: &str| {
        app.set_clock(at);
        assert!(file.contains(from), "{from}");
        file = file.replacen(from, to, 1);
        let put = app.organiser().await.put("/api/v1/competitions/saltmarsh?reason=put%20right");
        put.header("if-match", "*").body("application/toml", file.clone()).await.expect(200);
    };
    // What is not announced, and what the event does not say.
    apply("2027-01-14T13:00:00Z", "title = \"Workout 3\"", "title = \"Another third\"").await;
    apply("2027-01-14T13:10:00Z", "Hips straight", "Hips open").await;
    assert_eq!(feed().await, first);
    let mut before = written(&first, "w1").1;
    let second = written(&first, "w2");
    for (at, stamp, from, to) in [
        ("2027-01-14T14:00:00Z", "20270114T140000Z", "closes = \"2027-01-17T21:00\"", "closes = \"2027-01-17T22:00\""),
        ("2027-01-14T15:00:00Z", "20270114T150000Z", "title = \"Workout 1\"", "title = \"The first\""),
    ] {
        apply(at, from, to).await;
        let now = feed().await;
        let (at, number) = written(&now, "w1");
        assert!(at == stamp && number > before, "{number} after {before} at {at}");
        assert_eq!(written(&now, "w2"), second);
        before = number;
    }
    // When what was not announced is, its event says nothing of the files before.
    app.set_clock("2027-01-19T20:00:00Z");
    assert_eq!(written(&feed().await, "w3"), ("20270119T190000Z".to_owned(), 0));
}

#[tokio::test]
async fn the_feed_of_a_private_competition_wants_a_session() {
    let app = TestApp::new().await;
    app.nobody().get("/c/hidden/calendar.ics").await.expect(404);
    app.in_browser(&app.organiser().await).await.get("/c/hidden/calendar.ics").await.expect(404);
    app.in_browser(&app.administrator().await).await.get("/c/hidden/calendar.ics").await.expect(200);
    app.nobody().get("/c/no-such/calendar.ics").await.expect(404);
}
