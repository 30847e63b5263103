//! Forty people write at the same moment and share a transaction; some of them fail. The others must not notice.

use crate::club::{Club, sound_answers};
use crate::injury::{assert_all_agree, everything, on_the_writer, sealed};
use serde_json::json;
use std::sync::Arc;
use tokio::sync::oneshot;
use tokio::task::{JoinSet, yield_now};
use uuid::Uuid;
use witnessmark::acts::House;
use witnessmark::acts::Refusal;
use witnessmark::acts::rights::Actor;
use witnessmark::acts::sign_off::{SignOff, sign_off};
use witnessmark::acts::submit::{Submission, submit};
use witnessmark::rules::chain;
use witnessmark::store::history::Appended;
use witnessmark::store::{StoreError, Touch};

/// How many write at once, and every which of them fails.
const PEOPLE: usize = 40;
const FAILS_AT: [usize; 4] = [5, 13, 21, 36];

/// A club with forty entries, each with its driver let in.
struct Paddock {
    club: Club,
    drivers: Vec<(Uuid, Arc<Actor>)>,
    gate: Arc<Actor>,
}

impl Paddock {
    async fn open() -> Paddock {
        let club = Club::open().await;
        let more: String = (200..200 + PEOPLE).map(|n| format!("{n},Driver {n},Corvane S4,A\n")).collect();
        club.take_roster(&format!("number,name,car,group\n{more}")).await;
        let mut drivers = Vec::new();
        for n in 200..200 + PEOPLE {
            let driver = club.driver(&n.to_string()).await;
            let entered = witnessmark::acts::enter::enter(&club.house, &driver.secret, Default::default()).await;
            let actor = entered.map(|entered| Arc::new(entered.actor)).unwrap_or_else(|_| panic!("driver {n} comes in"));
            drivers.push((driver.entry.parse().expect("an id"), actor));
        }
        let inspector = club.link_for("inspector", "R. Holt").await;
        let gate = witnessmark::acts::enter::enter(&club.house, &inspector, Default::default()).await;
        let gate = gate.map(|entered| Arc::new(entered.actor)).unwrap_or_else(|_| panic!("the inspector comes in"));
        Paddock { club, drivers, gate }
    }

    /// A whole sheet; one whose tyre marking says "break" is what the trigger of [`break_some`] looks for.
    async fn sheet(&self, breaks: bool) -> Submission {
        let mut answers = sound_answers();
        if breaks {
            answers["tyre-marking"] = json!({ "value": "break me" });
        }
        let event = self.club.house.event(self.club.event.parse().expect("an id")).await.expect("the event");
        Submission {
            id: self.club.house.new_id(),
            seen: Vec::new(),
            edition: event.edition.id,
            made_at: None,
            answers: Some(answers),
        }
    }

    /// Lets all of them begin while the writer is held up, so that they share a transaction, and gives their ends in order.
    async fn all_at_once<F>(&self, begin: impl Fn(usize, Arc<House>) -> F) -> Vec<Result<Appended, Refusal>>
    where
        F: Future<Output = Result<Appended, Refusal>> + Send + 'static,
    {
        let (let_go, held) = oneshot::channel::<()>();
        let (begin_it, begun) = oneshot::channel::<()>();
        let house = self.club.house.clone();
        let holder = tokio::spawn(async move {
            let hold = house.store.write::<(), StoreError, _>(Touch::Nothing, |_| {
                Box::pin(async {
                    let _ = begin_it.send(());
                    // It goes on where the other end was dropped, too.
                    let _ = held.await;
                    Ok(())
                })
            });
            hold.await
        });
        // The holder has a transaction of its own: the forty share the next.
        begun.await.expect("the writer is held up");
        let mut people = JoinSet::new();
        for nth in 0..PEOPLE {
            let doing = begin(nth, self.club.house.clone());
            people.spawn(async move { (nth, doing.await) });
        }
        // One thread: after this, each of them has gone as far as it can get without the writer.
        for _ in 0..2 * PEOPLE {
            yield_now().await;
        }
        let_go.send(()).expect("the writer is held up");
        holder.await.expect("the holder").expect("it wrote nothing");
        let mut ends = people.join_all().await;
        ends.sort_by_key(|(nth, _)| *nth);
        ends.into_iter().map(|(_, end)| end).collect()
    }

    /// Each was answered as it fared, what was refused is not there, and what was kept is chained.
    async fn assert_fared(&self, ids: &[Uuid], ends: &[Result<Appended, Refusal>], what: &str) {
        let rows = everything(&self.club.house).await;
        for (nth, (id, end)) in ids.iter().zip(ends).enumerate() {
            let quoted = format!("X'{}'", data_encoding::HEXUPPER.encode(id.as_bytes()));
            let there = rows["record"].iter().filter(|row| row.starts_with(&quoted)).count();
            assert_eq!(there, usize::from(end.is_ok()), "{what}: {nth} was told {end:?}");
        }
        if let Err(misfit) = chain::verify(sealed(&self.club.house).await) {
            panic!("{what}: the chain is broken: {misfit}");
        }
        assert_all_agree(&self.club, what).await;
    }
}

