//! Safety gear: which labels the club accepts, and how long a piece of gear is good for.
//!
//! Which label is accepted until when is the organizer's rule and moves every year: it is data in the sheet
//! ([`Policy`]), each row with its source and the day it was gathered. This file only reckons with it.

use super::days::days_between;
use super::words::Verdict;
use super::worksheet_input::{Fields, InputError};
use jiff::ToSpan;
use jiff::civil::{Date, date};
use serde::{Deserialize, Serialize};
use thiserror::Error;

/// Within so many days before its end, a piece of gear gets a note.
pub const NOTE_DAYS: i64 = 60;

/// The table of accepted labels.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Policy {
    rows: Vec<PolicyRow>,
    /// Kind and labels of each row, as they are compared.
    plain: Vec<(String, Vec<String>)>,
}

impl Policy {
    /// A table of these rows.
    pub fn new(rows: Vec<PolicyRow>) -> Policy {
        let names = |row: &PolicyRow| std::iter::once(&row.label).chain(&row.also).map(|name| plain(name)).collect();
        Policy { plain: rows.iter().map(|row| (plain(&row.kind), names(row))).collect(), rows }
    }

    /// The rows in the sheet's order.
    pub fn rows(&self) -> &[PolicyRow] {
        &self.rows
    }

    /// The row of this kind whose label, or one of its other ways of writing, is this one.
    pub fn row(&self, kind: &str, label: &str) -> Option<&PolicyRow> {
        let (kind, label) = (plain(kind), plain(label));
        let nth = self.plain.iter().position(|(of, names)| *of == kind && names.contains(&label))?;
        self.rows.get(nth)
    }
}

/// A label without case, blanks, hyphens, dots and slashes.
fn plain(label: &str) -> String {
    let skipped = |c: &char| !(c.is_whitespace() || matches!(c, '.' | '/' | '-' | '_' | '\u{2010}'..='\u{2015}' | '\u{2212}'));
    label.chars().filter(skipped).flat_map(char::to_uppercase).collect()
}

/// One accepted (or refused) label: a `[[gear]]` table of the sheet file.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PolicyRow {
    /// `helmet`, `harness` and so on.
    pub kind: String,
    pub label: String,
    /// Other ways the label is written.
    #[serde(default)]
    pub also: Vec<String>,
    /// The last day on which the label is accepted; none where no end is set.
    #[serde(default)]
    pub accepted_until: Option<Date>,
    /// Why the label is known and yet never accepted.
    #[serde(default)]
    pub refused: Option<String>,
    /// Months from the date made; a date is then wanted.
    #[serde(default)]
    pub life_months: Option<u16>,
    #[serde(default)]
    pub life_ends: LifeEnds,
    pub source: String,
    /// The day the row was gathered.
    #[serde(default)]
    pub gathered: Option<Date>,
}

/// To which day a life counted in months runs.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum LifeEnds {
    /// To the same day if a day is given, to the end of the month or year if only that is.
    #[default]
    Day,
    /// To 31 December of the year reached.
    Year,
}

/// A date as labels give it: a year, a month or a day.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct LabelDate(Given);

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Given {
    /// All three by their first day.
    Year(Date),
    Month(Date),
    Day(Date),
}

/// A text that is no date of a label.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Error)]
#[error("Give the label's date as year, year-month or year-month-day, such as 2026, 2026-03 or 2026-03-28.")]
pub struct LabelDateError;

