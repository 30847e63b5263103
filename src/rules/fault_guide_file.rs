//! Reads the guide to faults from its file (TOML), strictly: an error names the line and the key.
//!
//! What passes here can be narrowed down: every cause that an outcome excludes is on the list, every test can tell
//! something and has an outcome for every cause, no outcome leaves nothing, and each two causes of a
//! symptom are told apart by at least one test.

use super::car_system::CarSystem;
use super::fault_guide::{Cause, Guide, Outcome, Symptom, Test};
use super::toml_keys::{FileError, Keys, read_document};
use super::words::ItemId;

/// The largest guide that is read, in bytes: the default has about 70 kB.
pub const LARGEST: usize = 512 * 1024;

/// The most symptoms of a guide: beyond that nobody finds theirs.
pub const MOST_SYMPTOMS: usize = 60;
/// The most causes of a symptom.
pub const MOST_CAUSES: usize = 16;
/// The most tests of a symptom.
pub const MOST_TESTS: usize = 24;

const SHORT: usize = 120;
const LONG: usize = 600;
const ID: &str = "small letters, figures and hyphens";

/// The smallest guide there can be, for examples: one symptom, two causes, one test.
pub const SMALLEST: &str = r#"
[[symptom]]
id = "pulls"
ask = "The car pulls to one side"
system = "wheels"

[[symptom.cause]]
id = "pressures"
say = "Tyre pressures uneven"
system = "wheels"
mend = "Set them cold to the car maker's figures."

[[symptom.cause]]
id = "alignment"
say = "Alignment out"
system = "steering"
mend = "Have it measured and set."

[[symptom.test]]
id = "gauge"
do = "Measure all four tyre pressures cold."
minutes = 5
source = "common practice, no source"
outcomes = [
    { id = "even", say = "Even on each axle", excludes = ["pressures"] },
    { id = "uneven", say = "Uneven: set them and drive again", excludes = [] },
]
"#;

/// Reads a guide.
///
/// # Errors
/// The first thing that is wrong, with its line and key: a key that does not belong, an id given twice, a cause that is not
/// on the list, a test that can exclude nothing or that excludes a cause whatever it shows, an outcome that excludes everything, two
/// causes that no test tells apart.
///
/// # Example: two causes that no test tells apart
/// ```
/// use witnessmark::rules::fault_guide_file;
/// assert_eq!(fault_guide_file::read(fault_guide_file::SMALLEST).unwrap().symptoms().len(), 1);
/// let twins = fault_guide_file::SMALLEST.replace(
///     "[[symptom.test]]",
///     "[[symptom.cause]]\nid = \"camber\"\nsay = \"Camber out\"\nsystem = \"steering\"\nmend = \"Set it.\"\n[[symptom.test]]",
/// );
/// let error = fault_guide_file::read(&twins).unwrap_err();
/// assert_eq!(
///     error.to_string(),
///     "line 3, symptom \"pulls\", key `test`: no test tells \"alignment\" from \"camber\": \
///      some outcome must exclude one of them and not the other",
/// );
/// ```
pub fn read(text: &str) -> Result<Guide, FileError> {
    if text.len() > LARGEST {
        return Err(FileError { line: 1, key: "the file".into(), message: format!("at most {} kB", LARGEST / 1024) });
    }
    read_document(text, |keys| {
        let tables = keys.tables("symptom")?;
        if !(1..=MOST_SYMPTOMS).contains(&tables.len()) {
            return Err(keys.error("symptom", format!("a guide has 1 to {MOST_SYMPTOMS} symptoms")));
        }
        let mut symptoms: Vec<Symptom> = Vec::new();
        for mut keys in tables {
            let id = new_id(&mut keys, "symptom", symptoms.iter().map(|symptom| &symptom.id))?;
            symptoms.push(read_symptom(keys, id)?);
        }
        Ok(Guide::new(symptoms))
    })
}

/// The id of a table, which then names itself in messages; `taken` are those of its like before it.
fn new_id<'a>(keys: &mut Keys<'_>, what: &str, mut taken: impl Iterator<Item = &'a ItemId>) -> Result<ItemId, FileError> {
    let id = keys.parsed("id", ID, ItemId::parse)?;
    if taken.any(|other| *other == id) {
        return Err(keys.error("id", format!("another {what} here has the id \"{id}\"")));
    }
    keys.path = format!("{what} \"{id}\"");
    Ok(id)
}

fn read_system(keys: &mut Keys<'_>) -> Result<CarSystem, FileError> {
    let tokens = CarSystem::ALL.map(CarSystem::token).join(", ");
    keys.parsed("system", &format!("one of {tokens}"), CarSystem::parse)
}

