//! The same life over the command line and over HTTP.

use super::{REASON, study, with_wider_bands};
use crate::harness::{Pair, STUDY, STUDY_FILE, Server, contribution, folder, host_study, server};
use serde_json::json;
use std::path::Path;
use std::process::Output;
use tautpool::receipt::sha256_of;

fn out(output: &Output) -> String {
    String::from_utf8_lossy(&output.stdout).into_owned() + &String::from_utf8_lossy(&output.stderr)
}

/// What a study command says when it succeeds.
#[track_caller]
fn done(arguments: &[&str], data: &Path, input: &str) -> String {
    let output = host_study(arguments, data, input.as_bytes());
    assert!(output.status.success(), "{}", out(&output));
    out(&output)
}

/// What it says when it does not.
#[track_caller]
fn refused(arguments: &[&str], data: &Path, input: &str) -> String {
    let output = host_study(arguments, data, input.as_bytes());
    assert_eq!(output.status.code(), Some(1), "{}", out(&output));
    out(&output)
}

const DOORS: [&str; 9] = [
    "/studies/{}",
    "/studies/{}/protocol",
    "/studies/{}/take-part",
    "/studies/{}/plan",
    "/studies/{}/send",
    "/studies/{}/receipt",
    "/api/v1/studies/{}/pooled",
    "/api/v1/studies/{}/aggregate",
    "/api/v1/studies/{}/protocol",
];

#[test]
fn a_draft_is_behind_no_door_until_it_is_opened() {
    let folder = tempfile::tempdir().unwrap();
    let data = folder.path();
    let mut bare = study();
    bare.as_object_mut().unwrap().remove("licence");
    let said = done(&["add", "-"], data, &bare.to_string());
    assert!(said.contains("draft"), "{said}");
    let listed = done(&["list"], data, "");
    assert!(
        listed.starts_with(&format!("{STUDY}\tdraft\tversion 1\t")),
        "{listed}"
    );
    let missing = refused(&["open", STUDY], data, "");
    assert!(missing.contains("/licence  [missing]"), "{missing}");
    let server = Server::serve(data, &[]);
    for door in DOORS {
        server.get(&door.replace("{}", STUDY)).expect(404);
    }
    assert_eq!(server.get("/api/v1/studies").json()["studies"], json!([]));
    server
        .post(&contribution(Pair::default()))
        .expect_problem(404, "not-found");
    drop(server);
    done(&["amend", STUDY, STUDY_FILE], data, "");
    let said = done(&["open", STUDY], data, "");
    let server = Server::serve(data, &[]);
    for door in DOORS {
        server.get(&door.replace("{}", STUDY)).expect(200);
    }
    let told = server
        .get(&format!("/api/v1/studies/{STUDY}/protocol"))
        .expect(200)
        .json();
    assert!(said.contains(told["plan_hash_at_opening"].as_str().unwrap()));
}

#[test]
fn a_change_is_public_with_its_day_and_reason_and_the_plan_hashes_to_what_is_said() {
    let folder = folder();
    let data = folder.path();
    let wider = with_wider_bands().to_string();
    let said = refused(&["amend", STUDY, "-"], data, &wider);
    assert!(said.contains("say why"), "{said}");
    let said = done(&["amend", STUDY, "-", "--reason", REASON], data, &wider);
    assert!(
        said.contains("Version 2") && said.contains("not the one"),
        "{said}"
    );
    let again = done(&["amend", STUDY, "-", "--reason", REASON], data, &wider);
    assert_eq!(again, said);
    let another = ["amend", STUDY, "-", "--reason", "For another reason."];
    let said = refused(&another, data, &wider);
    assert!(said.contains("nothing is changed"), "{said}");
    let said = refused(&["amend", "nothing", "-", "--reason", REASON], data, &wider);
    assert!(said.contains("no such study"), "{said}");
    let server = Server::serve(data, &[]);
    let told = server
        .get(&format!("/api/v1/studies/{STUDY}/protocol"))
        .expect(200)
        .json();
    let plan = told["plan"].as_str().unwrap();
    let hash: String = sha256_of(plan.as_bytes())
        .iter()
        .map(|byte| format!("{byte:02x}"))
        .collect();
    assert_eq!(told["plan_hash_now"], hash);
    assert_ne!(told["plan_hash_at_opening"], hash);
    let versions = told["versions"].as_array().unwrap();
    assert_eq!(versions.len(), 2);
    assert_eq!(versions[0]["reason"], json!(null));
    assert_eq!(versions[1]["reason"], REASON);
    assert_eq!(versions[1]["plan_changed"], true);
    let kept = versions[1]["text"].as_str().unwrap();
    assert!(tautpool::intake::study(kept.as_bytes()).is_ok());
    let page = server
        .get(&format!("/studies/{STUDY}/protocol"))
        .expect(200)
        .text();
    assert!(page.contains(REASON));
    assert!(page.contains("The analysis plan is not the one that was fixed"));
}

#[test]
fn a_closed_study_refuses_in_words_and_its_receipts_still_open() {
    let (folder, running) = server();
    let first = contribution(Pair::default());
    let reply = running.post(&first).expect(201).json();
    drop(running);
    done(&["close", STUDY], folder.path(), "");
    let said = refused(&["close", STUDY], folder.path(), "");
    assert!(said.contains("not open"), "{said}");
    let server = Server::serve(folder.path(), &[]);
    let problem = server.post(&first).expect_problem(409, "not-recruiting");
    assert!(problem["detail"].as_str().unwrap().contains("closed"));
    let plans = format!("/api/v1/studies/{STUDY}/plans");
    let json = [("content-type", "application/json")];
    server
        .send("POST", &plans, &json, br#"{"kind": "two_sessions"}"#)
        .expect_problem(409, "not-recruiting");
    for page in ["take-part", "plan", "send", "upload"] {
        let page = server.get(&format!("/studies/{STUDY}/{page}")).expect(200);
        assert!(page.text().contains("This study is closed"));
    }
    let form = [("content-type", "application/x-www-form-urlencoded")];
    let plan = format!("/studies/{STUDY}/plan");
    let drawn = server.send("POST", &plan, &form, b"do=draw&kind=two_sessions");
    assert!(drawn.expect(409).text().contains("This study is closed"));
    let receipt = format!("Receipt {}", reply["receipt"].as_str().unwrap());
    let receipt = [("authorization", receipt.as_str())];
    let own = format!("/api/v1/studies/{STUDY}/contributions");
    let held = server.send("GET", &own, &receipt, b"").expect(200).json();
    assert_eq!(held["contributions"][0]["state"], "accepted");
    let one = format!("{own}/{}", reply["contribution"].as_str().unwrap());
    let mended = contribution(Pair {
        speeds: (104.0, 100.0),
        ..Pair::default()
    });
    let as_json = [receipt[0], json[0]];
    server
        .send(
            "PUT",
            &format!("{one}?reason=typing_mistake"),
            &as_json,
            mended.to_string().as_bytes(),
        )
        .expect(200);
    server.send("DELETE", &one, &receipt, b"").expect(200);
}
