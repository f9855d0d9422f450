//! A checked document read into types. `None` means that the checks let something through that
//! the types cannot hold, which a test over the whole corpus rules out.

mod publication;
mod release;

pub(super) use publication::publication;
pub(super) use release::release;

use super::node::{Document, Node};
use super::rules::{class_of, deep, landed_in, reference_tension};
use crate::contribution::{
    Background, Conditions, Contribution, PartnerSpeed, Rallies, Session, ShotLine, SpeedSummary,
    Spin, StringBed,
};
use crate::protocol::{
    AnalysisRules, GapBands, Hosting, Licence, PrimaryOutcome, Protocol, ReleaseRule, Study,
    StudyLabel, VersionedText,
};
use crate::units::{Speed, SpeedUnit, TensionUnit};
use crate::vocabulary::{
    Arm, ConsentScope, Knowledge, Outcome, SdDivisor, SpeedOver, StringFamily,
};

pub(super) fn contribution(root: &Document<'_>) -> Option<Contribution> {
    let consent = root.field("consent");
    let sessions = root.field("sessions").items();
    Some(Contribution {
        consent_scope: consent.field("scope").word(ConsentScope::from_code)?,
        consent_text_version: consent.field("text_version").text()?.to_owned(),
        plan_code: root.field("plan_code").text().map(str::to_owned),
        background: background(root),
        sessions: sessions.iter().map(session).collect::<Option<_>>()?,
    })
}

fn background(root: &Document<'_>) -> Background {
    let setup = root.field("setup");
    let bed = |name| {
        let bed = setup.field(name);
        StringBed {
            hours_played: bed.field("hours_played").hundredths(),
            days_since_stringing: bed.field("days_since_stringing").hundredths(),
        }
    };
    Background {
        // The word `unknown` is no number.
        itn: root.field("player").field("itn").whole(),
        frame: setup
            .field("frame")
            .field("label")
            .text()
            .map(str::to_owned),
        mains_family: setup.field("mains_family").word(StringFamily::from_code),
        looser_bed: bed("looser_bed"),
        tighter_bed: bed("tighter_bed"),
    }
}

fn session(session: &Node<'_>) -> Option<Session> {
    let lines = session.field("shots").items();
    Some(Session {
        arm: session.field("arm").word(Arm::from_code)?,
        tension: reference_tension(session)?,
        conditions: conditions(session),
        lines: lines.iter().map(shot_line).collect::<Option<_>>()?,
    })
}

fn conditions(session: &Node<'_>) -> Conditions {
    let knew_tension = session.field("knew_tension").word(Knowledge::from_code);
    let rallies = session.field("rallies");
    Conditions {
        order: session.field("order").whole(),
        knew_tension: knew_tension.unwrap_or(Knowledge::Unknown),
        partner: partner(&session.field("partner")),
        spin: spin(&session.field("spin")),
        rallies: rallies.field("played").whole().map(|played| Rallies {
            played,
            above_length: rallies.field("above_length").whole(),
        }),
    }
}

fn partner(partner: &Node<'_>) -> Option<PartnerSpeed> {
    let unit = partner.field("speed_unit").word(SpeedUnit::from_code)?;
    let speed = |name| Some(Speed::new(partner.field(name).hundredths()?, unit));
    Some(PartnerSpeed {
        mean: speed("speed_mean")?,
        sd: speed("speed_sd"),
        n: partner.field("speed_n").whole(),
    })
}

fn spin(spin: &Node<'_>) -> Option<Spin> {
    if spin.field("given_as").text()? == "count" {
        Some(Spin::Counts {
            topspin: spin.field("topspin").whole()?,
            flat: spin.field("flat").whole()?,
            slice: spin.field("slice").whole()?,
        })
    } else {
        Some(Spin::Percents {
            topspin: spin.field("topspin").hundredths()?,
            flat: spin.field("flat").hundredths()?,
        })
    }
}

fn shot_line(line: &Node<'_>) -> Option<ShotLine> {
    Some(ShotLine {
        class: class_of(line)?,
        hit: line.field("hit").whole()?,
        landed_in: landed_in(line),
        deep: deep(line),
        speed: speed_summary(line),
    })
}

