//! Photos of a line of the log or of a job.

use super::base;
use crate::acts::Refusal;
use crate::acts::garage::look::look;
use crate::acts::garage::photo;
use crate::rules::units::Units;
use crate::web::Web;
use crate::web::error::Fault;
use crate::web::form::At;
use crate::web::session::Who;
use crate::web::upload::{self, Part};
use axum::extract::multipart::MultipartRejection;
use axum::extract::{Multipart, State};
use axum::http::header;
use axum::response::{IntoResponse, Redirect, Response};
use uuid::Uuid;

pub(super) async fn show(State(web): State<Web>, Who(actor): Who, At((garage, id)): At<(Uuid, Uuid)>) -> Result<Response, Fault> {
    let jpeg = photo::jpeg(&web.house, &actor, garage, id).await?;
    let kind = [(header::CONTENT_TYPE, "image/jpeg"), (header::CACHE_CONTROL, "private, max-age=86400")];
    Ok((kind, jpeg).into_response())
}

/// Takes a photo in, of a line of the log or of a job, whichever has the id.
pub(super) async fn add(
    State(web): State<Web>,
    Who(actor): Who,
    At((garage, of)): At<(Uuid, Uuid)>,
    form: Result<Multipart, MultipartRejection>,
) -> Result<Response, Fault> {
    let looked = look(&web.house, &actor, garage, &Units::METRIC).await?;
    let job = looked.garage.job(of).map(|_| format!("{}/jobs/{of}", base(garage)));
    let line = looked.garage.cars.iter().find(|car| car.log.iter().any(|line| line.id == of));
    let to = job.or(line.map(|car| format!("{}/cars/{}/log", base(garage), car.id))).ok_or(Refusal::NotHere)?;
    let (parts, _place) = upload::received(&web, &actor, form).await?;
    for part in parts {
        if let Part::Photo(file) = part {
            photo::add(&web.house, &actor, garage, of, file.read()?).await?;
        }
    }
    Ok(Redirect::to(&to).into_response())
}
