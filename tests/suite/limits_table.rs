//! Each row of the table of limits in DEVELOPERS.md is driven by a test.

use std::collections::BTreeSet;
use std::fs;
use std::path::Path;

/// The start of a row's first cell, and the tests that drive its limits, here or beside the code.
const ROWS: [(&str, &[&str]); 46] = [
    ("a line of a job", &["a_line_is_read_up_to_64_kib"]),
    ("a coordinate;", &["places_and_filament_reach_a_kilometre"]),
    (
        "a speed, M220",
        &["values_that_no_machine_has_are_told_with_their_line"],
    ),
    (
        "a dwell (G4)",
        &["values_that_no_machine_has_are_told_with_their_line"],
    ),
    (
        "factors of M220",
        &["factors_and_limits_end_where_machines_do"],
    ),
    (
        "M201, M203,",
        &[
            "factors_and_limits_end_where_machines_do",
            "limits_beyond_any_machine",
        ],
    ),
    (
        "radius of an arc",
        &["the_radius_of_an_arc_is_at_most_a_kilometre"],
    ),
    (
        "chords of an arc",
        &["arcs_are_cut_as_the_model_says_up_to_a_limit_that_is_told"],
    ),
    (
        "chords of all arcs",
        &["all_arcs_together_have_chords_by_their_bytes"],
    ),
    (
        "blocks that wait",
        &["an_ideal_that_looks_too_far_ahead_is_cut_and_told"],
    ),
    (
        "names of commands",
        &["commands_without_effect_have_500_names"],
    ),
    (
        "a board file;",
        &["a_board_file_has_a_mib_and_a_thousand_chores"],
    ),
    ("queues;", &["queues_and_waits_of_a_board_have_an_end"]),
    (
        "a duration of",
        &[
            "queues_and_waits_of_a_board_have_an_end",
            "draws_are_checked",
        ],
    ),
    (
        "runs of chores",
        &[
            "what_takes_too_long_is_named_by_line_and_speed",
            "endless_chores_are_told",
        ],
    ),
    (
        "work times replays",
        &[
            "causes_are_estimated_where_exact_ones_take_too_long",
            "a_comparison_that_takes_too_long_has_fewer_runs",
        ],
    ),
    (
        "work of all runs with other luck",
        &["runs_that_take_too_long_are_told"],
    ),
    (
        "work of all runs of `compare`",
        &[
            "a_comparison_that_takes_too_long_has_fewer_runs",
            "remedies_that_take_too_long_are_left_out_and_counted",
        ],
    ),
    (
        "chores of a replay",
        &["a_change_under_which_the_board_gets_nowhere_is_given_up"],
    ),
    (
        "a layer that is kept",
        &[
            "layers_that_come_again_are_as_if_they_were_new",
            "large_layers_are_not_kept",
        ],
    ),
    (
        "replays side by side",
        &["replays_that_hold_many_blocks_run_one_at_a_time"],
    ),
    (
        "stalls held until",
        &[
            "stalls_on_layer_0_are_held_up_to_a_limit_that_is_told",
            "bumps_of_one_stall_are_held_up_to_a_limit_that_is_told",
        ],
    ),
    (
        "bumps listed;",
        &["the_highest_bumps_are_listed_and_four_million_counted"],
    ),
    (
        "a layer's tiles",
        &[
            "a_layer_of_more_than_2_m_has_no_surface",
            "a_layer_has_300_000_tiles_with_plastic",
            "plates_of_kilometres",
        ],
    ),
    (
        "squares of a plate",
        &["a_plate_of_any_size_is_surveyed_in_bounded_memory"],
    ),
    (
        "layers of all walls",
        &[
            "a_wall_of_too_many_layers_is_refused",
            "lists_and_coupons_are_read_up_to_a_size",
        ],
    ),
    (
        "a coupon;",
        &[
            "lists_and_coupons_are_read_up_to_a_size",
            "a_fit_takes_coupons_and_lists_that_it_can_replay",
            "a_list_without_end_is_refused",
            "a_recording_lasts_two_hours_at_most",
            "a_job_for_a_fit_has_two_million_command_lines",
            "a_board_that_gets_nowhere_with_a_coupon_is_given_up",
        ],
    ),
    (
        "work of all replays of one job",
        &["mending_makes_fewer_replays_where_they_take_too_long"],
    ),
    (
        "visible bumps of one",
        &["mending_holds_200_000_bumps_until_it_knows_what_can_be_seen"],
    ),
    (
        "standard input, or",
        &[
            "what_is_stored_has_an_end",
            "a_device_without_an_end_is_not_stored",
        ],
    ),
    (
        "a file without a move",
        &["what_is_no_job", "a_job_that_is_all_mangled_is_no_job"],
    ),
    ("numbers of options", &["numbers_have_a_range_that_is_told"]),
    (
        "of standard input:",
        &[
            "a_long_job_from_standard_input_has_no_causes",
            "many_stalls_from_standard_input",
        ],
    ),
    (
        "strips of time",
        &[
            "two_hundred_strips_are_kept",
            "strips_of_long_stalls_are_short",
        ],
    ),
    (
        "for strips:",
        &["a_stall_among_too_many_spells_of_work_has_no_strip"],
    ),
    (
        "one layer's segments",
        &[
            "a_layer_is_drawn_in_150_000_segments_and_3000_marks",
            "a_layer_of_too_many_strokes_keeps_the_longer_ones",
            "paths_stay_within_their_bound",
            "a_layer_with_too_many_knots_is_left_out",
        ],
    ),
    (
        "settings and runs",
        &["comparisons_have_a_thousand_settings_and_runs_an_end"],
    ),
    (
        "memory at the start",
        &["too_little_memory_is_told_before_anything_is_done"],
    ),
    (
        "memory on the way",
        &["what_the_system_ends_leaves_old_results_alone"],
    ),
    (
        "threads",
        &[
            "little_memory_is_enough_for_one_thread",
            "without_threads_one_does_the_work",
        ],
    ),
    (
        "`open`: a job;",
        &[
            "what_is_too_large_is_refused",
            "files_are_counted",
            "room_is_counted_and_given_back",
        ],
    ),
    (
        "`open`: connections;",
        &["a_thousand_connections", "slow_senders"],
    ),
    (
        "`open`: pieces of work",
        &[
            "work_waits_in_a_queue_that_has_an_end",
            "it_ends_when_the_page_is_closed",
        ],
    ),
    ("a results folder", &["two_runs_at_once_do_not_mix"]),
    (
        "photographs in the page",
        &["photographs_have_a_number_and_a_size"],
    ),
    ("numbers in results", &["a_result_with_one_is_refused"]),
];

