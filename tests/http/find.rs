//! Finding somebody in the standings and in the places of a workout: all of them, a gym, a region, a country,
//! a state of the past.

use crate::support::{Client, Reply, TestApp};
use serde_json::json;
use std::fmt::Write as _;

const C: &str = "/api/v1/competitions/saltmarsh";
const STANDINGS: &str = "/c/saltmarsh/divisions/women";
const BOTH: [&str; 2] = [STANDINGS, "/c/saltmarsh/divisions/women/workouts/w1"];

async fn page(client: &Client, address: &str) -> Reply {
    client.get(address).accept("text/html").await
}

async fn scattered() -> TestApp {
    let app = TestApp::new().await;
    scatter(&app).await;
    app
}

/// 1042 is of Portugal and the north, 2001 of Spain and the south, 1043 is removed.
async fn scatter(app: &TestApp) {
    let organiser = app.organiser().await;
    let entries = "bib,name,born,category,division,gym,country,region\n\
        1042,Ines Duarte,1996-04-02,women,women,quayside,PT,North\n\
        2001,Noor de Wit,1988-07-09,women,women,millpond,ES,South\n";
    let told = organiser.post(&format!("{C}/entries")).csv(entries).await.expect(200).json();
    assert_eq!(told["refused"], 0, "{told}");
    let removed = json!({ "state": "removed", "reason": "Entered twice." });
    organiser.patch(&format!("{C}/entries/1043")).json(removed).await.expect(200);
}

#[tokio::test]
async fn who_is_of_another_country_or_region_is_found_among_all_of_the_division() {
    let app = scattered().await;
    for here in BOTH {
        for scope in ["country=PT", "region=North", "gym=quayside"] {
            for asked in ["2001", "%232001", "noor"] {
                let text = page(&app.nobody(), &format!("{here}?{scope}&q={asked}")).await.expect(200).plain();
                let link = format!("href=\"{here}?bib=2001#b2001\">Noor de Wit · 2001");
                assert!(
                    text.contains(&link) && text.contains("Among all of this division:"),
                    "{scope} {asked}: {text}"
                );
                assert!(text.contains("Ines Duarte"), "those of {scope} are shown: {text}");
            }
            // Who is there is gone to.
            let there = page(&app.nobody(), &format!("{here}?{scope}&q=ines")).await.expect(303);
            assert_eq!(there.header("location"), format!("{here}?{scope}&bib=1042#b1042"));
            page(&app.nobody(), &format!("{here}?{scope}&bib=1042")).await.expect(200);
        }
    }
}

#[tokio::test]
async fn an_address_with_the_bib_of_somebody_else_shows_the_others_and_says_so() {
    let app = scattered().await;
    for here in BOTH {
        let text = page(&app.nobody(), &format!("{here}?country=PT&bib=2001")).await.expect(200).plain();
        assert!(text.contains("Noor de Wit is not among these.") && text.contains("Ines Duarte"), "{text}");
        assert!(text.contains(&format!("href=\"{here}?bib=2001#b2001\">Show everybody")), "{text}");
        // Of another division, removed, and nobody at all.
        for (bib, said) in [
            (1044, "Tomás Brito is not among these."),
            (1043, "Rita Alves is not among these."),
            (77, "Nobody in this division has bib 77."),
        ] {
            let text = page(&app.nobody(), &format!("{here}?bib={bib}")).await.expect(200).plain();
            assert!(text.contains(said) && text.contains("Ines Duarte"), "{bib}: {text}");
            assert!(!text.contains(&format!("?bib={bib}#")), "{bib}: {text}");
        }
    }
    let german = app.nobody().with(http::header::ACCEPT_LANGUAGE, "de");
    assert!(
        page(&german, &format!("{STANDINGS}?bib=1044")).await.plain().contains("Tomás Brito ist hier nicht dabei.")
    );
}

#[tokio::test]
async fn who_was_removed_is_found_only_in_a_state_in_which_they_were_there() {
    let app = TestApp::new().await;
    let before =
        app.nobody().get(&format!("{C}/divisions/women/standings")).await.expect(200).json()["log_seq"].clone();
    scatter(&app).await;
    for here in BOTH {
        for asked in ["rita", "1043"] {
            let text = page(&app.nobody(), &format!("{here}?q={asked}")).await.expect(200).plain();
            assert!(text.contains("Nobody in") && !text.contains("Rita Alves"), "{asked}: {text}");
            let then = page(&app.nobody(), &format!("{here}?as_of={before}&q={asked}")).await.expect(303);
            let there = then.header("location").split('#').next().unwrap_or_default().to_owned();
            assert!(page(&app.nobody(), &there).await.expect(200).plain().contains("Rita Alves"), "{there}");
        }
    }
}

#[tokio::test]
async fn of_many_of_a_name_the_few_of_a_region_are_found() {
    let app = TestApp::new().await;
    let mut entries = "bib,name,born,category,division,gym,region\n".to_owned();
    for n in 0..60 {
        let region = if n == 59 { "North" } else { "South" };
        let _ = writeln!(entries, "{},Maria Costa {n:02},1996-04-02,women,women,quayside,{region}", 3000 + n);
    }
    let told = app.organiser().await.post(&format!("{C}/entries")).csv(&entries).await.expect(200).json();
    assert_eq!(told["taken"], 60, "{told}");
    let there = page(&app.nobody(), &format!("{STANDINGS}?region=North&q=maria")).await.expect(303);
    assert_eq!(there.header("location"), format!("{STANDINGS}?region=North&bib=3059#b3059"));
    let text = page(&app.nobody(), &format!("{STANDINGS}?q=maria")).await.expect(200).plain();
    assert!(text.contains("Many fit “maria”.") && text.contains("Maria Costa 19 · 3019"), "{text}");
}

