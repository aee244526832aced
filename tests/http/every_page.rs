//! Every page with people, gyms and texts that are meant to break it, and with ten thousand
//! entries: nothing of theirs comes out as HTML, each stands in a direction of its own, and no
//! page grows past what a phone takes on a bad network.
//!
//! The pages are those of the router's own list; one without a line here fails.

use crate::support::{Client, SALTMARSH, TestApp, grant};
use std::collections::BTreeSet;
use std::fmt::Write as _;
use std::time::Instant;
use tallywright::rules::access::{Grant, Role};

const C: &str = "/api/v1/competitions/saltmarsh";
/// What every hostile text has in it, to be found again.
const MARK: &str = "Zyxo";
/// HTML that must not come out as such.
const HTML: &str = "<script>alert('x')</script>\"'&<img src=x onerror=1>";
/// Two directions in one name.
const BIDI: &str = "\u{5e9}\u{5dc}\u{5d5}\u{5dd} \u{627}\u{644}\u{633}\u{644}\u{627}\u{645}";
/// Wider than any screen.
const LONG: &str = "Maximiliana-Theodora Wolkenstein-Hohenfeldern-Aurbacher de Vasconcelos e Sousa";
/// Most bytes of a page, packed.
const HEAVIEST: usize = 60_000;
/// Most bytes of a page with its scripts and styles: what a phone fetches the first time.
const WHOLE: usize = 60_000;

/// Every page: who looks, and the address. `GYM` is the large gym, `BIB` one of its entries.
#[rustfmt::skip]
pub const PAGES: &[(Who, &str)] = &[
    (Who::Nobody, "/"),
    (Who::Nobody, "/c/saltmarsh"),
    (Who::Nobody, "/c/saltmarsh/workouts/w1"),
    (Who::Nobody, "/c/saltmarsh/workouts/w1/sheet"),
    (Who::Nobody, "/c/saltmarsh/divisions/women"),
    (Who::Nobody, "/c/saltmarsh/divisions/women?gym=quayside"),
    (Who::Nobody, "/c/saltmarsh/divisions/women/workouts/w1"),
    (Who::Nobody, "/c/saltmarsh/athletes/1042"),
    (Who::Nobody, "/signin"),
    (Who::Nobody, "/signin/link?code=abc"),
    (Who::Nobody, "/signin/forgotten"),
    (Who::Nobody, "/claim?c=saltmarsh"),
    (Who::Nobody, "/desk/saltmarsh/quayside/wall"),
    (Who::Nobody, "/desk/saltmarsh/quayside/wall?show=w1"),
    (Who::Nobody, "/api"),
    (Who::Nobody, "/problems/invalid"),
    (Who::Athlete, "/account"),
    (Who::Athlete, "/c/saltmarsh/athletes/1042"),
    (Who::Athlete, "/c/saltmarsh/athletes/1042/workouts/w1"),
    (Who::Staff, "/desk/saltmarsh/quayside"),
    (Who::Staff, "/c/saltmarsh/workouts/w1/sheet?gym=quayside"),
    (Who::Staff, "/desk/saltmarsh/quayside/codes"),
    (Who::Staff, "/desk/saltmarsh/quayside/proposals"),
    (Who::Staff, "/desk/saltmarsh/quayside/file"),
    (Who::Staff, "/desk/saltmarsh/quayside/heats/w1"),
    (Who::Staff, "/desk/saltmarsh/quayside/heats/w1/paper"),
    (Who::Staff, "/desk/saltmarsh/quayside/receipt"),
    (Who::Staff, "/desk/saltmarsh/quayside/missing"),
    (Who::Staff, "/desk/saltmarsh/quayside/w1/1042"),
    (Who::Staff, "/desk/saltmarsh/quayside/w1/1043"),
    (Who::Judge, "/judge/saltmarsh"),
    (Who::Referee, "/referee"),
    (Who::Referee, "/referee/saltmarsh/w1/1042"),
    (Who::Organiser, "/organise"),
    (Who::OrganiserOfAll, "/new-competition"),
    (Who::Organiser, "/organise/saltmarsh"),
    (Who::Organiser, "/organise/saltmarsh/missing?workout=w1"),
    (Who::Organiser, "/organise/saltmarsh/missing?workout=w1&gym=quayside"),
    (Who::Organiser, "/organise/saltmarsh/file"),
    (Who::Organiser, "/organise/saltmarsh/lists/entries"),
    (Who::Organiser, "/organise/saltmarsh/lists/gyms"),
    (Who::Organiser, "/organise/saltmarsh/lists/judges"),
    (Who::Organiser, "/organise/saltmarsh/entries/1042"),
    (Who::Organiser, "/organise/saltmarsh/codes"),
    (Who::Organiser, "/organise/saltmarsh/people"),
    (Who::Organiser, "/organise/saltmarsh/proposals"),
];

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Who {
    Nobody,
    Athlete,
    Judge,
    Staff,
    Referee,
    Organiser,
    OrganiserOfAll,
}

