//! A sheet of ours as the program's own file has it.

use crate::sheet::{Bound, Item, Kind, Limit, Sheet, Work};
use std::fmt::Write;

/// The sheet's file.
pub fn written(sheet: &Sheet) -> String {
    let mut text = String::from("name = \"Day\"\nabout = \"Made by chance\"\n\n[[area]]\nid = \"car\"\nname = \"Car\"\n");
    for item in &sheet.items {
        let _ = write!(text, "\n[[area.item]]\n{}", one(item));
    }
    text
}

fn one(item: &Item) -> String {
    let id = &item.id;
    let mut text = format!(
        "id = \"{id}\"\nname = \"{id}\"\nask = \"What of {id}?\"\ncheck = \"Look.\"\nmend = \"Mend it.\"\n\
         source = \"common practice, no source\"\nrequired = {}\n",
        item.required
    );
    if item.by_hand {
        let _ = writeln!(text, "by_hand = \"Feel {id}\"");
    }
    if let Some(when) = &item.when {
        let _ = writeln!(text, "when = {{ item = \"{}\", is = {:?} }}", when.item, when.is);
    }
    text.push_str(&kind(&item.kind));
    let gives = if matches!(item.kind, Kind::YesNo { .. }) { "verdict" } else { "figure" };
    match item.work {
        Some(Work::Noise(limit)) => {
            let gives = if gives == "figure" { "corrected_db" } else { gives };
            let fixed = format!("{{ limit_db = {limit:?}, measured_m = 0.5 }}");
            let _ = writeln!(text, "work = {{ worksheet = \"noise\", gives = \"{gives}\", fixed = {fixed} }}");
        }
        Some(Work::HelmetLine(limit)) => {
            let gives = if gives == "figure" { "clearance_mm" } else { gives };
            let fixed = format!("{{ limit_mm = {limit:?} }}");
            let _ = writeln!(text, "work = {{ worksheet = \"helmet-line\", gives = \"{gives}\", fixed = {fixed} }}");
        }
        None => {}
    }
    text
}

fn kind(kind: &Kind) -> String {
    match kind {
        Kind::YesNo { right, not_applicable, weight } => {
            let mut text = format!(
                "kind = \"yes-no\"\nyes_means = \"It is so\"\nno_means = \"It is not so\"\nnot_applicable = {not_applicable}\n"
            );
            if let Some(right) = right {
                let word = if *right { "yes" } else { "no" };
                let _ = writeln!(text, "right = \"{word}\"\nseverity = \"{}\"\nwhy = \"It is not right.\"", weight.word());
            }
            text
        }
        Kind::Choice(options) => {
            let option = |(id, weight): &(String, Option<crate::sheet::Weight>)| match weight {
                Some(weight) => {
                    format!("{{ id = \"{id}\", say = \"{id}\", severity = \"{}\", why = \"{id} will not do.\" }}", weight.word())
                }
                None => format!("{{ id = \"{id}\", say = \"{id}\" }}"),
            };
            format!("kind = \"choice\"\noptions = [{}]\n", options.iter().map(option).collect::<Vec<_>>().join(", "))
        }
        Kind::Measure { unit, per, possible, limits } => format!(
            "kind = \"measurement\"\nunit = \"{}\"\nper = \"{}\"\npossible = [{:?}, {:?}]\nlimits = [{}]\n",
            unit.token(),
            per.word(),
            possible.0,
            possible.1,
            limits.iter().map(limit).collect::<Vec<_>>().join(", ")
        ),
    }
}

fn limit(limit: &Limit) -> String {
    let bound = match &limit.bound {
        Bound::AtLeast(n) => format!("at_least = {n:?}"),
        Bound::AtMost(n) => format!("at_most = {n:?}"),
        Bound::AtLeastItem(id) => format!("at_least_item = \"{id}\""),
        Bound::WithinPercent(percent, id) => format!("within_percent = {percent}, of_item = \"{id}\""),
    };
    format!("{{ {bound}, severity = \"{}\", source = \"common practice, no source\" }}", limit.weight.word())
}
