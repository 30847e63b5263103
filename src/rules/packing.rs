//! What to pack for a track day: what everybody takes, and the tools and spares for the systems that are worked on.

use super::car_system::CarSystem;
use super::toml_keys::{FileError, Keys, read_document};
use super::words::ItemId;
use std::collections::BTreeSet;

/// The largest file that is read, in bytes: the default has about 15 kB.
pub const LARGEST: usize = 128 * 1024;

/// The most things a list may hold: beyond that nobody packs by it.
pub const MOST_ITEMS: usize = 300;

/// The word in [`PackLine::why`] of what everybody takes.
pub const EVERY_DAY: &str = "every track day";

const SHORT: usize = 120;

/// What sort of thing it is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum PackKind {
    /// What work is done with.
    Tool,
    /// What is used up or put in.
    Spare,
    /// What the driver wears, drinks or shows.
    Personal,
}

impl PackKind {
    /// All of them, in the order of the words.
    pub const ALL: [PackKind; 3] = [PackKind::Tool, PackKind::Spare, PackKind::Personal];

    /// The word in the file.
    pub fn token(self) -> &'static str {
        match self {
            PackKind::Tool => "tool",
            PackKind::Spare => "spare",
            PackKind::Personal => "personal",
        }
    }

    /// Reads the word of the file.
    pub fn parse(token: &str) -> Option<PackKind> {
        PackKind::ALL.into_iter().find(|kind| kind.token() == token)
    }
}

/// A club's packing list, as its file has it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Packing {
    items: Vec<PackItem>,
}

#[derive(Clone, Debug, PartialEq, Eq)]
struct PackItem {
    id: ItemId,
    what: String,
    kind: PackKind,
    /// Empty for what everybody takes.
    systems: Vec<CarSystem>,
}

/// One thing to pack.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct PackLine {
    /// Stays the same when the list grows, so that a page can tick it off.
    pub id: ItemId,
    pub what: String,
    pub kind: PackKind,
    /// [`EVERY_DAY`], or the names of the systems that want it.
    pub why: String,
}

impl Packing {
    /// Reads a packing list: `[[always]]` for what everybody takes, `[[item]]` with its `systems` for the rest.
    ///
    /// # Errors
    /// The first thing that is wrong, with its line and key: a key that does not belong, an id or a thing given twice, a word
    /// that names no system.
    ///
    /// # Example: a system that no car has
    /// ```
    /// use witnessmark::rules::packing::Packing;
    /// let text = "[[item]]\nid = \"kite\"\nwhat = \"A kite\"\nkind = \"tool\"\nsystems = [\"wings\"]\n";
    /// let error = Packing::read(text).unwrap_err();
    /// assert_eq!(error.to_string().split(" (").next(), Some("line 2, item \"kite\", key `systems`: \"wings\" names no system"));
    /// ```
    pub fn read(text: &str) -> Result<Packing, FileError> {
        if text.len() > LARGEST {
            return Err(FileError { line: 1, key: "the file".into(), message: format!("at most {} kB", LARGEST / 1024) });
        }
        read_document(text, |keys| {
            let (always, items) = (keys.tables("always")?, keys.tables("item")?);
            let count = always.len() + items.len();
            if !(1..=MOST_ITEMS).contains(&count) {
                return Err(
                    keys.error("item", format!("a list holds 1 to {MOST_ITEMS} things, [[always]] and [[item]] together"))
                );
            }
            let mut packing = Packing { items: Vec::new() };
            for (table, bound) in always.into_iter().map(|t| (t, false)).chain(items.into_iter().map(|t| (t, true))) {
                let item = read_item(table, bound, &packing)?;
                packing.items.push(item);
            }
            Ok(packing)
        })
    }

    /// What to pack when these systems are worked on: what everybody takes first, then the rest in the order of the file,
    /// each thing once.
    ///
    /// # Example: axle stands once, for two reasons
    /// ```
    /// use std::collections::BTreeSet;
    /// use witnessmark::rules::{car_system::CarSystem, packing::Packing};
    /// let packing = Packing::read(r#"
    /// always = [{ id = "water", what = "Drinking water", kind = "personal" }]
    /// item = [{ id = "stands", what = "Axle stands", kind = "tool", systems = ["wheels", "brakes", "drive"] }]
    /// "#)?;
    /// let list = packing.list(&BTreeSet::from([CarSystem::Brakes, CarSystem::Wheels]));
    /// let said: Vec<String> = list.iter().map(|line| format!("{}: {}", line.what, line.why)).collect();
    /// assert_eq!(said, ["Drinking water: every track day", "Axle stands: Brakes; Wheels and tyres"]);
    /// # Ok::<(), witnessmark::rules::toml_keys::FileError>(())
    /// ```
    pub fn list(&self, systems: &BTreeSet<CarSystem>) -> Vec<PackLine> {
        let why = |item: &PackItem| {
            if item.systems.is_empty() {
                return Some(EVERY_DAY.to_owned());
            }
            let names: Vec<&str> = CarSystem::ALL
                .into_iter()
                .filter(|system| systems.contains(system) && item.systems.contains(system))
                .map(CarSystem::name)
                .collect();
            (!names.is_empty()).then(|| names.join("; "))
        };
        let line =
            |item: &PackItem| Some(PackLine { why: why(item)?, id: item.id.clone(), what: item.what.clone(), kind: item.kind });
        self.items.iter().filter_map(line).collect()
    }
}

