//! What is done to which walls.

/// The means that may be used.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Allow {
    /// Short moves may become fewer, longer ones.
    pub merge: bool,
    /// The feed may be lowered.
    pub pace: bool,
    /// Comments and needless decimals may go.
    pub strip: bool,
    /// Short moves may become arcs.
    pub arcs: bool,
}

impl Allow {
    /// Their names, in the order of this list.
    pub const NAMES: [&'static str; 4] = ["merge", "pace", "strip", "arcs"];

    /// All but arcs, which not every board can print.
    pub const USUAL: Allow = Allow {
        merge: true,
        pace: true,
        strip: true,
        arcs: false,
    };

    /// Reads names with commas between them.
    ///
    /// # Errors
    /// Says what is allowed where a name is none of them, or where there is none.
    pub fn parse(names: &str) -> Result<Self, String> {
        let mut allow = Allow {
            merge: false,
            pace: false,
            strip: false,
            arcs: false,
        };
        for name in names.split(',') {
            match name.trim() {
                "merge" => allow.merge = true,
                "pace" => allow.pace = true,
                "strip" => allow.strip = true,
                "arcs" => allow.arcs = true,
                other => {
                    return Err(format!(
                        "`{other}` is none of the means; allowed are {}, with commas between them",
                        Allow::NAMES.join(", ")
                    ));
                }
            }
        }
        Ok(allow)
    }

    /// The names of those allowed.
    pub fn names(&self) -> Vec<&'static str> {
        let all = [self.merge, self.pace, self.strip, self.arcs];
        let named = Allow::NAMES.iter().zip(all);
        named.filter(|(_, on)| *on).map(|(name, _)| *name).collect()
    }
}

/// What is done to walls of one kind.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Treat {
    /// Moves are joined; a block is taken to cost this from the start, s: joints whose corners cost less than the
    /// blocks that they save are made everywhere. 0: only where the queue needs them.
    pub merge: Option<f64>,
    /// Moves are joined to arcs too.
    pub arcs: bool,
    /// Comments and needless decimals go.
    pub strip: bool,
    /// The feed is lowered to this share of itself from the start; 1: it stays.
    pub pace: f64,
    /// The hold that the queue is to bridge, as a share of the longest usual one; 0: whatever it bridges is enough.
    pub bridge: f64,
    /// Whether the feed may be lowered further for that.
    pub slows: bool,
}

impl Treat {
    /// Nothing is done.
    pub const NONE: Treat = Treat {
        merge: None,
        arcs: false,
        strip: false,
        pace: 1.0,
        bridge: 0.0,
        slows: false,
    };
}

/// Walls printed at about the same commanded feed: slicing programs give each kind of wall its own.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Class(i32);

/// Feeds closer than this share are one class.
const CLASS_SHARE: f64 = 1.05;

impl Class {
    /// The class of a feed, mm/s.
    pub fn of(feed_mm_s: f64) -> Self {
        Class((feed_mm_s.max(1e-6).ln() / CLASS_SHARE.ln()).round() as i32)
    }
}

/// What is done to a job.
#[derive(Clone, Debug, PartialEq)]
pub struct Plan {
    /// How far the path may move, mm.
    pub within_mm: f64,
    /// The walls that are treated where the board may lose the pace.
    pub walls: Vec<Class>,
    /// What is done to them.
    pub treat: Treat,
    /// What is done to all other walls, wherever they are.
    pub others: Treat,
    /// The line that is put behind the job; empty: none.
    pub mark: String,
}

impl Plan {
    /// A plan that does nothing.
    pub fn none(within_mm: f64) -> Self {
        Plan {
            within_mm,
            walls: Vec::new(),
            treat: Treat::NONE,
            others: Treat::NONE,
            mark: String::new(),
        }
    }

    /// Whether it changes nothing.
    pub fn is_none(&self) -> bool {
        self.others == Treat::NONE && self.treat == Treat::NONE
    }

    /// What is done to walls of this class, where the board may lose the pace.
    pub fn of(&self, class: Class) -> Treat {
        if self.walls.contains(&class) {
            self.treat
        } else {
            self.others
        }
    }
}
