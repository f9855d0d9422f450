//! The demonstration, started and used as its own words say.

use crate::harness::{Server, tautpool, wait_until};

#[test]
fn the_demo_says_that_it_is_invented_and_its_command_makes_the_next_batch() {
    let demo = Server::start(&["demo"], |line| line.contains(" --send "));
    assert!(
        demo.printed.starts_with("An invented study"),
        "{}",
        demo.printed
    );
    let accepted = demo
        .printed
        .lines()
        .find_map(|line| line.split_once(" contributions accepted"))
        .map(|(number, _)| number.parse::<u32>().unwrap());
    assert!(
        accepted.is_some_and(|number| 240 <= number),
        "{}",
        demo.printed
    );
    let address = |word: &str| {
        let line = demo
            .printed
            .lines()
            .find(|line| line.trim().starts_with(word));
        let (_, path) = line.unwrap().split_once(&demo.address).unwrap();
        path.to_owned()
    };
    let page = demo.get(&address("page")).expect(200).text();
    assert!(page.contains("class=\"invented\""), "{page}");
    for word in ["pooled", "aggregate"] {
        let study = demo.get(&address(word)).expect(200).json()["study"].clone();
        assert_eq!(study["invented"], true);
        assert!(
            study["notice"]
                .as_str()
                .unwrap()
                .starts_with("Invented data")
        );
    }
    let batch = || demo.get(&address("pooled")).expect(200).json()["batch"]["number"].clone();
    let before = batch().as_i64().unwrap();
    let command = demo.printed.lines().last().unwrap();
    let words: Vec<&str> = command.split_whitespace().collect();
    assert_eq!(words[0], env!("CARGO_BIN_EXE_tautpool"));
    // However many wait already, as many newcomers as make a batch close one each time.
    for calls in 1..=3 {
        let sent = tautpool().args(&words[1..]).output().unwrap();
        assert!(sent.status.success(), "{sent:?}");
        wait_until("the batch is shown", || batch() == before + calls);
    }
}

#[test]
fn the_contribution_in_the_readme_is_accepted_by_the_demo() {
    let readme = include_str!("../../../README.md");
    let (_, rest) = readme.split_once("<<'JSON'\n").unwrap();
    let (document, _) = rest.split_once("\nJSON\n").unwrap();
    let demo = Server::start(&["demo"], |line| line.contains(" --send "));
    let path = "/api/v1/studies/looser-or-tighter/contributions";
    let headers = [("content-type", "application/json")];
    demo.send("POST", path, &headers, document.as_bytes())
        .expect(201);
}
