//! The bodies that the API takes, for its description. They are read member by member, all faults
//! at once, by [`crate::actions::body`]; a test holds the two together.

use utoipa::ToSchema;

/// A performance as an object: the members of the workout's format.
#[derive(ToSchema)]
#[schema(as = Figures)]
#[serde(deny_unknown_fields)]
pub struct FiguresForm {
    /// Whole rounds, with `reps`.
    #[schema(required = false, minimum = 0, maximum = 9_007_199_254_740_991_i64, example = 6)]
    pub rounds: Option<i64>,
    /// Reps of the next round, with `rounds`.
    #[schema(required = false, minimum = 0, maximum = 9_007_199_254_740_991_i64, example = 14)]
    pub reps: Option<i64>,
    /// All reps.
    #[schema(required = false, minimum = 0, maximum = 9_007_199_254_740_991_i64)]
    pub total_reps: Option<i64>,
    /// A finish time.
    #[schema(required = false)]
    pub time: Option<String>,
    /// Loads with their unit; `x` for a missed lift.
    #[schema(required = false)]
    pub loads: Option<Vec<String>>,
    /// A count.
    #[schema(required = false, minimum = 0, maximum = 9_007_199_254_740_991_i64)]
    pub count: Option<i64>,
    /// A figure for each interval.
    #[schema(required = false)]
    pub intervals: Option<Vec<String>>,
    /// The tiebreak time.
    #[schema(required = false, example = "11:24")]
    pub tiebreak: Option<String>,
}

/// A performance: in writing, or as an object.
#[derive(ToSchema)]
#[schema(as = PerformanceIn)]
#[serde(untagged)]
pub enum PerformanceIn {
    /// In writing.
    Text(String),
    /// As an object.
    Figures(FiguresForm),
}

/// A score as sent.
#[derive(ToSchema)]
#[schema(as = Score, example = json!({
    "performance": "6+14 tb 11:24", "performed_at": "2027-01-16T10:40:00Z", "gym": "quayside", "no_reps": 3,
    "attestation": { "judge": "J-0142", "how": "paper_sheet", "sheet": "B7" }
}))]
#[serde(deny_unknown_fields)]
pub struct ScoreForm {
    /// What was done.
    pub performance: PerformanceIn,
    /// Default: the attempt whose `etag` is in `If-Match`, else the one that counts, else the latest, else 1.
    #[schema(required = false, minimum = 1, maximum = 1000)]
    pub attempt: Option<i64>,
    /// Default: the division's.
    #[schema(required = false)]
    pub level: Option<String>,
    /// Default: receipt, or one second before the deadline if that is earlier.
    #[schema(required = false, value_type = Option<String>, format = DateTime)]
    pub performed_at: Option<String>,
    /// Where; default: the entry's gym.
    #[schema(required = false)]
    pub gym: Option<String>,
    /// No-reps called; an empty text takes a count that is stored away.
    #[schema(required = false, minimum = 0, maximum = 1_000_000)]
    pub no_reps: Option<i64>,
    /// Link to a video; an empty text takes the one that is stored away.
    #[schema(required = false)]
    pub video: Option<String>,
    /// Attested in the same request.
    #[schema(required = false)]
    pub attestation: Option<AttestationForm>,
    /// Why; needed for a correction upward after the deadline.
    #[schema(required = false)]
    pub reason: Option<String>,
    /// Codes of questions answered with yes.
    #[schema(required = false)]
    pub confirm: Option<Vec<String>>,
}

/// An attestation as sent.
#[derive(ToSchema)]
#[schema(as = Attestation, example = json!({ "judge": "J-0142", "how": "paper_sheet", "sheet": "B7" }))]
#[serde(deny_unknown_fields)]
pub struct AttestationForm {
    /// Judge code.
    pub judge: String,
    /// How it was given.
    pub how: HowForm,
    /// Sheet number.
    #[schema(required = false)]
    pub sheet: Option<String>,
    /// Default: the attempt whose `etag` is in `If-Match`, else the one that counts, else the latest.
    #[schema(required = false, minimum = 1, maximum = 1000)]
    pub attempt: Option<i64>,
}

