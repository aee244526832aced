//! Accounts and tokens from the command line.

use super::support::Folder;
use serde_json::Value;

#[test]
fn without_a_password_a_sign_in_link_is_the_result() {
    let folder = Folder::with_people();
    let ran = folder.run(&[
        "account",
        "add",
        "office@series.example",
        "--role",
        "organiser",
        "--public-url",
        "https://scores.example/",
    ]);
    assert!(ran.err.contains("office@series.example"), "{}", ran.err);
    let link = ran.done();
    assert!(link.starts_with("https://scores.example/signin/link?code="), "{link}");
    assert_eq!(link.lines().count(), 1, "a program can read it");
}

#[test]
fn a_password_comes_from_standard_input_and_is_not_said_again() {
    let folder = Folder::with_people();
    let args = [
        "account",
        "add",
        "desk@quayside.example",
        "--role",
        "staff",
        "--gym",
        "quayside",
        "--competition",
        "saltmarsh",
        "--password-stdin",
    ];
    let ran = folder.run_with(&args, "tide tables and rope\n");
    assert!(!ran.err.contains("tide tables") && !ran.out.contains("tide tables"));
    assert_eq!(ran.done().trim().parse::<i64>().ok().map(|n| n > 0), Some(true));
    assert!(folder.run_with(&args, "").refused().contains("one line"));
}

#[test]
fn a_second_role_goes_to_the_same_account() {
    let folder = Folder::with_people();
    let add = |role: &str| {
        let json = folder.run(&["account", "add", "vera@series.example", "--role", role, "--json"]).done();
        serde_json::from_str::<Value>(&json).unwrap()
    };
    let (first, second) = (add("organiser"), add("referee"));
    assert_eq!((first["created"].as_bool(), second["created"].as_bool()), (Some(true), Some(false)));
    assert_eq!(first["account"], second["account"]);
}

#[test]
fn what_is_wrong_with_an_account_is_refused() {
    let folder = Folder::with_people();
    assert!(!folder.run(&["account", "add", "not an address", "--role", "organiser"]).refused().is_empty());
    let short =
        folder.run_with(&["account", "add", "a@b.example", "--role", "organiser", "--password-stdin"], "short\n");
    assert!(!short.refused().is_empty());
}

#[test]
fn a_token_stands_alone_on_standard_output_and_can_be_revoked_once() {
    let folder = Folder::with_people();
    folder.run(&["account", "add", "office@series.example", "--role", "organiser"]).done();
    let ran = folder.run(&["token", "issue", "office@series.example", "--days", "7"]);
    assert!(ran.err.contains("Token "), "{}", ran.err);
    let token = ran.done();
    assert_eq!(token.lines().count(), 1);
    assert!(token.trim().len() >= 43, "at least 256 bits: {token}");
    let json = folder.run(&["token", "issue", "office@series.example", "--json"]).done();
    let json: Value = serde_json::from_str(&json).unwrap();
    let id = json["id"].as_i64().unwrap().to_string();
    folder.run(&["token", "revoke", &id]).done();
    assert!(!folder.run(&["token", "revoke", "99999"]).refused().is_empty());
}

#[test]
fn a_token_for_nobody_is_refused() {
    let folder = Folder::with_people();
    assert!(!folder.run(&["token", "issue", "nobody@series.example"]).refused().is_empty());
    folder.run(&["token", "issue", "nobody@series.example", "--days", "0"]).misused();
}
