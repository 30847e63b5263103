//! For the organizer: cars drawn by lot, and cars in a queue.

use super::Drawn;
use super::pen::{Drawing, Pen, Side, WIDTH};

/// So many cars are drawn one by one.
const MOST: u32 = 600;

/// All cars as boxes, those to look at filled.
pub(super) fn spot_check(drawn: &Drawn<'_>) -> Option<Drawing> {
    let (cars, sample) = (drawn.given("cars")? as u32, drawn.found("sample")? as u32);
    let says = format!("{sample} of {cars} cars are drawn.");
    let mut pen = Pen::default();
    pen.text("title", Side::Right, (0.0, 13.0), &format!("{sample} of {cars} cars"));
    pen.text("soft", Side::Left, (WIDTH, 13.0), "draw them by lot");
    if cars > MOST {
        let share = f64::from(sample) / f64::from(cars);
        pen.rect("framed", (0.5, 24.0), (WIDTH - 1.0, 22.0));
        pen.rect("solid", (0.5, 24.0), ((WIDTH - 1.0) * share, 22.0));
        return Some(pen.finish(50.0, says));
    }
    let columns = if cars <= 200 { 20 } else { 30 };
    let step = WIDTH / f64::from(columns);
    for car in 0..cars {
        // Spread evenly over the picture: exactly `sample` of the boxes are filled.
        let drawn_by_lot = (u64::from(car) * u64::from(sample)) % u64::from(cars.max(1)) < u64::from(sample);
        let (x, y) = (step * f64::from(car % columns), 24.0 + step * f64::from(car / columns));
        pen.rect(if drawn_by_lot { "solid" } else { "box" }, (x + 1.5, y + 1.5), (step - 3.0, step - 3.0));
    }
    Some(pen.finish(24.0 + step * f64::from(cars.div_ceil(columns)), says))
}

/// The queue before the gate and its lanes, each as full as it is busy.
pub(super) fn queue(drawn: &Drawn<'_>) -> Option<Drawing> {
    let busy = drawn.found("utilisation")?;
    let lanes = drawn.given("lanes")?.clamp(1.0, 1000.0) as u32;
    let queue = drawn.found("mean_queue");
    let shown = lanes.min(8);
    let mut pen = Pen::default();
    let step = (140.0 / f64::from(shown)).min(34.0);
    let height = (step * f64::from(shown)).max(64.0);
    let middle = 26.0 + height / 2.0;
    let lane = (236.0, WIDTH - 236.0);
    for nth in 0..shown {
        let y = middle - step * f64::from(shown) / 2.0 + step * f64::from(nth);
        pen.rect("framed", (lane.0, y + 3.0), (lane.1 - 1.0, step - 6.0));
        pen.rect(if busy < 1.0 { "solid" } else { "over" }, (lane.0, y + 3.0), ((lane.1 - 1.0) * busy.min(1.0), step - 6.0));
        pen.line("hair", (212.0, middle), (lane.0 - 4.0, y + step / 2.0));
    }
    let lanes_said = if lanes == 1 { "1 lane".to_owned() } else { format!("{lanes} lanes") };
    pen.text("title", Side::Left, (WIDTH, 13.0), &format!("{lanes_said}, {:.0} % busy", 100.0 * busy));
    // Cars in the queue, the next one nearest to the gate.
    let cars = queue.map_or(20.0, |queue| queue.round().clamp(0.0, 20.0)) as u32;
    for car in 0..cars {
        let (column, row) = (car / 2, car % 2);
        let x = 196.0 - 20.0 * f64::from(column);
        pen.rect(if queue.is_some() { "car" } else { "over" }, (x, middle - 14.0 + 16.0 * f64::from(row)), (15.0, 11.0));
    }
    let said = match queue {
        Some(queue) if queue > 20.5 => format!("{queue:.0} cars wait"),
        Some(queue) => format!("{queue:.1} cars wait"),
        None => "the queue grows".to_owned(),
    };
    if cars == 20 {
        pen.arrow(if queue.is_some() { "ink" } else { "leak" }, &[(28.0, middle + 26.0), (2.0, middle + 26.0)]);
    }
    pen.text(if queue.is_some() { "title" } else { "title over-text" }, Side::Right, (0.0, 13.0), &said);
    Some(pen.finish(34.0 + height, format!("Before {lanes_said}, each {:.0} % busy: {said}.", 100.0 * busy)))
}
