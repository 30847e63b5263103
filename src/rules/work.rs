//! Working an answer out: an item of the sheet bound to a worksheet. The readings are kept with the answer, and the answer
//! and its verdict come from them, each time it is judged.

use super::answer::{Trouble, Typed, Value};
use super::gear::Policy;
use super::sheet::{Gives, Item, Kind, Work};
use super::toml_keys::{FileError, Keys};
use super::units::Unit;
use super::words::{Per, Place, Verdict};
use super::worksheet;
use super::worksheet_form::{self, BlankKind, BlankTrouble, Form, System, form};
use jiff::civil::{Date, date};
use serde_json::{Map, Value as Json, json};
use std::collections::BTreeMap;

/// What the fields of a worksheet begin with in the form of its item.
pub const PREFIX: &str = "w.";
/// The field that says in which units its readings are typed.
pub const SYSTEM: &str = "w.units";

/// The last day that a worksheet reckons with.
const LAST: Date = date(2100, 12, 31);

/// What a worksheet made of the readings.
#[derive(Clone, Debug)]
pub struct Outcome {
    pub verdict: Verdict,
    pub why: String,
    pub output: Map<String, Json>,
}

/// Runs an item's worksheet on kept readings, on a day; a refusal speaks in the units of `system`.
///
/// # Errors
/// The reading that cannot be used, by its field in the form.
pub fn run(work: &Work, input: &Map<String, Json>, on: Date, policy: &Policy, system: System) -> Result<Outcome, Trouble> {
    let mut input = input.clone();
    if worksheet::fields(work.form.name).contains(&"on") {
        input.insert("on".into(), json!(on.min(LAST).to_string()));
    }
    input.extend(work.fixed.clone());
    let output = worksheet::run(work.form.name, &Json::Object(input).to_string(), policy)
        .map_err(|error| in_form(worksheet_form::in_words(work.form, &error, system)))?;
    let Json::Object(output) = output else { return Err(Trouble::at("", "The worksheet gave no answer.")) };
    let verdict = verdict_of(work.form.name, &output)?;
    let why = worksheet_form::tidy(output.get("why").and_then(Json::as_str).unwrap_or_default());
    Ok(Outcome { verdict, why, output })
}

/// The verdict of an answer. One that is missing or unknown is an error: readings that nobody judged are not in order.
/// A worksheet that judges nothing adds no finding; the limits of the sheet judge its figure.
fn verdict_of(worksheet: &str, output: &Map<String, Json>) -> Result<Verdict, Trouble> {
    if !worksheet::judges(worksheet) {
        return Ok(Verdict::Ok);
    }
    let verdict = output.get("verdict").and_then(Json::as_str).and_then(Verdict::parse);
    verdict.ok_or_else(|| Trouble::at("", "The worksheet gave no verdict on these readings: give the answer directly."))
}

/// A trouble of the worksheet's form, at its field in the form of the item.
fn in_form(trouble: BlankTrouble) -> Trouble {
    Trouble::at(format!("{PREFIX}{}", trouble.field), trouble.message)
}

/// The answer that an outcome gives to an item.
///
/// # Errors
/// Where the worksheet has no figure to give for these readings.
pub fn answer_of(item: &Item, work: &Work, input: &Map<String, Json>, outcome: &Outcome) -> Result<Value, Trouble> {
    let none = || Trouble::at("", "These readings give no answer here: give it directly.");
    let figure = |name: &str| outcome.output.get(name).or_else(|| input.get(name)).filter(|value| !value.is_null()).cloned();
    match (&work.gives, &item.kind) {
        (Gives::Verdict, Kind::YesNo(rule)) if worksheet::judges(work.form.name) => {
            let well = outcome.verdict <= Verdict::Note;
            let right = rule.right.ok_or_else(none)?;
            Ok(if well == right { Value::Yes } else { Value::No })
        }
        (Gives::Figure(name), Kind::Measurement(rule)) => {
            let number = figure(name).and_then(|value| value.as_f64()).ok_or_else(none)?;
            if number < rule.possible.0 || number > rule.possible.1 {
                return Err(Trouble::at("", format!("The readings give {}, which cannot be here.", rule.unit.say(number))));
            }
            Ok(Value::Measured { unit: rule.unit, at: BTreeMap::from([(Place::Whole, number)]) })
        }
        (Gives::Figure(name), Kind::Date(_)) => {
            let day = figure(name).and_then(|value| value.as_str().and_then(|text| text.parse().ok())).ok_or_else(none)?;
            Ok(Value::Date(day))
        }
        (Gives::Figure(name), Kind::Text { .. }) => {
            figure(name).and_then(|value| value.as_str().map(str::to_owned)).map(Value::Text).ok_or_else(none)
        }
        _ => Err(none()),
    }
}

