//! A day as data: what people do, drawn before anything is done. Each step stands for itself, so that a day from which steps were
//! taken out is still a day.

use super::dice::Dice;

/// How a request travels.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Way {
    Arrives,
    /// It arrives, its answer does not: the phone keeps it and sends it again later.
    AnswerLost,
    /// It stays in the phone's queue.
    Waits,
    /// It arrives twice in a row.
    Twice,
}

/// What a record says that its maker had in front of them.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Seen {
    AsThePageSays,
    Nothing,
    /// An id that nobody ever made, besides what the page says.
    Unknown,
    /// A record that is still to come, by its number.
    Coming(u32),
    /// Records of another car.
    OtherCar,
    /// One record of this car, whichever.
    One(u8),
    /// The record itself.
    Itself,
}

/// What time a device says it is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Made {
    Unsaid,
    /// So many minutes off the server's clock.
    Off(i32),
    Year(i16),
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Part {
    All,
    None,
    /// All but the one of this number.
    AllBut(u8),
    /// All, and things that are not asked for.
    More,
}

/// How an inspector closes what was measured.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Own {
    /// By a reading that keeps the limits, where the page takes one.
    Reading,
    Sentence,
    /// By a reading that does not keep them, with a sentence beside it.
    BadReading,
    /// By a bare tick.
    Nothing,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Mood {
    Sound,
    OneThingWrong,
    MuchWrong,
    LeftOut,
}

/// Whose phone: the newest that this person has, or an older one.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Phone {
    pub who: u8,
    pub older: u8,
}

/// What all records have in common. `nth` makes the record's id, whatever steps are taken out before it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Slip {
    pub nth: u32,
    pub car: u8,
    /// 0 opens the page anew; otherwise a page that was opened before, if there is one.
    pub old_page: u8,
    pub seen: Seen,
    pub made: Made,
    pub way: Way,
}

#[derive(Clone, Debug, PartialEq)]
pub enum Step {
    OpensSheet {
        phone: u8,
        car: u8,
    },
    OpensCar {
        inspector: Phone,
        car: u8,
    },
    Sends {
        phone: u8,
        slip: Slip,
        mood: Mood,
        dice: u64,
    },
    Clears {
        inspector: Phone,
        slip: Slip,
        ticks: Part,
        closes: Part,
        own: Own,
    },
    Holds {
        inspector: Phone,
        slip: Slip,
    },
    Withdraws {
        slip: Slip,
    },
    /// Records that name each other, sent one after the other.
    Circle {
        by: Phone,
        slip: Slip,
        driver: bool,
        clear: bool,
        size: u8,
    },
    /// An id that a record has, with something else under it.
    UsedId {
        by: Phone,
        slip: Slip,
        driver: bool,
        which: u8,
    },
    /// A driver sends to somebody else's car.
    Stranger {
        slip: Slip,
    },
    Arrives {
        which: u8,
    },
    AllArrive {
        backwards: bool,
    },
    Edits {
        dice: u64,
    },
    RaisesBack {
        which: u8,
    },
    Erases {
        car: u8,
    },
    Clock {
        minutes: i32,
    },
    Restarts {
        in_order: bool,
    },
    EndsPhone {
        inspector: Phone,
    },
    TakesBack {
        inspector: u8,
    },
    LetsInAgain {
        inspector: u8,
    },
    NewLink {
        car: u8,
    },
    /// A marshal's phone hears the news.
    Marshal {
        phone: u8,
    },
    Pass {
        car: u8,
    },
    /// The second inspector's phone fetches what changed.
    Fetches {
        inspector: Phone,
    },
}

#[derive(Clone, Debug, PartialEq)]
pub struct Day {
    pub seed: u64,
    pub cars: usize,
    pub sheet: u64,
    pub steps: Vec<Step>,
}

/// The day of a seed.
pub fn draw(seed: u64) -> Day {
    let mut dice = Dice::new(seed);
    let cars = dice.between(3, 5) as usize;
    let sheet = dice.throw();
    let count = dice.between(20, 40) as u32;
    let steps = (0..count).map(|nth| step(&mut dice, nth, cars as u64)).collect();
    Day { seed, cars, sheet, steps }
}

fn phone(dice: &mut Dice, people: u64) -> Phone {
    Phone { who: (dice.throw() % people) as u8, older: if dice.once_in(5) { 1 } else { 0 } }
}

