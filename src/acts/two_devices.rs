//! A sheet that is typed on two devices: what each had in front of it decides what may be written, and nothing is merged or
//! written over in silence.
//!
//! A page carries a mark of what stood at each item when it was made. What comes back is held against what stands now: an item
//! that the page did not change never undoes what another device typed since, and one that both changed is put to the driver.

use crate::rules::answer::Typed;
use crate::rules::edition::QUESTION;
use crate::store::draft::Draft;
use sha2::{Digest, Sha256};
use std::collections::BTreeMap;
use std::fmt;

/// Fields that a form sends without anybody having touched them: the unit that stands ready, say. Alone they are no answer.
const BY_THEMSELVES: [&str; 3] = ["unit", "date-is", "w.units"];

/// An item's fields as far as somebody typed them. Photos come and go by a form of their own.
fn essence(typed: &Typed) -> BTreeMap<&str, &str> {
    let said = |(name, text): (&'_ String, &'_ String)| !text.trim().is_empty() && name != "photo" && name != QUESTION;
    let fields: BTreeMap<&str, &str> =
        typed.iter().filter(|&(name, text)| said((name, text))).map(|(name, text)| (name.as_str(), text.trim())).collect();
    if fields.keys().all(|name| BY_THEMSELVES.contains(name)) { BTreeMap::new() } else { fields }
}

/// A short mark of what is typed for an item: the same for the same content, whatever is sent along empty.
pub fn mark(typed: &Typed) -> String {
    let essence = essence(typed);
    if essence.is_empty() {
        return "0".into();
    }
    let mut digest = Sha256::new();
    for (name, text) in essence {
        // Lengths before the texts: no two contents run together into one.
        digest.update(format!("{}:{name}{}:{text}", name.len(), text.len()));
    }
    data_encoding::HEXLOWER.encode(&digest.finalize()[..6])
}

/// What stood at each item when a page was made. Written into the page as `pads=1a2b oil=0`.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Marks(pub BTreeMap<String, String>);

impl Marks {
    /// The marks of these items.
    pub fn of<'i>(items: impl Iterator<Item = &'i str>, draft: &Draft) -> Marks {
        static NOTHING: Typed = Typed::new();
        Marks(items.map(|item| (item.to_owned(), mark(draft.get(item).unwrap_or(&NOTHING)))).collect())
    }

    /// All of them in one.
    pub fn short(&self) -> String {
        data_encoding::HEXLOWER.encode(&Sha256::digest(self.to_string().as_bytes())[..6])
    }

    /// Reads what a page carries. What cannot be read says nothing.
    pub fn parse(text: &str) -> Marks {
        let pairs = text.split_whitespace().filter_map(|pair| pair.split_once('='));
        Marks(pairs.map(|(item, mark)| (item.to_owned(), mark.to_owned())).collect())
    }
}

impl fmt::Display for Marks {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let pairs: Vec<String> = self.0.iter().map(|(item, mark)| format!("{item}={mark}")).collect();
        f.write_str(&pairs.join(" "))
    }
}

/// An item that was typed here and on another device since.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Both {
    pub item: String,
    pub here: Typed,
    pub there: Typed,
}

/// What comes of a page that is held against what stands.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Met {
    /// To be written.
    pub kept: Draft,
    /// Changed on another device and not on this page: it stands as it is there, and the driver is told.
    pub elsewhere: Vec<String>,
    /// For the driver to choose.
    pub both: Vec<Both>,
}

