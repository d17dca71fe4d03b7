//! Who may do what. Keys are stored as their SHA-256 and compared in constant time.
//!
//! A key is 32 random bytes, so a plain hash is enough: there is nothing to guess that a slow hash would slow down.

use sha2::{Digest, Sha256};
use subtle::{ConditionallySelectable, ConstantTimeEq};

use super::SettingsFault;
use super::file::File;

/// What a key opens.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Scope {
    /// Preflight, proofs, estimates, stocks.
    Inspect,
    /// Gang runs.
    Gang,
    /// Metrics.
    Metrics,
}

impl Scope {
    /// Every scope.
    pub(crate) const ALL: [Scope; 3] = [Scope::Inspect, Scope::Gang, Scope::Metrics];

    /// The settings' word.
    pub(crate) fn word(self) -> &'static str {
        match self {
            Scope::Inspect => "inspect",
            Scope::Gang => "gang",
            Scope::Metrics => "metrics",
        }
    }

    fn bit(self) -> u32 {
        match self {
            Scope::Inspect => 1,
            Scope::Gang => 2,
            Scope::Metrics => 4,
        }
    }

    fn from_word(word: &str) -> Option<Scope> {
        Scope::ALL.into_iter().find(|scope| scope.word() == word)
    }
}

/// One key.
#[derive(Clone, Debug)]
struct Key {
    /// Who has it.
    name: String,
    sha256: [u8; 32],
    scopes: u32,
}

/// All keys.
#[derive(Clone, Debug, Default)]
pub(crate) struct Keys(Vec<Key>);

/// What a presented key opens.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Opened<'a> {
    /// The operation; the key has this name.
    Yes(&'a str),
    /// Another operation.
    NotThis,
    /// Nothing.
    Unknown,
}

/// The SHA-256 of a key.
pub(crate) fn hash_of(key: &str) -> [u8; 32] {
    Sha256::digest(key.as_bytes()).into()
}

impl Keys {
    /// Whether there is none.
    pub(crate) fn is_empty(&self) -> bool {
        self.0.is_empty()
    }

    /// Who has one.
    pub(crate) fn names(&self) -> Vec<&str> {
        self.0.iter().map(|key| key.name.as_str()).collect()
    }

    /// What a presented key opens. Takes the same time whichever key it is, or none.
    pub(crate) fn open(&self, presented: &str, scope: Scope) -> Opened<'_> {
        let hash = hash_of(presented);
        // No key is known by the number after the last.
        let mut found = self.0.len() as u64;
        for (number, key) in (0..).zip(&self.0) {
            found.conditional_assign(&number, key.sha256.ct_eq(&hash));
        }
        match self.0.get(found as usize) {
            None => Opened::Unknown,
            Some(key) if key.scopes & scope.bit() == 0 => Opened::NotThis,
            Some(key) => Opened::Yes(&key.name),
        }
    }

    /// The file's keys and those of flag or environment.
    pub(super) fn merge(given: Option<&str>, file: &File, faults: &mut Vec<SettingsFault>) -> Keys {
        let mut keys: Vec<Key> = Vec::new();
        for (index, entry) in file.keys().into_iter().enumerate() {
            let scopes = entry.scopes.as_deref();
            match Key::checked(&entry.name, &entry.sha256, scopes) {
                Ok(key) => keys.push(key),
                Err(message) => faults.push(SettingsFault { place: file.place_of(&format!("/keys/{index}")), message }),
            }
        }
        for text in given.unwrap_or_default().split(',').map(str::trim).filter(|text| !text.is_empty()) {
            match Key::parse(text) {
                Ok(key) => keys.push(key),
                Err(message) => faults.push(SettingsFault { place: super::args::place_of("keys"), message }),
            }
        }
        for (number, key) in keys.iter().enumerate() {
            if keys[..number].iter().any(|other| other.name == key.name || other.sha256 == key.sha256) {
                let message = format!("the key {} is there twice, by its name or its sha256", key.name);
                faults.push(SettingsFault { place: file.place_of("/keys"), message });
            }
        }
        Keys(keys)
    }
}

