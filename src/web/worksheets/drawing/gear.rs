//! The straight edge over the helmet, and the days that a label has left.

use super::Drawn;
use super::pen::{Drawing, Pen, Side, WIDTH};
use super::rail::{Rail, rails};
use crate::rules::days::days_between;
use crate::rules::worksheet_form::measures::LENGTH;
use jiff::civil::Date;
use serde_json::Value as Json;

/// About the radius of a helmet, in mm, for the picture only.
const HELMET: f64 = 135.0;
/// So much of the car is shown below the lower end of the line, in mm.
const BELOW: f64 = 420.0;

/// The car's side: the line from hoop to front support, the helmet, and the room between them.
pub(super) fn helmet_line(drawn: &Drawn<'_>) -> Option<Drawing> {
    let point = |name: &str| {
        let point = drawn.input.get(name)?;
        Some((point.get("x_mm").and_then(Json::as_f64)?, point.get("z_mm").and_then(Json::as_f64)?))
    };
    let (hoop, front, helmet) = (point("hoop")?, point("front")?, point("helmet")?);
    let (limit, room) = (drawn.given("limit_mm").unwrap_or(51.0), drawn.found("clearance_mm")?);
    let dx = front.0 - hoop.0;
    let ahead = dx.signum();
    // The hoop on the left, whichever way the car was measured.
    let along = |x: f64| (x - hoop.0) * ahead;
    let top = hoop.1.max(front.1).max(helmet.1);
    let bottom = (helmet.1 - 2.0 * HELMET).min(front.1).min(hoop.1) - BELOW * 0.2;
    let scale = ((WIDTH - 60.0) / dx.abs().max(1.0)).min(190.0 / (top - bottom).max(1.0));
    let west = (WIDTH - dx.abs() * scale) / 2.0;
    let at = |(x, z): (f64, f64)| (west + along(x) * scale, 36.0 + (top - z) * scale);
    let ground = 36.0 + (top - bottom) * scale;
    let mut pen = Pen::default();
    let (hoop_at, front_at, helmet_at) = (at(hoop), at(front), at(helmet));
    // Hoop, support and the edge of the body.
    pen.line("tube", hoop_at, (hoop_at.0 - 4.0, ground));
    pen.line("tube", front_at, (front_at.0 + 10.0, ground));
    pen.line("hair", (0.0, ground), (WIDTH, ground));
    pen.circle("helmet", (helmet_at.0, helmet_at.1 + HELMET * scale), HELMET * scale);
    let visor = helmet_at.1 + HELMET * scale;
    pen.line("ink", (helmet_at.0 + HELMET * scale * 0.15, visor), (helmet_at.0 + HELMET * scale, visor));
    // The line, the room asked under it at right angles, and the room there is.
    let (lx, ly) = (front_at.0 - hoop_at.0, front_at.1 - hoop_at.1);
    let length = lx.hypot(ly).max(1e-6);
    let (nx, ny) = (-ly / length, lx / length);
    let under = |(x, y): (f64, f64), mm: f64| (x + nx * mm * scale, y + ny * mm * scale);
    pen.line("limit-dashed", under(hoop_at, limit), under(front_at, limit));
    pen.line("bold", hoop_at, front_at);
    let foot = under(helmet_at, -room);
    pen.stretch(if drawn.is_well() { "ink" } else { "leak" }, foot, helmet_at);
    pen.circle(if drawn.is_well() { "dot" } else { "over" }, helmet_at, 4.0);
    let class = if drawn.is_well() { "title" } else { "title over-text" };
    let said = format!("{} {}", drawn.say(LENGTH, room.abs()), if room < 0.0 { "above the line" } else { "under the line" });
    pen.text(class, Side::Right, (0.0, 14.0), &said);
    // Along and up, as the form asks for them.
    pen.arrow("ink", &[(hoop_at.0 - 14.0, ground), (hoop_at.0 - 14.0, ground - 44.0)]);
    pen.text("soft", Side::Right, ((hoop_at.0 - 22.0).max(0.0), ground - 50.0), "up");
    pen.arrow("ink", &[(hoop_at.0 + 10.0, ground), (hoop_at.0 + 64.0, ground)]);
    pen.text("soft", Side::Right, (hoop_at.0 + 70.0, ground - 4.0), "along");
    pen.text("soft", Side::Right, (hoop_at.0 + 10.0, hoop_at.1 - 2.0), "main hoop");
    pen.text("soft", Side::Left, ((front_at.0 - 10.0).max(100.0), ground - 8.0), "front support");
    pen.label("over-text", (170.0, ground + 18.0), &format!("dashed: {} under the line is asked", drawn.say(LENGTH, limit)));
    let says = format!("The car from the side. The helmet is {said}; {} is asked.", drawn.say(LENGTH, limit));
    Some(pen.finish(ground + 26.0, says))
}

/// The day of the event and the last good day, on one scale.
pub(super) fn life(drawn: &Drawn<'_>) -> Option<Drawing> {
    let day = |text: &str| text.parse::<Date>().ok();
    let (on, ends) = (day(drawn.text("on")?)?, day(drawn.output.get("ends")?.as_str()?)?);
    let left = days_between(on, ends);
    let years = left as f64 / 365.2425;
    let word = |date: Date| date.strftime("%-d %b %Y").to_string();
    let said = if left < 0 { format!("{} days too late", -left) } else { format!("{left} days left") };
    let rail = Rail {
        title: "On the day".into(),
        said: said.clone(),
        readings: vec![0.0],
        keeps: left >= 0,
        limits: vec![(years, format!("good until {}", word(ends)))],
        marks: vec![(0.0, format!("event {}", word(on)))],
        ..Rail::default()
    };
    rails(Pen::default(), 0.0, &[rail], &format!("Good until {}, the event is on {}: {said}.", word(ends), word(on)))
}
