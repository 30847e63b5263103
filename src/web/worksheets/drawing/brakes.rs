//! The pad's line running to its limit, the saw teeth of a disc's heat, a fluid's boiling point on its scale.

use super::Drawn;
use super::chart::Chart;
use super::pen::{Drawing, Pen, Side};
use super::rail::{Rail, rails};
use crate::rules::line::Line;
use crate::rules::wear::LEVEL;
use crate::rules::worksheet_form::measures::{PAD, TEMPERATURE};
use serde_json::Value as Json;

/// So many stops are drawn; what comes after them looks the same.
const MOST_STOPS: u32 = 12;
/// Above this the worksheet has a note.
const HOT_C: f64 = 600.0;

/// The readings, the line through them down to the limit, and its cautious edge.
pub(super) fn pads(drawn: &Drawn<'_>) -> Option<Drawing> {
    let readings = drawn.input.get("readings")?.as_array()?;
    let point = |reading: &Json| Some((reading["at_min"].as_f64()?, reading["thickness_mm"].as_f64()?));
    let mut points: Vec<(f64, f64)> = readings.iter().filter_map(point).collect();
    points.sort_by(|a, b| a.0.total_cmp(&b.0));
    let (first, last) = (points.first()?.0, points.last()?.0);
    let limit = drawn.given("limit_mm").unwrap_or(3.0);
    let (left, cautious) = (drawn.found("left_min"), drawn.found("left_min_cautious"));
    let planned = drawn.given("planned_min");
    let line = Line::fit(&points)?;
    let end = [left, cautious, planned].into_iter().flatten().fold(last, |end, more| end.max(last + more));
    let most = points.iter().map(|(_, mm)| *mm).fold(limit, f64::max);
    let shown = |mm: f64| PAD.to_shown(mm, drawn.system);
    let chart = Chart::new((first, first + (end - first) * 1.06), (0.0, shown(most) * 1.08), 200.0);
    let mut pen = Pen::default();
    let meets = left.map(|left| last + left);
    if let Some(edge) = meets.zip(cautious).and_then(|(meets, _)| lower_edge(&line, first, meets)) {
        let edge: Vec<(f64, f64)> = edge.into_iter().map(|(x, mm)| chart.at(x, shown(mm.max(0.0)))).collect();
        let mut area = edge.clone();
        area.extend(meets.into_iter().chain([first]).map(|x| chart.at(x, shown(line.at(x).max(0.0)))));
        pen.area("wash", &area);
        pen.lines("ghost", &edge);
    }
    chart.axes(&mut pen, "minutes on track", PAD.shown(drawn.system).symbol());
    let (west, east) = chart.edges();
    pen.line("limit", (west, chart.y(shown(limit))), (east, chart.y(shown(limit))));
    pen.text("over-text", Side::Right, (west + 6.0, chart.y(shown(limit)) + 16.0), &format!("limit {}", drawn.say(PAD, limit)));
    if let Some(meets) = meets {
        pen.line("bold", chart.at(first, shown(line.at(first))), chart.at(meets, shown(line.at(meets))));
    }
    for (x, mm) in &points {
        pen.circle("dot", chart.at(*x, shown(*mm)), 4.5);
    }
    let mut y = 250.0;
    let mut says = format!(
        "{} readings of a pad, the last {}, the limit {}.",
        points.len(),
        drawn.say(PAD, points.last()?.1),
        drawn.say(PAD, limit)
    );
    let stretches = [(cautious, "min left with caution"), (left, "min left by the line"), (planned, "min planned")];
    for (minutes, word) in stretches.into_iter().filter_map(|(minutes, word)| Some((minutes?, word))) {
        pen.stretch("ink", (chart.x(last), y), (chart.x(last + minutes), y));
        let text = format!("{minutes:.0} {word}");
        pen.text("", Side::Left, (chart.x(last) - 8.0, y + 4.0), &text);
        says += &format!(" {text}.");
        y += 20.0;
    }
    Some(pen.finish(y - 8.0, says))
}

/// The lower prediction limit at places from the first reading on to where the line ends.
fn lower_edge(line: &Line, from: f64, to: f64) -> Option<Vec<(f64, f64)>> {
    (0..=24).map(|nth| from + (to - from) * f64::from(nth) / 24.0).map(|x| Some((x, line.prediction(x, LEVEL)?.0))).collect()
}

