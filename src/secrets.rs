//! Passwords and unguessable tokens. Only hashes of them are ever stored.

use argon2::{Algorithm, Argon2, Params, PasswordHasher, PasswordVerifier, Version, password_hash::phc::PasswordHash};
use hmac::{Hmac, KeyInit, Mac};
use sha1::Sha1;
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

/// How long a code of the second factor holds, seconds (RFC 6238, section 4.1).
const STEP: i64 = 30;

/// The half minute that holds a moment, counted from 1970.
pub fn step_of(unix_seconds: i64) -> u64 {
    u64::try_from(unix_seconds.div_euclid(STEP)).unwrap_or(0)
}

/// The six digits of a half minute: HMAC-SHA-1 with dynamic truncation (RFC 4226, section 5.3; RFC 6238). `None` never comes of a key of
/// this length.
pub fn code_of(key: &[u8; 20], step: u64) -> Option<u32> {
    let mut mac = Hmac::<Sha1>::new_from_slice(key).ok()?;
    mac.update(&step.to_be_bytes());
    let sum = mac.finalize().into_bytes();
    let at = usize::from(sum.last()? & 0x0f);
    let four: [u8; 4] = sum.get(at..at + 4)?.try_into().ok()?;
    Some((u32::from_be_bytes(four) & 0x7fff_ffff) % 1_000_000)
}

/// The half minute whose code was typed: this one, the one before or the one after, since clocks differ (RFC 6238, section 6).
pub fn step_of_code(key: &[u8; 20], typed: &str, unix_seconds: i64) -> Option<u64> {
    let digits: String = typed.chars().filter(|c| !c.is_whitespace()).collect();
    if digits.len() != 6 || !digits.bytes().all(|b| b.is_ascii_digit()) {
        return None;
    }
    let code: u32 = digits.parse().ok()?;
    let now = step_of(unix_seconds);
    [now, now.saturating_sub(1), now + 1].into_iter().find(|step| code_of(key, *step) == Some(code))
}

/// Base32 as authenticator programs read keys (RFC 4648, section 6); 20 bytes are 32 letters.
pub fn base32(key: &[u8; 20]) -> String {
    const LETTERS: &[u8; 32] = b"ABCDEFGHIJKLMNOPQRSTUVWXYZ234567";
    let five = key.chunks(5).map(|c| c.iter().fold(0_u64, |bits, b| bits << 8 | u64::from(*b)));
    five.flat_map(|bits| (0..8).rev().map(move |n| char::from(LETTERS[usize::try_from(bits >> (5 * n) & 31).unwrap_or(0)]))).collect()
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

#[cfg(test)]
mod tests {
    use super::*;

    const KEY: &[u8; 20] = b"12345678901234567890";

    /// RFC 4226, appendix D: the codes of the first ten counts.
    #[test]
    fn codes_are_those_of_the_standard() {
        let codes: Vec<u32> = (0..10).filter_map(|step| code_of(KEY, step)).collect();
        assert_eq!(codes, [755_224, 287_082, 359_152, 969_429, 338_314, 254_676, 287_922, 162_583, 399_871, 520_489]);
    }

    /// RFC 6238, appendix B, the last six of its eight digits.
    #[test]
    fn a_code_belongs_to_its_half_minute() {
        let told = [
            (59, 287_082),
            (1_111_111_109, 81_804),
            (1_111_111_111, 50_471),
            (1_234_567_890, 5_924),
            (2_000_000_000, 279_037),
            (20_000_000_000, 353_130),
        ];
        for (at, code) in told {
            assert_eq!(code_of(KEY, step_of(at)), Some(code), "{at}");
            assert_eq!(step_of_code(KEY, &format!(" {:03} {:03} ", code / 1000, code % 1000), at), Some(step_of(at)));
            assert!(
                step_of_code(KEY, &format!("{code:06}"), at + 30).is_some() && step_of_code(KEY, &format!("{code:06}"), at + 60).is_none()
            );
        }
        for typed in ["", "28708", "2870822", "28708a", "-28708", "２８７０８２"] {
            assert_eq!(step_of_code(KEY, typed, 59), None, "{typed}");
        }
    }

    /// RFC 4648, section 10: "fooba" is MZXW6YTB.
    #[test]
    fn keys_are_written_in_base32() {
        assert_eq!(base32(b"foobafoobafoobafooba"), "MZXW6YTB".repeat(4));
    }
}
