//! The worksheets' pages, as anybody finds them: readings in a link, the answer on the page. Nobody here has signed in.
//!
//! Every worksheet is asked one thing whose answer is published or worked by hand; the source stands beside it.

mod asked;

use crate::club::{Answer, Club, Page, Person, css};
use asked::ASKED;
use reqwest::StatusCode;
use witnessmark::rules::worksheet_form::{Blank, BlankKind, FORMS, Form, form};

fn address(worksheet: &str, units: &str, typed: &[(&str, &str)]) -> String {
    let mut query = form_urlencoded::Serializer::new(String::new());
    query.append_pair("units", units).extend_pairs(typed);
    format!("/worksheets/{worksheet}?{}", query.finish())
}

/// Opens a page that has an answer.
async fn answered(anybody: &Person, path: &str) -> Page {
    let answer = anybody.get(path).await;
    assert_eq!(answer.status(), StatusCode::OK, "{path}");
    answer.page().await
}

fn verdict(page: &Page) -> String {
    page.attr("#answer", "data-verdict")
}

fn says(page: &Page, words: &[&str], where_: &str) {
    let text = page.text();
    for word in words {
        assert!(text.contains(word), "{where_} says \"{word}\": {text}");
    }
}

async fn anybody(club: &Club) -> Person {
    Person::stranger(&club.base)
}

#[tokio::test]
async fn every_worksheet_answers_anybody_in_both_systems_alike() {
    let club = Club::open().await;
    let anybody = anybody(&club).await;
    for asked in &ASKED {
        let metric = answered(&anybody, &address(asked.worksheet, "metric", asked.metric)).await;
        let us = answered(&anybody, &address(asked.worksheet, "us", asked.us)).await;
        let name = asked.worksheet;
        assert_eq!(verdict(&metric), asked.verdict, "{name}, metric: {}", metric.first(".why"));
        assert_eq!(verdict(&us), asked.verdict, "{name}, US: {}", us.first(".why"));
        says(&metric, asked.says, name);
        says(&us, asked.says_us, name);
        assert!(!metric.first(".said h2").is_empty(), "{name}: the verdict is a word and not a colour alone");
        assert!(metric.has(".said svg.sign"), "{name}: the verdict is a shape as well");
    }
    let covered = |form: &&Form| ASKED.iter().any(|asked| asked.worksheet == form.name);
    assert!(FORMS.iter().all(covered), "every worksheet is asked at least once");
}

#[tokio::test]
async fn changing_units_on_a_filled_in_page_leaves_the_verdict() {
    let club = Club::open().await;
    let anybody = anybody(&club).await;
    for asked in &ASKED {
        for (from, typed, to) in [("metric", asked.metric, "us"), ("us", asked.us, "metric")] {
            let page = answered(&anybody, &address(asked.worksheet, from, typed)).await;
            let other = page.attr(&format!("nav.units a[href*=\"units={to}\"]"), "href");
            let there = answered(&anybody, &other).await;
            assert_eq!(verdict(&there), asked.verdict, "{} from {from} to {to}: {other}", asked.worksheet);
        }
    }
}

/// 72 lbf·ft is exactly a tenth below 80: within a tolerance of 10 %, and still so when it was rounded to N·m.
#[tokio::test]
async fn a_torque_at_the_edge_of_its_tolerance_stays_at_that_edge_in_the_other_units() {
    let club = Club::open().await;
    let anybody = anybody(&club).await;
    let typed = [("thread", "M12x1.5"), ("grade", "10.9"), ("torque_nm", "72"), ("asked_nm", "80")];
    let page = answered(&anybody, &address("wheel-fastener", "us", &typed)).await;
    assert_eq!(verdict(&page), "ok", "{}", page.first(".why"));
    let metric = answered(&anybody, &page.attr("nav.units a[href*=\"units=metric\"]", "href")).await;
    assert_eq!(verdict(&metric), "ok", "{}", metric.first(".why"));
    let under = [("thread", "M12x1.5"), ("grade", "10.9"), ("torque_nm", "71.9"), ("asked_nm", "80")];
    let page = answered(&anybody, &address("wheel-fastener", "us", &under)).await;
    assert_eq!(verdict(&page), "fix");
    let metric = answered(&anybody, &page.attr("nav.units a[href*=\"units=metric\"]", "href")).await;
    assert_eq!(verdict(&metric), "fix", "{}", metric.first(".why"));
}

