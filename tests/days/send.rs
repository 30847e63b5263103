//! Records on their way: made from a page as it was opened, kept in a phone's queue, delivered once, twice or late.

use super::answers;
use super::dice::Dice;
use super::judge;
use super::program::{Carried, Device, GatePage, Words, record_id, sheet_page};
use super::rule::{Standing, closes_a_circle, short};
use super::sheet::{Kind, Unit};
use super::steps::{Made, Mood, Own, Part, Phone, Seen, Slip, Way};
use super::world::{Content, Open, Posted, World};
use serde_json::{Map, Value as Json, json};
use std::collections::BTreeSet;

impl World {
    /// Opens a driver's first page on one of their phones; `None` where it does not open.
    pub async fn opens_sheet(&mut self, car: usize, device: &Device) -> Result<Option<Open>, String> {
        let path = format!("/my/{}", self.cars[car].entry);
        let answer = self.program.get(&path, &device.cookie).await;
        no_fault(answer.status, &format!("the sheet of car {}", self.number(car)))?;
        let Some((seen, edition, _)) = sheet_page(&answer.text).filter(|_| answer.status == 200) else { return Ok(None) };
        let edition = self.editions.iter().position(|(id, _)| *id == edition).unwrap_or(self.force);
        let page = Open { cookie: device.cookie.clone(), car, seen, edition, as_of: self.as_of(car), gate: None };
        self.open.push(page.clone());
        Ok(Some(page))
    }

    /// Opens a car at the gate.
    pub async fn opens_car(&mut self, car: usize, device: &Device) -> Result<Option<Open>, String> {
        let path = format!("/gate/{}/entries/{}", self.program.event, self.cars[car].entry);
        let answer = self.program.get(&path, &device.cookie).await;
        no_fault(answer.status, &format!("car {} at the gate", self.number(car)))?;
        let Some(gate) = GatePage::of(&answer.text).filter(|_| answer.status == 200) else { return Ok(None) };
        let (seen, edition) = (gate.seen(), self.force);
        let page = Open { cookie: device.cookie.clone(), car, seen, edition, as_of: self.as_of(car), gate: Some(gate) };
        self.open.push(page.clone());
        Ok(Some(page))
    }

    /// A page that this phone opened before, or one that is opened now. A phone that is let in nowhere any more has its old ones.
    async fn page(&mut self, car: usize, device: &Device, at_gate: bool, old: u8) -> Result<Option<Open>, String> {
        let mut kept: Vec<Open> =
            self.open.iter().filter(|page| page.cookie == device.cookie && page.car == car).cloned().collect();
        if old == 0 && self.is_in(device) || kept.is_empty() {
            let page = if at_gate { self.opens_car(car, device).await? } else { self.opens_sheet(car, device).await? };
            if page.is_some() || kept.is_empty() {
                return Ok(page);
            }
        }
        kept.reverse();
        Ok(Some(kept[usize::from(old) % kept.len()].clone()))
    }

    pub async fn submission(&mut self, phone: u8, slip: Slip, mood: Mood, seed: u64) -> Result<Option<Posted>, String> {
        let car = self.car(slip.car);
        let by = self.driver(car, phone);
        let Some(page) = self.page(car, &by, false, slip.old_page).await? else { return Ok(None) };
        let (edition, sheet) = self.editions[page.edition].clone();
        let given = answers::drawn(&sheet, mood, &mut Dice::new(seed));
        let id = record_id(slip.nth * 10);
        let seen = self.seen(slip.seen, id, car, &page);
        let mut body = json!({ "id": id, "seen": seen, "edition": edition, "answers": given });
        if let Some(made) = self.made(slip.made) {
            body["made_at"] = json!(made);
        }
        let words = format!(
            "submission {} of car {} by {}, edition {}, seen [{}]: {}",
            short(id),
            self.number(car),
            by.name,
            page.edition + 1,
            list(&seen),
            answers::told(&given)
        );
        let path = format!("/my/{}/submissions", self.cars[car].entry);
        let honest = slip.seen == Seen::AsThePageSays && !matches!(slip.made, Made::Year(_));
        let (carried, content) = (Carried::Json(body), Content::Answers(edition, given));
        Ok(Some(Posted { id, kind: "submission", car, by, path, carried, by_script: true, seen, content, page, honest, words }))
    }

