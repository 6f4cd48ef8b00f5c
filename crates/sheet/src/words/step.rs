//! Steps in words: what to do, and for a test what to see or hear.

use dashwright_model::{Feature, Need};
use dashwright_planner::Action;
use dashwright_quantity::{Label, PartId};
use dashwright_snapshot::{RecordIx, Snapshot};

use super::spoken;

/// What is done in a step, in words.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ToldAction {
    /// What to do.
    pub text: String,
    /// For a test what to see or hear; empty otherwise.
    pub expect: &'static str,
    /// The part that it is done with.
    pub part: Option<PartId>,
}

/// What is done in a step.
#[must_use]
pub fn action(snapshot: &Snapshot, action: &Action) -> ToldAction {
    let plain = |text: String| ToldAction { text, expect: "", part: None };
    let of_part = |verb: &str, part: RecordIx, rest: &str| {
        let part = snapshot.parts().get(part);
        let name = part.map(|part| format!("{} ({})", part.number, part.title)).unwrap_or_default();
        ToldAction {
            text: format!("{verb} {name}{rest}"),
            expect: "",
            part: part.map(|part| part.id.clone()),
        }
    };
    match action {
        Action::PowerOff => plain(
            "discs out, ignition off, battery negative off; wait as long as the vehicle maker says"
                .to_owned(),
        ),
        Action::Remove { what } => plain(format!("take off: {what}")),
        Action::PassRestraintPlug { location, how_to_tell, unplug } => {
            let what =
                if *unplug { "unplug it only by the vehicle maker's procedure" } else { "leave it plugged" };
            plain(format!("restraint plug {location}: {what}. {how_to_tell}"))
        }
        Action::TakeOutFactoryRadio => plain(
            "take out the factory radio; how is not recorded: see the vehicle maker's service information"
                .to_owned(),
        ),
        Action::KeepFactoryRadioConnected => plain(
            "other systems talk through the factory radio: it may have to stay connected, hidden".to_owned(),
        ),
        Action::Assemble { part, used, left_out } => of_part("assemble", *part, &pieces(used, left_out)),
        Action::JoinLeads { joins, insulated } => plain(format!(
            "join {joins} leads by function, solder and shrink, crimp or cap, never twist; insulate {insulated} one by one"
        )),
        Action::Set { part } => of_part("set", *part, " as listed"),
        Action::Fetch { function, found_at } => {
            let place = found_at
                .as_ref()
                .map_or_else(|| "at the factory plug".to_owned(), |place| format!("from: {place}"));
            plain(format!("fetch {} {place}", spoken(function.name())))
        }
        Action::Place { part } => of_part("plug in", *part, ""),
        Action::PlaceRadio => plain("plug in the radio and lay it before the dash, not fixed yet".to_owned()),
        Action::ReconnectRestraint => {
            plain("ignition off, battery still off: reconnect and check every restraint plug".to_owned())
        }
        Action::PowerOn => plain("battery on, ignition on".to_owned()),
        Action::TestNeed { need } => {
            let (text, expect) = need_test(*need);
            ToldAction { text: format!("test {text}"), expect, part: None }
        }
        Action::TestFeature { feature } => ToldAction {
            text: format!("test {}", spoken(feature.name())),
            expect: feature_test(*feature),
            part: None,
        },
        Action::FixRadio => plain("fix the radio in its mount".to_owned()),
        Action::Refit { what } => plain(format!("refit: {what}")),
        Action::TestAgain => ToldAction {
            text: "test everything once more with the dash closed".to_owned(),
            expect: "as before; nothing rattles, no lamp of the restraint system stays on",
            part: None,
        },
    }
}

fn pieces(used: &[(Label, u8)], left_out: &[(Label, u8)]) -> String {
    let list = |pieces: &[(Label, u8)]| {
        let texts = pieces.iter().map(|(name, count)| match count {
            1 => name.to_string(),
            count => format!("{count} × {name}"),
        });
        texts.collect::<Vec<_>>().join(", ")
    };
    let part = |lead: &str, pieces: &[(Label, u8)]| {
        if pieces.is_empty() { String::new() } else { format!("; {lead} {}", list(pieces)) }
    };
    format!("{}{}", part("with", used), part("without", left_out))
}

/// How a need is tested, and what is to be seen or heard (common practice, no source).
const fn need_test(need: Need) -> (&'static str, &'static str) {
    match need {
        Need::Power => ("constant supply", "clock and stations stay after the ignition was off"),
        Need::Ground => ("ground", "no hum, no restart when the volume is turned up"),
        Need::Switched => ("switched supply", "the radio goes on and off with the ignition"),
        Need::Speakers => {
            ("each speaker by balance and fader", "sound from the named corner only, full bass in the middle")
        }
        Need::Antenna => ("reception", "stations as before"),
        Need::AntennaSub => ("diversity reception", "stations as before while the car is moved"),
        Need::AntennaPower => ("antenna feed", "weak stations come in; a motor antenna rises"),
        Need::Illumination => ("lighting", "the radio dims with the dash"),
        Need::Steering => ("steering buttons one by one", "each does what is printed on it"),
        Need::VoiceButton => ("voice button", "the radio listens"),
        Need::Camera => ("camera with reverse engaged", "picture, the right way round"),
        Need::Reverse => ("reverse signal with reverse engaged", "the radio shows the camera input"),
        Need::ParkingBrake => ("parking brake", "menus open with the brake applied and not without"),
        Need::SpeedPulse => ("speed pulse on a short drive", "the radio shows that the car moves"),
        Need::Usb => ("usb socket", "a player is found"),
        Need::Aux => ("auxiliary socket", "sound"),
        Need::Satellite => ("satellite reception", "stations"),
        Need::Microphone => ("microphone with a call", "the other side hears well"),
        Need::Chime => ("warning sounds: door open with the key in", "the sound is heard"),
        Need::Amplifier => ("amplifier", "sound at once, no thump, no hiss"),
        Need::Subwoofer => ("subwoofer", "bass"),
        Need::RearSeat => ("rear screens", "picture and sound"),
        Need::ParkingSensors => ("parking sensors", "the picture follows an obstacle"),
        Need::VehicleSettings => ("vehicle settings", "the menu opens and keeps what is set"),
        Need::ClimatePicture => ("climate picture", "it follows the knobs"),
        Need::DriverDisplay => ("driver display", "it shows what is heard"),
        Need::EmergencyCall => ("emergency-call lamp, without calling", "the lamp shows ready"),
        Need::HazardSwitch => ("hazard switch", "all indicators flash"),
        Need::AirbagLamp => ("airbag lamp", "it lights with the ignition and goes out"),
        Need::Clock => ("clock", "it runs and can be set"),
        Need::RetainedPower => ("power until a door opens", "the radio stays on until a door is opened"),
        Need::DigitalRadio => ("digital radio", "stations are found"),
        Need::Mount => ("fit", "the radio sits straight and does not move"),
    }
}

const fn feature_test(feature: Feature) -> &'static str {
    need_test(feature.need()).1
}
