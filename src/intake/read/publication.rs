//! A download read back into what public figures are made from.

use super::{analysis_rules, label, n};
use crate::findings::sensitivity::Brief;
use crate::findings::{
    BatchLabel, Circumstances, CountModel, FirstVersions, Key, LevelBand, LogOdds, Month, Order,
    PlanCounts, PlansOfOrder, Publication, Reached, Row, SessionSpread,
};
use crate::intake::node::{Document, Node};
use crate::intake::rules::class_of;
use crate::pooling::{Interval, Level};
use crate::protocol::{AnalysisRules, GapBands};
use crate::vocabulary::{Outcome, StringFamily, VarianceSource};

pub(in crate::intake) fn publication(root: &Document<'_>) -> Option<Publication> {
    let study = root.field("study");
    let protocol = root.field("protocol");
    let rules = analysis_rules(&protocol)?;
    let frames = frames(&root.field("rows"));
    let rows = all(&root.field("rows"), |place| row(place, &rules, &frames))?;
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
        rows: rows.into_iter().collect(),
        frames,
        pairs_left_out: n(&root.field("protection").field("pairs_left_out_at_least"))?,
        first_versions: all(&root.field("first_versions"), |place| {
            first_versions(place, &bands)
        })?,
        reached: all(&root.field("reached"), |place| reached(place, &bands))?,
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
        key: key(place, bands)?,
        k: n(&place.field("k"))?,
        n_excluded: n(&place.field("excluded"))?,
        normal: log_odds(&place.field("normal")),
        exact: log_odds(&place.field("exact")),
    })
}

fn key(place: &Node<'_>, bands: &GapBands) -> Option<Key> {
    Some(Key {
        outcome: place.field("outcome").word(Outcome::from_code)?,
        class: class_of(place)?,
        band: bands.from_code(place.field("band").text()?)?,
    })
}

fn first_versions(place: &Node<'_>, bands: &GapBands) -> Option<FirstVersions> {
    Some(FirstVersions {
        key: key(place, bands)?,
        corrected_at_least: n(&place.field("corrected_at_least"))?,
        found: Brief {
            estimate: place.field("estimate").number()?,
            interval: interval(place)?,
            tau_squared: place.field("tau2").number()?,
        },
    })
}

fn reached(place: &Node<'_>, bands: &GapBands) -> Option<Reached> {
    Some(Reached {
        key: key(place, bands)?,
        players: n(&place.field("players"))?,
        k: n(&place.field("k"))?,
        estimate: place.field("estimate").number()?,
        interval: interval(place)?,
    })
}

fn interval(place: &Node<'_>) -> Option<Interval> {
    Some(Interval {
        low: place.field("low").number()?,
        high: place.field("high").number()?,
    })
}

/// The frames that rows name, sorted.
fn frames(rows: &Node<'_>) -> Vec<String> {
    let rows = rows.items();
    let mut names: Vec<String> = rows
        .iter()
        .filter_map(|row| row.field("frame").text().map(str::to_owned))
        .collect();
    names.sort_unstable();
    names.dedup();
    names
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

/// A whole number as narrow as its bounds in the schema are.
fn whole<T: TryFrom<i64>>(place: &Node<'_>) -> Option<T> {
    T::try_from(place.whole()?).ok()
}

fn row(place: &Node<'_>, rules: &AnalysisRules, frames: &[String]) -> Option<Row> {
    Some(Row {
        group: whole(&place.field("group"))?,
        pair: whole(&place.field("pair"))?,
        band: rules.bands.from_code(place.field("band").text()?)?,
        gap_lb: whole(&place.field("gap_lb"))?,
        outcome: place.field("outcome").word(Outcome::from_code)?,
        class: class_of(place)?,
        estimate: place.field("estimate").number()?,
        variance: place.field("variance").number()?,
        source: place
            .field("variance_source")
            .word(VarianceSource::from_code)?,
        imputed_variance: place.field("imputed_variance").number()?,
        circumstances: Circumstances {
            planned: place.field("planned").truth(),
            order: place.field("order").word(Order::from_code),
            blinded: place.field("blinded").truth(),
            partner_pace_kmh: whole(&place.field("partner_pace_kmh")),
            string_age_hours: whole(&place.field("string_age_hours")),
            level: place.field("level").word(LevelBand::from_code),
            string_family: place.field("string_family").word(StringFamily::from_code),
            sessions: whole(&place.field("looser_sessions"))
                .zip(whole(&place.field("tighter_sessions"))),
            month: place.field("month").text().and_then(Month::parse),
            frame: place
                .field("frame")
                .text()
                .and_then(|frame| {
                    frames
                        .binary_search_by(|name| name.as_str().cmp(frame))
                        .ok()
                })
                .and_then(|place| u32::try_from(place).ok()),
        },
    })
}