/// The first cells of the table under "## Limits".
fn cells() -> Vec<String> {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let text = fs::read_to_string(root.join("DEVELOPERS.md")).unwrap();
    let from = text.find("\n## Limits\n").unwrap() + 4;
    let section = &text[from..from + text[from..].find("\n## ").unwrap()];
    let rows = section.lines().filter_map(|line| line.strip_prefix("| "));
    let cells = rows.map(|row| row.split(" | ").next().unwrap().to_string());
    cells
        .skip_while(|cell| !cell.starts_with("---"))
        .skip(1)
        .collect()
}

/// The names of all functions that are marked as tests.
fn tests() -> BTreeSet<String> {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let mut open = vec![root.join("src"), root.join("tests/suite")];
    let mut found = BTreeSet::new();
    while let Some(place) = open.pop() {
        if place.is_dir() {
            open.extend(
                fs::read_dir(place)
                    .unwrap()
                    .map(|entry| entry.unwrap().path()),
            );
        } else if place.extension().is_some_and(|ending| ending == "rs") {
            let text = fs::read_to_string(place).unwrap();
            let mut marked = false;
            for line in text.lines().map(str::trim) {
                marked |= line == "#[test]";
                if let Some(name) = line.strip_prefix("fn ") {
                    if marked {
                        found.insert(name.split('(').next().unwrap().to_string());
                    }
                    marked = false;
                }
            }
        }
    }
    found
}

#[test]
fn each_limit_is_driven_by_a_test() {
    let (cells, tests) = (cells(), tests());
    assert!(tests.len() > 400 && tests.contains("each_limit_is_driven_by_a_test"));
    for (cell, (start, named)) in cells.iter().zip(ROWS) {
        assert!(
            cell.starts_with(start),
            "the row `{cell}` comes where `{start}` is named"
        );
        assert!(!named.is_empty(), "{cell}");
        for name in named {
            assert!(tests.contains(*name), "{cell}: there is no test {name}");
        }
    }
    assert_eq!(
        cells.len(),
        ROWS.len(),
        "a row of the table without tests, or tests without a row"
    );
}
