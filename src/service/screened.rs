//! Screening what arrives: likeness from the store, everything else from the pure core.

use super::{Public, Service, ServiceError};
use crate::contribution::Contribution;
use crate::effects::PairEffects;
use crate::intake::{self, Flag};
use crate::protocol::Study;
use crate::screening::{self, ByItself, Given, Likeness, Mark, RULES_VERSION, ScreeningFlag};
use crate::store::{MarkHash, Screened, Seeker, Writing};
use crate::vocabulary::State;
use uuid::Uuid;

/// A version on its way in.
pub(super) struct Arriving<'a> {
    pub(super) public: &'a Public,
    pub(super) sent: &'a Contribution,
    pub(super) pair: &'a PairEffects,
    pub(super) noticed: &'a [Flag],
    /// SHA-256 of the receipt it comes with.
    pub(super) receipt_hash: Option<[u8; 32]>,
    /// The contribution it mends.
    pub(super) mends: Option<Uuid>,
}

/// What was found in a version by itself.
pub(super) struct Looked {
    by_itself: ByItself,
    hashes: Vec<MarkHash>,
}

/// What is told of a contribution.
pub(super) struct Told {
    pub(super) planned: bool,
    pub(super) state: State,
    pub(super) flags: Vec<ScreeningFlag>,
}

impl Service {
    /// Looks at a version by itself, which nobody has to wait for.
    pub(super) fn look(&self, arriving: &Arriving<'_>) -> Looked {
        let by_itself = screening::by_itself(&Given {
            contribution: arriving.sent,
            pair: arriving.pair,
            noticed: arriving.noticed,
            // What is mended may be part of what is published.
            published: arriving
                .mends
                .is_none()
                .then_some(&arriving.public.findings),
        });
        Looked {
            hashes: self.mark_hashes(&arriving.public.study.label.slug, by_itself.marks()),
            by_itself,
        }
    }

    /// Everything that is found in a version. In the hands of who stores it next, so that of two
    /// copies that come at once the later one is seen.
    pub(super) fn screen(
        writing: &Writing<'_>,
        arriving: &Arriving<'_>,
        looked: Looked,
    ) -> Result<Screened, ServiceError> {
        let seeker = Seeker {
            study: &arriving.public.study.label.slug,
            receipt_hash: arriving.receipt_hash,
            mends: arriving.mends,
        };
        let matters = |shared: &[usize]| looked.by_itself.may_repeat(shared);
        let alike = writing.alike(&seeker, &looked.hashes, matters)?;
        let likeness: Vec<Likeness> = alike
            .into_iter()
            .map(|alike| Likeness {
                own: alike.own,
                shared: alike.marks,
            })
            .collect();
        Ok(Screened {
            rules: RULES_VERSION,
            flags: looked.by_itself.beside(&likeness).flags,
            marks: looked.hashes,
        })
    }

    fn mark_hashes(&self, slug: &str, marks: &[Mark]) -> Vec<MarkHash> {
        let hash = |mark: &Mark| self.receipt_key.mark(slug, &mark.text);
        marks.iter().map(hash).collect()
    }

    /// Makes the marks of what came before there was screening.
    pub(super) fn mark_unscreened(&self) -> Result<(), ServiceError> {
        let unscreened = self.store.unscreened()?;
        let marked: Vec<_> = unscreened
            .into_iter()
            .filter_map(|version| {
                let contribution = intake::kept_contribution(&version.document)?;
                let marks = screening::marks(&contribution);
                let hashes = self.mark_hashes(&version.study, &marks);
                Some((version, hashes))
            })
            .collect();
        if !marked.is_empty() {
            self.store.mark_unscreened(&marked)?;
        }
        Ok(())
    }

    /// What is told of a contribution that came just now.
    pub(super) fn told_now(
        &self,
        contribution: Uuid,
        version: &Arriving<'_>,
        screened: Screened,
    ) -> Told {
        let (planned, flag) = match version.sent.plan_code {
            Some(_) => self.plan_told(contribution),
            None => (false, None),
        };
        Told {
            planned,
            state: screened.state(),
            flags: told_of(screened.flags, flag),
        }
    }

    /// What is told of a contribution that was admitted before: what was found in a version when it
    /// came, the newest unless a number is given, whatever the rules say now.
    pub(super) fn told(
        &self,
        contribution: Uuid,
        number: Option<i64>,
        document: &[u8],
        study: &Study,
    ) -> Result<Told, ServiceError> {
        let kept = self.store.screening(contribution, number)?;
        let (state, found) = kept.map_or((State::Accepted, None), |kept| {
            (kept.state, (0 < kept.rules).then_some(kept.flags))
        });
        let flags = found.unwrap_or_else(|| {
            // It came before there was screening.
            let admitted = intake::contribution(document, study);
            let noticed = admitted.map(|admitted| admitted.flags).unwrap_or_default();
            noticed.iter().map(screening::of_intake).collect()
        });
        let (planned, flag) = self.plan_told(contribution);
        Ok(Told {
            planned,
            state,
            flags: told_of(flags, flag),
        })
    }
}

/// What of the flags its sender is told, with what is to be said of its plan.
fn told_of(mut flags: Vec<ScreeningFlag>, of_plan: Option<Flag>) -> Vec<ScreeningFlag> {
    flags.retain(ScreeningFlag::is_told);
    flags.extend(of_plan.as_ref().map(screening::of_intake));
    flags
}
