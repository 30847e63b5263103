//! A network of steps that wait for each other: how early and how late each can be, with many hands or one pair.
//!
//! In whole units, so that sums are exact and do not depend on the order in which they are made: minutes in a plan
//! (`schedule.rs`), weeks or hundredths of a day in a published example.

/// The most steps of one network.
pub const MOST: usize = 500;

/// A set of steps, a bit for each.
type Set = [u64; MOST.div_ceil(64)];

/// How many work at once.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Hands {
    /// One pair: one step after another, and none is left half done for another.
    One,
    /// Enough for every step that can go on at the same time.
    Many,
}

/// A network that cannot be planned; steps count from 0 in the order given.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum NetworkError {
    #[error("{count} jobs are more than the {MOST} that can be planned together.")]
    TooMany { count: usize },
    #[error("Job {} waits for a job that is not there.", step + 1)]
    NoSuch { step: usize, after: usize },
    /// Each waits for the next, and the last for the first.
    #[error("Jobs wait for each other in a circle: {}.", circle.iter().map(|step| (step + 1).to_string()).collect::<Vec<_>>().join(", "))]
    Circle { circle: Vec<usize> },
}

/// Steps without a circle; see [`Network::new`].
#[derive(Clone, Debug)]
pub struct Network {
    spans: Vec<i64>,
    after: Vec<Vec<usize>>,
    /// Every step behind what it waits for.
    order: Vec<usize>,
    /// What each waits for, at any remove.
    before: Vec<Set>,
    /// What waits for each, at any remove.
    behind: Vec<Set>,
}

/// When one step can and must be done, from the zero of the network.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Times {
    pub early_start: i64,
    pub early_finish: i64,
    pub late_start: i64,
    pub late_finish: i64,
    /// The latest start if all that is neither before nor behind this step were left out: no order of work saves a step
    /// that is too late by this one.
    pub late_start_alone: i64,
}

impl Times {
    /// How long the step can be put off without harm to the end; below zero: by how much it is too late.
    pub fn slack(&self) -> i64 {
        self.late_start - self.early_start
    }
}

/// A step in its place.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Turn {
    pub step: usize,
    pub start: i64,
    pub finish: i64,
}

/// What a network comes to.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Timing {
    /// One for each step, in the order given.
    pub times: Vec<Times>,
    /// The soonest way through, by start.
    pub turns: Vec<Turn>,
    /// Where the last step ends; none without steps.
    pub end: Option<i64>,
    /// The steps that make the end what it is, first to last.
    pub chain: Vec<usize>,
}

impl Network {
    /// Takes steps as their spans and what each waits for. Said twice is said once; a span below 0 counts as 0.
    ///
    /// # Errors
    /// [`NetworkError`]: more than [`MOST`] steps, a wait for a step that is not there, a circle of waits.
    pub fn new(steps: &[(i64, Vec<usize>)]) -> Result<Network, NetworkError> {
        let count = steps.len();
        if count > MOST {
            return Err(NetworkError::TooMany { count });
        }
        let mut after: Vec<Vec<usize>> = steps.iter().map(|(_, after)| after.clone()).collect();
        for (step, after) in after.iter_mut().enumerate() {
            after.sort_unstable();
            after.dedup();
            if let Some(&missing) = after.last().filter(|last| **last >= count) {
                return Err(NetworkError::NoSuch { step, after: missing });
            }
        }
        let order = in_order(&after)?;
        let mut before = vec![Set::default(); count];
        let mut behind = vec![Set::default(); count];
        for &step in &order {
            for &earlier in &after[step] {
                let more = with(before[earlier], earlier);
                before[step] = union(before[step], more);
            }
        }
        for &step in order.iter().rev() {
            let more = with(behind[step], step);
            for &earlier in &after[step] {
                behind[earlier] = union(behind[earlier], more);
            }
        }
        let spans = steps.iter().map(|(span, _)| (*span).max(0)).collect();
        Ok(Network { spans, after, order, before, behind })
    }