fn read_symptom(mut keys: Keys<'_>, id: ItemId) -> Result<Symptom, FileError> {
    let mut symptom = Symptom {
        id,
        ask: keys.text("ask", SHORT)?,
        system: read_system(&mut keys)?,
        caution: keys.text_or_none("caution", LONG)?,
        causes: Vec::new(),
        tests: Vec::new(),
    };
    let (causes, tests) = (keys.tables("cause")?, keys.tables("test")?);
    if !(2..=MOST_CAUSES).contains(&causes.len()) {
        return Err(keys.error("cause", format!("a symptom has 2 to {MOST_CAUSES} causes")));
    }
    if !(1..=MOST_TESTS).contains(&tests.len()) {
        return Err(keys.error("test", format!("a symptom has 1 to {MOST_TESTS} tests")));
    }
    for mut table in causes {
        let id = new_id(&mut table, "cause", symptom.causes.iter().map(|cause| &cause.id))?;
        symptom.causes.push(read_cause(table, id)?);
    }
    for mut table in tests {
        let id = new_id(&mut table, "test", symptom.tests.iter().map(|test| &test.id))?;
        let test = read_test(table, id, &symptom)?;
        symptom.tests.push(test);
    }
    if let Some((one, other)) = alike(&symptom) {
        let message = format!(
            "no test tells \"{}\" from \"{}\": some outcome must exclude one of them and not the other",
            one.id, other.id
        );
        return Err(keys.error("test", message));
    }
    keys.finish()?;
    Ok(symptom)
}

fn read_cause(mut keys: Keys<'_>, id: ItemId) -> Result<Cause, FileError> {
    let cause = Cause {
        id,
        say: keys.text("say", SHORT)?,
        system: read_system(&mut keys)?,
        mend: keys.text("mend", LONG)?,
        parts: keys.texts("parts", SHORT)?,
    };
    keys.finish()?;
    Ok(cause)
}

fn read_test(mut keys: Keys<'_>, id: ItemId, symptom: &Symptom) -> Result<Test, FileError> {
    let mut test = Test {
        id,
        how: keys.text("do", LONG)?,
        needs: keys.texts("needs", SHORT)?,
        minutes: keys.whole("minutes", 1, 600)?,
        first: keys.flag("first", false)?,
        caution: keys.text_or_none("caution", LONG)?,
        source: keys.text("source", LONG)?,
        outcomes: Vec::new(),
    };
    let outcomes = keys.tables("outcomes")?;
    if !(2..=6).contains(&outcomes.len()) {
        return Err(keys.error("outcomes", "a test has 2 to 6 outcomes"));
    }
    for mut table in outcomes {
        let id = new_id(&mut table, "outcome", test.outcomes.iter().map(|outcome| &outcome.id))?;
        test.outcomes.push(read_outcome(table, id, symptom)?);
    }
    if test.outcomes.iter().all(|outcome| outcome.excludes.is_empty()) {
        return Err(keys.error("outcomes", "no outcome excludes anything: the test tells nothing"));
    }
    let always = |cause: &&Cause| test.outcomes.iter().all(|outcome| outcome.excludes.contains(&cause.id));
    if let Some(cause) = symptom.causes.iter().find(always) {
        let message = format!("whatever it shows, \"{}\" is excluded: no outcome is meant for it", cause.id);
        return Err(keys.error("outcomes", message));
    }
    keys.finish()?;
    Ok(test)
}

fn read_outcome(mut keys: Keys<'_>, id: ItemId, symptom: &Symptom) -> Result<Outcome, FileError> {
    let mut outcome = Outcome { id, say: keys.text("say", SHORT)?, excludes: Vec::new() };
    // An outcome that excludes nothing says so: a forgotten key would look the same.
    if !keys.has("excludes") {
        return Err(keys.error("excludes", "is missing: write [] where it excludes nothing"));
    }
    for word in keys.texts("excludes", SHORT)? {
        let Some(cause) = symptom.cause(&word) else {
            return Err(keys.error("excludes", format!("no cause of \"{}\" has the id \"{word}\"", symptom.id)));
        };
        if outcome.excludes.contains(&cause.id) {
            return Err(keys.error("excludes", format!("\"{word}\" stands there twice")));
        }
        outcome.excludes.push(cause.id.clone());
    }
    if outcome.excludes.len() == symptom.causes.len() {
        return Err(keys.error("excludes", "it excludes every cause: nothing would be left"));
    }
    keys.finish()?;
    Ok(outcome)
}

/// The first two causes that every outcome treats alike.
fn alike(symptom: &Symptom) -> Option<(&Cause, &Cause)> {
    let outcomes = || symptom.tests.iter().flat_map(|test| &test.outcomes);
    let apart = |one: &Cause, other: &Cause| {
        outcomes().any(|outcome| outcome.excludes.contains(&one.id) != outcome.excludes.contains(&other.id))
    };
    symptom
        .causes
        .iter()
        .enumerate()
        .find_map(|(nth, one)| symptom.causes[nth + 1..].iter().find(|other| !apart(one, other)).map(|other| (one, other)))
}