#[tokio::test]
async fn a_filled_in_worksheet_is_a_link_that_means_the_same_to_everybody() {
    let club = Club::open().await;
    let anybody = anybody(&club).await;
    let typed = [("cold_kpa", "2"), ("cold_c", "20"), ("hot_kpa", "2.6"), ("target_hot_kpa", "2.4"), ("next_cold_c", "")];
    let page = answered(&anybody, &address("tyre-pressure", "metric", &typed)).await;
    let own = page.attr("a[href^='/worksheets/'][href*=\"cold_kpa=2&\"].do", "href");
    assert!(own.starts_with("/worksheets/tyre-pressure?units=metric&cold_kpa=2&"), "{own}");
    assert!(!own.contains("next_cold_c"), "what is empty stays out of the link: {own}");
    let set = answered(&anybody, &own).await.first(".first .fig");
    assert_eq!(set, page.first(".first .fig"));
    // Somebody who reads psi opens a link that names no units: the readings stay bar.
    let no_units = own.replace("units=metric&", "");
    let us_reader = anybody.get_with(&no_units, "units=1/32_in|lbf.ft|psi|F|lb|mph").await.page().await;
    assert_eq!(us_reader.first(".first .fig"), set, "the same link, the same answer");
    // An empty worksheet greets the same reader in psi.
    let empty = anybody.get_with("/worksheets/tyre-pressure", "units=1/32_in|lbf.ft|psi|F|lb|mph").await.page().await;
    assert!(empty.first(".field.number .in").contains("psi"), "{}", empty.first(".field.number"));
    assert_eq!(anybody.get(&own).await.header("set-cookie"), "", "nobody is signed in by reading");
}

#[tokio::test]
async fn an_empty_worksheet_has_a_form_a_picture_and_no_verdict() {
    let club = Club::open().await;
    let anybody = anybody(&club).await;
    for form in FORMS {
        let fields: Vec<String> = form.blanks.iter().flat_map(Blank::fields).collect();
        let all_empty: Vec<(&str, &str)> = fields.iter().map(|field| (field.as_str(), " ")).collect();
        for path in
            [format!("/worksheets/{}", form.name), address(form.name, "us", &[]), address(form.name, "metric", &all_empty)]
        {
            let page = answered(&anybody, &path).await;
            assert!(!page.has("#answer") && !page.has(".trouble"), "{path}: nothing was typed, nothing is said");
            for field in &fields {
                assert!(page.has(&format!("form[method=get] [name=\"{field}\"]")), "{path}: the form asks for {field}");
            }
            assert!(!page.first("form .go").is_empty(), "{path}: there is a button");
            if path != address(form.name, "metric", &all_empty) {
                assert!(page.has("figure.example svg.drawing"), "{path}: an example is drawn");
            }
        }
    }
}

#[tokio::test]
async fn every_answer_is_drawn_and_says_how_it_was_reckoned_and_what_it_does_not_say() {
    let club = Club::open().await;
    let anybody = anybody(&club).await;
    for asked in &ASKED {
        let page = answered(&anybody, &address(asked.worksheet, "metric", asked.metric)).await;
        let form = form(asked.worksheet).expect("a form");
        assert!(page.attr("#answer svg.drawing", "aria-label").len() > 15, "{}: the drawing says what it shows", form.name);
        assert_eq!(page.attr("#answer svg.drawing", "role"), "img");
        let how = page.first("details.how");
        for part in [form.formula, form.source, form.assumes] {
            let part: String = part.split_whitespace().collect::<Vec<_>>().join(" ");
            assert!(how.contains(&part), "{}: one tap away stands \"{part}\", not {how}", form.name);
        }
        let caution: String = form.caution.split_whitespace().collect::<Vec<_>>().join(" ");
        says(&page, &[&caution, "It is no clearance and no guarantee", "If unsure, ask a qualified mechanic."], form.name);
    }
}