impl Who {
    async fn browser(self, app: &TestApp) -> Client {
        let role = |role| grant(role, Some(SALTMARSH));
        let of = |email: &str, grant: Grant| (email.to_owned(), grant);
        let (email, grant) = match self {
            Self::Nobody => return app.nobody(),
            Self::Athlete => of("athlete@example.org", Grant { bib: Some(1042), ..role(Role::Athlete) }),
            Self::Staff => of("staff@example.org", Grant { gym: Some("quayside".to_owned()), ..role(Role::Staff) }),
            Self::Judge => of("judge@example.org", Grant { judge: Some("J-1".to_owned()), ..role(Role::Judge) }),
            Self::Referee => of("referee@example.org", role(Role::Referee)),
            Self::Organiser => of("organiser@example.org", role(Role::Organiser)),
            Self::OrganiserOfAll => of("all@example.org", grant(Role::Organiser, None)),
        };
        app.browser(&email, &[grant]).await
    }
}

#[test]
fn every_page_of_the_router_is_looked_at() {
    let files = |path: &str| {
        path.starts_with("/static/") || [".csv", ".ics", ".json", ".toml"].iter().any(|ending| path.ends_with(ending))
    };
    let wanted = tallywright::web::pages::ROUTES.iter().filter(|(method, path)| *method == "GET" && !files(path));
    let fits = |address: &str, pattern: &str| {
        let address = address.split('?').next().unwrap_or_default();
        let (a, p): (Vec<_>, Vec<_>) = (address.split('/').collect(), pattern.split('/').collect());
        a.len() == p.len() && a.iter().zip(&p).all(|(a, p)| p.starts_with('{') || a == p)
    };
    let missing: BTreeSet<&str> =
        wanted.map(|(_, path)| *path).filter(|path| !PAGES.iter().any(|(_, address)| fits(address, path))).collect();
    assert!(missing.is_empty(), "pages without a line in PAGES: {missing:?}");
}

/// A CSV field.
fn field(text: &str) -> String {
    format!("\"{}\"", text.replace('"', "\"\""))
}

/// Everybody and everything in the competition is called something hostile.
async fn hostile() -> TestApp {
    let app = TestApp::new().await;
    let organiser = app.organiser().await;
    let send = async |list: &str, csv: String| {
        let told = organiser.post(&format!("{C}/{list}")).csv(&csv).await.expect(200).json();
        assert_eq!(told["refused"], 0, "{told}");
    };
    let gyms = format!(
        "slug,name,country,region,contact,email\nquayside,{},PT,{},{},gym@example.org\nmillpond,{},PT,,,\n",
        field(&format!("{MARK} gym {HTML}")),
        field(&format!("{MARK} region {BIDI}")),
        field(&format!("{MARK} contact {HTML}")),
        field(&format!("{MARK} {LONG}")),
    );
    send("gyms", gyms).await;
    let mut entries = "bib,name,born,category,division,gym,show_name\n".to_owned();
    for (bib, name) in [(1042, HTML), (1043, BIDI), (1045, LONG), (1046, "1 2 3")] {
        let name = field(&format!("{MARK} {name}"));
        let _ = writeln!(entries, "{bib},{name},1996-04-02,women,women,quayside,yes");
    }
    send("entries", entries).await;
    let judge = field(&format!("{MARK} judge {HTML}"));
    send("judges", format!("code,name,gym,valid_from,valid_to\nJ-1,{judge},quayside,2026-01-01,2027-12-31\n")).await;
    let scores = "bib,performance,judge\n1042,6+14 tb 11:24,J-1\n1045,6+12 tb 11:20,\n".to_owned();
    let staff = app.staff_of("quayside").await;
    staff.post(&format!("{C}/workouts/w1/scores")).csv(&scores).await.expect(200);
    let score = format!("{C}/workouts/w1/scores/1042");
    let etag = app.nobody().get(&score).await.expect(200).json()["etag"].as_str().expect("an etag").to_owned();
    let flag = serde_json::json!({ "reason": "count", "note": format!("{MARK} note {HTML}") });
    app.referee().await.post(&format!("{score}/flags")).if_match(&etag).json(flag).await.expect(200);
    app
}

/// Elements whose text has a direction of its own already, or in which no element may stand.
const APART: [&str; 4] = ["bdi", "title", "option", "textarea"];

/// Texts with the mark that stand in no element of [`APART`], with what is around them. What is only
/// read aloud has no direction.
fn loose(page: &str) -> Vec<String> {
    let (mut depth, mut found) = (0_usize, Vec::new());
    for piece in page.split('<').skip(1) {
        let Some((tag, text)) = piece.split_once('>') else { continue };
        let name = tag.trim_start_matches('/').split([' ', '\n', '/']).next().unwrap_or_default();
        if APART.contains(&name) {
            depth = if tag.starts_with('/') { depth.saturating_sub(1) } else { depth + 1 };
        }
        if depth == 0 && text.contains(MARK) && !tag.contains("class=\"hidden\"") {
            found.push(format!("<{tag}>{}", text.trim()));
        }
    }
    found
}

