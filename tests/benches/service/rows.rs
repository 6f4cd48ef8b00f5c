//! A look-up's answer taken apart into rows of tables, and put together again from the rows that a database returns.
//!
//! Both databases have the same tables and columns. What many vehicle lines share stands once, under the number of its
//! fitment, as in the service; what is small and is only ever read as a whole (reasons with their records, fasteners,
//! cautions) is one column of encoded messages, which spares the rival some hundred rows a call.

use dashwright_api::v1;
use prost::Message;

use crate::Outcome;

/// Columns by their type; in a table and in a result they stand in this order.
pub(crate) struct Shape {
    pub(crate) integers: &'static [&'static str],
    pub(crate) texts: &'static [&'static str],
    pub(crate) reals: &'static [&'static str],
    pub(crate) blobs: &'static [&'static str],
}

impl Shape {
    /// The names of all columns.
    pub(crate) fn columns(&self) -> Vec<&'static str> {
        [self.integers, self.texts, self.reals, self.blobs].concat()
    }
}

/// A table.
pub(crate) struct Table {
    pub(crate) name: &'static str,
    pub(crate) shape: Shape,
    pub(crate) key: &'static str,
}

/// A vehicle line with its audio option, by what a caller types.
pub(crate) const LINE: Table = Table {
    name: "line",
    shape: Shape {
        integers: &["first_year", "last_year", "weakest_grade", "weakest_kind", "fit"],
        texts: &[
            "make",
            "model",
            "audio",
            "vehicle_id",
            "distinction",
            "audio_title",
            "how_to_tell",
            "weakest_id",
        ],
        reals: &[],
        blobs: &[],
    },
    key: "make, model, audio, first_year",
};
/// What a dash with a factory audio takes: the opening and the verdict.
pub(crate) const FITMENT: Table = Table {
    name: "fitment",
    shape: Shape {
        integers: &["fit", "verdict", "opening_class"],
        texts: &["dash_id", "dash_title"],
        reals: &["width", "height", "depth", "cavity_width", "cavity_height"],
        blobs: &["opening_more", "more"],
    },
    key: "fit",
};
/// Mounts, needs and features of a fitment, in this order.
pub(crate) const ITEM: Table = Table {
    name: "item",
    shape: Shape {
        integers: &["fit", "place", "kind", "code", "weight", "met"],
        texts: &[],
        reals: &[],
        blobs: &["reasons"],
    },
    key: "fit, place",
};
/// Adapters that an item is met by.
pub(crate) const OFFER: Table = Table {
    name: "offer",
    shape: Shape {
        integers: &["fit", "item", "place"],
        texts: &["part", "statement", "applies_by", "limit_text", "radio_condition"],
        reals: &[],
        blobs: &["evidence"],
    },
    key: "fit, item, place",
};
/// Which parts a fitment names.
pub(crate) const FITMENT_PART: Table = Table {
    name: "fitment_part",
    shape: Shape { integers: &["fit"], texts: &["part"], reals: &[], blobs: &[] },
    key: "fit, part",
};
/// Parts.
pub(crate) const PART: Table = Table {
    name: "part",
    shape: Shape {
        integers: &["kind", "minor_units", "evidence_grade", "confirmed", "contradicted"],
        texts: &[
            "part",
            "brand",
            "number",
            "title",
            "variant",
            "currency",
            "price_text",
            "price_date",
            "evidence_source",
            "evidence_date",
        ],
        reals: &["bench_minutes"],
        blobs: &["requires"],
    },
    key: "part",
};
/// The revision that the tables were filled from.
pub(crate) const ABOUT: Table = Table {
    name: "about",
    shape: Shape { integers: &["number"], texts: &[], reals: &[], blobs: &["revision"] },
    key: "number",
};
/// An answer that was encoded before: what is the line's own, by what a caller types.
pub(crate) const OWN: Table = Table {
    name: "own",
    shape: Shape {
        integers: &["year", "fit"],
        texts: &["make", "model", "audio"],
        reals: &[],
        blobs: &["bytes"],
    },
    key: "make, model, audio, year",
};
/// And what it shares with other lines.
pub(crate) const SHARED: Table = Table {
    name: "shared",
    shape: Shape { integers: &["fit"], texts: &[], reals: &[], blobs: &["bytes"] },
    key: "fit",
};

/// The tables of the joined form.
pub(crate) const JOINED: [&Table; 7] = [&LINE, &FITMENT, &ITEM, &OFFER, &FITMENT_PART, &PART, &ABOUT];

