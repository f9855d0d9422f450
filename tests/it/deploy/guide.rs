//! The commands of the guide, step by step, below a folder in the place of the machine's.

use super::proxy::{around, certificate, placed};
use super::{done, file, of_unit, text};
use crate::harness::{self, Server};
use std::fs;
use std::path::Path;
use std::process::Command;

/// What cannot be done without the machine itself: its init system, its packages, a certificate
/// authority, a name, and a build of many minutes. Lines that begin so are not run; no other is left
/// out.
const OF_THE_MACHINE: [&str; 6] = [
    "sudo apt-get ",
    "sudo systemctl ",
    "sudo certbot ",
    "deploy/build",
    "curl --fail --silent --show-error \"https://$NAME/",
    "sudo rm -f /etc/nginx/sites-enabled/default",
];

/// The blocks of commands, each with the beginning of the paragraph before it.
fn blocks(guide: &str) -> Vec<(String, String)> {
    let mut blocks = Vec::new();
    let mut title = String::new();
    let mut block: Option<String> = None;
    for line in guide.lines() {
        match (&mut block, line) {
            (None, "```sh") => block = Some(String::new()),
            (Some(text), "```") => {
                blocks.push((title.clone(), std::mem::take(text)));
                block = None;
            }
            (Some(text), line) => {
                text.push_str(line);
                text.push('\n');
            }
            (None, line) if line.starts_with("**") => line.clone_into(&mut title),
            (None, _) => {}
        }
    }
    blocks
}

/// A block as it is run: without what is of the machine, as one user, and below a folder.
fn below(block: &str, root: &Path) -> String {
    let here = root.display().to_string();
    let lines = block
        .lines()
        .filter(|line| !OF_THE_MACHINE.iter().any(|of| line.starts_with(of)));
    let mut script = format!("set -euo pipefail\nexport PATH={here}/usr/local/bin:$PATH\n");
    for line in lines {
        let mut line = line
            .replace("sudo -u tautpool ", "")
            .replace("sudo ", "")
            .replace(" -o tautpool", "")
            .replace(" -g tautpool", "")
            .replace(
                "target/x86_64-unknown-linux-gnu/deploy/tautpool",
                env!("CARGO_BIN_EXE_tautpool"),
            )
            .replace(
                "systemd-sysusers ",
                &format!("systemd-sysusers --root={here} "),
            )
            .replace("nginx -t", &format!("nginx -t -c {here}/whole.conf"));
        for place in ["/usr/local/", "/etc/", "/var/"] {
            line = line
                .replace(&format!(" {place}"), &format!(" {here}{place}"))
                .replace(&format!("={place}"), &format!("={here}{place}"));
        }
        script.push_str(&line);
        script.push('\n');
    }
    script
}

/// A place of the machine where the folder stands for it.
fn at(root: &Path, place: &str) -> std::path::PathBuf {
    root.join(place.trim_start_matches('/'))
}

/// A value of a setting, which may be a place.
fn placed_at(root: &Path, value: &str) -> String {
    if value.starts_with("/var/") {
        at(root, value).to_str().unwrap().to_owned()
    } else {
        value.to_owned()
    }
}

/// Runs a block in the folder of the source; answers what it printed.
fn play(block: &str, root: &Path) -> String {
    let output = done(
        Command::new("bash")
            .arg("-c")
            .arg(below(block, root))
            .current_dir(root.join("source"))
            .env("NAME", "pool.example"),
    );
    String::from_utf8(output.stdout).unwrap()
}

/// The service as its unit says: its environment, the file of settings, its command.
fn started(root: &Path) -> Server {
    let unit = fs::read_to_string(at(root, "/etc/systemd/system/tautpool.service")).unwrap();
    let from = of_unit(&unit, "EnvironmentFile");
    let settings = fs::read_to_string(at(root, &from[0])).unwrap();
    let set = settings
        .lines()
        .filter(|line| line.starts_with("TAUTPOOL_"));
    let own = of_unit(&unit, "Environment");
    let environment: Vec<(&str, String)> = own
        .iter()
        .map(String::as_str)
        .chain(set)
        .map(|line| line.split_once('=').unwrap())
        .map(|(name, value)| (name, placed_at(root, value)))
        .collect();
    let command = of_unit(&unit, "ExecStart");
    assert_eq!(command, ["/usr/local/bin/tautpool serve"]);
    Server::with_environment(&["serve"], &environment)
}

