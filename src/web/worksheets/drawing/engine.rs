//! A cylinder cut open with the way the air takes, cylinders side by side, a sound against its limit.

use super::Drawn;
use super::pen::{Drawing, Pen, Side, WIDTH};
use super::rail::{Rail, rails};
use crate::rules::worksheet_form::measures::{DISTANCE, PRESSURE, SOUND};
use serde_json::Value as Json;

/// The cylinder that leaks most, cut open, and all cylinders beside it.
pub(super) fn leak_down(drawn: &Drawn<'_>) -> Option<Drawing> {
    let lines = drawn.output.get("cylinders")?.as_array()?;
    let percents: Vec<f64> = lines.iter().filter_map(|line| line["percent"].as_f64()).collect();
    let worst = drawn.found("worst")? as usize;
    let heard = |cylinder: usize| drawn.input.get("cylinders")?.get(cylinder.checked_sub(1)?)?.get("heard").cloned();
    // The worst cylinder's path; where nothing was heard there, that of the first at which something was.
    let told = std::iter::once(worst).chain(1..=lines.len()).find_map(|cylinder| Some((cylinder, heard(cylinder)?)));
    let words: Vec<String> = match &told {
        Some((_, Json::String(word))) => vec![word.clone()],
        Some((_, Json::Array(words))) => words.iter().filter_map(Json::as_str).map(str::to_owned).collect(),
        _ => Vec::new(),
    };
    let shown = told.map_or(worst, |(cylinder, _)| cylinder);
    let mut pen = Pen::default();
    pen.text("title", Side::Right, (0.0, 13.0), &format!("Cylinder {shown}"));
    cut_open(&mut pen);
    words.iter().for_each(|word| way_of(&mut pen, word));
    let limit = drawn.given("limit_percent").unwrap_or(20.0);
    let most = percents.iter().copied().fold(limit, f64::max) * 1.15;
    let step = (190.0 / percents.len().max(1) as f64).min(38.0);
    let x = |percent: f64| 206.0 + (WIDTH - 206.0 - 44.0) * percent / most.max(1.0);
    let bottom = 26.0 + step * percents.len() as f64;
    pen.line("limit", (x(limit), 18.0), (x(limit), bottom));
    pen.label("over-text", (x(limit), 12.0), &format!("limit {limit} %"));
    for (nth, percent) in percents.iter().enumerate() {
        let y = 26.0 + step * nth as f64;
        let class = if *percent > limit { "over" } else { "solid" };
        pen.text("soft", Side::Left, (198.0, y + step / 2.0 + 4.0), &(nth + 1).to_string());
        pen.rect(class, (206.0, y + step * 0.2), ((x(*percent) - 206.0).max(1.5), step * 0.55));
        pen.text("", Side::Right, (x(*percent) + 6.0, y + step / 2.0 + 4.0), &format!("{percent:.0} %"));
    }
    let mut says = format!("Cylinder {worst} leaks most, {:.0} %.", percents.get(worst - 1).copied().unwrap_or_default());
    if let Some(path) = lines.get(shown - 1).and_then(|line| line["path"].as_str()) {
        says += &format!(" The air of cylinder {shown} takes the way by the {path}.");
    }
    Some(pen.finish(bottom.max(236.0), says))
}

/// Head, bore, piston and crankcase; the hose stands in the plug hole.
fn cut_open(pen: &mut Pen) {
    pen.path("metal", "M14 72V40H146V72H114L102 58H58L46 72Z");
    pen.path("metal", "M14 76H46V196H14ZM114 76H146V196H114Z");
    // Water, the ports and their valves.
    pen.path("water", "M22 92H36V168H22ZM124 92H138V168H124Z");
    pen.path("port", "M14 44C34 44 48 46 56 60M104 60C112 46 126 44 146 44");
    pen.line("valve", (52.0, 67.0), (68.0, 56.0));
    pen.line("valve", (92.0, 56.0), (108.0, 67.0));
    pen.line("ink", (60.0, 61.0), (48.0, 34.0));
    pen.line("ink", (100.0, 61.0), (112.0, 34.0));
    // The hose, the piston with its rings, the rod and the crank.
    pen.path("hose", "M80 58V30C80 24 84 22 90 22H104");
    pen.rect("piston", (48.0, 84.0), (64.0, 42.0));
    pen.path("ink", "M48 92H112M48 100H112");
    pen.path("ink", "M80 112L80 206");
    pen.circle("open", (80.0, 112.0), 5.0);
    pen.path("ink", "M22 196C22 240 138 240 138 196");
    pen.circle("open", (80.0, 208.0), 12.0);
    pen.line("gasket", (14.0, 74.0), (46.0, 74.0));
    pen.line("gasket", (114.0, 74.0), (146.0, 74.0));
}

