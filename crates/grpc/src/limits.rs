//! The limits of the service: every one a named number with its reason, and all of them told by GetDatasetInfo.

use std::num::NonZeroU32;
use std::time::Duration;

use crate::page::PageSizes;

/// The limits of the service.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Limits {
    /// The largest request: a question is a few hundred bytes, and imports come in chunks.
    pub request_bytes: usize,
    /// The largest answer.
    pub answer_bytes: usize,
    /// Calls at once on one connection (HTTP/2 streams).
    pub streams_per_connection: u32,
    /// Connections at once.
    pub connections: usize,
    /// Connections at once from one address (IPv6: one /64): a quarter, so that one machine never fills the house.
    pub connections_per_address: usize,
    /// How long a connection may be without a call of somebody who was let in while all places are taken, and half as long where
    /// none ever came (`preface`): a client that is sent away connects anew when it has something to ask.
    pub idle_when_full: Duration,
    /// Connections that wait in the kernel's queue to be taken: a quarter of the places, so that all of them are let in when
    /// those who ask nothing give way; whoever finds it full is repeated by the kernel after a second.
    pub waiting_connections: u32,
    /// Calls at once, and streams that have not ended; more are refused as UNAVAILABLE, so that those in flight stay fast.
    pub calls: usize,
    /// Calls at once, with their streams, of one key, or of one address where no key is asked for: an eighth, far more than a
    /// web shop has in flight at 1 ms each, so that one caller's slow calls leave places to the others.
    pub calls_per_caller: usize,
    /// Calls of one caller that are worked on at once, while its others wait their turn: enough for 16 cores, and whoever
    /// comes meanwhile waits behind no more than these, some 20 ms on two cores even if each is a plan. A read that waits
    /// for a revision is one of them.
    pub worked_per_caller: usize,
    /// Calls and carts of streams a second of one key, or of one address where no key is asked for, unless the operator says
    /// otherwise; as many may come at once. Above the 2,230 of the busiest minute of a national web shop
    /// (deploy/SCALING.md); look-ups at this rate take a tenth of a core.
    pub calls_per_second: NonZeroU32,
    /// Callers whose rate is remembered: those least seen go first. A caller who is forgotten begins with a full allowance, so
    /// that whoever wants to gain by it needs more addresses than these; 16,384 take a few MB.
    pub callers_remembered: usize,
    /// Bytes of large answers that one caller has not read yet: thirty pages of records at once.
    pub unread_bytes_per_caller: usize,
    /// How long a piece of an answer (64 KiB at most) may wait to be read before the connection is ended: who reads 3 KiB in a
    /// second is never met by it.
    pub unread: Duration,
    /// Streams of health and reflection at once: whoever opens them has shown no key.
    pub open_streams: usize,
    /// Of these from one address: the channels of all tills behind one router.
    pub open_streams_per_address: usize,
    /// The deadline of a call that names none, and the longest that one may name.
    pub deadline: Duration,
    /// Bytes of all headers of a call.
    pub header_bytes: u32,
    /// Streams that a client may have reset by its own errors before the connection is closed (rapid reset).
    pub error_resets: usize,
    /// Streams that a client may have reset before they were looked at (rapid reset).
    pub pending_resets: usize,
    /// Bytes that a client may send on one connection before they are looked at. The transport takes it for an attack when half
    /// as many bytes are missing from small frames (to 256 bytes each): enough for what fits into the window of one call.
    pub window_bytes: u32,
    /// Bytes of one call among them, as HTTP/2 has it by default: no more than 4,096 messages of 16 bytes, so that a stream of
    /// small carts is not taken for an attack.
    pub call_window_bytes: u32,
    /// How long a connection may take to say that it speaks HTTP/2: it does so with its first packet, also over a bad line.
    pub preface: Duration,
    /// How often a quiet connection is pinged.
    pub keepalive: Duration,
    /// How long the answer to a ping is waited for.
    pub keepalive_timeout: Duration,
    /// How long a TLS handshake may take.
    pub handshake: Duration,
    /// TLS handshakes at once; more wait in the kernel's queue, so that strangers hold no more than these.
    pub handshakes: usize,
    /// Of these from one address: a quarter.
    pub handshakes_per_address: usize,
    /// How long a connection lives, so that clients spread over replicas again.
    pub connection_age: Duration,
    /// How long a watch is silent before it beats.
    pub heartbeat: Duration,
    /// How long calls in flight may go on once the service goes down.
    pub drain: Duration,
    /// All details of an error together.
    pub error_detail_bytes: usize,
}

