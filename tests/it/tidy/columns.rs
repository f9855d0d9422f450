//! Every column of the database with what becomes of it in public. The lists are held against the
//! database that the migrations really make, so a new column cannot be published, or forgotten, by
//! accident.

use rusqlite::Connection;
use std::collections::BTreeSet;

/// A column as `table.column`, with the reason for its place.
type Listed = (&'static str, &'static str);

/// Columns whose value itself may leave.
const PUBLIC: &[Listed] = &[
    ("study.slug", "the study's name is its address"),
    (
        "study.state",
        "a reader is told whether the study takes contributions; of a draft nothing leaves",
    ),
    (
        "study.plan_hash",
        "shows whether the analysis plan was changed since recruiting opened",
    ),
    (
        "protocol.version",
        "a reader says which version a figure is from",
    ),
    (
        "protocol.document",
        "the host wrote it for the audience; no contributor is in it",
    ),
    (
        "protocol.reason",
        "the host wrote it for the audience; no contributor is in it",
    ),
    ("batch.number", "a reader says which batch a figure is from"),
    (
        "batch.protocol_version",
        "a reader says by which rules a figure was made",
    ),
    ("release.number", "a release is cited by it"),
    (
        "release.kind",
        "a release says what it is to the one before",
    ),
    ("release.reason", "a correction says what was wrong"),
    ("release.address", "a release is found there"),
    (
        "release.document",
        "it is made from public figures and the host's words alone",
    ),
    ("release.sha256", "a reader compares it with the document"),
    ("release.made_at_ms", "a release says when it was published"),
];

/// Columns of which something leaves, but less than they hold.
const COARSENED: &[Listed] = &[
    (
        "version.gap_nanograms",
        "a row has the nearest pound and the band",
    ),
    (
        "version.consent_scope",
        "shows only in that rows exist for those who agreed to rows",
    ),
    (
        "version.received_at_ms",
        "a row has the month of the first version, where enough are alike",
    ),
    (
        "version.number",
        "how many players corrected leaves in steps, and what they sent first of all of them together",
    ),
    (
        "version.document",
        "effects leave, rounded, and circumstances that may explain them, coarsened",
    ),
    ("batch.closed_at_ms", "the day alone is shown"),
    ("study.opened_at_ms", "the day alone is shown"),
    ("study.closed_at_ms", "the day alone is shown"),
    ("protocol.made_at_ms", "the day alone is shown"),
    (
        "batch.shown",
        "a page says that figures are hidden because sessions were withdrawn",
    ),
    (
        "contribution.state",
        "counts of held, declined and withdrawn ones leave in steps; whose they are does not",
    ),
    ("decision.verdict", "counts leave in steps"),
    (
        "decision.ground",
        "counts leave in steps, and its sender is told",
    ),
    ("decision.decided_at_ms", "counts are as of a batch"),
    (
        "contribution.id",
        "estimates are shown as players came, in at most eight steps of several, to a tenth",
    ),
    (
        "plan.sequence",
        "counts of plans by order leave, rounded; its holder is shown it when they open it",
    ),
    (
        "plan.drawn_at_ms",
        "counts leave, rounded; its holder is told the time",
    ),
    (
        "plan.opened_at_ms",
        "counts leave, rounded; its holder is told the time",
    ),
];

