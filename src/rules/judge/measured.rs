//! Judging a measurement: a reading against its limits, some of which lean on another measurement.

use super::{Bench, Reading, name_at};
use crate::rules::answer::{Asked, Value, asked};
use crate::rules::sheet::{Bound, Item, Limit, Measurement};
use crate::rules::units::Unit;
use crate::rules::words::{ItemId, Place};

impl Bench<'_> {
    /// Holds a reading against its limits, worst first; the first that is broken is the finding.
    pub(super) fn measured(&mut self, item: &Item, rule: &Measurement, unit: Unit, place: Place, number: f64) {
        let shown = self.units.for_unit(rule.unit, rule.possible.1);
        let value = unit.convert(number, rule.unit);
        if rule.limits.iter().any(|limit| self.is_unknown(&limit.bound)) && !self.judged.misses(&item.id) {
            self.miss(item);
        }
        let mut nearest: Option<(f64, bool, &Limit)> = None;
        for limit in &rule.limits {
            let Some((margin, room)) = self.room(rule, &limit.bound, place, value) else { continue };
            let broken = room < -1e-9 * value.abs().max(1.0);
            if broken || nearest.is_none_or(|(best, ..)| margin < best) {
                nearest = Some((margin, broken, limit));
            }
            if broken {
                break;
            }
        }
        // Words only for the one that is shown.
        let Some((margin, broken, limit)) = nearest else { return };
        let (name, words) = (name_at(item, place), self.words(rule, &limit.bound, place, shown));
        if broken {
            let why = format!("{name}: {}. This sheet asks for {words}.", shown.say(unit.convert(number, shown)));
            self.find(item, place, limit.severity, why, limit.source.clone());
        }
        self.judged.readings.push(Reading {
            item: item.id.clone(),
            name,
            figure: shown.figure(unit.convert(number, shown)),
            unit: shown.symbol(),
            limit: format!("limit {}", words.trim_start_matches("at least ").trim_start_matches("at most ")),
            margin,
            severity: broken.then_some(limit.severity),
        });
    }

    /// Whether a bound leans on an answer that should be there and cannot be read, or that nobody gave and nobody will be asked
    /// for: then nobody knows whether the reading keeps it.
    fn is_unknown(&self, bound: &Bound) -> bool {
        let (Bound::AtLeastItem(id) | Bound::WithinPercent(_, id)) = bound else { return false };
        let Some(other) = self.sheet.item(id.as_str()) else { return true };
        match asked(self.sheet, other, self.answers) {
            Asked::No => false,
            Asked::Unknown => true,
            Asked::Yes => self.answers.unreadable.contains(id) || (!other.required && !self.answers.contains_key(id)),
        }
    }

    /// Room to a bound: as a share of the limit, and in the rule's unit. `None` when the other measurement that it leans on is
    /// not there yet (that one is then missing, and says so).
    fn room(&self, rule: &Measurement, bound: &Bound, place: Place, value: f64) -> Option<(f64, f64)> {
        let share = |room: f64, of: f64| if of.abs() < f64::EPSILON { room } else { room / of.abs() };
        Some(match bound {
            Bound::AtLeast(limit) => (share(value - limit, *limit), value - limit),
            Bound::AtMost(limit) => (share(limit - value, *limit), limit - value),
            Bound::AtLeastItem(id) => {
                let limit = self.other(id, place, rule.unit)?;
                (share(value - limit, limit), value - limit)
            }
            Bound::WithinPercent(percent, id) => {
                let asked = self.other(id, place, rule.unit)?;
                let room = asked.abs() * percent / 100.0 - (value - asked).abs();
                (share(room, asked), room)
            }
        })
    }

    /// The bound in words.
    fn words(&self, rule: &Measurement, bound: &Bound, place: Place, shown: Unit) -> String {
        let say = |number: f64| shown.say(rule.unit.convert(number, shown));
        let other = |id| self.other(id, place, rule.unit).unwrap_or_default();
        match bound {
            Bound::AtLeast(limit) => format!("at least {}", say(*limit)),
            Bound::AtMost(limit) => format!("at most {}", say(*limit)),
            Bound::AtLeastItem(id) => format!("at least {}", say(other(id))),
            Bound::WithinPercent(percent, id) => {
                let asked = other(id);
                let slack = asked.abs() * percent / 100.0;
                format!(
                    "{} to {}, within {percent} % of {}",
                    shown.figure(rule.unit.convert(asked - slack, shown)),
                    say(asked + slack),
                    say(asked)
                )
            }
        }
    }

    fn other(&self, id: &ItemId, place: Place, unit: Unit) -> Option<f64> {
        match &self.answers.get(id)?.value {
            Value::Measured { unit: given, at } => {
                at.get(&place).or_else(|| at.get(&Place::Whole)).map(|number| given.convert(*number, unit))
            }
            _ => None,
        }
    }
}
