//! The garage's pages, under `/my/garage/{garage}`: a car's jobs, log and wear, and whether it will be ready.

mod blanks;
mod car;
mod days;
mod enter;
mod facts;
mod faults;
mod gear;
mod home;
mod job;
mod job_card;
mod jobs;
mod keep;
mod lines;
mod log;
mod opened;
mod parts;
mod photos;
mod plot;
mod still;
mod wear;
mod worksheet;

use crate::acts::rights::Deed;
use crate::rules::answer::Typed;
use crate::web::doors::Doors;
use crate::web::form::Form;
use uuid::Uuid;

pub(super) use still::{InGarage, Offered, offers};

/// A garage's address.
fn base(garage: Uuid) -> String {
    format!("/my/garage/{garage}")
}

/// The fields of a form by name.
fn typed_of(form: &Form) -> Typed {
    form.pairs().map(|(name, text)| (name.to_owned(), text.trim().to_owned())).collect()
}

/// The doors of a driver's sheet that lead to a garage, under `/my`.
pub(super) fn doors_of_sheet() -> Doors {
    Doors::new().get("/{entry}/garage", Deed::FillIn, enter::show).post("/{entry}/garage", Deed::FillIn, enter::enter).post(
        "/{entry}/areas/{area}/still",
        Deed::FillIn,
        still::confirm,
    )
}

/// The garage itself, under `/my/garage`.
pub(super) fn doors() -> Doors {
    let photo_file = crate::acts::add_photo::LARGEST + 64 * 1024;
    Doors::new()
        .get("/worksheets/{name}", Deed::LookIn, worksheet::to_garage)
        .get("/{garage}", Deed::KeepGarage, home::show)
        .get("/{garage}/hours", Deed::KeepGarage, home::hours)
        .post("/{garage}/hours", Deed::KeepGarage, home::keep_hours)
        .get("/{garage}/gear/new", Deed::KeepGarage, gear::new)
        .post("/{garage}/gear", Deed::KeepGarage, gear::add)
        .get("/{garage}/gear/{gear}", Deed::KeepGarage, gear::show)
        .post("/{garage}/gear/{gear}", Deed::KeepGarage, gear::keep)
        .post("/{garage}/gear/{gear}/gone", Deed::KeepGarage, gear::gone)
        .get("/{garage}/cars/new", Deed::KeepGarage, facts::new)
        .post("/{garage}/cars", Deed::KeepGarage, facts::add)
        .get("/{garage}/cars/{car}", Deed::KeepGarage, car::show)
        .get("/{garage}/cars/{car}/facts", Deed::KeepGarage, facts::show)
        .post("/{garage}/cars/{car}/facts", Deed::KeepGarage, facts::keep)
        .post("/{garage}/cars/{car}/gone", Deed::KeepGarage, facts::gone)
        .get("/{garage}/units", Deed::KeepGarage, crate::web::units::show)
        .post("/{garage}/units", Deed::KeepGarage, crate::web::units::choose)
        .get("/{garage}/sheets/{sheet}", Deed::KeepGarage, enter::to_the_sheet)
        .get("/{garage}/photos/{photo}", Deed::KeepGarage, photos::show)
        .get("/{garage}/worksheets/{name}", Deed::KeepGarage, worksheet::show)
        .post("/{garage}/worksheets/{name}", Deed::KeepGarage, worksheet::keep)
        .post_file("/{garage}/photos-of/{of}", Deed::KeepGarage, photo_file, photos::add)
        .and(doors_of_log())
        .and(doors_of_jobs())
        .and(doors_of_keeping())
}

