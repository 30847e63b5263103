//! One area of the sheet: its items on one page, kept as typed, judged at once.

use super::item::{ItemView, VerdictView, items_of, verdict};
use super::{Mine, both};
use crate::acts::Refusal;
use crate::acts::fill_in::{self, Typing};
use crate::acts::two_devices::{Both, Marks, Met};
use crate::rules::answer::is_asked;
use crate::rules::sheet::Area;
use crate::rules::strip::{AreaStrip, strip};
use crate::rules::units::Units;
use crate::store::draft::Draft;
use crate::web::Web;
use crate::web::draw::{Plate, Strip};
use crate::web::error::Fault;
use crate::web::form::{At, Chosen, Form};
use crate::web::garage::{InGarage, Offered, offers};
use crate::web::page::{Page, render};
use crate::web::session::Who;
use askama::Template;
use axum::Json;
use axum::extract::State;
use axum::http::{HeaderMap, StatusCode, header};
use axum::response::{Html, IntoResponse, Redirect, Response};
use serde_json::json;
use std::collections::{BTreeMap, BTreeSet};
use uuid::Uuid;

#[derive(Template)]
#[template(path = "driver/area.html")]
struct AreaPage<'a> {
    mine: &'a Mine,
    area: &'a Area,
    items: Vec<ItemView<'a>>,
    strip: Vec<AreaStrip>,
    /// Id and name of the area after this one.
    next: Option<(String, String)>,
    nth: usize,
    of: usize,
    /// What another device went ahead with.
    message: Option<String>,
    /// What stands at each item, for the page to hand back.
    was: Marks,
}

/// The hidden field with the marks. No item is called so.
pub(super) const WAS: &str = "_was";

#[derive(Template)]
#[template(path = "parts/verdict.html")]
struct VerdictPart<'a> {
    verdict: VerdictView<'a>,
}

impl<'a> AreaPage<'a> {
    fn new(mine: &'a Mine, id: &str, units: &Units, message: Option<String>) -> Result<AreaPage<'a>, Fault> {
        let area = mine.known.edition.sheet.area(id).ok_or(Refusal::NotHere)?;
        let asked = asked_areas(mine);
        let at = asked.iter().position(|other| other.id == area.id).unwrap_or_default();
        let next = asked.get(at + 1).map(|next| (next.id.to_string(), next.name.clone()));
        Ok(AreaPage {
            was: Marks::of(area.items.iter().map(|item| item.id.as_str()), &mine.filled.draft),
            items: items_of(mine, area, units),
            strip: strip_of(mine, area),
            next,
            nth: at + 1,
            of: asked.len(),
            message,
            mine,
            area,
        })
    }
}

impl AreaPage<'_> {
    /// Where the button leads where nothing is in the way.
    fn onward(&self) -> String {
        let home = format!("/my/{}", self.mine.state.entry.id);
        self.next.as_ref().map_or(home.clone(), |(id, _)| format!("{home}/areas/{id}"))
    }

    /// Puts the answers of last time beside their items.
    fn offer(&mut self, mut offers: BTreeMap<String, Offered>) {
        for view in self.items.iter_mut().filter(|view| view.asked) {
            view.offer = offers.remove(view.item.id.as_str());
        }
    }

    fn offers_any(&self) -> bool {
        self.items.iter().any(|view| view.offer.is_some())
    }

    /// How many of the offers can be confirmed together.
    fn to_confirm(&self) -> usize {
        self.items.iter().filter_map(|view| view.offer.as_ref()).filter(|offer| !offer.is_reading).count()
    }

    /// How many items hold something that cannot be read.
    fn troubles(&self) -> usize {
        let troubled = |view: &&ItemView<'_>| view.asked && self.mine.filled.troubles.contains_key(view.item.id.as_str());
        self.items.iter().filter(troubled).count()
    }
}

/// The areas with anything to ask of this car.
fn asked_areas(mine: &Mine) -> Vec<&Area> {
    let sheet = &mine.known.edition.sheet;
    let asks = |area: &&Area| area.items.iter().any(|item| is_asked(sheet, item, &mine.filled.answers));
    sheet.areas.iter().filter(asks).collect()
}

fn strip_of(mine: &Mine, area: &Area) -> Vec<AreaStrip> {
    let strips = strip(&mine.known.edition.sheet, &mine.filled.answers, &mine.filled.judged, None);
    strips.into_iter().filter(|strip| strip.id == area.id).collect()
}

pub(super) async fn show(
    State(web): State<Web>,
    Who(actor): Who,
    At((entry, area)): At<(Uuid, String)>,
    InGarage(keeper): InGarage,
    Chosen(units): Chosen,
) -> Page {
    let mine = Mine::of(&web, &actor, entry, &units).await?;
    let mut page = AreaPage::new(&mine, &area, &units, None)?;
    page.offer(offers(&web, keeper.as_deref(), &mine, &units).await?);
    render(&page)
}

