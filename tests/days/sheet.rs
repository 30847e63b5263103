//! A tech sheet of our own making: what a day's editions ask, in plain structs that the slow rule reads and `program/file.rs`
//! writes down.

use super::dice::Dice;
use std::collections::BTreeSet;

#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Weight {
    Note,
    Fix,
    Stop,
}

impl Weight {
    pub fn word(self) -> &'static str {
        ["note", "fix", "stop"][self as usize]
    }

    pub fn holds(self) -> bool {
        self > Weight::Note
    }
}

/// The units that the days measure in.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Unit {
    Millimetre,
    ThirtySecondInch,
    Kilopascal,
    Psi,
    /// Never of a sheet here: the gate's pages measure pressures in it.
    Bar,
    NewtonMetre,
    PoundForceFoot,
    DecibelA,
}

impl Unit {
    pub fn token(self) -> &'static str {
        ["mm", "1/32 in", "kPa", "psi", "bar", "N.m", "lbf.ft", "dB(A)"][self as usize]
    }

    pub fn parse(token: &str) -> Unit {
        use Unit::*;
        let all = [Millimetre, ThirtySecondInch, Kilopascal, Psi, Bar, NewtonMetre, PoundForceFoot, DecibelA];
        all.into_iter().find(|unit| unit.token() == token).expect("a unit of these days")
    }

    /// What is measured, as a number: two units are of one quantity or they are not.
    pub fn quantity(self) -> usize {
        [0, 0, 1, 1, 1, 2, 2, 3][self as usize]
    }

    /// One of this unit in mm, kPa, N·m or dB(A). NIST Special Publication 811 (2008), appendix B.
    pub fn size(self) -> f64 {
        [1.0, 25.4 / 32.0, 1.0, 6.894_757_293_168_36, 100.0, 1.0, 4.448_221_615_260_5 * 0.3048, 1.0][self as usize]
    }

    pub fn other_of_its_quantity(self) -> Unit {
        use Unit::*;
        [ThirtySecondInch, Millimetre, Psi, Kilopascal, Kilopascal, PoundForceFoot, NewtonMetre, DecibelA][self as usize]
    }
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Per {
    Car,
    Corner,
    FrontCorner,
    Axle,
}

impl Per {
    pub fn word(self) -> &'static str {
        ["car", "corner", "front-corner", "axle"][self as usize]
    }

    /// The places in a form; "" is the whole car.
    pub fn places(self) -> &'static [&'static str] {
        [&[""][..], &["lf", "rf", "lr", "rr"], &["lf", "rf"], &["front", "rear"]][self as usize]
    }
}

#[derive(Clone, Debug, PartialEq)]
pub enum Bound {
    AtLeast(f64),
    AtMost(f64),
    AtLeastItem(String),
    WithinPercent(u32, String),
}

#[derive(Clone, Debug, PartialEq)]
pub struct Limit {
    pub bound: Bound,
    pub weight: Weight,
}

/// The worksheet that an item may be worked out by, with its limit, which the sheet fixes.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Work {
    /// A meter's reading at half a metre, in dB(A).
    Noise(f64),
    /// The room between a helmet and the line over it, in mm.
    HelmetLine(f64),
}

#[derive(Clone, Debug, PartialEq)]
pub enum Kind {
    YesNo { right: Option<bool>, not_applicable: bool, weight: Weight },
    Measure { unit: Unit, per: Per, possible: (f64, f64), limits: Vec<Limit> },
    Choice(Vec<(String, Option<Weight>)>),
}

/// An item is asked only where an earlier one has one of these answers.
#[derive(Clone, Debug, PartialEq)]
pub struct When {
    pub item: String,
    pub is: Vec<String>,
}

#[derive(Clone, Debug, PartialEq)]
pub struct Item {
    pub id: String,
    pub kind: Kind,
    pub required: bool,
    pub by_hand: bool,
    pub when: Option<When>,
    pub work: Option<Work>,
}

#[derive(Clone, Debug, PartialEq, Default)]
pub struct Sheet {
    pub items: Vec<Item>,
}

impl Sheet {
    pub fn item(&self, id: &str) -> Option<&Item> {
        self.items.iter().find(|item| item.id == id)
    }

