//! Clients that change a dataset, and what they were told.

use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

use dashwright_api::v1;
use dashwright_api::v1::audit_service_client::AuditServiceClient;
use dashwright_api::v1::catalogue_service_client::CatalogueServiceClient;
use dashwright_api::v1::curation_service_client::CurationServiceClient;
use dashwright_api::v1::key_service_client::KeyServiceClient;
use dashwright_tests::change::make;
use dashwright_tests::refused::Refused;
use dashwright_tests::service::Outcome;
use tonic::metadata::AsciiMetadataValue;
use tonic::service::Interceptor;
use tonic::service::interceptor::InterceptedService;
use tonic::transport::{Channel, Endpoint};
use tonic::{Request as Call, Status};

/// The records of a client, which every edit of it puts together: half of an edit would show.
pub(crate) const PAIR: [&str; 2] = ["left", "right"];

/// A change.
#[derive(Clone, Debug)]
pub(crate) enum Asked {
    /// Begins a draft.
    Create,
    /// Puts both records of a client, with the same name.
    Edit { draft: String, puts: Vec<String> },
    /// Publishes a draft.
    Publish { draft: String },
    /// Throws a draft away.
    Discard { draft: String },
    /// Makes a key.
    MakeKey { holder: String, roles: Vec<v1::Role> },
    /// Ends a key.
    RevokeKey { key: String },
}

/// A change under a request id of its own.
#[derive(Clone, Debug)]
pub(crate) struct Request {
    pub(crate) id: String,
    pub(crate) asked: Asked,
}

impl Request {
    pub(crate) fn new(asked: Asked) -> Self {
        Self { id: uuid::Uuid::new_v4().to_string(), asked }
    }
}

/// What was told of a change.
#[derive(Clone, Debug)]
pub(crate) struct Answer {
    /// Whether it was made by an earlier request of this id.
    pub(crate) repeated: bool,
    /// All that a repetition must tell again.
    pub(crate) told: String,
    /// The draft or key that it made.
    pub(crate) id: String,
    /// The text of the key that it made.
    pub(crate) text: String,
    /// The revision that it made.
    pub(crate) published: Option<v1::PublishDraftResponse>,
}

/// Why there is no answer.
#[derive(Clone, Debug)]
pub(crate) enum NoAnswer {
    /// The service has refused.
    Refused(String),
    /// The connection was lost: it may have been done or not.
    Lost,
}

impl NoAnswer {
    fn of(status: &Status) -> Self {
        let reason = Refused::of(status).reason;
        if reason.is_empty() { Self::Lost } else { Self::Refused(reason) }
    }
}

/// Presents a key with every call.
#[derive(Clone)]
pub(crate) struct Present(Option<AsciiMetadataValue>);

impl Interceptor for Present {
    fn call(&mut self, mut call: Call<()>) -> Result<Call<()>, Status> {
        if let Some(value) = &self.0 {
            call.metadata_mut().insert("authorization", value.clone());
        }
        Ok(call)
    }
}

type Presenting = InterceptedService<Channel, Present>;

/// Whoever calls: a connection and a key.
#[derive(Clone)]
pub(crate) struct Caller {
    pub(crate) channel: Channel,
    present: Present,
}

impl Caller {
    /// Connects; an empty key is none.
    pub(crate) async fn connect(address: &str, key: &str) -> Outcome<Self> {
        let channel = Endpoint::new(address.to_owned())?.connect().await?;
        let value = (!key.is_empty()).then(|| format!("Bearer {key}").parse()).transpose()?;
        Ok(Self { channel, present: Present(value) })
    }

    pub(crate) fn curation(&self) -> CurationServiceClient<Presenting> {
        CurationServiceClient::with_interceptor(self.channel.clone(), self.present.clone())
    }

    pub(crate) fn audit(&self) -> AuditServiceClient<Presenting> {
        AuditServiceClient::with_interceptor(self.channel.clone(), self.present.clone())
    }

