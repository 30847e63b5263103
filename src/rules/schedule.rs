//! When a car's jobs must start and their parts be ordered so that it is ready for its event.
//!
//! Days are whole: work is done on any day before the event's, within the hours of that weekday, and none on the event's own,
//! when the car is loaded. Parts can be used on the day they arrive. Jobs and hours are counted in minutes, so that no sum
//! depends on the order in which jobs are listed.

use super::critical_path::{Hands, Network, NetworkError, Times, Timing};
use super::week::{Week, day_number, in_hours, to_date};
use jiff::civil::Date;

/// The most hours of one job.
pub const MOST_HOURS: f64 = 10_000.0;

/// A part that a job needs.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Supply {
    /// Not ordered; it comes this many days after it is.
    ToOrder {
        lead_days: u16,
    },
    /// Expected on this day, or any day now when that is over.
    Ordered {
        here_on: Date,
    },
    Here,
}

/// A job on the car.
#[derive(Clone, Debug, PartialEq)]
pub struct Task {
    /// 0 to [`MOST_HOURS`], read to the minute; a job of any time at all takes one.
    pub hours: f64,
    /// The jobs that must be done before, by their place in the list.
    pub after: Vec<usize>,
    pub parts: Vec<Supply>,
}

/// Jobs that cannot be planned; `task` counts from 0.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum ScheduleError {
    #[error("Job {}: hours lie between 0 and 10 000.", task + 1)]
    Hours { task: usize },
    #[error(transparent)]
    Network(#[from] NetworkError),
}

/// How much time a part has.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Haste {
    Here,
    InTime,
    /// To order: today is the last day. Ordered: it is expected on the last day that will do.
    LastDay,
    /// To order: the last day is over. Ordered: it is expected too late.
    TooLate,
}

/// What a part comes to.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct PlannedPart {
    /// The day it is or can be here, ordered today at the soonest.
    pub arrives: Date,
    /// The last day on which its arrival will do: the last on which its job can begin.
    pub needed_on: Date,
    /// The last day to order it; none for a part that is ordered or here.
    pub order_by: Option<Date>,
    pub haste: Haste,
}

/// Whether a job can still be done in time.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Late {
    No,
    /// By itself it could; with all the rest there are not hours enough for one pair of hands.
    WithTheRest,
    /// No order of work saves it: its parts, what it waits for and what waits for it take too long.
    ByItself,
}

/// What a job comes to.
#[derive(Clone, Debug, PartialEq)]
pub struct PlannedTask {
    /// The soonest, if it were done before all that it does not wait for.
    pub earliest_start: Date,
    pub earliest_finish: Date,
    /// The latest: begun later, something is not done in time, whatever is done when. With more work in all than one pair of
    /// hands has hours for, that is before today for every job, and [`PlannedTask::late`] says which of them would fit by itself.
    pub latest_start: Date,
    pub latest_finish: Date,
    /// Hours of work by which it can be put off; below 0: by which it is too late.
    pub slack_hours: f64,
    pub late: Late,
    pub parts: Vec<PlannedPart>,
}

/// A job in its place in the soonest plan.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct PlannedTurn {
    pub task: usize,
    pub start: Date,
    pub finish: Date,
}

/// What all jobs come to.
#[derive(Clone, Debug, PartialEq)]
pub struct Plan {
    /// One for each job, in the order given.
    pub tasks: Vec<PlannedTask>,
    /// The soonest way through, by start.
    pub turns: Vec<PlannedTurn>,
    /// The day on which the last job is done; none without jobs.
    pub finish: Option<Date>,
    /// All is done before the event's day.
    pub in_time: bool,
    /// Hours of all jobs.
    pub needed_hours: f64,
    /// Hours from today, all of it, to the event's day.
    pub available_hours: f64,
    /// Hours of work by which the soonest plan runs over the event; 0 when it does not.
    pub short_hours: f64,
    /// The jobs that make the finish what it is, first to last: none of them can wait without the finish waiting.
    pub chain: Vec<usize>,
    /// The part of the chain's first job whose arrival opens the chain, by its place in that job's list.
    pub opened_by: Option<usize>,
}

