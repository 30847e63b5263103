//! Passkeys: an organizer's phone or key vouches for them, bound to this server's name, so that a page that only looks like
//! this one gets nothing. The ceremonies are the library's (Web Authentication, W3C); here is who may start one and what is kept.

use super::Refusal;
use super::account::let_in_organizer;
use super::enter::{Caller, Entered};
use super::house::House;
use super::refusal::field;
use super::rights::{Actor, Deed, Whose, require};
use super::webauthn::prelude::{
    CreationChallengeResponse, CredentialID, Passkey, PasskeyAuthentication, PasskeyRegistration, PublicKeyCredential,
    RegisterPublicKeyCredential, RequestChallengeResponse,
};
use super::webauthn::{Webauthn, WebauthnBuilder};
use crate::rules::words::is_one_line;
use crate::store::account::KeptPasskey;
use crate::store::{StoreError, Touch, access, account};
use jiff::{Timestamp, ToSpan};
use std::collections::HashMap;
use std::sync::{Mutex, PoisonError};
use url::Url;
use uuid::Uuid;

/// How long a person has between asking and answering.
const MINUTES: i64 = 5;
/// The most ceremonies under way; beyond it the oldest are forgotten.
const MOST_UNDER_WAY: usize = 500;
/// The most passkeys of an organizer.
const MOST_OF_ONE: usize = 10;

/// The passkeys' side of this server: its name, and the ceremonies under way.
pub struct Passkeys {
    webauthn: Webauthn,
    /// Adding and signing in have room of their own: a crowd at the door does not end what somebody inside has begun.
    adding: Ceremonies<(Uuid, PasskeyRegistration)>,
    signing_in: Ceremonies<PasskeyAuthentication>,
}

/// Ceremonies that were begun, each answered once and in time.
struct Ceremonies<T>(Mutex<HashMap<Uuid, (Timestamp, T)>>);

impl<T> Ceremonies<T> {
    fn new() -> Ceremonies<T> {
        Ceremonies(Mutex::default())
    }

    fn begin(&self, house: &House, what: T) -> Uuid {
        let (id, now) = (house.new_id(), house.now());
        let mut under_way = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        under_way.retain(|_, (until, _)| *until > now);
        if under_way.len() >= MOST_UNDER_WAY
            && let Some(oldest) = under_way.iter().min_by_key(|(_, (until, _))| *until).map(|(id, _)| *id)
        {
            under_way.remove(&oldest);
        }
        under_way.insert(id, (now.checked_add(MINUTES.minutes()).unwrap_or(now), what));
        id
    }

    /// Takes a ceremony out: it can be answered once.
    fn take(&self, house: &House, id: Uuid) -> Result<T, Refusal> {
        let taken = self.0.lock().unwrap_or_else(PoisonError::into_inner).remove(&id);
        let in_time = taken.filter(|(until, _)| *until > house.now()).map(|(_, what)| what);
        in_time.ok_or_else(|| Refusal::NotNow("That took too long, or was answered before. Begin again.".into()))
    }
}

impl Passkeys {
    /// Passkeys for a server reached under this address; `None` where browsers have none: over plain http, except at
    /// `localhost`, and under a bare address.
    pub fn at(base: &str) -> Option<Passkeys> {
        let url = Url::parse(base).ok()?;
        let host = url.domain()?;
        if url.scheme() != "https" && host != "localhost" {
            return None;
        }
        let webauthn = WebauthnBuilder::new(host, &url).ok()?.rp_name("Witnessmark").build().ok()?;
        Some(Passkeys { webauthn, adding: Ceremonies::new(), signing_in: Ceremonies::new() })
    }
}

fn too_many() -> Refusal {
    Refusal::TooMuch(format!("at most {MOST_OF_ONE} passkeys. Remove one first."))
}

fn not_accepted(error: impl std::fmt::Display) -> Refusal {
    tracing::info!(%error, "a passkey was not accepted");
    Refusal::Fields(vec![field("passkey", "The passkey was not accepted.")])
}

fn credential(kept: &KeptPasskey) -> Result<Passkey, StoreError> {
    serde_json::from_str(&kept.credential).map_err(|error| StoreError::Unreadable(format!("a passkey: {error}")))
}

fn as_json(passkey: &Passkey) -> Result<String, StoreError> {
    serde_json::to_string(passkey).map_err(|error| StoreError::Unreadable(format!("a passkey: {error}")))
}

