//! The library that does the ceremonies of passkeys (Web Authentication, W3C). Built without the feature `passkeys`, the same names
//! with nothing behind them: [`WebauthnBuilder::new`] fails, so that the server has no passkeys and its pages offer none.

#[cfg(feature = "passkeys")]
pub use webauthn_rs::{Webauthn, WebauthnBuilder, prelude};

#[cfg(not(feature = "passkeys"))]
pub use without::{Webauthn, WebauthnBuilder, prelude};

/// Whether passkeys are in this build.
pub const IS_BUILT_IN: bool = cfg!(feature = "passkeys");

/// What a page or an answer says where there are no passkeys.
pub const NONE_HERE: &str = if IS_BUILT_IN {
    "Browsers have passkeys only over https, or on the machine itself."
} else {
    "This server was built without passkeys: sign in with your passphrase."
};

#[cfg(not(feature = "passkeys"))]
mod without;
