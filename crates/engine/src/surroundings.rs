//! What the engine takes from the world around it: the time, fresh ids, chance, and who asks for a change.

/// The time, fresh ids and chance, given from outside so that a test decides them.
pub trait Surroundings: Send + Sync {
    /// The time, as RFC 3339 in UTC ending in `Z`.
    fn now(&self) -> String;

    /// An id that was never given before, anywhere.
    fn new_id(&self) -> String;

    /// Bytes that nobody can guess; none where the machine has no more of them.
    fn random(&self) -> Option<[u8; 32]>;
}

/// Who asks for a change, why, and in which request; stored with every entry.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Origin {
    /// Who; never empty.
    pub actor: String,
    /// Why, in the actor's words.
    pub reason: String,
    /// The request, by which a repetition is recognised.
    pub request_id: Option<String>,
}
