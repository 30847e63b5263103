//! The log as a table: written for a spreadsheet, read back from one.
//!
//! One figure a line: `day,time,what,place,value,unit,new,note`. Time on track is `track-time` in `min`, a fluid changed has no value.

use super::book::{Line, Logged};
use super::change::{Change, Readings, Taken};
use super::kinds::{Fluid, ReadingKind};
use crate::rules::answer::{Trouble, read_in};
use crate::rules::units::Unit;
use jiff::Timestamp;
use jiff::civil::{Date, Time};
use std::collections::BTreeMap;
use uuid::Uuid;

/// The columns, in order.
pub const COLUMNS: [&str; 8] = ["day", "time", "what", "place", "value", "unit", "new", "note"];
/// The word for time on track.
const TRACK: &str = "track-time";
/// The most lines of a file.
pub const MOST_LINES: usize = 5000;
/// The longest note in characters: a grade and a note of the form, written as one, go back in.
const LONGEST_NOTE: usize = 300;
/// The most troubles that are told at once.
const MOST_TROUBLES: usize = 20;

/// The rows of a line of the log.
pub fn rows(line: &Line) -> Vec<[String; 8]> {
    let day = line.taken.day.to_string();
    let clock = line.taken.clock.map(|clock| clock.strftime("%H:%M").to_string()).unwrap_or_default();
    let row = |what: &str, place: &str, value: String, unit: &str, fresh: bool, note: &str| {
        let new = if fresh { "yes" } else { "" };
        [day.clone(), clock.clone(), what.into(), place.into(), value, unit.into(), new.into(), note.into()]
    };
    match &line.what {
        Logged::Readings(readings) => {
            let one = |(place, value): (&String, &f64)| {
                row(readings.what.token(), place, value.to_string(), &readings.unit, readings.fresh, &readings.note)
            };
            readings.at.iter().map(one).collect()
        }
        Logged::Track { minutes, note, .. } => vec![row(TRACK, "", minutes.to_string(), "min", false, note)],
        Logged::Changed { fluid, grade, note } => {
            let note = [grade.as_str(), note.as_str()].into_iter().filter(|text| !text.is_empty()).collect::<Vec<_>>().join("; ");
            vec![row(fluid.token(), "", String::new(), "", false, &note)]
        }
    }
}

/// What a table holds.
#[derive(Debug)]
pub struct Table {
    /// What the log does not have yet, readings of one time and kind together; each with how many like it came before.
    pub new: Vec<(Change, usize)>,
    /// How many lines the log has already.
    pub there: usize,
}