#[tokio::test]
async fn hostile_names_come_out_as_text_in_a_direction_of_their_own() {
    let app = hostile().await;
    let (mut wrong, mut named) = (Vec::new(), 0);
    for (who, address) in PAGES {
        let page = who.browser(&app).await.get(address).accept("text/html").await.expect(200).text();
        named += page.matches(MARK).count();
        for forbidden in ["<script>alert", "onerror=1>", "<img src=x"] {
            assert!(!page.contains(forbidden), "{forbidden} on {address} as {who:?}");
        }
        wrong.extend(loose(&page).into_iter().map(|text| format!("{address} as {who:?}: {text}")));
    }
    assert!(named > 100, "only {named} hostile texts: are they on the pages at all?");
    assert!(wrong.is_empty(), "{} outside <bdi>:\n{}", wrong.len(), wrong.join("\n"));
}

/// Bytes of the scripts, styles and pictures that a page names, and of what those import, packed.
async fn parts(app: &TestApp, page: &str) -> usize {
    let named = |text: &str| -> Vec<String> {
        let names = text
            .split("/static/")
            .skip(1)
            .map(|rest| rest.split(|c: char| !(c.is_ascii_alphanumeric() || "._-/".contains(c))).next());
        names.flatten().filter(|name| name.contains('.')).map(str::to_owned).collect()
    };
    let packed = app.nobody().with(http::header::ACCEPT_ENCODING, "br");
    let (mut seen, mut open, mut sum) = (BTreeSet::new(), named(page), 0);
    while let Some(name) = open.pop() {
        if seen.insert(name.clone()) {
            sum += packed.get(&format!("/static/{name}")).await.expect(200).body.len();
            if name.rsplit_once('.').is_some_and(|(_, kind)| kind == "js") {
                let text = app.nobody().get(&format!("/static/{name}")).await.expect(200).text();
                open.extend(named(&text));
            }
        }
    }
    sum
}

#[tokio::test]
async fn ten_thousand_entries_make_no_page_too_heavy() {
    let app = TestApp::new().await;
    let organiser = app.organiser().await;
    let mut gyms = "slug,name,country\n".to_owned();
    for n in 0..200 {
        let _ = writeln!(gyms, "hall-{n},Hall number {n} of the long coast road,PT");
    }
    organiser.post(&format!("{C}/gyms")).csv(&gyms).await.expect(200);
    let mut entries = "bib,name,born,category,division,gym\n".to_owned();
    for n in 0..10_000_u32 {
        // A large gym of three hundred, the others of fifty.
        let gym = if n < 300 { "quayside".to_owned() } else { format!("hall-{}", n % 200) };
        let (first, second) = (n.wrapping_mul(2_654_435_761) % 9973, n.wrapping_mul(40_503) % 8191);
        let _ = writeln!(entries, "{},Name{first:04} Family{second:04},1996-04-02,women,women,{gym}", 10_000 + n);
    }
    let told = organiser.post(&format!("{C}/entries")).csv(&entries).await.expect(200).json();
    assert_eq!(told["taken"], 10_000, "{told}");
    let mut scores = "bib,performance\n1042,6+14 tb 11:24\n".to_owned();
    for n in 0..150_u32 {
        let _ = writeln!(scores, "{},{}+{} tb 11:{:02}", 10_000 + n, 3 + n % 5, n % 44, n % 60);
    }
    let staff = app.staff_of("quayside").await;
    staff.post(&format!("{C}/workouts/w1/scores")).csv(&scores).await.expect(200);
    let mut heavy = Vec::new();
    for (who, address) in PAGES {
        let browser = who.browser(&app).await.with(http::header::ACCEPT_ENCODING, "br");
        let started = Instant::now();
        let reply = browser.get(address).accept("text/html").await.expect(200);
        let parts =
            parts(&app, &who.browser(&app).await.get(address).accept("text/html").await.expect(200).text()).await;
        let whole = reply.body.len() + parts;
        // Printed, not held against a limit: this is the unoptimised build, on whatever machine.
        let took = started.elapsed().as_millis();
        println!("{:>7} bytes, {whole:>7} with all it needs {took:>5} ms  {address} as {who:?}", reply.body.len());
        if reply.body.len() >= HEAVIEST {
            heavy.push(format!("{} bytes: {address} as {who:?}", reply.body.len()));
        }
        // The viewer of the API is somebody else's work, and for programmers.
        if whole >= WHOLE && *address != "/api" {
            heavy.push(format!("{whole} bytes with scripts and styles: {address} as {who:?}"));
        }
    }
    assert!(heavy.is_empty(), "{}", heavy.join("\n"));
}
