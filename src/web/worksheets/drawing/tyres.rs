//! A tyre's code and age, its pressure against its temperature, what it carries.

use super::Drawn;
use super::chart::Chart;
use super::pen::{Drawing, Pen, Side};
use super::rail::{Rail, rails};
use crate::rules::tyre_service::Marking;
use crate::rules::worksheet_form::measures::{LENGTH, MASS, SPEED};

/// The code as it stands on the sidewall, and the age on its scale.
pub(super) fn date(drawn: &Drawn<'_>) -> Option<Drawing> {
    let mut pen = Pen::default();
    // A piece of sidewall.
    pen.path("rubber", "M0 96C90 60 250 60 340 96V52C250 16 90 16 0 52Z");
    pen.path("ink", "M0 96C90 60 250 60 340 96M0 52C90 16 250 16 340 52");
    let Some((week, year)) = drawn.found("week").zip(drawn.found("year")) else {
        code(&mut pen, &["\u{b7}\u{b7}", "\u{b7}"], &["three figures", "before 2000"]);
        return Some(pen.finish(124.0, "A date code of three figures: the tyre was made before 2000."));
    };
    let (week, year) = (format!("{week:02.0}"), format!("{year:.0}"));
    code(&mut pen, &[&week, year.get(2..).unwrap_or_default()], &[&format!("week {week}"), &format!("of {year}")]);
    let age = drawn.found("age_years")?;
    let limit = drawn.given("limit_years").unwrap_or(6.0);
    let rail = Rail {
        title: "Age on the day".into(),
        said: format!("{age:.1} years"),
        readings: vec![age],
        keeps: age <= limit,
        limits: vec![(limit, format!("limit {limit} years"))],
        marks: vec![(0.0, "made".into())],
        from: Some(0.0),
        ..Rail::default()
    };
    rails(pen, 132.0, &[rail], &format!("Date code {week} {year}: {age:.1} years old on the day, the limit is {limit} years."))
}

fn code(pen: &mut Pen, figures: &[&str], below: &[&str]) {
    pen.text("stamped", Side::Left, (152.0, 62.0), "DOT \u{b7}\u{b7}\u{b7}\u{b7} \u{b7}\u{b7}\u{b7}\u{b7}");
    for (nth, (figure, word)) in figures.iter().zip(below).enumerate() {
        let x = 190.0 + 52.0 * nth as f64;
        pen.rect("framed", (x - 24.0, 40.0), (48.0, 30.0));
        pen.text("stamped", Side::Middle, (x, 62.0), figure);
        pen.line("ink", (x, 74.0), (x, 100.0));
        let side = if nth == 0 { Side::Left } else { Side::Right };
        pen.text("soft", side, (x + if nth == 0 { 20.0 } else { -20.0 }, 116.0), word);
    }
}

/// The line that the pressure climbs with the temperature: the run that was measured, and the next.
pub(super) fn pressure(drawn: &Drawn<'_>) -> Option<Drawing> {
    let gauge = drawn.measure_of("set_cold_kpa")?;
    let heat = drawn.measure_of("hot_c")?;
    let p = |kpa: f64| gauge.to_shown(kpa, drawn.system);
    let t = |c: f64| heat.to_shown(c, drawn.system);
    let (cold_c, cold, hot) = (drawn.given("cold_c")?, drawn.given("cold_kpa")?, drawn.given("hot_kpa")?);
    let (set, target) = (drawn.found("set_cold_kpa")?, drawn.given("target_hot_kpa")?);
    let (hot_c, rise) = (drawn.found("hot_c")?, drawn.found("rise_c")?);
    let next_c = drawn.given("next_cold_c").unwrap_or(cold_c);
    let next_hot_c = next_c + rise;
    let temperatures = [t(cold_c), t(hot_c), t(next_c), t(next_hot_c)];
    let pressures = [p(cold), p(hot), p(set), p(target)];
    let chart = Chart::new(spread(&temperatures), spread(&pressures), 190.0);
    let mut pen = Pen::default();
    chart.axes(&mut pen, &format!("air in the tyre, {}", heat.shown(drawn.system)), gauge.shown(drawn.system).symbol());
    let (from, to) = (chart.at(t(cold_c), p(cold)), chart.at(t(hot_c), p(hot)));
    pen.line("ghost", from, to);
    pen.circle("open", from, 4.0);
    pen.circle("open", to, 4.0);
    let (set_at, target_at) = (chart.at(t(next_c), p(set)), chart.at(t(next_hot_c), p(target)));
    pen.arrow("bold", &[set_at, target_at]);
    pen.circle("solid", set_at, 5.0);
    let (west, _) = chart.edges();
    pen.line("fine", set_at, (west, set_at.1));
    pen.line("fine", target_at, (west, target_at.1));
    let gone = |from: f64, to: f64| format!("{} to {}", gauge.say(from, 0, drawn.system).0, drawn.say(gauge, to));
    pen.line("ghost", (0.0, 240.0), (24.0, 240.0));
    pen.text("soft", Side::Right, (32.0, 244.0), &format!("measured: {}", gone(cold, hot)));
    pen.line("bold", (0.0, 260.0), (24.0, 260.0));
    pen.text("title", Side::Right, (32.0, 264.0), &format!("next run: {}", gone(set, target)));
    let says = format!(
        "Pressure against temperature. Measured: {} at {} to {} at {}. Next: set {} at {}, {} when hot.",
        drawn.say(gauge, cold),
        drawn.say(heat, cold_c),
        drawn.say(gauge, hot),
        drawn.say(heat, hot_c),
        drawn.say(gauge, set),
        drawn.say(heat, next_c),
        drawn.say(gauge, target)
    );
    Some(pen.finish(272.0, says))
}

