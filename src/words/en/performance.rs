//! Figures that cannot be, are asked about, or are only remarked on; schemes, markers, gaps.

/// Code and sentence, by code.
pub const SENTENCES: &[(&str, &str)] = &[
    ("block_number", "part {number}"),
    ("block_stations", "A block needs 1 to {most} stations."),
    ("by_zero", "Nothing can be done by 0:00: write a time on the running clock, like 4:00."),
    ("cap_left", "{left} left: {done} of {all} done."),
    ("cap_unreadable", "“{text}”: write the reps done after cap, like cap 148, or those left, like cap+12."),
    ("count_not_whole", "“{text}” is not a whole number: write digits only, without separators."),
    ("count_too_large", "{count} is more than {most}, the most that is counted: make it smaller."),
    ("count_unit", "“{text}” is in another unit than this workout counts: did you mean {right}?"),
    ("counts_once", "counts = {count}: a stretch counts once (1) or not at all (0); for more write reps."),
    ("deduct_no_rate", "This workout publishes no seconds for a rep: give the seconds that are added."),
    ("deduct_one_of", "Give reps or seconds, not both."),
    ("deduct_past_cap", "{time} with this added passes the cap of {cap}: rule replace, with the reps done at the cap."),
    ("deduct_replace", "Nothing can be deducted from these figures: rule replace, with the right ones."),
    ("deduct_reps_needed", "Say how many reps are taken off, at least 1."),
    ("deduct_seconds_from_reps", "Seconds can only be added to a finish time: say how many reps are taken off."),
    (
        "deduct_tiebreak",
        "{old} was taken at a point that is no longer reached: give the clock when {when}, or say that there is none.",
    ),
    ("deduct_tiebreak_both", "Give the tiebreak time or say that there is none, not both."),
    ("deduct_time_needed", "Say how many reps or seconds are taken, at least 1."),
    ("deduct_too_many", "{reps} cannot be taken off {total}: take off at most {total}, or strike the score."),
    ("figure_too_large", "This figure is too large to be placed: check the digits."),
    (
        "figures_beside",
        "“{text}”: two figures stand beside each other. Write + between rounds and reps, and tb before a tiebreak.",
    ),
    ("form_amrap", "“{text}” does not say rounds and reps: write it like {example}, or all reps, like {other}."),
    (
        "form_for_time",
        "“{text}” is neither a finish time nor reps: write a time like {example}, or what was done at the cap, like {other}.",
    ),
    ("form_intervals", "“{text}” does not say what each interval was: write one figure for each, like {example}."),
    ("form_max_count", "“{text}” is not a count: write it like {example}."),
    ("form_max_load", "“{text}” is not a load: write it like {example}, or {other}."),
    ("gap_calories", "{n} cal"),
    ("gap_level", "a level"),
    ("gap_load", "{load} {unit}"),
    ("gap_metres", "{n} m"),
    ("gap_rep", "{n} rep"),
    ("gap_reps", "{n} reps"),
    ("gap_tiebreak", "{time} on the tiebreak"),
    ("gap_tiebreak_missing", "a tiebreak time"),
    ("gap_tied", "tied"),
    ("gap_time", "{time}"),
    ("gap_to_finish", "{n} reps to the finish"),
    ("gap_to_finish_one", "{n} rep to the finish"),
    ("interval_after_cap", "{time} is longer than the cap of {cap}: check the sheet."),
    ("interval_count", "“{text}” is not a count: write whole numbers, like 21, one for each interval."),
    ("intervals_needed", "{expected} intervals are needed, {got} given: write them like {example}."),
    ("kg_or_lb", "{load} kg is at least twice the heaviest so far in this division ({heaviest} kg): {load} lb?"),
    (
        "ladder_below_zero",
        "Station {station} of the ladder falls below 0 after round {last}: write fewer rounds, or a smaller step.",
    ),
    ("ladder_needs_rounds", "This ladder goes down, so it ends: write its rounds."),
    ("ladder_start", "start has {got} counts for {stations} stations: give one for each."),
    ("ladder_step", "step has {got} numbers for {stations} stations: give one for all, or one for each."),
    ("left_beyond", "{left} left? The whole workout is {all} reps: check the sheet."),
    ("lengths_per_zero", "per = 0 is no length: write the metres of one length, like per = 15."),
    ("lengths_uneven", "{metres} metres are no whole number of lengths of {per}: change metres or per."),
    ("level_too_low", "A competition has at most {most} levels."),
    (
        "lifts_needed",
        "{expected} loads are needed, {got} given: write {lifts} in this order, like {example}, with x for a missed one.",
    ),
    ("list_rows", "A list needs 1 to {most} rows, one for each round."),
    (
        "list_width",
        "Row {round} of the list has {got} counts for {stations} stations: give one for each, 0 for a station left out.",
    ),
    ("load_needs_unit", "{text} needs its unit: write {text} kg or {text} lb."),
    ("load_off_step", "{load} is not a multiple of {step}: check the plates."),
    ("load_thousands", "“{text}” can be read in two ways: write {whole}, or {decimal}."),
    ("load_too_heavy", "{text} is more than 10 000 kg: check the digits."),
    ("load_unreadable", "“{text}” is not a load: write a number and kg or lb, like 102.5 kg or 225 lb."),
    ("marker_block", "{block} ended"),
    ("marker_block_round", "round {round} of {block} ended"),
    ("marker_block_station", "the {movement} of round {round} of {block} ended"),
    ("marker_block_station_only", "the {movement} of {block} ended"),
    ("marker_rep", "rep {total} was done"),
    ("marker_round", "round {round} ended"),
    ("marker_station", "the {movement} of round {round} ended"),
    ("marker_station_only", "the {movement} ended"),
    (
        "more_than_a_round",
        "{reps} reps is more than a round of {size} here: write {rounds}+{rest}, or check the sheet.",
    ),
    (
        "more_than_the_workout",
        "{total} is more than the {all} reps of the whole workout: write a time, or the reps done, like {example}.",
    ),
    ("number_decimals", "“{text}” has more than two decimals: write at most two."),
    ("number_not_whole", "“{text}” is not a whole number: write digits only, like 148."),
    ("number_too_large", "“{text}” is too large: check the digits."),
    ("number_unreadable", "“{text}” is not a number: write digits, like 102.5."),
    ("object_mixed", "More than one kind of figure is given: send the members of one format only."),
    ("object_rounds_and_reps", "rounds and reps belong together: send both (reps may be 0), or total_reps."),
    ("one_lift", "{got} loads are given: this workout takes the best one, like {example}."),
    ("pair_apart", "{kg} and {lb} cannot be one load: {kg} is {kg_in_lb} lb, {lb} is {lb_in_kg} kg. Mend one of them."),
    (
        "pair_odd",
        "{kg} and {lb} are more than 6 % apart: {kg} is {kg_in_lb} lb, {lb} is {lb_in_kg} kg. Check both figures.",
    ),
    ("performance_empty", "Write what was done."),
    ("performance_too_long", "This is longer than {most} characters: write only the performance."),
    ("performance_unreadable", "“{text}” is not a performance."),
    ("rest_zero", "A rest of 0:00 is none: write its length, like 1:00, or leave the block out."),
    ("round_counts_nothing", "Round {round} counts nothing: every round must count at least 1."),
    ("rounds_beyond", "{rounds} rounds and {reps} reps are more than the {most} reps there are here: check the sheet."),
    ("rounds_dash", "“{text}”: for {rounds} rounds and {reps} reps write {rounds}+{reps}."),
    ("rounds_dot", "“{text}”: for {rounds} rounds and {reps} reps write {rounds}+{reps}."),
    ("rounds_not_counted", "Rounds are not counted in this workout: write all reps, like {example}."),
    ("rounds_zero", "rounds = 0 is no work: write 1 or more."),
    ("scheme_blocks", "More than {most} blocks: write repeated ones once, with rounds."),
    ("scheme_empty", "A workout needs at least one block with stations: write stations = [ … ]."),
    ("scheme_endless_last", "Only the last block can go on without end: write rounds = n here, or move it last."),
    ("scheme_needs_end", "Only an amrap goes on without end: write rounds = n here."),
    (
        "scheme_needs_endless",
        "An amrap goes on without end: write repeat = \"round\" in its last block, or a ladder without rounds.",
    ),
    ("scheme_too_large", "The whole scheme counts more than {most} reps: make it smaller, or count longer lengths."),
    (
        "spreadsheet_changed",
        "“{text}”: your spreadsheet changed this into a number or date. Format the column as text and paste again.",
    ),
    ("spreadsheet_hour", "{hours} hour"),
    ("spreadsheet_hours", "{hours} hours"),
    ("spreadsheet_time", "{time} is {hours}. Spreadsheets add :00; did you mean {before}?"),
    ("station_count", "{movement}: say how it counts, with reps, calories, metres and per, or counts = 1 or 0."),
    (
        "station_first_round",
        "{given} is given here, but the first round counts {first}: give the same number, or leave it out.",
    ),
    ("station_movement", "This station has no movement: say what is done."),
    ("station_number", "{movement} (station {number})"),
    ("tiebreak_after_cap", "{time} is after the cap; the tiebreak is when {when}."),
    ("tiebreak_after_cap_plain", "{time} is after the cap of {limit}."),
    ("tiebreak_after_finish", "{time} is not before the finish at {limit}; the tiebreak is when {when}."),
    ("tiebreak_before_finish", "No tiebreak is taken before the finish here: leave the time out."),
    ("tiebreak_colon", "Tiebreak “{text}”: write minutes:seconds, {mended}."),
    ("tiebreak_empty", "tb needs a time: write it like tb 11:24, or leave tb out."),
    ("tiebreak_ignored", "The tiebreak serves those who did not finish: it is kept, but does not count here."),
    (
        "tiebreak_missing",
        "No tiebreak time: this stands after all with the same count who have one. It is the clock when {when}.",
    ),
    ("tiebreak_missing_plain", "No tiebreak time: this stands after all with the same figure who have one."),
    (
        "tiebreak_no_marker",
        "No tiebreak was reached yet: the first is at {first} reps. Leave the time out, or check the count.",
    ),
    ("tiebreak_none", "This workout has no tiebreak: leave the tiebreak time out."),
    ("tiebreak_nothing", "Nothing was counted, so there is no tiebreak: leave the time out."),
    ("tiebreak_pace", "At {time} the athlete had {done}, then {after} in {rest}: is {time} an earlier round's time?"),
    ("tiebreak_zero", "0:00 is no tiebreak time: it is the clock when {when}."),
    ("tiebreak_zero_plain", "0:00 is no tiebreak time: write the clock, or leave it out."),
    ("time_after_cap", "{time} is after the cap of {cap}: who has not finished by then is given reps, like {example}."),
    ("time_decimals", "“{text}” has more than three decimals: write at most three."),
    ("time_one_digit", "“{text}”: write the seconds with two digits, like {mended}."),
    ("time_seconds", "“{text}”: seconds go up to 59. Write {mended}, or check the sheet."),
    ("time_too_long", "“{text}” is longer than 99:59:59: check the hours."),
    ("time_unreadable", "“{text}” is not a time: write minutes:seconds, like 9:32 or 9:32.4."),
    ("time_without_colon", "{spoken}? Write {time}."),
    ("time_zero", "0:00 is no time: write how long it took."),
    ("total_as_rounds", "{rounds} rounds? If {rounds} is the total, write {rounds} reps."),
    ("total_beyond", "{total} is more than {most}, the most that can be counted here: check the digits."),
    ("whole_round", "{reps} reps is a whole round here: write {rounds}+{rest}."),
    ("whole_workout", "{total} is the whole workout: then a time is needed, or one rep less."),
];