/// The way that the air takes to where it is heard.
fn way_of(pen: &mut Pen, heard: &str) {
    match heard {
        "intake" => {
            pen.arrow("leak", &[(70.0, 74.0), (56.0, 63.0), (46.0, 49.0), (30.0, 44.0), (2.0, 44.0)]);
            pen.text("over-text", Side::Right, (0.0, 32.0), "intake");
        }
        "exhaust" => {
            pen.arrow("leak", &[(90.0, 74.0), (104.0, 63.0), (114.0, 49.0), (130.0, 44.0), (158.0, 44.0)]);
            pen.text("over-text", Side::Left, (170.0, 32.0), "exhaust");
        }
        "crankcase" => {
            pen.arrow("leak", &[(54.0, 78.0), (47.0, 84.0), (47.0, 150.0), (56.0, 190.0)]);
            pen.text("over-text", Side::Right, (90.0, 172.0), "rings");
        }
        "coolant" => {
            pen.arrow("leak", &[(104.0, 76.0), (116.0, 74.0), (131.0, 80.0), (131.0, 108.0)]);
            for (x, y) in [(128.0, 122.0), (134.0, 134.0), (129.0, 148.0)] {
                pen.circle("bubble", (x, y), 3.0);
            }
            pen.text("over-text", Side::Right, (140.0, 190.0), "water");
        }
        _ => {
            pen.arrow("leak", &[(104.0, 78.0), (114.0, 74.0), (164.0, 74.0)]);
            pen.text("over-text", Side::Left, (172.0, 92.0), "next");
        }
    }
}

/// Cylinders side by side, dry and with oil, and the share of the highest that is asked.
pub(super) fn compression(drawn: &Drawn<'_>) -> Option<Drawing> {
    let list = |field: &str| Some(drawn.input.get(field)?.as_array()?.iter().filter_map(Json::as_f64).collect::<Vec<f64>>());
    let (dry, wet) = (list("dry_kpa")?, list("wet_kpa"));
    let limit = drawn.given("limit_percent").unwrap_or(75.0);
    let highest = dry.iter().copied().fold(0.0, f64::max);
    let most = wet.iter().flatten().copied().fold(highest, f64::max).max(1.0) * 1.1;
    let (top, bottom) = (22.0, 190.0);
    let y = |kpa: f64| bottom - (bottom - top) * kpa / most;
    let step = (WIDTH - 20.0) / dry.len().max(1) as f64;
    let wide = (step * 0.62).min(44.0);
    let floor = limit / 100.0 * highest;
    let mut pen = Pen::default();
    for (nth, kpa) in dry.iter().enumerate() {
        let x = 10.0 + step * (nth as f64 + 0.5);
        if let Some(wet) = wet.as_ref().and_then(|wet| wet.get(nth)) {
            pen.rect("ghost", (x - wide / 2.0 + 5.0, y(*wet)), (wide, bottom - y(*wet)));
        }
        let low = *kpa < floor - 1e-9;
        let class = if low { "over" } else { "solid" };
        pen.rect(class, (x - wide / 2.0, y(*kpa)), (wide, bottom - y(*kpa)));
        if wide >= 31.0 {
            let shown = PRESSURE.to_shown(*kpa, drawn.system);
            let text = if shown < 100.0 { format!("{shown:.1}") } else { format!("{shown:.0}") };
            pen.text("reversed", Side::Middle, (x, bottom - 8.0), &text);
        }
        pen.text("title", Side::Middle, (x, bottom + 18.0), &(nth + 1).to_string());
    }
    pen.line("limit", (0.0, y(floor)), (WIDTH, y(floor)));
    pen.line("ink", (0.0, bottom), (WIDTH, bottom));
    pen.text("soft", Side::Right, (0.0, 13.0), &format!("cylinders, {}", PRESSURE.shown(drawn.system)));
    pen.text("over-text", Side::Left, (WIDTH, 13.0), &format!("line: {limit} % of the highest"));
    let mut height = 214.0;
    if wet.is_some() {
        pen.rect("ghost", (10.0, 220.0), (14.0, 12.0));
        pen.text("soft", Side::Right, (30.0, 231.0), "with oil");
        height = 238.0;
    }
    let share = drawn.found("low_over_high_percent")?;
    let worst = drawn.found("worst")?;
    Some(pen.finish(height, format!("{} cylinders; cylinder {worst} is lowest, at {share:.0} % of the highest.", dry.len())))
}

/// The sound on its scale: the background, what was measured, what that is at the limit's distance.
pub(super) fn noise(drawn: &Drawn<'_>) -> Option<Drawing> {
    let (measured, limit, at_limit) = (drawn.given("measured_db")?, drawn.given("limit_db")?, drawn.found("at_limit_db")?);
    let far = drawn.given("limit_m").or_else(|| drawn.given("measured_m"))?;
    let mut marks = vec![(measured, format!("measured {}", drawn.say(SOUND, measured)))];
    marks.extend(drawn.given("background_db").map(|background| (background, "background".to_owned())));
    let rail = Rail {
        title: format!("At {}", drawn.say(DISTANCE, far)),
        said: drawn.say(SOUND, at_limit),
        readings: vec![at_limit],
        keeps: drawn.is_well(),
        limits: vec![(limit, format!("limit {}", drawn.say(SOUND, limit)))],
        marks,
        ..Rail::default()
    };
    let says = format!(
        "{} at {}; the limit there is {}.",
        drawn.say(SOUND, at_limit),
        drawn.say(DISTANCE, far),
        drawn.say(SOUND, limit)
    );
    rails(Pen::default(), 0.0, &[rail], &says)
}
