//! At the gate, in either browser: what was signed where there is no signal outlives the battery.

use crate::browser::{Browser, Kind, in_time, tell_in_both};
use crate::club::Club;
use crate::gate_offline::at_the_gate_in;
use crate::wire::Wire;

tell_in_both!(two_cars_signed_without_signal_outlive_a_dead_battery_and_arrive_once);

async fn two_cars_signed_without_signal_outlive_a_dead_battery_and_arrive_once(kind: Kind) {
    in_time(async {
        let club = Club::open().await;
        for number in ["7", "27"] {
            club.driver(number).await.sends(|_| ()).await;
        }
        let holt = club.inspector("R. Holt").await;
        let wire = Wire::to(&club.base).await;
        let lane = format!("{}{}", wire.base, holt.lane());
        let phone = at_the_gate_in(kind, &club, &wire, &holt, "gate-battery", "inspector").await;
        // The evening before: the phone was made ready and put away in order.
        let phone = Browser::comes_back(phone.puts_it_away().await).await;
        phone.forgives("ERR_");
        phone.has_the_clubs_time(&club).await;
        wire.is_cut();
        phone.opens(&lane).await;
        phone.signs("7", "clear").await;
        phone.signs("27", "hold").await;
        phone.sees(".queue", "2 sign-offs wait on this device for signal").await;
        let phone = Browser::comes_back(phone.dies().await).await;
        phone.forgives("ERR_");
        phone.has_the_clubs_time(&club).await;
        phone.opens(&lane).await;
        phone.sees(".queue", "2 sign-offs wait on this device for signal").await;
        phone.keeps("1-on-again").await;
        for number in ["7", "27"] {
            assert_eq!(club.history_of(number).await.len(), 1, "car {number}: the sheet and nothing else has arrived");
        }
        // The first answers are lost on their way back: everything is sent twice.
        wire.loses_answers();
        phone.taps(".queue button").await;
        crate::club::until("an answer is lost", || async { wire.lost() > 0 }).await;
        wire.is_sound();
        phone.taps(".queue button").await;
        phone.has_sent_all().await;
        assert_eq!(club.history_of("7").await[0], "clear by R. Holt (inspector)");
        assert_eq!(club.history_of("27").await[0], "hold by R. Holt (inspector)");
        for number in ["7", "27"] {
            assert_eq!(club.history_of(number).await.len(), 2, "car {number}: the sheet and one sign-off");
        }
        phone.closes().await;
    })
    .await;
}
