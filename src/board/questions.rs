//! Questions about a printer in plain words, and the built-in board that is nearest to the answers.
//!
//! What the boards' numbers are, and that they are typical only, stands in their files.

use std::collections::BTreeMap;

use serde::Serialize;

/// One of the answers to a question.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
pub struct Choice {
    /// Its name.
    pub id: &'static str,
    /// What one says.
    pub say: &'static str,
}

/// A question.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
pub struct Question {
    /// Its name.
    pub id: &'static str,
    /// What is asked.
    pub ask: &'static str,
    /// What can be answered; the first is taken where nothing is.
    pub choices: &'static [Choice],
}

/// The answer of those who don't know.
const UNKNOWN: &str = "unknown";

const fn choice(id: &'static str, say: &'static str) -> Choice {
    Choice { id, say }
}

/// All questions, in the order in which they are asked.
pub const QUESTIONS: [Question; 5] = [
    Question {
        id: "controller",
        ask: "How old is the printer's controller?",
        choices: &[
            choice(UNKNOWN, "I don't know"),
            choice(
                "8bit",
                "Older: an 8-bit board, as most printers had until about 2019",
            ),
            choice("32bit", "Newer: a 32-bit board, often with quiet motors"),
        ],
    },
    Question {
        id: "feed",
        ask: "What feeds the print to it?",
        choices: &[
            choice(UNKNOWN, "I don't know"),
            choice("card", "A memory card or a memory stick in the printer"),
            choice("cable", "A computer, over a cable, all the while it prints"),
        ],
    },
    Question {
        id: "speed",
        ask: "If it is a cable: which speed (baud rate) is set in the computer's program?",
        choices: &[
            choice(UNKNOWN, "I don't know, or there is no cable"),
            choice("115200", "115200"),
            choice("250000", "250000"),
            choice(
                "direct",
                "None: the controller itself speaks USB, and the rate does not matter",
            ),
        ],
    },
    Question {
        id: "saves",
        ask: "After a power cut, does it offer to go on with the print? If so, how often does it save its place?",
        choices: &[
            choice(UNKNOWN, "I don't know"),
            choice("off", "It does not, or that is switched off"),
            choice("layer", "It does: it saves at each layer"),
            choice("1", "It does: it saves about each second"),
            choice("5", "It does: it saves every few seconds"),
            choice("often", "It does, and I don't know how often"),
        ],
    },
    Question {
        id: "motors",
        ask: "When the head moves along x alone, how many motors turn?",
        choices: &[
            choice(UNKNOWN, "I don't know"),
            choice("one", "One"),
            choice("two", "Two: one belt system moves the head in x and y"),
        ],
    },
];

/// The nearest board, and what to change in it.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Nearest {
    /// The name of a built-in board.
    pub name: &'static str,
    /// Keys to change, as `KEY=VALUE`.
    pub sets: Vec<String>,
    /// Why this one, in plain words.
    pub why: String,
}

/// The board that is nearest to the answers, given by the names of questions and choices. A question without an
/// answer counts as one whose answer is not known.
///
/// # Errors
/// Where a question or a choice is not one of ours.
pub fn nearest(answers: &BTreeMap<String, String>) -> Result<Nearest, String> {
    for (id, answer) in answers {
        let Some(question) = QUESTIONS.iter().find(|q| q.id == id) else {
            let known: Vec<&str> = QUESTIONS.iter().map(|q| q.id).collect();
            return Err(format!("{id}: must be one of {}", known.join(", ")));
        };
        if !question.choices.iter().any(|c| c.id == answer) {
            let known: Vec<&str> = question.choices.iter().map(|c| c.id).collect();
            return Err(format!(
                "{id} = {answer}: must be one of {}",
                known.join(", ")
            ));
        }
    }
    let answer = |id: &str| answers.get(id).map_or(UNKNOWN, String::as_str);
    let mut why = Vec::new();
    let old = is_old(answer, &mut why);
    let (name, mut sets) = if is_cable(answer, &mut why) {
        cable(old, answer("speed"), &mut why)
    } else {
        card(old, answer("motors") == "two", answer("saves"), &mut why)
    };
    if name != "32bit-corexy" && answer("motors") == "two" {
        sets.push("motion.layout=corexy".to_string());
        why.push("Two motors share x and y.".to_string());
    }
    why.push(
        "Its numbers are typical ones without a source: your own limits of speed and acceleration matter most, and \
         a dry run measures the rest."
            .to_string(),
    );
    Ok(Nearest {
        name,
        sets,
        why: why.join(" "),
    })
}

