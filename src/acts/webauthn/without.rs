//! The names of the passkeys' library that this program uses, for a build without it. Nothing here is ever reached: no server has
//! [`Webauthn`], for [`WebauthnBuilder::new`] gives none.

use self::prelude::*;
use url::Url;
use uuid::Uuid;

/// Says that there are no passkeys.
#[derive(Debug, thiserror::Error)]
#[error("this program was built without passkeys")]
pub struct Without;

pub struct WebauthnBuilder(Without);

impl WebauthnBuilder {
    /// # Errors
    /// Always.
    pub fn new(_: &str, _: &Url) -> Result<WebauthnBuilder, Without> {
        Err(Without)
    }

    pub fn rp_name(self, _: &str) -> WebauthnBuilder {
        self
    }

    /// # Errors
    /// Always.
    pub fn build(self) -> Result<Webauthn, Without> {
        Err(self.0)
    }
}

pub struct Webauthn(());

/// Every ceremony fails.
///
/// # Errors
/// Always.
impl Webauthn {
    pub fn start_passkey_registration(
        &self,
        _: Uuid,
        _: &str,
        _: &str,
        _: Option<Vec<CredentialID>>,
    ) -> Result<(CreationChallengeResponse, PasskeyRegistration), Without> {
        Err(Without)
    }

    pub fn finish_passkey_registration(
        &self,
        _: &RegisterPublicKeyCredential,
        _: &PasskeyRegistration,
    ) -> Result<Passkey, Without> {
        Err(Without)
    }

    pub fn start_passkey_authentication(
        &self,
        _: &[Passkey],
    ) -> Result<(RequestChallengeResponse, PasskeyAuthentication), Without> {
        Err(Without)
    }

    pub fn finish_passkey_authentication(
        &self,
        _: &PublicKeyCredential,
        _: &PasskeyAuthentication,
    ) -> Result<AuthenticationResult, Without> {
        Err(Without)
    }

    pub fn start_discoverable_authentication(&self) -> Result<(RequestChallengeResponse, DiscoverableAuthentication), Without> {
        Err(Without)
    }

    pub fn identify_discoverable_authentication<'a>(&self, _: &'a PublicKeyCredential) -> Result<(Uuid, &'a [u8]), Without> {
        Err(Without)
    }

    pub fn finish_discoverable_authentication_v2(
        &self,
        _: &PublicKeyCredential,
        _: DiscoverableAuthentication,
        _: &Passkey,
    ) -> Result<AuthenticationResult, Without> {
        Err(Without)
    }
}

pub mod prelude {
    use serde::{Deserialize, Serialize};

    pub type CredentialID = Vec<u8>;

    #[derive(Serialize)]
    pub struct CreationChallengeResponse {}

    #[derive(Serialize)]
    pub struct RequestChallengeResponse {}

    #[derive(Deserialize)]
    pub struct RegisterPublicKeyCredential {}

    #[derive(Deserialize)]
    pub struct PublicKeyCredential {}

    pub struct PasskeyRegistration {}

    pub struct PasskeyAuthentication {}

    pub struct DiscoverableAuthentication {}

    #[derive(Serialize, Deserialize)]
    pub struct Passkey {}

    impl Passkey {
        pub fn cred_id(&self) -> &CredentialID {
            const NONE: &CredentialID = &Vec::new();
            NONE
        }

        pub fn update_credential(&mut self, _: &AuthenticationResult) -> Option<bool> {
            None
        }
    }

    pub struct AuthenticationResult {}

    impl AuthenticationResult {
        pub fn cred_id(&self) -> &CredentialID {
            const NONE: &CredentialID = &Vec::new();
            NONE
        }
    }
}