/// How an attestation was given.
#[derive(ToSchema)]
#[schema(as = How)]
#[serde(rename_all = "snake_case")]
pub enum HowForm {
    /// The judge was signed in.
    SignedIn,
    /// Signed on a paper sheet.
    PaperSheet,
    /// Counted from a video.
    Video,
}

/// A doubt.
#[derive(ToSchema)]
#[schema(as = Flag, example = json!({ "reason": "range_of_motion", "note": "From 6:40 on the hip stays below the knee." }))]
#[serde(deny_unknown_fields)]
pub struct FlagForm {
    /// Why.
    pub reason: FlagReasonForm,
    /// In words.
    #[schema(min_length = 1, max_length = 2000)]
    pub note: String,
}

/// Why a score is doubted.
#[derive(ToSchema)]
#[schema(as = FlagReason)]
#[serde(rename_all = "snake_case")]
#[expect(missing_docs, reason = "the trade's own words, said in rules::life")]
pub enum FlagReasonForm {
    Count,
    RangeOfMotion,
    Equipment,
    Tiebreak,
    Timing,
    Evidence,
    Identity,
    Other,
}

/// A ruling: the members of its kind.
#[derive(ToSchema)]
#[schema(as = Ruling, example = json!({ "kind": "deduct", "reps": 2, "reason": "Two reps above parallel, at 3:12 and 3:15." }))]
#[serde(deny_unknown_fields)]
pub struct RulingForm {
    /// What is decided.
    pub kind: RulingKindForm,
    /// Public.
    #[schema(min_length = 1, max_length = 2000)]
    pub reason: String,
    /// Decides the appeal.
    #[schema(required = false)]
    pub on_appeal: Option<bool>,
    /// `deduct`: reps taken off.
    #[schema(required = false, minimum = 0, maximum = 1_099_511_627_776_i64)]
    pub reps: Option<i64>,
    /// `deduct`: seconds added to a finish time.
    #[schema(required = false, minimum = 0, maximum = 360_000)]
    pub seconds: Option<i64>,
    /// `deduct`: the right tiebreak, where the marker of the old one is no longer passed.
    #[schema(required = false)]
    pub tiebreak: Option<String>,
    /// `deduct`: or that there is none.
    #[schema(required = false)]
    pub no_tiebreak: Option<bool>,
    /// `replace`: the figures.
    #[schema(required = false)]
    pub performance: Option<PerformanceIn>,
    /// `replace`: the level.
    #[schema(required = false)]
    pub level: Option<String>,
}

/// The kind of a ruling.
#[derive(ToSchema)]
#[schema(as = RulingKind)]
#[serde(rename_all = "snake_case")]
pub enum RulingKindForm {
    /// As before the flag.
    Stands,
    /// Takes reps off.
    Deduct,
    /// Puts other figures.
    Replace,
    /// Off for good.
    Strike,
    /// On appeal: gives back figures and state from before the ruling.
    Restore,
}

/// A reason.
#[derive(ToSchema)]
#[schema(as = Reason, example = json!({ "reason": "The sheet shows 16, not 14." }))]
#[serde(deny_unknown_fields)]
pub struct ReasonForm {
    /// Why.
    #[schema(min_length = 1, max_length = 2000)]
    pub reason: String,
}

/// Whether what came late is let in.
#[derive(ToSchema)]
#[schema(as = Admission, example = json!({ "admit": true, "reason": "Power cut at the gym, told by telephone at 20:50." }))]
#[serde(deny_unknown_fields)]
pub struct AdmissionForm {
    /// In, or not.
    pub admit: bool,
    /// Why.
    #[schema(min_length = 1, max_length = 2000)]
    pub reason: String,
}

/// Later windows for one gym or one region.
#[derive(ToSchema)]
#[schema(as = Extension, example = json!({
    "gym": "quayside", "closes": "2027-01-18T21:00:00Z", "attest_by": "2027-01-19T21:00:00Z", "reason": "Power cut." }))]
