//! Reads a tech sheet from its file (TOML), strictly: an error names the line and the key.
//!
//! What passes here can be asked and judged: ids are unique, conditions look back, limits are in one unit and in order
//! of weight, a finding always has its sentence, its remedy and its source, an answer says what it means.

use super::gear::{LifeEnds, Policy, PolicyRow};
use super::sheet::{
    About, Area, Choice, Condition, DateRule, Item, Kind, LabelRule, Meanings, NOT_APPLICABLE, Sheet, TyreCodeRule, YesNo,
};
use super::toml_keys::{FileError, Keys, read_document};
use super::words::{ItemId, Severity};
use limits::{read_measurement, read_per};

mod limits;

/// The largest sheet that is read, in bytes: a full sheet has about 60 kB.
pub const LARGEST: usize = 512 * 1024;

/// The most items a sheet may have: beyond that nobody fills it in.
pub const MOST_ITEMS: usize = 400;

const SHORT: usize = 80;
const LONG: usize = 600;
/// What an answer means stands on a button of a phone, up to three side by side.
const ON_A_BUTTON: usize = 40;

/// Which sheets are taken.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Taken {
    /// A file that comes in now: all that is asked of a sheet today.
    New,
    /// A file that was added before: it must stay readable, so what was asked later is not asked of it.
    Kept,
}

/// What an item is read beside: the items before it, what its sheet is asked, its own question and condition.
struct Beside<'s> {
    sheet: &'s Sheet,
    taken: Taken,
    ask: &'s str,
    when: Option<&'s Condition>,
}

/// Reads a sheet that comes in new.
///
/// # Errors
/// The first thing that is wrong, with its line and key.
///
/// # Example: a misspelt key is found
/// ```
/// use witnessmark::rules::sheet_file;
/// let error = sheet_file::read("name = \"Club day\"\nabuot = \"A sheet\"\n").unwrap_err();
/// assert_eq!(error.to_string(), "line 1, the file, key `about`: is missing");
/// ```
///
/// # Example: a yes/no item says what its answers mean
/// ```
/// use witnessmark::rules::{sheet::Kind, sheet_file};
/// let sheet = r#"
/// name = "Club day"
/// about = "A sheet"
/// [[area]]
/// id = "engine"
/// name = "Engine"
/// [[area.item]]
/// id = "oil"
/// name = "Oil leak"
/// ask = "Is the cardboard dry?"
/// check = "Idle ten minutes over it."
/// kind = "yes-no"
/// source = "common practice, no source"
/// "#;
/// let error = sheet_file::read(sheet).unwrap_err();
/// assert!(error.to_string().starts_with("line 8, item \"oil\", key `yes_means`: is missing"), "{error}");
///
/// let sheet = sheet_file::read(&format!("{sheet}yes_means = \"Dry\"\nno_means = \"Drips\"\n")).unwrap();
/// let Kind::YesNo(rule) = &sheet.item("oil").unwrap().kind else { panic!() };
/// assert_eq!(rule.means(false), "Drips");
/// ```
pub fn read(text: &str) -> Result<Sheet, FileError> {
    read_as(text, Taken::New)
}

/// Reads a sheet that was added before, by an older program perhaps: what is asked of sheets only since is not asked of it.
///
/// Answers without `yes_means` and `no_means` are put beside their question ([`YesNo::means`]), and a limit may hang on an item
/// that can be left out.
///
/// # Errors
/// As [`read`].
pub fn read_kept(text: &str) -> Result<Sheet, FileError> {
    read_as(text, Taken::Kept)
}

fn read_as(text: &str, taken: Taken) -> Result<Sheet, FileError> {
    if text.len() > LARGEST {
        return Err(FileError { line: 1, key: "the file".into(), message: format!("at most {} kB", LARGEST / 1024) });
    }
    read_document(text, |keys| {
        let mut sheet = Sheet {
            name: keys.text("name", SHORT)?,
            about: keys.text("about", LONG)?,
            areas: Vec::new(),
            gear: Policy::new(keys.tables("gear")?.into_iter().map(gear_row).collect::<Result<_, _>>()?),
        };
        let areas = keys.tables("area")?;
        if areas.is_empty() {
            return Err(keys.error("area", "a sheet has at least one area"));
        }
        for keys in areas {
            read_area(keys, &mut sheet, taken)?;
        }
        Ok(sheet)
    })
}

