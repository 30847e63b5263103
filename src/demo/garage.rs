//! The demo's garage: weeks of work on an older road car before its next day.

use crate::acts::enter::Caller;
use crate::acts::garage::note::{Noting, note};
use crate::acts::garage::open::open;
use crate::acts::rights::Actor;
use crate::acts::{House, Refusal};
use crate::rules::answer::Typed;
use crate::rules::car_system::CarSystem;
use crate::rules::garage::change::{Change, JobCard, PartState, Readings, Taken};
use crate::rules::garage::kinds::{Fluid, GearKind, ReadingKind};
use crate::rules::garage::log::days_later;
use jiff::civil::{Date, time};
use std::collections::BTreeMap;
use uuid::Uuid;

/// What a garage is filled with, change by change.
struct Filling<'a> {
    house: &'a House,
    car: Uuid,
    today: Date,
    changes: Vec<Noting>,
}

impl Filling<'_> {
    fn put(&mut self, change: Change) {
        self.changes.push((self.house.new_id(), change));
    }

    fn day(&self, days: i64) -> Date {
        days_later(self.today, days)
    }

    fn read(&mut self, days: i64, what: ReadingKind, unit: &str, at: &[(&str, f64)], fresh: bool) {
        let at: BTreeMap<String, f64> = at.iter().map(|(place, value)| ((*place).to_owned(), *value)).collect();
        let readings = Readings { what, unit: unit.into(), at, fresh, note: String::new(), from: String::new() };
        let taken = Taken { day: self.day(days), clock: Some(time(18, 0, 0, 0)) };
        self.put(Change::Readings { car: self.car, taken, readings });
    }

    fn drove(&mut self, days: i64, sessions: u16) {
        let taken = Taken { day: self.day(days), clock: None };
        let minutes = f64::from(sessions) * 20.0;
        self.put(Change::Track { car: self.car, taken, minutes, sessions, note: String::new() });
    }

    fn job(&mut self, card: JobCard) -> Uuid {
        let job = self.house.new_id();
        self.put(Change::Job { job, car: self.car, card });
        job
    }

    fn part(&mut self, job: Uuid, name: &str, cents: u64, lead_days: u16, is: PartState) {
        let part = self.house.new_id();
        self.put(Change::Part { job, part, name: name.into(), price_cents: Some(cents), lead_days, is });
    }
}

fn card(title: &str, system: CarSystem, found: &str, cause: &str, hours: f64) -> JobCard {
    JobCard {
        title: title.into(),
        system,
        found: found.into(),
        cause: cause.into(),
        next_test: String::new(),
        hours,
        must: true,
        after: Vec::new(),
        symptom: None,
        item: None,
    }
}

/// Opens a garage from a driver's entry and fills it. Gives the link's secret.
pub(super) async fn make(house: &House, driver: &Actor, entry: Uuid, today: Date) -> Result<String, Refusal> {
    let opened =
        open(house, driver, entry, house.new_id(), &Caller { kind: "Linux computer".into(), ..Caller::default() }).await?;
    let keeper = &opened.entered.actor;
    let looked = crate::acts::garage::look::look(house, keeper, opened.garage, &crate::rules::units::Units::METRIC).await?;
    let car = looked.garage.cars.first().ok_or(Refusal::NotHere)?.id;
    let mut filling = Filling { house, car, today, changes: Vec::new() };
    about(&mut filling);
    log(&mut filling);
    jobs(&mut filling);
    note(house, keeper, opened.garage, filling.changes).await?;
    Ok(opened.secret)
}

fn about(filling: &mut Filling<'_>) {
    let one = |text: &str| Typed::from([(String::new(), text.to_owned())]);
    let facts = BTreeMap::from([
        ("roof".into(), one("closed")),
        ("brake-kind".into(), one("discs")),
        ("restraint".into(), one("road")),
        ("torque-asked".into(), Typed::from([(String::new(), "110".into()), ("unit".into(), "N.m".into())])),
        ("tyre-marking".into(), one("205/50 R16 87V")),
        ("disc-minimum".into(), Typed::from([(String::new(), "22.4".into()), ("unit".into(), "mm".into())])),
        ("fluid-grade".into(), one("dot4")),
        ("oil-grade".into(), one("5W-40, 4.3 l with the filter")),
    ]);
    filling.put(Change::Facts { car: filling.car, facts });
    let made = days_later(filling.today, -900);
    let gear = filling.house.new_id();
    let (label, date) = ("SA2020".to_owned(), made.strftime("%Y-%m").to_string());
    filling.put(Change::Gear { gear, what: GearKind::Helmet, name: "The white one".into(), label, date, valid_until: false });
    let week = [1.5, 0.0, 1.5, 0.0, 1.0, 5.0, 3.0];
    filling.put(Change::Settings { week, many_hands: false, currency: "EUR".into() });
    for (days, name) in [(-62, "Opening day"), (-27, "Evening at Dunmere")] {
        let day = filling.day(days);
        let track_day = filling.house.new_id();
        filling.put(Change::Day {
            track_day,
            car: filling.car,
            name: name.into(),
            day,
            sessions: 6,
            session_min: 20.0,
            entry: None,
        });
    }
}