/// The limits that are in force.
pub const LIMITS: Limits = Limits {
    request_bytes: 1 << 20,
    answer_bytes: 4 << 20,
    streams_per_connection: 128,
    connections: 4_096,
    connections_per_address: 1_024,
    idle_when_full: Duration::from_secs(10),
    waiting_connections: 1_024,
    calls: 2_048,
    calls_per_caller: 256,
    worked_per_caller: 32,
    calls_per_second: match NonZeroU32::new(2_500) {
        Some(calls) => calls,
        None => NonZeroU32::MIN,
    },
    callers_remembered: 16_384,
    unread_bytes_per_caller: 64 << 20,
    unread: Duration::from_secs(30),
    open_streams: 1_024,
    open_streams_per_address: 64,
    deadline: Duration::from_secs(10),
    header_bytes: 16 << 10,
    error_resets: 1_024,
    pending_resets: 20,
    window_bytes: 2 << 20,
    call_window_bytes: (1 << 16) - 1,
    preface: Duration::from_secs(5),
    keepalive: Duration::from_secs(30),
    keepalive_timeout: Duration::from_secs(10),
    handshake: Duration::from_secs(5),
    handshakes: 256,
    handshakes_per_address: 64,
    connection_age: Duration::from_secs(30 * 60),
    heartbeat: Duration::from_secs(15),
    drain: Duration::from_secs(20),
    error_detail_bytes: 4 << 10,
};

/// Records and remarks of a bulk edit that are told one by one: more than a person looks through, and within 1 MiB.
pub(crate) const BULK_TOLD: usize = 1_000;

/// Choices on a page: at most, the models of the largest make fit.
pub(crate) const CHOICES: PageSizes = PageSizes { default: 500, most: 1_000 };
/// Candidates on a page.
pub(crate) const CANDIDATES: PageSizes = PageSizes { default: 100, most: 500 };
/// Records on a page.
pub(crate) const RECORDS: PageSizes = PageSizes { default: 100, most: 1_000 };
/// Bytes of the records on a page: half of the largest answer, so that headers and one more record always fit.
pub(crate) const RECORDS_PAGE_BYTES: usize = 2 << 20;
/// Bytes of the records on a page that tells also which fields differ: each may be there four times, as JSON and as fields, before
/// and after, and quotes in it twice as long.
pub(crate) const FIELDS_PAGE_BYTES: usize = 512 << 10;
/// Golden questions whose answers are accepted at once: each is named, and a person has looked at it.
pub(crate) const GOLDEN_ACCEPTED: usize = 100;

/// Groups of a preview that are told: more than a person looks through.
pub(crate) const PREVIEW_GROUPS: usize = 1_000;
/// How many plans of a preview are made between two messages of its progress.
pub(crate) const PREVIEW_STEP: usize = 100;

/// Findings and holes on a page.
pub(crate) const FINDINGS: PageSizes = PageSizes { default: 100, most: 1_000 };
/// Outcomes of jobs on a page.
pub(crate) const OUTCOMES: PageSizes = PageSizes { default: 50, most: 500 };
/// Entries of the trail and revisions on a page.
pub(crate) const ENTRIES: PageSizes = PageSizes { default: 50, most: 500 };
/// Bytes of a piece of a stream of bytes: far below what a client takes by default, large enough to cost nothing.
pub(crate) const CHUNK_BYTES: usize = 256 << 10;
/// Pieces of a backup that are made and not read yet.
pub(crate) const CHUNKS_IN_FLIGHT: usize = 4;
/// Radios and vehicles on a page: each is a plan.
pub(crate) const PLANS: PageSizes = PageSizes { default: 50, most: 200 };
/// Parts that an order excludes: more than any shop refuses of one brand.
pub(crate) const EXCLUDED_PARTS: usize = 1_000;
/// Parts that an order says are stocked: a shop's shelf.
pub(crate) const STOCKED_PARTS: usize = 5_000;
/// Parts in hand: a bench, not a shelf.
pub(crate) const IN_HAND_PARTS: usize = 200;
/// Prices that an order brings: as many as it may stock.
pub(crate) const OWN_PRICES: usize = 5_000;
/// Lines of a cart: ten times what one car takes.
pub(crate) const CART_LINES: usize = 200;
/// Pieces of one line: what is typed beyond that is a slip.
pub(crate) const CART_QUANTITY: usize = 10_000;
/// Carts of one stream that are checked and not read yet: a slow reader holds so many answers and no more.
pub(crate) const CARTS_IN_FLIGHT: usize = 16;
/// Carts of one stream: a night's batch; more go into another stream, which reads a newer revision.
pub(crate) const CARTS_PER_STREAM: usize = 10_000;
/// Bytes of a bench sheet, or of the pictures of one call: three quarters of the largest answer, some thirty times the largest of
/// the demo catalogue.
pub(crate) const SHEET_BYTES: usize = 3 << 20;
/// Hits of a search when the caller names no number.
pub(crate) const HITS_DEFAULT: usize = 20;
/// Hits of a search at most.
pub(crate) const HITS_MOST: usize = 100;
/// Records that are named where one is asked for that is not there: a person chooses among them at a glance.
pub(crate) const NEAREST_RECORDS: usize = 3;

impl Limits {
    /// Every limit by name, with the unit in the name.
    #[must_use]
    pub fn named(&self) -> Vec<(&'static str, u64)> {
        [self.of_callers(), self.of_questions()].concat()
    }

