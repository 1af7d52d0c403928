//! Dense symmetric systems in a fixed order of operations: the same bits on every machine.
//!
//! Deliberately not here: anything dispatched on CPU features, and anything for more than a few
//! hundred unknowns; a pin field has at most about 260.

/// A square matrix stored by rows.
#[derive(Clone, Debug, PartialEq)]
pub struct SquareMatrix {
    size: usize,
    cells: Vec<f64>,
}

impl SquareMatrix {
    /// From a function of row and column.
    pub fn from_fn(size: usize, mut cell: impl FnMut(usize, usize) -> f64) -> SquareMatrix {
        let mut cells = Vec::with_capacity(size * size);
        for row in 0..size {
            for column in 0..size {
                cells.push(cell(row, column));
            }
        }
        SquareMatrix { size, cells }
    }

    /// From a function of row and column for the lower triangle; the upper one mirrors it.
    pub fn from_lower(size: usize, cell: impl Fn(usize, usize) -> f64) -> SquareMatrix {
        let mut cells = vec![0.0; size * size];
        for row in 0..size {
            for column in 0..=row {
                let value = cell(row, column);
                cells[row * size + column] = value;
                cells[column * size + row] = value;
            }
        }
        SquareMatrix { size, cells }
    }

    /// The lower triangle from a function of row and column; of each row only the cells from
    /// `first(row)` on differ from zero. Nothing is above the diagonal.
    pub fn of_envelope(
        size: usize,
        first: impl Fn(usize) -> usize,
        cell: impl Fn(usize, usize) -> f64,
    ) -> SquareMatrix {
        let mut cells = vec![0.0; size * size];
        for (row, here) in cells.chunks_exact_mut(size.max(1)).enumerate() {
            let from = first(row).min(row);
            for (column, into) in (from..=row).zip(&mut here[from..=row]) {
                *into = cell(row, column);
            }
        }
        SquareMatrix { size, cells }
    }

    /// Rows, and columns.
    pub const fn size(&self) -> usize {
        self.size
    }

    /// One row.
    pub fn row(&self, row: usize) -> &[f64] {
        &self.cells[row * self.size..(row + 1) * self.size]
    }

    /// One cell.
    pub fn at(&self, row: usize, column: usize) -> f64 {
        self.cells[row * self.size + column]
    }

    /// The matrix times a vector of its size.
    pub fn times(&self, vector: &[f64]) -> Vec<f64> {
        (0..self.size).map(|row| dot(self.row(row), vector)).collect()
    }
}

/// Sum of products in a fixed order: four sums over every fourth product, added at the end.
///
/// Four sums, because one alone waits for each addition to finish; the order is part of the code
/// and not of the machine.
pub fn dot(left: &[f64], right: &[f64]) -> f64 {
    let size = left.len().min(right.len());
    let (left_fours, left_rest) = left[..size].as_chunks::<4>();
    let (right_fours, right_rest) = right[..size].as_chunks::<4>();
    let mut sums = [0.0; 4];
    for (l, r) in left_fours.iter().zip(right_fours) {
        for lane in 0..4 {
            sums[lane] += l[lane] * r[lane];
        }
    }
    let rest = left_rest.iter().zip(right_rest).fold(0.0, |sum, (l, r)| sum + l * r);
    ((sums[0] + sums[2]) + (sums[1] + sums[3])) + rest
}

/// Takes `factor` times a row off another.
fn subtract(of: &mut [f64], factor: f64, row: &[f64]) {
    for (cell, other) in of.iter_mut().zip(row) {
        *cell -= factor * other;
    }
}

/// The lower triangle L of a positive definite matrix, A = L·Lᵀ.
///
/// Zeros before a row's first other cell stay zeros in L and are skipped (its envelope): a
/// covariance that ends, its places in order along a line, is factored in a small part of the time.
#[derive(Clone, Debug, PartialEq)]
pub struct Cholesky {
    lower: SquareMatrix,
    /// Column of each row's first cell that may differ from zero.
    firsts: Vec<usize>,
}

impl Cholesky {
    /// Factors `matrix`, of which the lower triangle is read.
    ///
    /// `None` when it is not positive definite to working precision, or holds a NaN.
    pub fn new(matrix: &SquareMatrix) -> Option<Cholesky> {
        Cholesky::factor(matrix.clone())
    }