fn log(filling: &mut Filling<'_>) {
    use ReadingKind::{Compression, FluidBoil, LeakDown, Pad, Tread};
    let four = |lf, rf, lr, rr| [("lf", lf), ("rf", rf), ("lr", lr), ("rr", rr)];
    filling.read(-70, Pad, "mm", &four(11.0, 11.0, 9.5, 9.5), true);
    filling.read(-70, Tread, "mm", &four(6.8, 6.8, 7.0, 7.1), true);
    filling.put(Change::Changed {
        car: filling.car,
        taken: Taken { day: filling.day(-70), clock: None },
        fluid: Fluid::BrakeFluid,
        grade: "DOT 4".into(),
        note: "All of it, front to back".into(),
    });
    filling.read(-69, FluidBoil, "C", &[("", 251.0)], false);
    filling.drove(-62, 3);
    filling.read(-61, Pad, "mm", &four(9.6, 9.8, 9.1, 9.1), false);
    filling.read(-61, Tread, "mm", &four(6.2, 6.1, 6.6, 6.7), false);
    filling.drove(-50, 2);
    filling.read(-49, Pad, "mm", &four(8.9, 9.0, 8.8, 8.9), false);
    filling.drove(-27, 6);
    filling.read(-26, Pad, "mm", &four(6.0, 6.3, 7.9, 8.0), false);
    filling.read(-26, Tread, "mm", &four(4.6, 4.7, 5.7, 5.8), false);
    filling.read(-26, FluidBoil, "C", &[("", 232.0)], false);
    filling.read(-20, LeakDown, "%", &[("1", 8.0), ("2", 9.0), ("3", 17.0), ("4", 8.0)], false);
    filling.read(-20, Compression, "kPa", &[("1", 1240.0), ("2", 1230.0), ("3", 1120.0), ("4", 1250.0)], false);
    filling.read(-6, FluidBoil, "C", &[("", 219.0)], false);
}

fn jobs(filling: &mut Filling<'_>) {
    let drips = "Fresh drops under the front after every drive, the highest wet spot at the back of the cam cover.";
    let leak = filling.job(JobCard {
        symptom: Some("oil-drips".into()),
        ..card("Oil drips at the front", CarSystem::Engine, drips, "Cam cover gasket", 3.0)
    });
    filling.part(leak, "Cam cover gasket", 3450, 4, PartState::Ordered { here_on: filling.day(2) });
    filling.part(leak, "Sealant", 890, 1, PartState::ToOrder);
    for say in
        ["Clean and look again after ten minutes of idle", "Gasket out, faces clean", "Torque in the order of the handbook"]
    {
        let step = filling.house.new_id();
        filling.put(Change::Step { job: leak, step, say: say.into(), done: say.starts_with("Clean") });
    }
    let pads = filling.job(card("Front pads", CarSystem::Brakes, "The log: they do not last the next day.", "", 2.0));
    filling.part(pads, "Front pads, track compound", 14900, 9, PartState::ToOrder);
    let bleed =
        filling.job(JobCard { after: vec![pads], ..card("Bleed the brakes", CarSystem::Brakes, "After the pads.", "", 1.5) });
    filling.part(bleed, "Brake fluid, 1 l", 1900, 2, PartState::Here);
    let fan = filling.job(card(
        "Temperature climbs in traffic",
        CarSystem::Cooling,
        "Needle past the middle at idle.",
        "Thermostat",
        1.5,
    ));
    filling.put(Change::Done {
        job: fan,
        what: "New thermostat, system bled.".into(),
        shown_by: "Twenty minutes at idle, the needle in the middle.".into(),
    });
    filling.put(Change::Reopened { job: fan, why: "Climbed again at idle on the way home, and the fan never ran.".into() });
    let guess = JobCard {
        cause: "Fan relay".into(),
        ..card("Temperature climbs in traffic", CarSystem::Cooling, "Needle past the middle at idle.", "", 1.0)
    };
    filling.put(Change::Job { job: fan, car: filling.car, card: guess });
    filling.job(JobCard { must: false, ..card("Creak of the driver's door", CarSystem::Body, "Every time.", "", 0.5) });
}