#[tokio::test]
async fn the_interface_does_not_say_that_somebody_of_another_scope_is_not_ranked() {
    let app = scattered().await;
    let told = app.nobody().get(&format!("{C}/divisions/women/standings?country=PT&bib=2001")).await.expect(404);
    assert!(told.text().contains("Bib 2001 is not among the entries of women that are asked for."), "{}", told.text());
}

/// The list shows such a row as "Athlete 1042", and that is what its reader has to type.
#[tokio::test]
async fn who_is_shown_without_a_name_is_found_by_what_is_shown() {
    let app = TestApp::new().await;
    let hidden = "bib,name,born,category,division,gym,show_name\n1042,Ines Duarte,1996-04-02,women,women,quayside,no\n";
    let told = app.organiser().await.post(&format!("{C}/entries")).csv(hidden).await.expect(200).json();
    assert_eq!((&told["taken"], &told["refused"]), (&json!(1), &json!(0)), "{told}");
    for here in BOTH {
        assert!(page(&app.nobody(), here).await.expect(200).text().contains("Athlete 1042"), "{here}");
        let there = page(&app.nobody(), &format!("{here}?q=Athlete+1042")).await.expect(303);
        assert_eq!(there.header("location"), format!("{here}?bib=1042#b1042"));
        // Not by the name that is not shown.
        let text = page(&app.nobody(), &format!("{here}?q=ines")).await.expect(200).plain();
        assert!(text.contains("Nobody in"), "{text}");
    }
    let german = app.nobody().with(http::header::ACCEPT_LANGUAGE, "de");
    let there = page(&german, &format!("{}?q=Startnummer+1042", BOTH[0])).await.expect(303);
    assert_eq!(there.header("location"), format!("{}?bib=1042#b1042", BOTH[0]));
}

/// Who has moved is found where they were then, and by nobody's present gym.
#[tokio::test]
async fn in_a_state_of_the_past_somebody_is_found_in_the_gym_and_the_division_of_then() {
    let app = TestApp::new().await;
    let organiser = app.organiser().await;
    let before =
        app.nobody().get(&format!("{C}/divisions/women/standings")).await.expect(200).json()["log_seq"].clone();
    let moved = json!({ "gym": "millpond", "reason": "Moved house." });
    organiser.patch(&format!("{C}/entries/1042")).json(moved).await.expect(200);
    for here in BOTH {
        let there = page(&app.nobody(), &format!("{here}?as_of={before}&gym=quayside&q=ines")).await.expect(303);
        assert_eq!(there.header("location"), format!("{here}?gym=quayside&as_of={before}&bib=1042#b1042"));
        let text = page(&app.nobody(), &format!("{here}?as_of={before}&gym=millpond&q=ines")).await.expect(200).plain();
        assert!(text.contains("Among all of this division:"), "who came later was not there: {text}");
        let there = page(&app.nobody(), &format!("{here}?gym=millpond&q=ines")).await.expect(303);
        assert_eq!(there.header("location"), format!("{here}?gym=millpond&bib=1042#b1042"));
    }
}

/// Results that are shown at the close: a gym's staff see their own before, and find the way.
#[tokio::test]
async fn staff_find_their_own_gyms_results_before_all_are_shown() {
    let app = TestApp::empty().await;
    let file = include_str!("../data/small.toml");
    let file = file.replacen("format = \"amrap\"", "format = \"amrap\"\npublish = \"at_close\"", 1);
    app.db_competition_of("saltmarsh", &file).await;
    let workout = BOTH[1];
    let staff = app.in_browser(&app.staff_of("quayside").await).await;
    let text = page(&staff, workout).await.expect(200).plain();
    assert!(text.contains("Scores of this workout are shown when its window closes"), "{text}");
    assert!(text.contains(&format!("href=\"{workout}?gym=quayside\">Results of Quayside Gym so far")), "{text}");
    assert!(text.contains("href=\"/desk/saltmarsh/quayside\">Desk: Quayside Gym"), "{text}");
    assert!(!text.contains("millpond"), "no other gym's: {text}");
    let german = staff.clone().with(http::header::ACCEPT_LANGUAGE, "de");
    assert!(page(&german, workout).await.plain().contains("Bisherige Ergebnisse von Quayside Gym"));
    let nobody = page(&app.nobody(), workout).await.expect(200).plain();
    assert!(!nobody.contains("so far") && !nobody.contains("/desk/"), "{nobody}");

    // Who is not of the own gym is led to by a page that says something.
    let own = page(&staff, &format!("{workout}?gym=quayside&q=noor")).await.expect(200).plain();
    assert!(own.contains("href=\"/c/saltmarsh/athletes/2001\">Noor de Wit · 2001"), "{own}");
    let own = page(&staff, &format!("{workout}?gym=quayside&bib=2001")).await.expect(200).plain();
    assert!(own.contains("href=\"/c/saltmarsh/athletes/2001\">Noor de Wit"), "{own}");
}