const ONES: [&str; 20] = [
    "zero",
    "one",
    "two",
    "three",
    "four",
    "five",
    "six",
    "seven",
    "eight",
    "nine",
    "ten",
    "eleven",
    "twelve",
    "thirteen",
    "fourteen",
    "fifteen",
    "sixteen",
    "seventeen",
    "eighteen",
    "nineteen",
];
const TENS: [&str; 10] = ["", "", "twenty", "thirty", "forty", "fifty", "sixty", "seventy", "eighty", "ninety"];

/// A number below 100 in words, others in digits.
///
/// ```
/// use tallywright::words::en::number_word;
///
/// assert_eq!(number_word(9), "nine");
/// assert_eq!(number_word(32), "thirty-two");
/// assert_eq!(number_word(148), "148");
/// ```
#[must_use]
pub fn number_word(n: u64) -> String {
    let Ok(i) = usize::try_from(n) else { return n.to_string() };
    match (ONES.get(i), TENS.get(i / 10), ONES.get(i % 10)) {
        (Some(word), ..) => (*word).to_owned(),
        (None, Some(tens), _) if i % 10 == 0 => (*tens).to_owned(),
        (None, Some(tens), Some(ones)) => format!("{tens}-{ones}"),
        _ => n.to_string(),
    }
}

/// A time as one would say it: 572 seconds are "Nine minutes thirty-two".
#[must_use]
pub fn spoken_time(seconds: u64) -> String {
    let unit = |n: u64, one: &str, many: &str| format!("{} {}", number_word(n), if n == 1 { one } else { many });
    let (hours, minutes, rest) = (seconds / 3600, seconds % 3600 / 60, seconds % 60);
    let mut parts = Vec::new();
    if hours > 0 {
        parts.push(unit(hours, "hour", "hours"));
    }
    if minutes > 0 {
        parts.push(unit(minutes, "minute", "minutes"));
    }
    match (rest, parts.is_empty()) {
        (0, false) => {}
        (_, false) => parts.push(number_word(rest)),
        (_, true) => parts.push(unit(rest, "second", "seconds")),
    }
    let said = parts.join(" ");
    let mut letters = said.chars();
    letters.next().map_or_else(String::new, |first| first.to_uppercase().chain(letters).collect())
}
