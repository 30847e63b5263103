//! Forms for the organizer: how many cars to look at, how long the gate takes.

use super::{Blank, Form, Outcome, Subject};

pub(super) static SPOT_CHECK: Form = Form {
    name: "spot-check",
    title: "Spot checks",
    subject: Subject::Gate,
    says: "How many cars to draw so that a clean sample says something of all of them.",
    hurts: "",
    caution: "It holds only for cars drawn at random, by lot and not by look. A clean sample clears no single car.",
    formula: "With one bad car more than tolerated among all, the chance that none is drawn is C(N - D, n) / C(N, n). The sample is the smallest \
              n at which that is at most 1 - confidence.",
    assumes: "Drawn at random, without putting back; a bad car that is drawn is seen to be bad.",
    source: "Hypergeometric distribution, checked against scipy 1.17.1.",
    well: "Worked out",
    headline: true,
    folds: "Seldom needed",
    rows: None,
    example: &[("cars", "60"), ("tolerated_bad", "2")],
    blanks: &[
        Blank::count("cars", "Cars in all", "cars"),
        Blank::count("tolerated_bad", "Bad ones you could live with", "cars"),
        Blank::count("confidence", "Confidence", "of 1").help("0.95 (95 %) if left empty.").optional(),
    ],
    outcomes: &[
        Outcome::number("sample", "Draw", "cars"),
        Outcome::share("chance_missed", "Chance to miss one too many").decimals(1),
    ],
};

pub(super) static QUEUE: Form = Form {
    name: "gate-queue",
    title: "Queue at the gate",
    subject: Subject::Gate,
    says: "How long cars wait at the gate, and how long a full paddock takes.",
    hurts: "",
    caution: "A mean over many mornings, not a promise for one. A gate in a hurry clears no car: open another lane instead.",
    formula: "Load = arrivals x check. Below one load a lane, Erlang C gives the chance to wait; mean wait = that chance x check / (lanes - load). \
              All at once: cars / lanes, rounded up, x check.",
    assumes: "Cars come at random, one queue feeds all lanes, checks vary much. Checks of even length wait about half as long. Cars that come \
              faster than they can be checked make a queue without end.",
    source: "Erlang C, against textbook cases; even checks: Pollaczek-Khinchine.",
    well: "Worked out",
    headline: true,
    folds: "Seldom needed",
    rows: None,
    example: &[("arrivals_per_h", "72"), ("check_min", "1.5"), ("lanes", "2"), ("cars", "100")],
    blanks: &[
        Blank::count("arrivals_per_h", "Cars that come", "per hour"),
        Blank::count("check_min", "One check takes", "min").help("The mean, by a watch."),
        Blank::count("lanes", "Lanes open", "lanes"),
        Blank::count("cars", "All waiting at the start", "cars").optional(),
    ],
    outcomes: &[
        Outcome::number("mean_wait_min", "A car waits, on the mean", "min").decimals(1),
        Outcome::number("mean_wait_even_min", "With checks of even length", "min").decimals(1),
        Outcome::number("mean_queue", "Cars in the queue", "cars").decimals(1),
        Outcome::share("utilisation", "Lanes busy"),
        Outcome::share("p_wait", "Chance to wait at all"),
        Outcome::number("drain_min", "A full paddock is through in", "min"),
    ],
};