    /// Limits of connections and callers, whatever they ask.
    fn of_callers(&self) -> Vec<(&'static str, u64)> {
        vec![
            ("request_bytes", count(self.request_bytes)),
            ("answer_bytes", count(self.answer_bytes)),
            ("streams_per_connection", self.streams_per_connection.into()),
            ("connections", count(self.connections)),
            ("connections_per_address", count(self.connections_per_address)),
            ("idle_when_full_seconds", seconds(self.idle_when_full)),
            ("waiting_connections", self.waiting_connections.into()),
            ("calls", count(self.calls)),
            ("calls_per_caller", count(self.calls_per_caller)),
            ("worked_per_caller", count(self.worked_per_caller)),
            ("calls_per_second", self.calls_per_second.get().into()),
            ("callers_remembered", count(self.callers_remembered)),
            ("unread_bytes_per_caller", count(self.unread_bytes_per_caller)),
            ("unread_seconds", seconds(self.unread)),
            ("open_streams", count(self.open_streams)),
            ("open_streams_per_address", count(self.open_streams_per_address)),
            ("deadline_seconds", seconds(self.deadline)),
            ("header_bytes", self.header_bytes.into()),
            ("error_resets", count(self.error_resets)),
            ("pending_resets", count(self.pending_resets)),
            ("window_bytes", self.window_bytes.into()),
            ("call_window_bytes", self.call_window_bytes.into()),
            ("preface_seconds", seconds(self.preface)),
            ("keepalive_seconds", seconds(self.keepalive)),
            ("keepalive_timeout_seconds", seconds(self.keepalive_timeout)),
            ("handshake_seconds", seconds(self.handshake)),
            ("handshakes", count(self.handshakes)),
            ("handshakes_per_address", count(self.handshakes_per_address)),
            ("connection_age_seconds", seconds(self.connection_age)),
            ("heartbeat_seconds", seconds(self.heartbeat)),
            ("drain_seconds", seconds(self.drain)),
        ]
    }

    /// Limits of what is asked and answered.
    fn of_questions(&self) -> Vec<(&'static str, u64)> {
        vec![
            ("error_detail_bytes", count(self.error_detail_bytes)),
            ("choices_per_page", count(CHOICES.most)),
            ("candidates_per_page", count(CANDIDATES.most)),
            ("candidates_weighed", count(dashwright_snapshot::MAX_CANDIDATES)),
            ("records_per_page", count(RECORDS.most)),
            ("records_page_bytes", count(RECORDS_PAGE_BYTES)),
            ("hits_per_search", count(HITS_MOST)),
            ("entries_per_page", count(ENTRIES.most)),
            ("outcomes_per_page", count(OUTCOMES.most)),
            ("outcomes_open", dashwright_engine::MAX_OPEN_OUTCOMES),
            ("outcomes_per_draft", count(dashwright_engine::MAX_ACCEPTED_IN_DRAFT)),
            ("outcome_wrong_records", count(dashwright_model::outcome::MAX_WRONG)),
            ("edit_records", count(dashwright_engine::EDIT_RECORDS)),
            ("bulk_told", count(BULK_TOLD)),
            ("edit_bytes", count(dashwright_engine::EDIT_BYTES)),
            ("import_bytes", dashwright_engine::MAX_IMPORT_BYTES),
            ("import_records", count(dashwright_engine::MAX_IMPORT_RECORDS)),
            ("import_faults", dashwright_engine::MAX_IMPORT_FAULTS),
            ("imports_kept", count(dashwright_engine::MAX_KEPT_IMPORTS)),
            ("import_kept_seconds", seconds(dashwright_engine::IMPORT_KEPT)),
            ("live_keys_per_holder", count(dashwright_engine::keys::MAX_LIVE_PER_HOLDER)),
            ("plans_per_page", count(PLANS.most)),
            ("excluded_parts", count(EXCLUDED_PARTS)),
            ("stocked_parts", count(STOCKED_PARTS)),
            ("in_hand_parts", count(IN_HAND_PARTS)),
            ("own_prices", count(OWN_PRICES)),
            ("cart_lines", count(CART_LINES)),
            ("cart_quantity", count(CART_QUANTITY)),
            ("carts_in_flight", count(CARTS_IN_FLIGHT)),
            ("carts_per_stream", count(CARTS_PER_STREAM)),
            ("sheet_bytes", count(SHEET_BYTES)),
            ("wish_weight", dashwright_planner::MAX_WEIGHT.into()),
            ("text_characters", count(dashwright_quantity::MAX_LABEL_CHARS)),
            ("id_bytes", count(dashwright_quantity::MAX_ID_BYTES)),
            ("record_bytes", count(dashwright_model::exchange::MAX_LINE_BYTES)),
        ]
    }
}

fn count(value: usize) -> u64 {
    u64::try_from(value).unwrap_or(u64::MAX)
}

fn seconds(value: Duration) -> u64 {
    value.as_secs()
}
