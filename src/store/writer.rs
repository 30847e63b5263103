//! The one door for writing: a task that owns the only writing connection.
//!
//! It takes all that waits, writes it in one `BEGIN IMMEDIATE`, commits, and only then answers each. A deed of several
//! statements runs in a savepoint of its own, so that one that fails does not take its neighbours along; a record of the
//! history is a single statement and needs none (a savepoint costs two crossings to SQLite's thread).
//!
//! Being the only writer, it knows the ends of the chains it writes to, with the digests of what their records rest on, and need
//! not ask for them again.

use super::history::{self, Appended, Ends, EntryEnd, EventEnd, Kind, NewRecord};
use super::{Store, StoreError};
use crate::rules::chain::Hash;
use sqlx::{Connection, SqliteConnection};
use std::collections::HashMap;
use std::ops::{Deref, DerefMut};
use std::panic::AssertUnwindSafe;
use std::pin::Pin;
use std::sync::Arc;
use tokio::sync::{Mutex, mpsc, oneshot};
use tokio::task::JoinHandle;
use uuid::Uuid;

/// The most deeds that share a transaction.
const GROUP: usize = 64;
/// How many deeds may wait before a caller has to.
const WAITING: usize = 1024;

pub(super) type DeedFuture<'c, T> = Pin<Box<dyn Future<Output = T> + Send + 'c>>;

/// Tells the caller how it ended, once the transaction's fate is known.
type Answer = Box<dyn FnOnce(Result<(), StoreError>) + Send>;
/// Runs a deed; gives whether its changes are to be kept, and how to answer.
type Deed = Box<dyn for<'c> FnOnce(&'c mut Writing) -> DeedFuture<'c, (bool, Answer)> + Send>;

enum Work {
    Append(Box<NewRecord>, oneshot::Sender<Result<Appended, StoreError>>),
    Deed(Deed),
}

/// What a deed may have changed, for those who keep something in memory or watch a live page.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Touch {
    /// Nothing that anyone keeps.
    Nothing,
    /// One entry of an event.
    Entry { event: Uuid, entry: Uuid },
    /// An event as a whole: its roster, its edition.
    Event(Uuid),
    /// Who may come in.
    Access,
    /// Something that is kept in many places.
    All,
}

/// Hears of every touch, after the commit and before anybody is answered: a caller that goes away in between cannot
/// leave an old board behind.
pub type Listener = Arc<dyn Fn(Touch) + Send + Sync>;

type Door = mpsc::Sender<(Touch, Work)>;

#[derive(Clone)]
pub(super) struct Writer {
    door: Arc<Mutex<Option<Door>>>,
    direct: mpsc::WeakSender<(Touch, Work)>,
    task: Arc<Mutex<Option<JoinHandle<()>>>>,
}

impl Writer {
    pub(super) fn start(connection: SqliteConnection, listener: Listener) -> Writer {
        let (sender, receiver) = mpsc::channel(WAITING);
        let task = tokio::spawn(write_all(connection, receiver, listener));
        Writer { direct: sender.downgrade(), door: Arc::new(Mutex::new(Some(sender))), task: Arc::new(Mutex::new(Some(task))) }
    }

    async fn send(&self, touch: Touch, work: Work) -> Result<(), StoreError> {
        // The weak sender spares every write the lock; it is empty once the door is closed.
        let door = self.direct.upgrade().ok_or(StoreError::Closed)?;
        door.send((touch, work)).await.map_err(|_| StoreError::Closed)
    }

    pub(super) async fn close(&self) {
        drop(self.door.lock().await.take());
        if let Some(task) = self.task.lock().await.take()
            && let Err(error) = task.await
        {
            tracing::error!(%error, "the writer did not end well");
        }
    }
}

impl Store {
    /// Does a deed of several statements in one transaction: all of it or nothing, durable before this returns.
    ///
    /// # Errors
    /// The deed's own refusal, which undoes what it wrote; or the store's.
    pub async fn write<T, E, F>(&self, touch: Touch, deed: F) -> Result<T, E>
    where
        T: Send + 'static,
        E: From<StoreError> + Send + 'static,
        F: for<'c> FnOnce(&'c mut Writing) -> DeedFuture<'c, Result<T, E>> + Send + 'static,
    {
        let (tell, hear) = oneshot::channel::<Result<T, E>>();
        let deed: Deed = Box::new(move |connection| {
            Box::pin(async move {
                let outcome = deed(connection).await;
                let keep = outcome.is_ok();
                let answer: Answer = Box::new(move |committed| {
                    // A caller that has gone away hears nothing; what was written stays.
                    let _ = tell.send(committed.map_err(E::from).and(outcome));
                });
                (keep, answer)
            })
        });
        self.writer.send(touch, Work::Deed(deed)).await?;
        hear.await.unwrap_or_else(|_| Err(StoreError::BrokeOff.into()))
    }

    /// Adds one record to the history: the fast lane, a single statement.
    ///
    /// # Errors
    /// What the database says; a record that is there already is not an error but [`Appended::Again`].
    pub async fn append(&self, touch: Touch, record: NewRecord) -> Result<Appended, StoreError> {
        let (tell, hear) = oneshot::channel();
        self.writer.send(touch, Work::Append(Box::new(record), tell)).await?;
        hear.await.map_err(|_| StoreError::BrokeOff)?
    }
}