impl LabelDate {
    /// Reads "2026", "2026-03", "03/2026" or "2026-03-28", from 1950 to 2100.
    ///
    /// # Errors
    /// [`LabelDateError`] for anything else.
    ///
    /// # Example: a month, written both ways
    /// ```
    /// use witnessmark::rules::gear::LabelDate;
    /// assert_eq!(LabelDate::parse("2026-03"), LabelDate::parse("03/2026"));
    /// assert!(LabelDate::parse("03/26").is_err());
    /// ```
    pub fn parse(text: &str) -> Result<LabelDate, LabelDateError> {
        let text = text.trim();
        let figures = |part: &str, length: usize| -> Option<i16> {
            let fits = part.len() == length && part.bytes().all(|b| b.is_ascii_digit());
            if fits { part.parse().ok() } else { None }
        };
        let day = |year: Option<i16>, month: Option<i16>, day: Option<i16>| -> Option<Date> {
            let year = year.filter(|year| (1950..=2100).contains(year))?;
            Date::new(year, i8::try_from(month?).ok()?, i8::try_from(day?).ok()?).ok()
        };
        let parts: Vec<&str> = text.splitn(4, '-').collect();
        let given = match (parts.as_slice(), text.split_once('/')) {
            ([month_year], Some((month, year))) if *month_year == text => {
                day(figures(year, 4), figures(month, 2), Some(1)).map(Given::Month)
            }
            ([year], None) => day(figures(year, 4), Some(1), Some(1)).map(Given::Year),
            ([year, month], None) => day(figures(year, 4), figures(month, 2), Some(1)).map(Given::Month),
            ([year, month, d], None) => day(figures(year, 4), figures(month, 2), figures(d, 2)).map(Given::Day),
            _ => None,
        };
        given.map(LabelDate).ok_or(LabelDateError)
    }

    /// The first day that the date can mean.
    fn first(self) -> Date {
        match self.0 {
            Given::Year(first) | Given::Month(first) | Given::Day(first) => first,
        }
    }

    /// The last day that the date can mean: 31 December, the month's last day, the day.
    pub fn last(self) -> Date {
        match self.0 {
            Given::Year(first) => date(first.year(), 12, 31),
            Given::Month(first) => first.last_of_month(),
            Given::Day(day) => day,
        }
    }

    /// The last day of a life of so many months from this date.
    fn after(self, months: u16, ends: LifeEnds) -> Date {
        let reached = self.first().saturating_add(i32::from(months).months());
        match (ends, self.0) {
            (LifeEnds::Year, _) => date(reached.year(), 12, 31),
            (LifeEnds::Day, Given::Day(_)) => reached,
            (LifeEnds::Day, Given::Month(_)) => reached.last_of_month(),
            (LifeEnds::Day, Given::Year(first)) => {
                date(first.year(), 12, 1).saturating_add(i32::from(months).months()).last_of_month()
            }
        }
    }
}

impl std::fmt::Display for LabelDate {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self.0 {
            Given::Year(first) => write!(f, "{}", first.year()),
            Given::Month(first) => write!(f, "{}-{:02}", first.year(), first.month()),
            Given::Day(day) => write!(f, "{day}"),
        }
    }
}

/// A label's date that cannot be used.
#[derive(Clone, Debug, PartialEq, Eq, Error)]
pub enum GearError {
    #[error(transparent)]
    Date(#[from] LabelDateError),
    #[error("Made {made} is after {on}. If the label gives the last day it is valid, say so; else read it again.")]
    MadeLater { made: LabelDate, on: Date },
}

/// How long a piece of gear is good for.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct GearLife {
    /// The last day it is good for; none where no end is set, or none can be told.
    pub ends: Option<Date>,
    /// Days from the event to that day, below zero when it is past.
    pub days_left: Option<i64>,
    /// The rule in words.
    pub rule: String,
    pub source: String,
    pub verdict: Verdict,
    pub why: String,
}

