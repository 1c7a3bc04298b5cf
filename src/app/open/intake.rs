//! What comes in: bodies of requests, no longer than allowed and no slower.

use std::fs::File;
use std::future::poll_fn;
use std::io::Write;
use std::pin::Pin;
use std::time::Duration;

use hyper::StatusCode;
use hyper::body::{Body, Bytes, Incoming};
use hyper::header::{CONTENT_LENGTH, CONTENT_TYPE, HeaderMap};
use serde::de::DeserializeOwned;
use tokio::task::spawn_blocking;
use tokio::time::timeout;

use super::super::failure::larger_than;
use super::reply::{self, Refusal};
use super::store::Room;

/// Longest JSON, bytes.
pub const JSON_BYTES_MAX: u64 = 4 << 20;
/// A sender that sends nothing for so long is given up.
const SILENCE: Duration = Duration::from_secs(30);
/// Bytes that are written to disk at a time.
const PIECE_BYTES: usize = 1 << 20;

/// The next piece of a body.
async fn piece(body: &mut Incoming) -> Result<Option<Bytes>, Refusal> {
    loop {
        let frame = poll_fn(|context| Pin::new(&mut *body).poll_frame(context));
        match timeout(SILENCE, frame).await {
            Ok(None) => return Ok(None),
            Ok(Some(Ok(frame))) => {
                // Trailers are of no use here.
                if let Ok(bytes) = frame.into_data() {
                    return Ok(Some(bytes));
                }
            }
            Ok(Some(Err(e))) => {
                let why = format!("the upload broke off: {e}");
                return Err(Refusal::new(StatusCode::BAD_REQUEST, why));
            }
            Err(_) => {
                let why = "nothing has come for 30 s";
                return Err(Refusal::new(StatusCode::REQUEST_TIMEOUT, why));
            }
        }
    }
}

fn too_large(most: u64) -> Refusal {
    let why = format!("what was sent {}", larger_than(most));
    Refusal::new(StatusCode::PAYLOAD_TOO_LARGE, why)
}

/// Refuses what is announced as too large.
fn check_length(headers: &HeaderMap, most: u64) -> Result<(), Refusal> {
    let length = headers.get(CONTENT_LENGTH).and_then(|v| v.to_str().ok());
    let length: Option<u64> = length.and_then(|v| v.parse().ok());
    match length {
        Some(length) if length > most => Err(too_large(most)),
        _ => Ok(()),
    }
}

/// Refuses what is not sent as this kind of content.
fn check_kind(headers: &HeaderMap, kind: &str) -> Result<(), Refusal> {
    let sent = headers.get(CONTENT_TYPE).and_then(|v| v.to_str().ok());
    let sent = sent.map(|v| v.split(';').next().unwrap_or_default().trim());
    if sent.is_some_and(|sent| sent.eq_ignore_ascii_case(kind)) {
        return Ok(());
    }
    let why = format!("must be sent as {kind}");
    Err(Refusal::new(StatusCode::UNSUPPORTED_MEDIA_TYPE, why))
}

/// A body of JSON.
///
/// # Errors
/// What is wrong.
pub async fn json<T: DeserializeOwned>(
    headers: &HeaderMap,
    mut body: Incoming,
) -> Result<T, Refusal> {
    check_kind(headers, reply::JSON)?;
    check_length(headers, JSON_BYTES_MAX)?;
    let mut text = Vec::new();
    while let Some(piece) = piece(&mut body).await? {
        if (text.len() + piece.len()) as u64 > JSON_BYTES_MAX {
            return Err(too_large(JSON_BYTES_MAX));
        }
        text.extend_from_slice(&piece);
    }
    serde_json::from_slice(&text).map_err(|e| {
        let why = format!("the question cannot be read: {e}");
        Refusal::new(StatusCode::BAD_REQUEST, why)
    })
}

/// A body on its way to a file without a name. Bytes are counted in `room`.
///
/// # Errors
/// What is wrong.
pub async fn file(
    headers: &HeaderMap,
    mut body: Incoming,
    most: u64,
    room: &mut Room,
) -> Result<File, Refusal> {
    check_kind(headers, "application/octet-stream")?;
    check_length(headers, most)?;
    let failed = |e: std::io::Error| {
        let why = format!(
            "cannot be kept in {}: {}",
            std::env::temp_dir().display(),
            e.kind()
        );
        Refusal::new(StatusCode::INSUFFICIENT_STORAGE, why)
    };
    let mut file = tempfile::tempfile().map_err(failed)?;
    let (mut waiting, mut length) = (Vec::new(), 0);
    loop {
        let piece = piece(&mut body).await?;
        if let Some(piece) = &piece {
            length += piece.len() as u64;
            if length > most {
                return Err(too_large(most));
            }
            let full = |why: String| Refusal::new(StatusCode::INSUFFICIENT_STORAGE, why);
            room.grow(piece.len() as u64).map_err(full)?;
            waiting.extend_from_slice(piece);
        }
        if waiting.len() >= PIECE_BYTES || piece.is_none() {
            let whole = std::mem::take(&mut waiting);
            let written = spawn_blocking(move || file.write_all(&whole).map(|()| file)).await;
            let written = written.map_err(|e| failed(std::io::Error::other(e)))?;
            file = written.map_err(failed)?;
        }
        if piece.is_none() {
            return Ok(file);
        }
    }
}