    pub(crate) fn catalogue(&self) -> CatalogueServiceClient<Presenting> {
        CatalogueServiceClient::with_interceptor(self.channel.clone(), self.present.clone())
    }

    pub(crate) fn keys(&self) -> KeyServiceClient<Presenting> {
        KeyServiceClient::with_interceptor(self.channel.clone(), self.present.clone())
    }

    /// The number of the latest revision.
    pub(crate) async fn latest(&self) -> Result<v1::DatasetRevision, Status> {
        let info = self.catalogue().get_dataset_info(v1::GetDatasetInfoRequest::default()).await?;
        Ok(info.into_inner().revision.unwrap_or_default())
    }

    /// Asks for a change.
    pub(crate) async fn ask(&self, request: &Request) -> Result<Answer, NoAnswer> {
        self.told(request).await.map_err(|status| NoAnswer::of(&status))
    }

    async fn told(&self, request: &Request) -> Result<Answer, Status> {
        let change = Some(v1::Change { request_id: request.id.clone(), reason: "under load".to_owned() });
        let (mut curation, mut keys) = (self.curation(), self.keys());
        let mut answer = Answer {
            repeated: false,
            told: String::new(),
            id: String::new(),
            text: String::new(),
            published: None,
        };
        match request.asked.clone() {
            Asked::Create => {
                let made = curation.create_draft(v1::CreateDraftRequest { change }).await?.into_inner();
                answer.repeated = made.repeated;
                answer.told = format!("{:?}", made.draft);
                answer.id = made.draft.unwrap_or_default().draft_id;
            }
            Asked::Edit { draft: draft_id, puts } => {
                let puts = dashwright_tests::change::puts(puts);
                let edit = v1::EditDraftRequest { change, draft_id, puts, ..Default::default() };
                let made = curation.edit_draft(edit).await?.into_inner();
                (answer.repeated, answer.told) = (made.repeated, format!("{:?}", made.draft));
            }
            Asked::Publish { draft: draft_id } => {
                let made = curation
                    .publish_draft(v1::PublishDraftRequest { change, draft_id, ..Default::default() })
                    .await?;
                let made = made.into_inner();
                let first = v1::PublishDraftResponse { repeated: false, ..made.clone() };
                (answer.repeated, answer.told) = (made.repeated, format!("{first:?}"));
                answer.published = Some(first);
            }
            Asked::Discard { draft: draft_id } => {
                let made = curation.discard_draft(v1::DiscardDraftRequest { change, draft_id }).await?;
                answer.repeated = made.into_inner().repeated;
            }
            Asked::MakeKey { holder, roles } => {
                let roles = roles.into_iter().map(i32::from).collect();
                let make = v1::CreateKeyRequest { change, holder, roles, expires_at: String::new() };
                let made = keys.create_key(make).await?.into_inner();
                (answer.repeated, answer.text) = (made.repeated, made.text);
                (answer.told, answer.id) = of_key(made.key.unwrap_or_default());
            }
            Asked::RevokeKey { key: key_id } => {
                let made = keys.revoke_key(v1::RevokeKeyRequest { change, key_id }).await?.into_inner();
                let key = made.key.unwrap_or_default();
                answer.repeated = made.repeated;
                let revoked = key.revoked_at.clone();
                answer.told = format!("{revoked} {}", of_key(key).0);
            }
        }
        Ok(answer)
    }
}

/// What never changes of a key, and its id.
fn of_key(key: v1::Key) -> (String, String) {
    let v1::Key { key_id, holder, roles, created_at, expires_at, .. } = key;
    (format!("{key_id} {holder} {roles:?} {created_at} {expires_at}"), key_id)
}

