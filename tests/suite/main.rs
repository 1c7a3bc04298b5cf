//! All tests in one binary.

mod board;
mod board_errors;
mod cli;
mod dialects;
mod exactness;
mod fuzz;
mod laws;
mod making;
mod map;
mod oracle;
mod ref_flow;
mod ref_language;
mod ref_link;
mod ref_motion;
mod ref_stats;
mod ref_stream;
mod reshape;
mod surfaces;
mod tidy;
