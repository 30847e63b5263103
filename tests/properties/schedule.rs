//! Any jobs, any week: what a plan promises is held against a garage that is walked through day by day, in every order.

use jiff::ToSpan;
use jiff::civil::{Date, date};
use proptest::prelude::*;
use witnessmark::rules::critical_path::{Hands, MOST, Network, NetworkError};
use witnessmark::rules::schedule::{Haste, Late, Plan, ScheduleError, Supply, Task, plan};
use witnessmark::rules::week::Week;

const BOTH: [Hands; 2] = [Hands::One, Hands::Many];

/// Jobs on a car with a week and an event.
#[derive(Clone, Debug)]
struct Garage {
    tasks: Vec<Task>,
    hours: [f64; 7],
    today: Date,
    event: Date,
}

impl Garage {
    fn plan(&self, hands: Hands) -> Plan {
        let week = Week::new(self.hours).expect("a week with hours");
        plan(&self.tasks, &week, hands, self.today, self.event).expect("no circle")
    }

    /// Quarters of an hour that can be worked on a day.
    fn quarters(&self, day: Date) -> i64 {
        let hours = self.hours[usize::try_from(day.weekday().to_monday_zero_offset()).expect("0 to 6")];
        if day == self.event { 0 } else { (hours * 4.0) as i64 }
    }

    fn ready(&self, task: usize) -> Date {
        let arrives = |part: &Supply| match part {
            Supply::ToOrder { lead_days } => self.today + i64::from(*lead_days).days(),
            Supply::Ordered { here_on } => *here_on,
            Supply::Here => self.today,
        };
        self.tasks[task].parts.iter().map(arrives).fold(self.today, Date::max)
    }

    /// Works a job from a day and the quarters already used of it: its first day, its last, and where that leaves us.
    fn work(&self, task: usize, from: (Date, i64), ready: Date) -> (Date, (Date, i64)) {
        let (mut day, mut used) = from.max((ready, 0));
        let mut left = (self.tasks[task].hours * 4.0) as i64;
        if left == 0 {
            return (day, (day, used));
        }
        let mut first = None;
        loop {
            let now = left.min(self.quarters(day) - used).max(0);
            if now > 0 {
                first.get_or_insert(day);
            }
            (left, used) = (left - now, used + now);
            if left == 0 {
                return (first.expect("some work was done"), (day, used));
            }
            (day, used) = (day.tomorrow().expect("a day more"), 0);
        }
    }

    /// Jobs done one after another in this order: first and last day of each. None where one comes before what it waits for.
    fn one_after_another(&self, order: &[usize], ready: &[Date]) -> Option<Vec<(Date, Date)>> {
        let (mut days, mut now) = (vec![None; self.tasks.len()], (self.today, 0));
        for &task in order {
            if self.tasks[task].after.iter().any(|earlier| days[*earlier].is_none()) {
                return None;
            }
            let (first, then) = self.work(task, now, ready[task]);
            days[task] = Some((first, then.0));
            now = then;
        }
        days.into_iter().collect()
    }

    /// All jobs as early as they can be, side by side.
    fn side_by_side(&self, ready: &[Date]) -> Vec<(Date, Date)> {
        let mut done: Vec<Option<(Date, (Date, i64))>> = vec![None; self.tasks.len()];
        while done.iter().any(Option::is_none) {
            for (at, task) in self.tasks.iter().enumerate() {
                let waits: Option<Vec<(Date, i64)>> =
                    task.after.iter().map(|earlier| done[*earlier].map(|(_, then)| then)).collect();
                if let (None, Some(waits)) = (done[at], waits) {
                    done[at] = Some(self.work(at, waits.into_iter().fold((self.today, 0), Ord::max), ready[at]));
                }
            }
        }
        done.into_iter().flatten().map(|(first, then)| (first, then.0)).collect()
    }

    /// The soonest last day of any order of work.
    fn best(&self, hands: Hands, ready: &[Date]) -> Option<Date> {
        let last = |days: &[(Date, Date)]| days.iter().map(|(_, last)| *last).max();
        match hands {
            Hands::Many => last(&self.side_by_side(ready)),
            Hands::One => orders(self.tasks.len()).iter().filter_map(|order| last(&self.one_after_another(order, ready)?)).min(),
        }
    }

    fn all_ready(&self) -> Vec<Date> {
        (0..self.tasks.len()).map(|task| self.ready(task)).collect()
    }
}

/// Every order of so many things.
fn orders(count: usize) -> Vec<Vec<usize>> {
    if count == 0 {
        return vec![vec![]];
    }
    let put = |order: Vec<usize>| (0..count).map(move |at| [&order[..at], &[count - 1], &order[at..]].concat());
    orders(count - 1).into_iter().flat_map(put).collect()
}

