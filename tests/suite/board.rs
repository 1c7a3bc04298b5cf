//! Board files: what is read. What is refused is in `board_errors`.

use headstall::board::builtin;
use headstall::board::profile::{Override, parse};
use headstall::board::types::{
    Accel, Board, Card, Chore, Corner, Costs, Layout, Link, Motion, Nozzle, Queue, ReplyWhen, Save,
    SaveWhen, Serial, Span, Wait,
};

/// The least that a card board needs.
pub const LEAST: &str = r#"name = "least"
[link]
kind = "card"
sector_ms = 1.2
[motion]
speed_max = { x = 300, y = 300, z = 12, e = 60 }
accel_max = { x = 2000, y = 2000, z = 100, e = 5000 }
accel = { print = 1000, travel = 1500, retract = 2000 }
corner = { rule = "deviation", mm = 0.03 }
steps_per_mm = { x = 80, y = 80, z = 400, e = 93 }
"#;

/// Each key of the contract, with the contract's example; the serial ones with the card's.
const ALL: &str = r#"name = "bench 8-bit, card"
notes = "what it is and where its numbers come from"

[link]
kind = "card"
sector_ms = 1.2
cluster_kib = 32
chain_ms = 0.0
hiccup_chance = 0.0
hiccup_ms = { median = 40, p99 = 200 }
baud = 115200
bits_per_byte = 10
overhead_bytes = 0
reply_ms = 2.0
in_flight = 1
reply_when = "finished"
poll_s = 0
poll_bytes = 5
resend_chance = 0.0

[loop]
line_us = 0
byte_us = 0
block_us = 0
pass_us = 0
chord_us = 0
step_us = 0
load_max = 0.95

[[chore]]
name = "display"
every_s = 1.0
us = 12000

[queue]
lines = 4
blocks = 16
restart_blocks = 1
restart_wait_ms = 0
low_water = 0
stretch_ms = 0

[motion]
layout = "cartesian"
speed_max = { x = 300, y = 300, z = 12, e = 60 }
accel_max = { x = 2000, y = 2000, z = 100, e = 5000 }
accel = { print = 1000, travel = 1500, retract = 2000 }
corner = { rule = "deviation", mm = 0.03 }
steps_per_mm = { x = 80, y = 80, z = 400, e = 93 }
arc_chord_mm = 1.0

[wait]
heat_s = 0
home_s = 0
change_s = 0

[save]
when = "off"
every = 1
ms = 0
stop_first = false
reread = true

[nozzle]
filament_mm = 1.75
nozzle_mm = 0.4
lag_s = 0.05
lead_s = 0.0
"#;

/// The board, or a panic with the message.
fn board(text: &str, sets: &[&str]) -> Board {
    match read(text, sets) {
        Ok(board) => board,
        Err(message) => panic!("{message}"),
    }
}

/// The board or the error's words, with `--set` for each of `sets`.
pub fn read(text: &str, sets: &[&str]) -> Result<Board, String> {
    let sets: Result<Vec<Override>, _> = sets.iter().map(|set| Override::parse(set)).collect();
    let sets = sets.map_err(|error| error.to_string())?;
    parse(text, "my.toml", &sets).map_err(|error| error.to_string())
}

/// Overrides parted by `;` or new lines.
fn sets(text: &str) -> impl Iterator<Item = &str> {
    text.split([';', '\n'])
        .map(str::trim)
        .filter(|set| !set.is_empty())
}

