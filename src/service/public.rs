//! What the public sees of a study, made once per batch and kept ready to be sent.

use super::cards::CardsInUnits;
use super::counted::Counted;
use super::differencing::over_everybody;
use super::in_units::{InUnits, Pictures};
use super::package::{self, Package, Published};
use super::query::{Answers, NotAsked};
use super::{CardFile, Life, Ready, ServiceError};
use crate::clock;
use crate::disclosure::{self, Everybody, ExactFlow};
use crate::effects::spread::CrowdSpread;
use crate::findings::flow::ParticipantFlow;
use crate::findings::{BatchLabel, Before, Choice, Findings, Publication, Row, Rows};
use crate::pages::{self, Hidden, Standing, StudyView};
use crate::plan::Flow;
use crate::pooling::Level;
use crate::protocol::Study;
use crate::raster::RasterError;
use crate::release::{ProtocolChange, PublicUrl};
use crate::store::{Batch, SentFlow, ShownFigure};
use crate::units::Units;
use crate::vocabulary::{Sequence, StudyState};
use crate::wire;
use crate::wire::package::{Edition, File};
use std::mem;
use std::sync::{Arc, OnceLock};
use uuid::Uuid;

/// A study with its public figures.
#[derive(Debug)]
pub struct Public {
    /// Where the study stands, with every version of its protocol.
    pub life: Life,
    /// The study with the protocol in force, which contributions are held against. Figures are made
    /// by the protocol that was in force when their batch closed: had an edge moved a pair into
    /// another band between two readings of one batch, the difference would tell of that pair.
    pub study: Arc<Study>,
    /// Why figures are hidden, when they are.
    pub hidden: Option<Hidden>,
    /// What its figures are made from.
    pub publication: Publication,
    /// Everything that is found out.
    pub findings: Findings,
    /// Figures over everybody.
    pub everybody: Vec<Everybody>,
    /// What became of everybody who began, as of the batch that is shown.
    pub flow: Option<ParticipantFlow>,
    /// What the counted contributions say about spread.
    pub crowd: CrowdSpread,
    /// The pooled document.
    pub pooled: Ready,
    /// The anonymised download.
    pub aggregate: Ready,
    /// Where the service is reached, once that is known.
    public_url: Arc<OnceLock<PublicUrl>>,
    page: InUnits<Ready>,
    pairs: InUnits<Ready>,
    pictures: Pictures,
    cards: CardsInUnits,
    package: Package,
    answers: Answers,
    /// The contributions behind the rows, which leave with their receipts alone.
    whose: Owners,
}

/// For each contribution with rows its identifier and the place of its first row, in the order of
/// identifiers. The rows of one pair follow each other.
#[derive(Debug)]
struct Owners(Vec<(Uuid, u32)>);

impl Owners {
    /// `came` has the place of the pair of each row among the contributions.
    fn of(came: &[u32], contributions: &[Uuid]) -> Self {
        let mut owners = Vec::new();
        let mut before = None;
        for (first, pair) in (0..).zip(came) {
            if before != Some(pair)
                && let Some(contribution) = contributions.get(*pair as usize)
            {
                owners.push((*contribution, first));
            }
            before = Some(pair);
        }
        owners.sort_unstable();
        owners.shrink_to_fit();
        Self(owners)
    }

    /// The rows of a contribution.
    fn rows(&self, contribution: Uuid, rows: &Rows) -> Vec<Row> {
        let found = self.0.binary_search_by_key(&contribution, |owner| owner.0);
        let first = found.ok().and_then(|place| self.0.get(place));
        let Some((_, first)) = first else {
            return Vec::new();
        };
        let pair_of = |row: &Row| (row.group, row.pair);
        let all = (*first as usize..).map_while(|place| rows.get(place));
        let mut all = all.peekable();
        let pair = all.peek().map(pair_of);
        all.take_while(|row| Some(pair_of(row)) == pair).collect()
    }
}

impl Public {
    /// The rows of one contribution, for nobody but whoever holds its receipt.
    pub(super) fn rows_of(&self, contribution: Uuid) -> Vec<Row> {
        self.whose.rows(contribution, &self.publication.rows)
    }

