//! Somebody of another gym in a gym's heats: a lane by the bib, with judge and start filled in, on the list
//! that is printed, and with a sheet.

use crate::support::{Client, Reply, SALTMARSH, TestApp};
use tallywright::rules::access::{Grant, Role};

const HEATS: &str = "/desk/saltmarsh/quayside/heats/w1";
/// Two lanes from eleven on, which is an hour ago: 1042 and 1043, then 1044.
const MAKE: &str = "do=make&version=0&lanes=2&minutes=20&start=2027-01-14T11:00&judging=judges";
/// The gym's own places as they were made, but for the judge of the second heat.
const OWN: &str = "heat-1042=1&lane-1042=1&judge-1042=J-1&heat-1043=1&lane-1043=2&heat-1044=2&lane-1044=1";
const VISITOR: &str = "visitor_bib=%232001&visitor_heat=2&visitor_lane=2&visitor_judge=J-1";

struct Staff {
    client: Client,
    csrf: String,
}

impl Staff {
    /// Of Quayside, whose heats are made.
    async fn of(app: &TestApp) -> Self {
        let client = app.in_browser(&app.staff_of("quayside").await).await;
        let csrf = client.get("/account").await.csrf();
        let staff = Self { client, csrf };
        assert_eq!(staff.post(MAKE).await.status.as_u16(), 303);
        staff
    }

    async fn post(&self, form: &str) -> Reply {
        let form = format!("{}&csrf={}", form.replace(' ', "+"), self.csrf);
        self.client.post(HEATS).body("application/x-www-form-urlencoded", form).await
    }

    /// The first change of the heats.
    async fn change(&self, fields: &str) -> Reply {
        self.post(&format!("do=change&version=1&{fields}")).await
    }

    async fn text(&self, address: &str) -> String {
        self.client.get(address).accept("text/html").await.plain()
    }
}

#[tokio::test]
async fn a_visitor_gets_a_lane_by_the_bib_with_judge_and_start_filled_in() {
    let app = TestApp::new().await;
    let staff = Staff::of(&app).await;
    let change = format!("{OWN}&{VISITOR}");
    // A second tap finds it done.
    for _ in 0..2 {
        assert_eq!(staff.change(&change).await.status.as_u16(), 303);
    }
    let page = staff.text(HEATS).await;
    let second = page.split_once("Heat 2").expect("a second heat").1;
    assert!(second.contains("Noor de Wit") && second.contains("2001 · from another gym"), "{page}");
    assert!(!page.contains("1042 · from another gym"), "{page}");
    let paper = staff.text(&format!("{HEATS}/paper")).await;
    let second = paper.split_once("Heat 2").expect("a second heat").1;
    assert!(second.contains("Noor de Wit") && second.contains("2001 (from another gym)"), "{paper}");
    let sheets = staff.text("/c/saltmarsh/workouts/w1/sheet?gym=quayside").await;
    let sheet = sheets.split("<article ").find(|sheet| sheet.contains("<dd>Noor de Wit</dd>")).expect("a sheet");
    let filled = ["<dd>Vera Lopes (J-1)</dd>", "<dd>11:20 ", "<dt>Heat</dt><dd>2</dd>", "<dt>Lane</dt><dd>2</dd>"];
    for field in filled {
        assert!(sheet.contains(field), "{field} in {sheet}");
    }
    // Of another division than is asked for there is no sheet.
    let men = staff.text("/c/saltmarsh/workouts/w1/sheet?gym=quayside&division=men").await;
    assert!(men.contains("Tomás Brito") && !men.contains("Noor de Wit"), "{men}");
    let form = staff.text("/desk/saltmarsh/quayside/w1/2001").await;
    assert!(form.contains("value=\"J-1\" autocomplete") && form.contains("value=\"2027-01-14T11:20\""), "{form}");
    let judge = app.in_browser(&app.judge("J-1").await).await;
    let lanes = judge.get("/judge/saltmarsh").accept("text/html").await.plain();
    assert!(lanes.contains("heat 2, lane 2") && lanes.contains("Noor de Wit"), "{lanes}");
}

/// On the list of what is left, though nobody of the gym is missing by it.
#[tokio::test]
async fn the_desk_has_a_row_for_a_visitor_with_a_lane_until_a_result_is_stored() {
    let app = TestApp::new().await;
    let staff = Staff::of(&app).await;
    let before = staff.text("/desk/saltmarsh/quayside").await;
    assert!(!before.contains("id=\"r-w1-2001\""), "{before}");
    staff.change(&format!("{OWN}&{VISITOR}")).await;
    let page = staff.text("/desk/saltmarsh/quayside").await;
    let row = page.split_once("id=\"r-w1-2001\"").expect("a row").1.split_once("</li>").expect("its end").0;
    for said in ["from another gym", "heat 2, lane 2", "value=\"Vera Lopes (J-1)\"", "value=\"2027-01-14T11:20\""] {
        assert!(row.contains(said), "{said} in {row}");
    }
    let counts = |page: &str| -> String {
        let rest = page.split_once("class=\"lead summary\">").expect("the counts").1;
        rest.split_once("</p>").expect("their end").0.to_owned()
    };
    assert_eq!(counts(&page), counts(&before));
    assert!(!staff.text("/desk/saltmarsh/quayside/missing").await.contains("Noor de Wit"));
    let fields = [
        ("performance", "5+10 tb 11:02"),
        ("judge", "Vera Lopes (J-1)"),
        ("how", "paper_sheet"),
        ("performed_at", "2027-01-14T11:20"),
        ("csrf", &staff.csrf),
    ];
    staff.client.post("/desk/saltmarsh/quayside/w1/2001").form(&fields).await.expect(303);
    let stored = app.nobody().get("/api/v1/competitions/saltmarsh/workouts/w1/scores/2001").await.expect(200).json();
    assert_eq!((&stored["gym"], &stored["performed_at"]), (&"quayside".into(), &"2027-01-14T11:20:00Z".into()));
    assert_eq!(staff.text("/desk/saltmarsh/quayside").await.matches("id=\"r-w1-2001\"").count(), 1);
}