    /// Takes out what no sheet's file may say: a condition or a limit that leans on something it cannot lean on, limits out of
    /// order or out of what is possible, a worksheet that cannot give such an answer.
    pub fn repaired(mut self) -> Sheet {
        let mut before = Sheet::default();
        for mut item in std::mem::take(&mut self.items) {
            if before.item(&item.id).is_some() {
                continue;
            }
            if let Some(when) = &mut item.when {
                let words = before.item(&when.item).map(Item::words).unwrap_or_default();
                when.is.retain(|word| words.contains(word));
            }
            item.when = item.when.filter(|when| !when.is.is_empty());
            item.mend_limits(&before);
            item.mend_work();
            before.items.push(item);
        }
        before
    }

    /// The items that a limit of another leans on.
    pub fn leant_on(&self) -> BTreeSet<String> {
        let limits = self.items.iter().filter_map(|item| match &item.kind {
            Kind::Measure { limits, .. } => Some(limits),
            _ => None,
        });
        limits.flatten().filter_map(|limit| limit.bound.item()).map(str::to_owned).collect()
    }
}

/// What an edition has that the one before it had not, and the other way round, an item a line.
pub fn told(before: &Sheet, now: &Sheet) -> String {
    let lines = |sheet: &Sheet| sheet.items.iter().map(Item::told).collect::<Vec<_>>();
    let (before, now) = (lines(before), lines(now));
    let gone = before.iter().filter(|line| !now.contains(line)).map(|line| format!("\n     - {line}"));
    let new = now.iter().filter(|line| !before.contains(line)).map(|line| format!("\n     + {line}"));
    gone.chain(new).collect()
}

impl Bound {
    pub fn item(&self) -> Option<&str> {
        match self {
            Bound::AtLeastItem(id) | Bound::WithinPercent(_, id) => Some(id),
            _ => None,
        }
    }
}

impl Item {
    /// The answers that a condition may name.
    pub fn words(&self) -> Vec<String> {
        match &self.kind {
            Kind::YesNo { not_applicable, .. } => {
                let words = ["yes", "no", "n/a"].into_iter().take(if *not_applicable { 3 } else { 2 });
                words.map(str::to_owned).collect()
            }
            Kind::Choice(options) => options.iter().map(|(id, _)| id.clone()).collect(),
            Kind::Measure { .. } => Vec::new(),
        }
    }

    /// The item in a line, for the story.
    pub fn told(&self) -> String {
        let mut words = vec![self.id.clone()];
        match &self.kind {
            Kind::YesNo { right, not_applicable, weight } => {
                let right = right.map_or("either", |right| if right { "yes" } else { "no" });
                words.push(format!("yes-no, right {right} ({})", weight.word()));
                words.extend(not_applicable.then(|| "or n/a".to_owned()));
            }
            Kind::Measure { unit, per, possible, limits } => {
                let limits = limits.iter().map(|limit| format!("{:?} {}", limit.bound, limit.weight.word()));
                let limits = limits.collect::<Vec<_>>().join(", ");
                words.push(format!("{} per {}, {} to {} [{limits}]", unit.token(), per.word(), possible.0, possible.1));
            }
            Kind::Choice(options) => {
                let option = |(id, weight): &(String, Option<Weight>)| match weight {
                    Some(weight) => format!("{id} ({})", weight.word()),
                    None => id.clone(),
                };
                words.push(format!("choice of {}", options.iter().map(option).collect::<Vec<_>>().join(", ")));
            }
        }
        words.extend((!self.required).then(|| "optional".to_owned()));
        words.extend(self.by_hand.then(|| "by hand".to_owned()));
        words.extend(self.when.as_ref().map(|when| format!("when {} is {}", when.item, when.is.join(" or "))));
        words.extend(self.work.map(|work| format!("worked out by {work:?}")));
        words.join("; ")
    }

