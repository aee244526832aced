//! The desk of a large gym on its last evening stays light on a phone's network.

use crate::support::{Client, TestApp, grant};
use serde_json::json;
use std::fmt::Write as _;
use tallywright::rules::access::{Grant, Role};

/// As heavy as any page may be, packed.
const HEAVIEST: usize = 60_000;
const ENTRIES: u32 = 300;

async fn staff(app: &TestApp) -> Client {
    let gym = Grant { gym: Some("quayside".to_owned()), ..grant(Role::Staff, Some("longshore")) };
    app.somebody("staff@longshore.example", &[gym]).await
}

/// A gym of 300 with five open workouts: a third is stored of each, half of that vouched for.
async fn of_300() -> TestApp {
    let app = TestApp::new().await;
    let small = include_str!("../data/small.toml");
    let (head, rest) = small.split_once("[[workout]]").expect("a workout");
    let one = rest.split_once("[[workout]]").expect("another").0;
    let head = head.replace("slug = \"saltmarsh\"", "slug = \"longshore\"");
    let mut file = head;
    for n in 1..=5 {
        let own = one.replace("\"w1\"", &format!("\"w{n}\"")).replace("Workout 1", &format!("Workout {n}"));
        write!(file, "[[workout]]{own}").expect("text");
    }
    app.db_file(&file).await;
    let organiser = app.somebody("organiser@longshore.example", &[grant(Role::Organiser, Some("longshore"))]).await;
    let api = "/api/v1/competitions/longshore";
    organiser.post(&format!("{api}/gyms")).csv("slug,name,country\nquayside,Quayside Gym,PT\n").await.expect(200);
    let judges = "code,name,gym,valid_from,valid_to\nJ-1,Vera Lopes,quayside,2026-01-01,2027-12-31\n";
    organiser.post(&format!("{api}/judges")).csv(judges).await.expect(200);
    let mut entries = "bib,name,born,category,division,gym\n".to_owned();
    let (first, last) = (
        ["Ines", "Rita", "Joana", "Teresa", "Marta", "Sofia"],
        ["Duarte", "Alves", "Brito", "Lopes", "Maas", "Vaz", "Costa"],
    );
    for n in 0..ENTRIES {
        let (a, b, c) = (n as usize % 6, n as usize % 7, n as usize * 5 % 7);
        writeln!(entries, "{},{} {} {}{n},1996-04-02,women,women,quayside", 1_000 + n, first[a], last[b], last[c])
            .expect("text");
    }
    let told = organiser.post(&format!("{api}/entries")).csv(&entries).await.expect(200).json();
    assert_eq!(told["taken"], ENTRIES, "{told}");
    let staff = staff(&app).await;
    for w in 1..=5 {
        let mut scores = "bib,performance,judge\n".to_owned();
        for n in 0..ENTRIES / 3 {
            let judge = if n % 2 == 0 { "J-1" } else { "" };
            writeln!(
                scores,
                "{},{}+{} tb 11:{:02},{judge}",
                1_000 + n * 3,
                3 + n % 4,
                1 + (n * 7 + w) % 19,
                (n * 11 + w) % 60
            )
            .expect("text");
        }
        let told = staff.post(&format!("{api}/workouts/w{w}/scores")).csv(&scores).await.expect(200).json();
        assert_eq!(told["taken"], json!(ENTRIES / 3), "{told}");
    }
    app
}

