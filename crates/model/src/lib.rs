//! The records of the catalogue, the questions and the answers, as data.