/// The four kinds of row that make an answer: a line with its fitment, items, offers, parts.
pub(crate) const RESULTS: [Shape; 4] = [
    Shape {
        integers: &[
            "first_year",
            "last_year",
            "weakest_grade",
            "weakest_kind",
            "verdict",
            "opening_class",
            "fit",
        ],
        texts: &[
            "make",
            "model",
            "audio",
            "vehicle_id",
            "distinction",
            "audio_title",
            "how_to_tell",
            "weakest_id",
            "dash_id",
            "dash_title",
        ],
        reals: FITMENT.shape.reals,
        blobs: FITMENT.shape.blobs,
    },
    Shape { integers: &["kind", "code", "weight", "met"], texts: &[], reals: &[], blobs: &["reasons"] },
    Shape { integers: &["item"], texts: OFFER.shape.texts, reals: &[], blobs: &["evidence"] },
    PART.shape,
];
/// The places of the kinds in [`RESULTS`].
pub(crate) const HEAD: usize = 0;
pub(crate) const ITEMS: usize = 1;
pub(crate) const OFFERS: usize = 2;
pub(crate) const PARTS: usize = 3;

/// Kinds of items.
const MOUNT: i64 = 0;
const NEED: i64 = 1;
const FEATURE: i64 = 2;

/// A row to be written, its columns in the order of their shape.
#[derive(Clone, Default, PartialEq)]
pub(crate) struct Row {
    pub(crate) integers: Vec<Option<i64>>,
    pub(crate) texts: Vec<Option<String>>,
    pub(crate) reals: Vec<Option<f64>>,
    pub(crate) blobs: Vec<Option<Vec<u8>>>,
}

impl Row {
    pub(crate) fn new<const I: usize, const T: usize>(integers: [i64; I], texts: [&str; T]) -> Self {
        Self {
            integers: integers.map(Some).to_vec(),
            texts: texts.map(|text| Some(text.to_owned())).to_vec(),
            ..Self::default()
        }
    }

    pub(crate) fn blobs<const B: usize>(mut self, blobs: [Option<Vec<u8>>; B]) -> Self {
        self.blobs = blobs.to_vec();
        self
    }
}

/// A row that was read, by the place of a column among those of its type.
pub(crate) trait Columns {
    fn integer(&self, place: usize) -> Outcome<Option<i64>>;
    fn text(&self, place: usize) -> Outcome<Option<&str>>;
    fn real(&self, place: usize) -> Outcome<Option<f64>>;
    fn blob(&self, place: usize) -> Outcome<Option<&[u8]>>;

    fn number(&self, place: usize) -> Outcome<i64> {
        self.integer(place)?.ok_or_else(|| "a column is empty".into())
    }

    fn code(&self, place: usize) -> Outcome<i32> {
        Ok(self.number(place)?.try_into()?)
    }

    fn count(&self, place: usize) -> Outcome<u32> {
        Ok(self.number(place)?.try_into()?)
    }

    fn string(&self, place: usize) -> Outcome<String> {
        Ok(self.text(place)?.unwrap_or_default().to_owned())
    }

    fn message<M: Message + Default>(&self, place: usize) -> Outcome<M> {
        Ok(M::decode(self.blob(place)?.unwrap_or_default())?)
    }
}

/// Reasons of an item in one column.
#[derive(Clone, PartialEq, Message)]
struct Reasons {
    #[prost(message, repeated, tag = "1")]
    reasons: Vec<v1::Reason>,
}

/// A line of its own tables: the candidate, its weakest evidence and its fitment.
pub(crate) fn line_row(candidate: &v1::Candidate, weakest: &v1::WeakestEvidence, fit: i64) -> Outcome<Row> {
    let record = weakest.record.as_ref().ok_or("evidence of nothing")?;
    let years = [candidate.first_year.into(), candidate.last_year.into()];
    let [first, last] = years;
    Ok(Row::new(
        [first, last, weakest.grade.into(), record.kind.into(), fit],
        [
            &candidate.make,
            &candidate.model,
            &candidate.audio_option,
            &candidate.vehicle_id,
            &candidate.distinction,
            &candidate.audio_title,
            &candidate.how_to_tell,
            &record.id,
        ],
    ))
}

/// The row of [`FITMENT`] for what lines share.
pub(crate) fn fitment_row(shared: &v1::LookUpFitmentResponse, fit: i64) -> Outcome<Row> {
    let opening = shared.settled.as_ref().and_then(|facets| facets.opening.clone()).ok_or("no opening")?;
    let more = v1::LookUpFitmentResponse { verdict: 0, settled: None, parts: Vec::new(), ..shared.clone() };
    let class = opening.opening_class.into();
    let mut row = Row::new([fit, shared.verdict.into(), class], [&opening.dash_id, &opening.dash_title]);
    row.reals = vec![
        opening.width_mm,
        opening.height_mm,
        opening.depth_mm,
        opening.cavity_width_mm,
        opening.cavity_height_mm,
    ];
    let opening_more = v1::Opening {
        held_by: opening.held_by,
        fasteners: opening.fasteners,
        evidence: opening.evidence,
        ..v1::Opening::default()
    };
    Ok(row.blobs([Some(opening_more.encode_to_vec()), Some(more.encode_to_vec())]))
}

