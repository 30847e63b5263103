//! The car's number in its colours, the signs of a chassis number.

use super::Drawn;
use super::pen::{Drawing, Pen, Side, WIDTH};
use super::rail::{Rail, rails};
use crate::rules::chassis_number::value_of;
use crate::rules::numbers::Colour;

/// The grey that is as light as a colour, as #rrggbb: the inverse of the sRGB curve of WCAG 2.2.
fn grey_of(colour: Colour) -> String {
    let light = colour.luminance();
    let share = if light <= 0.0031308 { light * 12.92 } else { 1.055 * light.powf(1.0 / 2.4) - 0.055 };
    // Within 0 to 255 by the clamp.
    let part = (share.clamp(0.0, 1.0) * 255.0).round() as u8;
    format!("#{part:02x}{part:02x}{part:02x}")
}

/// The number in its colours, and as light and dark alone leave it.
pub(super) fn numbers(drawn: &Drawn<'_>) -> Option<Drawing> {
    let (number, ground) = (drawn.text("number")?.trim(), drawn.text("background")?.trim());
    let (ink, behind) = (Colour::parse(number)?, Colour::parse(ground)?);
    let ratio = drawn.found("ratio")?;
    let limit = drawn.given("limit_ratio").unwrap_or(4.5);
    let mut pen = Pen::default();
    pen.plate((1.0, 1.0), (164.0, 104.0), ground, number, "27");
    pen.plate((175.0, 1.0), (164.0, 104.0), &grey_of(behind), &grey_of(ink), "27");
    pen.text("soft", Side::Middle, (83.0, 122.0), "in its colours");
    pen.text("soft", Side::Middle, (257.0, 122.0), "light and dark alone");
    let rail = Rail {
        title: "Contrast".into(),
        said: format!("{ratio:.2} to 1"),
        readings: vec![ratio],
        keeps: ratio >= limit,
        limits: vec![(limit, format!("at least {limit}"))],
        marks: vec![(21.0, "black on white 21".into())],
        from: Some(1.0),
        ..Rail::default()
    };
    rails(pen, 136.0, &[rail], &format!("A number of {number} on {ground}: contrast {ratio:.2} to 1, at least {limit} is asked."))
}

/// Every sign in a box of its own, the check digit marked.
pub(super) fn vin(drawn: &Drawn<'_>) -> Option<Drawing> {
    let typed = drawn.text("vin")?;
    let signs: Vec<char> =
        typed.chars().filter(|c| !c.is_whitespace() && *c != '-').flat_map(char::to_uppercase).take(24).collect();
    let expected = drawn.output.get("expected").and_then(|sign| sign.as_str());
    let check = drawn.output.get("check_digit").and_then(|sign| sign.as_str());
    let step = WIDTH / signs.len().max(17) as f64;
    let mut pen = Pen::default();
    for (nth, sign) in signs.iter().enumerate() {
        let x = step * nth as f64;
        let wrong = value_of(*sign).is_none() || nth >= 17 || (nth == 8 && expected.is_some() && expected != check);
        let class = if wrong { "box-wrong" } else { "box" };
        pen.rect(class, (x + 1.0, 10.0), (step - 2.0, 32.0));
        pen.text(if wrong { "title over-text" } else { "title" }, Side::Middle, (x + step / 2.0, 31.0), &sign.to_string());
    }
    for nth in signs.len()..17 {
        pen.rect("ghost", (step * nth as f64 + 1.0, 10.0), (step - 2.0, 32.0));
    }
    let mut says = format!("{} signs.", signs.len());
    let ninth = step * 8.5;
    if let Some((check, expected)) = check.zip(expected) {
        pen.line("ink", (ninth, 44.0), (ninth, 54.0));
        let text =
            if check == expected { format!("check digit {check} agrees") } else { format!("by the sum {expected}, not {check}") };
        pen.label(if check == expected { "" } else { "over-text" }, (ninth, 70.0), &text);
        says += &format!(" The ninth is {check}, by the sum it would be {expected}.");
    } else {
        let strange = signs.iter().any(|sign| value_of(*sign).is_none());
        let text =
            if strange { "framed: a sign that no VIN has".to_owned() } else { format!("{} signs; a VIN has 17", signs.len()) };
        pen.label("over-text", (170.0, 66.0), &text);
    }
    Some(pen.finish(78.0, says))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// sRGB by WCAG 2.2: a grey is its own grey, and yellow is nearly white.
    #[test]
    fn a_colours_grey_is_as_light_as_the_colour() {
        let grey = |text: &str| grey_of(Colour::parse(text).expect("a colour"));
        assert_eq!((grey("#000000"), grey("#ffffff"), grey("#777777")), ("#000000".into(), "#ffffff".into(), "#777777".into()));
        assert_eq!(grey("#ffff00"), "#f7f7f7");
    }
}
