//! Board files: what is refused, and in which words.

use super::board::{LEAST, read};

/// The lines of a table whose columns are parted by ` => `; `\\n` there is a new line.
fn rows<const COLUMNS: usize>(table: &str) -> impl Iterator<Item = [String; COLUMNS]> {
    table.trim().lines().map(|row| {
        let columns: Vec<String> = row.split(" => ").map(|c| c.replace("\\n", "\n")).collect();
        columns
            .try_into()
            .unwrap_or_else(|_| panic!("columns of {row}"))
    })
}

fn check_error(text: &str, expected: &str) {
    assert_eq!(read(text, &[]).unwrap_err(), expected, "in\n{text}");
}

/// [`LEAST`] with `extra` after it, from line 11 on.
fn check_extra(extra: &str, expected: &str) {
    check_error(&format!("{LEAST}{extra}"), expected);
}

/// [`LEAST`] with one piece replaced.
fn check_changed(from: &str, to: &str, expected: &str) {
    assert!(LEAST.contains(from), "{from}");
    check_error(&LEAST.replacen(from, to, 1), expected);
}

/// [`LEAST`] with one override.
fn check_set(set: &str, expected: &str) {
    assert_eq!(read(LEAST, &[set]).unwrap_err(), expected, "--set {set}");
}

#[test]
fn draws_are_checked() {
    let any = "must be a number of ms from 0 to 1e9, or a draw: \
               { min, max }, { mean } or { median, p99 }";
    let table = r#"
-1 => my.toml:4: link.sector_ms = -1: must be a number of ms from 0 to 1e9
nan => my.toml:4: link.sector_ms = nan: must be a number of ms from 0 to 1e9
inf => my.toml:4: link.sector_ms = inf: must be a number of ms from 0 to 1e9
1.1e9 => my.toml:4: link.sector_ms = 1.1e9: must be a number of ms from 0 to 1e9
{ min = 3, max = 2 } => my.toml:4: link.sector_ms.max = 2: must be at least min = 3
{ min = -3, max = 2 } => my.toml:4: link.sector_ms.min = -3: must be a number of ms from 0 to 1e9
{ mean = "a" } => my.toml:4: link.sector_ms.mean = "a": must be a number of ms from 0 to 1e9
{ median = 0, p99 = 2 } => my.toml:4: link.sector_ms.median = 0: must be greater than 0
{ median = 3, p99 = 2 } => my.toml:4: link.sector_ms.p99 = 2: must be from 1 to 1e6 times the median = 3
{ median = 1e-300, p99 = 1e9 } => my.toml:4: link.sector_ms.p99 = 1e9: must be from 1 to 1e6 times the median = 1e-300
"#;
    for [value, expected] in rows(table) {
        check_changed(
            "sector_ms = 1.2",
            &format!("sector_ms = {value}"),
            &expected,
        );
    }
    for value in [
        "\"1\"",
        "true",
        "[1]",
        "[[1]]",
        "{}",
        "{ min = 1 }",
        "{ median = 1 }",
        "{ mean = 1, max = 3 }",
        "{ min = 1, max = 2, mean = 1 }",
        "1979-05-27",
    ] {
        let expected = format!("my.toml:4: link.sector_ms = {value}: {any}");
        check_changed(
            "sector_ms = 1.2",
            &format!("sector_ms = {value}"),
            &expected,
        );
    }
}

#[test]
fn fixed_durations_cannot_be_drawn() {
    check_extra(
        "[loop]\nline_us = { mean = 3 }\n",
        "my.toml:12: loop.line_us = { mean = 3 }: must be a number of us from 0 to 1e12; \
         it cannot be drawn",
    );
    let keys = "link.chain_ms link.poll_s loop.byte_us loop.block_us loop.pass_us \
        loop.chord_us loop.step_us queue.restart_wait_ms queue.stretch_ms wait.heat_s \
        wait.home_s wait.change_s nozzle.lag_s nozzle.lead_s";
    for key in keys.split_whitespace() {
        let message = read(LEAST, &[&format!("{key}={{ mean = 3 }}")]).unwrap_err();
        assert!(message.ends_with("it cannot be drawn"), "{message}");
        let message = read(LEAST, &[&format!("{key}=-1")]).unwrap_err();
        assert!(
            message.starts_with(&format!("--set {key}=-1: must be a number of")),
            "{message}"
        );
    }
}

