//! What people wrote in the middle of a sentence, as `<bdi>`: sentences are filled before it is known
//! where they will stand ([`crate::words::apart`]), and the isolates around such a text are turned into
//! elements here, where a page is whole. In attributes, and in elements that hold nothing but text, the
//! isolates stay: they mean the same there. A template may set a value apart that is a name at one time and
//! a sentence with a name in it at another: of the sentence only the name is. What this does not do: find
//! texts that nobody marked.

use crate::words::{APART, APART_END};

/// Elements in which no element may stand.
const TEXT_ALONE: [&str; 4] = ["title", "option", "textarea", "script"];

/// The page with `<bdi>` where isolates stand between elements. In what stands between two tags each is
/// closed, whatever its isolates are.
#[must_use]
pub fn elements(page: String) -> String {
    if !page.contains([APART, APART_END]) {
        return page;
    }
    let mut out = String::with_capacity(page.len() + 256);
    let mut rest = page.as_str();
    let mut kept = false;
    while let Some(open) = rest.find('<') {
        let (text, from) = rest.split_at(open);
        if kept {
            out.push_str(text);
        } else {
            between(text, &mut out);
        }
        // No value of an attribute has a `>` in it: they are escaped.
        let (tag, after) = from.split_at(from.find('>').map_or(from.len(), |end| end + 1));
        // A sentence that has names apart in it is not set apart itself.
        let inside = after.split('<').next().unwrap_or_default();
        if tag == "<bdi>" && inside.contains(APART) {
            between(inside, &mut out);
            rest = after[inside.len()..].strip_prefix("</bdi>").unwrap_or(&after[inside.len()..]);
            continue;
        }
        out.push_str(tag);
        let name = tag.trim_start_matches(['<', '/']).split(|c: char| !c.is_ascii_alphanumeric()).next();
        if name.is_some_and(|name| TEXT_ALONE.contains(&name)) {
            kept = !tag.starts_with("</");
        }
        rest = after;
    }
    if kept {
        out.push_str(rest);
    } else {
        between(rest, &mut out);
    }
    out
}

/// The text between two tags.
fn between(text: &str, out: &mut String) {
    let mut open = 0_u32;
    for c in text.chars() {
        match c {
            APART => {
                open += 1;
                out.push_str("<bdi>");
            }
            APART_END if open == 0 => {}
            APART_END => {
                open -= 1;
                out.push_str("</bdi>");
            }
            c => out.push(c),
        }
    }
    (0..open).for_each(|_| out.push_str("</bdi>"));
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::words::apart;
    use proptest::prelude::*;

    #[test]
    fn isolates_become_elements_where_elements_may_stand() {
        let ana = apart("Ana");
        let page = format!(
            "<title>{ana}</title><p title=\"{ana}\">To {ana}, <b>x</b>{ana}</p><option>{ana}</option><textarea\n id=\"a\">{ana}</textarea>{ana}"
        );
        assert_eq!(
            elements(page),
            format!(
                "<title>{ana}</title><p title=\"{ana}\">To <bdi>Ana</bdi>, <b>x</b><bdi>Ana</bdi></p><option>{ana}</option><textarea\n id=\"a\">{ana}</textarea><bdi>Ana</bdi>"
            )
        );
        assert_eq!(elements("a \u{2069}b\u{2068}c<p>d".to_owned()), "a b<bdi>c</bdi><p>d");
        assert_eq!(elements("as it was < ".to_owned()), "as it was < ");
        let sentence = format!("<td><bdi>Judge {ana}</bdi></td><td><bdi>Ana</bdi></td>");
        assert_eq!(elements(sentence), "<td>Judge <bdi>Ana</bdi></td><td><bdi>Ana</bdi></td>");
    }

    proptest! {
        #[test]
        fn every_element_that_is_opened_is_closed(text in "[a<>/\u{2068}\u{2069}\u{202e}p\"]{0,40}") {
            let made = elements(text);
            prop_assert_eq!(made.matches("<bdi>").count(), made.matches("</bdi>").count());
        }
    }
}
