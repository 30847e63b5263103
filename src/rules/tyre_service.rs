//! The service description of a tyre: size, load index and speed symbol as the sidewall has them.

use super::words::Verdict;
use super::worksheet_input::{Fields, InputError, beside, worst};
use serde::Serialize;
use thiserror::Error;

/// Kilograms a tyre by load index, from 50 up. UN R30 annex 4, ISO 4000-1; 61 to 126 as in trade tables, the rest from
/// memory of the standard.
const LOAD_KG: [u16; 101] = [
    190, 195, 200, 206, 212, 218, 224, 230, 236, 243, 250, 257, 265, 272, 280, 290, 300, 307, 315, 325, 335, 345, 355, 365, 375,
    387, 400, 412, 425, 437, 450, 462, 475, 487, 500, 515, 530, 545, 560, 580, 600, 615, 630, 650, 670, 690, 710, 730, 750, 775,
    800, 825, 850, 875, 900, 925, 950, 975, 1000, 1030, 1060, 1090, 1120, 1150, 1180, 1215, 1250, 1285, 1320, 1360, 1400, 1450,
    1500, 1550, 1600, 1650, 1700, 1750, 1800, 1850, 1900, 1950, 2000, 2060, 2120, 2180, 2240, 2300, 2360, 2430, 2500, 2575, 2650,
    2725, 2800, 2900, 3000, 3075, 3150, 3250, 3350,
];
const FIRST_INDEX: u16 = 50;

/// Speed symbols in km/h: UN R30 annex 5, ISO 4000-1; B to K from memory. H lies between U and V.
const SPEED_KMH: [(char, u16); 22] = [
    ('B', 50),
    ('C', 60),
    ('D', 65),
    ('E', 70),
    ('F', 80),
    ('G', 90),
    ('J', 100),
    ('K', 110),
    ('L', 120),
    ('M', 130),
    ('N', 140),
    ('P', 150),
    ('Q', 160),
    ('R', 170),
    ('S', 180),
    ('T', 190),
    ('U', 200),
    ('H', 210),
    ('V', 240),
    ('W', 270),
    ('Y', 300),
    ('Z', 240),
];

/// Words that may follow a size and say nothing of load or speed.
const PASSED_OVER: [&str; 14] =
    ["XL", "SL", "LL", "HL", "TL", "EXTRA", "LOAD", "REINFORCED", "REINF", "TUBELESS", "RADIAL", "M+S", "M&S", "RFT"];

/// The load that a tyre of this index carries, in kg; `None` outside 50 to 150.
pub fn load_kg(index: u16) -> Option<u16> {
    LOAD_KG.get(usize::from(index.checked_sub(FIRST_INDEX)?)).copied()
}

/// The speed of a symbol in km/h.
pub fn speed_kmh(symbol: char) -> Option<u16> {
    SPEED_KMH.iter().find(|(letter, _)| *letter == symbol).map(|(_, kmh)| *kmh)
}

/// A tyre's marking, read.
///
/// # Example: three ways of writing, and what each says
/// ```
/// use witnessmark::rules::tyre_service::Marking;
/// let plain = Marking::parse("245/40 R18 97Y").unwrap();
/// assert_eq!((plain.load_kg(), plain.speed_kmh(), plain.is_over()), (Some(730), Some(300), false));
/// assert!((plain.diameter_mm() - 653.2).abs() < 1e-9);
/// let zr = Marking::parse("205/55ZR16").unwrap();
/// assert_eq!((zr.load_kg(), zr.speed_kmh(), zr.is_over()), (None, Some(240), true));
/// assert!(Marking::parse("245/40 R18 (97Y)").unwrap().is_over());
/// ```
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Marking {
    width_mm: f64,
    aspect_percent: f64,
    rim_in: f64,
    load_kg: Option<u16>,
    speed_kmh: Option<u16>,
    /// The tyre is made for more than `speed_kmh`, how much more only its maker tells.
    over: bool,
}

/// A text that is no marking.
#[derive(Clone, Debug, PartialEq, Eq, Error)]
pub enum MarkingError {
    #[error("Copy size and service description from the sidewall, such as 245/40 R18 97Y.")]
    Form,
    #[error("No tyre is of this size: read width, height and rim again, such as 245/40 R18.")]
    Size,
    #[error("There is no load index {0} here: it lies between 50 and 150, such as the 97 of 97Y.")]
    Load(String),
    #[error("There is no speed symbol \"{0}\", such as the Y of 97Y.")]
    Speed(String),
    #[error("\"{0}\" is not read here. Copy only size, load index and speed symbol, such as 245/40 R18 97Y.")]
    Rest(String),
}