#[test]
fn values_are_checked() {
    let table = r#"
[queue]\nblocks = 1 => 12: queue.blocks = 1: must be a whole number from 2 to 1000000
[queue]\nblocks = 1_000_001 => 12: queue.blocks = 1_000_001: must be a whole number from 2 to 1000000
[queue]\nblocks = 16.5 => 12: queue.blocks = 16.5: must be a whole number from 2 to 1000000
[queue]\nblocks = "16" => 12: queue.blocks = "16": must be a whole number from 2 to 1000000
[queue]\nblocks = [1,\n  2] => 12: queue.blocks = [1, 2]: must be a whole number from 2 to 1000000
[queue]\nblocks = 99999999999999999999999999999999999999999 => 12: queue.blocks = 99999999999999999999999999999999999999999: must be a whole number from 2 to 1000000
[queue]\nlines = 0 => 12: queue.lines = 0: must be a whole number from 1 to 1000000
[queue]\nlow_water = -1 => 12: queue.low_water = -1: must be a whole number from 0 to 1000000
[queue]\nrestart_blocks = 0 => 12: queue.restart_blocks = 0: must be a whole number from 1 to 1000000
[queue]\nblocks = 8\nrestart_blocks = 9 => 13: queue.restart_blocks = 9: must be a whole number from 1 to queue.blocks = 8
[loop]\nload_max = 1 => 12: loop.load_max = 1: must be a number from 0 to less than 1
[loop]\nload_max = -0.1 => 12: loop.load_max = -0.1: must be a number from 0 to less than 1
[loop]\nload_max = nan => 12: loop.load_max = nan: must be a number from 0 to less than 1
[loop]\nstep_us = -1 => 12: loop.step_us = -1: must be a number of us from 0 to 1e12
[[chore]]\nevery_s = 0 => 12: chore.0.every_s = 0: must be a number of s from 1e-4 to 1e6
[[chore]]\n[[chore]]\nus = -1 => 13: chore.1.us = -1: must be a number of us from 0 to 1e12
[[chore]]\nname = 3 => 12: chore.0.name = 3: must be a text in quotes
[chore]\nname = "a" => 11: chore = a table: must be a list of at most 1000 tables
[wait]\nheat_s = -1 => 12: wait.heat_s = -1: must be a number of s from 0 to 1e6
[wait]\nheat_s = 1e7 => 12: wait.heat_s = 1e7: must be a number of s from 0 to 1e6
[save]\nwhen = "hours" => 12: save.when = "hours": must be "off" or "seconds" or "lines" or "layer"
[save]\nevery = 0 => 12: save.every = 0: must be a number of seconds or lines from 1e-6 to 1e6
[save]\nwhen = "seconds"\nms = 1\nevery = 0 => 14: save.every = 0: must be a number of s from 1e-6 to 1e6
[save]\nwhen = "lines"\nms = 1\nevery = 1.5 => 14: save.every = 1.5: must be a whole number from 1 to 1000000
[save]\nwhen = "layer" => 11: save with when other than "off" lacks the required key ms
[save]\nstop_first = 1 => 12: save.stop_first = 1: must be true or false
[nozzle]\nfilament_mm = 0 => 12: nozzle.filament_mm = 0: must be a number of mm from 0.001 to 100
[nozzle]\nnozzle_mm = -0.4 => 12: nozzle.nozzle_mm = -0.4: must be a number of mm from 0.001 to 100
[nozzle]\nlag_s = -1 => 12: nozzle.lag_s = -1: must be a number of s from 0 to 1e6
[[queue]]\nlines = 4 => 11: queue = a list of tables: must be a table
"#;
    for [extra, expected] in rows(table) {
        check_extra(&extra, &format!("my.toml:{expected}"));
    }
    let chores = |count| format!("{LEAST}{}", "[[chore]]\n".repeat(count));
    check_error(
        &chores(1001),
        "my.toml:11: chore = a list of tables: must be a list of at most 1000 tables",
    );
    assert!(read(&chores(1000), &[]).is_ok());
}

