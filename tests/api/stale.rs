//! An inspector's page does not change by itself: what it did not show is never cleared by it.

use crate::club::Club;
use crate::tools::{pairs, sign_offs, with_field};
use reqwest::StatusCode;
use serde_json::json;

#[tokio::test]
async fn a_clear_from_a_page_older_than_the_drivers_new_sheet_is_refused() {
    let club = Club::open().await;
    let ines = club.driver("27").await;
    ines.sends(|_| ()).await;
    let holt = club.inspector("R. Holt").await;
    let car = holt.opens("27").await;
    club.clock.pass(3);
    ines.sends(|answers| answers["pad-front"]["at"]["lf"] = json!(2.1)).await;
    let fields = car.all_ticked();
    let refused = car.signs(&fields, "clear", "looked at twice").await;
    assert_eq!(refused.status(), StatusCode::CONFLICT);
    let page = refused.page().await;
    assert!(page.first(".alert[role=alert]:not(.news)").contains("Nothing was recorded"), "{}", page.first(".alert"));
    assert!(page.first(".bar").contains("submission 2"), "the page shows the new sheet: {}", page.first(".bar"));
    assert!(page.text().contains("Brake pad, front left: 2.1 mm"), "and what is wrong with it");
    assert_eq!(page.first("textarea[name=reason]"), "looked at twice", "what was typed is still there");
    assert!(page.has("input[name='by-hand-oil-leak'][checked]"), "a hand that felt it did feel it");
    assert!(!page.has("input[name^='closes-'][checked]"), "nothing new counts as seen put right");
    assert_eq!(club.history_of("27").await.len(), 2, "two submissions and nothing else");
    assert_eq!(club.board_of("27").await.0, "flagged");
}

#[tokio::test]
async fn a_hold_is_taken_from_any_page_however_old() {
    let club = Club::open().await;
    let ines = club.driver("27").await;
    ines.sends(|_| ()).await;
    let holt = club.inspector("R. Holt").await;
    let car = holt.opens("27").await;
    club.clock.pass(3);
    ines.sends(|answers| answers["pad-front"]["at"]["lf"] = json!(8)).await;
    assert_eq!(car.holds("oil under the gearbox").await.status(), StatusCode::SEE_OTHER);
    assert_eq!(club.board_of("27").await, ("flagged".into(), "held 07:03: oil under the gearbox".into()));
    assert!(ines.looks().await.text().contains("oil under the gearbox"), "the driver reads why");
    let again = holt.opens("27").await;
    assert!(again.page.first(".bar-word").contains("Held 07:03 by R. Holt: oil under the gearbox"));
    assert_eq!(again.clears().await.status(), StatusCode::SEE_OTHER, "seen and put right, it is cleared");
    assert_eq!(club.board_of("27").await.0, "cleared");
}

#[tokio::test]
async fn a_hold_on_a_car_that_has_sent_nothing_is_taken_and_a_clear_is_not() {
    let club = Club::open().await;
    let holt = club.inspector("R. Holt").await;
    let clear = holt.clears("27").await;
    assert_eq!(clear.status(), StatusCode::CONFLICT);
    assert!(clear.page().await.text().contains("nothing to clear"));
    assert_eq!(holt.holds("27", "drove in with a flat tyre").await.status(), StatusCode::SEE_OTHER);
    assert_eq!(club.board_of("27").await.0, "flagged");
}

#[tokio::test]
async fn of_two_inspectors_with_the_same_page_the_one_who_holds_wins_in_either_order() {
    for hold_first in [true, false] {
        let club = Club::open().await;
        club.driver("27").await.sends(|_| ()).await;
        let (holt, okoro) = (club.inspector("R. Holt").await, club.inspector("P. Okoro").await);
        let (to_clear, to_hold) = (holt.opens("27").await, okoro.opens("27").await);
        if hold_first {
            assert_eq!(to_hold.holds("cracked disc").await.status(), StatusCode::SEE_OTHER);
            assert_eq!(to_clear.clears().await.status(), StatusCode::CONFLICT, "the clear had not seen the hold");
        } else {
            assert_eq!(to_clear.clears().await.status(), StatusCode::SEE_OTHER);
            assert_eq!(club.board_of("27").await.0, "cleared");
            assert_eq!(to_hold.holds("cracked disc").await.status(), StatusCode::SEE_OTHER);
        }
        assert_eq!(club.board_of("27").await, ("flagged".into(), "held 07:00: cracked disc".into()), "hold first: {hold_first}");
        assert!(!club.cleared_csv().await.contains("Ines"), "nobody reads it as cleared, hold first: {hold_first}");
    }
}

