//! Passkeys: an organizer's phone or key vouches for them, bound to this server's name, so that a page that only looks like
//! this one gets nothing. The ceremonies are the library's (Web Authentication, W3C); here is who may start one and what is kept.

use super::Refusal;
use super::account::{HalfIn, let_in_organizer};
use super::enter::{Caller, Entered};
use super::house::House;
use super::passphrase::Lane;
use super::proof::{self, Proven};
use super::refusal::field;
use super::rights::{Actor, Deed, Whose, require};
use super::webauthn::prelude::{
    AuthenticationResult, CredentialID, DiscoverableAuthentication, Passkey, PasskeyAuthentication, PasskeyRegistration,
    PublicKeyCredential, RegisterPublicKeyCredential,
};
use super::webauthn::{Webauthn, WebauthnBuilder};
use crate::rules::words::is_one_line;
use crate::store::account::KeptPasskey;
use crate::store::log::{self, Security, Way};
use crate::store::{StoreError, Touch, access, account};
use jiff::{Timestamp, ToSpan};
use serde_json::Value as Json;
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
    proving: Ceremonies<(Uuid, PasskeyAuthentication)>,
    /// Who signs in with both: the passphrase was right.
    second: Ceremonies<(HalfIn, PasskeyAuthentication)>,
    /// By [`Lane`].
    signing_in: [Ceremonies<DiscoverableAuthentication>; 2],
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
        let signing_in = [Ceremonies::new(), Ceremonies::new()];
        let (adding, proving, second) = (Ceremonies::new(), Ceremonies::new(), Ceremonies::new());
        Some(Passkeys { webauthn, adding, proving, second, signing_in })
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

/// Begins to add a passkey to one's own account, for who has just shown who they are. It is to be a discoverable one, so that the
/// browser finds it at the door without being told which there are.
pub async fn begin_adding(house: &House, passkeys: &Passkeys, proven: &Proven) -> Result<(Uuid, Json), Refusal> {
    let actor = proven.actor();
    let own: Vec<CredentialID> = own(house, actor.link).await?.into_iter().map(|kept| kept.id).collect();
    if own.len() >= MOST_OF_ONE {
        return Err(too_many());
    }
    let (challenge, state) =
        passkeys.webauthn.start_passkey_registration(actor.link, &actor.name, &actor.name, Some(own)).map_err(not_accepted)?;
    let mut asked = serde_json::to_value(challenge).map_err(not_accepted)?;
    // Web Authentication level 2, 5.4.4: the older word says the same to older browsers.
    if let Some(selection) = asked.pointer_mut("/publicKey/authenticatorSelection").and_then(Json::as_object_mut) {
        selection.insert("residentKey".into(), "required".into());
        selection.insert("requireResidentKey".into(), true.into());
    }
    Ok((passkeys.adding.begin(house, (actor.device, state)), asked))
}

/// Adds the passkey that the browser made. It was begun on this device by who had shown who they are.
pub async fn finish_adding(
    house: &House,
    passkeys: &Passkeys,
    actor: &Actor,
    id: Uuid,
    name: &str,
    made: &RegisterPublicKeyCredential,
) -> Result<(), Refusal> {
    require(actor, Deed::ChangeWhoRuns, Whose::Club)?;
    if !is_one_line(name.trim(), 60) {
        return Err(Refusal::Fields(vec![field("name", "Give the passkey a name, up to 60 characters: my phone, say.")]));
    }
    let (device, state) = passkeys.adding.take(house, id)?;
    if device != actor.device {
        return Err(Refusal::NotHere);
    }
    let link = actor.link;
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
        .write_as(actor, Touch::Access, move |db| {
            Box::pin(async move {
                let all = account::passkeys(db).await?;
                if all.iter().filter(|one| one.link == link).count() >= MOST_OF_ONE {
                    return Err(too_many());
                }
                Ok(account::add_passkey(db, &kept).await?)
            })
        })
        .await?;
    if !added {
        return Err(Refusal::Fields(vec![field("passkey", "This passkey is kept already.")]));
    }
    log::tell(Security::PasskeyAdded { link, device });
    Ok(())
}

/// Begins to sign in: the browser is asked for any passkey of this server that it has, and is told of none.
///
/// A browser in which an organizer signed in before has room of its own: strangers who begin and never answer do not end it.
pub async fn begin_signing_in(house: &House, passkeys: &Passkeys, lane: Lane) -> Result<(Uuid, Json), Refusal> {
    let is_any = {
        let mut db = house.store.read().await?;
        !account::passkeys(&mut db).await?.is_empty()
    };
    if !is_any {
        return Err(Refusal::NotNow("No organizer has a passkey here yet: use your passphrase.".into()));
    }
    let (challenge, state) = passkeys.webauthn.start_discoverable_authentication().map_err(not_accepted)?;
    let mut asked = serde_json::to_value(challenge).map_err(not_accepted)?;
    // The person has tapped a button: the browser asks at once, and not only in a field's suggestions.
    asked.as_object_mut().map(|asked| asked.remove("mediation"));
    Ok((passkeys.signing_in[lane as usize].begin(house, state), asked))
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
    let [strangers, known] = &passkeys.signing_in;
    let state = known.take(house, id).or_else(|_| strangers.take(house, id))?;
    // The library's name for the person is the link's id: a passkey of another one of the same browser is not taken for it.
    let (of, credential_id) = passkeys.webauthn.identify_discoverable_authentication(answer).map_err(not_accepted)?;
    let (kept, link) = {
        let mut db = house.store.read().await?;
        let kept = account::passkeys(&mut db).await?.into_iter().find(|kept| kept.id == credential_id && kept.link == of);
        let kept = kept.ok_or_else(|| not_accepted("it is kept here no more"))?;
        let link = access::link(&mut db, kept.link).await?.ok_or(Refusal::WhoAreYou)?;
        (kept, link)
    };
    let passkey = credential(&kept)?;
    let result = passkeys.webauthn.finish_discoverable_authentication_v2(answer, state, &passkey).map_err(not_accepted)?;
    note_use(house, kept, passkey, &result).await?;
    let_in_organizer(house, link, None, shared, caller).await
}

