//! Everything that shows a standing, held against the slow rule; and what was said to have arrived, against the table.

use super::answers::is_kept;
use super::program::{
    AHEAD_MIN, Device, GatePage, NIGHT_MS, OLDEST_DAYS, Words, between, cleared_in_list, list_address, marshal_says_cleared,
    replaces, sheet_page, standing_of,
};
use super::rule::{Judged, Standing, short};
use super::send::no_fault;
use super::world::{Content, Posted, World};
use std::collections::{BTreeMap, BTreeSet};

impl World {
    /// Looks at everything; `whole` looks at whole pages too. Where nothing that is kept was written since the last look, the
    /// table and the board are enough.
    pub async fn looks(&mut self, whole: bool) -> Result<(), String> {
        self.table_is_what_was_said().await?;
        let as_of = (self.stored.len(), self.raises, self.erased.len(), self.starts, self.program.clock.steps());
        let is_new = self.looked.replace(as_of) != Some(as_of);
        let by_rule: Vec<Judged> = (0..self.cars.len()).map(|car| self.stands(car)).collect();
        self.every_record_is_reached(&by_rule)?;
        let board = self.program.board().await?;
        self.compare(&by_rule, "the board", |world, car| board.get(world.number(car)).and_then(|word| standing_of(word)))?;
        if !is_new && !whole {
            return Ok(());
        }
        self.marshal_list(&by_rule).await?;
        // Two more that are made from the same board and the same cars: they take turns, and are both looked at with whole pages.
        self.turn += 1;
        if whole || self.turn.is_multiple_of(2) {
            self.cleared_csv(&by_rule).await?;
        }
        let first = self.inspectors[0].last().cloned().filter(|device| self.is_in(device));
        if let Some(device) = first.filter(|_| whole || !self.turn.is_multiple_of(2)) {
            self.fetches(&device).await?;
        }
        self.kept_passes(&by_rule).await?;
        if whole {
            let cars = self.whose_pages(self.stored.len());
            self.whole_pages(&by_rule, &cars).await?;
        }
        Ok(())
    }

    /// The last look of a day: at every page, on some days after a restart, and at the file's own proof.
    pub async fn evening(&mut self, restarts: bool) -> Result<(), String> {
        if restarts {
            self.program.restart(true).await;
        }
        self.looks(true).await?;
        let by_rule: Vec<Judged> = (0..self.cars.len()).map(|car| self.stands(car)).collect();
        let all: Vec<usize> = (0..self.cars.len()).collect();
        self.whole_pages(&by_rule, &all).await?;
        self.program.verify().await.map_err(|why| format!("verify says: {why}"))?;
        for which in 0..self.marshals.len() {
            self.marshal_hears(which).await?;
        }
        self.checks += 1;
        Ok(())
    }

    /// Every record that was answered as taken is there once, as it was sent, and nothing else; what was there is unchanged.
    async fn table_is_what_was_said(&mut self) -> Result<(), String> {
        let (now, raises) = self.program.stored().await;
        if raises != self.raises {
            return Err(format!("the event was raised {} times, and its chain tells of {raises}", self.raises));
        }
        if now.len() != self.ledger.len() {
            return Err(format!("{} records were answered as taken, and the table has {}", self.ledger.len(), now.len()));
        }
        for (posted, stored) in self.ledger.iter().zip(&now) {
            let wrong = |what: &str| Err(format!("{}: its {what} is not in the table as it was sent", posted.words));
            let maker = self.maker_of(posted);
            match &posted.content {
                _ if stored.id != posted.id => return wrong("id"),
                _ if stored.entry != self.cars[posted.car].entry || stored.kind != posted.kind => return wrong("car or kind"),
                _ if stored.seen != posted.seen => return wrong("seen"),
                _ if stored.maker.as_deref() != maker => return wrong("maker"),
                Content::Answers(edition, given) => {
                    let kept = stored.answers();
                    let same =
                        given.len() == kept.len() && given.iter().all(|(item, a)| kept.get(item).is_some_and(|b| is_kept(a, b)));
                    if !same || stored.given_to() != Some(*edition) {
                        return wrong("answers or edition");
                    }
                }
                Content::Words(given) => {
                    let kept = stored.words();
                    let keys = |map: &serde_json::Map<String, serde_json::Value>| map.keys().cloned().collect::<BTreeSet<_>>();
                    let same_readings =
                        given.readings.iter().all(|(item, a)| kept.readings.get(item).is_some_and(|b| is_kept(a, b)));
                    let (a, b) = (
                        Words { readings: Default::default(), ..given.clone() },
                        Words { readings: Default::default(), ..kept.clone() },
                    );
                    if a != b || keys(&given.readings) != keys(&kept.readings) || !same_readings {
                        return wrong("words");
                    }
                }
            }
            if stored.made_at > stored.arrived_at + AHEAD_MIN * 60_000
                || stored.made_at < stored.arrived_at - OLDEST_DAYS * 86_400_000
            {
                return Err(format!(
                    "{}: it says it was made at {} ms, and it came at {} ms",
                    posted.words, stored.made_at, stored.arrived_at
                ));
            }
        }
        self.checks += now.len() as u64;
        self.stored = now;
        Ok(())
    }

