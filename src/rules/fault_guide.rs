//! Finding a fault by elimination: what is still possible after the tests that were made, and which test to make next.
//!
//! It advises. A cause that is left is left, not proven, and nothing here says of a car that it may go out: that is for
//! those who inspect it. The car maker's figures and qualified people come before the guide.

use super::car_system::CarSystem;
use super::words::ItemId;
use std::cmp::Ordering;
use std::collections::BTreeMap;

/// What a club knows of faults: symptoms, what can cause each, and the tests that tell the causes apart.
///
/// Only [`super::fault_guide_file::read`] makes one, so that every cause named in it exists and no two causes of a symptom
/// look alike to all its tests.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Guide {
    symptoms: Vec<Symptom>,
}

impl Guide {
    pub(super) fn new(symptoms: Vec<Symptom>) -> Guide {
        Guide { symptoms }
    }

    /// All symptoms, in the order of the file.
    pub fn symptoms(&self) -> &[Symptom] {
        &self.symptoms
    }

    /// The symptom with this id; `None` where the guide has none, as after an edit.
    pub fn symptom(&self, id: &str) -> Option<&Symptom> {
        self.symptoms.iter().find(|symptom| symptom.id.as_str() == id)
    }
}

/// What a driver notices.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Symptom {
    pub id: ItemId,
    /// In the driver's words.
    pub ask: String,
    pub system: CarSystem,
    /// What must not be driven or touched as long as this is open.
    pub caution: Option<String>,
    pub causes: Vec<Cause>,
    pub tests: Vec<Test>,
}

impl Symptom {
    /// The cause with this id.
    pub fn cause(&self, id: &str) -> Option<&Cause> {
        self.causes.iter().find(|cause| cause.id.as_str() == id)
    }

    /// The test with this id.
    pub fn test(&self, id: &str) -> Option<&Test> {
        self.tests.iter().find(|test| test.id.as_str() == id)
    }
}

/// What can be behind a symptom, and what is done about it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Cause {
    pub id: ItemId,
    pub say: String,
    pub system: CarSystem,
    pub mend: String,
    /// What is likely bought for it.
    pub parts: Vec<String>,
}

/// A test: how it is made, what it costs, and what can come of it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Test {
    pub id: ItemId,
    /// The key `do` of the file.
    pub how: String,
    pub needs: Vec<String>,
    /// Of work, 1 to 600.
    pub minutes: u32,
    /// Made before the others whatever it tells, because the others are dangerous without it: wheel nuts before a drive.
    pub first: bool,
    pub caution: Option<String>,
    pub source: String,
    pub outcomes: Vec<Outcome>,
}

impl Test {
    /// The outcome with this id.
    pub fn outcome(&self, id: &str) -> Option<&Outcome> {
        self.outcomes.iter().find(|outcome| outcome.id.as_str() == id)
    }
}

/// What a test can show, and which causes that rules out.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Outcome {
    pub id: ItemId,
    pub say: String,
    pub excludes: Vec<ItemId>,
}

/// A test with the outcome that was seen.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Made<'g> {
    pub test: &'g Test,
    pub outcome: &'g Outcome,
}

/// A cause that is ruled out, with every result that does so, in the order of the file.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Excluded<'g> {
    pub cause: &'g Cause,
    pub by: Vec<Made<'g>>,
}

/// A test that can still tell something.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Next<'g> {
    pub test: &'g Test,
    /// Causes excluded by the outcome that excludes fewest.
    pub least: usize,
    /// Causes excluded by the outcome that excludes most.
    pub most: usize,
    /// Causes that are left now.
    pub of: usize,
    /// Over all outcomes together; the ranking wants it.
    sum: usize,
}

impl Next<'_> {
    /// What the test can do, in words.
    pub fn range(&self) -> String {
        match self.least == self.most {
            true => format!("excludes {} of {}", self.most, self.of),
            false => format!("excludes {} to {} of {}", self.least, self.most, self.of),
        }
    }

    /// Best first: those marked `first`, then the causes excluded a minute, then the cheaper.
    fn rank(&self, other: &Self) -> Ordering {
        // sum / outcomes / minutes, compared crosswise in whole numbers: equal is then truly equal.
        let worth = |a: &Self, b: &Self| a.sum as u64 * b.test.outcomes.len() as u64 * u64::from(b.test.minutes);
        let by_worth = worth(other, self).cmp(&worth(self, other));
        other.test.first.cmp(&self.test.first).then(by_worth).then(self.test.minutes.cmp(&other.test.minutes))
    }
}

/// Where the search stands.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Narrowed<'g> {
    /// The causes that no result rules out.
    pub left: Vec<&'g Cause>,
    pub excluded: Vec<Excluded<'g>>,
    /// The results that count, in the order of the file.
    pub made: Vec<Made<'g>>,
    /// Tests not made yet that can exclude something of what is left, best first.
    pub next: Vec<Next<'g>>,
    /// Tests not made yet that would tell nothing now.
    pub silent: Vec<&'g Test>,
    /// Nothing is left: a test misled, or the cause is not on the list.
    pub contradiction: bool,
    /// In a contradiction: results without which some cause would be left, to be made again first.
    pub doubtful: Vec<Made<'g>>,
    /// Results that the guide does not know any more, because it was edited: (test, outcome).
    pub unknown: Vec<(ItemId, ItemId)>,
}

