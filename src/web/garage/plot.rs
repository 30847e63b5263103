//! A part's readings over time: the fitted line down to its limit, the cautious edge, and what the next day asks for.

use crate::rules::garage::kinds::{ReadingKind, WornBy};
use crate::rules::garage::wear::{Planned, Series, shown_unit, tidy};
use crate::rules::units::{Unit, Units};
use crate::rules::wear::LEVEL;
use crate::rules::words::Place;
use crate::web::chart::Chart;
use crate::web::pen::{Drawing, Pen, Side};

/// How far beyond the last reading a line is drawn at most, as a share of what was read: farther nobody can see.
const FARTHEST: f64 = 3.0;

/// The drawing of a series; `None` where there is no reading.
pub(super) fn plot(series: &Series, limit: Option<f64>, planned: Option<Planned>, units: &Units) -> Option<Drawing> {
    let (first, last) = (series.points.first()?, series.last()?);
    let unit = shown_unit(series.kind, units);
    let shown = |value: f64| series.kind.unit().convert(value, unit);
    let by_days = series.kind.wears().is_some_and(|(by, _)| by == WornBy::Days);
    let forecast = limit.and_then(|limit| series.forecast(limit).ok());
    let span = (last.x.max(series.now) - first.x).max(20.0);
    let meets = forecast.as_ref().and_then(|forecast| Some((forecast.left? + series.now).min(span * FARTHEST)));
    let asked = planned.filter(|_| !by_days).map(|planned| f64::from(planned.sessions) * planned.session_min);
    let end = [meets, asked.map(|minutes| series.now + minutes)].into_iter().flatten().fold(span, f64::max);
    let most = series.points.iter().map(|point| point.value).chain(limit).fold(0.0, f64::max);
    let least = if series.kind == ReadingKind::FluidBoil { limit.unwrap_or(0.0) * 0.8 } else { 0.0 };
    let chart = Chart::new((first.x, end * 1.05), (shown(least), shown(most) * 1.06), 180.0);
    let mut pen = Pen::default();
    if let (Some(forecast), Some(meets)) = (&forecast, meets) {
        edge(&mut pen, &chart, forecast, (first.x, meets), &|value| shown(value.max(least)));
    }
    chart.axes(&mut pen, if by_days { "days" } else { "minutes on track" }, unit.symbol());
    let (west, east) = chart.edges();
    if let Some(limit) = limit {
        pen.line("limit", (west, chart.y(shown(limit))), (east, chart.y(shown(limit))));
        pen.text(
            "over-text",
            Side::Right,
            (west + 6.0, chart.y(shown(limit)) + 16.0),
            &format!("limit {}", unit.say(tidy(series.kind, limit, unit))),
        );
    }
    if let (Some(forecast), Some(meets)) = (&forecast, meets) {
        let at = |x: f64| chart.at(x, shown(forecast.line.at(x).max(least)));
        pen.line("bold", at(first.x), at(meets));
    }
    for point in &series.points {
        pen.circle("dot", chart.at(point.x, shown(point.value)), 4.5);
    }
    let mut height = 222.0;
    if let Some(minutes) = asked {
        pen.stretch("ink", (chart.x(series.now), 232.0), (chart.x(series.now + minutes), 232.0));
        pen.text("", Side::Left, (chart.x(series.now) - 8.0, 236.0), "next event");
        height = 246.0;
    }
    Some(pen.finish(height, words(series, limit, unit)))
}

/// The lower prediction limit down to where the line ends, and the ground between them.
fn edge(
    pen: &mut Pen,
    chart: &Chart,
    forecast: &crate::rules::garage::wear::Forecast,
    (from, to): (f64, f64),
    shown: &dyn Fn(f64) -> f64,
) {
    let places = (0..=24).map(|nth| from + (to - from) * f64::from(nth) / 24.0);
    let lower: Option<Vec<(f64, f64)>> = places.map(|x| Some((x, forecast.line.prediction(x, LEVEL)?.0))).collect();
    let Some(lower) = lower else { return };
    let lower: Vec<(f64, f64)> = lower.into_iter().map(|(x, value)| chart.at(x, shown(value))).collect();
    let mut area = lower.clone();
    area.extend([to, from].map(|x| chart.at(x, shown(forecast.line.at(x)))));
    pen.area("wash", &area);
    pen.lines("ghost", &lower);
}

fn words(series: &Series, limit: Option<f64>, unit: Unit) -> String {
    let say = |value: f64| unit.say(tidy(series.kind, value, unit));
    let place = if series.place == Place::Whole { String::new() } else { format!(", {}", series.place.name()) };
    let last = series.last().map(|point| say(point.value)).unwrap_or_default();
    let limit = limit.map(|limit| format!(", the limit {}", say(limit))).unwrap_or_default();
    format!("{}{place}: {} readings, the last {last}{limit}.", series.kind.name(), series.points.len())
}
