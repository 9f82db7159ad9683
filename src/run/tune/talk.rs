//! One conversation with one page.
//!
//! What is shown goes out as fast as the page takes it and no faster: a page that is slow gets fewer
//! looks, not older ones. One that takes nothing for ten seconds is cut off.

use std::time::Duration;

use axum::body::Bytes;
use axum::extract::ws::{CloseFrame, Message, Utf8Bytes, WebSocket};
use tokio::sync::mpsc;
use tokio::time::{Instant, timeout};

use super::asks::{Ask, Asks, Said, Shown};

/// Longest wait for a page to take a message.
const PATIENCE: Duration = Duration::from_secs(10);
/// Messages of one page in a second: a drag makes sixty.
const MOST_A_SECOND: u32 = 240;
/// Messages that cannot be read before a page is shown the door.
const MOST_UNREADABLE: u32 = 10;
/// Answers and notices that may wait for one page.
const WAITING: usize = 256;

/// RFC 6455, 7.4.1: a message that breaks the rules.
const BROKE_RULES: u16 = 1008;

/// Until either side ends it.
pub(super) async fn talk(
    mut socket: WebSocket,
    page: u32,
    asks: &Asks,
    mut shown: Shown,
    about: Utf8Bytes,
) {
    let (to_page, mut told) = mpsc::channel(WAITING);
    if asks.try_send(Ask::Join(page, to_page)).is_err() {
        return;
    }
    let you = format!("{{\"kind\":\"you\",\"page\":{page}}}");
    let mut first = vec![Message::Text(about), Message::Text(you.into())];
    first.push(Message::Text(shown.standing.borrow_and_update().clone()));
    for message in first {
        if !send(&mut socket, message).await {
            break;
        }
    }
    let mut pace = Pace::new();
    loop {
        let message = tokio::select! {
            biased;
            said = socket.recv() => match said {
                Some(Ok(Message::Text(text))) => match pace.judge(page, &text, asks) {
                    Ok(None) => continue,
                    Ok(Some(answer)) => Message::Text(answer),
                    Err(why) => {
                        let frame = CloseFrame { code: BROKE_RULES, reason: why.into() };
                        send(&mut socket, Message::Close(Some(frame))).await;
                        break;
                    }
                },
                Some(Ok(Message::Close(_)) | Err(_)) | None => break,
                Some(Ok(_)) if pace.one_more() => continue,
                Some(Ok(_)) => break,
            },
            answer = told.recv() => match answer {
                Some(answer) => Message::Text(answer),
                None => break,
            },
            Ok(()) = shown.standing.changed() => {
                Message::Text(shown.standing.borrow_and_update().clone())
            }
            Ok(()) = shown.status.changed() => {
                Message::Text(shown.status.borrow_and_update().clone())
            }
            Ok(()) = shown.look.changed() => {
                let look: Bytes = shown.look.borrow_and_update().clone();
                Message::Binary(look)
            }
        };
        if !send(&mut socket, message).await {
            break;
        }
    }
    leave(page, asks).await;
}

/// False: the page is gone, or does not take anything.
async fn send(socket: &mut WebSocket, message: Message) -> bool {
    matches!(timeout(PATIENCE, socket.send(message)).await, Ok(Ok(())))
}

/// A page that is gone must not hold the editing: this is said however long it takes.
async fn leave(page: u32, asks: &Asks) {
    let mut word = Ask::Leave(page);
    loop {
        match asks.try_send(word) {
            Err(std::sync::mpsc::TrySendError::Full(back)) => word = back,
            _ => return,
        }
        tokio::time::sleep(Duration::from_millis(5)).await;
    }
}

/// How much one page has said lately.
struct Pace {
    since: Instant,
    messages: u32,
    unreadable: u32,
}

impl Pace {
    fn new() -> Self {
        Self { since: Instant::now(), messages: 0, unreadable: 0 }
    }

    fn one_more(&mut self) -> bool {
        if self.since.elapsed() >= Duration::from_secs(1) {
            self.since = Instant::now();
            self.messages = 0;
        }
        self.messages += 1;
        self.messages <= MOST_A_SECOND
    }

    /// Passes a message on; an answer when it cannot be, an error when the page must go.
    fn judge(
        &mut self,
        page: u32,
        text: &Utf8Bytes,
        asks: &Asks,
    ) -> Result<Option<Utf8Bytes>, &'static str> {
        if !self.one_more() {
            return Err("more than 240 messages in a second");
        }
        let Ok(said) = serde_json::from_str::<Said>(text) else {
            self.unreadable += 1;
            if self.unreadable > MOST_UNREADABLE {
                return Err("these messages cannot be read");
            }
            return Ok(Some(refused(0, "this message cannot be read")));
        };
        let id = said.id;
        match asks.try_send(Ask::Said(page, said)) {
            Ok(()) => Ok(None),
            Err(_) => Ok(Some(refused(id, "too much is being asked at once: try again"))),
        }
    }
}

/// An answer that nothing was done.
pub(super) fn refused(id: u64, sentence: &str) -> Utf8Bytes {
    let answer =
        serde_json::json!({ "kind": "answer", "id": id, "ok": false, "sentence": sentence });
    answer.to_string().into()
}
