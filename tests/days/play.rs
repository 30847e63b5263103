//! Plays a day: each step is done as far as it can be, and after each everything that is shown is looked at.

use super::dice::Dice;
use super::edit;
use super::program::{Club, Moves, Spent, file, record_id};
use super::rule::{Standing, short};
use super::sheet::{self, Sheet};
use super::steps::{Day, Made, Mood, Phone, Slip, Step, Way};
use super::world::{Content, Posted, World};
use serde_json::Value as Json;
use std::collections::BTreeSet;
use std::path::Path;

/// What became of a day.
#[derive(Clone, Debug, Default)]
pub struct Outcome {
    /// The first sentence that does not hold, after the step of this number (the count of steps: at the evening).
    pub broken: Option<(usize, String)>,
    pub story: Vec<String>,
    pub steps: u64,
    pub requests: u64,
    pub records: u64,
    pub cleared: u64,
    pub checks: u64,
    pub spent: Spent,
}

/// Plays a day on a copy of a club's file.
pub async fn play(day: &Day, club: &Club, path: &Path) -> Outcome {
    let mut world = World::begin(club, path).await;
    let mut outcome = Outcome::default();
    let mut broken = world.morning(day).await.err().map(|why| (0, why));
    for (nth, step) in day.steps.iter().enumerate() {
        if broken.is_some() {
            break;
        }
        outcome.steps += 1;
        let begin = world.story.len();
        let mut done = world.does(step).await;
        if done.is_ok() {
            // Whole pages are looked at after every twelfth step, by the day and not by chance of the machine.
            done = world.looks((day.seed.wrapping_add(nth as u64)).is_multiple_of(12)).await;
        }
        for line in &mut world.story[begin..] {
            *line = format!("{}. {line}", nth + 1);
        }
        outcome.cleared += (0..world.cars.len()).any(|car| world.stands(car).standing == Standing::Cleared) as u64;
        broken = done.err().map(|why| (nth, why));
    }
    if broken.is_none() {
        broken = world.evening(day.seed.is_multiple_of(3)).await.err().map(|why| (day.steps.len(), why));
    }
    (outcome.requests, outcome.records, outcome.checks) = (world.program.requests, world.ledger.len() as u64, world.checks);
    outcome.spent = std::mem::take(&mut world.program.spent);
    (outcome.story, outcome.broken) = (std::mem::take(&mut world.story), broken);
    world.program.end().await;
    outcome
}

impl World {
    async fn morning(&mut self, day: &Day) -> Result<(), String> {
        let first = sheet::first(&mut Dice::new(day.sheet));
        self.raises_to_new(first).await
    }

    async fn raises_to_new(&mut self, sheet: Sheet) -> Result<(), String> {
        let id = self.program.add_edition(&file::written(&sheet)).await;
        let id = id.map_err(|why| format!("the days made a sheet that cannot be read: {why}\n{}", file::written(&sheet)))?;
        self.editions.push((id, sheet));
        self.raises(self.editions.len() - 1).await
    }

    /// Raises the event. What the preview says before must be so after.
    async fn raises(&mut self, to: usize) -> Result<(), String> {
        let before: Vec<_> = (0..self.cars.len()).map(|car| (self.stands(car), self.open_at(car))).collect();
        let seen = self.program.preview(self.editions[to].0).await?;
        let answer = self.program.raise(self.editions[to].0).await;
        if answer.status != 303 {
            return Err(format!("raising the event was answered {}", answer.status));
        }
        let none = Sheet::default();
        let old = if self.raises == 0 { &none } else { self.sheet() };
        let changes = sheet::told(old, &self.editions[to].1);
        (self.force, self.raises) = (to, self.raises + 1);
        self.tell(format!("the organizer raises the event to edition {}:{changes}", to + 1));
        for (car, (stood, was)) in before.iter().enumerate() {
            let (stands, open) = (self.stands(car), self.open_at(car));
            let (from, to) = (stood.standing.word(), stands.standing.word());
            let so = Moves { from, to, falls_away: !was.is_subset(&open), comes: !open.is_subset(was) };
            let said = seen.get(self.number(car)).copied();
            let said = said.unwrap_or(Moves { from, to: from, falls_away: false, comes: false });
            if said != so {
                let words = |moves: Moves| {
                    let falls = if moves.falls_away { ", findings fall away" } else { "" };
                    let come = if moves.comes { ", findings come" } else { "" };
                    format!("{} to {}{falls}{come}", moves.from, moves.to)
                };
                return Err(format!("the preview of car {} says: {}; by the rule: {}", self.number(car), words(said), words(so)));
            }
        }
        self.checks += 1;
        Ok(())
    }

