//! Replies: bodies, and the responses that carry them.

use std::convert::Infallible;
use std::pin::Pin;
use std::task::{Context, Poll};

use hyper::body::{Body, Bytes, Frame};
use hyper::header::{ALLOW, CONTENT_DISPOSITION, CONTENT_TYPE, HeaderValue};
use hyper::{Response, StatusCode};
use serde::Serialize;
use tokio::sync::mpsc;

use super::guard;

/// JSON.
pub const JSON: &str = "application/json";
/// Lines of JSON.
const LINES: &str = "application/x-ndjson";

/// What goes with a stream; nobody looks into it.
type Kept = Box<dyn Send + Sync>;

/// The body of a reply.
pub enum Content {
    /// All of it.
    Whole(Option<Bytes>),
    /// What comes through a channel, until that ends; what is kept beside it goes with it.
    Stream {
        /// What comes.
        pieces: mpsc::Receiver<Bytes>,
        /// What goes with it.
        _kept: Option<Kept>,
    },
}

impl Body for Content {
    type Data = Bytes;
    type Error = Infallible;

    fn poll_frame(
        self: Pin<&mut Self>,
        context: &mut Context,
    ) -> Poll<Option<Result<Frame<Bytes>, Infallible>>> {
        match self.get_mut() {
            Content::Whole(bytes) => Poll::Ready(bytes.take().map(|b| Ok(Frame::data(b)))),
            Content::Stream { pieces, .. } => pieces
                .poll_recv(context)
                .map(|piece| piece.map(|b| Ok(Frame::data(b)))),
        }
    }

    fn is_end_stream(&self) -> bool {
        matches!(self, Content::Whole(None))
    }

    fn size_hint(&self) -> hyper::body::SizeHint {
        match self {
            Content::Whole(bytes) => {
                hyper::body::SizeHint::with_exact(bytes.as_ref().map_or(0, |b| b.len() as u64))
            }
            Content::Stream { .. } => hyper::body::SizeHint::default(),
        }
    }
}

/// A reply.
pub type Reply = Response<Content>;

/// A reply with this body.
pub fn with(status: StatusCode, kind: Option<&str>, content: Content) -> Reply {
    let mut reply = Response::new(content);
    *reply.status_mut() = status;
    guard::add_headers(reply.headers_mut());
    if let Some(kind) = kind.and_then(|kind| HeaderValue::from_str(kind).ok()) {
        reply.headers_mut().insert(CONTENT_TYPE, kind);
    }
    reply
}

/// A reply without a body.
pub fn empty(status: StatusCode) -> Reply {
    with(status, None, Content::Whole(None))
}

/// Bytes of some kind.
pub fn bytes(kind: &str, bytes: impl Into<Bytes>) -> Reply {
    with(
        StatusCode::OK,
        Some(kind),
        Content::Whole(Some(bytes.into())),
    )
}

/// A file to be saved under this name.
pub fn file(kind: &str, name: &str, content: impl Into<Bytes>) -> Reply {
    named(bytes(kind, content), name)
}

fn named(mut reply: Reply, name: &str) -> Reply {
    if let Ok(value) = HeaderValue::from_str(&disposition(name)) {
        reply.headers_mut().insert(CONTENT_DISPOSITION, value);
    }
    reply
}

/// A file to be saved under this name, as it comes.
pub fn saved(name: &str, pieces: mpsc::Receiver<Bytes>) -> Reply {
    let content = Content::Stream {
        pieces,
        _kept: None,
    };
    let kind = Some("application/octet-stream");
    named(with(StatusCode::OK, kind, content), name)
}

/// Lines of JSON as they come; what is kept with them goes when the reader goes.
pub fn lines(lines: mpsc::Receiver<Bytes>, kept: Kept) -> Reply {
    let content = Content::Stream {
        pieces: lines,
        _kept: Some(kept),
    };
    with(StatusCode::OK, Some(LINES), content)
}

/// JSON.
pub fn json(value: &impl Serialize) -> Reply {
    let text = serde_json::to_vec(value).expect("a reply is plain data");
    bytes(JSON, text)
}

/// What is wrong, in words.
pub fn error(status: StatusCode, why: &str) -> Reply {
    let mut reply = json(&serde_json::json!({ "error": why }));
    *reply.status_mut() = status;
    reply
}

/// Why a request is refused.
pub struct Refusal {
    status: StatusCode,
    /// In words; none for those who are told nothing.
    why: Option<String>,
}

impl Refusal {
    /// A refusal in words.
    pub fn new(status: StatusCode, why: impl Into<String>) -> Self {
        let why = Some(why.into());
        Refusal { status, why }
    }

    /// A refusal without a word.
    pub fn bare(status: StatusCode) -> Self {
        Refusal { status, why: None }
    }

    /// The reply.
    pub fn reply(self) -> Reply {
        let mut reply = match &self.why {
            Some(why) => error(self.status, why),
            None => empty(self.status),
        };
        if self.status == StatusCode::METHOD_NOT_ALLOWED {
            let allow = HeaderValue::from_static("GET, POST, DELETE");
            reply.headers_mut().insert(ALLOW, allow);
        }
        reply
    }
}

/// Has the browser save a file (RFC 6266), under a name without anything that could act as more than a name.
fn disposition(name: &str) -> String {
    let plain = |c: char| c.is_ascii_alphanumeric() || "._- ".contains(c);
    let name: String = name
        .chars()
        .map(|c| if plain(c) { c } else { '_' })
        .take(120)
        .collect();
    let name = name.trim_start_matches('.');
    format!("attachment; filename=\"{name}\"")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_name_to_save_under_is_a_name_only() {
        for (name, shown) in [
            ("part.svg", "part.svg"),
            ("../../.profile", "_.._.profile"),
            ("a\"; filename=b\r\nX: y", "a__ filename_b__X_ y"),
            ("Lampe ä.gcode", "Lampe _.gcode"),
        ] {
            assert_eq!(
                disposition(name),
                format!("attachment; filename=\"{shown}\"")
            );
        }
    }
}
