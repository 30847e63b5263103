//! Raising an event to another edition, for every change of a sheet: the page says before what happens after; a clear is bound to
//! what was asked; what was measured is closed by a measurement.

use crate::club::sheets::{self, CHANGES, Change, STOPS, changed, sound, with_stop};
use crate::club::{Club, Driver, Page};
use reqwest::StatusCode;
use serde_json::{Map, Value as Json, json};
use sqlx::sqlite::SqliteConnectOptions;
use sqlx::{ConnectOptions, Connection};
use std::collections::{BTreeMap, BTreeSet};
use witnessmark::acts::Refusal;
use witnessmark::acts::state::{self, EntryState};
use witnessmark::rules::standing::Standing;
use witnessmark::rules::units::Units;
use witnessmark::store::Touch;

/// The number of the car with a stop on this item.
fn car_with(item: &str) -> String {
    let nth = STOPS.iter().position(|stop| stop.0 == item).expect("an item with a stop");
    (30 + nth).to_string()
}

/// Sends exactly these answers.
async fn sends(driver: &Driver<'_>, answers: Map<String, Json>) {
    let sent = driver.sends(|all| *all = answers).await;
    assert_eq!(sent.status(), StatusCode::CREATED, "car {} is sent: {}", driver.number, sent.text().await);
}

/// A car for each stop, and two sound ones: 10 was cleared, 11 waits.
async fn a_full_paddock() -> Club {
    let club = Club::with_sheet(Some(sheets::BASE)).await;
    let numbers = STOPS.iter().map(|stop| car_with(stop.0)).chain(["10".into(), "11".into()]);
    let rows: Vec<String> = numbers.map(|number| format!("{number},Driver {number},Corvane S4,B,\n")).collect();
    let taken = club.take_roster(&format!("number,name,car,group,mail\n{}", rows.concat())).await;
    assert_eq!(taken.status(), StatusCode::SEE_OTHER, "the paddock is entered");
    for stop in STOPS {
        sends(&club.driver(&car_with(stop.0)).await, with_stop(*stop)).await;
    }
    for number in ["10", "11"] {
        sends(&club.driver(number).await, sound()).await;
    }
    assert_eq!(club.inspector("R. Holt").await.clears("10").await.status(), StatusCode::SEE_OTHER);
    club
}

/// Where every entry stands and what is open on it.
async fn paddock(club: &Club) -> BTreeMap<String, EntryState> {
    let known = club.house.event(club.event.parse().expect("an id")).await.expect("the event");
    let entries = {
        let mut db = club.house.store.read().await.expect("a reader");
        witnessmark::store::entry::of_event(&mut db, known.event.id).await.expect("the entries")
    };
    let mut states = BTreeMap::new();
    for entry in entries {
        let state = state::read(&club.house, &known, entry.id, &Units::METRIC).await.expect("the entry");
        states.insert(entry.number.to_string(), state);
    }
    states
}

/// What the page said of each car: from, to, why.
fn rows(shown: &Page) -> BTreeMap<String, (String, String, String)> {
    let cells = |row: &str| shown.all(&format!("section.alert tbody tr td:nth-child({row})"));
    let (cars, from, to, why) = (cells("1"), cells("2"), cells("3"), cells("4"));
    (0..cars.len()).map(|nth| (cars[nth].clone(), (from[nth].clone(), to[nth].clone(), why[nth].clone()))).collect()
}

