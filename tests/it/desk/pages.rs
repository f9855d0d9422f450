//! The desk's pages as a browser without script and without mercy uses them.

use super::{REASON, study};
use crate::harness::host::{Desk, credential, study_fields};
use crate::harness::{STUDY, Server, folder};

fn names(page: &str) -> Vec<&str> {
    let (_, form) = page.split_once("class=\"writing\"").unwrap();
    let names = form.split(" name=\"").skip(1);
    names.map(|rest| rest.split('"').next().unwrap()).collect()
}

#[test]
fn the_desk_is_for_the_host_alone() {
    let folder = folder();
    let server = Server::serve(folder.path(), &[]);
    for path in [
        "/host/new",
        "/host/studies/x",
        "/host/studies/x/protocol",
        "/host/studies/x/open",
        "/host/studies/x/close",
    ] {
        let path = path.replace("/x", &format!("/{STUDY}"));
        assert_eq!(
            server.get(&path).expect(303).header("location"),
            "/host/sign-in"
        );
        if path.ends_with(STUDY) {
            continue;
        }
        let form = [("content-type", "application/x-www-form-urlencoded")];
        server.send("POST", &path, &form, b"do=save").expect(403);
    }
}

#[test]
fn every_field_of_a_study_is_in_the_form_and_a_form_from_elsewhere_is_not_taken() {
    let folder = folder();
    let credential = credential(folder.path());
    let server = Server::serve(folder.path(), &[]);
    let desk = Desk::enter(&server, &credential);
    let page = desk.get("/host/new").expect(200).text();
    let known: Vec<String> = tautpool::form::study::names().collect();
    for name in &known {
        assert!(names(&page).contains(&name.as_str()), "{name}");
    }
    let fields = [("do", "save"), ("question", "Faster"), ("study", "faster")];
    desk.post_bare("/host/new", &[], &fields).expect(403);
    let short = desk.post("/host/new", &fields).expect(422).text();
    assert!(short.contains("places to mend"));
    desk.get("/host/studies/none").expect(404);
    desk.get("/host/studies/none/protocol").expect(404);
}

#[test]
fn a_taken_name_is_said_at_its_field_and_a_change_needs_its_reason() {
    let folder = folder();
    let credential = credential(folder.path());
    let server = Server::serve(folder.path(), &[]);
    let desk = Desk::enter(&server, &credential);
    let filled_in = study_fields(&study());
    let pairs = filled_in.iter();
    let mut fields: Vec<(&str, &str)> = pairs
        .map(|(name, value)| (name.as_str(), value.as_str()))
        .collect();
    fields.push(("do", "save"));
    let taken = desk.post("/host/new", &fields).expect(422).text();
    assert!(
        taken.contains("id=\"fault-study\">There is already a study named"),
        "{taken}"
    );
    let address = format!("/host/studies/{STUDY}/protocol");
    let page = desk.get(&address).expect(200).text();
    assert!(page.contains("cannot be changed any more"));
    let same = desk.post(&address, &fields).expect(422).text();
    assert!(same.contains("Nothing is changed"), "{same}");
    let place = filled_in
        .iter()
        .position(|(name, _)| name == "rally_length")
        .unwrap();
    fields[place].1 = "6";
    let bare = desk.post(&address, &fields).expect(422).text();
    assert!(bare.contains("id=\"fault-reason\""));
    fields.push(("reason", REASON));
    let done = desk.post(&address, &fields).expect(303);
    assert_eq!(done.header("location"), format!("/host/studies/{STUDY}"));
    let told = server
        .get(&format!("/api/v1/studies/{STUDY}/protocol"))
        .json();
    assert_eq!(told["versions"][1]["reason"], REASON);
    // What was opened before is opened; what is closed twice is closed.
    for path in ["open", "close", "close"] {
        let address = format!("/host/studies/{STUDY}/{path}");
        desk.post(&address, &[("plan_hash", "x")]).expect(303);
    }
    let told = server
        .get(&format!("/api/v1/studies/{STUDY}/protocol"))
        .json();
    assert_eq!(told["state"], "closed");
}

#[test]
fn a_plan_that_was_changed_meanwhile_is_not_frozen_unread() {
    let folder = tempfile::tempdir().unwrap();
    let added =
        crate::harness::host_study(&["add", "-"], folder.path(), study().to_string().as_bytes());
    assert!(added.status.success());
    let credential = credential(folder.path());
    let server = Server::serve(folder.path(), &[]);
    let desk = Desk::enter(&server, &credential);
    let address = format!("/host/studies/{STUDY}/open");
    let page = desk.get(&address).expect(200).text();
    let (_, rest) = page.split_once("name=\"plan_hash\" value=\"").unwrap();
    let hash = rest.split('"').next().unwrap().to_owned();
    let other = desk
        .post(&address, &[("plan_hash", "0")])
        .expect(409)
        .text();
    assert!(other.contains("changed meanwhile"));
    server.get(&format!("/studies/{STUDY}")).expect(404);
    desk.post(&address, &[("plan_hash", &hash)]).expect(303);
    server.get(&format!("/studies/{STUDY}")).expect(200);
}
