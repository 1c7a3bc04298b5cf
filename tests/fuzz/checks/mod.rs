//! What is checked on any input, by the fuzzer and, on the inputs it found, by the suite.

#![allow(dead_code)]

pub mod board;
pub mod cures;
pub mod explain;
pub mod limits;
pub mod mend;
pub mod pictures;
pub mod reader;
pub mod replay;
mod shared;