fn any_part(today: Date) -> impl Strategy<Value = Supply> {
    prop_oneof![
        (0u16..18).prop_map(|lead_days| Supply::ToOrder { lead_days }),
        (-5i64..18).prop_map(move |days| Supply::Ordered { here_on: today + days.days() }),
        Just(Supply::Here),
    ]
}

/// Up to so many jobs. Each waits for any of those before it, and then they are shuffled.
fn any_garage(most: usize) -> impl Strategy<Value = Garage> {
    let day = (0i64..400).prop_map(|days| date(2026, 1, 1) + days.days());
    let hours = prop::array::uniform7(prop_oneof![Just(0u8), 1u8..20])
        .prop_filter("a week has hours", |week| week.iter().any(|hours| *hours > 0));
    (day, hours, -3i64..30).prop_flat_map(move |(today, quarters, until)| {
        let hours = quarters.map(|quarters| f64::from(quarters) / 4.0);
        let task = (prop_oneof![1 => Just(0u8), 6 => 1u8..30], any::<u64>(), prop::collection::vec(any_part(today), 0..3));
        prop::collection::vec(task, 0..=most).prop_flat_map(move |raw| {
            let count = raw.len();
            let tasks = raw.into_iter().enumerate().map(|(at, (quarters, waits, parts))| {
                // About every third that could be waited for is.
                let after = (0..at).filter(|earlier| (waits >> (2 * earlier)) & 3 == 0 || (waits >> 50) & 15 == 0).collect();
                Task { hours: f64::from(quarters) / 4.0, after, parts }
            });
            let garage = Garage { tasks: tasks.collect(), hours, today, event: today + until.days() };
            Just((0..count).collect::<Vec<_>>()).prop_shuffle().prop_map(move |order| shuffled(&garage, &order))
        })
    })
}

/// The same garage with its jobs in another order; `order` says where each goes.
fn shuffled(garage: &Garage, order: &[usize]) -> Garage {
    let mut tasks = garage.tasks.clone();
    for (at, task) in garage.tasks.iter().enumerate() {
        let after = task.after.iter().map(|earlier| order[*earlier]).collect();
        tasks[order[at]] = Task { after, ..task.clone() };
    }
    Garage { tasks, ..garage.clone() }
}