/// Keeps what was typed, whatever it is, and says at once what the sheet makes of it.
pub(super) async fn save(
    State(web): State<Web>,
    Who(actor): Who,
    At((entry, area)): At<(Uuid, String)>,
    Chosen(units): Chosen,
    headers: HeaderMap,
    form: Form,
) -> Result<Response, Fault> {
    let before = Mine::of(&web, &actor, entry, &units).await?;
    let asked = before.known.edition.sheet.area(&area).ok_or(Refusal::NotHere)?;
    let (mut typed, mut was) = (typed_of(&form, asked), Marks::parse(form.text(WAS)));
    both::choose(&form, &mut typed, &mut was);
    let asked_before = asked_ids(&before, &area);
    let page = Typing { typed, was: was.clone(), sent: before.sent() };
    let met = fill_in::keep_page(&web.house, &actor, entry, page).await?;
    let mine = Mine::of(&web, &actor, entry, &units).await?;
    let follows = asked_before != asked_ids(&mine, &area);
    let page = AreaPage::new(&mine, &area, &units, None)?;
    if headers.get(header::ACCEPT).is_some_and(|accept| accept == "application/json") {
        let was = met.marks_after(&mine.filled.draft, &was, page.area.items.iter().map(|item| item.id.to_string()));
        let to = whereto(&before, &mine, &page, &form, false);
        return verdicts(&mine, &page, &met, &was, &to);
    }
    if !met.both.is_empty() {
        return Ok((StatusCode::CONFLICT, both::page(&mine, page.area, &met, &was)?).into_response());
    }
    if !met.elsewhere.is_empty() {
        let message = format!("{}. It stands as it was typed there.", elsewhere(&mine, &met));
        return Ok(Html(AreaPage { message: Some(message), ..page }.render()?).into_response());
    }
    if page.troubles() > 0 {
        return Ok((StatusCode::UNPROCESSABLE_ENTITY, Html(page.render()?)).into_response());
    }
    Ok(Redirect::to(&whereto(&before, &mine, &page, &form, follows)).into_response())
}

/// What is said of items that another device went ahead with.
fn elsewhere(mine: &Mine, met: &Met) -> String {
    let sheet = &mine.known.edition.sheet;
    let names: Vec<&str> = met.elsewhere.iter().filter_map(|id| sheet.item(id)).map(|item| item.name.as_str()).collect();
    format!("Typed on another device meanwhile: {}", names.join(", "))
}

/// On to the next area, unless there is something here to be seen first.
fn whereto(before: &Mine, mine: &Mine, page: &AreaPage<'_>, form: &Form, follows: bool) -> String {
    let (entry, area) = (mine.state.entry.id, &page.area.id);
    let here = |anchor: &str| format!("/my/{entry}/areas/{area}#{anchor}");
    let found_before = before.filled.judged.open_items();
    let new = mine
        .filled
        .judged
        .holding()
        .find(|finding| !found_before.contains(&finding.item) && page.area.items.iter().any(|item| item.id == finding.item));
    match (new, &page.next) {
        (Some(finding), _) => here(finding.item.as_str()),
        _ if form.text("then") == "stay" || follows => here("items"),
        (None, Some((next, _))) => format!("/my/{entry}/areas/{next}"),
        (None, None) => format!("/my/{entry}"),
    }
}

fn asked_ids(mine: &Mine, area: &str) -> BTreeSet<String> {
    let sheet = &mine.known.edition.sheet;
    let items = sheet.area(area).into_iter().flat_map(|area| &area.items);
    items.filter(|item| is_asked(sheet, item, &mine.filled.answers)).map(|item| item.id.to_string()).collect()
}

/// The fields of the form that belong to items of this area, by item.
fn typed_of(form: &Form, area: &Area) -> Draft {
    let mut draft = Draft::new();
    for (name, text) in form.pairs() {
        let (item, suffix) = name.split_once('.').unwrap_or((name, ""));
        if area.items.iter().any(|other| other.id.as_str() == item) {
            draft.entry(item.to_owned()).or_default().insert(suffix.to_owned(), text.trim().to_owned());
        }
    }
    draft
}

/// For a page that is being filled in: the verdicts as markup by item, what another device went ahead with, the marks that the
/// page goes on with, and where its button leads.
fn verdicts(mine: &Mine, page: &AreaPage<'_>, met: &Met, was: &Marks, to: &str) -> Result<Response, Fault> {
    let mut parts = serde_json::Map::new();
    for view in page.items.iter().filter(|view| view.asked) {
        parts.insert(view.item.id.to_string(), json!(VerdictPart { verdict: verdict(mine, view.item) }.render()?));
    }
    let troubles: serde_json::Map<String, serde_json::Value> = page
        .items
        .iter()
        .filter(|view| view.asked)
        .flat_map(|view| {
            mine.filled
                .troubles
                .get(view.item.id.as_str())
                .into_iter()
                .flatten()
                .map(|trouble| (view.item.id.to_string(), trouble))
        })
        .map(|(item, trouble)| {
            let name = if trouble.field.is_empty() { item } else { format!("{item}.{}", trouble.field) };
            (name, json!(trouble.message))
        })
        .collect();
    let strip = Strip(&page.strip).to_string();
    let name = |both: &Both| mine.known.edition.sheet.item(&both.item).map(|item| item.name.clone());
    let both: Vec<Option<String>> = met.both.iter().map(name).collect();
    let elsewhere = (!met.elsewhere.is_empty()).then(|| elsewhere(mine, met));
    let status = if both.is_empty() { StatusCode::OK } else { StatusCode::CONFLICT };
    let body = json!({ "verdicts": parts, "troubles": troubles, "strip": strip, "was": was.to_string(), "to": to,
        "elsewhere": elsewhere, "both": both });
    Ok((status, Json(body)).into_response())
}
