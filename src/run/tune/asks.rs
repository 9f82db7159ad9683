//! What pages say, what they are told, and the channels between the server and the host.

use std::sync::mpsc::SyncSender;

use axum::body::Bytes;
use axum::extract::ws::Utf8Bytes;
use serde::{Deserialize, Serialize};
use tokio::sync::{mpsc, watch};

use super::edit::Act;

/// One message of a page, JSON.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Said {
    /// Comes back with the answer.
    pub(super) id: u64,
    /// A change.
    #[serde(default)]
    pub(super) act: Option<Act>,
    /// Hands on the wishes.
    #[serde(default)]
    pub(super) hands: Option<HandsAsked>,
    /// Editing, please.
    #[serde(default)]
    pub(super) take: bool,
}

/// Hands as a page sets them.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize, Serialize)]
#[serde(deny_unknown_fields)]
pub(super) struct HandsAsked {
    /// Every coil off.
    pub(super) all_off: bool,
    /// The wishes of the moment stay.
    pub(super) hold: bool,
    /// 0 to 100.
    pub(super) level_percent: u8,
}

/// From the server to the host.
#[derive(Debug)]
pub(super) enum Ask {
    /// A page came.
    Join(u32, mpsc::Sender<Utf8Bytes>),
    /// A page went.
    Leave(u32),
    /// A page said something.
    Said(u32, Said),
    /// Somebody used the one-time address; this is the next.
    Entered(String),
}

/// What every page is shown: always the newest, never a queue.
#[derive(Debug, Clone)]
pub(super) struct Shown {
    pub(super) look: watch::Receiver<Bytes>,
    pub(super) standing: watch::Receiver<Utf8Bytes>,
    pub(super) status: watch::Receiver<Utf8Bytes>,
}

/// The host's ends.
#[derive(Debug)]
pub(super) struct Shows {
    pub(super) look: watch::Sender<Bytes>,
    pub(super) standing: watch::Sender<Utf8Bytes>,
    pub(super) status: watch::Sender<Utf8Bytes>,
}

/// Both ends.
pub(super) fn shows() -> (Shows, Shown) {
    let (look, see_look) = watch::channel(Bytes::new());
    let (standing, see_standing) = watch::channel(Utf8Bytes::default());
    let (status, see_status) = watch::channel(Utf8Bytes::default());
    let shown = Shown { look: see_look, standing: see_standing, status: see_status };
    (Shows { look, standing, status }, shown)
}

/// The way to the host; full when it cannot keep up.
pub(super) type Asks = SyncSender<Ask>;

#[cfg(test)]
#[allow(
    clippy::unwrap_used,
    clippy::panic,
    clippy::indexing_slicing,
    clippy::disallowed_methods,
    reason = "tests stop at the first surprise"
)]
mod tests {
    use super::*;

    #[test]
    fn messages_are_read_and_what_nobody_knows_is_not() {
        let said = |text: &str| serde_json::from_str::<Said>(text);
        let set =
            said(r#"{"id":4,"act":{"do":"set","path":["route",0,"weight"],"value":0.5,"grip":9}}"#);
        let Some(Act::Set { path, value, grip }) = set.unwrap().act else { panic!("not read") };
        assert_eq!((path.len(), value, grip), (3, Some(0.5.into()), Some(9)));
        assert!(said(r#"{"id":1,"take":true}"#).unwrap().take);
        let hands = r#"{"id":1,"hands":{"all_off":true,"hold":false,"level_percent":80}}"#;
        assert!(said(hands).unwrap().hands.unwrap().all_off);
        for bad in [
            "",
            "{",
            "[]",
            "{}",
            r#"{"id":-1}"#,
            r#"{"id":1,"other":2}"#,
            r#"{"id":1,"act":{"do":"erase"}}"#,
            r#"{"id":1,"act":{"do":"set","path":[-1]}}"#,
            r#"{"id":1,"act":{"do":"mute","route":"a","on":true,"more":1}}"#,
            r#"{"id":1,"hands":{"all_off":true,"hold":false,"level_percent":800}}"#,
        ] {
            assert!(said(bad).is_err(), "{bad}");
        }
    }
}
