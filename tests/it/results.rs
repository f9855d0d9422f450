//! The results page, its pictures and its list of pairs: in which order they tell, in whose units, and
//! from which rows.

#![expect(
    clippy::indexing_slicing,
    clippy::unwrap_used,
    reason = "a test stops at what it did not expect"
)]

use crate::harness::{Pair, STUDY, STUDY_FILE, Server, contribution, folder, recruit, varied};
use serde_json::{Value, json};
use std::collections::BTreeSet;
use std::fs;
use std::sync::Arc;
use tautpool::findings::flow::{Count, ParticipantFlow};
use tautpool::numbers;
use tautpool::pages::{self, Standing, StudyView};
use tautpool::protocol::GapBand;
use tautpool::release::ProtocolChange;
use tautpool::service::{Incoming, Public, Service};
use tautpool::units::{SpeedUnit, TensionUnit, Units};
use tautpool::vocabulary::{Ground, State};

const DEFAULT: Units = Units::unchosen(TensionUnit::Pound);

const OTHER: Units = Units {
    speed: SpeedUnit::MilePerHour,
    tension: TensionUnit::Kilogram,
};

/// Forty players at two gaps of the protocol and one below it. A third do not show their rows, and half
/// send backhands too.
fn public() -> Arc<Public> {
    let service = Service::in_memory().unwrap();
    let mut study: Value = serde_json::from_slice(&fs::read(STUDY_FILE).unwrap()).unwrap();
    let class = |outcome: &str, smallest: f64| json!({"outcome": outcome, "stroke": "forehand", "direction": "all", "smallest_worthwhile": smallest});
    study["protocol"]["primary"] = json!([
        class("speed", 2.0),
        class("deep_share", 3.0),
        class("in_share", 3.0)
    ]);
    study["invented"] = json!(true);
    study["protocol"]["batch_players"] = json!(40);
    let study = study.to_string();
    recruit(&service, study.as_bytes(), 0);
    for number in 0..40 {
        let tighter = [51.0, 52.0, 54.5, 48.0][usize::try_from(number % 4).unwrap()];
        let mut document = contribution(Pair {
            tensions: (45.5, tighter),
            scope: if number % 3 == 2 {
                "pooling"
            } else {
                "pooling_and_rows"
            },
            ..varied(number)
        });
        if number % 2 == 0 {
            for (place, session) in (0..).zip(document["sessions"].as_array_mut().unwrap()) {
                let mut line = session["shots"][0].clone();
                line["stroke"] = json!("backhand");
                line["hit"] = json!(87);
                line["in"] = json!(61 + number % 7 - 3 * place);
                line["deep"] = json!(19 + number % 6 + 4 * place);
                line["speed_n"] = json!(87);
                let hundredths =
                    |base: u32, step: u32| f64::from(base + step * number + 170 * place) / 100.0;
                line["speed_mean"] = json!(hundredths(8_431, 37));
                line["speed_sd"] = json!(hundredths(1_017, 7));
                session["shots"].as_array_mut().unwrap().push(line);
            }
        }
        let document = document.to_string();
        let incoming = Incoming {
            study: STUDY,
            document: document.as_bytes(),
            request_key: None,
            receipt: None,
            now_ms: 0,
        };
        let accepted = service.submit(&incoming).unwrap();
        assert_eq!(
            accepted.state,
            State::Accepted,
            "{number} {:?}",
            accepted.flags
        );
    }
    let public = service.study(STUDY).unwrap();
    assert!(public.publication.batch.is_some());
    public
}

fn text(ready: &tautpool::service::Ready) -> String {
    String::from_utf8(ready.plain().unwrap().to_vec()).unwrap()
}

fn page(public: &Public, units: Units) -> String {
    text(&public.page(units).unwrap())
}

/// What stands between two texts, wherever they follow each other.
fn between<'a>(text: &'a str, from: &str, to: &str) -> Vec<&'a str> {
    text.split(from)
        .skip(1)
        .map(|rest| rest.split(to).next().unwrap())
        .collect()
}

