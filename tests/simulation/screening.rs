//! Screening, from documents to what waits for the host: how many honest contributions are held, and
//! how many made-up ones are caught. Everything goes through the real service, so that copies meet
//! their originals.

#![expect(
    clippy::indexing_slicing,
    reason = "documents are made here, so their places are known"
)]

pub(crate) mod bulk;
mod forgers;
pub(crate) mod honest;
mod naive;

use super::draw::Draw;
use super::runs::{Failure, Plan};
use super::table::{Report, number};
use super::tally::{Share, Target};
use forgers::{ForgeryKind, forged_with_original};
use honest::{Honest, mended_spread};
use naive::Naive;
use serde_json::Value;
use std::collections::BTreeMap;
use tautpool::demo::STUDY;
use tautpool::demo::crowd::Sent;
use tautpool::screening::{Rule, ScreeningFlag};
use tautpool::service::{Correction, Incoming, Refused, Service};
use tautpool::vocabulary::{CorrectionReason, State};

/// At most so many honest contributions are to be held, in percent.
pub(crate) const HONEST: Target = Target::AtMost(5.0);

/// Forgeries of each kind in one run.
const FORGERIES: u32 = 12;

/// What became of the contributions of one kind.
#[derive(Debug, Clone, Default)]
pub(crate) struct Tally {
    n_sent: usize,
    n_refused: usize,
    n_held: usize,
    n_flagged: usize,
    /// By rule: flagged, and held because of it.
    by_rule: BTreeMap<Rule, (usize, usize)>,
}

/// Who sent it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) enum Who {
    /// An honest player.
    Honest(Honest),
    /// Whom the forgers copy: honest players by the forgers' author.
    Original,
    /// A forger by an author who did not know the rules; the place in [`ForgeryKind::ALL`].
    Forger(usize),
    /// A forger that thresholds were chosen with.
    Naive(Naive),
}

/// What the groups of the table are called.
pub(crate) const GROUPS: [&str; 3] = ["honest", "forged", "forged, tuned on"];

impl Who {
    pub(crate) const fn group(self) -> &'static str {
        let [honest, forged, tuned] = GROUPS;
        match self {
            Self::Honest(_) | Self::Original => honest,
            Self::Forger(_) => forged,
            Self::Naive(_) => tuned,
        }
    }

    fn name(self) -> &'static str {
        match self {
            Self::Honest(kind) => kind.name(),
            Self::Original => "players whom forgers copy",
            Self::Forger(place) => ForgeryKind::ALL.get(place).map_or("", |kind| kind.name()),
            Self::Naive(kind) => kind.name(),
        }
    }
}

impl Tally {
    fn add(&mut self, became: Option<&[ScreeningFlag]>) {
        self.n_sent += 1;
        let Some(flags) = became else {
            self.n_refused += 1;
            return;
        };
        let flags = flags.iter().filter(|flag| is_counted(flag.rule));
        let (mut any, mut holds) = (false, false);
        for flag in flags {
            any = true;
            holds |= flag.holds;
            let of_rule = self.by_rule.entry(flag.rule).or_default();
            of_rule.0 += 1;
            of_rule.1 += usize::from(flag.holds);
        }
        self.n_flagged += usize::from(any);
        self.n_held += usize::from(holds);
    }

    fn join(&mut self, other: &Self) {
        self.n_sent += other.n_sent;
        self.n_refused += other.n_refused;
        self.n_held += other.n_held;
        self.n_flagged += other.n_flagged;
        for (rule, (flagged, held)) in &other.by_rule {
            let own = self.by_rule.entry(*rule).or_default();
            own.0 += flagged;
            own.1 += held;
        }
    }

    /// How many of those let in are held.
    pub(crate) const fn held(&self) -> Share {
        Share {
            n_estimable: self.n_sent - self.n_refused,
            n_not_estimable: self.n_refused,
            n_held: self.n_held,
        }
    }