#[tokio::test]
async fn made_anew_the_heats_keep_their_visitors_and_an_empty_heat_takes_them_out() {
    let app = TestApp::new().await;
    let staff = Staff::of(&app).await;
    staff.change(&format!("{OWN}&{VISITOR}")).await;
    let again = MAKE.replace("version=0", "version=2&sure=yes").replace("lanes=2", "lanes=4");
    assert_eq!(staff.post(&again).await.status.as_u16(), 303);
    let page = staff.text(HEATS).await;
    assert!(page.contains("2001 · from another gym") && !page.contains("Heat 2"), "{page}");
    let row = "was-2001=1 4 &heat-2001=&lane-2001=4&judge-2001=";
    let own = "was-1042=1 1 J-1&heat-1042=1&lane-1042=1&judge-1042=J-1";
    assert_eq!(staff.post(&format!("do=change&version=3&{own}&{row}")).await.status.as_u16(), 303);
    let page = staff.text(HEATS).await;
    assert!(page.contains("Ines Duarte") && !page.contains("Noor de Wit"), "{page}");
}

#[tokio::test]
async fn a_visitor_who_cannot_be_is_told_beside_the_field_and_what_was_typed_stays() {
    let app = TestApp::new().await;
    let staff = Staff::of(&app).await;
    let shown = "was-1042=1 1 J-1&heat-1042=1&lane-1042=1&judge-1042=J-1";
    for (typed, field, said) in [
        (
            "visitor_bib=999&visitor_heat=2&visitor_lane=2",
            "visitor_bib",
            "Nobody of another gym who takes part has bib 999",
        ),
        ("visitor_bib=nobody&visitor_heat=2&visitor_lane=2", "visitor_bib", "Nobody here has bib nobody"),
        ("visitor_bib=1042&visitor_heat=2&visitor_lane=2", "visitor_bib", "in the list above"),
        ("visitor_heat=2", "visitor_bib", "Write the bib"),
        ("visitor_bib=2001&visitor_lane=2", "visitor_heat", "Write the heat too"),
        ("visitor_bib=2001&visitor_heat=1&visitor_lane=1", "visitor_lane", "Lane 1 of heat 1"),
        ("visitor_bib=2001&visitor_heat=2&visitor_lane=9", "visitor_lane", "lanes are 1 to 2"),
        ("visitor_bib=2001&visitor_heat=two&visitor_lane=1", "visitor_heat", "number"),
        ("visitor_bib=2001&visitor_heat=2&visitor_lane=2&visitor_judge=J-99", "visitor_judge", "no judge J-99"),
    ] {
        let reply = staff.change(&format!("{shown}&{typed}")).await;
        let page = reply.plain();
        assert_eq!(reply.status.as_u16(), 422, "{typed}: {page}");
        let beside =
            page.split_once(&format!("id=\"{field}-error-1\">")).unwrap_or_else(|| panic!("{field}: {page}")).1;
        assert!(beside.split_once("</p>").is_some_and(|(text, _)| text.contains(said)), "{said} in {beside}");
        for pair in typed.split('&') {
            let (name, value) = pair.split_once('=').expect("a field");
            let kept = page.split_once(&format!("name=\"{name}\"")).expect("the field").1;
            let kept = kept.split_once('>').expect("its end").0;
            assert!(kept.contains(&format!("value=\"{value}\"")), "{pair} in {kept}");
        }
    }
}

#[tokio::test]
async fn a_hidden_name_stays_hidden_in_another_gyms_heats_and_nobody_counts_for_themselves_there() {
    let app = TestApp::new().await;
    let staff = Staff::of(&app).await;
    let hidden = "bib,name,born,category,division,gym,show_name\n2001,Noor de Wit,1988-07-09,women,women,millpond,no\n";
    let told =
        app.organiser().await.post("/api/v1/competitions/saltmarsh/entries").csv(hidden).await.expect(200).json();
    assert_eq!(told["refused"], 0, "{told}");
    let grant = |role, bib, judge: Option<&str>| Grant {
        role,
        competition: Some(SALTMARSH.into()),
        gym: None,
        bib,
        judge: judge.map(Into::into),
    };
    let grants = [grant(Role::Athlete, Some(2001), None), grant(Role::Judge, None, Some("J-2"))];
    app.db_account("noor@example.org", None, &grants).await;
    // On the floor now, and so on the wall.
    let visitor = VISITOR.replace("visitor_heat=2", "visitor_heat=4");
    let own = staff.change(&format!("{OWN}&{}", visitor.replace("J-1", "J-2"))).await;
    assert_eq!(own.status.as_u16(), 422);
    assert!(own.plain().contains("Nobody attests their own performance"), "{}", own.plain());
    assert_eq!(staff.change(&format!("{OWN}&{visitor}")).await.status.as_u16(), 303);
    for address in [
        HEATS.to_owned(),
        format!("{HEATS}/paper"),
        "/c/saltmarsh/workouts/w1/sheet?gym=quayside".to_owned(),
        "/desk/saltmarsh/quayside".to_owned(),
        "/desk/saltmarsh/quayside/wall?show=w1".to_owned(),
    ] {
        let page = staff.text(&address).await;
        assert!(page.contains("Athlete 2001") && !page.contains("Noor"), "{address}: {page}");
    }
}