impl Key {
    /// `NAME=SHA256[:SCOPE+SCOPE]`
    fn parse(text: &str) -> Result<Key, String> {
        let (name, rest) = text.split_once('=').ok_or("a key is NAME=SHA256[:SCOPE+SCOPE]")?;
        let (sha256, scopes) = match rest.split_once(':') {
            Some((sha256, scopes)) => (sha256, Some(scopes.split('+').map(str::to_owned).collect::<Vec<_>>())),
            None => (rest, None),
        };
        Key::checked(name, sha256, scopes.as_deref())
    }

    fn checked(name: &str, sha256: &str, scopes: Option<&[String]>) -> Result<Key, String> {
        key_name(name)?;
        let sha256 = decode(sha256).ok_or_else(|| {
            format!("the key {name} needs the SHA-256 of the key in 64 hexadecimal digits, as `quoin key` prints it")
        })?;
        let scopes = match scopes {
            None => Scope::ALL.iter().map(|scope| scope.bit()).sum(),
            Some(words) => bits(words)?,
        };
        Ok(Key { name: name.to_owned(), sha256, scopes })
    }
}

/// Checks the name of a key.
pub(crate) fn key_name(name: &str) -> Result<String, String> {
    if name.is_empty() || !name.bytes().all(|byte| byte.is_ascii_alphanumeric() || b"._-".contains(&byte)) {
        return Err("a key's name is of A-Z a-z 0-9 . _ -".to_owned());
    }
    Ok(name.to_owned())
}

fn bits(words: &[String]) -> Result<u32, String> {
    let mut bits = 0;
    for word in words {
        let scope = Scope::from_word(word);
        bits |=
            scope.ok_or_else(|| format!("there is no scope \"{word}\"; scopes are inspect, gang and metrics"))?.bit();
    }
    if bits == 0 { Err("a key without scopes opens nothing; leave scopes out for all".to_owned()) } else { Ok(bits) }
}

fn decode(text: &str) -> Option<[u8; 32]> {
    if text.len() != 64 || !text.bytes().all(|byte| byte.is_ascii_hexdigit()) {
        return None;
    }
    let mut bytes = [0; 32];
    for (byte, digits) in bytes.iter_mut().zip(text.as_bytes().chunks_exact(2)) {
        *byte = u8::from_str_radix(std::str::from_utf8(digits).ok()?, 16).ok()?;
    }
    Some(bytes)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// FIPS 180-2, appendix B.1: the SHA-256 of "abc".
    const ABC: &str = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad";

    #[test]
    fn a_key_opens_what_its_scopes_say() {
        let keys = Keys(vec![Key::parse(&format!("shop={ABC}:inspect+metrics")).expect("a key")]);
        assert_eq!(keys.open("abc", Scope::Inspect), Opened::Yes("shop"));
        assert_eq!(keys.open("abc", Scope::Metrics), Opened::Yes("shop"));
        assert_eq!(keys.open("abc", Scope::Gang), Opened::NotThis);
        assert_eq!(keys.open("abd", Scope::Inspect), Opened::Unknown);
        assert_eq!(keys.open("", Scope::Inspect), Opened::Unknown);
        let all = Keys(vec![Key::parse(&format!("shop={}", ABC.to_uppercase())).expect("a key")]);
        assert!(Scope::ALL.into_iter().all(|scope| all.open("abc", scope) == Opened::Yes("shop")));
    }

    #[test]
    fn broken_keys_are_refused_with_what_would_be_right() {
        for text in ["shop", "shop=abc", &format!("sh op={ABC}"), &format!("shop={ABC}:print"), &format!("shop={ABC}:")]
        {
            assert!(Key::parse(text).is_err(), "{text}");
        }
    }
}
