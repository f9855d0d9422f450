use super::*;
use crate::protocol::ReleaseRule;

#[test]
fn a_public_address_is_scheme_and_host() {
    for (text, read) in [
        ("https://pool.example", Ok("https://pool.example")),
        (" https://pool.example/ ", Ok("https://pool.example")),
        ("https://pool.example:8443", Ok("https://pool.example:8443")),
        ("http://127.0.0.1:8080", Ok("http://127.0.0.1:8080")),
        ("http://localhost", Ok("http://localhost")),
        ("http://[::1]:80", Ok("http://[::1]:80")),
        ("https://[2001:db8::1]", Ok("https://[2001:db8::1]")),
        ("http://pool.example", Err(NotPublic::Plain)),
        ("pool.example", Err(NotPublic::Scheme)),
        ("ftp://pool.example", Err(NotPublic::Scheme)),
        ("https://", Err(NotPublic::Form)),
        ("https://pool.example/sub", Err(NotPublic::Form)),
        ("https://pool.example:http", Err(NotPublic::Form)),
        ("https://host@pool.example", Err(NotPublic::Form)),
        ("https://pool.example?x", Err(NotPublic::Form)),
        ("https://pool example", Err(NotPublic::Form)),
        ("http://127.0.0.1.pool.example", Err(NotPublic::Plain)),
    ] {
        let found = PublicUrl::parse(text).map(|url| url.to_string());
        assert_eq!(found.as_deref().map_err(|error| *error), read, "{text}");
    }
    let url = PublicUrl::parse("https://pool.example").unwrap();
    assert_eq!(
        url.release("a-study", 12),
        "https://pool.example/studies/a-study/releases/12"
    );
}

/// A protocol whose plan was frozen, and is the same or another one now.
fn record(held: bool) -> ProtocolRecord {
    ProtocolRecord {
        document: Vec::new(),
        plan_hash_at_opening: Some("a".to_owned()),
        plan_hash_now: Some(if held { "a" } else { "b" }.to_owned()),
        history: Vec::new(),
    }
}

const MOMENT: Moment<'_> = Moment {
    number: 3,
    kind: ReleaseKind::Update,
    date: "2026-06-30",
    players: 40,
};

#[test]
fn the_ordinary_range_is_stated_when_the_plan_fixed_the_moment() {
    let date = |day: &str| Some(ReleaseRule::Date(day.to_owned()));
    for (rule, held, because) in [
        (None, true, Because::NoRule),
        (date("2026-06-30"), true, Because::RuleMet),
        (date("2026-07-01"), true, Because::NotYet),
        (date("2026-06-30"), false, Because::PlanChanged),
        (Some(ReleaseRule::Players(40)), true, Because::RuleMet),
        (Some(ReleaseRule::Players(41)), true, Because::NotYet),
    ] {
        let stated = Stated::at(MOMENT, &record(held), rule.as_ref(), None);
        assert_eq!(stated.because, because, "{rule:?}");
        let ordinary = because == Because::RuleMet;
        assert_eq!(stated.range == StatedRange::Ordinary, ordinary, "{rule:?}");
        assert_eq!(stated.ordinary_first_in, ordinary.then_some(3), "{rule:?}");
        assert!(!because.sentence().is_empty());
    }
    let mut never_frozen = record(true);
    never_frozen.plan_hash_at_opening = None;
    never_frozen.plan_hash_now = None;
    let stated = Stated::at(MOMENT, &never_frozen, date("2026-01-01").as_ref(), None);
    assert_eq!(stated.because, Because::PlanChanged);
}

#[test]
fn the_ordinary_range_is_stated_once_and_by_corrections_of_that_release() {
    let rule = ReleaseRule::Players(10);
    let at = |kind, number, before| {
        let moment = Moment {
            number,
            kind,
            ..MOMENT
        };
        Stated::at(moment, &record(true), Some(&rule), before)
    };
    let first = at(ReleaseKind::First, 1, None);
    assert_eq!(first.range, StatedRange::Ordinary);
    let mended = at(ReleaseKind::Correction, 2, Some(first));
    assert_eq!(mended.range, StatedRange::Ordinary);
    assert_eq!(mended.ordinary_first_in, Some(1));
    let updated = at(ReleaseKind::Update, 3, Some(mended));
    assert_eq!(updated.because, Because::StatedBefore);
    // What mends a later release does not bring the one look back.
    let mended = at(ReleaseKind::Correction, 4, Some(updated));
    assert_eq!(mended.because, Because::StatedBefore);
    assert_eq!(mended.ordinary_first_in, Some(1));
}
