//! A small sheet with an item of every kind, every change that an organizer can make to one of its items, and answers with a stop
//! on each of them.

use serde_json::{Map, Value as Json, json};

/// The sheet before it is changed.
pub const BASE: &str = r#"name = "Small day"
about = "Every kind of item once."

[[gear]]
kind = "helmet"
label = "SA2020"
source = "made for this test"

[[gear]]
kind = "helmet"
label = "SA1995"
refused = "It is too old."
source = "made for this test"

[[gear]]
kind = "harness"
label = "SA1995"
source = "made for this test"

[[area]]
id = "all"
name = "All"

[[area.item]]
id = "brakes"
name = "Kind of brakes"
ask = "Which?"
check = "Look."
kind = "choice"
options = [
    { id = "discs", say = "Discs" },
    { id = "band", say = "Band", severity = "stop", why = "A band brake holds no car." },
    { id = "drums", say = "Drums" },
]
mend = "Fit discs."
source = "made for this test"

[[area.item]]
id = "hoses"
name = "Hoses"
ask = "Are all hoses whole?"
check = "Look."
kind = "yes-no"
right = "yes"
yes_means = "Whole"
no_means = "Cracked"
severity = "stop"
why = "A hose is cracked."
by_hand = "Hoses whole"
mend = "Fit a new hose."
source = "made for this test"

[[area.item]]
id = "spacers"
name = "Spacers"
ask = "Are spacers fitted?"
check = "Look."
kind = "yes-no"
yes_means = "Fitted"
no_means = "None"
required = false
source = "made for this test"

[[area.item]]
id = "spacer-bolts"
name = "Spacer bolts"
ask = "Are the bolts long enough?"
check = "Look."
kind = "yes-no"
right = "yes"
yes_means = "Long"
no_means = "Short"
severity = "stop"
why = "A bolt is too short."
when = { item = "spacers", is = ["yes"] }
mend = "Fit longer bolts."
source = "made for this test"

[[area.item]]
id = "pad"
name = "Pad"
ask = "How thick?"
check = "Measure."
kind = "measurement"
per = "front-corner"
unit = "mm"
possible = [0, 25]
limits = [{ at_least = 3, severity = "stop", source = "made for this test" }]
by_hand = "Pads looked at"
mend = "Fit new pads."
source = "made for this test"

[[area.item]]
id = "torque-asked"
name = "Torque asked"
ask = "What is asked?"
check = "Read."
kind = "measurement"
unit = "N.m"
possible = [45, 800]
source = "made for this test"

[[area.item]]
id = "torque"
name = "Torque"
ask = "What is it?"
check = "Measure."
kind = "measurement"
per = "corner"
unit = "N.m"
possible = [0, 1000]
limits = [{ within_percent = 10, of_item = "torque-asked", severity = "stop", source = "made for this test" }]
mend = "Torque it."
source = "made for this test"

[[area.item]]
id = "noise"
name = "Noise"
ask = "How loud?"
check = "Measure."
kind = "measurement"
unit = "dB(A)"
possible = [50, 140]
limits = [{ at_most = 105, severity = "stop", source = "made for this test" }]
required = false
work = { worksheet = "noise", gives = "corrected_db", fixed = { limit_db = 105, measured_m = 0.5 } }
mend = "Fit the silencer."
source = "made for this test"

[[area.item]]
id = "tyres"
name = "Tyre date"
ask = "Which code?"
check = "Read."
kind = "tyre-code"
per = "corner"
limits = [{ at_most_years = 10, severity = "stop" }]
mend = "Fit younger tyres."
source = "made for this test"

[[area.item]]
id = "fluid"
name = "Fluid age"
ask = "When?"
check = "Read."
kind = "date"
means = "done"
limits = [{ at_most_months = 6, severity = "stop" }]
mend = "Change it."
source = "made for this test"

[[area.item]]
id = "helmet"
name = "Helmet"
ask = "Which label?"
check = "Read."
kind = "label"
gear = "helmet"
severity = "stop"
mend = "Buy a helmet."
source = "made for this test"

[[area.item]]
id = "marking"
name = "Marking"
ask = "What stands there?"
check = "Read."
kind = "text"
longest = 80
source = "made for this test"
"#;

/// What a change does to the question.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Touches {
    /// It asks another thing, in another way, or of other cars: an old answer does not answer it.
    Question,
    /// It weighs the same answer otherwise: limits, severities. A finding may rightly fall away, and the preview says so.
    Weight,
    /// It asks more of the inspector's hands.
    Hands,
}

/// A change of one item: its name, what it touches, pieces of the sheet and what stands in their place.
pub type Change = (&'static str, Touches, &'static [(&'static str, &'static str)]);

use Touches::{Hands, Question, Weight};

