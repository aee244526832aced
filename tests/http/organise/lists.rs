//! `/organise/{c}/lists/{list}`: gyms, entries and judges, many at once.

use super::organiser;
use crate::support::TestApp;
use std::fmt::Write;

#[tokio::test]
async fn good_rows_are_taken_and_refused_ones_come_back_to_be_mended() {
    let app = TestApp::new().await;
    let (browser, csrf) = organiser(&app).await;
    let path = "/organise/saltmarsh/lists/entries";
    let mut csv = "bib,name,born,category,division,gym\n".to_owned();
    for bib in 5001..=5012 {
        let division = if bib % 4 == 0 { "nobody" } else { "women" };
        writeln!(csv, "{bib},Person {bib},1990-01-01,women,{division},quayside").expect("text");
    }
    let page = browser.post(path).upload(&[("csrf", &csrf), ("do", "send")], csv.as_bytes()).await.expect(200).text();
    assert!(page.contains("9 taken, 0 as they were, 3 refused."), "{page}");
    assert!(page.contains("<th scope=\"row\">4</th><td>5</td>") && page.contains("division: "));
    let field =
        page.split_once("<textarea").and_then(|(_, rest)| rest.split_once("</textarea>")).map_or("", |(t, _)| t);
    // As a browser reads it out of the page.
    let refused = field.split_once('>').map_or("", |(_, text)| text).replace("&#34;", "\"").replace("&#39;", "'");
    assert_eq!(refused.trim_end().lines().count(), 4, "{refused}");
    assert!(refused.starts_with("bib,name,born,category,division,gym,line,reason"));
    // Taken along as a file, and mended in the field.
    let file = browser.post(path).form(&[("csrf", &csrf), ("do", "download"), ("text", &refused)]).await.expect(200);
    assert!(file.header("content-disposition").contains("entries-refused.csv"));
    assert_eq!(file.text(), refused);
    let mended = refused.replace("nobody", "women");
    let page = browser.post(path).form(&[("csrf", &csrf), ("do", "send"), ("text", &mended)]).await.expect(200).text();
    assert!(page.contains("3 taken, 0 as they were, 0 refused."), "{page}");
    let page = browser.get(&format!("{path}?q=5004")).await.expect(200).text();
    assert!(page.contains("Person 5004") && page.contains("1 fit."));
}

#[tokio::test]
async fn a_file_that_is_none_says_what_is_wanted_and_keeps_what_was_pasted() {
    let app = TestApp::new().await;
    let (browser, csrf) = organiser(&app).await;
    for list in ["gyms", "entries", "judges"] {
        let path = format!("/organise/saltmarsh/lists/{list}");
        browser.get(&path).await.expect(200);
        let page = browser.post(&path).form(&[("csrf", &csrf), ("text", "a;b\n1;2\n")]).await.expect(422).text();
        assert!(page.contains("href=\"#text\"") && page.contains("a;b\n1;2"), "{page}");
        let page = browser.post(&path).form(&[("csrf", &csrf), ("text", " ")]).await.expect(422).text();
        assert!(page.contains("href=\"#file\""));
    }
    browser.get("/organise/saltmarsh/lists/people").await.expect(404);
    let judges = "code,name,valid_from,valid_to\nJ-77,Ada,01/02/2026,01/03/2027\n";
    let send = |dates| [("csrf", csrf.as_str()), ("text", judges), ("dates", dates)];
    let path = "/organise/saltmarsh/lists/judges";
    let page = browser.post(path).form(&send("")).await.expect(200).text();
    assert!(page.contains("1 refused"));
    let page = browser.post(path).form(&send("day_first")).await.expect(200).text();
    assert!(page.contains("1 taken"), "{page}");
    let page = browser.get(&format!("{path}?q=ada")).await.expect(200).text();
    let days = "<span class=\"whole\">2026-02-01</span> <span class=\"whole\">to</span> <span class=\"whole\">2027-03-01</span>";
    assert!(page.contains(days), "{page}");
}
