//! The sheet file: whatever can be read can be asked, answered and judged.

#![no_main]

use libfuzzer_sys::fuzz_target;
use std::collections::BTreeSet;
use witnessmark::rules::answer::{Answers, Typed, from_typed, is_asked};
use witnessmark::rules::judge::judge;
use witnessmark::rules::sheet::{Bound, Item, Kind, Sheet};
use witnessmark::rules::sheet_file;
use witnessmark::rules::units::Units;
use witnessmark::rules::words::ItemId;
use witnessmark::rules::worksheet_form::BlankKind;
use witnessmark::terminal::judged_json;
use witnessmark_fuzz::{DAY, is_sound, says_something, timely};

fuzz_target!(|text: &str| {
    let sheet = match timely(|| sheet_file::read(text)) {
        Ok(sheet) => sheet,
        Err(error) => {
            if let Err(kept) = timely(|| sheet_file::read_kept(text)) {
                says_something(&kept.message, text);
            }
            says_something(&error.message, text);
            assert!(!error.key.is_empty(), "{error}");
            assert!((1..=text.lines().count() + 1).contains(&error.line), "line {} of {}", error.line, text.lines().count());
            return;
        }
    };
    holds_what_it_promises(&sheet);
    assert!(sheet_file::read_kept(text).is_ok(), "what comes in today is readable as long as it is kept");
    for answer_no in [false, true] {
        let mut answers = Answers::new();
        for item in sheet.items().filter(|item| is_asked(&sheet, item, &Answers::new())) {
            match from_typed(item, &typed(item, answer_no), DAY) {
                Ok(answer) => answers.extend(answer.map(|answer| (item.id.clone(), answer))),
                Err(troubles) => troubles.iter().for_each(|trouble| says_something(&trouble.message, text)),
            }
        }
        for units in [Units::METRIC, Units::US] {
            let judged = timely(|| judge(&sheet, &answers, DAY, &units));
            is_sound(&judged_json(&judged), text, &|_| false);
            let of_sheet = |id: &ItemId| sheet.items().any(|item| item.id == *id);
            assert!(judged.findings.iter().all(|finding| of_sheet(&finding.item)), "a finding on no item");
            assert!(judged.findings.iter().all(|finding| finding.mend.is_some()), "a finding without a remedy");
        }
    }
    let nothing = judge(&sheet, &Answers::new(), DAY, &Units::METRIC);
    let wanted = sheet.items().any(|item| item.required && item.when.is_none());
    assert_eq!(nothing.is_complete(), !wanted, "an unanswered item is missing");
    assert!(nothing.findings.is_empty(), "no answer, no finding");
});

/// What `sheet_file` says of every sheet that it lets through.
fn holds_what_it_promises(sheet: &Sheet) {
    let mut earlier: BTreeSet<&str> = BTreeSet::new();
    for item in sheet.items() {
        if let Some(condition) = &item.when {
            assert!(earlier.contains(condition.item.as_str()), "{} leans on a later item", item.id);
        }
        if let Kind::YesNo(rule) = &item.kind {
            assert_ne!(rule.means(true).to_lowercase(), rule.means(false).to_lowercase(), "{}", item.id);
        }
        if let Kind::Measurement(rule) = &item.kind {
            assert!(rule.possible.0 < rule.possible.1, "{}", item.id);
            assert!(rule.limits.is_sorted_by(|before, after| before.severity >= after.severity), "{}", item.id);
            for limit in &rule.limits {
                match &limit.bound {
                    Bound::AtLeast(n) | Bound::AtMost(n) => assert!((rule.possible.0..=rule.possible.1).contains(n)),
                    Bound::AtLeastItem(other) | Bound::WithinPercent(_, other) => {
                        assert!(earlier.contains(other.as_str()), "{} leans on a later item", item.id);
                        let is_required = sheet.item(other.as_str()).is_some_and(|other| other.required);
                        assert!(is_required, "{} leans on what may be left out", item.id);
                    }
                }
            }
        }
        assert!(earlier.insert(item.id.as_str()), "two items are called {}", item.id);
    }
}

/// Something that a person may type for the item: one end of what is possible, or the other.
fn typed(item: &Item, other_end: bool) -> Typed {
    let text = match &item.kind {
        Kind::YesNo(_) => if other_end { "no" } else { "yes" }.to_owned(),
        Kind::Measurement(rule) => if other_end { rule.possible.1 } else { rule.possible.0 }.to_string(),
        Kind::Date(_) => if other_end { "2019-02-28" } else { "2026-05-09" }.to_owned(),
        Kind::Label(_) => "SA2020".to_owned(),
        Kind::TyreCode(_) => if other_end { "5300" } else { "1026" }.to_owned(),
        Kind::Choice(choices) => {
            let choice = if other_end { choices.last() } else { choices.first() };
            choice.map(|choice| choice.id.to_string()).unwrap_or_default()
        }
        Kind::Text { .. } => "x".to_owned(),
        Kind::Photo { .. } => return Typed::from([("photo".to_owned(), "0190a8e2-0000-7000-8000-000000000001".to_owned())]),
    };
    let mut typed: Typed = item.kind.per().places().into_iter().map(|place| (place.token(), text.clone())).collect();
    // At the other end the answer is worked out, where the item has a worksheet.
    for blank in item.work.iter().filter(|_| other_end).flat_map(|work| work.form.blanks) {
        let text = match blank.kind {
            BlankKind::Number(_) => "20",
            BlankKind::Text => "M12x1.5",
            BlankKind::Date => "2026-02-28",
            BlankKind::Choice(choices) => choices.first().map_or("", |(value, _)| value),
            BlankKind::Flag(..) => "yes",
        };
        typed.extend(blank.fields().into_iter().map(|field| (format!("w.{field}"), text.to_owned())));
    }
    typed
}
