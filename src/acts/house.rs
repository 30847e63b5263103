//! The house: the store, the clock, the maker of ids and secrets, and what is kept in memory of an unchanged event.

use super::board::Boards;
use super::garage::books::Books;
use super::raise_edition::{self, Raised};
use super::rights::Actor;
use super::{Refusal, enter};
use crate::rules::edition::Given;
use crate::rules::phones::PhoneSetting;
use crate::rules::sheet::Sheet;
use crate::rules::sheet_file;
use crate::store::access::Digest;
use crate::store::device::{self, Device};
use crate::store::event::Event;
use crate::store::{Chance, OpenError, Store, StoreError, Touch, Writing, club, event, history, phone_setting};
use jiff::Timestamp;
use sqlx::SqliteConnection;
use std::collections::HashMap;
use std::path::Path;
use std::pin::Pin;
use std::sync::{Arc, RwLock};
use tokio::sync::broadcast;
use uuid::Uuid;

/// Time and chance, given by `main` (and by tests, who fix them).
pub trait Outside: Send + Sync {
    /// The time now.
    fn now(&self) -> Timestamp;
    /// A new UUIDv7.
    fn new_id(&self) -> Uuid;
    /// Twenty bytes that nobody can guess.
    fn new_secret(&self) -> [u8; 20];
}

/// What is known of an edition: its number, and its sheet read.
pub struct KnownEdition {
    pub id: Uuid,
    pub number: u32,
    pub sheet: Sheet,
}

/// An event with the edition it is judged by, and those that answers of its entries were given to.
#[derive(Clone)]
pub struct KnownEvent {
    pub event: Arc<Event>,
    pub edition: Arc<KnownEdition>,
    others: Arc<HashMap<Uuid, Arc<KnownEdition>>>,
    /// The times it was raised to another edition, the oldest first.
    pub raises: Arc<Vec<Raised>>,
    /// What its phones keep, and how long they say "cleared" without news.
    pub phones: PhoneSetting,
}

impl KnownEvent {
    /// An event judged by an edition. `others` are the editions that its entries' answers were given to.
    pub fn new(event: Arc<Event>, edition: Arc<KnownEdition>, others: impl IntoIterator<Item = Arc<KnownEdition>>) -> KnownEvent {
        let others = others.into_iter().map(|other| (other.id, other)).collect();
        KnownEvent { event, edition, others: Arc::new(others), raises: Arc::default(), phones: PhoneSetting::default() }
    }

    /// The same event judged by another edition.
    pub fn judged_by(&self, edition: Arc<KnownEdition>) -> KnownEvent {
        let others = self.others.values().cloned().chain([self.edition.clone()]);
        KnownEvent { raises: self.raises.clone(), phones: self.phones, ..KnownEvent::new(self.event.clone(), edition, others) }
    }

    /// One of the editions that answers were given to.
    pub fn other(&self, id: Uuid) -> Option<&KnownEdition> {
        if self.edition.id == id { Some(&self.edition) } else { self.others.get(&id).map(Arc::as_ref) }
    }

    /// The edition that answers were given to, beside the one in force.
    pub fn given_to(&self, id: Uuid) -> Given<'_> {
        if self.edition.id == id { Given::ToThis } else { self.given_to_any(id) }
    }

    /// The same beside an edition that is not the one in force.
    pub fn given_to_any(&self, id: Uuid) -> Given<'_> {
        self.other(id).map_or(Given::ToNobodyKnowsWhat, |other| Given::To(&other.sheet, other.number))
    }
}

/// Things read once and kept until somebody touches them.
#[derive(Default)]
struct Kept {
    /// Goes up with every touch: what was read before a touch is not kept after it.
    touches: u64,
    editions: HashMap<Uuid, Arc<KnownEdition>>,
    events: HashMap<Uuid, KnownEvent>,
    /// Which event and entry a driver's link may reach is in the actor; which event an entry belongs to is here.
    entry_events: HashMap<Uuid, Uuid>,
    actors: HashMap<Digest, (Arc<Actor>, Timestamp)>,
}

/// The whole of a running program, shared by all who use it.
pub struct House {
    pub store: Store,
    outside: Arc<dyn Outside>,
    kept: Arc<RwLock<Kept>>,
    pub boards: Arc<Boards>,
    pub(super) books: Books,
    changes: broadcast::Sender<Touch>,
}

/// How long a device's right to come in is remembered without asking the store again, in seconds.
const ACTOR_KEPT_S: i64 = 60;
/// The most devices that are remembered: beyond it all are asked anew.
const ACTORS_KEPT: usize = 4096;