impl Marking {
    /// Reads "245/40 R18 97Y", "205/55ZR16 91W", "LT245/75R16 120/116Q", "P215/65R15 95H", "285/30 ZR20 (99Y) XL".
    ///
    /// Of two load indices (single and twin wheels) the first counts. "ZR" without a symbol says over 240 km/h and nothing
    /// of load; a symbol in brackets says over its speed.
    ///
    /// # Errors
    /// [`MarkingError`], in words that say what to copy.
    pub fn parse(text: &str) -> Result<Marking, MarkingError> {
        if text.len() > 80 || !text.is_ascii() {
            return Err(MarkingError::Form);
        }
        let upper = text.trim().to_ascii_uppercase();
        let upper =
            ["LT", "ST", "HL", "P", "T"].iter().find_map(|prefix| upper.strip_prefix(prefix)).unwrap_or(&upper).trim_start();
        let (width, rest) = upper.split_once('/').ok_or(MarkingError::Form)?;
        let (aspect, rest) = take_number(rest.trim_start());
        let letters = rest.trim_start();
        let kinds = ["ZRF", "ZR", "RF", "R", "D", "B", "-"];
        let construction = kinds.iter().find_map(|kind| letters.strip_prefix(kind).map(|rest| (kind.starts_with('Z'), rest)));
        let (zr, rest) = construction.ok_or(MarkingError::Form)?;
        let (rim, rest) = take_number(rest.trim_start());
        let number = |text: &str| text.trim().parse::<f64>().map_err(|_| MarkingError::Form);
        let (width_mm, aspect_percent, rim_in) = (number(width)?, number(aspect)?, number(rim)?);
        let fits =
            (100.0..=455.0).contains(&width_mm) && (20.0..=100.0).contains(&aspect_percent) && (8.0..=30.0).contains(&rim_in);
        if !fits {
            return Err(MarkingError::Size);
        }
        // "C" straight after the rim marks a light commercial tyre.
        let rest = rest.strip_prefix('C').filter(|rest| rest.is_empty() || rest.starts_with(' ')).unwrap_or(rest);
        let (load_kg, mut speed_kmh, mut over) = service(rest)?;
        if zr && speed_kmh.is_none() {
            (speed_kmh, over) = (Some(240), true);
        }
        Ok(Marking { width_mm, aspect_percent, rim_in, load_kg, speed_kmh, over })
    }

    /// Outer diameter in mm: rim x 25.4 + 2 x width x aspect / 100.
    pub fn diameter_mm(&self) -> f64 {
        self.rim_in * 25.4 + 2.0 * self.width_mm * self.aspect_percent / 100.0
    }

    /// What one tyre carries, kg; `None` where the marking does not say.
    pub fn load_kg(&self) -> Option<u16> {
        self.load_kg
    }

    /// km/h; `None` where the marking does not say.
    pub fn speed_kmh(&self) -> Option<u16> {
        self.speed_kmh
    }

    /// Whether the tyre is made for more than that speed, how much more only its maker tells.
    pub fn is_over(&self) -> bool {
        self.over
    }
}

fn take_number(text: &str) -> (&str, &str) {
    let end = text.bytes().take_while(|b| b.is_ascii_digit() || *b == b'.').count().min(6);
    text.split_at(end)
}

/// Load and speed from what follows the size.
fn service(text: &str) -> Result<(Option<u16>, Option<u16>, bool), MarkingError> {
    let mut words = text.split_whitespace().peekable();
    let mut found = (None, None, false);
    if let Some(word) = words.next_if(|word| word.trim_start_matches('(').starts_with(|c: char| c.is_ascii_digit())) {
        let inner = word.strip_prefix('(').and_then(|inner| inner.strip_suffix(')'));
        let (index, symbol) = inner.unwrap_or(word).split_at(inner.unwrap_or(word).len().saturating_sub(1));
        // "97 Y" written apart.
        let (index, symbol) = match symbol.chars().next() {
            Some(c) if c.is_ascii_digit() => (inner.unwrap_or(word), words.next_if(|word| word.len() == 1).unwrap_or("")),
            _ => (index, symbol),
        };
        let first = index.split('/').next().unwrap_or_default();
        let known = |index: &str| index.parse::<u16>().ok().and_then(load_kg);
        if index.split('/').count() > 2 || !index.split('/').all(|index| known(index).is_some()) {
            return Err(MarkingError::Load(index.to_owned()));
        }
        let mut signs = symbol.chars();
        let speed = signs.next().filter(|_| signs.next().is_none()).filter(|c| *c != 'Z').and_then(speed_kmh);
        if speed.is_none() && !symbol.is_empty() {
            return Err(MarkingError::Speed(symbol.to_owned()));
        }
        found = (known(first), speed, inner.is_some() && speed.is_some());
    }
    // A load range letter ("E") may stand last on light-truck tyres.
    let load_range = |word: &str| word.len() == 1 && word.bytes().all(|b| b.is_ascii_uppercase());
    match words.find(|word| !PASSED_OVER.contains(word) && !load_range(word)) {
        Some(word) => Err(MarkingError::Rest(word.to_owned())),
        None => Ok(found),
    }
}

