//! Ellipses for a pair of numbers.

use std::f64::consts::TAU;

use super::Covariance;
use crate::pooling::level::Level;
use crate::pooling::reason::{Estimable, finite};

/// The pairs `x` with `(x - centre)' shape^-1 (x - centre) <= radius^2`, the first outcome along
/// the first axis.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Ellipse {
    /// The middle, in the units of the outcomes.
    pub centre: [f64; 2],
    /// The covariance that gives the form.
    pub shape: Covariance,
    /// Its multiple, without unit.
    pub radius: f64,
    /// Lower triangular factor of `shape`: its first column, and the rest of the second.
    factor: [f64; 3],
}

/// The axes of an ellipse where both outcomes are drawn to the same scale.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Axes {
    /// Half the longer axis.
    pub long: f64,
    /// Half the shorter axis.
    pub short: f64,
    /// Angle from the first outcome's axis to the longer axis, counter-clockwise, in radians from
    /// -pi/2 to pi/2.
    pub angle: f64,
}

impl Ellipse {
    /// `determinant` is that of `shape`, which may be known better than from the entries.
    ///
    /// # Errors
    /// [`crate::pooling::Reason::OutOfRange`] when a number is not finite.
    pub(super) fn new(
        centre: [f64; 2],
        shape: Covariance,
        determinant: f64,
        radius: f64,
    ) -> Estimable<Self> {
        let along = finite(shape.a.sqrt())?;
        Ok(Self {
            centre,
            shape,
            radius: finite(radius)?,
            factor: [
                along,
                finite(shape.ab / along)?,
                finite(determinant.sqrt() / along)?,
            ],
        })
    }

    /// Half the width of the ellipse along each outcome.
    #[must_use]
    pub fn half_widths(&self) -> [f64; 2] {
        [self.shape.a, self.shape.b].map(|variance| self.radius * variance.sqrt())
    }

    /// `n` points of the outline, evenly spaced in the angle of the circle that the ellipse is a
    /// linear image of. The first is not repeated at the end.
    #[must_use]
    #[expect(clippy::cast_precision_loss, reason = "counts stay far below 2^53")]
    pub fn outline(&self, n: usize) -> Vec<[f64; 2]> {
        let [along, across, rest] = self.factor;
        let [centre_a, centre_b] = self.centre;
        (0..n)
            .map(|idx| {
                let (sine, cosine) = (TAU * idx as f64 / n as f64).sin_cos();
                [
                    centre_a + self.radius * along * cosine,
                    centre_b + self.radius * (across * cosine + rest * sine),
                ]
            })
            .collect()
    }

    /// The axes where one unit of the first outcome is drawn as long as one unit of the second.
    /// They have a meaning only if the outcomes have the same unit or a fixed scale of drawing.
    #[must_use]
    pub fn axes(&self) -> Axes {
        let [along, across, rest] = self.factor;
        // Singular values of the factor, with no difference of nearly equal numbers: the longer is
        // half the sum of the lengths of (along + rest, across) and (along - rest, across), and
        // their product is the determinant.
        let long = 0.5 * ((along + rest).hypot(across) + (along - rest).hypot(across));
        let short = if 0.0 < long {
            along * (rest / long)
        } else {
            0.0
        };
        let difference = (along - rest) * (along + rest) - across * across;
        Axes {
            long: self.radius * long,
            short: self.radius * short,
            angle: 0.5 * (2.0 * along * across).atan2(difference),
        }
    }
}

/// The root of `2 (n - 1) / (n - 2) F`, with `F` the quantile of Fisher's F on 2 and `n - 2` degrees
/// of freedom; `2 < n`.
///
/// This is the distance of Hotelling (1931, Ann Math Stat 2:360) for the mean of `n` pairs whose
/// covariance is estimated from them, and that of Chew (1966, JASA 61:605) for a further pair. With
/// two numerator degrees of freedom the tail of F is `(1 + 2 f / m)^(-m / 2)` (Abramowitz & Stegun
/// 1964, 26.6.4), so the quantile needs no search.
pub(super) fn hotelling_radius(n: f64, level: Level) -> f64 {
    let tail = 2.0 * level.tail();
    ((n - 1.0) * (-2.0 * tail.ln() / (n - 2.0)).exp_m1()).sqrt()
}

#[cfg(test)]
mod tests {
    use super::{Ellipse, hotelling_radius};
    use crate::pooling::Level;
    use crate::pooling::bivariate::Covariance;
    use crate::pooling::quantiles::FisherF;
    use crate::pooling::tests::assert_close;

    fn example() -> Ellipse {
        let shape = Covariance {
            a: 4.0,
            ab: -1.5,
            b: 1.0,
        };
        Ellipse::new([10.0, -3.0], shape, 1.75, 2.5).unwrap()
    }

    #[test]
    fn the_radius_has_the_tail_of_hotelling() {
        for (n, level) in [(10.0, 0.95), (13.0, 0.9), (40.0, 0.99), (5_000.0, 0.5)] {
            let radius = hotelling_radius(n, Level::new(level).unwrap());
            let f = radius * radius * (n - 2.0) / (2.0 * (n - 1.0));
            let tail = FisherF::new(2, n - 2.0).unwrap().upper_tail(f).unwrap();
            assert_close(tail, 1.0 - level, 1e-12, 0.0);
        }
        // Chi-squared on two degrees of freedom is the limit.
        let radius = hotelling_radius(1e12, Level::NINETY_FIVE);
        assert_close(radius * radius, -2.0 * 0.05_f64.ln(), 1e-9, 0.0);
    }

    #[test]
    fn the_outline_lies_on_the_ellipse_and_reaches_its_widths() {
        let ellipse = example();
        let points = ellipse.outline(720);
        let [half_a, half_b] = ellipse.half_widths();
        let mut reached = [0.0_f64; 2];
        for [x, y] in &points {
            let (a, b) = (x - 10.0, y + 3.0);
            let distance = (a * a + 3.0 * a * b + 4.0 * b * b) / 1.75;
            assert_close(distance, 2.5 * 2.5, 1e-12, 0.0);
            for (reached, x) in reached.iter_mut().zip([a, b]) {
                if *reached < x.abs() {
                    *reached = x.abs();
                }
            }
        }
        assert_close(reached[0], half_a, 1e-4, 0.0);
        assert_close(reached[1], half_b, 1e-4, 0.0);
        assert!(ellipse.outline(0).is_empty());
    }

    #[test]
    fn the_axes_are_those_of_the_outline() {
        let ellipse = example();
        let axes = ellipse.axes();
        let lengths: Vec<f64> = ellipse
            .outline(100_000)
            .iter()
            .map(|[x, y]| (x - 10.0).hypot(y + 3.0))
            .collect();
        let longest = lengths.iter().copied().max_by(f64::total_cmp).unwrap();
        let shortest = lengths.iter().copied().min_by(f64::total_cmp).unwrap();
        assert_close(axes.long, longest, 1e-8, 0.0);
        assert_close(axes.short, shortest, 1e-8, 0.0);
        // The end of the long axis lies on the ellipse.
        let (a, b) = (axes.long * axes.angle.cos(), axes.long * axes.angle.sin());
        assert_close((a * a + 3.0 * a * b + 4.0 * b * b) / 1.75, 6.25, 1e-12, 0.0);
    }
}
