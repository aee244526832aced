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
    asked_below: "Some rows are asked about. Each question stands once below the field: a tick there is a yes for all rows that have it.",
    asked_about: "Tick what is right in every row that has the question, and send the rows again. Where it is right in some of them only, mend the others in the field first. A question is told as of its first row.",
    asked_rows: "Rows that have it: {n}.",
    asked_held: "What you have answered with yes goes along with what you send next. Take the tick away where it is not right.",
    held_spreadsheet_time: "Answered with yes: the time without the :00 that a spreadsheet has added is meant.",
    held_time_without_colon: "Answered with yes: the digits without a colon are a time.",
    held_total_as_rounds: "Answered with yes: so many rounds are right.",
    held_tiebreak_pace: "Answered with yes: the tiebreak's time is right, though the rest took so long.",
    held_kg_or_lb: "Answered with yes: so heavy a load is right, and in kilograms.",
    asked_yes: "Yes, it is right in all of them.",
    empty: "{n} without a result were passed over.",
    empty_one: "1 without a result was passed over.",
}
