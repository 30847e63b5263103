//! A long log is shown in pages of a hundred lines, the newest first, and nothing is left out between them.

use crate::club::{Club, Keeper, Page};
use crate::garage_tables::HEAD;
use reqwest::StatusCode;

async fn log(keeper: &Keeper<'_>, page: &str) -> Page {
    keeper.looks_at_car(&format!("/log{page}")).await.page().await
}

/// The minutes on the page's lines, which tell them apart.
fn minutes(page: &Page) -> Vec<usize> {
    let figures = page.all("ul.log li .figures");
    figures.iter().filter_map(|text| text.split(' ').next()?.parse().ok()).collect()
}

#[tokio::test]
async fn a_long_log_is_shown_in_pages_the_newest_lines_first() {
    let club = Club::open().await;
    let ines = club.driver("27").await;
    let keeper = ines.opens_a_garage().await;
    let rows: String = (1..=250).map(|nth| format!("2026-05-{:02},,track-time,,{nth},min,,\n", nth / 40 + 1)).collect();
    let path = format!("/cars/{}/log/import", keeper.car);
    let taken = keeper.posts(&path, &club.new_id(), &[("text", &format!("{HEAD}{rows}"))]).await;
    assert_eq!(taken.status(), StatusCode::SEE_OTHER);
    let mut seen = Vec::new();
    let mut next = String::new();
    for (nth, count) in [(1, 100), (2, 100), (3, 50)] {
        let page = log(&keeper, &next).await;
        assert_eq!(minutes(&page).len(), count, "page {nth}");
        assert!(page.text().contains(&format!("page {nth} of 3")), "{}", page.text());
        assert_eq!((page.has("a[rel=prev]"), page.has("a[rel=next]")), (nth > 1, nth < 3), "page {nth}");
        let days = page.all("ul.log li > b");
        assert!(days.windows(2).all(|pair| pair[0] >= pair[1]), "the newest first: {days:?}");
        seen.extend(minutes(&page));
        next = if nth < 3 { format!("?{}", page.attr("a[rel=next]", "href").split_once('?').expect("a page").1) } else { next };
    }
    seen.sort_unstable();
    assert_eq!(seen, (1..=250).collect::<Vec<_>>(), "each line once");
    assert_eq!(minutes(&log(&keeper, "?page=99").await).len(), 50, "beyond the last is the last");
    for odd in ["?page=0", "?page=-1", "?page=x", "?page=", "?page=99999999999999999999"] {
        assert_eq!(minutes(&log(&keeper, odd).await).len(), 100, "{odd} is the first");
    }
    let line = keeper.own_lines().await[0].clone();
    keeper.notes_of_car(&format!("/log/{line}/strike"), &[]).await;
    let page = log(&keeper, "?page=3").await;
    assert_eq!(minutes(&page).len(), 49, "a line that is struck out is on no page");
    assert!(page.text().contains("1 line is struck out"));
}

/// What is kept in memory is never older than the last note, whoever made it and on which server.
#[tokio::test]
async fn a_look_shows_what_was_noted_a_moment_ago_whoever_noted_it() {
    let club = Club::open().await;
    let ines = club.driver("27").await;
    let keeper = ines.opens_a_garage().await;
    assert!(!keeper.looks_at_car("/jobs").await.page().await.text().contains("Find the leak"));
    keeper.has_to("Find the leak").await;
    assert!(keeper.looks_at_car("/jobs").await.page().await.text().contains("Find the leak"));
    let other = crate::club::Person::come_in(&club.base, &keeper.secret).await;
    let jobs = other.get(&format!("{}/cars/{}/jobs", keeper.home(), keeper.car)).await.page().await;
    assert!(jobs.text().contains("Find the leak"), "on another device");
    let file = keeper.file().await["changes"].as_array().map(Vec::len);
    assert_eq!(file, Some(4), "the car, its day, where it came from, the job");
}
