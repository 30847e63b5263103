//! Names: one spelling, nothing hidden, and two people of one event told apart by whoever reads them.

use crate::club::Club;
use reqwest::StatusCode;

async fn adds(club: &Club, role: &str, name: &str) -> (StatusCode, String) {
    let path = format!("/club/events/{}/people", club.event);
    let made = club.organizer.post(&path, &[("role", role), ("name", name)]).await;
    let status = made.status();
    (status, made.page().await.first(".trouble"))
}

#[tokio::test]
async fn an_inspector_whose_name_looks_like_somebody_elses_is_refused_at_the_field() {
    let club = Club::open().await;
    club.inspector("R. Holt").await;
    for (what, role, name) in [
        ("a figure", "inspector", "R. Ho1t"),
        ("a Cyrillic letter", "inspector", "R. H\u{43E}lt"),
        ("a marshal's", "marshal", "R. Ho1t"),
        ("an organizer", "inspector", "M. \u{410}shdown"),
        ("a driver", "inspector", "Ines 0kafor"),
    ] {
        let (status, trouble) = adds(&club, role, name).await;
        assert_eq!(status, StatusCode::UNPROCESSABLE_ENTITY, "{what}");
        assert!(trouble.contains("looks like"), "{what}: {trouble}");
    }
    let (status, trouble) = adds(&club, "inspector", "r.holt").await;
    assert_eq!(status, StatusCode::UNPROCESSABLE_ENTITY, "the same but for capitals and spaces");
    assert!(trouble.contains("already"), "{trouble}");
    for (what, role, name) in [
        ("an organizer who inspects as well", "inspector", "M. Ashdown"),
        ("a driver who is a marshal as well", "marshal", "Ines Okafor"),
        ("another person", "inspector", "J. Holt"),
    ] {
        assert_eq!(adds(&club, role, name).await.0, StatusCode::OK, "{what}");
    }
}

#[tokio::test]
async fn a_name_with_something_hidden_is_refused_at_the_field_and_another_spelling_is_kept_as_one() {
    let club = Club::open().await;
    for hidden in ["R. Ho\u{200B}lt", "\u{202E}tloH .R", "R. Holt\u{2066}"] {
        let (status, trouble) = adds(&club, "inspector", hidden).await;
        assert_eq!(status, StatusCode::UNPROCESSABLE_ENTITY, "{hidden:?}");
        assert!(trouble.contains("hidden character"), "{trouble}");
    }
    assert_eq!(adds(&club, "inspector", "Ｒ.  Ｈolt").await.0, StatusCode::OK);
    let people = club.organizer.get(&format!("/club/events/{}/people", club.event)).await.page().await;
    assert!(people.all("[data-role=inspector] b").contains(&"R. Holt".to_owned()), "in the one spelling");
    let organizer = club.organizer.post("/club/organizers", &[("name", "M. Ashd\u{200D}own")]).await;
    assert_eq!(organizer.status(), StatusCode::UNPROCESSABLE_ENTITY);
}

#[tokio::test]
async fn a_roster_with_a_look_alike_or_a_hidden_character_names_its_line() {
    let club = Club::open().await;
    let roster = "number,name,car,group,mail\n\
        31,\u{399}nes Okafor,Corvane S4,B,\n\
        32,Paul Ryn\u{202E}e,Corvane S4,B,\n\
        33,Lena Frost,Corvane\u{200B} S4,B,\n\
        34,Lena Fr0st,Hadley,B,\n";
    let answer = club.take_roster(roster).await;
    assert_eq!(answer.status(), StatusCode::UNPROCESSABLE_ENTITY);
    let said = answer.page().await.text();
    for words in ["line 2", "looks like Ines Okafor", "line 3", "The name has a hidden", "line 4", "The car has a hidden"] {
        assert!(said.to_lowercase().contains(&words.to_lowercase()), "{words}: {said}");
    }
    let twice = "number,name,car,group,mail\n31,Ines Okafor,Hadley,C,\n２８,Ines  Okafor,Hadley,C,\n";
    assert_eq!(club.take_roster(twice).await.status(), StatusCode::SEE_OTHER, "one driver with three cars");
    assert_eq!(club.board_of("28").await.0, "pending", "wide figures are figures");
}

/// What a name does to the words beside it stays inside the name.
#[tokio::test]
async fn a_name_of_a_script_from_right_to_left_stands_by_itself() {
    let club = Club::open().await;
    club.take_roster("number,name,car,group,mail\n31,נועה כהן,Corvane S4,B,\n").await;
    let board = club.organizer.get(&format!("/club/events/{}", club.event)).await.page().await;
    assert!(board.all("bdi").contains(&"נועה כהן".to_owned()), "the board");
    let car = club.car_page("31").await;
    assert!(car.all("bdi").contains(&"נועה כהן".to_owned()), "the car's page");
}
