//! The answer to a look-up.

use std::collections::BTreeSet;

use dashwright_api::v1;
use dashwright_model::record::Part;
use dashwright_model::record::dash::{Dash, Fastener, Opening};
use dashwright_model::record::part::{Cover, Variant as PartVariant};
use dashwright_model::record::vehicle::Attribute;
use dashwright_model::{RadioCondition, Scope, ScopeItem};
use dashwright_planner::{
    Facets, FeatureFitment, Fitment, MountFitment, NeedFitment, OpenQuestion, PartOffer, QuestionChoice,
    Variant, cautions, dashes_of,
};
use dashwright_sheet::words::{class, spoken};
use dashwright_snapshot::{RecordIx, Snapshot, Via};

use super::caution::caution;
use super::common::{evidence, price};
use super::reason;
use super::terms;

/// The part of an answer that is the same for all vehicle lines with the same audio options and cases.
pub(crate) fn shared_answer(snapshot: &Snapshot, fitment: &Fitment) -> v1::LookUpFitmentResponse {
    let text = FitmentText { snapshot };
    let Fitment { verdict, verdict_reasons, settled, depends, question, weakest: _ } = fitment;
    v1::LookUpFitmentResponse {
        verdict: terms::verdict(*verdict).into(),
        verdict_reasons: reason::reasons(verdict_reasons),
        settled: Some(text.facets(settled)),
        depends: depends.iter().map(|variant| text.variant(variant)).collect(),
        question: question.as_ref().map(open_question),
        parts: text.parts(fitment),
        cautions: text.cautions(fitment),
        ..v1::LookUpFitmentResponse::default()
    }
}

/// What the text of an answer is looked up in.
pub(crate) struct FitmentText<'a> {
    pub(crate) snapshot: &'a Snapshot,
}

