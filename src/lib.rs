//! Headstall: a simulator of the path from a print job to the moving head.
//!
//! It replays a job file through a model of the controller and says where the head starves, why, for how long,
//! and what bumps that leaves. Ask a question, get an answer, make text and pictures of it:
//!
//! ```
//! use headstall::answer::{job::Job, replay::{ReplayQuestion, replay}};
//! use headstall::board::{builtin, profile};
//! use headstall::report::{pictures, summary::Summary, verdict::verdict, wall::Across};
//!
//! let board = profile::parse(builtin::text("32bit-card").unwrap(), "32bit-card", &[])?;
//! let mut job = Job::in_memory("corner.gcode", *b"G1 F3000 Z0.2\nG1 X20 E1\nG1 Y20 E1\n");
//! let question = ReplayQuestion { pictures: true, ..ReplayQuestion::of(&board) };
//! let answer = replay(&mut job, &question, &(), &mut ())?;
//! assert!(verdict(&answer).starts_with("No stutter"));
//! let pictures = pictures::pictures(&answer, &Summary::of(&answer, &[]), Across::Angle);
//! assert!(pictures[0].1.starts_with("<svg"));
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```
//!
//! Read the modules in this order; imports run the same way, left to right:
//!
//! ```text
//! bytes ─job─▶ steps ─motion─▶ blocks ─replay─▶ what the head did ─surface─▶ bumps on walls
//!                                 ▲                    ▲                          │
//!                               board ─────────────────┘                        study
//!                                                                                 ▼
//!                          files ◀─report─ answer ◀─ question: replay, compare, remedies
//! ```
//!
//! * [`model`]: the mathematics, section by section.
//! * [`job`]: bytes → steps, one a command line, lazily; oddities become notices, not failures.
//! * [`board`]: one TOML file → one checked [`board::types::Board`].
//! * [`motion`]: moves → blocks, corner speeds, look-ahead, profiles.
//! * [`mod@replay`]: the controller's main loop, queues, link and saves; what each block did.
//! * [`surface`]: the flow of plastic, the bumps that a stall leaves, and what of a part can be seen.
//! * [`study`]: stalls, causes, samples, remedies.
//! * [`answer`]: a question → one immutable answer.
//! * [`report`]: an answer → text, CSV, JSON, SVG, HTML.

#[doc = include_str!("model.md")]
pub mod model {}

pub mod text;

/// A job and two boards to begin with.
pub mod demo {
    pub mod lantern;
}

/// Bytes of a job → what each line asks for.
pub mod job {
    mod decimals;
    pub mod layers;
    pub mod lines;
    pub mod notices;
    pub mod reader;
    pub mod state;
    pub mod values;
    pub mod words;
}

/// The board file, checked.
pub mod board {
    pub mod types;

    pub mod builtin;
    pub mod edited;
    pub mod handbook;
    pub mod profile;
    pub mod questions;

    mod durations;
    mod error;
    mod fitted;
    mod keys;
    mod known;
    mod overrides;
    mod place;
    mod tree;
}

/// Moves → blocks and their profiles.
pub mod motion {
    pub mod corner;
    pub mod extremes;
    pub mod ideal;
    pub mod lookahead;
    pub mod path;
    pub mod trapezoid;
}

/// The controller: from lines to what the head did.
pub mod replay {
    pub mod ahead;
    pub mod cause;
    pub mod controller;
    pub mod duties;
    pub mod feed;
    pub mod head;
    pub mod luck;
    pub mod source;
    pub mod store;
    pub mod stream;
    pub mod world;
}

/// Plastic: what a stall leaves on the part.
pub mod surface {
    mod beads;
    pub mod bump;
    mod cells;
    mod drawing;
    pub mod faces;
    mod facing;
    mod first_layers;
    pub mod flow;
    pub mod grid;
    mod ground;
    mod hull;
    mod islands;
    mod joined;
    mod labels;
    mod layer;
    pub mod left_out;
    pub mod limits;
    mod lines;
    mod look;
    mod over;
    pub mod parts;
    mod patterns;
    #[cfg(test)]
    mod plainly;
    mod runs;
    mod shell;
    pub mod skin;
    mod voids;
    mod walls;
}