proptest! {
    #[test]
    fn the_plan_is_the_soonest_of_all_orders(garage in any_garage(6)) {
        let ready = garage.all_ready();
        for hands in BOTH {
            let plan = garage.plan(hands);
            let best = garage.best(hands, &ready);
            prop_assert_eq!(plan.finish, best, "{:?}", hands);
            prop_assert_eq!(plan.in_time, best.is_none_or(|best| best < garage.event));
            prop_assert_eq!(plan.in_time, plan.tasks.iter().all(|task| task.late == Late::No), "{:?}", &plan);
        }
    }

    #[test]
    fn the_plan_can_be_walked_through_day_by_day(garage in any_garage(8)) {
        let ready = garage.all_ready();
        for hands in BOTH {
            let plan = garage.plan(hands);
            let order: Vec<usize> = plan.turns.iter().map(|turn| turn.task).collect();
            let walked = match hands {
                Hands::One => garage.one_after_another(&order, &ready).expect("nothing comes before what it waits for"),
                Hands::Many => garage.side_by_side(&ready),
            };
            for turn in &plan.turns {
                prop_assert_eq!((turn.start, turn.finish), walked[turn.task], "{:?} {:?}", hands, &plan);
                prop_assert!(turn.start >= ready[turn.task]);
                prop_assert!(garage.tasks[turn.task].after.iter().all(|earlier| walked[*earlier].1 <= turn.start));
                let task = &plan.tasks[turn.task];
                prop_assert!(task.earliest_start <= turn.start && task.earliest_finish <= turn.finish);
            }
            prop_assert_eq!(order.len(), garage.tasks.len());
        }
    }

    #[test]
    fn a_job_held_back_to_its_latest_day_is_in_time_and_a_day_more_is_not(garage in any_garage(4)) {
        for hands in BOTH {
            let plan = garage.plan(hands);
            for (at, task) in plan.tasks.iter().enumerate() {
                // Its own parts do not matter to how late it can be; they matter to whether it can be then.
                let mut ready = garage.all_ready();
                let mut fits = |day: Date| {
                    ready[at] = day;
                    garage.best(hands, &ready).is_some_and(|best| best < garage.event)
                };
                let days = std::iter::successors(garage.event.yesterday().ok(), |day| day.yesterday().ok());
                if let Some(last) = days.take_while(|day| *day >= garage.today).find(|day| fits(*day)) {
                    prop_assert_eq!(task.latest_start, last, "job {} {:?}", at, hands);
                } else {
                    prop_assert!(!plan.in_time);
                }
                for (part, supply) in task.parts.iter().zip(&garage.tasks[at].parts) {
                    prop_assert_eq!(part.needed_on, task.latest_start);
                    if let Supply::ToOrder { lead_days } = supply {
                        let order_by = part.order_by.expect("a day to order by");
                        prop_assert_eq!(order_by + i64::from(*lead_days).days(), task.latest_start);
                        prop_assert_eq!(part.haste.cmp(&Haste::LastDay), garage.today.cmp(&order_by));
                    }
                }
            }
        }
    }

    #[test]
    fn the_latest_days_lie_before_the_event_and_in_order(garage in any_garage(8)) {
        for hands in BOTH {
            let plan = garage.plan(hands);
            for (at, task) in plan.tasks.iter().enumerate() {
                prop_assert!(task.latest_start <= task.latest_finish && task.latest_finish < garage.event);
                prop_assert!(task.earliest_start <= task.earliest_finish && task.earliest_start >= garage.ready(at));
                let too_late = task.slack_hours < 0.0 || task.earliest_finish >= garage.event;
                prop_assert_eq!(too_late, task.late != Late::No);
                prop_assert!(hands == Hands::One || task.late != Late::WithTheRest);
                for &earlier in &garage.tasks[at].after {
                    prop_assert!(plan.tasks[earlier].earliest_finish <= task.earliest_start);
                    prop_assert!(!plan.in_time || plan.tasks[earlier].latest_finish <= task.latest_start);
                }
            }
        }
    }

    #[test]
    fn the_chain_holds_together(garage in any_garage(8)) {
        for hands in BOTH {
            let plan = garage.plan(hands);
            prop_assert_eq!(plan.chain.is_empty(), garage.tasks.is_empty());
            if hands == Hands::One {
                let order: Vec<usize> = plan.turns.iter().map(|turn| turn.task).collect();
                prop_assert!(order.ends_with(&plan.chain));
            } else {
                prop_assert!(plan.chain.windows(2).all(|pair| garage.tasks[pair[1]].after.contains(&pair[0])));
            }
            if let (Some(&first), Some(part)) = (plan.chain.first(), plan.opened_by) {
                prop_assert_eq!(plan.tasks[first].parts[part].arrives, garage.ready(first));
            }
        }
    }

    #[test]
    fn the_chain_fills_the_time_from_what_opens_it_to_the_end(
        steps in prop::collection::vec((0i64..9, any::<u16>(), 0i64..30), 1..12), deadline in prop::option::of(0i64..60)
    ) {
        let after = |at: usize, waits: u16| (0..at).filter(|earlier| (waits >> earlier) & 1 == 1).collect();
        let spans: Vec<(i64, Vec<usize>)> = steps.iter().enumerate().map(|(at, (span, waits, _))| (*span, after(at, *waits))).collect();
        let ready: Vec<i64> = steps.iter().map(|(_, _, ready)| *ready).collect();
        let network = Network::new(&spans).expect("no circle");
        for hands in BOTH {
            let timing = network.reckon(hands, &ready, deadline);
            let turn = |step: &usize| timing.turns.iter().find(|turn| turn.step == *step).expect("a turn");
            let chain: Vec<_> = timing.chain.iter().map(turn).collect();
            prop_assert_eq!(chain[0].start, ready[chain[0].step]);
            prop_assert!(chain.windows(2).all(|pair| pair[0].finish == pair[1].start), "{timing:?}");
            prop_assert_eq!(chain.last().map(|turn| turn.finish), timing.end);
            let least = timing.times.iter().map(|times| times.slack()).min().expect("steps");
            let left = deadline.unwrap_or(timing.end.expect("steps")) - timing.end.expect("steps");
            // With one pair of hands a job can be put off while another is done, and one that is late is later still by
            // what it waited for its parts.
            let fits = match hands {
                Hands::Many => least == left,
                Hands::One => (left >= 0) == (least >= 0) && (left < 0 || least >= left),
            };
            prop_assert!(fits, "{least} of {left}: {timing:?}");
        }
    }

    #[test]
    fn the_order_of_the_list_does_not_matter((garage, order) in any_garage(9).prop_flat_map(|garage| {
        let order: Vec<usize> = (0..garage.tasks.len()).collect();
        (Just(garage), Just(order).prop_shuffle())
    })) {
        for hands in BOTH {
            let (plan, other) = (garage.plan(hands), shuffled(&garage, &order).plan(hands));
            for (at, task) in plan.tasks.iter().enumerate() {
                prop_assert_eq!(task, &other.tasks[order[at]]);
            }
            prop_assert_eq!((plan.finish, plan.in_time), (other.finish, other.in_time));
            prop_assert_eq!((plan.needed_hours, plan.short_hours), (other.needed_hours, other.short_hours));
        }
    }

    #[test]
    fn more_to_wait_for_or_to_do_never_makes_it_sooner(
        garage in any_garage(8), nth in any::<prop::sample::Index>(), days in 1u16..10, hours in 1u8..20
    ) {
        prop_assume!(!garage.tasks.is_empty());
        let mut waits = garage.clone();
        let mut works = garage.clone();
        let at = nth.index(garage.tasks.len());
        works.tasks[at].hours += f64::from(hours) / 4.0;
        for part in &mut waits.tasks[at].parts {
            match part {
                Supply::ToOrder { lead_days } => *lead_days += days,
                Supply::Ordered { here_on } => *here_on += i64::from(days).days(),
                Supply::Here => {}
            }
        }
        for hands in BOTH {
            let plan = garage.plan(hands);
            for other in [waits.plan(hands), works.plan(hands)] {
                prop_assert!(other.finish >= plan.finish && (plan.in_time || !other.in_time));
                for (task, other) in plan.tasks.iter().zip(&other.tasks) {
                    prop_assert!(other.earliest_finish >= task.earliest_finish && other.latest_start <= task.latest_start);
                    prop_assert!(task.parts.iter().zip(&other.parts).all(|(part, other)| other.order_by <= part.order_by));
                }
            }
        }
    }

    #[test]
    fn one_pair_of_hands_is_never_sooner_than_many(garage in any_garage(10)) {
        let (one, many) = (garage.plan(Hands::One), garage.plan(Hands::Many));
        prop_assert!(one.finish >= many.finish);
        for (one, many) in one.tasks.iter().zip(&many.tasks) {
            prop_assert!(one.earliest_finish >= many.earliest_finish && one.latest_start <= many.latest_start);
        }
    }

    #[test]
    fn odd_jobs_are_planned_or_refused(
        raw in prop::collection::vec((any::<f64>(), prop::collection::vec(0usize..14, 0..4), any::<u16>(), -9999i16..=9999), 0..12),
        hours in prop::array::uniform7(any::<f64>()), plain in any::<bool>(), year in -9999i16..=9999, event in -9999i16..=9999
    ) {
        let week = Week::new(hours).or(Week::new([0.0, 0.01, 0.0, 0.0, 0.0, 0.0, 0.0])).expect("a minute");
        let tasks: Vec<Task> = raw.into_iter().map(|(hours, after, lead_days, here)| Task {
            hours: if plain { hours.abs() % 10_000.0 } else { hours },
            after: if plain { vec![] } else { after },
            parts: vec![Supply::ToOrder { lead_days }, Supply::Ordered { here_on: date(here, 12, 31) }, Supply::Here],
        }).map(|task| if task.hours.is_nan() && plain { Task { hours: 1.0, ..task } } else { task }).collect();
        for hands in BOTH {
            let planned = plan(&tasks, &week, hands, date(year, 1, 1), date(event, 12, 31));
            prop_assert!(planned.is_ok() || !plain, "{planned:?}");
            if let Err(ScheduleError::Network(NetworkError::Circle { circle })) = planned {
                let next = circle.iter().skip(1).chain(circle.first());
                prop_assert!(circle.iter().zip(next).all(|(task, next)| tasks[*task].after.contains(next)), "{circle:?}");
            }
        }
    }
}

#[test]
fn as_many_jobs_as_there_may_be_are_planned_and_one_more_is_refused() {
    let mut tasks: Vec<Task> = (0..MOST).map(|at| Task { hours: 1.0, after: (0..at).collect(), parts: vec![] }).collect();
    let week = Week::new([1.0; 7]).expect("a week");
    let (today, event) = (date(2026, 5, 1), date(2026, 5, 1) + i64::try_from(MOST).expect("few").days());
    for hands in BOTH {
        let plan = plan(&tasks, &week, hands, today, event).expect("they wait in a row");
        assert!(plan.in_time && plan.chain.len() == MOST && plan.short_hours == 0.0);
        assert_eq!(plan.tasks[MOST - 1].earliest_finish, event.yesterday().expect("a day"));
    }
    tasks.push(Task { hours: 1.0, after: vec![], parts: vec![] });
    let refused = plan(&tasks, &week, Hands::One, today, event).expect_err("too many");
    assert_eq!(refused, ScheduleError::Network(NetworkError::TooMany { count: MOST + 1 }));
}