/// Raises as the page shows and holds what happened against what it said.
async fn raise_and_compare(club: &Club, shown: &Page, change: &Change) {
    let before = paddock(club).await;
    let said = rows(shown);
    let raised = club.raises_as_shown(&club.event, shown).await;
    assert_eq!(raised.status(), StatusCode::SEE_OTHER, "{}: the event is raised", change.0);
    let after = paddock(club).await;
    let mut lost = 0;
    for (number, was) in &before {
        let is = &after[number];
        let (from, to, why) = match said.get(number) {
            Some((from, to, why)) => (from.clone(), to.clone(), why.clone()),
            None => (was.standing().to_string(), was.standing().to_string(), String::new()),
        };
        assert_eq!((was.standing().word(), is.standing().word()), (from.as_str(), to.as_str()), "{}: car {number}", change.0);
        lost += usize::from(was.standing() == Standing::Cleared && is.standing() != Standing::Cleared);
        let open = |state: &EntryState| -> BTreeSet<_> {
            state.open_findings().iter().map(|finding| (finding.item.clone(), finding.place)).collect()
        };
        for finding in was.open_findings().iter().filter(|finding| !open(is).contains(&(finding.item.clone(), finding.place))) {
            assert!(why.contains(&format!("Falls away: {}", finding.why)), "{}: car {number}, {}: {why}", change.0, finding.why);
        }
        for finding in is.open_findings().iter().filter(|finding| !open(was).contains(&(finding.item.clone(), finding.place))) {
            assert!(why.contains(&finding.why), "{}: car {number} gets {}: {why}", change.0, finding.why);
        }
    }
    let lead = shown.first("section.alert p.lead");
    let words = match lost {
        0 => "No entry loses its clearance.".to_owned(),
        1 => "1 entry loses its clearance: B 1.".to_owned(),
        _ => format!("{lost} entries lose their clearance"),
    };
    assert!(lead.starts_with(&words), "{}: {lost} lost, and the page says {lead}", change.0);
}

#[tokio::test]
async fn for_every_change_the_page_says_before_what_happens_after() {
    let club = a_full_paddock().await;
    let sheet = format!("/club/events/{}/sheet", club.event);
    let base = club.organizer.get(&sheet).await.page().await.attr("ul.plain a[href^='/club/editions/']", "href");
    let base = base.rsplit('/').next().expect("an id").to_owned();
    for change in CHANGES {
        let added = club.organizer.post(&format!("{sheet}/editions"), &[("file", &changed(change))]).await;
        assert_eq!(added.status(), StatusCode::SEE_OTHER, "{}: {}", change.0, added.page().await.first("form .alert"));
        let shown = club.organizer.get(&added.location()).await.page().await;
        raise_and_compare(&club, &shown, change).await;
        let back = club.organizer.get(&format!("{sheet}?edition={base}")).await.page().await;
        raise_and_compare(&club, &back, change).await;
    }
    let raises = club.organizer.get(&sheet).await.page().await.all("ol.told li b");
    assert_eq!(raises.len(), 2 * CHANGES.len() + 1, "every raise is told");
    assert!(
        raises.iter().all(|line| line.starts_with("sheet raised from edition ") && line.ends_with("by M. Ashdown")),
        "{raises:?}"
    );
}

/// 112 dB against 105: with the worksheet gone from the sheet, the stop stays until the driver answers anew.
#[tokio::test]
async fn a_stop_does_not_vanish_with_the_worksheet_that_found_it() {
    let club = a_full_paddock().await;
    let noisy = car_with("noise");
    let change = CHANGES.iter().find(|change| change.0 == "the worksheet is taken away").expect("the change");
    club.raise_to(&club.event, &changed(change)).await;
    let (standing, why) = club.board_of(&noisy).await;
    assert_eq!(standing, "flagged", "{why}");
    let cleared = club.inspector("R. Holt").await.clears(&noisy).await;
    assert_eq!(cleared.status(), StatusCode::CONFLICT, "the driver has to answer first");
    let driver = club.driver(&noisy).await;
    assert!(driver.looks().await.text().contains("Found by edition 2 of the sheet"), "the driver is told");
    let mut quiet = sound();
    quiet.insert("noise".into(), json!({ "value": 92.0, "unit": "dB(A)" }));
    sends(&driver, quiet).await;
    assert_eq!(club.board_of(&noisy).await.0, "pending", "answered anew");
}

