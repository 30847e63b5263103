//! The judge: what a sheet's rules say of a set of answers, on the day of the event.
//!
//! Pure and total: any sheet that could be read and any answers that could be read are judged, in the reader's units.

mod measured;

use super::answer::{Answer, Answers, Asked, Value, asked};
use super::days::{days_between, whole_months};
use super::gear::judge_label;
use super::sheet::{DateRule, Gives, Item, Kind, LabelRule, Sheet, TyreCodeRule, Work, YesNo};
use super::tyres::DateCode;
use super::units::Units;
use super::words::{ItemId, Per, Place, Severity, Verdict};
use super::work;
use super::worksheet_form::System;
use jiff::civil::Date;
use serde_json::{Map, Value as Json};
use std::collections::BTreeSet;

/// What the rules say of one set of answers.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Judged {
    /// Required items without a whole answer, in the sheet's order, with the places that are still empty.
    pub missing: Vec<(ItemId, Vec<Place>)>,
    /// In the sheet's order.
    pub findings: Vec<Finding>,
    /// Every figure that has a limit, whether it is kept or not.
    pub readings: Vec<Reading>,
}

impl Judged {
    /// Whether every required item has its answer.
    pub fn is_complete(&self) -> bool {
        self.missing.is_empty()
    }

    /// Whether an item's answer is missing, whole or in part.
    pub fn misses(&self, item: &ItemId) -> bool {
        self.missing.iter().any(|(missing, _)| missing == item)
    }

    /// The items with a finding that holds the car.
    pub fn open_items(&self) -> BTreeSet<ItemId> {
        self.holding().map(|finding| finding.item.clone()).collect()
    }

    /// The stop and fix findings.
    pub fn holding(&self) -> impl Iterator<Item = &Finding> {
        self.findings.iter().filter(|finding| finding.severity.holds_the_car())
    }
}

/// What a rule says of an answer.
#[derive(Clone, Debug, PartialEq)]
pub struct Finding {
    pub item: ItemId,
    pub place: Place,
    pub severity: Severity,
    /// One plain sentence with the figures in it.
    pub why: String,
    /// What to do about it.
    pub mend: Option<String>,
    pub source: String,
    /// The number of the edition that found it, where the edition in force could not judge the answer.
    pub carried_from: Option<u32>,
}

/// A figure beside its limit.
#[derive(Clone, Debug, PartialEq)]
pub struct Reading {
    pub item: ItemId,
    /// "Brake pad, front left".
    pub name: String,
    pub figure: String,
    pub unit: &'static str,
    /// "limit 3.0 mm".
    pub limit: String,
    /// How far the reading is from its limit, as a share of the limit; below zero it is broken. 0.1 is ten per cent of room.
    pub margin: f64,
    pub severity: Option<Severity>,
}

/// The eye of the judge: the sheet, the day and the reader's units, while it goes through the answers.
struct Bench<'a> {
    sheet: &'a Sheet,
    answers: &'a Answers,
    on: Date,
    units: &'a Units,
    judged: Judged,
}

/// Judges answers by a sheet on the day of the event.
///
/// Items whose condition is not met are neither missing nor judged. An answer that cannot be read is missing, whether the item
/// must be answered or not. An item that may be asked, for its condition hangs on such an answer, is judged where it is answered.
/// Answers to items that the sheet does not have are passed over: [`super::edition::read`] sees to those.
pub fn judge(sheet: &Sheet, answers: &Answers, on: Date, units: &Units) -> Judged {
    let mut bench = Bench { sheet, answers, on, units, judged: Judged::default() };
    for item in sheet.items() {
        let is_asked = asked(sheet, item, answers);
        match answers.get(&item.id) {
            _ if is_asked == Asked::No => {}
            _ if answers.unreadable.contains(&item.id) => bench.miss(item),
            Some(answer) => bench.item(item, answer),
            None if item.required && is_asked == Asked::Yes => bench.miss(item),
            None => {}
        }
    }
    bench.judged
}

/// What the rules say of one item's answer beside the other answers.
pub fn judge_item(sheet: &Sheet, item: &Item, answers: &Answers, on: Date, units: &Units) -> Judged {
    let mut bench = Bench { sheet, answers, on, units, judged: Judged::default() };
    match answers.get(&item.id) {
        Some(answer) => bench.item(item, answer),
        None => bench.miss(item),
    }
    bench.judged
}

