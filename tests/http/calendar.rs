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

#[tokio::test]
async fn the_feed_of_a_private_competition_wants_a_session() {
    let app = TestApp::new().await;
    app.nobody().get("/c/hidden/calendar.ics").await.expect(404);
    app.in_browser(&app.organiser().await).await.get("/c/hidden/calendar.ics").await.expect(404);
    app.in_browser(&app.administrator().await).await.get("/c/hidden/calendar.ics").await.expect(200);
    app.nobody().get("/c/no-such/calendar.ics").await.expect(404);
}