/// A span that holds all of these with air around them.
fn spread(values: &[f64]) -> (f64, f64) {
    let (low, high) = values.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), v| (low.min(*v), high.max(*v)));
    let air = ((high - low) * 0.18).max(1e-3 * high.abs()).max(1e-3);
    (low - air, high + air)
}

/// The tyre from the side with its diameters, and how much room load and speed leave.
pub(super) fn service(drawn: &Drawn<'_>) -> Option<Drawing> {
    let marking = Marking::parse(drawn.text("marking")?).ok()?;
    let (outer, rim) = (marking.diameter_mm(), drawn.found("rim_in")? * 25.4);
    let mut pen = Pen::default();
    let (centre, radius) = ((86.0, 78.0), 70.0);
    pen.circle("rubber", centre, radius);
    pen.circle("ink", centre, radius);
    pen.circle("open", centre, radius * rim / outer);
    pen.circle("ink", centre, 8.0);
    let (x, top, bottom) = (176.0, centre.1 - radius, centre.1 + radius);
    pen.stretch("ink", (x, top), (x, bottom));
    pen.text("", Side::Right, (x + 10.0, top + 18.0), &drawn.say(LENGTH, outer));
    pen.text("soft", Side::Right, (x + 10.0, top + 35.0), "over the tread");
    pen.text("", Side::Right, (x + 10.0, top + 68.0), &format!("{} wide", drawn.say(LENGTH, drawn.found("width_mm")?)));
    pen.text("", Side::Right, (x + 10.0, bottom - 8.0), &format!("rim {} in", drawn.found("rim_in")?));
    let mut all = Vec::new();
    if let Some((load, axle)) = drawn.found("load_kg").zip(drawn.given("axle_load_kg")) {
        all.push(Rail {
            title: "Load of the axle".into(),
            said: drawn.say(MASS, axle),
            readings: vec![axle],
            keeps: axle <= 2.0 * load,
            limits: vec![(2.0 * load, format!("two tyres carry {}", drawn.say(MASS, 2.0 * load)))],
            from: Some(0.0),
            ..Rail::default()
        });
    }
    if let Some((speed, top)) = drawn.found("speed_kmh").zip(drawn.given("top_speed_kmh")) {
        let over = if marking.is_over() { "over " } else { "" };
        all.push(Rail {
            title: "Top speed".into(),
            said: drawn.say(SPEED, top),
            readings: vec![top],
            keeps: top <= speed || marking.is_over(),
            limits: vec![(speed, format!("made for {over}{}", drawn.say(SPEED, speed)))],
            from: Some(0.0),
            ..Rail::default()
        });
    }
    let says = format!("A tyre of {} on a rim of {} in.", drawn.say(LENGTH, outer), drawn.found("rim_in")?);
    rails(pen, if all.is_empty() { 160.0 } else { 168.0 }, &all, &says)
}
