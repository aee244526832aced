//! Accounts, roles, sessions, tokens and links.

use super::support::{Place, account};
use jiff::SignedDuration;
use tallywright::rules::access::{Act, Actor, Grant, Role, permit};
use tallywright::store::StoreError;
use tallywright::store::accounts::{Added, NewAccount};
use tallywright::store::ways_in::{NewSession, Owner, UsedClaim};

fn grant(role: Role, competition: Option<&str>) -> Grant {
    Grant { role, competition: competition.map(str::to_owned), gym: None, bib: None, judge: None }
}

#[tokio::test]
async fn an_address_is_taken_once_however_it_is_written() {
    let place = Place::new().await;
    let now = place.clock.now();
    let id = account(&place.store, "Ines@Example.org", Some("$argon2id$…")).await;
    assert_eq!(account(&place.store, "INES@example.org", None).await, id);
    let found = place.store.find_account_by_email("ines@example.org").await.unwrap().unwrap();
    assert_eq!((found.id, found.email.as_str(), found.created_at), (id, "Ines@Example.org", now));
    assert_eq!(place.store.find_account(id).await.unwrap(), Some(found));
    place.store.change_password(id, None, None).await.unwrap();
    assert_eq!(place.store.find_account(id).await.unwrap().unwrap().password_hash, None);
}

/// The role, the link and the account: where one of them cannot be, none is.
#[tokio::test]
async fn an_account_is_added_with_all_that_goes_with_it_or_not_at_all() {
    let place = Place::new().await;
    let (store, now) = (&place.store, place.clock.now());
    let day = SignedDuration::from_hours(24);
    let roles = [grant(Role::Organiser, None)];
    let new = NewAccount {
        email: "a@b",
        folded_email: "a@b",
        password_hash: None,
        grants: &roles,
        link: Some((&[5; 32], now + day)),
    };
    let mut raw = place.raw().await;
    raw.run("ALTER TABLE links RENAME TO elsewhere").await.unwrap();
    store.add_account(new, now, |_| false).await.unwrap_err();
    raw.run("ALTER TABLE elsewhere RENAME TO links").await.unwrap();
    assert_eq!(store.find_account_by_email("a@b").await.unwrap(), None);
    let Added::Done { account, created: true, linked: true } = store.add_account(new, now, |_| false).await.unwrap()
    else {
        panic!("it is new")
    };
    // Who is there already has the role, and no second link.
    let again = NewAccount { link: Some((&[6; 32], now + day)), ..new };
    let known = store.add_account(again, now, |_| false).await.unwrap();
    assert_eq!(known, Added::Done { account, created: false, linked: false });
    assert_eq!(store.list_grants_of(account).await.unwrap().len(), 1);

    // Nobody has vouched for it: who may not reach all that it is, gets nothing and takes nothing.
    raw.run("UPDATE accounts SET confirmed = 0, password_hash = 'theirs'").await.unwrap();
    let more = [grant(Role::Referee, Some("saltmarsh"))];
    let again = NewAccount { grants: &more, ..again };
    let mut held = Vec::new();
    let refused = store.add_account(again, now, |roles| {
        held = roles.to_vec();
        false
    });
    assert_eq!(refused.await.unwrap(), Added::OutOfReach);
    assert_eq!(held, roles);
    let there = store.find_account(account).await.unwrap().unwrap();
    assert_eq!((there.password_hash.as_deref(), there.confirmed), (Some("theirs"), false));
    assert_eq!(store.list_grants_of(account).await.unwrap().len(), 1);
    let taken = store.add_account(again, now, |_| true).await.unwrap();
    assert_eq!(taken, Added::Done { account, created: false, linked: true });
    let there = store.find_account(account).await.unwrap().unwrap();
    assert_eq!((there.password_hash, there.confirmed), (None, true));
    let session = |hash| NewSession { hash, device: "", expires: now + day };
    assert_eq!(
        store.sign_in_by_link(&[5; 32], session(&[1; 32]), now, now).await.unwrap(),
        None,
        "whoever made it had it"
    );
    assert_eq!(store.sign_in_by_link(&[6; 32], session(&[2; 32]), now, now).await.unwrap(), Some(account));
}

