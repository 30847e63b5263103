//! Answers of last time at a sheet's items: shown with their date, confirmed by a tap, never copied in silence.

use crate::acts::Refusal;
use crate::acts::fill_in;
use crate::acts::garage::look::look;
use crate::acts::rights::{Actor, Role};
use crate::rules::answer::{Typed, from_typed, is_asked};
use crate::rules::garage::offers::Offer;
use crate::rules::sheet::Item;
use crate::rules::units::Units;
use crate::store::draft::Draft;
use crate::web::Web;
use crate::web::answer_words::said;
use crate::web::driver::Mine;
use crate::web::error::Fault;
use crate::web::form::{At, Chosen, Form};
use crate::web::session::{Who, secrets};
use axum::extract::{FromRequestParts, State};
use axum::http::request::Parts;
use axum::response::{IntoResponse, Redirect, Response};
use jiff::civil::Date;
use std::collections::BTreeMap;
use std::sync::Arc;
use uuid::Uuid;

/// The garage that this browser is in, where it is in one.
pub(in crate::web) struct InGarage(pub Option<Arc<Actor>>);

impl FromRequestParts<Web> for InGarage {
    type Rejection = Fault;

    async fn from_request_parts(parts: &mut Parts, web: &Web) -> Result<InGarage, Fault> {
        for secret in secrets(&parts.headers, "/my") {
            if let Some(actor) = web.house.actor(&secret).await?.filter(|actor| matches!(actor.role, Role::Garage { .. })) {
                return Ok(InGarage(Some(actor)));
            }
        }
        Ok(InGarage(None))
    }
}

/// An offer as an item shows it.
pub(in crate::web) struct Offered {
    /// "On 9 May 2026, Spring day".
    pub when: String,
    pub says: String,
    /// Measured against a limit: confirmed by itself, and better measured again.
    pub is_reading: bool,
}

/// What this browser's garage offers to an entry's sheet.
async fn offered(web: &Web, keeper: Option<&Actor>, entry: Uuid, units: &Units) -> Result<BTreeMap<String, Offer>, Fault> {
    let Some(keeper) = keeper else { return Ok(BTreeMap::new()) };
    let Role::Garage { garage } = keeper.role else { return Ok(BTreeMap::new()) };
    Ok(look(&web.house, keeper, garage, units).await?.offers_to(entry))
}

fn is_empty(draft: &Draft, item: &str) -> bool {
    draft.get(item).is_none_or(|typed| typed.iter().all(|(name, text)| text.is_empty() || name == "unit" || name == "date-is"))
}

/// The offers for the items of a sheet that hold nothing yet, in words.
pub(in crate::web) async fn offers(
    web: &Web,
    keeper: Option<&Actor>,
    mine: &Mine,
    units: &Units,
) -> Result<BTreeMap<String, Offered>, Fault> {
    let all = offered(web, keeper, mine.state.entry.id, units).await?;
    let sheet = &mine.known.edition.sheet;
    let view = |(id, offer): (String, Offer)| {
        let item = sheet.item(&id)?;
        let says = says(item, &offer.typed)?;
        let when = format!("On {}, {}", offer.day.strftime("%-d %B %Y"), offer.from);
        Some((id, Offered { when, says, is_reading: offer.is_reading }))
    };
    Ok(all.into_iter().filter(|(id, _)| is_empty(&mine.filled.draft, id)).filter_map(view).collect())
}

/// The offered answer in words.
fn says(item: &Item, typed: &Typed) -> Option<String> {
    let answer = from_typed(item, typed, Date::MAX).ok()??;
    Some(said(item, &answer))
}

/// Confirms one offer of an area, or all that are no readings. What is typed already stays.
pub(super) async fn confirm(
    State(web): State<Web>,
    Who(actor): Who,
    At((entry, area)): At<(Uuid, String)>,
    InGarage(keeper): InGarage,
    Chosen(units): Chosen,
    form: Form,
) -> Result<Response, Fault> {
    let mine = Mine::of(&web, &actor, entry, &units).await?;
    let asked = mine.known.edition.sheet.area(&area).ok_or(Refusal::NotHere)?;
    let offers = offered(&web, keeper.as_deref(), entry, &units).await?;
    let one = form.text("item");
    let is_meant = |item: &&Item| {
        let offer = offers.get(item.id.as_str());
        offer.is_some_and(|offer| item.id.as_str() == one || (!form.text("all").is_empty() && !offer.is_reading))
    };
    let chosen = asked.items.iter().filter(is_meant).filter(|item| is_empty(&mine.filled.draft, item.id.as_str()));
    let typed: Draft = chosen.map(|item| (item.id.to_string(), offers[item.id.as_str()].typed.clone())).collect();
    fill_in::keep(&web.house, &actor, entry, typed).await?;
    let mine = Mine::of(&web, &actor, entry, &units).await?;
    Ok(Redirect::to(&onward(&mine, &area, one)).into_response())
}

/// Where the eye goes next: to what is still open here, else to the next area.
fn onward(mine: &Mine, area: &str, one: &str) -> String {
    let sheet = &mine.known.edition.sheet;
    let home = format!("/my/{}", mine.state.entry.id);
    let asks = |item: &&Item| is_asked(sheet, item, &mine.filled.answers);
    let is_open = |item: &&Item| {
        let found = mine.filled.judged.holding().any(|finding| finding.item == item.id);
        asks(item) && (found || (item.required && !mine.filled.answers.contains_key(&item.id)))
    };
    let here = sheet.area(area).map(|area| &area.items);
    if let Some(item) = here.into_iter().flatten().find(is_open) {
        return format!("{home}/areas/{area}#{}", item.id);
    }
    if !one.is_empty() {
        return format!("{home}/areas/{area}#{one}");
    }
    let mut areas = sheet.areas.iter().skip_while(|other| other.id.as_str() != area).skip(1);
    let next = areas.find(|area| area.items.iter().any(|item| asks(&item)));
    next.map_or(home.clone(), |next| format!("{home}/areas/{}", next.id))
}
