//! The car's numbers: whether they can be read from a corner post.

use super::words::Verdict;
use super::worksheet_input::{Fields, InputError, beside, worst};
use serde::Serialize;

/// A colour in sRGB.
///
/// # Example: as a page or a drawing program writes it
/// ```
/// use witnessmark::rules::numbers::{Colour, contrast};
/// let (blue, white) = (Colour::parse("#0000FF").unwrap(), Colour::parse("#ffffff").unwrap());
/// assert!((contrast(blue, white) - 8.59).abs() < 0.005);
/// assert!(Colour::parse("blue").is_none());
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Colour {
    red: u8,
    green: u8,
    blue: u8,
}

impl Colour {
    /// Reads #rrggbb; `None` for anything else.
    pub fn parse(text: &str) -> Option<Colour> {
        let figures = text
            .trim()
            .strip_prefix('#')
            .filter(|figures| figures.len() == 6 && figures.bytes().all(|b| b.is_ascii_hexdigit()))?;
        let number = u32::from_str_radix(figures, 16).ok()?;
        let [_, red, green, blue] = number.to_be_bytes();
        Some(Colour { red, green, blue })
    }

    /// Relative luminance, 0 (black) to 1 (white). Source: WCAG 2.2, definition of relative luminance.
    pub fn luminance(self) -> f64 {
        let linear = |part: u8| {
            let share = f64::from(part) / 255.0;
            if share <= 0.04045 { share / 12.92 } else { ((share + 0.055) / 1.055).powf(2.4) }
        };
        0.2126 * linear(self.red) + 0.7152 * linear(self.green) + 0.0722 * linear(self.blue)
    }
}

/// Contrast ratio of two colours, 1 to 21, whichever comes first. Source: WCAG 2.2, definition of contrast ratio.
pub fn contrast(one: Colour, other: Colour) -> f64 {
    let (one, other) = (one.luminance(), other.luminance());
    (one.max(other) + 0.05) / (one.min(other) + 0.05)
}

/// What the worksheet `number-contrast` says.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct NumberContrast {
    /// 1 to 21, not rounded.
    pub ratio: f64,
    pub verdict: Verdict,
    pub why: String,
}

/// Worksheet `number-contrast`: whether a number stands out from what is behind it, and is tall enough.
///
/// The ratio stands in for the rule books' "adequate contrast", which has no figure; 4.5 is the web's figure for text.
/// Colours on paper, in shade or in the rain look different: when in doubt, look from 50 m. Below a limit: fix.
///
/// Source: WCAG 2.2 (1.4.3, relative luminance); the height is the sheet's.
///
/// # Example: a grey that fails 4.5 by a hair
/// ```
/// use witnessmark::rules::{numbers::{Colour, judge_number}, words::Verdict};
/// let (grey, white) = (Colour::parse("#777777").unwrap(), Colour::parse("#ffffff").unwrap());
/// let found = judge_number(grey, white, None, 4.5, 200.0);
/// assert!((found.ratio - 4.4781).abs() < 5e-5 && found.verdict == Verdict::Fix);
/// ```
pub fn judge_number(
    number: Colour,
    background: Colour,
    height_mm: Option<f64>,
    limit_ratio: f64,
    limit_height_mm: f64,
) -> NumberContrast {
    let ratio = contrast(number, background);
    let verdict = |kept: bool| if kept { Verdict::Ok } else { Verdict::Fix };
    let figure = beside(ratio, limit_ratio, 1);
    let mut said = vec![(verdict(ratio >= limit_ratio), format!("the contrast is {figure}, at least {limit_ratio} is asked"))];
    if let Some(height) = height_mm {
        let figure = beside(height, limit_height_mm, 0);
        said.push((
            verdict(height >= limit_height_mm),
            format!("the number is {figure} mm tall, at least {limit_height_mm} mm is asked"),
        ));
    }
    let (verdict, why) = worst(said);
    NumberContrast { ratio, verdict, why }
}

/// The JSON side of [`judge_number`].
///
/// Ranges: height 1 to 2000 mm, limits 1 to 21 and 0 to 2000 mm.
///
/// # Errors
/// [`InputError`] for a field that cannot be used.
pub fn number_contrast(input: &Fields) -> Result<NumberContrast, InputError> {
    let colour = |field: &str| {
        let text = input.text(field, 40)?;
        Colour::parse(text).ok_or_else(|| input.error(field, "Write the colour as #rrggbb, such as #ffff00 for yellow."))
    };
    let (number, background) = (colour("number")?, colour("background")?);
    let height_mm = input.number_if("height_mm", 1.0..=2000.0)?;
    let limit_ratio = input.number_if("limit_ratio", 1.0..=21.0)?.unwrap_or(4.5);
    let limit_height_mm = input.number_if("limit_height_mm", 0.0..=2000.0)?.unwrap_or(200.0);
    Ok(judge_number(number, background, height_mm, limit_ratio, limit_height_mm))
}