#[test]
fn defaults_are_those_of_the_contract() {
    let expected = Board {
        name: "least".to_owned(),
        notes: String::new(),
        link: Link::Card(Card {
            sector: Span::Fixed(1.2 * 1e-3),
            cluster_kib: 32,
            chain_s: 0.0,
            hiccup_chance: 0.0,
            hiccup: Span::Lognormal {
                median: 0.04,
                p99: 0.2,
            },
        }),
        costs: Costs {
            line_s: 0.0,
            byte_s: 0.0,
            block_s: 0.0,
            pass_s: 0.0,
            chord_s: 0.0,
            step_s: 0.0,
            load_max: 0.95,
        },
        chores: Vec::new(),
        queue: Queue {
            lines: 4,
            blocks: 16,
            restart_blocks: 1,
            restart_wait_s: 0.0,
            low_water: 0,
            stretch_s: 0.0,
        },
        motion: Motion {
            layout: Layout::Cartesian,
            speed_max_mm_s: [300.0, 300.0, 12.0, 60.0],
            accel_max_mm_s2: [2000.0, 2000.0, 100.0, 5000.0],
            accel: Accel {
                print_mm_s2: 1000.0,
                travel_mm_s2: 1500.0,
                retract_mm_s2: 2000.0,
            },
            corner: Corner::Deviation { mm: 0.03 },
            steps_per_mm: [80.0, 80.0, 400.0, 93.0],
            arc_chord_mm: 1.0,
        },
        wait: Wait {
            heat_s: 0.0,
            home_s: 0.0,
            change_s: 0.0,
        },
        save: Save {
            when: SaveWhen::Off,
            hold: Span::ZERO,
            stop_first: false,
            reread: true,
        },
        nozzle: Nozzle {
            filament_mm: 1.75,
            nozzle_mm: 0.4,
            lag_s: 0.05,
            lead_s: 0.0,
        },
        fit: None,
    };
    assert_eq!(board(LEAST, &[]), expected);
}

#[test]
fn the_contracts_example_is_all_defaults() {
    let mut expected = board(LEAST, &[]);
    expected.name = "bench 8-bit, card".to_owned();
    expected.notes = "what it is and where its numbers come from".to_owned();
    expected.chores.push(Chore {
        name: "display".to_owned(),
        every_s: 1.0,
        work: Span::Fixed(12_000.0 * 1e-6),
    });
    assert_eq!(board(ALL, &[]), expected);
    let bare_chore = board(&format!("{LEAST}[[chore]]\n"), &[]);
    assert_eq!(bare_chore.chores, expected.chores);
}

#[test]
fn serial_defaults_are_those_of_the_contract() {
    let expected = Serial {
        bytes_per_s: 11_520.0,
        overhead_bytes: 0.0,
        reply: Span::Fixed(2.0 * 1e-3),
        in_flight: 1,
        reply_when: ReplyWhen::Finished,
        poll_s: 0.0,
        poll_bytes: 5.0,
        resend_chance: 0.0,
    };
    let text = LEAST.replace(
        "kind = \"card\"\nsector_ms = 1.2",
        "kind = \"serial\"\nbaud = 115200\nreply_ms = 2",
    );
    assert_eq!(board(&text, &[]).link, Link::Serial(expected.clone()));
    assert_eq!(
        board(ALL, &["link.kind=serial"]).link,
        Link::Serial(expected)
    );
    let Link::Serial(serial) = board(&text, &["link.bytes_per_s=90000"]).link else {
        panic!("still serial");
    };
    assert_eq!(serial.bytes_per_s, 90_000.0);
    let counted = text.replace("baud = 115200", "bytes_per_s = 90000");
    assert_eq!(board(&counted, &["link.baud=115200"]), board(&text, &[]));
}

