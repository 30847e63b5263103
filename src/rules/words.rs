//! The small words that the other rules share: severity, verdict, the places of a car, the names of items.

use serde::{Deserialize, Serialize};
use std::fmt;
use unicode_normalization::UnicodeNormalization;

/// How much a finding weighs. The order is the trade's: a stop outweighs a fix, a fix outweighs a note.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Severity {
    /// Advice; does not hold the car.
    Note,
    /// Put right, then the car may go.
    Fix,
    /// The car does not go out.
    Stop,
}

impl Severity {
    /// The word, as the sheet file and every page write it.
    pub fn word(self) -> &'static str {
        match self {
            Severity::Note => "note",
            Severity::Fix => "fix",
            Severity::Stop => "stop",
        }
    }

    /// Reads the word.
    pub fn parse(word: &str) -> Option<Severity> {
        [Severity::Note, Severity::Fix, Severity::Stop].into_iter().find(|severity| severity.word() == word)
    }

    /// Whether a car with this finding open is kept from the grid.
    pub fn holds_the_car(self) -> bool {
        self != Severity::Note
    }
}

impl fmt::Display for Severity {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.word())
    }
}

/// What a worksheet says of its readings.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Verdict {
    Ok,
    Note,
    Fix,
    Stop,
}

impl Verdict {
    /// Reads the word that a worksheet's answer has; `None` for any other, which is no verdict and never a good one.
    ///
    /// # Example: what is no verdict is not "ok"
    /// ```
    /// use witnessmark::rules::words::Verdict;
    /// assert_eq!(Verdict::parse("stop"), Some(Verdict::Stop));
    /// assert_eq!(Verdict::parse("Stop"), None);
    /// assert_eq!(Verdict::parse(""), None);
    /// ```
    pub fn parse(word: &str) -> Option<Verdict> {
        Some(match word {
            "ok" => Verdict::Ok,
            "note" => Verdict::Note,
            "fix" => Verdict::Fix,
            "stop" => Verdict::Stop,
            _ => return None,
        })
    }

    /// The severity of the finding this verdict makes, none when all is well.
    pub fn severity(self) -> Option<Severity> {
        match self {
            Verdict::Ok => None,
            Verdict::Note => Some(Severity::Note),
            Verdict::Fix => Some(Severity::Fix),
            Verdict::Stop => Some(Severity::Stop),
        }
    }
}

/// The name of an item or area of a sheet: small letters, figures and single hyphens, 1 to 40 characters.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize)]
pub struct ItemId(String);

impl ItemId {
    /// Reads a name; `None` where it is not of that form.
    ///
    /// # Example: a name of a sheet's item
    /// ```
    /// use witnessmark::rules::words::ItemId;
    /// assert!(ItemId::parse("lug-torque").is_some());
    /// assert!(ItemId::parse("Lug torque").is_none());
    /// ```
    pub fn parse(text: &str) -> Option<ItemId> {
        let fits = (1..=40).contains(&text.len())
            && text.bytes().all(|b| b.is_ascii_lowercase() || b.is_ascii_digit() || b == b'-')
            && !text.starts_with('-')
            && !text.ends_with('-')
            && !text.contains("--");
        fits.then(|| ItemId(text.to_owned()))
    }

    /// The name as text.
    pub fn as_str(&self) -> &str {
        &self.0
    }
}

impl fmt::Display for ItemId {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

/// Where on the car a reading was taken.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Place {
    /// The car as a whole: an item with a single reading.
    Whole,
    FrontLeft,
    FrontRight,
    RearLeft,
    RearRight,
    FrontAxle,
    RearAxle,
    /// A cylinder by its number, 1 to 16.
    Cylinder(u8),
}

impl Place {
    /// The place in a form field or an answers file: `lf`, `rr`, `front`, `3`; empty for the whole car.
    pub fn token(self) -> String {
        match self {
            Place::Whole => String::new(),
            Place::FrontLeft => "lf".into(),
            Place::FrontRight => "rf".into(),
            Place::RearLeft => "lr".into(),
            Place::RearRight => "rr".into(),
            Place::FrontAxle => "front".into(),
            Place::RearAxle => "rear".into(),
            Place::Cylinder(n) => n.to_string(),
        }
    }

    /// The place in words.
    pub fn name(self) -> String {
        match self {
            Place::Whole => String::new(),
            Place::FrontLeft => "front left".into(),
            Place::FrontRight => "front right".into(),
            Place::RearLeft => "rear left".into(),
            Place::RearRight => "rear right".into(),
            Place::FrontAxle => "front".into(),
            Place::RearAxle => "rear".into(),
            Place::Cylinder(n) => format!("cylinder {n}"),
        }
    }
}

