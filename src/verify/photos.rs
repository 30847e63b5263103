//! Photos: submissions and sign-offs name them by digest.

use super::Misfits;
use crate::rules::chain::Sealed;
use crate::store::StoreError;
use crate::store::proof::Proof;
use serde::Deserialize;
use std::collections::{BTreeMap, HashMap};

/// The photos that records name.
#[derive(Debug, Default)]
pub(super) struct Named(HashMap<String, OfRecord>);

#[derive(Debug)]
struct OfRecord {
    digest: String,
    entry: String,
    record: String,
}

#[derive(Deserialize)]
struct Body {
    #[serde(default)]
    photo_digests: BTreeMap<String, String>,
}

impl Named {
    /// Takes down what a record names.
    pub fn take(&mut self, record: &Sealed, misfits: &mut Misfits) {
        // A sheet is thousands of characters, and most have no photo: they are not read for it.
        let Some(entry) = record.entry.as_ref().filter(|_| record.body.contains("\"photo_digests\"")) else { return };
        let body: Body = match serde_json::from_str(&record.body) {
            Ok(body) => body,
            Err(error) => return misfits.say(format!("record {}: its photos cannot be read: {error}", record.id)),
        };
        for (photo, digest) in body.photo_digests {
            let named = OfRecord { digest, entry: entry.clone(), record: record.id.clone() };
            if let Some(other) = self.0.get(&photo).filter(|other| other.digest != named.digest || other.entry != named.entry) {
                misfits.say(format!("photo {photo}: records {} and {} name different pictures by it", other.record, record.id));
            }
            self.0.insert(photo, named);
        }
    }

    /// Holds the photos of the file against what was named. Those of an erased driver may be gone.
    pub async fn compare(
        mut self,
        proof: &mut Proof,
        erased: &HashMap<String, i64>,
        misfits: &mut Misfits,
    ) -> Result<(), StoreError> {
        proof
            .photos(|photo| {
                let photo = match photo {
                    Ok(photo) => photo,
                    Err(words) => return misfits.say(words),
                };
                if photo.noted.as_ref() != Some(&photo.digest) {
                    misfits.say(format!("photo {} is not the picture whose digest was noted", photo.id));
                }
                let Some(named) = self.0.remove(&photo.id) else { return };
                if named.digest != photo.digest {
                    misfits.say(format!("photo {} is not the picture that record {} names", photo.id, named.record));
                }
                if named.entry != photo.entry {
                    misfits.say(format!("photo {} is not of the entry whose record {} names it", photo.id, named.record));
                }
            })
            .await?;
        let gone = self.0.iter().filter(|(_, named)| !erased.contains_key(&named.entry));
        for (photo, named) in gone {
            misfits.say(format!("photo {photo}, which record {} names, is gone and its driver was not erased", named.record));
        }
        Ok(())
    }
}
