//! When: windows in the competition's zone, kept as instants; daylight saving; receipt.

use super::event::Extension;
use super::people::fold_name;
use super::workout::Workout;
use crate::words::Sentence;
use jiff::civil::{Date, DateTime, Time};
use jiff::tz::{AmbiguousOffset, Offset, TimeZone};
use jiff::{SignedDuration, Timestamp};

/// How far after receipt a performance may say it was done: clocks differ.
const AHEAD: SignedDuration = SignedDuration::from_mins(5);

/// The instants of one workout, half-open: at `closes` it is closed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Window {
    /// Before it only the organiser sees anything of the workout.
    pub announce: Timestamp,
    /// Performances from here on.
    pub opens: Timestamp,
    /// Performances before this.
    pub closes: Timestamp,
    /// `closes` + grace: first scores and the athlete's own changes are received before this.
    pub grace_ends: Timestamp,
    /// Corrections by staff and attestations are received before this.
    pub attest_by: Timestamp,
}

impl Window {
    /// Whether others than the organiser see the workout.
    #[must_use]
    pub fn announced(&self, now: Timestamp) -> bool {
        now >= self.announce
    }

    /// Whether it has opened.
    #[must_use]
    pub fn opened(&self, now: Timestamp) -> bool {
        now >= self.opens
    }

    /// Whether its window is open: `opens` ≤ now < `closes`.
    #[must_use]
    pub fn running(&self, now: Timestamp) -> bool {
        now >= self.opens && now < self.closes
    }

    /// Whether it has closed (grace aside).
    #[must_use]
    pub fn closed(&self, now: Timestamp) -> bool {
        now >= self.closes
    }

    /// Whether a first score, or the athlete's own change, received then is in time.
    #[must_use]
    pub fn takes_scores(&self, received: Timestamp) -> bool {
        received < self.grace_ends
    }

    /// Whether a correction by staff, or an attestation, received then is in time.
    #[must_use]
    pub fn takes_corrections(&self, received: Timestamp) -> bool {
        received < self.attest_by
    }

    /// How long after `closes` something was received; zero when in time.
    #[must_use]
    pub fn late_by(&self, received: Timestamp) -> SignedDuration {
        received.duration_since(self.closes).max(SignedDuration::ZERO)
    }

    /// When a performance was done if nobody says: receipt, or `closes` − 1 s if that is earlier.
    #[must_use]
    pub fn default_performed_at(&self, received: Timestamp) -> Timestamp {
        let last = self.closes.checked_sub(SignedDuration::from_secs(1)).unwrap_or(self.closes);
        received.min(last)
    }

    /// Whether a performance may have been done then: within `[opens, closes)`, and at most five
    /// minutes after receipt.
    pub fn check_performed_at(&self, at: Timestamp, received: Timestamp, zone: &TimeZone) -> Result<(), Sentence> {
        let outside = at < self.opens || at >= self.closes;
        if outside {
            return Err(Sentence::new("performed_outside_window")
                .with("at", local(at, zone))
                .with("opens", local(self.opens, zone))
                .with("closes", local(self.closes, zone))
                .with("zone", zone.iana_name().unwrap_or("UTC")));
        }
        if at.duration_since(received) > AHEAD {
            return Err(Sentence::new("performed_in_future")
                .with("at", local(at, zone))
                .with("received", local(received, zone))
                .with("zone", zone.iana_name().unwrap_or("UTC")));
        }
        Ok(())
    }
}

/// The window of `workout` for an entry of this gym and region: the last extension that fits and was not
/// taken back holds, as far as the file does not give everybody more; the grace is as long as ever.
#[must_use]
pub fn for_entry(workout: &Workout, extensions: &[Extension], gym: Option<&str>, region: &str) -> Window {
    let fits = |e: &&Extension| {
        e.workout == workout.slug
            && match (&e.gym, &e.region) {
                (None, None) => false,
                (of_gym, of_region) => {
                    of_gym.as_deref().is_none_or(|g| Some(g) == gym)
                        && of_region.as_deref().is_none_or(|r| fold_name(r) == fold_name(region))
                }
            }
    };
    let own = workout.window;
    // Of what was said of the same gym or region only the last counts; of those that fit and give time, the newest.
    let last = |(n, e): &(usize, &Extension)| !extensions.iter().skip(n + 1).any(|later| later.for_the_same(e));
    let gives = |e: &Extension| !e.taken_back && (e.closes > own.closes || e.attest_by > own.attest_by);
    let mut in_force = extensions.iter().enumerate().rev().filter(|(_, e)| fits(e)).filter(last).map(|(_, e)| e);
    let Some(extension) = in_force.find(|e| gives(e)) else { return own };
    let grace = own.grace_ends.duration_since(own.closes);
    let closes = extension.closes.max(own.closes);
    Window {
        closes,
        grace_ends: closes.checked_add(grace).unwrap_or(closes),
        attest_by: extension.attest_by.max(own.attest_by),
        ..own
    }
}

