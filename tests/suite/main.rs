//! All tests in one binary.

mod board;
mod board_errors;
mod browser;
#[cfg(unix)]
mod budgets;
mod charts;
#[path = "../fuzz/checks/mod.rs"]
mod checks;
mod cli;
mod colours;
mod corpus;
mod coupon;
mod culprits;
mod demo;
mod dialects;
mod draws;
mod exactness;
mod explain;
mod explain_bare;
mod explain_lists;
mod fit_cli;
mod fit_reference;
mod fit_sound;
mod fit_way;
mod fuzz;
mod gallery;
#[cfg(unix)]
mod hostile;
mod laws;
#[cfg(unix)]
mod limits;
mod limits_fit;
mod limits_job;
mod limits_open;
mod limits_table;
mod limits_work;
mod live;
mod main_loop;
mod making;
mod map;
mod mend;
mod mend_arcs;
mod mend_command;
mod mend_files;
mod mend_jobs;
mod mend_mark;
mod mend_strip;
mod open_page;
mod open_rules;
mod open_seen;
mod open_turn;
mod oracle;
mod plainly;
mod ref_bump;
mod ref_explain;
mod ref_flow;
mod ref_language;
mod ref_link;
mod ref_motion;
mod ref_stats;
mod ref_stream;
mod reshape;
#[cfg(unix)]
mod results;
mod serving;
mod stored;
mod strips;
mod surfaces;
mod surfaces_parts;
mod tidy;
mod wall;
mod webdriver;
