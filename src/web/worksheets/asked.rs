//! What the address of a worksheet's page holds: the units and what was typed.

use super::system_by;
use crate::rules::units::Units;
use crate::rules::worksheet_form::{Blank, BlankTrouble, Form, System, close_up};
use crate::rules::worksheet_input::shorten;
use crate::web::error::Fault;
use axum::http::StatusCode;
use std::collections::BTreeMap;

/// The longest query read, in bytes: every field of the longest form filled in is a quarter of it.
const LONGEST: usize = 8 * 1024;

/// A worksheet as it was asked for.
pub(super) struct Asked {
    pub system: System,
    pub typed: BTreeMap<String, String>,
    /// Troubles that are the address's own, not the worksheet's.
    pub troubles: Vec<BlankTrouble>,
    /// Names in the address that this worksheet does not have.
    pub passed_over: Vec<String>,
}

/// The system that a word in an address names.
pub(super) fn system_of(word: &str) -> Option<System> {
    [System::Metric, System::Us].into_iter().find(|system| system.word() == word)
}

/// Reads the query of a worksheet's page.
///
/// An address with figures and no units is metric for everybody, whatever units this browser prefers: a link means the
/// same to all who open it.
pub(super) fn read(form: &Form, query: &str, chosen: &Units) -> Result<Asked, Fault> {
    if query.len() > LONGEST {
        return Err(Fault::new(
            StatusCode::URI_TOO_LONG,
            "This address is too long",
            "No worksheet asks for so much. Open the worksheet again from the list.",
        ));
    }
    let known: Vec<String> = form.blanks.iter().flat_map(Blank::fields).collect();
    let mut asked = Asked { system: System::Metric, typed: BTreeMap::new(), troubles: Vec::new(), passed_over: Vec::new() };
    let mut units: Option<String> = None;
    for (name, text) in pairs(query)? {
        if name == "units" {
            units.get_or_insert(text);
        } else if !known.contains(&name) {
            asked.passed_over.push(shorten(&name));
        } else if asked.typed.get(&name).is_some_and(|before| *before != text) {
            asked
                .troubles
                .push(BlankTrouble { field: name, message: "This is given twice in the address: type it once.".into() });
        } else {
            asked.typed.insert(name, text);
        }
    }
    asked.typed = close_up(form, &asked.typed);
    let empty = asked.typed.values().all(|text| text.trim().is_empty());
    match units.as_deref().map(system_of) {
        Some(Some(system)) => asked.system = system,
        None | Some(None) if empty => asked.system = system_by(chosen),
        None => {}
        Some(None) => {
            let message = "The address names units that are neither metric nor us. Choose one of them.";
            asked.troubles.push(BlankTrouble { field: "units".into(), message: message.into() });
        }
    }
    Ok(asked)
}

/// Names and texts of a query, refused where they are no UTF-8.
fn pairs(query: &str) -> Result<Vec<(String, String)>, Fault> {
    let pairs: Vec<(String, String)> = form_urlencoded::parse(query.as_bytes()).into_owned().collect();
    // The reader puts this character where bytes are no UTF-8. Somebody who really typed it sends it spelt out.
    let odd = |odd: char| pairs.iter().any(|(name, text)| name.contains(odd) || text.contains(odd));
    let typed = query.as_bytes().windows(9).any(|window| window.eq_ignore_ascii_case(b"%EF%BF%BD"));
    if (odd('\u{FFFD}') && !typed) || odd('\0') {
        return Err(Fault::new(
            StatusCode::BAD_REQUEST,
            "This address cannot be read",
            "It was cut or changed on its way. Ask for the link again, or open the worksheet from the list.",
        ));
    }
    Ok(pairs)
}
