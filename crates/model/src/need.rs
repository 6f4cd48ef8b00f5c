//! Needs, features and carriers: what an installation must serve and what the customer would miss.

terms! {
    /// Something that an installation has to serve, by a part or directly.
    Need ("need") {
        /// The radio is held in the dash and the opening is closed round it.
        Mount = "MOUNT",
        /// Constant supply.
        Power = "POWER",
        /// Return to the battery.
        Ground = "GROUND",
        /// Supply with the ignition or accessory.
        Switched = "SWITCHED",
        /// Sound reaches the speakers.
        Speakers = "SPEAKERS",
        /// The main broadcast antenna.
        Antenna = "ANTENNA",
        /// The second antenna of a diversity pair.
        AntennaSub = "ANTENNA_SUB",
        /// An amplified or motor antenna is fed.
        AntennaPower = "ANTENNA_POWER",
        /// Lighting follows the dash.
        Illumination = "ILLUMINATION",
        /// The steering buttons work.
        Steering = "STEERING",
        /// The factory camera's picture is shown.
        Camera = "CAMERA",
        /// The radio knows that reverse is engaged.
        Reverse = "REVERSE",
        /// The radio knows that the parking brake is applied.
        ParkingBrake = "PARKING_BRAKE",
        /// The radio knows the speed.
        SpeedPulse = "SPEED_PULSE",
        /// The factory USB socket works.
        Usb = "USB",
        /// The factory auxiliary socket works.
        Aux = "AUX",
        /// Satellite radio works.
        Satellite = "SATELLITE",
        /// The factory microphone works.
        Microphone = "MICROPHONE",
        /// Warning sounds that the factory radio makes are still made.
        Chime = "CHIME",
        /// The factory amplifier is fed and turned on, or bypassed.
        Amplifier = "AMPLIFIER",
        /// The factory subwoofer plays.
        Subwoofer = "SUBWOOFER",
        /// The rear-seat screens work.
        RearSeat = "REAR_SEAT",
        /// The parking sensors' picture is shown.
        ParkingSensors = "PARKING_SENSORS",
        /// The vehicle's settings can be reached.
        VehicleSettings = "VEHICLE_SETTINGS",
        /// The climate picture is shown.
        ClimatePicture = "CLIMATE_PICTURE",
        /// The driver's display goes on showing what is heard.
        DriverDisplay = "DRIVER_DISPLAY",
        /// The emergency-call unit works.
        EmergencyCall = "EMERGENCY_CALL",
        /// The hazard switch is carried over.
        HazardSwitch = "HAZARD_SWITCH",
        /// The airbag lamp is carried over.
        AirbagLamp = "AIRBAG_LAMP",
        /// The clock goes on being set or shown.
        Clock = "CLOCK",
        /// The voice or phone button works.
        VoiceButton = "VOICE_BUTTON",
        /// The radio stays on until a door opens.
        RetainedPower = "RETAINED_POWER",
        /// The digital-radio antenna.
        DigitalRadio = "DIGITAL_RADIO",
    }
}

terms! {
    /// Something that the factory installation does and a customer would miss.
    Feature ("feature") {
        /// Buttons on the steering wheel.
        SteeringButtons = "STEERING_BUTTONS",
        /// The voice or phone button.
        VoiceButton = "VOICE_BUTTON",
        /// The reverse camera.
        ReverseCamera = "REVERSE_CAMERA",
        /// The picture of the parking sensors.
        ParkingSensorPicture = "PARKING_SENSOR_PICTURE",
        /// The USB socket.
        Usb = "USB",
        /// The auxiliary socket.
        Aux = "AUX",
        /// Satellite radio.
        SatelliteRadio = "SATELLITE_RADIO",
        /// The factory amplifier.
        FactoryAmplifier = "FACTORY_AMPLIFIER",
        /// The subwoofer.
        Subwoofer = "SUBWOOFER",
        /// Screens for the rear seats.
        RearSeatEntertainment = "REAR_SEAT_ENTERTAINMENT",
        /// Warning sounds.
        WarningChimes = "WARNING_CHIMES",
        /// The menu of vehicle settings.
        VehicleSettingsMenu = "VEHICLE_SETTINGS_MENU",
        /// The climate picture.
        ClimatePicture = "CLIMATE_PICTURE",
        /// The driver's display.
        DriverDisplay = "DRIVER_DISPLAY",
        /// The emergency-call unit.
        EmergencyCall = "EMERGENCY_CALL",
        /// The hazard switch.
        HazardSwitch = "HAZARD_SWITCH",
        /// The airbag lamp.
        AirbagLamp = "AIRBAG_LAMP",
        /// The clock.
        Clock = "CLOCK",
        /// The hands-free microphone.
        HandsFreeMicrophone = "HANDS_FREE_MICROPHONE",
        /// AM and FM reception.
        BroadcastReception = "BROADCAST_RECEPTION",
        /// Digital radio reception.
        DigitalRadioReception = "DIGITAL_RADIO_RECEPTION",
        /// Lighting that dims with the dash.
        DimmingWithDash = "DIMMING_WITH_DASH",
        /// Power until a door opens.
        PowerUntilDoorOpens = "POWER_UNTIL_DOOR_OPENS",
    }
}

impl Feature {
    /// The need that keeps the feature alive.
    #[must_use]
    pub const fn need(self) -> Need {
        match self {
            Self::SteeringButtons => Need::Steering,
            Self::VoiceButton => Need::VoiceButton,
            Self::ReverseCamera => Need::Camera,
            Self::ParkingSensorPicture => Need::ParkingSensors,
            Self::Usb => Need::Usb,
            Self::Aux => Need::Aux,
            Self::SatelliteRadio => Need::Satellite,
            Self::FactoryAmplifier => Need::Amplifier,
            Self::Subwoofer => Need::Subwoofer,
            Self::RearSeatEntertainment => Need::RearSeat,
            Self::WarningChimes => Need::Chime,
            Self::VehicleSettingsMenu => Need::VehicleSettings,
            Self::ClimatePicture => Need::ClimatePicture,
            Self::DriverDisplay => Need::DriverDisplay,
            Self::EmergencyCall => Need::EmergencyCall,
            Self::HazardSwitch => Need::HazardSwitch,
            Self::AirbagLamp => Need::AirbagLamp,
            Self::Clock => Need::Clock,
            Self::HandsFreeMicrophone => Need::Microphone,
            Self::BroadcastReception => Need::Antenna,
            Self::DigitalRadioReception => Need::DigitalRadio,
            Self::DimmingWithDash => Need::Illumination,
            Self::PowerUntilDoorOpens => Need::RetainedPower,
        }
    }
}

terms! {
    /// How a factory feature is carried, which decides what keeps it.
    Carrier ("carrier of a feature") {
        /// By wires of its own.
        DiscreteCircuits = "DISCRETE_CIRCUITS",
        /// On a data bus.
        DataBus = "DATA_BUS",
        /// As digital video.
        DigitalVideo = "DIGITAL_VIDEO",
        /// By the factory radio itself: it leaves with it.
        FactoryRadio = "FACTORY_RADIO",
        /// By the dash panel (a switch or a lamp in it), independent of the radio.
        DashPanel = "DASH_PANEL",
        /// The vehicle does not have the feature; said, not left out.
        NotPresent = "NOT_PRESENT",
    }
}
