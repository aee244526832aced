//! What all pages share: the frame around them, links, times, and the mark of a place.

use crate::actions::language;
use crate::rules::access::{Actor, Role};
use crate::web::session::Caller;
use crate::words::en::pages::Pages;
use crate::words::{pages, put};
use jiff::Timestamp;
use jiff::tz::TimeZone;

/// The texts of the reader's language.
#[must_use]
pub fn words() -> &'static Pages {
    pages(language::reader())
}

/// An address and its text.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Link {
    /// Empty: the page itself.
    pub href: String,
    /// For people.
    pub text: String,
}

impl Link {
    /// A link.
    pub fn new(href: impl Into<String>, text: impl Into<String>) -> Self {
        Self { href: href.into(), text: text.into() }
    }
}

/// Who is signed in.
#[derive(Clone, Debug)]
pub struct Who {
    /// Number of the account.
    pub account: i64,
    /// The hidden field of forms.
    pub csrf: String,
}

/// The frame around a page.
#[derive(Clone, Debug, Default)]
pub struct Shell {
    /// Of the window.
    pub title: String,
    /// In the head, besides the account.
    pub links: Vec<Link>,
    /// From the list of competitions down to here.
    pub trail: Vec<Link>,
    /// `None`: nobody.
    pub who: Option<Who>,
    /// Whether it is known who is asking.
    pub known: bool,
    /// When the request came, RFC 3339: what countdowns start from. Empty: not known.
    pub now: String,
    here: String,
}

impl Shell {
    /// The frame of a page at `here` (path, with query where it matters).
    pub fn new(caller: &Caller, here: impl Into<String>, title: impl Into<String>) -> Self {
        let who = caller.actor.account.map(|account| Who { account, csrf: caller.csrf.clone() });
        Self {
            title: title.into(),
            links: links(&caller.actor, &caller.foremost),
            trail: Vec::new(),
            who,
            known: true,
            now: caller.received.to_string(),
            here: here.into(),
        }
    }

    /// The frame of a page that does not know who is asking.
    #[must_use]
    pub fn bare(title: impl Into<String>) -> Self {
        let title = title.into();
        Self {
            title,
            links: Vec::new(),
            trail: Vec::new(),
            who: None,
            known: false,
            now: String::new(),
            here: String::new(),
        }
    }

    /// The same below these steps; the last one is the page itself.
    #[must_use]
    pub fn below(mut self, steps: impl IntoIterator<Item = Link>) -> Self {
        self.trail = vec![Link::new("/", words().trail_home)];
        self.trail.extend(steps);
        self
    }

    /// Where to sign in, and come back from.
    #[must_use]
    pub fn signin_href(&self) -> String {
        match self.here.as_str() {
            "" | "/" | "/signin" => "/signin".to_owned(),
            here => format!("/signin?next={}", encoded(here)),
        }
    }
}

