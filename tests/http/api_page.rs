//! `/api`: the API's description for people, and the viewer that is built in.

use crate::support::TestApp;

/// The addresses of built-in files that a page names.
fn files(page: &str) -> Vec<&str> {
    page.split('"').filter(|text| text.starts_with("/static/")).collect()
}

#[tokio::test]
async fn all_requests_are_listed_without_scripts_and_the_page_asks_nobody_else() {
    let app = TestApp::new().await;
    let reply = app.nobody().get("/api").accept("text/html").await.expect(200);
    let page = reply.text();
    let document = app.nobody().get("/api/openapi.json").await.expect(200).json();
    for (path, item) in document["paths"].as_object().expect("paths") {
        for method in item.as_object().expect("methods").keys() {
            let request = format!("<code>{} {path}</code>", method.to_uppercase());
            assert!(page.contains(&request), "{request}");
        }
    }
    // The same policy as everywhere: the viewer was chosen for it.
    let policy = reply.header("content-security-policy");
    assert!(policy.contains("script-src 'self'; style-src 'self';") && !policy.contains("unsafe"), "{policy}");
    assert!(!page.contains("//") || page.match_indices("//").all(|(at, _)| page[..at].ends_with("http:")), "{page}");
}

#[tokio::test]
async fn the_viewers_files_come_packed_and_may_be_kept() {
    let app = TestApp::new().await;
    let page = app.nobody().get("/api").accept("text/html").await.expect(200).text();
    let files = files(&page);
    for name in ["swagger-ui-bundle.", "swagger-ui.", "api."] {
        assert!(files.iter().any(|file| file.starts_with(&format!("/static/{name}"))), "{name} in {files:?}");
    }
    for file in files {
        let plain = app.nobody().get(file).await.expect(200);
        let packed = app.nobody().with(http::header::ACCEPT_ENCODING, "br").get(file).await.expect(200);
        assert_eq!(packed.header("content-encoding"), "br", "{file}");
        assert!(packed.header("cache-control").contains("immutable"), "{file}");
        assert!(packed.body.len() < plain.body.len(), "{file}");
    }
}