    /// The same in the matrix's own memory.
    ///
    /// `None` when it is not positive definite to working precision, or holds a NaN.
    pub fn factor(matrix: SquareMatrix) -> Option<Cholesky> {
        let mut lower = matrix;
        let size = lower.size;
        let mut firsts: Vec<usize> = Vec::with_capacity(size);
        for row in 0..size {
            let (above, from) = lower.cells.split_at_mut(row * size);
            let here = &mut from[..size];
            here[row + 1..].fill(0.0);
            let first = here[..row].iter().position(|cell| *cell != 0.0).unwrap_or(row);
            for column in first..row {
                let start = first.max(firsts[column]).min(column);
                let other = &above[column * size..(column + 1) * size];
                let known = dot(&here[start..column], &other[start..column]);
                here[column] = (here[column] - known) / other[column];
            }
            let known = &here[first..row];
            let rest = here[row] - dot(known, known);
            if rest.is_nan() || rest <= 0.0 {
                return None;
            }
            here[row] = rest.sqrt();
            firsts.push(first);
        }
        Some(Cholesky { lower, firsts })
    }

    /// The cells of a row of L that may differ from zero, its diagonal not included.
    fn known(&self, row: usize) -> &[f64] {
        &self.lower.row(row)[self.firsts[row]..row]
    }

    /// Solves L·z = b.
    pub fn solve_lower(&self, right: &[f64]) -> Vec<f64> {
        let mut solution: Vec<f64> = Vec::with_capacity(right.len());
        for (row, b) in right.iter().enumerate() {
            let known = dot(self.known(row), &solution[self.firsts[row]..]);
            solution.push((b - known) / self.lower.at(row, row));
        }
        solution
    }

    /// Solves A·x = b.
    pub fn solve(&self, right: &[f64]) -> Vec<f64> {
        let mut solution = self.solve_lower(right);
        for row in (0..solution.len()).rev() {
            let (above, here) = solution.split_at_mut(row);
            here[0] /= self.lower.at(row, row);
            let above = &mut above[self.firsts[row]..];
            for (value, factor) in above.iter_mut().zip(self.known(row)) {
                *value -= factor * here[0];
            }
        }
        solution
    }

    /// Solves L·Z = B for `column_count` right sides at once, B and Z stored by rows.
    pub fn solve_lower_columns(&self, right: &[f64], column_count: usize) -> Vec<f64> {
        let mut solution = right.to_vec();
        if column_count == 0 {
            return solution;
        }
        for row in 0..self.lower.size() {
            let (above, from) = solution.split_at_mut(row * column_count);
            let here = &mut from[..column_count];
            let above = above[self.firsts[row] * column_count..].chunks_exact(column_count);
            for (known, factor) in above.zip(self.known(row)) {
                subtract(here, *factor, known);
            }
            let pivot = self.lower.at(row, row);
            here.iter_mut().for_each(|cell| *cell /= pivot);
        }
        solution
    }

    /// L times a vector of its size: makes draws with covariance A out of independent ones.
    pub fn times_lower(&self, vector: &[f64]) -> Vec<f64> {
        (0..self.lower.size()).map(|row| dot(&self.lower.row(row)[..=row], vector)).collect()
    }

    /// Solves A·X = B for `column_count` right sides at once, B and X stored by rows.
    pub fn solve_columns(&self, right: &[f64], column_count: usize) -> Vec<f64> {
        let mut solution = self.solve_lower_columns(right, column_count);
        if column_count == 0 {
            return solution;
        }
        for row in (0..self.lower.size()).rev() {
            let (above, from) = solution.split_at_mut(row * column_count);
            let here = &mut from[..column_count];
            let pivot = self.lower.at(row, row);
            here.iter_mut().for_each(|cell| *cell /= pivot);
            let above = above[self.firsts[row] * column_count..].chunks_exact_mut(column_count);
            for (known, factor) in above.zip(self.known(row)) {
                subtract(known, *factor, here);
            }
        }
        solution
    }

    /// Logarithm of the determinant of A.
    pub fn log_determinant(&self) -> f64 {
        (0..self.lower.size()).fold(0.0, |sum, i| sum + 2.0 * libm::log(self.lower.at(i, i)))
    }

