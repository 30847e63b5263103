//! Coming in by a private link: the link's secret becomes a cookie of this device.

use super::Refusal;
use super::house::House;
use super::rights::{Actor, Role};
use crate::store::Touch;
use crate::store::access::{self, Device, Digest};
use data_encoding::Specification;
use jiff::ToSpan;
use sha2::{Digest as _, Sha256};
use std::sync::LazyLock;

/// How long a device stays let in after it came by its link.
const LET_IN_DAYS: i64 = 120;

/// Small letters and figures without those that a tired eye confuses; 32 characters carry 160 bits.
static LETTERS: LazyLock<data_encoding::Encoding> = LazyLock::new(|| {
    let mut specification = Specification::new();
    specification.symbols.push_str("abcdefghijkmnpqrstuvwxyz23456789");
    // The symbols are 32 different ASCII characters, which is all that can be wrong with them.
    specification.encoding().unwrap_or(data_encoding::BASE32_NOPAD)
});

/// A secret as it stands in a link or a cookie.
pub fn secret_text(secret: [u8; 20]) -> String {
    LETTERS.encode(&secret)
}

/// What is kept of a secret; `None` for a text that is none of ours.
pub fn digest_of(secret: &str) -> Option<Digest> {
    let bytes = LETTERS.decode(secret.as_bytes()).ok().filter(|bytes| bytes.len() == 20)?;
    Some(Sha256::digest(bytes).into())
}

/// Who came in, and the secret for the cookie.
pub struct Entered {
    pub actor: Actor,
    pub cookie: String,
    pub days: i64,
}

/// Lets a device in by a link's secret.
///
/// # Errors
/// [`Refusal::WhoAreYou`] for a secret that is unknown or was taken back: the two answer alike.
pub async fn enter(house: &House, secret: &str) -> Result<Entered, Refusal> {
    let digest = digest_of(secret).ok_or(Refusal::WhoAreYou)?;
    let link = {
        let mut db = house.store.read().await?;
        access::link_by_digest(&mut db, digest).await?
    };
    let link = link.filter(|link| link.revoked_at.is_none()).ok_or(Refusal::WhoAreYou)?;
    Role::of_link(&link).ok_or(Refusal::WhoAreYou)?;
    let (device, cookie) = (house.new_id(), secret_text(house.new_secret()));
    let (digest, link_id, now) = (digest_of(&cookie).ok_or(Refusal::WhoAreYou)?, link.id, house.now());
    let ends = now.checked_add((LET_IN_DAYS * 24).hours()).unwrap_or(now);
    house
        .store
        .write::<_, Refusal, _>(Touch::Nothing, move |db| {
            Box::pin(async move { Ok(access::add_device(db, device, digest, link_id, now, ends).await?) })
        })
        .await?;
    let actor = Actor::on(&Device { id: device, link }).ok_or(Refusal::WhoAreYou)?;
    Ok(Entered { actor, cookie, days: LET_IN_DAYS })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_secret_is_read_back_only_as_it_was_given_out() {
        let text = secret_text([7; 20]);
        assert_eq!(text.len(), 32);
        assert!(digest_of(&text).is_some());
        assert!(digest_of(&text.to_uppercase()).is_none(), "another spelling");
        assert!(digest_of(&text[1..]).is_none(), "cut short");
        assert!(digest_of("").is_none());
    }
}
