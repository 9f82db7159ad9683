//! Sound goes in on the left, permitted duty comes out on the right.
//!
//! `coilscore` turns music into duty cycles for the electromagnets of a ferrofluid display,
//! inside what each coil, its iron, the magnet behind it and the power supply can stand. The
//! modules below, read in this order, are the program:
//!
//! ```text
//! audio  ->  analysis  ->  mapper  ->  budget  ->  frame  ->  sink
//! samples    levels        wishes      duties      packets    file, memory, board
//!                          (Share)     (Duty)
//! ```
//!
//! The stages from [`audio::SampleBlock`] to [`frame`] hold no clock, file, socket, thread or
//! device; time reaches them as sample and frame numbers only. They take their memory when they
//! are built and none afterwards. The same samples give the same bytes however they are chunked.
//!
//! [`engine`] ties the four stages together, [`run`] feeds it, [`preset`] reads what the maker
//! wrote, [`sheet`] says how to build it, [`picture`] draws what came out. [`listen`] judges an
//! input before a show.

pub mod shown;

pub mod units;

pub mod audio;

pub mod analysis;

pub mod listen;

pub mod mapper;

pub mod coil;

pub mod fit;

pub mod budget;

pub mod frame;

pub mod sink;

pub mod engine;

pub mod preset;

pub mod sheet;

pub mod run;

pub mod picture;
