//! A deed whose savepoint cannot be undone: the group it shares a transaction with must not be committed with half of it.

use crate::club::Club;
use sqlx::query;
use witnessmark::acts::Refusal;
use witnessmark::store::Touch;

#[tokio::test]
async fn a_deed_that_cannot_be_undone_is_not_kept_by_halves() {
    let club = Club::open().await;
    let told = club
        .house
        .store
        .write::<(), Refusal, _>(Touch::Nothing, |db| {
            Box::pin(async move {
                let broken = |error| Refusal::NotNow(format!("{error}"));
                query("update club set name = 'half a name'").execute(&mut **db).await.map_err(broken)?;
                // Its savepoint is gone, so that the writer's own "rollback to" fails while the transaction still stands.
                query("release deed").execute(&mut **db).await.map_err(broken)?;
                Err(Refusal::NotNow("and then it gave up".into()))
            })
        })
        .await;
    assert!(told.is_err(), "the organizer is told that it was not done");
    let mut db = club.house.store.read().await.expect("a connection");
    let name = witnessmark::store::club::name(&mut db).await.expect("a name");
    assert_eq!(name.as_deref(), Some("Seven Fells Motor Club"), "and nothing of it was done");
    drop(db);
    assert_eq!(club.driver("27").await.sends(|_| ()).await.status(), 201, "the next driver's sheet is taken as ever");
}