/// Reads a table into changes for a car whose log has these lines already, struck ones among them.
///
/// # Errors
/// A trouble for each line that cannot be used, with its number; nothing is half read.
pub fn read(text: &str, car: Uuid, today: Date, log: &[&Line]) -> Result<Table, Vec<Trouble>> {
    let trouble = |at: String, message: &str| Trouble { field: at, message: message.to_owned() };
    // A spreadsheet of a country with decimal commas parts its columns by semicolons.
    let whole = text;
    let text = text.trim_start_matches('\u{feff}').trim_start_matches(['\r', '\n']);
    let head = text.lines().next().unwrap_or_default();
    let separator = if head.contains(';') { b';' } else { b',' };
    let mut reader =
        csv::ReaderBuilder::new().delimiter(separator).trim(csv::Trim::All).flexible(true).from_reader(text.as_bytes());
    let columns: Vec<String> = match reader.headers() {
        Ok(names) => names.iter().map(str::to_lowercase).collect(),
        Err(_) => return Err(vec![trouble("the first line".into(), "This cannot be read as a table of text.")]),
    };
    let needed = ["day", "what", "value"];
    if let Some(missing) = needed.iter().find(|name| !columns.iter().any(|column| column == *name)) {
        let message = format!("There is no column \"{missing}\". The first line names the columns: {}.", COLUMNS.join(", "));
        return Err(vec![trouble("the first line".into(), &message)]);
    }
    let mut known: BTreeMap<[String; 8], usize> = BTreeMap::new();
    log.iter().flat_map(|line| rows(line)).for_each(|row| *known.entry(row).or_default() += 1);
    let mut met: BTreeMap<[String; 8], usize> = BTreeMap::new();
    let (mut changes, mut troubles, mut sets, mut there) = (Vec::new(), Vec::new(), BTreeMap::new(), 0);
    // Blank lines are lines and a note may run over two: an editor counts them all.
    let (mut line, mut counted) = (1, 0);
    for (nth, record) in reader.records().enumerate() {
        if let Some(begins) = record.as_ref().ok().and_then(|record| record.position()) {
            let begins = whole.len() - text.len() + usize::try_from(begins.byte()).unwrap_or_default();
            let blank = whole.as_bytes().iter().skip(begins).take_while(|byte| matches!(byte, b'\r' | b'\n')).count();
            line += ends(whole.as_bytes().get(counted..begins + blank).unwrap_or_default());
            counted = begins + blank;
        }
        let at = format!("line {line}");
        if nth >= MOST_LINES {
            troubles.push(trouble(at, "A file has at most 5,000 lines: take it in in parts."));
            break;
        }
        let Ok(record) = record else {
            troubles.push(trouble(at, "This line is not UTF-8 text."));
            continue;
        };
        let field =
            |name: &str| columns.iter().position(|column| column == name).and_then(|nth| record.get(nth)).unwrap_or_default();
        if COLUMNS.iter().all(|name| field(name).is_empty()) {
            continue;
        }
        let read = read_row(field, car, today);
        if let Some(row) = read.as_ref().ok().and_then(Row::written) {
            let so_far = met.entry(row.clone()).or_default();
            *so_far += 1;
            if *so_far <= known.get(&row).copied().unwrap_or_default() {
                there += 1;
                continue;
            }
            // Two sessions of one length on one day are two, though nothing tells them apart.
            if let Ok(Row::Whole(change)) = &read {
                changes.push((Change::clone(change), *so_far - 1));
            }
        }
        match read {
            Ok(Row::Whole(_)) => {}
            Ok(Row::Part(key, place, value)) => {
                // The same place twice at one time: the later line is another reading, not a correction in silence.
                let set: &mut BTreeMap<String, f64> = sets.entry(key).or_default();
                if set.insert(place, value).is_some() {
                    troubles.push(trouble(at, "This place is read twice at one time: give the second a time of its own."));
                }
            }
            Err(message) => troubles.push(trouble(at, &message)),
        }
    }
    troubles.truncate(MOST_TROUBLES);
    if !troubles.is_empty() {
        return Err(troubles);
    }
    changes.extend(sets.into_iter().map(|((taken, token, unit, fresh, note), at)| {
        let what = ReadingKind::parse(&token).unwrap_or(ReadingKind::Pad);
        let readings = Readings { what, unit, at, fresh, note, from: "a file".into() };
        (Change::Readings { car, taken, readings }, 0)
    }));
    Ok(Table { new: changes, there })
}

/// How many lines end within these bytes.
fn ends(bytes: &[u8]) -> usize {
    let is_end = |(nth, byte): (usize, &u8)| *byte == b'\n' || (*byte == b'\r' && bytes.get(nth + 1) != Some(&b'\n'));
    bytes.iter().enumerate().filter(|end| is_end(*end)).count()
}

type Set = (Taken, String, String, bool, String);

enum Row {
    Whole(Box<Change>),
    Part(Set, String, f64),
}

impl Row {
    /// As the log's own table would write it.
    fn written(&self) -> Option<[String; 8]> {
        let what = match self {
            Row::Part((taken, token, unit, fresh, note), place, value) => {
                let (what, at) = (ReadingKind::parse(token)?, BTreeMap::from([(place.clone(), *value)]));
                let from = String::new();
                let readings = Readings { what, unit: unit.clone(), at, fresh: *fresh, note: note.clone(), from };
                (*taken, Logged::Readings(readings))
            }
            Row::Whole(change) => match &**change {
                Change::Track { taken, minutes, sessions, note, .. } => {
                    (*taken, Logged::Track { minutes: *minutes, sessions: *sessions, note: note.clone() })
                }
                Change::Changed { taken, fluid, grade, note, .. } => {
                    (*taken, Logged::Changed { fluid: *fluid, grade: grade.clone(), note: note.clone() })
                }
                _ => return None,
            },
        };
        let (taken, what) = what;
        let line = Line { id: Uuid::nil(), taken, noted_at: Timestamp::UNIX_EPOCH, what, photos: vec![], struck: false };
        rows(&line).pop()
    }
}