#[tokio::test]
async fn a_clear_given_by_an_edition_without_hand_checks_does_not_clear_by_one_with_them() {
    let club = a_full_paddock().await;
    let sheet = format!("/club/events/{}/sheet", club.event);
    let base = club.organizer.get(&sheet).await.page().await.attr("ul.plain a[href^='/club/editions/']", "href");
    let base = base.rsplit('/').next().expect("an id").to_owned();
    let none = CHANGES.iter().find(|change| change.0 == "no checks by hand").expect("the change");
    club.raise_to(&club.event, &changed(none)).await;
    let holt = club.inspector("R. Holt").await;
    assert_eq!(holt.clears("11").await.status(), StatusCode::SEE_OTHER);
    assert_eq!(club.board_of("11").await.0, "cleared");
    assert_eq!(club.raises_back_to(&base).await.status(), StatusCode::SEE_OTHER);
    assert_eq!(club.board_of("11").await.0, "pending", "nobody has looked at the hoses");
    assert_eq!(club.board_of("10").await.0, "cleared", "its clear carries what this edition asks");
    let open = holt.opens("11").await;
    assert_eq!(open.page.all("input[name^='by-hand-']").len(), 2, "both checks are asked");
    assert_eq!(open.clears().await.status(), StatusCode::SEE_OTHER);
    assert_eq!(club.board_of("11").await.0, "cleared");
}

#[tokio::test]
async fn one_check_by_hand_more_is_all_that_a_cleared_car_is_asked() {
    let club = a_full_paddock().await;
    let more = CHANGES.iter().find(|change| change.0 == "a check by hand more").expect("the change");
    let shown = club.raise_to(&club.event, &changed(more)).await;
    assert!(rows(&shown)["10"].2.contains("Not checked by hand: Tyre date."), "{:?}", rows(&shown)["10"]);
    assert_eq!(club.board_of("10").await, ("pending".into(), "1 check by hand left".into()));
    let holt = club.inspector("R. Holt").await;
    let lane = holt.person.get(&holt.lane()).await.page().await.text();
    assert!(lane.contains("10"), "it waits in the lane again: {lane}");
    let open = holt.opens("10").await;
    let asked = open.page.all("input[name^='by-hand-']").len();
    assert_eq!(asked, 1, "what was ticked before counts");
    assert_eq!(open.clears().await.status(), StatusCode::SEE_OTHER);
    assert_eq!(club.board_of("10").await.0, "cleared");
    assert_eq!(holt.opens("10").await.page.all("input[name^='by-hand-']").len(), 3, "to clear it once more, all are looked at");
}

#[tokio::test]
async fn a_clear_from_a_page_of_another_edition_is_brought_back() {
    let club = a_full_paddock().await;
    let holt = club.inspector("R. Holt").await;
    let open = holt.opens("11").await;
    let words = CHANGES.iter().find(|change| change.0 == "older tyres are taken").expect("the change");
    club.raise_to(&club.event, &changed(words)).await;
    assert_eq!(open.clears().await.status(), StatusCode::CONFLICT, "its maker saw other limits");
    assert_eq!(club.board_of("11").await.0, "pending");
    assert_eq!(holt.clears("11").await.status(), StatusCode::SEE_OTHER);
}

#[tokio::test]
async fn a_raise_from_a_page_that_showed_something_else_moves_nothing() {
    let club = a_full_paddock().await;
    let sheet = format!("/club/events/{}/sheet", club.event);
    let limit = CHANGES.iter().find(|change| change.0 == "a limit is raised").expect("the change");
    let added = club.organizer.post(&format!("{sheet}/editions"), &[("file", &changed(limit))]).await;
    let shown = club.organizer.get(&added.location()).await.page().await;
    club.inspector("R. Holt").await.clears("11").await;
    let raised = club.raises_as_shown(&club.event, &shown).await;
    assert_eq!(raised.status(), StatusCode::CONFLICT);
    let again = raised.page().await;
    assert!(again.first("section.alert p.lead").starts_with("2 entries lose their clearance: B 2."), "{}", again.text());
    assert_eq!(club.board_of("11").await.0, "cleared", "nothing was raised");
    assert_eq!(club.raises_as_shown(&club.event, &again).await.status(), StatusCode::SEE_OTHER);
    assert_eq!(club.board_of("11").await.0, "flagged");
    assert_eq!(club.raises_as_shown(&club.event, &again).await.status(), StatusCode::SEE_OTHER, "sent twice, it is one raise");
}

