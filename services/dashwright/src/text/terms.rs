//! The terms of the schema as a person says them.

use dashwright_api::v1;

/// A term by its name in the schema, without the prefix of its enum: `NEED_ANTENNA_SUB` as `antenna sub`.
fn spoken(name: &str, prefix: &str) -> String {
    let words = name.strip_prefix(prefix).unwrap_or(name).split('_').map(|word| match word {
        "USB" | "FM" | "VIN" => word.to_owned(),
        word => word.to_lowercase(),
    });
    words.collect::<Vec<_>>().join(" ")
}

macro_rules! spoken {
    ($($(#[$doc:meta])* $function:ident: $type:ident, $prefix:literal;)+) => {
        $($(#[$doc])*
        pub(super) fn $function(term: v1::$type) -> String {
            spoken(term.as_str_name(), $prefix)
        })+
    };
}

spoken! {
    /// What may be asked of a vehicle.
    attribute: Attribute, "ATTRIBUTE_";
    /// How a fact came to be known.
    grade: Grade, "GRADE_";
    /// A need.
    need: Need, "NEED_";
    /// A factory feature.
    feature: Feature, "FEATURE_";
    /// What becomes of a feature.
    outcome: Outcome, "OUTCOME_";
    /// How a unit is held.
    holding: Holding, "HOLDING_";
    /// What a wire does.
    function: Function, "FUNCTION_";
    /// A socket of a radio.
    socket: SocketKind, "SOCKET_KIND_";
    /// In what way a record was wrong.
    wrong_kind: WrongKind, "WRONG_KIND_";
    /// What the holder of a key may do.
    role: Role, "ROLE_";
}

/// A kind of record, in its one spelling.
pub(super) fn record_kind(kind: v1::RecordKind) -> String {
    spoken(kind.as_str_name(), "RECORD_KIND_").replace(' ', "_")
}

/// The option of the command line that states an attribute.
pub(super) fn option(attribute: v1::Attribute) -> &'static str {
    use v1::Attribute as A;
    match attribute {
        A::Unspecified => "",
        A::ModelYear => "--year",
        A::Make => "--make",
        A::Model => "--model",
        A::Trim => "--trim",
        A::BuildMonth => "--build-month",
        A::Market => "--market",
        A::DriveSide => "--drive-side",
        A::Body => "--body",
        A::Drivetrain => "--drivetrain",
        A::AudioOption => "--audio",
    }
}

/// A verdict.
pub(super) fn verdict(verdict: v1::Verdict) -> &'static str {
    use v1::Verdict as V;
    match verdict {
        V::Unspecified => "not stated",
        V::FitsAsIs => "fits without parts",
        V::FitsWithParts => "fits with parts",
        V::Depends => "depends on what is still open",
        V::CannotFit => "can not fit",
        V::NoKnownWay => "no way is known",
        V::Unknown => "unknown: a fact is missing",
        V::NotWithExclusions => "not with what is left out",
    }
}

/// How much a need matters.
pub(super) fn importance(importance: v1::Importance) -> &'static str {
    use v1::Importance as I;
    match importance {
        I::Unspecified => "not stated",
        I::Must => "must",
        I::Wished => "wished",
        I::Offered => "for some radios",
    }
}

/// How a need is met.
pub(super) fn met(met: v1::Met) -> &'static str {
    use v1::Met as M;
    match met {
        M::Unspecified => "not stated",
        M::Directly => "no part needed",
        M::ByPart => "by one of",
        M::ByNothingKnown => "nothing known meets it",
        M::Unknown => "unknown: a fact is missing",
    }
}

/// The class of an opening.
pub(super) fn opening_class(class: v1::OpeningClass) -> &'static str {
    use v1::OpeningClass as O;
    match class {
        O::Unspecified => "not stated",
        O::OneDin => "single height (1 DIN)",
        O::TwoDin => "double height (2 DIN)",
        O::TwoDinWide => "double height, 200 mm wide",
        O::OneAndAHalfDin => "between single and double height",
        O::Shaped => "shaped: only a kit makes it fit a radio",
    }
}

/// The class of a chassis.
pub(super) fn chassis_class(class: v1::ChassisClass) -> &'static str {
    use v1::ChassisClass as C;
    match class {
        C::Unspecified => "not stated",
        C::OneDin => "single height (1 DIN)",
        C::TwoDin => "double height (2 DIN)",
        C::TwoDinWide => "double height, 200 mm wide",
    }
}

