//! How lines reach the command queue: a card, a serial line, or all at hand
//! ([model sections 4.2](crate::model#4-the-main-loops-work) and [5](crate::model#5-serial-link)).

use std::cmp::Reverse;
use std::collections::{BinaryHeap, VecDeque};

use crate::board::types::{Card, Link, ReplyWhen, Serial};

use super::cause::Setup;
use super::luck::Stream;
use super::world::{Line, Work};

/// Bytes of a card's sector.
const SECTOR_BYTES: u64 = 512;

/// What it costs to fetch a line.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Fetch {
    /// Wall time of sectors and chains, s.
    pub sectors_s: f64,
    /// Wall time of hiccups, s.
    pub hiccups_s: f64,
    /// Bytes that the processor takes in.
    pub bytes: f64,
}

impl Fetch {
    /// No wait, only so many bytes.
    #[inline]
    pub fn of(bytes: f64) -> Self {
        Fetch {
            bytes,
            ..Fetch::default()
        }
    }
}

/// The link, with what is on its way.
#[derive(Debug)]
pub enum Feed {
    /// A card.
    Card(CardFeed),
    /// A serial line.
    Serial(SerialFeed),
    /// No link to wait for: every line is there at t = 0.
    AtHand,
}

impl Feed {
    /// The link of this setup, before anything has been read.
    pub fn of(setup: &Setup, seed: u64) -> Self {
        if setup.at_hand {
            Feed::AtHand
        } else {
            Feed::new(&setup.board.link, seed)
        }
    }

    /// The link before anything has been read.
    pub fn new(link: &Link, seed: u64) -> Self {
        match link {
            Link::Card(card) => Feed::Card(CardFeed {
                card: card.clone(),
                read_to: 0,
                reread: false,
                sectors: Stream::new(seed, "sector"),
                hiccup_chance: Stream::new(seed, "hiccup_chance"),
                hiccups: Stream::new(seed, "hiccup"),
            }),
            Link::Serial(serial) => Feed::Serial(SerialFeed {
                serial: serial.clone(),
                wire_free_s: 0.0,
                start_s: 0.0,
                unanswered: 0,
                answers: BinaryHeap::new(),
                sent: VecDeque::new(),
                poll_due_s: if serial.poll_s > 0.0 {
                    serial.poll_s
                } else {
                    f64::INFINITY
                },
                last_was_poll: false,
                polls: 0,
                replies: Stream::new(seed, "reply"),
                poll_replies: Stream::new(seed, "poll_reply"),
                resends: Stream::new(seed, "resend"),
            }),
        }
    }
}

/// A card's state.
#[derive(Debug)]
pub struct CardFeed {
    card: Card,
    /// Sectors read so far; the last of them is the current one.
    read_to: u64,
    reread: bool,
    sectors: Stream,
    hiccup_chance: Stream,
    hiccups: Stream,
}

impl CardFeed {
    /// The current sector must be read again.
    pub fn lose_sector(&mut self) {
        self.reread = self.read_to > 0;
    }

    /// What it costs to fetch this line, the next of the job.
    ///
    /// Terminates: each round reads a sector of the job.
    #[inline]
    pub fn fetch(&mut self, line: &Line) -> Fetch {
        let mut cost = Fetch::of(f64::from(line.raw_bytes));
        if self.reread {
            self.reread = false;
            cost.sectors_s += self.sectors.draw_s(&self.card.sector, self.read_to - 1);
        }
        let needed = line.end_byte.div_ceil(SECTOR_BYTES);
        while self.read_to < needed {
            let sector = self.read_to;
            self.read_to += 1;
            cost.sectors_s += self.sectors.draw_s(&self.card.sector, sector);
            if sector > 0 && sector.is_multiple_of(2 * u64::from(self.card.cluster_kib)) {
                cost.sectors_s += self.card.chain_s;
            }
            if self.hiccup_chance.happens(self.card.hiccup_chance, sector) {
                cost.hiccups_s += self.hiccups.draw_s(&self.card.hiccup, sector);
            }
        }
        cost
    }
}

/// A moment, ordered.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Moment(f64);

impl Eq for Moment {}

impl PartialOrd for Moment {
    fn partial_cmp(&self, other: &Self) -> Option<std::cmp::Ordering> {
        Some(self.cmp(other))
    }
}

impl Ord for Moment {
    fn cmp(&self, other: &Self) -> std::cmp::Ordering {
        self.0.total_cmp(&other.0)
    }
}

/// A serial line's state: the host, the wire, and the lines that have arrived.
#[derive(Debug)]
pub struct SerialFeed {
    serial: Serial,
    /// When the wire is free for another line, s.
    wire_free_s: f64,
    /// When the host may start its next line, as far as is known, s.
    start_s: f64,
    /// Lines sent and not known to be answered.
    unanswered: usize,
    /// When answers on their way reach the host.
    answers: BinaryHeap<Reverse<Moment>>,
    /// Lines sent, with the moment they arrive.
    sent: VecDeque<(f64, Line)>,
    poll_due_s: f64,
    last_was_poll: bool,
    polls: u64,
    replies: Stream,
    poll_replies: Stream,
    resends: Stream,
}

