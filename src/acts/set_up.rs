//! Setting up a new database: the club's name, its first sheet, its first organizer.

use super::Refusal;
use super::hand_out::{HandedOut, Use, organizer_link};
use super::house::House;
use crate::store::club::{self, Edition};
use crate::store::{Touch, account};

/// The sheet that a new club starts with.
pub const CLUB_DAY: &str = include_str!("../sheets/club-day.toml");

/// The guide to faults that a new club starts with.
pub const FAULT_GUIDE: &str = include_str!("../sheets/fault-guide.toml");

/// The packing list that a new club starts with.
pub const PACKING: &str = include_str!("../sheets/packing.toml");

/// Makes a new database ready and gives the first organizer's one-time link; `None` where an organizer can get in already.
///
/// As long as nobody has used it, every start makes it anew: a link that was lost on the way to the terminal locks nobody out.
pub async fn set_up(house: &House, club_name: &str, organizer: &str) -> Result<Option<HandedOut>, Refusal> {
    set_up_for(house, club_name, organizer, Use::Once).await
}

/// As [`set_up`], for a demo whose one link is opened by everybody who tries it.
pub async fn set_up_for(house: &House, club_name: &str, organizer: &str, kind: Use) -> Result<Option<HandedOut>, Refusal> {
    let ready = {
        let mut db = house.store.read().await?;
        account::has_organizer(&mut db, house.now()).await?
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
                if club::name(db).await?.is_none() {
                    club::set_name(db, &name).await?;
                }
                if club::editions(db).await?.is_empty() {
                    club::add_edition(db, &edition).await?;
                }
                Ok(())
            })
        })
        .await?;
    organizer_link(house, organizer, kind).await.map(Some)
}
