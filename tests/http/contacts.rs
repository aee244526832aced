//! A gym's contact: what is kept of them, taken along and erased.

use crate::account::{assert_log_holds, athlete, found};
use crate::support::{HIDDEN, SALTMARSH, TestApp, grant};
use serde_json::json;
use tallywright::rules::access::{Grant, Role};

const C: &str = "/api/v1/competitions/saltmarsh";

/// Gyms with a contact whose facts stand nowhere else.
const GYMS: &str = "slug,name,country,contact,email,phone\n\
    quayside,Quayside Gym,PT,Quorzella Vexwhistle,Quorzella@zephyrine.box,+351 1987-03-21\n\
    millpond,Millpond Gym,PT,Somebody Else,quorzella@zephyrine.box,\n";

#[tokio::test]
async fn a_gyms_contact_takes_along_what_is_kept_of_them() {
    let app = TestApp::new().await;
    let gyms = "slug,name,country,contact,email,phone\nquayside,Quayside Gym,PT,Ana Cruz,Ana@quayside.example,+351 1\n";
    app.organiser().await.post(&format!("{C}/gyms")).csv(gyms).await.expect(200);
    let role = Grant { gym: Some("quayside".to_owned()), ..grant(Role::Staff, Some(SALTMARSH)) };
    let own = app.browser("ana@quayside.example", std::slice::from_ref(&role)).await;
    let data = own.get("/account/data.json").await.expect(200).json();
    assert_eq!(
        (&data["contacts"][0]["gym"], &data["contacts"][0]["person"]["name"]),
        (&json!("quayside"), &json!("Ana Cruz"))
    );
    let other = app.browser("other@quayside.example", &[role]).await;
    let data = other.get("/account/data.json").await.expect(200).json();
    assert_eq!(data["contacts"], json!([]), "somebody else at the gym");
}

fn staff_of(gym: &str) -> Grant {
    Grant { gym: Some(gym.to_owned()), ..grant(Role::Staff, Some(SALTMARSH)) }
}

/// Whoever organises anything gives roles there to any address, and is shown the link: that address alone
/// erases nobody's contact elsewhere.
#[tokio::test]
async fn an_address_alone_erases_no_gyms_contact() {
    let app = TestApp::new().await;
    app.organiser().await.post(&format!("{C}/gyms")).csv(GYMS).await.expect(200);
    let elsewhere = Grant { competition: Some(HIDDEN.to_owned()), ..staff_of("quayside") };
    let in_part = [elsewhere.clone(), staff_of("quayside")];
    for (roles, left) in [(&[elsewhere][..], ["quayside", "millpond"].as_slice()), (&in_part, &["millpond"])] {
        let own = app.browser("quorzella@zephyrine.box", roles).await;
        let csrf = own.get("/account").await.csrf();
        let me = [("csrf", &*csrf), ("me", "quorzella@zephyrine.box"), ("close", "yes")];
        own.post("/account/erase").form(&me).await.expect(303);
        own.get("/account").await.expect(401);
        let gyms = app.organiser().await.get(&format!("{C}/gyms")).await.expect(200).json();
        let all = gyms.as_array().expect("gyms").iter();
        let with: Vec<_> = all.filter(|gym| !gym["email"].is_null()).filter_map(|gym| gym["slug"].as_str()).collect();
        assert_eq!(with.len(), left.len(), "{gyms}");
        assert!(left.iter().all(|gym| with.contains(gym)), "{gyms}");
    }
    assert_log_holds(&app).await;
}

/// Whoever closes the own account is no gym's contact any more: under the own address, whatever the name.
#[tokio::test]
async fn a_gyms_contact_goes_with_the_account() {
    let app = TestApp::new().await;
    app.organiser().await.post(&format!("{C}/gyms")).csv(GYMS).await.expect(200);
    let own = app.browser("quorzella@zephyrine.box", &["quayside", "millpond"].map(staff_of)).await;
    let csrf = own.get("/account").await.csrf();
    let me = [("csrf", &*csrf), ("me", "quorzella@zephyrine.box")];
    // As long as they stay at the gym, so does the contact.
    own.post("/account/erase").form(&me).await.expect(303);
    assert!(found(&app).contains(&"Quorzella Vexwhistle"));
    own.post("/account/erase").form(&[me.as_slice(), &[("close", "yes")]].concat()).await.expect(303);
    assert_eq!(found(&app), Vec::<&str>::new());
    let gyms = app.organiser().await.get(&format!("{C}/gyms")).await.expect(200).json();
    assert!(gyms.as_array().is_some_and(|all| all.iter().all(|gym| gym["email"].is_null())), "{gyms}");
    assert_log_holds(&app).await;
    // The same file brings nobody back; somebody else is named on purpose.
    let again = app.organiser().await.post(&format!("{C}/gyms")).csv(GYMS).await.expect(200).text();
    assert!(again.contains("The contact of millpond was erased. If"), "{again}");
    let set = async |contact: &str| {
        let gym = json!({ "slug": "quayside", "name": "Quayside Gym", "country": "PT", "contact": contact });
        app.organiser().await.post(&format!("{C}/gyms")).json(gym).await
    };
    set("Ana Cruz").await.expect(422);
    set("").await.expect(200);
    set("Ana Cruz").await.expect(200);
    assert_log_holds(&app).await;
}

