//! Who may come in: the key in the address, and requests that come from this page alone. Pure.
//!
//! A page of another site can make a browser ask here: with its own name as Host where it has bound that name to this
//! machine's address (DNS rebinding), or with its own Origin. Both are refused before the key is looked at.

use std::net::{IpAddr, SocketAddr};

use rand::Rng;
use subtle::ConstantTimeEq;

/// Letters of the key: none looks like another, all may stand in an address.
const LETTERS: &[u8; 32] = b"abcdefghijkmnpqrstuvwxyz23456789";
/// 26 letters of 5 bits: 130 bits.
const KEY_LETTERS: usize = 26;

/// What a request says of where it comes from.
#[derive(Debug, Clone, Copy, Default)]
pub struct Asked<'r> {
    pub host: Option<&'r str>,
    pub origin: Option<&'r str>,
    /// `Sec-Fetch-Site`, as browsers send it.
    pub site: Option<&'r str>,
    pub query: Option<&'r str>,
}

#[derive(Debug, Clone)]
pub struct Gate {
    key: String,
    hosts: Vec<String>,
}

impl Gate {
    /// A gate with a key of its own for a page at this port of these addresses.
    pub fn new(addresses: &[IpAddr], port: u16) -> Self {
        let mut random = rand::rng();
        let key = (0..KEY_LETTERS)
            .map(|_| char::from(LETTERS[(random.next_u32() % 32) as usize]))
            .collect();
        Self::with_key(key, addresses, port)
    }

    fn with_key(key: String, addresses: &[IpAddr], port: u16) -> Self {
        let of = |address: &IpAddr| SocketAddr::new(*address, port).to_string();
        let mut hosts: Vec<String> = addresses.iter().map(of).collect();
        if addresses.iter().any(IpAddr::is_loopback) {
            hosts.push(format!("localhost:{port}"));
        }
        Self { key, hosts }
    }

    pub fn key(&self) -> &str {
        &self.key
    }

    /// The page's address at one of its hosts.
    pub fn address(&self, host: &str) -> String {
        format!("http://{host}/?key={}", self.key)
    }

    pub fn hosts(&self) -> &[String] {
        &self.hosts
    }

    /// The host by which it was asked, where it may come in.
    ///
    /// # Errors
    /// Why not, in words that tell a stranger nothing.
    pub fn admits<'r>(&self, asked: Asked<'r>) -> Result<&'r str, &'static str> {
        let known = |host: &&str| self.hosts.iter().any(|own| own.eq_ignore_ascii_case(host));
        let host = asked.host.filter(known).ok_or("not this page's address")?;
        let own_origin = |origin: &str| {
            let rest = origin.strip_prefix("http://");
            rest.is_some_and(|rest| rest.eq_ignore_ascii_case(host))
        };
        if !asked.origin.is_none_or(own_origin) {
            return Err("asked by another site");
        }
        if !asked
            .site
            .is_none_or(|site| matches!(site, "same-origin" | "none"))
        {
            return Err("asked by another site");
        }
        let given = asked.query.and_then(key_in).unwrap_or_default();
        let same: bool = given.as_bytes().ct_eq(self.key.as_bytes()).into();
        match same {
            true => Ok(host),
            false => Err(
                "Open the address that the terminal shows, with its key, or scan its code again: the key is a new one each time the program is started.",
            ),
        }
    }
}

fn key_in(query: &str) -> Option<&str> {
    query.split('&').find_map(|pair| pair.strip_prefix("key="))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn gate() -> Gate {
        let addresses = [
            "127.0.0.1".parse().unwrap(),
            "192.168.7.20".parse().unwrap(),
        ];
        Gate::with_key("abc".into(), &addresses, 8640)
    }

    fn good() -> Asked<'static> {
        Asked {
            host: Some("192.168.7.20:8640"),
            origin: None,
            site: None,
            query: Some("key=abc"),
        }
    }

    #[test]
    fn its_own_page_is_admitted_by_each_of_its_names() {
        let gate = gate();
        for host in [
            "127.0.0.1:8640",
            "localhost:8640",
            "LOCALHOST:8640",
            "192.168.7.20:8640",
        ] {
            let origin = format!("http://{host}");
            let asked = Asked {
                host: Some(host),
                origin: Some(&origin),
                site: Some("same-origin"),
                query: Some("of=verdict&key=abc"),
            };
            assert_eq!(gate.admits(asked), Ok(host));
        }
    }

    #[test]
    fn a_name_bound_to_this_machine_by_somebody_else_is_refused_even_with_the_key() {
        for host in [
            None,
            Some("evil.example:8640"),
            Some("127.0.0.1"),
            Some("127.0.0.1:8641"),
            Some(""),
        ] {
            assert!(gate().admits(Asked { host, ..good() }).is_err(), "{host:?}");
        }
    }

    #[test]
    fn another_site_is_refused_even_with_the_key() {
        for origin in [
            "http://evil.example",
            "null",
            "https://192.168.7.20:8640",
            "http://127.0.0.1:8640",
            "",
        ] {
            let asked = Asked {
                origin: Some(origin),
                ..good()
            };
            assert!(gate().admits(asked).is_err(), "{origin}");
        }
        for site in ["cross-site", "same-site", ""] {
            let asked = Asked {
                site: Some(site),
                ..good()
            };
            assert!(gate().admits(asked).is_err(), "{site}");
        }
    }

    #[test]
    fn without_the_whole_key_nobody_is_admitted() {
        for query in [
            None,
            Some(""),
            Some("key="),
            Some("key=ab"),
            Some("key=abcd"),
            Some("Key=abc"),
            Some("xkey=abc"),
        ] {
            assert!(
                gate().admits(Asked { query, ..good() }).is_err(),
                "{query:?}"
            );
        }
    }

    #[test]
    fn keys_are_long_and_never_the_same() {
        let new = || Gate::new(&[], 1).key().to_owned();
        let (one, other) = (new(), new());
        assert_eq!(one.len(), KEY_LETTERS);
        assert_ne!(one, other);
        assert!(one.bytes().all(|b| LETTERS.contains(&b)));
    }
}
