//! The one door for writing: a task that owns the only writing connection.
//!
//! It takes all that waits, writes it in one `BEGIN IMMEDIATE`, commits, and only then answers each. A deed of several
//! statements runs in a savepoint of its own, so that one that fails does not take its neighbours along; a record of the
//! history is a single statement and needs none (a savepoint costs two crossings to SQLite's thread).

use super::history::{self, Appended, NewRecord};
use super::{Store, StoreError};
use sqlx::{Connection, SqliteConnection};
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
type Deed = Box<dyn for<'c> FnOnce(&'c mut SqliteConnection) -> DeedFuture<'c, (bool, Answer)> + Send>;

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
        F: for<'c> FnOnce(&'c mut SqliteConnection) -> DeedFuture<'c, Result<T, E>> + Send + 'static,
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

async fn write_all(mut connection: SqliteConnection, mut receiver: mpsc::Receiver<(Touch, Work)>, listener: Listener) {
    let mut group = Vec::with_capacity(GROUP);
    while receiver.recv_many(&mut group, GROUP).await > 0 {
        write_group(&mut connection, &mut group, &listener).await;
    }
    if let Err(error) = connection.close().await {
        tracing::error!(%error, "closing the database");
    }
}

async fn write_group(connection: &mut SqliteConnection, group: &mut Vec<(Touch, Work)>, listener: &Listener) {
    let mut transaction = match connection.begin_with("BEGIN IMMEDIATE").await {
        Ok(transaction) => transaction,
        Err(error) => return refuse_all(group, &error.to_string()),
    };
    let mut answers: Vec<Answer> = Vec::with_capacity(group.len());
    let mut touches: Vec<Touch> = Vec::with_capacity(group.len());
    for (touch, work) in group.drain(..) {
        touches.push(touch);
        answers.push(match work {
            Work::Append(record, tell) => {
                let outcome = history::append(&mut transaction, &record).await;
                Box::new(move |committed| drop(tell.send(committed.and(outcome))))
            }
            Work::Deed(deed) => in_savepoint(&mut transaction, deed).await,
        });
    }
    let committed = transaction.commit().await.map_err(|error| error.to_string());
    for touch in touches {
        listener(touch);
    }
    for answer in answers {
        answer(committed.clone().map_err(StoreError::NotCommitted));
    }
}

async fn in_savepoint(connection: &mut SqliteConnection, deed: Deed) -> Answer {
    let mut savepoint = match connection.begin().await {
        Ok(savepoint) => savepoint,
        // The deed is dropped, and with it its answer: the caller hears that it broke off.
        Err(error) => {
            tracing::error!(%error, "a savepoint could not be opened");
            return Box::new(|_| ());
        }
    };
    let outcome = caught(AssertUnwindSafe(deed(&mut savepoint))).await;
    let (ended, answer) = match outcome {
        Some((true, answer)) => (savepoint.commit().await, answer),
        Some((false, answer)) => (savepoint.rollback().await, answer),
        None => (savepoint.rollback().await, Box::new(|_| ()) as Answer),
    };
    match ended {
        Ok(()) => answer,
        Err(error) => {
            let said = error.to_string();
            Box::new(move |committed| answer(committed.and(Err(StoreError::NotCommitted(said)))))
        }
    }
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