#[tokio::test]
async fn roles_are_added_once_and_taken_away_by_number() {
    let place = Place::new().await;
    let now = place.clock.now();
    let id = account(&place.store, "a@b", None).await;
    let staff = Grant { gym: Some("quayside".to_owned()), ..grant(Role::Staff, Some("saltmarsh")) };
    let athlete = Grant { bib: Some(1042), ..grant(Role::Athlete, Some("saltmarsh")) };
    let judge = Grant { judge: Some("J-0142".to_owned()), ..grant(Role::Judge, Some("saltmarsh")) };
    let all = [staff.clone(), athlete.clone(), judge.clone(), grant(Role::Organiser, None)];
    let first = place.store.add_grants(id, &all, now).await.unwrap();
    let again = place.store.add_grants(id, &all, now).await.unwrap();
    assert_eq!(first, again);
    let held: Vec<Grant> = place.store.list_grants_of(id).await.unwrap().into_iter().map(|g| g.grant).collect();
    assert_eq!(held, all);
    assert_eq!(place.store.list_grants_in("saltmarsh").await.unwrap().len(), 3);
    assert_eq!(place.store.find_grant(first[1]).await.unwrap().unwrap().grant, athlete);
    assert!(place.store.remove_grant(first[0], false).await.unwrap().unwrap());
    assert!(!place.store.remove_grant(first[0], false).await.unwrap().unwrap());
    assert_eq!(place.store.list_grants_of(id).await.unwrap().len(), 3);
}

#[tokio::test]
async fn a_role_for_nobody_is_refused() {
    let place = Place::new().await;
    assert!(place.store.add_grants(77, &[grant(Role::Organiser, None)], place.clock.now()).await.is_err());
}

#[tokio::test]
async fn a_session_lasts_until_it_ends_or_is_ended() {
    let place = Place::new().await;
    let (store, now) = (&place.store, place.clock.now());
    let hour = SignedDuration::from_hours(1);
    let id = account(store, "a@b", None).await;
    let begin = async |n, device, span| {
        store.add_link(&[n; 32], id, now, now + hour).await.unwrap();
        let session = NewSession { hash: &[n; 32], device, expires: now + span };
        store.sign_in_by_link(&[n; 32], session, now, now).await.unwrap().unwrap();
        store.find_by_session(&[n; 32], now).await.unwrap().unwrap().session
    };
    let first = begin(1, "a browser", hour).await;
    let second = begin(2, "a phone", hour * 3).await;
    let found = store.find_by_session(&[1; 32], now).await.unwrap().unwrap();
    assert_eq!((found.session, found.created_at, found.actor.account), (first, now, Some(id)));
    assert_eq!(found.actor.grants, [], "nothing is given yet");
    assert_eq!(store.find_by_session(&[1; 32], now + hour).await.unwrap(), None);
    assert_eq!(store.find_by_session(&[3; 32], now).await.unwrap(), None);
    store.touch_session(first, now + hour / 2, now + hour * 2).await.unwrap();
    assert_eq!(store.find_by_session(&[1; 32], now + hour).await.unwrap().unwrap().seen_at, now + hour / 2);
    let ids: Vec<i64> = store.list_sessions(id, now).await.unwrap().iter().map(|s| s.id).collect();
    assert_eq!(ids, [first, second]);
    assert!(!store.end_session(id + 1, first).await.unwrap(), "somebody else's");
    assert_eq!(store.end_sessions_of(id, Some(second)).await.unwrap(), 1);
    assert!(store.end_session(id, second).await.unwrap());
    assert_eq!(store.list_sessions(id, now).await.unwrap(), []);
}

