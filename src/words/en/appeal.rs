//! What an athlete's page says of appeals against rulings.

texts! {
    /// Every text of appeals in one language.
    AppealWords, APPEAL:
    title: "Appeal the ruling",
    about: "A referee who had no part in this decides. State and place stay as they are until then. There is one appeal, and what it comes to is final.",
    until: "Possible until {at}.",
    reason: "Why the ruling is not right",
    reason_hint: "What was done, what the sheet or video shows. The referees read it, others do not.",
    button: "Appeal",
    sent: "Your appeal is with the referees. Their decision will stand here, with its reason.",
    open: "Since {at}: waits for a decision",
    decided: "Decided; the ruling above is final",
    over: "Could be appealed until {at}",
    could: "Can be appealed until {at}",
    changed: "This score was changed meanwhile. Look at it again; your appeal is not sent yet.",
}