#[test]
fn the_page_goes_from_the_answer_to_the_detail() {
    let page = page(&public(), DEFAULT);
    let order = [
        "<dl class=\"answer\">",
        "<h2 id=\"speed-forehand-all\">",
        "<h2 id=\"deep-share-forehand-all\">",
        "<h2 id=\"in-share-forehand-all\">",
        "<h2 id=\"gaps\">",
        "<h2 id=\"other\">",
        "<h2 id=\"dose\">",
        "<h2 id=\"control\">",
        "<h2 id=\"gaining\">",
        "<h2 id=\"exact\">",
        "<h2 id=\"time\">",
        "<h2 id=\"ways\">",
        "<h2 id=\"reading\">",
        "<h2 id=\"sure\">",
        "<h2 id=\"flow\">",
        "<h2 id=\"history\">",
        "<h2 id=\"audience\">",
        "<h2 id=\"data\">",
        "<h2 id=\"care\">",
    ];
    let places: Vec<usize> = order
        .iter()
        .map(|part| page.find(part).unwrap_or_else(|| panic!("no {part}")))
        .collect();
    assert!(places.is_sorted(), "{places:?}");
    assert_eq!(page.matches("<h2").count(), order.len() - 1);
    assert_eq!(
        between(&page, "<dl class=\"answer\">", "</dl>")[0]
            .matches("<dd>")
            .count(),
        3
    );
    let ids = between(&page, " id=\"", "\"");
    let distinct: BTreeSet<&&str> = ids.iter().collect();
    assert_eq!(distinct.len(), ids.len());
}

#[test]
fn every_picture_says_what_it_shows_and_has_its_figures_behind_it() {
    let public = public();
    let page = page(&public, DEFAULT);
    let figures: Vec<&str> = page.split("<figure class=\"plot\">").skip(1).collect();
    for figure in &figures {
        let (drawn, behind) = figure.split_once("</figure>").unwrap();
        // Those that stand beside their like have the narrow drawing alone.
        let is_small = ["differences by how exact", "as players came"];
        let is_small = is_small.iter().any(|words| drawn.contains(words));
        let n_drawn = if is_small { 1 } else { 2 };
        assert_eq!(drawn.matches("<svg").count(), n_drawn, "{drawn}");
        for named in ["<title id=", "<desc id="] {
            let contents = between(drawn, named, "</");
            assert_eq!(contents.len(), n_drawn);
            for content in contents {
                assert!(!content.split_once('>').unwrap().1.is_empty(), "{drawn}");
            }
        }
        assert!(drawn.contains("Invented data"), "{drawn}");
        let table = behind.split("</details>").next().unwrap();
        assert!(table.contains("The figures behind the picture"), "{table}");
        assert!(
            table.contains("<table") && table.contains("<tbody>\n\n<tr"),
            "{table}"
        );
    }
    // Each of them, but for what became of everybody, also stands alone.
    let alone = between(&page, &format!("/studies/{STUDY}/pictures/"), ".svg");
    let names = pages::pictures(&public.view(DEFAULT));
    let linked: BTreeSet<&str> = alone.iter().copied().collect();
    assert_eq!(linked, names.keys().map(String::as_str).collect());
    assert_eq!(figures.len(), names.len() + 1);
}

/// Words of a page that name a unit without a figure: the choice, the rounding and the downloads.
fn without_definitions(page: &str) -> String {
    let units = between(page, "<nav class=\"units\"", "</nav>")[0];
    page.replace(units, "")
        .replace("gap bands are exact in lb", "")
        .replace("Downloads are always in km/h and lb", "")
}

