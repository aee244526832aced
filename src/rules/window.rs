//! When: windows in the competition's zone, kept as instants; daylight saving; receipt.

use jiff::Timestamp;

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
