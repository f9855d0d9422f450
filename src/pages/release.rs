//! The pages of releases: the list of them, one of them as it was published, and the host's page
//! that publishes.

mod desk;

pub use desk::{Asked, ReleaseDesk, ReleaseStep, desk_release};

use super::{Standing, StudyView};
use crate::findings::Findings;
use crate::protocol::StudyLabel;
use crate::release::{Because, Change, Release, ReleaseKind, StatedRange, file_name};
use crate::units::Units;
use crate::wire::release::{Listed, data_set, datacite_text};
use askama::Template;

/// A release as it is shown.
#[derive(Clone, Copy, Debug)]
pub struct ReleaseView<'a> {
    /// What its document says.
    pub release: &'a Release,
    /// What is found in its rows, said with the range that it states.
    pub findings: &'a Findings,
    /// The reader's units.
    pub units: Units,
    /// Every release of the study, this one among them, the first one first.
    pub releases: &'a [Listed],
    /// SHA-256 of its document, in hexadecimal.
    pub sha256: &'a str,
}

impl ReleaseView<'_> {
    /// The release that came next.
    fn next(&self) -> Option<&Listed> {
        let mut releases = self.releases.iter();
        releases.find(|listed| listed.number == self.release.number + 1)
    }

    /// The next release, when it corrects this one, with what was wrong.
    fn correction(&self) -> Option<(i64, &str)> {
        let next = self.next()?;
        let reason = next.reason.as_deref()?;
        (next.kind == ReleaseKind::Correction).then_some((next.number, reason))
    }

    /// The newest release, when it is neither this one nor the next.
    fn newest(&self) -> Option<i64> {
        let newest = self.releases.last()?.number;
        (self.release.number + 1 < newest).then_some(newest)
    }
}

/// What stands above a frozen page.
#[derive(Template)]
#[template(path = "release_banner.html", config = "src/pages/askama.toml")]
struct BannerPart<'a> {
    view: &'a ReleaseView<'a>,
    slug: &'a str,
    release: &'a Release,
    ordinary: bool,
}

/// What stands below it.
#[derive(Template)]
#[template(path = "release_about.html", config = "src/pages/askama.toml")]
struct AboutPart<'a> {
    slug: &'a str,
    release: &'a Release,
    sha256: &'a str,
    file: String,
    because: Because,
    changes: Vec<String>,
    metadata: String,
}

/// The page of a release, made from what is frozen and from which releases came after it.
///
/// # Errors
/// When a template cannot be filled.
pub fn release(view: &ReleaseView<'_>) -> Result<String, askama::Error> {
    let release = view.release;
    let slug = release.publication.study.slug.as_str();
    let banner = BannerPart {
        view,
        slug,
        release,
        ordinary: release.stated.range == StatedRange::Ordinary,
    };
    let about = AboutPart {
        slug,
        release,
        sha256: view.sha256,
        file: file_name(slug, release.number),
        because: release.stated.because,
        changes: changes(release),
        metadata: datacite_text(release),
    };
    let head = format!(
        "<script type=\"application/ld+json\">{}</script>\n",
        data_set(release, view.sha256)
    );
    let study = super::study(&frozen_view(release, view.findings, view.units))?;
    Ok(framed(&study, &head, &banner.render()?, &about.render()?))
}

/// What the page of a release shows of its study. `findings` are those [`as_stated`](crate::release::as_stated) gives.
#[must_use]
pub fn frozen_view<'a>(
    release: &'a Release,
    findings: &'a Findings,
    units: Units,
) -> StudyView<'a> {
    StudyView {
        study: &release.study,
        standing: Standing::Release(release.number),
        publication: &release.publication,
        findings,
        everybody: &release.everybody,
        hidden: None,
        states_ordinary: release.stated.range == StatedRange::Ordinary,
        units,
        // Its permanent address begins with it.
        base: release.address.split("/studies/").next(),
        flow: Some(&release.flow),
        history: release.protocol.history.iter().rev().cloned().collect(),
    }
}

/// A page with more in its head, above its content and below it.
fn framed(page: &str, head: &str, above: &str, below: &str) -> String {
    const MAIN: &str = "<main id=\"main\" tabindex=\"-1\">";
    page.replacen("</head>", &format!("{head}</head>"), 1)
        .replacen(MAIN, &format!("{MAIN}\n{above}"), 1)
        .replacen("</main>", &format!("{below}</main>"), 1)
}

/// What is different from the release before, in words; analyses that are shown in neither are left
/// out.
fn changes(release: &Release) -> Vec<String> {
    let bands = &release.publication.rules.bands;
    let changes = release.changes.as_ref();
    let said = changes.map(|changes| {
        let shown = |change: &&Change| change.before.is_some() || change.now.is_some();
        let analyses = changes.analyses.iter().filter(shown);
        let analyses = analyses.map(|change| change.sentence(bands));
        changes.sentences().into_iter().chain(analyses).collect()
    });
    said.unwrap_or_default()
}

#[derive(Template)]
#[template(path = "releases.html", config = "src/pages/askama.toml")]
struct ReleasesPage<'a> {
    invented: bool,
    study: &'a StudyLabel,
    releases: Vec<ListedRelease<'a>>,
    citation: Option<&'a str>,
}

/// A release in the list, with what became of it.
struct ListedRelease<'a> {
    listed: &'a Listed,
    superseded_by: Option<i64>,
    corrected: Option<&'a str>,
}

/// The list of a study's releases, the newest one first. `citation` is that of the newest.
///
/// # Errors
/// When the template cannot be filled.
pub fn releases(
    study: &StudyLabel,
    listed: &[Listed],
    citation: Option<&str>,
) -> Result<String, askama::Error> {
    let entries = listed.iter().enumerate().map(|(place, entry)| {
        let next = listed.get(place + 1);
        ListedRelease {
            listed: entry,
            superseded_by: next.map(|next| next.number),
            corrected: next.and_then(|next| next.reason.as_deref()),
        }
    });
    let mut releases: Vec<ListedRelease<'_>> = entries.collect();
    releases.reverse();
    ReleasesPage {
        invented: study.invented,
        study,
        releases,
        citation,
    }
    .render()
}