/// Every kind of change.
pub const CHANGES: &[Change] = &[
    ("the chosen option is respelt", Question, &[("{ id = \"band\", say", "{ id = \"band-brake\", say")]),
    (
        "the chosen option is gone",
        Question,
        &[
            ("    { id = \"band\", say = \"Band\", severity = \"stop\", why = \"A band brake holds no car.\" },\n", ""),
            ("mend = \"Fit discs.\"\n", ""),
        ],
    ),
    (
        "a choice becomes a text",
        Question,
        &[(
            "kind = \"choice\"\noptions = [\n    { id = \"discs\", say = \"Discs\" },\n    { id = \"band\", say = \"Band\", severity = \
         \"stop\", why = \"A band brake holds no car.\" },\n    { id = \"drums\", say = \"Drums\" },\n]\n",
            "kind = \"text\"\nlongest = 80\n",
        )],
    ),
    (
        "the right answer is turned round",
        Question,
        &[(
            "ask = \"Are all hoses whole?\"\ncheck = \"Look.\"\nkind = \"yes-no\"\nright = \"yes\"\nyes_means = \"Whole\"\nno_means = \
         \"Cracked\"",
            "ask = \"Is any hose cracked?\"\ncheck = \"Look.\"\nkind = \"yes-no\"\nright = \"no\"\nyes_means = \"Cracked\"\nno_means = \
         \"Whole\"",
        )],
    ),
    (
        "a yes/no becomes a choice of the same two words",
        Question,
        &[(
            "kind = \"yes-no\"\nright = \"yes\"\nyes_means = \"Whole\"\nno_means = \"Cracked\"\nseverity = \"stop\"\nwhy = \"A hose is \
         cracked.\"\n",
            "kind = \"choice\"\noptions = [{ id = \"yes\", say = \"Rubber\" }, { id = \"no\", say = \"Steel\" }]\n",
        )],
    ),
    ("an item's id is respelt", Question, &[("id = \"hoses\"", "id = \"brake-hoses\"")]),
    (
        "an item is asked of other cars",
        Question,
        &[("why = \"A hose is cracked.\"\n", "why = \"A hose is cracked.\"\nwhen = { item = \"brakes\", is = [\"drums\"] }\n")],
    ),
    (
        "a question without a right answer",
        Question,
        &[(
            "right = \"yes\"\nyes_means = \"Whole\"\nno_means = \"Cracked\"\nseverity = \"stop\"\nwhy = \"A hose is cracked.\"",
            "yes_means = \"Whole\"\nno_means = \"Cracked\"",
        )],
    ),
    (
        "an optional parent is respelt",
        Question,
        &[("id = \"spacers\"", "id = \"wheel-spacers\""), ("item = \"spacers\", is", "item = \"wheel-spacers\", is")],
    ),
    ("a condition is turned round", Question, &[("item = \"spacers\", is = [\"yes\"]", "item = \"spacers\", is = [\"no\"]")]),
    (
        "a parent changes its kind",
        Question,
        &[
            (
                "kind = \"yes-no\"\nyes_means = \"Fitted\"\nno_means = \"None\"\n",
                "kind = \"choice\"\noptions = [{ id = \"thin\", say = \"Thin\" }, { id = \"thick\", say = \"Thick\" }]\n",
            ),
            ("item = \"spacers\", is = [\"yes\"]", "item = \"spacers\", is = [\"thin\"]"),
        ],
    ),
    ("what is possible is narrowed", Question, &[("possible = [0, 25]", "possible = [2, 25]")]),
    (
        "a length becomes a pressure",
        Question,
        &[(
            "per = \"front-corner\"\nunit = \"mm\"\npossible = [0, 25]",
            "per = \"front-corner\"\nunit = \"psi\"\npossible = [0, 90]",
        )],
    ),
    ("corners become the car", Question, &[("per = \"front-corner\"\nunit", "per = \"car\"\nunit")]),
    ("corners become axles", Question, &[("per = \"front-corner\"\nunit", "per = \"axle\"\nunit")]),
    ("front corners become all corners", Question, &[("per = \"front-corner\"\nunit", "per = \"corner\"\nunit")]),
    ("a measurement's id is respelt", Question, &[("id = \"pad\"", "id = \"pads\"")]),
    (
        "what a limit hangs on is respelt",
        Question,
        &[("id = \"torque-asked\"", "id = \"asked\""), ("of_item = \"torque-asked\"", "of_item = \"asked\"")],
    ),
    ("what a limit hangs on cannot be read", Question, &[("possible = [45, 800]", "possible = [150, 800]")]),
    (
        "the worksheet is taken away",
        Question,
        &[("work = { worksheet = \"noise\", gives = \"corrected_db\", fixed = { limit_db = 105, measured_m = 0.5 } }\n", "")],
    ),
    ("the worksheet gives another figure", Question, &[("gives = \"corrected_db\"", "gives = \"at_limit_db\"")]),
    ("tyres by axle", Question, &[("kind = \"tyre-code\"\nper = \"corner\"", "kind = \"tyre-code\"\nper = \"axle\"")]),
    (
        "a day done becomes a last day",
        Question,
        &[(
            "means = \"done\"\nlimits = [{ at_most_months = 6, severity = \"stop\" }]",
            "means = \"valid-until\"\nseverity = \"stop\"",
        )],
    ),
    ("another table of labels", Question, &[("gear = \"helmet\"\nseverity", "gear = \"harness\"\nseverity")]),
    (
        "an answer need not be given any more",
        Question,
        &[("by_hand = \"Pads looked at\"", "by_hand = \"Pads looked at\"\nrequired = false")],
    ),
    ("a limit is lowered", Weight, &[("{ at_least = 3, severity = \"stop\"", "{ at_least = 0.5, severity = \"stop\"")]),
    ("a limit is raised", Weight, &[("{ at_least = 3, severity = \"stop\"", "{ at_least = 12, severity = \"stop\"")]),
    ("a stop becomes a note", Weight, &[("{ at_least = 3, severity = \"stop\"", "{ at_least = 3, severity = \"note\"")]),
    (
        "another unit of the same quantity",
        Weight,
        &[(
            "per = \"front-corner\"\nunit = \"mm\"\npossible = [0, 25]\nlimits = [{ at_least = 3,",
            "per = \"front-corner\"\nunit = \"in\"\npossible = [0, 1]\nlimits = [{ at_least = 0.12,",
        )],
    ),
    (
        "the worksheet's limit is raised",
        Weight,
        &[("fixed = { limit_db = 105", "fixed = { limit_db = 120"), ("{ at_most = 105, severity", "{ at_most = 120, severity")],
    ),
    ("older tyres are taken", Weight, &[("at_most_years = 10", "at_most_years = 40")]),
    ("older fluid is taken", Weight, &[("at_most_months = 6", "at_most_months = 60")]),
    (
        "an option weighs nothing",
        Weight,
        &[
            ("say = \"Band\", severity = \"stop\", why = \"A band brake holds no car.\" }", "say = \"Band\" }"),
            ("mend = \"Fit discs.\"\n", ""),
        ],
    ),
    ("a check by hand more", Hands, &[("ask = \"Which code?\"", "by_hand = \"Tyres felt\"\nask = \"Which code?\"")]),
    ("no checks by hand", Hands, &[("by_hand = \"Hoses whole\"\n", ""), ("by_hand = \"Pads looked at\"\n", "")]),
];