#[serde(deny_unknown_fields)]
pub struct ExtensionForm {
    /// For this gym …
    #[schema(required = false)]
    pub gym: Option<String>,
    /// … or this region.
    #[schema(required = false)]
    pub region: Option<String>,
    /// The new deadline.
    #[schema(value_type = String, format = DateTime)]
    pub closes: String,
    /// The new end of attestations.
    #[schema(value_type = String, format = DateTime)]
    pub attest_by: String,
    /// Why.
    #[schema(min_length = 1, max_length = 2000)]
    pub reason: String,
}

/// A gym as sent. Of one that is known already what is left out stays.
#[derive(ToSchema)]
#[schema(as = Gym, example = json!({ "slug": "quayside", "name": "Quayside Hall", "country": "PT",
    "emergency": "Rua do Cais 4; 112; defibrillator at the door" }))]
#[serde(deny_unknown_fields)]
pub struct GymForm {
    /// `[a-z0-9-]`, 1 to 40.
    pub slug: String,
    /// For people.
    pub name: String,
    /// ISO 3166-1 alpha-2.
    pub country: String,
    /// Free text.
    #[schema(required = false)]
    pub region: Option<String>,
    /// IANA zone; default: the competition's.
    #[schema(required = false)]
    pub time_zone: Option<String>,
    /// Name of a contact.
    #[schema(required = false)]
    pub contact: Option<String>,
    /// Of the contact.
    #[schema(required = false)]
    pub email: Option<String>,
    /// Of the contact.
    #[schema(required = false)]
    pub phone: Option<String>,
    /// Address, emergency number, defibrillator.
    #[schema(required = false)]
    pub emergency: Option<String>,
}

/// An entry as sent. Of somebody who is entered already what is left out stays.
#[derive(ToSchema)]
#[schema(as = Entry, example = json!({ "bib": 1042, "name": "Ines Duarte", "born": "1994-05-02", "category": "women",
    "division": "women", "gym": "quayside" }))]
#[serde(deny_unknown_fields)]
pub struct EntryForm {
    /// Left out: the next free one.
    #[schema(required = false, minimum = 1, maximum = 9_999_999)]
    pub bib: Option<i64>,
    /// One full name, as the person writes it.
    pub name: String,
    /// Never given out.
    #[schema(value_type = String, format = Date)]
    pub born: String,
    /// `women` or `men`.
    pub category: String,
    /// Division slug.
    pub division: String,
    /// Gym slug; left out: none.
    #[schema(required = false)]
    pub gym: Option<String>,
    /// Default: the gym's.
    #[schema(required = false)]
    pub country: Option<String>,
    /// Default: the gym's.
    #[schema(required = false)]
    pub region: Option<String>,
    /// Never given out.
    #[schema(required = false)]
    pub email: Option<String>,
    /// Whether others see the name; default true, under 18 false. It shows nobody who is hidden and of age: they may
    /// have hidden the name themselves.
    #[schema(required = false)]
    pub show_name: Option<bool>,
    /// For those under age.
    #[schema(required = false)]
    pub guardian_consent: Option<bool>,
}

/// A judge as sent. Of one who is known already what is left out stays.
#[derive(ToSchema)]
#[schema(as = Judge, example = json!({ "code": "J-0142", "name": "Rita Alves", "valid_from": "2027-01-01", "valid_to": "2027-12-31" }))]
#[serde(deny_unknown_fields)]
pub struct JudgeForm {
    /// Unique in the competition.
    pub code: String,
    /// One full name.
    pub name: String,
    /// Gym slug.
    #[schema(required = false)]
    pub gym: Option<String>,
    /// First valid day.
    #[schema(value_type = String, format = Date)]
    pub valid_from: String,
    /// Last valid day.
    #[schema(value_type = String, format = Date)]
    pub valid_to: String,
    /// Never given out.
    #[schema(required = false)]
    pub email: Option<String>,
}

