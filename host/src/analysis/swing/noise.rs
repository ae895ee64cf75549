//! Errors that remember: white noise plus a wander that forgets itself, found from the residuals.
//!
//! A residual a second is not a fresh piece of evidence a second: receivers filter, speed and helm
//! wander. Each component of the velocity has its own `white + first-order Gauss-Markov` error. It is
//! whitened by the Kalman filter of that process, which takes uneven times and gaps as they are; its
//! parameters are those of the greatest restricted likelihood (REML: Patterson, Thompson, *Biometrika*
//! 58, 1971, from memory), which counts what the fit itself has absorbed.

use super::matrix::Symmetric;

/// The shape of an error; its scale is apart.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Shape {
    /// Variance of the wander over that of the white noise.
    pub(crate) wander: f64,
    /// Memory of the wander, seconds.
    pub(crate) memory_s: f64,
}

/// The shapes tried.
///
/// White alone is not among them: some wander is always there, and a short swing cannot show it.
pub(crate) const SHAPES: [Shape; 16] = {
    let mut shapes = [Shape { wander: 0.0, memory_s: 1.0 }; 16];
    let wanders = [0.03, 0.15, 0.6, 2.5];
    let memories = [4.0, 10.0, 25.0, 60.0];
    let mut at = 0;
    while at < 16 {
        shapes[at] = Shape { wander: wanders[at / 4], memory_s: memories[at % 4] };
        at += 1;
    }
    shapes
};

/// One row to be whitened: its time, the variance of its white part, and whether memory ends before it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Row {
    /// Seconds.
    pub(crate) t_s: f64,
    /// White variance over the common one; infinite for a row that counts for nothing.
    pub(crate) scale: f64,
}

/// Whitens `columns` (rows of `width` values) in place and returns the log determinant of the error's
/// covariance, and how many rows counted. Rows of infinite scale become zero.
pub(crate) fn whiten(shape: Shape, rows: &[Row], columns: &mut [f64], width: usize) -> (f64, usize) {
    let (mut log_determinant, mut counted) = (0.0, 0);
    let mut means = vec![0.0; width];
    let mut variance = shape.wander;
    let mut before = f64::NAN;
    for (row, values) in rows.iter().zip(columns.chunks_exact_mut(width)) {
        if !before.is_nan() {
            let keep = (-(row.t_s - before) / shape.memory_s).exp();
            means.iter_mut().for_each(|mean| *mean *= keep);
            variance = keep * keep * variance + shape.wander * (1.0 - keep * keep);
        }
        before = row.t_s;
        if !row.scale.is_finite() {
            values.fill(0.0);
            continue;
        }
        let innovation = variance + row.scale;
        let gain = variance / innovation;
        let whiten = 1.0 / innovation.sqrt();
        for (value, mean) in values.iter_mut().zip(&mut means) {
            let surprise = *value - *mean;
            *mean += gain * surprise;
            *value = surprise * whiten;
        }
        variance *= 1.0 - gain;
        log_determinant += innovation.ln();
        counted += 1;
    }
    (log_determinant, counted)
}

/// The sums of one component under one shape, all blocks together, with scale 1.
#[derive(Clone, Debug)]
pub(crate) struct Sums {
    /// `X' W X`.
    pub(crate) normal: Symmetric,
    /// `X' W y`.
    pub(crate) moment: Vec<f64>,
    /// `y' W y`.
    pub(crate) square: f64,
    /// Log determinant of the covariance.
    pub(crate) log_determinant: f64,
    /// Rows that counted.
    pub(crate) rows: usize,
}

impl Sums {
    /// Nothing yet, for so many unknowns.
    pub(crate) fn zero(unknowns: usize) -> Self {
        let normal = Symmetric::zero(unknowns);
        Self { normal, moment: vec![0.0; unknowns], square: 0.0, log_determinant: 0.0, rows: 0 }
    }

    /// The sum of squares at a solution.
    pub(crate) fn left(&self, x: &[f64]) -> f64 {
        let cross: f64 = self.moment.iter().zip(x).map(|(m, x)| m * x).sum();
        (self.square - 2.0 * cross + self.normal.quadratic(x)).max(0.0)
    }
}

