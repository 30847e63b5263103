//! A strict reader of TOML tables that always knows the line: every key is taken by name, and what is left is an error.

use jiff::civil::Date;
use serde_json::{Map, Value as Json, json};
use std::fmt;
use std::ops::Range;
use toml::Spanned;
use toml::de::{DeTable, DeValue};

/// What is wrong with a file, where, and at which key.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub struct FileError {
    /// The line, counted from 1.
    pub line: usize,
    /// The key, with the table it stands in.
    pub key: String,
    pub message: String,
}

impl fmt::Display for FileError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "line {}, {}: {}", self.line, self.key, self.message)
    }
}

/// Parses a whole document and lets `read` take its keys.
pub fn read_document<T>(text: &str, read: impl FnOnce(&mut Keys<'_>) -> Result<T, FileError>) -> Result<T, FileError> {
    let document = DeTable::parse(text).map_err(|error| FileError {
        line: error.span().map_or(1, |span| line_of(text, span.start)),
        key: "the file".into(),
        message: error.message().to_owned(),
    })?;
    let mut keys = Keys::new(text, "the file".into(), 0..0, document.get_ref());
    let value = read(&mut keys)?;
    keys.finish()?;
    Ok(value)
}

fn line_of(text: &str, offset: usize) -> usize {
    text.bytes().take(offset).filter(|byte| *byte == b'\n').count() + 1
}

/// The keys of one table that nobody has taken yet.
pub struct Keys<'t> {
    text: &'t str,
    /// What messages call the table: `area "wheels"`.
    pub path: String,
    span: Range<usize>,
    left: Vec<(&'t str, Range<usize>, &'t Spanned<DeValue<'t>>)>,
}

type Found<'t> = (Range<usize>, &'t DeValue<'t>);

impl<'t> Keys<'t> {
    fn new(text: &'t str, path: String, span: Range<usize>, table: &'t DeTable<'t>) -> Keys<'t> {
        let left = table.iter().map(|(key, value)| (key.get_ref().as_ref(), key.span(), value)).collect();
        Keys { text, path, span, left }
    }

    fn take(&mut self, key: &str) -> Option<Found<'t>> {
        let at = self.left.iter().position(|(name, ..)| *name == key)?;
        let (_, span, value) = self.left.swap_remove(at);
        Some((span, value.get_ref()))
    }

    fn want(&mut self, key: &str) -> Result<Found<'t>, FileError> {
        self.take(key).ok_or_else(|| self.error_at(self.span.start, key, "is missing"))
    }

    fn error_at(&self, offset: usize, key: &str, message: impl Into<String>) -> FileError {
        FileError { line: line_of(self.text, offset), key: format!("{}, key `{key}`", self.path), message: message.into() }
    }

    /// An error about this table as a whole, at the line where it begins.
    pub fn error(&self, key: &str, message: impl Into<String>) -> FileError {
        self.error_at(self.span.start, key, message)
    }

    /// Complains of the first key that nobody asked for.
    pub fn finish(&mut self) -> Result<(), FileError> {
        self.left.sort_by_key(|(_, span, _)| span.start);
        match self.left.first() {
            Some((key, span, _)) => Err(self.error_at(span.start, key, "is not a key that belongs here")),
            None => Ok(()),
        }
    }

    /// Takes a key through `read`, which answers what is wrong in words; the line is added here.
    fn through<T>(
        &self,
        key: &str,
        found: Found<'t>,
        read: impl FnOnce(&'t DeValue<'t>) -> Result<T, String>,
    ) -> Result<T, FileError> {
        read(found.1).map_err(|message| self.error_at(found.0.start, key, message))
    }

    /// A text that must be there and say something.
    pub fn text(&mut self, key: &str, longest: usize) -> Result<String, FileError> {
        let found = self.want(key)?;
        self.through(key, found, |value| as_text(value, longest))
    }

    /// A text that may be left out.
    pub fn text_or_none(&mut self, key: &str, longest: usize) -> Result<Option<String>, FileError> {
        self.take(key).map(|found| self.through(key, found, |value| as_text(value, longest))).transpose()
    }

    /// A text that `parse` turns into something else; `wanted` says what it must be.
    pub fn parsed<T>(&mut self, key: &str, wanted: &str, parse: impl FnOnce(&str) -> Option<T>) -> Result<T, FileError> {
        let found = self.want(key)?;
        self.through(key, found, |value| {
            let text = as_text(value, 200)?;
            parse(&text).ok_or_else(|| format!("must be {wanted}, not \"{text}\""))
        })
    }

    /// As [`Keys::parsed`], for a key that may be left out.
    pub fn parsed_or_none<T>(
        &mut self,
        key: &str,
        wanted: &str,
        parse: impl FnOnce(&str) -> Option<T>,
    ) -> Result<Option<T>, FileError> {
        if self.has(key) { self.parsed(key, wanted, parse).map(Some) } else { Ok(None) }
    }

    /// Whether the key is there and not yet taken.
    pub fn has(&self, key: &str) -> bool {
        self.left.iter().any(|(name, ..)| *name == key)
    }

    /// True or false; `default` where the key is left out.
    pub fn flag(&mut self, key: &str, default: bool) -> Result<bool, FileError> {
        match self.take(key) {
            None => Ok(default),
            Some(found) => self.through(key, found, |value| value.as_bool().ok_or_else(|| "must be true or false".into())),
        }
    }

    /// A finite number that may be left out.
    pub fn number_or_none(&mut self, key: &str) -> Result<Option<f64>, FileError> {
        self.take(key).map(|found| self.through(key, found, as_number)).transpose()
    }

    /// A whole number from `low` to `high`.
    pub fn whole(&mut self, key: &str, low: u32, high: u32) -> Result<u32, FileError> {
        let found = self.want(key)?;
        self.through(key, found, |value| {
            let number = as_number(value)?;
            let fits = number.fract() == 0.0 && (f64::from(low)..=f64::from(high)).contains(&number);
            // The range was checked: the cast loses nothing.
            if fits { Ok(number as u32) } else { Err(format!("must be a whole number from {low} to {high}")) }
        })
    }

    /// Two numbers, the first the smaller.
    pub fn pair(&mut self, key: &str) -> Result<(f64, f64), FileError> {
        let found = self.want(key)?;
        self.through(key, found, |value| {
            let pair = value.as_array().filter(|array| array.len() == 2).ok_or("must be two numbers, [lowest, highest]")?;
            let (low, high) = (as_number(pair[0].get_ref())?, as_number(pair[1].get_ref())?);
            if low < high { Ok((low, high)) } else { Err("the first number must be the smaller".into()) }
        })
    }

    /// A day, written bare as TOML has it.
    pub fn date_or_none(&mut self, key: &str) -> Result<Option<Date>, FileError> {
        self.take(key)
            .map(|found| {
                self.through(key, found, |value| {
                    value
                        .as_datetime()
                        .filter(|stamp| stamp.time.is_none())
                        .and_then(|stamp| stamp.to_string().parse().ok())
                        .ok_or_else(|| "must be a day without quotes, such as 2026-12-31".to_owned())
                })
            })
            .transpose()
    }

    /// A list of texts; an absent key is an empty list.
    pub fn texts(&mut self, key: &str, longest: usize) -> Result<Vec<String>, FileError> {
        match self.take(key) {
            None => Ok(Vec::new()),
            Some(found) => self.through(key, found, |value| {
                let list = value.as_array().ok_or("must be a list of texts, [\"...\"]")?;
                list.iter().map(|entry| as_text(entry.get_ref(), longest)).collect()
            }),
        }
    }

    /// The table under a key, that may be left out.
    pub fn table_or_none(&mut self, key: &str) -> Result<Option<Keys<'t>>, FileError> {
        let Some((span, value)) = self.take(key) else { return Ok(None) };
        match value.as_table() {
            Some(table) => Ok(Some(Keys::new(self.text, format!("{}, `{key}`", self.path), span, table))),
            None => Err(self.error_at(span.start, key, "must be a table, { ... }")),
        }
    }

    /// All keys that are left, as plain values: numbers, texts, true and false.
    pub fn plain_values(&mut self) -> Result<Map<String, Json>, FileError> {
        let left = std::mem::take(&mut self.left);
        let read = |(key, span, value): (&'t str, Range<usize>, &'t Spanned<DeValue<'t>>)| {
            let json = match value.get_ref() {
                DeValue::Boolean(flag) => Ok(json!(flag)),
                DeValue::String(_) => as_text(value.get_ref(), 200).map(|text| json!(text)),
                other => as_number(other).map(|number| json!(number)),
            };
            json.map(|json| (key.to_owned(), json)).map_err(|message| self.error_at(span.start, key, message))
        };
        left.into_iter().map(read).collect()
    }

    /// The tables of a list, `[[key]]` or `key = [{ ... }]`; an absent key is an empty list.
    pub fn tables(&mut self, key: &str) -> Result<Vec<Keys<'t>>, FileError> {
        let Some((span, value)) = self.take(key) else { return Ok(Vec::new()) };
        let Some(list) = value.as_array() else {
            return Err(self.error_at(span.start, key, format!("must be a list of tables, [[{key}]]")));
        };
        let mut tables = Vec::new();
        for (nth, entry) in list.iter().enumerate() {
            let Some(table) = entry.get_ref().as_table() else {
                return Err(self.error_at(entry.span().start, key, "every entry must be a table"));
            };
            // A `[[header]]` has no span of its own that is of use: its first key stands where a reader looks.
            let start = table.keys().map(|key| key.span().start).min().unwrap_or(entry.span().start);
            let outer = if self.path == "the file" { String::new() } else { format!("{}, ", self.path) };
            tables.push(Keys::new(self.text, format!("{outer}{key} {}", nth + 1), start..start, table));
        }
        Ok(tables)
    }
}

fn as_text(value: &DeValue<'_>, longest: usize) -> Result<String, String> {
    let text = value.as_str().ok_or("must be a text in quotes")?.trim();
    match text.chars().count() {
        0 => Err("must not be empty".into()),
        length if length > longest => Err(format!("at most {longest} characters; this has {length}")),
        _ if text.chars().any(|c| c.is_control() && c != '\n') => Err("must not hold control characters".into()),
        _ => Ok(text.to_owned()),
    }
}

fn as_number(value: &DeValue<'_>) -> Result<f64, String> {
    let digits = match value {
        DeValue::Integer(integer) if integer.radix() == 10 => integer.as_str(),
        DeValue::Float(float) => float.as_str(),
        _ => return Err("must be a number without quotes".into()),
    };
    digits.replace('_', "").parse().ok().filter(|n: &f64| n.is_finite()).ok_or_else(|| "must be a finite number".into())
}
