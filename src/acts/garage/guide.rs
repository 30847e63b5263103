//! The club's fault guide and packing list: the program's own until an organizer edits the guide.

use crate::acts::Refusal;
use crate::acts::house::House;
use crate::acts::long_text::read_apart;
use crate::acts::refusal::field;
use crate::acts::rights::{Actor, Deed, Whose, require};
use crate::acts::set_up::{FAULT_GUIDE, PACKING};
use crate::rules::fault_guide::Guide;
use crate::rules::fault_guide_file;
use crate::rules::packing::Packing;
use crate::store::{StoreError, Touch, garage};
use jiff::Timestamp;
use std::sync::LazyLock;

/// The list that comes with the program, read once.
static LIST: LazyLock<Option<Packing>> = LazyLock::new(|| Packing::read(PACKING).ok());

/// An edition of the guide as its page shows it.
pub struct Edition {
    /// 0 for the guide that comes with the program.
    pub number: i64,
    pub file: String,
    pub made: Option<(String, Timestamp)>,
}

/// The newest edition of the guide.
pub async fn edition(house: &House) -> Result<Edition, Refusal> {
    let mut db = house.store.read().await?;
    Ok(match garage::guide(&mut db).await? {
        Some((number, file, by, at)) => Edition { number, file, made: Some((by, at)) },
        None => Edition { number: 0, file: FAULT_GUIDE.to_owned(), made: None },
    })
}

/// The guide in force.
pub async fn current(house: &House) -> Result<Guide, Refusal> {
    let edition = edition(house).await?;
    // It was read when it was added; that it cannot be read now means that a later program is stricter.
    let unreadable = |error| StoreError::Unreadable(format!("fault guide {}: {error}", edition.number));
    Ok(fault_guide_file::read(&edition.file).map_err(unreadable)?)
}

/// Adds an edition of the guide.
///
/// # Errors
/// [`Refusal::Fields`] with line and key for a file that cannot be read.
pub async fn edit(house: &House, actor: &Actor, file: String) -> Result<(), Refusal> {
    require(actor, Deed::RunTheClub, Whose::Club)?;
    // A form sends its line ends as CR LF, whatever stood there.
    let file = file.replace("\r\n", "\n");
    let text = file.clone();
    let read = read_apart(move || fault_guide_file::read(&text).map(drop)).await?;
    read.map_err(|error| Refusal::Fields(vec![field("file", error.to_string())]))?;
    let (now, by) = (house.now(), actor.name.clone());
    house
        .write_as(actor, Touch::Nothing, move |db| Box::pin(async move { Ok(garage::add_guide(db, &file, &by, now).await?) }))
        .await
}

/// The packing list.
pub fn packing() -> Option<&'static Packing> {
    LIST.as_ref()
}
