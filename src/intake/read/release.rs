//! A release read back into what its document is made from.

use super::{class_of, n, publication, study};
use crate::disclosure::Everybody;
use crate::findings::Key;
use crate::findings::flow::{Count, ParticipantFlow};
use crate::intake::node::{Document, Node};
use crate::pooling::Interval;
use crate::protocol::GapBands;
use crate::release::{
    Because, Change, Changes, Figures, ProtocolChange, ProtocolRecord, Release, ReleaseKind,
    ReleaseTerms, Software, Stated, StatedRange,
};
use crate::vocabulary::{Ground, Outcome};

pub(in crate::intake) fn release(root: &Document<'_>) -> Option<Release> {
    let protocol = root.field("protocol");
    let publication = publication(&Document::new(root.field("findings").value()?, &[]))?;
    let bands = publication.rules.bands.clone();
    let software = root.field("software");
    Some(Release {
        number: root.field("number").whole()?,
        kind: root.field("kind").word(ReleaseKind::from_code)?,
        reason: text(&root.field("reason")),
        note: text(&root.field("note")),
        published_at: text(&root.field("published_at"))?,
        address: text(&root.field("address"))?,
        terms: terms(root)?,
        study: study(&Document::new(protocol.field("document").value()?, &[]))?,
        protocol: record(&protocol)?,
        stated: stated(&root.field("stated"))?,
        flow: flow(&root.field("flow"))?,
        changes: changes(&root.field("changes"), &bands),
        software: Software {
            name: text(&software.field("name"))?,
            version: text(&software.field("version"))?,
        },
        everybody: root
            .field("findings")
            .field("everybody")
            .items()
            .iter()
            .map(|place| everybody(place, &bands))
            .collect::<Option<_>>()?,
        publication,
    })
}

fn text(place: &Node<'_>) -> Option<String> {
    place.text().map(str::to_owned)
}

fn terms(root: &Document<'_>) -> Option<ReleaseTerms> {
    let licence = root.field("licence");
    Some(ReleaseTerms {
        publisher: text(&root.field("publisher"))?,
        contact: text(&root.field("contact"))?,
        licence_name: text(&licence.field("name"))?,
        licence_url: text(&licence.field("url")),
    })
}

fn record(place: &Node<'_>) -> Option<ProtocolRecord> {
    let change = |place: &Node<'_>| {
        Some(ProtocolChange {
            version: place.field("version").whole()?,
            date: text(&place.field("date"))?,
            reason: text(&place.field("reason")),
        })
    };
    let history = place.field("history").items();
    Some(ProtocolRecord {
        document: serde_json::to_vec(place.field("document").value()?).ok()?,
        plan_hash_at_opening: text(&place.field("plan_hash_at_opening")),
        plan_hash_now: text(&place.field("plan_hash_now")),
        history: history.iter().map(change).collect::<Option<_>>()?,
    })
}

fn stated(place: &Node<'_>) -> Option<Stated> {
    Some(Stated {
        range: place.field("range").word(StatedRange::from_code)?,
        because: place.field("because").word(Because::from_code)?,
        ordinary_first_in: place.field("ordinary_first_in").whole(),
    })
}

fn flow(place: &Node<'_>) -> Option<ParticipantFlow> {
    let declined = |place: &Node<'_>| {
        let ground = place.field("ground").word(Ground::from_code)?;
        Some((ground, count(&place.field("count"))?))
    };
    let items = place.field("declined").items();
    Some(ParticipantFlow {
        started: count(&place.field("started"))?,
        sent: count(&place.field("sent"))?,
        held: count(&place.field("held"))?,
        declined: items.iter().map(declined).collect::<Option<_>>()?,
        withdrawn: count(&place.field("withdrawn"))?,
        pooled: count(&place.field("pooled"))?,
    })
}

fn count(place: &Node<'_>) -> Option<Count> {
    Some(Count {
        at_least: n(&place.field("at_least"))?,
        at_most: n(&place.field("at_most"))?,
    })
}

/// `None` where there is nothing to compare with.
fn changes(place: &Node<'_>, bands: &GapBands) -> Option<Changes> {
    let analyses = place.field("analyses").items();
    let change = |place: &Node<'_>| {
        Some(Change {
            key: key(place, place.field("band").text()?, bands)?,
            before: figures(&place.field("before")),
            now: figures(&place.field("now")),
        })
    };
    let batch = place.field("batch");
    let players = place.field("players");
    let version = place.field("protocol_version");
    Some(Changes {
        since: place.field("since").whole()?,
        batch: (batch.field("before").whole()?, batch.field("now").whole()?),
        players: (n(&players.field("before"))?, n(&players.field("now"))?),
        protocol_version: (
            version.field("before").whole()?,
            version.field("now").whole()?,
        ),
        same_bands: place.field("same_bands").truth()?,
        analyses: analyses.iter().map(change).collect::<Option<_>>()?,
    })
}

fn figures(place: &Node<'_>) -> Option<Figures> {
    Some(Figures {
        estimate: place.field("estimate").number()?,
        low: place.field("low").number()?,
        high: place.field("high").number()?,
        k: n(&place.field("k"))?,
        players: n(&place.field("players"))?,
    })
}

fn everybody(place: &Node<'_>, bands: &GapBands) -> Option<Everybody> {
    Some(Everybody {
        key: key(place, place.field("band").field("code").text()?, bands)?,
        batch: place.field("of_batch").whole()?,
        players_at_least: n(&place.field("players_at_least"))?,
        estimate: place.field("estimate").number()?,
        interval: Interval {
            low: place.field("low").number()?,
            high: place.field("high").number()?,
        },
    })
}

fn key(place: &Node<'_>, band: &str, bands: &GapBands) -> Option<Key> {
    Some(Key {
        outcome: place.field("outcome").word(Outcome::from_code)?,
        class: class_of(place)?,
        band: bands.from_code(band)?,
    })
}
