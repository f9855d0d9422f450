//! What puts a finding to the test: the same question asked in other ways, what single players do
//! to it, who gains, and what further players would add.

mod deletions;

use super::caveats::{
    Caveat, FEW_PLAYERS, LARGE_I_SQUARED, LARGE_IMPUTED_SHARE, SMALL_STUDIES_P, dominates,
};
use super::certainty::{BLINDED_PART, Certainty, Evidence, certainty};
use super::gains::{Gain, gains};
use super::selection::{Basis, Selection};
use super::sensitivity::{self, Line};
use super::table::{Choice, Finding, table};
use super::words::spans_zero;
use super::{CountModel, Reached, Row, SessionSpread};
use crate::pooling::influence::{Influence, Unit, influence};
use crate::pooling::planning::{Outlook, outlook};
use crate::pooling::small_studies::{SmallStudies, small_study_effects};
use crate::pooling::three_level::{ThreeLevel, three_level};
use crate::pooling::tipping::{Tipping, tipping};
use crate::pooling::{Effects, Estimable, Level, NumericError, Reason};
use crate::vocabulary::Outcome;

/// Numbers of further players that the outlook is worked out for.
pub const FURTHER_PLAYERS: [usize; 5] = [0, 10, 25, 50, 100];

/// A finding put to the test.
#[derive(Clone, Debug, PartialEq)]
pub struct Scrutiny {
    /// What a reader has to hold against it.
    pub caveats: Vec<Caveat>,
    /// How sure it is; `None` for a table that is not a study's.
    pub certainty: Option<Certainty>,
    /// The same question asked in other ways.
    pub sensitivity: Vec<Line>,
    /// Each player left out in turn, or each effect where nothing is known of players. Of many
    /// deletions those that move the mean most are kept.
    pub influence: Influence,
    /// Estimates and variances of the effects that are left out together, in the order of the
    /// deletions.
    pub left_out: Vec<Vec<(f64, f64)>>,
    /// The estimate as players came; `None` for a table that is not a study's.
    pub reached: Option<Vec<Reached>>,
    /// Whether small sessions differ from large ones, one pair of each player.
    pub small_studies: SmallStudies,
    /// Pairs within players.
    pub three_level: ThreeLevel,
    /// How many gain, above zero and above the smallest worthwhile difference.
    pub gains: Vec<Gain>,
    /// What further players are expected to add.
    pub outlook: Estimable<Outlook>,
    /// How many unsent pairs without an effect would bring zero into the range.
    pub tipping: Estimable<Tipping>,
    /// How much sessions differ, where it is known.
    pub session_spread: Option<SessionSpread>,
    /// Shares by models of their counts.
    pub count_model: Option<CountModel>,
}

impl Scrutiny {
    /// Puts one table of effects to the test, that is not a study's.
    #[must_use]
    pub fn of_table(effects: &Effects, level: Level) -> Self {
        let finding = table(effects, level, Choice::default());
        let lines = sensitivity::of_table(effects, level);
        let mut scrutiny = Self::new(effects, level, lines);
        scrutiny.gains = gains(effects, None, None, level);
        scrutiny.caveats = scrutiny.caveats(effects, &finding, None);
        scrutiny.shorten()
    }

    fn new(effects: &Effects, level: Level, sensitivity: Vec<Line>) -> Self {
        let unit = if effects.clusters().is_some() {
            Unit::Cluster
        } else {
            Unit::Effect
        };
        Self {
            caveats: Vec::new(),
            certainty: None,
            sensitivity,
            influence: influence(effects, unit, level),
            left_out: left_out(effects),
            reached: None,
            small_studies: small_study_effects(&effects.most_precise_per_cluster(), level),
            three_level: three_level(effects, level),
            gains: Vec::new(),
            outlook: outlook(effects, level),
            tipping: tipping(effects, level),
            session_spread: None,
            count_model: None,
        }
    }