impl House {
    /// Opens the house on a database file.
    pub async fn open(path: &Path, outside: Arc<dyn Outside>) -> Result<House, OpenError> {
        let kept: Arc<RwLock<Kept>> = Arc::default();
        let boards: Arc<Boards> = Arc::default();
        let (changes, _) = broadcast::channel(256);
        let listener = {
            let (kept, boards, changes) = (kept.clone(), boards.clone(), changes.clone());
            Arc::new(move |touch: Touch| {
                forget(&kept, touch);
                boards.forget(touch);
                // Nobody may be watching; that is no fault.
                let _ = changes.send(touch);
            })
        };
        let store = Store::open(path, listener).await?;
        let (ids, secrets) = (outside.clone(), outside.clone());
        let chance =
            Chance { now: outside.now(), id: Box::new(move || ids.new_id()), secret: Box::new(move || secrets.new_secret()) };
        store.bind_what_is_there(chance).await.map_err(|source| OpenError::Baseline { path: path.to_owned(), source })?;
        Ok(House { store, outside, kept, boards, books: Books::default(), changes })
    }

    pub fn now(&self) -> Timestamp {
        self.outside.now()
    }

    pub fn new_id(&self) -> Uuid {
        self.outside.new_id()
    }

    pub fn new_secret(&self) -> [u8; 20] {
        self.outside.new_secret()
    }

    /// Everything that changes from now on.
    pub fn watch(&self) -> broadcast::Receiver<Touch> {
        self.changes.subscribe()
    }

    fn kept<T>(&self, look: impl FnOnce(&Kept) -> Option<T>) -> Option<T> {
        // A poisoned lock only says that another thread broke off; what is kept is whole entries, never half of one.
        look(&self.kept.read().unwrap_or_else(|poisoned| poisoned.into_inner()))
    }

    fn touches(&self) -> u64 {
        self.kept(|kept| Some(kept.touches)).unwrap_or_default()
    }

    /// Keeps what was read since `touches` was taken, unless something was touched in between.
    fn keep(&self, touches: u64, change: impl FnOnce(&mut Kept)) {
        let mut kept = self.kept.write().unwrap_or_else(|poisoned| poisoned.into_inner());
        if kept.touches == touches {
            change(&mut kept);
        }
    }

    /// An edition with its sheet.
    pub async fn edition(&self, db: &mut SqliteConnection, id: Uuid) -> Result<Arc<KnownEdition>, Refusal> {
        if let Some(known) = self.kept(|kept| kept.editions.get(&id).cloned()) {
            return Ok(known);
        }
        let touches = self.touches();
        let edition = club::edition(db, id).await?.ok_or(Refusal::NotHere)?;
        // It was read when it was added, by the program of that day: what is asked of new sheets since is not asked of it.
        let sheet = sheet_file::read_kept(&edition.file)
            .map_err(|error| StoreError::Unreadable(format!("edition {}: {error}", edition.number)))?;
        let known = Arc::new(KnownEdition { id, number: edition.number, sheet });
        self.keep(touches, |kept| drop(kept.editions.insert(id, known.clone())));
        Ok(known)
    }

    /// An event with its edition.
    pub async fn event(&self, id: Uuid) -> Result<KnownEvent, Refusal> {
        if let Some(known) = self.kept(|kept| kept.events.get(&id).cloned()) {
            return Ok(known);
        }
        let touches = self.touches();
        let mut db = self.store.read().await?;
        let known = self.read_event(&mut db, id).await?;
        self.keep(touches, |kept| drop(kept.events.insert(id, known.clone())));
        Ok(known)
    }

    async fn read_event(&self, db: &mut SqliteConnection, id: Uuid) -> Result<KnownEvent, Refusal> {
        let event = Arc::new(event::one(db, id).await?.ok_or(Refusal::NotHere)?);
        let edition = self.edition(db, event.edition).await?;
        let mut others = Vec::new();
        for other in history::editions_named(db, id).await?.into_iter().filter(|other| *other != edition.id) {
            match self.edition(db, other).await {
                Ok(other) => others.push(other),
                // Answers to it count as unreadable: the car waits, and nobody else does.
                Err(error) => tracing::error!(%error, edition = %other, "an edition that answers were given to cannot be read"),
            }
        }
        let raises = Arc::new(raise_edition::raises(db, id).await?);
        let phones = phone_setting::of_event(db, id).await?.first().map(|set| set.setting).unwrap_or_default();
        Ok(KnownEvent { raises, phones, ..KnownEvent::new(event, edition, others) })
    }

    /// An event as the store has it in this moment, with the place and the hash of its newest record (0 and empty without one).
    ///
    /// What is kept in memory hears of a commit a moment after it. Whoever says how new something is must not ask there: the
    /// place would promise more than is shown.
    ///
    /// # Errors
    /// [`Refusal::NotHere`] for an event that is not there.
    pub async fn event_now(&self, id: Uuid) -> Result<(KnownEvent, i64, String), Refusal> {
        let mut db = self.store.read().await?;
        // The place first: what comes in while the rest is read is shown and not promised.
        let (place, hash) = history::head(&mut db, id).await?.unwrap_or_default();
        Ok((self.read_event(&mut db, id).await?, place, hash))
    }

