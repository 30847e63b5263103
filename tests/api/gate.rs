//! The lane: a car is found in a second, who waits longest stands first, and what was held does not wait.

use crate::club::Club;
use reqwest::StatusCode;
use serde_json::json;

#[tokio::test]
async fn a_car_is_found_by_its_number_as_people_type_it() {
    let club = Club::open().await;
    let holt = club.inspector("R. Holt").await;
    for (typed, number) in [("27", "27"), ("%2027%20", "27"), ("114b", "114B"), ("114B", "114B"), ("7", "7")] {
        let found = holt.person.get(&format!("{}?number={typed}", holt.lane())).await;
        assert_eq!(found.status(), StatusCode::SEE_OTHER, "{typed}");
        let path = format!("{}/entries/{}", holt.lane(), club.entry(number).await);
        assert_eq!(found.location(), path, "{typed}");
    }
    for typed in ["99", "2", "114", "Ines", "27;", "%F0%9F%9A%97"] {
        let found = holt.person.get(&format!("{}?number={typed}", holt.lane())).await;
        assert_eq!(found.status(), StatusCode::OK, "{typed}");
        assert!(found.page().await.first("[role=alert]").contains("No car"), "{typed}: the inspector is told");
    }
    assert_eq!(holt.person.get(&format!("{}?number=", holt.lane())).await.status(), StatusCode::OK);
}

#[tokio::test]
async fn who_waits_longest_stands_first_and_who_was_seen_waits_no_more() {
    let club = Club::open().await;
    let holt = club.inspector("R. Holt").await;
    let waiting = || async { holt.person.get(&holt.lane()).await.page().await.all("ul.wait .plate") };
    assert_eq!(waiting().await.len(), 0);
    for number in ["27", "7", "114B"] {
        club.driver(number).await.sends(|_| ()).await;
        club.clock.pass(2);
    }
    assert_eq!(waiting().await, ["27", "7", "114B"]);
    assert!(holt.person.get(&holt.lane()).await.page().await.first("h1").contains("3 cars wait"));
    holt.clears("7").await;
    assert_eq!(waiting().await, ["27", "114B"]);
    holt.holds("27", "oil under the gearbox").await;
    assert_eq!(waiting().await, ["114B"], "the car is back in the paddock");
    club.driver("27").await.sends(|answers| answers["oil-leak"]["note"] = json!("seal replaced")).await;
    assert_eq!(waiting().await, ["114B", "27"], "mended and sent again, it waits again, at the end");
    club.driver("114B").await.sends(|answers| answers["windscreen"] = json!({ "value": "no" })).await;
    let lane = holt.person.get(&holt.lane()).await.page().await;
    assert!(lane.text().contains("mirror"), "what is found is read before the car is opened: {}", lane.text());
}

#[tokio::test]
async fn the_board_is_looked_through_by_number_name_group_and_standing() {
    let club = Club::open().await;
    club.driver("27").await.sends(|_| ()).await;
    club.driver("12").await.sends(|answers| answers["pad-front"]["at"]["lf"] = json!(2.1)).await;
    club.inspector("R. Holt").await.clears("27").await;
    for (query, cars) in [
        ("", vec!["7", "12", "27", "114B"]),
        ("?find=27", vec!["27"]),
        ("?find=corvane", vec!["12", "27"]),
        ("?find=OKAFOR", vec!["27"]),
        ("?find=99", vec![]),
        ("?group=A", vec!["7", "12"]),
        ("?standing=flagged", vec!["12"]),
        ("?standing=cleared&group=B", vec!["27"]),
        ("?standing=cleared&group=A", vec![]),
        ("?part=news&group=C", vec!["114B"]),
    ] {
        let page = club.organizer.get(&format!("/club/events/{}{query}", club.event)).await.page().await;
        assert_eq!(page.all("table.cars tbody .plate"), cars, "{query}");
        let counts: Vec<String> = page.all(".counts .n b");
        assert_eq!(counts, ["1", "1", "2"], "{query}: cleared, flagged, pending are counted over all");
    }
}