/// Readings, and the answer that they give.
type Worked = (Map<String, Json>, Value);

/// Reads the worksheet's fields of an item's form; `None` where none of them is filled in.
pub(super) fn read_typed(item: &Item, typed: &Typed, today: Date) -> Result<Option<Worked>, Trouble> {
    let Some(work) = &item.work else { return Ok(None) };
    if !typed.keys().any(|name| name.starts_with(PREFIX)) {
        return Ok(None);
    }
    // Rows are moved up over empty ones, as the page shows them when it comes back.
    let fields = worksheet_form::close_up(work.form, &typed_of(typed));
    if !worksheet_form::is_begun(work.form, &fields) {
        return Ok(None);
    }
    let system = System::parse(typed.get(SYSTEM).map_or("", |text| text.trim()));
    let input = worksheet_form::read(work.form, &fields, system, &Map::new()).map_err(in_form)?;
    // No table of gear: an item that judges a label has a kind of its own.
    let outcome = run(work, &input, today, &Policy::default(), system)?;
    let value = answer_of(item, work, &input, &outcome)?;
    Ok(Some((input, value)))
}

/// The worksheet's own fields among those of an item.
pub fn typed_of(typed: &Typed) -> BTreeMap<String, String> {
    let own = typed.iter().filter(|(name, _)| name.as_str() != SYSTEM);
    own.filter_map(|(name, text)| Some((name.strip_prefix(PREFIX)?.to_owned(), text.clone()))).collect()
}

/// Kept readings as the form would hold them, in the worksheet's own units.
pub(super) fn to_typed(input: &Map<String, Json>) -> Typed {
    let mut typed = Typed::from([(SYSTEM.to_owned(), "wire".to_owned())]);
    flatten(&Json::Object(input.clone()), "", &mut typed);
    typed
}

fn flatten(json: &Json, path: &str, typed: &mut Typed) {
    let under = |name: &str| if path.is_empty() { name.to_owned() } else { format!("{path}.{name}") };
    match json {
        Json::Object(object) => object.iter().for_each(|(name, value)| flatten(value, &under(name), typed)),
        Json::Array(list) => list.iter().enumerate().for_each(|(nth, value)| flatten(value, &under(&nth.to_string()), typed)),
        Json::String(text) => drop(typed.insert(format!("{PREFIX}{path}"), text.clone())),
        Json::Bool(flag) => drop(typed.insert(format!("{PREFIX}{path}"), if *flag { "yes" } else { "no" }.into())),
        Json::Number(number) => {
            let plain = number.as_f64().map_or_else(|| number.to_string(), |number| number.to_string());
            typed.insert(format!("{PREFIX}{path}"), plain);
        }
        Json::Null => {}
    }
}

/// Readings of an answers file as the form would hold them.
///
/// # Errors
/// A field that the worksheet's form does not have.
pub(super) fn json_to_typed(item: &Item, input: &Json) -> Result<Typed, Trouble> {
    let (Some(work), Json::Object(input)) = (&item.work, input) else {
        return Err(Trouble::at("worked", format!("{} is not worked out by a worksheet.", item.id)));
    };
    let typed = to_typed(input);
    let known: Vec<String> = work.form.blanks.iter().flat_map(worksheet_form::Blank::fields).collect();
    match typed_of(&typed).keys().find(|field| !known.contains(field)) {
        Some(unknown) => Err(Trouble::at(
            format!("worked.{unknown}"),
            format!("The worksheet {} has no reading \"{unknown}\" here.", work.form.name),
        )),
        None => Ok(typed),
    }
}

