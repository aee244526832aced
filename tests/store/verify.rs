//! `log verify`: whole databases pass; a change to any table or to the log is named.

use super::support::{FILE, Place, apply, ask, ask_by, moved, noon, score, submit};
use jiff::SignedDuration;
use tallywright::rules::access::{Actor, Grant, Role};
use tallywright::rules::event::Extension;
use tallywright::rules::ledger::{Asked, Change, Precondition};
use tallywright::rules::life::{Decision, FlagReason, Move, Submit};
use tallywright::rules::roster::{EntryChange, EntryFacts};
use tallywright::store::Store;
use tallywright::words::Lang;

/// A competition in which something of everything happened.
async fn eventful() -> Place {
    let place = Place::with_entries(6).await;
    place.attested(1, "4+3").await;
    place.attested(2, "5+0").await;
    place.attested(3, "6+1").await;
    let video = Submit { video: Some("https://example.org/v/1".to_owned()), ..submit("3+0") };
    let flag = Move::Flag { reason: FlagReason::Count, note: "Looks short".to_owned(), withhold: true };
    let decision = Decision::Deduct { reps: Some(2), seconds: None, tiebreak: None, no_tiebreak: true };
    let rule = Move::Rule { decision, reason: "Two reps short".to_owned(), on_appeal: false };
    let extension = Extension {
        workout: "w1".to_owned(),
        gym: Some("milltown".to_owned()),
        region: None,
        closes: noon() + SignedDuration::from_hours(24 * 6),
        attest_by: noon() + SignedDuration::from_hours(24 * 7),
        taken_back: false,
    };
    let change =
        EntryChange { gym: Some("milltown".to_owned()), reason: "Moved house".to_owned(), ..EntryChange::default() };
    let hidden = EntryFacts { show_name: Some(false), ..EntryFacts::default() };
    let (name, email) = (Some("Somebody Else".to_owned()), Some("else@example.org".to_owned()));
    let facts = EntryFacts { name, email, ..hidden.clone() };
    let own =
        Grant { role: Role::Athlete, competition: Some("saltmarsh".to_owned()), gym: None, bib: Some(4), judge: None };
    let athlete = Actor { account: Some(9), grants: vec![own], ..Actor::default() };
    for asked in [
        moved("w1", 4, Move::Submit(video)),
        score("w2", 2, "100 kg", true),
        moved("w1", 2, flag),
        moved("w1", 2, rule),
        moved("w1", 5, Move::NotTakingPart),
        moved("w1", 6, Move::NotTakingPart),
        moved("w1", 6, Move::TakingPart),
        ask(Change::Extend { extension, reason: "Power cut".to_owned() }),
        ask(Change::MoveEntry { bib: 3, change, dry_run: false }),
        Asked { precondition: Precondition::Any, ..score("w1", 1, "4+9", false) },
        ask(Change::AmendEntry { bib: 5, facts }),
        ask_by(athlete, Change::AmendEntry { bib: 4, facts: hidden }),
        apply(&FILE.replace("Saltmarsh Series", "Saltmarsh Winter Series")),
    ] {
        place.submit(asked).await.unwrap();
    }
    place
}

#[tokio::test]
async fn an_eventful_log_and_its_tables_verify() {
    let place = eventful().await;
    assert_eq!(place.difference().await, None);
    let all = place.store.verify(None).await.unwrap();
    assert_eq!(all.len(), 1);
    let head = place.store.find_head(place.id().await).await.unwrap().unwrap();
    assert_eq!((all[0].records, all[0].root.as_str()), (head.seq, hex::encode(head.root).as_str()));
    assert_eq!(place.store.verify(Some("nowhere")).await.unwrap(), []);
}

