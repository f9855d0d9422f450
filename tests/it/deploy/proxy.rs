//! The program behind the very nginx site that `deploy/` has, over TLS with a certificate that is
//! thrown away: names, ports and places replaced, nothing else.

use super::{done, text};
use crate::harness::{self, STUDY, Server, contribution, run, varied};
use std::fs;
use std::net::TcpListener;
use std::os::unix::fs::MetadataExt;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use tempfile::TempDir;

const NAME: &str = "pool.example";

/// nginx for one test. It ends with this value.
pub(super) struct Proxy {
    folder: TempDir,
    child: Child,
    tls: u16,
    plain: u16,
}

impl Drop for Proxy {
    fn drop(&mut self) {
        // Told to stop, it ends its workers too.
        let process = self.child.id().to_string();
        let _ = Command::new("kill").args(["-s", "TERM", &process]).status();
        let _ = self.child.wait();
    }
}

/// A port that nobody uses.
fn free_port() -> u16 {
    let listener = TcpListener::bind("127.0.0.1:0").unwrap();
    listener.local_addr().unwrap().port()
}

/// A key with a certificate of its own, in the place where the guide's would be.
pub(super) fn certificate(folder: &Path) {
    fs::create_dir_all(folder).unwrap();
    let named = format!("subjectAltName=DNS:{NAME}");
    done(
        Command::new("openssl")
            .args([
                "req",
                "-x509",
                "-newkey",
                "ec",
                "-pkeyopt",
                "ec_paramgen_curve:prime256v1",
            ])
            .args([
                "-noenc",
                "-days",
                "2",
                "-subj",
                "/CN=pool.example",
                "-addext",
                &named,
            ])
            .arg("-keyout")
            .arg(folder.join("privkey.pem"))
            .arg("-out")
            .arg(folder.join("fullchain.pem")),
    );
}

/// A whole configuration around the site, which needs neither root nor any place of the machine.
pub(super) fn around(folder: &Path, site: &Path) -> PathBuf {
    let here = folder.display();
    let temporary: String = ["client_body", "proxy", "fastcgi", "uwsgi", "scgi"]
        .iter()
        .map(|kind| format!("{kind}_temp_path {here}/{kind};\n"))
        .collect();
    // Started by root, its workers would be somebody else, whom a test's folder is closed to.
    let is_root = fs::metadata("/proc/self").unwrap().uid() == 0;
    let user = if is_root { "user root;\n" } else { "" };
    let whole = folder.join("whole.conf");
    let text = format!(
        "{user}daemon off;\nworker_processes 1;\npid {here}/pid;\nerror_log {here}/error.log;\nevents {{}}\nhttp {{\n{temporary}include {};\n}}\n",
        site.display()
    );
    fs::write(&whole, text).unwrap();
    whole
}

/// The site with the places, ports and program of a test.
pub(super) fn placed(site: &str, folder: &Path, program: &str, tls: u16, plain: u16) -> String {
    let here = folder.display();
    let lines = site.lines().filter(|line| !line.contains("listen [::]:"));
    let site: String = lines.map(|line| format!("{line}\n")).collect();
    for part in ["listen 443 ssl", "listen 80", "server 127.0.0.1:8080 "] {
        assert!(site.contains(part), "{part}");
    }
    site.replace("listen 443", &format!("listen 127.0.0.1:{tls}"))
        .replace("listen 80", &format!("listen 127.0.0.1:{plain}"))
        .replace("server 127.0.0.1:8080 ", &format!("server {program} "))
        .replace("/etc/letsencrypt/", &format!("{here}/"))
        .replace("/var/", &format!("{here}/var/"))
}

impl Proxy {
    fn before(server: &Server) -> Self {
        let folder = tempfile::tempdir().unwrap();
        let root = folder.path();
        for place in ["var/cache/nginx", "var/log/nginx", "var/www/html"] {
            fs::create_dir_all(root.join(place)).unwrap();
        }
        certificate(&root.join("live").join(NAME));
        let (tls, plain) = (free_port(), free_port());
        let site = root.join("site.conf");
        fs::write(
            &site,
            placed(&text("nginx.conf"), root, &server.address, tls, plain),
        )
        .unwrap();
        let whole = around(root, &site);
        done(Command::new("nginx").arg("-t").arg("-c").arg(&whole));
        let child = Command::new("nginx")
            .arg("-c")
            .arg(&whole)
            .stderr(Stdio::null())
            .spawn()
            .unwrap();
        let proxy = Self {
            folder,
            child,
            tls,
            plain,
        };
        harness::wait_until("nginx listens", || {
            std::net::TcpStream::connect(("127.0.0.1", tls)).is_ok()
        });
        proxy
    }