#[test]
fn a_reader_gets_every_figure_in_the_units_asked_for() {
    let public = public();
    let (default, other) = (page(&public, DEFAULT), page(&public, OTHER));
    let told = without_definitions(&other);
    for unit in ["km/h", " lb", "\u{A0}lb", "pound"] {
        let at = told
            .find(unit)
            .map(|at| &told[at.saturating_sub(80)..at + 9]);
        assert_eq!(at, None, "{unit}");
    }
    assert!(!without_definitions(&default).contains("mph"));
    for part in ["<svg", "<table", "<tr", "<td", "<details", "<h2", "<h3"] {
        assert_eq!(
            default.matches(part).count(),
            other.matches(part).count(),
            "{part}"
        );
    }
    let speed = &public.findings.analyses[0];
    let shown = speed.result.as_ref().unwrap().shown.unwrap();
    let figure = |scale: f64| {
        let (low, high) = (shown.interval.low / scale, shown.interval.high / scale);
        let decimals = numbers::decimals_of_range(low, high);
        format!(
            "{} ({})",
            numbers::signed(shown.estimate / scale, decimals),
            numbers::interval(low, high, decimals).replace(' ', "\u{A0}")
        )
    };
    assert!(default.contains(&figure(1.0)) && !other.contains(&figure(1.0)));
    assert!(other.contains(&figure(1.609_344)) && !default.contains(&figure(1.609_344)));
    // The smallest worthwhile difference is 2 km/h, the bands begin at 5 and 8 lb.
    assert!(
        default.contains("by more than 2\u{A0}km/h")
            && other.contains("by more than 1.24\u{A0}mph")
    );
    assert!(default.contains("5 to under 8 lb") && other.contains("2.3 to under 3.6 kg"));
    // A share is the same in all units, and so are its pictures but for the gaps.
    let share = public
        .picture("gains-in-share-forehand-all", DEFAULT)
        .unwrap();
    let [share, in_other] = [
        share,
        public
            .picture("gains-in-share-forehand-all", OTHER)
            .unwrap(),
    ]
    .map(|picture| text(&picture));
    let shares = |picture: &str| -> Vec<String> {
        let texts = between(picture, "<text", "</text>").into_iter();
        let texts = texts.map(|text| text.split_once('>').unwrap().1.to_owned());
        texts
            .filter(|text| text.contains('%') || text.contains("points"))
            .collect()
    };
    assert!(!shares(&share).is_empty());
    assert_eq!(shares(&share), shares(&in_other));
    // Links keep what was chosen.
    assert!(
        other.contains(&format!("/studies/{STUDY}/pairs?speed=mph&#38;tension=kg")),
        "{other}"
    );
    assert!(other.contains(&format!(
        "<link rel=\"canonical\" href=\"/studies/{STUDY}\">"
    )));
}

#[test]
fn what_is_no_unit_is_as_if_it_were_not_asked_for() {
    let asked = |query: &str| pages::units_asked(query, TensionUnit::Pound);
    for query in [
        "",
        "speed",
        "speed=",
        "speed=knots",
        "tension=stone&x=1",
        "mph=speed",
        "&&==&",
    ] {
        assert_eq!(asked(query), DEFAULT, "{query}");
    }
    assert_eq!(asked("tension=kg&speed=mph"), OTHER);
    assert_eq!(asked("speed=mph&speed=kmh"), DEFAULT);
    assert_eq!(
        pages::units_asked("", TensionUnit::Kilogram),
        Units::unchosen(TensionUnit::Kilogram)
    );
}

#[test]
fn the_list_has_every_published_row_of_the_primary_outcomes_and_no_other() {
    let public = public();
    let list = text(&public.pairs(DEFAULT).unwrap());
    let aggregate: Value = serde_json::from_slice(public.aggregate.plain().unwrap()).unwrap();
    let mut expected: Vec<[String; 3]> = aggregate["rows"]
        .as_array()
        .unwrap()
        .iter()
        .filter(|row| row["stroke"] == "forehand" && row["direction"] == "all")
        .filter(|row| {
            ["speed", "deep_share", "in_share"].contains(&row["outcome"].as_str().unwrap())
        })
        .map(|row| {
            [
                row["group"].to_string(),
                numbers::signed(row["estimate"].as_f64().unwrap(), 1),
                row["gap_lb"].to_string(),
            ]
        })
        .collect();
    assert!(60 < expected.len(), "{}", expected.len());
    let mut listed: Vec<[String; 3]> = between(&list, "<tr><th scope=\"row\">", "</tr>")
        .into_iter()
        .map(|row| {
            let cells = between(row, "<td>", "</td>");
            let player = row.split("</th>").next().unwrap();
            [player, cells[0], cells[2]].map(str::to_owned)
        })
        .collect();
    expected.sort();
    listed.sort();
    assert_eq!(listed, expected);
    // Each table rises.
    for table in between(&list, "<tbody>", "</tbody>") {
        let differences: Vec<f64> = between(table, "</th><td>", "<")
            .into_iter()
            .map(|shown| shown.replace('\u{2212}', "-").parse().unwrap())
            .collect();
        assert!(differences.is_sorted(), "{differences:?}");
    }
    let other = text(&public.pairs(OTHER).unwrap());
    assert!(!without_definitions(&other).contains("km/h"));
    assert_eq!(other.matches("<tr>").count(), list.matches("<tr>").count());
}