/// The writing connection, with the ends of the chains as they will be when the transaction is through.
pub struct Writing {
    connection: SqliteConnection,
    events: HashMap<Uuid, EventEnd>,
    entries: HashMap<Uuid, EntryEnd>,
    /// How many ids of records the entries hold.
    ids_kept: usize,
}

/// How many events' ends are remembered.
const EVENTS_KEPT: usize = 1000;
/// How many ids of records, and ids that these name, are remembered over all entries: some tens of megabytes.
const IDS_KEPT: usize = 500_000;

impl Deref for Writing {
    type Target = SqliteConnection;

    fn deref(&self) -> &SqliteConnection {
        &self.connection
    }
}

impl DerefMut for Writing {
    fn deref_mut(&mut self) -> &mut SqliteConnection {
        &mut self.connection
    }
}

impl Writing {
    fn new(connection: SqliteConnection) -> Writing {
        Writing { connection, events: HashMap::new(), entries: HashMap::new(), ids_kept: 0 }
    }

    async fn say(&mut self, statement: &'static str) -> Result<(), StoreError> {
        sqlx::query(statement).execute(&mut self.connection).await?;
        Ok(())
    }

    /// Begins a transaction. One that an interrupt left open is undone first, or nobody could write any more.
    async fn begin(&mut self) -> Result<(), StoreError> {
        if self.say("begin immediate").await.is_ok() {
            return Ok(());
        }
        self.forget();
        let _ = self.say("rollback").await;
        self.say("begin immediate").await
    }

    /// Whether the transaction still stands: a second one cannot begin within it.
    async fn is_in_transaction(&mut self) -> bool {
        match self.say("begin").await {
            Ok(()) => false,
            Err(error) => error.to_string().contains("within a transaction"),
        }
    }

    /// What the next record of this event follows.
    pub(super) async fn event_end(&mut self, event: Uuid) -> Result<EventEnd, StoreError> {
        if let Some(end) = self.events.get(&event) {
            return Ok(*end);
        }
        let end = history::read_event_end(&mut self.connection, event).await?;
        if self.events.len() >= EVENTS_KEPT {
            self.forget();
        }
        self.events.insert(event, end);
        Ok(end)
    }

    /// What the next record of this entry follows; `new` is its id.
    pub(super) async fn ends(&mut self, event: Uuid, entry: Uuid, new: Uuid) -> Result<Ends, StoreError> {
        let event = self.event_end(event).await?;
        if let Some(end) = self.entries.get(&entry) {
            return Ok(Ends::of(event, end, new));
        }
        let end = history::read_entry_end(&mut self.connection, entry).await?;
        let ids = end.ids.len() + end.awaited.len() + 1;
        if self.ids_kept + ids > IDS_KEPT {
            self.forget();
        }
        let ends = Ends::of(event, &end, new);
        self.ids_kept += ids;
        self.entries.insert(entry, end);
        Ok(ends)
    }

    /// How many of these ids are of no record of the entry, whose ends were asked for before.
    pub(super) fn unknown_to(&self, entry: Uuid, ids: &[Uuid]) -> usize {
        let Some(end) = self.entries.get(&entry) else { return ids.len() };
        ids.iter().filter(|id| !end.ids.contains(id)).count()
    }

    /// A record was put at the end of its chains.
    pub(super) fn extend(&mut self, new: &NewRecord, hash: Hash) {
        self.extend_event(new.event, hash);
        if let Some(end) = self.entries.get_mut(&new.entry) {
            end.hash = Some(hash);
            if new.kind == Kind::Submission {
                end.submissions += 1;
                end.sheet_bytes += new.body.len() as u64;
            }
            end.take(new.id, new.seen.iter().copied());
            self.ids_kept += 1 + new.seen.len();
        }
        if self.ids_kept > IDS_KEPT {
            self.forget();
        }
    }

    /// A record of the event itself was put at the end of its chain.
    pub(super) fn extend_event(&mut self, event: Uuid, hash: Hash) {
        if let Some(end) = self.events.get_mut(&event) {
            (end.place, end.hash) = (end.place + 1, Some(hash));
        }
    }

