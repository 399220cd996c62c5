//! What the page's server makes of strangers: without the key nothing is to be had, and nothing that comes ends it.

use std::io::{Read, Write};
use std::net::{Shutdown, TcpStream};
use std::time::{Duration, Instant};

use serde_json::json;
use tungstenite::Message;

use super::bench::{Bench, SURFACE};

const PATHS: [&str; 7] = [
    "/",
    "/page.js",
    "/page.css",
    "/report",
    "/verdict.svg",
    "/live",
    "/other",
];

/// Sends bytes, and what comes back until the connection ends or five seconds are over.
fn raw(host: &str, bytes: &[u8]) -> String {
    let mut stream = TcpStream::connect(host).unwrap();
    stream
        .set_read_timeout(Some(Duration::from_secs(5)))
        .unwrap();
    // A server that has heard enough may close before it has all.
    let _ = stream.write_all(bytes);
    let mut answer = Vec::new();
    let _ = stream.read_to_end(&mut answer);
    String::from_utf8_lossy(&answer).into_owned()
}

fn get(host: &str, path: &str, headers: &str) -> String {
    raw(
        host,
        format!("GET {path} HTTP/1.1\r\nConnection: close\r\n{headers}\r\n").as_bytes(),
    )
}

fn status(answer: &str) -> &str {
    answer.get(9..12).unwrap_or("none")
}

fn is_well(bench: &Bench) {
    let answer = get(
        &bench.host,
        &format!("/?key={}", bench.key),
        &format!("Host: {}\r\n", bench.host),
    );
    assert_eq!(status(&answer), "200", "{answer}");
}

#[test]
fn without_the_whole_key_a_stranger_is_given_nothing() {
    let bench = Bench::start(&[]);
    let host = format!("Host: {}\r\n", bench.host);
    let upgrade = "Upgrade: websocket\r\nSec-WebSocket-Version: 13\r\nSec-WebSocket-Key: dGhlIHNhbXBsZSBub25jZQ==\r\n";
    for path in PATHS {
        for query in [
            "",
            "?key=",
            "?key=abc",
            &format!("?key={}x", bench.key),
            &format!("?key={}", &bench.key[1..]),
        ] {
            for more in ["", upgrade] {
                let answer = get(
                    &bench.host,
                    &format!("{path}{query}"),
                    &format!("{host}{more}"),
                );
                assert_eq!(status(&answer), "403", "{path}{query}: {answer}");
                assert!(
                    !answer.contains(&bench.key)
                        && !answer.contains("Dunlin")
                        && answer.len() < 900,
                    "{answer}"
                );
            }
        }
    }
    is_well(&bench);
}

#[test]
fn another_site_and_another_name_are_refused_even_with_the_key() {
    let bench = Bench::start(&[]);
    let port = bench.host.split(':').nth(1).unwrap();
    let own = format!("Host: {}\r\n", bench.host);
    let key = &bench.key;
    for headers in [
        format!("Host: evil.example:{port}\r\n"),
        "Host: 127.0.0.1\r\n".to_owned(),
        format!("{own}Origin: http://evil.example\r\n"),
        format!("{own}Origin: null\r\n"),
        format!(
            "{own}Origin: http://{}\r\nOrigin: http://evil.example\r\n",
            bench.host
        ),
        format!("{own}Sec-Fetch-Site: cross-site\r\n"),
    ] {
        for path in PATHS {
            let answer = get(&bench.host, &format!("{path}?key={key}"), &headers);
            assert_eq!(status(&answer), "403", "{path} {headers}: {answer}");
        }
    }
    let answer = get(
        &bench.host,
        &format!("/?key={key}"),
        &format!("{own}Origin: http://{}\r\n", bench.host),
    );
    assert_eq!(status(&answer), "200");
}

#[test]
fn every_answer_tells_the_browser_to_load_nothing_from_elsewhere() {
    let bench = Bench::start(&[]);
    let host = format!("Host: {}\r\n", bench.host);
    for path in PATHS {
        let answer = get(&bench.host, &format!("{path}?key={}", bench.key), &host).to_lowercase();
        let head = answer.split("\r\n\r\n").next().unwrap();
        for wanted in [
            "content-security-policy: default-src 'none'",
            "frame-ancestors 'none'",
            "x-content-type-options: nosniff",
            "referrer-policy: no-referrer",
            "cache-control: no-store",
        ] {
            assert!(head.contains(wanted), "{path}: {wanted} in {head}");
        }
        assert!(
            !head.contains("unsafe-inline") || path == "/report",
            "{head}"
        );
        assert!(
            !head.contains("unsafe-eval") && !head.contains("access-control-allow"),
            "{head}"
        );
    }
    // And the page itself has nothing inline.
    let page = get(&bench.host, &format!("/?key={}", bench.key), &host);
    assert!(
        !page.contains("style=")
            && !page.contains("onclick")
            && page.matches("<script").count() == 1
    );
}