/// Both at once, many times over: whichever is written first, a hold is never lost to a clear that had not seen it.
#[tokio::test]
async fn two_inspectors_at_the_same_instant_never_lose_the_hold() {
    let club = Club::open().await;
    for number in ["7", "12", "27", "114B"] {
        club.driver(number).await.sends(|_| ()).await;
        let (holt, okoro) = (club.inspector("R. Holt").await, club.inspector("P. Okoro").await);
        let (to_clear, to_hold) = (holt.opens(number).await, okoro.opens(number).await);
        let (clear, hold) = tokio::join!(to_clear.clears(), to_hold.holds("cracked disc"));
        assert!([StatusCode::SEE_OTHER, StatusCode::CONFLICT].contains(&clear.status()), "{}", clear.status());
        assert_eq!(hold.status(), StatusCode::SEE_OTHER);
        assert_eq!(club.board_of(number).await.0, "flagged", "car {number}");
    }
}

#[tokio::test]
async fn a_clear_that_leaves_a_finding_open_is_refused_at_that_finding() {
    let club = Club::open().await;
    let ines = club.driver("27").await;
    let two = |answers: &mut serde_json::Map<String, serde_json::Value>| {
        answers["pad-front"]["at"]["lf"] = json!(2.1);
        answers["windscreen"] = json!({ "value": "no" });
    };
    ines.sends(two).await;
    let holt = club.inspector("R. Holt").await;
    let car = holt.opens("27").await;
    let fields: Vec<_> = car.all_ticked().into_iter().filter(|(name, _)| name != "closes-pad-front").collect();
    assert!(fields.iter().any(|(name, _)| name == "closes-windscreen"), "both findings can be ticked");
    let refused = car.signs(&fields, "clear", "").await;
    assert_eq!(refused.status(), StatusCode::UNPROCESSABLE_ENTITY);
    let page = refused.page().await;
    assert_eq!(page.all(".trouble").len(), 1, "one thing is missing");
    let at_the_pad = page.html.select(&crate::club::css("li")).find(|li| li.html().contains("closes-pad-front"));
    let said = at_the_pad.map(|li| li.text().collect::<String>()).unwrap_or_default();
    assert!(said.contains("Still open: Brake pad, front left: 2.1 mm"), "it stands at the pad: {said}");
    assert!(page.has("input[name='closes-windscreen'][checked]"), "what was ticked stays ticked");
    assert_eq!(club.history_of("27").await.len(), 1, "nothing was recorded");
    assert_eq!(car.clears().await.status(), StatusCode::SEE_OTHER, "both seen put right");
    assert_eq!(club.board_of("27").await.0, "cleared");
    let history = club.car_page("27").await.text();
    let told = "Seen put right: Brake pad (New ones are fitted). Seen put right: Windscreen, mirrors.";
    assert!(history.contains(told), "years later it can be read: {history}");
}

#[tokio::test]
async fn a_clear_without_one_check_by_hand_is_refused_at_that_check() {
    let club = Club::open().await;
    club.driver("27").await.sends(|_| ()).await;
    let holt = club.inspector("R. Holt").await;
    let car = holt.opens("27").await;
    let checks: Vec<String> =
        car.all_ticked().into_iter().map(|(name, _)| name).filter(|name| name.starts_with("by-hand-")).collect();
    assert!(checks.len() >= 5, "the sheet has checks by hand: {checks:?}");
    for check in &checks {
        let fields: Vec<_> = car.all_ticked().into_iter().filter(|(name, _)| name != check).collect();
        let refused = car.signs(&fields, "clear", "").await;
        assert_eq!(refused.status(), StatusCode::UNPROCESSABLE_ENTITY, "without {check}");
        let page = refused.page().await;
        assert_eq!(page.all(".trouble").len(), 1, "without {check}");
        assert!(page.first(".trouble").starts_with("Not checked by hand yet"), "{}", page.first(".trouble"));
        assert!(!page.has(&format!("input[name='{check}'][checked]")), "{check} stays open");
        let ticked = page.html.select(&crate::club::css("input[name^='by-hand-'][checked]")).count();
        assert_eq!(ticked, checks.len() - 1, "the others stay ticked");
    }
    assert_eq!(club.history_of("27").await.len(), 1, "nothing was recorded");
}