/// Makes SQLite refuse a record whose body has the word in it.
async fn break_some(house: &House, raise: &str) {
    let sql = format!(
        "create temp trigger breaks before insert on main.record when instr(new.body, 'break me')
         begin select raise({raise}, 'the disk gave way'); end"
    );
    on_the_writer(house, &sql).await.expect("a trigger");
}

#[tokio::test]
async fn forty_drivers_send_at_once_four_fail_and_thirty_six_are_kept_and_told_so() {
    let paddock = Paddock::open().await;
    break_some(&paddock.club.house, "abort").await;
    let (ids, ends) = forty_send(&paddock).await;
    let failed: Vec<usize> = (0..PEOPLE).filter(|nth| ends[*nth].is_err()).collect();
    assert_eq!(failed, FAILS_AT, "those fail whose record cannot be written, and nobody else");
    paddock.assert_fared(&ids, &ends, "forty that sent at once, four of them in vain").await;
}

/// On a full disk SQLite may end the whole transaction: then neighbours may fail too, but whoever was told "sent" has sent,
/// whoever was told "not sent" has not, and the chain holds.
#[tokio::test]
async fn forty_drivers_send_at_once_and_a_failing_disk_ends_the_transaction_in_the_middle() {
    let paddock = Paddock::open().await;
    break_some(&paddock.club.house, "rollback").await;
    let (ids, ends) = forty_send(&paddock).await;
    for nth in FAILS_AT {
        assert!(ends[nth].is_err(), "driver {nth} is told that it was not sent");
    }
    paddock.assert_fared(&ids, &ends, "forty that sent at once while the disk gave way").await;
    let again = paddock.sheet(false).await;
    let (entry, actor) = &paddock.drivers[0];
    let sent = submit(&paddock.club.house, actor, *entry, again).await;
    assert_eq!(sent.expect("the club goes on"), Appended::New, "the next driver sends as if nothing had been");
    assert!(chain::verify(sealed(&paddock.club.house).await).is_ok(), "and the chain goes on");
}

async fn forty_send(paddock: &Paddock) -> (Vec<Uuid>, Vec<Result<Appended, Refusal>>) {
    let mut sheets = Vec::new();
    for nth in 0..PEOPLE {
        sheets.push(paddock.sheet(FAILS_AT.contains(&nth)).await);
    }
    let ids = sheets.iter().map(|sheet| sheet.id).collect();
    let ends = paddock.all_at_once(|nth, house| {
        let ((entry, actor), sheet) = (paddock.drivers[nth].clone(), sheets[nth].clone());
        async move { submit(&house, &actor, entry, sheet).await }
    });
    (ids, ends.await)
}

/// Sign-offs are deeds of several statements, each in a savepoint. Some break, some panic, some callers hang up.
#[tokio::test]
async fn forty_sign_offs_at_once_some_break_some_panic_some_hang_up_and_the_others_hold() {
    let paddock = Paddock::open().await;
    break_some(&paddock.club.house, "abort").await;
    let house = &paddock.club.house;
    let offs: Vec<SignOff> =
        (0..PEOPLE).map(|nth| hold(house, if FAILS_AT.contains(&nth) { "break me" } else { "Oil." })).collect();
    let ids: Vec<Uuid> = offs.iter().map(|off| off.id).collect();
    let ends = paddock.all_at_once(|nth, house| {
        let ((entry, _), gate, off) = (paddock.drivers[nth].clone(), paddock.gate.clone(), offs[nth].clone());
        async move {
            if nth % 10 == 3 {
                // Somebody whose deed breaks the program itself stands between them.
                let panics =
                    house.store.write::<(), StoreError, _>(Touch::Nothing, |_| Box::pin(async { panic!("a deed panics") }));
                assert!(matches!(panics.await, Err(StoreError::BrokeOff)), "who panics hears that it broke off");
            }
            if nth % 10 == 7 {
                // And somebody who hangs up while it is being written.
                let hangs_up = sign_off(&house, &gate, entry, hold(&house, "From a phone whose battery ends."));
                assert!(!polled(hangs_up, 1).await, "it was not done yet when they hung up");
            }
            sign_off(&house, &gate, entry, off).await
        }
    });
    let ends = ends.await;
    let failed: Vec<usize> = (0..PEOPLE).filter(|nth| ends[*nth].is_err()).collect();
    assert_eq!(failed, FAILS_AT, "those fail whose record cannot be written, and nobody else");
    paddock.assert_fared(&ids, &ends, "forty sign-offs at once").await;
}

fn hold(house: &House, reason: &str) -> SignOff {
    SignOff { id: house.new_id(), reason: reason.to_owned(), ..SignOff::default() }
}

/// Goes along with something for so many steps and then drops it. Gives whether it was done by then.
pub async fn polled<F: Future>(future: F, steps: usize) -> bool {
    let mut future = Box::pin(future);
    let mut left = steps;
    std::future::poll_fn(|context| {
        if left == 0 {
            return std::task::Poll::Ready(false);
        }
        left -= 1;
        match future.as_mut().poll(context) {
            std::task::Poll::Ready(_) => std::task::Poll::Ready(true),
            // The last step was taken: hang up at once.
            std::task::Poll::Pending if left == 0 => std::task::Poll::Ready(false),
            std::task::Poll::Pending => std::task::Poll::Pending,
        }
    })
    .await
}