/// Judges a label by a table on the day of the event. Worksheet `gear-life`.
///
/// `date` is the date on the label as it stands there, `valid_until` whether that is the last day it is valid (else the
/// date it was made; taking one for the other is an error of the whole life). The end is the earlier of the life's end
/// and the label's last accepted day, and the gear is still good on it.
///
/// Past its end, refused, unknown, or without a date that is needed: fix. Within [`NOTE_DAYS`] of its end: note. Also a
/// note where only the year made is known and the gear may have run out within it. A label in doubt is never ok.
///
/// # Errors
/// [`GearError`]: the date is none, or the gear would have been made after the event.
///
/// Source: the row's own. How the lives are counted: SFI labels two years from making, FIA belts to 31 December of the
/// fifth year after making (trade bulletins and label practice, restated); one harness label read the wrong way is two
/// years out.
///
/// # Example: a belt made in March 2024 that lives two years
/// ```
/// use jiff::civil::date;
/// use witnessmark::rules::{gear::{Policy, PolicyRow, judge_label}, words::Verdict};
/// let row = PolicyRow {
///     kind: "harness".into(), label: "SFI 16.1".into(), also: vec![], accepted_until: None, refused: None,
///     life_months: Some(24), life_ends: Default::default(), source: "label practice".into(), gathered: None,
/// };
/// let policy = Policy::new(vec![row]);
/// let made = judge_label(&policy, "harness", "sfi-16.1", Some("2024-03"), false, date(2026, 4, 1)).unwrap();
/// assert_eq!((made.ends, made.verdict), (Some(date(2026, 3, 31)), Verdict::Fix));
/// let until = judge_label(&policy, "harness", "SFI 16.1", Some("2026-06"), true, date(2026, 4, 1)).unwrap();
/// assert_eq!((until.ends, until.verdict), (Some(date(2026, 6, 30)), Verdict::Ok));
/// ```
pub fn judge_label(
    policy: &Policy,
    kind: &str,
    label: &str,
    date: Option<&str>,
    valid_until: bool,
    on: Date,
) -> Result<GearLife, GearError> {
    let given = date.map(LabelDate::parse).transpose()?;
    if let Some(made) = given.filter(|made| !valid_until && made.first() > on) {
        return Err(GearError::MadeLater { made, on });
    }
    let Some(row) = policy.row(kind, label) else { return Ok(unknown(kind, label)) };
    if let Some(reason) = &row.refused {
        let why = format!("{}: not accepted here. {}.", row.label, reason.trim_end_matches('.'));
        return Ok(without_end("This label is not accepted.".into(), row.source.clone(), why));
    }
    let (life_end, rule) = match (given, valid_until, row.life_months) {
        (None, true, _) => return Ok(date_wanted(row, "the last day it is valid")),
        (None, false, Some(_)) => return Ok(date_wanted(row, "the date it was made, or the last day it is valid")),
        (Some(until), true, _) => (Some(until.last()), format!("Valid until {until}, as the label says.")),
        (Some(made), false, Some(months)) => {
            let to = if row.life_ends == LifeEnds::Year { ", to 31 December" } else { "" };
            (Some(made.after(months, row.life_ends)), format!("{months} months from making ({made}){to}."))
        }
        (_, false, None) => (None, "No end is set for this label.".to_owned()),
    };
    if let Some(why) = too_far(row, life_end.filter(|_| valid_until), on) {
        return Ok(without_end(rule, row.source.clone(), why));
    }
    let (ends, rule) = match (life_end, row.accepted_until) {
        (Some(life), Some(accepted)) if life <= accepted => (Some(life), rule),
        (life, None) => (life, rule),
        (_, Some(accepted)) => (Some(accepted), format!("This label is accepted until {accepted}.")),
    };
    let in_doubt = match (given, row.life_months, row.life_ends) {
        (Some(LabelDate(made @ Given::Year(first))), Some(months), LifeEnds::Day) if !valid_until => {
            let earliest = LabelDate(Given::Day(first)).after(months, LifeEnds::Day);
            (on > earliest)
                .then(|| format!("only the year made ({}) is known; with the month it may have run out", LabelDate(made)))
        }
        _ => None,
    };
    Ok(weigh(row, ends, rule, in_doubt, on))
}

fn weigh(row: &PolicyRow, ends: Option<Date>, rule: String, in_doubt: Option<String>, on: Date) -> GearLife {
    let days_left = ends.map(|ends| days_between(on, ends));
    let label = &row.label;
    let (verdict, why) = match (ends, days_left) {
        (Some(ends), Some(days)) if days < 0 => {
            (Verdict::Fix, format!("{label}: good until {ends}, {} before {on}. Replace it.", count_days(-days)))
        }
        (Some(ends), Some(days)) if in_doubt.is_some() => {
            let doubt = in_doubt.unwrap_or_default();
            (Verdict::Note, format!("{label}: good until {ends} at the latest, {} after {on}; {doubt}.", count_days(days)))
        }
        (Some(ends), Some(days)) => {
            let verdict = if days <= NOTE_DAYS { Verdict::Note } else { Verdict::Ok };
            (verdict, format!("{label}: good until {ends}, {} after {on}.", count_days(days)))
        }
        _ => (Verdict::Ok, format!("{label}: accepted, no end is set.")),
    };
    // The last day itself is a good day; the note only says that it is the last.
    let why = if days_left == Some(0) { format!("{label}: good until {on}, the day itself and no longer.") } else { why };
    GearLife { ends, days_left, rule, source: row.source.clone(), verdict, why }
}

