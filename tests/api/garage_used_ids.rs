//! A page's id that was used before, with something else: what was typed comes back, and what a button does is done.

use crate::club::{Club, Keeper, Page};
use crate::garage_twice::{Ids, all_posts};
use reqwest::StatusCode;

/// What a form of the page shows in a field, as a browser would send it.
fn shown(page: &Page, name: &str) -> String {
    let (field, long) = (format!("input[name='{name}']"), format!("textarea[name='{name}']"));
    let list = format!("select[name='{name}'] option[selected]");
    match page.attr(&field, "type").as_str() {
        _ if page.has(&long) => page.raw(&long),
        _ if page.has(&list) => page.value_of(&list),
        "radio" | "checkbox" => page.value_of(&format!("{field}[checked]")),
        _ => page.value_of(&field),
    }
}

/// Which field of a door's form says something else the second time, and what.
fn another(door: &str) -> Option<(&'static str, &'static str)> {
    Some(match door {
        "/hours" => ("monday", "3"),
        "/gear" => ("name", "The black one"),
        "/gear/{gear}" => ("label", "SA2025"),
        "/cars" => ("name", "A third car"),
        "/cars/{car}/facts" => ("mass", "1300"),
        "/cars/{car}/jobs" => ("title", "Find the water leak"),
        "/jobs/{job}/card" => ("found", "A drop on the floor, in the morning."),
        "/jobs/{job}/steps" => ("say", "Dry it"),
        "/jobs/{job}/parts" => ("name", "Another seal"),
        "/jobs/{job}/parts/{part}" => ("name", "Three seals"),
        "/jobs/{job}/done" => ("what", "New seal and new bolts."),
        "/jobs/{job}/reopen" => ("why", "It drips at the back."),
        "/cars/{car}/days" => ("name", "Another hill"),
        "/cars/{car}/days/{day}/plan" => ("sessions", "6"),
        "/cars/{car}/readings/{kind}" => ("lf", "8.5"),
        "/cars/{car}/track" => ("minutes", "90"),
        "/cars/{car}/fluids" => ("grade", "DOT 5.1"),
        _ => return None,
    })
}

/// Sends something else under an id that was used. Gives whether the door takes a text.
async fn another_under_a_used_id(keeper: &Keeper<'_>, door: &str, path: &str, id: &str, form: &[(&str, &str)]) -> bool {
    let Some((name, text)) = another(door) else { return false };
    let mut typed: Vec<(&str, &str)> = form.iter().copied().filter(|(field, _)| *field != name).collect();
    typed.push((name, text));
    let before = keeper.file().await;
    let answer = keeper.posts(path, id, &typed).await;
    assert_eq!(answer.status(), StatusCode::CONFLICT, "{door}");
    assert_eq!(keeper.file().await, before, "{door}: nothing is noted by it");
    let page = answer.page().await;
    let said = page.first("p.alert[role=alert]");
    assert!(said.contains("sent before") && said.contains("send it again"), "{door}: it says what to do: {said:?}");
    for (field, value) in &typed {
        assert_eq!(shown(&page, field), *value, "{door}: {field} is as it was typed");
    }
    let fresh = page.value_of("input[name=id]");
    assert_ne!(fresh, id, "{door}: the page has an id of its own");
    let action = page.attr("form.blanks", "action");
    assert_eq!(action, format!("{}{path}", keeper.home()), "{door}: and goes where it went");
    let again = keeper.posts(path, &fresh, &typed).await;
    // A job that is closed is not closed again, and its page says so with what was typed.
    match door {
        "/jobs/{job}/done" | "/jobs/{job}/reopen" => {
            let (status, page) = (again.status(), again.page().await);
            assert_eq!((status, shown(&page, name).as_str()), (StatusCode::CONFLICT, text), "{door}");
            assert!(page.first("p.alert").contains("this job is") || page.first("p.alert").contains("This job is"));
        }
        _ => {
            assert_eq!(again.status(), StatusCode::SEE_OTHER, "{door}: sent again it is kept: {}", again.page().await.text());
            assert!(keeper.file().await.to_string().contains(text), "{door}: {text} is kept");
        }
    }
    true
}

