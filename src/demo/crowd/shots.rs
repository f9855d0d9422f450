//! Shots, hit one by one.
//!
//! Speed: a first-order autoregression `z_t = rho z_{t-1} + sqrt(1 - rho^2) e_t` of standard
//! normals, made mildly right-skewed by the shifted lognormal
//! (exp(s z) - exp(s^2/2)) / sqrt((exp(s^2) - 1) exp(s^2)), which has mean 0 and variance 1 exactly.
//! In and deep: each repeats the last shot's result with probability rho and is drawn afresh
//! otherwise, which leaves the probability p exact and makes the lag-1 autocorrelation rho. The
//! two are drawn independently of each other and of the speed, so that a mean over the shots in,
//! and deep per shot in, have the same expectation as over all shots.

use super::draw::Draw;

/// One shot.
#[derive(Clone, Copy, Debug)]
pub(super) struct Shot {
    /// km/h.
    pub(super) kmh: f64,
    /// Whether it landed in.
    pub(super) landed_in: bool,
    /// Whether it would be deep if it landed in.
    pub(super) long: bool,
    /// Whether it went crosscourt.
    pub(super) crosscourt: bool,
    /// Whether the device timed it.
    pub(super) timed: bool,
}

/// How the shots of one session and stroke come.
#[derive(Clone, Copy, Debug)]
pub(super) struct Stream {
    pub(super) mean_kmh: f64,
    pub(super) sd_kmh: f64,
    pub(super) in_probability: f64,
    pub(super) deep_probability: f64,
    pub(super) autocorrelation: f64,
    pub(super) skew_shape: f64,
    pub(super) crosscourt_probability: f64,
    pub(super) timed_probability: f64,
}

impl Stream {
    /// So many shots.
    pub(super) fn hit(&self, n_shots: usize, draw: &mut Draw) -> Vec<Shot> {
        let rho = self.autocorrelation;
        let fresh = (1.0 - rho * rho).sqrt();
        let mut shots: Vec<Shot> = Vec::with_capacity(n_shots);
        let mut z = draw.normal();
        for _ in 0..n_shots {
            let last = shots.last().copied();
            if last.is_some() {
                z = rho * z + fresh * draw.normal();
            }
            let repeated = |result: fn(&Shot) -> bool, probability: f64, draw: &mut Draw| {
                let again = draw.chance(rho);
                let anew = draw.chance(probability);
                last.as_ref().filter(|_| again).map_or(anew, result)
            };
            let landed_in = repeated(|shot| shot.landed_in, self.in_probability, draw);
            let long = repeated(|shot| shot.long, self.deep_probability, draw);
            shots.push(Shot {
                kmh: self.mean_kmh + self.sd_kmh * skewed(z, self.skew_shape),
                landed_in,
                long,
                crosscourt: draw.chance(self.crosscourt_probability),
                timed: draw.chance(self.timed_probability),
            });
        }
        shots
    }
}

/// A standard normal made right-skewed, with mean 0 and variance 1.
fn skewed(z: f64, shape: f64) -> f64 {
    let square = shape * shape;
    let sd = (square.exp_m1() * square.exp()).sqrt();
    ((shape * z).exp() - (square / 2.0).exp()) / sd
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn shots_have_the_moments_that_the_stream_asks() {
        let stream = Stream {
            mean_kmh: 100.0,
            sd_kmh: 14.0,
            in_probability: 0.7,
            deep_probability: 0.3,
            autocorrelation: 0.15,
            skew_shape: 0.2,
            crosscourt_probability: 0.6,
            timed_probability: 0.95,
        };
        let n = 400_000;
        let shots = stream.hit(n, &mut Draw::new(11, 0));
        let total = n as f64;
        let mean = shots.iter().map(|shot| shot.kmh).sum::<f64>() / total;
        let moment = |power: i32| {
            let sum: f64 = shots.iter().map(|shot| (shot.kmh - mean).powi(power)).sum();
            sum / total
        };
        let sd = moment(2).sqrt();
        let lagged: f64 = shots
            .windows(2)
            .map(|two| (two[0].kmh - mean) * (two[1].kmh - mean))
            .sum();
        let part = |result: fn(&Shot) -> bool| {
            shots.iter().filter(|shot| result(shot)).count() as f64 / total
        };
        // Limits are about 5 standard errors, which are at most 0.03 km/h and 0.001 here. The
        // skewness of a lognormal with shape s is (exp(s^2) + 2) sqrt(exp(s^2) - 1).
        let square: f64 = 0.04;
        let skewness = (square.exp() + 2.0) * square.exp_m1().sqrt();
        assert!((mean - 100.0).abs() < 0.15, "mean {mean}");
        assert!((sd - 14.0).abs() < 0.15, "sd {sd}");
        assert!((moment(3) / sd.powi(3) - skewness).abs() < 0.05);
        assert!((lagged / total / moment(2) - 0.15).abs() < 0.01);
        assert!((part(|shot| shot.landed_in) - 0.7).abs() < 0.005);
        assert!((part(|shot| shot.long) - 0.3).abs() < 0.005);
    }
}