/// The sheet with a change; fails if a piece is no longer there.
pub fn changed(change: &Change) -> String {
    let mut sheet = BASE.to_owned();
    for (from, to) in change.2 {
        assert!(sheet.contains(from), "{}: the sheet has {from}", change.0);
        sheet = sheet.replacen(from, to, 1);
    }
    sheet
}

/// Answers of a car with nothing found, on 2026-05-09.
pub fn sound() -> Map<String, Json> {
    let answers = json!({
        "brakes": { "value": "discs" },
        "hoses": { "value": "yes" },
        "spacers": { "value": "yes" },
        "spacer-bolts": { "value": "yes" },
        "pad": { "at": { "lf": 9.0, "rf": 9.0 }, "unit": "mm" },
        "torque-asked": { "value": 110.0, "unit": "N.m" },
        "torque": { "at": { "lf": 110.0, "rf": 110.0, "lr": 110.0, "rr": 110.0 }, "unit": "N.m" },
        "noise": { "worked": { "measured_db": 92.0, "measured_m": 0.5 } },
        "tyres": { "at": { "lf": "1823", "rf": "1823", "lr": "1823", "rr": "1823" } },
        "fluid": { "value": "2026-03-01" },
        "helmet": { "value": { "label": "SA2020" } },
        "marking": { "value": "245/40 R18 97Y" },
    });
    answers.as_object().cloned().unwrap_or_default()
}

/// One stop on each item that can have one.
pub const STOPS: &[(&str, &str)] = &[
    ("brakes", r#"{ "value": "band" }"#),
    ("hoses", r#"{ "value": "no" }"#),
    ("spacer-bolts", r#"{ "value": "no" }"#),
    ("pad", r#"{ "at": { "lf": 1.0, "rf": 9.0 }, "unit": "mm" }"#),
    ("torque", r#"{ "at": { "lf": 60.0, "rf": 110.0, "lr": 110.0, "rr": 110.0 }, "unit": "N.m" }"#),
    ("noise", r#"{ "worked": { "measured_db": 112.0, "measured_m": 0.5 } }"#),
    ("tyres", r#"{ "at": { "lf": "1003", "rf": "1823", "lr": "1823", "rr": "1823" } }"#),
    ("fluid", r#"{ "value": "2025-01-01" }"#),
    ("helmet", r#"{ "value": { "label": "SA1995" } }"#),
];

/// Answers with one stop.
pub fn with_stop((item, answer): (&str, &str)) -> Map<String, Json> {
    let mut answers = sound();
    answers.insert(item.to_owned(), serde_json::from_str(answer).expect("an answer"));
    answers
}
