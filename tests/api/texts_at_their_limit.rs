//! Texts of the largest size that is taken: they are read or refused in words, and nobody else waits for them.

use crate::club::{Answer, Club};
use reqwest::StatusCode;
use std::time::{Duration, Instant};
use witnessmark::rules::roster_csv::{self, NoRows};
use witnessmark::rules::{fault_guide_file, sheet_file};

const HEAD: &str = "number,name,car,group,mail\n";
const CAR: &str = "31,Ada Brandt,Alder,A,\n";
/// Only so that a test that hangs ends: what is read here takes some milliseconds.
const HANG: Duration = Duration::from_secs(20);

async fn sends(club: &Club, file: &str) -> Answer {
    let path = format!("/club/events/{}/roster", club.event);
    club.organizer.upload(&path, "file", &[("roster.csv", "text/csv", file.as_bytes())]).await
}

async fn count(club: &Club) -> usize {
    let page = club.organizer.get(&format!("/club/events/{}/roster", club.event)).await.page().await;
    page.all("table.cars tbody .plate").len()
}

/// A spreadsheet whose table was once longer writes a line of separators for each row that is empty now.
#[tokio::test]
async fn one_car_and_eighty_thousand_lines_of_commas_are_one_car() {
    let club = Club::open().await;
    let began = Instant::now();
    let answer = sends(&club, &format!("{HEAD}{CAR}{}", ",,,,\n".repeat(80_000))).await;
    assert_eq!(answer.status(), StatusCode::SEE_OTHER);
    assert_eq!(count(&club).await, 5, "four were there");
    assert!(began.elapsed() < HANG, "{:?}", began.elapsed());
}

#[tokio::test]
async fn lines_are_still_named_rightly_below_thousands_of_empty_ones() {
    let club = Club::open().await;
    let file = format!("{HEAD}{}x,Ada Brandt,Alder,A,\n{}y,Bo Lind,Alder,A,\n", ",,,,\r\n".repeat(3_000), "\r\n".repeat(5_000));
    let answer = sends(&club, &file).await;
    assert_eq!(answer.status(), StatusCode::UNPROCESSABLE_ENTITY);
    let said = answer.page().await.all(".alert li");
    assert!(said.iter().any(|said| said.starts_with("line 3002")), "{said:?}");
    assert!(said.iter().any(|said| said.starts_with("line 8003")), "{said:?}");
}

#[test]
fn a_roster_is_read_up_to_its_thousandth_row_and_not_beyond() {
    let rows = |count: usize| format!("{HEAD}{}", CAR.repeat(count));
    assert_eq!(roster_csv::read(rows(1000).as_bytes()).map(|rows| rows.len()), Ok(1000));
    assert_eq!(roster_csv::read(rows(1001).as_bytes()), Err(NoRows::TooMany));
    // What stands behind the thousand and first row is not looked at: three fields more than there are columns.
    let beyond = format!("{}{}", rows(1001), "1,2,3,4,5,6,7,8\n".repeat(1000));
    assert_eq!(roster_csv::read(beyond.as_bytes()), Err(NoRows::TooMany));
    let empty = format!("{}{}", rows(1000), ",,,,\n".repeat(50_000));
    assert_eq!(roster_csv::read(empty.as_bytes()).map(|rows| rows.len()), Ok(1000), "empty lines are no rows");
}

#[tokio::test]
async fn a_roster_of_too_many_rows_says_so_and_takes_none() {
    let club = Club::open().await;
    let many: String = (1..=1001).map(|nth| format!("{nth},Driver {nth},Alder,A,\n")).collect();
    let answer = sends(&club, &format!("{HEAD}{many}")).await;
    assert_eq!(answer.status(), StatusCode::PAYLOAD_TOO_LARGE);
    let text = answer.page().await.text();
    assert!(text.contains("at most 1000 entries") && text.contains("nothing of this file was taken in"), "{text}");
    assert_eq!(count(&club).await, 4);
}

#[tokio::test]
async fn a_cell_as_long_as_the_file_is_not_repeated_whole() {
    let club = Club::open().await;
    let long = "x".repeat(100_000);
    let answer = sends(&club, &format!("{HEAD}31,Ada Brandt,Alder,{long},{long}\n")).await;
    assert_eq!(answer.status(), StatusCode::UNPROCESSABLE_ENTITY);
    let said = answer.page().await.all(".alert li").join(" ");
    assert!(said.contains("is not a run group") && said.len() < 1_000, "{} characters", said.len());
}

/// While a file is read, the server answers others.
#[tokio::test(flavor = "multi_thread")]
async fn while_long_files_are_read_the_server_answers() {
    let club = Club::open().await;
    let file = format!("{HEAD}{CAR}{}", ",,,,\n".repeat(80_000));
    let answers = async {
        for _ in 0..20 {
            assert_eq!(club.organizer.get("/alive").await.status(), StatusCode::OK);
        }
    };
    let began = Instant::now();
    let (first, second, third, ()) = tokio::join!(sends(&club, &file), sends(&club, &file), sends(&club, &file), answers);
    let taken = [first, second, third].iter().filter(|answer| answer.status() == StatusCode::SEE_OTHER).count();
    assert_eq!((taken, count(&club).await), (1, 5), "the others are told that the car is there");
    assert!(began.elapsed() < HANG, "{:?}", began.elapsed());
}

/// Files that a parser may find hard: deep, wide, long. Each is refused in words.
#[test]
fn sheets_and_guides_at_their_limit_are_refused_in_words() {
    let most = sheet_file::LARGEST;
    let deep = [
        format!("a{} = 1\n", ".a".repeat(most / 2 - 10)),
        format!("[a{}]\nb = 1\n", ".a".repeat(most / 2 - 10)),
        format!("a = {}", "[".repeat(most - 10)),
        format!("a = {}", "{a=".repeat(most / 3 - 10)),
        "[[area]]\n[[area.item]]\n".repeat(most / 23 - 1),
        (0..most / 16).map(|nth| format!("[a.t{nth}]\n")).collect(),
        "a = 1\n".repeat(most / 6 - 1),
    ];
    for file in deep {
        let began = Instant::now();
        assert!(file.len() <= most, "{} bytes", file.len());
        let (sheet, guide) = (sheet_file::read(&file).map(drop), fault_guide_file::read(&file).map(drop));
        let head: String = file.chars().take(20).collect();
        assert!(sheet.is_err_and(|error| error.line > 0 && !error.message.is_empty()), "{head}");
        assert!(guide.is_err_and(|error| error.line > 0 && !error.message.is_empty()), "{head}");
        assert!(began.elapsed() < HANG, "{head}: {:?}", began.elapsed());
    }
    let larger = "a".repeat(most + 1);
    assert!(sheet_file::read(&larger).unwrap_err().message.contains("at most 512 kB"));
    assert!(fault_guide_file::read(&larger).unwrap_err().message.contains("at most 512 kB"));
}
