//! Wear over time: the line through a part's readings, where it meets the limit, and how many sessions that is.
//!
//! Caution: parts do not wear evenly, and a change of compound, track or driver changes the rate. Measure again before each day.

use super::book::{Line as LogLine, Logged};
use super::change::{Readings, Taken};
use super::kinds::{ReadingKind, WornBy};
use super::log::{days_later, newest};
use crate::rules::days::days_between;
use crate::rules::line::Line;
use crate::rules::units::{Unit, Units};
use crate::rules::wear::LEVEL;
use crate::rules::words::{Place, Severity, capital};
use jiff::civil::{Date, Time};

/// One reading of a part.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Point {
    pub day: Date,
    /// Minutes on track since the part's first reading, or days since it, as the kind wears.
    pub x: f64,
    /// In the kind's own unit.
    pub value: f64,
}

/// The readings of the part that is fitted now at one place.
#[derive(Clone, Debug, PartialEq)]
pub struct Series {
    pub kind: ReadingKind,
    pub place: Place,
    pub points: Vec<Point>,
    /// Minutes on track, or days, from the first reading until now.
    pub now: f64,
}

/// Why no line can be drawn.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum NoLine {
    /// Fewer than two readings, or none at different times on track.
    TooFew,
    /// A later reading shows more than an earlier one.
    Grows { day: Date, before: Date },
}

/// Where the wear is heading.
#[derive(Clone, Debug, PartialEq)]
pub struct Forecast {
    pub line: Line,
    pub limit: f64,
    /// Minutes or days from now until the line meets the limit, 0 where it has; none where no wear shows.
    pub left: Option<f64>,
    /// The same for the lower prediction limit (one-sided 95 %); none for two readings.
    pub left_cautious: Option<f64>,
}

/// The series of a kind, the newest part at each place, of lines in order of time.
pub fn series(lines: &[&LogLine], kind: ReadingKind, today: Date) -> Vec<Series> {
    let Some((worn_by, _)) = kind.wears() else { return Vec::new() };
    let of_place = |place| {
        let mut points: Vec<(Date, f64, f64)> = Vec::new();
        // Counted along, for a log of ten years is long.
        let mut driven = 0.0;
        for line in lines {
            match &line.what {
                Logged::Readings(readings) if readings.what == kind => {
                    let Some(value) = readings.figure(place) else { continue };
                    if readings.fresh {
                        points.clear();
                    }
                    let at = match worn_by {
                        WornBy::Track => driven,
                        WornBy::Days => days_between(Date::ZERO, line.taken.day) as f64,
                    };
                    points.push((line.taken.day, at, value));
                }
                Logged::Track { minutes, .. } => driven += minutes,
                Logged::Changed { fluid: super::kinds::Fluid::BrakeFluid, .. } if kind == ReadingKind::FluidBoil => {
                    points.clear()
                }
                _ => {}
            }
        }
        let first = points.first()?.1;
        let now = match worn_by {
            WornBy::Track => driven,
            WornBy::Days => days_between(Date::ZERO, today) as f64,
        };
        let points = points.into_iter().map(|(day, at, value)| Point { day, x: at - first, value }).collect();
        Some(Series { kind, place, points, now: (now - first).max(0.0) })
    };
    kind.per().places().into_iter().filter_map(of_place).collect()
}

impl Series {
    /// The last reading.
    pub fn last(&self) -> Option<Point> {
        self.points.last().copied()
    }

