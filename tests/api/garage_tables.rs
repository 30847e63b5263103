//! A log as a table: what cannot be used is told line by line, and what the log has already is not taken twice.

use crate::club::Club;
use reqwest::StatusCode;

pub const HEAD: &str = "day,time,what,place,value,unit,new,note\n";

#[tokio::test]
async fn a_table_that_cannot_be_used_is_told_line_by_line_and_nothing_of_it_is_taken() {
    let club = Club::open().await;
    let ines = club.driver("27").await;
    let keeper = ines.opens_a_garage().await;
    let before = keeper.kinds().await;
    let good = "2026-05-01,,tread,lf,6.1,mm,,\n";
    let long = "x".repeat(301);
    for (line, words) in [
        ("9999-12-31,,tread,lf,6.1,mm,,", "is no day"),
        ("2026-05-31,,tread,lf,6.1,mm,,", "still to come"),
        ("28.3.2026,,tread,lf,6.1,mm,,", "is no day"),
        ("2026-05-01,25:00,tread,rf,6.1,mm,,", "is no time"),
        ("2026-05-01,,warp,rf,6.1,mm,,", "is none of"),
        ("2026-05-01,,tread,roof,6.1,mm,,", "is no place"),
        ("2026-05-01,,tread,rf,6.1,kg,,", "is not read in"),
        ("2026-05-01,,tread,rf,1e308,mm,,", "is no number"),
        ("2026-05-01,,tread,rf,NaN,mm,,", "is no number"),
        ("2026-05-01,,tread,rf,=1+1,mm,,", "is no number"),
        ("2026-05-01,,tread,rf,900,mm,,", "cannot be"),
        ("2026-05-01,,tread,rf,,mm,,", "is no number"),
        ("2026-05-01,,track-time,,1e9,min,,", "from 1 to 1440"),
        ("2026-05-01,,tread,lf,6.2,mm,,", "read twice"),
        (&format!("2026-05-01,,tread,rf,6.2,mm,,{long}"), "at most 300"),
    ] {
        let table = format!("{HEAD}{good}{line}\n");
        let answer = keeper.posts(&format!("/cars/{}/log/import", keeper.car), &club.new_id(), &[("text", &table)]).await;
        assert_eq!(answer.status(), StatusCode::UNPROCESSABLE_ENTITY, "{line}");
        let page = answer.page().await;
        assert!(page.text().contains("Line 3") && page.text().contains(words), "{line}: {}", page.text());
        assert!(page.raw("textarea").contains(line), "{line} is still there to be mended");
    }
    let path = format!("/cars/{}/log/import", keeper.car);
    for table in ["", "day", HEAD, "\u{feff}", "\n\n\n", "day;what\n2026;x\n", "\"", "day,what,value\n\"2026-05-01,tread"] {
        let answer = keeper.posts(&path, &club.new_id(), &[("text", table)]).await;
        assert_eq!(answer.status(), StatusCode::UNPROCESSABLE_ENTITY, "{table:?}");
    }
    let rows: String = (0..5001).map(|nth| format!("2026-05-01,,track-time,,{},min,,\n", nth % 1400 + 1)).collect();
    let many = keeper.posts(&path, &club.new_id(), &[("text", &format!("{HEAD}{rows}"))]).await;
    assert_eq!(many.status(), StatusCode::UNPROCESSABLE_ENTITY);
    assert!(many.page().await.text().contains("at most 5,000 lines"));
    let large = keeper.posts(&path, &club.new_id(), &[("text", &"x".repeat(600_000))]).await;
    assert_eq!(large.status(), StatusCode::PAYLOAD_TOO_LARGE);
    assert!(large.page().await.text().contains("too large"));
    let id = club.new_id();
    for body in ["%00", "J%F6rg", "\u{0}"] {
        let body = format!("id={id}&text={}{body}", HEAD.replace('\n', "%0A"));
        let url = format!("{}{path}", keeper.home());
        let answer = keeper.person.post_bytes(&url, "application/x-www-form-urlencoded", body.clone()).await;
        assert_eq!(answer.status(), StatusCode::UNPROCESSABLE_ENTITY, "{body:?}");
    }
    assert_eq!(keeper.kinds().await, before, "nothing of any was taken");
}

#[tokio::test]
async fn the_logs_own_table_taken_in_again_doubles_nothing() {
    let club = Club::open().await;
    let ines = club.driver("27").await;
    ines.sends(|_| ()).await;
    let keeper = ines.opens_a_garage().await;
    let day = ("day", "2026-05-08");
    let notes = ["=HYPERLINK(\"x\")", "-1 turn", "@home", "+1", "plain; with, \"quotes\""];
    for (nth, note) in notes.into_iter().enumerate() {
        let lf = format!("{}.25", 8 - nth);
        let clock = format!("0{nth}:30");
        keeper
            .notes_of_car("/readings/pad", &[day, ("clock", &clock), ("lf", &lf), ("rf", "8"), ("unit", "mm"), ("note", note)])
            .await;
    }
    keeper.notes_of_car("/readings/camber", &[day, ("lf", "-1.5"), ("unit", "deg")]).await;
    keeper.notes_of_car("/fluids", &[day, ("fluid", "engine-oil"), ("grade", "5W-40"), ("note", "and filter")]).await;
    for _ in 0..2 {
        keeper.notes_of_car("/track", &[day, ("sessions", "1"), ("minutes", "20")]).await;
    }
    let before = keeper.kinds().await;
    let table = keeper.looks_at_car("/log.csv").await.text().await;
    assert!(
        !table.lines().any(|line| line.contains(",=") || line.contains(",\"=") || line.contains(",@")),
        "no cell runs: {table}"
    );
    let path = format!("/cars/{}/log/import", keeper.car);
    let again = keeper.posts(&path, &club.new_id(), &[("text", &table)]).await;
    assert_eq!(again.status(), StatusCode::SEE_OTHER, "{}", again.page().await.text());
    assert_eq!(keeper.kinds().await, before, "every line of it is in the log already");

    // A garage that is made anew from it has all of it, each once.
    let other = club.driver("7").await.opens_a_garage().await;
    let path = format!("/cars/{}/log/import", other.car);
    for _ in 0..2 {
        let moved = other.posts(&path, &club.new_id(), &[("text", &table)]).await;
        assert_eq!(moved.status(), StatusCode::SEE_OTHER, "{}", moved.page().await.text());
    }
    let moved = other.looks_at_car("/log.csv").await.text().await;
    let lines = |text: &str| {
        let mut lines: Vec<String> = text.lines().map(str::to_owned).collect();
        lines.sort();
        lines
    };
    assert_eq!(
        lines(&moved),
        lines(&table),
        "two like sessions are two, and a note that looks like a formula is as it was typed"
    );
}