    /// What curl gets over TLS: head and body apart.
    fn get(&self, path: &str, more: &[&str]) -> (String, Vec<u8>) {
        self.get_as(NAME, path, more)
    }

    fn get_as(&self, name: &str, path: &str, more: &[&str]) -> (String, Vec<u8>) {
        let output = self.curl(
            &format!("https://{name}:{}{path}", self.tls),
            name,
            self.tls,
            more,
        );
        let place = output.windows(4).position(|window| window == b"\r\n\r\n");
        let place = place.unwrap_or_else(|| panic!("{path}: {}", String::from_utf8_lossy(&output)));
        let head = String::from_utf8(output[..place].to_vec())
            .unwrap()
            .to_lowercase();
        (head, output[place + 4..].to_vec())
    }

    fn curl(&self, address: &str, name: &str, port: u16, more: &[&str]) -> Vec<u8> {
        let certificate = self
            .folder
            .path()
            .join("live")
            .join(NAME)
            .join("fullchain.pem");
        let output = Command::new("curl")
            .args([
                "--silent",
                "--include",
                "--max-time",
                "30",
                "--noproxy",
                "*",
            ])
            .arg("--cacert")
            .arg(certificate)
            .args(["--resolve", &format!("{name}:{port}:127.0.0.1")])
            .args(more)
            .arg(address)
            .output();
        output.unwrap().stdout
    }
}

fn status(head: &str) -> &str {
    head.split_whitespace().nth(1).unwrap()
}

fn field<'a>(head: &'a str, name: &str) -> &'a str {
    let lines = head.lines().filter_map(|line| line.split_once(": "));
    let mut values = lines.filter(|(known, _)| *known == name);
    values.next().map_or("", |(_, value)| value.trim())
}

fn behind(data: &Path, more: &[&str]) -> Server {
    Server::serve(data, &[&["--behind-tls-proxy"], more].concat())
}

#[test]
fn the_program_is_served_over_tls_and_nothing_else_is() {
    let folder = harness::folder();
    let server = behind(folder.path(), &["--metrics-listen", "127.0.0.1:0"]);
    let proxy = Proxy::before(&server);
    let (head, body) = proxy.get(&format!("/studies/{STUDY}/take-part"), &[]);
    assert!(head.starts_with("http/2 200"), "{head}");
    assert!(String::from_utf8(body).unwrap().contains("<html"));
    assert_eq!(
        field(&head, "strict-transport-security"),
        "max-age=31536000"
    );
    assert_eq!(head.matches("strict-transport-security").count(), 1);
    assert_eq!(field(&head, "server"), "nginx", "no version");
    for old in [["--tls-max", "1.1"], ["--tls-max", "1.0"]] {
        let none = proxy.curl(
            &format!("https://{NAME}:{}/", proxy.tls),
            NAME,
            proxy.tls,
            &old,
        );
        assert_eq!(none, b"", "{old:?}");
    }
    let to_tls = proxy.curl(
        &format!("http://{NAME}:{}/a?b=c", proxy.plain),
        NAME,
        proxy.plain,
        &[],
    );
    let to_tls = String::from_utf8(to_tls).unwrap().to_lowercase();
    assert_eq!(status(&to_tls), "308");
    assert_eq!(field(&to_tls, "location"), format!("https://{NAME}/a?b=c"));
    let (head, body) = proxy.get("/metrics", &[]);
    assert_eq!(status(&head), "404", "{head}");
    assert!(!String::from_utf8_lossy(&body).contains("tautpool_"));
    // Another name gets not even an answer.
    let none = proxy.curl(
        &format!("https://other.example:{}/", proxy.tls),
        "other.example",
        proxy.tls,
        &["--insecure"],
    );
    assert_eq!(none, b"");
    let error_log = fs::read_to_string(proxy.folder.path().join("var/log/nginx/tautpool.log"));
    assert_eq!(error_log.unwrap_or_default(), "");
}