    /// The line through the readings and where it meets the limit.
    ///
    /// Least squares; cautious is where the lower 90 % prediction limit (one-sided 95 %) meets it, as in the worksheet
    /// `pad-wear`. Two readings make a line and say nothing of scatter: no cautious figure.
    ///
    /// # Errors
    /// [`NoLine`]: too few readings, or one that shows more than the one before it.
    ///
    /// Source: simple linear regression, checked against NIST StRD Norris and statsmodels; see [`Line`].
    pub fn forecast(&self, limit: f64) -> Result<Forecast, NoLine> {
        let mut order: Vec<&Point> = self.points.iter().collect();
        // Two gaugings without driving between are no growth, whichever is the thicker; what follows is held against both.
        order.sort_by(|a, b| a.x.total_cmp(&b.x).then(b.value.total_cmp(&a.value)));
        if let Some(pair) = order.windows(2).find(|pair| pair[1].value > pair[0].value) {
            return Err(NoLine::Grows { day: pair[1].day, before: pair[0].day });
        }
        let points: Vec<(f64, f64)> = order.iter().map(|point| (point.x, point.value)).collect();
        let line = Line::fit(&points).ok_or(NoLine::TooFew)?;
        let from_now = |x: f64| (x - self.now).max(0.0);
        let left = if line.slope < 0.0 { line.meets(limit).map(from_now) } else { None };
        // Where the lower limit is below the limit everywhere, there is nothing left with caution.
        let cautious = |left: f64| line.lower_limit_meets(limit, LEVEL).map_or(0.0, from_now).min(left);
        let left_cautious = if points.len() < 3 { None } else { left.map(cautious) };
        Ok(Forecast { line, limit, left, left_cautious })
    }
}

/// By so much a reading may be more than the one before it, mm: two gaugings of one part differ by less. Common practice, no source.
const SCATTER_MM: f64 = 0.5;

/// Places at which new readings show more of a part than the last ones before them, with those: what wears on track does not grow.
/// None where the part is said to be new.
pub fn grown(lines: &[&LogLine], new: &Readings, taken: Taken) -> Vec<(Place, f64, Date)> {
    if new.fresh || !matches!(new.what.wears(), Some((WornBy::Track, _))) {
        return Vec::new();
    }
    let at = (taken.day, taken.clock.unwrap_or(Time::midnight()));
    let before: Vec<&LogLine> = lines.iter().copied().filter(|line| line.when() <= at).collect();
    let last = newest(&before, new.what);
    let more = |(place, figure): (Place, f64)| {
        let (was, when) = last.get(&place)?;
        (figure > was + SCATTER_MM).then_some((place, *was, when.day))
    };
    new.figures().into_iter().filter_map(more).collect()
}

/// What is planned for the car's next day.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Planned {
    pub day: Date,
    pub sessions: u16,
    /// Minutes a session, more than 0.
    pub session_min: f64,
}

/// A sentence about wear, and how much it weighs for the next day.
#[derive(Clone, Debug, PartialEq)]
pub struct Said {
    pub words: String,
    /// Fix: it will not last the day. Note: it may not.
    pub weight: Option<Severity>,
}

impl Said {
    /// The sentence where it does not stand under the kind's name: "Brake pad: Front left reaches ...".
    pub fn of(&self, kind: ReadingKind) -> String {
        if self.words.starts_with(kind.name()) { self.words.clone() } else { format!("{}: {}", kind.name(), self.words) }
    }
}

/// "Front left reaches 3.0 mm after 2 to 4 more sessions; your next event has 6."
///
/// # Example: a pad that loses half a millimetre a session
/// ```
/// use jiff::civil::date;
/// use witnessmark::rules::{garage::{kinds::ReadingKind, wear::{Planned, Point, Series, say}}, units::Units, words::Place};
/// let point = |x, value| Point { day: date(2026, 4, 1), x, value };
/// let points = vec![point(0.0, 6.0), point(20.0, 5.6), point(40.0, 4.9), point(60.0, 4.5)];
/// let series = Series { kind: ReadingKind::Pad, place: Place::FrontLeft, points, now: 60.0 };
/// let planned = Planned { day: date(2026, 5, 9), sessions: 6, session_min: 20.0 };
/// let said = say(&series, 3.0, Some(planned), date(2026, 4, 20), &Units::METRIC);
/// assert_eq!(said.words, "Front left reaches 3.0 mm after 1 to 2 more sessions; your next event has 6.");
/// ```
pub fn say(series: &Series, limit: f64, planned: Option<Planned>, today: Date, units: &Units) -> Said {
    let shown = units.for_unit(series.kind.unit(), series.kind.possible().1);
    let figure = |value: f64| shown.say(tidy(series.kind, value, shown));
    let place = if series.place == Place::Whole { series.kind.name().to_owned() } else { capital(&series.place.name()) };
    let Some(last) = series.last() else { return Said { words: format!("{place}: no reading yet."), weight: None } };
    if last.value < limit {
        let words = format!("{place} is at {}, below the limit of {}.", figure(last.value), figure(limit));
        return Said { words, weight: Some(Severity::Fix) };
    }
    match series.forecast(limit) {
        Err(NoLine::TooFew) => {
            let wants = "a second reading after some time on track draws the line";
            let wants = if series.kind.wears().is_some_and(|(by, _)| by == WornBy::Days) {
                "a later reading draws the line"
            } else {
                wants
            };
            Said {
                words: format!("{place} is at {}, the limit is {}; {wants}.", figure(last.value), figure(limit)),
                weight: None,
            }
        }
        Err(NoLine::Grows { day, before }) => {
            let words = format!(
                "{place} shows more on {day} than on {before}, and that does not grow: measure again, or say that the part is new."
            );
            Said { words, weight: Some(Severity::Note) }
        }
        Ok(forecast) => {
            let Some(left) = forecast.left else {
                let words = format!("{place} is at {}; no wear shows between its readings.", figure(last.value));
                return Said { words, weight: None };
            };
            match series.kind.wears() {
                Some((WornBy::Days, _)) => in_days(&place, &figure(limit), &forecast, left, planned, today),
                _ => in_sessions(&place, &figure(limit), &forecast, left, planned),
            }
        }
    }
}

