//! Units: a reading is judged in whatever unit it was taken, and shown in the unit its reader chose.
//!
//! Factors: NIST Special Publication 811 (2008), appendix B: 1 in = 25.4 mm exactly, so 1/32 in = 0.79375 mm;
//! 1 lbf·ft = 1.355 818 N·m.

use crate::club::{Club, Driver, Page};
use reqwest::StatusCode;
use serde_json::json;

async fn area(driver: &Driver<'_>, area: &str) -> Page {
    driver.person.get(&format!("{}/areas/{area}", driver.home())).await.page().await
}

async fn chooses_us(driver: &Driver<'_>) {
    let us = [
        ("length", "1/32 in"),
        ("torque", "lbf.ft"),
        ("pressure", "psi"),
        ("temperature", "F"),
        ("mass", "lb"),
        ("speed", "mph"),
    ];
    let chosen = driver.person.post(&format!("{}/units", driver.home()), &us).await;
    assert_eq!((chosen.status(), chosen.location()), (StatusCode::SEE_OTHER, driver.home()));
    assert!(chosen.header("set-cookie").starts_with("units="));
}

/// 3 mm is 3.78/32 in: three thirty-seconds (2.38 mm) are too thin, four (3.175 mm) are not.
#[tokio::test]
async fn pads_typed_in_thirty_seconds_are_judged_rightly() {
    let club = Club::open().await;
    let ines = club.driver("27").await;
    for (typed, found) in [("3", true), ("4", false), ("3.7", true), ("3.8", false), ("3/32", true), ("4/32", false)] {
        ines.types("brakes", &[("pad-front.lf", typed), ("pad-front.rf", "12"), ("pad-front.unit", "1/32 in")]).await;
        let verdict = area(&ines, "brakes").await.first("[data-verdict=pad-front]");
        assert_eq!(verdict.starts_with("fix"), found, "{typed}/32 in: {verdict}");
    }
    ines.types("brakes", &[("pad-front.lf", "1"), ("pad-front.rf", "12"), ("pad-front.unit", "1/32 in")]).await;
    let verdict = area(&ines, "brakes").await.first("[data-verdict=pad-front]");
    assert!(verdict.starts_with("stop"), "0.79 mm is below 1.5 mm: {verdict}");
    let thick = ines.types("brakes", &[("pad-front.lf", "32"), ("pad-front.rf", "12"), ("pad-front.unit", "1/32 in")]).await;
    assert_eq!(thick.status(), StatusCode::UNPROCESSABLE_ENTITY, "an inch of pad cannot be: 25 mm is the most");
}

/// Asked 110 N·m, 10 % either way: 99 to 121 N·m, which is 73.02 to 89.24 lbf·ft.
#[tokio::test]
async fn torque_typed_in_pound_feet_is_judged_rightly() {
    let club = Club::open().await;
    let ines = club.driver("27").await;
    for (typed, found) in [("73", true), ("74", false), ("89", false), ("90", true)] {
        let fields = [
            ("torque-asked", "110"),
            ("torque-asked.unit", "N.m"),
            ("lug-torque.lf", typed),
            ("lug-torque.rf", "81"),
            ("lug-torque.lr", "81"),
            ("lug-torque.rr", "81"),
            ("lug-torque.unit", "lbf.ft"),
        ];
        ines.types("wheels", &fields).await;
        let verdict = area(&ines, "wheels").await.first("[data-verdict=lug-torque]");
        assert_eq!(verdict.contains("Wheel torque, front left"), found, "{typed} lbf·ft: {verdict}");
        assert!(!verdict.contains("front right"), "81 lbf·ft are 109.8 N·m: {verdict}");
    }
    let as_symbol = [("torque-asked", "81"), ("torque-asked.unit", "lbf·ft")];
    assert_eq!(
        ines.types("wheels", &as_symbol).await.status(),
        StatusCode::SEE_OTHER,
        "the unit as people write it is taken too"
    );
}

/// "3/32" is 2.38 mm whatever unit is ticked beside it; read as 3 mm it would let a worn pad out.
#[tokio::test]
async fn a_fraction_of_an_inch_in_a_field_of_millimetres_is_not_read_as_millimetres() {
    let club = Club::open().await;
    let ines = club.driver("27").await;
    for (area_id, field, unit, id, typed) in [
        ("brakes", "pad-front.lf", "mm", "pad-front", "3/32"),
        ("tyres", "tread-depth.lf", "mm", "tread-depth", "2/32"),
        ("wheels", "torque-asked", "N.m", "torque-asked", "110/32"),
    ] {
        let unit_field = format!("{id}.unit");
        let kept = ines.types(area_id, &[(field, typed), (&unit_field, unit), ("then", "stay")]).await;
        let page = area(&ines, area_id).await;
        let (verdict, trouble) = (page.first(&format!("[data-verdict={id}]")), page.first(&format!("[data-trouble='{field}']")));
        let warned =
            kept.status() == StatusCode::UNPROCESSABLE_ENTITY || verdict.starts_with("fix") || verdict.starts_with("stop");
        assert!(warned, "{typed} in {unit} is neither refused nor found too thin: \"{verdict}\" \"{trouble}\"");
        assert_eq!(page.value_of(&format!("input[name='{field}']")), typed, "and it is kept as typed");
    }
}