/// No key is read and then forgotten: each, changed, changes the board.
#[test]
fn each_key_matters() {
    let card = r#"
name=other; notes=other; link.sector_ms=2; link.cluster_kib=16; link.chain_ms=1
link.hiccup_chance=0.5; link.hiccup_ms={ mean = 3 }; link.hiccup_ms.median=41
loop.line_us=1; loop.byte_us=1; loop.block_us=1; loop.pass_us=1; loop.chord_us=1
loop.step_us=1; loop.load_max=0; chore.0.name=other; chore.0.every_s=2
chore.0.us={ min = 1, max = 2 }; queue.lines=1; queue.blocks=2; queue.restart_blocks=16
queue.restart_wait_ms=1; queue.low_water=1; queue.stretch_ms=1; motion.layout=corexy
motion.speed_max.x=1; motion.speed_max.y=1; motion.speed_max.z=1; motion.speed_max.e=1
motion.accel_max.x=1; motion.accel_max.y=1; motion.accel_max.z=1; motion.accel_max.e=1
motion.accel.print=1; motion.accel.travel=1; motion.accel.retract=1; motion.corner.mm=0
motion.corner={ rule = "jump", x = 8, y = 8, z = 0.4, e = 5 }; motion.steps_per_mm.x=1
motion.steps_per_mm.y=1; motion.steps_per_mm.z=1; motion.steps_per_mm.e=1
motion.arc_chord_mm=0.5; wait.heat_s=1; wait.home_s=1; wait.change_s=1; save.when=layer
save.when=lines; save.when=seconds; save.ms=1; save.stop_first=true; save.reread=false
nozzle.filament_mm=2.85; nozzle.nozzle_mm=0.6; nozzle.lag_s=0; nozzle.lead_s=0.01
"#;
    let plain = board(ALL, &[]);
    for set in sets(card) {
        assert_ne!(board(ALL, &[set]), plain, "{set}");
    }
    let serial = r#"
link.baud=250000; link.bytes_per_s=90000; link.bits_per_byte=11; link.overhead_bytes=1
link.reply_ms=3; link.in_flight=2; link.reply_when=received; link.poll_s=1
link.poll_bytes=6; link.resend_chance=1
"#;
    let plain = board(ALL, &["link.kind=serial"]);
    for set in sets(serial) {
        assert_ne!(board(ALL, &["link.kind=serial", set]), plain, "{set}");
        assert_eq!(
            board(ALL, &[set]).link,
            board(ALL, &[]).link,
            "{set} of a card"
        );
    }
    let saves = |when| board(ALL, &[when, "save.every=7"]).save.when;
    assert_eq!(saves("save.when=seconds"), SaveWhen::Seconds(7.0));
    assert_eq!(saves("save.when=lines"), SaveWhen::Lines(7));
    assert_eq!(saves("save.when=layer"), SaveWhen::Layer);
}

#[test]
fn corner_jumps_go_by_axis() {
    let set = "motion.corner={ rule = \"jump\", x = 8, y = 7, z = 0.4, e = 0 }";
    assert_eq!(
        board(LEAST, &[set]).motion.corner,
        Corner::Jump {
            mm_s: [8.0, 7.0, 0.4, 0.0]
        }
    );
}

#[test]
fn durations_are_fixed_or_drawn() {
    let sector = |value: &str| match board(LEAST, &[&format!("link.sector_ms={value}")]).link {
        Link::Card(card) => card.sector,
        Link::Serial(_) => panic!("a card"),
    };
    assert_eq!(sector("5"), Span::Fixed(5.0 * 1e-3));
    assert_eq!(sector("0"), Span::ZERO);
    assert!(matches!(sector("-0.0"), Span::Fixed(s) if s == 0.0 && s.is_sign_positive()));
    assert_eq!(sector("0.5"), Span::Fixed(0.5 * 1e-3));
    assert_eq!(
        sector("{ min = 1, max = 2.5 }"),
        Span::Uniform {
            min: 1e-3,
            max: 2.5 * 1e-3
        }
    );
    assert_eq!(
        sector("{ max = 1, min = 1 }"),
        Span::Uniform {
            min: 1e-3,
            max: 1e-3
        }
    );
    assert_eq!(sector("{ mean = 1 }"), Span::Exponential { mean: 1e-3 });
    assert_eq!(
        sector("{ median = 1, p99 = 3 }"),
        Span::Lognormal {
            median: 1e-3,
            p99: 3.0 * 1e-3
        }
    );
    for set in ["link.reply_ms", "link.hiccup_ms", "save.ms"] {
        board(LEAST, &[&format!("{set}={{ mean = 1 }}")]);
    }
}

