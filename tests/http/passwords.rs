//! Password hashes against published values: `tests/vectors/argon2.json`, from RFC 9106 §5.1–5.3
//! and from libargon2 at the parameter sets of the OWASP Password Storage Cheat Sheet.

use argon2::{Algorithm, Argon2, AssociatedData, ParamsBuilder, Version};
use serde_json::Value;
use tallywright::actions::accounts::{hash_password, verify_password};

fn vectors() -> Value {
    serde_json::from_str(include_str!("../vectors/argon2.json")).expect("the vectors read")
}

fn text<'a>(value: &'a Value, name: &str) -> &'a str {
    value[name].as_str().expect(name)
}

#[test]
fn the_library_gives_the_tags_of_rfc_9106() {
    let vectors = vectors();
    let tags = &vectors["rfc9106"]["tags"];
    for (algorithm, tag) in [(Algorithm::Argon2d, "d"), (Algorithm::Argon2i, "i"), (Algorithm::Argon2id, "id")] {
        let mut params = ParamsBuilder::new();
        params.m_cost(32).t_cost(3).p_cost(4).output_len(32).data(AssociatedData::new(&[4; 12]).unwrap());
        let params = params.build().unwrap();
        let argon2 = Argon2::new_with_secret(&[3; 8], algorithm, Version::V0x13, params).unwrap();
        let mut out = [0; 32];
        argon2.hash_password_into(&[1; 32], &[2; 16], &mut out).unwrap();
        assert_eq!(hex::encode(out), text(tags, tag), "argon2{tag}");
    }
}

#[test]
fn hashes_made_elsewhere_verify_whatever_their_cost_and_wrong_passwords_do_not() {
    let vectors = vectors();
    let phc = vectors["phc"].as_array().expect("a list");
    assert!(phc.len() >= 15);
    for vector in phc {
        let (password, hash) = (text(vector, "password"), text(vector, "phc"));
        assert!(verify_password(password, hash), "{hash}");
        assert!(!verify_password(&format!("{password} "), hash), "checked exactly as typed: {hash}");
    }
}

#[test]
fn our_own_hashes_are_those_of_libargon2_at_the_same_cost() {
    let vectors = vectors();
    let ours = vectors["phc"].as_array().expect("a list").iter().filter(|v| v["m_kib"] == 19_456);
    let mut seen = 0;
    for vector in ours {
        let hash = hash_password(text(vector, "password"), text(vector, "salt_utf8").as_bytes()).unwrap();
        assert_eq!(hash, text(vector, "phc"));
        seen += 1;
    }
    assert_eq!(seen, 3);
}