/// What somebody's roles lead to. `foremost`: their competitions, the one that matters most first.
fn links(actor: &Actor, foremost: &[String]) -> Vec<Link> {
    let w = words();
    let mut found = Vec::new();
    // What every competition has one of: of several that of the foremost is shown.
    let mut places: Vec<(usize, Link)> = Vec::new();
    let rank = |c: &str| foremost.iter().position(|slug| slug == c).unwrap_or(usize::MAX);
    for grant in &actor.grants {
        match (grant.role, &grant.competition, &grant.gym, grant.bib) {
            (Role::Staff, Some(c), Some(gym), _) => {
                places.push((rank(c), Link::new(format!("/desk/{c}/{gym}"), w.nav_desk)));
            }
            (Role::Athlete, Some(c), _, Some(bib)) => {
                places.push((rank(c), Link::new(format!("/c/{c}/athletes/{bib}"), w.your_page)));
            }
            (Role::Judge, Some(c), ..) if grant.judge.is_some() => {
                places.push((rank(c), Link::new(format!("/judge/{c}"), w.nav_judge)));
            }
            (Role::Referee, ..) => found.push(Link::new("/referee", w.nav_referee)),
            (Role::Organiser, c, ..) => {
                found.push(Link::new("/referee", w.nav_referee));
                let href = c.as_ref().map_or_else(|| "/organise".to_owned(), |c| format!("/organise/{c}"));
                found.push(Link::new(href, crate::words::organise(language::reader()).nav));
            }
            _ => {}
        }
    }
    let first = |text: &str| places.iter().filter(|(_, link)| link.text == text).map(|(rank, _)| *rank).min();
    found.extend(places.iter().filter(|(rank, link)| Some(*rank) == first(&link.text)).map(|(_, link)| link.clone()));
    found.sort_by(|a, b| a.href.cmp(&b.href));
    found.dedup();
    // Two links of one text: nobody could tell where each leads. Competitions have a page that lists
    // them; two gyms in one are found on the account's page.
    if found.iter().filter(|link| link.href.starts_with("/organise")).count() > 1 {
        found.retain(|link| !link.href.starts_with("/organise"));
        found.push(Link::new("/organise", crate::words::organise(language::reader()).nav));
    }
    let texts: Vec<String> = found.iter().map(|link| link.text.clone()).collect();
    found.retain(|link| texts.iter().filter(|text| **text == link.text).count() == 1);
    // There is room for three: where somebody works comes before where they read.
    let works = |href: &str| ["/referee", "/organise", "/desk/"].iter().any(|begins| href.starts_with(begins));
    if found.len() > 3 {
        found.retain(|link| works(&link.href));
    }
    found
}

/// A text as part of a query or a path: everything but letters, digits and `-._~` escaped.
#[must_use]
pub fn encoded(text: &str) -> String {
    use std::fmt::Write;
    text.bytes().fold(String::with_capacity(text.len()), |mut out, byte| {
        if byte.is_ascii_alphanumeric() || b"-._~".contains(&byte) {
            out.push(char::from(byte));
        } else {
            // Writing into a text cannot fail.
            let _ = write!(out, "%{byte:02X}");
        }
        out
    })
}

/// An instant for people and for programs.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct When {
    /// RFC 3339, UTC.
    pub iso: String,
    /// In the competition's zone.
    pub text: String,
    /// That zone, by its name.
    pub zone: String,
}

impl When {
    /// An instant in a zone.
    #[must_use]
    pub fn new(at: Timestamp, zone: &TimeZone) -> Self {
        let text = (words().date)(&at.to_zoned_datetime(zone.clone()));
        Self { iso: at.to_string(), text, zone: zone.iana_name().unwrap_or("UTC").to_owned() }
    }

    /// With the name of its zone.
    #[must_use]
    pub fn said(&self) -> String {
        format!("{} ({})", self.text, self.zone)
    }
}

/// A sentence, with an instant in it that is said in its zone and by that zone's name; `static/time.js`
/// adds the reader's own. Where somebody works in another zone still, that one is said too.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Dated {
    /// What stands before the instant; all, where there is none.
    pub before: String,
    /// The instant.
    pub at: Option<When>,
    /// The same where its reader is.
    pub there: String,
    /// What stands after it.
    pub after: String,
}

impl Dated {
    /// A sentence without an instant.
    pub fn plain(text: impl Into<String>) -> Self {
        Self { before: text.into(), ..Self::default() }
    }

    /// A sentence with `{at}` in it.
    #[must_use]
    pub fn new(sentence: &str, at: Timestamp, zone: &TimeZone) -> Self {
        let (before, after) = sentence.split_once("{at}").unwrap_or((sentence, ""));
        Self { before: before.to_owned(), at: Some(When::new(at, zone)), there: String::new(), after: after.to_owned() }
    }

