//! What a browser calls itself, read for people: "Firefox on Android".
//!
//! A small reading of our own: browsers name each other for old reasons, so the most particular name
//! is looked for first, and what is not known stays as it was sent. The whole text stands beside it
//! for who wants it; nothing is decided by it.

use super::shell::words;
use crate::words::put;

/// What stands in the text of a browser, the most particular first, and its name.
const BROWSERS: &[(&str, &str)] = &[
    ("Edg/", "Edge"),
    ("EdgA/", "Edge"),
    ("EdgiOS/", "Edge"),
    ("OPR/", "Opera"),
    ("SamsungBrowser/", "Samsung Internet"),
    ("Vivaldi/", "Vivaldi"),
    ("YaBrowser/", "Yandex"),
    ("DuckDuckGo/", "DuckDuckGo"),
    ("FxiOS/", "Firefox"),
    ("Firefox/", "Firefox"),
    ("CriOS/", "Chrome"),
    ("Chromium/", "Chromium"),
    ("HeadlessChrome/", "Chrome"),
    ("Chrome/", "Chrome"),
    // Others say so too; but those are above.
    ("Safari/", "Safari"),
];

/// The same of systems. A tablet that asks for the pages of a desk says that it is one.
const SYSTEMS: &[(&str, &str)] = &[
    ("Android", "Android"),
    ("iPhone", "iPhone"),
    ("iPad", "iPad"),
    ("CrOS", "ChromeOS"),
    ("Windows", "Windows"),
    ("Macintosh", "Mac"),
    ("Linux", "Linux"),
];

/// The longest name of a program that is shown as such.
const NAME: usize = 40;

/// A name for people; what cannot be read stays as it is.
pub fn name(sent: &str) -> String {
    let w = words();
    let of = |all: &[(&str, &'static str)]| all.iter().find(|(part, _)| sent.contains(part)).map(|(_, name)| *name);
    if sent.trim().is_empty() {
        return w.session_unknown.to_owned();
    }
    match (of(BROWSERS), of(SYSTEMS)) {
        (Some(browser), Some(system)) => put(w.device_on, &[("browser", &browser), ("system", &system)]),
        (Some(browser), None) => browser.to_owned(),
        (None, Some(system)) if sent.starts_with("Mozilla/") => put(w.device_some, &[("system", &system)]),
        _ => program(sent).unwrap_or(sent).to_owned(),
    }
}

/// The name before the first version, of what is no browser (RFC 9110 §10.1.5: the most important
/// comes first).
fn program(sent: &str) -> Option<&str> {
    let name = sent.split(['/', ' ', '(']).next()?;
    let fits = |c: char| c.is_ascii_alphanumeric() || matches!(c, '-' | '_' | '.');
    (!name.is_empty() && name != "Mozilla" && name.len() <= NAME && name.chars().all(fits)).then_some(name)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Texts as browsers send them (published by their makers; from memory, versions as they were).
    #[test]
    fn browsers_of_today_have_a_name_and_a_system() {
        const GECKO: &str = "AppleWebKit/537.36 (KHTML, like Gecko)";
        const WEBKIT: &str = "AppleWebKit/605.1.15 (KHTML, like Gecko)";
        let linux = "Mozilla/5.0 (X11; Linux x86_64)";
        let phone = "Mozilla/5.0 (iPhone; CPU iPhone OS 18_3 like Mac OS X)";
        for (sent, expected) in [
            (format!("{linux} {GECKO} Chrome/140.0.0.0 Safari/537.36"), "Chrome on Linux"),
            (
                format!("Mozilla/5.0 (Linux; Android 10; K) {GECKO} Chrome/140.0.0.0 Mobile Safari/537.36"),
                "Chrome on Android",
            ),
            (
                format!(
                    "Mozilla/5.0 (Linux; Android 10; K) {GECKO} SamsungBrowser/28.0 Chrome/130.0.0.0 Mobile Safari/537.36"
                ),
                "Samsung Internet on Android",
            ),
            (
                format!(
                    "Mozilla/5.0 (Windows NT 10.0; Win64; x64) {GECKO} Chrome/140.0.0.0 Safari/537.36 Edg/140.0.0.0"
                ),
                "Edge on Windows",
            ),
            ("Mozilla/5.0 (Android 15; Mobile; rv:140.0) Gecko/140.0 Firefox/140.0".to_owned(), "Firefox on Android"),
            (format!("{phone} {WEBKIT} Version/18.3 Mobile/15E148 Safari/604.1"), "Safari on iPhone"),
            (format!("{phone} {WEBKIT} FxiOS/140.0 Mobile/15E148 Safari/605.1.15"), "Firefox on iPhone"),
            (
                format!("Mozilla/5.0 (Macintosh; Intel Mac OS X 10_15_7) {WEBKIT} Version/18.3 Safari/605.1.15"),
                "Safari on Mac",
            ),
            (
                format!("Mozilla/5.0 (X11; CrOS x86_64 14541.0.0) {GECKO} Chrome/140.0.0.0 Safari/537.36"),
                "Chrome on ChromeOS",
            ),
        ] {
            assert_eq!(name(&sent), expected, "{sent}");
        }
    }

    #[test]
    fn what_is_not_known_stays_as_it_is() {
        for (sent, expected) in [
            ("curl/8.5.0", "curl"),
            ("python-requests/2.32 (linux)", "python-requests"),
            ("Mozilla/5.0 (X11; Linux x86_64) Something/1.0", "A browser on Linux"),
            ("Mozilla/5.0", "Mozilla/5.0"),
            ("<script>alert(1)</script>", "<script>alert(1)</script>"),
            ("שלום", "שלום"),
            (" ", words().session_unknown),
            ("", words().session_unknown),
        ] {
            assert_eq!(name(sent), expected, "{sent}");
        }
    }
}
