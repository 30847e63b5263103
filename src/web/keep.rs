//! What a device may keep of an answer: told with the answer itself, in one header. What does not say so is not kept.
//!
//! `x-keep: part=/gate/EVENT link=LINK now=MS until=MS unsent=MS program=VERSION`. The part of the site and the link say whose it
//! is; `until` when copies end, `unsent` when what was never sent does; `now` is the server's clock, by which a device tells ages
//! (its own may be wrong); `program` names the set of scripts and styles that the page needs. Times are milliseconds since
//! 1970-01-01 UTC.

use super::session::home_of;
use super::{Web, assets};
use crate::acts::Actor;
use crate::acts::phones::kept;
use axum::http::{HeaderName, HeaderValue};
use axum::response::Response;

const KEEP: HeaderName = HeaderName::from_static("x-keep");

/// Tells with an answer how long this person's device may keep it.
pub(super) async fn tell(web: &Web, actor: &Actor, mut response: Response) -> Response {
    let Ok(Some(kept)) = kept(&web.house, actor.role).await else { return response };
    let (part, link, program) = (home_of(actor.role), actor.link, assets::version());
    let [now, until, unsent] = [web.house.now(), kept.until, kept.unsent_until].map(|time| time.as_millisecond());
    let words = format!("part={part} link={link} now={now} until={until} unsent={unsent} program={program}");
    if let Ok(words) = HeaderValue::from_str(&words) {
        response.headers_mut().insert(KEEP, words);
    }
    response
}
