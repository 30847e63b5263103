//! The invented club of the demo, made only through the same acts that the pages call.

mod answers;
mod garage;
mod people;

use crate::acts::enter::{Caller, enter};
use crate::acts::hand_out::{self, Drivers, HandedOut, Use};
use crate::acts::house::Outside;
use crate::acts::open_event::{EventForm, open_event};
use crate::acts::rights::Actor;
use crate::acts::set_up::set_up_for;
use crate::acts::sign_off::{SignOff, by_hand, sign_off};
use crate::acts::submit::{Submission, submit};
use crate::acts::take_roster::take_roster;
use crate::acts::withdraw::{Withdrawal, withdraw};
use crate::acts::{House, Refusal, fill_in, state};
use crate::rules::sheet::Sheet;
use crate::rules::units::Units;
use crate::store::club;
use crate::store::draft::Draft;
use crate::store::entry::Entry;
use answers::{Fault, answers};
use jiff::civil::Date;
use jiff::tz::TimeZone;
use jiff::{Timestamp, ToSpan};
use people::{CLUB, roster};
use serde_json::{Map, Value as Json};
use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;
use std::sync::atomic::{AtomicI64, Ordering};
use uuid::Uuid;

/// A clock that the demo sets back while it plays the morning, and that then runs on as the machine's.
pub struct DemoClock {
    outside: Arc<dyn Outside>,
    /// How far it is set back, in milliseconds.
    back: AtomicI64,
}

impl DemoClock {
    pub fn new(outside: Arc<dyn Outside>) -> Arc<DemoClock> {
        Arc::new(DemoClock { outside, back: AtomicI64::new(0) })
    }

    fn set_back(&self, minutes: i64) {
        self.back.store(minutes * 60_000, Ordering::Relaxed);
    }
}

impl Outside for DemoClock {
    fn now(&self) -> Timestamp {
        let now = self.outside.now();
        now.checked_sub(self.back.load(Ordering::Relaxed).milliseconds()).unwrap_or(now)
    }

    fn new_id(&self) -> Uuid {
        self.outside.new_id()
    }

    fn new_secret(&self) -> [u8; 20] {
        self.outside.new_secret()
    }
}

/// The links of a demo, to open.
pub struct Made {
    organizer: String,
    inspector: String,
    marshal: String,
    /// What to see, and the link's secret.
    drivers: Vec<(String, String)>,
    garage: String,
}

impl Made {
    /// The links in words; `link` makes an address of a secret.
    pub fn describe(&self, link: impl Fn(&str) -> String) -> String {
        let mut text = format!("{CLUB}: an invented club. Open these; one browser can hold them all.\n\n");
        text += &format!("  organizer   the board, live                    {}\n", link(&self.organizer));
        text += &format!("  inspector   the gate                           {}\n", link(&self.inspector));
        text += &format!("  marshal     the grid                           {}\n", link(&self.marshal));
        for (what, secret) in &self.drivers {
            text += &format!("  driver      {what:<34} {}\n", link(secret));
        }
        text += &format!("  garage      {:<34} {}\n", "weeks before the next event", link(&self.garage));
        text
    }
}

/// Plausible answers of a sound closed car to a sheet, for trying a sheet out: nothing is found, nothing is missing.
pub fn sound_answers(sheet: &Sheet, on: Date) -> Map<String, Json> {
    answers(sheet, on, 1, "", None)
}