#[tokio::test]
async fn what_cannot_be_used_is_said_at_its_field_and_everything_typed_is_kept() {
    let club = Club::open().await;
    let anybody = anybody(&club).await;
    let rubbish = "12 & <b>\"x\"</b>";
    for asked in &ASKED {
        for (field, _) in asked.metric {
            // A chassis number is judged whatever it holds, and so is an unknown label.
            if matches!(asked.worksheet, "vin") || *field == "label" {
                continue;
            }
            let typed: Vec<(&str, &str)> =
                asked.metric.iter().map(|(name, text)| (*name, if name == field { rubbish } else { *text })).collect();
            let path = address(asked.worksheet, "metric", &typed);
            let answer = anybody.get(&path).await;
            assert_eq!(answer.status(), StatusCode::UNPROCESSABLE_ENTITY, "{path}");
            let page = answer.page().await;
            assert!(!page.has("#answer"), "{path}: no verdict on what cannot be read");
            assert!(
                page.has(&format!("#{}-trouble", field.replace('.', "-"))),
                "{path}: said at the field: {:?}",
                page.all(".trouble")
            );
            for (name, text) in &typed {
                assert_eq!(kept(&page, name), *text, "{path}: what was typed at {name} is still there");
            }
        }
    }
}

fn blank_of(worksheet: &str, field: &str) -> &'static Blank {
    let found = form(worksheet).expect("a form").blanks.iter().find(|blank| blank.fields().iter().any(|name| name == field));
    found.unwrap_or_else(|| panic!("{worksheet} has no {field}"))
}

/// What stands in a field: typed, chosen or tapped.
fn kept(page: &Page, name: &str) -> String {
    let typed = page.value_of(&format!("input[name=\"{name}\"]:not([type=radio])"));
    let chosen = page.value_of(&format!("select[name=\"{name}\"] option[selected]"));
    let tapped = page.value_of(&format!("input[name=\"{name}\"][checked]"));
    [typed, chosen, tapped].into_iter().find(|text| !text.is_empty()).unwrap_or_default()
}

#[tokio::test]
async fn a_needed_field_left_empty_is_asked_for_in_plain_words() {
    let club = Club::open().await;
    let anybody = anybody(&club).await;
    for asked in &ASKED {
        let needed = asked.metric.iter().filter(|(field, _)| !blank_of(asked.worksheet, field).optional);
        for (field, _) in needed.filter(|(field, _)| !field.contains('.') || field.contains("hoop")) {
            let typed: Vec<(&str, &str)> = asked.metric.iter().copied().filter(|(name, _)| name != field).collect();
            if typed.is_empty() {
                continue;
            }
            let answer = anybody.get(&address(asked.worksheet, "metric", &typed)).await;
            assert_eq!(answer.status(), StatusCode::UNPROCESSABLE_ENTITY, "{} without {field}", asked.worksheet);
            let page = answer.page().await;
            assert_eq!(page.first(&format!("#{}-trouble", field.replace('.', "-"))), "Fill this in.");
            assert!(!page.first(".refused").contains('_'), "no name of a file's field is shown: {}", page.first(".refused"));
        }
    }
}

#[tokio::test]
async fn a_cylinder_left_out_is_asked_for_and_a_reading_left_out_is_passed_over() {
    let club = Club::open().await;
    let anybody = anybody(&club).await;
    let gap = [("cylinders.0.percent", "5"), ("cylinders.2.percent", "40")];
    let answer = anybody.get(&address("leak-down", "metric", &gap)).await;
    assert_eq!(answer.status(), StatusCode::UNPROCESSABLE_ENTITY, "cylinder 3 must not be called cylinder 2");
    assert!(answer.page().await.first("#cylinders-1-percent-trouble").contains("Cylinder 2 is left out"));
    // Common practice, no source: 1 mm an hour, 6 mm above the limit of 3, are 360 min.
    let gap = [
        ("readings.1.at_min", "0"),
        ("readings.1.thickness_mm", "10"),
        ("readings.5.at_min", "60"),
        ("readings.5.thickness_mm", "9"),
    ];
    let page = answered(&anybody, &address("pad-wear", "metric", &gap)).await;
    says(&page, &["Left by the line 360 min"], "two readings with a row between them");
    let grows = [
        ("readings.1.at_min", "0"),
        ("readings.1.thickness_mm", "10"),
        ("readings.5.at_min", "60"),
        ("readings.5.thickness_mm", "11"),
    ];
    let page = anybody.get(&address("pad-wear", "metric", &grows)).await.page().await;
    assert_eq!(page.value_of("#readings-1-thickness_mm"), "11", "the rows moved up");
    assert!(page.first("#readings-1-thickness_mm-trouble").contains("Reading 2 is thicker than reading 1"));
}

