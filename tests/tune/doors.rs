//! Who may enter, and what nobody can do to the frames from out there.

use std::fs;
use std::net::{IpAddr, TcpStream, UdpSocket};
use std::path::Path;
use std::process::Command;

use serde_json::json;
use tungstenite::Message;

use super::program::{Program, raw};

/// First line of the answer to a request with these lines.
fn status(port: u16, lines: &str) -> String {
    let request = format!("{}\r\nConnection: close\r\n\r\n", lines.replace('\n', "\r\n"));
    raw(port, request.replace("PORT", &port.to_string()).as_bytes())
        .lines()
        .next()
        .unwrap_or("closed")
        .trim_start_matches("HTTP/1.1 ")
        .to_owned()
}

const UPGRADE: &str = "Upgrade: websocket\nConnection: Upgrade\nSec-WebSocket-Version: 13\n\
                       Sec-WebSocket-Key: dGhlIHNhbXBsZSBub25jZQ==";

#[test]
fn the_table_of_requests() {
    let program = Program::start(&[]);
    let home = "Host: 127.0.0.1:PORT";
    let own = "Origin: http://127.0.0.1:PORT";
    let big = format!("X-Big: {}", "x".repeat(100_000));
    for (lines, expected) in [
        (format!("GET / HTTP/1.1\n{home}"), "200"),
        (format!("GET / HTTP/1.1\n{home}\n{own}"), "200"),
        ("GET /page/main.js HTTP/1.1\nHost: localhost:PORT".into(), "200"),
        (format!("GET /sound HTTP/1.1\n{home}"), "200"),
        ("GET / HTTP/1.1\nHost: elsewhere.example:PORT".into(), "403"),
        ("GET / HTTP/1.1\nHost: 127.0.0.1".into(), "403"),
        ("GET / HTTP/1.1".into(), "403"),
        (format!("GET / HTTP/1.1\n{home}\n{home}"), "403"),
        (format!("GET /sound HTTP/1.1\n{home}\nOrigin: http://elsewhere.example"), "403"),
        (format!("GET /talk HTTP/1.1\n{home}\n{UPGRADE}"), "403"),
        (format!("GET /talk HTTP/1.1\n{home}\nOrigin: null\n{UPGRADE}"), "403"),
        (format!("GET /talk HTTP/1.1\n{home}\nOrigin: http://localhost:PORT\n{UPGRADE}"), "403"),
        (
            format!(
                "GET /talk HTTP/1.1\nHost: elsewhere.example\nOrigin: http://elsewhere.example\n{UPGRADE}"
            ),
            "403",
        ),
        (format!("GET /talk HTTP/1.1\n{home}\n{own}"), "400"),
        (format!("GET /enter/0123456789abcdef0123456789abcdef HTTP/1.1\n{home}"), "403"),
        (format!("GET /page/../main.js HTTP/1.1\n{home}"), "404"),
        (format!("GET /page/..%2f..%2fCargo.toml HTTP/1.1\n{home}"), "404"),
        (format!("GET /tide.toml HTTP/1.1\n{home}"), "404"),
        (format!("POST / HTTP/1.1\n{home}\nContent-Length: 0"), "405"),
        (format!("GET / HTTP/1.1\n{home}\n{big}"), "431"),
        ("\u{1}\u{2}\u{3} nonsense".into(), "400"),
    ] {
        let got = status(program.port, &lines);
        assert!(got.starts_with(expected), "{got} for {}", &lines[..lines.len().min(200)]);
    }
    let page = raw(
        program.port,
        format!("GET / HTTP/1.1\r\nHost: localhost:{}\r\nConnection: close\r\n\r\n", program.port)
            .as_bytes(),
    );
    for header in
        ["default-src 'none'", "frame-ancestors 'none'", "nosniff", "no-referrer", "same-origin"]
    {
        assert!(page.contains(header), "{header} is missing");
    }
}

/// An address of this computer that others might use; there may be none.
fn own_address() -> Option<IpAddr> {
    let socket = UdpSocket::bind("0.0.0.0:0").ok()?;
    // Nothing is sent: the address belongs to nobody (RFC 5737).
    socket.connect("192.0.2.1:9").ok()?;
    let address = socket.local_addr().ok()?.ip();
    (!address.is_loopback() && !address.is_unspecified()).then_some(address)
}

