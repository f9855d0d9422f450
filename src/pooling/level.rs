//! Confidence level.

use super::NumericError;

/// A confidence level, `0.5 <= level < 1`.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd)]
pub struct Level(f64);

impl Level {
    /// The customary level, 0.95.
    pub const NINETY_FIVE: Self = Self(0.95);

    /// Checks a level.
    ///
    /// # Errors
    /// [`NumericError::LevelOutOfRange`] unless `0.5 <= level < 1`.
    pub fn new(level: f64) -> Result<Self, NumericError> {
        if (0.5..1.0).contains(&level) {
            Ok(Self(level))
        } else {
            Err(NumericError::LevelOutOfRange { level })
        }
    }

    /// The level as a fraction.
    #[must_use]
    pub const fn value(self) -> f64 {
        self.0
    }

    /// The probability left beyond each end of a two-sided interval, `(1 - level) / 2`, in
    /// `(0, 0.25]`.
    #[must_use]
    pub const fn tail(self) -> f64 {
        0.5 * (1.0 - self.0)
    }
}