/// At which places an item is read.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Per {
    Car,
    Corner,
    /// The two front corners.
    FrontCorners,
    /// The two rear corners.
    RearCorners,
    Axle,
    /// Up to sixteen cylinders, numbered from 1 without a gap.
    Cylinder,
}

impl Per {
    /// The word a sheet file uses.
    pub fn parse(word: &str) -> Option<Per> {
        Some(match word {
            "car" => Per::Car,
            "corner" => Per::Corner,
            "front-corner" => Per::FrontCorners,
            "rear-corner" => Per::RearCorners,
            "axle" => Per::Axle,
            "cylinder" => Per::Cylinder,
            _ => return None,
        })
    }

    /// The places, in the order a person walks round the car.
    pub fn places(self) -> Vec<Place> {
        match self {
            Per::Car => vec![Place::Whole],
            Per::Corner => vec![Place::FrontLeft, Place::FrontRight, Place::RearLeft, Place::RearRight],
            Per::FrontCorners => vec![Place::FrontLeft, Place::FrontRight],
            Per::RearCorners => vec![Place::RearLeft, Place::RearRight],
            Per::Axle => vec![Place::FrontAxle, Place::RearAxle],
            Per::Cylinder => (1..=16).map(Place::Cylinder).collect(),
        }
    }

    /// The place with this token, if the item is read there.
    pub fn place(self, token: &str) -> Option<Place> {
        self.places().into_iter().find(|place| place.token() == token)
    }
}

/// Whether a text is one line of 1 to `longest` characters.
pub fn is_one_line(text: &str, longest: usize) -> bool {
    (1..=longest).contains(&text.chars().count()) && !text.chars().any(char::is_control)
}

/// Whether a text of several lines holds a character that no line holds.
pub fn has_control(text: &str) -> bool {
    text.chars().any(|c| c.is_control() && !matches!(c, '\n' | '\r' | '\t'))
}

/// The number on the car's door: one to four figures, and a letter after them where the club uses one ("27", "07", "114B").
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct CarNumber(String);

/// Why a text is no car number.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("\"{0}\" is not a car number: one to four figures, with a letter after them if need be")]
pub struct NotACarNumber(String);

impl CarNumber {
    /// Reads a number; spaces around it are dropped, a letter is written large, and wide figures are written as any others.
    ///
    /// # Example: numbers are kept as they stand on the door
    /// ```
    /// use witnessmark::rules::words::CarNumber;
    /// assert_eq!(CarNumber::parse(" 7b ").unwrap().as_str(), "7B");
    /// assert_ne!(CarNumber::parse("07").unwrap(), CarNumber::parse("7").unwrap());
    /// assert_eq!(CarNumber::parse("２７").unwrap().as_str(), "27");
    /// assert!(CarNumber::parse("twelve").is_err());
    /// ```
    pub fn parse(text: &str) -> Result<CarNumber, NotACarNumber> {
        let number: String = text.trim().nfkc().collect::<String>().to_ascii_uppercase();
        let figures = number.trim_end_matches(|c: char| c.is_ascii_uppercase());
        let fits =
            (1..=4).contains(&figures.len()) && figures.bytes().all(|b| b.is_ascii_digit()) && number.len() - figures.len() <= 1;
        if fits { Ok(CarNumber(number)) } else { Err(NotACarNumber(text.trim().chars().take(20).collect())) }
    }

    /// The number as it stands on the door.
    pub fn as_str(&self) -> &str {
        &self.0
    }

    /// The figures alone, for putting numbers in order.
    pub fn order(&self) -> u32 {
        self.0.trim_end_matches(|c: char| c.is_ascii_uppercase()).parse().unwrap_or(0)
    }
}

impl fmt::Display for CarNumber {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

/// How many, with the word that goes with one or with many.
///
/// # One item, three items
/// ```
/// use witnessmark::rules::words::count;
/// assert_eq!(count(1, "item", "items"), "1 item");
/// assert_eq!(count(3, "item", "items"), "3 items");
/// ```
pub fn count(number: usize, one: &str, many: &str) -> String {
    format!("{number} {}", if number == 1 { one } else { many })
}

/// The text with its first letter written large.
///
/// # The head of a line
/// ```
/// use witnessmark::rules::words::capital;
/// assert_eq!(capital("front left"), "Front left");
/// assert_eq!(capital(""), "");
/// ```
pub fn capital(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map(|first| first.to_uppercase().collect::<String>() + letters.as_str()).unwrap_or_default()
}
