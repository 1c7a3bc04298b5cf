//! The main loop ([model section 4](crate::model#4-the-main-loops-work)): chores, fetch, save, decode, plan.
//!
//! One loop drives everything. Time passes only in `pass_wall` and `compute`,
//! which also move the head. At one instant, in this order: a block's end and the start of its
//! follower; all that the main loop does in zero time; a start from rest.

use std::collections::VecDeque;

use crate::board::types::{Board, ReplyWhen};
use crate::motion::path::Block;

use super::cause::Setup;
use super::duties::{Chores, NoProgress, Saves, SlowBlock};
use super::feed::{Feed, Fetch};
use super::head::Head;
use super::world::{Cause, Line, Totals, Work, World};

/// Replays a job on a board, or on what is left of one.
pub fn run<W: World>(setup: &Setup, seed: u64, world: &mut W) -> Result<Totals, NoProgress> {
    let mut replay = Replay::new(setup, seed, world);
    replay.main_loop()?;
    Ok(replay.finish())
}

struct Replay<'a, W> {
    board: &'a Board,
    world: &'a mut W,
    now_s: f64,
    head: Head,
    feed: Feed,
    /// The job's next line, not yet on its way.
    next: Option<Line>,
    /// Blocks of lines that are on their way or wait, oldest first.
    blocks: VecDeque<Block>,
    commands: VecDeque<Line>,
    room_blocks: usize,
    chores: Chores,
    saves: Saves,
    draining: bool,
    stopped: bool,
    stop_s: f64,
    stop_wait_s: f64,
    last_stop_end_s: f64,
    /// Time spent by cause since the last insertion, s.
    spent_s: [f64; 6],
}

impl<'a, W: World> Replay<'a, W> {
    fn new(setup: &'a Setup, seed: u64, world: &'a mut W) -> Self {
        let board = &setup.board;
        let mut blocks = VecDeque::new();
        let next = world.next_line(&mut blocks);
        Replay {
            board,
            now_s: 0.0,
            head: Head::new(&board.queue, &board.costs),
            feed: Feed::of(setup, seed),
            next,
            blocks,
            commands: VecDeque::new(),
            room_blocks: setup.room_blocks,
            chores: Chores::new(board, seed, setup.chore_runs_max),
            saves: Saves::new(&board.save, seed),
            draining: false,
            stopped: false,
            stop_s: 0.0,
            stop_wait_s: 0.0,
            last_stop_end_s: 0.0,
            spent_s: [0.0; 6],
            world,
        }
    }

    /// Terminates: each round takes a line of the job, or makes a save (none is due before a line has been taken), or
    /// sleeps until a line arrives or a chore is due. A host's polls are never sent twice in a row, so there are
    /// at most as many as lines; chores are bounded by their number (`duties.rs`).
    fn main_loop(&mut self) -> Result<(), NoProgress> {
        loop {
            self.run_chores()?;
            while self.commands.len() < self.board.queue.lines && self.fetch_one() {}
            if self.saves.is_due(self.now_s, self.commands.front()) {
                self.save()?;
                continue;
            }
            let Some(line) = self.commands.pop_front() else {
                if self.next.is_none() && !self.is_on_its_way() {
                    self.stopped = true;
                    return Ok(());
                }
                let wake_s = self.next_arrival_s().min(self.chores.next_s);
                self.sleep(wake_s, Cause::Link);
                continue;
            };
            self.work_off(&line)?;
            if let Feed::Serial(serial) = &mut self.feed {
                serial.answer(ReplyWhen::Finished, self.now_s, &line);
            }
        }
    }

