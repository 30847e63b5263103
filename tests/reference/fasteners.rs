//! Wheel fasteners: ISO 898-1, SAE J429, ASME B1.1, and published worked examples.

use crate::table::{Done, Row, answer, assert_near, every_row, figure, run};
use proptest::prelude::*;
use serde_json::{Value as Json, json};
use witnessmark::rules::fasteners::{Grade, Thread};

const LBF_IN_N: f64 = 4.448_221_615_260_5;

fn grade_of(words: &str) -> Grade {
    let words = words.split(" (").next().unwrap();
    let name = if words.starts_with("grade") { format!("SAE {words}") } else { words.to_owned() };
    Grade::parse(&name).unwrap_or_else(|| panic!("grade {words}"))
}

#[test]
fn every_fastener_row() {
    let not_here = [
        ("tensile strength: only the proof load is asked", 7),
        ("one handbook's nut factor: the worksheet's band takes them in", 19),
        ("a chart of the wheel trade: the car maker's torque decides", 23),
        ("how far tools scatter, said in words", 1),
    ];
    every_row("fasteners.csv", check, &not_here);
}

fn check(row: &Row) -> Done {
    let (name, quantity, value) = (row.text("name"), row.text("quantity"), row.number("value"));
    match (row.text("kind"), quantity) {
        ("thread", quantity) => {
            let thread = Thread::parse(name).unwrap();
            match quantity {
                "nominal_diameter" => assert_near(thread.diameter_mm(), value, 1e-9, &row.at),
                "pitch" => assert_near(thread.pitch_mm(), value, 1e-9, &row.at),
                _ => {
                    let input = json!({"thread": name, "grade": "10.9", "torque_nm": 100});
                    assert_near(figure(&answer("wheel-fastener", input, &row.at), "stress_area_mm2"), value, 0.005001, &row.at);
                }
            }
        }
        ("grade", "proof_stress") => {
            let diameter = if name.contains("over 16") { 18.0 } else { 12.0 };
            assert_near(grade_of(name).proof_mpa(diameter).unwrap(), value, 0.05, &row.at);
        }
        ("grade", _) => return Done::NotHere("tensile strength: only the proof load is asked"),
        ("proof_load", _) => {
            let (thread, grade) = name.split_once(' ').unwrap();
            let input = json!({"thread": thread, "grade": grade.split(" (").next(), "torque_nm": 100});
            // Tables round to three figures: 0.5 %.
            assert_near(1000.0 * figure(&answer("wheel-fastener", input, &row.at), "proof_kn"), value, 0.005 * value, &row.at);
        }
        ("nut_factor", "preload_scatter") => return Done::NotHere("how far tools scatter, said in words"),
        ("nut_factor", _) => return Done::NotHere("one handbook's nut factor: the worksheet's band takes them in"),
        ("torque_window", _) => return Done::NotHere("a chart of the wheel trade: the car maker's torque decides"),
        ("example_published", _) => published(row, name, quantity, value),
        ("example_computed", _) => computed(row, name, quantity, value),
        (kind, _) => panic!("kind {kind} is not known; {}", row.at),
    }
    Done::Checked
}

/// Hardware pages: clamp = 0.75 x proof x area, T = K D F with K 0.20; a fastener page with the preload in a note.
fn published(row: &Row, name: &str, quantity: &str, value: f64) {
    let (thread, grade) = name.split_once(' ').unwrap();
    let thread = Thread::parse(thread).unwrap();
    let proof_n = thread.stress_area_mm2() * grade_of(grade).proof_mpa(thread.diameter_mm()).unwrap();
    let torque_lbf_ft = |nut_factor: f64, lbf: f64| nut_factor * lbf * thread.diameter_mm() / 25.4 / 12.0;
    match quantity {
        "clamp_at_75_percent_proof" => assert_near(0.75 * proof_n / LBF_IN_N, value, 0.002 * value, &row.at),
        "torque" => assert_near(torque_lbf_ft(0.2, 0.75 * proof_n / LBF_IN_N), value, 0.005 * value, &row.at),
        "torque_K_0.20" => assert_near(torque_lbf_ft(0.20, 4940.0), value, 1.0, &row.at),
        "torque_K_0.15" => assert_near(torque_lbf_ft(0.15, 4940.0), value, 1.0, &row.at),
        other => panic!("quantity {other} is not known; {}", row.at),
    }
}

/// "M12x1.25 8.8 108 N m K 0.10", "1/2-20 UNF SAE grade 8 108 N m K 0.15".
fn computed(row: &Row, name: &str, quantity: &str, value: f64) {
    let words: Vec<&str> = name.split(' ').collect();
    let nm = words.iter().position(|word| *word == "N").unwrap();
    let (nut_factor, torque): (f64, f64) = (words.last().unwrap().parse().unwrap(), words[nm - 1].parse().unwrap());
    let grade_from = words.iter().position(|word| *word == "SAE").unwrap_or(1);
    let (thread, grade) = (words[..grade_from].join(" "), words[grade_from..nm - 1].join(" "));
    let input = |dry: bool| json!({"thread": thread, "grade": grade, "torque_nm": torque, "dry": dry});
    // The ends of the two bands: 0.15 to 0.30 dry, 0.10 to 0.20 with oil.
    let (found, clamp): (Json, &str) = match nut_factor {
        0.10 => (answer("wheel-fastener", input(false), &row.at), "clamp_high_kn"),
        0.15 => (answer("wheel-fastener", input(true), &row.at), "clamp_high_kn"),
        0.20 => (answer("wheel-fastener", input(false), &row.at), "clamp_low_kn"),
        0.30 => (answer("wheel-fastener", input(true), &row.at), "clamp_low_kn"),
        other => panic!("nut factor {other} is no end of a band; {}", row.at),
    };
    let clamp_n = 1000.0 * figure(&found, clamp);
    match quantity {
        "clamp_load" => assert_near(clamp_n, value, 0.51, &row.at),
        // The table takes SAE stresses rounded to 0.1 MPa.
        "fraction_of_proof" => assert_near(clamp_n / 1000.0 / figure(&found, "proof_kn"), value, 0.0002 * value + 5e-5, &row.at),
        other => panic!("quantity {other} is not known; {}", row.at),
    }
    let dry = answer("wheel-fastener", input(true), &row.at);
    assert!(
        figure(&dry, "clamp_low_kn") <= torque / (0.2 * thread_mm(&words))
            && torque / (0.2 * thread_mm(&words)) <= figure(&dry, "clamp_high_kn")
    );
}