#[tokio::test]
async fn a_token_holds_until_its_end_or_until_revoked() {
    let place = Place::new().await;
    let (store, now) = (&place.store, place.clock.now());
    let day = SignedDuration::from_hours(24);
    let account = account(store, "a@b", None).await;
    let id = store.add_token(&[9; 32], account, "the desk", now, now + day).await.unwrap();
    let grants = [grant(Role::Organiser, None), grant(Role::Staff, Some("hall-1"))];
    store.add_grants(account, &grants, now).await.unwrap();
    let found = store.find_by_token(&[9; 32], now).await.unwrap().unwrap();
    assert_eq!((found.account, found.email.as_str(), found.operator), (Some(account), "a@b", false));
    assert_eq!(found.grants, grants, "all that the account may be, in the order it was given");
    assert_eq!(store.find_by_token(&[8; 32], now).await.unwrap(), None);
    assert_eq!(store.find_by_token(&[9; 32], now + day).await.unwrap(), None);
    assert!(store.revoke_token(id, now).await.unwrap());
    assert!(!store.revoke_token(id, now).await.unwrap());
    assert_eq!(store.find_by_token(&[9; 32], now).await.unwrap(), None);
    assert_eq!(store.find_token_by_id(id).await.unwrap().unwrap().revoked_at, Some(now));
    assert_eq!(store.list_tokens(account).await.unwrap().len(), 1);
}

#[tokio::test]
async fn a_link_is_used_once() {
    let place = Place::new().await;
    let (store, now) = (&place.store, place.clock.now());
    let day = SignedDuration::from_hours(24);
    let account = account(store, "a@b", None).await;
    store.add_link(&[5; 32], account, now, now + day).await.unwrap();
    store.add_link(&[6; 32], account, now, now + day).await.unwrap();
    let session = |hash| NewSession { hash, device: "a phone", expires: now + day };
    assert_eq!(store.sign_in_by_link(&[5; 32], session(&[1; 32]), now, now).await.unwrap(), Some(account));
    assert_eq!(store.find_by_session(&[1; 32], now).await.unwrap().unwrap().actor.account, Some(account));
    assert_eq!(store.sign_in_by_link(&[5; 32], session(&[2; 32]), now, now).await.unwrap(), None);
    // The very session that it began is there for who asks for it again, since then.
    let again = async |since| store.sign_in_by_link(&[5; 32], session(&[1; 32]), now, since).await.unwrap();
    assert_eq!((again(now).await, again(now + SignedDuration::from_secs(1)).await), (Some(account), None));
    assert_eq!(store.sign_in_by_link(&[6; 32], session(&[2; 32]), now + day, now).await.unwrap(), None);
    assert_eq!(store.find_by_session(&[2; 32], now).await.unwrap(), None, "no link, no session");
}

#[tokio::test]
async fn what_is_used_once_to_get_in_is_not_used_up_for_nothing() {
    let place = Place::with_entries(1).await;
    let (store, now, id) = (&place.store, place.clock.now(), place.id().await);
    let day = SignedDuration::from_hours(24);
    let account = account(store, "a@b", None).await;
    store.add_link(&[5; 32], account, now, now + day).await.unwrap();
    let permit = permit(&Actor::operator(), Act::Organise { competition: "saltmarsh" }).unwrap();
    store.keep_claims(&permit, id, vec![(1, "a hash".to_owned())], now).await.unwrap();

    // The session cannot begin: nothing is used up.
    let mut raw = place.raw().await;
    let hash = "X'0101010101010101010101010101010101010101010101010101010101010101'";
    let hash = if place.database.is_served() { hash.replace("X'", "'\\x") } else { hash.to_owned() };
    raw.run(&format!(
        "INSERT INTO sessions (hash, account, device, created_at, seen_at, expires_at, by_link) VALUES ({hash}, {account}, '', 0, 0, {}, 0)",
        i64::MAX
    ))
    .await
    .unwrap();
    let session = |hash| NewSession { hash, device: "a phone", expires: now + day };
    assert!(store.sign_in_by_link(&[5; 32], session(&[1; 32]), now, now).await.is_err(), "that hash is there");
    assert_eq!(store.sign_in_by_link(&[5; 32], session(&[2; 32]), now, now).await.unwrap(), Some(account));

    // The address is somebody's already: the code stays.
    let claim = UsedClaim { competition: id, bib: 1, hash: "a hash" };
    let athlete = Grant { bib: Some(1), ..grant(Role::Athlete, Some("saltmarsh")) };
    let taken = Owner::New { email: "A@b", folded_email: "a@b", password_hash: "$argon2id$…" };
    assert!(matches!(store.use_claim(claim, taken, &athlete, None, now).await, Err(StoreError::Taken)));
    assert_eq!(
        store.use_claim(claim, Owner::Known { account, verified: None }, &athlete, None, now).await.unwrap(),
        Some(account)
    );
    assert_eq!(store.list_grants_of(account).await.unwrap()[0].grant, athlete);
    assert_eq!(
        store.use_claim(claim, Owner::Known { account, verified: None }, &athlete, None, now).await.unwrap(),
        None,
        "it is used"
    );
}

