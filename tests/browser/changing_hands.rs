//! One phone, three inspectors, a bad wire: whoever has the phone, each sign-off is recorded once and under its maker.

use crate::browser::{Browser, in_time};
use crate::club::Club;
use crate::dice::Dice;
use crate::gate_offline::{at_the_gate, everybody_sends};
use crate::wire::Wire;
use serde_json::{Value as Json, json};
use std::collections::BTreeMap;
use std::time::{Duration, Instant};

const SEED: u64 = 20_260_511;
const CUTS: usize = 200;
/// Cars that are cleared, each once; all that is held besides is car 27.
const CLEARED: std::ops::Range<usize> = 200..260;
const NAMES: [&str; 3] = ["R. Holt", "S. Vane", "T. Arkwright"];

/// A sign-off as it must stand in the history.
struct Signed {
    number: String,
    deed: &'static str,
    maker: usize,
}

/// The phone at the gate and those who share it.
struct Shared<'c> {
    club: &'c Club,
    wire: Wire,
    phone: Browser,
    /// The ids of their links, as their pages have them.
    links: Vec<String>,
    /// Who has it now.
    holder: usize,
    dice: Dice,
    ends: BTreeMap<String, usize>,
}

impl Shared<'_> {
    /// Runs a script of the lane with its own modules: `own` is signing.js, `keep` is keep.js.
    async fn runs(&self, script: &str) -> Json {
        let modules = "const [own, keep] = await Promise.all(['signing.js', 'keep.js'].map((file) => \
            import(document.querySelector('script[src*=lane]').src.replace('lane.js', file))));";
        self.phone.asks(&format!("return (async () => {{ {modules} {script} }})()")).await
    }

    /// How many sign-offs of one person wait on the phone, refused ones too; of all where nobody is named.
    async fn waits(&self, of: Option<usize>) -> u64 {
        let whose = of.map_or("true".to_owned(), |nth| format!("item.maker.link === '{}'", self.links[nth]));
        let script = format!("return (await own.waiting('{}')).filter((item) => {whose}).length", self.club.event);
        self.runs(&script).await.as_u64().expect("a count")
    }

    /// Whatever the wire does from here on.
    fn wire_changes(&mut self) {
        match self.dice.between(0, 3) {
            0 => self.wire.is_cut(),
            1 => self.wire.holds_posts(),
            2 => self.wire.loses_answers(),
            _ => self.wire.is_sound(),
        }
    }

    /// Keeps a sign-off as the page of a car does, and perhaps tries to send it. Gives its id.
    async fn signs(&mut self, signed: &Signed, fields: &[(String, String)], seen: Option<&str>, sends: bool) -> String {
        let (link, name) = (&self.links[signed.maker], NAMES[signed.maker]);
        let entry = self.club.entry(&signed.number).await;
        let can_be_undone = !sends && self.dice.once_in(3);
        let script = format!(
            "const id = keep.newId(); const fields = new URLSearchParams({fields}); const seen = {seen}; \
             const more = {{ id, maker_link: '{link}', deed: '{deed}', made_at: new Date().toISOString(), \
                ...(seen && {{ seen }}) }}; \
             for (const [name, value] of Object.entries(more)) fields.set(name, value); \
             const item = {{ id, path: '/gate/{event}/entries/{entry}/sign-offs', number: '{number}', deed: '{deed}', \
                made: Date.now(), maker: {{ link: '{link}', name: '{name}' }}, ...({can_be_undone} && own.fromNow()), \
                fields: fields.toString() }}; \
             await own.keep(item); return [id, {sends} ? await own.send(item, 80) : 'kept']",
            fields = json!(fields),
            seen = json!(seen),
            deed = signed.deed,
            number = signed.number,
            event = self.club.event,
        );
        let told = self.runs(&script).await;
        *self.ends.entry(told[1].as_str().unwrap_or_default().to_owned()).or_default() += 1;
        told[0].as_str().expect("an id").to_owned()
    }

    /// The phone goes to somebody else: put away in the dark first, signed out with things waiting, or neither.
    async fn goes_to(&mut self, next: usize) {
        let way = self.dice.between(0, 2);
        if way == 1 {
            // Else the lane may send what waits before it is asked.
            self.wire.is_cut();
        }
        match way {
            0 => self.phone.opens("about:blank").await,
            1 if self.waits(Some(self.holder)).await > 0 => {
                self.phone.taps("[data-asks] button").await;
                self.phone.sees("[data-leave]", "Not recorded yet: ").await;
                self.wire.is_sound();
                self.phone.follows("[data-leave] button:last-of-type").await;
                *self.ends.entry("signed out with something waiting".to_owned()).or_default() += 1;
            }
            _ => {}
        }
        self.wire.is_sound();
        self.comes_in(next).await;
    }

    async fn comes_in(&mut self, next: usize) {
        self.phone.comes_in_by(&self.wire.base, &self.club.another_link_for(NAMES[next]).await).await;
        let is_theirs = format!(
            "return document.querySelector('main')?.dataset.maker === '{}' && !!document.querySelector('script[src*=lane]')",
            self.links[next]
        );
        self.phone.comes("the lane is theirs", &is_theirs).await;
        self.holder = next;
    }
}

/// The id of somebody's link: their pages name it as the maker of what is signed on them.
async fn link_of(club: &Club, name: &str) -> String {
    let form = club.forms_for(name).await.into_iter().find(|form| form.ends_with("/links")).expect("a form for a link");
    form.split('/').nth_back(1).expect("an id").to_owned()
}

