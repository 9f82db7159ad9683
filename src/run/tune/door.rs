//! Who may enter. Decided here without a socket, so that it can be tested as a table.
//!
//! Whoever sits at this computer may. From another computer only who was given the address of the
//! moment: it carries 128 random bits, is good for one use, and leaves a pass (as many random bits) in
//! that browser, good until the program ends. Every request must name this server as its host, which
//! keeps out pages of other servers that had their name point here, and none may come from a page of
//! another origin.

use std::net::{IpAddr, SocketAddr};
use std::sync::{Mutex, PoisonError};

/// Cookie that holds the pass.
pub(super) const PASS: &str = "coilscore_pass";

/// Passes given out at most; more browsers than this stand beside no tank.
const MOST_PASSES: usize = 16;

/// What decides.
#[derive(Debug)]
pub(super) struct Door {
    /// As they appear in `Host`, lower case.
    hosts: Vec<String>,
    /// Address that others may come to.
    outer: Option<SocketAddr>,
    keys: Mutex<Keys>,
}

#[derive(Debug)]
struct Keys {
    token: String,
    passes: Vec<String>,
}

/// What is known of a request.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Knock<'a> {
    /// It came to the loopback address.
    pub(super) inside: bool,
    pub(super) host: Option<&'a str>,
    pub(super) origin: Option<&'a str>,
    pub(super) cookies: Option<&'a str>,
    /// It wants to talk, not only to fetch.
    pub(super) talks: bool,
}

/// Why somebody may not enter.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Shut {
    /// `Host` is not ours.
    Host,
    /// `Origin` is not ours, or missing where browsers always send it.
    Origin,
    /// No pass, or not a good one.
    Pass,
    /// Not the address of the moment.
    Token,
    /// Enough browsers have a pass.
    Full,
}

impl Shut {
    /// For the one who stands outside.
    pub(super) fn sentence(self) -> &'static str {
        match self {
            Self::Host => "this address is not the one that coilscore printed",
            Self::Origin => "pages of other servers may not talk to coilscore",
            Self::Pass => "open the address that coilscore printed in its terminal",
            Self::Token => "this address is used up or wrong: take the one in the terminal",
            Self::Full => "sixteen browsers have entered already: start coilscore anew",
        }
    }
}

impl Door {
    /// For a server on `port` of this computer and, if there is one, on an outer address.
    ///
    /// # Errors
    /// When the system has no random numbers.
    pub(super) fn new(port: u16, outer: Option<SocketAddr>) -> Result<Self, getrandom::Error> {
        let mut hosts =
            vec![format!("127.0.0.1:{port}"), format!("localhost:{port}"), format!("[::1]:{port}")];
        hosts.extend(outer.map(|outer| outer.to_string()));
        let keys = Mutex::new(Keys { token: secret()?, passes: Vec::new() });
        Ok(Self { hosts, outer, keys })
    }

    fn keys(&self) -> std::sync::MutexGuard<'_, Keys> {
        self.keys.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// The address for somebody else, good for one use.
    pub(super) fn address(&self) -> Option<String> {
        self.outer.map(|outer| format!("http://{outer}/enter/{}", self.keys().token))
    }

    /// Whether a request may come in.
    pub(super) fn knock(&self, knock: &Knock<'_>) -> Result<(), Shut> {
        let host = knock.host.map(str::to_ascii_lowercase).ok_or(Shut::Host)?;
        if !self.hosts.contains(&host) {
            return Err(Shut::Host);
        }
        match knock.origin {
            Some(origin) if origin.to_ascii_lowercase() == format!("http://{host}") => {}
            None if !knock.talks => {}
            _ => return Err(Shut::Origin),
        }
        if knock.inside { Ok(()) } else { self.pass(knock.cookies.unwrap_or_default()) }
    }

    fn pass(&self, cookies: &str) -> Result<(), Shut> {
        let shown = cookies.split(';').filter_map(|cookie| cookie.trim().split_once('='));
        let shown: Vec<&str> = shown.filter(|it| it.0 == PASS).map(|it| it.1).collect();
        let keys = self.keys();
        let known = |pass: &&str| keys.passes.iter().any(|known| alike(known, pass));
        if shown.iter().any(known) { Ok(()) } else { Err(Shut::Pass) }
    }

    /// Somebody used the address of the moment: a pass for them, and a new address for the next.
    pub(super) fn enter(&self, host: Option<&str>, token: &str) -> Result<String, Shut> {
        let host = host.map(str::to_ascii_lowercase).ok_or(Shut::Host)?;
        if !self.hosts.contains(&host) {
            return Err(Shut::Host);
        }
        let mut keys = self.keys();
        if self.outer.is_none() || !alike(&keys.token, token) {
            return Err(Shut::Token);
        }
        if keys.passes.len() >= MOST_PASSES {
            return Err(Shut::Full);
        }
        let (next, pass) = (secret().map_err(|_| Shut::Token)?, secret().map_err(|_| Shut::Token)?);
        keys.token = next;
        keys.passes.push(pass.clone());
        Ok(pass)
    }
}