/// Plans the jobs of a car for an event.
///
/// Days become minutes of work (the hours of all days before), the network is reckoned in those
/// ([`Network::reckon`]), and minutes become days again. A job without hours takes no day's time, but not on the event's own
/// day. Dates end where the calendar does, in the year 9999.
///
/// # Errors
/// [`ScheduleError`]: hours below 0, above [`MOST_HOURS`] or no number; a wait for a job that is not there; a circle of
/// waits; more than [`MOST`](super::critical_path::MOST) jobs.
///
/// Source: as [`Network::reckon`]; whole days, none on the event's own: our choice.
///
/// # Example: pads that take five days to come, an evening's work, an event on Saturday
/// ```
/// use jiff::civil::date;
/// use witnessmark::rules::critical_path::Hands;
/// use witnessmark::rules::schedule::{Haste, Supply, Task, plan};
/// use witnessmark::rules::week::Week;
/// let week = Week::new([2.0; 7]).unwrap();
/// let pads = Task { hours: 1.5, after: vec![], parts: vec![Supply::ToOrder { lead_days: 5 }] };
/// let (today, event) = (date(2026, 5, 3), date(2026, 5, 9));
/// let plan = plan(&[pads], &week, Hands::One, today, event).unwrap();
/// assert!(plan.in_time);
/// assert_eq!(plan.finish, Some(date(2026, 5, 8)));
/// assert_eq!(plan.tasks[0].parts[0].order_by, Some(today));
/// assert_eq!(plan.tasks[0].parts[0].haste, Haste::LastDay);
/// ```
pub fn plan(tasks: &[Task], week: &Week, hands: Hands, today: Date, event_day: Date) -> Result<Plan, ScheduleError> {
    let mut steps = Vec::with_capacity(tasks.len());
    for (at, task) in tasks.iter().enumerate() {
        steps.push((in_minutes(task.hours).ok_or(ScheduleError::Hours { task: at })?, task.after.clone()));
    }
    let network = Network::new(&steps)?;
    let calendar = Calendar { week: *week, today: day_number(today), event: day_number(event_day) };
    let arrivals: Vec<Vec<i64>> =
        tasks.iter().map(|task| task.parts.iter().map(|part| calendar.arrival(part)).collect()).collect();
    let ready_days: Vec<i64> = arrivals.iter().map(|days| days.iter().copied().fold(calendar.today, i64::max)).collect();
    let ready: Vec<i64> = ready_days.iter().map(|day| calendar.minutes(*day)).collect();
    let deadline = calendar.minutes(calendar.event);
    let timing = network.reckon(hands, &ready, Some(deadline));
    let days = Days { calendar, steps: &steps, ready_days: &ready_days, timing: &timing };
    let earliest = days.earliest();
    let turns = days.turns(hands);
    let planned = |(at, task): (usize, &Task)| {
        let times = &timing.times[at];
        let (latest_start, latest_finish) = days.latest(times);
        let part = |(supply, arrives): (&Supply, &i64)| calendar.part(supply, *arrives, latest_start);
        PlannedTask {
            earliest_start: to_date(earliest[at].0),
            earliest_finish: to_date(earliest[at].1),
            latest_start: to_date(latest_start),
            latest_finish: to_date(latest_finish),
            slack_hours: in_hours(times.slack()),
            late: late(times, earliest[at].1 >= calendar.event),
            parts: task.parts.iter().zip(&arrivals[at]).map(part).collect(),
        }
    };
    let finish = turns.iter().map(|turn| turn.finish).max();
    let opened_by = timing.chain.first().filter(|first| ready[**first] > 0).and_then(|&first| {
        // Of parts that come on the same day the first is as good a reason as any.
        arrivals[first].iter().position(|arrives| *arrives == ready_days[first])
    });
    Ok(Plan {
        tasks: tasks.iter().enumerate().map(planned).collect(),
        in_time: finish.is_none_or(|finish| finish < event_day),
        finish,
        turns,
        needed_hours: in_hours(steps.iter().map(|(minutes, _)| minutes).sum()),
        available_hours: in_hours(deadline.max(0)),
        short_hours: in_hours(timing.end.map_or(0, |end| (end - deadline).max(0))),
        chain: timing.chain.clone(),
        opened_by,
    })
}

fn late(times: &Times, ends_too_late: bool) -> Late {
    if times.late_start_alone < times.early_start || ends_too_late {
        Late::ByItself
    } else if times.slack() < 0 {
        Late::WithTheRest
    } else {
        Late::No
    }
}

/// Days and the minutes of work before them, counted from today's morning.
#[derive(Clone, Copy)]
struct Calendar {
    week: Week,
    today: i64,
    event: i64,
}

impl Calendar {
    /// The minutes that the event's own day would have.
    fn loading(&self) -> i64 {
        self.week.before(self.event + 1) - self.week.before(self.event)
    }

    fn without_loading(&self, day: i64) -> i64 {
        self.week.before(day) - if day > self.event { self.loading() } else { 0 }
    }