/// What the residuals say of the errors of the two components.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Chosen {
    /// Which of [`SHAPES`], along and across.
    pub(crate) shape: [usize; 2],
    /// Variance of one row's white noise, along and across.
    pub(crate) variance: [f64; 2],
}

/// Finds the errors of greatest restricted likelihood. `sums[component][shape]`; `prior` is the
/// precision known beforehand and `pull` its moment.
pub(crate) fn choose(sums: &[Vec<Sums>; 2], prior: &Symmetric, pull: &[f64], start: Chosen) -> Option<Chosen> {
    let mut best = start;
    for component in [0, 1, 0, 1] {
        let solved = |tried: &Chosen| {
            let mut normal = prior.clone();
            let mut moment = pull.to_vec();
            for side in 0..2 {
                let side_sums = &sums[side][tried.shape[side]];
                normal.add_scaled(&side_sums.normal, 1.0 / tried.variance[side]);
                moment.iter_mut().zip(&side_sums.moment).for_each(|(m, s)| *m += s / tried.variance[side]);
            }
            let factor = normal.factor()?;
            let x = factor.solve(&moment);
            Some((factor, x, moment))
        };
        // What the unknowns absorb differs little from shape to shape: one count serves all.
        let (factor, ..) = solved(&best)?;
        let now = &sums[component][best.shape[component]];
        let absorbed = factor.inverse().trace_with(&now.normal) / best.variance[component];
        let (mut least, mut found) = (f64::INFINITY, best);
        for (shape, own) in sums[component].iter().enumerate() {
            let mut tried = best;
            tried.shape[component] = shape;
            let freedom = (own.rows as f64 - absorbed).max(3.0);
            tried.variance[component] = (own.square / freedom).max(1e-8);
            let (factor, x, moment) = solved(&tried)?;
            let other = &sums[1 - component][tried.shape[1 - component]];
            let gained: f64 = moment.iter().zip(&x).map(|(m, x)| m * x).sum();
            let score = own.rows as f64 * tried.variance[component].ln()
                + own.log_determinant
                + own.square / tried.variance[component]
                + other.square / tried.variance[1 - component]
                - gained
                + factor.log_determinant();
            tried.variance[component] = (own.left(&x) / freedom).max(1e-8);
            if score < least {
                (least, found) = (score, tried);
            }
        }
        best = found;
    }
    Some(best)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The oracle: the covariance written out, factored, and the rows whitened by its triangle.
    #[test]
    fn whitening_equals_the_dense_covariance() {
        let shape = Shape { wander: 0.7, memory_s: 6.0 };
        let times = [0.0, 3.0, 6.5, 20.0, 21.0];
        let scales = [1.0, 2.0, 1.0, 0.5, 1.0];
        let y = [0.3, -1.0, 2.0, 0.1, 0.7];
        let mut dense = Symmetric::zero(5);
        for i in 0..5 {
            for j in 0..=i {
                let white = if i == j { scales[i] } else { 0.0 };
                dense.add(i, j, white + shape.wander * (-(times[i] - times[j]) / shape.memory_s).exp());
            }
        }
        let factor = dense.factor().unwrap();
        let expected: f64 = factor.solve(&y).iter().zip(&y).map(|(a, b)| a * b).sum();
        let rows: Vec<Row> = times.iter().zip(scales).map(|(&t_s, scale)| Row { t_s, scale }).collect();
        let mut columns = y.to_vec();
        let (log_determinant, counted) = whiten(shape, &rows, &mut columns, 1);
        let found: f64 = columns.iter().map(|v| v * v).sum();
        assert!((found - expected).abs() <= 1e-12 && counted == 5, "{found} {expected}");
        assert!((log_determinant - factor.log_determinant()).abs() <= 1e-12);
    }

    #[test]
    fn a_row_without_weight_changes_nothing() {
        let shape = SHAPES[5];
        let row = |t_s, scale| Row { t_s, scale };
        let mut with = vec![1.0, 900.0, 2.0];
        let found = whiten(shape, &[row(0.0, 1.0), row(3.0, f64::INFINITY), row(6.0, 1.0)], &mut with, 1);
        let mut without = vec![1.0, 2.0];
        assert_eq!(found, whiten(shape, &[row(0.0, 1.0), row(6.0, 1.0)], &mut without, 1));
        assert!((with[2] - without[1]).abs() <= 1e-12 && with[1] == 0.0);
    }
}
