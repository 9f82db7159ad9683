//! Least squares by Levenberg's and Marquardt's damping, for a handful of parameters.
//!
//! Levenberg 1944 and Marquardt 1963: the normal equations with their diagonal raised until the sum
//! of squares falls. Steps stop at the bounds of a parameter.

#![expect(clippy::indexing_slicing, reason = "square matrices of one size, set up here")]

/// What is to be made small.
pub(super) trait Problem {
    /// Fills `out` with the residuals at `at`; always as many.
    fn residuals(&self, at: &[f64], out: &mut Vec<f64>);
    /// Lowest and highest value of a parameter.
    fn bounds(&self, parameter: usize) -> (f64, f64);
    /// Half the difference over which a slope is taken.
    fn stride(&self, parameter: usize) -> f64;
}

/// A least sum.
#[derive(Debug, Clone)]
pub(super) struct Solution {
    pub(super) at: Vec<f64>,
    pub(super) residuals: Vec<f64>,
    /// Sum of their squares.
    pub(super) sum: f64,
    /// J^T J there.
    pub(super) normal: Vec<Vec<f64>>,
}

const MOST_ROUNDS: usize = 100;

/// Goes downhill from `start` until nothing is gained any more.
pub(super) fn solve(problem: &impl Problem, start: &[f64]) -> Solution {
    let mut at = start.to_vec();
    for (index, value) in at.iter_mut().enumerate() {
        let (low, high) = problem.bounds(index);
        *value = value.clamp(low, high);
    }
    let mut residuals = Vec::new();
    problem.residuals(&at, &mut residuals);
    let mut sum = squares(&residuals);
    let mut damping = 1e-3;
    let (mut normal, mut slope) = normal_equations(problem, &at, &residuals);
    let mut tried = Vec::new();
    for _ in 0..MOST_ROUNDS {
        let mut gained = 0.0;
        while damping < 1e12 {
            let next = stepped(problem, &at, &normal, &slope, damping);
            problem.residuals(&next, &mut tried);
            let now = squares(&tried);
            if now < sum {
                gained = (sum - now) / sum;
                (at, sum) = (next, now);
                std::mem::swap(&mut residuals, &mut tried);
                damping = (damping / 6.0).max(1e-12);
                break;
            }
            damping *= 4.0;
        }
        if gained <= 0.0 {
            break;
        }
        (normal, slope) = normal_equations(problem, &at, &residuals);
        if gained < 1e-13 {
            break;
        }
    }
    Solution { at, residuals, sum, normal }
}

fn squares(values: &[f64]) -> f64 {
    let sum: f64 = values.iter().map(|value| value * value).sum();
    if sum.is_finite() { sum } else { f64::INFINITY }
}

/// J^T J and J^T r.
fn normal_equations(
    problem: &impl Problem,
    at: &[f64],
    residuals: &[f64],
) -> (Vec<Vec<f64>>, Vec<f64>) {
    let (mut up, mut down) = (Vec::new(), Vec::new());
    let columns: Vec<Vec<f64>> = (0..at.len())
        .map(|index| {
            let (low, high) = problem.bounds(index);
            let stride = problem.stride(index);
            let mut moved = at.to_vec();
            moved[index] = (at[index] + stride).min(high);
            let above = moved[index];
            problem.residuals(&moved, &mut up);
            moved[index] = (at[index] - stride).max(low);
            let span = above - moved[index];
            problem.residuals(&moved, &mut down);
            up.iter().zip(&down).map(|(up, down)| (up - down) / span).collect()
        })
        .collect();
    let dot = |a: &[f64], b: &[f64]| a.iter().zip(b).map(|(a, b)| a * b).sum::<f64>();
    let normal = columns.iter().map(|a| columns.iter().map(|b| dot(a, b)).collect()).collect();
    (normal, columns.iter().map(|column| dot(column, residuals)).collect())
}

/// One damped step, no further than the bounds. A parameter that lies at a bound and would leave
/// it stays.
fn stepped(
    problem: &impl Problem,
    at: &[f64],
    normal: &[Vec<f64>],
    slope: &[f64],
    damping: f64,
) -> Vec<f64> {
    let held: Vec<bool> = (0..at.len())
        .map(|index| {
            let (low, high) = problem.bounds(index);
            (at[index] <= low && slope[index] > 0.0) || (at[index] >= high && slope[index] < 0.0)
        })
        .collect();
    let mut matrix = normal.to_vec();
    let mut right: Vec<f64> = slope.iter().map(|s| -s).collect();
    for (index, row) in matrix.iter_mut().enumerate() {
        row[index] = row[index] * (1.0 + damping) + f64::MIN_POSITIVE;
        if held[index] {
            right[index] = 0.0;
        }
        for (other, value) in row.iter_mut().enumerate() {
            if held[index] || held[other] {
                *value = if index == other { 1.0 } else { 0.0 };
            }
        }
    }
    let Some(step) = solved(matrix, right) else { return at.to_vec() };
    let moved = at.iter().zip(step).enumerate().map(|(index, (value, step))| {
        let (low, high) = problem.bounds(index);
        (value + step).clamp(low, high)
    });
    moved.collect()
}

