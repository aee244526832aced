//! What the desk's page for a CSV file says.

texts! {
    /// Every text of the desk's page for files in one language.
    DeskFile, DESK_FILE:
    link: "Results from a spreadsheet, and into one",
    title: "Results of {gym} as a file",
    out_title: "Take them along",
    out_about: "All athletes of this gym in one workout with what is stored, for any spreadsheet. Fill in what is missing and send the file back below.",
    out_link: "{workout} as CSV",
    in_title: "Send many at once",
    in_about: "Choose a CSV file or paste rows with their header. Every row is taken or refused by itself, rows without a result are passed over, and sending the same rows twice changes nothing. Other figures than those stored need “yes” in the column revise.",
    workout: "Workout",
    outcome: "{taken} stored, {unchanged} as they were, {refused} refused.",
    empty: "{n} without a result were passed over.",
    empty_one: "1 without a result was passed over.",
}
