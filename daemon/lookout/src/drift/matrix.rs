//! The few operations on small matrices the drift needs.

/// A matrix of `R` rows and `C` columns.
pub(crate) type Matrix<const R: usize, const C: usize> = [[f64; C]; R];

/// The product of two matrices.
pub(crate) fn product<const R: usize, const K: usize, const C: usize>(
    a: &Matrix<R, K>,
    b: &Matrix<K, C>,
) -> Matrix<R, C> {
    let mut out = [[0.0; C]; R];
    for (row, a_row) in out.iter_mut().zip(a) {
        for (factor, b_row) in a_row.iter().zip(b) {
            for (cell, b_cell) in row.iter_mut().zip(b_row) {
                *cell += factor * b_cell;
            }
        }
    }
    out
}

/// Rows and columns exchanged.
pub(crate) fn transposed<const R: usize, const C: usize>(a: &Matrix<R, C>) -> Matrix<C, R> {
    let mut out = [[0.0; R]; C];
    for (r, row) in a.iter().enumerate() {
        for (c, cell) in row.iter().enumerate() {
            out[c][r] = *cell;
        }
    }
    out
}

/// The sum of two matrices.
pub(crate) fn sum<const R: usize, const C: usize>(a: &Matrix<R, C>, b: &Matrix<R, C>) -> Matrix<R, C> {
    let mut out = *a;
    for (row, b_row) in out.iter_mut().zip(b) {
        for (cell, b_cell) in row.iter_mut().zip(b_row) {
            *cell += b_cell;
        }
    }
    out
}

/// The inverse of a symmetric positive matrix, by elimination with pivots; `None` if it has none.
pub(crate) fn inverse<const N: usize>(a: &Matrix<N, N>) -> Option<Matrix<N, N>> {
    let mut left = *a;
    let mut right = [[0.0; N]; N];
    for (i, row) in right.iter_mut().enumerate() {
        row[i] = 1.0;
    }
    for i in 0..N {
        let pivot = (i..N).max_by(|&p, &q| left[p][i].abs().total_cmp(&left[q][i].abs()))?;
        left.swap(i, pivot);
        right.swap(i, pivot);
        let scale = left[i][i];
        if !scale.is_finite() || scale.abs() < 1e-300 {
            return None;
        }
        for c in 0..N {
            left[i][c] /= scale;
            right[i][c] /= scale;
        }
        for r in (0..N).filter(|&r| r != i) {
            let factor = left[r][i];
            for c in 0..N {
                left[r][c] -= factor * left[i][c];
                right[r][c] -= factor * right[i][c];
            }
        }
    }
    Some(right)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_matrix_times_its_inverse_is_one() {
        let a = [[4.0, 1.0, 0.5], [1.0, 3.0, -0.2], [0.5, -0.2, 2.0]];
        let one = product(&a, &inverse(&a).unwrap());
        for (r, row) in one.iter().enumerate() {
            for (c, cell) in row.iter().enumerate() {
                assert!((cell - f64::from(u8::from(r == c))).abs() < 1e-12);
            }
        }
        assert_eq!(inverse(&[[1.0, 2.0], [2.0, 4.0]]).map(|_| ()), None);
    }
}