    pub async fn sign_off(
        &mut self,
        inspector: Phone,
        slip: Slip,
        clear: Option<(Part, Part, Own)>,
    ) -> Result<Option<Posted>, String> {
        let car = self.car(slip.car);
        let by = self.inspector(inspector);
        let Some(page) = self.page(car, &by, true, slip.old_page).await? else { return Ok(None) };
        let gate = page.gate.clone().unwrap_or_default();
        let id = record_id(slip.nth * 10);
        let seen = self.seen(slip.seen, id, car, &page);
        let (kind, given) = match clear {
            Some((ticks, closes, own)) => ("clear", self.clear_words(&page, &gate, ticks, closes, own)),
            None => ("hold", Words { reason: format!("Look at {}", short(id)), ..Words::default() }),
        };
        let told = match clear {
            Some(_) => format!(
                ", ticked [{}], closed [{}] by {}{}",
                words_of(&given.by_hand),
                words_of(&given.closes),
                answers::told(&given.readings),
                given.seen_as.keys().map(|item| format!("; a sentence on {item}")).collect::<String>()
            ),
            None => String::new(),
        };
        let words = format!("{kind} {} of car {} by {}, seen [{}]{told}", short(id), self.number(car), by.name, list(&seen));
        let path = format!("/gate/{}/entries/{}/sign-offs", self.program.event, self.cars[car].entry);
        let carried = Carried::Form(gate.filled(id, &seen, &given, self.made(slip.made), clear.is_some()));
        let honest = slip.seen == Seen::AsThePageSays && !matches!(slip.made, Made::Year(_));
        // Every third is sent by the page's form, as a browser without script does.
        let by_script = !slip.nth.is_multiple_of(3);
        let content = Content::Words(given);
        Ok(Some(Posted { id, kind, car, by, path, carried, by_script, seen, content, page, honest, words }))
    }

    /// What an inspector ticks and gives on a page.
    fn clear_words(&self, page: &Open, gate: &GatePage, ticks: Part, closes: Part, own: Own) -> Words {
        let mut given = Words { by_hand: part(&gate.by_hand, ticks), closes: part(&gate.closes, closes), ..Words::default() };
        for item in gate.closes.iter().filter(|item| given.closes.contains(*item)) {
            let places: Vec<&str> = gate.readings.iter().filter(|(of, _)| of == item).map(|(_, place)| place.as_str()).collect();
            let wants_good = own != Own::BadReading;
            let reading = match own {
                Own::Reading | Own::BadReading => self.inspectors_reading(page, item, &places, gate.unit(item), wants_good),
                _ => None,
            };
            let says = matches!(own, Own::Sentence | Own::BadReading) || own == Own::Reading && reading.is_none();
            given.readings.extend(reading.map(|reading| (item.clone(), reading)));
            if says && gate.sentences.contains(item) {
                given.seen_as.insert(item.clone(), format!("I looked at {item}"));
            }
        }
        given
    }

    /// A reading at these places that keeps the limits of the page's edition, or breaks them; `None` where there is none.
    fn inspectors_reading(&self, page: &Open, item: &str, places: &[&str], unit: &str, good: bool) -> Option<Json> {
        let sheet = &self.editions[page.edition].1;
        let Some(Kind::Measure { unit: own, possible, .. }) = sheet.item(item).map(|item| &item.kind) else { return None };
        let unit = if places.is_empty() { return None } else { Unit::parse(unit) };
        let submission = self.of_car(page.car).filter(|stored| stored.kind == "submission").last()?;
        let given = self.editions.iter().find(|(id, _)| Some(*id) == submission.given_to()).map(|(_, sheet)| sheet)?;
        let tries = (1..40).map(|nth| possible.0 + (possible.1 - possible.0) * f64::from(nth * 7 % 40) / 40.0);
        let readings = tries.map(|value| {
            let value = json!((value * own.size() / unit.size() * 1e4).round() / 1e4);
            let at: Map<String, Json> = places.iter().map(|place| ((*place).to_owned(), value.clone())).collect();
            if places == [""] {
                json!({ "value": value, "unit": unit.token() })
            } else {
                json!({ "at": at, "unit": unit.token() })
            }
        });
        let fits = |reading: &Json| judge::still_found(sheet, given, &submission.answers(), item, sheet, reading) == Some(!good);
        readings.into_iter().find(fits)
    }