/// What a replay means: stalls, layers, worst places.
pub mod study {
    pub mod bumps;
    pub mod causes;
    pub mod compare;
    pub mod cures;
    /// Which explanation do the bumps agree with that somebody saw on a print?
    pub mod explain {
        pub mod blur;
        pub mod clock;
        pub mod coherence;
        pub mod decide;
        pub mod draws;
        pub mod huddle;
        pub mod keeping;
        pub mod luck;
        pub mod mixture;
        pub mod moves;
        pub mod numbers;
        mod phases;
        pub mod places;
        pub mod plate;
        mod power;
        pub mod question;
        pub mod regular;
        pub mod seen;
        pub mod shown;
        pub mod strewn;
        pub mod tone;
        mod track;
        pub mod view;
        pub mod wall;
    }
    pub mod facts;
    /// A board's numbers from the times of a dry run.
    pub mod fit {
        pub mod compare_times;
        pub mod costs;
        pub mod coupon;
        mod dice;
        pub mod fitting;
        pub mod forward;
        pub mod keys;
        mod pen;
        pub mod planes;
        pub mod problem;
        mod quantiles;
        mod rests;
        pub mod search;
        pub mod sound;
        mod spectrum;
        pub mod times;
        pub mod walkers;
    }
    /// The job written anew so that a board keeps up with it.
    pub mod mend {
        pub mod arcs;
        pub mod choose;
        pub mod counts;
        pub mod fit;
        pub mod harm;
        pub mod make;
        pub mod mark;
        pub mod merge;
        pub mod numbers;
        pub mod pace;
        pub mod pass;
        pub mod plan;
        pub mod proof;
        pub mod reach;
        pub mod run;
        pub mod runs;
        pub mod search;
        mod shelf;
        pub mod space;
        pub mod text;
        mod trim;
        pub mod write;
    }
    pub mod parallel;
    pub mod paths;
    pub mod remedy;
    pub mod reshape;
    pub mod sample;
    pub mod shapley;
    pub mod stalls;
    pub mod stats;
    pub mod strips;
    pub mod thin;
    pub mod trace;
    pub mod watch;
}

/// Questions and their answers: what commands and pages ask the library.
pub mod answer {
    pub mod bumps;
    pub mod compare;
    pub mod effort;
    pub mod explain;
    pub mod fit;
    mod hearers;
    pub mod job;
    mod layer_trace;
    pub mod luck;
    pub mod progress;
    pub mod remedies;
    pub mod replay;
    pub mod shape;
    pub mod shelf;
    pub mod stall_book;
    pub mod trouble;
    pub mod warnings;
}

/// What the maker gets to see.
pub mod report {
    pub mod advice;
    mod along;
    pub mod bars;
    pub mod board_file;
    pub mod bump_marks;
    pub mod comparison;
    mod comparison_rows;
    mod comparison_verdict;
    pub mod cures;
    pub mod dry_run;
    pub mod explain;
    pub mod explained;
    pub mod figures;
    pub mod finite;
    pub mod fit;
    pub mod folded;
    /// The one look of all pictures.
    pub mod look {
        mod advance;
        pub mod canvas;
        pub mod chart;
        pub mod palette;
        pub mod picture;
        pub mod png;
    }
    pub mod loudness;
    pub mod map;
    pub mod mend;
    pub mod mend_text;
    pub mod numbers;
    pub mod page;
    pub mod page_data;
    pub mod page_files;
    pub mod page_seen;
    pub mod part;
    pub mod pictures;
    pub mod post;
    pub mod queue;
    pub mod speed;
    pub mod summary;
    pub mod tables;
    pub mod text;
    pub mod thick;
    pub mod told;
    pub mod verdict;
    pub mod wall;
    pub mod words;
}