/// The organiser erases an athlete: as a contact of the same name and address too, and any other by one action.
#[tokio::test]
async fn a_gyms_contact_is_erased_with_the_athlete_and_by_itself() {
    let app = TestApp::new().await;
    athlete(&app, &[]).await;
    let organiser = app.in_browser(&app.organiser().await).await;
    app.organiser().await.post(&format!("{C}/gyms")).csv(GYMS).await.expect(200);
    let csrf = organiser.get("/account").await.csrf();
    let look = |bib, gym| {
        let fields = [("csrf", &*csrf), ("erase_bib", bib), ("erase_gym", gym)];
        organiser.post("/organise/saltmarsh/erase").form(&fields)
    };
    assert!(look("4711", "millpond").await.expect(422).text().contains("one at a time"));
    assert!(look("", "nowhere").await.expect(422).text().contains("href=\"#erase_gym\""));
    let page = look("", "millpond").await.expect(200).plain();
    assert!(page.contains("Contact of") && page.contains("zephyrine.box"), "{page}");
    organiser.erases("erase_bib", "4711").await.expect(303);
    let left = found(&app);
    assert!(!left.contains(&"Quorzella Vexwhistle") && !left.contains(&"1987-03-21"), "{left:?}");
    assert!(left.contains(&"zephyrine.box"), "of another name under the address: nobody can tell");
    organiser.erases("erase_gym", "millpond").await.expect(303);
    let page = look("", "millpond").await.expect(200).plain();
    assert!(page.contains("Nobody: no contact is kept") && page.contains("Nobody would be erased"), "{page}");
    organiser.erases("erase_gym", "millpond").await.expect(303);
    assert_eq!(found(&app), Vec::<&str>::new());
    assert_log_holds(&app).await;
    // Others may not.
    let staff = app.in_browser(&app.staff_of("millpond").await).await;
    let csrf = staff.get("/account").await.csrf();
    let fields = [("csrf", &*csrf), ("erase_gym", "millpond"), ("sure", "yes")];
    staff.post("/organise/saltmarsh/erase").form(&fields).await.expect(403);
}

/// The contact of the same person is gone before the entry is: who is told that nothing was stored would
/// look no further.
#[tokio::test]
async fn what_goes_wrong_between_two_parts_is_told_as_that() {
    let app = TestApp::new().await;
    athlete(&app, &[]).await;
    app.organiser().await.post(&format!("{C}/gyms")).csv(GYMS).await.expect(200);
    let organiser = app.in_browser(&app.organiser().await).await;
    let mut raw = app.database.raw().await;
    let (stop, go) = if app.database.is_served() {
        let broken = "CREATE FUNCTION broken() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN RAISE disk_full; END $$;
                      CREATE TRIGGER stop BEFORE DELETE ON persons FOR EACH ROW
                      WHEN (OLD.body LIKE '%\"born\":\"1987%') EXECUTE FUNCTION broken()";
        (broken, "DROP TRIGGER stop ON persons")
    } else {
        let broken = "CREATE TRIGGER stop BEFORE DELETE ON persons WHEN OLD.body LIKE '%\"born\":\"1987%'
                      BEGIN SELECT RAISE(ABORT, 'broken'); END";
        (broken, "DROP TRIGGER stop")
    };
    raw.run(stop).await.expect("a trigger");
    let told = organiser.erases("erase_bib", "4711").await.expect(503).plain();
    assert!(told.contains("A part is erased for good. The rest in") && !told.contains("Nothing was stored"), "{told}");
    assert!(found(&app).contains(&"Quorzella Vexwhistle"));
    raw.run(go).await.expect("no trigger");
    raw.close().await;
    organiser.erases("erase_bib", "4711").await.expect(303);
    assert!(!found(&app).contains(&"Quorzella Vexwhistle"));
    assert_log_holds(&app).await;
}
