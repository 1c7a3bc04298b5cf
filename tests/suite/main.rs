//! All tests in one binary.

mod board;
mod board_errors;
mod making;
mod oracle;