/// Columns of which nothing leaves in public; a receipt may open some of them to its holder.
const PRIVATE: &[Listed] = &[
    ("study.id", "a number inside the database"),
    ("study.added_at_ms", "the host's own record"),
    ("protocol.study_id", "a number inside the database"),
    ("player.id", "a number inside the database"),
    ("player.uuid", "names one player"),
    ("player.study_id", "a number inside the database"),
    ("player.receipt_hash", "proves who holds a receipt"),
    ("contribution.uuid", "names one contribution"),
    (
        "contribution.withdrawn_at_ms",
        "that someone withdrew is theirs to tell",
    ),
    (
        "contribution.removed",
        "that someone withdrew is theirs to tell",
    ),
    ("version.contribution_id", "a number inside the database"),
    ("version.study_id", "a number inside the database"),
    ("version.reason", "why someone mends is theirs to tell"),
    ("contribution.study_id", "a number inside the database"),
    ("contribution.player_id", "names one player"),
    ("decision.id", "a number inside the database"),
    ("decision.contribution_id", "names one contribution"),
    ("decision.version", "tells that someone mended"),
    (
        "decision.note",
        "the host's own record; its ground is told to the sender",
    ),
    ("version.protocol_version", "tells when someone came"),
    ("version.consent_text_version", "tells when someone came"),
    ("version.batch", "tells when someone came"),
    ("version.plan_code", "names one plan, hence one player"),
    ("consent.id", "a number inside the database"),
    ("consent.contribution_id", "names one contribution"),
    ("consent.event", "what someone agreed to is theirs to tell"),
    ("consent.at_ms", "tells when someone came or went"),
    ("consent.scope", "what someone agreed to is theirs to tell"),
    ("consent.text_version", "tells when someone came"),
    (
        "consent.text_sha256",
        "the host shows by it which words were agreed to",
    ),
    ("consent.protocol_version", "tells when someone came"),
    ("idempotency.study_id", "a number inside the database"),
    ("idempotency.key_hash", "belongs to one sender"),
    ("idempotency.request_hash", "belongs to one sender"),
    (
        "idempotency.contribution_id",
        "a number inside the database",
    ),
    ("batch.study_id", "a number inside the database"),
    ("release.study_id", "a number inside the database"),
    (
        "figure_over_everybody.study_id",
        "a number inside the database",
    ),
    (
        "figure_over_everybody.batch",
        "tells when a figure was shown, which its readers know",
    ),
    (
        "figure_over_everybody.cell",
        "tells which figure was shown, which its readers know",
    ),
    (
        "figure_over_everybody.players_at_least",
        "told with a figure, while it is shown",
    ),
    (
        "figure_over_everybody.estimate",
        "told with a figure, while it is shown",
    ),
    (
        "figure_over_everybody.low",
        "told with a figure, while it is shown",
    ),
    (
        "figure_over_everybody.high",
        "told with a figure, while it is shown",
    ),
    (
        "figure_over_everybody.outsiders",
        "names players who keep their rows to themselves",
    ),
    ("plan.id", "a number inside the database"),
    ("plan.study_id", "a number inside the database"),
    ("plan.code", "opens the plan, so only its holder knows it"),
    ("plan.kind", "its holder chose it"),
    ("plan.position", "helps to foretell the orders to come"),
    ("plan.key_hash", "belongs to one sender"),
    ("host_credential.id", "a number inside the database"),
    ("host_credential.phc", "lets the host in"),
    ("host_credential.made_at_ms", "the host's own record"),
    (
        "by_invitation.study_id",
        "a number inside the database; pages say that a study needs an invitation",
    ),
    ("invitation.study_id", "a number inside the database"),
    ("invitation.number", "the host's own record"),
    ("invitation.code_hash", "lets a new player in"),
    ("invitation.made_at_ms", "the host's own record"),
    ("invitation.most_uses", "the host's own record"),
    ("invitation.uses", "the host's own record"),
    ("invitation.ended_at_ms", "the host's own record"),
    ("host_sign_in.token_hash", "lets the host in"),
    ("host_sign_in.made_at_ms", "the host's own record"),
    ("host_sign_in.seen_at_ms", "the host's own record"),
    ("host_sign_in.ends_at_ms", "the host's own record"),
    ("screening.contribution_id", "a number inside the database"),
    ("screening.number", "a number inside the database"),
    ("screening.rules", "tells when someone came"),
    (
        "screening_flag.contribution_id",
        "a number inside the database",
    ),
    ("screening_flag.number", "a number inside the database"),
    ("screening_flag.position", "a number inside the database"),
    (
        "screening_flag.rule",
        "what was found is for the host, and most of it for its sender",
    ),
    (
        "screening_flag.figure",
        "what was found is for the host, and most of it for its sender",
    ),
    (
        "screening_flag.sentence",
        "what was found is for the host, and most of it for its sender",
    ),
    (
        "screening_flag.holds",
        "that someone is held is theirs to tell",
    ),
    (
        "screening_flag.places",
        "tells which session is meant, so only its sender is shown it",
    ),
    ("likeness.study_id", "a number inside the database"),
    ("likeness.mark", "a keyed hash of somebody's figure"),
    ("likeness.contribution_id", "a number inside the database"),
    ("fact.name", "about the data folder, not about the study"),
    (
        "fact.value",
        "about the data folder; the receipt key's fingerprint is among it",
    ),
];

