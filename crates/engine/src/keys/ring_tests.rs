//! Whose a key is, and each cause for which it is nobody's.

use std::collections::BTreeSet;

use super::*;
use crate::keys::{KeyText, Role};

const NOW: &str = "2026-05-01T12:00:00Z";

fn at(text: &str) -> SystemTime {
    moment(text).unwrap()
}

fn secret() -> ServerSecret {
    ServerSecret::new(std::array::from_fn(|byte| u8::try_from(byte).unwrap()))
}

fn key(number: u8) -> KeyText {
    KeyText::new(KeyId::new([number; 8]), &[0xa0 + number; 32])
}

fn facts(number: u8, holder: &str) -> KeyFacts {
    let roles = BTreeSet::from([Role::Curator]);
    KeyFacts::of(&key(number), &secret(), holder.to_owned(), roles, "2026-01-01T00:00:00Z".to_owned(), None)
}

fn ring(keys: impl IntoIterator<Item = KeyFacts>) -> KeyRing {
    KeyRing::new(secret(), keys).unwrap()
}

#[test]
fn a_key_is_its_holders() {
    let ring = ring([facts(1, "Ada"), facts(2, "Ben")]);
    let caller = ring.authenticate(key(2).reveal(), at(NOW)).unwrap();
    assert_eq!((caller.holder(), caller.actor().as_str()), ("Ben", "Ben (key 0202020202020202)"));
    assert!(caller.has(Role::Curator) && caller.has(Role::Reader), "every role reads");
    for other in [Role::Publisher, Role::Auditor, Role::Operator] {
        assert!(!caller.has(other), "{other}");
    }
}

/// A holder has up to 120 characters, of up to four bytes each, and the actor of an entry 256 bytes.
#[test]
fn a_long_holder_fits_into_an_entry() {
    let ring = ring([facts(1, &"\u{1d11e}".repeat(120))]);
    let actor = ring.authenticate(key(1).reveal(), at(NOW)).unwrap().actor();
    assert_eq!(actor, format!("{} (key 0101010101010101)", "\u{1d11e}".repeat(58)));
    assert!(actor.len() <= 256 && actor.len() > 252);
}

/// The MAC is Python's: `hmac.new(bytes(range(32)), key, hashlib.sha256).hexdigest()`, so that a log that this program
/// wrote is read the same by every later one.
#[test]
fn a_key_that_another_program_made_is_let_in() {
    let line = r#"{"id":"0001020304050607","holder":"Ada","roles":["reader","operator"],
        "mac":"1e4e3e98392334dabc7912e6fe6dbdc05de3274c6a242645cf2146b2715a2393","secret_id":"8adc89f9",
        "created":"2026-01-01T00:00:00Z","expires":null,"revoked":null}"#;
    let ring = ring([serde_json::from_str(line).unwrap()]);
    let text = format!("dwk_0001020304050607_{}_4219fbe0", "aa".repeat(32));
    assert!(ring.authenticate(&text, at(NOW)).unwrap().has(Role::Operator));
    let unknown = line.replacen("\"holder\"", "\"owner\"", 1);
    assert!(serde_json::from_str::<KeyFacts>(&unknown).is_err());
}

#[test]
fn each_cause_is_told() {
    let id = |number: u8| KeyId::new([number; 8]);
    let foreign = KeyFacts { secret_id: "00000000".to_owned(), ..facts(3, "Ada") };
    let revoked = KeyFacts { revoked: Some("2026-04-01T00:00:00Z".to_owned()), ..facts(4, "Ada") };
    let expired = KeyFacts { expires: Some(NOW.to_owned()), ..facts(5, "Ada") };
    let ring = ring([facts(1, "Ada"), foreign, revoked, expired]);
    let forged = |number: u8| KeyText::new(id(number), &[0; 32]).reveal().to_owned();
    let whole = key(1).reveal().to_owned();
    let slip = whole.replacen("a1", "a2", 1);
    let cases = [
        ("Basic QWxhZGRpbg==".to_owned(), AuthFault::Malformed),
        (String::new(), AuthFault::Malformed),
        (slip, AuthFault::Mistyped),
        (key(9).reveal().to_owned(), AuthFault::Unknown { id: id(9) }),
        (forged(1), AuthFault::WrongSecret { id: id(1) }),
        (key(3).reveal().to_owned(), AuthFault::OtherServerSecret { id: id(3) }),
        (key(4).reveal().to_owned(), AuthFault::Revoked { id: id(4) }),
        (key(5).reveal().to_owned(), AuthFault::Expired { id: id(5) }),
        // What became of a key is for those who hold it.
        (forged(4), AuthFault::WrongSecret { id: id(4) }),
        (forged(5), AuthFault::WrongSecret { id: id(5) }),
    ];
    for (presented, fault) in cases {
        assert_eq!(ring.authenticate(&presented, at(NOW)), Err(fault), "{presented}");
    }
}