/// What is done to a table, and what the difference then speaks of.
const TAMPERED: &[(&str, &str)] = &[
    // The log.
    (
        "UPDATE records SET bytes = CAST(replace(CAST(bytes AS TEXT), '4+3', '5+3') AS BLOB) WHERE CAST(bytes AS TEXT) LIKE '%4+3%'",
        "was altered",
    ),
    ("UPDATE records SET leaf = zeroblob(32) WHERE seq = 3", "Record 3 was altered"),
    ("UPDATE records SET at = at + 1 WHERE seq = 4", "instant"),
    ("UPDATE records SET action = 'ruled' WHERE seq = 4", "action"),
    ("UPDATE records SET subject = 'entry/1' WHERE seq = 2", "subject"),
    ("DELETE FROM records WHERE seq = 5", "Record 5 is missing"),
    ("DELETE FROM records WHERE seq = (SELECT MAX(seq) FROM records)", "last record"),
    // The head.
    ("UPDATE competitions SET seq = seq + 1", "last record"),
    ("UPDATE competitions SET at = at + 1", "instant"),
    ("UPDATE competitions SET last_bib = 7", "highest bib"),
    ("UPDATE competitions SET last_person = 70", "highest person"),
    ("UPDATE competitions SET last_note = 70", "highest note"),
    ("UPDATE competitions SET definition_seq = 1", "file in force"),
    ("UPDATE competitions SET definition = replace(definition, 'Winter', 'Summer')", "competitions"),
    ("UPDATE competitions SET root = zeroblob(32)", "root"),
    ("UPDATE competitions SET slug = 'another'", "see slug"),
    ("UPDATE competitions SET peaks = zeroblob(length(peaks))", "root"),
    // Keys below the first.
    (
        "INSERT INTO records SELECT competition, 0, at, action, subject, bytes, leaf FROM records WHERE seq = 1",
        "Record 1 is missing",
    ),
    (
        "INSERT INTO placements SELECT competition, -3, bib, workout, attempt, key, level, state, text, division, gym, country, region FROM placements WHERE bib = 3 AND workout = 'w1' LIMIT 1",
        "stands in the table placements",
    ),
    (
        "INSERT INTO scores SELECT competition, -1, workout, attempt, etag, state, placed, key, level, division, entry_gym, gym, sheet, judge, performed_at, grams, body, waits FROM scores WHERE bib = 3",
        "-1/w1/1 stands in the table scores",
    ),
    (
        "INSERT INTO scores SELECT competition, 0, '', attempt, etag, state, placed, key, level, division, entry_gym, gym, sheet, judge, performed_at, grams, body, waits FROM scores WHERE bib = 3",
        "stands in the table scores",
    ),
    (
        "INSERT INTO persons SELECT competition, -1, salt, folded_name, born, folded_email, body FROM persons WHERE id = 3",
        "-1 stands in the table persons",
    ),
    (
        "INSERT INTO notes SELECT competition, 0, salt, bib, public, text FROM notes WHERE id = 1",
        "0 stands in the table notes",
    ),
    ("UPDATE notes SET bib = 3 WHERE text = 'Power cut'", "text of note"),
    ("UPDATE placements SET country = 'ES' WHERE bib = 1 AND workout = ''", "see country"),
    ("UPDATE persons SET folded_email = '' WHERE id = 3", "facts of person"),
    // The tables.
    ("UPDATE gyms SET body = replace(body, 'PT', 'ES') WHERE slug = 'quayside'", "quayside of the table gyms"),
    ("DELETE FROM gyms WHERE slug = 'milltown'", "milltown is missing in the table gyms"),
    (
        "INSERT INTO gyms SELECT competition, 'another', body FROM gyms WHERE slug = 'quayside'",
        "another stands in the table gyms",
    ),
    ("UPDATE entries SET division = 'men' WHERE bib = 1", "see division"),
    ("UPDATE entries SET body = replace(body, 'women', 'men') WHERE bib = 1", "see body"),
    ("UPDATE entries SET show_name = FALSE WHERE bib = 1", "see show_name"),
    // Put right, and hidden by whose name it is.
    ("UPDATE entries SET show_name = TRUE WHERE bib = 4", "see show_name"),
    ("UPDATE persons SET folded_name = 'person 5' WHERE folded_name = 'somebody else'", "facts of person"),
    (
        "UPDATE records SET bytes = CAST(replace(CAST(bytes AS TEXT), '\"hidden\"', '\"shown\"') AS BLOB) WHERE CAST(bytes AS TEXT) LIKE '%entry_amended%'",
        "was altered",
    ),
    ("DELETE FROM entries WHERE bib = 6", "6 is missing in the table entries"),
    ("UPDATE judges SET gym = 'milltown' WHERE code = 'J-1'", "J-1 of the table judges"),
    (
        "UPDATE judges SET body = replace(body, '2027-12-31', '2028-12-31') WHERE code = 'J-1'",
        "J-1 of the table judges",
    ),
    ("UPDATE scores SET key = key - 1 WHERE bib = 3", "see key"),
    ("UPDATE scores SET state = 'attested' WHERE bib = 4", "see state"),
    ("UPDATE scores SET placed = TRUE WHERE bib = 4", "see placed"),
    ("UPDATE scores SET entry_gym = 'quayside' WHERE bib = 3", "see entry_gym"),
    ("UPDATE scores SET sheet = 'S9' WHERE bib = 3", "see sheet"),
    ("UPDATE scores SET judge = 'J-2' WHERE bib = 3", "see judge"),
    ("UPDATE scores SET grams = 90000 WHERE workout = 'w2'", "see grams"),
    ("UPDATE scores SET waits = waits + 1 WHERE bib = 3", "see waits"),
    ("UPDATE scores SET body = replace(body, '6+1', '7+1') WHERE bib = 3", "see body"),
    ("UPDATE scores SET etag = etag + 1 WHERE bib = 3", "see etag"),
    ("DELETE FROM scores WHERE bib = 4", "4/w1/1 is missing in the table scores"),
    (
        "INSERT INTO scores SELECT competition, 5, workout, attempt, etag, state, placed, key, level, division, entry_gym, gym, sheet, judge, performed_at, grams, body, waits FROM scores WHERE bib = 3",
        "5/w1/1 stands in the table scores",
    ),
    ("DELETE FROM not_taking_part", "5/w1 is missing in the table not_taking_part"),
    ("INSERT INTO not_taking_part VALUES (1, 6, 'w1')", "6/w1 stands in the table not_taking_part"),
    ("UPDATE extensions SET body = replace(body, 'milltown', 'quayside')", "table extensions"),
    ("DELETE FROM extensions", "table extensions"),
    ("UPDATE placements SET key = key + 1 WHERE bib = 3 AND workout = 'w1'", "table placements"),
    ("UPDATE placements SET division = 'men' WHERE bib = 1 AND workout = ''", "see division"),
    ("DELETE FROM placements WHERE bib = 2 AND workout = 'w2'", "missing in the table placements"),
    (
        "INSERT INTO placements SELECT competition, 1000, bib, workout, attempt, key, level, state, text, division, gym, country, region FROM placements WHERE bib = 3 AND workout = 'w1' LIMIT 1",
        "stands in the table placements",
    ),
    // What stands apart.
    ("UPDATE persons SET body = replace(body, 'Person 3', 'Person 4')", "facts of person"),
    ("UPDATE persons SET folded_name = 'somebody' WHERE id = 2", "facts of person 2"),
    ("UPDATE persons SET salt = zeroblob(32) WHERE id = 2", "facts of person 2"),
    ("DELETE FROM persons WHERE id = 3", "facts of person 3 are missing"),
    (
        "INSERT INTO persons SELECT competition, 999, salt, folded_name, born, folded_email, body FROM persons WHERE id = 3",
        "999 stands in the table persons",
    ),
    ("UPDATE notes SET text = 'Nothing' WHERE text = 'Two reps short'", "text of note"),
    ("UPDATE notes SET public = TRUE WHERE text = 'Looks short'", "text of note"),
    ("DELETE FROM notes WHERE text = 'Power cut'", "is missing"),
];