#[test]
fn what_a_client_has_is_not_sent_again_and_a_contribution_passes() {
    let folder = harness::folder();
    let server = behind(folder.path(), &[]);
    let proxy = Proxy::before(&server);
    let path = format!("/api/v1/studies/{STUDY}/aggregate");
    let (head, body) = proxy.get(&path, &[]);
    assert_eq!(status(&head), "200");
    assert_eq!(field(&head, "cache-control"), "no-cache");
    let tag = field(&head, "etag").to_owned();
    assert_eq!(body, server.get(&path).body);
    let (head, body) = proxy.get(&path, &["--header", &format!("If-None-Match: {tag}")]);
    assert_eq!((status(&head), body.len()), ("304", 0));
    let (head, body) = proxy.get(&path, &["--header", "Accept-Encoding: gzip"]);
    assert_eq!(field(&head, "content-encoding"), "gzip");
    assert_eq!(body[..2], [0x1f, 0x8b]);
    let (head, body) = proxy.get(&path, &["--range", "0-9"]);
    assert_eq!((status(&head), body.len()), ("206", 10));
    let document = contribution(varied(1)).to_string();
    let send = [
        "--header",
        "Content-Type: application/json",
        "--data",
        &document,
    ];
    let (head, _) = proxy.get(&format!("/api/v1/studies/{STUDY}/contributions"), &send);
    assert_eq!(status(&head), "201", "{head}");
    // What is far too large is refused by the program's own words, what is absurd by nginx.
    let large = proxy.folder.path().join("large");
    for (bytes, by) in [
        (300_000, "application/problem+json"),
        (1_100_000, "text/html"),
    ] {
        fs::write(&large, vec![b' '; bytes]).unwrap();
        let from = format!("@{}", large.display());
        let send = [
            "--header",
            "Content-Type: application/json",
            "--data-binary",
            &from,
        ];
        let (head, _) = proxy.get(&format!("/api/v1/studies/{STUDY}/contributions"), &send);
        assert_eq!(
            (status(&head), field(&head, "content-type")),
            ("413", by),
            "{head}"
        );
    }
}

#[test]
fn a_client_cannot_choose_its_address_and_two_are_told_apart() {
    let folder = harness::folder();
    let server = behind(folder.path(), &["--requests-a-minute", "3"]);
    let proxy = Proxy::before(&server);
    let ask = |from: &str, claimed: &str| {
        let claimed = format!("X-Forwarded-For: {claimed}");
        let more = [
            "--interface",
            from,
            "--header",
            &claimed,
            "--header",
            "Forwarded: for=192.0.2.1",
        ];
        let (head, _) = proxy.get("/api/v1/studies", &more);
        status(&head).to_owned()
    };
    let claims = [
        "198.51.100.1",
        "198.51.100.2",
        "198.51.100.3",
        "198.51.100.4",
    ];
    let told = claims.map(|claimed| ask("127.0.0.1", claimed));
    assert_eq!(told, ["200", "200", "200", "429"]);
    assert_eq!(
        ask("127.0.0.2", "198.51.100.5"),
        "200",
        "somebody else has their own"
    );
}

#[test]
fn connections_that_are_kept_never_meet_one_that_was_just_closed() {
    let folder = harness::folder();
    let server = behind(folder.path(), &[]);
    let proxy = Proxy::before(&server);
    // The program closes after five seconds without use; from just under to just over.
    for pause_ms in [0, 3_900, 4_100, 4_950, 5_050] {
        std::thread::sleep(std::time::Duration::from_millis(pause_ms));
        let (head, _) = proxy.get("/api/v1/studies", &[]);
        assert_eq!(status(&head), "200", "after {pause_ms} ms: {head}");
    }
    let said = fs::read_to_string(proxy.folder.path().join("error.log")).unwrap();
    assert!(!said.contains("[error]"), "{said}");
}

#[test]
fn a_release_is_kept_and_sent_while_the_program_is_away() {
    let folder = harness::folder();
    let data = folder.path().to_str().unwrap();
    let server = behind(folder.path(), &[]);
    for number in 0..6 {
        server.post(&contribution(varied(number))).expect(201);
    }
    drop(server);
    let made = run(
        &[
            "release",
            "make",
            STUDY,
            "--data",
            data,
            "--public-url",
            "https://pool.example",
            "--json",
        ],
        b"",
    );
    assert!(made.status.success(), "{made:?}");
    let server = behind(folder.path(), &[]);
    let proxy = Proxy::before(&server);
    let path = format!("/api/v1/studies/{STUDY}/releases/1");
    let (head, first) = proxy.get(&path, &[]);
    assert_eq!(status(&head), "200", "{head}");
    assert!(field(&head, "cache-control").contains("immutable"));
    assert_eq!(
        field(&head, "ratelimit"),
        "",
        "what is left is one client's business"
    );
    let tag = field(&head, "etag").to_owned();
    drop(server);
    let (head, again) = proxy.get(&path, &[]);
    assert_eq!((status(&head), again == first), ("200", true));
    let (head, _) = proxy.get(&path, &["--header", &format!("If-None-Match: {tag}")]);
    assert_eq!(status(&head), "304");
    let (head, _) = proxy.get("/", &[]);
    assert_eq!(
        status(&head),
        "502",
        "everything else is asked of the program"
    );
}