#[tokio::test]
async fn a_figure_out_of_range_is_told_in_the_readers_units() {
    let club = Club::open().await;
    let anybody = anybody(&club).await;
    let typed = [("cold_kpa", "900"), ("cold_c", "20"), ("hot_kpa", "2.6"), ("target_hot_kpa", "2.4")];
    let page = anybody.get(&address("tyre-pressure", "metric", &typed)).await.page().await;
    assert_eq!(page.first("#cold_kpa-trouble"), "This lies between 0 and 15 bar.");
    let page = anybody.get(&address("tyre-pressure", "us", &typed)).await.page().await;
    // 1500 kPa by 6.894757 kPa a psi (NIST SP 811).
    assert_eq!(page.first("#cold_kpa-trouble"), "This lies between 0 and 217.56 psi.");
}

#[tokio::test]
async fn a_label_that_nobody_knows_is_never_in_order_and_nothing_typed_becomes_markup() {
    let club = Club::open().await;
    let anybody = anybody(&club).await;
    let typed = [("kind", "helmet"), ("label", "<script>alert(1)</script>"), ("on", "2026-11-25")];
    let answer = anybody.get(&address("gear-life", "metric", &typed)).await;
    let text = answer.text().await;
    assert!(text.contains("ask the inspector") && text.contains("data-verdict=\"fix\""));
    assert!(!text.contains("<script>alert"), "what is typed is text");
    // FIA 8858 is the label of the posts of a head restraint: helmets.csv has it as no helmet approval.
    let typed = [("kind", "helmet"), ("label", "FIA 8858-2010"), ("on", "2026-11-25")];
    assert_eq!(verdict(&answered(&anybody, &address("gear-life", "metric", &typed)).await), "fix");
    // helmets.csv: not accepted after 2026-12-31.
    let sa2015 = |on| [("kind", "helmet"), ("label", "Snell SA2015"), ("on", on)];
    let last_day = answered(&anybody, &address("gear-life", "metric", &sa2015("2026-12-31"))).await;
    assert_eq!(verdict(&last_day), "note", "the last day is a good day");
    let day_after = answered(&anybody, &address("gear-life", "metric", &sa2015("2027-01-01"))).await;
    assert_eq!(verdict(&day_after), "fix");
    let vin = answered(&anybody, &address("vin", "metric", &[("vin", "\"><svg onload=x>")])).await;
    assert!(!vin.has("svg[onload]"), "a chassis number is drawn sign by sign");
}

#[tokio::test]
async fn the_list_names_every_worksheet_once_under_its_subject() {
    let club = Club::open().await;
    let anybody = anybody(&club).await;
    let page = answered(&anybody, "/worksheets").await;
    let subjects = ["Wheels and tyres", "Brakes", "Engine", "Driver's gear", "Body and papers", "For the organizer"];
    assert_eq!(page.all("main h2"), subjects);
    let links: Vec<String> = page
        .html
        .select(&css("main li a"))
        .filter_map(|link| link.attr("href").map(str::to_owned))
        .map(|href| href.split(['/', '?']).nth(2).unwrap_or_default().to_owned())
        .collect();
    let mut names: Vec<&str> = FORMS.iter().map(|form| form.name).collect();
    let mut listed: Vec<&str> = links.iter().map(String::as_str).collect();
    names.sort_unstable();
    listed.sort_unstable();
    assert_eq!(listed, names);
    assert!(answered(&anybody, "/worksheets?units=us").await.attr("main li a", "href").contains("units=us"));
    let lost = anybody.get("/worksheets/horoscope").await;
    assert_eq!(lost.status(), StatusCode::NOT_FOUND);
    assert!(lost.page().await.text().contains("There is no such worksheet"));
    assert_eq!(anybody.post("/worksheets/vin", &[("vin", "1")]).await.status(), StatusCode::METHOD_NOT_ALLOWED);
}