/// What was asked for, and what became of it.
#[derive(Debug, Default)]
pub(crate) struct Ledger {
    /// What was acknowledged, and how.
    pub(crate) acknowledged: Vec<(Request, Answer)>,
    /// What was refused.
    pub(crate) refused: Vec<Request>,
    /// What may have been done or not.
    pub(crate) open: Vec<Request>,
}

/// A ledger that several clients write.
pub(crate) type Shared = Arc<Mutex<Ledger>>;

pub(crate) fn locked(ledger: &Shared) -> MutexGuard<'_, Ledger> {
    ledger.lock().unwrap_or_else(PoisonError::into_inner)
}

/// A client that changes the dataset over and over.
pub(crate) struct Client {
    pub(crate) name: String,
    pub(crate) caller: Caller,
    pub(crate) ledger: Shared,
    pub(crate) random: Random,
    /// Whether it makes keys and revokes them: only who has a key can, or the first one would lock everybody out.
    pub(crate) makes_keys: bool,
}

/// Reasons that leave open whether a change was made: its answer may need a store that has failed meanwhile.
const MAY_BE_DONE: [&str; 2] = ["WRITES_STOPPED", "DATA_DAMAGED"];

impl Client {
    /// Works for so many rounds, or until the connection is lost or a write refused.
    pub(crate) async fn work(mut self, rounds: usize) {
        for _ in 0..rounds {
            if self.round().await.is_err() {
                return;
            }
        }
    }

    async fn round(&mut self) -> Result<(), NoAnswer> {
        let draft = self.ask(Asked::Create).await?.id;
        for _ in 0..=self.random.below(2) {
            let name = format!("{} {}", self.name, self.random.below(1_000_000));
            let put = |side: &str| make(&format!("{}-{side}", self.name), &name);
            self.ask(Asked::Edit { draft: draft.clone(), puts: PAIR.map(put).to_vec() }).await?;
        }
        let discard = Asked::Discard { draft: draft.clone() };
        if self.random.below(5) == 0 {
            self.ask(discard).await?;
        } else if let Err(no) = self.ask(Asked::Publish { draft }).await {
            match no {
                NoAnswer::Refused(reason) if reason == "DRAFT_OUTDATED" => self.ask(discard).await?,
                no => return Err(no),
            };
        }
        if self.makes_keys && self.random.below(4) == 0 {
            // A holder may have few live keys, and a kill before the revocation leaves one.
            let holder = format!("{} {}", self.name, self.random.below(1_000_000_000));
            let made = Asked::MakeKey { holder, roles: vec![v1::Role::Reader] };
            let key = self.ask(made).await?.id;
            self.ask(Asked::RevokeKey { key }).await?;
        }
        Ok(())
    }

    async fn ask(&mut self, asked: Asked) -> Result<Answer, NoAnswer> {
        let request = Request::new(asked);
        let answer = self.caller.ask(&request).await;
        let mut ledger = locked(&self.ledger);
        match &answer {
            Ok(answer) => ledger.acknowledged.push((request, answer.clone())),
            // A write that failed may have come to the disk all the same.
            Err(NoAnswer::Refused(reason)) if MAY_BE_DONE.contains(&reason.as_str()) => {
                ledger.open.push(request);
            }
            Err(NoAnswer::Refused(_)) => ledger.refused.push(request),
            Err(NoAnswer::Lost) => ledger.open.push(request),
        }
        answer
    }
}

/// Xorshift: the same numbers on every machine.
#[derive(Clone, Debug)]
pub(crate) struct Random(pub(crate) u64);

impl Random {
    pub(crate) fn below(&mut self, bound: u64) -> u64 {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        // The upper bits are the better ones.
        (self.0 >> 16) % bound.max(1)
    }

    /// Puts things into an order by chance.
    pub(crate) fn shuffle<T>(&mut self, things: &mut [T]) {
        for last in (1..things.len()).rev() {
            let other = self.below(last as u64 + 1);
            things.swap(last, usize::try_from(other).unwrap_or_default());
        }
    }
}