    /// Reckons all times. `ready` has for each step the place before which it cannot start (0 where it is missing);
    /// `deadline` is where all must be done, and without one the soonest end is.
    ///
    /// Many hands: the critical path method. Early start = the later of ready and the early finishes of what it waits for;
    /// late finish = the earlier of the deadline and the late starts of what waits for it.
    ///
    /// One pair: the soonest end is that of never idling when a step could be done, which is best where steps may not
    /// start before a given time (a lower bound that it meets: for every time t, t and the spans of all that cannot start
    /// before t). Early start = ready, or the soonest end of all it waits for at any remove. Late start = the latest with
    /// which that bound is not above the deadline: start it later and not all is done, whatever is done when.
    ///
    /// With either, all slacks are 0 or more just where the end is not after the deadline.
    ///
    /// Source: critical path method, checked against the published examples named in `tests/reference/schedule.rs`; one
    /// machine with release dates, the usual argument (any text on scheduling, from memory) and every order tried in
    /// `tests/properties/schedule.rs`.
    ///
    /// # Example: two jobs side by side, then a third
    /// ```
    /// use witnessmark::rules::critical_path::{Hands, Network};
    /// let network = Network::new(&[(3, vec![]), (5, vec![]), (2, vec![0, 1])]).unwrap();
    /// let many = network.reckon(Hands::Many, &[], None);
    /// assert_eq!((many.end, many.chain, many.times[0].slack()), (Some(7), vec![1, 2], 2));
    /// assert_eq!(network.reckon(Hands::One, &[], None).end, Some(10));
    /// ```
    pub fn reckon(&self, hands: Hands, ready: &[i64], deadline: Option<i64>) -> Timing {
        let ready: Vec<i64> = self.steps().map(|step| ready.get(step).copied().unwrap_or(0)).collect();
        let early = self.early(&ready);
        let (starts, end) = match hands {
            Hands::Many => (early.clone(), self.steps().map(|step| early[step] + self.spans[step]).max()),
            Hands::One => (self.early_in_turn(&ready, &early), self.through(&by(&early), &early)),
        };
        let deadline = deadline.or(end).unwrap_or(0);
        let (late, alone) = match hands {
            Hands::Many => (self.late(deadline), self.late(deadline)),
            Hands::One => (self.late_in_turn(deadline, &early), self.late_alone(deadline)),
        };
        let (turns, chain) = match hands {
            Hands::Many => (self.side_by_side(&early), self.critical(&ready, &early, end)),
            Hands::One => {
                let turns = self.one_by_one(&ready, &late);
                let chain = last_block(&turns);
                (turns, chain)
            }
        };
        let times = self.steps().map(|step| Times {
            early_start: starts[step],
            early_finish: starts[step] + self.spans[step],
            late_start: late[step],
            late_finish: late[step] + self.spans[step],
            late_start_alone: alone[step],
        });
        Timing { times: times.collect(), turns, end, chain }
    }

    fn steps(&self) -> std::ops::Range<usize> {
        0..self.spans.len()
    }

    fn turn(&self, step: usize, start: i64) -> Turn {
        Turn { step, start, finish: start + self.spans[step] }
    }

    fn early(&self, ready: &[i64]) -> Vec<i64> {
        let mut early = ready.to_vec();
        for &step in &self.order {
            let waits = self.after[step].iter().map(|&earlier| early[earlier] + self.spans[earlier]);
            early[step] = waits.fold(early[step], i64::max);
        }
        early
    }

    fn late(&self, deadline: i64) -> Vec<i64> {
        let mut late: Vec<i64> = self.spans.iter().map(|span| deadline - span).collect();
        for &step in self.order.iter().rev() {
            for &earlier in &self.after[step] {
                late[earlier] = late[earlier].min(late[step] - self.spans[earlier]);
            }
        }
        late
    }

    /// Where one pair of hands is through with these, given by their early starts; none without any.
    fn through(&self, steps: &[usize], early: &[i64]) -> Option<i64> {
        let first = early[*steps.first()?];
        Some(steps.iter().fold(first, |now, step| now.max(early[*step]) + self.spans[*step]))
    }

    /// Early starts of one pair of hands: all that a step waits for is done before it, one after another.
    fn early_in_turn(&self, ready: &[i64], early: &[i64]) -> Vec<i64> {
        let by_early = by(early);
        let start = |step: usize| {
            let before: Vec<usize> = by_early.iter().copied().filter(|earlier| has(&self.before[step], *earlier)).collect();
            self.through(&before, early).map_or(ready[step], |through| through.max(ready[step]))
        };
        self.steps().map(start).collect()
    }

    /// Late starts of one pair of hands that has nothing else to do.
    fn late_alone(&self, deadline: i64) -> Vec<i64> {
        let behind = |step: usize| self.steps().filter(move |later| *later == step || has(&self.behind[step], *later));
        self.steps().map(|step| deadline - behind(step).map(|later| self.spans[later]).sum::<i64>()).collect()
    }

