//! The machine's own clock and chance, for what is measured and for a club that a process of its own serves.

use jiff::Timestamp;
use uuid::Uuid;
use witnessmark::acts::house::Outside;

pub struct Machine;

#[expect(clippy::disallowed_methods, reason = "a measurement wants the machine's own clock and chance")]
impl Outside for Machine {
    fn now(&self) -> Timestamp {
        Timestamp::now()
    }

    fn new_id(&self) -> Uuid {
        Uuid::now_v7()
    }

    fn new_secret(&self) -> [u8; 20] {
        let mut secret = [0; 20];
        getrandom::fill(&mut secret).expect("random bytes");
        secret
    }
}
