//! What the gym's desk says: its pages, and ([`Script`]) what its script says while somebody types.
//! `{name}` is filled by [`crate::words::put`], in the script by its own `put`.

texts! {
    /// The texts of the desk's pages.
    Desk, DESK [
        /// What the script says.
        script_words: &'static Script = &SCRIPT,
    ]:
    judge_title: "Who judged?",
    judge: "Judge of the next results",
    judge_hint: "Name or code; empty: the results wait for a judge",
    judge_use: "Use this judge",
    judge_unknown: "No judge here goes by {typed}. Pick one of the list, or write the code.",
    judge_several: "Several judges fit {typed}. Pick one of the list, or write the code.",
    judge_now: "{judge} vouches for what is saved next.",
    judge_none: "Nobody yet: results wait for a judge.",
    result_of: "Result of {name}, {workout}",
    level_of: "Level of {name}, {workout}",
    save: "Save",
    visiting: "from another gym",
    awaiting: "Awaiting a judge: {n}",
    fields_here: "Type the results of this workout here",
    vouch_hint: "Tick what the judge has counted and signed.",
    vouch_statement: "I have seen a signed sheet, or the judge, for every result that is ticked.",
    vouch_button: "Vouch for all that is ticked",
    vouch_none: "Nothing is ticked: tick the results that the judge vouches for.",
    vouch_needs_statement: "Tick the statement too: the judge stands for these figures.",
    vouch_needs_judge: "Name the judge who counted.",
    vouched: "Vouched for: {n}.",
    vouch_left: "Not vouched for: {n}. The others are stored.",
    vouch_gone: "It does not wait for a judge any more.",
    vouch_sheet: "Sheet {sheet} was typed.",
    vouch_one: "{name} ({bib}): {why}",
    closes: "Closes {at}.",
    vouch_until: "Judges can vouch until {at}.",
    take_back_title: "Take this score back",
    take_back_about: "It loses its place. The history keeps what was stored, and another result can be entered afterwards.",
    take_back_button: "Yes, take it back",
    taken_back: "Taken back. The history keeps what was stored.",
    take_back_changed: "This score was changed meanwhile, so nothing is taken back yet. What is stored now stands below.",
    links: "Also here",
    sheets_link: "Judge's sheets of this gym",
    heats_link: "Heats: lanes, starts and judges",
    receipt_link: "Receipt: all that is stored",
    missing_link: "Messages to those who are missing",
    receipt: "Receipt of {gym}",
    receipt_about: "What the service has stored for this gym, as of {at}, state {seq} of the competition's log. The log's position shows each result's last change.",
    receipt_caption: "{workout}: {settled} of {all} settled",
    receipt_result: "Result",
    receipt_state: "State",
    receipt_judge: "Judge",
    receipt_at: "Received",
    receipt_position: "Log position",
    receipt_nothing: "nothing",
    missing: "Missing at {gym}",
    missing_about: "One message each, ready to paste into a chat. The service sends nothing by itself.",
    missing_none: "Nobody is missing in a workout that is open.",
    missing_of: "{name}, {bib}",
    missing_message: "Hello {name}, your result of “{workout}” ({competition}) is not in yet. {gym} can enter it until {at}. If you are not doing it, please tell us, then we note that.",
    back: "Back to the desk",
    copy: "Copy",
    copied: "Copied",
}