    /// Late starts of one pair of hands that has all the rest to do as well.
    ///
    /// A step that starts at t, and what waits for it, lie behind every time up to t, beside all that cannot start before
    /// that time. Going up through those times, the first sum that does not fit says how late t can be.
    fn late_in_turn(&self, deadline: i64, early: &[i64]) -> Vec<i64> {
        let (by_early, all) = (by(early), self.spans.iter().sum::<i64>());
        let late = |step: usize| {
            let mut rest = all;
            for &other in by_early.iter().filter(|other| **other != step && !has(&self.behind[step], **other)) {
                if deadline - rest < early[other] {
                    break;
                }
                rest -= self.spans[other];
            }
            deadline - rest
        };
        self.steps().map(late).collect()
    }

    /// All as early as they can be; of two at one time, that which waits comes later.
    fn side_by_side(&self, early: &[i64]) -> Vec<Turn> {
        let mut turns: Vec<Turn> = self.order.iter().map(|step| self.turn(*step, early[*step])).collect();
        turns.sort_by_key(|turn| (turn.start, turn.finish));
        turns
    }

    /// The soonest way through with one pair of hands; of what could be done, that which must start first.
    fn one_by_one(&self, ready: &[i64], late: &[i64]) -> Vec<Turn> {
        let mut left = by(late);
        let (mut done, mut now, mut turns) = (Set::default(), i64::MIN, Vec::with_capacity(left.len()));
        while !left.is_empty() {
            let open = |step: &usize| union(self.before[*step], done) == done;
            let Some(at) = left.iter().position(|step| ready[*step] <= now && open(step)) else {
                // Without a circle something is open: wait for the first of it.
                let Some(next) = left.iter().filter(|step| open(step)).map(|step| ready[*step]).min() else { return turns };
                now = next;
                continue;
            };
            let turn = self.turn(left.remove(at), now);
            (done, now) = (with(done, turn.step), turn.finish);
            turns.push(turn);
        }
        turns
    }

    /// From the last finish back along what held each step up.
    fn critical(&self, ready: &[i64], early: &[i64], end: Option<i64>) -> Vec<usize> {
        let finish = |step: &usize| early[*step] + self.spans[*step];
        let mut chain: Vec<usize> = self.steps().find(|step| Some(finish(step)) == end).into_iter().collect();
        while let Some(&step) = chain.last() {
            let held_up = ready[step] < early[step] || ready[step] <= 0;
            match self.after[step].iter().find(|earlier| held_up && finish(earlier) == early[step]) {
                Some(&earlier) => chain.push(earlier),
                None => break,
            }
        }
        chain.reverse();
        chain
    }
}

/// The last turns between which nobody waits.
fn last_block(turns: &[Turn]) -> Vec<usize> {
    let begins = turns.windows(2).rposition(|pair| matches!(pair, [before, after] if before.finish < after.start));
    turns.iter().skip(begins.map_or(0, |at| at + 1)).map(|turn| turn.step).collect()
}

/// Every step behind what it waits for, or a circle.
fn in_order(after: &[Vec<usize>]) -> Result<Vec<usize>, NetworkError> {
    let mut then: Vec<Vec<usize>> = vec![vec![]; after.len()];
    let mut waits: Vec<usize> = after.iter().map(Vec::len).collect();
    for (step, after) in after.iter().enumerate() {
        after.iter().for_each(|&earlier| then[earlier].push(step));
    }
    let mut order: Vec<usize> = (0..after.len()).filter(|step| waits[*step] == 0).collect();
    let mut at = 0;
    while let Some(&step) = order.get(at) {
        at += 1;
        for &later in &then[step] {
            waits[later] -= 1;
            if waits[later] == 0 {
                order.push(later);
            }
        }
    }
    let Some(mut step) = waits.iter().position(|waits| *waits > 0) else { return Ok(order) };
    // Whatever is left waits for something that is left: going back along it comes round.
    let mut walked: Vec<usize> = vec![];
    while !walked.contains(&step) {
        walked.push(step);
        step = after[step].iter().copied().find(|earlier| waits[*earlier] > 0).unwrap_or(step);
    }
    let circle = walked.into_iter().skip_while(|walked| *walked != step).collect();
    Err(NetworkError::Circle { circle })
}

/// The steps by their figure, and of equal ones as given.
fn by(figures: &[i64]) -> Vec<usize> {
    let mut steps: Vec<usize> = (0..figures.len()).collect();
    steps.sort_by_key(|step| figures[*step]);
    steps
}

fn has(set: &Set, step: usize) -> bool {
    set[step / 64] >> (step % 64) & 1 == 1
}

fn with(mut set: Set, step: usize) -> Set {
    set[step / 64] |= 1 << (step % 64);
    set
}

fn union(mut set: Set, other: Set) -> Set {
    set.iter_mut().zip(other).for_each(|(mine, more)| *mine |= more);
    set
}