impl FitmentText<'_> {
    fn facets(&self, facets: &Facets) -> v1::Facets {
        let Facets { dash, mounts, needs, features } = facets;
        let dash = dash.and_then(|dash| self.snapshot.dashes().get(dash));
        v1::Facets {
            opening: dash.map(opening),
            mounts: mounts.iter().map(|mount| self.mount(mount)).collect(),
            needs: needs.iter().map(|need| self.need(need)).collect(),
            features: features.iter().map(|feature| self.feature(feature)).collect(),
        }
    }

    fn variant(&self, variant: &Variant) -> v1::Variant {
        let Variant { candidates, verdict, verdict_reasons, facets } = variant;
        v1::Variant {
            candidates: candidates.clone(),
            verdict: terms::verdict(*verdict).into(),
            verdict_reasons: reason::reasons(verdict_reasons),
            facets: Some(self.facets(facets)),
        }
    }

    fn mount(&self, mount: &MountFitment) -> v1::MountFitment {
        let MountFitment { chassis, verdict, parts, reasons } = mount;
        v1::MountFitment {
            chassis_class: terms::chassis_class(*chassis).into(),
            verdict: terms::verdict(*verdict).into(),
            parts: self.offers(parts),
            reasons: reason::reasons(reasons),
        }
    }

    fn need(&self, need: &NeedFitment) -> v1::NeedFitment {
        let NeedFitment { need, importance, met, parts, reasons } = need;
        v1::NeedFitment {
            need: terms::need(*need).into(),
            importance: terms::importance(*importance).into(),
            met: terms::met(*met).into(),
            parts: self.offers(parts),
            reasons: reason::reasons(reasons),
        }
    }

    fn feature(&self, feature: &FeatureFitment) -> v1::FeatureFitment {
        let FeatureFitment { feature, carrier, outcome, kept_by, reasons } = feature;
        v1::FeatureFitment {
            feature: terms::feature(*feature).into(),
            carrier: carrier.map(terms::carrier).unwrap_or_default().into(),
            outcome: terms::outcome(*outcome).into(),
            kept_by: self.offers(kept_by),
            reasons: reason::reasons(reasons),
        }
    }

    fn offers(&self, offers: &[PartOffer]) -> Vec<v1::PartOffer> {
        offers.iter().filter_map(|offer| self.offer(offer)).collect()
    }

    fn offer(&self, offer: &PartOffer) -> Option<v1::PartOffer> {
        let PartOffer { part, cover: number, via, limited: _ } = offer;
        let part = self.snapshot.parts().get(*part)?;
        let Cover { says: _, need: _, scope, radio, limit, evidence: own } =
            part.covers.get(usize::from(*number))?;
        Some(v1::PartOffer {
            part_id: part.id.to_string(),
            statement: format!("covers.{number}"),
            applies_by: self.applies_by(scope, *via),
            limit: limit.as_ref().map(ToString::to_string).unwrap_or_default(),
            radio_condition: radio.as_ref().map(|radio| self.radio_condition(radio)).unwrap_or_default(),
            evidence: own.as_ref().map(evidence),
        })
    }

    /// By what a statement applies, for a person.
    fn applies_by(&self, scope: &Scope, via: Via) -> String {
        let item = match via {
            Via::Any => None,
            Via::Item(number) => scope.items().get(usize::from(number)),
        };
        let Some(ScopeItem { vehicles, dashes, audios, plug_families, openings }) = item else {
            return "every vehicle".to_owned();
        };
        let mut texts = Vec::new();
        texts.extend(vehicles.first().map(|vehicle| {
            let model = vehicle.model.as_ref().map(|model| format!(" {model}")).unwrap_or_default();
            let years = vehicle.years.map(|years| format!(" {years}")).unwrap_or_default();
            format!("vehicle {}{model}{years}", self.snapshot.term_name(vehicle.make.as_str()))
        }));
        texts.extend((!dashes.is_empty()).then(|| "the dash".to_owned()));
        texts.extend((!audios.is_empty()).then(|| "the factory audio".to_owned()));
        if !plug_families.is_empty() {
            let names = plug_families.iter().map(|family| self.snapshot.term_name(family.as_str()));
            texts.push(format!("plug family {}", names.collect::<Vec<_>>().join(" or ")));
        }
        if !openings.is_empty() {
            let classes = openings.iter().map(|opening| class(opening.name()));
            texts.push(format!("opening {}", classes.collect::<Vec<_>>().join(" or ")));
        }
        texts.join(", ")
    }

    fn radio_condition(&self, condition: &RadioCondition) -> String {
        let RadioCondition { chassis, brands, radios, sockets, floating_screen } = condition;
        let mut texts = Vec::new();
        let any_of = |names: Vec<String>| names.join(" or ");
        if !chassis.is_empty() {
            texts.push(format!(
                "chassis {}",
                any_of(chassis.iter().map(|one| class(one.name()).to_owned()).collect())
            ));
        }
        if !brands.is_empty() {
            let names = brands.iter().map(|brand| self.snapshot.term_name(brand.as_str()).to_owned());
            texts.push(format!("brand {}", any_of(names.collect())));
        }
        if !radios.is_empty() {
            texts.push(format!("radio {}", any_of(radios.iter().map(ToString::to_string).collect())));
        }
        texts.extend(sockets.iter().map(|socket| format!("{} socket", spoken(socket.name()))));
        texts.extend(floating_screen.map(|floating| {
            if floating { "floating screen".to_owned() } else { "no floating screen".to_owned() }
        }));
        format!("only with radios of this kind: {}", texts.join(", "))
    }

    /// Every part that the answer names, once.
    fn parts(&self, fitment: &Fitment) -> Vec<v1::PartSummary> {
        let facets = fitment.depends.iter().map(|variant| &variant.facets).chain([&fitment.settled]);
        let offers = facets.flat_map(|facets| {
            let mounts = facets.mounts.iter().flat_map(|mount| &mount.parts);
            let needs = facets.needs.iter().flat_map(|need| &need.parts);
            mounts.chain(needs).chain(facets.features.iter().flat_map(|feature| &feature.kept_by))
        });
        self.summaries(&offers.map(|offer| offer.part).collect())
    }

    /// Parts in a line each, in the order of their ids.
    pub(crate) fn summaries(&self, parts: &BTreeSet<RecordIx>) -> Vec<v1::PartSummary> {
        let parts = parts.iter().filter_map(|part| self.snapshot.parts().get(*part));
        parts.map(|part| self.part(part)).collect()
    }

    fn part(&self, part: &Part) -> v1::PartSummary {
        v1::PartSummary {
            id: part.id.to_string(),
            brand: self.snapshot.term_name(part.brand.as_str()).to_owned(),
            number: part.number.to_string(),
            title: part.title.to_string(),
            kind: terms::part_kind(part.kind).into(),
            price: part.price.as_ref().map(price),
            bench_minutes: part.bench_time.map(dashwright_quantity::Minutes::get),
            requires: part
                .requires
                .iter()
                .map(|group| v1::PartGroup { part_ids: group.iter().map(ToString::to_string).collect() })
                .collect(),
            variant: part.variant.as_ref().map(part_variant).unwrap_or_default(),
            evidence: Some(evidence(&part.evidence)),
        }
    }

    fn cautions(&self, fitment: &Fitment) -> Vec<v1::Caution> {
        let dashes = dashes_of(fitment).into_iter().filter_map(|dash| self.snapshot.dashes().get(dash));
        let mut told = Vec::new();
        for each in cautions(dashes) {
            let message = caution(&each);
            if !told.contains(&message) {
                told.push(message);
            }
        }
        told
    }
}

