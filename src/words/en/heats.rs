//! What the page of a gym's heats says.

macro_rules! heats {
    ($($name:ident: $text:literal,)*) => {
        /// Every text of the page of heats in one language.
        pub struct Heats {
            $(#[doc = concat!("In English: “", $text, "”")] pub $name: &'static str,)*
        }

        /// English.
        pub const HEATS: Heats = Heats { $($name: $text,)* };
    };
}

heats! {
    link: "Heats",
    title: "Heats of {workout}",
    none: "No heats yet. Say how many lanes there are and when the first heat starts: everybody of the gym gets a place.",
    nobody: "Nobody of this gym is entered for this workout.",
    heat: "Heat {n}",
    starts: "starts {at}",
    caption: "Lanes of heat {n}: who starts, and who counts",
    lane: "Lane",
    athlete: "Athlete",
    division: "Division",
    judge: "Judge",
    no_judge: "nobody yet",
    without_place: "Without a place: {names}",
    sheets: "Judge's sheets in this order, to print",
    make: "Make the heats",
    make_again: "Make them anew",
    make_again_hint: "Everybody gets a new place; what was changed by hand is lost.",
    lanes: "Lanes",
    lanes_hint: "How many athletes start together",
    minutes: "Minutes apart",
    minutes_hint: "From one start to the next",
    start: "First start",
    start_hint: "In {zone}",
    judging: "Who counts",
    judging_previous: "The athletes of the heat before who are judges; else the gym's judges",
    judging_judges: "The gym's judges in turn",
    change: "Change places and judges",
    change_hint: "An empty heat takes somebody out. Lanes of one heat differ; nobody counts for themselves or while in the same heat.",
    heat_n: "Heat",
    save: "Save the changes",
    remove: "Take the heats away",
    back: "Back to the desk",
    start_missing: "Say the day and the time of the first start.",
}