fn speed_summary(line: &Node<'_>) -> Option<SpeedSummary> {
    let unit = line.field("speed_unit").word(SpeedUnit::from_code)?;
    let speed = |name| Some(Speed::new(line.field(name).hundredths()?, unit));
    let divisor = line.field("sd_divisor").word(SdDivisor::from_code);
    let over = line.field("speed_over").word(SpeedOver::from_code);
    Some(SpeedSummary {
        mean: speed("speed_mean")?,
        sd: speed("speed_sd"),
        sd_divisor: divisor.unwrap_or(SdDivisor::Unknown),
        lag1: line.field("speed_lag1").hundredths(),
        max: speed("speed_max"),
        n: line.field("speed_n").whole(),
        over: over.unwrap_or(SpeedOver::Unknown),
    })
}

pub(super) fn study(root: &Document<'_>) -> Option<Study> {
    Some(Study {
        label: label(
            &root.field("study"),
            &root.field("question"),
            &root.field("invented"),
        )?,
        hosting: hosting(root)?,
        protocol: protocol(&root.field("protocol"))?,
    })
}

fn hosting(root: &Document<'_>) -> Option<Hosting> {
    let text = |name| root.field(name).text().map(str::to_owned);
    Some(Hosting {
        host_name: text("host_name"),
        contact: text("contact"),
        privacy: given(&root.field("privacy"), versioned_text)?,
        licence: given(&root.field("licence"), |place| {
            Some(Licence {
                name: place.field("name").text()?.to_owned(),
                url: place.field("url").text().map(str::to_owned),
            })
        })?,
    })
}

/// What stands at a place that may be empty; `None` when something stands there that cannot be
/// read.
fn given<'a, T>(place: &Node<'a>, read: impl FnOnce(&Node<'a>) -> Option<T>) -> Option<Option<T>> {
    if place.is_absent() {
        Some(None)
    } else {
        read(place).map(Some)
    }
}

fn label(slug: &Node<'_>, question: &Node<'_>, invented: &Node<'_>) -> Option<StudyLabel> {
    Some(StudyLabel {
        slug: slug.text()?.to_owned(),
        question: question.text()?.to_owned(),
        invented: invented.truth()?,
    })
}

fn protocol(place: &Node<'_>) -> Option<Protocol> {
    Some(Protocol {
        version: place.field("version").whole().unwrap_or(1),
        analysis: analysis_rules(place)?,
        minimum_shots: place.field("minimum_shots").whole()?,
        rally_length: place.field("rally_length").whole()?,
        deep: versioned_text(&place.field("deep"))?,
        consent: versioned_text(&place.field("consent"))?,
        caution: place.field("caution").text()?.to_owned(),
        adults_only: place.field("adults_only").truth().unwrap_or(true),
        session_minutes: place
            .field("session_minutes")
            .whole()
            .unwrap_or(Protocol::SESSION_MINUTES),
        warm_up_minutes: place
            .field("warm_up_minutes")
            .whole()
            .unwrap_or(Protocol::WARM_UP_MINUTES),
        batch_players: n(&place.field("batch_players"))?,
        release_rule: given(&place.field("release_rule"), release_rule)?,
    })
}

fn release_rule(place: &Node<'_>) -> Option<ReleaseRule> {
    if place.field("kind").text()? == "date" {
        Some(ReleaseRule::Date(place.field("on").text()?.to_owned()))
    } else {
        n(&place.field("at_least")).map(ReleaseRule::Players)
    }
}

fn analysis_rules(protocol: &Node<'_>) -> Option<AnalysisRules> {
    let unit = protocol.field("gap_unit").word(TensionUnit::from_code)?;
    let edges = protocol.field("gap_band_edges").items();
    let edges = edges.iter().map(Node::hundredths).collect::<Option<_>>()?;
    let primary = protocol.field("primary").items();
    Some(AnalysisRules {
        bands: GapBands::new(unit, edges)?,
        primary: primary.iter().map(primary_outcome).collect::<Option<_>>()?,
        minimum_players: n(&protocol.field("minimum_players"))?,
    })
}

fn primary_outcome(place: &Node<'_>) -> Option<PrimaryOutcome> {
    Some(PrimaryOutcome {
        outcome: place.field("outcome").word(Outcome::from_code)?,
        class: class_of(place)?,
        smallest_worthwhile: place.field("smallest_worthwhile").hundredths(),
    })
}

fn versioned_text(place: &Node<'_>) -> Option<VersionedText> {
    Some(VersionedText {
        version: place.field("version").text()?.to_owned(),
        text: place.field("text").text()?.to_owned(),
    })
}

fn n(place: &Node<'_>) -> Option<usize> {
    usize::try_from(place.whole()?).ok()
}