    /// Minutes of work from today's morning to this day's.
    fn minutes(&self, day: i64) -> i64 {
        self.without_loading(day) - self.without_loading(self.today)
    }

    /// The day on which work goes on after this many minutes.
    fn start(&self, minutes: i64) -> i64 {
        let minutes = minutes + self.without_loading(self.today);
        let is_over = minutes >= self.week.before(self.event);
        self.week.day_after(minutes + if is_over { self.loading() } else { 0 })
    }

    /// The day on which the last of these minutes is worked.
    fn finish(&self, minutes: i64) -> i64 {
        self.start(minutes - 1)
    }

    fn arrival(&self, part: &Supply) -> i64 {
        match part {
            Supply::ToOrder { lead_days } => self.today + i64::from(*lead_days),
            Supply::Ordered { here_on } => day_number(*here_on).max(self.today),
            Supply::Here => self.today,
        }
    }

    fn part(&self, supply: &Supply, arrives: i64, needed_on: i64) -> PlannedPart {
        let order_by = match supply {
            Supply::ToOrder { lead_days } => Some(needed_on - i64::from(*lead_days)),
            Supply::Ordered { .. } | Supply::Here => None,
        };
        let haste = match (supply, arrives.cmp(&needed_on)) {
            (Supply::Here, _) => Haste::Here,
            (_, std::cmp::Ordering::Less) => Haste::InTime,
            (_, std::cmp::Ordering::Equal) => Haste::LastDay,
            (_, std::cmp::Ordering::Greater) => Haste::TooLate,
        };
        PlannedPart { arrives: to_date(arrives), needed_on: to_date(needed_on), order_by: order_by.map(to_date), haste }
    }
}

/// The way back from minutes to days.
struct Days<'a> {
    calendar: Calendar,
    steps: &'a [(i64, Vec<usize>)],
    ready_days: &'a [i64],
    timing: &'a Timing,
}

impl Days<'_> {
    /// First and last day of a job that starts after so many minutes; `waited` is the last day of what came before.
    ///
    /// A job without minutes is done on the day that it can be, whether that day has hours or not.
    fn of(&self, task: usize, start: i64, waited: i64) -> (i64, i64) {
        match self.steps[task].0 {
            0 => {
                let day = self.ready_days[task].max(waited).max(self.calendar.finish(start));
                (day, day)
            }
            minutes => (self.calendar.start(start), self.calendar.finish(start + minutes)),
        }
    }

    /// The last day of what a job waits for, of those whose days are known.
    fn waited(&self, task: usize, known: &[Option<(i64, i64)>]) -> i64 {
        let finishes = self.steps[task].1.iter().filter_map(|earlier| known[*earlier]);
        finishes.map(|(_, finish)| finish).fold(self.calendar.today, i64::max)
    }

    fn earliest(&self) -> Vec<(i64, i64)> {
        let mut known = vec![None; self.steps.len()];
        // The turns have each job behind what it waits for.
        for task in self.timing.turns.iter().map(|turn| turn.step) {
            known[task] = Some(self.of(task, self.timing.times[task].early_start, self.waited(task, &known)));
        }
        known.into_iter().map(|days| days.unwrap_or((self.calendar.today, self.calendar.today))).collect()
    }

    fn turns(&self, hands: Hands) -> Vec<PlannedTurn> {
        let mut known = vec![None; self.steps.len()];
        let mut last = self.calendar.today;
        let mut turns = Vec::with_capacity(self.steps.len());
        for turn in &self.timing.turns {
            let waited = self.waited(turn.step, &known).max(if hands == Hands::One { last } else { self.calendar.today });
            let (start, finish) = self.of(turn.step, turn.start, waited);
            known[turn.step] = Some((start, finish));
            last = finish;
            turns.push(PlannedTurn { task: turn.step, start: to_date(start), finish: to_date(finish) });
        }
        turns
    }

    fn latest(&self, times: &Times) -> (i64, i64) {
        // Without minutes a job may be as late as the day before the event, which its place among minutes cannot tell from
        // days without hours after it.
        let start = self.calendar.start(times.late_start).min(self.calendar.event - 1);
        let finish = if times.late_finish == times.late_start { start } else { self.calendar.finish(times.late_finish) };
        (start, finish)
    }
}

fn in_minutes(hours: f64) -> Option<i64> {
    let minutes = (hours * 60.0).round() as i64;
    (0.0..=MOST_HOURS).contains(&hours).then_some(if hours > 0.0 { minutes.max(1) } else { 0 })
}