#[tokio::test]
async fn what_was_typed_under_a_used_id_comes_back_at_every_door_of_the_garage() {
    let club = Club::open().await;
    let ines = club.driver("27").await;
    let keeper = ines.opens_a_garage().await;
    let (mut ids, mut nth, mut doors) = (Ids::default(), 0, 0);
    while let Some(post) = all_posts(&keeper, nth, &ids).await {
        let id = club.new_id();
        let form: Vec<(&str, &str)> = post.form.iter().map(|(name, text)| (name.as_str(), text.as_str())).collect();
        let first = keeper.posts(&post.path, &id, &form).await;
        assert_eq!(first.status(), StatusCode::SEE_OTHER, "{}: {}", post.path, first.page().await.text());
        let takes_text = another_under_a_used_id(&keeper, post.door, &post.path, &id, &form).await;
        doors += usize::from(takes_text);
        // A button has nothing typed beside it, a list of ticks says how it is now, and a line of a table is known by what it says.
        let is_button = ["/gone", "/strike", "/state", "/fault", "/packed", "/import"].iter().any(|end| post.door.ends_with(end));
        assert_ne!(takes_text, is_button, "{} takes a text, or is a button", post.door);
        ids.learn(post.door, id);
        nth += 1;
    }
    assert_eq!(doors, 17, "every form that takes a text was tried");
}

/// The buttons of a page have one id between them where there is no script: each is a deed of its own all the same.
#[tokio::test]
async fn every_button_of_a_page_does_what_it_says_though_they_share_an_id() {
    let club = Club::open().await;
    let ines = club.driver("27").await;
    let keeper = ines.opens_a_garage().await;
    let work = keeper.has_to("Find the oil leak").await;
    let mut things = Vec::new();
    for name in ["one", "two"] {
        let gear = keeper.notes("/gear", &[("what", "suit"), ("name", name)]).await;
        let step = keeper.notes(&format!("/jobs/{work}/steps"), &[("say", name)]).await;
        let part = keeper.notes(&format!("/jobs/{work}/parts"), &[("name", name), ("lead", "5")]).await;
        let track = [("day", "2026-05-09"), ("sessions", "1"), ("minutes", "20"), ("note", name)];
        keeper.notes_of_car("/track", &track).await;
        things.push((gear, step, part));
    }
    let (lines, id) = (keeper.own_lines().await, club.new_id());
    let taps = async |path: String, fields: &[(&str, &str)]| {
        let before = keeper.kinds().await.len();
        for _ in 0..2 {
            let done = keeper.posts(&path, &id, fields).await;
            assert_eq!(done.status(), StatusCode::SEE_OTHER, "{path}: {}", done.page().await.text());
        }
        assert_eq!(keeper.kinds().await.len(), before + 1, "{path}: done, and tapped twice done once");
    };
    for (_, step, part) in &things {
        taps(format!("/jobs/{work}/steps"), &[("step", step), ("done", "1")]).await;
        taps(format!("/jobs/{work}/parts/{part}/state"), &[("is", "ordered")]).await;
        taps(format!("/jobs/{work}/parts/{part}/state"), &[("is", "here")]).await;
    }
    for line in &lines {
        taps(format!("/cars/{}/log/{line}/strike", keeper.car), &[]).await;
    }
    // The day after, what is ordered would come a day later: the tap of yesterday is the tap of yesterday.
    let part = &things[0].2;
    let state = format!("/jobs/{work}/parts/{part}/state");
    club.clock.pass(24 * 60);
    let before = keeper.kinds().await;
    assert_eq!(keeper.posts(&state, &id, &[("is", "ordered")]).await.status(), StatusCode::SEE_OTHER);
    assert_eq!(keeper.kinds().await, before);
    for (gear, step, part) in &things {
        for path in [format!("/gear/{gear}"), format!("/jobs/{work}/steps/{step}"), format!("/jobs/{work}/parts/{part}")] {
            let gone = keeper.posts(&format!("{path}/gone"), &id, &[]).await;
            assert_eq!(gone.status(), StatusCode::SEE_OTHER, "{path}: {}", gone.page().await.text());
        }
    }
    let page = keeper.looks(&format!("/jobs/{work}")).await.page().await;
    assert!(!page.has(".steps li") && !page.has(".parts li"), "all of them are gone");
}

#[tokio::test]
async fn a_step_that_is_empty_or_of_a_closed_job_comes_back_on_a_page_of_its_own() {
    let club = Club::open().await;
    let ines = club.driver("27").await;
    let keeper = ines.opens_a_garage().await;
    let work = keeper.has_to("Find the oil leak").await;
    let steps = format!("/jobs/{work}/steps");
    let empty = keeper.posts(&steps, &club.new_id(), &[("say", " ")]).await;
    assert_eq!(empty.status(), StatusCode::UNPROCESSABLE_ENTITY);
    assert!(empty.page().await.first("label .trouble").contains("Say what the step is"));
    let unknown = keeper.posts(&steps, &club.new_id(), &[("step", &club.new_id()), ("done", "1")]).await;
    assert_eq!(unknown.status(), StatusCode::NOT_FOUND, "a step that is gone is ticked off no more");
    keeper.notes(&format!("/jobs/{work}/done"), &[("what", "A seal."), ("shown_by", "Dry.")]).await;
    let late = keeper.posts(&steps, &club.new_id(), &[("say", "Dry it")]).await;
    assert_eq!(late.status(), StatusCode::CONFLICT);
    assert_eq!(shown(&late.page().await, "say"), "Dry it");
}

