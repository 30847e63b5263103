//! What is noted in a garage, one change at a time. Changes are only ever added.

use super::kinds::{Fluid, GearKind, ReadingKind};
use crate::rules::answer::Typed;
use crate::rules::car_system::CarSystem;
use jiff::Timestamp;
use jiff::civil::{Date, Time};
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;
use uuid::Uuid;

/// A change as it was noted: its id is made on the maker's device, so that sending it twice changes nothing.
#[derive(Clone, Debug, PartialEq)]
pub struct Noted {
    pub id: Uuid,
    pub at: Timestamp,
    pub change: Change,
}

/// The day something was read or done, and the time of day where it is known.
///
/// A reading without a time counts as taken before the day's driving, track time without one as driven by noon.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
pub struct Taken {
    pub day: Date,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub clock: Option<Time>,
}

/// Where a part for a job stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case", tag = "state")]
pub enum PartState {
    ToOrder,
    /// Expected on this day.
    Ordered {
        here_on: Date,
    },
    Here,
}

/// What a job is: the head of its card.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct JobCard {
    pub title: String,
    pub system: CarSystem,
    /// How it was found: "Tech sheet, Spring day", "drops on the floor".
    #[serde(default)]
    pub found: String,
    /// What is suspected.
    #[serde(default)]
    pub cause: String,
    /// The test that would tell next.
    #[serde(default)]
    pub next_test: String,
    /// Hours of work left, 0 to 400.
    pub hours: f64,
    /// Whether the car stays in the garage until it is done.
    pub must: bool,
    /// Jobs that have to be done first.
    #[serde(default)]
    pub after: Vec<Uuid>,
    /// The symptom in the fault guide, where one was chosen.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub symptom: Option<String>,
    /// The item of a tech sheet whose finding it was.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub item: Option<String>,
}

/// One set of readings of one kind, all in one unit.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Readings {
    pub what: ReadingKind,
    /// The unit's token.
    pub unit: String,
    /// By the token of the place.
    pub at: BTreeMap<String, f64>,
    /// The part is new: what came before was another one.
    #[serde(default)]
    pub fresh: bool,
    #[serde(default)]
    pub note: String,
    /// Where it comes from: empty for by hand, or "worksheet leak-down", "a file".
    #[serde(default)]
    pub from: String,
}

/// What can be noted.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(tag = "kind", rename_all = "kebab-case")]
pub enum Change {
    /// A car, or its new name.
    Car {
        car: Uuid,
        name: String,
    },
    /// It was sold or scrapped: its log stays.
    CarGone {
        car: Uuid,
    },
    /// What is fixed about it, by item and as typed.
    Facts {
        car: Uuid,
        facts: BTreeMap<String, Typed>,
    },
    Gear {
        gear: Uuid,
        what: GearKind,
        name: String,
        label: String,
        date: String,
        valid_until: bool,
    },
    GearGone {
        gear: Uuid,
    },
    Readings {
        car: Uuid,
        taken: Taken,
        readings: Readings,
    },
    /// All of a fluid was changed.
    Changed {
        car: Uuid,
        taken: Taken,
        fluid: Fluid,
        grade: String,
        note: String,
    },
    /// Time on track.
    Track {
        car: Uuid,
        taken: Taken,
        minutes: f64,
        sessions: u16,
        note: String,
    },
    /// A photo of what a line of the log or a job is about.
    Photo {
        of: Uuid,
        photo: Uuid,
    },
    /// A line of the log that should not be there.
    Struck {
        line: Uuid,
    },
    /// A day the car is meant to go out.
    Day {
        track_day: Uuid,
        car: Uuid,
        name: String,
        day: Date,
        sessions: u16,
        session_min: f64,
        #[serde(default, skip_serializing_if = "Option::is_none")]
        entry: Option<Uuid>,
    },
    /// A sheet was brought here by who held this link to it. Once the link is taken back, the garage reads on only what had been
    /// sent until then.
    Brought {
        entry: Uuid,
        link: Uuid,
    },
    DayGone {
        track_day: Uuid,
    },
    Job {
        job: Uuid,
        car: Uuid,
        card: JobCard,
    },
    Step {
        job: Uuid,
        step: Uuid,
        say: String,
        done: bool,
    },
    Part {
        job: Uuid,
        part: Uuid,
        name: String,
        price_cents: Option<u64>,
        lead_days: u16,
        is: PartState,
    },
    /// A step that was noted by mistake.
    StepGone {
        job: Uuid,
        step: Uuid,
    },
    /// A job that was noted by mistake: it leaves the list, what was noted of it stays in the file of everything.
    JobGone {
        job: Uuid,
    },
    /// The part is not needed after all.
    PartGone {
        job: Uuid,
        part: Uuid,
    },
    /// A test of the fault guide with what it showed; the words as the guide had them then.
    Tried {
        job: Uuid,
        test: String,
        outcome: String,
        said: String,
    },
    /// What was done, and what shows it.
    Done {
        job: Uuid,
        what: String,
        shown_by: String,
    },
    /// The symptom came back.
    Reopened {
        job: Uuid,
        why: String,
    },
    /// Hours for the car on each day of the week, Monday first; how many work on it; the currency of the prices.
    Settings {
        week: [f64; 7],
        many_hands: bool,
        currency: String,
    },
    Packed {
        track_day: Uuid,
        thing: String,
        packed: bool,
    },
}

impl Change {
    /// The car it is about, where it names one.
    pub fn car(&self) -> Option<Uuid> {
        match self {
            Change::Car { car, .. }
            | Change::CarGone { car }
            | Change::Facts { car, .. }
            | Change::Readings { car, .. }
            | Change::Changed { car, .. }
            | Change::Track { car, .. }
            | Change::Day { car, .. }
            | Change::Job { car, .. } => Some(*car),
            _ => None,
        }
    }

    /// The job it is about, where it names one that has to be there.
    pub fn job(&self) -> Option<Uuid> {
        match self {
            Change::Step { job, .. }
            | Change::Part { job, .. }
            | Change::PartGone { job, .. }
            | Change::StepGone { job, .. }
            | Change::JobGone { job }
            | Change::Tried { job, .. }
            | Change::Done { job, .. }
            | Change::Reopened { job, .. } => Some(*job),
            _ => None,
        }
    }
}