/// A change of an entry: what is left out stays.
#[derive(ToSchema)]
#[schema(as = EntryChange, example = json!({ "division": "women-40", "reason": "Entered in the wrong division." }))]
#[serde(deny_unknown_fields)]
pub struct EntryChangeForm {
    /// Division slug.
    #[schema(required = false)]
    pub division: Option<String>,
    /// Gym slug; null: none.
    #[schema(required = false)]
    pub gym: Option<String>,
    /// How it takes part.
    #[schema(required = false)]
    pub state: Option<EntryStateForm>,
    /// Why.
    #[schema(min_length = 1, max_length = 2000)]
    pub reason: String,
}

/// How an entry takes part.
#[derive(ToSchema)]
#[schema(as = EntryState)]
#[serde(rename_all = "snake_case")]
pub enum EntryStateForm {
    /// Ranked.
    Active,
    /// Keeps the scores done so far and their places.
    Withdrawn,
    /// All its scores are off every place.
    Removed,
    /// Shown without a place.
    Guest,
}

/// A row of scores: the members of a score, whose it is, and whether it may replace a stored one.
#[derive(ToSchema)]
#[schema(as = ScoreRow, example = json!({ "bib": 1042, "name": "Ines Duarte", "performance": "6+14 tb 11:24" }))]
#[serde(deny_unknown_fields)]
pub struct ScoreRowForm {
    /// Whose; or `name`.
    #[schema(required = false, minimum = 1, maximum = 9_999_999)]
    pub bib: Option<i64>,
    /// Whose; with `bib`: cross-checked.
    #[schema(required = false)]
    pub name: Option<String>,
    /// Whether differing figures replace the stored ones.
    #[schema(required = false)]
    pub revise: Option<bool>,
    /// What was done.
    pub performance: PerformanceIn,
    /// Default: the attempt that counts, else the latest, else 1.
    #[schema(required = false, minimum = 1, maximum = 1000)]
    pub attempt: Option<i64>,
    /// Default: the division's.
    #[schema(required = false)]
    pub level: Option<String>,
    /// Default: receipt, or one second before the deadline if that is earlier.
    #[schema(required = false, value_type = Option<String>, format = DateTime)]
    pub performed_at: Option<String>,
    /// Where; default: the entry's gym.
    #[schema(required = false)]
    pub gym: Option<String>,
    /// No-reps called; an empty text takes a count that is stored away.
    #[schema(required = false, minimum = 0, maximum = 1_000_000)]
    pub no_reps: Option<i64>,
    /// Link to a video; an empty text takes the one that is stored away.
    #[schema(required = false)]
    pub video: Option<String>,
    /// Attested in the same request.
    #[schema(required = false)]
    pub attestation: Option<AttestationForm>,
    /// Why; needed for a correction upward after the deadline.
    #[schema(required = false)]
    pub reason: Option<String>,
    /// Codes of questions answered with yes.
    #[schema(required = false)]
    pub confirm: Option<Vec<String>>,
}

/// What posting to a roster answers: of one, or of many.
#[derive(ToSchema)]
#[schema(as = RosterAnswer)]
#[serde(untagged)]
pub enum RosterAnswer {
    /// What became of one.
    One(crate::actions::views::RosterWritten),
    /// What became of each of many.
    Many(crate::actions::import::ImportView),
}

/// What is posted to a list of gyms: one, or many.
#[derive(ToSchema)]
#[schema(as = Gyms)]
#[serde(untagged)]
pub enum GymsForm {
    /// One.
    One(GymForm),
    /// Many.
    Many(Vec<GymForm>),
}

/// What is posted to a list of entries: one, or many.
#[derive(ToSchema)]
#[schema(as = Entries)]
#[serde(untagged)]
pub enum EntriesForm {
    /// One.
    One(EntryForm),
    /// Many.
    Many(Vec<EntryForm>),
}

/// What is posted to a list of judges: one, or many.
#[derive(ToSchema)]
#[schema(as = Judges)]
#[serde(untagged)]
pub enum JudgesForm {
    /// One.
    One(JudgeForm),
    /// Many.
    Many(Vec<JudgeForm>),
}
