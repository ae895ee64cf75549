//! Small dense symmetric matrices: just what a least-squares fit of some twenty unknowns asks for.

/// A symmetric matrix, stored whole by rows.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Symmetric {
    size: usize,
    cells: Vec<f64>,
}

/// The lower triangle L of a positive definite matrix `L L'` (Cholesky).
#[derive(Clone, Debug)]
pub(crate) struct Factor {
    size: usize,
    lower: Vec<f64>,
}

impl Symmetric {
    /// All zeros.
    pub(crate) fn zero(size: usize) -> Self {
        Self { size, cells: vec![0.0; size * size] }
    }

    /// The element of a row and a column.
    pub(crate) fn at(&self, row: usize, column: usize) -> f64 {
        self.cells[row * self.size + column]
    }

    /// Adds to one element and, off the diagonal, to its mirror image.
    pub(crate) fn add(&mut self, row: usize, column: usize, value: f64) {
        self.cells[row * self.size + column] += value;
        if row != column {
            self.cells[column * self.size + row] += value;
        }
    }

    /// Adds `factor` times another matrix of the same size.
    pub(crate) fn add_scaled(&mut self, other: &Self, factor: f64) {
        self.cells.iter_mut().zip(&other.cells).for_each(|(mine, theirs)| *mine += factor * theirs);
    }

    /// The rows and columns from `start`, `size` of them.
    pub(crate) fn block(&self, start: usize, size: usize) -> Self {
        let cells = (0..size * size).map(|at| self.at(start + at / size, start + at % size)).collect();
        Self { size, cells }
    }

    /// `x' M x`.
    pub(crate) fn quadratic(&self, x: &[f64]) -> f64 {
        (0..self.size).map(|row| x[row] * (0..self.size).map(|c| self.at(row, c) * x[c]).sum::<f64>()).sum()
    }

    /// The trace of the product with another matrix of the same size.
    pub(crate) fn trace_with(&self, other: &Self) -> f64 {
        self.cells.iter().zip(&other.cells).map(|(a, b)| a * b).sum()
    }

    /// The triangle, or `None` where the matrix is not positive definite to the precision of `f64`.
    pub(crate) fn factor(&self) -> Option<Factor> {
        let n = self.size;
        let mut lower = vec![0.0; n * n];
        for row in 0..n {
            for column in 0..=row {
                let dot: f64 = (0..column).map(|k| lower[row * n + k] * lower[column * n + k]).sum();
                let rest = self.at(row, column) - dot;
                if row == column {
                    if rest.is_nan() || rest <= 1e-13 * self.at(row, row).abs() {
                        return None;
                    }
                    lower[row * n + row] = rest.sqrt();
                } else {
                    lower[row * n + column] = rest / lower[column * n + column];
                }
            }
        }
        Some(Factor { size: n, lower })
    }
}

impl Factor {
    /// The x of `M x = b`.
    pub(crate) fn solve(&self, b: &[f64]) -> Vec<f64> {
        let n = self.size;
        let mut x = b.to_vec();
        for row in 0..n {
            let dot: f64 = (0..row).map(|k| self.lower[row * n + k] * x[k]).sum();
            x[row] = (x[row] - dot) / self.lower[row * n + row];
        }
        for row in (0..n).rev() {
            let dot: f64 = (row + 1..n).map(|k| self.lower[k * n + row] * x[k]).sum();
            x[row] = (x[row] - dot) / self.lower[row * n + row];
        }
        x
    }

    /// The inverse of the matrix.
    pub(crate) fn inverse(&self) -> Symmetric {
        let n = self.size;
        let mut out = Symmetric::zero(n);
        let mut unit = vec![0.0; n];
        for column in 0..n {
            unit[column] = 1.0;
            for (row, value) in self.solve(&unit).into_iter().enumerate() {
                out.cells[row * n + column] = value;
            }
            unit[column] = 0.0;
        }
        out
    }

    /// The natural logarithm of the determinant of the matrix.
    pub(crate) fn log_determinant(&self) -> f64 {
        (0..self.size).map(|at| 2.0 * self.lower[at * self.size + at].ln()).sum()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Computed by hand: [[4,2,0],[2,5,2],[0,2,5]] has determinant 64.
    #[test]
    fn solves_and_inverts() {
        let mut m = Symmetric::zero(3);
        for (row, column, value) in [(0, 0, 4.0), (0, 1, 2.0), (1, 1, 5.0), (1, 2, 2.0), (2, 2, 5.0)] {
            m.add(row, column, value);
        }
        let factor = m.factor().unwrap();
        assert!((factor.log_determinant() - 64.0_f64.ln()).abs() <= 1e-12);
        let x = factor.solve(&[8.0, 18.0, 19.0]);
        for (found, expected) in x.iter().zip([1.0, 2.0, 3.0]) {
            assert!((found - expected).abs() <= 1e-12, "{x:?}");
        }
        let inverse = factor.inverse();
        assert!((inverse.trace_with(&m) - 3.0).abs() <= 1e-12);
        assert!((m.quadratic(&[1.0, 2.0, 3.0]) - 101.0).abs() <= 1e-12);
        assert_eq!(m.block(1, 2).at(0, 1), 2.0);
    }

    #[test]
    fn a_singular_matrix_is_refused() {
        let mut m = Symmetric::zero(2);
        m.add(0, 0, 1.0);
        m.add(0, 1, 2.0);
        m.add(1, 1, 4.0);
        assert!(m.factor().is_none());
    }
}