fn read_area(mut keys: Keys<'_>, sheet: &mut Sheet, taken: Taken) -> Result<(), FileError> {
    let id = keys.parsed("id", "small letters, figures and hyphens", ItemId::parse)?;
    keys.path = format!("area \"{id}\"");
    if sheet.area(id.as_str()).is_some() {
        return Err(keys.error("id", "another area has this id"));
    }
    let (name, intro) = (keys.text("name", SHORT)?, keys.text_or_none("intro", LONG)?);
    let items = keys.tables("item")?;
    if items.is_empty() {
        return Err(keys.error("item", "an area has at least one item"));
    }
    keys.finish()?;
    sheet.areas.push(Area { id, name, intro, items: Vec::new() });
    for keys in items {
        let item = read_item(keys, sheet, taken)?;
        if let Some(area) = sheet.areas.last_mut() {
            area.items.push(item);
        }
    }
    Ok(())
}

fn read_item(mut keys: Keys<'_>, sheet: &Sheet, taken: Taken) -> Result<Item, FileError> {
    let id = keys.parsed("id", "small letters, figures and hyphens", ItemId::parse)?;
    keys.path = format!("item \"{id}\"");
    if sheet.item(id.as_str()).is_some() {
        return Err(keys.error("id", "another item has this id"));
    }
    if sheet.items().count() >= MOST_ITEMS {
        return Err(keys.error("id", format!("a sheet has at most {MOST_ITEMS} items")));
    }
    let about = keys.parsed_or_none("about", "\"car\" or \"driver\"", |word| match word {
        "car" => Some(About::Car),
        "driver" => Some(About::Driver),
        _ => None,
    })?;
    let (name, ask) = (keys.text("name", SHORT)?, keys.text("ask", LONG)?);
    let when = read_condition(&mut keys, sheet)?;
    let kind = read_kind(&mut keys, &Beside { sheet, taken, ask: &ask, when: when.as_ref() })?;
    let mut item = Item {
        name,
        ask,
        check: keys.text("check", LONG)?,
        caution: keys.text_or_none("caution", LONG)?,
        kind,
        about: about.unwrap_or(About::Car),
        by_hand: keys.text_or_none("by_hand", SHORT)?,
        when,
        work: None,
        required: keys.flag("required", true)?,
        mend: keys.text_or_none("mend", LONG)?,
        source: keys.text("source", LONG)?,
        id,
    };
    if let Some(table) = keys.table_or_none("work")? {
        item.work = Some(super::work::read_binding(table, &item)?);
    }
    if item.mend.is_none() && (can_find(&item.kind) || item.work.is_some()) {
        return Err(keys.error("mend", "is missing: an item that can make a finding says what to do about it"));
    }
    keys.finish()?;
    Ok(item)
}

fn can_find(kind: &Kind) -> bool {
    match kind {
        Kind::YesNo(rule) => rule.right.is_some(),
        Kind::Measurement(rule) => !rule.limits.is_empty(),
        Kind::Date(DateRule::Done { limits }) => !limits.is_empty(),
        Kind::Choice(choices) => choices.iter().any(|choice| choice.finding.is_some()),
        Kind::Date(DateRule::ValidUntil { .. }) | Kind::Label(_) | Kind::TyreCode(_) => true,
        Kind::Text { .. } | Kind::Photo { .. } => false,
    }
}