    /// The event an entry belongs to.
    pub async fn event_of_entry(&self, entry: Uuid) -> Result<KnownEvent, Refusal> {
        if let Some(event) = self.kept(|kept| kept.entry_events.get(&entry).copied()) {
            return self.event(event).await;
        }
        let touches = self.touches();
        let mut db = self.store.read().await?;
        let event = crate::store::entry::one(&mut db, entry).await?.ok_or(Refusal::NotHere)?.event;
        drop(db);
        self.keep(touches, |kept| _ = kept.entry_events.insert(entry, event));
        self.event(event).await
    }

    /// The person behind a device's secret; `None` for one that is not let in, or no longer.
    pub async fn actor(&self, secret: &str) -> Result<Option<Arc<Actor>>, Refusal> {
        let Some(digest) = enter::digest_of(secret) else { return Ok(None) };
        let now = self.now();
        if let Some((actor, until)) = self.kept(|kept| kept.actors.get(&digest).cloned())
            && now < until
        {
            return Ok(Some(actor));
        }
        let touches = self.touches();
        let mut db = self.store.read().await?;
        let device = device::by_digest(&mut db, digest, now).await?;
        drop(db);
        self.note_use(device.as_ref(), now).await;
        let Some(actor) = device.as_ref().and_then(Actor::on).map(Arc::new) else { return Ok(None) };
        let until = Timestamp::from_second(now.as_second() + ACTOR_KEPT_S).unwrap_or(now);
        self.keep(touches, |kept| {
            if kept.actors.len() >= ACTORS_KEPT {
                kept.actors.clear();
            }
            kept.actors.insert(digest, (actor.clone(), until));
        });
        Ok(Some(actor))
    }

    /// The person behind the secret of a device that was let in once and is not any more.
    pub async fn ended_actor(&self, secret: &str) -> Result<Option<Arc<Actor>>, Refusal> {
        let Some(digest) = enter::digest_of(secret) else { return Ok(None) };
        let mut db = self.store.read().await?;
        let device = device::by_digest_or_ended(&mut db, digest, self.now()).await?;
        Ok(device.filter(|device| !device.is_in).as_ref().and_then(Actor::on).map(Arc::new))
    }

    /// Notes that a device was here: to the hour, and to five minutes where it ends when it is not used. A note that cannot be written keeps nobody out.
    async fn note_use(&self, device: Option<&Device>, now: Timestamp) {
        let Some(device) = device else { return };
        let every_s = if device.idle_min.is_some() { 300 } else { 3600 };
        let is_noted = device.used_at.is_some_and(|at| now.as_second() - at.as_second() < every_s);
        if !is_noted {
            let id = device.id;
            let noted = self
                .store
                .write::<_, Refusal, _>(Touch::Nothing, move |db| Box::pin(async move { Ok(device::used(db, id, now).await?) }));
            if let Err(error) = noted.await {
                tracing::warn!(%error, "that a device was here could not be noted");
            }
        }
    }

    /// Whether a person's device is still let in, asked of the store.
    pub async fn is_let_in(&self, actor: &Actor) -> Result<bool, Refusal> {
        let mut db = self.store.read().await?;
        Ok(device::is_let_in(&mut db, actor.device, self.now()).await?)
    }

    /// Does a deed of somebody. Whether they are let in is asked once more in the deed's own transaction: a request can be long
    /// on its way, and who was let go meanwhile does nothing more.
    ///
    /// # Errors
    /// [`Refusal::WhoAreYou`] for who is not let in any more; otherwise the deed's own.
    pub async fn write_as<'a, T, F>(&self, actor: impl Into<Option<&'a Actor>>, touch: Touch, deed: F) -> Result<T, Refusal>
    where
        T: Send + 'static,
        F: for<'c> FnOnce(&'c mut Writing) -> Pin<Box<dyn Future<Output = Result<T, Refusal>> + Send + 'c>> + Send + 'static,
    {
        // Nobody is who runs the server, who needs no device.
        let (id, now) = (actor.into().map(|actor| actor.device), self.now());
        self.store
            .write(touch, move |db| {
                Box::pin(async move {
                    if let Some(id) = id
                        && !device::is_let_in(db, id, now).await?
                    {
                        return Err(Refusal::WhoAreYou);
                    }
                    deed(db).await
                })
            })
            .await
    }

    /// Writes all that waits and closes the database.
    pub async fn close(&self) {
        self.store.close().await;
    }
}

fn forget(kept: &RwLock<Kept>, touch: Touch) {
    let mut kept = kept.write().unwrap_or_else(|poisoned| poisoned.into_inner());
    kept.touches += u64::from(!matches!(touch, Touch::Nothing | Touch::Entry { .. }));
    match touch {
        Touch::Nothing | Touch::Entry { .. } => {}
        Touch::Event(event) => drop(kept.events.remove(&event)),
        Touch::Access => kept.actors.clear(),
        Touch::All => {
            kept.actors.clear();
            kept.events.clear();
        }
    }
}