#[test]
fn wrong_huge_slow_and_malformed_requests_are_answered_or_ended_and_survived() {
    let bench = Bench::start(&[]);
    let host = format!("Host: {}\r\n", bench.host);
    let key = format!("?key={}", bench.key);
    let wrong: Vec<(Vec<u8>, &[&str])> = vec![
        (b"\x16\x03\x01\x02\x00\x01\x00\x01\xfc\x03\x03".to_vec(), &["400", "none"]),
        (vec![0; 4096], &["400", "none"]),
        (b"GET\r\n\r\n".to_vec(), &["400"]),
        (format!("GET /{key} HTTP/9.9\r\n{host}\r\n").into_bytes(), &["400", "505"]),
        (format!("GET /{} HTTP/1.1\r\n{host}\r\n", "a".repeat(1 << 20)).into_bytes(), &["414", "431", "400", "none"]),
        (format!("GET /{key} HTTP/1.1\r\n{host}X: {}\r\n\r\n", "b".repeat(1 << 20)).into_bytes(), &["431", "400", "none"]),
        (format!("GET /{key} HTTP/1.1\r\n{host}{}\r\n", "X: y\r\n".repeat(500)).into_bytes(), &["431", "400", "none"]),
        (format!("POST /{key} HTTP/1.1\r\n{host}Connection: close\r\nContent-Length: 3\r\n\r\nabc").into_bytes(), &["405"]),
        (format!("DELETE /live{key} HTTP/1.1\r\n{host}Connection: close\r\n\r\n").into_bytes(), &["405"]),
        (format!("GET /%2e%2e/%2e%2e/etc/passwd{key} HTTP/1.1\r\n{host}Connection: close\r\n\r\n").into_bytes(), &["404"]),
        (format!("GET /live{key} HTTP/1.1\r\n{host}Connection: close\r\n\r\n").into_bytes(), &["400", "426"]),
        (format!("GET /{key} HTTP/1.1\r\n{host}Transfer-Encoding: chunked\r\nContent-Length: 9\r\nConnection: close\r\n\r\nzz").into_bytes(), &["200", "400", "none"]),
    ];
    for (bytes, expected) in wrong {
        let answer = raw(&bench.host, &bytes);
        let shown = String::from_utf8_lossy(&bytes[..bytes.len().min(60)]).into_owned();
        assert!(
            expected.contains(&status(&answer)),
            "{shown}: {:.200}",
            answer
        );
        is_well(&bench);
    }
    // Slow: a head that never ends. The connection ends, and nobody else waits for it.
    let slow: Vec<TcpStream> = (0..40)
        .map(|_| {
            let mut stream = TcpStream::connect(&bench.host).unwrap();
            stream.write_all(b"GET / HTTP/1.1\r\nX: ").unwrap();
            stream
        })
        .collect();
    is_well(&bench);
    let began = Instant::now();
    for mut stream in slow {
        stream
            .set_read_timeout(Some(Duration::from_secs(8)))
            .unwrap();
        let _ = stream.read_to_end(&mut Vec::new());
        let _ = stream.shutdown(Shutdown::Both);
    }
    assert!(
        began.elapsed() < Duration::from_secs(9),
        "{:?}",
        began.elapsed()
    );
    is_well(&bench);
}

#[test]
fn what_is_no_wish_is_refused_and_a_page_that_is_none_is_let_go() {
    let bench = Bench::start(&["--fast", "10"]);
    let mut page = bench.ready("one");
    for nonsense in [
        "",
        "{",
        "null",
        "[]",
        "{\"ask\":\"fly\"}",
        "{\"ask\":\"sweep\"}",
        "{\"ask\":\"pick\",\"surface\":-1}",
        "{\"ask\":\"pick\",\"surface\":1e99}",
        "{\"ask\":\"stop\",\"more\":1}x",
        "{\"ask\":\"hello\",\"page\":\"x\"}",
    ] {
        let known = page.refused.len();
        page.send(Message::text(nonsense));
        page.until("a refusal", |p| p.refused.len() > known);
    }
    // Nothing of that has moved anything, and it still works.
    assert!(bench.rig.events().iter().all(|e| e["what"] != "armed"));
    page.cycling("sweep");
    page.wish(&json!({"ask": "stop"}));
    page.over();
    for (what, message) in [
        ("huge", Message::text("x".repeat(1 << 20))),
        ("binary", Message::binary(vec![1, 2, 3])),
    ] {
        let mut other = bench.page("two");
        other.send(message);
        let began = Instant::now();
        while !other.closed && began.elapsed() < Duration::from_secs(5) {
            page.live();
            other.hear();
        }
        assert!(other.closed, "{what}");
    }
    // One that never says who it is.
    let mut silent = bench.page("");
    let began = Instant::now();
    while !silent.closed && began.elapsed() < Duration::from_secs(8) {
        page.live();
        silent.hear();
    }
    assert!(silent.closed);
    page.until("its place", |p| p.told["drives"] == true);
    page.cycling("sweep");
    page.wish(&json!({"ask": "stop"}));
    assert_eq!(page.over()["ended"]["how"], "stopped", "{SURFACE}");
}