/// The disc's temperature: up at every stop, down between them.
pub(super) fn heat(drawn: &Drawn<'_>) -> Option<Drawing> {
    let (rise, air, start) =
        (drawn.found("rise_c")?, drawn.given("air_c").unwrap_or(20.0), drawn.given("start_c").unwrap_or(20.0));
    let stops = drawn.given("stops").unwrap_or(1.0).clamp(1.0, 1e6) as u32;
    let cooling = drawn.given("interval_s").zip(drawn.given("cooling_per_s")).map(|(seconds, per_s)| seconds * per_s);
    let shown = |c: f64| TEMPERATURE.to_shown(c, drawn.system);
    let drawn_stops = stops.min(MOST_STOPS);
    let mut now = start;
    let mut teeth = vec![(0.0, start)];
    let mut peaks = Vec::new();
    for stop in 1..=drawn_stops {
        let x = f64::from(stop);
        now += rise;
        teeth.push((x - 0.85, now));
        peaks.push((x - 0.85, now));
        for step in 1..=8 {
            let share = f64::from(step) / 8.0;
            let cooled = air + (now - air) * (-cooling.unwrap_or(0.0) * share).exp();
            teeth.push((x - 0.85 + 0.85 * share, cooled));
        }
        now = teeth.last().map_or(now, |(_, c)| *c);
    }
    let settled = drawn.found("settled_c");
    let most = peaks.iter().map(|(_, c)| *c).fold(settled.unwrap_or(start), f64::max);
    let least = air.min(start);
    let chart =
        Chart::new((0.0, f64::from(drawn_stops)), (shown(least), shown(least) + (shown(most) - shown(least)) * 1.12), 190.0);
    let mut pen = Pen::default();
    let more = if stops > drawn_stops { format!("the first {drawn_stops} of {stops} stops") } else { "stops".to_owned() };
    chart.axes(&mut pen, &more, TEMPERATURE.shown(drawn.system).symbol());
    let (west, east) = chart.edges();
    if let Some(settled) = settled {
        pen.line("ghost", (west, chart.y(shown(settled))), (east, chart.y(shown(settled))));
        pen.text(
            "",
            Side::Left,
            (east, chart.y(shown(settled)) - 6.0),
            &format!("settles at {}", drawn.say(TEMPERATURE, settled)),
        );
    }
    if most > HOT_C {
        pen.line("limit", (west, chart.y(shown(HOT_C))), (east, chart.y(shown(HOT_C))));
        pen.text(
            "over-text",
            Side::Left,
            (east, chart.y(shown(HOT_C)) + 16.0),
            &format!("over {} is a note", drawn.say(TEMPERATURE, HOT_C)),
        );
    }
    let teeth: Vec<(f64, f64)> = teeth.into_iter().map(|(x, c)| chart.at(x, shown(c))).collect();
    pen.lines("bold", &teeth);
    for (x, c) in &peaks {
        pen.circle("dot", chart.at(*x, shown(*c)), 3.5);
    }
    let peak = drawn.found("peak_c")?;
    let mut says = format!("A disc that gains {} at each stop", drawn.say(drawn.measure_of("rise_c")?, rise));
    says += &format!(" and is at {} after {stops}.", drawn.say(TEMPERATURE, peak));
    if let Some(settled) = settled {
        says += &format!(" It settles at {}.", drawn.say(TEMPERATURE, settled));
    }
    Some(pen.finish(228.0, says))
}

/// The fluid's age and its boiling point, each on its scale.
pub(super) fn fluid(drawn: &Drawn<'_>) -> Option<Drawing> {
    let (age, limit) = (drawn.found("age_months")?, drawn.given("limit_months").unwrap_or(6.0));
    let (dry, wet) = (drawn.found("dry_min_c")?, drawn.found("wet_min_c")?);
    let boil_limit = drawn.given("limit_boil_c").unwrap_or(180.0);
    let measured = drawn.given("measured_boil_c");
    let mut all = vec![Rail {
        title: "Age".into(),
        said: format!("{age:.0} months"),
        readings: vec![age],
        // A measured boiling point outranks the age.
        keeps: age <= limit || measured.is_some(),
        limits: vec![(limit, format!("limit {limit:.0} months"))],
        marks: vec![(0.0, "flushed".into())],
        from: Some(0.0),
        ..Rail::default()
    }];
    let marks =
        vec![(wet, format!("wet {}", drawn.say(TEMPERATURE, wet))), (dry, format!("new {}", drawn.say(TEMPERATURE, dry)))];
    all.push(Rail {
        title: "Boils at".into(),
        said: measured.map_or("not measured".to_owned(), |boil| drawn.say(TEMPERATURE, boil)),
        readings: measured.into_iter().collect(),
        keeps: measured.is_none_or(|boil| boil >= boil_limit),
        limits: vec![(boil_limit, format!("limit {}", drawn.say(TEMPERATURE, boil_limit)))],
        marks,
        ..Rail::default()
    });
    let boils = measured.map_or("The boiling point was not measured.".to_owned(), |boil| {
        format!("It boils at {}.", drawn.say(TEMPERATURE, boil))
    });
    rails(Pen::default(), 0.0, &all, &format!("The fluid is {age:.0} months old, the limit is {limit:.0}. {boils}"))
}
