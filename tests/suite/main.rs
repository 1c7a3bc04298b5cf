//! All tests in one binary.

mod board;
mod board_errors;
mod exactness;
mod laws;
mod making;
mod oracle;
mod ref_language;
mod ref_link;
mod ref_motion;
mod ref_stream;
mod tidy;
