//! `witnessmark verify`: what it prints is what it takes again later.

use crate::club::Club;
use crate::tools::command;

/// A club with a sheet, a clear and a second event, and its file.
async fn a_day() -> (Club, String) {
    let club = Club::open().await;
    club.driver("27").await.sends(|_| ()).await;
    club.inspector("R. Holt").await.clears("27").await;
    club.another_event("Summer day").await;
    let file = club.database().to_string_lossy().into_owned();
    (club, file)
}

#[tokio::test(flavor = "multi_thread")]
async fn what_it_prints_is_kept_and_given_back_while_the_club_goes_on() {
    let (club, file) = a_day().await;
    let first = command(&["verify", "--database", &file], b"");
    assert_eq!(first.code, Some(0), "{} {}", first.out, first.err);
    let event = first.out.lines().find(|line| line.starts_with(&format!("event {}: 4 records fit, head ", club.event)));
    assert!(event.is_some(), "opened, roster, submission, clear: {}", first.out);
    assert_eq!(first.out.lines().filter(|line| line.starts_with("event ")).count(), 2, "{}", first.out);
    assert!(first.out.lines().any(|line| line.starts_with("access: ") && line.contains(" deeds fit, head ")), "{}", first.out);
    let heads = club.database().with_file_name("heads.txt");
    std::fs::write(&heads, &first.out).expect("a file");
    let heads = heads.to_string_lossy().into_owned();
    club.inspector("S. Vane").await.holds("27", "Oil at the gearbox.").await;
    let later = command(&["verify", "--database", &file, "--heads", &heads], b"");
    assert_eq!(later.code, Some(0), "{} {}", later.out, later.err);
    assert!(later.out.contains(": 5 records fit"), "{}", later.out);
    let other = format!("event {}: 4 records fit, head {}\n", club.event, "0".repeat(64));
    std::fs::write(&heads, other).expect("a file");
    let false_head = command(&["verify", "--database", &file, "--heads", &heads], b"");
    assert_eq!(false_head.code, Some(2), "{}", false_head.out);
    assert!(false_head.out.contains("does not reach the head"), "{}", false_head.out);
    std::fs::write(&heads, "nothing of ours\n").expect("a file");
    let none = command(&["verify", "--database", &file, "--heads", &heads], b"");
    assert!(none.code != Some(0) && none.err.contains("no head"), "a file of something else is no proof: {}", none.err);
}

#[tokio::test(flavor = "multi_thread")]
async fn the_head_on_the_cleared_list_is_one_that_the_file_and_the_export_reach() {
    let (club, file) = a_day().await;
    let page = club.organizer.get(&format!("/club/events/{}/cleared", club.event)).await.page().await;
    let said = page.first("p.head");
    assert!(said.contains("From record 1 on, records also bind the sheet, the event and the roster"), "{said}");
    let head = page.first("p.head code");
    let export = club.database().with_file_name("history.jsonl");
    let history = club.organizer.get(&format!("/club/events/{}/history.jsonl", club.event)).await.text().await;
    std::fs::write(&export, history).expect("a file");
    let export = export.to_string_lossy().into_owned();
    for from in [["--database", &file], ["--export", &export]] {
        let good = command(&["verify", from[0], from[1], "--head", &head.to_uppercase()], b"");
        assert_eq!(good.code, Some(0), "{} {}", good.out, good.err);
        let bad = command(&["verify", from[0], from[1], "--head", &head, "--head", &"f".repeat(64)], b"");
        assert_eq!(bad.code, Some(2), "one of two heads is not its own: {}", bad.out);
        assert!(bad.out.contains(&"f".repeat(64)) && !bad.out.contains(&head), "{}", bad.out);
    }
}

#[test]
fn a_club_without_an_event_does_not_fit() {
    let folder = tempfile::TempDir::new().expect("a folder");
    let file = folder.path().join("club.sqlite").to_string_lossy().into_owned();
    let made = command(&["organizer", "--database", &file, "--name", "M. Ashdown"], b"");
    assert_eq!(made.code, Some(0), "{}", made.err);
    let empty = command(&["verify", "--database", &file], b"");
    assert_eq!(empty.code, Some(2), "{}", empty.out);
    assert!(empty.out.contains("there is no event in this file"), "{}", empty.out);
    let missing = command(&["verify", "--database", &format!("{file}.not-there")], b"");
    assert!(missing.code != Some(0) && !missing.err.contains("panicked"), "{}", missing.err);
}