/// The rows of [`ITEM`] and of [`OFFER`] for what lines share.
pub(crate) fn item_rows(shared: &v1::LookUpFitmentResponse, fit: i64) -> Outcome<(Vec<Row>, Vec<Row>)> {
    let facets = shared.settled.as_ref().ok_or("nothing is settled")?;
    let (mut items, mut offers) = (Vec::new(), Vec::new());
    let mut item = |numbers: [i32; 3], kind: i64, reasons: &[v1::Reason], parts: &[v1::PartOffer]| {
        let [code, weight, met] = numbers.map(i64::from);
        let place = items.len() as i64;
        let reasons = Reasons { reasons: reasons.to_vec() }.encode_to_vec();
        items.push(Row::new([fit, place, kind, code, weight, met], []).blobs([Some(reasons)]));
        for (number, part) in (0..).zip(parts) {
            let evidence = part.evidence.as_ref().map(Message::encode_to_vec);
            let texts =
                [&part.part_id, &part.statement, &part.applies_by, &part.limit, &part.radio_condition];
            offers.push(Row::new([fit, place, number], texts.map(String::as_str)).blobs([evidence]));
        }
    };
    for mount in &facets.mounts {
        item([mount.chassis_class, 0, mount.verdict], MOUNT, &mount.reasons, &mount.parts);
    }
    for need in &facets.needs {
        item([need.need, need.importance, need.met], NEED, &need.reasons, &need.parts);
    }
    for feature in &facets.features {
        let numbers = [feature.feature, feature.carrier, feature.outcome];
        item(numbers, FEATURE, &feature.reasons, &feature.kept_by);
    }
    Ok((items, offers))
}

/// The row of [`PART`].
pub(crate) fn part_row(part: &v1::PartSummary) -> Row {
    let amount = part.price.as_ref().and_then(|price| price.amount.as_ref());
    let evidence = part.evidence.as_ref();
    let of_amount = |text: fn(&v1::Money) -> &String| amount.map(|amount| text(amount).clone());
    let of_evidence = |text: fn(&v1::Evidence) -> &String| evidence.map(|it| text(it).clone());
    let requires = v1::PartSummary { requires: part.requires.clone(), ..v1::PartSummary::default() };
    Row {
        integers: vec![
            Some(part.kind.into()),
            amount.and_then(|amount| amount.minor_units.try_into().ok()),
            evidence.map(|it| it.grade.into()),
            evidence.map(|it| it.confirmed_jobs.into()),
            evidence.map(|it| it.contradicted_jobs.into()),
        ],
        texts: vec![
            Some(part.id.clone()),
            Some(part.brand.clone()),
            Some(part.number.clone()),
            Some(part.title.clone()),
            Some(part.variant.clone()),
            of_amount(|amount| &amount.currency),
            of_amount(|amount| &amount.text),
            part.price.as_ref().map(|price| price.date.clone()),
            of_evidence(|it| &it.source),
            of_evidence(|it| &it.date),
        ],
        reals: vec![part.bench_minutes],
        blobs: vec![(!part.requires.is_empty()).then(|| requires.encode_to_vec())],
    }
}

/// An answer as its rows come in: the head first, then the others.
pub(crate) struct Assembly {
    answer: v1::LookUpFitmentResponse,
    facets: v1::Facets,
    pub(crate) fit: i64,
}

impl Assembly {
    /// Begins with a line and its fitment; nothing where the line does not have the year.
    pub(crate) fn begin(
        head: &impl Columns,
        year: u32,
        revision: v1::DatasetRevision,
    ) -> Outcome<Option<Self>> {
        let candidate = v1::Candidate {
            vehicle_id: head.string(3)?,
            make: head.string(0)?,
            model: head.string(1)?,
            first_year: head.count(0)?,
            last_year: head.count(1)?,
            distinction: head.string(4)?,
            audio_option: head.string(2)?,
            audio_title: head.string(5)?,
            how_to_tell: head.string(6)?,
        };
        if candidate.last_year < year {
            return Ok(None);
        }
        let record = Some(v1::RecordKey { kind: head.code(3)?, id: head.string(7)? });
        let opening = v1::Opening {
            dash_id: head.string(8)?,
            dash_title: head.string(9)?,
            opening_class: head.code(5)?,
            width_mm: head.real(0)?,
            height_mm: head.real(1)?,
            depth_mm: head.real(2)?,
            cavity_width_mm: head.real(3)?,
            cavity_height_mm: head.real(4)?,
            ..head.message(0)?
        };
        let answer = v1::LookUpFitmentResponse {
            revision: Some(revision),
            matches: matches(&candidate, year),
            candidates: vec![candidate],
            remaining_lines: 1,
            verdict: head.code(4)?,
            weakest_evidence: Some(v1::WeakestEvidence { grade: head.code(2)?, record }),
            ..head.message(1)?
        };
        let facets = v1::Facets { opening: Some(opening), ..v1::Facets::default() };
        Ok(Some(Self { answer, facets, fit: head.number(6)? }))
    }

