//! Helmets, harnesses and what else has a label with an end.

use super::base;
use super::blanks::{Ask, Blank, FormPage, choices};
use super::opened::{Opened, Sent};
use crate::acts::Refusal;
use crate::rules::answer::{Trouble, Typed};
use crate::rules::garage::book::GearPiece;
use crate::rules::garage::change::Change;
use crate::rules::garage::kinds::GearKind;
use crate::rules::garage::typed::Reader;
use crate::rules::gear::LabelDate;
use crate::web::Web;
use crate::web::error::Fault;
use crate::web::form::At;
use axum::extract::State;
use axum::response::Response;
use uuid::Uuid;

fn page(garage: Uuid, id: Uuid, piece: Option<&GearPiece>) -> FormPage {
    let kinds = choices(GearKind::ALL.map(|kind| (kind.token(), kind.name())));
    let is = [("made", "The day it was made"), ("valid-until", "The last day it is valid")];
    let text = |of: fn(&GearPiece) -> &str| piece.map(of).unwrap_or_default().to_owned();
    let until = piece.is_some_and(|piece| piece.valid_until);
    let blanks = vec![
        Blank::new("what", "What it is", Ask::Taps(kinds)).value(piece.map_or("helmet", |piece| piece.what.token())),
        Blank::new("name", "What you call it", Ask::Line(60))
            .help("The white one, the passenger's.")
            .value(text(|piece| &piece.name)),
        Blank::new("label", "What the label says", Ask::Line(60))
            .help("Such as SA2020, FIA 8859-2015, SFI 16.1.")
            .value(text(|piece| &piece.label)),
        Blank::new("date", "Date on the label, if it has one", Ask::Line(10))
            .help("2026-03 or 2026-03-28, or a year.")
            .value(text(|piece| &piece.date)),
        Blank::new("date-is", "What the date is", Ask::Taps(choices(is))).value(if until { "valid-until" } else { "made" }),
    ];
    let action = match piece {
        Some(piece) => format!("{}/gear/{}", base(garage), piece.id),
        None => format!("{}/gear", base(garage)),
    };
    let title = if piece.is_some() { "Gear: what the label says" } else { "Another piece of gear" };
    FormPage::new(title, (base(garage), "Garage"), action, id, blanks)
        .caution("After a crash or a hard knock a helmet or harness is replaced, whatever its label says.")
}

fn read(typed: &Typed, gear: Uuid) -> Result<Change, Vec<Trouble>> {
    let mut reader = Reader::of(typed);
    let what = reader.choice("what", GearKind::parse);
    let name = reader.line("name", 60, "Give it a name that tells it from the others.");
    let label = reader.text("label", 60);
    let date = reader.text("date", 10);
    if !date.is_empty()
        && let Err(error) = LabelDate::parse(&date)
    {
        reader.trouble("date", error.to_string());
    }
    let valid_until = reader.raw("date-is") == "valid-until";
    if !["", "made", "valid-until"].contains(&reader.raw("date-is")) {
        reader.trouble("date-is", "Choose one of the answers listed.");
    }
    reader.finish(()).and_then(|()| {
        let what = what.ok_or_else(Vec::new)?;
        Ok(Change::Gear { gear, what, name, label, date, valid_until })
    })
}

pub(super) async fn new(State(web): State<Web>, At(garage): At<Uuid>) -> Result<Response, Fault> {
    page(garage, web.house.new_id(), None).show()
}

/// The page's id is the piece's: sent twice, it is one.
pub(super) async fn add(opened: Opened, sent: Sent) -> Result<Response, Fault> {
    let change = read(&sent.typed, sent.id);
    opened.settles(page(opened.looked.id, sent.id, None), &sent, change, &opened.base()).await
}

pub(super) async fn show(opened: Opened, At((_, gear)): At<(Uuid, Uuid)>) -> Result<Response, Fault> {
    let piece = opened.looked.garage.gear.iter().find(|piece| piece.id == gear).ok_or(Refusal::NotHere)?;
    page(opened.looked.id, opened.new_id(), Some(piece)).show()
}

pub(super) async fn keep(opened: Opened, At((_, gear)): At<(Uuid, Uuid)>, sent: Sent) -> Result<Response, Fault> {
    let id = sent.id;
    let piece = opened.looked.garage.gear.iter().find(|piece| piece.id == gear).ok_or(Refusal::NotHere)?;
    let change = read(&sent.typed, gear);
    opened.settles(page(opened.looked.id, id, Some(piece)), &sent, change, &opened.base()).await
}

pub(super) async fn gone(opened: Opened, At((_, gear)): At<(Uuid, Uuid)>, sent: Sent) -> Result<Response, Fault> {
    opened.taps(&sent, Change::GearGone { gear }, &opened.base()).await
}