    /// Terminates: each round starts or ends a block, since a head that is hurried starts at once.
    fn finish(mut self) -> Totals {
        while self.head.queued() > 0 {
            if self.head.moves() {
                self.end_block();
            } else {
                self.start_if_due();
            }
        }
        self.head.finish();
        Totals {
            replay_s: self.head.last_end_s.max(self.last_stop_end_s),
            moving_s: self.head.moving_s,
            gap_s: self.head.gap_s,
            start_up_s: self.head.start_up_s,
            stop_s: self.stop_s,
            stop_wait_s: self.stop_wait_s,
            blocks: self.head.started,
            saves: self.saves.made,
            chores: self.chores.runs,
        }
    }

    // Time.

    /// A start from rest that is due now or was due before.
    #[inline]
    fn start_if_due(&mut self) {
        if !self.head.moves()
            && self.head.start_s(self.now_s, self.draining || self.stopped) <= self.now_s
        {
            self.start_block();
        }
    }

    // One copy of each: what a block's start sets going is put in line there.

    #[inline(never)]
    fn start_block(&mut self) {
        self.bring_back();
        if let Some(ran) = self.head.start(self.now_s) {
            self.world.ran(&ran);
        }
    }

    #[inline(never)]
    fn end_block(&mut self) {
        self.now_s = self.head.end_s;
        self.bring_back();
        if let Some(ran) = self.head.end() {
            self.world.ran(&ran);
        }
    }

    /// Lets the clock run to `until_s`, `span_s` from now. Terminates: each round ends a block or starts one, and none
    /// comes into the queue meanwhile.
    fn pass_wall(&mut self, span_s: f64, until_s: f64) {
        if span_s <= 0.0 {
            return;
        }
        self.start_if_due();
        loop {
            if self.head.moves() {
                if self.head.end_s > until_s {
                    break;
                }
                self.end_block();
            } else {
                // Were it hurried, it would have started.
                let start_s = self.head.start_s(self.now_s, false);
                if start_s >= until_s {
                    break;
                }
                self.now_s = self.now_s.max(start_s);
                self.start_if_due();
            }
        }
        self.now_s = until_s;
    }

    /// Holds the main loop for a span of wall time, s.
    #[inline]
    fn hold(&mut self, span_s: f64, cause: Cause) {
        if span_s <= 0.0 {
            return;
        }
        self.spent_s[cause as usize] += span_s;
        let began_s = self.now_s;
        self.pass_wall(span_s, began_s + span_s);
        self.world.spent(cause, began_s, self.now_s);
    }

    /// Waits for a moment. What is waited for in vain counts for `cause`.
    fn sleep(&mut self, until_s: f64, cause: Cause) {
        assert!(until_s.is_finite(), "the main loop sleeps for ever");
        let span_s = until_s - self.now_s;
        if span_s > 0.0 {
            self.spent_s[cause as usize] += span_s;
            let began_s = self.now_s;
            self.pass_wall(span_s, until_s);
            self.world.spent(cause, began_s, self.now_s);
        }
        // A block may be shorter than the clock can tell.
        while self.head.end_s <= self.now_s {
            self.end_block();
        }
    }

    /// Does CPU work, slowed by the steps of the executing block. Terminates as `pass_wall` does; steps never take
    /// all of the processor.
    #[inline]
    fn compute(&mut self, mut work_s: f64, cause: Cause) {
        if work_s <= 0.0 {
            return;
        }
        let began_s = self.now_s;
        self.start_if_due();
        loop {
            let done_s = self.now_s + work_s / self.head.cpu_rate;
            if self.head.moves() {
                if self.head.end_s > done_s {
                    self.now_s = done_s;
                    break;
                }
                work_s = (work_s - (self.head.end_s - self.now_s) * self.head.cpu_rate).max(0.0);
                self.end_block();
            } else {
                // Were it hurried, it would have started.
                let start_s = self.head.start_s(self.now_s, false);
                if start_s >= done_s {
                    self.now_s = done_s;
                    break;
                }
                work_s = (work_s - (start_s - self.now_s).max(0.0)).max(0.0);
                self.now_s = self.now_s.max(start_s);
                self.start_if_due();
            }
        }
        self.spent_s[cause as usize] += self.now_s - began_s;
        self.world.spent(cause, began_s, self.now_s);
    }