/// Two hundred sign-offs, each cut at random, and the phone goes from hand to hand in between.
#[tokio::test(flavor = "multi_thread")]
async fn two_hundred_cuts_while_the_phone_changes_hands_record_each_sign_off_once_and_under_its_maker() {
    in_time(async {
        let club = Club::open().await;
        let more: String = CLEARED.map(|n| format!("{n},Driver {n},Corvane S4,A,\n")).collect();
        club.take_roster(&format!("number,name,car,group,mail\n{more}")).await;
        everybody_sends(&club).await;
        let mut links = Vec::new();
        let mut ticked = BTreeMap::new();
        for name in NAMES {
            let inspector = club.inspector(name).await;
            links.push(link_of(&club, name).await);
            if ticked.is_empty() {
                for number in CLEARED.map(|n| n.to_string()) {
                    ticked.insert(number.clone(), inspector.opens(&number).await.all_ticked());
                }
            }
        }
        let first = club.inspector(NAMES[0]).await;
        let wire = Wire::to(&club.base).await;
        let phone = at_the_gate(&club, &wire, &first, "changing-hands", "inspectors").await;
        // What another person's page sends is refused, and waits for them.
        phone.forgives("412");
        let (dice, ends) = (Dice::new(SEED), BTreeMap::new());
        let mut all = Shared { club: &club, wire, phone, links, holder: 0, dice, ends };
        let mut expected: Vec<(Signed, String)> = Vec::new();
        let mut cars = CLEARED;
        let mut hands = 0;
        let began = Instant::now();
        for nth in 0..CUTS {
            all.wire_changes();
            let reason = format!("Cut {nth}.");
            // A page of somebody who had the phone before may be open still.
            let maker = if all.dice.once_in(12) { (all.holder + 1) % NAMES.len() } else { all.holder };
            let car = if all.dice.once_in(3) { cars.next().map(|n| n.to_string()) } else { None };
            let sends = !all.dice.once_in(3);
            let hold = |number: &str| Signed { number: number.to_owned(), deed: "hold", maker };
            let words = vec![("seen".to_owned(), String::new()), ("reason".to_owned(), reason.clone())];
            match car {
                None => {
                    let held = hold("27");
                    all.signs(&held, &words, None, sends).await;
                    expected.push((held, reason));
                }
                Some(number) => {
                    let mut fields = ticked[&number].clone();
                    fields.push(("reason".to_owned(), reason.clone()));
                    // Held first and then cleared by the same person: the clear has seen the hold, and comes after it.
                    let is_after_a_hold = all.dice.once_in(3);
                    let mut seen = None;
                    if is_after_a_hold {
                        let held = hold(&number);
                        let head = fields.iter().find(|(name, _)| name == "seen").cloned().expect("what the page had seen");
                        let because = ("reason".to_owned(), format!("First {nth}."));
                        seen = Some(all.signs(&held, &[head, because], None, false).await);
                        expected.push((held, format!("First {nth}.")));
                    }
                    let cleared = Signed { number, deed: "clear", maker };
                    all.signs(&cleared, &fields, seen.as_deref(), sends && !is_after_a_hold).await;
                    expected.push((cleared, reason));
                }
            }
            if all.dice.once_in(12) {
                all.wire.is_sound();
                let send = format!("return own.sendAll('{}', '{}')", club.event, all.links[all.holder]);
                all.runs(&send).await;
            }
            if all.dice.once_in(14) {
                let next = (all.holder + all.dice.between(1, 2) as usize) % NAMES.len();
                all.goes_to(next).await;
                hands += 1;
            }
        }
        // Each comes in once more, in signal. Nobody taps anything.
        let waits = all.waits(None).await;
        for (next, name) in NAMES.iter().enumerate() {
            all.wire.is_sound();
            all.comes_in(next).await;
            let end = Instant::now() + Duration::from_secs(40);
            while all.waits(Some(next)).await > 0 {
                assert!(Instant::now() < end, "what waits of {name} is not sent");
                tokio::time::sleep(Duration::from_millis(100)).await;
            }
        }
        println!(
            "{} sign-offs, {hands} times into other hands, {waits} waited at the end, {:.0} s; the first try: {:?}",
            expected.len(),
            began.elapsed().as_secs_f32(),
            all.ends
        );
        assert_eq!(all.waits(None).await, 0, "nothing is left on the phone, and nothing was refused");
        holds_each_once(&club, &expected).await;
        assert!(hands >= 8 && all.ends["waits"] > 50 && all.ends["another's"] > 0, "{hands} {:?}", all.ends);
        all.phone.closes().await;
    })
    .await;
}

/// The history has these and no more, each under its maker.
async fn holds_each_once(club: &Club, expected: &[(Signed, String)]) {
    let mut by_car: BTreeMap<&str, Vec<(String, &str)>> = BTreeMap::new();
    for (signed, reason) in expected {
        let line = format!("{} by {} (inspector)", signed.deed, NAMES[signed.maker]);
        by_car.entry(&signed.number).or_default().push((line, reason));
    }
    for (number, signed) in by_car {
        let lines = club.car_page(number).await.all("ol.told li");
        // The sheet comes first.
        assert_eq!(lines.len(), signed.len() + 1, "car {number}: no loss and no double");
        for (line, reason) in signed {
            let found: Vec<&String> = lines.iter().filter(|told| told.contains(&format!(": {reason}"))).collect();
            assert_eq!(found.len(), 1, "car {number}: \"{reason}\" is there once");
            assert!(found[0].contains(&line), "car {number}: \"{reason}\" is a {line}, and not {}", found[0]);
        }
        if number != "27" {
            assert_eq!(club.board_of(number).await.0, "cleared", "car {number}");
        }
    }
}
