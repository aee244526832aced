//! What a judge's sheet says, and the page around it.

macro_rules! sheet {
    ($($name:ident: $text:literal,)*) => {
        /// Every text of the judge's sheet in one language.
        pub struct Sheet {
            $(#[doc = concat!("In English: “", $text, "”")] pub $name: &'static str,)*
        }

        /// English.
        pub const SHEET: Sheet = Sheet { $($name: $text,)* };
    };
}

sheet! {
    title: "Judge's sheet: {workout}",
    intro: "One side of paper for each athlete. Print it from your browser at 100 %, without the browser's own headers and footers.",
    nobody: "Nobody of this gym is left to do this workout. Print a sheet without a name for walk-ins.",
    link: "Judge's sheet, to print",
    all: "All",
    division: "Division",
    level: "Level",
    own_level: "Each division's own",
    paper: "Paper",
    paper_a4: "A4",
    paper_letter: "Letter",
    show: "Show the sheet",
    blank_link: "A sheet without a name",
    named_link: "A sheet for each of {gym}",
    sheets_of: "Sheets: {n}",

    athlete: "Athlete",
    bib: "Bib",
    judge: "Judge",
    gym: "Gym",
    date: "Date",
    heat: "Heat",
    lane: "Lane",
    start: "Start",
    tick: "Level done (tick one):",
    no_loads: "no load or height given",
    load_used: "Load used",
    done: "What is done",
    then: "; ",
    rest: "rest {time}",
    by_time: "done by {time}",
    round: "Round",
    every: "Too many rounds for one page: every {n}th is shown. Reps of a round begun are added to the last whole one.",
    rounds_only: "The total after each round. Reps of a round begun are added to it.",
    totals_caption: "All reps done when a station is done",
    totals_left: "Each number is all reps done by then; beside it what is left of {total}.",
    totals: "Each number is all reps done by then.",
    left: "{n} left",
    box_time: "A box beside a number: write the clock's time when that number is done.",
    markers: "Write the clock's time at these reps:",
    time_of: "Time of the best lift or the last rep",
    attempts: "Attempts: write each load; tick it when it is good, cross it when it is missed",
    lift: "Lift",
    tens: "Reps: strike each ten through when it is done",
    reading: "What the monitor shows at the end",
    intervals: "Write the figure of each interval at its end",
    sum: "Together so far",
    no_reps: "No-reps (one stroke each; they do not count)",
    result: "Result",
    write: "Write it like this: {example}",
    write_capped: "Not finished in time: the reps done, like this: {example}",
    sign_athlete: "Athlete agrees (signature)",
    sign_judge: "Judge vouches for it (signature)",
    mistakes: "Mistakes are struck through and initialled, not erased.",
    emergency: "Emergency:",
    emergency_blank: "Emergency number, address, defibrillator:",
    stop: "Anyone may stop an athlete; the score is the reps done to then.",
    stamp: "Made from the file applied at {seq} of the log of {competition}",
}
