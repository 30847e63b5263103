//! The strict reader of a worksheet's input: one JSON object, every field named by the worksheet, nothing guessed.
//!
//! A general JSON reader keeps the last of two equal keys and lets a reader pass over what it does not know. Here a
//! key that comes twice, an unknown field, a number too large for a double and a figure out of any physical range are
//! errors, each naming its field.

use super::words::Verdict;
use jiff::civil::{Date, date};
use serde::de::{DeserializeSeed, Deserializer, Error as _, MapAccess, SeqAccess, Visitor};
use serde::ser::{Serialize, SerializeMap, Serializer};
use std::cell::RefCell;
use std::fmt;
use std::ops::RangeInclusive;

/// The longest input read, in bytes: a season of readings fits many times over.
const INPUT_LONGEST: usize = 256 * 1024;

/// An input that cannot be used: which field, and what to do about it.
///
/// Serialises as `{"error": {"field": ..., "message": ...}}`. `field` is the path in the input, such as `on` or
/// `readings[1].thickness_mm` (counted from 0, as JSON does), and `input` for the input as a whole.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("{field}: {message}")]
pub struct InputError {
    pub field: String,
    pub message: String,
}

impl InputError {
    /// An error of one field.
    pub fn at(field: impl Into<String>, message: impl Into<String>) -> InputError {
        InputError { field: field.into(), message: message.into() }
    }
}

impl Serialize for InputError {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        let mut map = serializer.serialize_map(Some(1))?;
        let inner = [("field", &self.field), ("message", &self.message)];
        map.serialize_entry("error", &inner.into_iter().collect::<std::collections::BTreeMap<_, _>>())?;
        map.end()
    }
}

/// JSON as it was written: keys in order, a key that comes twice still there twice.
#[derive(Clone, Debug, PartialEq)]
enum Tree {
    Null,
    Flag(bool),
    Number(f64),
    Text(String),
    List(Vec<Tree>),
    Object(Vec<(String, Tree)>),
}

impl Tree {
    fn kind(&self) -> &'static str {
        match self {
            Tree::Null => "null",
            Tree::Flag(_) => "true or false",
            Tree::Number(_) => "a number",
            Tree::Text(_) => "a text",
            Tree::List(_) => "a list",
            Tree::Object(_) => "an object",
        }
    }
}

/// Reads a [`Tree`] and remembers where it was when something failed, so that the error can name the field.
struct Grow<'a> {
    path: String,
    failed_at: &'a RefCell<Option<String>>,
}

impl Grow<'_> {
    fn below(&self, path: String) -> Grow<'_> {
        Grow { path, failed_at: self.failed_at }
    }

    fn failed(&self, path: &str) {
        self.failed_at.borrow_mut().get_or_insert_with(|| path.to_owned());
    }
}

fn join(path: &str, key: &str) -> String {
    if path.is_empty() { key.to_owned() } else { format!("{path}.{key}") }
}

impl<'de> DeserializeSeed<'de> for Grow<'_> {
    type Value = Tree;

    fn deserialize<D: Deserializer<'de>>(self, deserializer: D) -> Result<Tree, D::Error> {
        deserializer.deserialize_any(self)
    }
}

impl<'de> Visitor<'de> for Grow<'_> {
    type Value = Tree;

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("JSON")
    }

    fn visit_unit<E>(self) -> Result<Tree, E> {
        Ok(Tree::Null)
    }

    fn visit_bool<E>(self, flag: bool) -> Result<Tree, E> {
        Ok(Tree::Flag(flag))
    }

    fn visit_u64<E>(self, number: u64) -> Result<Tree, E> {
        Ok(Tree::Number(number as f64))
    }

    fn visit_i64<E>(self, number: i64) -> Result<Tree, E> {
        Ok(Tree::Number(number as f64))
    }

    fn visit_f64<E>(self, number: f64) -> Result<Tree, E> {
        Ok(Tree::Number(number))
    }

    fn visit_str<E>(self, text: &str) -> Result<Tree, E> {
        Ok(Tree::Text(text.to_owned()))
    }

    fn visit_seq<A: SeqAccess<'de>>(self, mut seq: A) -> Result<Tree, A::Error> {
        let mut list = Vec::new();
        loop {
            let path = format!("{}[{}]", self.path, list.len());
            match seq.next_element_seed(self.below(path.clone())) {
                Ok(Some(tree)) => list.push(tree),
                Ok(None) => return Ok(Tree::List(list)),
                Err(error) => {
                    self.failed(&path);
                    return Err(error);
                }
            }
        }
    }

    fn visit_map<A: MapAccess<'de>>(self, mut map: A) -> Result<Tree, A::Error> {
        let mut object: Vec<(String, Tree)> = Vec::new();
        let mut names = std::collections::BTreeSet::new();
        while let Some(key) = map.next_key::<String>()? {
            let path = join(&self.path, &key);
            if !names.insert(key.clone()) {
                self.failed(&path);
                return Err(A::Error::custom(format!("\"{}\" is given twice", shorten(&key))));
            }
            match map.next_value_seed(self.below(path.clone())) {
                Ok(tree) => object.push((key, tree)),
                Err(error) => {
                    self.failed(&path);
                    return Err(error);
                }
            }
        }
        Ok(Tree::Object(object))
    }
}

