//! A contribution as it is filled in: the fields of the published schema, to be changed freely.

use super::hand::{Figure, whole};
use serde::{Serialize, Serializer};
use serde_json::{Value, json};
use tautpool::vocabulary::Arm;

/// The study of `fixtures/demo/study.json`.
const STUDY: &str = "looser-or-tighter";
/// The consent text in force there.
const CONSENT: &str = "demo-4";

/// A contribution.
#[derive(Clone, Debug, Serialize)]
pub(super) struct Sheet {
    study: &'static str,
    pub(super) consent: Consent,
    pub(super) player: Option<About>,
    pub(super) setup: Option<Value>,
    pub(super) device: Option<Value>,
    pub(super) court: Option<Value>,
    pub(super) sessions: Vec<Session>,
    pub(super) note: Option<&'static str>,
}

/// What was agreed to.
#[derive(Clone, Debug, Serialize)]
pub(super) struct Consent {
    text_version: &'static str,
    adult: bool,
    pub(super) scope: &'static str,
}

/// Who hit.
#[derive(Clone, Debug, Serialize)]
pub(super) struct About {
    pub(super) itn: i64,
    pub(super) handedness: &'static str,
    pub(super) backhand: &'static str,
}

/// One session.
#[derive(Clone, Debug, Serialize)]
pub(super) struct Session {
    #[serde(serialize_with = "code")]
    pub(super) arm: Arm,
    pub(super) tension: Tension,
    pub(super) order: Option<i64>,
    pub(super) minutes: Option<i64>,
    pub(super) warm_up_minutes: Option<i64>,
    pub(super) knew_tension: Option<&'static str>,
    pub(super) partner: Option<Partner>,
    pub(super) spin: Option<Spin>,
    pub(super) rallies: Option<Rallies>,
    pub(super) shots: Vec<Line>,
}

/// What the machine was set to.
#[derive(Clone, Debug, Serialize)]
pub(super) struct Tension {
    pub(super) mains: Figure,
    pub(super) unit: &'static str,
}

/// The hitting partner's ball.
#[derive(Clone, Debug, Serialize)]
pub(super) struct Partner {
    pub(super) speed_mean: Figure,
    pub(super) speed_unit: &'static str,
}

/// Spin of all shots, counted.
#[derive(Clone, Debug, Serialize)]
pub(super) struct Spin {
    pub(super) given_as: &'static str,
    pub(super) topspin: i64,
    pub(super) flat: i64,
    pub(super) slice: i64,
}

/// Rallies, counted.
#[derive(Clone, Debug, Serialize)]
pub(super) struct Rallies {
    pub(super) played: i64,
    pub(super) above_length: i64,
}

/// The shots of one class.
#[derive(Clone, Debug, Serialize)]
pub(super) struct Line {
    pub(super) stroke: &'static str,
    pub(super) direction: &'static str,
    pub(super) hit: i64,
    #[serde(rename = "in")]
    pub(super) n_in: Option<i64>,
    pub(super) in_percent: Option<Figure>,
    pub(super) deep: Option<i64>,
    pub(super) deep_percent: Option<Figure>,
    pub(super) deep_percent_of: Option<&'static str>,
    pub(super) speed_mean: Figure,
    pub(super) speed_unit: &'static str,
    pub(super) speed_sd: Option<Figure>,
    pub(super) sd_divisor: Option<&'static str>,
    pub(super) speed_max: Option<Figure>,
    pub(super) speed_n: Option<i64>,
    pub(super) speed_over: Option<&'static str>,
}

impl Sheet {
    /// A contribution with nothing but its sessions.
    pub(super) const fn new(sessions: Vec<Session>) -> Self {
        Self {
            study: STUDY,
            consent: Consent {
                text_version: CONSENT,
                adult: true,
                scope: "pooling_and_rows",
            },
            player: None,
            setup: None,
            device: None,
            court: None,
            sessions,
            note: None,
        }
    }

    /// Every shot line.
    pub(super) fn lines(&mut self) -> impl Iterator<Item = &mut Line> {
        self.sessions
            .iter_mut()
            .flat_map(|session| &mut session.shots)
    }

    /// The document, without what was left open.
    pub(super) fn to_json(&self) -> String {
        filled(json!(self)).to_string()
    }
}

fn code<S: Serializer>(arm: &Arm, serializer: S) -> Result<S::Ok, S::Error> {
    serializer.serialize_str(arm.code())
}

fn filled(value: Value) -> Value {
    match value {
        Value::Object(fields) => fields
            .into_iter()
            .filter(|(_, value)| !value.is_null())
            .map(|(name, value)| (name, filled(value)))
            .collect(),
        Value::Array(items) => items.into_iter().map(filled).collect(),
        other => other,
    }
}

impl Line {
    /// Puts so many shots more in, or as many points on the percentage.
    pub(super) fn put_in(&mut self, more: i64) {
        self.n_in = self.n_in.map(|n| n + more);
        self.in_percent = self.in_percent.map(|p| p.like(p.value() + more as f64));
    }

    /// Puts so many shots more deep, or as many points on the percentage.
    pub(super) fn put_deep(&mut self, more: i64) {
        self.deep = self.deep.map(|n| n + more);
        self.deep_percent = self.deep_percent.map(|p| p.like(p.value() + more as f64));
    }

    /// Multiplies what is known of the shots in and the shots deep.
    pub(super) fn times_shares(&mut self, in_by: f64, deep_by: f64) {
        self.n_in = self.n_in.map(|n| whole(n as f64 * in_by));
        self.in_percent = self.in_percent.map(|p| p.times(in_by));
        self.deep = self.deep.map(|n| whole(n as f64 * deep_by));
        self.deep_percent = self.deep_percent.map(|p| p.times(deep_by));
    }

    /// Mends what the form would point out: shares beyond the whole, a fastest shot below the
    /// mean.
    pub(super) fn mend(&mut self) {
        let most = Figure::new(100.0, 0);
        self.n_in = self.n_in.map(|n| n.clamp(0, self.hit));
        self.in_percent = self.in_percent.map(|p| p.clamp(Figure::new(0.0, 0), most));
        let (n_in, in_percent) = (
            self.n_in.unwrap_or(self.hit),
            self.in_percent.unwrap_or(most),
        );
        let most_deep = match self.deep_percent_of {
            Some("hit") => in_percent,
            _ => most,
        };
        self.deep = self.deep.map(|n| n.clamp(0, n_in));
        self.deep_percent = self
            .deep_percent
            .map(|p| p.clamp(Figure::new(0.0, 0), most_deep));
        self.speed_max = self.speed_max.map(|fastest| fastest.max(self.speed_mean));
    }
}
