//! Figures in a table of plain text.

use super::client::Load;

/// One thing that was measured, round by round.
pub struct Measure {
    name: &'static str,
    /// A second.
    rates: Vec<f64>,
    /// Microseconds of processor time for each.
    costs: Vec<f64>,
    /// Milliseconds within which half and 99 of 100 were answered.
    half: Vec<f64>,
    most: Vec<f64>,
}

/// The middle of some figures.
pub fn middle(figures: &mut [f64]) -> f64 {
    figures.sort_by(f64::total_cmp);
    figures.get(figures.len() / 2).copied().unwrap_or(f64::NAN)
}

impl Measure {
    pub fn new(name: &'static str) -> Measure {
        Measure { name, rates: Vec::new(), costs: Vec::new(), half: Vec::new(), most: Vec::new() }
    }

    pub fn add(&mut self, load: &Load) {
        self.rates.push(load.answered as f64 / load.seconds);
        self.costs.extend(load.processor.map(|time| time.as_secs_f64() * 1e6 / load.answered as f64));
        let within = |share: usize| load.times.get(load.times.len().saturating_sub(1) * share / 100);
        self.half.extend(within(50).map(|time| time.as_secs_f64() * 1e3));
        self.most.extend(within(99).map(|time| time.as_secs_f64() * 1e3));
    }

    /// This rate to another's, round by round: the middle, the lowest, the highest.
    pub fn ratio(&self, other: &Measure) -> String {
        let mut ratios: Vec<f64> = self.rates.iter().zip(&other.rates).map(|(this, that)| this / that).collect();
        let middle = middle(&mut ratios);
        format!("{middle:.2}, {:.2} to {:.2}", ratios[0], ratios[ratios.len() - 1])
    }
}

pub fn print(measures: &[&Measure]) {
    println!();
    println!("{:<44} {:>8} {:>17} {:>8} {:>8} {:>8}", "", "a second", "lowest, highest", "CPU µs", "50 % ms", "99 % ms");
    for measure in measures {
        let mut rates = measure.rates.clone();
        let rate = middle(&mut rates);
        let range = format!("{:.0}, {:.0}", rates[0], rates[rates.len() - 1]);
        let figure = |figures: &[f64]| match figures {
            [] => "-".to_owned(),
            some => format!("{:.1}", middle(&mut some.to_vec())),
        };
        println!(
            "{:<44} {rate:>8.0} {range:>17} {:>8} {:>8} {:>8}",
            measure.name,
            figure(&measure.costs),
            figure(&measure.half),
            figure(&measure.most)
        );
    }
}
