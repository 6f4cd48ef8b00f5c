//! Revisions, evidence, money.

use dashwright_api::v1;
use dashwright_engine::{View, Writes};
use dashwright_model::Evidence;
use dashwright_model::record::part::Price;
use dashwright_planner::WeakestEvidence;
use dashwright_quantity::Money;

use super::record::record_key;
use super::terms;

/// The revision of a view.
pub(crate) fn dataset_revision(view: &View) -> v1::DatasetRevision {
    v1::DatasetRevision {
        token: view.token().to_string(),
        number: view.revision(),
        content_hash: view.content_hash().to_string(),
    }
}

/// Whether changes are taken.
pub(crate) fn writes(writes: Writes) -> v1::Writes {
    match writes {
        Writes::Taken => v1::Writes::Taken,
        Writes::StoppedByLog => v1::Writes::StoppedByLog,
        Writes::StoppedByStore => v1::Writes::StoppedByStore,
        Writes::StoppedByCheckpoints => v1::Writes::StoppedByCheckpoints,
    }
}

/// Evidence.
pub(crate) fn evidence(evidence: &Evidence) -> v1::Evidence {
    let Evidence { grade, source, date, confirmed_jobs, contradicted_jobs } = evidence;
    v1::Evidence {
        grade: terms::grade(*grade).into(),
        source: source.to_string(),
        date: date.to_string(),
        confirmed_jobs: *confirmed_jobs,
        contradicted_jobs: *contradicted_jobs,
    }
}

/// The weakest evidence of an answer.
pub(crate) fn weakest_evidence(weakest: &WeakestEvidence) -> v1::WeakestEvidence {
    let WeakestEvidence { grade, record } = weakest;
    v1::WeakestEvidence { grade: terms::grade(*grade).into(), record: Some(record_key(record)) }
}

/// A list price.
pub(crate) fn price(price: &Price) -> v1::Price {
    let Price { amount, date } = price;
    v1::Price { amount: Some(money(*amount)), date: date.to_string() }
}

/// An amount.
pub(crate) fn money(amount: Money) -> v1::Money {
    let Money { currency, minor_units } = amount;
    v1::Money { currency: currency.to_string(), minor_units, text: amount.to_string() }
}