/// What becomes of an entry in the demo.
enum Fate {
    /// The link was never used.
    Untouched,
    /// Half of the sheet is typed, nothing is sent.
    Half,
    Waits(Option<Fault>),
    Cleared,
    /// Sent with a fault, mended, sent again, cleared.
    Mended(Fault),
    /// Sent with a fault that the inspector saw put right.
    PutRight(Fault),
    Held(&'static str),
    TakenBack(&'static str),
}

/// The fates of the day's sixty, in an order that mixes them; the first entries are those whose links are printed.
fn fates() -> Vec<Fate> {
    use Fate::*;
    let mut fates = vec![Half, Waits(Some(Fault::PadAndOldTyre)), Mended(Fault::ThinPad)];
    for nth in 0..57 {
        fates.push(match nth % 19 {
            0 => Waits(None),
            1 => Mended(Fault::OilLeak),
            2 => Held(
                ["Coolant drops from the hose at the radiator.", "Battery moves under its strap.", "Left brake lamp is out."]
                    [nth / 19],
            ),
            3 => Waits(Some([Fault::LampUnderLoad, Fault::OldHelmet, Fault::LowTorque][nth / 19])),
            4 => Half,
            5 | 6 => Untouched,
            7 if nth < 19 => TakenBack("Smoke from the left rear after session one."),
            8 => PutRight(Fault::LowTorque),
            9 => Waits(Some(Fault::OldFluid)),
            10 => Waits(None),
            _ => Cleared,
        });
    }
    fates
}

/// A person of the demo on a device of their own.
async fn come_in(house: &House, out: &HandedOut) -> Result<Actor, Refusal> {
    Ok(enter(house, &out.secret, Caller { kind: "Android phone".into(), ..Caller::default() }).await?.actor)
}

/// Makes the club, its two events, and a morning's work at the gate.
pub async fn make(house: &House, clock: &DemoClock) -> Result<Made, Refusal> {
    clock.set_back(60 * 24 * 9);
    let first = set_up_for(house, CLUB, "M. Ashdown", Use::Often)
        .await?
        .ok_or_else(|| Refusal::NotNow("this database has a club already".into()))?;
    let organizer = come_in(house, &first).await?;
    let edition = {
        let mut db = house.store.read().await?;
        club::editions(&mut db).await?.first().map(|edition| edition.id).ok_or(Refusal::NotHere)?
    };
    clock.set_back(0);
    let today = house.now().to_zoned_datetime(TimeZone::get("Europe/London").unwrap_or(TimeZone::UTC)).date();
    let later = today.checked_add(24.days()).unwrap_or(today);
    clock.set_back(60 * 24 * 9);
    let form = |name: &str, venue: &str, day: jiff::civil::Date| EventForm {
        name: name.into(),
        venue: venue.into(),
        day: day.to_string(),
        zone: "Europe/London".into(),
        groups: "A 08:50\nB 09:20\nC 09:50".into(),
        edition: edition.to_string(),
    };
    let day = open_event(house, &organizer, &form("Spring day", "Dunmere Ring", today)).await?;
    let next = open_event(house, &organizer, &form("Long day", "Ferrow Hill", later)).await?;
    take_roster(house, &organizer, day, roster(60, 0).into_bytes()).await?;
    take_roster(house, &organizer, next, roster(58, 60).into_bytes()).await?;

    let lanes = [
        hand_out::to_inspector_for(house, &organizer, day, "R. Holt, lane 1", Use::Often).await?,
        hand_out::to_inspector(house, &organizer, day, "S. Vane, lane 2").await?,
    ];
    let inspectors = [come_in(house, &lanes[0]).await?, come_in(house, &lanes[1]).await?];
    let marshal = hand_out::to_marshal(house, &organizer, day, "Pit exit").await?;
    let drivers = hand_out::to_drivers(house, &organizer, day, Drivers::WithoutLink).await?;
    // A session that nobody used for days has ended: the organizer signs in anew on the day.
    clock.set_back(120);
    let on_the_day = come_in(house, &first).await?;
    let morning = Morning { house, clock, organizer: &on_the_day, inspectors: &inspectors };
    let mut printed = Vec::new();
    // The roster comes back with numbers in order; the first of these three carry the stories that are printed.
    for (nth, ((entry, out), fate)) in drivers.iter().zip(fates()).enumerate() {
        let what = match nth {
            0 => "half way through the sheet",
            1 => "not ready: pad and tyre",
            2 => "cleared this morning",
            _ => "",
        };
        if !what.is_empty() {
            printed.push((format!("car {}, {what}", entry.number), out.secret.clone()));
        }
        morning.play(nth as i64, entry, out, fate).await?;
    }
    let coming = hand_out::to_drivers(house, &on_the_day, next, Drivers::WithoutLink).await?;
    for (nth, (entry, out)) in coming.iter().enumerate().filter(|(nth, _)| nth % 4 == 0) {
        let fault = [None, Some(Fault::OldTyre), None, Some(Fault::OldHelmet)][nth / 4 % 4];
        morning.play(nth as i64, entry, out, if nth % 8 == 0 { Fate::Waits(fault) } else { Fate::Half }).await?;
    }
    clock.set_back(0);
    // One of those who have not begun their sheet: the garage offers it what is fixed about the car.
    let (entry, out) = coming.get(2).ok_or(Refusal::NotHere)?;
    let garage = garage::make(house, &come_in(house, out).await?, entry.id, today).await?;
    Ok(Made { organizer: first.secret, inspector: lanes[0].secret.clone(), marshal: marshal.secret, drivers: printed, garage })
}

/// Everybody who acts in the demo's morning.
struct Morning<'a> {
    house: &'a House,
    clock: &'a DemoClock,
    organizer: &'a Actor,
    inspectors: &'a [Actor; 2],
}

impl Morning<'_> {
    /// Minutes ago at which an entry's next thing happens: drivers send over an hour and a half, the gate follows.
    fn at(&self, nth: i64, step: i64) {
        self.clock.set_back((100 - nth - step * 9).max(1));
    }

