//! Links just made: this is the only page on which they can be read, as text and as a code to scan.

use crate::acts::hand_out::HandedOut;
use crate::acts::house::KnownEvent;
use crate::output::csv::line;
use crate::store::entry::Entry;
use crate::web::Web;
use crate::web::code::Code;
use crate::web::draw::Plate;
use crate::web::page::{Clock, Page, render};
use askama::Template;

/// A link just made, with whom it is for.
pub(super) struct Made {
    number: String,
    name: String,
    mail: String,
    pub(super) url: String,
    once: bool,
    ends: Option<jiff::Timestamp>,
}

impl Made {
    pub(super) fn of(web: &Web, out: HandedOut) -> Made {
        Made {
            number: String::new(),
            name: out.link.holder,
            mail: String::new(),
            url: web.link(&out.secret),
            once: out.link.once,
            ends: out.link.ends_at,
        }
    }

    pub(super) fn for_entry(self, entry: Entry) -> Made {
        Made { number: entry.number.to_string(), name: entry.driver, mail: entry.mail, ..self }
    }
}

/// What the links let their holders in for.
#[derive(Clone, Copy, PartialEq, Eq)]
pub(super) enum For {
    Drivers,
    Inspector,
    Marshal,
}

impl For {
    fn back(self) -> &'static str {
        if self == For::Drivers { "roster" } else { "people" }
    }
}

#[derive(Template)]
#[template(path = "organizer/links.html")]
struct Links<'a> {
    known: &'a KnownEvent,
    clock: Clock,
    made: Vec<Made>,
    what: For,
    /// The links as a CSV file, to copy into a mail program.
    csv: String,
}

pub(super) fn show_links(known: &KnownEvent, made: Vec<Made>, what: For) -> Page {
    let csv = links_csv(&made);
    render(&Links { known, clock: Clock::of(&known.event), made, what, csv })
}

pub(super) fn links_csv(made: &[Made]) -> String {
    let rows = made.iter().map(|one| line([&one.number, &one.name, &one.mail, &one.url]));
    std::iter::once(line(["number", "name", "mail", "link"])).chain(rows).collect()
}