fn read_item(mut keys: Keys<'_>, bound: bool, before: &Packing) -> Result<PackItem, FileError> {
    let id = keys.parsed("id", "small letters, figures and hyphens", ItemId::parse)?;
    keys.path = format!("item \"{id}\"");
    let what = keys.text("what", SHORT)?;
    if before.items.iter().any(|other| other.id == id) {
        return Err(keys.error("id", "another thing has this id"));
    }
    if before.items.iter().any(|other| other.what == what) {
        return Err(keys.error("what", "it is on the list already: give that line all its systems"));
    }
    let kind = keys.parsed("kind", "\"tool\", \"spare\" or \"personal\"", PackKind::parse)?;
    let mut systems: Vec<CarSystem> = Vec::new();
    if bound {
        for word in keys.texts("systems", SHORT)? {
            let Some(system) = CarSystem::parse(&word) else {
                let tokens = CarSystem::ALL.map(CarSystem::token).join(", ");
                return Err(keys.error("systems", format!("\"{word}\" names no system ({tokens})")));
            };
            if systems.contains(&system) {
                return Err(keys.error("systems", format!("\"{word}\" stands there twice")));
            }
            systems.push(system);
        }
        if systems.is_empty() {
            return Err(keys.error("systems", "name at least one system, or put it under [[always]]"));
        }
    }
    keys.finish()?;
    Ok(PackItem { id, what, kind, systems })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn default() -> Packing {
        Packing::read(include_str!("../sheets/packing.toml")).unwrap_or_else(|error| panic!("{error}"))
    }

    #[test]
    fn the_default_list_has_something_for_every_system_beyond_what_everybody_takes() {
        let (packing, bare) = (default(), default().list(&BTreeSet::new()).len());
        assert!(bare > 0);
        for system in CarSystem::ALL {
            let list = packing.list(&BTreeSet::from([system]));
            assert!(list.len() > bare, "{system} packs nothing of its own");
            assert!(list[bare..].iter().all(|line| line.why == system.name()), "{system}");
            assert!(list[..bare].iter().all(|line| line.why == EVERY_DAY), "{system}");
        }
    }

    #[test]
    fn work_on_everything_packs_each_thing_once_and_in_the_same_order_as_less_work() {
        let packing = default();
        let all = packing.list(&CarSystem::ALL.into_iter().collect());
        let ids: Vec<&ItemId> = all.iter().map(|line| &line.id).collect();
        assert_eq!(ids.iter().collect::<BTreeSet<_>>().len(), ids.len(), "an id stands twice");
        let some = packing.list(&BTreeSet::from([CarSystem::Cooling, CarSystem::Brakes]));
        let some: Vec<&ItemId> = some.iter().map(|line| &line.id).collect();
        assert_eq!(ids.into_iter().filter(|id| some.contains(id)).collect::<Vec<_>>(), some);
    }

    #[test]
    fn a_fault_in_the_file_is_named_with_its_line() {
        let brush = "[[item]]\nid = \"brush\"\nwhat = \"Wire brush\"\nkind = \"tool\"\nsystems = [\"wheels\"]\n";
        assert!(Packing::read(brush).is_ok());
        let cases = [
            (brush.replace("tool", "toy"), "line 4, item \"brush\", key `kind`: must be \"tool\", \"spare\" or \"personal\""),
            (brush.replace("[\"wheels\"]", "[]"), "line 2, item \"brush\", key `systems`: name at least one system"),
            (brush.replace("systems", "system"), "key `systems`: name at least one system"),
            (brush.repeat(2), "line 7, item \"brush\", key `id`: another thing has this id"),
            (
                format!("{brush}{}", brush.replace("brush\"\nwhat", "other\"\nwhat")),
                "line 7, item \"other\", key `what`: it is on",
            ),
            (brush.replace("item", "always"), "line 5, item \"brush\", key `systems`: is not a key that belongs here"),
            (String::new(), "a list holds 1 to 300 things"),
        ];
        for (text, wanted) in cases {
            let said = Packing::read(&text).expect_err(wanted).to_string();
            assert!(said.contains(wanted), "{said}\nwanted: {wanted}");
        }
    }
}
