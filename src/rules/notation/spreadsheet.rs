//! What spreadsheets make of a performance behind their user's back: dates, fractions of a day,
//! times of day, powers of ten, rows of `#`.

use crate::rules::quantity::all_digits;

/// The first three letters of months in languages of the trade's larger countries.
const MONTHS: [&str; 32] = [
    "jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec", "ene", "abr", "ago", "set",
    "out", "dez", "dic", "fev", "mai", "fév", "avr", "jui", "aoû", "déc", "mär", "okt", "mrt", "maj", "mag", "giu",
];

/// Whether a compact text is what a spreadsheet leaves: `0.397222`, `12-may`, `2027-05-12`,
/// `12/05/2027`, `9:32:00am`, `1.2e+05`, `####`, `#value!`.
pub(in crate::rules) fn changed_by_spreadsheet(text: &str) -> bool {
    text.starts_with('#') || day_fraction(text) || time_of_day(text) || power_of_ten(text) || date(text)
}

/// More decimals than any figure here has.
fn day_fraction(text: &str) -> bool {
    text.split_once(['.', ',']).is_some_and(|(units, decimals)| {
        all_digits(units) && all_digits(decimals) && (decimals.len() > 3 || units == "0" && decimals != "0")
    })
}

fn time_of_day(text: &str) -> bool {
    text.contains(':') && ["am", "pm", "a.m.", "p.m."].iter().any(|half| text.ends_with(half))
}

fn power_of_ten(text: &str) -> bool {
    text.split_once('e').is_some_and(|(number, power)| {
        let number_fits = number.split(['.', ',']).all(all_digits);
        number_fits && power.strip_prefix(['+', '-']).is_some_and(all_digits)
    })
}

fn date(text: &str) -> bool {
    let fields: Vec<&str> = text.split(['-', '/', '.', ' ', ',']).filter(|f| !f.is_empty()).collect();
    let year = |f: &&str| f.len() == 4 && all_digits(f);
    let numbers = fields.len() == 3 && fields.iter().all(|f| all_digits(f));
    let signs = ['-', '/', '.'].iter().any(|sign| text.matches(*sign).count() == 2);
    let in_numbers = numbers && signs && (text.contains('-') || fields.iter().any(year));
    in_numbers || text.contains(|c: char| c.is_ascii_digit()) && named_month(text)
}

/// Whether the letters of a text are the name of a month: `12-may`, `sept.2027`.
fn named_month(text: &str) -> bool {
    let words: Vec<&str> = text.split(|c: char| !c.is_alphabetic()).filter(|w| !w.is_empty()).collect();
    let [word] = words[..] else { return false };
    let start: String = word.chars().take(3).collect();
    word.chars().count() >= 3 && MONTHS.contains(&start.as_str())
}
