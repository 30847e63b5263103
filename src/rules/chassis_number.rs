//! The chassis number (VIN): its form, and its check digit where the market has one.

use super::words::Verdict;
use super::worksheet_input::{Fields, InputError};
use serde::Serialize;

/// Weights of the 17 places; the ninth is the check digit itself. Source: 49 CFR 565.15(c)(2) table IV.
const WEIGHTS: [u32; 17] = [8, 7, 6, 5, 4, 3, 2, 10, 0, 9, 8, 7, 6, 5, 4, 3, 2];

/// The value of a sign; `None` for one that no VIN has. Source: 49 CFR 565.15(c)(1) table III.
pub fn value_of(sign: char) -> Option<u32> {
    Some(match sign {
        '0'..='9' => u32::from(sign) - u32::from('0'),
        'A'..='H' => u32::from(sign) - u32::from('A') + 1,
        'J'..='N' => u32::from(sign) - u32::from('J') + 1,
        'P' => 7,
        'R' => 9,
        'S'..='Z' => u32::from(sign) - u32::from('S') + 2,
        _ => return None,
    })
}

/// The weighted sum of a VIN in capitals; `None` where its form is wrong.
pub fn weighted_sum(vin: &str) -> Option<u32> {
    if vin.chars().count() != WEIGHTS.len() {
        return None;
    }
    vin.chars().zip(WEIGHTS).map(|(sign, weight)| value_of(sign).map(|value| value * weight)).sum()
}

/// What the worksheet `vin` says.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Vin {
    /// Seventeen signs, each a figure or a letter other than I, O and Q.
    pub valid_form: bool,
    /// The ninth sign; none where the form is wrong.
    pub check_digit: Option<char>,
    /// What the ninth sign would be in a market that requires a check digit; none where the form is wrong.
    pub expected: Option<char>,
    pub verdict: Verdict,
    pub why: String,
}

/// Worksheet `vin`: whether a chassis number has the form of a VIN, and whether its check digit agrees.
///
/// The weighted sum of the signs' values, divided by 11, leaves the check digit (10 is written X). Blanks and hyphens are
/// passed over, small letters count as capitals. A wrong check digit is a note: ISO 3779 does not require one, and many
/// genuine cars of European makers have none. Fewer than 17 signs is a note too: before model year 1981 chassis numbers
/// were shorter. I, O, Q and signs that no chassis number has: fix, read it again.
///
/// Source: 49 CFR 565.15, ISO 3779.
///
/// # Example: the sample calculation of 49 CFR 565, and a letter O typed for a nought
/// ```
/// use witnessmark::rules::chassis_number::read_vin;
/// let vin = read_vin("1g4ah59h45g 118341");
/// assert_eq!((vin.check_digit, vin.expected), (Some('4'), Some('4')));
/// assert!(!read_vin("1M8GDM9AXKPO42788").valid_form);
/// ```
pub fn read_vin(text: &str) -> Vin {
    let vin: String = text.chars().filter(|c| !c.is_whitespace() && *c != '-').flat_map(char::to_uppercase).collect();
    let length = vin.chars().count();
    if let Some(sign) = vin.chars().find(|sign| value_of(*sign).is_none()) {
        let mistaken = match sign {
            'I' => ", perhaps for 1",
            'O' | 'Q' => ", perhaps for 0",
            _ => "",
        };
        return malformed(Verdict::Fix, format!("\"{sign}\" is in no VIN{mistaken}: read the number on the car again."));
    }
    let (Some(sum), Some(check)) = (weighted_sum(&vin), vin.chars().nth(8)) else {
        let (verdict, which) = match length {
            0..17 => (Verdict::Note, "; cars before model year 1981 may have fewer"),
            _ => (Verdict::Fix, ""),
        };
        return malformed(verdict, format!("{length} signs; a VIN has 17{which}. Read the number on the car again."));
    };
    let expected = char::from_digit(sum % 11, 10).unwrap_or('X');
    let same = vin.chars().all(|sign| vin.starts_with(sign));
    let (verdict, why) = match (check == expected, same) {
        (true, false) => (Verdict::Ok, format!("Seventeen signs, and the check digit {check} agrees.")),
        (true, true) => {
            (Verdict::Ok, format!("The check digit {check} agrees, but seventeen equal signs are hardly a car's number."))
        }
        (false, _) => {
            let text = format!("The check digit is {check}, by the sum it would be {expected}");
            (Verdict::Note, format!("{text}: read the number again; cars of many markets have no check digit."))
        }
    };
    Vin { valid_form: true, check_digit: Some(check), expected: Some(expected), verdict, why }
}

fn malformed(verdict: Verdict, why: String) -> Vin {
    Vin { valid_form: false, check_digit: None, expected: None, verdict, why }
}

/// The JSON side of [`read_vin`].
///
/// Ranges: 1 to 60 characters.
///
/// # Errors
/// [`InputError`] for a field that cannot be used.
pub fn vin(input: &Fields) -> Result<Vin, InputError> {
    Ok(read_vin(input.text("vin", 60)?))
}
