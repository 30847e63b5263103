//! A pass: what a cleared entry shows at the pit exit, in few enough bytes for a code that a phone reads through a windscreen,
//! and signed, so that a marshal without signal can tell it from a drawing of one.
//!
//! It says that this car was cleared when the pass was made, and until when that may be believed without asking. It is no
//! clearance by itself: where a newer word of the car is known, that word counts. Which of the two is newer is told by their
//! places in the event's chain and never by a clock.

use data_encoding::BASE32_NOPAD;
use ed25519_dalek::{Signature, Signer, SigningKey, VerifyingKey};

/// The first byte of a pass, by its form.
const FORM: u8 = 2;
/// Passes of the first form say no place. They are still read: some may be on windscreens when the program is updated.
const FORM_WITHOUT_PLACE: u8 = 1;
/// Goes into what is signed, so that a signature over something else is never taken for one over a pass.
const CONTEXT: &[u8] = b"witnessmark pass 1";
/// The longest car number and run group, in bytes.
const LONGEST: usize = 60;

/// What a pass says.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Pass {
    pub event: [u8; 16],
    pub entry: [u8; 16],
    /// The sign-off that cleared the car.
    pub clear: [u8; 16],
    /// When it was made, in minutes since 1970-01-01 UTC: shown, and never compared.
    pub made_min: u32,
    /// Until when it holds, in minutes since 1970-01-01 UTC.
    pub until_min: u32,
    /// The place in the event's chain up to which the car's history was looked at when the pass was made. A list from this place
    /// or a later one knows more than the pass. 0 for a pass of the first form, which is older than any list.
    pub place: u32,
    pub number: String,
    pub group: String,
}

/// Why a text is no pass.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum PassError {
    #[error("this is no pass")]
    NotAPass,
    #[error("this pass was not made by this club for this event, or was altered")]
    Forged,
    /// Whoever has the key can sign anything: what a pass says is held against the event as well.
    #[error("this pass says that it holds longer than its event")]
    TooLong,
}

impl Pass {
    fn bytes(&self) -> Vec<u8> {
        let mut bytes = vec![FORM];
        bytes.extend(self.event);
        bytes.extend(self.entry);
        bytes.extend(self.clear);
        bytes.extend(self.made_min.to_be_bytes());
        bytes.extend(self.until_min.to_be_bytes());
        bytes.extend(self.place.to_be_bytes());
        for text in [&self.number, &self.group] {
            let end = text.floor_char_boundary(LONGEST);
            bytes.push(end as u8);
            bytes.extend(&text.as_bytes()[..end]);
        }
        bytes
    }

    /// The pass as text: base32 (RFC 4648, without padding) of what it says and of an Ed25519 signature (RFC 8032) over it. All
    /// of it are letters and figures of a code's denser alphabet (ISO/IEC 18004).
    ///
    /// # Example: what was sealed is opened, and a changed letter is not
    /// ```
    /// use witnessmark::rules::pass::{Pass, PassError, public_key};
    /// let key = [7; 32];
    /// let pass = Pass {
    ///     event: [1; 16], entry: [2; 16], clear: [3; 16], made_min: 29_638_440, until_min: 29_639_460,
    ///     place: 94, number: "27".into(), group: "B".into(),
    /// };
    /// let text = pass.seal(&key);
    /// let ends_min = 29_639_460;
    /// assert_eq!(Pass::open(&text, &public_key(&key), ends_min), Ok(pass));
    /// let altered = format!("{}{}", &text[..text.len() - 30], "A".repeat(30));
    /// assert_eq!(Pass::open(&altered, &public_key(&key), ends_min), Err(PassError::Forged));
    /// assert_eq!(Pass::open(&text, &public_key(&key), ends_min - 1), Err(PassError::TooLong));
    /// ```
    pub fn seal(&self, key: &[u8; 32]) -> String {
        let bytes = self.bytes();
        let signature = sign(key, &[CONTEXT, &bytes].concat());
        BASE32_NOPAD.encode(&[&bytes[..], &signature].concat())
    }

    /// Reads a pass without asking who made it: to find out which event's key to ask.
    ///
    /// # Errors
    /// [`PassError::NotAPass`] for a text of another form.
    pub fn read(text: &str) -> Result<Pass, PassError> {
        parts(text).map(|(pass, ..)| pass)
    }

    /// Reads a pass and verifies that it was sealed with the key that belongs to this public one, and does not say that it
    /// outlives its event. The event ends at `ends_min`, in minutes since 1970-01-01 UTC.
    ///
    /// # Errors
    /// [`PassError::NotAPass`] for a text of another form, [`PassError::Forged`] for a signature that does not fit,
    /// [`PassError::TooLong`] for a pass that would hold after its event.
    pub fn open(text: &str, public: &[u8; 32], ends_min: u32) -> Result<Pass, PassError> {
        let (pass, bytes, signature) = parts(text)?;
        match fits(public, &[CONTEXT, &bytes].concat(), &signature) {
            true if pass.until_min > ends_min => Err(PassError::TooLong),
            true => Ok(pass),
            false => Err(PassError::Forged),
        }
    }
}

/// An Ed25519 signature (RFC 8032).
pub fn sign(key: &[u8; 32], message: &[u8]) -> [u8; 64] {
    SigningKey::from_bytes(key).sign(message).to_bytes()
}

/// Whether a signature was made over this message with the secret key that belongs to this public one.
pub fn fits(public: &[u8; 32], message: &[u8], signature: &[u8; 64]) -> bool {
    let key = VerifyingKey::from_bytes(public);
    key.is_ok_and(|key| key.verify_strict(message, &Signature::from_bytes(signature)).is_ok())
}

/// The public key that belongs to a secret one.
pub fn public_key(key: &[u8; 32]) -> [u8; 32] {
    SigningKey::from_bytes(key).verifying_key().to_bytes()
}

/// What a text says, the bytes that were signed, the signature.
fn parts(text: &str) -> Result<(Pass, Vec<u8>, [u8; 64]), PassError> {
    let all = BASE32_NOPAD.decode(text.trim().to_ascii_uppercase().as_bytes()).map_err(|_| PassError::NotAPass)?;
    let (bytes, signature) = all.split_last_chunk::<64>().ok_or(PassError::NotAPass)?;
    let pass = told(bytes).ok_or(PassError::NotAPass)?;
    Ok((pass, bytes.to_vec(), *signature))
}

fn told(bytes: &[u8]) -> Option<Pass> {
    let (form, rest) = bytes.split_first()?;
    let (event, rest) = rest.split_first_chunk()?;
    let (entry, rest) = rest.split_first_chunk()?;
    let (clear, rest) = rest.split_first_chunk()?;
    let (made, rest) = rest.split_first_chunk()?;
    let (until, rest) = rest.split_first_chunk()?;
    let (place, rest) = match *form {
        FORM => rest.split_first_chunk()?,
        FORM_WITHOUT_PLACE => (&[0; 4], rest),
        _ => return None,
    };
    let (number, rest) = short_text(rest)?;
    let (group, rest) = short_text(rest)?;
    let (made_min, until_min) = (u32::from_be_bytes(*made), u32::from_be_bytes(*until));
    let place = u32::from_be_bytes(*place);
    let pass = Pass { event: *event, entry: *entry, clear: *clear, made_min, until_min, place, number, group };
    rest.is_empty().then_some(pass)
}

fn short_text(bytes: &[u8]) -> Option<(String, &[u8])> {
    let (length, rest) = bytes.split_first()?;
    let (text, rest) = rest.split_at_checked(usize::from(*length))?;
    Some((String::from_utf8(text.to_vec()).ok()?, rest))
}