fn doors_of_log() -> Doors {
    Doors::new()
        .get("/{garage}/cars/{car}/log", Deed::KeepGarage, log::show)
        .get("/{garage}/cars/{car}/log.csv", Deed::KeepGarage, log::file)
        .get("/{garage}/cars/{car}/log/import", Deed::KeepGarage, log::import)
        .post("/{garage}/cars/{car}/log/import", Deed::KeepGarage, log::take_in)
        .post("/{garage}/cars/{car}/log/{line}/strike", Deed::KeepGarage, lines::strike)
        .get("/{garage}/cars/{car}/readings/{kind}", Deed::KeepGarage, lines::reading)
        .post("/{garage}/cars/{car}/readings/{kind}", Deed::KeepGarage, lines::keep_reading)
        .get("/{garage}/cars/{car}/track", Deed::KeepGarage, lines::track)
        .post("/{garage}/cars/{car}/track", Deed::KeepGarage, lines::keep_track)
        .get("/{garage}/cars/{car}/fluids", Deed::KeepGarage, lines::fluid)
        .post("/{garage}/cars/{car}/fluids", Deed::KeepGarage, lines::keep_fluid)
        .get("/{garage}/cars/{car}/wear", Deed::KeepGarage, wear::show)
        .get("/{garage}/cars/{car}/days/new", Deed::KeepGarage, days::new)
        .post("/{garage}/cars/{car}/days", Deed::KeepGarage, days::add)
        .get("/{garage}/cars/{car}/days/{day}", Deed::KeepGarage, days::show)
        .get("/{garage}/cars/{car}/days/{day}/plan", Deed::KeepGarage, days::plan)
        .post("/{garage}/cars/{car}/days/{day}/plan", Deed::KeepGarage, days::keep_plan)
        .post("/{garage}/cars/{car}/days/{day}/packed", Deed::KeepGarage, days::packed)
        .post("/{garage}/cars/{car}/days/{day}/gone", Deed::KeepGarage, days::gone)
}

fn doors_of_jobs() -> Doors {
    Doors::new()
        .get("/{garage}/cars/{car}/jobs", Deed::KeepGarage, jobs::show)
        .get("/{garage}/cars/{car}/jobs/new", Deed::KeepGarage, job_card::new)
        .post("/{garage}/cars/{car}/jobs", Deed::KeepGarage, job_card::add)
        .get("/{garage}/jobs/{job}", Deed::KeepGarage, job::show)
        .get("/{garage}/jobs/{job}/card", Deed::KeepGarage, job_card::show)
        .post("/{garage}/jobs/{job}/card", Deed::KeepGarage, job_card::keep)
        .post("/{garage}/jobs/{job}/steps", Deed::KeepGarage, job::step)
        .post("/{garage}/jobs/{job}/steps/{step}/gone", Deed::KeepGarage, job::step_gone)
        .post("/{garage}/jobs/{job}/gone", Deed::KeepGarage, job::gone)
        .get("/{garage}/jobs/{job}/parts/new", Deed::KeepGarage, parts::new)
        .post("/{garage}/jobs/{job}/parts", Deed::KeepGarage, parts::add)
        .get("/{garage}/jobs/{job}/parts/{part}", Deed::KeepGarage, parts::show)
        .post("/{garage}/jobs/{job}/parts/{part}", Deed::KeepGarage, parts::keep)
        .post("/{garage}/jobs/{job}/parts/{part}/state", Deed::KeepGarage, parts::state)
        .post("/{garage}/jobs/{job}/parts/{part}/gone", Deed::KeepGarage, parts::gone)
        .get("/{garage}/jobs/{job}/done", Deed::KeepGarage, job::done)
        .post("/{garage}/jobs/{job}/done", Deed::KeepGarage, job::close)
        .get("/{garage}/jobs/{job}/reopen", Deed::KeepGarage, job::came_back)
        .post("/{garage}/jobs/{job}/reopen", Deed::KeepGarage, job::reopen)
        .get("/{garage}/cars/{car}/faults", Deed::KeepGarage, faults::list)
        .get("/{garage}/jobs/{job}/fault", Deed::KeepGarage, faults::show)
        .post("/{garage}/jobs/{job}/fault", Deed::KeepGarage, faults::tried_one)
}

fn doors_of_keeping() -> Doors {
    Doors::new()
        .get("/{garage}/keep", Deed::KeepGarage, keep::show)
        .post("/{garage}/keep/link", Deed::KeepGarage, keep::link)
        .post("/{garage}/keep/calendar", Deed::KeepGarage, keep::calendar)
        .post("/{garage}/keep/devices/{device}/end", Deed::KeepGarage, keep::end_device)
        .get("/{garage}/keep/garage.json", Deed::KeepGarage, keep::file)
        .post("/{garage}/keep/take-away", Deed::KeepGarage, keep::take_away)
        .post("/{garage}/sign-out", Deed::KeepGarage, keep::sign_out)
}

/// The calendar, which a telephone asks for without a cookie.
pub(super) fn doors_of_calendar() -> Doors {
    Doors::new().get("/{secret}", Deed::LookIn, keep::feed)
}
