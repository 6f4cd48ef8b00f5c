//! Whether a call is let in, and as whose.

use std::net::SocketAddr;
use std::time::SystemTime;

use dashwright_engine::keys::{AuthFault, Caller, KeyRing};
use http::header::{AUTHORIZATION, FORWARDED};
use http::{HeaderMap, HeaderName};

use super::{Access, Denied, Need};

/// The scheme of the authorization header; its case does not matter (RFC 9110, section 11.1).
const SCHEME: &str = "Bearer";
/// What a proxy adds to the calls that it passes on, beside the header that RFC 7239 made of it.
const X_FORWARDED_FOR: HeaderName = HeaderName::from_static("x-forwarded-for");

/// As whose call it is let in. A path of no method needs a key too, so that a stranger can not tell what exists.
pub(super) fn admit(
    access: &Access,
    need: Option<Need>,
    headers: &HeaderMap,
    peer: Option<SocketAddr>,
    now: SystemTime,
) -> Result<Caller, Denied> {
    let ring = access.keys.borrow();
    let caller = if ring.is_empty() {
        without_keys(access, headers, peer)?
    } else {
        ring.authenticate(presented(headers)?, now).map_err(Denied::Key)?
    };
    match need {
        Some(Need::Role(needed)) if !caller.has(needed) => {
            Err(Denied::Role { needed, key: caller.key_id().cloned() })
        }
        Some(Need::Role(_) | Need::Open) | None => Ok(caller),
    }
}

/// Who calls where no key was ever made.
fn without_keys(access: &Access, headers: &HeaderMap, peer: Option<SocketAddr>) -> Result<Caller, Denied> {
    // What a proxy on this machine passes on comes from elsewhere.
    let passed_on = headers.contains_key(FORWARDED) || headers.contains_key(X_FORWARDED_FOR);
    if !passed_on && peer.is_some_and(|peer| peer.ip().to_canonical().is_loopback()) {
        Ok(Caller::this_machine())
    } else if access.everybody_reads {
        Ok(Caller::anybody())
    } else {
        Err(Denied::Missing)
    }
}

/// The key that a call presents.
fn presented(headers: &HeaderMap) -> Result<&str, Denied> {
    let mut values = headers.get_all(AUTHORIZATION).iter();
    let value = values.next().ok_or(Denied::Missing)?;
    let malformed = || Denied::Key(AuthFault::Malformed);
    if values.next().is_some() {
        return Err(malformed());
    }
    let (scheme, key) = value.to_str().ok().and_then(|text| text.split_once(' ')).ok_or_else(malformed)?;
    if scheme.eq_ignore_ascii_case(SCHEME) { Ok(key.trim_matches(' ')) } else { Err(malformed()) }
}

/// Whether a caller who was let in would still be.
pub(super) fn still(ring: &KeyRing, caller: &Caller, now: SystemTime) -> Result<(), Denied> {
    match caller.key_id() {
        Some(key) => ring.standing(key, now).map_err(Denied::Key),
        // The first key closes the house, also for those who are in it.
        None if ring.is_empty() => Ok(()),
        None => Err(Denied::Missing),
    }
}

#[cfg(test)]
mod tests {
    use std::sync::Arc;

    use dashwright_engine::keys::{KeyFacts, KeyId, KeyText, Role, ServerSecret};
    use tokio::sync::watch;

    use super::*;

    const NOW: SystemTime = SystemTime::UNIX_EPOCH;
    const THERE: &str = "192.0.2.7:5000";

    fn key(number: u8) -> KeyText {
        KeyText::new(KeyId::new([number; 8]), &[number; 32])
    }

    /// With one key for each of some roles: that of the first is number 0.
    fn access(roles: &[Role], everybody_reads: bool) -> Access {
        let secret = ServerSecret::new([9; 32]);
        let facts = (0..).zip(roles).map(|(number, role)| {
            let created = "2026-01-01T00:00:00Z".to_owned();
            KeyFacts::of(&key(number), &secret, role.to_string(), [*role].into(), created, None)
        });
        let ring = Arc::new(KeyRing::new(secret.clone(), facts).unwrap());
        Access { keys: watch::channel(ring).1, everybody_reads }
    }

    fn header(name: &'static str, value: &str) -> HeaderMap {
        [(http::HeaderName::from_static(name), value.parse().unwrap())].into_iter().collect()
    }