/// Whole sessions that fit into so many minutes. Minutes that rounding left just short of a session are that session.
fn whole_sessions(minutes: f64, session_min: f64) -> u32 {
    (minutes / session_min + 1e-9).floor().clamp(0.0, 1e6) as u32
}

fn in_sessions(place: &str, limit: &str, forecast: &Forecast, left: f64, planned: Option<Planned>) -> Said {
    let session_min = planned.map_or(20.0, |planned| planned.session_min);
    let high = whole_sessions(left, session_min);
    let low = forecast.left_cautious.map(|left| whole_sessions(left, session_min));
    let span = match low {
        Some(low) if low != high => format!("after {low} to {high} more sessions"),
        Some(_) => format!("after {}", more_sessions(high)),
        None => format!("after about {}, by a line through two readings", more_sessions(high)),
    };
    let mut words = format!("{place} reaches {limit} {span}");
    let mut weight = None;
    if let Some(planned) = planned {
        words += &format!("; your next event has {}", planned.sessions);
        let wants = u32::from(planned.sessions);
        weight = if high < wants {
            Some(Severity::Fix)
        } else if low.is_none_or(|low| low < wants) {
            Some(Severity::Note)
        } else {
            None
        };
    } else {
        words += &format!(" of {session_min} min");
    }
    Said { words: words + ".", weight }
}

fn in_days(place: &str, limit: &str, forecast: &Forecast, left: f64, planned: Option<Planned>, today: Date) -> Said {
    let on = |days: f64| days_later(today, days.clamp(0.0, 36_500.0) as i64);
    let (high, low) = (on(left), forecast.left_cautious.map(on));
    let span = match low {
        Some(low) if low != high => format!("between {low} and {high}"),
        Some(_) => format!("on {high}"),
        None => format!("about {high}, by a line through two readings"),
    };
    let weight = planned.and_then(|planned| match low {
        _ if high < planned.day => Some(Severity::Fix),
        Some(low) if low >= planned.day => None,
        _ => Some(Severity::Note),
    });
    let next = planned.map(|planned| format!("; your next event is on {}", planned.day)).unwrap_or_default();
    Said { words: format!("{place} falls to {limit} {span}{next}."), weight }
}

fn more_sessions(count: u32) -> String {
    format!("{count} more session{}", if count == 1 { "" } else { "s" })
}

/// A figure in the reader's unit, with no more decimals than a gauge of it has where it was converted.
pub fn tidy(kind: ReadingKind, value: f64, shown: Unit) -> f64 {
    let decimals = match shown {
        unit if unit == kind.unit() => return value,
        Unit::ThirtySecondInch => 1,
        Unit::Bar | Unit::Inch => 2,
        _ => 0,
    };
    let scale = 10f64.powi(decimals);
    (kind.unit().convert(value, shown) * scale).round() / scale
}

/// What a figure of a kind is written in for a reader.
pub fn shown_unit(kind: ReadingKind, units: &Units) -> Unit {
    units.for_unit(kind.unit(), kind.possible().1)
}
