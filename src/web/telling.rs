//! Telling answers and history in lines, for the inspector and the organizer.

use super::answer_words::said;
use super::page::Clock;
use crate::acts::house::KnownEvent;
use crate::acts::preview::Moved;
use crate::acts::raise_edition::Raised;
use crate::acts::state::{EntryState, Sent, WordBody, word_body};
use crate::rules::answer::{Answer, is_asked};
use crate::rules::sheet::{Item, Sheet};
use crate::store::history;
use uuid::Uuid;

/// One line: what, and what was said of it.
pub struct Line {
    /// Empty, or the kind of the record: the page draws the mark of it.
    pub class: String,
    pub head: String,
    pub text: String,
    pub note: String,
    /// Where its pictures are.
    pub pictures: Vec<String>,
}

/// Every answer of a submission, area by area. `photos_under` is where the reader may fetch photos.
pub fn answers_of(sheet: &Sheet, sent: &Sent, photos_under: &str) -> Vec<(String, Vec<Line>)> {
    let area = |area: &crate::rules::sheet::Area| {
        let asked = area.items.iter().filter(|item| is_asked(sheet, item, &sent.answers));
        (area.name.clone(), asked.map(|item| line_of(item, sent, photos_under)).collect::<Vec<Line>>())
    };
    sheet.areas.iter().map(area).filter(|(_, lines)| !lines.is_empty()).collect()
}

fn line_of(item: &Item, sent: &Sent, photos_under: &str) -> Line {
    let worst = sent.judged.findings.iter().filter(|finding| finding.item == item.id).map(|finding| finding.severity).max();
    let answer = sent.answers.get(&item.id);
    Line {
        class: worst.map(|severity| severity.word().to_owned()).unwrap_or_default(),
        head: item.name.clone(),
        text: answer.map_or_else(|| "not answered".to_owned(), |answer| said(item, answer)),
        note: [answer.and_then(|answer| worked(item, answer)), answer.and_then(|answer| answer.note.clone())]
            .into_iter()
            .flatten()
            .collect::<Vec<_>>()
            .join(" "),
        pictures: answer
            .map(|answer| answer.photos.iter().map(|id| format!("{photos_under}/photos/{id}")).collect())
            .unwrap_or_default(),
    }
}

/// The readings that an answer was worked out from.
fn worked(item: &Item, answer: &Answer) -> Option<String> {
    Some(crate::rules::work::say(item.work.as_ref()?, answer.worked.as_ref()?))
}

/// The history of an entry, the newest first, with everything a question years later would ask.
pub fn lines_of(known: &KnownEvent, state: &EntryState, clock: &Clock, photos_under: &str) -> Vec<Line> {
    let records = state.records.iter().map(|record| (record.place, record_line(known, record, clock, photos_under)));
    let is_moved =
        |raised: &&Raised| raised.body.as_ref().is_none_or(|body| body.moved.iter().any(|moved| moved.entry == state.entry.id));
    let raises =
        known.raises.iter().filter(is_moved).map(|raised| (raised.place, raise_line(raised, Some(state.entry.id), clock)));
    let mut lines: Vec<(i64, Line)> = records.chain(raises).collect();
    lines.sort_by_key(|(place, _)| std::cmp::Reverse(*place));
    lines.into_iter().map(|(_, line)| line).collect()
}

fn record_line(known: &KnownEvent, record: &history::Record, clock: &Clock, photos_under: &str) -> Line {
    let words = word_body(record).unwrap_or_default();
    let number = record.number.map(|number| format!(" {number}")).unwrap_or_default();
    let late = record.arrived_at.as_second() - record.made_at.as_second() > 60;
    let made = if late { format!(", made {} on the device", clock.at(&record.made_at)) } else { String::new() };
    let seen = super::page::count(record.seen.len(), "record", "records");
    let edition = record.edition.and_then(|id| known.other(id)).map(|edition| format!("; by edition {}", edition.number));
    let at = clock.in_full(&record.arrived_at);
    Line {
        class: record.kind.word().to_owned(),
        head: format!("{}{number} by {} ({})", record.kind.word(), record.maker.name, record.maker.role),
        text: words_of(known, record, &words),
        note: format!("{at}{made}{}; had seen {seen}; record {}", edition.unwrap_or_default(), record.id),
        pictures: words.photos.iter().map(|id| format!("{photos_under}/photos/{id}")).collect(),
    }
}

/// What a sign-off says beside its reason: findings that were seen put right and how, checks by hand by their names.
fn words_of(known: &KnownEvent, record: &history::Record, words: &WordBody) -> String {
    // Named by the edition they were asked by, as far as it is here.
    let sheet = record.edition.and_then(|id| known.other(id)).map_or(&known.edition.sheet, |edition| &edition.sheet);
    let name = |id: &String| sheet.item(id).map_or_else(|| id.clone(), |item| item.name.clone());
    let mut text = vec![words.reason.clone()];
    for item in &words.items {
        let reading = words.readings.get(item).and_then(|json| {
            let item = sheet.item(item)?;
            let answer = crate::rules::answer::from_json(item, json, jiff::civil::Date::MAX).ok()??;
            Some(format!("measured {}", said(item, &answer)))
        });
        let how: Vec<String> = reading.into_iter().chain(words.seen_as.get(item).cloned()).collect();
        let how = if how.is_empty() { String::new() } else { format!(" ({})", how.join("; ")) };
        text.push(format!("Seen put right: {}{how}.", name(item)));
    }
    if !words.by_hand.is_empty() {
        text.push(format!("By hand: {}.", words.by_hand.iter().map(name).collect::<Vec<_>>().join(", ")));
    }
    text.retain(|part| !part.is_empty());
    text.join(" ")
}

/// Every time an event was raised to another edition, the newest first: by whom, and what it moved.
pub fn raises_of(known: &KnownEvent, clock: &Clock) -> Vec<Line> {
    known.raises.iter().rev().map(|raised| raise_line(raised, None, clock)).collect()
}

/// A raise in a line: all that it moved, or what became of one entry.
fn raise_line(raised: &Raised, entry: Option<Uuid>, clock: &Clock) -> Line {
    let note = format!("{}; record {}", clock.in_full(&raised.at), raised.id);
    let (head, text) = match &raised.body {
        Some(body) => {
            let of = |moved: &&Moved| entry.is_none_or(|entry| moved.entry == entry);
            let moved: Vec<String> = body.moved.iter().filter(of).map(|moved| moved_in_words(moved, entry.is_none())).collect();
            let text = if moved.is_empty() { "no car moved".to_owned() } else { moved.join("; ") };
            (format!("sheet raised from edition {} to {} by {}", body.from_number, body.to_number, raised.by), text)
        }
        None => (format!("sheet raised by {}", raised.by), "its words cannot be read".to_owned()),
    };
    Line { class: "raise".into(), head, text, note, pictures: Vec::new() }
}

/// "car 27 cleared to pending".
fn moved_in_words(moved: &Moved, by_number: bool) -> String {
    let stands = if moved.from == moved.to { format!("stays {}", moved.to) } else { format!("{} to {}", moved.from, moved.to) };
    let falls = match moved.falls_away.as_slice() {
        [] => String::new(),
        falls => format!(" (fell away: {})", falls.join(" ")),
    };
    if by_number { format!("car {} {stands}{falls}", moved.number) } else { format!("{stands}{falls}") }
}