    fn bearer(number: u8) -> HeaderMap {
        header("authorization", &format!("Bearer {}", key(number).reveal()))
    }

    fn ask(access: &Access, need: Option<Need>, headers: &HeaderMap, peer: &str) -> Result<String, Denied> {
        admit(access, need, headers, Some(peer.parse().unwrap()), NOW)
            .map(|caller| caller.holder().to_owned())
    }

    #[test]
    fn where_no_key_was_made_this_machine_does_everything_and_nobody_else_anything() {
        let access = access(&[], false);
        for role in Role::ALL {
            let need = Some(Need::Role(role));
            for here in ["127.0.0.1:5000", "127.8.9.10:5000", "[::1]:5000", "[::ffff:127.0.0.1]:5000"] {
                assert_eq!(
                    ask(&access, need, &HeaderMap::new(), here),
                    Ok("this machine".to_owned()),
                    "{here}"
                );
            }
            for there in [THERE, "[2001:db8::1]:5000", "[::ffff:192.0.2.7]:5000", "0.0.0.0:5000"] {
                assert_eq!(ask(&access, need, &HeaderMap::new(), there), Err(Denied::Missing), "{there}");
                assert_eq!(ask(&access, need, &bearer(0), there), Err(Denied::Missing), "{there}");
            }
            for proxy in ["forwarded", "x-forwarded-for"] {
                let headers = header(proxy, "for=192.0.2.7");
                assert_eq!(ask(&access, need, &headers, "127.0.0.1:5000"), Err(Denied::Missing), "{proxy}");
            }
            assert_eq!(admit(&access, need, &HeaderMap::new(), None, NOW), Err(Denied::Missing));
        }
    }

    #[test]
    fn everybody_reads_where_the_operator_says_so_and_does_nothing_else() {
        let access = access(&[], true);
        for role in Role::ALL {
            let answer = ask(&access, Some(Need::Role(role)), &HeaderMap::new(), THERE);
            let expected = match role {
                Role::Reader => Ok("anybody".to_owned()),
                needed => Err(Denied::Role { needed, key: None }),
            };
            assert_eq!(answer, expected);
        }
    }

    #[test]
    fn once_a_key_was_made_everybody_needs_one() {
        for everybody_reads in [false, true] {
            let access = access(&[Role::Auditor], everybody_reads);
            for peer in ["127.0.0.1:5000", THERE] {
                let reader = Some(Need::Role(Role::Reader));
                assert_eq!(ask(&access, reader, &HeaderMap::new(), peer), Err(Denied::Missing));
                assert_eq!(ask(&access, None, &HeaderMap::new(), peer), Err(Denied::Missing));
                for need in [reader, None, Some(Need::Role(Role::Auditor))] {
                    assert_eq!(ask(&access, need, &bearer(0), peer), Ok("auditor".to_owned()));
                }
            }
        }
    }

    #[test]
    fn a_role_does_what_is_its_own_and_reads() {
        let access = access(&Role::ALL, false);
        for (number, role) in (0..).zip(Role::ALL) {
            for needed in Role::ALL {
                let answer = ask(&access, Some(Need::Role(needed)), &bearer(number), THERE);
                let key = Some(KeyId::new([number; 8]));
                let may = needed == role || needed == Role::Reader;
                let expected = if may { Ok(role.to_string()) } else { Err(Denied::Role { needed, key }) };
                assert_eq!(answer, expected, "{role} does what needs {needed}");
            }
        }
    }

    #[test]
    fn the_key_stands_in_one_bearer_header() {
        let access = access(&[Role::Reader], false);
        let text = key(0).reveal().to_owned();
        let of = |value: &str| ask(&access, None, &header("authorization", value), THERE);
        for value in [format!("Bearer {text}"), format!("bearer {text}"), format!("BEARER   {text} ")] {
            assert_eq!(of(&value), Ok("reader".to_owned()), "{value}");
        }
        let malformed = Err(Denied::Key(AuthFault::Malformed));
        for value in ["", "Bearer", "Bearer ", &text, &format!("Basic {text}"), &format!("Bearer {text} x")] {
            assert_eq!(of(value), malformed, "{value}");
        }
        let mut twice = bearer(0);
        twice.append("authorization", "Bearer x".parse().unwrap());
        assert_eq!(ask(&access, None, &twice, THERE), malformed);
    }
}