#[tokio::test]
async fn findings_are_shown_in_the_readers_units() {
    let club = Club::open().await;
    let ines = club.driver("27").await;
    let change = |answers: &mut serde_json::Map<String, serde_json::Value>| {
        answers["pad-front"]["at"]["lf"] = json!(2.38125);
        answers["torque-asked"] = json!({ "value": 110, "unit": "N.m" });
        answers["lug-torque"] = json!({ "at": { "lf": 60, "rf": 81, "lr": 81, "rr": 81 }, "unit": "lbf.ft" });
    };
    assert_eq!(ines.sends(change).await.status(), StatusCode::CREATED);
    let metric = ines.looks().await.first(".todo");
    assert!(metric.contains("Brake pad, front left: 2.381 mm. This sheet asks for at least 3.0 mm."), "{metric}");
    assert!(metric.contains("Wheel torque, front left: 81.35 N·m"), "60 lbf·ft x 1.355818: {metric}");
    chooses_us(&ines).await;
    let us = ines.looks().await.all(".todo li > p:not(.mend):not(.source)").join(" ");
    assert!(us.contains("Brake pad, front left: 3.0/32 in"), "2.38125 mm are 3/32 in: {us}");
    assert!(us.contains("Wheel torque, front left: 60 lbf·ft"), "as it was typed: {us}");
    assert!(!us.contains("mm") && !us.contains("N·m"), "no figure of a finding is left in the other units: {us}");
    let holt = club.inspector("R. Holt").await;
    let gate = holt.opens("27").await.page.text();
    assert!(gate.contains("Brake pad, front left: 2.381 mm"), "another reader's choice is another's");
    assert!(club.board_of("27").await.1.contains("81.35 N·m"), "the board stays metric");
}

#[tokio::test]
async fn a_new_reading_starts_in_the_chosen_unit_and_a_typed_one_keeps_its_own() {
    let club = Club::open().await;
    let ines = club.driver("27").await;
    ines.types("brakes", &[("pad-front.lf", "9"), ("pad-front.rf", "9"), ("pad-front.unit", "mm")]).await;
    chooses_us(&ines).await;
    let page = area(&ines, "brakes").await;
    assert!(page.has("input[name='pad-front.unit'][value=mm][checked]"), "9 typed in mm stays 9 mm");
    assert!(page.has("input[name='shoe-rear.unit'][value='1/32 in'][checked]") || !page.has("#shoe-rear"));
    assert!(area(&ines, "tyres").await.has("input[name='tread-depth.unit'][value='1/32 in'][checked]"));
    assert!(area(&ines, "wheels").await.has("input[name='lug-torque.unit'][value='lbf.ft'][checked]"));
    let shown = ines.person.get(&format!("{}/units", ines.home())).await.page().await;
    assert!(shown.has("input[name=length][value='1/32 in'][checked]"), "the page shows the choice");
}

#[tokio::test]
async fn a_choice_that_is_none_leaves_metric() {
    let club = Club::open().await;
    let ines = club.driver("27").await;
    let path = format!("{}/units", ines.home());
    let nonsense = [("length", "psi"), ("torque", "furlong"), ("pressure", ""), ("speed", "<script>")];
    let chosen = ines.person.post(&path, &nonsense).await;
    assert_eq!(chosen.status(), StatusCode::SEE_OTHER);
    assert!(chosen.header("set-cookie").starts_with("units=mm|N.m|bar|C|kg|km/h;"), "{}", chosen.header("set-cookie"));
    let cookie = crate::club::Person::cookie_by(&club.base, &ines.secret).await;
    ines.sends(|answers| answers["pad-front"]["at"]["lf"] = json!(2.1)).await;
    for units in [
        "units=",
        "units=||||",
        "units=%00",
        "units=mm|mm|mm|psi|x",
        &format!("units={}", "x|".repeat(2000)),
        "units=\"1/32_in\"",
    ] {
        let page = ines.person.get_with(&ines.home(), &format!("{cookie}; {units}")).await;
        assert_eq!(page.status(), StatusCode::OK, "{units}");
        assert!(page.text().await.contains("2.1 mm"), "{units}");
    }
}