/// Text from an input as an error may show it: short.
pub fn shorten(text: &str) -> String {
    if text.chars().count() <= 40 { text.to_owned() } else { text.chars().take(40).chain(['…']).collect() }
}

/// A figure as a sentence puts it beside its limit: with `decimals`, or more where it would else look like the limit.
///
/// # Example: a hair short stays visibly short
/// ```
/// use witnessmark::rules::worksheet_input::beside;
/// assert_eq!(beside(3.0, 4.5, 1), "3.0");
/// assert_eq!(beside(4.478, 4.5, 1), "4.48");
/// ```
pub fn beside(value: f64, limit: f64, decimals: usize) -> String {
    let written = |decimals: usize| format!("{value:.decimals$}");
    let differs =
        |text: &str| value == limit || text.parse().is_ok_and(|shown: f64| (shown < limit) == (value < limit) && shown != limit);
    (decimals..decimals + 6).map(written).find(|text| differs(text)).unwrap_or_else(|| value.to_string())
}

/// The worst verdict, and one sentence of all that was said, worst first.
///
/// A fix or a stop leaves out what is well: who reads it wants to know what to put right.
pub fn worst(mut said: Vec<(Verdict, String)>) -> (Verdict, String) {
    said.sort_by_key(|(verdict, _)| std::cmp::Reverse(*verdict));
    let verdict = said.first().map_or(Verdict::Ok, |(verdict, _)| *verdict);
    let kept = said.into_iter().filter(|(one, _)| verdict <= Verdict::Note || *one != Verdict::Ok);
    (verdict, sentence(&kept.map(|(_, text)| text).collect::<Vec<_>>().join("; ")))
}

/// A text with a capital letter and a full stop.
pub fn sentence(text: &str) -> String {
    let mut signs = text.chars();
    let first = signs.next().map(char::to_uppercase);
    format!("{}{}.", first.into_iter().flatten().collect::<String>(), signs.as_str())
}

/// One JSON object of the input, with the fields that the worksheet knows.
#[derive(Debug)]
pub struct Fields {
    path: String,
    object: Vec<(String, Tree)>,
}

impl Fields {
    /// Reads one JSON object and refuses every field that is not in `known`.
    ///
    /// # Errors
    /// Not JSON, not an object, empty, too long, a key twice, an unknown field, a number beyond a double.
    ///
    /// # Example: a slip of the keyboard is named, not passed over
    /// ```
    /// use witnessmark::rules::worksheet_input::Fields;
    /// let fields = Fields::read(r#"{"cold_kpa": 200}"#, &["cold_kpa"]).unwrap();
    /// assert_eq!(fields.number("cold_kpa", 0.0..=1000.0), Ok(200.0));
    /// assert_eq!(Fields::read(r#"{"cold": 200}"#, &["cold_kpa"]).unwrap_err().field, "cold");
    /// ```
    pub fn read(input: &str, known: &[&str]) -> Result<Fields, InputError> {
        if input.len() > INPUT_LONGEST {
            return Err(InputError::at("input", format!("At most {INPUT_LONGEST} bytes can be read.")));
        }
        if input.trim().is_empty() {
            return Err(InputError::at("input", format!("Give one JSON object with {}.", known.join(", "))));
        }
        let failed_at = RefCell::new(None);
        let mut deserializer = serde_json::Deserializer::from_str(input.trim_start_matches('\u{feff}'));
        let seed = Grow { path: String::new(), failed_at: &failed_at };
        let tree = seed.deserialize(&mut deserializer).and_then(|tree| deserializer.end().map(|()| tree));
        let tree = tree.map_err(|error| {
            let field = failed_at.borrow_mut().take().filter(|path| !path.is_empty());
            InputError::at(shorten(field.as_deref().unwrap_or("input")), format!("This cannot be read as JSON: {error}."))
        })?;
        Fields::of(tree, String::new(), known)
    }

