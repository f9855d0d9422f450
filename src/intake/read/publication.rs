//! A download read back into what public figures are made from.

use super::{analysis_rules, label, n};
use crate::findings::{
    BatchLabel, Circumstances, CountModel, Key, LevelBand, LogOdds, Order, PlanCounts,
    PlansOfOrder, Publication, Row, SessionSpread,
};
use crate::intake::node::{Document, Node};
use crate::intake::rules::class_of;
use crate::pooling::Level;
use crate::protocol::{AnalysisRules, GapBands};
use crate::vocabulary::{Outcome, StringFamily, VarianceSource};

pub(in crate::intake) fn publication(root: &Document<'_>) -> Option<Publication> {
    let study = root.field("study");
    let protocol = root.field("protocol");
    let rules = analysis_rules(&protocol)?;
    let rows = all(&root.field("rows"), |place| row(place, &rules))?;
    let bands = rules.bands.clone();
    Some(Publication {
        study: label(
            &study.field("study"),
            &study.field("question"),
            &study.field("invented"),
        )?,
        batch: batch(&root.field("batch")),
        protocol_version: protocol.field("version").whole()?,
        rules,
        level: Level::new(root.field("level").number()?).ok()?,
        rows,
        session_spreads: all(&root.field("session_spreads"), session_spread)?,
        count_models: all(&root.field("count_models"), |place| {
            count_model(place, &bands)
        })?,
        plans: plans(&root.field("plans")),
    })
}

/// Every item of a list.
fn all<T>(place: &Node<'_>, read: impl Fn(&Node<'_>) -> Option<T>) -> Option<Vec<T>> {
    place.items().iter().map(read).collect()
}

fn session_spread(place: &Node<'_>) -> Option<SessionSpread> {
    Some(SessionSpread {
        outcome: place.field("outcome").word(Outcome::from_code)?,
        class: class_of(place)?,
        variance: place.field("variance").number()?,
        se: place.field("se").number()?,
        players_at_least: n(&place.field("players_at_least"))?,
    })
}

fn count_model(place: &Node<'_>, bands: &GapBands) -> Option<CountModel> {
    Some(CountModel {
        key: Key {
            outcome: place.field("outcome").word(Outcome::from_code)?,
            class: class_of(place)?,
            band: bands.from_code(place.field("band").text()?)?,
        },
        k: n(&place.field("k"))?,
        n_excluded: n(&place.field("excluded"))?,
        normal: log_odds(&place.field("normal")),
        exact: log_odds(&place.field("exact")),
    })
}

fn log_odds(place: &Node<'_>) -> Option<LogOdds> {
    Some(LogOdds {
        estimate: place.field("estimate").number()?,
        low: place.field("low").number()?,
        high: place.field("high").number()?,
    })
}

fn plans(place: &Node<'_>) -> Option<PlanCounts> {
    let order = |name: &str| {
        let place = place.field(name);
        Some(PlansOfOrder {
            drawn: n(&place.field("drawn_at_least"))?,
            opened: n(&place.field("opened_at_least"))?,
            sent: n(&place.field("sent_at_least"))?,
            unsent: n(&place.field("unsent_at_least"))?,
        })
    };
    Some(PlanCounts {
        looser_first: order("looser_first")?,
        tighter_first: order("tighter_first")?,
        balanced: order("balanced")?,
        every_order: order("every_order")?,
    })
}

fn batch(place: &Node<'_>) -> Option<BatchLabel> {
    Some(BatchLabel {
        number: place.field("number").whole()?,
        date: place.field("date").text()?.to_owned(),
    })
}

fn row(place: &Node<'_>, rules: &AnalysisRules) -> Option<Row> {
    Some(Row {
        group: n(&place.field("group"))?,
        pair: n(&place.field("pair"))?,
        arrival: n(&place.field("arrival"))?,
        band: rules.bands.from_code(place.field("band").text()?)?,
        gap_lb: place.field("gap_lb").whole()?,
        outcome: place.field("outcome").word(Outcome::from_code)?,
        class: class_of(place)?,
        estimate: place.field("estimate").number()?,
        variance: place.field("variance").number()?,
        source: place
            .field("variance_source")
            .word(VarianceSource::from_code)?,
        imputed_variance: place.field("imputed_variance").number()?,
        sessions: (
            place.field("looser_sessions").whole()?,
            place.field("tighter_sessions").whole()?,
        ),
        circumstances: Circumstances {
            planned: place.field("planned").truth()?,
            order: place.field("order").word(Order::from_code),
            blinded: place.field("blinded").truth(),
            partner_pace_kmh: place.field("partner_pace_kmh").whole(),
            string_age_hours: place.field("string_age_hours").whole(),
            level: place.field("level").word(LevelBand::from_code),
            string_family: place.field("string_family").word(StringFamily::from_code),
        },
        corrected: place.field("corrected").truth()?,
        first: place
            .field("first_estimate")
            .number()
            .zip(place.field("first_variance").number()),
    })
}