#[tokio::test]
async fn a_worksheets_readings_under_a_used_id_come_back_with_what_was_chosen() {
    let club = Club::open().await;
    let ines = club.driver("27").await;
    let keeper = ines.opens_a_garage().await;
    let (path, id) = ("/worksheets/tyre-pressure", club.new_id());
    let query = |hot: &str| format!("units=metric&cold_kpa=2&cold_c=20&hot_kpa={hot}&target_hot_kpa=2.4");
    let (first, second) = (query("2.6"), query("2.7"));
    let form = |query| [("query", query), ("car", keeper.car.as_str()), ("place", "lf"), ("day", "2026-05-09")];
    assert_eq!(keeper.posts(path, &id, &form(first.as_str())).await.status(), StatusCode::SEE_OTHER);
    let before = keeper.kinds().await;
    let answer = keeper.posts(path, &id, &form(second.as_str())).await;
    assert_eq!(answer.status(), StatusCode::CONFLICT);
    assert_eq!(keeper.kinds().await, before, "all of it is kept or nothing");
    let page = answer.page().await;
    assert!(page.first("p.alert").contains("sent before"));
    for (name, value) in form(second.as_str()) {
        assert_eq!(shown(&page, name), value, "{name}");
    }
    let again = keeper.posts(path, &page.value_of("input[name=id]"), &form(second.as_str())).await;
    assert_eq!(again.status(), StatusCode::SEE_OTHER);
    assert_eq!(keeper.kinds().await.len(), before.len() + 2, "cold and hot, of the second time");
}

/// Sent again from the same page, a new name of the car is taken with the rest or not at all.
#[tokio::test]
async fn a_cars_name_under_a_used_id_is_no_change_of_its_own() {
    let club = Club::open().await;
    let ines = club.driver("27").await;
    let keeper = ines.opens_a_garage().await;
    let (facts, id) = (format!("/cars/{}/facts", keeper.car), club.new_id());
    let named = async |name| keeper.posts(&facts, &id, &[("name", name), ("mass", "1200")]).await;
    assert_eq!(named("Red one").await.status(), StatusCode::SEE_OTHER);
    let before = keeper.file().await;
    let blue = named("Blue one").await;
    assert_eq!(blue.status(), StatusCode::CONFLICT);
    assert_eq!(shown(&blue.page().await, "name"), "Blue one");
    assert_eq!(named("Red one").await.status(), StatusCode::SEE_OTHER, "the same is answered as the first time");
    assert_eq!(keeper.file().await, before);
}

/// The page that asks which car a sheet is of has one id: the sheet is with the car that was tapped last.
#[tokio::test]
async fn a_sheet_goes_to_the_car_that_was_tapped_last_and_a_new_car_is_made_once() {
    let club = Club::open().await;
    let (ines, marta) = (club.driver("27").await, club.driver("7").await);
    let keeper = ines.opens_a_garage().await;
    ines.person.uses_link(&marta.secret).await;
    let door = format!("{}/garage", marta.home());
    let id = ines.person.get(&door).await.page().await.value_of("input[name=id]");
    let at = async || ines.person.get(&door).await.location();
    let taps = async |car: &str| {
        let done = ines.person.post(&door, &[("id", &id), ("car", car)]).await;
        assert_eq!((done.status(), done.location()), (StatusCode::SEE_OTHER, door.clone()), "{car}");
    };
    let (old, new) = (format!("{}/cars/{}", keeper.home(), keeper.car), format!("{}/cars/{id}", keeper.home()));
    for (car, where_it_is) in [("new", &new), (keeper.car.as_str(), &old), ("new", &new), (keeper.car.as_str(), &old)] {
        for _ in 0..2 {
            taps(car).await;
            assert_eq!(&at().await, where_it_is);
        }
    }
    assert_eq!(keeper.kinds().await.iter().filter(|kind| *kind == "car").count(), 2, "hers, and one new");
    // An id that is somebody else's brings it nowhere, and the page is made anew.
    let other = marta.opens_a_garage().await;
    let taken = ines.person.post(&door, &[("id", &other.car), ("car", "new")]).await;
    assert_eq!(taken.location(), door);
    assert_eq!(&at().await, &old);
}
