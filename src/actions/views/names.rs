//! The words that stand for enums in JSON, the same as serde would write.

use crate::actions::body::decision::{KINDS, REASONS};
use crate::rules::access::Role;
use crate::rules::division::Category;
use crate::rules::life::{FlagReason, How, RulingKind};
use crate::rules::people::EntryState;
use crate::rules::place::Running;
use crate::rules::window::Window;
use crate::rules::workout::{Attempts, Format, Publish};
use jiff::Timestamp;

/// How an attestation was given.
#[must_use]
pub fn how(how: How) -> &'static str {
    match how {
        How::SignedIn => "signed_in",
        How::PaperSheet => "paper_sheet",
        How::Video => "video",
    }
}

/// Why a score is doubted.
#[must_use]
pub fn reason(reason: FlagReason) -> &'static str {
    REASONS.iter().find(|(_, r)| *r == reason).map_or("other", |(word, _)| word)
}

/// The kind of a ruling.
#[must_use]
pub fn kind(kind: RulingKind) -> &'static str {
    KINDS.iter().find(|(_, k)| *k == kind).map_or("stands", |(word, _)| word)
}

/// How an entry takes part.
#[must_use]
pub fn entry_state(state: EntryState) -> &'static str {
    match state {
        EntryState::Active => "active",
        EntryState::Withdrawn => "withdrawn",
        EntryState::Removed => "removed",
        EntryState::Guest => "guest",
    }
}

/// A format.
#[must_use]
pub fn format(format: Format) -> &'static str {
    match format {
        Format::Amrap => "amrap",
        Format::ForTime => "for_time",
        Format::MaxLoad => "max_load",
        Format::MaxCount => "max_count",
        Format::Intervals => "intervals",
    }
}

/// When others see scores.
#[must_use]
pub fn publish(publish: Publish) -> &'static str {
    match publish {
        Publish::Live => "live",
        Publish::AtClose => "at_close",
    }
}

/// Which attempt counts.
#[must_use]
pub fn attempts(attempts: Attempts) -> &'static str {
    match attempts {
        Attempts::Best => "best",
        Attempts::Last => "last",
        Attempts::One => "one",
    }
}

/// A category.
#[must_use]
pub fn category(category: Category) -> &'static str {
    match category {
        Category::Women => "women",
        Category::Men => "men",
        Category::Any => "any",
    }
}

/// A role.
#[must_use]
pub fn role(role: Role) -> &'static str {
    match role {
        Role::Organiser => "organiser",
        Role::Referee => "referee",
        Role::Staff => "staff",
        Role::Judge => "judge",
        Role::Athlete => "athlete",
    }
}

/// With or without running workouts.
#[must_use]
pub fn running(running: Running) -> &'static str {
    match running {
        Running::With => "with",
        Running::Without => "without",
    }
}

/// Where a window is at an instant.
#[must_use]
pub fn phase(window: &Window, now: Timestamp) -> &'static str {
    if window.closed(now) {
        "closed"
    } else if window.opened(now) {
        "running"
    } else {
        "announced"
    }
}
