//! `headstall open`, started for a test, and raw requests to it.

use std::io::{BufRead, BufReader, Read, Write};
use std::net::{Ipv4Addr, TcpStream};
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

use serde_json::Value;

use super::cli::headstall;

/// A server that ends with this.
pub struct Server {
    pub child: Child,
    pub port: u16,
    pub token: String,
    /// The page's address.
    pub address: String,
}

impl Drop for Server {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

/// A reply.
#[derive(Clone, Debug)]
pub struct Reply {
    pub status: u16,
    pub head: String,
    pub body: Vec<u8>,
}

impl Reply {
    /// The value of a header.
    pub fn header(&self, name: &str) -> Option<&str> {
        let own = |line: &&str| {
            let given = line.split_once(':').map(|(given, _)| given);
            given.is_some_and(|given| given.eq_ignore_ascii_case(name))
        };
        let line = self.head.lines().find(own)?;
        line.split_once(':').map(|(_, value)| value.trim())
    }

    /// The body as JSON; of a stream, its last line.
    pub fn json(&self) -> Value {
        let last = self
            .body
            .trim_ascii_end()
            .split(|b| *b == b'\n')
            .next_back();
        let text = last.unwrap_or_default();
        serde_json::from_slice(text).unwrap_or_else(|e| panic!("{e}: {self:?}"))
    }
}

/// Starts a server that opens no browser.
pub fn served(args: &[&str]) -> Server {
    let mut command = headstall();
    command.args(["open", "--no-browser"]).args(args);
    started(command)
}

/// Starts this command, which prints the address first.
pub fn started(mut command: Command) -> Server {
    let mut child = command
        .stdin(Stdio::null())
        .stdout(Stdio::piped())
        .spawn()
        .unwrap();
    let mut address = String::new();
    let mut out = BufReader::new(child.stdout.take().unwrap());
    out.read_line(&mut address).unwrap();
    // What it says later must find a reader.
    std::thread::spawn(move || std::io::copy(&mut out, &mut std::io::sink()));
    let address = address.trim_end().to_string();
    let parts = address.strip_prefix("http://127.0.0.1:");
    let parts = parts.and_then(|rest| rest.strip_suffix('/')?.split_once('/'));
    let (port, token) = parts.unwrap_or_else(|| panic!("no address: {address}"));
    Server {
        port: port.parse().unwrap(),
        token: token.to_string(),
        address: address.clone(),
        child,
    }
}

impl Server {
    /// A connection.
    pub fn connected(&self) -> TcpStream {
        let stream = TcpStream::connect((Ipv4Addr::LOCALHOST, self.port)).unwrap();
        let long = Some(Duration::from_secs(120));
        stream.set_read_timeout(long).unwrap();
        stream
    }

    /// The right `Host`.
    pub fn host(&self) -> String {
        format!("127.0.0.1:{}", self.port)
    }

    /// The reply to bytes that are sent as they are; what cannot be sent to its end is no matter.
    pub fn raw(&self, bytes: &[u8]) -> Reply {
        let mut stream = self.connected();
        let _ = stream.write_all(bytes);
        reply(stream)
    }

    /// A request with these headers and the right `Host`.
    pub fn request(&self, method: &str, path: &str, headers: &[&str], body: &[u8]) -> Reply {
        let host = format!("Host: {}", self.host());
        self.request_as(method, path, &[&[host.as_str()], headers].concat(), body)
    }

    /// A request with these headers and no others but its length.
    pub fn request_as(&self, method: &str, path: &str, headers: &[&str], body: &[u8]) -> Reply {
        let mut head = format!("{method} {path} HTTP/1.1\r\nConnection: close\r\n");
        for header in headers {
            head += &format!("{header}\r\n");
        }
        head += &format!("Content-Length: {}\r\n\r\n", body.len());
        self.raw(&[head.as_bytes(), body].concat())
    }

    /// A path below the token.
    pub fn path(&self, path: &str) -> String {
        format!("/{}/{path}", self.token)
    }

    /// What is there.
    pub fn get(&self, path: &str) -> Reply {
        self.request("GET", &self.path(path), &[], b"")
    }

    /// The answer to a question.
    pub fn post(&self, path: &str, question: &Value) -> Reply {
        let kind = ["Content-Type: application/json"];
        let body = question.to_string();
        self.request("POST", &self.path(path), &kind, body.as_bytes())
    }

    /// Sends a job; its ID.
    pub fn job(&self, name: &str, bytes: &[u8]) -> String {
        let kind = ["Content-Type: application/octet-stream"];
        let reply = self.request(
            "POST",
            &self.path(&format!("jobs?name={name}")),
            &kind,
            bytes,
        );
        let id = reply.json()["job"].as_str().map(str::to_string);
        id.unwrap_or_else(|| panic!("{reply:?}"))
    }

    /// Whether the server goes on to answer.
    pub fn is_well(&self) -> bool {
        self.get("about").status == 200
    }

    /// Whether it ends within this time; its exit code.
    pub fn ends_within(&mut self, long: Duration) -> Option<Option<i32>> {
        let began = Instant::now();
        while began.elapsed() < long {
            if let Some(status) = self.child.try_wait().unwrap() {
                return Some(status.code());
            }
            std::thread::sleep(Duration::from_millis(20));
        }
        None
    }
}

/// All that comes until the connection is closed.
pub fn reply(mut stream: TcpStream) -> Reply {
    let mut bytes = Vec::new();
    let _ = stream.read_to_end(&mut bytes);
    let end = bytes.windows(4).position(|four| four == b"\r\n\r\n");
    let Some(end) = end else {
        return Reply {
            status: 0,
            head: String::from_utf8_lossy(&bytes).into_owned(),
            body: Vec::new(),
        };
    };
    let head = String::from_utf8_lossy(&bytes[..end]).into_owned();
    let status = head.split(' ').nth(1).and_then(|code| code.parse().ok());
    let mut reply = Reply {
        status: status.unwrap_or(0),
        head,
        body: bytes[end + 4..].to_vec(),
    };
    if reply.header("transfer-encoding") == Some("chunked") {
        reply.body = unchunked(&reply.body);
    }
    reply
}

/// A body without the lengths of its chunks (RFC 9112, section 7.1).
fn unchunked(mut rest: &[u8]) -> Vec<u8> {
    let mut body = Vec::new();
    while let Some(end) = rest.windows(2).position(|two| two == b"\r\n") {
        let length = std::str::from_utf8(&rest[..end]).ok();
        let length = length.and_then(|hex| usize::from_str_radix(hex, 16).ok());
        let Some(length) = length.filter(|n| *n > 0 && end + 2 + n <= rest.len()) else {
            break;
        };
        body.extend_from_slice(&rest[end + 2..end + 2 + length]);
        rest = rest.get(end + 2 + length + 2..).unwrap_or_default();
    }
    body
}
