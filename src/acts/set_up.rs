//! Setting up a new database: the club's name, its first sheet, its first organizer.

use super::Refusal;
use super::hand_out::{HandedOut, first_organizer};
use super::house::House;
use crate::store::club::{self, Edition};
use crate::store::{Touch, access};

/// The sheet that a new club starts with.
pub const CLUB_DAY: &str = include_str!("../sheets/club-day.toml");

/// Makes a new database ready and gives the first organizer's link; `None` where an organizer can already get in.
pub async fn set_up(house: &House, club_name: &str, organizer: &str) -> Result<Option<HandedOut>, Refusal> {
    let ready = {
        let mut db = house.store.read().await?;
        access::has_organizer(&mut db).await?
    };
    if ready {
        return Ok(None);
    }
    let edition = Edition {
        id: house.new_id(),
        number: 0,
        name: "Club day".into(),
        file: CLUB_DAY.into(),
        made_at: house.now(),
        made_by: "Witnessmark".into(),
    };
    let name = club_name.to_owned();
    house
        .store
        .write::<_, Refusal, _>(Touch::Nothing, move |db| {
            Box::pin(async move {
                club::set_name(db, &name).await?;
                if club::editions(db).await?.is_empty() {
                    club::add_edition(db, &edition).await?;
                }
                Ok(())
            })
        })
        .await?;
    first_organizer(house, organizer).await.map(Some)
}