/// Gauss's elimination with the largest pivot. None where the matrix is singular.
fn solved(mut matrix: Vec<Vec<f64>>, mut right: Vec<f64>) -> Option<Vec<f64>> {
    let size = right.len();
    for column in 0..size {
        let best = (column..size)
            .max_by(|a, b| matrix[*a][column].abs().total_cmp(&matrix[*b][column].abs()))?;
        matrix.swap(column, best);
        right.swap(column, best);
        let pivot = matrix[column][column];
        if !(pivot.abs() > 0.0 && pivot.is_finite()) {
            return None;
        }
        let pivot_row = matrix[column].clone();
        for row in column + 1..size {
            let factor = matrix[row][column] / pivot;
            for (value, above) in matrix[row].iter_mut().zip(&pivot_row).skip(column) {
                *value -= factor * above;
            }
            right[row] -= factor * right[column];
        }
    }
    for column in (0..size).rev() {
        let known: f64 = (column + 1..size).map(|k| matrix[column][k] * right[k]).sum();
        right[column] = (right[column] - known) / matrix[column][column];
    }
    Some(right)
}

/// The inverse of a symmetric matrix. None where it is singular.
pub(super) fn inverse(matrix: &[Vec<f64>]) -> Option<Vec<Vec<f64>>> {
    let size = matrix.len();
    // Scaled to a diagonal of 1: parameters of any size.
    let scale: Vec<f64> = (0..size).map(|k| matrix[k][k].sqrt()).collect();
    if scale.iter().any(|s| !(*s > 0.0 && s.is_finite())) {
        return None;
    }
    let scaled: Vec<Vec<f64>> = (0..size)
        .map(|a| (0..size).map(|b| matrix[a][b] / (scale[a] * scale[b])).collect())
        .collect();
    (0..size)
        .map(|column| {
            let unit = (0..size).map(|k| f64::from(u8::from(k == column))).collect();
            let solved = solved(scaled.clone(), unit)?;
            Some((0..size).map(|k| solved[k] / (scale[k] * scale[column])).collect())
        })
        .collect()
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "tests stop at the first surprise")]
mod tests {
    use super::*;

    /// y = a e^(-b t), exact data; bounds may keep the second parameter from its place.
    struct Decay(f64);

    impl Problem for Decay {
        fn residuals(&self, at: &[f64], out: &mut Vec<f64>) {
            out.clear();
            let times = (0..20).map(f64::from);
            out.extend(times.map(|t| at[0] * libm::exp(-at[1] * t) - 5.0 * libm::exp(-0.3 * t)));
        }
        fn bounds(&self, parameter: usize) -> (f64, f64) {
            if parameter == 1 { (0.0, self.0) } else { (-100.0, 100.0) }
        }
        fn stride(&self, _: usize) -> f64 {
            1e-5
        }
    }

    #[test]
    fn finds_the_bottom_and_stops_at_bounds() {
        let free = solve(&Decay(10.0), &[1.0, 2.0]);
        assert!((free.at[0] - 5.0).abs() < 1e-6 && (free.at[1] - 0.3).abs() < 1e-6, "{free:?}");
        let held = solve(&Decay(0.2), &[1.0, 0.1]);
        assert!((held.at[1] - 0.2).abs() < 1e-12 && held.sum > 0.1, "{held:?}");
    }

    #[test]
    fn an_inverse_undoes_its_matrix() {
        let matrix = vec![vec![4e6, 1e3, 2.0], vec![1e3, 3.0, 0.1], vec![2.0, 0.1, 5e-3]];
        let inverse = inverse(&matrix).unwrap();
        for (row, line) in matrix.iter().enumerate() {
            for (column, _) in matrix.iter().enumerate() {
                let sum: f64 = line.iter().zip(&inverse).map(|(a, b)| a * b[column]).sum();
                let wanted = f64::from(u8::from(row == column));
                assert!((sum - wanted).abs() < 1e-6, "{row} {column}: {sum}");
            }
        }
        assert!(super::inverse(&[vec![1.0, 1.0], vec![1.0, 1.0]]).is_none());
    }
}
