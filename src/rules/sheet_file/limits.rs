//! The limits of a measurement, and what each may lean on.

use super::{Beside, LONG, Taken, severity};
use crate::rules::sheet::{Bound, Condition, Item, Kind, Limit, Measurement};
use crate::rules::toml_keys::{FileError, Keys};
use crate::rules::units::Unit;
use crate::rules::words::{ItemId, Per};

pub(super) fn read_per(keys: &mut Keys<'_>) -> Result<Per, FileError> {
    let wanted = "\"car\", \"corner\", \"front-corner\", \"rear-corner\", \"axle\" or \"cylinder\"";
    Ok(keys.parsed_or_none("per", wanted, Per::parse)?.unwrap_or(Per::Car))
}

pub(super) fn read_measurement(keys: &mut Keys<'_>, beside: &Beside<'_>) -> Result<Measurement, FileError> {
    let per = read_per(keys)?;
    let tokens = Unit::ALL.map(Unit::token).join(", ");
    let unit = keys.parsed("unit", &format!("one of {tokens}"), Unit::parse)?;
    let possible = keys.pair("possible")?;
    let mut limits: Vec<Limit> = Vec::new();
    for mut row in keys.tables("limits")? {
        let bound = read_bound(&mut row, beside, unit, per)?;
        if let Bound::AtLeast(n) | Bound::AtMost(n) = bound
            && !(possible.0..=possible.1).contains(&n)
        {
            return Err(row.error("at_least", format!("the limit {n} lies outside what is possible")));
        }
        let limit = Limit { bound, severity: severity(&mut row)?, source: row.text("source", LONG)? };
        if limits.last().is_some_and(|before| before.severity < limit.severity) {
            return Err(row.error("severity", "limits stand worst first: stop, fix, note"));
        }
        row.finish()?;
        limits.push(limit);
    }
    Ok(Measurement { per, unit, possible, limits })
}

fn read_bound(row: &mut Keys<'_>, beside: &Beside<'_>, unit: Unit, per: Per) -> Result<Bound, FileError> {
    let other = |row: &mut Keys<'_>, key: &str| -> Result<ItemId, FileError> {
        let id = row.parsed(key, "the id of an earlier measurement", ItemId::parse)?;
        let Some(item) = beside.sheet.item(id.as_str()) else {
            return Err(row.error(key, format!("no earlier item has the id \"{id}\"")));
        };
        let Kind::Measurement(rule) = &item.kind else { return Err(row.error(key, measures_another(&id))) };
        if rule.unit.quantity() != unit.quantity() || (rule.per != per && rule.per != Per::Car) {
            return Err(row.error(key, measures_another(&id)));
        }
        match may_be_left_out(item, rule, beside) {
            Some(why) if beside.taken == Taken::New => {
                Err(row.error(key, format!("\"{id}\" {why}: the limit would not be applied")))
            }
            _ => Ok(id),
        }
    };
    let keys = ["at_least", "at_most", "at_least_item", "within_percent"];
    let given: Vec<&str> = keys.into_iter().filter(|key| row.has(key)).collect();
    match given.as_slice() {
        ["at_least"] => Ok(Bound::AtLeast(row.number_or_none("at_least")?.unwrap_or_default())),
        ["at_most"] => Ok(Bound::AtMost(row.number_or_none("at_most")?.unwrap_or_default())),
        ["at_least_item"] => Ok(Bound::AtLeastItem(other(row, "at_least_item")?)),
        ["within_percent"] => {
            let percent = f64::from(row.whole("within_percent", 1, 100)?);
            Ok(Bound::WithinPercent(percent, other(row, "of_item")?))
        }
        _ => Err(row.error("at_least", format!("a limit has exactly one of {}", keys.join(", ")))),
    }
}

fn measures_another(id: &ItemId) -> String {
    format!("\"{id}\" does not measure the same quantity at the same places")
}

/// Why a measurement can be without an answer where the item that is being read has one; `None` where it is always answered.
fn may_be_left_out(other: &Item, rule: &Measurement, beside: &Beside<'_>) -> Option<&'static str> {
    if !other.required {
        return Some("may be left out (required = false)");
    }
    if rule.per == Per::Cylinder {
        return Some("is measured for as many cylinders as are typed");
    }
    let is_asked = other.when.as_ref().is_none_or(|asked| chain(beside).any(|held| is_within(held, asked)));
    (!is_asked).then_some("is not asked of every car that this item is asked of")
}

/// The conditions that all hold where the item that is being read is asked: its own, that of the item it hangs on, and so on.
fn chain<'s>(beside: &Beside<'s>) -> impl Iterator<Item = &'s Condition> {
    let sheet = beside.sheet;
    // A condition names an earlier item, so this comes to an end.
    std::iter::successors(beside.when, move |held| sheet.item(held.item.as_str())?.when.as_ref())
}

/// Whether a condition that holds makes another hold.
fn is_within(held: &Condition, asked: &Condition) -> bool {
    held.item == asked.item && held.is.iter().all(|word| asked.is.contains(word))
}
