//! A day on which something is due: to order, to begin, to go.

use jiff::civil::Date;
use uuid::Uuid;

/// Something that is due on a day.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Due {
    /// Its own for ever: by this a telephone knows that a day was moved and is no second one.
    pub uid: Uuid,
    pub day: Date,
    pub title: String,
    pub notes: String,
}