fn read_condition(keys: &mut Keys<'_>, sheet: &Sheet) -> Result<Option<Condition>, FileError> {
    let Some(mut condition) = keys.table_or_none("when")? else { return Ok(None) };
    let id = condition.parsed("item", "the id of an earlier item", ItemId::parse)?;
    let is = condition.texts("is", SHORT)?;
    let Some(earlier) = sheet.item(id.as_str()) else {
        return Err(condition.error("item", format!("no earlier item has the id \"{id}\"")));
    };
    let words: Vec<&str> = match &earlier.kind {
        Kind::YesNo(_) => vec!["yes", "no", "n/a"],
        Kind::Choice(choices) => choices.iter().map(|choice| choice.id.as_str()).collect(),
        _ => return Err(condition.error("item", format!("\"{id}\" is neither a yes-no nor a choice"))),
    };
    if is.is_empty() {
        return Err(condition.error("is", "name at least one answer"));
    }
    if let Some(unknown) = is.iter().find(|word| !words.contains(&word.as_str())) {
        return Err(condition.error("is", format!("\"{unknown}\" is not an answer of \"{id}\" ({})", words.join(", "))));
    }
    condition.finish()?;
    Ok(Some(Condition { item: id, is }))
}

fn severity(keys: &mut Keys<'_>) -> Result<Severity, FileError> {
    keys.parsed("severity", "\"stop\", \"fix\" or \"note\"", Severity::parse)
}

fn read_kind(keys: &mut Keys<'_>, beside: &Beside<'_>) -> Result<Kind, FileError> {
    let known = ["yes-no", "measurement", "date", "label", "tyre-code", "choice", "text", "photo"];
    let word =
        keys.parsed("kind", &format!("one of {}", known.join(", ")), |word| known.into_iter().find(|kind| *kind == word))?;
    Ok(match word {
        "yes-no" => Kind::YesNo(read_yes_no(keys, beside)?),
        "measurement" => Kind::Measurement(read_measurement(keys, beside)?),
        "date" => Kind::Date(read_date(keys)?),
        "label" => read_label(keys, beside.sheet)?,
        "tyre-code" => {
            let per = read_per(keys)?;
            Kind::TyreCode(TyreCodeRule { per, limits: read_ages(keys, "at_most_years")? })
        }
        "choice" => read_choices(keys)?,
        "text" => Kind::Text { longest: keys.whole("longest", 1, super::answer::NOTE_LONGEST as u32)? as usize },
        _ => Kind::Photo { most: keys.whole("most", 1, 6)? as usize },
    })
}

fn read_yes_no(keys: &mut Keys<'_>, beside: &Beside<'_>) -> Result<YesNo, FileError> {
    let right = keys.parsed_or_none("right", "\"yes\" or \"no\"", |word| match word {
        "yes" => Some(true),
        "no" => Some(false),
        _ => None,
    })?;
    let not_applicable = keys.flag("not_applicable", false)?;
    let words = read_meanings(keys, beside)?;
    if right.is_none() {
        return Ok(YesNo { right, not_applicable, severity: Severity::Note, why: String::new(), words });
    }
    Ok(YesNo { right, not_applicable, severity: severity(keys)?, why: keys.text("why", LONG)?, words })
}

/// The words for each answer: beside the item's name they must tell the two apart without the question.
fn read_meanings(keys: &mut Keys<'_>, beside: &Beside<'_>) -> Result<Meanings, FileError> {
    let mut read = |key: &str| {
        let words = keys.text_or_none(key, ON_A_BUTTON)?;
        match words.as_deref().map(str::to_lowercase).as_deref() {
            None if beside.taken == Taken::New => {
                let missing =
                    "is missing: a yes-no item says what each answer means, such as yes_means = \"Dry\", no_means = \"Drips\"";
                Err(keys.error(key, missing))
            }
            Some("yes" | "no") => Err(keys.error(key, "\"yes\" and \"no\" say nothing without the question: \"Dry\", \"Drips\"")),
            Some(said) if said == NOT_APPLICABLE.to_lowercase() => {
                Err(keys.error(key, format!("\"{NOT_APPLICABLE}\" is what not_applicable = true offers")))
            }
            _ => Ok(words),
        }
    };
    let (yes, no) = (read("yes_means")?, read("no_means")?);
    if yes.is_some() && yes.as_deref().map(str::to_lowercase) == no.as_deref().map(str::to_lowercase) {
        return Err(keys.error("no_means", "both answers mean the same"));
    }
    Ok(Meanings::new(beside.ask, yes, no))
}