#[test]
fn overrides_change_single_keys() {
    let text = format!("{LEAST}[[chore]]\nname = \"display\"\n[[chore]]\nname = \"fan\"\nus = 7\n");
    let with = |sets: &[&str]| board(&text, sets);
    let work = |sets: &[&str]| -> Vec<Span> { with(sets).chores.iter().map(|c| c.work).collect() };
    let us = |us: f64| Span::Fixed(us * 1e-6);

    let spaced = Override::parse(" queue . blocks = 32.0 ").unwrap();
    assert_eq!(spaced.to_string(), "queue.blocks=32.0");
    assert_eq!(with(&["queue.blocks=32"]).queue.blocks, 32);
    assert_eq!(with(&[" queue . blocks = 32.0 "]).queue.blocks, 32);
    assert_eq!(
        with(&["queue.blocks=32", "queue.blocks=48"]).queue.blocks,
        48
    );
    assert_eq!(with(&["queue={ blocks = 8 }"]).queue.blocks, 8);
    assert_eq!(
        with(&["motion.speed_max.x=200"]).motion.speed_max_mm_s,
        [200.0, 300.0, 12.0, 60.0]
    );
    assert_eq!(with(&["name=a = b"]).name, "a = b");
    assert_eq!(with(&["name=\"8\""]).name, "8");
    assert_eq!(with(&["notes="]).notes, "");
    assert_eq!(
        with(&["save.when=lines", "save.every=20", "save.ms=3"])
            .save
            .when,
        SaveWhen::Lines(20)
    );
    assert_eq!(work(&[]), [us(12_000.0), us(7.0)]);
    assert_eq!(work(&["chore.0.us=5"]), [us(5.0), us(7.0)]);
    assert_eq!(work(&["chore.display.us=5"]), [us(5.0), us(7.0)]);
    assert_eq!(work(&["chore.fan.us=5"]), [us(12_000.0), us(5.0)]);
    assert_eq!(work(&["chore=[]"]), []);
    assert_eq!(
        work(&["chore=[{ us = 3 }]", "chore.display.us=4"]),
        [us(4.0)]
    );
    let rated = [
        "link.kind=serial",
        "link.reply_ms=1",
        "link.bytes_per_s=5",
        "link.baud=50",
    ];
    assert!(
        read(&text, &rated)
            .unwrap_err()
            .contains("link.baud; give one of them")
    );
}

#[test]
fn the_built_in_boards_are_usable() {
    assert_eq!(builtin::names().count(), 8);
    assert!(builtin::names().any(|name| name == builtin::DEFAULT));
    assert_eq!(builtin::text("no such board"), None);
    for name in builtin::names() {
        let text = builtin::text(name).unwrap();
        let board = parse(text, name, &[]).unwrap();
        assert_eq!(board.name, name);
        let first = builtin::one_line(name).unwrap();
        assert!(
            first.chars().count() <= 60 && first.ends_with('.'),
            "{first}"
        );
        assert!(board.notes.starts_with(first), "{}", board.notes);
        assert!(
            board
                .notes
                .contains("Typical values, common practice without a source")
        );
        assert!(!board.notes.contains('\n'));
        assert_eq!(
            name.contains("serial") || name.contains("usb"),
            matches!(board.link, Link::Serial(_))
        );
        assert_eq!(name.contains("saves"), board.save.when != SaveWhen::Off);
        // each can be turned into the other kind, and saves put on, by --set alone
        for sets in [
            ["link.kind=card", "save.when=layer"],
            ["link.kind=serial", "save.when=lines"],
        ] {
            let sets = sets.map(|set| Override::parse(set).unwrap());
            parse(text, name, &sets).unwrap();
        }
    }
}
