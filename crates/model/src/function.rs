//! Functions: what a wire does, whatever colour it has.

terms! {
    /// What a wire does. Numbers in the descriptions are terminal designations of DIN 72552.
    Function ("function of a wire") {
        /// Constant supply; terminal 30.
        Battery = "BATTERY",
        /// Supply with ignition or accessory on; terminal 15, accessory 75.
        Switched = "SWITCHED",
        /// Return to the battery; terminal 31.
        Ground = "GROUND",
        /// Dash lighting on; terminal 58.
        Illumination = "ILLUMINATION",
        /// How bright the dash lighting is, or its return.
        Dimmer = "DIMMER",
        /// 12 V from the radio that raises or feeds an antenna.
        PowerAntenna = "POWER_ANTENNA",
        /// 12 V from the radio that turns an amplifier on.
        AmpOn = "AMP_ON",
        /// Front left speaker, positive.
        SpeakerFrontLeftPlus = "SPEAKER_FRONT_LEFT_PLUS",
        /// Front left speaker, negative.
        SpeakerFrontLeftMinus = "SPEAKER_FRONT_LEFT_MINUS",
        /// Front right speaker, positive.
        SpeakerFrontRightPlus = "SPEAKER_FRONT_RIGHT_PLUS",
        /// Front right speaker, negative.
        SpeakerFrontRightMinus = "SPEAKER_FRONT_RIGHT_MINUS",
        /// Rear left speaker, positive.
        SpeakerRearLeftPlus = "SPEAKER_REAR_LEFT_PLUS",
        /// Rear left speaker, negative.
        SpeakerRearLeftMinus = "SPEAKER_REAR_LEFT_MINUS",
        /// Rear right speaker, positive.
        SpeakerRearRightPlus = "SPEAKER_REAR_RIGHT_PLUS",
        /// Rear right speaker, negative.
        SpeakerRearRightMinus = "SPEAKER_REAR_RIGHT_MINUS",
        /// Centre speaker, positive.
        SpeakerCenterPlus = "SPEAKER_CENTER_PLUS",
        /// Centre speaker, negative.
        SpeakerCenterMinus = "SPEAKER_CENTER_MINUS",
        /// Subwoofer, positive.
        SpeakerSubwooferPlus = "SPEAKER_SUBWOOFER_PLUS",
        /// Subwoofer, negative.
        SpeakerSubwooferMinus = "SPEAKER_SUBWOOFER_MINUS",
        /// Front left line signal.
        LineFrontLeftPlus = "LINE_FRONT_LEFT_PLUS",
        /// Front left line return.
        LineFrontLeftMinus = "LINE_FRONT_LEFT_MINUS",
        /// Front right line signal.
        LineFrontRightPlus = "LINE_FRONT_RIGHT_PLUS",
        /// Front right line return.
        LineFrontRightMinus = "LINE_FRONT_RIGHT_MINUS",
        /// Rear left line signal.
        LineRearLeftPlus = "LINE_REAR_LEFT_PLUS",
        /// Rear left line return.
        LineRearLeftMinus = "LINE_REAR_LEFT_MINUS",
        /// Rear right line signal.
        LineRearRightPlus = "LINE_REAR_RIGHT_PLUS",
        /// Rear right line return.
        LineRearRightMinus = "LINE_REAR_RIGHT_MINUS",
        /// Centre line signal.
        LineCenterPlus = "LINE_CENTER_PLUS",
        /// Centre line return.
        LineCenterMinus = "LINE_CENTER_MINUS",
        /// Subwoofer line signal.
        LineSubwooferPlus = "LINE_SUBWOOFER_PLUS",
        /// Subwoofer line return.
        LineSubwooferMinus = "LINE_SUBWOOFER_MINUS",
        /// Reverse gear engaged.
        Reverse = "REVERSE",
        /// Parking brake applied.
        ParkingBrake = "PARKING_BRAKE",
        /// Vehicle speed as pulses.
        SpeedPulse = "SPEED_PULSE",
        /// Request to be silent.
        Mute = "MUTE",
        /// Picture of a camera.
        CameraVideo = "CAMERA_VIDEO",
        /// Supply of a camera.
        CameraPower = "CAMERA_POWER",
        /// Return of a camera's supply.
        CameraGround = "CAMERA_GROUND",
        /// First wire of the steering buttons.
        Steering1 = "STEERING_1",
        /// Second wire of the steering buttons.
        Steering2 = "STEERING_2",
        /// Return of the steering buttons.
        SteeringGround = "STEERING_GROUND",
        /// Microphone signal.
        MicrophonePlus = "MICROPHONE_PLUS",
        /// Microphone return.
        MicrophoneMinus = "MICROPHONE_MINUS",
        /// Auxiliary input, left.
        AuxLeft = "AUX_LEFT",
        /// Auxiliary input, right.
        AuxRight = "AUX_RIGHT",
        /// Auxiliary input, return.
        AuxGround = "AUX_GROUND",
        /// Universal serial bus.
        Usb = "USB",
        /// Controller area network, high.
        CanHigh = "CAN_HIGH",
        /// Controller area network, low.
        CanLow = "CAN_LOW",
        /// Local interconnect network.
        Lin = "LIN",
        /// Sound on a digital bus or fibre.
        DigitalAudio = "DIGITAL_AUDIO",
        /// Main broadcast antenna.
        AntennaMain = "ANTENNA_MAIN",
        /// Second broadcast antenna of a diversity pair.
        AntennaSub = "ANTENNA_SUB",
        /// Satellite positioning antenna.
        Gnss = "GNSS",
        /// Satellite radio antenna.
        Satellite = "SATELLITE",
        /// Warning sounds made by the radio.
        Chime = "CHIME",
    }
}

terms! {
    /// What a circuit does when it is active.
    Polarity ("polarity") {
        /// The wire goes to the supply voltage.
        ToSupply = "TO_SUPPLY",
        /// The wire goes to ground.
        ToGround = "TO_GROUND",
    }
}

terms! {
    /// What travels on a wire.
    SignalKind ("kind of signal") {
        /// A level that stays.
        Steady = "STEADY",
        /// A supply that is switched on and off quickly, as a dimmer does.
        Chopped = "CHOPPED",
        /// Pulses that are counted.
        Pulse = "PULSE",
        /// Composite video.
        CompositeVideo = "COMPOSITE_VIDEO",
        /// Sound at line level.
        Line = "LINE",
        /// Sound at speaker level.
        Speaker = "SPEAKER",
        /// A data bus.
        Data = "DATA",
        /// A resistance to be measured.
        Resistive = "RESISTIVE",
        /// Radio frequency on a coaxial lead.
        RadioFrequency = "RADIO_FREQUENCY",
    }
}
