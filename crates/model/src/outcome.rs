//! Outcomes: what a job that was done by a plan tells of the plan, and of the records that it rests on.

terms! {
    /// What came of a job.
    JobResult ("result of a job") {
        /// It was done as the plan says, and everything works.
        Worked = "WORKED",
        /// It could not be done as the plan says, or something does not work.
        DidNotWork = "DID_NOT_WORK",
    }
}

terms! {
    /// What was wrong with a record.
    Wrong ("way of being wrong") {
        /// It does not go in, or does not hold.
        DoesNotFit = "DOES_NOT_FIT",
        /// A plug or a socket is another one, or is not there.
        WrongPlug = "WRONG_PLUG",
        /// A lead has another colour, another place or another function.
        WrongLead = "WRONG_LEAD",
        /// A switch, a selector or an instruction is another one.
        WrongSetting = "WRONG_SETTING",
        /// It is done in another way, in another order, or with other tools.
        WrongStep = "WRONG_STEP",
        /// A factory feature does not work afterwards as was said.
        FeatureLost = "FEATURE_LOST",
        /// Something is needed, or is in the car, that the record does not have.
        Missing = "MISSING",
        /// A length, a price, a number or a name is another one.
        WrongData = "WRONG_DATA",
        /// Something else; the text says what.
        Other = "OTHER",
    }
}

/// Records that one report calls wrong: about as many as a plan rests on, and so few that an error can name each.
pub const MAX_WRONG: usize = 12;