    /// The inverse of A.
    pub fn inverse(&self) -> SquareMatrix {
        let size = self.lower.size();
        // Rows of L⁻ᵀ, then A⁻¹ = L⁻ᵀ·L⁻¹; both in a fixed order.
        let mut columns = vec![0.0; size * size];
        for (column, cells) in columns.chunks_exact_mut(size.max(1)).enumerate() {
            cells[column] = 1.0 / self.lower.at(column, column);
            for row in column + 1..size {
                let start = self.firsts[row].max(column);
                let known = dot(&self.lower.row(row)[start..row], &cells[start..row]);
                cells[row] = -known / self.lower.at(row, row);
            }
        }
        SquareMatrix::from_lower(size, |row, column| {
            let left = &columns[row * size + row..(row + 1) * size];
            dot(left, &columns[column * size + row..(column + 1) * size])
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn solves_and_inverts_a_known_system() {
        // The classic example 4 12 −16 / 12 37 −43 / −16 −43 98 with L = 2 / 6 1 / −8 5 3.
        let cells = [[4.0, 12.0, -16.0], [12.0, 37.0, -43.0], [-16.0, -43.0, 98.0]];
        let matrix = SquareMatrix::from_fn(3, |row, column| cells[row][column]);
        let factor = Cholesky::new(&matrix).expect("positive definite");
        let solution = factor.solve(&matrix.times(&[1.0, -2.0, 3.0]));
        for (got, want) in solution.iter().zip([1.0, -2.0, 3.0]) {
            assert!((got - want).abs() < 1e-9);
        }
        assert!((factor.log_determinant() - libm::log(36.0)).abs() < 1e-12);
        let inverse = factor.inverse();
        for row in 0..3 {
            for column in 0..3 {
                let product = (0..3).map(|k| matrix.at(row, k) * inverse.at(k, column));
                let unit = if row == column { 1.0 } else { 0.0 };
                assert!((product.sum::<f64>() - unit).abs() < 1e-9);
            }
        }
    }

    #[test]
    fn many_right_sides_are_solved_as_one_is() {
        let matrix = SquareMatrix::from_lower(9, |row, column| {
            if row == column { 4.0 } else { 1.0 / (1.0 + (row - column) as f64) }
        });
        let factor = Cholesky::new(&matrix).expect("positive definite");
        let right: Vec<f64> = (0..27).map(|i| f64::from(i * 7 % 11)).collect();
        let all = factor.solve_columns(&right, 3);
        for column in 0..3 {
            let one: Vec<f64> = right.iter().skip(column).step_by(3).copied().collect();
            for (row, value) in factor.solve(&one).into_iter().enumerate() {
                assert!((all[3 * row + column] - value).abs() < 1e-12);
            }
        }
        assert!(factor.solve_columns(&[], 0).is_empty());
    }

    #[test]
    fn what_is_zero_before_a_rows_first_cell_is_skipped_and_nothing_else() {
        // A band of four, with a gap in its middle.
        let cell = |row: usize, column: usize| match row - column {
            0 => 3.0 + row as f64,
            2 => 0.0,
            1..=4 => 0.5 / (row + column) as f64,
            _ => 0.0,
        };
        let matrix = SquareMatrix::from_lower(12, cell);
        let factor = Cholesky::new(&matrix).expect("positive definite");
        assert_eq!((factor.firsts[0], factor.firsts[3], factor.firsts[11]), (0, 0, 7));
        let inverse = factor.inverse();
        let all = factor.solve_columns(&inverse.cells, 12);
        for row in 0..12 {
            let back = matrix.times(inverse.row(row));
            for column in 0..12 {
                let unit = if row == column { 1.0 } else { 0.0 };
                assert!((back[column] - unit).abs() < 1e-13);
                let solved = factor.solve(inverse.row(column))[row];
                assert!((all[12 * row + column] - solved).abs() < 1e-15);
            }
        }
    }

    #[test]
    fn refuses_what_is_not_positive_definite() {
        assert!(Cholesky::new(&SquareMatrix::from_fn(2, |_, _| 1.0)).is_none());
        assert!(Cholesky::new(&SquareMatrix::from_fn(1, |_, _| f64::NAN)).is_none());
    }
}