fn read_row<'r>(field: impl Fn(&str) -> &'r str, car: Uuid, today: Date) -> Result<Row, String> {
    let day = field("day").parse::<Date>().ok().filter(|day| (1990..=2100).contains(&day.year()));
    let day = day.ok_or_else(|| format!("\"{}\" is no day: write year-month-day, such as 2026-03-28.", shorten(field("day"))))?;
    if day > super::log::days_later(today, 1) {
        return Err(format!("{day} is still to come."));
    }
    let clock = match field("time") {
        "" => None,
        text => {
            let time =
                Time::strptime("%H:%M", text).map_err(|_| format!("\"{}\" is no time: write it as 14:30.", shorten(text)))?;
            Some(time)
        }
    };
    let taken = Taken { day, clock };
    let note = note_of(field("note"))?;
    let what = field("what").to_lowercase();
    if let Some(fluid) = Fluid::parse(&what) {
        return Ok(Row::Whole(Box::new(Change::Changed { car, taken, fluid, grade: String::new(), note })));
    }
    if what == TRACK {
        let minutes = read_in(None, field("value")).filter(|minutes| (1.0..=1440.0).contains(minutes));
        let minutes = minutes.ok_or("Time on track is a number of minutes from 1 to 1440.")?;
        return Ok(Row::Whole(Box::new(Change::Track { car, taken, minutes, sessions: 0, note })));
    }
    let Some(kind) = ReadingKind::parse(&what) else {
        let kinds = ReadingKind::ALL.map(ReadingKind::token).join(", ");
        let fluids = Fluid::ALL.map(Fluid::token).join(", ");
        return Err(format!("\"{}\" is none of {kinds}, {TRACK}, {fluids}.", shorten(&what)));
    };
    let unit = match field("unit") {
        "" => kind.unit(),
        text => Unit::parse(text)
            .filter(|unit| unit.quantity() == kind.unit().quantity())
            .ok_or_else(|| format!("{} is not read in \"{}\".", kind.name(), shorten(text)))?,
    };
    let place = kind.per().place(field("place")).ok_or_else(|| {
        let places: Vec<String> = kind.per().places().iter().map(|place| place.token()).collect();
        format!("\"{}\" is no place of it: {}.", shorten(field("place")), places.join(", "))
    })?;
    let value = read_in(Some(unit), field("value")).ok_or_else(|| format!("\"{}\" is no number.", shorten(field("value"))))?;
    let (low, high) = (kind.unit().convert(kind.possible().0, unit), kind.unit().convert(kind.possible().1, unit));
    if value < low - 1e-9 || value > high + 1e-9 {
        return Err(format!("{} cannot be: this lies between {} and {}.", unit.say(value), unit.figure(low), unit.say(high)));
    }
    let fresh = match field("new").to_lowercase().as_str() {
        "" | "no" | "n" | "false" | "0" => false,
        "yes" | "y" | "true" | "new" | "x" | "1" => true,
        other => return Err(format!("\"{}\" is neither yes nor no: whether the part is new.", shorten(other))),
    };
    Ok(Row::Part((taken, kind.token().into(), unit.token().into(), fresh, note), place.token(), value))
}

/// A note as it was before it was guarded for a spreadsheet (see `output/csv.rs`).
fn note_of(text: &str) -> Result<String, String> {
    let bare = text.strip_prefix('\'').filter(|rest| rest.starts_with(['=', '+', '-', '@'])).unwrap_or(text);
    let note: String = bare.chars().filter(|c| !c.is_control()).collect();
    let long = note.chars().count();
    if long > LONGEST_NOTE { Err(format!("A note has at most {LONGEST_NOTE} characters; this has {long}.")) } else { Ok(note) }
}

fn shorten(text: &str) -> String {
    text.chars().take(30).collect()
}