/// What drives a fastener, with its size.
pub(super) fn fastener(drive: v1::Drive, size: u32) -> String {
    use v1::Drive as D;
    match (drive, size) {
        (D::Unspecified, _) => "fastener".to_owned(),
        (D::Hex, 0) => "hexagon head".to_owned(),
        (D::Hex, size) => format!("hexagon head {size} mm"),
        (D::Cross, 0) => "cross recess".to_owned(),
        (D::Cross, size) => format!("cross recess no. {size}"),
        (D::Hexalobular, 0) => "hexalobular socket".to_owned(),
        (D::Hexalobular, size) => format!("hexalobular socket no. {size}"),
        (D::Slot, _) => "slotted head".to_owned(),
        (D::Hand, _) => "push or turn fastener".to_owned(),
    }
}

/// What an input was taken for.
pub(super) fn matched(found: &v1::Match) -> String {
    use v1::MatchKind as M;
    let v1::Match { attribute: _, typed, matched, kind: _, similarity_percent } = found;
    let what = match found.attribute() {
        v1::Attribute::Unspecified => String::new(),
        known => format!("{} ", attribute(known)),
    };
    let how = match found.kind() {
        M::Exact | M::Unspecified => String::new(),
        M::Alias => ", another name of it".to_owned(),
        M::Misspelt => format!(", spelt otherwise ({similarity_percent} % alike)"),
        M::Phrase => ", which this phrase stands for".to_owned(),
        M::VinPattern => ", by the pattern of the number".to_owned(),
        M::Unchecked => ", unchecked: the catalogue can not tell whether it is right".to_owned(),
        M::Unused => return format!("`{typed}` was not used: no meaning was found for it"),
    };
    format!("`{typed}` as {what}{matched}{how}")
}

/// What something rests on.
pub(super) fn evidence(evidence: &v1::Evidence) -> String {
    let v1::Evidence { grade: _, source, date, confirmed_jobs, contradicted_jobs } = evidence;
    let text = format!("{}: {source}, {date}", grade(evidence.grade()));
    let jobs = jobs(*confirmed_jobs, *contradicted_jobs);
    if jobs.is_empty() { text } else { format!("{text}, {jobs}") }
}

/// What jobs have said of a record; nothing where none has said anything.
pub(super) fn jobs(confirmed: u32, contradicted: u32) -> String {
    let said = [(confirmed, "confirmed"), (contradicted, "contradicted")];
    let said = said.into_iter().filter(|(count, _)| *count > 0);
    let told = said.map(|(count, what)| format!("{what} by {}", number_of_jobs(count)));
    told.collect::<Vec<_>>().join(", ")
}

/// A number of jobs.
pub(super) fn number_of_jobs(count: u32) -> String {
    match count {
        0 => "no job".to_owned(),
        1 => "1 job".to_owned(),
        count => format!("{count} jobs"),
    }
}

/// Whether changes are taken.
pub(super) fn writes(writes: v1::Writes) -> &'static str {
    match writes {
        v1::Writes::Unspecified => "the server does not say whether they are taken",
        v1::Writes::Taken => "taken",
        v1::Writes::StoppedByLog => {
            "not taken until a restart: a write to the log failed, see the server's log and its disk"
        }
        v1::Writes::StoppedByStore => {
            "not taken until a restart: the store failed, which the restart fills anew from the log"
        }
        v1::Writes::StoppedByCheckpoints => {
            "not taken until a restart: a checkpoint could not be kept, see the server's log and its disk"
        }
    }
}

/// A record by its key.
pub(super) fn record(key: &v1::RecordKey) -> String {
    format!("{}/{}", record_kind(key.kind()), key.id)
}

/// Minutes or millimetres: whole where they are whole.
pub(super) fn number(value: f64) -> String {
    let text = format!("{value:.1}");
    text.strip_suffix(".0").unwrap_or(&text).to_owned()
}

/// An instant of a list, to the second; the JSON form has all of it.
pub(super) fn to_the_second(instant: &str) -> String {
    match instant.split_once('.') {
        Some((whole, fraction)) if fraction.ends_with('Z') => format!("{whole}Z"),
        _ => instant.to_owned(),
    }
}

/// A number with at most so many decimals, and none that say nothing.
pub(super) struct Plain(pub(super) f64);

impl std::fmt::Display for Plain {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let text = format!("{:.*}", f.precision().unwrap_or(2), self.0);
        f.write_str(text.trim_end_matches('0').trim_end_matches('.'))
    }
}