    fn caveats(
        &self,
        effects: &Effects,
        finding: &Finding,
        imputed_share: Option<f64>,
    ) -> Vec<Caveat> {
        let pooled = &finding.pooled;
        let mut caveats = Vec::new();
        if pooled.n_clusters < FEW_PLAYERS {
            caveats.push(Caveat::FewPlayers {
                players: pooled.n_clusters,
            });
        }
        if self.spans_zero(finding) {
            caveats.push(Caveat::IntervalSpansZero);
        }
        if let Ok(found) = &pooled.heterogeneity
            && LARGE_I_SQUARED <= found.i_squared
        {
            caveats.push(Caveat::HeterogeneityLarge {
                i_squared: found.i_squared,
            });
        }
        if let Ok(deletions) = &self.influence.deletions {
            let weights = deletions.iter().map(|deletion| deletion.weight);
            let share = weights.fold(0.0, |most, share| if most < share { share } else { most });
            if dominates(share, deletions.len()) {
                caveats.push(Caveat::OnePlayerDominates { share });
            }
        }
        if let Ok(share) = heaviest_share(effects)
            && dominates(share, pooled.k)
        {
            caveats.push(Caveat::OneEffectOutweighs { share });
        }
        let deletions = self.influence.deletions.iter().flatten();
        let players = deletions.filter(|deletion| deletion.crosses_zero == Ok(true));
        let players = players.count();
        if 0 < players {
            caveats.push(Caveat::RestsOnOnePlayer { players });
        }
        if let Some(share) = imputed_share.filter(|share| LARGE_IMPUTED_SHARE < *share) {
            caveats.push(Caveat::ImputedShareLarge { share });
        }
        if let Some(p) = self.asymmetry_p().filter(|p| *p < SMALL_STUDIES_P) {
            caveats.push(Caveat::SmallStudiesDiffer { p });
        }
        if self.sign_turns(finding) {
            caveats.push(Caveat::SignTurns);
        }
        caveats
    }

    /// Whether zero is in the ordinary interval or in the one that may be read at any time.
    fn spans_zero(&self, finding: &Finding) -> bool {
        let ordinary = finding.shown.map(|shown| shown.interval);
        let any_time = finding.any_time.map(|any_time| any_time.interval);
        [ordinary, any_time].into_iter().flatten().any(spans_zero)
    }

    /// Of the random-effects regression: Egger's own is misled by heterogeneity.
    fn asymmetry_p(&self) -> Option<f64> {
        let found = self.small_studies.random_effects.as_ref().ok()?;
        found.slope.knapp_hartung.p.ok()
    }

    fn sign_turns(&self, finding: &Finding) -> bool {
        finding.shown.is_ok_and(|shown| {
            let estimates = self.sensitivity.iter().filter_map(|line| line.result.ok());
            estimates
                .map(|brief| brief.estimate)
                .any(|estimate| estimate * shown.estimate < 0.0)
        })
    }
}

/// Everything about one analysis that its scrutiny needs.
#[derive(Clone, Debug)]
pub(super) struct Subject<'a> {
    pub(super) question: sensitivity::Question<'a>,
    pub(super) smallest_worthwhile: Option<f64>,
    pub(super) count_model: Option<CountModel>,
    pub(super) reached: Vec<Reached>,
}

/// Puts an analysis of a study to the test.
pub(super) fn scrutinise(
    subject: &Subject<'_>,
    finding: &Finding,
) -> Result<Scrutiny, NumericError> {
    let question = &subject.question;
    let rows = question.primary;
    let mut scrutiny = weighed(subject, finding)?;
    scrutiny.gains = gains(
        &rows.effects()?,
        subject.smallest_worthwhile,
        question.session_spread.map(|spread| (rows, spread)),
        question.level,
    );
    Ok(scrutiny)
}