#[tokio::test]
async fn a_new_password_ends_what_the_old_one_opened() {
    let place = Place::new().await;
    let (store, now) = (&place.store, place.clock.now());
    let day = SignedDuration::from_hours(24);
    let account = account(store, "a@b", Some("old")).await;
    store.add_link(&[5; 32], account, now, now + day).await.unwrap();
    let session = |hash| NewSession { hash, device: "", expires: now + day };
    store.add_link(&[6; 32], account, now, now + day).await.unwrap();
    store.sign_in_by_link(&[6; 32], session(&[1; 32]), now, now).await.unwrap().unwrap();
    assert!(store.sign_in_by_password(account, "old", None, session(&[2; 32]), now).await.unwrap());
    let kept = store.find_by_session(&[1; 32], now).await.unwrap().unwrap().session;
    store.change_password(account, Some("new"), Some(kept)).await.unwrap();
    assert_eq!(store.find_account(account).await.unwrap().unwrap().password_hash.as_deref(), Some("new"));
    let open = store.list_sessions(account, now).await.unwrap();
    assert_eq!(open.iter().map(|s| (s.id, s.by_link)).collect::<Vec<_>>(), [(kept, false)]);
    assert_eq!(store.sign_in_by_link(&[5; 32], session(&[3; 32]), now, now).await.unwrap(), None);
}

#[tokio::test]
async fn a_password_that_was_right_a_moment_ago_begins_no_session() {
    let place = Place::with_entries(1).await;
    let (store, now, id) = (&place.store, place.clock.now(), place.id().await);
    let day = SignedDuration::from_hours(24);
    let account = account(store, "a@b", Some("old")).await;
    let session = |hash| NewSession { hash, device: "", expires: now + day };
    assert!(store.sign_in_by_password(account, "old", Some("old, hashed anew"), session(&[1; 32]), now).await.unwrap());
    assert!(store.sign_in_by_password(account, "old, hashed anew", None, session(&[2; 32]), now).await.unwrap());
    store.change_password(account, Some("new"), None).await.unwrap();
    let anew = Some("old, once more");
    assert!(!store.sign_in_by_password(account, "old, hashed anew", anew, session(&[3; 32]), now).await.unwrap());
    assert_eq!(store.find_account(account).await.unwrap().unwrap().password_hash.as_deref(), Some("new"));
    assert_eq!(store.list_sessions(account, now).await.unwrap(), []);

    let permit = permit(&Actor::operator(), Act::Organise { competition: "saltmarsh" }).unwrap();
    store.keep_claims(&permit, id, vec![(1, "a hash".to_owned())], now).await.unwrap();
    let claim = UsedClaim { competition: id, bib: 1, hash: "a hash" };
    let athlete = Grant { bib: Some(1), ..grant(Role::Athlete, Some("saltmarsh")) };
    let owner = |verified| Owner::Known { account, verified: Some(verified) };
    let old = store.use_claim(claim, owner("old"), &athlete, Some(session(&[4; 32])), now).await;
    assert!(matches!(old, Err(StoreError::Taken)), "{old:?}");
    let new = store.use_claim(claim, owner("new"), &athlete, Some(session(&[4; 32])), now).await;
    assert_eq!(new.unwrap(), Some(account));
    assert_eq!(store.find_by_session(&[4; 32], now).await.unwrap().unwrap().actor.grants, [athlete]);
}