/// Asks who has said the right passphrase for one of their passkeys.
pub async fn begin_second(house: &House, passkeys: &Passkeys, half: HalfIn) -> Result<(Uuid, Json), Refusal> {
    let own = own(house, half.link.id).await?.iter().map(credential).collect::<Result<Vec<Passkey>, _>>()?;
    let (challenge, state) = passkeys.webauthn.start_passkey_authentication(&own).map_err(not_accepted)?;
    let asked = serde_json::to_value(challenge).map_err(not_accepted)?;
    Ok((passkeys.second.begin(house, (half, state)), asked))
}

/// Lets an organizer in who said the right passphrase and answered with one of their passkeys; says whether others use the computer.
pub async fn finish_second(
    house: &House,
    passkeys: &Passkeys,
    id: Uuid,
    answer: &PublicKeyCredential,
    caller: Caller,
) -> Result<(Entered, bool), Refusal> {
    let (HalfIn { link, kept: fitted, shared }, state) = passkeys.second.take(house, id)?;
    let result = passkeys.webauthn.finish_passkey_authentication(answer, &state).map_err(not_accepted)?;
    let kept = own(house, link.id).await?.into_iter().find(|kept| kept.id == result.cred_id().to_vec());
    let kept = kept.ok_or_else(|| not_accepted("it is kept here no more"))?;
    let passkey = credential(&kept)?;
    note_use(house, kept, passkey, &result).await?;
    Ok((let_in_organizer(house, link, Some(fitted), shared, caller).await?, shared))
}

/// Begins a proof of who somebody is who is signed in: they are asked for one of their own passkeys.
pub async fn begin_proof(house: &House, passkeys: &Passkeys, actor: &Actor) -> Result<(Uuid, Json), Refusal> {
    require(actor, Deed::ChangeWhoRuns, Whose::Club)?;
    let own = own(house, actor.link).await?.iter().map(credential).collect::<Result<Vec<Passkey>, _>>()?;
    if own.is_empty() {
        return Err(Refusal::NotNow("You have no passkey here yet: say your passphrase.".into()));
    }
    let (challenge, state) = passkeys.webauthn.start_passkey_authentication(&own).map_err(not_accepted)?;
    let asked = serde_json::to_value(challenge).map_err(not_accepted)?;
    Ok((passkeys.proving.begin(house, (actor.device, state)), asked))
}

/// Takes a passkey's answer as the proof.
pub async fn finish_proof(
    house: &House,
    passkeys: &Passkeys,
    actor: &Actor,
    id: Uuid,
    answer: &PublicKeyCredential,
) -> Result<(), Refusal> {
    require(actor, Deed::ChangeWhoRuns, Whose::Club)?;
    let (device, state) = passkeys.proving.take(house, id)?;
    if device != actor.device {
        return Err(Refusal::NotHere);
    }
    let result = passkeys.webauthn.finish_passkey_authentication(answer, &state).map_err(|error| {
        log::tell(Security::NotProven { way: Way::Passkey, link: actor.link, device: actor.device });
        not_accepted(error)
    })?;
    let kept = own(house, actor.link).await?.into_iter().find(|kept| kept.id == result.cred_id().to_vec());
    let kept = kept.ok_or_else(|| not_accepted("it is kept here no more"))?;
    let passkey = credential(&kept)?;
    note_use(house, kept, passkey, &result).await?;
    proof::note(house, actor, Way::Passkey).await
}

/// Keeps a passkey's counter as it is now.
async fn note_use(house: &House, kept: KeptPasskey, mut passkey: Passkey, result: &AuthenticationResult) -> Result<(), Refusal> {
    passkey.update_credential(result);
    let (changed, now) = (as_json(&passkey)?, house.now());
    house
        .store
        .write::<_, Refusal, _>(Touch::Nothing, move |db| {
            Box::pin(async move { Ok(account::passkey_used(db, &kept.id, &changed, now).await?) })
        })
        .await
}

/// One's own passkeys.
pub async fn own(house: &House, link: Uuid) -> Result<Vec<KeptPasskey>, Refusal> {
    let mut db = house.store.read().await?;
    Ok(account::passkeys(&mut db).await?.into_iter().filter(|kept| kept.link == link).collect())
}

/// Removes one of one's own passkeys.
pub async fn remove(house: &House, proven: &Proven, id: Vec<u8>) -> Result<(), Refusal> {
    let actor = proven.actor();
    let (link, device) = (actor.link, actor.device);
    let found = house
        .write_as(actor, Touch::Access, move |db| Box::pin(async move { Ok(account::remove_passkey(db, link, &id).await?) }))
        .await?;
    if !found {
        return Err(Refusal::NotHere);
    }
    log::tell(Security::PasskeyRemoved { link, device });
    Ok(())
}