#[test]
fn the_guide_leads_to_a_study_that_is_served() {
    let guide = text("README.md");
    let blocks = blocks(&guide);
    let titles: Vec<&str> = blocks.iter().map(|(title, _)| title.as_str()).collect();
    let step = |beginning: &str| {
        let mut found = blocks
            .iter()
            .filter(|(title, _)| title.starts_with(beginning));
        let (_, block) = found
            .next()
            .unwrap_or_else(|| panic!("{beginning}: {titles:?}"));
        block.as_str()
    };
    let folder = tempfile::tempdir().unwrap();
    let root = folder.path();
    // The source as the guide finds it, and what of the machine is there before.
    std::os::unix::fs::symlink(env!("CARGO_MANIFEST_DIR"), root.join("checkout")).unwrap();
    fs::create_dir(root.join("source")).unwrap();
    for name in ["deploy", "fixtures"] {
        std::os::unix::fs::symlink(
            root.join("checkout").join(name),
            root.join("source").join(name),
        )
        .unwrap();
    }
    for place in [
        "/etc/nginx/sites-available",
        "/etc/nginx/sites-enabled",
        "/var/log/nginx",
        "/var/www/html",
    ] {
        fs::create_dir_all(at(root, place)).unwrap();
    }

    play(step("**1."), root);
    play(step("**2."), root);
    assert!(at(root, "/usr/local/share/man/man1/tautpool-host-study-add.1").exists());
    play(step("**3."), root);
    let settings = fs::read_to_string(at(root, "/etc/tautpool/tautpool.env")).unwrap();
    assert!(
        settings.contains("\nTAUTPOOL_PUBLIC_URL=https://pool.example\n"),
        "{settings}"
    );
    assert!(settings.contains("TAUTPOOL_BACKUP_TO="), "{settings}");
    let said = play(step("**4."), root);
    assert!(
        said.contains("Recruiting is open") && said.contains("credential"),
        "{said}"
    );

    let server = started(root);
    let ask = step("**5.").replace("127.0.0.1:8080", &server.address);
    assert!(play(&ask, root).contains("ready"));
    server
        .get("/studies/looser-or-tighter/take-part")
        .expect(200);

    certificate(&root.join("live/pool.example"));
    let enabled = at(root, "/etc/nginx/sites-enabled/tautpool");
    around(root, &root.join("placed.conf"));
    let (proxied, tested) = step("**6.").split_once("sudo nginx -t").unwrap();
    play(proxied, root);
    let site = fs::read_to_string(&enabled).unwrap();
    fs::create_dir_all(at(root, "/var/cache/nginx")).unwrap();
    let site = placed(&site, root, &server.address, 8443, 8081);
    fs::write(root.join("placed.conf"), site).unwrap();
    play(&format!("sudo nginx -t{tested}"), root);

    harness::wait_until("the first backup is made", || {
        let backups = fs::read_dir(at(root, "/var/lib/tautpool/backups"));
        backups.is_ok_and(|mut all| {
            all.any(|one| one.unwrap().file_name().to_str().unwrap().ends_with('Z'))
        })
    });
    let said = play(step("**7."), root);
    assert!(
        said.contains("ok     backups") && !said.contains("FAULT"),
        "{said}"
    );
    std::thread::sleep(std::time::Duration::from_secs(1));
    play(step("**A newer program.**"), root);
    drop(server);
    play(step("**Restoring**"), root);
}

#[test]
fn every_command_is_run_or_of_the_machine() {
    let guide = text("README.md");
    let mut n_run = 0;
    for (_, block) in blocks(&guide) {
        let script = below(&block, Path::new("/nowhere"));
        n_run += script.lines().count() - 2;
        let rest = script.lines().find(|line| line.contains("sudo"));
        assert_eq!(rest, None, "{script}");
    }
    assert!(20 < n_run, "{n_run}");
    assert!(file("build").exists());
}