#[test]
fn only_this_computer_is_served_unless_the_page_is_shared() {
    let mut others = nix::ifaddrs::getifaddrs()
        .unwrap()
        .filter_map(|i| i.address?.as_sockaddr_in().map(|a| a.ip()))
        .filter(|ip| !ip.is_loopback());
    let Some(other) = others.next() else {
        println!("SKIPPED: this computer has no other address than its own loopback");
        return;
    };
    let bench = Bench::start(&[]);
    let port = bench.host.split(':').nth(1).unwrap();
    assert!(TcpStream::connect((other, port.parse().unwrap())).is_err());
    assert!(!bench.said.contains("network "), "{}", bench.said);
    let shared = Bench::with(&[], &["--share"]);
    let port = shared.host.split(':').nth(1).unwrap();
    let at = format!("{other}:{port}");
    assert!(
        shared
            .said
            .contains(&format!("http://{at}/?key={}", shared.key)),
        "{}",
        shared.said
    );
    assert!(
        shared.said.contains("▄") && shared.said.contains("trust"),
        "{}",
        shared.said
    );
    let answer = get(
        &at,
        &format!("/?key={}", shared.key),
        &format!("Host: {at}\r\n"),
    );
    assert_eq!(status(&answer), "200", "{answer}");
    let answer = get(&at, "/", &format!("Host: {at}\r\n"));
    assert_eq!(status(&answer), "403");
}

#[test]
fn the_questions_on_a_new_aircraft_are_for_the_key_alone_and_leave_nothing_when_ended() {
    let bench = Bench::without_an_aircraft();
    let host = format!("Host: {}\r\n", bench.host);
    for path in ["/", "/dialog.js", "/page.css", "/answers", "/live"] {
        let stranger = get(&bench.host, path, &host);
        assert_eq!(status(&stranger), "403", "{path}: {stranger}");
        let site = format!("{host}Origin: http://evil.example\r\n");
        let from_elsewhere = get(&bench.host, &format!("{path}?key={}", bench.key), &site);
        assert_eq!(status(&from_elsewhere), "403", "{path}: {from_elsewhere}");
    }
    let page = get(&bench.host, &format!("/?key={}", bench.key), &host);
    assert_eq!(status(&page), "200");
    assert!(
        page.contains("A new aircraft") && page.contains("default-src 'none'"),
        "{page}"
    );
    let request = format!("ws://{}/answers?key={}", bench.host, bench.key);
    let (mut socket, _) = tungstenite::connect(request).unwrap();
    // What is not said within this is a failure, not a wait without end.
    if let tungstenite::stream::MaybeTlsStream::Plain(stream) = socket.get_ref() {
        let within = Some(Duration::from_secs(20));
        stream.set_read_timeout(within).unwrap();
    }
    let asks = |socket: &mut tungstenite::WebSocket<_>, what: &str| loop {
        let said = socket.read().unwrap().into_text().unwrap().to_string();
        let said: serde_json::Value = serde_json::from_str(&said).unwrap();
        let text = said["text"].as_str().unwrap();
        if said["waits"] == true && text.contains(what) {
            break text.to_owned();
        }
    };
    asks(&mut socket, "call the aircraft?");
    socket.send(Message::text("My jet\nand two lines")).unwrap();
    asks(&mut socket, "Which layout?");
    // Begun anew, nothing of it is left.
    socket.send(Message::text("quit")).unwrap();
    loop {
        let text = asks(&mut socket, "call the aircraft?");
        if !text.contains("My jet") {
            break;
        }
    }
    // What no page says ends this page, and no other.
    socket.send(Message::binary(vec![0; 10])).unwrap();
    is_well(&bench);
    let logbook = bench.logbook();
    bench.signal(nix::sys::signal::Signal::SIGINT);
    let (ended, said) = bench.ended();
    assert_eq!(ended.code(), Some(0));
    assert!(said.contains("nothing was written"), "{said}");
    assert!(!logbook.exists());
}