#[tokio::test]
async fn the_desk_of_a_gym_of_300_with_five_open_workouts_stays_light_and_takes_every_result() {
    let app = of_300().await;
    let browser = app.in_browser(&staff(&app).await).await;
    let page = async |path: &str| browser.get(path).accept("text/html").await.expect(200).text();
    let rows = |page: &str, workout: &str| {
        let rest = page.split_once(&format!("aria-labelledby=\"w-{workout}\"")).expect("the workout").1;
        let section = rest.split_once("</section>").expect("its end").0.to_owned();
        // Without the one that the script fills in.
        section.split("<template").next().expect("rows").matches("class=\"entry\"").count()
    };
    let desk = "/desk/longshore/quayside";
    let first = page(desk).await;
    assert_eq!(["w1", "w2", "w3", "w4", "w5"].map(|w| rows(&first, w)), [200, 0, 0, 0, 0]);
    assert_eq!(first.matches("<template class=\"blank\">").count(), 5, "the script makes the others");
    // Without the script the others are a link away, from a result that was stored there too.
    assert!(first.contains("href=\"/desk/longshore/quayside?workout=w3#w-w3\""), "{first}");
    for chosen in ["?workout=w3", "?saved=w3/1001&judge=J-1&how=video"] {
        assert_eq!(["w1", "w3"].map(|w| rows(&first, w)), [200, 0]);
        let page = page(&format!("{desk}{chosen}")).await;
        assert_eq!(["w1", "w2", "w3"].map(|w| rows(&page, w)), [0, 0, 200], "{chosen}");
    }
    // Who names a judge there, or gives a judge's word, stays there.
    let third = page(&format!("{desk}?workout=w3")).await;
    let judging =
        third.split_once("id=\"judging\"").and_then(|(_, rest)| rest.split_once("</form>")).expect("a form").0;
    assert!(judging.contains("name=\"workout\" value=\"w3\""), "{judging}");
    assert!(!first.contains("name=\"desk_workout\""), "nothing was asked for");
    let word = third.split_once("id=\"v-w2\"").and_then(|(_, rest)| rest.split_once("</form>")).expect("a form").0;
    assert!(word.contains("name=\"desk_workout\" value=\"w3\""), "{word}");
    let tick = word.split_once("name=\"a-").and_then(|(_, rest)| rest.split_once("\" value=\"")).expect("a tick");
    let etag = tick.1.split('"').next().expect("a state");
    let (ticked, csrf) = (format!("a-{}", tick.0), browser.get("/account").await.csrf());
    let form = [
        ("csrf", &*csrf),
        ("desk_workout", "w3"),
        ("desk_judge", "J-1"),
        ("judge", "J-1"),
        ("how", "video"),
        (&*ticked, etag),
    ];
    let attest = format!("{desk}/w2/attestation");
    let refused = browser.post(&attest).form(&form).await.expect(422).text();
    assert_eq!(["w2", "w3"].map(|w| rows(&refused, w)), [0, 200]);
    let given = browser.post(&attest).form(&[&form[..], &[("statement", "yes")]].concat()).await.expect(303);
    assert!(given.header("location").contains("judge=J-1&workout=w3&"), "{}", given.header("location"));
    let after = browser.follow(&given).await.expect(200).text();
    assert_eq!(["w2", "w3"].map(|w| rows(&after, w)), [0, 200]);
    let german = browser.get(desk).header("accept-language", "de").accept("text/html").await.expect(200).text();
    assert!(german.contains("Ergebnisse dieses Workouts hier eintippen"));
    let light = async || {
        let packed = browser.get(desk).header("accept-encoding", "br").accept("text/html").await.expect(200);
        assert_eq!(packed.header("content-encoding"), "br");
        assert!(packed.body.len() < HEAVIEST, "{} bytes packed", packed.body.len());
        packed.body.len()
    };
    let without = light().await;

    // With heats in all of them.
    let csrf = browser.get("/account").await.csrf();
    for w in 1..=5 {
        let make = [("do", "make"), ("version", "0"), ("lanes", "6"), ("minutes", "10"), ("start", "2027-01-13T08:00")];
        let make = [&make[..], &[("judging", "judges"), ("csrf", &csrf)]].concat();
        browser.post(&format!("{desk}/heats/w{w}")).form(&make).await.expect(303);
    }
    let with = light().await;
    println!("{without} bytes packed, {with} with heats");
}
