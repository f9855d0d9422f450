//! How a table may be dressed and handed over, and what the options change.

use super::program::{Made, pool, pool_json, pool_text};
use super::{at, csv, figure};
use serde_json::{Value, json};
use std::fmt::Write as _;

#[test]
fn the_dress_of_a_table_changes_no_byte() {
    let plain = pool_text(
        &[],
        b"estimate,variance,cluster\n0.5,1,a\n-1,2,b\n2.25,1.5,a\n",
    );
    for dressed in [
        "estimate,variance,cluster\r\n0.5,1,a\r\n-1,2,b\r\n2.25,1.5,a\r\n",
        "\u{feff}estimate,variance,cluster\n0.5,1,a\n-1,2,b\n2.25,1.5,a\n",
        "\u{feff}\"estimate\",\"variance\",\"cluster\"\r\n\"0.5\",\"1\",\"a\"\r\n-1,2,b\r\n2.25,1.5,a",
        "gap,cluster,Variance,note,ESTIMATE\n5,a,1,\"said \"\"fast\"\"\",0.5\n6,b,2,\"x,y\",-1\n7,a,1.5,\"two\nlines\",2.25\n",
        " estimate , variance , cluster \n 0.5 , 1 , a \n -1 , 2 , b \n 2.25 , 1.5 , a \n",
        "estimate,variance,cluster\n5e-1,1.0,\"Müller, J.\"\n-1e0,2.00,球 2\n2.25,15e-1,\"Müller, J.\"\n\n",
    ] {
        assert_eq!(pool_text(&[], dressed.as_bytes()), plain, "{dressed:?}");
    }
}

#[test]
fn a_file_and_standard_input_are_the_same() {
    let folder = tempfile::tempdir().unwrap();
    let table = csv(&Made(6).effects(12));
    let path = folder.path().join("a table.csv");
    std::fs::write(&path, &table).unwrap();
    let from_file = pool(&["--json", path.to_str().unwrap()], b"");
    assert_eq!(from_file.code, Some(0), "{}", from_file.err);
    assert_eq!(from_file.out, pool_text(&[], &table));

    let absent = folder.path().join("absent.csv");
    let answer = pool(&[absent.to_str().unwrap()], b"");
    assert_eq!(answer.code, Some(1));
    assert!(answer.err.contains("absent.csv"), "{}", answer.err);
}

/// The analysis without what is shown of it and the reasons for that.
fn beside_shown(document: &Value) -> Value {
    let mut rest = document.clone();
    let analysis = rest["analyses"][0].as_object_mut().unwrap();
    analysis.remove("shown").unwrap();
    let reasons = analysis
        .get_mut("not_estimable")
        .unwrap()
        .as_array_mut()
        .unwrap();
    reasons.retain(|reason| !reason["at"].as_str().unwrap().starts_with("/shown"));
    rest
}

#[test]
fn estimator_and_interval_change_what_is_shown_and_nothing_else() {
    let mut table = "estimate,variance,cluster\n".to_owned();
    let mut made = Made(8);
    for idx in 0..24 {
        let (estimate, variance) = made.effect();
        writeln!(table, "{estimate},{variance},{}", idx % 12).unwrap();
    }
    let plain = pool_json(&[], table.as_bytes());
    assert_eq!(*at(&plain, "/shown/interval_kind"), json!("cluster_robust"));
    for estimator in ["fixed", "dl", "pm", "reml"] {
        for interval in [
            "hartung_knapp",
            "hartung_knapp_safe",
            "cluster_robust",
            "wald",
        ] {
            let options = [
                format!("--estimator={estimator}"),
                format!("--interval={interval}"),
            ];
            let options: Vec<&str> = options.iter().map(String::as_str).collect();
            let document = pool_json(&options, table.as_bytes());
            assert_eq!(beside_shown(&document), beside_shown(&plain), "{options:?}");
            let model = |name: &str| at(&document, &format!("/models/{estimator}/{name}"));
            assert_eq!(at(&document, "/shown/estimate"), model("estimate"));
            for end in ["low", "high"] {
                let shown = at(&document, &format!("/shown/{end}"));
                assert_eq!(shown, model(&format!("{interval}/{end}")), "{options:?}");
            }
            assert_eq!(*at(&document, "/shown/interval_kind"), json!(interval));
        }
    }
}

#[test]
fn the_level_changes_intervals_and_nothing_else() {
    let table = csv(&Made(9).effects(15));
    let (low, high) = (
        pool_json(&["--level=0.8"], &table),
        pool_json(&["--level=0.99"], &table),
    );
    assert_eq!((&low["level"], &high["level"]), (&json!(0.8), &json!(0.99)));
    for model in ["fixed", "dl", "pm", "reml"] {
        for name in [
            "estimate",
            "se",
            "tau2",
            "wald/p",
            "hartung_knapp/se",
            "hartung_knapp/p",
        ] {
            let place = format!("/models/{model}/{name}");
            assert_eq!(at(&low, &place), at(&high, &place), "{place}");
        }
        for interval in ["wald", "hartung_knapp", "hartung_knapp_safe"] {
            let width = |document: &Value| {
                figure(document, &format!("/models/{model}/{interval}/high"))
                    - figure(document, &format!("/models/{model}/{interval}/low"))
            };
            assert!(width(&low) < width(&high), "{model} {interval}");
        }
    }
    for place in [
        "/k",
        "/players",
        "/heterogeneity/q",
        "/heterogeneity/p",
        "/heterogeneity/i2",
    ] {
        assert_eq!(at(&low, place), at(&high, place), "{place}");
    }
    for bad in [
        "--estimator=best",
        "--interval=short",
        "--level=wide",
        "--level=0.4",
        "--level=1",
        "--level=NaN",
        "--where=outcome=speed",
        "--louder",
    ] {
        let answer = pool(&[bad, "-"], &table);
        assert_eq!((answer.code, answer.out.as_str()), (Some(2), ""), "{bad}");
    }
}
