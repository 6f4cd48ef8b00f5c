//! Features: what of the factory installation goes on working, by what, or why it is lost.

use dashwright_model::record::RecordKind;
use dashwright_model::record::audio::{AmplifierFeed, CameraSignal};
use dashwright_model::{Carrier, Feature};

use crate::answer::{Ability, FeatureFitment, Outcome};
use crate::fitment::CaseView;
use crate::reason::Reason;

/// Every feature, in the order of the vocabulary.
pub(crate) fn features(view: &CaseView<'_>) -> Vec<FeatureFitment> {
    Feature::ALL.iter().map(|feature| outcome(view, *feature)).collect()
}

fn outcome(view: &CaseView<'_>, feature: Feature) -> FeatureFitment {
    let audio = view.audio.id.clone();
    let Some(carrier) = view.carrier(feature) else {
        let missing = view.missing(RecordKind::FactoryAudio, &format!("features.{feature}"));
        return FeatureFitment {
            feature,
            carrier: None,
            outcome: Outcome::Unknown,
            kept_by: Vec::new(),
            reasons: vec![missing],
        };
    };
    let said = |outcome, reasons| FeatureFitment {
        feature,
        carrier: Some(carrier),
        outcome,
        kept_by: Vec::new(),
        reasons,
    };
    if carrier == Carrier::NotPresent {
        return said(Outcome::NotPresent, vec![Reason::FeatureNotPresent { audio, feature }]);
    }
    let kept_by: Vec<_> = view.offers_for(feature.need()).map(|offer| view.part_offer(offer)).collect();
    if !kept_by.is_empty() {
        // With a limit only if no part keeps it without one.
        let limited = kept_by.iter().all(|offer| offer.limited);
        let outcome = if limited { Outcome::KeptWithLimit } else { Outcome::Kept };
        let reasons = vec![Reason::FeaturePresent { audio, feature, carrier }];
        return FeatureFitment { kept_by, ..said(outcome, reasons) };
    }
    without_part(view, feature, carrier, said)
}

/// What becomes of a feature for which no part is named.
fn without_part(
    view: &CaseView<'_>,
    feature: Feature,
    carrier: Carrier,
    said: impl Fn(Outcome, Vec<Reason>) -> FeatureFitment,
) -> FeatureFitment {
    let (audio, dash) = (view.audio.id.clone(), view.dash.id.clone());
    let lost = |reason: Reason| {
        let mut reasons = vec![reason, Reason::NoPartMeets { need: feature.need() }];
        reasons.extend(view.refusals(feature.need()));
        said(Outcome::Lost, reasons)
    };
    match carrier {
        Carrier::NotPresent => said(Outcome::NotPresent, vec![Reason::FeatureNotPresent { audio, feature }]),
        Carrier::DashPanel => match view.on_replaced_panel(feature) {
            Some(reason) if view.mounts_without_kit() => said(Outcome::KeptWithLimit, vec![reason]),
            Some(reason) => lost(reason),
            None => said(Outcome::Kept, vec![Reason::StaysInDash { dash, feature }]),
        },
        Carrier::FactoryRadio => lost(Reason::LeavesWithRadio { audio, feature }),
        Carrier::DiscreteCircuits | Carrier::DataBus | Carrier::DigitalVideo => {
            let present = Reason::FeaturePresent { audio, feature, carrier };
            match direct_ability(view, feature, carrier) {
                Some(ability) => {
                    said(Outcome::KeptWithLimit, vec![present, Reason::RadioMustHave { ability }])
                }
                None => lost(present),
            }
        }
    }
}

/// What a radio must have for a feature to be joined without a part; nothing where a part is needed in any case.
pub(crate) fn direct_ability(view: &CaseView<'_>, feature: Feature, carrier: Carrier) -> Option<Ability> {
    if carrier != Carrier::DiscreteCircuits {
        return None;
    }
    match feature {
        Feature::SteeringButtons if !view.audio.steering.is_empty() => Some(Ability::SteeringLadderInput),
        Feature::ReverseCamera => {
            let composite =
                view.audio.camera.as_ref().is_some_and(|camera| camera.signal == CameraSignal::Composite);
            composite.then_some(Ability::CameraInput)
        }
        Feature::Aux => Some(Ability::AuxInput),
        Feature::HandsFreeMicrophone => Some(Ability::MicrophoneInput),
        Feature::DimmingWithDash => Some(Ability::IlluminationLead),
        Feature::FactoryAmplifier => match view.audio.amplifier.feed {
            AmplifierFeed::SpeakerLevel => Some(Ability::SpeakerOutputs),
            AmplifierFeed::LineLevel => Some(Ability::LineOutputs),
            AmplifierFeed::None | AmplifierFeed::DigitalBus => None,
        },
        _ => None,
    }
}