#[test]
fn link_and_motion_are_checked() {
    let table = r#"
"least" => " " => 1: name = " ": must be a text that is not empty
"least" => 8 => 1: name = 8: must be a text in quotes
"card" => "wire" => 3: link.kind = "wire": must be "card" or "serial"
"card" => 1 => 3: link.kind = 1: must be "card" or "serial"
"least" => "least"\nqueue = [{ lines = 4 }] => 2: queue = [{ lines = 4 }]: must be a table
1.2\n => 1.2\ncluster_kib = 0\n => 5: link.cluster_kib = 0: must be a whole number from 1 to 1000000
1.2\n => 1.2\nhiccup_chance = 1.1\n => 5: link.hiccup_chance = 1.1: must be a number from 0 to 1
1.2\n => 1.2\nresend_chance = -0.1\n => 5: link.resend_chance = -0.1: must be a number from 0 to 1
1.2\n => 1.2\nin_flight = 0\n => 5: link.in_flight = 0: must be a whole number from 1 to 100000
1.2\n => 1.2\nbaud = 0\n => 5: link.baud = 0: must be a number of bits/s from 1 to 1e12
1.2\n => 1.2\nreply_when = "read"\n => 5: link.reply_when = "read": must be "finished" or "received"
1.2\n => 1.2\nbaud = 1\nbytes_per_s = 1\n => 6: link.bytes_per_s = 1: must not stand beside link.baud; give one of them
x = 300 => x = 0 => 6: motion.speed_max.x = 0: must be a number of mm/s from 1e-6 to 1e6
z = 100 => z = inf => 7: motion.accel_max.z = inf: must be a number of mm/s2 from 0.001 to 1e9
travel = 1500 => travel = -1 => 8: motion.accel.travel = -1: must be a number of mm/s2 from 0.001 to 1e9
e = 93 => e = 0 => 10: motion.steps_per_mm.e = 0: must be a number of steps per mm from 1e-6 to 1e6
0.03 => -1 => 9: motion.corner.mm = -1: must be a number of mm from 0 to 1000
mm = 0.03 => mm = 0.03, x = -1 => 9: motion.corner.x = -1: must be a number of mm/s from 0 to 1e6
deviation => round => 9: motion.corner.rule = "round": must be "deviation" or "jump"
[motion] => [motion]\nlayout = "delta" => 6: motion.layout = "delta": must be "cartesian" or "corexy"
[motion] => [motion]\narc_chord_mm = 0 => 6: motion.arc_chord_mm = 0: must be a number of mm from 0.001 to 1e6
"#;
    for [from, to, expected] in rows(table) {
        check_changed(&from, &to, &format!("my.toml:{expected}"));
    }
}

#[test]
fn long_values_are_shown_cut() {
    let all = "7".repeat(60);
    let must = "must be a text in quotes";
    check_changed(
        "\"least\"",
        &all,
        &format!("my.toml:1: name = {all}: {must}"),
    );
    let cut = "7".repeat(57);
    let expected = format!("my.toml:1: name = {cut}...: {must}");
    check_changed("\"least\"", &format!("{all}7"), &expected);
}