    // Chores.

    /// Runs each chore that is due, in file order; tells whether one ran. Terminates: each is run once at most.
    fn run_chores(&mut self) -> Result<bool, NoProgress> {
        if self.now_s < self.chores.next_s {
            return Ok(false);
        }
        let mut from = 0;
        while let Some(i) = self.chores.first_due(from, self.now_s) {
            let work_s = self
                .chores
                .start(i, self.now_s)
                .map_err(|no_progress| self.why_so_long(no_progress))?;
            self.compute(work_s, Cause::Chore);
            from = i + 1;
        }
        Ok(true)
    }

    /// Adds the block that the head is at, if that is what takes so long.
    #[cold]
    fn why_so_long(&self, no_progress: NoProgress) -> NoProgress {
        let slow = self.head.executing();
        let slow = slow.filter(|(duration_s, speed)| SlowBlock::is_slow(*duration_s, *speed));
        NoProgress {
            slow: slow.map(|(duration_s, nominal_mm_s)| SlowBlock {
                line: self.world.line_of(self.head.started - 1),
                duration_s,
                nominal_mm_s,
            }),
            ..no_progress
        }
    }

    // Lines.

    /// Takes the job's next line; written in place, since it is large.
    #[inline(never)]
    fn pull(world: &mut W, blocks: &mut VecDeque<Block>, next: &mut Option<Line>) {
        *next = world.next_line(blocks);
    }

    fn is_on_its_way(&self) -> bool {
        matches!(&self.feed, Feed::Serial(serial) if serial.has_sent())
    }

    #[inline]
    fn send(&mut self) {
        if let Feed::Serial(serial) = &mut self.feed
            && serial.may_send(self.now_s)
        {
            let (world, blocks) = (&mut *self.world, &mut self.blocks);
            let pull = |next: &mut Option<Line>| Self::pull(world, blocks, next);
            serial.send(self.now_s, &mut self.next, pull);
        }
    }

    fn next_arrival_s(&mut self) -> f64 {
        self.send();
        match &mut self.feed {
            Feed::Serial(serial) => serial.next_arrival_s(&self.next),
            _ => f64::INFINITY,
        }
    }

    /// Moves one line into the command queue, if one can be had. It stands there at once: nobody looks
    /// until its fetch has ended.
    fn fetch_one(&mut self) -> bool {
        self.send();
        let cost = match &mut self.feed {
            Feed::Serial(serial) => match serial.take(self.now_s) {
                Some(line) => {
                    self.commands.push_back(line);
                    Fetch::of(serial.bytes(&line))
                }
                None => return false,
            },
            at_hand => {
                let Some(line) = &self.next else { return false };
                self.commands.push_back(*line);
                let cost = match at_hand {
                    Feed::Card(card) => card.fetch(line),
                    _ => Fetch::of(f64::from(line.command_bytes)),
                };
                Self::pull(self.world, &mut self.blocks, &mut self.next);
                cost
            }
        };
        self.hold(cost.sectors_s, Cause::Link);
        self.hold(cost.hiccups_s, Cause::Hiccup);
        self.compute(self.board.costs.byte_s * cost.bytes, Cause::Compute);
        if let (Feed::Serial(serial), Some(line)) = (&mut self.feed, self.commands.back()) {
            serial.answer(ReplyWhen::Received, self.now_s, line);
        }
        true
    }

    fn can_fetch(&mut self) -> bool {
        if self.commands.len() >= self.board.queue.lines {
            return false;
        }
        self.send();
        match &self.feed {
            Feed::Serial(serial) => serial.has_arrived(self.now_s),
            _ => self.next.is_some(),
        }
    }

