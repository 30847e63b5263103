//! The board: cleared, flagged, pending, live.

use super::run;
use crate::acts::board::{self as boards, Board, Row};
use crate::acts::house::KnownEvent;
use crate::rules::standing::Standing;
use crate::store::history::Kind;
use crate::web::Web;
use crate::web::draw::{Mark, Plate, Strip};
use crate::web::error::Fault;
use crate::web::form::{Asked, At};
use crate::web::page::{Clock, count, render};
use crate::web::session::Who;
use crate::web::wire::{KeptPage, KeptPages};
use askama::Template;
use axum::Extension;
use axum::extract::State;
use axum::http::HeaderMap;
use axum::response::{IntoResponse, Response};
use std::sync::Arc;
use uuid::Uuid;

/// What of the board is asked for.
#[derive(Clone, Debug, Default, PartialEq)]
pub(super) struct Wanted {
    /// A car number, or a part of a driver's or car's name.
    find: String,
    group: String,
    standing: String,
    /// "news" asks for the part of the page that changes.
    part: String,
}

#[derive(Template)]
#[template(path = "organizer/board.html", blocks = ["news"])]
struct BoardPage<'a> {
    known: &'a KnownEvent,
    board: Arc<Board>,
    clock: Clock,
    wanted: Wanted,
}

const STANDINGS: [Standing; 3] = [Standing::Cleared, Standing::Flagged, Standing::Pending];

impl BoardPage<'_> {
    fn rows(&self) -> Vec<&Row> {
        let find = self.wanted.find.trim().to_lowercase();
        let fits = |row: &&Row| {
            (find.is_empty()
                || row.entry.number.as_str().to_lowercase() == find
                || row.entry.driver.to_lowercase().contains(&find)
                || row.entry.car.to_lowercase().contains(&find))
                && (self.wanted.group.is_empty() || row.entry.group == self.wanted.group)
                && (self.wanted.standing.is_empty() || row.standing.word() == self.wanted.standing)
        };
        self.board.rows.iter().map(Arc::as_ref).filter(fits).collect()
    }

    fn is_all(&self) -> bool {
        self.wanted == Wanted { part: self.wanted.part.clone(), ..Wanted::default() }
    }

    /// Why the entry stands where it does, in a few words.
    fn remark(&self, row: &Row) -> String {
        match (&row.word, row.standing) {
            (Some(word), Standing::Cleared) => format!("{}, {}", self.clock.at(&word.at), word.by),
            (Some(word), _) => {
                let what = if word.kind == Kind::Withdrawal { "taken back" } else { "held" };
                format!("{what} {}: {}", self.clock.at(&word.at), word.reason)
            }
            (None, Standing::Flagged) => row.finding.clone().unwrap_or_default(),
            (None, _) if row.sent == 0 => "nothing sent".into(),
            (None, _) if row.missing > 0 => format!("{} not answered", count(row.missing, "item", "items")),
            (None, _) if row.by_hand > 0 => format!("{} by hand left", count(row.by_hand, "check", "checks")),
            (None, _) => row.waits.map(|waits| format!("waits since {}", self.clock.at(&waits.since))).unwrap_or_default(),
        }
    }
}

pub(super) async fn board(
    State(web): State<Web>,
    Who(actor): Who,
    At(event): At<Uuid>,
    Asked(asked): Asked,
    Extension(kept): Extension<Arc<KeptPages>>,
    headers: HeaderMap,
) -> Result<Response, Fault> {
    let text = |name| asked.text(name).to_owned();
    let wanted = Wanted { find: text("find"), group: text("group"), standing: text("standing"), part: text("part") };
    let known = run(&web, &actor, event).await?;
    let board = boards::board(&web.house, event).await?;
    let whole = wanted == Wanted::default();
    if let Some(page) = whole.then(|| kept.get(event, board.version)).flatten() {
        return Ok(page.respond(&headers));
    }
    let version = board.version;
    let page = BoardPage { clock: Clock::of(&known.event), known: &known, board, wanted };
    if page.wanted.part == "news" {
        return Ok(render(&page.as_news())?.into_response());
    }
    if !whole {
        return Ok(render(&page)?.into_response());
    }
    let made = KeptPage::new(version, page.render()?);
    kept.put(event, made.clone());
    Ok(made.respond(&headers))
}
