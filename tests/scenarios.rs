//! Scenarios: a question to a dataset and the answer worked out by hand, each named for what it proves.

#[cfg(test)]
#[path = "scenarios/run.rs"]
mod run;