    fn cells(&self, group: &str, name: &str) -> Vec<String> {
        let n = (self.n_sent - self.n_refused) as f64;
        let share = self.n_held as f64 / n;
        let error = 100.0 * (share * (1.0 - share) / n).sqrt();
        let percent = |count: usize| number(100.0 * count as f64 / n, 1);
        let held = self.held().cell((group == GROUPS[0]).then_some(HONEST));
        let rules: Vec<String> = self
            .by_rule
            .iter()
            .map(|(rule, (flagged, held))| {
                format!("{} {} ({})", rule.code(), percent(*flagged), percent(*held))
            })
            .collect();
        vec![
            group.to_owned(),
            name.to_owned(),
            self.n_sent.to_string(),
            self.n_refused.to_string(),
            held,
            number(error, 1),
            percent(self.n_flagged),
            rules.join(", "),
        ]
    }
}

/// What is not given, is under protocol or has no plan is told, but is no suspicion.
fn is_counted(rule: Rule) -> bool {
    !matches!(rule, Rule::TimedCountAssumed | Rule::GapUnderProtocol)
}

/// One crowd with its service.
struct Room {
    service: Service,
    slug: String,
    receipts: BTreeMap<(Honest, usize), String>,
    tallies: BTreeMap<Who, Tally>,
}

impl Room {
    fn new() -> Result<Self, Failure> {
        let service = Service::in_memory()?;
        let study = service.add_study(STUDY.as_bytes(), 0)?;
        service.open_recruiting(&study.label.slug, 0)?;
        Ok(Self {
            slug: study.label.slug.clone(),
            service,
            receipts: BTreeMap::new(),
            tallies: BTreeMap::new(),
        })
    }

    /// Sends a document; gives the receipt and the contribution unless the door refuses it.
    fn send(
        &mut self,
        who: Who,
        document: &str,
        receipt: Option<&str>,
    ) -> Result<Option<(String, uuid::Uuid)>, Failure> {
        let answer = self.service.receive(&Incoming {
            study: &self.slug,
            document: document.as_bytes(),
            request_key: None,
            receipt,
            now_ms: 0,
        });
        let tally = self.tallies.entry(who).or_default();
        match answer {
            Ok(accepted) => {
                let kept = self
                    .service
                    .store()
                    .screening(accepted.contribution, None)?;
                let kept = kept.ok_or("what was stored is there")?;
                if (kept.state == State::Held) != kept.flags.iter().any(|flag| flag.holds) {
                    return Err("held and flags disagree".into());
                }
                tally.add(Some(&kept.flags));
                Ok(Some((accepted.receipt.reveal(), accepted.contribution)))
            }
            Err(Refused::Document(_)) => {
                tally.add(None);
                Ok(None)
            }
            Err(other) => Err(other.into()),
        }
    }

    fn send_honest(&mut self, kind: Honest, sent: &Sent) -> Result<(), Failure> {
        let player = (kind, sent.player);
        let receipt = self.receipts.get(&player).cloned();
        let who = Who::Honest(kind);
        let Some((receipt, contribution)) = self.send(who, &sent.document, receipt.as_deref())?
        else {
            return Ok(());
        };
        if kind == Honest::MendedSpread
            && let Some(mended) = mended_spread(&sent.document)?
        {
            let accepted = self.service.mend(&Correction {
                study: &self.slug,
                receipt: &receipt,
                contribution,
                reason: CorrectionReason::MisreadDevice,
                document: mended.as_bytes(),
                now_ms: 1,
            })?;
            let tally = self.tallies.entry(who).or_default();
            tally.add(Some(&accepted.flags));
        }
        self.receipts.entry(player).or_insert(receipt);
        Ok(())
    }
}

/// One run: every honest crowd, then what is published of it, then the forgeries.
fn run(draw: &mut Draw, publishes: bool) -> Result<BTreeMap<Who, Tally>, Failure> {
    let mut room = Room::new()?;
    let mut originals: Vec<(Honest, Sent)> = Vec::new();
    for kind in Honest::ALL {
        for sent in kind.sent(seed(draw)?)? {
            room.send_honest(*kind, &sent)?;
            if *kind == Honest::Demo {
                originals.push((*kind, sent));
            }
        }
        if *kind == Honest::Demo && publishes {
            room.service.publish(&room.slug)?;
        }
    }
    forge(&mut room, draw)?;
    forge_naively(&mut room, &originals, draw)?;
    Ok(room.tallies)
}