texts! {
    /// The texts of the desk's script.
    Script, SCRIPT:
    grid: "All workouts of this gym, an athlete a row",
    athlete: "Athlete",
    saved_at: "Saved {time}",
    undo: "Undo",
    undone: "Taken back {time}",
    undo_failed: "Not taken back: {why}",
    sending: "Sending",
    kept: "No network. Kept on this device, and sent when the network is back.",
    retry: "The service did not answer. Kept on this device; sent again in a moment.",
    typed: "Typed, not saved yet",
    undo_unsure: "No answer came, so it may be taken back or not. Press “Undo” again: it cannot be taken back twice.",
    undo_again: "the service did not answer. Try again.",
    unsent_none: "Nothing waits to be sent.",
    tick_all: "Tick all",
    tick_none: "Tick none",
    level_of: "Level of {name}, {workout}",
    unsent_one: "1 not sent yet",
    unsent: "{n} not sent yet",
    send_one: "Send it",
    send_all: "Send all {n}",
    offline: "No network: nothing is lost, go on typing.",
    would_be: "Would be {ordinal} of {of} in {division}.",
    reads: "Reads as {text}.",
    placed: "{ordinal} of {of} in {division}.",
    same: "Stored already.",
    yes: "Yes, it is right",
    waits: "Waits for a judge, in the list below: it has a place once one vouches for it.",
    late: "Late: it is stored without a place, until the organiser lets it in.",
    changed_by: "Changed by {who} to {theirs}. Yours is {ours}. Which one holds?",
    taken_by: "Taken back by {who}, so nothing is stored. Yours is {ours}. Which one holds?",
    somebody: "somebody else",
    keep: "Keep theirs",
    take: "Save yours",
    kept_theirs: "Theirs is kept.",
    signed_out: "You are signed out. What you typed is kept on this device.",
    sign_in: "Sign in again",
    not_stored: "Not stored: {why}",
    out: "Takes no part",
    noting_unsure: "No answer came, so it may be done or not. We look again and tell you here.",
    not_noted: "It is not done. Try again.",
    judge_of: "Judge of {name}, {workout}",
    visiting: "from another gym",
    sheet_of: "Sheet of {name}, {workout}",
    sheet: "Sheet",
    sheet_needs_judge: "Name the judge who signed the sheet, or leave the sheet empty.",
    in_again: "Takes part after all",
    take_back: "Take back",
    take_back_ask: "Take back {text}? It loses its place; the history keeps it.",
    take_back_yes: "Yes, take it back",
    take_back_no: "Keep it",
    reason: "Why is it better?",
    reason_of: "Reason for {name}",
    found_out: "{name} is noted as taking no part here.",
    found_locked: "Stored already: {text}. {state}: only a referee changes it.",
    correct: "Correct",
    next: "Next",
    letters: "abc",
    digits: "123",
    pad: "Signs that the keyboard hides",
    judge_now: "{judge} vouches for what is saved next.",
    judge_none: "Nobody yet: results wait for a judge.",
    judge_unknown: "No judge here goes by {typed}. Pick one of the list, or write the code.",
    judge_several: "Several judges fit {typed}. Pick one of the list, or write the code.",
    pasted: "Pasted: {n}. Check them, then send.",
    pasted_left: "Left out: {n}. Those rows are settled, or there is no row.",
    keep_stored: "Keep {text}",
    ask_again: "The service did not answer. Try again.",
    no_bib: "Nobody here has bib {bib}.",
    summary: "{settled} of {all} settled, {waiting} awaiting a judge, {missing} missing",
    all_done: "All {all} settled. You can go home.",
    second: "{n}\u{a0}s",
    minute: "{n}\u{a0}min",
    hour: "{n}\u{a0}h",
    day: "1 day",
    days: "{n} days",
    ordinal_one: "{n}st",
    ordinal_two: "{n}nd",
    ordinal_few: "{n}rd",
    ordinal_other: "{n}th",
    leave: "Not sent yet: {n}. Signing out deletes them from this device. Sign out all the same?",
    still_there: "No network, so you are still signed in. Try again when there is one.",
    not_now: "No network, so nothing is vouched for yet. Your ticks stay: try again when there is one.",
    left_over: "Bib {bib}, {workout}: {text} was typed here and never sent, and results of it are not taken here any more. Tell the organiser if it should count.",
    drop: "Delete it",
}

impl Desk {
    /// Asked before signing out with results that are not sent.
    #[must_use]
    pub fn leave(&self) -> &'static str {
        self.script_words.leave
    }

    /// Said where signing out does not reach the service.
    #[must_use]
    pub fn still_there(&self) -> &'static str {
        self.script_words.still_there
    }

    /// The script's texts as JSON.
    #[must_use]
    pub fn script(&self) -> String {
        serde_json::to_string(self.script_words).unwrap_or_default()
    }
}