    /// The open findings of a car, by item and place.
    fn open_at(&self, car: usize) -> BTreeSet<(String, String)> {
        let stands = self.stands(car);
        let in_force = self.of_car(car).filter(|stored| stands.in_force.contains(&stored.id));
        let found = in_force.flat_map(|stored| self.said(stored).found.clone()).filter(|found| stands.open.contains(&found.item));
        found.map(|found| (found.item, found.place)).collect()
    }

    async fn does(&mut self, step: &Step) -> Result<(), String> {
        match step.clone() {
            Step::OpensSheet { phone, car } => {
                let car = self.car(car);
                let device = self.driver(car, phone);
                self.opens_sheet(car, &device).await?;
                self.tell(format!("the driver of car {} opens the sheet", self.number(car)));
            }
            Step::OpensCar { inspector, car } => {
                let (car, device) = (self.car(car), self.inspector(inspector));
                self.opens_car(car, &device).await?;
                self.tell(format!("{} opens car {}", device.name, self.number(car)));
            }
            Step::Sends { phone, slip, mood, dice } => {
                let posted = self.submission(phone, slip, mood, dice).await?;
                self.go(posted, slip.way).await?;
            }
            Step::Clears { inspector, slip, ticks, closes, own } => {
                let posted = self.sign_off(inspector, slip, Some((ticks, closes, own))).await?;
                self.go(posted, slip.way).await?;
            }
            Step::Holds { inspector, slip } => {
                let posted = self.sign_off(inspector, slip, None).await?;
                self.go(posted, slip.way).await?;
            }
            Step::Withdraws { slip } => {
                let posted = self.withdrawal(slip).await?;
                self.go(posted, slip.way).await?;
            }
            Step::Circle { by, slip, driver, clear, size } => self.circle(by, slip, driver, clear, size).await?,
            Step::UsedId { by, slip, driver, which } => self.used_id(by, slip, driver, which).await?,
            Step::Stranger { slip } => self.stranger(slip).await?,
            Step::Arrives { which } if !self.queue.is_empty() => {
                let which = usize::from(which) % self.queue.len();
                self.comes_from_queue(which).await?;
            }
            Step::AllArrive { backwards } => {
                while !self.queue.is_empty() {
                    let which = if backwards { self.queue.len() - 1 } else { 0 };
                    self.comes_from_queue(which).await?;
                }
            }
            Step::Arrives { .. } => {}
            Step::Edits { dice } => {
                let edited = edit::edited(self.sheet(), &mut Dice::new(dice));
                self.raises_to_new(edited).await?;
            }
            Step::RaisesBack { which } => {
                let to = usize::from(which) % self.editions.len();
                if to != self.force {
                    self.raises(to).await?;
                }
            }
            Step::Clock { minutes } => {
                self.program.clock.step(i64::from(minutes));
                let way = if minutes < 0 { "back" } else { "on" };
                self.tell(format!("the server's clock is put {way} by {} minutes", minutes.abs()));
            }
            Step::Restarts { in_order } => {
                self.program.restart(in_order).await;
                self.starts += 1;
                self.tell(if in_order {
                    "the server is closed and started again"
                } else {
                    "the server falls and is started again"
                });
            }
            other => self.does_with_people(other).await?,
        }
        Ok(())
    }

    async fn does_with_people(&mut self, step: Step) -> Result<(), String> {
        match step {
            Step::Erases { car } => {
                let car = self.car(car);
                self.program.erase(self.cars[car].entry).await?;
                self.out.extend(self.drivers[car].iter().map(|device| device.cookie.clone()));
                self.erased.insert(car);
                self.tell(format!("the driver of car {} is erased", self.number(car)));
            }
            Step::EndsPhone { inspector } => {
                let device = self.inspector(inspector);
                self.program.end_device(&device).await;
                self.out.insert(device.cookie);
                self.tell(format!("a phone of {} is ended", device.name));
            }
            Step::TakesBack { inspector } => {
                let phones = self.inspectors[usize::from(inspector) % self.inspectors.len()].clone();
                for device in &phones {
                    self.program.take_back(device.link).await;
                    self.out.insert(device.cookie.clone());
                }
                self.tell(format!("the links of {} are taken back", phones[0].name));
            }
            Step::LetsInAgain { inspector } => {
                let who = usize::from(inspector) % self.inspectors.len();
                let last = self.inspectors[who].last().cloned().ok_or("an inspector without a phone")?;
                let device = self.program.let_in_again(&last.name, last.link).await;
                self.tell(format!("{} comes in on another phone", device.name));
                self.inspectors[who].push(device);
            }
            Step::NewLink { car } => {
                let car = self.car(car);
                if let Some(devices) = self.program.new_link(self.cars[car].entry).await {
                    self.out.extend(self.drivers[car].iter().map(|device| device.cookie.clone()));
                    self.drivers[car].extend(devices);
                    self.tell(format!("the driver of car {} gets a new link", self.number(car)));
                }
            }
            Step::Marshal { phone } => self.marshal_hears(usize::from(phone) % self.marshals.len()).await?,
            Step::Pass { car } => {
                let car = self.car(car);
                if let Some(pass) = self.program.pass(self.cars[car].entry).await? {
                    self.passes.push((pass, self.stored.len()));
                    self.tell(format!("the driver of car {} has a pass", self.number(car)));
                }
            }
            Step::Fetches { inspector } => {
                let device = self.inspector(inspector);
                self.fetches(&device).await?;
                self.tell(format!("a phone of {} fetches the gate", device.name));
            }
            _ => {}
        }
        Ok(())
    }

