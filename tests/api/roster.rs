//! The roster: a file from anybody's spreadsheet is taken in whole, or each bad line is named and nothing is.

use crate::club::{Answer, Club};
use reqwest::StatusCode;

/// The roster page after a file was sent as a file.
async fn sends_file(club: &Club, bytes: &[u8]) -> Answer {
    let path = format!("/club/events/{}/roster", club.event);
    club.organizer.upload(&path, "file", &[("roster.csv", "text/csv", bytes)]).await
}

/// The car numbers on the roster, in the page's order.
async fn numbers(club: &Club) -> Vec<String> {
    let page = club.organizer.get(&format!("/club/events/{}/roster", club.event)).await.page().await;
    page.all("table.cars tbody .plate")
}

const THERE: [&str; 4] = ["7", "12", "27", "114B"];

/// The file must be refused with just these lines named, each with these words, and nothing may be taken in.
async fn is_refused(club: &Club, file: &[u8], wanted: &[(&str, &str)]) {
    let shown = String::from_utf8_lossy(file);
    let answer = sends_file(club, file).await;
    assert_eq!(answer.status(), StatusCode::UNPROCESSABLE_ENTITY, "{shown}");
    let page = answer.page().await;
    let said = page.all(".alert li");
    assert!(page.first(".alert").contains("Nothing was taken in"), "{shown}");
    for (line, words) in wanted {
        let named = said.iter().find(|said| said.starts_with(&format!("{line} :")) || said.starts_with(&format!("{line}:")));
        let named = named.unwrap_or_else(|| panic!("{line} is named in {said:?} for\n{shown}"));
        assert!(named.contains(words), "\"{words}\" in \"{named}\" for\n{shown}");
    }
    assert_eq!(said.len(), wanted.len(), "no other line is blamed: {said:?} for\n{shown}");
    assert_eq!(numbers(club).await, THERE, "nothing was half taken in");
    let kept = page.raw("textarea[name=text]");
    let first_words = shown.trim_start_matches('\u{feff}').split([',', ';', '\r', '\n']).next().unwrap_or_default();
    assert!(kept.contains(first_words), "what was sent is still in the page, to be mended");
}

#[tokio::test]
async fn files_of_many_spreadsheets_are_taken_in() {
    for (what, file) in [
        ("with a mark of byte order", "\u{feff}number,name,car,group,mail\n31,Ada Brandt,Alder,A,\n".to_owned()),
        ("with semicolons", "number;name;car;group;mail\n31;Ada Brandt;Alder, red;A;ada@example.org\n".to_owned()),
        ("with CR LF", "number,name,car,group,mail\r\n31,Ada Brandt,Alder,A,\r\n".to_owned()),
        ("with quotes", "number,name,car,group,mail\n31,\"Brandt, Ada\",\"Alder \"\"GT\"\"\",A,\n".to_owned()),
        ("with columns in another order", "Group,Mail,CAR,Name,Number\nA,,Alder,Ada Brandt,31\n".to_owned()),
        ("with columns of its own", "entry fee,number,paid,name,car,group\n90,31,yes,Ada Brandt,Alder,A\n".to_owned()),
        ("without the mail column", "number,name,car,group\n31,Ada Brandt,Alder,A\n".to_owned()),
        ("with blanks and empty lines", "number, name ,car,group\n\n  31 , Ada Brandt , Alder , a \n\n,,,\n".to_owned()),
        ("without a last line end", "number,name,car,group\n31,Ada Brandt,Alder,A".to_owned()),
        ("with letters of other scripts", "number,name,car,group\n31,Åsa Brändt 山田,Škoda,A\n".to_owned()),
    ] {
        let club = Club::open().await;
        let answer = sends_file(&club, file.as_bytes()).await;
        assert_eq!(answer.status(), StatusCode::SEE_OTHER, "{what}: {}", answer.page().await.first(".alert"));
        assert_eq!(numbers(&club).await, ["7", "12", "27", "31", "114B"], "{what}: numbers in order");
        assert_eq!(club.board_of("31").await.0, "pending", "{what}");
    }
}

#[tokio::test]
async fn quoted_commas_and_quotes_come_in_as_they_were_meant() {
    let club = Club::open().await;
    let file = "number,name,car,group\n31,\"Brandt, Ada \"\"A.\"\"\",\"Alder <b>GT</b>\",A\n";
    assert_eq!(sends_file(&club, file.as_bytes()).await.status(), StatusCode::SEE_OTHER);
    let page = club.car_page("31").await;
    assert_eq!(page.first(".who h1"), "Brandt, Ada \"A.\"");
    assert!(page.text().contains("Alder <b>GT</b>"), "a sharp bracket is a letter, not a mark of ours");
}

