//! A wheel's fastener between too little and too much, the weight on four wheels, toe and camber from above and from the front.

use super::Drawn;
use super::pen::{Drawing, Pen, Side, WIDTH};
use super::rail::{Rail, rails};
use crate::rules::fasteners::Thread;
use crate::rules::worksheet_form::measures::{FORCE, LENGTH, MASS, TORQUE};

/// Torque within what is asked, clamp load as a band below the proof load, thread that is in.
pub(super) fn fastener(drawn: &Drawn<'_>) -> Option<Drawing> {
    let (torque, asked) = (drawn.given("torque_nm")?, drawn.given("asked_nm"));
    let tolerance = drawn.given("tolerance_percent").unwrap_or(10.0) / 100.0;
    let (low, high, proof) = (drawn.found("clamp_low_kn")?, drawn.found("clamp_high_kn")?, drawn.found("proof_kn")?);
    let mut all = Vec::new();
    if let Some(asked) = asked {
        all.push(Rail {
            title: "Torque".into(),
            said: drawn.say(TORQUE, torque),
            readings: vec![torque],
            keeps: (torque - asked).abs() <= asked * tolerance + 1e-9 * asked,
            band: Some((asked * (1.0 - tolerance), asked * (1.0 + tolerance))),
            marks: vec![(asked, format!("asked {}", drawn.say(TORQUE, asked)))],
            ..Rail::default()
        });
    }
    all.push(Rail {
        title: "Clamp load".into(),
        said: format!("{} to {}", FORCE.say(low, 0, drawn.system).0, drawn.say(FORCE, high)),
        band: Some((low, high)),
        limits: vec![(proof, format!("proof load {}", drawn.say(FORCE, proof)))],
        from: Some(0.0),
        ..Rail::default()
    });
    if let (Some(engaged), Some(Ok(thread))) = (drawn.found("engagement_mm"), drawn.text("thread").map(Thread::parse)) {
        let diameter = thread.diameter_mm();
        all.push(Rail {
            title: "Thread that is in".into(),
            said: drawn.say_finely(LENGTH, engaged, 1),
            readings: vec![engaged],
            keeps: engaged >= diameter - 1e-9,
            limits: vec![(diameter, format!("one diameter, {}", drawn.say_finely(LENGTH, diameter, 1)))],
            from: Some(0.0),
            ..Rail::default()
        });
    }
    let says = format!(
        "{} make a clamp load of {} to {}; the proof load is {}.",
        drawn.say(TORQUE, torque),
        drawn.say(FORCE, low),
        drawn.say(FORCE, high),
        drawn.say(FORCE, proof)
    );
    rails(Pen::default(), 0.0, &all, &says)
}

/// The car from above: four weights, and the diagonal that is the cross.
pub(super) fn corners(drawn: &Drawn<'_>) -> Option<Drawing> {
    let weights = ["lf_kg", "rf_kg", "lr_kg", "rr_kg"].map(|field| drawn.given(field));
    let [lf, rf, lr, rr] = weights.map(|weight| weight.unwrap_or(0.0));
    let (cross, front, left) = (drawn.found("cross_percent")?, drawn.found("front_percent")?, drawn.found("left_percent")?);
    let mut pen = Pen::default();
    pen.path("ink", "M132 66C136 24 204 24 208 66V214C204 240 136 240 132 214Z");
    pen.path("hair", "M142 92C156 80 184 80 198 92M146 186C158 194 182 194 194 186");
    let places = [(116.0, 70.0), (212.0, 70.0), (116.0, 186.0), (212.0, 186.0)];
    let centre = |(x, y): (f64, f64)| (x + 6.0, y + 19.0);
    let [lf_at, rf_at, lr_at, rr_at] = places.map(centre);
    pen.line("ghost", lf_at, rr_at);
    pen.line("bold", rf_at, lr_at);
    for ((x, y), (weight, name)) in
        places.into_iter().zip([(lf, "left front"), (rf, "right front"), (lr, "left rear"), (rr, "right rear")])
    {
        pen.rect("solid", (x, y), (12.0, 38.0));
        let (side, at) = if x < 150.0 { (Side::Left, x - 8.0) } else { (Side::Right, x + 20.0) };
        pen.text("title", side, (at, y + 18.0), &drawn.say(MASS, weight));
        pen.text("soft", side, (at, y + 34.0), name);
    }
    pen.text("", Side::Middle, (170.0, 20.0), &format!("front {front:.1} %"));
    pen.line("bold", (0.0, 10.0), (18.0, 10.0));
    pen.text("title", Side::Right, (24.0, 15.0), &format!("{cross:.1} %"));
    pen.text("soft", Side::Right, (24.0, 31.0), "cross");
    pen.text("", Side::Right, (0.0, 146.0), &format!("left {left:.1} %"));
    pen.text("", Side::Left, (WIDTH, 146.0), &format!("right {:.1} %", 100.0 - left));
    pen.text("", Side::Middle, (170.0, 262.0), &format!("rear {:.1} %", 100.0 - front));
    Some(pen.finish(270.0, format!("The car from above: front {front:.1} %, left {left:.1} %, cross {cross:.1} %.")))
}