#[tokio::test]
async fn an_address_that_is_too_long_or_no_text_is_refused_and_a_strange_one_breaks_nothing() {
    let club = Club::open().await;
    let anybody = anybody(&club).await;
    let long = anybody.get(&format!("/worksheets/vin?vin={}", "A".repeat(9000))).await;
    assert_eq!(long.status(), StatusCode::URI_TOO_LONG);
    for (path, why) in [("vin?vin=%FF%FE", "no UTF-8"), ("vin?vin=a%00b", "a nought byte"), ("tyre-date?code=J%F6rg", "latin-1")]
    {
        assert_eq!(anybody.get(&format!("/worksheets/{path}")).await.status(), StatusCode::BAD_REQUEST, "{why}");
    }
    let furlongs = anybody.get("/worksheets/corner-weights?units=stone&lf_kg=40&rf_kg=40&lr_kg=40&rr_kg=40").await;
    assert_eq!(furlongs.status(), StatusCode::UNPROCESSABLE_ENTITY, "readings in unknown units are not guessed at");
    let twice = anybody.get("/worksheets/vin?vin=1&vin=2").await;
    assert_eq!(twice.status(), StatusCode::UNPROCESSABLE_ENTITY, "of two texts for one field neither is dropped in silence");
    let more = answered(&anybody, "/worksheets/tyre-date?code=1224&on=2026-11-25&limit_year=2").await;
    assert!(more.text().contains("limit_year: this worksheet has no such field"), "a slip in a link is told: {}", more.text());
    for query in ["%", "&&&=&", "=", "units", "?", "a=b&a=c", "units=us&units=metric", "%25%25", "+", "code=%F0%9F%9A%97", ";"] {
        for form in FORMS {
            let answer = anybody.get(&format!("/worksheets/{}?{query}", form.name)).await;
            assert!(answer.status().as_u16() < 500, "{} with {query}: {}", form.name, answer.status());
        }
    }
}

/// Whatever is typed wherever, the page stands: no field of no worksheet can be filled so that the server breaks.
#[tokio::test]
async fn no_reading_breaks_a_page() {
    let club = Club::open().await;
    let anybody = anybody(&club).await;
    let strange = [
        "0",
        "-1",
        "1e308",
        "99999999999999999999",
        "-0",
        "0.0000001",
        "5000",
        "NaN",
        "2026-02-30",
        "9999-12-31",
        "🚗",
        "١٢",
        "'",
    ];
    for form in FORMS {
        for blank in form.blanks {
            for text in strange {
                let field = blank.fields().swap_remove(0);
                let mut typed: Vec<(&str, &str)> = form.example.iter().copied().filter(|(name, _)| *name != field).collect();
                typed.push((&field, text));
                for units in ["metric", "us"] {
                    let answer: Answer = anybody.get(&address(form.name, units, &typed)).await;
                    let status = answer.status();
                    let is_whole = matches!(status, StatusCode::OK | StatusCode::UNPROCESSABLE_ENTITY);
                    assert!(is_whole, "{} with {field}={text} in {units}: {status}", form.name);
                    let page = answer.text().await;
                    let figures = !page.contains("NaN</") && !page.contains(">inf") && !page.contains("\"NaN");
                    assert!(figures || text == "NaN", "{} with {field}={text}: a figure that is none", form.name);
                }
            }
        }
        // The largest and the smallest readings that a worksheet takes still make a drawing of finite size.
        let numbers = form.blanks.iter().filter(|blank| matches!(blank.kind, BlankKind::Number(_)));
        let tiny: Vec<(String, &str)> = numbers.map(|blank| (blank.fields().swap_remove(0), "1")).collect();
        let tiny: Vec<(&str, &str)> = tiny.iter().map(|(field, text)| (field.as_str(), *text)).collect();
        assert!(anybody.get(&address(form.name, "metric", &tiny)).await.status().as_u16() < 500, "{}", form.name);
    }
}
