//! Standings of a competition in more gyms than anybody picks from a list.

use crate::support::{Reply, TestApp};
use serde_json::json;
use std::fmt::Write as _;

const PAGE: &str = "/c/saltmarsh/divisions/women";

/// With 200 gyms more.
async fn with_many() -> TestApp {
    let app = TestApp::new().await;
    let mut gyms = "slug,name,country\n".to_owned();
    for n in 1..=200 {
        writeln!(gyms, "annex-{n},Annex No{n},PT").unwrap();
    }
    let organiser = app.organiser().await;
    organiser.post("/api/v1/competitions/saltmarsh/gyms").csv(&gyms).await.expect(200);
    app
}

fn leads_to(reply: &Reply) -> String {
    reply.header("location").to_owned()
}

#[tokio::test]
async fn a_gym_is_named_by_typing_and_found_by_a_part_of_its_name() {
    let app = with_many().await;
    let nobody = app.nobody();
    let page = nobody.get(PAGE).await.expect(200).plain();
    assert!(page.contains("<input id=\"gym\"") && !page.contains("<select id=\"gym\"") && !page.contains("Annex No17"));

    // By the whole name, whatever its case, though it is a part of others; by a part; and as it is in addresses.
    assert_eq!(
        leads_to(&nobody.get(&format!("{PAGE}?gym=ANNEX+no1")).await.expect(303)),
        format!("{PAGE}?gym=annex-1")
    );
    assert_eq!(
        leads_to(&nobody.get(&format!("{PAGE}?gym=quaysi&country=PT")).await.expect(303)),
        format!("{PAGE}?gym=quayside&country=PT")
    );
    let page = nobody.get(&format!("{PAGE}?gym=quayside")).await.expect(200).plain();
    assert!(page.contains("value=\"Quayside Gym\""), "what was chosen stands in the field: {page}");

    // Who is looked for is looked for in the gym that was named.
    let there = nobody.get(&format!("{PAGE}?q=ines&gym=Quayside+Gym")).await.expect(303);
    assert_eq!(leads_to(&there), format!("{PAGE}?gym=quayside&q=ines"));
    let there = nobody.get(&leads_to(&there)).await.expect(303);
    assert_eq!(leads_to(&there), format!("{PAGE}?gym=quayside&bib=1042#b1042"));

    let several = nobody.get(&format!("{PAGE}?gym=no19")).await.expect(200).plain();
    assert!(several.contains("Several gyms fit “no19”") && several.contains(&format!("href=\"{PAGE}?gym=annex-190\"")));
    let many = nobody.get(&format!("{PAGE}?gym=annex")).await.expect(200).plain();
    assert!(many.contains("Many fit “annex”") && many.matches("?gym=annex-").count() == 20);
    let none = nobody.get(&format!("{PAGE}?gym=harbour")).await.expect(200).plain();
    assert!(none.contains("No gym is called “harbour”."));

    // The same on the page of a workout.
    let there = nobody.get(&format!("{PAGE}/workouts/w2?gym=quaysi")).await.expect(303);
    assert_eq!(leads_to(&there), format!("{PAGE}/workouts/w2?gym=quayside"));
}

#[tokio::test]
async fn a_gym_that_gets_another_name_has_it_on_every_page_at_once() {
    let app = TestApp::new().await;
    let (nobody, organiser) = (app.nobody(), app.organiser().await);
    assert!(nobody.get(PAGE).await.expect(200).text().contains("Quayside Gym"));
    let renamed = json!({ "slug": "quayside", "name": "Quayside Yard", "country": "PT" });
    organiser.post("/api/v1/competitions/saltmarsh/gyms").json(renamed).await.expect(200);
    for page in [PAGE, "/c/saltmarsh/athletes/1042", "/c/saltmarsh/divisions/women/workouts/w2"] {
        let text = nobody.get(page).await.expect(200).text();
        assert!(text.contains("Quayside Yard") && !text.contains("Quayside Gym"), "{page}");
    }
}