#[tokio::test]
async fn whatever_is_tampered_with_is_named() {
    let place = eventful().await;
    place.writer.stop().await;
    place.store.close().await;
    let mut faults = Vec::new();
    for (sql, about) in TAMPERED {
        let copy = place.database.copy();
        let changed = copy.raw().await.run(&tamper(sql, copy.is_served())).await.unwrap();
        let store = Store::open(&copy.url).await.unwrap();
        let found = store.verify(None).await;
        store.close().await;
        let said = match &found {
            Ok(found) => found[0].difference.as_ref().map(|d| d.say(Lang::En)).unwrap_or_default(),
            Err(error) => error.to_string(),
        };
        if changed == 0 || found.is_err() || !said.contains(about) {
            faults.push(format!("{sql}\n    changed {changed} rows, expected {about:?}, said {said:?}"));
        }
    }
    assert!(faults.is_empty(), "{}", faults.join("\n"));
}

/// Bytes are written otherwise on a server; and no reference is to keep us from anything.
fn tamper(sql: &str, served: bool) -> String {
    if !served {
        return format!("PRAGMA foreign_keys = OFF; {sql}");
    }
    let bytes = [("CAST(bytes AS TEXT)", "convert_from(bytes, 'UTF8')"), ("CAST(replace(", "convert_to(replace(")];
    let sql = bytes.iter().fold(sql.replace(" AS BLOB)", ", 'UTF8')"), |sql, (from, to)| sql.replace(from, to));
    let zeros = "decode(repeat('00', 32), 'hex')";
    let sql = sql
        .replace("zeroblob(32)", zeros)
        .replace("zeroblob(length(peaks))", "decode(repeat('00', length(peaks)), 'hex')");
    format!("SET session_replication_role = replica; {sql}")
}