/// Every field of a published row, with the reason why it may be known.
const ROW_FIELDS: &[Listed] = &[
    (
        "group",
        "holds the rows of one player together, and is numbered anew for every batch",
    ),
    ("band", "the analysis a row belongs to"),
    (
        "gap_lb",
        "dose-response needs the gap; the nearest pound, or the mean of those who are alike",
    ),
    ("outcome", "the analysis a row belongs to"),
    ("stroke", "the analysis a row belongs to"),
    ("direction", "the analysis a row belongs to"),
    ("estimate", "the effect, to a tenth"),
    ("variance", "the weight, to three digits"),
    (
        "variance_source",
        "an imputed spread must be told from a reported one",
    ),
    (
        "imputed_variance",
        "anyone may ask what other imputed spreads would change, to three digits",
    ),
    (
        "pair",
        "holds the rows of one pair together, so that outcomes can be seen jointly",
    ),
    (
        "looser_sessions",
        "sessions that repeat are weighed otherwise; where enough are alike",
    ),
    (
        "tighter_sessions",
        "sessions that repeat are weighed otherwise; where enough are alike",
    ),
    (
        "planned",
        "planned and retrospective pairs are told apart; where enough are alike",
    ),
    (
        "order",
        "may explain an effect; one of three words, where enough are alike",
    ),
    ("blinded", "may explain an effect; where enough are alike"),
    (
        "partner_pace_kmh",
        "may explain an effect; measured, to a whole km/h",
    ),
    (
        "string_age_hours",
        "may explain an effect; to a whole hour, where enough are alike",
    ),
    (
        "level",
        "may explain an effect; three bands, where enough are alike",
    ),
    (
        "string_family",
        "may explain an effect; where enough are alike",
    ),
    (
        "month",
        "shows whether an answer drifts; where enough are alike",
    ),
    ("frame", "may explain an effect; where enough are alike"),
];

/// Every column that the migrations make, as `table.column`.
fn columns_of(migrations: &[String]) -> BTreeSet<String> {
    let connection = Connection::open_in_memory().unwrap();
    for migration in migrations {
        connection.execute_batch(migration).unwrap();
    }
    let mut statement = connection
        .prepare(
            "SELECT t.name || '.' || c.name FROM pragma_table_list AS t, \
             pragma_table_xinfo(t.name) AS c \
             WHERE t.schema = 'main' AND t.type <> 'view' AND t.name NOT LIKE 'sqlite_%'",
        )
        .unwrap();
    let names = statement.query_map([], |row| row.get(0)).unwrap();
    names.map(Result::unwrap).collect()
}

fn unclassified(columns: &BTreeSet<String>, lists: &[&[Listed]]) -> Vec<String> {
    let listed: Vec<&str> = lists.concat().iter().map(|(name, _)| *name).collect();
    let mut faults = Vec::new();
    for column in columns {
        let n_places = listed.iter().filter(|name| *name == column).count();
        if n_places != 1 {
            faults.push(format!(
                "{column}: stands in {n_places} lists; put it in exactly one of PUBLIC, COARSENED \
                 and PRIVATE, and in PRIVATE when in doubt"
            ));
        }
    }
    for name in listed {
        if !columns.contains(name) {
            faults.push(format!(
                "{name}: no migration makes it; take it off the list"
            ));
        }
    }
    let bare = lists
        .concat()
        .into_iter()
        .filter(|(_, reason)| reason.is_empty());
    faults.extend(bare.map(|(name, _)| format!("{name}: say why it stands where it does")));
    faults
}

#[test]
fn every_column_is_public_coarsened_or_private() {
    let folder = super::root().join("src/store/migrations");
    let mut files: Vec<_> = std::fs::read_dir(folder)
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .collect();
    files.sort();
    let migrations: Vec<String> = files
        .iter()
        .map(|path| std::fs::read_to_string(path).unwrap())
        .collect();
    let columns = columns_of(&migrations);
    assert!(20 <= columns.len(), "only {columns:?}");
    super::none(&unclassified(&columns, &[PUBLIC, COARSENED, PRIVATE]));
}

#[test]
fn a_published_row_has_the_listed_fields_and_no_other() {
    let download = crate::laws::aggregate();
    for row in download["rows"].as_array().unwrap() {
        let fields = row.as_object().unwrap().keys().cloned().collect();
        super::none(&unclassified(&fields, &[ROW_FIELDS]));
    }
}

#[test]
fn a_column_in_no_list_or_in_two_is_found() {
    let migrations = [
        "CREATE TABLE a (x INTEGER PRIMARY KEY, y TEXT) STRICT;".to_owned(),
        "ALTER TABLE a ADD COLUMN z TEXT; CREATE INDEX b ON a (y);".to_owned(),
    ];
    let columns = columns_of(&migrations);
    assert_eq!(columns, ["a.x", "a.y", "a.z"].map(str::to_owned).into());
    let public: &[Listed] = &[("a.x", "it is only a test")];
    let private: &[Listed] = &[("a.y", "so is this"), ("a.z", "and this")];
    assert_eq!(
        unclassified(&columns, &[public, private]),
        Vec::<String>::new()
    );
    assert_eq!(unclassified(&columns, &[public]).len(), 2);
    assert_eq!(unclassified(&columns, &[public, private, private]).len(), 2);
    assert_eq!(
        unclassified(&columns, &[public, private, &[("a.gone", "dropped")]]).len(),
        1
    );
    assert_eq!(unclassified(&columns, &[&[("a.x", "")], private]).len(), 1);
}
