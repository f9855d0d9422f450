//! Every integration test in one binary, because linking one is quicker than linking ten.

mod api;
mod corpus;
mod disclosure;
mod documents;
mod durability;
mod findings;
mod folder;
mod form;
mod harness;
mod intake_properties;
mod laws;
mod mending;
mod moderators;
mod own;
mod plans;
mod reference_bivariate;
mod reference_effects;
mod reference_gains;
mod reference_prediction;
mod reference_regression;
mod reference_robustness;
mod reference_three_level;
mod reference_values;
mod simulation;
mod tidy;
mod upload;
