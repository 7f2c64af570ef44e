//! HTTP Message Signatures (RFC 9421) with HMAC-SHA-256, and the Content-Digest (RFC 9530) they cover. A receiver that
//! holds the secret knows that a record comes from this boat and was not changed on the way.

use base64::Engine as _;
use base64::engine::general_purpose::STANDARD;
use hmac::{Hmac, KeyInit, Mac};
use sha2::{Digest, Sha256};
use terms::Utc;

/// The label of the signature in its two fields.
const LABEL: &str = "middlewatch";

/// The key that signs a post.
#[derive(Clone)]
pub struct Key {
    /// Its id, as the receiver knows it.
    pub id: String,
    /// The secret shared with the receiver.
    pub secret: Vec<u8>,
}

impl std::fmt::Debug for Key {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        // Keep the secret out of every log.
        f.debug_struct("Key").field("id", &self.id).finish_non_exhaustive()
    }
}

/// The two fields of a signature.
#[derive(Debug, PartialEq, Eq)]
pub(super) struct Signature {
    /// `Signature-Input`: the covered components.
    pub input: String,
    /// `Signature`.
    pub signature: String,
}

/// The value of `Content-Digest` for a body (RFC 9530 section 2).
pub(super) fn content_digest(body: &[u8]) -> String {
    format!("sha-256=:{}:", STANDARD.encode(Sha256::digest(body)))
}

/// Signs components of a message, given in order as name and value. Names of derived components begin with `@` (RFC
/// 9421 section 2.5).
pub(super) fn sign(key: &Key, created: Utc, components: &[(&str, &str)]) -> Signature {
    signed_as(LABEL, key, created, components)
}

fn signed_as(label: &str, key: &Key, created: Utc, components: &[(&str, &str)]) -> Signature {
    let names: Vec<String> = components.iter().map(|(name, _)| format!("\"{name}\"")).collect();
    let seconds = created.0.div_euclid(1000);
    let id = key.id.replace('\\', "\\\\").replace('"', "\\\"");
    let parameters = format!("({});created={seconds};keyid=\"{id}\"", names.join(" "));
    let mut base = String::new();
    for (name, value) in components {
        base += &format!("\"{name}\": {value}\n");
    }
    base += &format!("\"@signature-params\": {parameters}");
    let mac = match Hmac::<Sha256>::new_from_slice(&key.secret) {
        Ok(mac) => mac.chain_update(base.as_bytes()).finalize().into_bytes(),
        // HMAC takes a key of any length (RFC 2104 section 2), so this arm never runs.
        Err(_) => Default::default(),
    };
    Signature {
        input: format!("{label}={parameters}"),
        signature: format!("{label}=:{}:", STANDARD.encode(mac)),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// RFC 9421 appendix B.2.5 with the key of B.1.5 and the message of B.2. The values are from memory; a second
    /// implementation of HMAC-SHA-256 (Python's hmac) gives the same.
    #[test]
    fn the_rfc_s_own_example_is_signed_alike() {
        let secret =
            "uzvJfB4u3N0Jy4T7NZ75MDVcr8zSTInedJtkgcu46YW4XByzNJjxBdtjUkdJPBtbmHhIDi6pcl8jsasjlTMtDQ==";
        let key = Key { id: "test-shared-secret".to_owned(), secret: STANDARD.decode(secret).unwrap() };
        let components = [
            ("date", "Tue, 20 Apr 2021 02:07:55 GMT"),
            ("@authority", "example.com"),
            ("content-type", "application/json"),
        ];
        let signed = signed_as("sig-b25", &key, Utc(1_618_884_473_000), &components);
        assert_eq!(
            signed.input,
            "sig-b25=(\"date\" \"@authority\" \"content-type\");created=1618884473;keyid=\"test-shared-secret\""
        );
        assert_eq!(signed.signature, "sig-b25=:pxcQw6G3AjtMBQjwo8XzkZf/bws5LelbaMk5rGIGtE8=:");
    }

    /// RFC 9530 appendix B.1 (with a line end) and RFC 9421 appendix B.2 (without); recomputed with Python's hashlib.
    #[test]
    fn digests_of_the_rfcs() {
        assert_eq!(
            content_digest(b"{\"hello\": \"world\"}\n"),
            "sha-256=:RK/0qy18MlBSVnWgjwz6lZEWjP/lF5HF9bvEF8FabDg=:"
        );
        assert_eq!(
            content_digest(b"{\"hello\": \"world\"}"),
            "sha-256=:X48E9qOokqqrvdts8nOJRJN3OWDUoyWxBf7kbu9DBPE=:"
        );
    }

    #[test]
    fn a_secret_is_not_shown() {
        let key = Key { id: "boat".to_owned(), secret: b"hush".to_vec() };
        assert!(!format!("{key:?}").contains("hush") && !format!("{key:?}").contains("104"));
    }
}
