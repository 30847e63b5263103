//! One record as it is hashed and as an export has it.

use super::{Canonical, Hash, hex, mark_of};
use serde::{Deserialize, Serialize};

/// Everything that a record says.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Sealed {
    /// 1: sealed before records bound what they rest on; 2: since.
    #[serde(default = "first", skip_serializing_if = "is_first")]
    pub form: u8,
    /// Where it stands in its event's chain, from 1.
    pub place: u64,
    pub id: String,
    pub event: String,
    /// `None` for a record of the event itself.
    #[serde(default)]
    pub entry: Option<String>,
    pub kind: String,
    pub seen: Vec<String>,
    pub body: String,
    pub number: Option<u32>,
    /// Milliseconds since 1970-01-01 UTC.
    pub made_at: i64,
    pub arrived_at: i64,
    /// `None` once it was erased, while `maker_mark` still stands for it; and for what the program did by itself.
    pub maker: Option<String>,
    pub maker_salt: Option<String>,
    /// `None` for what the program or whoever runs the server did; then there is no link and no device either.
    #[serde(default)]
    pub maker_mark: Option<String>,
    pub maker_role: String,
    #[serde(default)]
    pub link: Option<String>,
    #[serde(default)]
    pub device: Option<String>,
    pub counts: bool,
    /// The edition in force when it arrived, and the digests of what it rests on: form 2 only.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub edition: Option<String>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub edition_digest: Option<String>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub event_digest: Option<String>,
    /// Of its entry's line on the roster; `None` for a record of the event itself.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub entry_digest: Option<String>,
    pub entry_before: Option<String>,
    pub event_before: Option<String>,
    pub hash: String,
}

fn first() -> u8 {
    1
}

fn is_first(form: &u8) -> bool {
    *form == 1
}

impl Sealed {
    /// The hash of what this record says, from its other fields, by the rule of its form.
    pub fn reckon(&self) -> Hash {
        match self.form {
            1 => self.reckon_first(),
            _ => self.reckon_second(),
        }
    }

    fn seen_text(&self) -> String {
        let seen: Vec<String> = self.seen.iter().map(|id| format!("{}:{id}", id.len())).collect();
        seen.join(",")
    }

    /// The rule of before: what was sealed by it verifies by it for good.
    fn reckon_first(&self) -> Hash {
        let there = |text: &Option<String>| text.clone().unwrap_or_default();
        Canonical::new("witnessmark record 1")
            .text("place", &self.place.to_string())
            .text("id", &self.id)
            .text("event", &self.event)
            .text("entry", &there(&self.entry))
            .text("kind", &self.kind)
            .text("seen", &self.seen_text())
            .text("body", &self.body)
            .maybe("number", self.number.map(|number| number.to_string()).as_deref())
            .text("made at", &self.made_at.to_string())
            .text("arrived at", &self.arrived_at.to_string())
            .text("maker mark", &there(&self.maker_mark))
            .text("maker role", &self.maker_role)
            .text("link", &there(&self.link))
            .text("device", &there(&self.device))
            .text("counts", if self.counts { "yes" } else { "no" })
            .maybe("entry before", self.entry_before.as_deref())
            .maybe("event before", self.event_before.as_deref())
            .hash()
    }

    fn reckon_second(&self) -> Hash {
        Canonical::new("witnessmark record 2")
            .text("place", &self.place.to_string())
            .text("id", &self.id)
            .text("event", &self.event)
            .maybe("entry", self.entry.as_deref())
            .text("kind", &self.kind)
            .text("seen", &self.seen_text())
            .text("body", &self.body)
            .maybe("number", self.number.map(|number| number.to_string()).as_deref())
            .text("made at", &self.made_at.to_string())
            .text("arrived at", &self.arrived_at.to_string())
            .maybe("maker mark", self.maker_mark.as_deref())
            .text("maker role", &self.maker_role)
            .maybe("link", self.link.as_deref())
            .maybe("device", self.device.as_deref())
            .text("counts", if self.counts { "yes" } else { "no" })
            .maybe("edition", self.edition.as_deref())
            .maybe("edition digest", self.edition_digest.as_deref())
            .maybe("event digest", self.event_digest.as_deref())
            .maybe("entry digest", self.entry_digest.as_deref())
            .maybe("entry before", self.entry_before.as_deref())
            .maybe("event before", self.event_before.as_deref())
            .hash()
    }

    /// Whether its maker's name was erased.
    pub fn is_erased(&self) -> bool {
        self.maker.is_none() && self.maker_mark.is_some()
    }

    /// What is wrong with the record by itself, whatever stands before it.
    pub(super) fn faults(&self) -> Vec<&'static str> {
        let mut faults = Vec::new();
        if !self.has_the_fields_of_its_form() {
            faults.push("it has not the fields that a record of its form has");
        }
        match (&self.maker, &self.maker_salt) {
            (Some(name), Some(salt)) if Some(hex(&mark_of(salt, name))) != self.maker_mark => {
                faults.push("its maker's name is not the one that was recorded");
            }
            (Some(_), Some(_)) => {}
            (None, None) if self.is_erased() && self.maker_role != "driver" => {
                faults.push("its maker's name was erased, and only a driver's may be");
            }
            (None, None) => {}
            _ => faults.push("its maker's name and salt do not belong together"),
        }
        if hex(&self.reckon()) != self.hash {
            faults.push("what it says is not what was recorded");
        }
        faults
    }

    fn has_the_fields_of_its_form(&self) -> bool {
        let bound = [&self.edition, &self.edition_digest, &self.event_digest];
        let somebody = [self.link.is_some(), self.device.is_some(), self.maker_mark.is_some()];
        match self.form {
            1 => {
                let none = bound.iter().all(|field| field.is_none()) && self.entry_digest.is_none();
                none && self.entry.is_some() && somebody == [true; 3]
            }
            2 => {
                let whole = bound.iter().all(|field| field.is_some()) && self.entry.is_some() == self.entry_digest.is_some();
                // What the program does by itself it does to the event, never to an entry.
                whole && (somebody == [true; 3] || (somebody == [false; 3] && self.entry.is_none()))
            }
            _ => false,
        }
    }
}
