use ndarray::Array1;

use super::{Columns, model};
use crate::pooling::bivariate::Covariance;
use crate::pooling::draws::{Draw, Draws};
use crate::pooling::tests::assert_close;

/// Nearly normal: twelve uniforms less six.
fn bell(draw: &mut Draw) -> f64 {
    (0..12).map(|_| draw.uniform()).sum::<f64>() - 6.0
}

/// Units of which every third is very precise and near 0, so that the likelihood has several hills,
/// some of them close to the boundary.
fn hilly(draw: &mut Draw, k: usize) -> Columns {
    let mut columns = [0; 4].map(|_| Array1::zeros(k));
    let power = |u: f64| 10.0_f64.powf(4.0 * u - 2.0);
    let (tau_a, tau_b) = (power(draw.uniform()), power(draw.uniform()));
    let rho = 2.0 * draw.uniform() - 1.0;
    for idx in 0..k {
        let (v_a, v_b) = (0.3 + 3.0 * draw.uniform(), 0.3 + 3.0 * draw.uniform());
        let (shared, own) = (bell(draw), bell(draw));
        let mut unit = [
            tau_a * shared + v_a.sqrt() * bell(draw),
            tau_b * (rho * shared + (1.0 - rho * rho).sqrt() * own) + v_b.sqrt() * bell(draw),
            v_a,
            v_b,
        ];
        if idx % 3 == 0 {
            unit = [0.02 * bell(draw), 0.02 * bell(draw), 1e-4 * v_a, 1e-4 * v_b];
        }
        for (column, number) in columns.iter_mut().zip(unit) {
            column[idx] = number;
        }
    }
    columns
}

/// The restricted log-likelihood by its formula as it is printed.
fn log_likelihood(columns: &Columns, correlation: f64, between: Covariance) -> f64 {
    let [y_a, y_b, v_a, v_b] = columns;
    let mut weights = Vec::new();
    let (mut total, mut pull, mut logarithms) = ([0.0; 3], [0.0; 2], 0.0);
    for (idx, (&v_a, &v_b)) in v_a.iter().zip(v_b).enumerate() {
        let mixed = correlation * (v_a * v_b).sqrt() + between.ab;
        let (a, b) = (v_a + between.a, v_b + between.b);
        let determinant = a * b - mixed * mixed;
        let w = [b, -mixed, a].map(|entry| entry / determinant);
        logarithms += determinant.ln();
        total = [total[0] + w[0], total[1] + w[1], total[2] + w[2]];
        pull[0] += w[0] * y_a[idx] + w[1] * y_b[idx];
        pull[1] += w[1] * y_a[idx] + w[2] * y_b[idx];
        weights.push(w);
    }
    let determinant = total[0] * total[2] - total[1] * total[1];
    let mean_a = (total[2] * pull[0] - total[1] * pull[1]) / determinant;
    let mean_b = (total[0] * pull[1] - total[1] * pull[0]) / determinant;
    let mut residual = 0.0;
    for (idx, w) in weights.iter().enumerate() {
        let (r_a, r_b) = (y_a[idx] - mean_a, y_b[idx] - mean_b);
        residual += w[0] * r_a * r_a + 2.0 * w[1] * r_a * r_b + w[2] * r_b * r_b;
    }
    let contrasts = f64::from(u32::try_from(weights.len()).unwrap()) - 1.0;
    -contrasts * std::f64::consts::TAU.ln() - 0.5 * (logarithms + determinant.ln() + residual)
}

fn covariance(tau_a: f64, tau_b: f64, rho: f64) -> Covariance {
    Covariance {
        a: tau_a * tau_a,
        ab: rho * tau_a * tau_b,
        b: tau_b * tau_b,
    }
}

#[test]
fn no_other_covariance_is_likelier() {
    let draws = Draws::of([2025.0]);
    for number in 0..60 {
        let mut draw = draws.draw(number);
        let k = 10 + draw.below(10);
        let columns = hilly(&mut draw, k);
        let correlation = [-0.95, -0.5, 0.0, 0.5, 0.95][draw.below(5)];
        let found = model(&columns, correlation).unwrap();
        let best = found.log_likelihood;
        let by_formula = log_likelihood(&columns, correlation, found.between);
        assert_close(by_formula, best, 1e-9, 1e-7);
        let (tau_a, tau_b) = (found.between.a.sqrt(), found.between.b.sqrt());
        let product = tau_a * tau_b;
        let rho = if 0.0 < product {
            (found.between.ab / product).clamp(-1.0, 1.0)
        } else {
            0.0
        };
        for _ in 0..200 {
            let power = |u: f64| 10.0_f64.powf(6.0 * u - 4.0);
            let far = covariance(
                power(draw.uniform()),
                power(draw.uniform()),
                1.998 * draw.uniform() - 0.999,
            );
            let size = 10.0_f64.powf(-4.0 * draw.uniform());
            let mut moved = |x: f64| (x + size * bell(&mut draw) * (x + 0.1)).abs();
            let (near_a, near_b) = (moved(tau_a), moved(tau_b));
            let near_rho = (rho + size * bell(&mut draw)).clamp(-1.0, 1.0);
            for other in [far, covariance(near_a, near_b, near_rho)] {
                let value = log_likelihood(&columns, correlation, other);
                assert!(value <= best + 1e-7, "{number}: {value} above {best}");
            }
        }
    }
}