/// A measured finding is closed by the inspector's own reading, judged like any, or by a sentence.
#[tokio::test]
async fn a_thin_pad_is_not_closed_by_a_tick() {
    let club = a_full_paddock().await;
    let thin = car_with("pad");
    let holt = club.inspector("R. Holt").await;
    let open = holt.opens(&thin).await;
    let ticked: Vec<(String, String)> = open.all_ticked().into_iter().filter(|(name, _)| !name.starts_with("seen-")).collect();
    let with = |name: &str, text: &str| ticked.iter().cloned().chain([(name.to_owned(), text.to_owned())]).collect::<Vec<_>>();
    for (fields, says) in [
        (ticked.clone(), "Measure it yourself"),
        (with("reading-pad.lf", "2.1"), "Still: Pad, front left: 2.1 mm. This sheet asks for at least 3.0 mm."),
        (with("reading-pad.lf", "thick"), "Type a number in mm"),
    ] {
        let refused = open.signs(&fields, "clear", "").await;
        assert_eq!(refused.status(), StatusCode::UNPROCESSABLE_ENTITY, "{says}");
        let page = refused.page().await;
        assert!(page.all(".trouble").iter().any(|trouble| trouble.contains(says)), "{says}: {:?}", page.all(".trouble"));
    }
    let kept = open.signs(&with("reading-pad.lf", "2.1"), "clear", "").await.page().await;
    assert_eq!(kept.value_of("input[name='reading-pad.lf']"), "2.1", "what was typed is still there");
    assert_eq!(open.signs(&with("reading-pad.lf", "9.5"), "clear", "").await.status(), StatusCode::SEE_OTHER);
    assert_eq!(club.board_of(&thin).await.0, "cleared");
    let history = club.car_page(&thin).await.all("ol.told li").join(" ");
    assert!(history.contains("Seen put right: Pad (measured front left 9.5 mm)."), "{history}");
    // The reading is judged by each edition that comes: 9.5 mm against 12.
    let limit = CHANGES.iter().find(|change| change.0 == "a limit is raised").expect("the change");
    club.raise_to(&club.event, &changed(limit)).await;
    assert_eq!(club.board_of(&thin).await.0, "flagged");
}

#[tokio::test]
async fn a_sentence_closes_what_stood_on_the_page_and_nothing_that_a_later_edition_finds() {
    let club = a_full_paddock().await;
    let thin = car_with("pad");
    assert_eq!(club.inspector("R. Holt").await.clears(&thin).await.status(), StatusCode::SEE_OTHER, "new pads, in a sentence");
    let history = club.car_page(&thin).await.all("ol.told li").join(" ");
    assert!(history.contains("Seen put right: Pad (New ones are fitted)."), "{history}");
    // Front left was seen put right; front right was 9 mm, and 12 are asked now.
    let limit = CHANGES.iter().find(|change| change.0 == "a limit is raised").expect("the change");
    club.raise_to(&club.event, &changed(limit)).await;
    assert_eq!(club.board_of(&thin).await.0, "flagged", "nobody has looked at the other side");
}