/// The same without how many gain, which is most of the work and weighs nothing.
pub(super) fn weighed(subject: &Subject<'_>, finding: &Finding) -> Result<Scrutiny, NumericError> {
    let question = &subject.question;
    let rows = question.primary;
    let effects = rows.effects()?;
    let level = question.level;
    let mut scrutiny = Scrutiny::new(&effects, level, sensitivity::lines(question)?);
    scrutiny.reached = Some(subject.reached.clone());
    scrutiny.session_spread = question.session_spread;
    scrutiny.count_model = subject.count_model;
    let mut caveats = Vec::new();
    if question.basis == Basis::All {
        caveats.push(Caveat::Retrospective);
    }
    let of_table = scrutiny.caveats(&effects, finding, imputed_share(rows, finding));
    caveats.extend(of_table);
    caveats.push(Caveat::HoldsDayToDayNoise);
    caveats.sort_by_key(|caveat| Caveat::CODES.iter().position(|code| *code == caveat.code()));
    scrutiny.certainty = Some(certainty(Evidence {
        planned: question.basis == Basis::Planned,
        blinded: BLINDED_PART <= blinded_part(rows),
        heterogeneous: has(&caveats, |caveat| {
            matches!(caveat, Caveat::HeterogeneityLarge { .. })
        }),
        imprecise: finding.pooled.n_clusters < FEW_PLAYERS
            || has(&caveats, |caveat| *caveat == Caveat::IntervalSpansZero),
        fragile: has(&caveats, |caveat| {
            matches!(
                caveat,
                Caveat::RestsOnOnePlayer { .. }
                    | Caveat::SignTurns
                    | Caveat::OneEffectOutweighs { .. }
                    | Caveat::OnePlayerDominates { .. }
            )
        }) || (question.outcome == Outcome::Speed
            // The variance of a share depends on the share, so the two are tied by construction.
            && has(&caveats, |caveat| matches!(caveat, Caveat::SmallStudiesDiffer { .. }))),
    }));
    scrutiny.caveats = caveats;
    Ok(scrutiny.shorten())
}

fn has(caveats: &[Caveat], which: impl Fn(&Caveat) -> bool) -> bool {
    caveats.iter().any(which)
}

/// The largest share of an effect in the weights by sampling error alone.
fn heaviest_share(effects: &Effects) -> Estimable<f64> {
    let variances = effects.variances();
    let smallest = variances
        .iter()
        .copied()
        .reduce(|a, b| if b < a { b } else { a });
    let smallest = smallest.ok_or(Reason::NoEffects)?;
    // Weights relative to the largest stay in range whatever the variances.
    Ok(1.0
        / variances
            .iter()
            .map(|variance| smallest / variance)
            .sum::<f64>())
}

/// Share of the weights that rests on imputed standard deviations. Weights are those of the shown
/// model, `1 / (v + tau_squared)`.
fn imputed_share(rows: &Selection<'_>, finding: &Finding) -> Option<f64> {
    let tau_squared = finding.pooled.reml.as_ref().ok()?.tau_squared;
    // Weights are summed in their own order, so that the order of the rows changes no bit.
    let total = |keep: fn(&Row) -> bool| -> f64 {
        let rows = rows.rows().filter(keep);
        let mut weights: Vec<f64> = rows.map(|row| 1.0 / (row.variance + tau_squared)).collect();
        weights.sort_unstable_by(f64::total_cmp);
        weights.into_iter().sum()
    };
    let all = total(|_| true);
    (0.0 < all).then(|| total(|row| row.source.is_imputed()) / all)
}

/// Part of the pairs that are known to be blinded.
#[expect(clippy::cast_precision_loss, reason = "counts of rows")]
fn blinded_part(rows: &Selection<'_>) -> f64 {
    let blinded = rows.only(|row| row.circumstances.blinded == Some(true));
    blinded.k() as f64 / rows.k() as f64
}

/// Effects of each cluster, estimate and variance, in the order of the clusters' numbers, or each
/// effect by itself.
fn left_out(effects: &Effects) -> Vec<Vec<(f64, f64)>> {
    let columns = || effects.estimates().into_iter().zip(effects.variances());
    let Some(labels) = effects.clusters() else {
        return columns().map(|(y, v)| vec![(*y, *v)]).collect();
    };
    let mut clusters = vec![Vec::new(); effects.n_clusters()];
    for (label, (y, v)) in labels.iter().zip(columns()) {
        if let Some(cluster) = clusters.get_mut(*label) {
            cluster.push((*y, *v));
        }
    }
    clusters
}