#[tokio::test]
async fn every_bad_line_is_named_with_its_reason() {
    let club = Club::open().await;
    let file = "number,name,car,group,mail\n\
        31,Ada Brandt,Alder,A,\n\
        twelve,Bo Lind,Alder,A,\n\
        32,Cy Marsh,Alder,Z,\n\
        33,,Alder,A,\n\
        34,Di Frost,Alder,A,di at example\n\
        7,Ed Vance,Alder,A,\n\
        35,Flo West,,B,flo@example.org\n\
        31,Gus Hale,Alder,A,\n";
    is_refused(
        &club,
        file.as_bytes(),
        &[
            ("line 3", "\"twelve\" is not a car number"),
            ("line 4", "\"Z\" is not a run group of this event (A, B, C)"),
            ("line 5", "The name has 1 to 60 characters"),
            ("line 6", "\"di at example\" is not a mail address"),
            ("line 7", "Car number 7 is on the roster already"),
            ("line 8", "The car has 1 to 60 characters"),
            ("line 9", "Car number 31 is on line 2 too"),
        ],
    )
    .await;
}

#[tokio::test]
async fn one_line_with_three_faults_is_told_all_three() {
    let club = Club::open().await;
    let answer = sends_file(&club, b"number,name,car,group,mail\nx,,Alder,Q,nobody\n").await;
    let said = answer.page().await.first(".alert li");
    for words in ["not a car number", "The name has", "not a run group", "not a mail address"] {
        assert!(said.contains(words), "{words}: {said}");
    }
}

#[tokio::test]
async fn lines_are_counted_as_an_editor_counts_them() {
    let club = Club::open().await;
    is_refused(&club, b"number,name,car,group\r\n31,Ada,Alder,A\r\n32,Bo,Alder,Z\r\n", &[("line 3", "run group")]).await;
    is_refused(&club, b"number,name,car,group\n\n\n32,Bo,Alder,Z\n", &[("line 4", "run group")]).await;
    is_refused(&club, b"number,name,car,group\r\n\r\n\r\n32,Bo,Alder,Z\r\n", &[("line 4", "run group")]).await;
    is_refused(
        &club,
        b"number,name,car,group\n31,\"Ada\nBrandt\",Alder,Z\n32,Bo,Alder,Z\n",
        &[("line 2", "run group"), ("line 4", "run group")],
    )
    .await;
}

#[tokio::test]
async fn too_many_fields_do_not_hide_what_is_wrong_elsewhere() {
    let club = Club::open().await;
    let file = b"number,name,car,group\n31,Ada,Alder,A,extra\n32,Bo,Alder,Z\n";
    let said = sends_file(&club, file).await.page().await.all(".alert li").join(" ");
    assert!(said.to_lowercase().contains("line 2") && said.contains("5 fields"), "{said}");
    assert!(said.contains("line 3") && said.contains("\"Z\""), "every bad line is named at once: {said}");
    assert_eq!(numbers(&club).await, THERE);
}

#[tokio::test]
async fn a_file_that_is_no_roster_is_refused_with_what_it_should_be() {
    let club = Club::open().await;
    is_refused(&club, b"number,name,car\n31,Ada,Alder\n", &[("file", "group is missing")]).await;
    is_refused(&club, b"31,Ada,Alder,A\n", &[("file", "The first line names the columns")]).await;
    is_refused(&club, b"number,name,car,group\n", &[("file", "no entries")]).await;
    is_refused(&club, b"number,number,name,car,group\n", &[("file", "there twice")]).await;
    is_refused(&club, b"PK\x03\x04 a spreadsheet, not saved as CSV", &[("file", "The first line names the columns")]).await;
}

#[tokio::test]
async fn an_empty_file_and_an_empty_form_are_refused_in_words() {
    let club = Club::open().await;
    for file in [&b""[..], b"\n\n", b"\xEF\xBB\xBF"] {
        let answer = sends_file(&club, file).await;
        assert_eq!(answer.status(), StatusCode::UNPROCESSABLE_ENTITY);
        assert!(answer.page().await.first(".alert").contains("Nothing was taken in"));
    }
    assert_eq!(club.take_roster("").await.status(), StatusCode::UNPROCESSABLE_ENTITY);
    assert_eq!(numbers(&club).await, THERE);
}

#[tokio::test]
async fn a_file_that_is_not_utf8_is_refused_at_its_line() {
    let club = Club::open().await;
    let file = b"number,name,car,group\n31,Ada,Alder,A\n32,J\xF6rg,Alder,A\n";
    is_refused(&club, file, &[("file", "Line 3 is not UTF-8")]).await;
    let utf16: Vec<u8> = "number,name,car,group\n31,Ada,Alder,A\n".encode_utf16().flat_map(u16::to_le_bytes).collect();
    let answer = sends_file(&club, &[&[0xFF, 0xFE][..], &utf16].concat()).await;
    assert_eq!(answer.status(), StatusCode::UNPROCESSABLE_ENTITY);
    assert!(answer.page().await.first(".alert").contains("Line 1 is not UTF-8"));
}