    /// Works off one line of the command queue.
    fn work_off(&mut self, line: &Line) -> Result<(), NoProgress> {
        let costs = self.board.costs;
        if line.work != Work::Poll {
            self.saves.taken(line);
        }
        self.compute(costs.line_s, Cause::Compute);
        match line.work {
            Work::Nothing | Work::Poll => {}
            Work::Blocks { count, arc } => {
                for _ in 0..count {
                    if arc {
                        self.compute(costs.chord_s, Cause::Compute);
                    }
                    self.wait_for_room()?;
                    let looked_at = self.head.waiting().min(self.board.queue.blocks - 1) + 1;
                    self.compute(
                        costs.block_s + costs.pass_s * looked_at as f64,
                        Cause::Compute,
                    );
                    self.insert();
                }
            }
            Work::Stop(own_s) => {
                let drain_s = self.now_s;
                self.drain()?;
                let start_s = self.now_s;
                self.pass_wall(own_s, start_s + own_s);
                self.stop_wait_s += self.head.stopped(drain_s, start_s, self.now_s);
                self.stop_s += self.now_s - start_s;
                self.last_stop_end_s = self.now_s;
                self.spent_s = [0.0; 6];
                self.world.stopped(start_s, self.now_s);
            }
        }
        Ok(())
    }

    /// Brings spilled blocks back until none that is still away matters for the next one to start. Terminates: each
    /// round brings one back.
    #[inline]
    fn bring_back(&mut self) {
        while let Some(number) = self.head.wanted() {
            let block = self.world.block_again(number);
            self.head
                .bring_back(&block.expect("it was asked for before it was spilled"));
        }
    }

    fn insert(&mut self) {
        let Some(block) = self.blocks.pop_front() else {
            return;
        };
        if self.room_blocks == usize::MAX
            && self.head.spills()
            && self.world.block_again(self.head.next_number()).is_some()
        {
            self.head.spill();
            self.world.inserted(self.now_s);
            self.spent_s = [0.0; 6];
            return;
        }
        let (mut late_by, mut late_s) = (Cause::Depth as usize, 0.0);
        for (cause, spent_s) in self.spent_s.iter().enumerate() {
            if *spent_s > late_s {
                (late_by, late_s) = (cause, *spent_s);
            }
        }
        let late_by = Cause::ALL[late_by];
        self.head.insert(self.now_s, &block, late_by, late_s);
        self.world.inserted(self.now_s);
        self.spent_s = [0.0; 6];
    }

    // Waiting.

    fn wait_for_room(&mut self) -> Result<(), NoProgress> {
        while self.head.queued() >= self.room_blocks {
            self.idle_once()?;
        }
        Ok(())
    }

    fn drain(&mut self) -> Result<(), NoProgress> {
        self.draining = true;
        while self.head.queued() > 0 {
            self.idle_once()?;
        }
        self.draining = false;
        Ok(())
    }

    /// One round of the waiting loops: chores; else a line; else sleep. The loops terminate: chores are numbered, lines
    /// and blocks are those of the job, and a sleep ends with one of the three: the clock reaches the end of a
    /// block, which leaves the queue, or an arrival or a chore, which the next round takes.
    fn idle_once(&mut self) -> Result<(), NoProgress> {
        if self.run_chores()? {
            return Ok(());
        }
        if self.can_fetch() {
            self.fetch_one();
            return Ok(());
        }
        self.start_if_due();
        let arrival_s = if self.commands.len() < self.board.queue.lines {
            self.next_arrival_s()
        } else {
            f64::INFINITY
        };
        self.sleep(
            self.head.end_s.min(arrival_s).min(self.chores.next_s),
            Cause::Depth,
        );
        Ok(())
    }

    // Saves.

    fn save(&mut self) -> Result<(), NoProgress> {
        if self.board.save.stop_first {
            self.drain()?;
        }
        let hold_s = self.saves.hold_s();
        self.hold(hold_s, Cause::Save);
        self.saves.done(self.now_s);
        if self.board.save.reread
            && let Feed::Card(card) = &mut self.feed
        {
            card.lose_sector();
        }
        Ok(())
    }
}
