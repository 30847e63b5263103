//! Records as they lie in the table.

use super::pages::Words;
use serde_json::{Map, Value as Json};
use sqlx::{FromRow, SqliteConnection};
use std::collections::BTreeSet;
use uuid::Uuid;

/// A record as it lies in the table.
#[derive(Clone, Debug, PartialEq)]
pub struct Stored {
    pub id: Uuid,
    pub entry: Uuid,
    pub place: i64,
    pub kind: String,
    pub seen: BTreeSet<Uuid>,
    pub body: Json,
    pub maker: Option<String>,
    pub counts: bool,
    pub made_at: i64,
    pub arrived_at: i64,
    /// The edition in force when it arrived.
    pub edition: Uuid,
}

impl Stored {
    /// What an inspector or organizer said.
    pub fn words(&self) -> Words {
        let texts = |name: &str| {
            let list = self.body.get(name).and_then(Json::as_array).into_iter().flatten();
            list.filter_map(Json::as_str).map(str::to_owned).collect()
        };
        let object = |name: &str| self.body.get(name).and_then(Json::as_object).cloned().unwrap_or_default();
        let sentence = |(item, text): (String, Json)| Some((item, text.as_str()?.to_owned()));
        Words {
            reason: self.body.get("reason").and_then(Json::as_str).unwrap_or_default().to_owned(),
            closes: texts("items"),
            by_hand: texts("by_hand"),
            readings: object("readings"),
            seen_as: object("seen_as").into_iter().filter_map(sentence).collect(),
        }
    }

    pub fn answers(&self) -> Map<String, Json> {
        self.body.get("answers").and_then(Json::as_object).cloned().unwrap_or_default()
    }

    /// The edition that a submission's answers were given to.
    pub fn given_to(&self) -> Option<Uuid> {
        self.body.get("edition")?.as_str()?.parse().ok()
    }
}

#[derive(FromRow)]
struct Row {
    id: Vec<u8>,
    entry_id: Option<Vec<u8>>,
    edition_id: Vec<u8>,
    place: i64,
    kind: String,
    seen: String,
    body: String,
    maker: Option<String>,
    counts: bool,
    made_at: i64,
    arrived_at: i64,
}

/// Every record of a car, in the order of the chain; and how often the chain says that the event was raised.
pub async fn all(db: &mut SqliteConnection) -> (Vec<Stored>, usize) {
    let columns = "select id, entry_id, edition_id, place, kind, seen, body, maker, counts, made_at, arrived_at from record \
        where entry_id is not null or kind = 'raise' order by place";
    let rows: Vec<Row> = sqlx::query_as(columns).fetch_all(db).await.expect("the records");
    let raises = rows.iter().filter(|row| row.kind == "raise").count();
    let id = |bytes: &[u8]| Uuid::from_slice(bytes).expect("an id");
    let stored = |row: Row| {
        Some(Stored {
            id: id(&row.id),
            entry: id(row.entry_id.as_deref()?),
            place: row.place,
            kind: row.kind,
            seen: serde_json::from_str(&row.seen).expect("ids"),
            body: serde_json::from_str(&row.body).expect("JSON"),
            maker: row.maker,
            counts: row.counts,
            made_at: row.made_at,
            arrived_at: row.arrived_at,
            edition: id(&row.edition_id),
        })
    };
    (rows.into_iter().filter_map(stored).collect(), raises)
}