/// What the worksheet `tyre-service` says.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct TyreService {
    pub width_mm: f64,
    pub aspect_percent: f64,
    pub rim_in: f64,
    pub diameter_mm: f64,
    /// One tyre; none where the marking does not say.
    pub load_kg: Option<u16>,
    /// None where the marking does not say.
    pub speed_kmh: Option<u16>,
    /// Whether the tyre is made for more than `speed_kmh`.
    pub over_speed_kmh: bool,
    /// What two tyres carry above the axle load, as a share of the axle load.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub load_margin_percent: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub speed_margin_kmh: Option<f64>,
    pub verdict: Verdict,
    pub why: String,
}

/// Worksheet `tyre-service`: whether a tyre's marking fits the axle's load and the car's top speed.
///
/// Two tyres share an axle: load margin = 100 (2 x load - axle load) / axle load. Speed margin = symbol - top speed. Below 0:
/// fix. Asked for and not told by the marking, or above a speed that only the maker can tell: note. The tables hold at
/// the maker's pressure, evenly loaded; UN R30 lowers the load above 210 km/h for V, 240 for W and 270 for Y (from memory),
/// which is not reckoned here.
///
/// Source: UN R30 annexes 4 and 5, ISO 4000-1.
///
/// # Example: 730 kg a tyre under an axle of 1100 kg
/// ```
/// use witnessmark::rules::tyre_service::{Marking, judge_service};
/// let found = judge_service(&Marking::parse("245/40 R18 97Y").unwrap(), Some(1100.0), Some(250.0));
/// assert!((found.load_margin_percent.unwrap() - 32.727).abs() < 1e-3);
/// assert_eq!(found.speed_margin_kmh, Some(50.0));
/// ```
pub fn judge_service(marking: &Marking, axle_load_kg: Option<f64>, top_speed_kmh: Option<f64>) -> TyreService {
    let load_margin = axle_load_kg.zip(marking.load_kg).map(|(axle, load)| 100.0 * (2.0 * f64::from(load) - axle) / axle);
    let speed_margin = top_speed_kmh.zip(marking.speed_kmh).map(|(top, speed)| f64::from(speed) - top);
    let mut said = vec![(Verdict::Ok, marking_said(marking))];
    said.extend(axle_load_kg.map(|axle| load_said(marking, axle, load_margin)));
    said.extend(top_speed_kmh.map(|top| speed_said(marking, top, speed_margin)));
    let (verdict, why) = worst(said);
    TyreService {
        width_mm: marking.width_mm,
        aspect_percent: marking.aspect_percent,
        rim_in: marking.rim_in,
        diameter_mm: marking.diameter_mm(),
        load_kg: marking.load_kg,
        speed_kmh: marking.speed_kmh,
        over_speed_kmh: marking.over,
        load_margin_percent: load_margin,
        speed_margin_kmh: speed_margin,
        verdict,
        why,
    }
}

fn marking_said(marking: &Marking) -> String {
    let load = marking.load_kg.map_or("load not told".to_owned(), |load| format!("{load} kg a tyre"));
    let over = if marking.over { "over " } else { "" };
    let speed = marking.speed_kmh.map_or("speed not told".to_owned(), |speed| format!("{over}{speed} km/h"));
    format!("{load}, {speed}")
}

fn load_said(marking: &Marking, axle: f64, margin: Option<f64>) -> (Verdict, String) {
    let Some((load, margin)) = marking.load_kg.zip(margin) else {
        return (
            Verdict::Note,
            format!("the marking tells no load for the axle's {axle} kg: read the load index or ask the tyre maker"),
        );
    };
    let verdict = if margin < 0.0 { Verdict::Fix } else { Verdict::Ok };
    (verdict, format!("two tyres of {load} kg carry {} kg, the axle weighs {axle} kg", 2 * load))
}

fn speed_said(marking: &Marking, top: f64, margin: Option<f64>) -> (Verdict, String) {
    let Some((speed, margin)) = marking.speed_kmh.zip(margin) else {
        return (Verdict::Note, format!("the marking tells no speed for the car's {top} km/h: read the speed symbol"));
    };
    let (verdict, over) = match (margin < 0.0, marking.over) {
        (false, _) => (Verdict::Ok, ""),
        (true, true) => (Verdict::Note, "more than "),
        (true, false) => (Verdict::Fix, ""),
    };
    let ask = if verdict == Verdict::Note { "; ask the tyre maker whether for that" } else { "" };
    let top = beside(top, f64::from(speed), 0);
    (verdict, format!("the tyre is made for {over}{speed} km/h, the car reaches {top} km/h{ask}"))
}

/// The JSON side of [`judge_service`].
///
/// Ranges: axle load 10 to 10 000 kg, top speed 1 to 600 km/h.
///
/// # Errors
/// [`InputError`] for a field that cannot be used.
pub fn tyre_service(input: &Fields) -> Result<TyreService, InputError> {
    let marking = Marking::parse(input.text("marking", 80)?).map_err(|error| input.error("marking", error.to_string()))?;
    let axle_load_kg = input.number_if("axle_load_kg", 10.0..=10_000.0)?;
    let top_speed_kmh = input.number_if("top_speed_kmh", 1.0..=600.0)?;
    Ok(judge_service(&marking, axle_load_kg, top_speed_kmh))
}