    async fn go(&mut self, posted: Option<Posted>, way: Way) -> Result<(), String> {
        match posted {
            Some(posted) => self.goes(posted, way).await,
            None => {
                self.tell("a phone that is not let in has no page to send from");
                Ok(())
            }
        }
    }

    /// Records that name each other: each says that it has seen the next, and the last the first.
    async fn circle(&mut self, by: Phone, slip: Slip, driver: bool, clear: bool, size: u8) -> Result<(), String> {
        let size = u32::from(size);
        for nth in 0..size {
            let own = Slip { nth: slip.nth, way: Way::Arrives, ..slip };
            let posted = if driver {
                self.submission(by.older, own, Mood::Sound, u64::from(slip.nth)).await?
            } else {
                let ticks = super::steps::Part::All;
                self.sign_off(by, own, (clear && nth + 1 == size).then_some((ticks, ticks, super::steps::Own::Sentence))).await?
            };
            let Some(mut posted) = posted else { return Ok(()) };
            let old = posted.id;
            let id = record_id(slip.nth * 10 + 1 + nth);
            posted.seen.insert(record_id(slip.nth * 10 + 1 + (nth + 1) % size));
            posted.renamed(old, id);
            posted.honest = false;
            self.goes(posted, Way::Arrives).await?;
        }
        Ok(())
    }

    /// Something else under an id that a record has.
    async fn used_id(&mut self, by: Phone, slip: Slip, driver: bool, which: u8) -> Result<(), String> {
        let Some(there) = self.ledger.get(usize::from(which) % self.ledger.len().max(1)).cloned() else { return Ok(()) };
        let posted = if driver {
            self.submission(by.older, slip, Mood::Sound, u64::from(slip.nth)).await?
        } else {
            self.sign_off(by, slip, None).await?
        };
        let Some(mut posted) = posted else { return Ok(()) };
        let old = posted.id;
        posted.renamed(old, there.id);
        posted.honest = false;
        self.goes(posted, Way::Arrives).await
    }

    /// A driver sends to somebody else's car: nothing comes of it.
    async fn stranger(&mut self, slip: Slip) -> Result<(), String> {
        let Some(posted) = self.submission(0, Slip { made: Made::Unsaid, ..slip }, Mood::Sound, 5).await? else { return Ok(()) };
        let other = (posted.car + 1) % self.cars.len();
        let path = format!("/my/{}/submissions", self.cars[other].entry);
        let answer = self.program.post(&path, &posted.by.cookie, &posted.carried, true).await;
        self.tell(format!("{} sends to car {}: answered {}", posted.by.name, self.number(other), answer.status));
        if (400..500).contains(&answer.status) { Ok(()) } else { Err("a driver sent for somebody else's car".into()) }
    }
}

impl Posted {
    /// The same under another id.
    fn renamed(&mut self, old: uuid::Uuid, id: uuid::Uuid) {
        self.words = self.words.replace(&short(old), &short(id));
        self.id = id;
        let ids = self.seen.iter().map(uuid::Uuid::to_string).collect::<Vec<_>>().join(",");
        match &mut self.carried {
            super::program::Carried::Json(json) => {
                json["id"] = Json::from(id.to_string());
                json["seen"] = self.seen.iter().map(|id| Json::from(id.to_string())).collect();
            }
            super::program::Carried::Form(fields) => {
                for (name, value) in fields.iter_mut() {
                    match name.as_str() {
                        "id" => *value = id.to_string(),
                        "seen" => value.clone_from(&ids),
                        "reason" => *value = value.replace(&short(old), &short(id)),
                        _ => {}
                    }
                }
            }
        }
        if let Content::Words(words) = &mut self.content {
            words.reason = words.reason.replace(&short(old), &short(id));
        }
    }
}