/// The front wheels from above with their toe, and an axle from the front with its camber; both larger than life.
pub(super) fn alignment(drawn: &Drawn<'_>) -> Option<Drawing> {
    let toe = drawn.found("toe_deg")?;
    let mut pen = Pen::default();
    let lean = |degrees: f64| (degrees * 10.0).clamp(-22.0, 22.0);
    let word = if toe > 0.0 {
        "toe in"
    } else if toe < 0.0 {
        "toe out"
    } else {
        "no toe"
    };
    pen.text("title", Side::Right, (0.0, 14.0), &format!("{word}, {:.2}\u{b0} a wheel", toe.abs()));
    pen.text("soft", Side::Left, (WIDTH, 14.0), "from above");
    pen.line("hair", (96.0, 82.0), (244.0, 82.0));
    for (x, turn) in [(96.0, lean(toe)), (244.0, -lean(toe))] {
        pen.line("ghost", (x, 34.0), (x, 130.0));
        wheel(&mut pen, (x, 82.0), (22.0, 80.0), turn);
    }
    pen.arrow("ink", &[(170.0, 74.0), (170.0, 38.0)]);
    pen.text("soft", Side::Right, (178.0, 52.0), "front");
    let mut says = format!("The wheels from above: {word}, {:.2} degrees a wheel.", toe.abs());
    let mut height = 140.0;
    if let Some((left, right)) = drawn.given("camber_left_deg").zip(drawn.given("camber_right_deg")) {
        pen.text("title", Side::Right, (0.0, 166.0), "camber");
        pen.text("soft", Side::Left, (WIDTH, 166.0), "from behind");
        pen.line("ink", (20.0, 252.0), (320.0, 252.0));
        pen.line("hair", (96.0, 212.0), (244.0, 212.0));
        // Below nought the top leans towards the car.
        for (x, turn, camber) in [(96.0, -left, left), (244.0, right, right)] {
            pen.line("ghost", (x, 176.0), (x, 252.0));
            wheel(&mut pen, (x, 212.0), (22.0, 76.0), (turn * 5.0).clamp(-22.0, 22.0));
            pen.text("", Side::Middle, (x, 272.0), &format!("{camber}\u{b0}").replace('-', "\u{2212}"));
        }
        if let Some(apart) = drawn.found("camber_difference_deg") {
            let class = if drawn.is_well() { "" } else { "over-text" };
            pen.text(class, Side::Middle, (170.0, 272.0), &format!("{apart:.1}\u{b0} apart"));
        }
        says += &format!(" The axle from behind: camber {left} degrees left, {right} degrees right.");
        height = 280.0;
    }
    Some(pen.finish(height, says + " Angles are drawn larger than they are."))
}

/// A wheel seen edge on, turned clockwise by so many degrees.
fn wheel(pen: &mut Pen, (x, y): (f64, f64), (width, height): (f64, f64), turn: f64) {
    let (sin, cos) = turn.to_radians().sin_cos();
    let corner = |dx: f64, dy: f64| (x + dx * cos - dy * sin, y + dx * sin + dy * cos);
    let (w, h) = (width / 2.0, height / 2.0);
    pen.area("tyre", &[corner(-w, -h), corner(w, -h), corner(w, h), corner(-w, h)]);
    pen.line("tread", corner(0.0, -h), corner(0.0, h));
}