fn thread_mm(words: &[&str]) -> f64 {
    Thread::parse(words[0]).unwrap().diameter_mm()
}

/// Ways of writing: common practice, no source; coarse pitches: ISO 261.
#[test]
fn threads_and_grades_are_read_as_people_write_them() {
    for text in ["M12x1.5", "m12 x 1,5", "M12×1.5", "M 12 X 1.5", "M12-1.5", "M12*1.5"] {
        assert_eq!(Thread::parse(text), Thread::parse("M12x1.5"), "{text}");
    }
    assert_eq!(Thread::parse("M12"), Thread::parse("M12x1.75"), "ISO 261 coarse");
    for text in ["1/2-20", "1/2\"-20 UNF", "1/2 x 20", "1/2-20 UNF-2A", "1/2-20UNF"] {
        assert_eq!(Thread::parse(text), Thread::parse("1/2-20"), "{text}");
    }
    for text in [
        "",
        "M",
        "M12x",
        "x1.5",
        "M12x0",
        "M12x9",
        "M0x1",
        "M999x2",
        "1/2",
        "1/0-20",
        "0/2-20",
        "7/16-",
        "1/2-20 XYZ",
        "M12xNaN",
        "M1e1x1.5",
        "½-20",
        "1/3-20",
    ] {
        assert!(Thread::parse(text).is_err(), "{text:?} was read");
    }
    for text in ["SAE 5", "SAE grade 5", "grade 5", "sae j429 grade 5", "Grade-5"] {
        assert_eq!(Grade::parse(text), Some(Grade::Sae5), "{text}");
    }
    for text in ["", "5", "8", "8.9", "SAE", "SAE 7", "grade 8.8", "108.8"] {
        assert_eq!(Grade::parse(text), None, "{text:?}");
    }
}

/// ISO 898-1: class 8.8 is 580 MPa up to 16 mm and 600 MPa above.
#[test]
fn class_8_8_changes_above_16_mm() {
    assert_eq!((Grade::Class8_8.proof_mpa(16.0), Grade::Class8_8.proof_mpa(16.1)), (Some(580.0), Some(600.0)));
}

#[test]
fn the_car_makers_torque_decides() {
    let input = |torque: f64| json!({"thread": "M12x1.5", "grade": "10.9", "torque_nm": torque, "asked_nm": 100, "turns": 8});
    for (torque, verdict) in [(89.9, "fix"), (90.0, "ok"), (110.0, "ok"), (110.1, "fix")] {
        assert_eq!(answer("wheel-fastener", input(torque), "tolerance 10 %")["verdict"], verdict, "{torque} N·m");
    }
    let without = json!({"thread": "M12x1.5", "grade": "10.9", "torque_nm": 100});
    assert_eq!(answer("wheel-fastener", without, "")["verdict"], "note", "without the maker's torque nothing is ok");
    let short = json!({"thread": "M12x1.5", "grade": "10.9", "torque_nm": 100, "asked_nm": 100, "turns": 7.9});
    assert_eq!(answer("wheel-fastener", short, "one diameter is 8 turns")["verdict"], "fix");
    let soft = json!({"thread": "M12x1.5", "grade": "8.8", "torque_nm": 108, "asked_nm": 108});
    assert_eq!(answer("wheel-fastener", soft, "over proof at the low end of K")["verdict"], "note");
}

proptest! {
    #[test]
    fn no_text_makes_the_readers_of_fasteners_panic(text in "\\PC{0,30}", near in "[M0-9x/.,UNFC -]{0,16}") {
        for text in [text, near] {
            if let Ok(thread) = Thread::parse(&text) {
                prop_assert!(thread.stress_area_mm2().is_finite() && thread.stress_area_mm2() > 0.0);
            }
            let _ = Grade::parse(&text);
            let _ = run("wheel-fastener", json!({"thread": text, "grade": text, "torque_nm": 100}));
        }
    }

    #[test]
    fn more_torque_is_more_clamp_and_the_band_is_never_turned_over(torque in 1.0f64..900.0, dry: bool) {
        let input = |torque: f64| json!({"thread": "M14x1.5", "grade": "10.9", "torque_nm": torque, "dry": dry});
        let (less, more) = (answer("wheel-fastener", input(torque), ""), answer("wheel-fastener", input(torque + 1.0), ""));
        prop_assert!(figure(&less, "clamp_low_kn") < figure(&less, "clamp_high_kn"));
        for field in ["clamp_low_kn", "clamp_high_kn", "used_high_percent"] {
            prop_assert!(figure(&less, field) < figure(&more, field));
        }
    }
}