    /// The same for somebody at a place with a zone of its own.
    #[must_use]
    pub fn at_place(sentence: &str, at: Timestamp, zone: &TimeZone, own: Option<&TimeZone>) -> Self {
        let there = own.map_or(String::new(), |own| there(at, zone, own));
        Self { there, ..Self::new(sentence, at, zone) }
    }

    /// The sentence as one text.
    #[must_use]
    pub fn text(&self) -> String {
        let said = |at: &When| match self.there.as_str() {
            "" => at.said(),
            there => format!("{} ({}, {there})", at.text, at.zone),
        };
        let at = self.at.as_ref().map_or(String::new(), said);
        format!("{}{at}{}", self.before, self.after)
    }

    /// Whether nothing is said.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.before.is_empty() && self.at.is_none()
    }
}

/// An instant where somebody is; empty where clocks show the same as in `zone`.
fn there(at: Timestamp, zone: &TimeZone, own: &TimeZone) -> String {
    let (theirs, ours) = (zone.to_datetime(at), own.to_datetime(at));
    if theirs == ours {
        return String::new();
    }
    let local = if theirs.date() == ours.date() {
        ours.strftime("%H:%M").to_string()
    } else {
        (words().date)(&at.to_zoned_datetime(own.clone()))
    };
    put(words().time_there, &[("at", &local), ("zone", &own.iana_name().unwrap_or("UTC"))])
}

/// The zone that a gym was given, where it was given one.
#[must_use]
pub fn own_zone(name: &str) -> Option<TimeZone> {
    Some(name).filter(|n| !n.is_empty()).and_then(|n| TimeZone::get(n).ok())
}

/// How long until an instant: in words, and for the script that keeps them right.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Left {
    /// "closes in 3 h 12 min".
    pub text: String,
    /// RFC 3339, UTC; empty: it has passed, and the words stay.
    pub until: String,
    /// With `{left}`: what the words are made of.
    pub say: &'static str,
}

impl Pages {
    /// The texts of `static/time.js`, as JSON.
    #[must_use]
    pub fn clock(&self) -> String {
        let w = self.desk_words.script_words;
        let words = [
            ("day", w.day),
            ("days", w.days),
            ("hour", w.hour),
            ("minute", w.minute),
            ("second", w.second),
            ("over", self.time_over),
            ("yours", self.time_yours),
        ];
        let words = words.into_iter().map(|(name, text)| (name.to_owned(), serde_json::Value::from(text)));
        serde_json::Value::Object(words.collect()).to_string()
    }
}

impl Left {
    /// From `now` until an instant, said with `{left}` in it; `None`: it has passed.
    #[must_use]
    pub fn new(now: Timestamp, until: Timestamp, say: &'static str) -> Option<Self> {
        left(now, until).map(|time| Self { text: put(say, &[("left", &time)]), until: until.to_string(), say })
    }
}

/// From one instant to a later one; nothing when it has passed.
#[must_use]
pub fn left(now: Timestamp, until: Timestamp) -> Option<String> {
    let seconds = u64::try_from(until.as_second() - now.as_second()).ok().filter(|s| *s > 0)?;
    Some((words().duration)(seconds))
}

/// A place, in words and as a mark on the division's bar.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Mark {
    /// `12th`.
    pub text: String,
    /// Where on the bar, e.g. `3.5%`: first is left, last is right.
    pub x: String,
}