    async fn play(&self, nth: i64, entry: &Entry, out: &HandedOut, fate: Fate) -> Result<(), Refusal> {
        if matches!(fate, Fate::Untouched) {
            return Ok(());
        }
        let driver = come_in(self.house, out).await?;
        let inspector = &self.inspectors[(nth % 2) as usize];
        self.at(nth, 0);
        match fate {
            Fate::Untouched => {}
            Fate::Half => self.type_half(&driver, entry, nth).await?,
            Fate::Waits(fault) => self.send(&driver, entry, nth, fault).await?,
            Fate::Cleared => {
                self.send(&driver, entry, nth, None).await?;
                self.at(nth, 1);
                self.sign(inspector, entry, true, "").await?;
            }
            Fate::Mended(fault) => {
                self.send(&driver, entry, nth, Some(fault)).await?;
                self.at(nth, 1);
                self.send(&driver, entry, nth, None).await?;
                self.at(nth, 2);
                self.sign(inspector, entry, true, "").await?;
            }
            Fate::PutRight(fault) => {
                self.send(&driver, entry, nth, Some(fault)).await?;
                self.at(nth, 1);
                self.sign(inspector, entry, true, "Put right in the lane, seen.").await?;
            }
            Fate::Held(reason) => {
                self.send(&driver, entry, nth, None).await?;
                self.at(nth, 1);
                self.sign(inspector, entry, false, reason).await?;
            }
            Fate::TakenBack(reason) => {
                self.send(&driver, entry, nth, None).await?;
                self.at(nth, 1);
                self.sign(inspector, entry, true, "").await?;
                self.at(nth, 4);
                let given =
                    Withdrawal { id: self.house.new_id(), seen: self.heads(entry).await?, made_at: None, reason: reason.into() };
                withdraw(self.house, self.organizer, entry.id, given).await?;
            }
        }
        Ok(())
    }

    async fn answers(&self, entry: &Entry, nth: i64, fault: Option<Fault>) -> Result<Map<String, Json>, Refusal> {
        let known = self.house.event(entry.event).await?;
        Ok(answers(&known.edition.sheet, known.event.day, nth as u64, &entry.car, fault))
    }

    async fn send(&self, driver: &Actor, entry: &Entry, nth: i64, fault: Option<Fault>) -> Result<(), Refusal> {
        let known = self.house.event(entry.event).await?;
        let answers = Some(self.answers(entry, nth, fault).await?);
        let (id, seen) = (self.house.new_id(), self.heads(entry).await?);
        submit(self.house, driver, entry.id, Submission { id, seen, edition: known.edition.id, made_at: None, answers }).await?;
        Ok(())
    }

    async fn type_half(&self, driver: &Actor, entry: &Entry, nth: i64) -> Result<(), Refusal> {
        let known = self.house.event(entry.event).await?;
        let given = self.answers(entry, nth, (nth == 0).then_some(Fault::ThinPad)).await?;
        let half = known.edition.sheet.items().take(34).filter_map(|item| {
            let answer = crate::rules::answer::from_json(item, given.get(item.id.as_str())?, jiff::civil::Date::MAX).ok()??;
            Some((item.id.to_string(), answer.to_typed()))
        });
        fill_in::keep(self.house, driver, entry.id, half.collect::<Draft>()).await
    }

    async fn heads(&self, entry: &Entry) -> Result<Vec<Uuid>, Refusal> {
        let known = self.house.event(entry.event).await?;
        Ok(state::read(self.house, &known, entry.id, &Units::METRIC).await?.judgement.heads)
    }

    async fn sign(&self, inspector: &Actor, entry: &Entry, clear: bool, reason: &str) -> Result<(), Refusal> {
        let known = self.house.event(entry.event).await?;
        let seen = state::read(self.house, &known, entry.id, &Units::METRIC).await?;
        let closes: BTreeSet<String> =
            if clear { seen.judgement.still_open.iter().map(ToString::to_string).collect() } else { BTreeSet::new() };
        let by_hand =
            if clear { by_hand(&known, &seen).iter().map(|item| item.id.to_string()).collect() } else { BTreeSet::new() };
        let id = self.house.new_id();
        let given = SignOff {
            id,
            maker_link: Some(inspector.link),
            clear,
            edition: Some(known.edition.id),
            seen: seen.judgement.heads,
            made_at: None,
            reason: reason.into(),
            seen_as: closes.iter().map(|item| (item.clone(), "Looked at it on the car: it is put right".to_owned())).collect(),
            readings: BTreeMap::new(),
            closes,
            by_hand,
            photos: BTreeSet::new(),
        };
        sign_off(self.house, inspector, entry.id, given).await?;
        Ok(())
    }
}