/// How far a competition is once the window of every workout has closed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Over {
    /// Some were given more time, the last of them until then.
    MoreTime(Timestamp),
    /// What was done in time is still received, until then.
    Receiving(Timestamp),
    /// Judges may still vouch and staff correct, until then.
    Vouching(Timestamp),
    /// Whatever comes is late.
    Done,
}

/// How far these workouts are for everybody, or for one gym and region (`whose`). `None`: one of them
/// has not closed, or there is none.
#[must_use]
pub fn over(
    workouts: &[&Workout],
    extensions: &[Extension],
    whose: Option<(Option<&str>, &str)>,
    now: Timestamp,
) -> Option<Over> {
    let own = |x: &Workout| match whose {
        Some((gym, region)) => for_entry(x, extensions, gym, region),
        None => x.window,
    };
    let windows: Vec<Window> = workouts.iter().copied().map(own).collect();
    if windows.is_empty() || windows.iter().any(|w| !w.closed(now)) {
        return None;
    }
    let given = |e: &Extension| {
        let workout = workouts.iter().find(|x| x.slug == e.workout)?;
        Some(for_entry(workout, extensions, e.gym.as_deref(), e.region.as_deref().unwrap_or_default()))
    };
    let given: Vec<Window> = if whose.is_none() { extensions.iter().filter_map(given).collect() } else { Vec::new() };
    let last = |of: fn(&Window) -> Timestamp| windows.iter().chain(&given).map(of).filter(|at| *at > now).max();
    Some(if let Some(at) = last(|w| w.closes) {
        Over::MoreTime(at)
    } else if let Some(at) = last(|w| w.grace_ends) {
        Over::Receiving(at)
    } else if let Some(at) = last(|w| w.attest_by) {
        Over::Vouching(at)
    } else {
        Over::Done
    })
}

/// A local date-time in `zone` as an instant: `2027-01-12T18:00`, seconds and a space for the `T`
/// allowed. Refused inside a daylight-saving gap; an ambiguous one needs an offset
/// (`2027-10-31T01:30+01:00`), and the sentence shows both readings. An offset that the zone does
/// not have then is refused; `Z` always names the instant itself.
pub fn instant(text: &str, zone: &TimeZone) -> Result<Timestamp, Sentence> {
    let unreadable = || Sentence::new("instant_unreadable").with("text", text);
    let text = text.trim();
    let (civil, offset) = split_offset(text).ok_or_else(unreadable)?;
    let civil = read_civil(civil).ok_or_else(unreadable)?;
    let name = zone.iana_name().unwrap_or("UTC");
    let out_of_range = |_| unreadable();
    if offset == Some("Z") {
        return TimeZone::UTC.to_timestamp(civil).map_err(out_of_range);
    }
    let ambiguous = zone.to_ambiguous_timestamp(civil);
    let written = |offset: Offset| format!("{}{}", minutes(civil), colon(offset));
    match (ambiguous.offset(), offset) {
        (AmbiguousOffset::Gap { .. }, _) => {
            let shown = |at: Result<Timestamp, jiff::Error>| at.map(|at| local(at, zone)).unwrap_or_default();
            Err(Sentence::new("time_in_gap")
                .with("text", minutes(civil))
                .with("zone", name)
                .with("before", shown(ambiguous.earlier()))
                .with("after", shown(ambiguous.later())))
        }
        (AmbiguousOffset::Unambiguous { offset: own }, Some(given)) if colon(own) != given => {
            Err(Sentence::new("time_wrong_offset").with("zone", name).with("offset", given).with("right", written(own)))
        }
        (AmbiguousOffset::Unambiguous { .. }, _) => ambiguous.compatible().map_err(out_of_range),
        (AmbiguousOffset::Fold { before, .. }, Some(given)) if colon(before) == given => {
            ambiguous.earlier().map_err(out_of_range)
        }
        (AmbiguousOffset::Fold { after, .. }, Some(given)) if colon(after) == given => {
            ambiguous.later().map_err(out_of_range)
        }
        (AmbiguousOffset::Fold { before, after }, _) => Err(Sentence::new("time_ambiguous")
            .with("text", minutes(civil))
            .with("zone", name)
            .with("first", written(before))
            .with("second", written(after))),
    }
}