#[tokio::test]
async fn a_hold_without_a_reason_is_refused_at_the_reason() {
    let club = Club::open().await;
    club.driver("27").await.sends(|_| ()).await;
    let holt = club.inspector("R. Holt").await;
    let car = holt.opens("27").await;
    for (reason, words) in [("", "Say why"), ("  \r\n ", "Say why"), ("bell\u{7}", "control character")] {
        let refused = car.holds(reason).await;
        assert_eq!(refused.status(), StatusCode::UNPROCESSABLE_ENTITY, "{reason:?}");
        assert!(refused.page().await.first("details.why .trouble").contains(words), "{reason:?}");
    }
    let long = "x".repeat(401);
    let refused = car.holds(&long).await;
    assert_eq!(refused.status(), StatusCode::UNPROCESSABLE_ENTITY);
    let page = refused.page().await;
    assert!(page.first(".trouble").contains("At most 400 characters; this has 401"));
    assert_eq!(page.first("textarea[name=reason]"), long, "what was typed is still there, to be shortened");
    assert_eq!(car.holds(&"x".repeat(400)).await.status(), StatusCode::SEE_OTHER, "400 are taken");
}

#[tokio::test]
async fn a_form_that_says_neither_clear_nor_hold_does_neither() {
    let club = Club::open().await;
    club.driver("27").await.sends(|_| ()).await;
    let holt = club.inspector("R. Holt").await;
    let car = holt.opens("27").await;
    for deed in ["", "release", "clear "] {
        let sent = car.signs(&car.all_ticked(), deed, "").await;
        if deed.trim() != "clear" {
            assert_eq!(sent.status(), StatusCode::UNPROCESSABLE_ENTITY, "deed \"{deed}\"");
            assert_eq!(club.history_of("27").await.len(), 1, "deed \"{deed}\"");
        }
    }
}

/// A pen in the page's hidden fields: an empty `seen` claims that nothing was looked at.
#[tokio::test]
async fn a_clear_that_has_seen_nothing_clears_nothing() {
    let club = Club::open().await;
    club.driver("27").await.sends(|_| ()).await;
    let holt = club.inspector("R. Holt").await;
    let car = holt.opens("27").await;
    let entry = club.entry("27").await;
    for seen in [String::new(), club.new_id()] {
        let fields = with_field(&car.all_ticked(), "seen", &seen);
        let mut form = pairs(&fields);
        form.extend([("deed", "clear"), ("reason", "")]);
        assert_eq!(holt.person.post(&sign_offs(&holt, &entry), &form).await.status(), StatusCode::CONFLICT, "seen \"{seen}\"");
    }
    assert_eq!(club.board_of("27").await.0, "pending");
}

/// The sheet was raised while the page was open: the car answers less than is asked now.
#[tokio::test]
async fn a_clear_by_the_old_edition_is_refused_when_the_new_one_asks_for_more() {
    let club = Club::open().await;
    club.driver("27").await.sends(|_| ()).await;
    let holt = club.inspector("R. Holt").await;
    let car = holt.opens("27").await;
    club.raise_to(&club.event, &crate::tools::sheet_with_a_new_item()).await;
    let refused = car.clears().await;
    assert_eq!(refused.status(), StatusCode::CONFLICT);
    assert!(refused.page().await.text().contains("the driver has to send again"));
    assert_eq!(club.board_of("27").await, ("pending".into(), "1 item not answered".into()));
}
