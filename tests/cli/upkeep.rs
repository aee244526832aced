//! The log worked out again, handed out, and copies.

use super::support::Folder;
use serde_json::Value;

fn scored() -> Folder {
    let folder = Folder::with_people();
    folder.write("w1.csv", "bib,performance,judge\n1042,6+14 tb 11:24,J-0101\n1043,6+14 tb 11:20,J-0101\n");
    folder.run(&["scores", "import", "w1.csv", "--competition", "saltmarsh", "--workout", "w1"]).done();
    folder
}

#[test]
fn the_log_is_worked_out_again_and_agrees() {
    let folder = scored();
    let said = folder.run(&["log", "verify"]).done();
    assert!(said.starts_with("saltmarsh: ") && said.contains("tables as the log says"), "{said}");
    let json: Value = serde_json::from_str(&folder.run(&["log", "verify", "--json"]).done()).unwrap();
    assert_eq!(json[0]["difference"], Value::Null, "{json}");
    assert!(folder.run(&["log", "verify", "--competition", "none"]).refused().contains("none"));
}

#[tokio::test]
async fn a_figure_changed_behind_the_log_is_found() {
    let folder = scored();
    let path = folder.path().join("tallywright.db");
    let pool = sqlx::SqlitePool::connect(&format!("sqlite://{}", path.display())).await.unwrap();
    let changed = sqlx::query("UPDATE scores SET key = key - 1 WHERE bib = 1042").execute(&pool).await.unwrap();
    assert_eq!(changed.rows_affected(), 1);
    pool.close().await;
    let ran = folder.run(&["log", "verify"]);
    assert_eq!(ran.out, "");
    let said = ran.refused();
    assert!(said.contains("first difference") && said.contains("1042"), "{said}");
}

#[test]
fn the_log_is_handed_out_one_record_a_line_without_personal_data() {
    let folder = scored();
    let all = folder.run(&["log", "export", "--competition", "saltmarsh"]).done();
    let records: Vec<Value> = all.lines().map(|l| serde_json::from_str(l).unwrap()).collect();
    assert!(records.iter().enumerate().all(|(n, r)| r["seq"] == n as u64 + 1), "no gaps");
    assert_eq!(records.iter().filter(|r| r["action"] == "submitted").count(), 2);
    for personal in ["Ines", "Duarte", "1997-03-04", "Vera Lobo"] {
        assert!(!all.contains(personal), "{personal} is in the log");
    }
    let later = folder.run(&["log", "export", "--competition", "saltmarsh", "--after", "3"]).done();
    assert_eq!(later.lines().count(), records.len() - 3);
    assert!(!folder.run(&["log", "export", "--competition", "none"]).refused().is_empty());
}

#[test]
fn a_backup_is_verified_and_opens_as_a_database() {
    let folder = scored();
    let said = folder.run(&["backup", "copy.db"]).done();
    assert!(said.starts_with("saltmarsh: "), "{said}");
    let of = ["standings", "--competition", "saltmarsh", "--division", "women"];
    let copy = folder.run(&[&["--database", "sqlite://copy.db"], &of[..]].concat()).done();
    assert_eq!(copy, folder.run(&of).done());
    assert!(folder.run(&["backup", "copy.db"]).refused().contains("is there already"), "a copy is never written over");
}