/// "No" to "Are all hoses whole?" is the right answer to "Is any hose cracked?": typed for one, it must not be sent for the other.
#[tokio::test]
async fn what_was_typed_for_the_old_question_is_not_sent_for_the_new_one() {
    let club = a_full_paddock().await;
    let driver = club.driver("11").await;
    let area = driver.person.get(&format!("{}/areas/all", driver.home())).await.page().await;
    let old = area.value_of("input[name='hoses.q']");
    driver.types("all", &[("hoses", "no")]).await;
    let turned = CHANGES.iter().find(|change| change.0 == "the right answer is turned round").expect("the change");
    club.raise_to(&club.event, &changed(turned)).await;
    let sends_what_is_typed = async || {
        let state = driver.state().await;
        let body = json!({ "id": club.new_id(), "seen": state.seen, "edition": state.edition });
        driver.person.post_json(&format!("{}/submissions", driver.home()), &body).await.status()
    };
    assert_eq!(sends_what_is_typed().await, StatusCode::UNPROCESSABLE_ENTITY, "the new question is not answered");
    // A page that was opened before the raise, sent after it.
    driver.types("all", &[("hoses", "no"), ("hoses.q", &old)]).await;
    assert_eq!(sends_what_is_typed().await, StatusCode::UNPROCESSABLE_ENTITY, "nor by an old page");
    driver.types("all", &[("hoses", "no")]).await;
    assert_eq!(sends_what_is_typed().await, StatusCode::CREATED, "answered anew, by its driver");
    assert_eq!(club.board_of("11").await.0, "pending");
}

/// Two submissions that name each other were taken once, and ended the event for good: every page was a 500. The door takes no such
/// pair any more; a file that has one works, and an inspector who has seen both can clear the car.
#[tokio::test]
async fn a_file_with_a_circle_in_it_works_and_its_car_can_be_cleared_again() {
    let club = a_full_paddock().await;
    let driver = club.driver("11").await;
    let state = driver.state().await;
    let (one, other) = (club.new_id(), club.new_id());
    let seen: Vec<String> = state.seen.iter().map(ToString::to_string).chain([other.clone()]).collect();
    let sheet = json!({ "id": one, "seen": seen, "edition": state.edition, "answers": sound() });
    let first = driver.person.post_json(&format!("{}/submissions", driver.home()), &sheet).await;
    assert_eq!(first.status(), StatusCode::CREATED, "a record may name one that has not arrived");
    put_beside_the_door(&club, &one, &other).await;
    for page in ["", "/cleared", "/cleared.csv", "/roster"] {
        let path = format!("/club/events/{}{page}", club.event);
        assert_eq!(club.organizer.get(&path).await.status(), StatusCode::OK, "{path}");
    }
    assert_eq!(club.board_of("10").await.0, "cleared", "nobody else is touched");
    assert_eq!(club.board_of("11").await.0, "pending", "two submissions are in force");
    assert!(!driver.heading().await.is_empty(), "the driver's page is there");
    assert_eq!(club.inspector("R. Holt").await.clears("11").await.status(), StatusCode::SEE_OTHER);
    assert_eq!(club.board_of("11").await.0, "cleared");
}

/// Puts a submission that has seen `one` into the file under the id that `one` names: as the door once did.
async fn put_beside_the_door(club: &Club, one: &str, other: &str) {
    let id = |text: &str| text.parse::<uuid::Uuid>().expect("an id").as_bytes().to_vec();
    let mut db = SqliteConnectOptions::new().filename(club.database()).connect().await.expect("the file");
    let columns = "kind, body, made_at, arrived_at, maker, maker_salt, maker_mark, maker_role, link_id, device_id, counts, form, \
        edition_id, edition_digest, event_digest, entry_digest, entry_before, event_before, hash";
    let put = format!(
        "insert into record (id, event_id, entry_id, place, seen, number, {columns})
         select ?1, event_id, entry_id, place + 1, ?2, number + 1, {columns} from record where id = ?3"
    );
    let put = sqlx::query(sqlx::AssertSqlSafe(put)).bind(id(other)).bind(json!([one]).to_string()).bind(id(one));
    assert_eq!(put.execute(&mut db).await.expect("it is put there").rows_affected(), 1);
    db.close().await.expect("closed");
    let (event, entry) = (club.event.parse().expect("an id"), club.entry("11").await.parse().expect("an id"));
    // Whoever keeps something in memory hears of it, as of any commit.
    let touch = Touch::Entry { event, entry };
    club.house.store.write::<_, Refusal, _>(touch, |_| Box::pin(async { Ok(()) })).await.expect("a touch");
}
