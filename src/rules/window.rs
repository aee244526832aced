//! When: windows in the competition's zone, kept as instants; daylight saving; receipt.

use super::event::Extension;
use super::workout::Workout;
use crate::words::Sentence;
use jiff::tz::TimeZone;
use jiff::{SignedDuration, Timestamp};

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
        let _ = (at, received, zone);
        todo!()
    }
}

/// The window of `workout` for an entry of this gym and region: the last extension that fits
/// holds; the grace is as long as ever.
#[must_use]
pub fn for_entry(workout: &Workout, extensions: &[Extension], gym: Option<&str>, region: &str) -> Window {
    let _ = (workout, extensions, gym, region);
    todo!()
}

/// A local date-time in `zone` as an instant. Refused inside a daylight-saving gap; ambiguous ones
/// need an offset, and the sentence shows both readings.
pub fn instant(text: &str, zone: &TimeZone) -> Result<Timestamp, Sentence> {
    let _ = (text, zone);
    todo!()
}

/// An instant as people read it in `zone`: `2027-01-12 19:00`.
#[must_use]
pub fn local(at: Timestamp, zone: &TimeZone) -> String {
    zone.to_datetime(at).strftime("%Y-%m-%d %H:%M").to_string()
}