    pub async fn withdrawal(&mut self, slip: Slip) -> Result<Option<Posted>, String> {
        let car = self.car(slip.car);
        let by = self.program.organizer();
        let id = record_id(slip.nth * 10);
        let seen = if slip.old_page == 0 { self.stands(car).heads } else { BTreeSet::new() };
        let page = Open { cookie: by.cookie.clone(), car, seen, edition: self.force, as_of: self.as_of(car), gate: None };
        let seen = self.seen(slip.seen, id, car, &page);
        let reason = format!("Oil on the line {}", short(id));
        let field = |name: &str, text: &str| (name.to_owned(), text.to_owned());
        let fields = vec![field("id", &id.to_string()), field("seen", &list_of(&seen)), field("reason", &reason)];
        let path = format!("/club/events/{}/entries/{}/withdrawals", self.program.event, self.cars[car].entry);
        let words = format!("withdrawal {} of car {}, seen [{}]", short(id), self.number(car), list(&seen));
        let content = Content::Words(Words { reason, ..Words::default() });
        let carried = Carried::Form(fields);
        let posted =
            Posted { id, kind: "withdrawal", car, by, path, carried, by_script: false, seen, content, page, honest: true, words };
        Ok(Some(posted))
    }

    /// Sends a record on its way.
    pub async fn goes(&mut self, posted: Posted, way: Way) -> Result<(), String> {
        if way == Way::Waits {
            self.tell(format!("{} waits in the phone", posted.words));
            self.queue.push(posted);
            return Ok(());
        }
        let status = self.arrives(&posted).await?;
        let lost = if way == Way::AnswerLost { ", and the answer is lost" } else { "" };
        self.tell(format!("{}: answered {status}{lost}", posted.words));
        match way {
            Way::AnswerLost => self.queue.push(posted),
            Way::Twice => {
                let status = self.arrives(&posted).await?;
                self.tell(format!("the same once more: answered {status}"));
            }
            _ => {}
        }
        Ok(())
    }

    /// What waits in a queue arrives.
    pub async fn comes_from_queue(&mut self, which: usize) -> Result<(), String> {
        let posted = self.queue.remove(which);
        let status = self.arrives(&posted).await?;
        self.tell(format!("from a queue, {}: answered {status}", posted.words));
        Ok(())
    }

    /// One arrival: whether the program takes it or not is held against the rule.
    async fn arrives(&mut self, posted: &Posted) -> Result<u16, String> {
        let answer = self.program.post(&posted.path, &posted.by.cookie, &posted.carried, posted.by_script).await;
        no_fault(answer.status, &posted.words)?;
        if posted.by_script && !answer.is_taken() && !answer.is_json {
            return Err(format!("{}: JSON was asked for, and the refusal ({}) is none", posted.words, answer.status));
        }
        self.checks += 1;
        self.hold_against_the_rule(posted, answer.is_taken(), answer.status)?;
        let is_new = self.ledger.iter().all(|there| there.id != posted.id);
        if answer.is_taken() && is_new {
            self.ledger.push(posted.clone());
        }
        self.stored = self.program.stored().await.0;
        Ok(answer.status)
    }