impl Narrowed<'_> {
    /// Where the search stands, in words that promise nothing.
    ///
    /// # Example: one cause left is not a proof
    /// ```
    /// use witnessmark::rules::{fault_guide, fault_guide_file, words::ItemId};
    /// let guide = fault_guide_file::read(fault_guide_file::SMALLEST)?;
    /// let id = |text| ItemId::parse(text).expect("an id");
    /// let narrowed = fault_guide::narrow(&guide.symptoms()[0], &[(id("gauge"), id("even"))]);
    /// assert_eq!(narrowed.said(), "One cause of 2 is left: Alignment out. It is left, not proven: look at it before you mend it.");
    /// # Ok::<(), witnessmark::rules::toml_keys::FileError>(())
    /// ```
    pub fn said(&self) -> String {
        let all = self.left.len() + self.excluded.len();
        let mut said = match self.left.as_slice() {
            [] => "No cause on this list is left. Either a test misled, or the cause is not on the list: make the doubtful \
                   tests again, and ask a qualified mechanic. The fault is still there."
                .to_owned(),
            [one] => {
                format!("One cause of {all} is left: {}. It is left, not proven: look at it before you mend it.", one.say)
            }
            several => format!("{} of {all} causes are left.", several.len()),
        };
        if self.left.len() > 1 && self.next.is_empty() {
            said.push_str(" No test of this guide tells them further apart: ask a qualified mechanic.");
        }
        said
    }
}

/// What the results leave, and what to test next.
///
/// Elimination only: a cause is excluded when a result excludes it. A later result of the same test replaces the earlier
/// one, also when the guide does not know the later one any more: its maker took the earlier one back. Otherwise the order of
/// `tried` does not matter. The next tests stand in order of the causes that they exclude a minute of work, every outcome
/// taken for equally likely; then the quicker one; then the order of the file. Tests marked `first` stand before all others.
///
/// Example in figures: of 5 causes left, a test of 10 minutes whose two outcomes exclude 1 and 3 is worth (1 + 3) / 2 / 10 =
/// 0.2 causes a minute.
///
/// # Example: a gauge before an alignment bench
/// ```
/// use witnessmark::rules::{fault_guide, fault_guide_file};
/// let guide = fault_guide_file::read(fault_guide_file::SMALLEST)?;
/// let narrowed = fault_guide::narrow(&guide.symptoms()[0], &[]);
/// assert_eq!(narrowed.left.len(), 2);
/// assert_eq!(narrowed.next[0].test.id.as_str(), "gauge");
/// assert_eq!(narrowed.next[0].range(), "excludes 0 to 1 of 2");
/// # Ok::<(), witnessmark::rules::toml_keys::FileError>(())
/// ```
pub fn narrow<'g>(symptom: &'g Symptom, tried: &[(ItemId, ItemId)]) -> Narrowed<'g> {
    let newest: BTreeMap<&ItemId, &ItemId> = tried.iter().map(|(test, outcome)| (test, outcome)).collect();
    let result = |test: &'g Test| newest.get(&test.id).and_then(|outcome| test.outcome(outcome.as_str()));
    let made: Vec<Made<'g>> =
        symptom.tests.iter().filter_map(|test| result(test).map(|outcome| Made { test, outcome })).collect();
    let known = |test: &ItemId| made.iter().any(|made| made.test.id == *test);
    let unknown = newest.iter().filter(|(test, _)| !known(test)).map(|(test, outcome)| ((*test).clone(), (*outcome).clone()));
    let unknown = unknown.collect();

    let (mut left, mut excluded) = (Vec::new(), Vec::new());
    for cause in &symptom.causes {
        let by: Vec<Made<'g>> = made.iter().copied().filter(|made| made.outcome.excludes.contains(&cause.id)).collect();
        if by.is_empty() { left.push(cause) } else { excluded.push(Excluded { cause, by }) }
    }

    let (mut next, mut silent) = (Vec::new(), Vec::new());
    for test in symptom.tests.iter().filter(|test| !known(&test.id)) {
        let hits = |outcome: &Outcome| left.iter().filter(|cause| outcome.excludes.contains(&cause.id)).count();
        let counts: Vec<usize> = test.outcomes.iter().map(hits).collect();
        let (least, most) = (counts.iter().min().copied().unwrap_or(0), counts.iter().max().copied().unwrap_or(0));
        match most {
            0 => silent.push(test),
            _ => next.push(Next { test, least, most, of: left.len(), sum: counts.iter().sum() }),
        }
    }
    // A stable sort: what is equal stays in the order of the file.
    next.sort_by(Next::rank);

    let contradiction = left.is_empty();
    let alone = |made: &Made<'g>| excluded.iter().any(|excluded| excluded.by.as_slice() == [*made]);
    let doubtful = made.iter().copied().filter(|made| contradiction && alone(made)).collect();
    Narrowed { left, excluded, made, next, silent, contradiction, doubtful, unknown }
}

#[cfg(test)]
mod stories;
