//! The closed vocabularies. Every match is exhaustive: a new term does not compile until the schema has it.

use dashwright_api::v1;
use dashwright_model::record::{dash, part, radio, vehicle};
use dashwright_planner as planner;

macro_rules! same_names {
    ($($name:ident: $from:path => $to:path { $($variant:ident)+ })+) => {
        $(
            pub(crate) const fn $name(term: $from) -> $to {
                use $from as From;
                use $to as To;
                match term {
                    $(From::$variant => To::$variant,)+
                }
            }
        )+
    };
}

same_names! {
    record_kind: dashwright_model::RecordKind => v1::RecordKind {
        Vocabulary Dash FactoryAudio Radio Part Vehicle GoldenQuestion
    }
    grade: dashwright_model::Grade => v1::Grade {
        BenchVerified Measured MakerDocument Reported Assumed
    }
    need: dashwright_model::Need => v1::Need {
        Mount Power Ground Switched Speakers Antenna AntennaSub AntennaPower Illumination Steering Camera Reverse
        ParkingBrake SpeedPulse Usb Aux Satellite Microphone Chime Amplifier Subwoofer RearSeat ParkingSensors
        VehicleSettings ClimatePicture DriverDisplay EmergencyCall HazardSwitch AirbagLamp Clock VoiceButton
        RetainedPower DigitalRadio
    }
    feature: dashwright_model::Feature => v1::Feature {
        SteeringButtons VoiceButton ReverseCamera ParkingSensorPicture Usb Aux SatelliteRadio FactoryAmplifier Subwoofer
        RearSeatEntertainment WarningChimes VehicleSettingsMenu ClimatePicture DriverDisplay EmergencyCall HazardSwitch
        AirbagLamp Clock HandsFreeMicrophone BroadcastReception DigitalRadioReception DimmingWithDash
        PowerUntilDoorOpens
    }
    carrier: dashwright_model::Carrier => v1::Carrier {
        DiscreteCircuits DataBus DigitalVideo FactoryRadio DashPanel NotPresent
    }
    opening_class: dash::OpeningClass => v1::OpeningClass {
        OneDin TwoDin TwoDinWide OneAndAHalfDin Shaped
    }
    holding: dash::Holding => v1::Holding {
        SideBracket Sleeve FrontScrews Clips
    }
    drive: dash::Drive => v1::Drive {
        Hex Cross Hexalobular Slot Hand
    }
    chassis_class: radio::ChassisClass => v1::ChassisClass {
        OneDin TwoDin TwoDinWide
    }
    part_kind: part::PartKind => v1::PartKind {
        DashKit HarnessAdapter DataModule SteeringInterface AntennaAdapter CameraRetention UsbAuxRetention
        AmplifierRetention AmplifierBypass Bracket Lead Converter LooseItem
    }
    attribute: vehicle::Attribute => v1::Attribute {
        ModelYear Make Model Trim BuildMonth Market DriveSide Body Drivetrain AudioOption
    }
    verdict: planner::Verdict => v1::Verdict {
        FitsAsIs FitsWithParts Depends CannotFit NoKnownWay Unknown NotWithExclusions
    }
    plan_verdict: dashwright_model::record::golden::PlanVerdict => v1::Verdict {
        FitsAsIs FitsWithParts Depends CannotFit NoKnownWay Unknown NotWithExclusions
    }
    importance: planner::Importance => v1::Importance {
        Must Wished Offered
    }
    met: planner::Met => v1::Met {
        Directly ByPart ByNothingKnown Unknown
    }
    function: dashwright_model::Function => v1::Function {
        Battery Switched Ground Illumination Dimmer PowerAntenna AmpOn SpeakerFrontLeftPlus
        SpeakerFrontLeftMinus SpeakerFrontRightPlus SpeakerFrontRightMinus SpeakerRearLeftPlus
        SpeakerRearLeftMinus SpeakerRearRightPlus SpeakerRearRightMinus SpeakerCenterPlus SpeakerCenterMinus
        SpeakerSubwooferPlus SpeakerSubwooferMinus LineFrontLeftPlus LineFrontLeftMinus LineFrontRightPlus
        LineFrontRightMinus LineRearLeftPlus LineRearLeftMinus LineRearRightPlus LineRearRightMinus
        LineCenterPlus LineCenterMinus LineSubwooferPlus LineSubwooferMinus Reverse ParkingBrake SpeedPulse
        Mute CameraVideo CameraPower CameraGround Steering1 Steering2 SteeringGround MicrophonePlus
        MicrophoneMinus AuxLeft AuxRight AuxGround Usb CanHigh CanLow Lin DigitalAudio AntennaMain
        AntennaSub Gnss Satellite Chime
    }
    socket_kind: radio::SocketKind => v1::SocketKind {
        SteeringRemote SerialData CameraInput Antenna DigitalRadioAntenna Gnss Usb Aux Microphone Hdmi SatelliteTuner LineOutput
    }
    phase: planner::Phase => v1::Phase {
        Out Bench In TestOpen Close TestClosed
    }
    cart_verdict: planner::CartVerdict => v1::CartVerdict {
        Complete CompleteWithSurplus Incomplete Depends NoWay
    }
    severity: dashwright_curation::Severity => v1::Severity {
        Error Warning
    }
    finding_kind: dashwright_curation::FindingKind => v1::FindingKind {
        SameKey Dangling WrongTerm Overlap SupersessionLoop ForeignLead SetTwice NeverSet GiverToGiver InTheOpening
        NarrowFrame NoSockets GoldenAnswer UnmatedPlug Orphan NoSuccessorLeft NeedsUnavailable NeedsItsConflict NoPrice OtherCurrency Assumed
        Contradicted Hole
    }
    plan_change: dashwright_curation::PlanChange => v1::PlanChange {
        NoLongerFits LosesFeature Dearer OtherPricing OtherVerdict NewlyFits GainsFeature Cheaper OtherParts Added Gone
    }
    job_result: dashwright_model::outcome::JobResult => v1::JobResult {
        Worked DidNotWork
    }
    wrong_kind: dashwright_model::outcome::Wrong => v1::WrongKind {
        DoesNotFit WrongPlug WrongLead WrongSetting WrongStep FeatureLost Missing WrongData Other
    }
    outcome: planner::Outcome => v1::Outcome {
        Kept KeptWithLimit Lost NotPresent Unknown
    }
}