impl Mark {
    /// `place` among `of` that are placed.
    #[must_use]
    pub fn new(place: u32, of: u32) -> Self {
        let (before, all) = (u64::from(place.saturating_sub(1)), u64::from(of.saturating_sub(1)));
        let tenths = (before * 1000).checked_div(all).unwrap_or(0).min(1000);
        Self { text: (words().ordinal)(u64::from(place)), x: format!("{}.{}%", tenths / 10, tenths % 10) }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::rules::access::Grant;

    #[test]
    fn the_first_is_at_the_left_end_and_the_last_at_the_right() {
        assert_eq!(Mark::new(1, 311).x, "0.0%");
        assert_eq!(Mark::new(311, 311).x, "100.0%");
        assert_eq!(Mark::new(1, 1).x, "0.0%");
        assert_eq!(Mark::new(9, 3).x, "100.0%");
    }

    #[test]
    fn no_two_links_in_the_head_say_the_same() {
        let grant = |role, competition: &str, gym: Option<&str>| Grant {
            role,
            competition: Some(competition.to_owned()),
            gym: gym.map(str::to_owned),
            bib: None,
            judge: None,
        };
        let foremost = ["b".to_owned(), "a".to_owned()];
        let hrefs = |grants: Vec<Grant>| -> Vec<String> {
            let actor = Actor { account: Some(7), grants, ..Actor::default() };
            links(&actor, &foremost).into_iter().map(|link| link.href).collect()
        };
        let organises = |c| grant(Role::Organiser, c, None);
        assert_eq!(hrefs(vec![organises("a")]), ["/organise/a", "/referee"]);
        assert_eq!(hrefs(vec![organises("a"), organises("b")]), ["/referee", "/organise"]);
        let desk = |gym| grant(Role::Staff, "a", Some(gym));
        assert_eq!(hrefs(vec![desk("quayside")]), ["/desk/a/quayside"]);
        assert!(hrefs(vec![desk("quayside"), desk("millpond")]).is_empty());
        // Of two competitions, the one that matters more now.
        let later = |gym| grant(Role::Staff, "b", Some(gym));
        assert_eq!(hrefs(vec![desk("quayside"), later("quayside")]), ["/desk/b/quayside"]);
        assert_eq!(hrefs(vec![later("quayside"), desk("quayside"), desk("millpond")]), ["/desk/b/quayside"]);
        assert!(hrefs(vec![desk("quayside"), later("quayside"), later("millpond")]).is_empty());
        // Of somebody who does everything in a small series, where they work.
        let judge = Grant { judge: Some("J-1".to_owned()), ..grant(Role::Judge, "a", None) };
        let athlete = Grant { bib: Some(12), ..grant(Role::Athlete, "a", None) };
        let referee = grant(Role::Referee, "a", None);
        let all = vec![desk("quayside"), judge, athlete.clone(), referee];
        assert_eq!(hrefs(all), ["/desk/a/quayside", "/referee"]);
        let all = vec![organises("a"), desk("quayside"), athlete];
        assert_eq!(hrefs(all), ["/desk/a/quayside", "/organise/a", "/referee"]);
    }

    #[test]
    fn a_sentence_says_its_instant_by_its_zone_and_where_somebody_is() {
        let at = "2027-01-17T21:00:00Z".parse().unwrap();
        let zone = |name| TimeZone::get(name).unwrap();
        let said = |own: &str| Dated::at_place("Closes {at}, all.", at, &zone("Europe/Lisbon"), own_zone(own).as_ref());
        let plain = said("");
        let when = plain.at.as_ref().unwrap();
        assert_eq!(
            (&*plain.before, &*when.text, &*plain.after),
            ("Closes ", "Sunday 17 January 2027, 21:00", ", all.")
        );
        assert_eq!((&*when.zone, &*plain.there), ("Europe/Lisbon", ""));
        assert_eq!(
            said("Europe/Berlin").text(),
            "Closes Sunday 17 January 2027, 21:00 (Europe/Lisbon, 22:00 in Europe/Berlin), all."
        );
        assert_eq!(said("Europe/London").there, "", "the same clock");
        assert_eq!(said("Europe/Berlin").there, "22:00 in Europe/Berlin");
        assert_eq!(said("Asia/Tokyo").there, "Monday 18 January 2027, 06:00 in Asia/Tokyo");
    }

    #[test]
    fn addresses_carry_any_text() {
        assert_eq!(encoded("/c/a b?q=é&x"), "%2Fc%2Fa%20b%3Fq%3D%C3%A9%26x");
    }
}