impl Bench<'_> {
    /// The item has no answer that can be used.
    fn miss(&mut self, item: &Item) {
        self.judged.missing.push((item.id.clone(), item.kind.per().places()));
    }

    fn item(&mut self, item: &Item, answer: &Answer) {
        match (&item.work, &answer.worked) {
            (Some(work), Some(input)) => self.worked(item, work, input),
            _ => self.value(item, &answer.value),
        }
    }

    /// An answer that came from readings: worked out anew, on the day of the event.
    fn worked(&mut self, item: &Item, work: &Work, input: &Map<String, Json>) {
        let outcome = work::run(work, input, self.on, &self.sheet.gear, System::Metric);
        let value = outcome.as_ref().map_err(Clone::clone).and_then(|outcome| work::answer_of(item, work, input, outcome));
        let (outcome, value) = match (outcome, value) {
            (Ok(outcome), Ok(value)) => (outcome, value),
            (Err(trouble), _) | (_, Err(trouble)) => {
                // Readings that were good when they were sent and are not on the day: nobody knows what they say.
                let why = format!("{}: {}", item.name, trouble.message);
                return self.find(item, Place::Whole, Severity::Fix, why, item.source.clone());
            }
        };
        let found = match (&work.gives, &item.kind, outcome.verdict) {
            (Gives::Verdict, Kind::YesNo(rule), Verdict::Fix) => Some(rule.severity),
            // The sheet's own limits judge a figure; the worksheet's verdict adds what they cannot see.
            (Gives::Figure(_), Kind::Measurement(rule), Verdict::Fix | Verdict::Stop) if !rule.limits.is_empty() => None,
            (_, _, verdict) => verdict.severity(),
        };
        match (&work.gives, &item.kind) {
            (Gives::Figure(_), Kind::Measurement(_)) => self.value(item, &value),
            (Gives::Figure(_), Kind::Date(DateRule::Done { .. })) if found.is_none() => self.value_margin(item, &value),
            _ => {}
        }
        if let Some(severity) = found {
            self.find(item, Place::Whole, severity, format!("{}: {}", item.name, outcome.why), item.source.clone());
        }
    }

    /// A day that the worksheet found in order keeps its place among the readings, without the sheet's age limit: what
    /// was measured outranks age.
    fn value_margin(&mut self, item: &Item, value: &Value) {
        let before = self.judged.findings.len();
        self.value(item, value);
        self.judged.findings.truncate(before);
    }

    fn value(&mut self, item: &Item, value: &Value) {
        match (&item.kind, value) {
            (Kind::YesNo(rule), Value::Yes | Value::No) => self.yes_no(item, rule, *value == Value::Yes),
            (Kind::YesNo(rule), Value::NotApplicable) if rule.not_applicable => {}
            (Kind::Measurement(rule), Value::Measured { unit, at }) => {
                self.want_places(item, rule.per, |place| at.contains_key(&place));
                for (place, number) in at {
                    self.measured(item, rule, *unit, *place, *number);
                }
            }
            (Kind::Date(rule), Value::Date(date)) => self.date(item, rule, *date),
            (Kind::Label(rule), Value::Label { label, date, valid_until }) => {
                self.label(item, rule, label, date.as_deref(), *valid_until);
            }
            (Kind::TyreCode(rule), Value::TyreCodes(codes)) => {
                self.want_places(item, rule.per, |place| codes.contains_key(&place));
                for (place, code) in codes {
                    self.tyre(item, rule, *place, code);
                }
            }
            (Kind::Choice(choices), Value::Choice(id)) => match choices.iter().find(|choice| choice.id == *id) {
                Some(choice) => {
                    if let Some((severity, why)) = &choice.finding {
                        self.find(item, Place::Whole, *severity, why.clone(), item.source.clone());
                    }
                }
                None => self.judged.missing.push((item.id.clone(), vec![Place::Whole])),
            },
            (Kind::Text { .. }, Value::Text(_)) | (Kind::Photo { .. }, Value::Photos) => {}
            // An answer of another kind: the edition changed the question, so it has not been answered.
            _ => self.miss(item),
        }
    }

    fn want_places(&mut self, item: &Item, per: Per, has: impl Fn(Place) -> bool) {
        // A cylinder that is not there is no gap: the reader of answers sees to it that they run on from 1.
        if per == Per::Cylinder || !item.required {
            return;
        }
        let empty: Vec<Place> = per.places().into_iter().filter(|place| !has(*place)).collect();
        if !empty.is_empty() {
            self.judged.missing.push((item.id.clone(), empty));
        }
    }

    fn find(&mut self, item: &Item, place: Place, severity: Severity, why: String, source: String) {
        let (item, mend) = (item.id.clone(), item.mend.clone());
        self.judged.findings.push(Finding { item, place, severity, why, mend, source, carried_from: None });
    }

    fn yes_no(&mut self, item: &Item, rule: &YesNo, yes: bool) {
        if rule.right.is_some_and(|right| right != yes) {
            self.find(item, Place::Whole, rule.severity, rule.why.clone(), item.source.clone());
        }
    }

    fn date(&mut self, item: &Item, rule: &DateRule, date: Date) {
        match rule {
            DateRule::Done { limits } => {
                let months = whole_months(date, self.on);
                let broken = limits.iter().find(|(most, _)| months > i32::from(*most));
                if let Some((most, severity)) = broken {
                    let why = format!("{}: {date}, {months} months before the event. This sheet allows {most}.", item.name);
                    self.find(item, Place::Whole, *severity, why, item.source.clone());
                }
                if let Some((most, _)) = limits.last() {
                    let margin = f64::from(i32::from(*most) - months) / f64::from(*most);
                    self.read(
                        item,
                        Place::Whole,
                        months.to_string(),
                        "months",
                        format!("limit {most} months"),
                        margin,
                        broken.map(|(_, s)| *s),
                    );
                }
            }
            DateRule::ValidUntil { severity, note_days } => {
                let days = days_between(self.on, date);
                let found = if days < 0 { Some(*severity) } else { (days <= i64::from(*note_days)).then_some(Severity::Note) };
                if let Some(severity) = found {
                    let why = if days < 0 {
                        format!("{}: good until {date}, the event is on {}.", item.name, self.on)
                    } else {
                        format!("{}: good until {date}, {days} days after the event.", item.name)
                    };
                    self.find(item, Place::Whole, severity, why, item.source.clone());
                }
                self.days_left(item, date, found);
            }
        }
    }

    fn days_left(&mut self, item: &Item, ends: Date, severity: Option<Severity>) {
        let days = days_between(self.on, ends);
        // A year is the scale on which people plan gear.
        self.read(item, Place::Whole, days.to_string(), "days", format!("good until {ends}"), days as f64 / 365.0, severity);
    }

    fn label(&mut self, item: &Item, rule: &LabelRule, label: &str, date: Option<&str>, valid_until: bool) {
        match judge_label(&self.sheet.gear, &rule.gear, label, date, valid_until, self.on) {
            Ok(life) => {
                let severity = life.verdict.severity().map(|found| if found.holds_the_car() { rule.severity } else { found });
                if let Some(severity) = severity {
                    self.find(item, Place::Whole, severity, life.why, life.source);
                }
                if let Some(ends) = life.ends {
                    self.days_left(item, ends, severity);
                }
            }
            Err(error) => self.find(item, Place::Whole, rule.severity, format!("{}: {error}", item.name), item.source.clone()),
        }
    }

    fn tyre(&mut self, item: &Item, rule: &TyreCodeRule, place: Place, text: &str) {
        let name = name_at(item, place);
        let code = match DateCode::parse(text).and_then(|code| code.check_not_after(self.on).map(|()| code)) {
            Ok(code) => code,
            Err(error) => return self.find(item, place, Severity::Fix, format!("{name}: {error}"), item.source.clone()),
        };
        let Some(age) = code.age_years(self.on) else {
            let why = format!("{name}: three figures, so the tyre was made before 2000.");
            return self.find(item, place, Severity::Stop, why, item.source.clone());
        };
        let broken = rule.limits.iter().find(|(most, _)| age > *most);
        if let Some((most, severity)) = broken {
            let (week, year) = (code.week().unwrap_or_default(), code.year().unwrap_or_default());
            let why =
                format!("{name}: made in week {week} of {year}, {age:.1} years old at the event. This sheet allows {most}.");
            self.find(item, place, *severity, why, item.source.clone());
        }
        if let Some((most, _)) = rule.limits.last() {
            let severity = broken.map(|(_, severity)| *severity);
            self.read(item, place, format!("{age:.1}"), "years", format!("limit {most} years"), (most - age) / most, severity);
        }
    }

    #[expect(clippy::too_many_arguments, reason = "the parts of a reading, each named where it is made")]
    fn read(
        &mut self,
        item: &Item,
        place: Place,
        figure: String,
        unit: &'static str,
        limit: String,
        margin: f64,
        severity: Option<Severity>,
    ) {
        let name = name_at(item, place);
        self.judged.readings.push(Reading { item: item.id.clone(), name, figure, unit, limit, margin, severity });
    }
}

/// "Brake pad, front left".
pub fn name_at(item: &Item, place: Place) -> String {
    if place == Place::Whole { item.name.clone() } else { format!("{}, {}", item.name, place.name()) }
}

/// The readings nearest to their limits first, for the inspector: what is broken, then what is close.
pub fn nearest_first(readings: &[Reading]) -> Vec<&Reading> {
    let mut sorted: Vec<&Reading> = readings.iter().collect();
    sorted.sort_by(|a, b| a.margin.total_cmp(&b.margin));
    sorted
}