/// Begins to add a passkey to one's own account. It asks for the passphrase: two minutes at somebody's open laptop must not be
/// enough to come in for good.
pub async fn begin_adding(
    house: &House,
    passkeys: &Passkeys,
    actor: &Actor,
    passphrase: &str,
) -> Result<(Uuid, CreationChallengeResponse), Refusal> {
    require(actor, Deed::KeepOneself, Whose::Club)?;
    super::account::require_own(house, actor, passphrase).await?;
    let own: Vec<CredentialID> = own(house, actor.link).await?.into_iter().map(|kept| kept.id).collect();
    if own.len() >= MOST_OF_ONE {
        return Err(too_many());
    }
    let (challenge, state) =
        passkeys.webauthn.start_passkey_registration(actor.link, &actor.name, &actor.name, Some(own)).map_err(not_accepted)?;
    Ok((passkeys.adding.begin(house, (actor.link, state)), challenge))
}

/// Adds the passkey that the browser made.
pub async fn finish_adding(
    house: &House,
    passkeys: &Passkeys,
    actor: &Actor,
    id: Uuid,
    name: &str,
    made: &RegisterPublicKeyCredential,
) -> Result<(), Refusal> {
    require(actor, Deed::KeepOneself, Whose::Club)?;
    if !is_one_line(name.trim(), 60) {
        return Err(Refusal::Fields(vec![field("name", "Give the passkey a name, up to 60 characters: my phone, say.")]));
    }
    let (link, state) = passkeys.adding.take(house, id)?;
    if link != actor.link {
        return Err(Refusal::NotHere);
    }
    let passkey = passkeys.webauthn.finish_passkey_registration(made, &state).map_err(not_accepted)?;
    let kept = KeptPasskey {
        id: passkey.cred_id().to_vec(),
        link,
        name: name.trim().into(),
        credential: as_json(&passkey)?,
        made_at: house.now(),
        used_at: None,
    };
    let added = house
        .write_as(actor, Touch::Nothing, move |db| {
            Box::pin(async move {
                let all = account::passkeys(db).await?;
                if all.iter().filter(|one| one.link == link).count() >= MOST_OF_ONE {
                    return Err(too_many());
                }
                Ok(account::add_passkey(db, &kept).await?)
            })
        })
        .await?;
    if added { Ok(()) } else { Err(Refusal::Fields(vec![field("passkey", "This passkey is kept already.")])) }
}

/// Begins to sign in: the browser is asked for any passkey of any organizer, and told no name.
pub async fn begin_signing_in(house: &House, passkeys: &Passkeys) -> Result<(Uuid, RequestChallengeResponse), Refusal> {
    let kept = {
        let mut db = house.store.read().await?;
        account::passkeys(&mut db).await?
    };
    let all = kept.iter().map(credential).collect::<Result<Vec<Passkey>, _>>()?;
    if all.is_empty() {
        return Err(Refusal::NotNow("No organizer has a passkey here yet: use your passphrase.".into()));
    }
    let (challenge, state) = passkeys.webauthn.start_passkey_authentication(&all).map_err(not_accepted)?;
    Ok((passkeys.signing_in.begin(house, state), challenge))
}

/// Lets the organizer in whose passkey answered.
pub async fn finish_signing_in(
    house: &House,
    passkeys: &Passkeys,
    id: Uuid,
    answer: &PublicKeyCredential,
    shared: bool,
    caller: Caller,
) -> Result<Entered, Refusal> {
    let state = passkeys.signing_in.take(house, id)?;
    let result = passkeys.webauthn.finish_passkey_authentication(answer, &state).map_err(not_accepted)?;
    let (kept, link) = {
        let mut db = house.store.read().await?;
        let kept = account::passkeys(&mut db).await?.into_iter().find(|kept| kept.id == result.cred_id().to_vec());
        let kept = kept.ok_or(Refusal::WhoAreYou)?;
        let link = access::link(&mut db, kept.link).await?.ok_or(Refusal::WhoAreYou)?;
        (kept, link)
    };
    let mut passkey = credential(&kept)?;
    passkey.update_credential(&result);
    let (changed, now) = (as_json(&passkey)?, house.now());
    house
        .store
        .write::<_, Refusal, _>(Touch::Nothing, move |db| {
            Box::pin(async move { Ok(account::passkey_used(db, &kept.id, &changed, now).await?) })
        })
        .await?;
    let_in_organizer(house, link, None, shared, caller).await
}

/// One's own passkeys.
pub async fn own(house: &House, link: Uuid) -> Result<Vec<KeptPasskey>, Refusal> {
    let mut db = house.store.read().await?;
    Ok(account::passkeys(&mut db).await?.into_iter().filter(|kept| kept.link == link).collect())
}

/// Removes one of one's own passkeys.
pub async fn remove(house: &House, actor: &Actor, id: Vec<u8>) -> Result<(), Refusal> {
    require(actor, Deed::KeepOneself, Whose::Club)?;
    let link = actor.link;
    let found = house
        .write_as(actor, Touch::Nothing, move |db| Box::pin(async move { Ok(account::remove_passkey(db, link, &id).await?) }))
        .await?;
    if found { Ok(()) } else { Err(Refusal::NotHere) }
}