/// Holds what a page sends against what stands.
pub fn meet(stands: &Draft, was: &Marks, typed: Draft) -> Met {
    static NOTHING: Typed = Typed::new();
    let mut met = Met::default();
    for (item, mut here) in typed {
        let there = stands.get(&item).unwrap_or(&NOTHING);
        here.remove("photo");
        if let Some(photos) = there.get("photo") {
            here.insert("photo".into(), photos.clone());
        }
        let same = essence(&here) == essence(there);
        // A page without marks is a file or a form of somebody's own: it says what it wants.
        let Some(was) = was.0.get(&item) else {
            met.kept.insert(item, here);
            continue;
        };
        if same || *was == mark(there) {
            met.kept.insert(item, here);
        } else if *was == mark(&here) {
            met.elsewhere.push(item);
        } else {
            met.both.push(Both { item, here, there: there.clone() });
        }
    }
    met
}

impl Met {
    /// The marks that the page goes on with: of what stands now, and the old ones where another device went ahead.
    pub fn marks_after(&self, stands: &Draft, was: &Marks, items: impl Iterator<Item = String>) -> Marks {
        let ahead =
            |item: &str| self.elsewhere.iter().any(|other| other == item) || self.both.iter().any(|both| both.item == item);
        let items: Vec<String> = items.collect();
        let mut marks = Marks::of(items.iter().map(String::as_str), stands);
        for (item, mark) in &mut marks.0 {
            // An item the page did not send goes on with what it carried: it may be one the page has not seen since.
            if let Some(was) = was.0.get(item).filter(|_| ahead(item) || !self.kept.contains_key(item)) {
                mark.clone_from(was);
            }
        }
        marks
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn typed(fields: &[(&str, &str)]) -> Typed {
        fields.iter().map(|(name, text)| ((*name).to_owned(), (*text).to_owned())).collect()
    }

    fn draft(lf: &str) -> Draft {
        Draft::from([("pads".to_owned(), typed(&[("lf", lf), ("unit", "mm")]))])
    }

    fn was(lf: &str) -> Marks {
        Marks::of(["pads"].into_iter(), &draft(lf))
    }

    #[test]
    fn a_page_that_saw_what_stands_writes() {
        assert_eq!(meet(&draft("8"), &was("8"), draft("7")).kept, draft("7"));
    }

    #[test]
    fn a_page_that_is_sent_twice_is_no_conflict() {
        let met = meet(&draft("7"), &was("8"), draft("7"));
        assert_eq!((met.kept, met.both), (draft("7"), vec![]));
    }

    #[test]
    fn a_page_that_changed_nothing_undoes_nothing() {
        let met = meet(&draft("7"), &was("8"), draft("8"));
        assert_eq!((met.kept, met.elsewhere), (Draft::new(), vec!["pads".to_owned()]));
    }

    #[test]
    fn what_both_devices_changed_is_put_to_the_driver() {
        let met = meet(&draft("7"), &was("8"), draft("6"));
        assert!(met.kept.is_empty() && met.elsewhere.is_empty());
        assert_eq!(met.both[0].there, draft("7")["pads"]);
        // The page goes on with its old mark: typing further is not a way around the question.
        let after = met.marks_after(&draft("7"), &was("8"), ["pads".to_owned()].into_iter());
        assert_eq!(after, was("8"));
    }

    #[test]
    fn a_unit_that_stands_ready_is_no_answer() {
        assert_eq!(mark(&typed(&[("unit", "mm"), ("lf", "")])), mark(&Typed::new()));
        assert_ne!(mark(&typed(&[("unit", "mm"), ("lf", "1")])), mark(&typed(&[("unit", "in"), ("lf", "1")])));
    }

    #[test]
    fn marks_are_read_as_they_are_written() {
        assert_eq!(Marks::parse(&was("8").to_string()), was("8"));
        assert_eq!(Marks::parse("x =y="), Marks(BTreeMap::from([(String::new(), "y=".to_owned())])));
    }

    #[test]
    fn photos_stay_whatever_a_page_says_of_them() {
        let mut stands = draft("8");
        stands.get_mut("pads").unwrap().insert("photo".into(), "a b".into());
        let met = meet(&stands, &was("8"), draft("7"));
        assert_eq!(met.kept["pads"]["photo"], "a b");
    }
}