/// An instant as [`instant`] reads it, to the minute: with its offset where the local time comes twice.
#[must_use]
pub fn typed(at: Timestamp, zone: &TimeZone) -> String {
    let civil = zone.to_datetime(at);
    let text = civil.strftime("%Y-%m-%dT%H:%M").to_string();
    match zone.to_ambiguous_timestamp(civil).offset() {
        AmbiguousOffset::Fold { .. } => text + &colon(zone.to_offset(at)),
        _ => text,
    }
}

/// Splits `…T18:00+01:00` before its offset; the offset as `+01:00`, `Z`, or none.
fn split_offset(text: &str) -> Option<(&str, Option<&str>)> {
    if let Some(civil) = text.strip_suffix(['Z', 'z']) {
        return Some((civil, Some("Z")));
    }
    let time_from = text.char_indices().nth(10).map_or(text.len(), |(at, _)| at);
    match text.get(time_from..)?.find(['+', '-']) {
        Some(at) => {
            let at = time_from + at;
            Some((text.get(..at)?.trim_end(), text.get(at..)))
        }
        None => Some((text, None)),
    }
}

/// Reads `YYYY-MM-DDTHH:MM[:SS]`, with `T`, `t` or a space.
fn read_civil(text: &str) -> Option<DateTime> {
    let (date, time) = text.split_once(['T', 't', ' '])?;
    let date = read_date(date)?;
    let mut parts = time.trim().split(':');
    let (hour, minute, second) = (digits(parts.next()?, 2)?, digits(parts.next()?, 2)?, parts.next());
    let second = second.map_or(Some(0), |s| digits(s, 2))?;
    if parts.next().is_some() {
        return None;
    }
    let time = Time::new(i8::try_from(hour).ok()?, i8::try_from(minute).ok()?, i8::try_from(second).ok()?, 0).ok()?;
    Some(date.to_datetime(time))
}

/// Reads `YYYY-MM-DD` exactly, years 1800 to 2299.
#[must_use]
pub fn read_date(text: &str) -> Option<Date> {
    let mut parts = text.trim().split('-');
    let (year, month, day) = (digits(parts.next()?, 4)?, digits(parts.next()?, 2)?, digits(parts.next()?, 2)?);
    if parts.next().is_some() || !(1800..2300).contains(&year) {
        return None;
    }
    Date::new(year, i8::try_from(month).ok()?, i8::try_from(day).ok()?).ok()
}

/// Exactly `n` ASCII digits.
fn digits(text: &str, n: usize) -> Option<i16> {
    (text.len() == n && text.bytes().all(|b| b.is_ascii_digit())).then(|| text.parse().ok())?
}

fn minutes(civil: DateTime) -> String {
    let time = if civil.second() == 0 { "%H:%M" } else { "%H:%M:%S" };
    civil.strftime(&format!("%Y-%m-%dT{time}")).to_string()
}

/// An offset as `+01:00`.
fn colon(offset: Offset) -> String {
    let seconds = offset.seconds();
    let sign = if seconds < 0 { '-' } else { '+' };
    let minutes = seconds.unsigned_abs() / 60;
    format!("{sign}{:02}:{:02}", minutes / 60, minutes % 60)
}

/// An instant as people read it in `zone`: `2027-01-12 19:00`.
#[must_use]
pub fn local(at: Timestamp, zone: &TimeZone) -> String {
    zone.to_datetime(at).strftime("%Y-%m-%d %H:%M").to_string()
}
