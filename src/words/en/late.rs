//! What is said of a score that came after the close, and what happens next: at the desk (its
//! script too), on its receipt, on the form of the score.

texts! {
    /// Every sentence about lateness in one language.
    Late, LATE:
    stored: "Came {late} after the close: stored, without a place. The organiser decides, and the decision shows here.",
    refused: "Came {late} after the close, and the organiser has not let it in. It stays in the history and can still be let in: write to the organiser.",
    counted: "Received {late} after the close; it counts.",
    correction: "A correction to {text} came too late and waits for the organiser. Until then {now} holds.",
    correction_refused: "A correction to {text} came too late, and the organiser has not let it in. {now} holds.",
    attestation: "The word of judge {judge} came too late and waits for the organiser.",
    rows_one: "1 row came after the close: stored as late, without a place, until the organiser lets it in.",
    rows: "{n} rows came after the close: stored as late, without a place, until the organiser lets them in.",
}