#[test]
fn missing_keys_are_named() {
    check_error(
        "",
        "my.toml: the board lacks the required keys name, link, motion",
    );
    check_error(
        "name = \"a\"\nlink = 3\n[motion]\n",
        "my.toml:2: link = 3: must be a table",
    );
    let table = r#"
name = "least"\n => my.toml: the board lacks the required key name
kind = "card"\n => my.toml:2: link lacks the required key kind
sector_ms = 1.2\n => my.toml:2: link of kind "card" lacks the required key sector_ms
corner = { rule = "deviation", mm = 0.03 }\n => my.toml:5: motion lacks the required key corner
, e = 60 => my.toml:6: motion.speed_max lacks the required key e
print = 1000, travel = 1500, => my.toml:8: motion.accel lacks the required keys print, travel
rule = "deviation",  => my.toml:9: motion.corner lacks the required key rule
, mm = 0.03 => my.toml:9: motion.corner with rule "deviation" lacks the required key mm
"#;
    for [piece, expected] in rows(table) {
        check_changed(&piece, "", &expected);
    }
    check_changed(
        "\"card\"",
        "\"serial\"",
        "my.toml:2: link of kind \"serial\" lacks the required keys reply_ms, baud (or bytes_per_s)",
    );
    check_changed(
        "kind = \"card\"",
        "kind = \"serial\"\nreply_ms = 1",
        "my.toml:2: link of kind \"serial\" lacks the required key baud (or bytes_per_s)",
    );
    check_changed(
        "\"deviation\", mm = 0.03",
        "\"jump\", x = 1, z = 1",
        "my.toml:9: motion.corner with rule \"jump\" lacks the required keys y, e",
    );
}

#[test]
fn unknown_keys_are_named() {
    let table = r#"
[queue]\nblock = 16 => 12: queue.block = 16: no such key; did you mean queue.blocks?
[queue]\nblo = 16 => 12: queue.blo = 16: no such key; allowed here: lines, blocks, restart_blocks, restart_wait_ms, low_water, stretch_ms
[queue]\nblokcs = 16 => 12: queue.blokcs = 16: no such key; did you mean queue.blocks?
[queu]\nblocks = 16 => 11: queu: no such key; did you mean queue?
[[chores]]\nus = 1 => 11: chores: no such key; did you mean chore?
[[chore]]\nevry_s = 1 => 12: chore.0.evry_s = 1: no such key; did you mean chore.0.every_s?
[loop]\nstretch_ms = 1 => 12: loop.stretch_ms = 1: no such key; did you mean queue.stretch_ms?
[save]\nm = 1 => 12: save.m = 1: no such key; did you mean save.ms?
[save]\nzebra = 1 => 12: save.zebra = 1: no such key; allowed here: when, every, ms, stop_first, reread
[save]\nzebra = 1\nant = 1 => 12: save.zebra = 1: no such key; allowed here: when, every, ms, stop_first, reread
"#;
    for [extra, expected] in rows(table) {
        check_extra(&extra, &format!("my.toml:{expected}"));
    }
    check_extra(
        "[save]\n\"a\\nb\" = 1",
        "my.toml:12: save.a\\nb = 1: no such key; \
         allowed here: when, every, ms, stop_first, reread",
    );
    check_changed(
        "e = 93",
        "e = 93, a = 1",
        "my.toml:10: motion.steps_per_mm.a = 1: no such key; allowed here: x, y, z, e",
    );
}

#[test]
fn what_is_not_toml_is_told_in_one_line() {
    check_extra(
        "[queue\n",
        "my.toml:11: not TOML: unclosed table, expected `]`",
    );
    check_extra(
        "[link]\n",
        "my.toml:11: not TOML: the key `link` stands there twice",
    );
    for text in [
        "a = ",
        "a = \"\nb",
        "=",
        "\u{0}",
        "[[[",
        "a = {\n",
        "a = off",
        "\u{feff}\u{feff}",
    ] {
        let message = read(text, &[]).unwrap_err();
        assert!(message.starts_with("my.toml:"), "{message:?}");
        assert!(
            message.contains(": not TOML: ") && !message.contains('\n'),
            "{message:?}"
        );
    }
    let deep = "a.".repeat(100_000);
    assert!(read(&format!("{deep}a = 1"), &[]).is_err());
}

