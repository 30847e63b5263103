//! Garages as they stand, kept in memory: reading all that was noted in years takes a while, and what came since is little.
//!
//! Nothing is ever taken out of a garage but all of it at once, so the place of the newest note says whether what is kept is all
//! there is. It is asked at every look: no commit needs to be told here.

use crate::acts::Refusal;
use crate::acts::house::House;
use crate::rules::garage::book::Garage;
use crate::store::garage;
use std::sync::{Arc, Mutex, PoisonError};
use uuid::Uuid;

/// The most garages that are kept.
const MOST_BOOKS: usize = 64;
/// The most notes of all that are kept together: three garages that are full, some 30 MB.
const MOST_NOTES: usize = 60_000;

/// A garage with what it is the fold of.
#[derive(Clone, Debug)]
pub(super) struct Book {
    pub garage: Garage,
    /// The place of its newest note.
    pub until: i64,
    /// Bytes of all notes, as they are stored.
    pub bytes: usize,
}

/// The garages that were looked at last, the newest look at the end.
#[derive(Default)]
pub struct Books {
    kept: Mutex<Vec<(Uuid, Arc<Book>)>>,
}

impl Books {
    fn take(&self, id: Uuid) -> Option<Arc<Book>> {
        let mut kept = self.kept.lock().unwrap_or_else(PoisonError::into_inner);
        let at = kept.iter().position(|(other, _)| *other == id)?;
        let (_, book) = kept.remove(at);
        kept.push((id, book.clone()));
        Some(book)
    }

    fn put(&self, id: Uuid, book: Arc<Book>) {
        let mut kept = self.kept.lock().unwrap_or_else(PoisonError::into_inner);
        kept.retain(|(other, _)| *other != id);
        kept.push((id, book));
        let mut notes = 0;
        // From the newest look back: what is beyond either bound is forgotten.
        let fits = |(_, book): &&(Uuid, Arc<Book>)| {
            notes += book.garage.changes;
            notes <= MOST_NOTES
        };
        let count = kept.iter().rev().take(MOST_BOOKS).take_while(fits).count().max(1);
        let beyond = kept.len() - count;
        kept.drain(..beyond);
    }
}

/// A garage as it stands.
pub(super) async fn book(house: &House, id: Uuid) -> Result<Arc<Book>, Refusal> {
    let kept = house.books.take(id);
    let mut db = house.store.read().await?;
    let last = garage::last_place(&mut db, id).await?;
    // A place before the kept one: everything was taken away.
    let kept = kept.filter(|book| book.until <= last);
    if let Some(book) = kept.as_ref().filter(|book| book.until == last) {
        return Ok(book.clone());
    }
    let from = kept.as_ref().map_or(0, |book| book.until);
    let since = garage::changes_since(&mut db, id, from).await?;
    drop(db);
    let mut book = match kept {
        Some(kept) => Arc::unwrap_or_clone(kept),
        None => Book { garage: Garage::of(&[]), until: 0, bytes: 0 },
    };
    book.add(since);
    let book = Arc::new(book);
    house.books.put(id, book.clone());
    Ok(book)
}

impl Book {
    /// What was noted since.
    pub(super) fn add(&mut self, since: garage::Since) {
        self.bytes += since.bytes;
        self.until = since.until.max(self.until);
        since.noted.iter().for_each(|noted| self.garage.add(noted));
    }
}