    /// Whether the study takes contributions.
    #[must_use]
    pub fn is_recruiting(&self) -> bool {
        self.life.state == StudyState::Recruiting
    }

    /// The public figures of what is counted.
    pub(super) fn new(
        life: Life,
        counted: Option<Counted>,
        (plans, sent): (Vec<(Sequence, Flow)>, SentFlow),
        (before, figures_before): (Option<&Self>, Vec<ShownFigure>),
        public_url: Arc<OnceLock<PublicUrl>>,
    ) -> Result<(Self, Vec<ShownFigure>), ServiceError> {
        let hidden = counted.as_ref().filter(|counted| !counted.batch.shown);
        let hidden = hidden.map(|_| Hidden::Renewing);
        let counted = counted.filter(|counted| counted.batch.shown);
        let batch = counted.as_ref().map(|counted| counted.batch);
        let study = Arc::clone(&life.newest.study);
        let then = batch.map_or(&life.newest, |batch: Batch| {
            life.version(batch.protocol_version)
        });
        let then = &then.study;
        let (mut gathered, contributions, crowd) = counted
            .map(|counted| (counted.gathered, counted.contributions, counted.crowd))
            .unwrap_or_default();
        let rules = then.protocol.analysis.clone();
        let mut publication = Publication {
            study: study.label.clone(),
            batch: batch.map(|batch| BatchLabel {
                number: batch.number,
                date: clock::date(batch.closed_at_ms),
            }),
            protocol_version: then.protocol.version,
            level: Level::NINETY_FIVE,
            rows: mem::take(&mut gathered.rows),
            frames: mem::take(&mut gathered.frames),
            pairs_left_out: gathered.pairs_left_out,
            session_spreads: mem::take(&mut gathered.session_spreads),
            count_models: mem::take(&mut gathered.count_models),
            first_versions: Vec::new(),
            reached: Vec::new(),
            plans: batch.and_then(|_| disclosure::plan_counts(&plans, &rules)),
            rules,
        };
        // Both are large, and gone before the next is worked out.
        let everyone = mem::take(&mut gathered.everyone);
        let (everybody, shown) = over_everybody(everyone, &publication, &figures_before)?;
        drop(figures_before);
        publication.first_versions = gathered.first_versions(&publication)?;
        publication.reached = gathered.reached(&publication)?;
        let flow = batch.map(|_| disclosure::flow(&exact_flow(&plans, sent), &publication.rules));
        let whose = Owners::of(&gathered.came, &contributions);
        drop((contributions, gathered));
        let before = before.map(|before| Before {
            publication: &before.publication,
            findings: &before.findings,
        });
        let findings = publication.analyse_after(Choice::default(), before)?;
        let pooled = Ready::json(&wire::pooled::of_publication(
            &publication,
            &findings,
            &everybody,
        ));
        let aggregate = Published {
            publication: &publication,
            findings: &findings,
            everybody: &everybody,
        };
        let aggregate = aggregate.document();
        let public = Self {
            life,
            hidden,
            pooled,
            aggregate,
            public_url,
            page: InUnits::default(),
            pairs: InUnits::default(),
            pictures: Pictures::default(),
            cards: CardsInUnits::default(),
            package: Package::default(),
            answers: Answers::default(),
            study,
            publication,
            findings,
            everybody,
            flow,
            crowd,
            whose,
        };
        Ok((public, shown))
    }

    /// Makes what is asked for most, so that nobody waits for it. Where the service is reached stands
    /// in the page and may be said until it serves, so the page is kept only then.
    ///
    /// # Errors
    /// When the page cannot be filled: then nothing is to be published.
    pub(super) fn prepared(self, is_serving: bool) -> Result<Self, ServiceError> {
        let units = self.unchosen_units();
        if is_serving {
            drop(self.page(units)?.gzip());
        } else {
            pages::study(&self.view(units))?;
        }
        for ready in [&self.pooled, &self.aggregate] {
            drop(ready.gzip());
        }
        Ok(self)
    }

