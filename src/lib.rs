//! Tautpool pools paired racquet sessions from many players.
//!
//! The library is a pure core (units, protocol, contribution rules, effects, pooling, findings,
//! disclosure, plots) inside a thin shell (store, service, http, command line). `DEVELOPERS.md`
//! has the map and the invariants.

pub mod access;
pub mod backup;
pub mod cli;
pub mod clock;
pub mod contribution;
pub mod demo;
pub mod disclosure;
pub mod effects;
pub mod findings;
pub mod font;
pub mod form;
pub mod http;
pub mod intake;
pub mod numbers;
pub mod pages;
pub mod plan;
pub mod plots;
pub mod pooling;
pub mod protocol;
pub mod raster;
pub mod receipt;
pub mod release;
pub mod review;
pub mod screening;
pub mod service;
pub mod store;
pub mod units;
pub mod vocabulary;
pub mod wire;