fn slip(dice: &mut Dice, nth: u32, cars: u64) -> Slip {
    // Two cars have most of the day's doings, or nothing would meet.
    let car = if dice.once_in(3) { dice.throw() % cars } else { dice.throw() % 2 };
    let seen = match dice.between(0, 23) {
        0 => Seen::Nothing,
        1 => Seen::Unknown,
        2 => Seen::Coming(nth + dice.between(1, 6) as u32),
        3 => Seen::OtherCar,
        4 => Seen::One(dice.throw() as u8),
        5 if dice.once_in(4) => Seen::Itself,
        _ => Seen::AsThePageSays,
    };
    let made = match dice.between(0, 11) {
        0..=4 => Made::Unsaid,
        5 if dice.once_in(2) => Made::Year([1970, 2020, 2999, 9999][(dice.throw() % 4) as usize]),
        _ => Made::Off(dice.between(0, 120) as i32 - 100),
    };
    let way = match dice.between(0, 9) {
        0 => Way::AnswerLost,
        1 | 2 => Way::Waits,
        3 => Way::Twice,
        _ => Way::Arrives,
    };
    let old_page = if dice.once_in(3) { dice.between(1, 3) as u8 } else { 0 };
    Slip { nth, car: car as u8, old_page, seen, made, way }
}

fn part(dice: &mut Dice) -> Part {
    match dice.between(0, 9) {
        0 => Part::None,
        1 => Part::AllBut(dice.throw() as u8),
        2 => Part::More,
        _ => Part::All,
    }
}

fn step(dice: &mut Dice, nth: u32, cars: u64) -> Step {
    let car = (dice.throw() % cars) as u8;
    // The morning: everybody sends.
    let throw = if nth < 4 { dice.between(0, 30) } else { dice.between(0, 99) };
    let inspector = phone(dice, 2);
    match throw {
        0..=21 => {
            let mood = match dice.between(0, 9) {
                0..=5 => Mood::Sound,
                6 | 7 => Mood::OneThingWrong,
                8 => Mood::MuchWrong,
                _ => Mood::LeftOut,
            };
            Step::Sends { phone: (dice.throw() % 2) as u8, slip: slip(dice, nth, cars), mood, dice: dice.throw() }
        }
        22..=44 => {
            let own = match dice.between(0, 9) {
                0 => Own::Nothing,
                1 => Own::BadReading,
                2..=4 => Own::Sentence,
                _ => Own::Reading,
            };
            Step::Clears { inspector, slip: slip(dice, nth, cars), ticks: part(dice), closes: part(dice), own }
        }
        45..=51 => Step::Holds { inspector, slip: slip(dice, nth, cars) },
        52..=54 => Step::Withdraws { slip: slip(dice, nth, cars) },
        55..=57 => {
            let (driver, clear) = (dice.once_in(2), dice.once_in(3));
            Step::Circle { by: inspector, slip: slip(dice, nth, cars), driver, clear, size: dice.between(2, 3) as u8 }
        }
        58 => {
            let driver = dice.once_in(2);
            Step::UsedId { by: inspector, slip: slip(dice, nth, cars), driver, which: dice.throw() as u8 }
        }
        59 => Step::Stranger { slip: slip(dice, nth, cars) },
        60..=65 => Step::Arrives { which: dice.throw() as u8 },
        66 | 67 => Step::AllArrive { backwards: dice.once_in(2) },
        68..=75 => Step::Edits { dice: dice.throw() },
        76..=78 => Step::RaisesBack { which: dice.throw() as u8 },
        79 if nth > 10 => Step::Erases { car },
        80..=82 => Step::Clock { minutes: [-180, -120, -45, 15, 90, 150][(dice.throw() % 6) as usize] },
        83 | 84 => Step::Restarts { in_order: dice.once_in(2) },
        85 => Step::EndsPhone { inspector },
        86 => Step::TakesBack { inspector: inspector.who },
        87 | 88 => Step::LetsInAgain { inspector: inspector.who },
        89 => Step::NewLink { car },
        90..=92 => Step::Marshal { phone: (dice.throw() % 2) as u8 },
        93 | 94 => Step::Pass { car },
        95 | 96 => Step::Fetches { inspector },
        97 => Step::OpensSheet { phone: (dice.throw() % 2) as u8, car },
        _ => Step::OpensCar { inspector, car },
    }
}