    pub(crate) fn item(&mut self, item: &impl Columns) -> Outcome<()> {
        let Reasons { reasons } = item.message(0)?;
        let (code, weight, met) = (item.code(1)?, item.code(2)?, item.code(3)?);
        let parts = Vec::new();
        match item.number(0)? {
            MOUNT => {
                let mount = v1::MountFitment { chassis_class: code, verdict: met, parts, reasons };
                self.facets.mounts.push(mount);
            }
            NEED => {
                let need = v1::NeedFitment { need: code, importance: weight, met, parts, reasons };
                self.facets.needs.push(need);
            }
            _ => {
                let (carrier, kept_by) = (weight, parts);
                let feature = v1::FeatureFitment { feature: code, carrier, outcome: met, kept_by, reasons };
                self.facets.features.push(feature);
            }
        }
        Ok(())
    }

    pub(crate) fn offer(&mut self, offer: &impl Columns) -> Outcome<()> {
        let evidence = offer.blob(0)?.map(v1::Evidence::decode).transpose()?;
        let part = v1::PartOffer {
            part_id: offer.string(0)?,
            statement: offer.string(1)?,
            applies_by: offer.string(2)?,
            limit: offer.string(3)?,
            radio_condition: offer.string(4)?,
            evidence,
        };
        let place = usize::try_from(offer.number(0)?)?;
        let v1::Facets { mounts, needs, features, .. } = &mut self.facets;
        let (needs_from, features_from) = (mounts.len(), mounts.len() + needs.len());
        let parts = if place < needs_from {
            mounts.get_mut(place).map(|it| &mut it.parts)
        } else if place < features_from {
            needs.get_mut(place - needs_from).map(|it| &mut it.parts)
        } else {
            features.get_mut(place - features_from).map(|it| &mut it.kept_by)
        };
        parts.ok_or("an offer for no item")?.push(part);
        Ok(())
    }

    pub(crate) fn part(&mut self, part: &impl Columns) -> Outcome<()> {
        let price = match part.text(5)? {
            None => None,
            Some(currency) => Some(v1::Price {
                amount: Some(v1::Money {
                    currency: currency.to_owned(),
                    minor_units: part.number(1)?.try_into()?,
                    text: part.string(6)?,
                }),
                date: part.string(7)?,
            }),
        };
        let evidence = match part.integer(2)? {
            None => None,
            Some(grade) => Some(v1::Evidence {
                grade: grade.try_into()?,
                source: part.string(8)?,
                date: part.string(9)?,
                confirmed_jobs: part.count(3)?,
                contradicted_jobs: part.count(4)?,
            }),
        };
        self.answer.parts.push(v1::PartSummary {
            id: part.string(0)?,
            brand: part.string(1)?,
            number: part.string(2)?,
            title: part.string(3)?,
            kind: part.code(0)?,
            price,
            bench_minutes: part.real(0)?,
            variant: part.string(4)?,
            evidence,
            ..part.message(0)?
        });
        Ok(())
    }

    pub(crate) fn end(self) -> v1::LookUpFitmentResponse {
        v1::LookUpFitmentResponse { settled: Some(self.facets), ..self.answer }
    }
}

/// What was typed is what stands in the table: exact.
fn matches(candidate: &v1::Candidate, year: u32) -> Vec<v1::Match> {
    let exact = |attribute: v1::Attribute, text: String| v1::Match {
        attribute: attribute.into(),
        typed: text.clone(),
        matched: text,
        kind: v1::MatchKind::Exact.into(),
        similarity_percent: 100,
    };
    vec![
        exact(v1::Attribute::ModelYear, year.to_string()),
        exact(v1::Attribute::Make, candidate.make.clone()),
        exact(v1::Attribute::Model, candidate.model.clone()),
        exact(v1::Attribute::AudioOption, candidate.audio_option.clone()),
    ]
}