    fn mend_limits(&mut self, before: &Sheet) {
        let Kind::Measure { unit, per, possible, limits } = &mut self.kind else { return };
        // A limit leans on a measurement that is always there: required, and asked of everybody.
        let can_lean = |id: &str| {
            before.item(id).is_some_and(|other| match &other.kind {
                Kind::Measure { unit: of, per: at, .. } => {
                    other.required && other.when.is_none() && of.quantity() == unit.quantity() && (at == per || *at == Per::Car)
                }
                _ => false,
            })
        };
        limits.retain(|limit| match &limit.bound {
            Bound::AtLeast(n) | Bound::AtMost(n) => (possible.0..=possible.1).contains(n),
            Bound::AtLeastItem(id) | Bound::WithinPercent(_, id) => can_lean(id),
        });
        limits.sort_by_key(|limit| std::cmp::Reverse(limit.weight));
    }

    fn mend_work(&mut self) {
        let fits = match (&self.kind, self.work) {
            (Kind::YesNo { right, .. }, Some(_)) => right.is_some(),
            (Kind::Measure { unit: Unit::DecibelA, per: Per::Car, .. }, Some(Work::Noise(_))) => true,
            (Kind::Measure { unit: Unit::Millimetre, per: Per::Car, .. }, Some(Work::HelmetLine(_))) => true,
            _ => false,
        };
        self.work = self.work.filter(|_| fits);
    }
}

fn yes_no(right: Option<bool>, weight: Weight) -> Kind {
    Kind::YesNo { right, not_applicable: false, weight }
}

fn measure(unit: Unit, per: Per, possible: (f64, f64), limits: &[(Bound, Weight)]) -> Kind {
    let limits = limits.iter().map(|(bound, weight)| Limit { bound: bound.clone(), weight: *weight }).collect();
    Kind::Measure { unit, per, possible, limits }
}

fn choice(options: &[(&str, Option<Weight>)]) -> Kind {
    Kind::Choice(options.iter().map(|(id, weight)| ((*id).to_owned(), *weight)).collect())
}

/// Everything that a day may begin with; a sheet has a part of it.
pub fn stock() -> Vec<Item> {
    use Weight::{Fix, Stop};
    let item = |id: &str, kind| Item { id: id.to_owned(), kind, required: true, by_hand: false, when: None, work: None };
    let when = |of: &str, is: &str, item: Item| Item { when: Some(When { item: of.into(), is: vec![is.into()] }), ..item };
    let torque = Bound::WithinPercent(10, "torque-asked".into());
    vec![
        item("roof", choice(&[("closed", None), ("open", None), ("cut", Some(Stop))])),
        when("roof", "open", item("cage", yes_no(Some(true), Stop))),
        item("leak", yes_no(Some(false), Stop)),
        item(
            "pads",
            measure(Unit::Millimetre, Per::Corner, (0.0, 25.0), &[(Bound::AtLeast(3.0), Stop), (Bound::AtLeast(5.0), Fix)]),
        ),
        item("pressure", measure(Unit::Kilopascal, Per::Axle, (50.0, 500.0), &[(Bound::AtMost(300.0), Fix)])),
        item("torque-asked", measure(Unit::NewtonMetre, Per::Car, (40.0, 300.0), &[])),
        item("torque", measure(Unit::NewtonMetre, Per::Corner, (20.0, 400.0), &[(torque, Stop)])),
        Item {
            work: Some(Work::Noise(105.0)),
            required: false,
            ..item("noise", measure(Unit::DecibelA, Per::Car, (50.0, 140.0), &[(Bound::AtMost(105.0), Stop)]))
        },
        Item { work: Some(Work::HelmetLine(51.0)), ..item("helmet-room", yes_no(Some(true), Stop)) },
        item("cold", measure(Unit::NewtonMetre, Per::Car, (20.0, 400.0), &[(Bound::AtLeastItem("torque-asked".into()), Fix)])),
        item("tow", choice(&[("eye", None), ("strap", None), ("none", Some(Fix))])),
        item("spare", yes_no(None, Weight::Note)),
        when("spare", "yes", item("spare-strap", yes_no(Some(true), Fix))),
    ]
}

/// The sheet that a day begins with.
pub fn first(dice: &mut Dice) -> Sheet {
    let mut items: Vec<Item> = stock().into_iter().filter(|_| !dice.once_in(3)).collect();
    for item in &mut items {
        item.by_hand = dice.once_in(3);
    }
    if items.is_empty() {
        items = stock();
    }
    Sheet { items }.repaired()
}