impl SerialFeed {
    /// Finds out when the host may start its next line, as far as is known.
    fn find_start(&mut self) {
        self.start_s = if self.unanswered < self.serial.in_flight {
            self.wire_free_s
        } else {
            match self.answers.peek() {
                Some(Reverse(Moment(answer_s))) => self.wire_free_s.max(*answer_s),
                None => f64::INFINITY,
            }
        };
    }

    fn polls_at(&self, start_s: f64) -> bool {
        start_s >= self.poll_due_s && !self.last_was_poll
    }

    /// When a line sent from `start_s` on has arrived whole, s.
    fn arrival_s(&mut self, start_s: f64, line: &Line) -> f64 {
        let wire_s =
            (f64::from(line.command_bytes) + self.serial.overhead_bytes) / self.serial.bytes_per_s;
        let once_s = start_s + wire_s;
        if self.resends.happens(self.serial.resend_chance, line.number) {
            once_s + self.replies.draw_s(&self.serial.reply, line.number) + wire_s
        } else {
            once_s
        }
    }

    fn poll_arrival_s(&self, start_s: f64) -> f64 {
        start_s + (self.serial.poll_bytes + self.serial.overhead_bytes) / self.serial.bytes_per_s
    }

    /// Whether the host may have begun to send another by `now_s`.
    #[inline]
    pub fn may_send(&self, now_s: f64) -> bool {
        self.start_s <= now_s
    }

    /// Sends all that the host has begun to send by `now_s`. Terminates: each round sends a line of the job, or a poll,
    /// of which there are never two in a row.
    pub fn send(
        &mut self,
        now_s: f64,
        next: &mut Option<Line>,
        mut pull: impl FnMut(&mut Option<Line>),
    ) {
        while self.may_send(now_s)
            && let Some(line) = next
        {
            let start_s = self.start_s;
            if self.unanswered < self.serial.in_flight {
                self.unanswered += 1;
            } else {
                self.answers.pop();
            }
            let (arrival_s, line) = if self.polls_at(start_s) {
                let poll = poll(self.polls);
                self.poll_due_s = start_s + self.serial.poll_s;
                self.last_was_poll = true;
                self.polls += 1;
                (self.poll_arrival_s(start_s), poll)
            } else {
                self.last_was_poll = false;
                let sent = (self.arrival_s(start_s, line), *line);
                pull(next);
                sent
            };
            self.wire_free_s = arrival_s;
            self.sent.push_back((arrival_s, line));
            self.find_start();
        }
    }

    /// When the next line arrives if no further answer leaves, s.
    pub fn next_arrival_s(&mut self, next: &Option<Line>) -> f64 {
        if let Some((arrival_s, _)) = self.sent.front() {
            return *arrival_s;
        }
        let start_s = self.start_s;
        match next {
            Some(line) => {
                if self.polls_at(start_s) {
                    self.poll_arrival_s(start_s)
                } else {
                    self.arrival_s(start_s, line)
                }
            }
            None => f64::INFINITY,
        }
    }

    /// Takes the oldest line that has arrived by `now_s`.
    pub fn take(&mut self, now_s: f64) -> Option<Line> {
        self.has_arrived(now_s)
            .then(|| self.sent.pop_front())?
            .map(|(_, line)| line)
    }

    /// Bytes of a line that the processor takes in.
    pub fn bytes(&self, line: &Line) -> f64 {
        match line.work {
            Work::Poll => self.serial.poll_bytes,
            _ => f64::from(line.command_bytes),
        }
    }

    /// Whether lines are on the wire or waiting to be fetched.
    pub fn has_sent(&self) -> bool {
        !self.sent.is_empty()
    }

    /// Whether one has arrived by `now_s`.
    pub fn has_arrived(&self, now_s: f64) -> bool {
        self.sent
            .front()
            .is_some_and(|(arrival_s, _)| *arrival_s <= now_s)
    }

    /// The answer to `line` leaves at `now_s`, if this is what makes it leave.
    pub fn answer(&mut self, when: ReplyWhen, now_s: f64, line: &Line) {
        if when != self.serial.reply_when {
            return;
        }
        let replies = match line.work {
            Work::Poll => &mut self.poll_replies,
            _ => &mut self.replies,
        };
        let reply_s = replies.draw_s(&self.serial.reply, line.number);
        self.answers.push(Reverse(Moment(now_s + reply_s)));
        self.find_start();
    }
}

/// The host's poll of this ordinal.
fn poll(ordinal: u64) -> Line {
    Line {
        number: ordinal,
        layer: 0,
        end_byte: 0,
        raw_bytes: 0,
        command_bytes: 0,
        work: Work::Poll,
    }
}