#[test]
fn others_need_the_address_of_the_moment() {
    let Some(address) = own_address() else {
        eprintln!("this computer has no address but its own: nothing to test");
        return;
    };
    let program = Program::start(&["--open-to", &address.to_string()]);
    let ask = |path: &str, more: &str| {
        let host = format!("{address}:{}", program.port);
        let text =
            format!("GET {path} HTTP/1.1\r\nHost: {host}\r\n{more}Connection: close\r\n\r\n");
        let mut stream = TcpStream::connect((address, program.port)).unwrap();
        std::io::Write::write_all(&mut stream, text.as_bytes()).unwrap();
        let mut answer = String::new();
        std::io::Read::read_to_string(&mut stream, &mut answer).unwrap();
        answer
    };
    assert!(ask("/", "").starts_with("HTTP/1.1 403"), "no pass");
    assert!(ask("/sound", "Cookie: coilscore_pass=00\r\n").starts_with("HTTP/1.1 403"), "bad pass");
    let outer = program.outer.clone().unwrap();
    let token = outer.rsplit('/').next().unwrap();
    assert_eq!(token.len(), 32);
    let wrong = token.replace(&token[..4], "0000");
    assert!(ask(&format!("/enter/{wrong}"), "").starts_with("HTTP/1.1 403"), "wrong token");
    let entered = ask(&format!("/enter/{token}"), "");
    assert!(entered.starts_with("HTTP/1.1 303"), "{entered}");
    assert!(entered.contains("HttpOnly; SameSite=Strict"));
    let pass = entered.split("coilscore_pass=").nth(1).unwrap().split(';').next().unwrap();
    assert!(ask("/", &format!("Cookie: coilscore_pass={pass}\r\n")).starts_with("HTTP/1.1 200"));
    assert!(ask(&format!("/enter/{token}"), "").starts_with("HTTP/1.1 403"), "used twice");
    let next = program.line("the next address is ");
    assert_ne!(next, outer);
    // The loopback address needs no pass, and a pass opens no other host.
    assert!(status(program.port, "GET / HTTP/1.1\nHost: 127.0.0.1:PORT").starts_with("200"));
    let strange = status(
        program.port,
        &format!("GET / HTTP/1.1\nHost: elsewhere:PORT\nCookie: coilscore_pass={pass}"),
    );
    assert!(strange.starts_with("403"));
}

#[test]
fn messages_that_are_too_many_too_large_or_nonsense_end_only_their_own_page() {
    let program = Program::start(&[]);
    let mut good = program.page();
    // Too large: the conversation ends.
    let mut large = program.page();
    let _ = large.socket.send(Message::text("x".repeat(70_000)));
    while large.socket.read().is_ok() {}
    // Nonsense: told a few times, then ended.
    let mut nonsense = program.page();
    let mut told = 0;
    while let Err(sentence) = nonsense_said(&mut nonsense) {
        assert_eq!(sentence, "this message cannot be read");
        told += 1;
        assert!(told < 20, "nobody ends it");
    }
    assert_eq!(told, 10);
    // Too many.
    let mut many = program.page();
    for _ in 0..400 {
        if many.socket.send(Message::text(r#"{"id":1}"#)).is_err() {
            break;
        }
    }
    while many.socket.read().is_ok() {}
    assert_eq!(good.act(json!({ "do": "mute", "route": "heave", "on": true })), Ok(()));
    let before = good.look().frame;
    while good.look().frame < before + 100 {}
}

/// The answer to nonsense; `Ok` when there is none because the page was ended.
fn nonsense_said(page: &mut super::program::Page) -> Result<(), String> {
    if page.socket.send(Message::text("{\"id\": nonsense")).is_err() {
        return Ok(());
    }
    loop {
        match page.socket.read() {
            Ok(Message::Text(text)) if text.contains("\"answer\"") => {
                let answer: serde_json::Value = serde_json::from_str(&text).unwrap();
                return Err(answer["sentence"].as_str().unwrap().to_owned());
            }
            Ok(_) => {}
            Err(_) => return Ok(()),
        }
    }
}

/// What was changed on pages is not in the recording.
fn cannot_be_made_again(folder: &Path) {
    let args = ["render", "song.wav", "--preset", "tide.toml", "--as-live", "--inputs", "run.duty"];
    let mut render = Command::new(env!("CARGO_BIN_EXE_coilscore"));
    let run = render.args(args).args(["--out", "again.duty"]).current_dir(folder).output().unwrap();
    let said = String::from_utf8_lossy(&run.stderr);
    assert_eq!(run.status.code(), Some(2), "{said}");
    assert!(said.contains("tuned"), "{said}");
}

/// Frames of a run, recorded, with something going on.
fn recorded(meanwhile: impl FnOnce(&Program)) -> Vec<u8> {
    let mut program =
        Program::start(&["--record", "run.duty", "--seconds", "7", "--arith", "portable"]);
    meanwhile(&program);
    assert!(program.wait().success());
    cannot_be_made_again(program.folder.path());
    fs::read(program.folder.path().join("run.duty")).unwrap()
}

#[test]
fn frames_are_the_same_with_ten_pages_a_slow_reader_and_a_thousand_connections() {
    let alone = recorded(|_| {});
    let mut lates = (0, 0);
    let crowded = recorded(|program| {
        let mut pages: Vec<_> = (0..10).map(|_| program.page()).collect();
        lates.0 = pages[0].look().late;
        // Says that it listens and takes nothing.
        let slow = program.page();
        let thousand: Vec<_> = (0..1000)
            .filter_map(|_| TcpStream::connect(("127.0.0.1", program.port)).ok())
            .collect();
        assert!(thousand.len() > 900, "{} connections", thousand.len());
        let before = pages[0].look().frame;
        for page in &mut pages {
            while page.look().frame < before + 300 {}
        }
        lates.1 = pages[0].look().late;
        drop(slow);
    });
    eprintln!("blocks that came late: {} before, {} after", lates.0, lates.1);
    assert!(alone.len() > 20_000, "{} bytes", alone.len());
    assert!(alone == crowded, "frames differ");
}
