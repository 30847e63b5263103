//! A straight line through readings: least squares, and how far a further reading may lie from it.
//!
//! Source: the usual formulas of simple linear regression (any statistics text), checked against the certified values of
//! NIST StRD "Norris".

use statrs::distribution::{ContinuousCDF, StudentsT};

/// A least-squares line through at least two readings taken at two or more different places.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Line {
    pub slope: f64,
    pub intercept: f64,
    /// Standard deviation about the line; 0 for two readings, which leave nothing over.
    pub residual_sd: f64,
    mean_x: f64,
    mean_y: f64,
    sum_xx: f64,
    sum_yy: f64,
    sum_residuals: f64,
    count: usize,
}

impl Line {
    /// Fits y = intercept + slope x; `None` for fewer than two readings or all at one x.
    ///
    /// # Example: four points of a hand derivation, y = 0.1 + 0.6 x
    /// ```
    /// use witnessmark::rules::line::Line;
    /// let line = Line::fit(&[(0.0, 0.0), (1.0, 1.0), (2.0, 1.0), (3.0, 2.0)]).unwrap();
    /// assert!((line.slope - 0.6).abs() < 1e-12 && (line.intercept - 0.1).abs() < 1e-12);
    /// ```
    pub fn fit(points: &[(f64, f64)]) -> Option<Line> {
        let count = points.len();
        let n = count as f64;
        let mean_x = points.iter().map(|(x, _)| x).sum::<f64>() / n;
        let mean_y = points.iter().map(|(_, y)| y).sum::<f64>() / n;
        let sum_xx: f64 = points.iter().map(|(x, _)| (x - mean_x).powi(2)).sum();
        let sum_xy: f64 = points.iter().map(|(x, y)| (x - mean_x) * (y - mean_y)).sum();
        let sum_yy: f64 = points.iter().map(|(_, y)| (y - mean_y).powi(2)).sum();
        if count < 2 || sum_xx.is_nan() || sum_xx <= 0.0 {
            return None;
        }
        let slope = sum_xy / sum_xx;
        let residual = |(x, y): &(f64, f64)| (y - mean_y - slope * (x - mean_x)).powi(2);
        let sum_residuals: f64 = if count == 2 { 0.0 } else { points.iter().map(residual).sum() };
        let residual_sd = if count == 2 { 0.0 } else { (sum_residuals / (n - 2.0)).sqrt() };
        let intercept = mean_y - slope * mean_x;
        let line = Line { slope, intercept, residual_sd, mean_x, mean_y, sum_xx, sum_yy, sum_residuals, count };
        [slope, intercept, residual_sd].iter().all(|figure| figure.is_finite()).then_some(line)
    }

    /// The line at x.
    pub fn at(&self, x: f64) -> f64 {
        self.mean_y + self.slope * (x - self.mean_x)
    }

    /// Standard error of the slope.
    pub fn slope_error(&self) -> f64 {
        self.residual_sd / self.sum_xx.sqrt()
    }

    /// Standard error of the intercept.
    pub fn intercept_error(&self) -> f64 {
        self.residual_sd * (1.0 / self.count as f64 + self.mean_x.powi(2) / self.sum_xx).sqrt()
    }

    /// Sum of the squared residuals.
    pub fn residual_sum(&self) -> f64 {
        self.sum_residuals
    }

    /// The share of the scatter of y that the line explains, 0 to 1.
    pub fn r_squared(&self) -> f64 {
        1.0 - self.sum_residuals / self.sum_yy
    }

    /// The limits within which one further reading at x lies with this (two-sided) confidence; `None` for fewer than
    /// three readings, which say nothing of scatter.
    pub fn prediction(&self, x: f64, level: f64) -> Option<(f64, f64)> {
        let reach = self.reach(level)? * (1.0 + 1.0 / self.count as f64 + (x - self.mean_x).powi(2) / self.sum_xx).sqrt();
        Some((self.at(x) - reach, self.at(x) + reach))
    }

    fn reach(&self, level: f64) -> Option<f64> {
        let freedom = self.count.checked_sub(2).filter(|freedom| *freedom > 0)?;
        let student = StudentsT::new(0.0, 1.0, freedom as f64).ok()?;
        // The quantile exists only for shares within 0 and 1; any level of confidence is.
        let share = Some((1.0 + level) / 2.0).filter(|share| (0.5..1.0).contains(share))?;
        Some(student.inverse_cdf(share) * self.residual_sd)
    }

    /// Where the line meets y; `None` for a level line.
    pub fn meets(&self, y: f64) -> Option<f64> {
        Some(self.mean_x + (y - self.mean_y) / self.slope).filter(|x| x.is_finite())
    }

    /// The last x at which the lower prediction limit of a falling line is still at y; `None` where it never is, for a
    /// line that does not fall, and for fewer than three readings.
    ///
    /// With d = x - mean x and t s the reach, (mean y + slope d - y)² = (t s)² (1 + 1/n + d²/Sxx) is a quadratic in d. Its
    /// roots with the line above y are those of the lower limit.
    pub fn lower_limit_meets(&self, y: f64, level: f64) -> Option<f64> {
        if self.slope >= 0.0 {
            return None;
        }
        let reach = self.reach(level)?.powi(2);
        let height = self.mean_y - y;
        let a = self.slope.powi(2) - reach / self.sum_xx;
        let half_b = self.slope * height;
        let c = height.powi(2) - reach * (1.0 + 1.0 / self.count as f64);
        let root = (half_b.powi(2) - a * c).max(0.0).sqrt();
        if half_b.powi(2) - a * c < -1e-12 * half_b.powi(2) {
            return None;
        }
        // The form that takes no difference of two near equals.
        let q = -(half_b + root.copysign(half_b));
        let above = |d: &f64| d.is_finite() && height + self.slope * d >= -1e-9 * height.abs().max(1.0);
        [q / a, c / q].into_iter().filter(above).reduce(f64::max).map(|d| self.mean_x + d)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn the_cautious_crossing_lies_on_the_lower_limit_and_before_the_line(
            falls in prop::collection::vec(0.05f64..2.0, 3..12), limit in 0.5f64..8.0
        ) {
            let mut thickness = 20.0;
            let mut points = Vec::new();
            for (at, fall) in falls.iter().enumerate() {
                points.push((at as f64 * 20.0, thickness));
                thickness -= fall;
            }
            let line = Line::fit(&points).unwrap();
            let middle = line.meets(limit).unwrap();
            if let Some(x) = line.lower_limit_meets(limit, 0.9) {
                prop_assert!(x <= middle + 1e-6 * middle.abs());
                let (low, _) = line.prediction(x, 0.9).unwrap();
                prop_assert!((low - limit).abs() < 1e-6, "lower limit at {x} is {low}, not {limit}");
            }
        }
    }
}
