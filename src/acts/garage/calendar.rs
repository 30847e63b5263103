//! The days on which something is due in a garage, for a telephone's calendar.

use super::look::{Looked, read};
use crate::acts::Refusal;
use crate::acts::enter::digest_of;
use crate::acts::house::House;
use crate::rules::garage::change::PartState;
use crate::rules::garage::due::Due;
use crate::rules::garage::log::days_later;
use crate::rules::garage::ready::{hours, judge_piece, work};
use crate::rules::gear::judge_label;
use crate::rules::units::Units;
use crate::rules::words::count;
use crate::store::garage;
use jiff::civil::Date;
use uuid::Uuid;

/// Gear is due for a look so many days before its end.
const GEAR_DAYS_BEFORE: i64 = 30;

/// The most days of a calendar, the soonest: its address is asked for without a cookie, again and again.
const MOST_DUES: usize = 1000;

/// The due days of the garage whose calendar has this secret.
///
/// # Errors
/// [`Refusal::NotHere`] for a secret that is unknown or was ended.
pub async fn by_secret(house: &House, secret: &str) -> Result<Vec<Due>, Refusal> {
    let digest = digest_of(secret).ok_or(Refusal::NotHere)?;
    let id = {
        let mut db = house.store.read().await?;
        garage::by_calendar(&mut db, digest).await?.ok_or(Refusal::NotHere)?
    };
    Ok(dues(&read(house, id, &Units::METRIC).await?))
}

/// An id of a due day that stays the same: the thing's own, turned by what is due of it.
fn id_of(thing: Uuid, what: u8) -> Uuid {
    let mut bytes = thing.into_bytes();
    bytes[15] ^= what;
    Uuid::from_bytes(bytes)
}

/// Everything that is due from today on.
pub fn dues(looked: &Looked) -> Vec<Due> {
    let mut dues = Vec::new();
    let mut due = |thing: Uuid, what: u8, day: Date, title: String, notes: String| {
        dues.push(Due { uid: id_of(thing, what), day, title, notes });
    };
    for car in looked.garage.cars.iter().filter(|car| !car.gone) {
        for day in car.days.iter().filter(|day| day.day >= looked.today) {
            due(day.id, 0, day.day, format!("{}: {}", car.name, day.name), format!("{} sessions planned.", day.sessions));
        }
        let Some(next) = car.next_day(looked.today) else { continue };
        let Ok(work) = work(&looked.garage, car, looked.today, next.day) else { continue };
        for (job, task) in work.jobs.iter().zip(&work.plan.tasks) {
            // What should have begun is due today.
            let begin = task.latest_start.max(looked.today);
            let notes = format!("{} of work, to be done for {}.", hours(job.card.hours), next.name);
            due(job.id, 1, begin, format!("{}: begin {}", car.name, job.card.title), notes);
            for (part, planned) in job.parts.iter().zip(&task.parts) {
                match (part.is, planned.order_by) {
                    (PartState::ToOrder, Some(by)) => {
                        let title = format!("{}: order {}", car.name, part.name);
                        due(
                            part.id,
                            2,
                            by.max(looked.today),
                            title,
                            format!("{} to come, for {}.", count(part.lead_days.into(), "day", "days"), job.card.title),
                        );
                    }
                    (PartState::Ordered { here_on }, _) if here_on >= looked.today => {
                        due(part.id, 3, here_on, format!("{}: {} should be here", car.name, part.name), job.card.title.clone());
                    }
                    _ => {}
                }
            }
        }
    }
    let policy = &looked.newest.sheet.gear;
    for piece in &looked.garage.gear {
        let date = (!piece.date.is_empty()).then_some(piece.date.as_str());
        let life = judge_label(policy, piece.what.token(), &piece.label, date, piece.valid_until, looked.today).ok();
        if let Some(ends) = life.and_then(|life| life.ends).filter(|ends| *ends >= looked.today) {
            let (_, why) = judge_piece(piece, policy, looked.today);
            due(
                piece.id,
                4,
                days_later(ends, -GEAR_DAYS_BEFORE).max(looked.today),
                format!("{} runs out on {ends}", piece.name),
                why,
            );
        }
    }
    dues.sort_by_key(|due| (due.day, due.uid));
    dues.truncate(MOST_DUES);
    dues
}
