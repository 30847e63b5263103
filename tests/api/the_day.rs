//! The day itself: send, flag, mend, clear, hold, take back.

use crate::club::Club;
use reqwest::StatusCode;
use serde_json::json;

#[tokio::test]
async fn a_sound_car_is_sent_cleared_and_on_the_list() {
    let club = Club::open().await;
    let ines = club.driver("27").await;
    assert_eq!(ines.sends(|_| ()).await.status(), StatusCode::CREATED, "a whole sheet is taken");
    assert_eq!(club.board_of("27").await.0, "pending", "nobody has looked yet");
    let holt = club.inspector("R. Holt").await;
    assert_eq!(holt.clears("27").await.status(), StatusCode::SEE_OTHER);
    assert_eq!(club.board_of("27").await, ("cleared".into(), "07:00, R. Holt".into()));
    assert!(club.cleared_csv().await.contains(r#""27","Ines Okafor","Corvane S4","B","2026-05-09 07:00:00 BST","R. Holt""#));
    assert_eq!(ines.heading().await, "Cleared for group B");
}

#[tokio::test]
async fn a_thin_pad_flags_the_car_until_it_is_mended_and_sent_again() {
    let club = Club::open().await;
    let ines = club.driver("27").await;
    ines.sends(|answers| answers["pad-front"]["at"]["lf"] = json!(2.1)).await;
    let (standing, why) = club.board_of("27").await;
    assert_eq!(standing, "flagged");
    assert!(why.contains("front left: 2.1 mm") && why.contains("at least 3.0 mm"), "the board says why: {why}");
    assert_eq!(ines.heading().await, "One thing stands between you and the grid");
    let mended = ines.types("brakes", &[("pad-front.lf", "9"), ("pad-front.rf", "9"), ("pad-front.unit", "mm")]).await;
    assert_eq!(mended.status(), StatusCode::SEE_OTHER);
    let form = ines.ready_to_send().await;
    assert_eq!(ines.sends_form(&form).await.status(), StatusCode::SEE_OTHER);
    assert_eq!(club.board_of("27").await.0, "pending", "mended, waiting for the gate");
    assert_eq!(club.inspector("R. Holt").await.clears("27").await.status(), StatusCode::SEE_OTHER);
    assert_eq!(club.board_of("27").await.0, "cleared");
}