#[test]
fn line_ends_and_marks_do_not_shift_lines() {
    let text = format!("\u{feff}{LEAST}[queue]\n# a comment\n\nblocks = 1\n").replace('\n', "\r\n");
    check_error(
        &text,
        "my.toml:14: queue.blocks = 1: must be a whole number from 2 to 1000000",
    );
    let inline = format!("{LEAST}[loop]\nline_us = 1\n[queue]\nblocks\n= 1");
    assert!(
        read(&inline, &[])
            .unwrap_err()
            .starts_with("my.toml:14: not TOML")
    );
    let spread = LEAST.replace(
        "{ print = 1000, travel = 1500, retract = 2000 }",
        "{\n  print = 1000,\n  travel = 0,\n  retract = 2000\n}",
    );
    assert!(
        read(&spread, &[])
            .unwrap_err()
            .starts_with("my.toml:10: motion.accel.travel = 0: ")
    );
}

#[test]
fn overrides_are_checked() {
    let table = r#"
queue.blocks=1 => --set queue.blocks=1: must be a whole number from 2 to 1000000
queue.blocks=many => --set queue.blocks=many: must be a whole number from 2 to 1000000
queue.blocks= => --set queue.blocks=: must be a whole number from 2 to 1000000
queue.block=3 => --set queue.block=3: no such key; did you mean queue.blocks?
quue.blocks=3 => --set quue.blocks=3: quue: no such key; did you mean queue?
queue={ blocks = 1 } => --set queue={ blocks = 1 }: queue.blocks = 1: must be a whole number from 2 to 1000000
queue=3 => --set queue=3: must be a table
queue.restart_blocks=17 => --set queue.restart_blocks=17: must be a whole number from 1 to queue.blocks = 16
name.x=1 => --set name.x=1: name is a single value, nothing lies below it
chore.display.us=5 => --set chore.display.us=5: no chore display; this board has none
chore=1 => --set chore=1: must be a list of at most 1000 tables
chore=[1] => --set chore=[1]: chore.0 = 1: must be a table
link.hiccup_ms={ median = 40, p99 = 20 } => --set link.hiccup_ms={ median = 40, p99 = 20 }: link.hiccup_ms.p99 = 20: must be from 1 to 1e6 times the median = 40
link.kind=serial => my.toml:2: link of kind "serial" lacks the required keys reply_ms, baud (or bytes_per_s)
save.when=layer => --set save.when=layer: save with when other than "off" lacks the required key ms
queue.blocks => --set queue.blocks: must be KEY=VALUE, as in queue.blocks=32
=3 => --set =3: must be KEY=VALUE, as in queue.blocks=32
name.2.3.4.5.6.7.8=1 => --set name.2.3.4.5.6.7.8=1: name is a single value, nothing lies below it
name.2.3.4.5.6.7.8.9=1 => --set name.2.3.4.5.6.7.8.9=1: must be KEY=VALUE, as in queue.blocks=32
queue..blocks=3 => --set queue..blocks=3: must be KEY=VALUE, as in queue.blocks=32
"#;
    for [set, expected] in rows(table) {
        check_set(&set, &expected);
    }
    let text = format!("{LEAST}[[chore]]\nname = \"fan\"\n[[chore]]\nname = \"fan\"\n");
    let refuse = |set, expected: &str| assert_eq!(read(&text, &[set]).unwrap_err(), expected);
    refuse(
        "chore.sun.us=5",
        "--set chore.sun.us=5: no chore sun; this board has fan, fan",
    );
    refuse(
        "chore.2.us=5",
        "--set chore.2.us=5: no chore 2; this board has fan, fan",
    );
    refuse(
        "chore.fan.us=5",
        "--set chore.fan.us=5: more than one chore is named fan; use its index",
    );
    refuse("chore.0=nan", "--set chore.0=nan: must be a table");
    refuse(
        "chore.1.us=-5",
        "--set chore.1.us=-5: must be a number of us from 0 to 1e12",
    );
}
