//! The deeds of access, and the links and devices that they speak of.

use super::Misfits;
use super::heads::{self, Kept};
use crate::rules::chain::{ChainedDeed, Claim, DeviceClaim, Earlier, LinkClaim, hex};
use crate::store::StoreError;
use crate::store::proof::{DeedLine, Proof};
use std::collections::HashMap;

/// What the deeds say.
#[derive(Debug, Default)]
pub(super) struct Access {
    /// The entries whose drivers were erased, and when.
    pub erased: HashMap<String, i64>,
    /// The head, where there is one.
    pub line: Option<String>,
}

#[derive(Default)]
struct Said {
    links: HashMap<String, LinkClaim>,
    devices: HashMap<String, DeviceClaim>,
    erased: HashMap<String, i64>,
    place: i64,
    /// The hash of the newest deed of the chain.
    hash: Option<String>,
}

/// Follows the chain of deeds and holds links and devices against it.
pub(super) async fn verify(proof: &mut Proof, kept: &mut Kept, misfits: &mut Misfits) -> Result<Access, StoreError> {
    let (earlier, mut said) = (proof.earlier().await?, Said::default());
    proof
        .deeds(|deed| match deed {
            Ok(deed) => said.take(deed, &earlier, kept, misfits),
            Err(words) => misfits.say(words),
        })
        .await?;
    let Said { mut links, mut devices, erased, place, hash } = said;
    proof.links(|link| compare_link(&mut links, link, misfits)).await?;
    proof.devices(|device| compare_device(&mut devices, device, misfits)).await?;
    for link in links.keys() {
        misfits.say(format!("link {link}, of which the deeds of access speak, is gone"));
    }
    for device in devices.keys() {
        misfits.say(format!("device {device}, of which the deeds of access speak, is gone"));
    }
    let line = hash.map(|hash| heads::line_of_access(place.unsigned_abs(), &hash));
    Ok(Access { erased, line })
}

impl Said {
    fn take(&mut self, deed: DeedLine, earlier: &Earlier, kept: &mut Kept, misfits: &mut Misfits) {
        let mut say = |why: &str| misfits.say(format!("deed of access {} does not fit: {why}", deed.place));
        if deed.place != self.place + 1 {
            say(&format!("deed {} should stand here", self.place + 1));
        }
        self.place = deed.place;
        let Some((says, before, hash)) = deed.chained else {
            if self.hash.is_some() {
                say("it is not chained, and deeds before it are");
            }
            return;
        };
        if before != self.hash {
            say("it does not follow the deed before it");
        }
        let chained = ChainedDeed { place: deed.place, says, before };
        if hex(&chained.reckon()) != hash {
            say("what it claims is not what was noted");
        }
        let is_first = self.hash.is_none();
        kept.meet_deed(deed.place.unsigned_abs(), &hash);
        self.hash = Some(hash);
        let claim: Claim = match serde_json::from_str(&chained.says) {
            Ok(claim) => claim,
            Err(error) => return say(&format!("what it claims cannot be read: {error}")),
        };
        let by = claim.by.as_ref().map(|by| (by.link.clone(), by.device.clone()));
        if (&claim.what, claim.at, &claim.link, &by) != (&deed.what, deed.at, &deed.link, &deed.by) {
            say("its columns are not what it claims");
        }
        match &claim.baseline {
            Some(baseline) if is_first && baseline.earlier != *earlier => {
                say("the deeds from before it are not those that it found");
            }
            Some(_) if !is_first => say("it begins a chain that has begun"),
            None if is_first && *earlier != Earlier::none() => say("nothing binds the deeds from before it"),
            _ => {}
        }
        self.learn(claim);
    }

    fn learn(&mut self, claim: Claim) {
        let erased = claim.baseline.into_iter().flat_map(|baseline| baseline.erased).chain(claim.erased);
        self.erased.extend(erased.map(|entry| (entry.id, entry.at)));
        self.links.extend(claim.links.into_iter().map(|link| (link.id.clone(), link)));
        self.devices.extend(claim.devices.into_iter().map(|device| (device.id.clone(), device)));
    }
}

fn compare_link(said: &mut HashMap<String, LinkClaim>, link: Result<(LinkClaim, bool), String>, misfits: &mut Misfits) {
    let (link, name_fits) = match link {
        Ok(link) => link,
        Err(words) => return misfits.say(words),
    };
    let Some(claimed) = said.remove(&link.id) else {
        return misfits.say(format!("link {} ({}) is there, and no deed of access speaks of it", link.id, link.role));
    };
    let is_erasable = matches!(link.role.as_str(), "driver" | "garage");
    if !name_fits || (link.holder.is_none() && !is_erasable) {
        misfits.say(format!("link {}: its holder's name is not the one that was noted", link.id));
    }
    if link != claimed {
        misfits.say(format!(
            "link {} ({}) is not what the deeds of access say of it: {}",
            link.id,
            link.role,
            differs(&link, &claimed)
        ));
    }
}

/// Which of the fields differ.
fn differs(link: &LinkClaim, claimed: &LinkClaim) -> String {
    let fields = [
        ("role", link.role != claimed.role),
        ("event", link.event != claimed.event),
        ("entry", link.entry != claimed.entry),
        ("garage", link.garage != claimed.garage),
        ("holder", link.holder != claimed.holder),
        ("secret", link.secret != claimed.secret),
        ("when it was made", link.made_at != claimed.made_at),
        ("how often it can be used", link.once != claimed.once),
        ("until when", link.ends_at != claimed.ends_at),
        ("when it was spent", link.spent_at != claimed.spent_at),
        ("when it was taken back", link.revoked_at != claimed.revoked_at),
    ];
    fields.iter().filter(|(_, differs)| *differs).map(|(name, _)| *name).collect::<Vec<_>>().join(", ")
}

fn compare_device(said: &mut HashMap<String, DeviceClaim>, device: Result<DeviceClaim, String>, misfits: &mut Misfits) {
    let device = match device {
        Ok(device) => device,
        Err(words) => return misfits.say(words),
    };
    match said.remove(&device.id) {
        None => misfits.say(format!("device {} is there, and no deed of access speaks of it", device.id)),
        Some(claimed) if claimed.ended_at != device.ended_at => {
            misfits.say(format!("device {} was ended or revived otherwise than the deeds of access say", device.id));
        }
        Some(claimed) if claimed != device => {
            misfits.say(format!("device {} is not what the deeds of access say of it", device.id));
        }
        Some(_) => {}
    }
}
