//! Least squares with errors that go together within a group: columns that the rows do not tell apart are left out.

/// The outcome for one column.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Told {
    /// Its factor.
    pub value: f64,
    /// Standard uncertainty of it.
    pub uncertainty: f64,
}

/// Rows of a group; their errors may go together, those of different groups do not.
#[derive(Clone, Debug)]
pub struct Group {
    /// Weight of all its rows.
    pub weight: f64,
    /// Values of the columns, and what they should add up to.
    pub rows: Vec<(Vec<f64>, f64)>,
}

/// A column that, beside those before it, keeps less than this share of its length cannot be told; chosen.
const TELLING: f64 = 0.02;

/// Factors of the columns, earlier ones first choice; none for a column that cannot be told from those before it.
///
/// Uncertainties are from the scatter of whole groups (the sandwich estimator for clustered errors, Liang and Zeger,
/// Biometrika 73, 1986, with the usual factor for few groups), so that neighbours that err alike do not count as many.
pub fn solve(groups: &[Group], columns: usize) -> Vec<Option<Told>> {
    let mut told: Vec<usize> = Vec::new();
    let normal = |a: usize, b: usize| -> f64 {
        let of = |g: &Group| g.weight * g.rows.iter().map(|(r, _)| r[a] * r[b]).sum::<f64>();
        groups.iter().map(of).sum()
    };
    let all: Vec<Vec<f64>> = (0..columns)
        .map(|a| (0..columns).map(|b| normal(a, b)).collect())
        .collect();
    for column in 0..columns {
        let mut with = told.clone();
        with.push(column);
        let own = all[column][column];
        let left = cholesky(&all, &with).map_or(0.0, |l| l[with.len() - 1][with.len() - 1].powi(2));
        if own > 0.0 && left > own * TELLING * TELLING {
            told = with;
        }
    }
    let mut outcome = vec![None; columns];
    let Some(inverse) = inverse(&all, &told) else {
        return outcome;
    };
    let size = told.len();
    let mut right = vec![0.0; size];
    for g in groups {
        for (row, y) in &g.rows {
            for (r, c) in right.iter_mut().zip(&told) {
                *r += g.weight * row[*c] * y;
            }
        }
    }
    let product = |v: &[f64]| -> Vec<f64> {
        let along = |row: &Vec<f64>| row.iter().zip(v).map(|(a, b)| a * b).sum();
        inverse.iter().map(along).collect()
    };
    let value = product(&right);
    let mut spread = vec![0.0; size];
    for g in groups {
        let mut score = vec![0.0; size];
        for (row, y) in &g.rows {
            let fitted: f64 = told.iter().zip(&value).map(|(c, v)| row[*c] * v).sum();
            for (s, c) in score.iter_mut().zip(&told) {
                *s += g.weight * row[*c] * (y - fitted);
            }
        }
        for (total, s) in spread.iter_mut().zip(product(&score)) {
            *total += s * s;
        }
    }
    let counted = groups.iter().filter(|g| g.weight > 0.0).count() as f64;
    // each group has two ends to tell from, so that so many columns use up half as many groups
    let few = counted / (counted - 0.5 * size as f64 - 1.0).max(1.0);
    for (k, c) in told.iter().enumerate() {
        outcome[*c] = Some(Told {
            value: value[k],
            uncertainty: (few * spread[k]).sqrt(),
        });
    }
    outcome
}

/// Lower factor of the picked rows and columns of a symmetric matrix; none if it is not positive.
fn cholesky(all: &[Vec<f64>], picked: &[usize]) -> Option<Vec<Vec<f64>>> {
    let n = picked.len();
    let mut l = vec![vec![0.0; n]; n];
    for i in 0..n {
        for j in 0..=i {
            let sum: f64 = (0..j).map(|k| l[i][k] * l[j][k]).sum();
            let rest = all[picked[i]][picked[j]] - sum;
            if i == j {
                if rest <= 0.0 {
                    return None;
                }
                l[i][i] = rest.sqrt();
            } else {
                l[i][j] = rest / l[j][j];
            }
        }
    }
    Some(l)
}

fn inverse(all: &[Vec<f64>], picked: &[usize]) -> Option<Vec<Vec<f64>>> {
    let l = cholesky(all, picked)?;
    let n = picked.len();
    let mut inverse = vec![vec![0.0; n]; n];
    // Row after row, as the inverse is symmetric.
    for (column, row) in inverse.iter_mut().enumerate() {
        let mut z = vec![0.0; n];
        for i in 0..n {
            let sum: f64 = (0..i).map(|k| l[i][k] * z[k]).sum();
            z[i] = (f64::from(u8::from(i == column)) - sum) / l[i][i];
        }
        for i in (0..n).rev() {
            let sum: f64 = (i + 1..n).map(|k| l[k][i] * row[k]).sum();
            row[i] = (z[i] - sum) / l[i][i];
        }
    }
    Some(inverse)
}
