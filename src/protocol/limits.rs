//! Bounds that depend on more than one field, each declared once.
//!
//! Bounds on a single field stand in the published schemas, which intake enforces as they are.
//! Here is what JSON Schema cannot say: a bound that depends on the unit or on the stroke.

use crate::units::{Hundredths, Tension, TensionUnit};
use crate::vocabulary::Stroke;

/// Largest body of a contribution in bytes. A full contribution of 8 sessions with 20 shot lines
/// each is about 60 kB.
pub const BODY_BYTES: usize = 256 * 1024;

/// Most pairs of one player in a study: two a week for a season of three months. The work of the
/// cluster-robust interval grows with the cube of it, and nobody learns from the hundredth pair
/// of one player (our bound).
pub const PAIRS_PER_PLAYER: i64 = 24;

/// Most versions of one contribution (our bound; a slip takes one or two to mend).
pub const VERSIONS_PER_CONTRIBUTION: i64 = 24;

/// Most bytes of everything that one player sends, all versions together: seventy full contributions
/// (our bound). A receipt opens all of it at once.
pub const BYTES_PER_PLAYER: i64 = 4 * 1024 * 1024;

/// Days after which a withdrawal is acted on although no batch has closed.
pub const WITHDRAWAL_DAYS: i64 = 30;

/// Reference tensions below this are refused (our bound: half of the usual range's lower end).
pub const TENSION_LOWEST: Tension = pounds(15);
/// Reference tensions above this are refused (our bound).
pub const TENSION_HIGHEST: Tension = pounds(100);
/// Below this a tension is flagged: the usual strung range is 40 to 70 lb (trade handbooks,
/// secondary), and 35 lb leaves room below it.
pub const TENSION_USUAL_LOW: Tension = pounds(35);
/// Above this a tension is flagged (trade handbooks, secondary).
pub const TENSION_USUAL_HIGH: Tension = pounds(70);

const fn pounds(whole: i64) -> Tension {
    Tension::new(Hundredths::from_count(whole * 100), TensionUnit::Pound)
}

/// Bounds on a session's mean speed, km/h.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SpeedBounds {
    /// Below this the figure is refused.
    pub lowest: f64,
    /// Below this the figure is flagged: perhaps mph written as km/h.
    pub usual_low: f64,
    /// Above this the figure is flagged: perhaps km/h written as mph.
    pub usual_high: f64,
    /// Above this the figure is refused.
    pub highest: f64,
}

/// Bounds on mean speed by stroke.
///
/// Club serves average 110 to 160 km/h (secondary source) and professional men's forehands about
/// 122 km/h (secondary source); the usual range is widened around both so that a weak junior and
/// a professional pass unflagged. A typical forehand of 95 km/h typed as mph is 153 km/h, and a
/// typical serve of 130 km/h typed as mph is 209 km/h: both lie above the usual range. The outer
/// bounds are ours: no session mean of any human lies outside them.
#[must_use]
pub const fn speed_bounds(stroke: Stroke) -> SpeedBounds {
    match stroke {
        Stroke::Serve => SpeedBounds {
            lowest: 30.0,
            usual_low: 70.0,
            usual_high: 205.0,
            highest: 240.0,
        },
        Stroke::Forehand | Stroke::Backhand | Stroke::Volley => SpeedBounds {
            lowest: 15.0,
            usual_low: 45.0,
            usual_high: 135.0,
            highest: 190.0,
        },
        Stroke::All => SpeedBounds {
            lowest: 15.0,
            usual_low: 45.0,
            usual_high: 150.0,
            highest: 210.0,
        },
    }
}

/// Largest ratio between two sessions' mean speeds of one shot class.
///
/// The published effect of tension is a few percent (Bower & Cross 2005: 108.1 against
/// 105.3 km/h) and one player's day-to-day spread is under ten; a mistaken unit makes 1.609.
/// The bound lies between, on the geometric mean of 1.1 and 1.609.
pub const SPEED_RATIO_HIGHEST: f64 = 1.33;

/// A coefficient of variation of shot speed outside these is refused: nobody repeats a shot to
/// one percent, and no series of shots varies by more than its mean. A smaller figure is often a
/// standard error, and would give one contributor the weight of a hundred (our bounds).
pub const CV_BOUNDS: (f64, f64) = (0.01, 1.0);

/// A coefficient of variation of shot speed outside these is flagged. One player's spread within
/// a session is about 9 % in a ball-machine study (proxy) and larger in play.
pub const CV_USUAL: (f64, f64) = (0.02, 0.6);

/// Percentages that should add to 100 may miss it by this many hundredths: three numbers rounded
/// to whole percent miss it by at most 1.5.
pub const PERCENT_SUM_SLACK: i64 = 150;
