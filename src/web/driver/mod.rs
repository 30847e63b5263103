//! The driver's pages, under `/my/{entry}`: what stands between the car and the grid, the sheet area by area.

mod area;
mod both;
mod home;
mod item;
mod pass;
mod photo;

pub(in crate::web) use photo::jpeg;
mod send;

use super::Web;
use super::error::Fault;
use crate::acts::fill_in::{self, Filled};
use crate::acts::house::KnownEvent;
use crate::acts::rights::{Actor, Deed, Whose, require};
use crate::acts::state::{self, EntryState};
use crate::acts::submit;
use crate::rules::answer::Answers;
use crate::rules::judge::judge;
use crate::rules::units::Units;
use crate::store::draft::Draft;
use crate::web::doors::Doors;
use uuid::Uuid;

pub(super) fn doors() -> Doors {
    let photo_file = crate::acts::add_photo::LARGEST + 64 * 1024;
    Doors::new()
        .get("/{entry}", Deed::FillIn, home::home)
        .get("/{entry}/live", Deed::FillIn, home::live)
        .get("/{entry}/pass", Deed::FillIn, pass::show)
        .get("/{entry}/areas/{area}", Deed::FillIn, area::show)
        .post("/{entry}/areas/{area}", Deed::FillIn, area::save)
        .post("/{entry}/submissions", Deed::FillIn, send::send)
        .get("/{entry}/units", Deed::FillIn, crate::web::units::show)
        .post("/{entry}/units", Deed::FillIn, crate::web::units::choose)
        .get("/{entry}/photos/{photo}", Deed::FillIn, photo::show)
        .post_file("/{entry}/items/{item}/photos", Deed::FillIn, photo_file, photo::add)
        .post("/{entry}/sign-out", Deed::FillIn, crate::web::sign_in::sign_out)
}

/// A driver's entry with what was typed and what was sent.
pub(super) struct Mine {
    pub known: KnownEvent,
    pub state: EntryState,
    /// What is typed now, over what was sent last.
    pub filled: Filled,
}

impl Mine {
    /// Reads the entry for its driver.
    pub async fn of(web: &Web, actor: &Actor, id: Uuid, units: &Units) -> Result<Mine, Fault> {
        let known = web.house.event_of_entry(id).await?;
        require(actor, Deed::FillIn, Whose::Entry { event: known.event.id, entry: id })?;
        let state = state::read(&web.house, &known, id, units).await?;
        // Where nothing is typed, what was sent last stands.
        let draft = fill_in::over(fill_in::draft(&web.house, &known, id).await?, sent_of(&state));
        let sheet = &known.edition.sheet;
        let (answers, troubles) = fill_in::read_draft(sheet, &draft, fill_in::today(&web.house, &known));
        let judged = judge(sheet, &answers, known.event.day, units);
        Ok(Mine { known, state, filled: Filled { draft, answers, troubles, judged } })
    }

    /// What was sent last, as it would be typed.
    pub fn sent(&self) -> Draft {
        sent_of(&self.state)
    }

    /// How many answers differ from what was sent last.
    pub fn changed(&self) -> usize {
        let none = Answers::new();
        let sent = self.state.shown().map_or(&none, |sent| &sent.answers);
        let items = self.known.edition.sheet.items().map(|item| &item.id);
        items.filter(|item| self.filled.answers.get(item) != sent.get(item)).count()
    }

    /// Whether all is answered and can be read.
    pub fn is_whole(&self) -> bool {
        self.filled.judged.is_complete() && self.filled.troubles.is_empty()
    }

    /// The newest records, as the page hands them back in `seen`.
    pub fn seen(&self) -> String {
        super::page::id_list(&self.state.judgement.heads)
    }
}

fn sent_of(state: &EntryState) -> Draft {
    state.shown().iter().flat_map(|sent| &sent.answers).map(|(item, answer)| (item.to_string(), answer.to_typed())).collect()
}

/// The submission that the page's form or a device's file describes.
pub(super) type Submission = submit::Submission;