/// What the dash offers a radio.
pub(crate) fn opening(dash: &Dash) -> v1::Opening {
    let Opening { class, width, height, depth, cavity } = &dash.opening;
    let millimetres =
        |length: Option<dashwright_quantity::Millimetres>| length.map(dashwright_quantity::Millimetres::get);
    v1::Opening {
        dash_id: dash.id.to_string(),
        dash_title: dash.title.to_string(),
        opening_class: terms::opening_class(*class).into(),
        width_mm: millimetres(*width),
        height_mm: millimetres(*height),
        depth_mm: millimetres(*depth),
        cavity_width_mm: cavity.map(|cavity| cavity.width.get()),
        cavity_height_mm: cavity.map(|cavity| cavity.height.get()),
        held_by: dash.held_by.iter().map(|holding| terms::holding(*holding).into()).collect(),
        fasteners: dash.fasteners.iter().map(fastener).collect(),
        evidence: Some(evidence(&dash.evidence)),
    }
}

/// Fasteners of one kind in one place.
pub(crate) fn fastener(fastener: &Fastener) -> v1::Fastener {
    let Fastener { drive, size, count, location } = fastener;
    v1::Fastener {
        drive: terms::drive(*drive).into(),
        size: size.unwrap_or_default().into(),
        count: (*count).into(),
        location: location.to_string(),
    }
}

fn part_variant(variant: &PartVariant) -> String {
    let PartVariant { finish, drive_side, climate_controls } = variant;
    let climate = |with: bool| if with { "with climate controls" } else { "without climate controls" };
    let texts = [
        finish.as_ref().map(ToString::to_string),
        drive_side.map(|side| format!("{}-hand drive", side.name().to_lowercase())),
        climate_controls.map(|with| climate(with).to_owned()),
    ];
    texts.into_iter().flatten().collect::<Vec<_>>().join(", ")
}

/// The question that matters.
pub(crate) fn open_question(question: &OpenQuestion) -> v1::OpenQuestion {
    let OpenQuestion { attribute, choices } = question;
    v1::OpenQuestion {
        attribute: terms::attribute(*attribute).into(),
        text: question_text(*attribute).to_owned(),
        choices: choices.iter().map(question_choice).collect(),
    }
}

fn question_choice(choice: &QuestionChoice) -> v1::QuestionChoice {
    let QuestionChoice { value, title, how_to_tell, candidates } = choice;
    v1::QuestionChoice {
        value: value.clone(),
        title: title.clone(),
        how_to_tell: how_to_tell.as_ref().map(ToString::to_string).unwrap_or_default(),
        candidates: candidates.clone(),
    }
}

/// The question for a person.
pub(crate) const fn question_text(attribute: Attribute) -> &'static str {
    match attribute {
        Attribute::ModelYear => "Which model year is it?",
        Attribute::Make => "Which make is it?",
        Attribute::Model => "Which model is it?",
        Attribute::Trim => "Which trim is it?",
        Attribute::BuildMonth => "When was it built?",
        Attribute::Market => "For which market was it built?",
        Attribute::DriveSide => "On which side does the driver sit?",
        Attribute::Body => "Which body does it have?",
        Attribute::Drivetrain => "Which drivetrain does it have?",
        Attribute::AudioOption => "Which factory audio does it have?",
    }
}
