//! Passwords and unguessable tokens. Only hashes of them are ever stored.

use argon2::{Algorithm, Argon2, Params, PasswordHasher, PasswordVerifier, Version, password_hash::phc::PasswordHash};
use sha2::{Digest, Sha256};

/// A single-factor password is at least this long (NIST SP 800-63B-4, section 3.1.1).
pub const SHORTEST_PASSWORD: usize = 15;

/// Crockford's base32 alphabet: no I, L, O, U, so that a token survives paper and telephone.
const ALPHABET: &[u8; 32] = b"0123456789ABCDEFGHJKMNPQRSTVWXYZ";

/// Bytes that cannot be guessed, from the operating system.
///
/// # Panics
/// When the system has no randomness at all: nothing secret can be made then.
pub fn random<const N: usize>() -> [u8; N] {
    let mut bytes = [0; N];
    getrandom::fill(&mut bytes).expect("the operating system gives random bytes");
    bytes
}

/// A token of 160 random bits as 32 characters of base32.
pub fn token() -> String {
    let bits = random::<32>();
    bits.iter().map(|b| char::from(ALPHABET[usize::from(b % 32)])).collect()
}

/// What people make of a token when they copy it: lower case, spaces, dashes, O for 0, I or L for 1.
pub fn tidy_token(typed: &str) -> String {
    let letters = typed.chars().filter(char::is_ascii_alphanumeric).take(64);
    letters
        .map(|c| match c.to_ascii_uppercase() {
            'O' => '0',
            'I' | 'L' => '1',
            other => other,
        })
        .collect()
}

/// SHA-256, enough for a token of 160 random bits (NIST SP 800-63B-4, look-up secrets of 112 bits or more).
pub fn sha256(bytes: &[u8]) -> [u8; 32] {
    Sha256::digest(bytes).into()
}

/// A SHA-256 as 64 hexadecimal digits, read back.
pub fn fingerprint(text: &str) -> Option<[u8; 32]> {
    if text.len() != 64 || !text.bytes().all(|b| b.is_ascii_hexdigit()) {
        return None;
    }
    let mut bytes = [0; 32];
    for (n, byte) in bytes.iter_mut().enumerate() {
        *byte = u8::from_str_radix(text.get(2 * n..2 * n + 2)?, 16).ok()?;
    }
    Some(bytes)
}

/// Lower-case hexadecimal text.
pub fn hex(bytes: &[u8]) -> String {
    use std::fmt::Write;
    bytes.iter().fold(String::with_capacity(bytes.len() * 2), |mut s, b| {
        let _ = write!(s, "{b:02x}");
        s
    })
}

/// How much work a password hash costs.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Effort {
    /// argon2id, 64 MiB, 3 passes: for people.
    Real,
    /// As little as the format allows: for the invented sign-ins of the demo and of tests only.
    Invented,
}

/// Argon2id hash of a password in PHC form. `None` if the library refuses the input.
pub fn hash_password(password: &str, effort: Effort) -> Option<String> {
    let (memory, passes) = match effort {
        Effort::Real => (64 * 1024, 3),
        Effort::Invented => (64, 1),
    };
    let params = Params::new(memory, passes, 1, None).ok()?;
    let argon = Argon2::new(Algorithm::Argon2id, Version::V0x13, params);
    let hash: PasswordHash = argon.hash_password(password.as_bytes()).ok()?;
    Some(hash.to_string())
}

/// Whether `password` is the one behind `hash`; the cost is the one written in the hash.
pub fn password_fits(password: &str, hash: &str) -> bool {
    PasswordHash::new(hash).is_ok_and(|h| Argon2::default().verify_password(password.as_bytes(), &h).is_ok())
}

/// What is wrong with a new password, in words for its owner.
pub fn weakness(password: &str, sign_in: &str) -> Option<String> {
    let length = password.chars().count();
    if length < SHORTEST_PASSWORD {
        return Some(format!(
            "Make it {SHORTEST_PASSWORD} characters or more; four or five words in a row are easy to keep in mind. This one has {length}."
        ));
    }
    if length > 200 {
        return Some("Keep it to 200 characters or fewer.".to_owned());
    }
    let lower = password.to_lowercase();
    let first = lower.chars().next();
    if lower.chars().all(|c| Some(c) == first)
        || lower.contains("password")
        || lower.contains("embertide")
        || (!sign_in.is_empty() && lower.contains(sign_in))
    {
        return Some("That one is easy to guess. Take words that have nothing to do with your name or with this program.".to_owned());
    }
    None
}