#[test]
fn pictures_stand_alone_and_may_be_shown_elsewhere() {
    let public = public();
    let question = &public.study.label.question;
    let first_word = question.split(' ').next().unwrap();
    for name in pages::pictures(&public.view(DEFAULT)).into_keys() {
        let picture = text(&public.picture(&name, DEFAULT).unwrap());
        assert!(
            picture.starts_with("<svg xmlns=\"http://www.w3.org/2000/svg\" width=\""),
            "{picture}"
        );
        for part in [
            "height=\"",
            "fill=\"#ffffff\"/>",
            first_word,
            "Invented data",
            "batch 1 of 1970-01-01",
            "<title id=",
        ] {
            assert!(picture.contains(part), "{part} not in {picture}");
        }
        assert!(!picture.contains("http://") || picture.matches("http://").count() == 2);
        assert!(!picture.contains("style="));
        let other = text(&public.picture(&name, OTHER).unwrap());
        assert!(!other.contains("km/h"), "{other}");
    }
    assert!(public.picture("speed", DEFAULT).is_none());
    assert!(public.picture("../speed-forehand-all", DEFAULT).is_none());
}

#[test]
fn a_release_shows_the_same_under_its_own_address() {
    let public = public();
    let flow = ParticipantFlow {
        started: Count::step(12, 5),
        sent: Count::step(42, 5),
        held: Count::default(),
        declined: vec![(Ground::Trial, Count::step(2, 5))],
        withdrawn: Count::default(),
        pooled: Count::step(40, 5),
    };
    let view = StudyView {
        standing: Standing::Release(3),
        flow: Some(&flow),
        history: vec![ProtocolChange {
            version: 2,
            date: "2026-01-31".to_owned(),
            reason: Some("A clearer caution.".to_owned()),
        }],
        ..public.view(OTHER)
    };
    let page = pages::study(&view).unwrap();
    let address = format!("/studies/{STUDY}/releases/3");
    for part in [
        &format!("href=\"{address}/pairs?speed=mph"),
        &format!("href=\"{address}/pictures/speed-forehand-all.svg?speed=mph"),
        &format!("href=\"{address}?tension=kg\""),
        &format!("<link rel=\"canonical\" href=\"{address}\">"),
        &format!("/api/v1/studies/{STUDY}/releases/3"),
        "<h2 id=\"flow\">",
        "40 to 44",
        "sent to try the service out: 1 to 4",
        "<h2 id=\"history\">",
        "A clearer caution.",
    ] {
        assert!(page.contains(part), "{part}");
    }
    assert!(!page.contains("Figures change only"));
    let picture = &pages::pictures(&view)["speed-forehand-all"];
    assert!(picture.contains("release 3, batch 1"));
}

#[test]
fn nothing_is_drawn_of_bands_with_too_few() {
    let public = public();
    let view = public.view(DEFAULT);
    // Rows below the protocol's gap are in no picture of single pairs.
    let under = |row: &tautpool::findings::Row| row.band == GapBand::UnderProtocol;
    assert!(public.publication.rows.iter().any(|row| under(&row)));
    for name in pages::pictures(&view).into_keys() {
        assert!(!name.ends_with("-under"), "{name}");
    }
}

#[test]
fn the_doors_of_results_answer_as_reads_do() {
    let folder = folder();
    let server = Server::serve(folder.path(), &[]);
    for number in 0..5 {
        server.post(&contribution(varied(number))).expect(201);
    }
    let base = format!("/studies/{STUDY}");
    let picture = format!("{base}/pictures/speed-forehand-all.svg");
    let answer = server.get(&picture).expect(200);
    assert_eq!(answer.content_type(), "image/svg+xml");
    assert_eq!(
        answer.header("cross-origin-resource-policy"),
        "cross-origin"
    );
    let etag = answer.header("etag").to_owned();
    let again = server.send("GET", &picture, &[("if-none-match", &etag)], b"");
    let again = again.expect(304);
    assert_eq!(again.header("cross-origin-resource-policy"), "cross-origin");
    for path in [&base, &format!("{base}/pairs"), &picture] {
        let plain = server.get(path).expect(200);
        assert_eq!(
            server
                .get(&format!("{path}?speed=furlongs&tension="))
                .expect(200)
                .body,
            plain.body
        );
        let other = server.get(&format!("{path}?speed=mph")).expect(200);
        assert_ne!(other.body, plain.body);
        assert_ne!(other.header("etag"), plain.header("etag"));
    }
    for path in [
        format!("{base}/pictures/nothing.svg"),
        format!("{base}/pictures/speed-forehand-all"),
        "/studies/none/pictures/speed-forehand-all.svg".to_owned(),
        "/studies/none/pairs".to_owned(),
    ] {
        server.get(&path).expect_problem(404, "not-found");
    }
}
