//! API keys: their text, what is kept of one, and the ring that tells whose a presented key is.
//!
//! Everything here is a function of what is given: no clock, no randomness. A key is shown once; what is kept of it is an
//! HMAC under the server's secret, so that the log alone lets nobody in.
//!
//! ```text
//! dwk_<id: 16 hex digits>_<secret: 64 hex digits>_<checksum: 8 hex digits>
//! ```

mod caller;
mod facts;
mod ring;
mod secret;
mod text;

pub use caller::{Caller, holder_of};
pub use facts::{KeyFacts, Role, moment};
pub use ring::{AuthFault, KeyRing, MAX_LIVE_PER_HOLDER, RingError, TooManyLive};
pub use secret::ServerSecret;
pub use text::{KEY_PREFIX, KeyId, KeyIdError, KeyText, KeyTextError};