fn seed(draw: &mut Draw) -> Result<u64, Failure> {
    Ok(u64::try_from(draw.whole(0, i64::from(u32::MAX)))?)
}

/// Forgeries of the author who did not know the rules; what they copy comes first.
fn forge(room: &mut Room, draw: &mut Draw) -> Result<(), Failure> {
    for (place, kind) in ForgeryKind::ALL.iter().enumerate() {
        for _ in 0..FORGERIES {
            let (original, forged) = forged_with_original(*kind, seed(draw)?);
            if let Some(original) = original {
                room.send(Who::Original, &original, None)?;
            }
            room.send(Who::Forger(place), &forged, None)?;
        }
    }
    Ok(())
}

/// Forgeries that thresholds were chosen with.
fn forge_naively(
    room: &mut Room,
    originals: &[(Honest, Sent)],
    draw: &mut Draw,
) -> Result<(), Failure> {
    let mut fresh = Honest::Demo.sent(seed(draw)?)?;
    fresh.retain(|sent| sent.document.matches("\"arm\"").count() == 2);
    let mut fresh = fresh.into_iter();
    for kind in Naive::ALL {
        for _ in 0..FORGERIES {
            let pick = |n: usize, draw: &mut Draw| {
                usize::try_from(draw.whole(0, i64::try_from(n).unwrap_or(1) - 1))
            };
            let (document, player) = if kind.is_copy() {
                let (of, sent) = &originals[pick(originals.len(), draw)?];
                (sent.document.clone(), Some((*of, sent.player)))
            } else {
                let sent = fresh.next().ok_or("the crowd is too small")?;
                (sent.document, None)
            };
            let forged = kind.forge(&document, draw)?;
            let receipt = player
                .filter(|_| kind.is_own())
                .and_then(|player| room.receipts.get(&player).cloned());
            room.send(Who::Naive(*kind), &forged, receipt.as_deref())?;
        }
    }
    Ok(())
}

/// What became of every kind over all runs.
pub(crate) fn simulate(
    plan: &Plan,
    cell: u32,
    publishes: bool,
) -> Result<BTreeMap<Who, Tally>, Failure> {
    let mut all: BTreeMap<Who, Tally> = BTreeMap::new();
    for tallies in plan.runs(cell, |draw| run(draw, publishes))? {
        for (who, tally) in tallies {
            all.entry(who).or_default().join(&tally);
        }
    }
    Ok(all)
}

/// Everybody of a group.
pub(crate) fn of_group(tallies: &BTreeMap<Who, Tally>, group: &str) -> Tally {
    let mut all = Tally::default();
    let of_group = tallies.iter().filter(|(who, _)| who.group() == group);
    of_group.for_each(|(_, tally)| all.join(tally));
    all
}

/// The whole table.
pub(crate) fn report(plan: &Plan) -> Result<Report, Failure> {
    let tallies = simulate(plan, 900, true)?;
    let mut rows: Vec<Vec<String>> = tallies
        .iter()
        .map(|(who, tally)| tally.cells(who.group(), who.name()))
        .collect();
    rows.extend(GROUPS.map(|group| of_group(&tallies, group).cells(group, "all")));
    Ok(Report {
        title: "Screening".to_owned(),
        model: format!(
            "{} runs, seed {}. Percent of those that the door let in, held with its Monte Carlo \
             standard error. By rule: flagged, and in brackets held because of it; not counted \
             are gaps under protocol and numbers of timed shots that are not given.",
            plan.n_runs, plan.seed
        ),
        columns: vec![
            "contributions",
            "kind",
            "sent",
            "refused",
            "held (%)",
            "±",
            "flagged (%)",
            "rules, flagged (held), %",
        ],
        rows,
    })
}

/// Every shot line of a document.
fn lines_of(document: &mut Value) -> impl Iterator<Item = &mut Value> {
    let sessions = document["sessions"].as_array_mut().into_iter().flatten();
    sessions.flat_map(|session| session["shots"].as_array_mut().into_iter().flatten())
}
