//! Names against Unicode's own data: `unicode_names.json`.

use super::vector;
use tallywright::rules::people::{check_email, check_line, check_name, fold_name};

/// Unicode 14 (UAX #15) by way of Python's unicodedata.
#[test]
fn names_are_kept_in_nfc() {
    for case in vector("unicode_names.json")["nfc"].as_array().unwrap() {
        let kept = check_line(case["input"].as_str().unwrap(), 10).unwrap();
        assert_eq!(kept, case["nfc"].as_str().unwrap(), "{}", case["note"]);
    }
}

/// Unicode 14 (UAX #15, full case folding) by way of Python's unicodedata.
#[test]
fn names_are_matched_in_nfkc_with_case_folded() {
    for case in vector("unicode_names.json")["nfkc"].as_array().unwrap() {
        let folded = fold_name(case["input"].as_str().unwrap());
        assert_eq!(folded, case["nfkc_casefold"].as_str().unwrap(), "{}", case["note"]);
    }
}

/// UAX #9, explicit directional characters; and the other invisible ones of the same file.
#[test]
fn directions_and_invisible_characters_are_refused() {
    let vectors = vector("unicode_names.json");
    let bidi = vectors["bidi_controls"].as_array().unwrap().iter().map(|c| {
        let code = c["code"].as_str().unwrap().trim_start_matches("U+");
        char::from_u32(u32::from_str_radix(code, 16).unwrap()).unwrap()
    });
    let others =
        ['\0', '\u{7}', '\u{7f}', '\u{9f}', '\u{200b}', '\u{2028}', '\u{2029}', '\u{feff}', '\u{e0041}', '\u{e000}'];
    for c in bidi.chain(others) {
        let refused = check_name(&format!("Ana{c}Reis")).unwrap_err();
        assert_eq!(refused.code, "line_invisible", "{c:?}");
    }
}

#[test]
fn what_names_need_is_kept() {
    for name in
        ["O’Brien", "Núñez-Sørensen", "Gal·la", "X", "Nguyễn Thị Ánh", "山田太郎", "می\u{200c}خواهم", "d'Ávila Jr."]
    {
        assert!(check_name(name).is_ok(), "{name}");
    }
    assert!(check_name("A\u{200d}B").is_err(), "a joiner that no script needs");
    assert_eq!(check_name("  ").unwrap_err().code, "name_missing");
    assert_eq!(check_name("1042").unwrap_err().code, "name_without_letter");
    assert_eq!(check_name(&"a".repeat(121)).unwrap_err().code, "line_too_long");
}

#[test]
fn an_address_has_two_sides() {
    for good in ["ines@example.org", "i.d+series@example.co.uk", "inês@exemplo.pt", ""] {
        assert_eq!(check_email(good).unwrap(), good);
    }
    for bad in
        ["ines", "@example.org", "ines@", "a b@example.org", "a@b@c", "ines@example..org", "<a@b.c>", "a\u{202e}@b.c"]
    {
        assert_eq!(check_email(bad).unwrap_err().code, "email_wrong", "{bad}");
    }
}