#[tokio::test]
async fn signs_that_cannot_be_read_aloud_are_refused() {
    let club = Club::open().await;
    is_refused(
        &club,
        b"number,name,car,group\n31,A\x07da,Alder,A\n32,B\x00o,Alder,A\n",
        &[("line 2", "name"), ("line 3", "name")],
    )
    .await;
    is_refused(&club, format!("number,name,car,group\n31,{},Alder,A\n", "x".repeat(61)).as_bytes(), &[("line 2", "name")]).await;
    is_refused(
        &club,
        b"number,name,car,group\n12345,Ada,Alder,A\n12BB,Bo,Alder,A\n",
        &[("line 2", "car number"), ("line 3", "car number")],
    )
    .await;
}

#[tokio::test]
async fn a_roster_that_is_too_large_is_413_and_one_not_sent_as_a_form_is_415() {
    let club = Club::open().await;
    let path = format!("/club/events/{}/roster", club.event);
    let as_text = club.organizer.post(&path, &[("text", "number,name,car,group\n31,Ada,Alder,A\n")]).await;
    assert_eq!(as_text.status(), StatusCode::UNSUPPORTED_MEDIA_TYPE);
    let many: String = (1..=1001).map(|n| format!("{n},Driver {n},Alder,A\n")).collect();
    let answer = sends_file(&club, format!("number,name,car,group\n{many}").as_bytes()).await;
    assert_eq!(answer.status(), StatusCode::PAYLOAD_TOO_LARGE);
    assert!(answer.page().await.text().contains("at most 1000 entries"));
    assert_eq!(numbers(&club).await, THERE);
    let answer = sends_file(&club, &vec![b'x'; 3_000_000]).await;
    assert_eq!(answer.status(), StatusCode::PAYLOAD_TOO_LARGE, "three megabytes: {}", answer.page().await.text());
}

/// OWASP, "CSV injection": a cell that begins with = + - @ is run by a spreadsheet; an apostrophe before it makes it text.
#[tokio::test]
async fn a_clever_name_comes_out_of_the_cleared_list_as_text() {
    let club = Club::open().await;
    let file =
        "number,name,car,group\n31,=1+1,+Alder,A\n32,@SUM(A1),-Corvane,A\n9,\"=HYPERLINK(\"\"http://x\"\",\"\"y\"\")\",Alder,B\n";
    assert_eq!(sends_file(&club, file.as_bytes()).await.status(), StatusCode::SEE_OTHER);
    let holt = club.inspector("=cmd").await;
    for number in ["31", "32", "9"] {
        club.driver(number).await.sends(|_| ()).await;
        assert_eq!(holt.clears(number).await.status(), StatusCode::SEE_OTHER);
    }
    let csv = club.cleared_csv().await;
    let mut reader = csv::Reader::from_reader(csv.as_bytes());
    let rows: Vec<csv::StringRecord> = reader.records().map(|row| row.expect("a row")).collect();
    assert_eq!(rows.len(), 3);
    for row in &rows {
        for cell in row {
            assert!(!cell.starts_with(['=', '+', '-', '@', '\t', '\r']), "{cell} would be run as a formula");
        }
    }
    assert_eq!(&rows[0][1], "'=HYPERLINK(\"http://x\",\"y\")");
    assert_eq!(&rows[1][1], "'=1+1");
    assert_eq!(&rows[1][5], "'=cmd", "the inspector's name too");
}

#[tokio::test]
async fn the_cleared_list_has_the_numbers_in_order_and_nobody_else() {
    let club = Club::open().await;
    let holt = club.inspector("R. Holt").await;
    for number in ["114B", "27", "7", "12"] {
        club.driver(number).await.sends(|_| ()).await;
        club.clock.pass(2);
        holt.clears(number).await;
    }
    let listed = |csv: &str| {
        csv.lines()
            .skip(1)
            .map(|line| line.split(',').next().unwrap_or_default().trim_matches('"').to_owned())
            .collect::<Vec<_>>()
    };
    assert_eq!(listed(&club.cleared_csv().await), THERE);
    holt.holds("12", "smells of fuel").await;
    assert_eq!(listed(&club.cleared_csv().await), ["7", "27", "114B"]);
    let page = club.organizer.get(&format!("/club/events/{}/cleared", club.event)).await.page().await;
    assert_eq!(page.first("h1"), "Cleared: 3 of 4");
    assert_eq!(page.all("table .plate"), ["7", "27", "114B"], "the list on screen, group by group");
    assert!(page.text().contains("no guarantee"), "who relies on it reads what it says and what not");
}