fn count_days(days: i64) -> String {
    if days == 1 { "1 day".to_owned() } else { format!("{days} days") }
}

fn without_end(rule: String, source: String, why: String) -> GearLife {
    GearLife { ends: None, days_left: None, rule, source, verdict: Verdict::Fix, why }
}

fn date_wanted(row: &PolicyRow, which: &str) -> GearLife {
    let rule = match row.life_months {
        Some(months) => format!("{months} months from making: the date on the label is needed."),
        None => "The date on the label is needed.".to_owned(),
    };
    let why = format!("{}: no date is given. Copy from the label {which}.", row.label);
    without_end(rule, row.source.clone(), why)
}

fn unknown(kind: &str, label: &str) -> GearLife {
    // The scrutineer's classic: the sticker for the head-restraint posts, found inside a helmet and taken for its approval.
    let posts = plain(kind) == "HELMET" && plain(label).contains("8858");
    let more = if posts { " FIA 8858 is for the head-restraint posts only; it is no helmet approval." } else { "" };
    let why = format!("\"{label}\" is not in the sheet's table of {kind} labels: ask the inspector.{more}");
    without_end("Only labels in the sheet's table are accepted.".into(), "the sheet's table of safety gear".into(), why)
}

/// A last valid day further off than the whole life can only have been misread.
fn too_far(row: &PolicyRow, until: Option<Date>, on: Date) -> Option<String> {
    let (until, months) = (until?, row.life_months?);
    let furthest = LabelDate(Given::Month(on.first_of_month())).after(months, row.life_ends);
    (until > furthest)
        .then(|| format!("{}: valid until {until} is more than its {months} months after {on}; read the label again.", row.label))
}

/// The fields of one row of `policy`.
const ROW: [&str; 9] = ["kind", "label", "also", "accepted_until", "refused", "life_months", "life_ends", "source", "gathered"];

/// The JSON side of [`judge_label`]. `policy` is the table where the input gives none.
///
/// Ranges: days from 1950 to 2100, a label of 1 to 60 characters, a life of 1 to 240 months, at most 500 rows.
///
/// # Errors
/// [`InputError`] for a field that cannot be used.
pub fn gear_life(input: &Fields, policy: &Policy) -> Result<GearLife, InputError> {
    let (kind, label) = (input.text("kind", 40)?, input.text("label", 60)?);
    let on = input.date("on")?;
    let date = input.text_if("date", 40)?;
    let valid_until = match input.text_if("date_is", 20)? {
        None | Some("made") => false,
        Some("valid_until") => true,
        Some(_) => return Err(input.error("date_is", "\"date_is\" is \"made\" or \"valid_until\".")),
    };
    let own = if input.has("policy") { Some(read_policy(input)?) } else { None };
    judge_label(own.as_ref().unwrap_or(policy), kind, label, date, valid_until, on)
        .map_err(|error| input.error("date", error.to_string()))
}

fn read_policy(input: &Fields) -> Result<Policy, InputError> {
    input.objects("policy", 0..=500, &ROW)?.iter().map(read_row).collect::<Result<_, _>>().map(Policy::new)
}

fn read_row(row: &Fields) -> Result<PolicyRow, InputError> {
    let life_ends = match row.text_if("life_ends", 10)? {
        None | Some("day") => LifeEnds::Day,
        Some("year") => LifeEnds::Year,
        Some(_) => return Err(row.error("life_ends", "\"life_ends\" is \"day\" or \"year\".")),
    };
    let refused = row.text_if("refused", 600)?.map(str::to_owned);
    let accepted_until = row.date_if("accepted_until")?;
    if refused.is_some() && accepted_until.is_some() {
        return Err(row.error("refused", "A label is refused or accepted until a day, not both."));
    }
    Ok(PolicyRow {
        kind: row.text("kind", 40)?.to_owned(),
        label: row.text("label", 80)?.to_owned(),
        also: if row.has("also") { row.texts("also", 0..=20, 80)? } else { Vec::new() },
        accepted_until,
        refused,
        life_months: row.whole_if("life_months", 1..=240)?.and_then(|months| u16::try_from(months).ok()),
        life_ends,
        // A sheet must say where a row comes from; a row typed in for one calculation need not.
        source: row.text_if("source", 600)?.unwrap_or("the table given").to_owned(),
        gathered: row.date_if("gathered")?,
    })
}