/// The rows of an age limit; `key` names the figure and with it its unit.
fn read_ages(keys: &mut Keys<'_>, key: &str) -> Result<Vec<(f64, Severity)>, FileError> {
    let mut ages: Vec<(f64, Severity)> = Vec::new();
    for mut row in keys.tables("limits")? {
        let age = row.number_or_none(key)?.ok_or_else(|| row.error(key, "is missing"))?;
        if !(0.5..=600.0).contains(&age) {
            return Err(row.error(key, "must be from 0.5 to 600"));
        }
        let severity = severity(&mut row)?;
        if ages.last().is_some_and(|(before, worse)| *worse < severity || *before < age) {
            return Err(row.error(key, "limits stand worst and longest first"));
        }
        row.finish()?;
        ages.push((age, severity));
    }
    if ages.is_empty() { Err(keys.error("limits", "at least one age limit is wanted")) } else { Ok(ages) }
}

fn read_date(keys: &mut Keys<'_>) -> Result<DateRule, FileError> {
    let done = keys.parsed("means", "\"done\" or \"valid-until\"", |word| match word {
        "done" => Some(true),
        "valid-until" => Some(false),
        _ => None,
    })?;
    if !done {
        let note_days = if keys.has("note_days") { keys.whole("note_days", 0, 366)? } else { 60 };
        return Ok(DateRule::ValidUntil { severity: severity(keys)?, note_days: note_days as u16 });
    }
    let ages = read_ages(keys, "at_most_months")?;
    if let Some((age, _)) = ages.iter().find(|(age, _)| age.fract() != 0.0) {
        return Err(keys.error("limits", format!("whole months are wanted, not {age}")));
    }
    Ok(DateRule::Done { limits: ages.into_iter().map(|(age, severity)| (age as u16, severity)).collect() })
}

fn read_label(keys: &mut Keys<'_>, sheet: &Sheet) -> Result<Kind, FileError> {
    let gear = keys.text("gear", SHORT)?;
    if !sheet.gear.rows().iter().any(|row| row.kind == gear) {
        return Err(keys.error("gear", format!("no [[gear]] row has the kind \"{gear}\"")));
    }
    Ok(Kind::Label(LabelRule { gear, severity: severity(keys)? }))
}

fn read_choices(keys: &mut Keys<'_>) -> Result<Kind, FileError> {
    let mut choices: Vec<Choice> = Vec::new();
    for mut row in keys.tables("options")? {
        let id = row.parsed("id", "small letters, figures and hyphens", ItemId::parse)?;
        if choices.iter().any(|choice| choice.id == id) {
            return Err(row.error("id", "another option has this id"));
        }
        let say = row.text("say", SHORT)?;
        let finding = if row.has("severity") { Some((severity(&mut row)?, row.text("why", LONG)?)) } else { None };
        row.finish()?;
        choices.push(Choice { id, say, finding });
    }
    if choices.len() < 2 { Err(keys.error("options", "a choice has at least two options")) } else { Ok(Kind::Choice(choices)) }
}

fn gear_row(mut keys: Keys<'_>) -> Result<PolicyRow, FileError> {
    let row = PolicyRow {
        kind: keys.text("kind", SHORT)?,
        label: keys.text("label", SHORT)?,
        also: keys.texts("also", SHORT)?,
        accepted_until: keys.date_or_none("accepted_until")?,
        refused: keys.text_or_none("refused", LONG)?,
        life_months: if keys.has("life_months") { Some(keys.whole("life_months", 1, 240)? as u16) } else { None },
        life_ends: keys
            .parsed_or_none("life_ends", "\"day\" or \"year\"", |word| match word {
                "day" => Some(LifeEnds::Day),
                "year" => Some(LifeEnds::Year),
                _ => None,
            })?
            .unwrap_or_default(),
        source: keys.text("source", LONG)?,
        gathered: keys.date_or_none("gathered")?,
    };
    keys.finish()?;
    Ok(row)
}