    /// A study without its figures, which still takes contributions, and why it has none.
    pub(super) fn without_figures(
        hidden: Hidden,
        life: Life,
        public_url: Arc<OnceLock<PublicUrl>>,
    ) -> Result<Self, ServiceError> {
        let nothing = (None, Vec::new());
        let (public, _) = Self::new(life, None, Default::default(), nothing, public_url)?;
        Ok(Self {
            hidden: Some(hidden),
            ..public
        })
    }

    /// The units of a reader who chose none.
    #[must_use]
    pub const fn unchosen_units(&self) -> Units {
        Units::unchosen(self.publication.rules.bands.unit())
    }

    /// What the page, its pictures and its list of pairs show.
    #[must_use]
    pub fn view(&self, units: Units) -> StudyView<'_> {
        StudyView {
            study: &self.study,
            standing: Standing::Live,
            publication: &self.publication,
            findings: &self.findings,
            everybody: &self.everybody,
            hidden: self.hidden,
            states_ordinary: false,
            units,
            base: self.public_url.get().map(PublicUrl::as_str),
            flow: self.flow.as_ref(),
            history: self.history(),
        }
    }

    /// Every version of the protocol, the newest one first.
    fn history(&self) -> Vec<ProtocolChange> {
        let versions = self.life.history.iter().rev();
        versions
            .map(|version| ProtocolChange {
                version: version.version,
                date: clock::date(version.made_at_ms),
                reason: version.reason.clone(),
            })
            .collect()
    }

    /// The page in a reader's units.
    ///
    /// # Errors
    /// When its template cannot be filled.
    pub fn page(&self, units: Units) -> Result<Ready, askama::Error> {
        let made = || pages::study(&self.view(units)).map(Ready::new);
        self.page.get(units, made)
    }

    /// The list of pairs in a reader's units.
    ///
    /// # Errors
    /// When its template cannot be filled.
    pub fn pairs(&self, units: Units) -> Result<Ready, askama::Error> {
        let made = || pages::pairs(&self.view(units)).map(Ready::new);
        self.pairs.get(units, made)
    }

    /// A card for an audience. The first time it takes a fraction of a second, so it belongs on the
    /// blocking pool.
    ///
    /// # Errors
    /// [`RasterError`] when it cannot be drawn, which the tests of cards rule out.
    pub fn card(&self, file: CardFile, units: Units) -> Result<Ready, RasterError> {
        self.cards.file(&self.view(units), file)
    }

    const fn published(&self) -> Published<'_> {
        Published {
            publication: &self.publication,
            findings: &self.findings,
            everybody: self.everybody.as_slice(),
        }
    }

    /// One file of the download as tables. The first time it takes a moment, so it belongs on the
    /// blocking pool.
    #[must_use]
    pub fn package(&self, file: File) -> Option<Ready> {
        self.package.file(file, || {
            let page = self.public_url.get();
            let page = page.map(|base| format!("{base}/studies/{}", self.study.label.slug));
            let edition = Edition::Batch {
                hosting: &self.study.hosting,
                id: &package::name_of(&self.aggregate.sha256),
                homepage: page.as_deref(),
            };
            self.published().files(edition)
        })
    }

    /// The answer to a question, as it stands in an address. It takes its time, so it belongs on the
    /// blocking pool.
    ///
    /// # Errors
    /// [`NotAsked`] when the question has faults, or asks about too few players.
    pub fn answer(&self, question: &str) -> Result<Ready, NotAsked> {
        self.answers.answer(&self.publication, question)
    }

    /// One picture of the page by itself; `None` when there is none of this name.
    #[must_use]
    pub fn picture(&self, name: &str, units: Units) -> Option<Ready> {
        self.pictures.get(&self.view(units), name)
    }
}

/// What became of plans and of what was sent, counted.
fn exact_flow(plans: &[(Sequence, Flow)], sent: SentFlow) -> ExactFlow {
    ExactFlow {
        started: plans.iter().map(|(_, flow)| flow.opened).sum(),
        held: sent.held(),
        sent: sent.sent,
        declined: sent.declined,
        withdrawn: sent.withdrawn,
        pooled: sent.counted,
    }
}