    fn maker_of<'p>(&self, posted: &'p Posted) -> Option<&'p str> {
        (posted.kind != "submission" || !self.erased.contains(&posted.car)).then_some(posted.by.name.as_str())
    }

    /// The heads of a history reach all of it: who has seen them has seen everything.
    fn every_record_is_reached(&self, by_rule: &[Judged]) -> Result<(), String> {
        match by_rule
            .iter()
            .zip(&self.cars)
            .find(|(judged, car)| judged.heads.is_empty() && self.stored.iter().any(|stored| stored.entry == car.entry))
        {
            Some((_, car)) => Err(format!("car {} has records and no newest one", car.number)),
            None => Ok(()),
        }
    }

    /// Compares what something shows of each car with the rule.
    fn compare(
        &mut self,
        by_rule: &[Judged],
        what: &str,
        shown: impl Fn(&World, usize) -> Option<Standing>,
    ) -> Result<(), String> {
        for (car, judged) in by_rule.iter().enumerate() {
            let shown = shown(self, car);
            if shown != Some(judged.standing) {
                let shown = shown.map_or("not at all", Standing::word);
                return Err(differs(what, self.number(car), shown, judged));
            }
        }
        self.checks += by_rule.len() as u64;
        Ok(())
    }

    /// Compares the cars that something shows as cleared with the rule.
    fn compare_cleared(&mut self, by_rule: &[Judged], what: &str, cleared: &BTreeSet<String>) -> Result<(), String> {
        for (car, judged) in by_rule.iter().enumerate() {
            let is_shown = cleared.contains(self.number(car));
            if is_shown != (judged.standing == Standing::Cleared) {
                let shown = if is_shown { "cleared" } else { "not cleared" };
                return Err(differs(what, self.number(car), shown, judged));
            }
        }
        self.checks += by_rule.len() as u64;
        Ok(())
    }

    async fn marshal_list(&mut self, by_rule: &[Judged]) -> Result<(), String> {
        let path = format!("/grid/{}/cars.json", self.program.event);
        let cookie = self.marshals[0].cookie.clone();
        let answer = self.program.get(&path, &cookie).await;
        no_fault(answer.status, "the marshal's list")?;
        let cleared = cleared_in_list(&answer.json()).ok_or("the marshal's list cannot be read")?;
        self.compare_cleared(by_rule, "the marshal's list", &cleared)
    }

    async fn cleared_csv(&mut self, by_rule: &[Judged]) -> Result<(), String> {
        let organizer = self.program.organizer();
        let answer = self.program.get(&format!("/club/events/{}/cleared.csv", self.program.event), &organizer.cookie).await;
        no_fault(answer.status, "the cleared list as CSV")?;
        let number = |line: &str| line.split(',').next().unwrap_or_default().trim_matches('"').to_owned();
        let cleared = answer.text.trim_start_matches('\u{feff}').lines().skip(1).map(number).collect();
        self.compare_cleared(by_rule, "the cleared list as CSV", &cleared)
    }

    /// A phone at the gate fetches what changed. All that it has then, old pages and new, must be so.
    pub async fn fetches(&mut self, device: &Device) -> Result<(), String> {
        let (mark, mut kept) = self.gates.get(&device.cookie).cloned().unwrap_or_default();
        let mark: String = form_urlencoded::byte_serialize(mark.as_bytes()).collect();
        let answer = self.program.get(&format!("/gate/{}/pages.json?mark={mark}", self.program.event), &device.cookie).await;
        no_fault(answer.status, "the gate's pages")?;
        if answer.status != 200 {
            return Ok(());
        }
        let pages = answer.json();
        let is_whole = pages["whole"] == true;
        if is_whole {
            kept.clear();
        }
        for page in pages["pages"].as_array().into_iter().flatten() {
            if let (Some(path), Some(html)) = (page["path"].as_str(), page["html"].as_str()) {
                kept.insert(path.to_owned(), html.to_owned());
            }
        }
        let mark = pages["mark"].as_str().unwrap_or_default().to_owned();
        let by_rule: Vec<Judged> = (0..self.cars.len()).map(|car| self.stands(car)).collect();
        for (car, judged) in by_rule.iter().enumerate() {
            let path = format!("/gate/{}/entries/{}", self.program.event, self.cars[car].entry);
            let page = kept.get(&path).and_then(|html| GatePage::of(html));
            self.gate_page_is_so(car, judged, page)?;
        }
        self.gates.insert(device.cookie.clone(), (mark, kept));
        Ok(())
    }

    /// A page at the gate shows the standing, has seen everything, and asks for what the rule asks.
    fn gate_page_is_so(&mut self, car: usize, judged: &Judged, page: Option<GatePage>) -> Result<(), String> {
        let number = self.number(car).to_owned();
        let page = page.ok_or_else(|| format!("car {number} has no page at the gate"))?;
        if standing_of(&page.standing) != Some(judged.standing) {
            return Err(differs("the page at the gate", &number, &page.standing, judged));
        }
        if page.seen() != judged.heads {
            let words = |ids: &BTreeSet<uuid::Uuid>| ids.iter().map(|id| short(*id)).collect::<Vec<_>>().join(" ");
            let (shown, heads) = (words(&page.seen()), words(&judged.heads));
            return Err(format!(
                "the page of car {number} at the gate says it has seen [{shown}]; the newest records are [{heads}]"
            ));
        }
        let (by_hand, closes): (BTreeSet<String>, BTreeSet<String>) =
            (page.by_hand.into_iter().collect(), page.closes.into_iter().collect());
        if by_hand != judged.by_hand {
            return Err(format!("the page of car {number} asks for {by_hand:?} by hand, and the rule for {:?}", judged.by_hand));
        }
        if closes != judged.open {
            return Err(format!("the page of car {number} shows {closes:?} as open, and by the rule {:?} are", judged.open));
        }
        self.checks += 1;
        Ok(())
    }

    /// A marshal's phone hears the news and keeps what its own rule keeps. With signal it must then be right.
    pub async fn marshal_hears(&mut self, which: usize) -> Result<(), String> {
        let path = list_address(self.program.event, self.lists[which].as_ref());
        let cookie = self.marshals[which].cookie.clone();
        let got = self.program.get(&path, &cookie).await;
        no_fault(got.status, "the marshal's list")?;
        let got = got.json();
        if self.lists[which].as_ref().is_none_or(|kept| replaces(kept, &got)) {
            self.lists[which] = Some(got);
        }
        self.tell(format!("marshal's phone {} hears the news", which + 1));
        let Some(list) = self.lists[which].clone() else { return Ok(()) };
        let now = self.program.clock.ms();
        for car in 0..self.cars.len() {
            let judged = self.stands(car);
            let passes = self.passes.iter().map(|(pass, _)| pass).filter(|pass| pass.entry == self.cars[car].entry);
            let told = std::iter::once(None).chain(passes.map(Some));
            for pass in told {
                let says = marshal_says_cleared(&list, &self.cars[car], pass, now);
                let what = if pass.is_some() { "with a pass in hand, the marshal's phone" } else { "the marshal's phone" };
                if says == Some(true) && judged.standing != Standing::Cleared {
                    return Err(differs(
                        &format!("{what}, which has just heard the news,"),
                        self.number(car),
                        "cleared",
                        &judged,
                    ));
                }
            }
        }
        self.checks += self.cars.len() as u64;
        Ok(())
    }

    /// Whoever scans a pass is told where the car stands now.
    async fn kept_passes(&mut self, by_rule: &[Judged]) -> Result<(), String> {
        let mut last: BTreeMap<uuid::Uuid, String> = BTreeMap::new();
        self.passes.iter().for_each(|(pass, _)| _ = last.insert(pass.entry, pass.text.clone()));
        for (entry, text) in last {
            let Some(car) = self.cars.iter().position(|car| car.entry == entry) else { continue };
            let answer = self.program.get(&format!("/P/{text}"), "").await;
            no_fault(answer.status, "a pass that is looked up")?;
            let is_cleared = answer.text.contains("class=\"verdict cleared\"");
            let may_be = by_rule[car].standing == Standing::Cleared;
            if is_cleared && !may_be || may_be && !is_cleared && self.program.clock.ms() < NIGHT_MS - 60_000 {
                let shown = if is_cleared { "cleared" } else { "not cleared" };
                return Err(differs("the page behind a pass", self.number(car), shown, &by_rule[car]));
            }
            self.checks += 1;
        }
        Ok(())
    }

    /// Of the pages that each car has of its own, those of one car at a time are looked at.
    fn whose_pages(&self, turn: usize) -> Vec<usize> {
        vec![turn % self.cars.len()]
    }

    async fn whole_pages(&mut self, by_rule: &[Judged], cars: &[usize]) -> Result<(), String> {
        let (event, organizer) = (self.program.event, self.program.organizer());
        let page = self.program.get(&format!("/club/events/{event}"), &organizer.cookie).await;
        no_fault(page.status, "the board")?;
        let rows: BTreeMap<String, String> = between(&page.text, "data-standing=\"", "><td>")
            .filter_map(|row| {
                Some((row.split("data-number=\"").nth(1)?.split('"').next()?.to_owned(), row.split('"').next()?.to_owned()))
            })
            .collect();
        self.compare(by_rule, "the board's page", |world, car| rows.get(world.number(car)).and_then(|word| standing_of(word)))?;
        let page = self.program.get(&format!("/club/events/{event}/cleared"), &organizer.cookie).await;
        no_fault(page.status, "the cleared list")?;
        let cleared = between(&page.text, "<tr><td>", "</tr>").filter_map(plate).collect();
        self.compare_cleared(by_rule, "the cleared list", &cleared)?;
        let marshal = self.marshals[0].cookie.clone();
        let page = self.program.get(&format!("/grid/{event}"), &marshal).await;
        no_fault(page.status, "the grid")?;
        let labels = labels(&page.text);
        self.compare(by_rule, "the grid's page", |world, car| labels.get(world.number(car)).and_then(|word| standing_of(word)))?;
        if let Some(device) = self.inspectors.iter().filter_map(|phones| phones.last()).find(|device| self.is_in(device)).cloned()
        {
            let page = self.program.get(&format!("/gate/{event}"), &device.cookie).await;
            no_fault(page.status, "the lane")?;
            let labels = self::labels(&page.text);
            self.compare(by_rule, "the lane", |world, car| labels.get(world.number(car)).and_then(|word| standing_of(word)))?;
            for car in cars {
                let path = format!("/gate/{event}/entries/{}", self.cars[*car].entry);
                let page = self.program.get(&path, &device.cookie).await;
                no_fault(page.status, "a car's page at the gate")?;
                self.gate_page_is_so(*car, &by_rule[*car], GatePage::of(&page.text))?;
            }
        }
        self.drivers_pages(by_rule, cars).await
    }

    async fn drivers_pages(&mut self, by_rule: &[Judged], cars: &[usize]) -> Result<(), String> {
        for car in cars.iter().copied() {
            let judged = &by_rule[car];
            let Some(device) = self.drivers[car].last().cloned().filter(|device| self.is_in(device)) else { continue };
            let (entry, number) = (self.cars[car].entry, self.number(car).to_owned());
            let page = self.program.get(&format!("/my/{entry}"), &device.cookie).await;
            no_fault(page.status, "a driver's page")?;
            let (seen, _, standing) =
                sheet_page(&page.text).ok_or_else(|| format!("the driver's page of car {number} cannot be read"))?;
            if standing_of(&standing) != Some(judged.standing) {
                return Err(differs("the driver's page", &number, &standing, judged));
            }
            if seen != judged.heads {
                return Err(format!("the driver's page of car {number} has not seen all of its newest records"));
            }
            let page = self.program.get(&format!("/my/{entry}/pass"), &device.cookie).await;
            no_fault(page.status, "a pass")?;
            let has_pass = page.text.contains("<section class=\"pass\"");
            let may_have = judged.standing == Standing::Cleared;
            if has_pass && !may_have || may_have && !has_pass && self.program.clock.ms() < NIGHT_MS - 60_000 {
                return Err(differs("the pass", &number, if has_pass { "cleared" } else { "not cleared" }, judged));
            }
            self.checks += 2;
        }
        Ok(())
    }
}

fn differs(what: &str, number: &str, shown: &str, judged: &Judged) -> String {
    format!("{what} shows car {number} {shown}; by the rule it is {}: {}", judged.standing.word(), judged.because)
}

/// "Car 7, Marta Lindqvist, cleared" and "Car 7, cleared" by number.
fn labels(html: &str) -> BTreeMap<String, String> {
    let label = |label: &str| Some((label.split(',').next()?.to_owned(), label.rsplit(", ").next()?.to_owned()));
    between(html, "aria-label=\"Car ", "\"").filter_map(label).collect()
}

/// The car number on the plate of a row.
fn plate(row: &str) -> Option<String> {
    between(row, "<span class=\"plate\">", "<").next().map(str::to_owned)
}