/// An address of one network, for `--open-to`.
///
/// # Errors
/// A sentence, for one that stands for all networks or for none.
pub fn outer(address: IpAddr, port: u16) -> Result<SocketAddr, String> {
    if address.is_unspecified() || address.is_multicast() {
        return Err(format!(
            "--open-to {address}: name the one address of this computer by which the others are to \
             reach it"
        ));
    }
    if address.is_loopback() {
        return Err(format!("--open-to {address}: nobody else can come there; leave it out"));
    }
    Ok(SocketAddr::new(address, port))
}

/// 128 random bits, hexadecimal.
fn secret() -> Result<String, getrandom::Error> {
    let mut bytes = [0; 16];
    getrandom::fill(&mut bytes)?;
    Ok(format!("{:032x}", u128::from_le_bytes(bytes)))
}

/// Equal, in a time that does not tell how far.
fn alike(known: &str, shown: &str) -> bool {
    let pairs = known.bytes().zip(shown.bytes());
    known.len() == shown.len() && pairs.fold(0, |sum, (a, b)| sum | (a ^ b)) == 0
}

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

    fn door() -> Door {
        Door::new(8080, Some("192.0.2.7:8080".parse().unwrap())).unwrap()
    }

    #[test]
    fn the_table_of_who_may_enter() {
        let door = door();
        let own = Some("localhost:8080");
        let at_home = Some("http://localhost:8080");
        let inside = |host, origin, talks| {
            door.knock(&Knock { inside: true, host, origin, talks, cookies: None })
        };
        for (host, origin, talks, expected) in [
            (own, None, false, Ok(())),
            (own, at_home, true, Ok(())),
            (Some("127.0.0.1:8080"), Some("http://127.0.0.1:8080"), true, Ok(())),
            (Some("[::1]:8080"), Some("http://[::1]:8080"), true, Ok(())),
            (Some("LocalHost:8080"), at_home, true, Ok(())),
            (None, None, false, Err(Shut::Host)),
            (Some(""), None, false, Err(Shut::Host)),
            (Some("localhost"), None, false, Err(Shut::Host)),
            (Some("localhost:8081"), None, false, Err(Shut::Host)),
            (Some("elsewhere.example:8080"), None, false, Err(Shut::Host)),
            (Some("127.0.0.1:8080.elsewhere.example"), None, false, Err(Shut::Host)),
            (own, None, true, Err(Shut::Origin)),
            (own, Some("null"), true, Err(Shut::Origin)),
            (own, Some("http://elsewhere.example"), false, Err(Shut::Origin)),
            (own, Some("https://localhost:8080"), true, Err(Shut::Origin)),
            (own, Some("http://127.0.0.1:8080"), true, Err(Shut::Origin)),
            (own, Some("http://localhost:8080.elsewhere.example"), true, Err(Shut::Origin)),
        ] {
            assert_eq!(inside(host, origin, talks), expected, "{host:?} {origin:?} {talks}");
        }
    }

    #[test]
    fn others_enter_by_an_address_that_is_good_once() {
        let door = door();
        let (host, cookies) = (Some("192.0.2.7:8080"), "a=b; coilscore_pass=");
        let knock =
            |cookies: Option<&str>| door.knock(&Knock { host, cookies, ..Knock::default() });
        assert_eq!(knock(None), Err(Shut::Pass));
        let address = door.address().unwrap();
        let token = address.strip_prefix("http://192.0.2.7:8080/enter/").unwrap().to_owned();
        assert_eq!(token.len(), 32);
        for wrong in ["", &token[1..], &"0".repeat(32), &token.replace(&token[..1], "g")] {
            assert_eq!(door.enter(host, wrong), Err(Shut::Token), "{wrong}");
        }
        assert_eq!(door.enter(Some("elsewhere.example"), &token), Err(Shut::Host));
        let pass = door.enter(host, &token).unwrap();
        assert_eq!(door.enter(host, &token), Err(Shut::Token), "used twice");
        assert_ne!(door.address().unwrap(), address);
        assert_eq!(knock(Some(&format!("{cookies}{pass}"))), Ok(()));
        assert_eq!(knock(Some(&format!("{cookies}{token}"))), Err(Shut::Pass));
        assert_eq!(knock(Some(&format!("{cookies}{}", &pass[..31]))), Err(Shut::Pass));
        assert_eq!(knock(Some(&format!("other={pass}"))), Err(Shut::Pass));
    }

    #[test]
    fn nobody_is_let_in_from_outside_unless_that_was_asked_for() {
        let door = Door::new(8080, None).unwrap();
        assert_eq!(door.address(), None);
        let token = door.keys().token.clone();
        assert_eq!(door.enter(Some("localhost:8080"), &token), Err(Shut::Token));
    }

    #[test]
    fn an_address_for_others_is_one_address() {
        for bad in ["0.0.0.0", "::", "127.0.0.1", "::1", "224.0.0.1"] {
            assert!(outer(bad.parse().unwrap(), 1).is_err(), "{bad}");
        }
        assert!(outer("192.0.2.7".parse().unwrap(), 1).is_ok());
    }
}