/// Whether it is an older controller.
fn is_old<'a>(answer: impl Fn(&str) -> &'a str, why: &mut Vec<String>) -> bool {
    let (old, say) = match (answer("controller"), answer("speed")) {
        ("8bit", _) => (true, "An older, 8-bit controller."),
        ("32bit", _) => (false, "A newer, 32-bit controller."),
        (_, "direct") => (
            false,
            "A controller that speaks USB itself, so it is taken to be a newer, 32-bit one.",
        ),
        _ => (
            true,
            "Not known how old the controller is: an older, 8-bit one is assumed, which stutters sooner.",
        ),
    };
    why.push(say.to_string());
    old
}

/// Whether lines come over a cable.
fn is_cable<'a>(answer: impl Fn(&str) -> &'a str, why: &mut Vec<String>) -> bool {
    let (cable, say) = match (answer("feed"), answer("speed")) {
        ("card", _) => (false, "It reads the job from a card."),
        ("cable", _) => (true, "A computer sends the job over a cable."),
        (_, UNKNOWN) => (false, "Not known what feeds it: a card is assumed."),
        _ => (
            true,
            "A cable has a speed, so a computer is taken to send the job.",
        ),
    };
    why.push(say.to_string());
    cable
}

/// The board at a cable of this speed. What it saves is the computer's affair.
fn cable(old: bool, speed: &str, why: &mut Vec<String>) -> (&'static str, Vec<String>) {
    let say = |why: &mut Vec<String>, what: &str| why.push(what.to_string());
    match (old, speed) {
        (true, "115200") => ("8bit-serial-115200", Vec::new()),
        (true, "250000") => ("8bit-serial-250000", Vec::new()),
        (true, "direct") => {
            say(
                why,
                "With USB of its own the line is taken to be as quick as that of the newer boards.",
            );
            (
                "8bit-serial-250000",
                vec!["link.bytes_per_s=200000".to_string()],
            )
        }
        (true, _) => {
            say(
                why,
                "Not known how fast the cable is: 115200 baud are assumed, the commonest rate.",
            );
            ("8bit-serial-115200", Vec::new())
        }
        (false, "115200" | "250000") => ("32bit-usb", vec![format!("link.baud={speed}")]),
        (false, "direct") => ("32bit-usb", Vec::new()),
        (false, _) => {
            say(
                why,
                "Not known how fast the cable is: USB of its own is assumed.",
            );
            ("32bit-usb", Vec::new())
        }
    }
}