    /// What the records of an event rest on was changed: its digests are computed anew.
    pub(super) fn forget_event(&mut self, event: Uuid) {
        self.events.remove(&event);
    }

    /// Something was undone: what is remembered may not be so.
    pub(super) fn forget(&mut self) {
        self.events.clear();
        self.entries.clear();
        self.ids_kept = 0;
    }
}

async fn write_all(connection: SqliteConnection, mut receiver: mpsc::Receiver<(Touch, Work)>, listener: Listener) {
    let mut writing = Writing::new(connection);
    let mut group = Vec::with_capacity(GROUP);
    while receiver.recv_many(&mut group, GROUP).await > 0 {
        write_group(&mut writing, &mut group, &listener).await;
    }
    if let Err(error) = writing.connection.close().await {
        tracing::error!(%error, "closing the database");
    }
}

async fn write_group(writing: &mut Writing, group: &mut Vec<(Touch, Work)>, listener: &Listener) {
    if let Err(error) = writing.begin().await {
        return refuse_all(group, &error.to_string());
    }
    let mut answers: Vec<Answer> = Vec::with_capacity(group.len());
    let mut touches: Vec<Touch> = Vec::with_capacity(group.len());
    let mut broken = false;
    for (touch, work) in group.drain(..) {
        touches.push(touch);
        if broken {
            // What is left is dropped: its caller hears that it broke off, and nothing of it was done.
            continue;
        }
        let (end, answer): (End, Answer) = match work {
            Work::Append(record, tell) => {
                let outcome = history::append(writing, &record).await;
                let end = if outcome.is_ok() { End::Kept } else { End::Undone };
                (end, Box::new(move |committed| drop(tell.send(committed.and(outcome)))))
            }
            Work::Deed(deed) => in_savepoint(writing, deed).await,
        };
        answers.push(answer);
        broken = match end {
            End::Kept => false,
            // A full disc or an interrupt may end the whole transaction: what came after would be written outside of any.
            End::Undone => !writing.is_in_transaction().await,
            End::Half => true,
        };
    }
    let committed = match broken {
        true => Err("the transaction broke off in the middle".to_owned()),
        false => writing.say("commit").await.map_err(|error| error.to_string()),
    };
    if committed.is_err() {
        writing.forget();
        // SQLite has ended the transaction itself in some cases; then this has nothing to undo.
        if let Err(error) = writing.say("rollback").await {
            tracing::warn!(%error, "undoing a group that could not be committed");
        }
    }
    for touch in touches {
        listener(touch);
    }
    for answer in answers {
        answer(committed.clone().map_err(StoreError::NotCommitted));
    }
}

/// How one piece of work in a group ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum End {
    Kept,
    /// Nothing of it is in the transaction.
    Undone,
    /// A part of it may be: the group must not be committed.
    Half,
}

async fn in_savepoint(writing: &mut Writing, deed: Deed) -> (End, Answer) {
    // The deed is dropped, and with it its answer: the caller hears that it broke off.
    if let Err(error) = writing.say("savepoint deed").await {
        tracing::error!(%error, "a savepoint could not be opened");
        return (End::Undone, Box::new(|_| ()));
    }
    let outcome = caught(AssertUnwindSafe(deed(writing))).await;
    let (keep, answer) = outcome.unwrap_or_else(|| (false, Box::new(|_| ())));
    let ended = if keep { writing.say("release deed").await } else { undo(writing).await };
    match ended {
        Ok(()) => (if keep { End::Kept } else { End::Undone }, answer),
        Err(error) => {
            let said = error.to_string();
            (End::Half, Box::new(move |committed| answer(committed.and(Err(StoreError::NotCommitted(said))))))
        }
    }
}

async fn undo(writing: &mut Writing) -> Result<(), StoreError> {
    writing.forget();
    writing.say("rollback to deed").await?;
    writing.say("release deed").await
}

/// Runs a deed; `None` where it panicked: the writer must outlive every deed.
async fn caught<T>(future: impl Future<Output = T> + std::panic::UnwindSafe) -> Option<T> {
    use futures_util::FutureExt;
    match future.catch_unwind().await {
        Ok(value) => Some(value),
        Err(_) => {
            tracing::error!("a deed panicked in the writer; it was undone");
            None
        }
    }
}

fn refuse_all(group: &mut Vec<(Touch, Work)>, said: &str) {
    for (_, work) in group.drain(..) {
        match work {
            Work::Append(_, tell) => drop(tell.send(Err(StoreError::NotCommitted(said.to_owned())))),
            // Dropping the deed drops its answer: the caller hears that it broke off.
            Work::Deed(deed) => drop(deed),
        }
    }
}