    fn of(tree: Tree, path: String, known: &[&str]) -> Result<Fields, InputError> {
        let Tree::Object(object) = tree else {
            let field = if path.is_empty() { "input".to_owned() } else { path };
            return Err(InputError::at(field, format!("An object with {} is wanted, not {}.", known.join(", "), tree.kind())));
        };
        if let Some((key, _)) = object.iter().find(|(key, _)| !known.contains(&key.as_str())) {
            let message = format!("\"{}\" is not known here; known are {}.", shorten(key), known.join(", "));
            return Err(InputError::at(join(&path, &shorten(key)), message));
        }
        Ok(Fields { path, object })
    }

    /// The path of a field, for an error about it.
    pub fn path(&self, field: &str) -> String {
        join(&self.path, field)
    }

    /// An error about one of these fields.
    pub fn error(&self, field: &str, message: impl Into<String>) -> InputError {
        InputError::at(self.path(field), message)
    }

    /// Whether the field is given.
    pub fn has(&self, field: &str) -> bool {
        self.get(field).is_some()
    }

    fn get(&self, field: &str) -> Option<&Tree> {
        self.object.iter().find(|(key, _)| key == field).map(|(_, tree)| tree)
    }

    fn want(&self, field: &str) -> Result<&Tree, InputError> {
        self.get(field).ok_or_else(|| self.error(field, format!("\"{field}\" is missing.")))
    }

    fn wrong(&self, field: &str, wanted: &str, tree: &Tree) -> InputError {
        self.error(field, format!("\"{field}\" is {wanted}, not {}.", tree.kind()))
    }

    /// A number within a range; the range is what can be at all, in the field's unit.
    ///
    /// # Errors
    /// Missing, not a number, outside the range.
    pub fn number(&self, field: &str, range: RangeInclusive<f64>) -> Result<f64, InputError> {
        self.number_of(self.want(field)?, field, range)
    }

    /// As [`Fields::number`], `None` where the field is left out.
    ///
    /// # Errors
    /// Not a number, outside the range.
    pub fn number_if(&self, field: &str, range: RangeInclusive<f64>) -> Result<Option<f64>, InputError> {
        self.get(field).map(|tree| self.number_of(tree, field, range)).transpose()
    }

    fn number_of(&self, tree: &Tree, field: &str, range: RangeInclusive<f64>) -> Result<f64, InputError> {
        match tree {
            // A NaN is in no range.
            Tree::Number(number) if range.contains(number) => Ok(*number),
            Tree::Number(number) => {
                let (low, high) = (range.start(), range.end());
                Err(self.error(field, format!("{number} cannot be: \"{field}\" lies between {low} and {high}.")))
            }
            other => Err(self.wrong(field, "a number", other)),
        }
    }

    /// A whole number within a range.
    ///
    /// # Errors
    /// As [`Fields::number`], and a number with a fraction.
    pub fn whole(&self, field: &str, range: RangeInclusive<u32>) -> Result<u32, InputError> {
        let number = self.number(field, f64::from(*range.start())..=f64::from(*range.end()))?;
        // The range has been checked, so the cast keeps the number.
        if number.fract() == 0.0 { Ok(number as u32) } else { Err(self.error(field, format!("\"{field}\" is a whole number."))) }
    }

    /// As [`Fields::whole`], `None` where the field is left out.
    ///
    /// # Errors
    /// As [`Fields::whole`], but for a missing field.
    pub fn whole_if(&self, field: &str, range: RangeInclusive<u32>) -> Result<Option<u32>, InputError> {
        if self.has(field) { self.whole(field, range).map(Some) } else { Ok(None) }
    }

    /// A text of 1 to `longest` characters, without the blanks around it.
    ///
    /// # Errors
    /// Missing, not a text, empty, too long.
    pub fn text(&self, field: &str, longest: usize) -> Result<&str, InputError> {
        let text = match self.want(field)? {
            Tree::Text(text) => text.trim(),
            other => return Err(self.wrong(field, "a text", other)),
        };
        match text.chars().count() {
            0 => Err(self.error(field, format!("\"{field}\" is empty."))),
            length if length > longest => Err(self.error(field, format!("At most {longest} characters; this has {length}."))),
            _ => Ok(text),
        }
    }

