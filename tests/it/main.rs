//! Every integration test in one binary, because linking one is quicker than linking ten.

mod corpus;
mod intake_properties;