    fn hold_against_the_rule(&self, posted: &Posted, taken: bool, status: u16) -> Result<(), String> {
        let (words, is_in) = (&posted.words, self.is_in(&posted.by));
        let broken = |why: &str| Err(format!("{words}: answered {status}, but {why}"));
        if let Some(there) = self.ledger.iter().find(|there| there.id == posted.id) {
            let same = there.kind == posted.kind
                && there.car == posted.car
                && there.seen == posted.seen
                && there.content == posted.content
                && there.by.link == posted.by.link;
            return match (same, taken) {
                (true, false) if is_in || posted.kind == "hold" => broken("it had been taken before: it must be answered alike"),
                (false, true) => broken("another record has its id"),
                _ => Ok(()),
            };
        }
        if closes_a_circle(&self.records(posted.car), posted.id, &posted.seen) {
            return if taken { broken("it closes a circle") } else { Ok(()) };
        }
        match (posted.kind, taken) {
            ("hold", false) => broken("a hold is always taken"),
            ("clear", true) if !is_in => broken("its device had been ended"),
            ("clear", true) if posted.page.edition != self.force => broken("its page was made by another edition"),
            ("clear", true) => {
                if let Content::Words(given) = &posted.content
                    && let Some(lacks) = self.lacks(posted.car, given)
                {
                    return broken(&lacks);
                }
                let after = self.would_stand(posted.car, posted);
                let why = format!("by the rule the car is then {}: {}", after.standing.word(), after.because);
                if after.standing == Standing::Cleared { Ok(()) } else { broken(&why) }
            }
            ("clear", false) => {
                let Content::Words(given) = &posted.content else { return Ok(()) };
                let fresh = posted.page.as_of == self.as_of(posted.car) && is_in && posted.honest;
                let fresh = fresh && self.lacks(posted.car, given).is_none();
                let cleared = fresh && self.would_stand(posted.car, posted).standing == Standing::Cleared;
                if cleared { broken("its maker saw everything and ticked everything that is asked") } else { Ok(()) }
            }
            ("submission", taken) => {
                let Content::Answers(_, given) = &posted.content else { return Ok(()) };
                let sheet = &self.editions[posted.page.edition].1;
                let complete = judge::say(sheet, sheet, given).complete;
                let may = is_in && posted.page.edition == self.force && complete;
                match (taken, may) {
                    (true, false) if !is_in => broken("its device had been ended"),
                    (true, false) if !complete => broken("it is not complete"),
                    (true, false) => broken("it was given for another edition"),
                    (false, true) if posted.honest => broken("nothing is wrong with it"),
                    _ => Ok(()),
                }
            }
            ("withdrawal", false) => {
                let entry = self.cars[posted.car].entry;
                let was_cleared = self.stored.iter().any(|stored| stored.entry == entry && stored.kind == "clear");
                if was_cleared { broken("a withdrawal is taken") } else { Ok(()) }
            }
            _ => Ok(()),
        }
    }
}

/// A fault of the program's own is never an answer.
pub fn no_fault(status: u16, what: &str) -> Result<(), String> {
    if status >= 500 { Err(format!("{what}: answered {status}")) } else { Ok(()) }
}

fn part(all: &[String], part: Part) -> BTreeSet<String> {
    let mut chosen: BTreeSet<String> = all.iter().cloned().collect();
    match part {
        Part::All => {}
        Part::None => chosen.clear(),
        Part::AllBut(which) => {
            if let Some(one) = all.get(usize::from(which) % all.len().max(1)) {
                chosen.remove(one);
            }
        }
        Part::More => chosen.extend(["pads", "leak", "nothing-of-the-kind"].map(str::to_owned)),
    }
    chosen
}

fn list_of(ids: &BTreeSet<uuid::Uuid>) -> String {
    ids.iter().map(uuid::Uuid::to_string).collect::<Vec<_>>().join(",")
}

fn list(ids: &BTreeSet<uuid::Uuid>) -> String {
    ids.iter().map(|id| short(*id)).collect::<Vec<_>>().join(" ")
}

fn words_of(words: &BTreeSet<String>) -> String {
    words.iter().cloned().collect::<Vec<_>>().join(" ")
}