#[test]
fn a_ring_under_another_secret_lets_no_key_in() {
    let other = KeyRing::new(ServerSecret::new([7; 32]), [facts(1, "Ada")]).unwrap();
    let refused = other.authenticate(key(1).reveal(), at(NOW));
    assert_eq!(refused, Err(AuthFault::OtherServerSecret { id: KeyId::new([1; 8]) }));
}

/// Times are compared as times: as texts `…59.5Z` comes before `…59Z`, and `…:60Z` after it.
#[test]
fn a_key_lives_until_its_end_and_no_longer() {
    let ends = |end: &str| ring([KeyFacts { expires: Some(end.to_owned()), ..facts(1, "Ada") }]);
    let id = KeyId::new([1; 8]);
    assert!(ends("2026-05-01T11:59:59.5Z").is_live(&id, at("2026-05-01T11:59:59Z")));
    assert!(ends("2026-05-01T11:59:59.5Z").is_live(&id, at("2026-05-01T11:59:59.49Z")));
    assert!(!ends("2026-05-01T11:59:59Z").is_live(&id, at("2026-05-01T11:59:59.5Z")));
    assert!(!ends("2026-05-01T11:59:59Z").is_live(&id, at("2026-05-01T11:59:59Z")));
    assert!(!ends("2026-05-01T11:59:59Z").is_live(&KeyId::new([2; 8]), at("2025-01-01T00:00:00Z")));
    for time in ["tomorrow", "2026-02-30T00:00:00Z", "2026-05-01T00:00:00", "2026-05-01 00:00:00+02:00", ""] {
        let key = KeyFacts { expires: Some(time.to_owned()), ..facts(1, "Ada") };
        let error = KeyRing::new(secret(), [key]).unwrap_err();
        assert_eq!(error, RingError::Time { id: id.clone(), time: time.to_owned() });
    }
}

#[test]
fn a_holder_has_two_live_keys_at_most() {
    let revoked = KeyFacts { revoked: Some(NOW.to_owned()), ..facts(2, "Ada") };
    let expired = KeyFacts { expires: Some("2026-02-01T00:00:00Z".to_owned()), ..facts(3, "Ada") };
    let one = [facts(1, "Ada"), revoked, expired, facts(4, "Ben")];
    assert_eq!(ring(one.clone()).room_for("Ada", at(NOW)), Ok(()));
    let two = ring(one.into_iter().chain([facts(5, "Ada")]));
    let full = two.room_for("Ada", at(NOW)).unwrap_err();
    assert_eq!(full.live, [KeyId::new([1; 8]), KeyId::new([5; 8])]);
    assert_eq!(two.room_for("Ben", at(NOW)), Ok(()));
    // After a backup was restored its keys let nobody in, and their holders need new ones.
    let restored = KeyRing::new(ServerSecret::new([9; 32]), two.keys().cloned()).unwrap();
    assert_eq!(restored.room_for("Ada", at(NOW)), Ok(()));
}

#[test]
fn an_id_is_given_once_and_a_revoked_key_was_made() {
    let twice = KeyRing::new(secret(), [facts(1, "Ada"), facts(1, "Ben")]).unwrap_err();
    assert_eq!(twice, RingError::Twice { id: KeyId::new([1; 8]) });
    assert!(KeyRing::default().is_empty());
    assert!(!ring([KeyFacts { revoked: Some(NOW.to_owned()), ..facts(1, "Ada") }]).is_empty());
}

#[test]
fn nothing_secret_is_in_a_debug_form() {
    let ring = ring([facts(1, "Ada")]);
    let refused = ring.authenticate(key(9).reveal(), at(NOW));
    let text = format!("{ring:?} {refused:?} {:?}", ring.authenticate(key(1).reveal(), at(NOW)));
    for secret in [key(1), key(9)] {
        assert!(!text.contains(secret.reveal().split('_').nth(2).unwrap()), "{text}");
    }
    assert!(!text.contains("0, 1, 2, 3"), "{text}");
}