/// Reads `work = { worksheet = ..., gives = ..., fixed = { ... } }` of an item.
pub(super) fn read_binding(mut table: Keys<'_>, item: &Item) -> Result<Work, FileError> {
    let form: &'static Form = table.parsed("worksheet", "the name of a worksheet", form)?;
    let gives = table.text("gives", 40)?;
    let fixed = match table.table_or_none("fixed")? {
        Some(mut fixed) => fixed.plain_values()?,
        None => Map::new(),
    };
    if let Some(unknown) = fixed.keys().find(|name| !worksheet::fields(form.name).contains(&name.as_str())) {
        return Err(table.error("fixed", format!("the worksheet {} has no field \"{unknown}\"", form.name)));
    }
    let gives = match (&item.kind, gives.as_str()) {
        (Kind::YesNo(rule), "verdict") if rule.right.is_some() => Gives::Verdict,
        (Kind::YesNo(_), _) => return Err(table.error("gives", "a yes-no item with a right answer takes the \"verdict\"")),
        (Kind::Measurement(rule), name) if rule.per == Per::Car && ends_in_unit(name, rule.unit) => {
            Gives::Figure(name.to_owned())
        }
        (Kind::Measurement(rule), _) if rule.per != Per::Car => {
            return Err(table.error("gives", "only a measurement of the whole car can be worked out"));
        }
        (Kind::Measurement(rule), name) => {
            return Err(table.error("gives", format!("\"{name}\" is not in {}, the item's unit", rule.unit)));
        }
        (Kind::Date(_) | Kind::Text { .. }, name) if name != "verdict" => Gives::Figure(name.to_owned()),
        _ => return Err(table.error("gives", "an item of this kind cannot be worked out")),
    };
    table.finish()?;
    Ok(Work { form, gives, fixed })
}

/// Field names carry their unit: `clearance_mm` is in millimetres.
fn ends_in_unit(name: &str, unit: Unit) -> bool {
    let end = match unit {
        Unit::Millimetre => "_mm",
        Unit::NewtonMetre => "_nm",
        Unit::Kilopascal => "_kpa",
        Unit::Celsius => "_c",
        Unit::Kilogram => "_kg",
        Unit::KilometrePerHour => "_kmh",
        Unit::DecibelA => "_db",
        Unit::Degree => "_deg",
        Unit::Percent => "_percent",
        Unit::Turns => "turns",
        _ => return false,
    };
    name.ends_with(end)
}

/// The readings in words, as they were given, for who looks at the answer.
pub fn say(work: &Work, input: &Map<String, Json>) -> String {
    let typed = typed_of(&to_typed(input));
    let mut parts = Vec::new();
    for blank in work.form.blanks {
        let given: Vec<String> =
            blank.fields().iter().filter_map(|field| typed.get(field)).map(|text| spoken(blank.kind, text)).collect();
        if !given.is_empty() {
            parts.push(format!("{} {}", blank.label.to_lowercase(), given.join(", ")));
        }
    }
    format!("Worked out: {}.", parts.join("; "))
}

fn spoken(kind: BlankKind, text: &str) -> String {
    match kind {
        BlankKind::Number(Some(measure)) => {
            text.parse().map_or_else(|_| text.to_owned(), |number| measure.metric.say(measure.to_shown(number, System::Metric)))
        }
        BlankKind::Choice(choices) => choices.iter().find(|(value, _)| *value == text).map_or(text, |(_, say)| say).to_owned(),
        BlankKind::Flag(yes, no) => if text == "yes" { yes } else { no }.to_owned(),
        BlankKind::Number(None) | BlankKind::Text | BlankKind::Date => text.to_owned(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn answer(json: Json) -> Map<String, Json> {
        json.as_object().cloned().expect("an object")
    }

    #[test]
    fn a_verdict_that_is_missing_or_unknown_is_an_error_and_never_ok() {
        for said in [json!({}), json!({ "verdict": "fine" }), json!({ "verdict": null }), json!({ "verdict": "OK" })] {
            assert!(verdict_of("noise", &answer(said.clone())).is_err(), "{said}");
        }
        assert_eq!(verdict_of("noise", &answer(json!({ "verdict": "stop" }))).ok(), Some(Verdict::Stop));
        assert!(verdict_of("no-such-worksheet", &answer(json!({}))).is_ok(), "a name that is in no register is never run");
    }

    #[test]
    fn a_worksheet_that_judges_nothing_gives_its_figure_and_answers_no_question() {
        let form = form("corner-weights").expect("a form");
        let weights = answer(json!({ "lf_kg": 300, "rf_kg": 300, "lr_kg": 250, "rr_kg": 250 }));
        let work = Work { form, gives: Gives::Verdict, fixed: Map::new() };
        let found = run(&work, &weights, date(2026, 5, 9), &Policy::default(), System::Metric).expect("weights");
        assert_eq!(found.output["cross_percent"], json!(50.0), "right front and left rear: 550 of 1100 kg");
        let sheet = crate::rules::sheet_file::read(include_str!("../sheets/club-day.toml")).expect("the default sheet");
        let question = sheet.item("tyre-rating").expect("a question with a right answer");
        assert!(answer_of(question, &work, &weights, &found).is_err(), "weights do not say that anything is right");
    }
}
