//! Telling answers and history in lines, for the inspector and the organizer.

use super::answer_words::said;
use super::page::Clock;
use crate::acts::state::{EntryState, Sent, word_body};
use crate::rules::answer::{Answer, is_asked};
use crate::rules::sheet::{Item, Sheet};
use crate::store::history;

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
pub fn lines_of(state: &EntryState, clock: &Clock, photos_under: &str) -> Vec<Line> {
    let line = |record: &history::Record| {
        let words = word_body(record).unwrap_or_default();
        let number = record.number.map(|number| format!(" {number}")).unwrap_or_default();
        let late = record.arrived_at.as_second() - record.made_at.as_second() > 60;
        let made = if late { format!(", made {} on the device", clock.at(&record.made_at)) } else { String::new() };
        let seen = super::page::count(record.seen.len(), "record", "records");
        let mut text = words.reason;
        if !words.items.is_empty() {
            let items: Vec<&str> = words.items.iter().map(String::as_str).collect();
            text = format!("{text} Seen put right: {}.", items.join(", ")).trim().to_owned();
        }
        if !words.by_hand.is_empty() {
            text = format!("{text} {} by hand.", super::page::count(words.by_hand.len(), "check", "checks")).trim().to_owned();
        }
        Line {
            class: record.kind.word().to_owned(),
            head: format!("{}{number} by {} ({})", record.kind.word(), record.maker.name, record.maker.role),
            text,
            note: format!("{}{made}; had seen {seen}; record {}", clock.in_full(&record.arrived_at), record.id),
            pictures: words.photos.iter().map(|id| format!("{photos_under}/photos/{id}")).collect(),
        }
    };
    state.records.iter().rev().map(line).collect()
}
