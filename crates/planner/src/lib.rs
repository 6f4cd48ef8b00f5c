//! From a question to an answer: needs, applicable parts, features, verdict, all of it pure.
