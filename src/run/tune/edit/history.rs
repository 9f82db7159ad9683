//! What the two files said, step by step, back and forth without limit.

use std::sync::Arc;

/// Both texts at one moment.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct State {
    pub(super) mapping: Arc<str>,
    /// Only trims are ever changed in it.
    pub(super) display: Arc<str>,
}

/// What was, what is, and what was taken back.
#[derive(Debug, Clone)]
pub(super) struct History {
    past: Vec<State>,
    now: State,
    /// The next one last.
    future: Vec<State>,
    /// The grip that made this step; what it goes on to do belongs to the same step.
    grip: Option<u64>,
}

impl History {
    pub(super) fn new(first: State) -> Self {
        Self { past: Vec::new(), now: first, future: Vec::new(), grip: None }
    }

    pub(super) fn now(&self) -> &State {
        &self.now
    }

    /// A new step; what was taken back is gone. One grip (a drag, a held key) is one step.
    pub(super) fn step(&mut self, state: State, grip: Option<u64>) {
        let before = std::mem::replace(&mut self.now, state);
        if grip.is_none() || grip != self.grip {
            self.past.push(before);
        }
        self.future.clear();
        self.grip = grip;
    }

    /// What stands one step back; `None` at the first.
    pub(super) fn undo(&self) -> Option<&State> {
        self.past.last()
    }

    /// What stands one step forward; `None` at the last.
    pub(super) fn redo(&self) -> Option<&State> {
        self.future.last()
    }

    /// Goes back, once what stands there was taken in.
    pub(super) fn go_back(&mut self) {
        if let Some(before) = self.past.pop() {
            self.future.push(std::mem::replace(&mut self.now, before));
        }
        self.grip = None;
    }

    /// Goes forward.
    pub(super) fn go_on(&mut self) {
        if let Some(after) = self.future.pop() {
            self.past.push(std::mem::replace(&mut self.now, after));
        }
        self.grip = None;
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "tests stop at the first surprise")]
mod tests {
    use super::*;

    fn state(text: &str) -> State {
        State { mapping: text.into(), display: "".into() }
    }

    #[test]
    fn every_step_can_be_taken_back_and_again_but_not_after_another_one() {
        let mut history = History::new(state("0"));
        for n in 1..=5000 {
            history.step(state(&n.to_string()), None);
        }
        for n in (0..5000).rev() {
            assert_eq!(history.undo(), Some(&state(&n.to_string())));
            history.go_back();
        }
        assert_eq!(history.undo(), None);
        history.go_on();
        assert_eq!(history.now(), &state("1"));
        assert_eq!(history.redo(), Some(&state("2")));
        history.step(state("other"), None);
        assert_eq!((history.redo(), history.undo()), (None, Some(&state("1"))));
    }

    #[test]
    fn one_grip_is_one_step() {
        let mut history = History::new(state("0"));
        for n in 1..=50 {
            history.step(state(&n.to_string()), Some(7));
        }
        assert_eq!(history.undo(), Some(&state("0")));
        history.step(state("51"), Some(8));
        assert_eq!(history.undo(), Some(&state("50")), "another grip is another step");
        history.go_back();
        history.step(state("52"), Some(8));
        assert_eq!(history.undo(), Some(&state("50")), "after an undo the grip is a new one");
    }
}
