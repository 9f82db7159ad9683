//! What a page may ask for, as it comes in.

use serde::Deserialize;

use super::paper::Step;

/// One wish of a person at a page.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(tag = "do", rename_all = "snake_case", deny_unknown_fields)]
pub enum Act {
    /// A value of the mapping; without one, what is written there goes.
    Set {
        /// Where.
        path: Vec<Step>,
        /// What.
        #[serde(default)]
        value: Option<serde_json::Value>,
        /// One drag is one step to be undone.
        #[serde(default)]
        grip: Option<u64>,
    },
    /// A kind of a menu, written as its example.
    Kind {
        /// The menu's key.
        path: Vec<Step>,
        /// The example, a line of TOML that begins with the key.
        example: String,
    },
    /// A coil's trim.
    Trim {
        /// From 0.
        coil: usize,
        /// 0 to 1.
        value: f64,
        /// One drag is one step to be undone.
        #[serde(default)]
        grip: Option<u64>,
    },
    /// A new route.
    AddRoute,
    /// A copy of a route behind it.
    CopyRoute {
        /// From 0.
        route: usize,
    },
    /// Away with a route.
    RemoveRoute {
        /// From 0.
        route: usize,
    },
    /// A route to another place.
    MoveRoute {
        /// From 0.
        route: usize,
        /// From 0.
        to: usize,
    },
    /// One step back.
    Undo,
    /// One step forward.
    Redo,
    /// The other of the two versions.
    OtherVersion,
    /// This version into the other one.
    CopyVersion,
    /// A route is not heard, or is again.
    Mute {
        /// By name.
        route: String,
        /// Whether.
        on: bool,
    },
    /// Only this route and others so marked are heard.
    Solo {
        /// By name.
        route: String,
        /// Whether.
        on: bool,
    },
    /// Into the files.
    Save,
    /// What the files say now, as a step that can be undone.
    Reload,
}