/// The board with a card that saves so often.
fn card(
    old: bool,
    corexy: bool,
    saves: &str,
    why: &mut Vec<String>,
) -> (&'static str, Vec<String>) {
    let when = match saves {
        "off" => "It does not save its place.",
        "layer" => "It saves its place at each layer.",
        "1" => "It saves its place each second.",
        "5" => "It saves its place every 5 seconds.",
        "often" => "It saves its place: each second is assumed, the worst case.",
        _ if old => {
            "Not known whether it saves its place: it is assumed to, each second, the worst case."
        }
        _ => "Not known whether it saves its place: it is assumed to, at each layer.",
    };
    why.push(when.to_string());
    let set = |key: &str, value: &str| format!("save.{key}={value}");
    let every = |s: &str| vec![set("when", "seconds"), set("every", s)];
    // Those with saves come with what a save takes.
    let sets = match (old, saves) {
        (true, "off") => return ("8bit-card", Vec::new()),
        (true, "layer") => vec![set("when", "layer")],
        (true, "5") => vec![set("every", "5")],
        (true, _) => Vec::new(),
        (false, "off") if corexy => return ("32bit-corexy", Vec::new()),
        (false, "off") => return ("32bit-card", Vec::new()),
        (false, "1" | "often") => every("1"),
        (false, "5") => every("5"),
        (false, _) => Vec::new(),
    };
    match (old, corexy) {
        (true, _) => ("8bit-card-saves", sets),
        (false, false) => ("32bit-card-layer-saves", sets),
        (false, true) => {
            let layer = sets.is_empty().then(|| set("when", "layer"));
            let hold = set("ms", "{ min = 20, max = 40 }");
            (
                "32bit-corexy",
                layer.into_iter().chain(sets).chain([hold]).collect(),
            )
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::builtin;
    use super::super::profile::{self, Override};
    use super::super::types::{Layout, Link, SaveWhen};
    use super::*;

    fn asked(answers: &[(&str, &str)]) -> Nearest {
        let answers = answers.iter();
        let answers = answers.map(|(id, answer)| (id.to_string(), answer.to_string()));
        nearest(&answers.collect()).unwrap()
    }

    /// Whatever is answered, the board can be used, and is as it was said.
    #[test]
    fn all_answers_lead_to_a_board() {
        let counts = QUESTIONS.map(|q| q.choices.len());
        for k in 0..counts.iter().product::<usize>() {
            let mut rest = k;
            let answers: Vec<(&str, &str)> = QUESTIONS
                .iter()
                .map(|q| {
                    let choice = q.choices[rest % q.choices.len()].id;
                    rest /= q.choices.len();
                    (q.id, choice)
                })
                .collect();
            let nearest = asked(&answers);
            let sets: Vec<Override> = nearest
                .sets
                .iter()
                .map(|s| Override::parse(s).unwrap())
                .collect();
            let text = builtin::text(nearest.name).unwrap();
            let board = profile::parse(text, nearest.name, &sets).unwrap();
            let of = |id: &str| answers.iter().find(|a| a.0 == id).unwrap().1;
            assert_eq!(board.motion.layout == Layout::CoreXy, of("motors") == "two");
            let is_card = matches!(board.link, Link::Card(_));
            match of("feed") {
                "card" => assert!(is_card),
                "cable" => assert!(!is_card),
                _ => {}
            }
            match of("controller") {
                "8bit" => assert!(nearest.name.starts_with("8bit")),
                "32bit" => assert!(nearest.name.starts_with("32bit")),
                _ => {}
            }
            if is_card {
                match of("saves") {
                    "off" => assert_eq!(board.save.when, SaveWhen::Off),
                    "layer" => assert_eq!(board.save.when, SaveWhen::Layer),
                    "5" => assert_eq!(board.save.when, SaveWhen::Seconds(5.0)),
                    "1" | "often" => assert_eq!(board.save.when, SaveWhen::Seconds(1.0)),
                    _ => assert_ne!(board.save.when, SaveWhen::Off),
                }
                let holds = !board.save.hold.is_zero();
                assert!(holds || board.save.when == SaveWhen::Off, "{nearest:?}");
            }
            if let Link::Serial(serial) = &board.link
                && let Ok(baud) = of("speed").parse::<f64>()
            {
                assert_eq!(serial.bytes_per_s, baud / 10.0);
            }
        }
    }

    /// Each built-in board is somebody's nearest, as it stands.
    #[test]
    fn each_board_is_an_answer() {
        let saves = ("saves", "off");
        let (old, new) = (("controller", "8bit"), ("controller", "32bit"));
        for (answers, name) in [
            (vec![old, ("feed", "card"), saves], "8bit-card"),
            (vec![], "8bit-card-saves"),
            (vec![old, ("feed", "cable")], "8bit-serial-115200"),
            (vec![old, ("speed", "250000")], "8bit-serial-250000"),
            (vec![new, saves], "32bit-card"),
            (vec![new, ("saves", "layer")], "32bit-card-layer-saves"),
            (vec![new, ("feed", "cable")], "32bit-usb"),
            (vec![new, saves, ("motors", "two")], "32bit-corexy"),
        ] {
            let nearest = asked(&answers);
            assert_eq!((nearest.name, nearest.sets), (name, vec![]), "{answers:?}");
        }
    }

    #[test]
    fn what_was_not_asked_is_refused() {
        let of = |id: &str, answer: &str| nearest(&[(id.to_string(), answer.to_string())].into());
        let colour = of("colour", "red").unwrap_err();
        assert_eq!(
            colour,
            "colour: must be one of controller, feed, speed, saves, motors"
        );
        let feed = of("feed", "stick").unwrap_err();
        assert_eq!(feed, "feed = stick: must be one of unknown, card, cable");
    }
}