    /// As [`Fields::text`], `None` where the field is left out.
    ///
    /// # Errors
    /// As [`Fields::text`], but for a missing field.
    pub fn text_if(&self, field: &str, longest: usize) -> Result<Option<&str>, InputError> {
        if self.has(field) { self.text(field, longest).map(Some) } else { Ok(None) }
    }

    /// A day, as `2026-03-28`, from 1950 to 2100.
    ///
    /// # Errors
    /// Missing, not a day of the calendar, out of range.
    pub fn date(&self, field: &str) -> Result<Date, InputError> {
        let text = self.text(field, 40)?;
        let day: Option<Date> = if text.len() == 10 && text.is_ascii() { text.parse().ok() } else { None };
        day.filter(|day| (date(1950, 1, 1)..=date(2100, 12, 31)).contains(day))
            .ok_or_else(|| self.error(field, "Give the day as year-month-day, such as 2026-03-28, from 1950 to 2100."))
    }

    /// As [`Fields::date`], `None` where the field is left out.
    ///
    /// # Errors
    /// As [`Fields::date`], but for a missing field.
    pub fn date_if(&self, field: &str) -> Result<Option<Date>, InputError> {
        if self.has(field) { self.date(field).map(Some) } else { Ok(None) }
    }

    /// `true` or `false`; `default` where the field is left out.
    ///
    /// # Errors
    /// Anything else.
    pub fn flag(&self, field: &str, default: bool) -> Result<bool, InputError> {
        match self.get(field) {
            None => Ok(default),
            Some(Tree::Flag(flag)) => Ok(*flag),
            Some(other) => Err(self.wrong(field, "true or false", other)),
        }
    }

    /// A list of numbers, each within the range.
    ///
    /// # Errors
    /// Missing, not a list, too few or too many, and as [`Fields::number`] for each.
    pub fn numbers(&self, field: &str, count: RangeInclusive<usize>, range: RangeInclusive<f64>) -> Result<Vec<f64>, InputError> {
        let list = self.list(field, count)?;
        list.iter().enumerate().map(|(at, tree)| self.number_of(tree, &format!("{field}[{at}]"), range.clone())).collect()
    }

    /// A list of texts, each of 1 to `longest` characters.
    ///
    /// # Errors
    /// Missing, not a list, too few or too many, and as [`Fields::text`] for each.
    pub fn texts(&self, field: &str, count: RangeInclusive<usize>, longest: usize) -> Result<Vec<String>, InputError> {
        let one = |(at, tree): (usize, &Tree)| match tree {
            Tree::Text(text) if (1..=longest).contains(&text.trim().chars().count()) => Ok(text.trim().to_owned()),
            _ => Err(self.error(&format!("{field}[{at}]"), format!("A text of 1 to {longest} characters is wanted here."))),
        };
        self.list(field, count)?.iter().enumerate().map(one).collect()
    }

    /// One text or a list of texts: a single word need not be put in a list.
    ///
    /// # Errors
    /// As [`Fields::text`] and [`Fields::texts`].
    pub fn text_or_texts(&self, field: &str, count: RangeInclusive<usize>, longest: usize) -> Result<Vec<String>, InputError> {
        match self.get(field) {
            Some(Tree::Text(_)) => Ok(vec![self.text(field, longest)?.to_owned()]),
            _ => self.texts(field, count, longest),
        }
    }

    /// A list of objects with the known fields.
    ///
    /// # Errors
    /// Missing, not a list of objects, too few or too many, an unknown field in one of them.
    pub fn objects(&self, field: &str, count: RangeInclusive<usize>, known: &[&str]) -> Result<Vec<Fields>, InputError> {
        let list = self.list(field, count)?;
        let one = |(at, tree): (usize, &Tree)| Fields::of(tree.clone(), self.path(&format!("{field}[{at}]")), known);
        list.iter().enumerate().map(one).collect()
    }

    /// An object with the known fields.
    ///
    /// # Errors
    /// Missing, not an object, an unknown field in it.
    pub fn object(&self, field: &str, known: &[&str]) -> Result<Fields, InputError> {
        Fields::of(self.want(field)?.clone(), self.path(field), known)
    }

    fn list(&self, field: &str, count: RangeInclusive<usize>) -> Result<&[Tree], InputError> {
        match self.want(field)? {
            Tree::List(list) if count.contains(&list.len()) => Ok(list),
            Tree::List(list) => {
                let (low, high) = (count.start(), count.end());
                Err(self.error(field, format!("\"{field}\" has {low} to {high} entries; this has {}.", list.len())))
            }
            other => Err(self.wrong(field, "a list", other)),
        }
    }
}
