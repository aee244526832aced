//! Where a request comes from, when proxies stand in front.
//!
//! A proxy writes down whom it speaks for; anybody can write the same. So the chain is read from
//! its near end: the peer, and, while the one before is a proxy that the settings name, the address
//! that it gives. The first that is none of ours is who asks. Nothing else that a proxy says (the
//! host, the scheme) is used: the public address is a setting.

use crate::config::{ForwardedBy, Proxies};
use http::{HeaderMap, HeaderName, header};
use std::net::{IpAddr, SocketAddr};

/// `X-Forwarded-For`, which no standard registers.
const X_FORWARDED_FOR: HeaderName = HeaderName::from_static("x-forwarded-for");

/// The address that a request of `peer` comes from.
#[must_use]
pub fn client(peer: IpAddr, headers: &HeaderMap, proxies: &Proxies) -> IpAddr {
    let mut client = peer.to_canonical();
    if !proxies.trusts(client) {
        return client;
    }
    for said in chain(headers, proxies.header).iter().rev() {
        // What cannot be read, or is kept secret, ends what is known: the last proxy stands for it.
        let Some(address) = address(said) else { return client };
        client = address;
        if !proxies.trusts(client) {
            return client;
        }
    }
    client
}

/// What the proxies said, farthest first.
fn chain(headers: &HeaderMap, by: ForwardedBy) -> Vec<String> {
    let name = match by {
        ForwardedBy::XForwardedFor => X_FORWARDED_FOR,
        ForwardedBy::Forwarded => header::FORWARDED,
    };
    let lines = headers.get_all(name).iter().map(|v| v.to_str().unwrap_or_default());
    let elements = lines.flat_map(|line| split(line, ','));
    match by {
        ForwardedBy::XForwardedFor => elements.map(|e| e.trim().to_owned()).collect(),
        ForwardedBy::Forwarded => elements.map(|e| node(&e)).collect(),
    }
}

/// The parts between separators that stand in no quoted text (RFC 9110 §5.6.4).
fn split(text: &str, separator: char) -> Vec<String> {
    let (mut parts, mut quoted, mut escaped) = (vec![String::new()], false, false);
    for c in text.chars() {
        if c == separator && !quoted {
            parts.push(String::new());
            continue;
        }
        quoted ^= c == '"' && !escaped;
        escaped = c == '\\' && quoted && !escaped;
        if let Some(part) = parts.last_mut() {
            part.push(c);
        }
    }
    parts
}

/// The node of `for=` in one element of `Forwarded`; empty where there is none.
fn node(element: &str) -> String {
    let pairs = split(element, ';');
    let found =
        pairs.iter().filter_map(|pair| pair.split_once('=')).find(|(n, _)| n.trim().eq_ignore_ascii_case("for"));
    let value = found.map_or("", |(_, value)| value.trim());
    let bare = value.strip_prefix('"').and_then(|v| v.strip_suffix('"')).unwrap_or(value);
    bare.replace('\\', "")
}

/// An address as proxies write it: with a port or without, IPv6 in brackets or bare.
fn address(text: &str) -> Option<IpAddr> {
    let bare = text.strip_prefix('[').and_then(|t| t.strip_suffix(']')).unwrap_or(text);
    let parsed = bare.parse().or_else(|_| text.parse::<SocketAddr>().map(|a| a.ip())).ok();
    parsed.map(|address: IpAddr| address.to_canonical())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn asked(peer: &str, headers: &[(&'static str, &'static str)], header: ForwardedBy) -> String {
        let trusted = vec!["127.0.0.1/32".parse().unwrap(), "10.0.0.0/8".parse().unwrap()];
        let mut map = HeaderMap::new();
        for (name, value) in headers {
            map.append(*name, value.parse().unwrap());
        }
        client(peer.parse().unwrap(), &map, &Proxies { trusted, header }).to_string()
    }

    #[test]
    fn the_chain_is_read_from_its_near_end_to_the_first_who_is_no_proxy_of_ours() {
        let x = |peer, value| asked(peer, &[("x-forwarded-for", value)], ForwardedBy::XForwardedFor);
        assert_eq!(x("127.0.0.1", "198.51.100.7"), "198.51.100.7");
        assert_eq!(x("127.0.0.1", "198.51.100.7, 10.0.0.3"), "198.51.100.7");
        assert_eq!(x("::ffff:127.0.0.1", "198.51.100.7:4711"), "198.51.100.7");
        assert_eq!(x("127.0.0.1", "2001:db8::7"), "2001:db8::7");
        assert_eq!(x("127.0.0.1", "[2001:db8::7]:443"), "2001:db8::7");
    }

    #[test]
    fn what_the_asker_wrote_is_not_taken() {
        let x = |peer, value| asked(peer, &[("x-forwarded-for", value)], ForwardedBy::XForwardedFor);
        assert_eq!(x("198.51.100.7", "203.0.113.1"), "198.51.100.7", "no proxy of ours");
        assert_eq!(x("127.0.0.1", "203.0.113.1, 198.51.100.7"), "198.51.100.7", "the farther part is theirs");
        assert_eq!(x("127.0.0.1", "10.0.0.9, 198.51.100.7"), "198.51.100.7", "also when it names a proxy");
        let two = [("x-forwarded-for", "203.0.113.1"), ("x-forwarded-for", "198.51.100.7")];
        assert_eq!(asked("127.0.0.1", &two, ForwardedBy::XForwardedFor), "198.51.100.7", "lines are one list");
        let other = [("forwarded", "for=203.0.113.1"), ("x-forwarded-for", "198.51.100.7")];
        assert_eq!(asked("127.0.0.1", &other, ForwardedBy::XForwardedFor), "198.51.100.7", "one header is read");
        assert_eq!(asked("127.0.0.1", &other, ForwardedBy::Forwarded), "203.0.113.1");
    }

    #[test]
    fn what_cannot_be_read_leaves_the_last_proxy() {
        let x = |value| asked("127.0.0.1", &[("x-forwarded-for", value)], ForwardedBy::XForwardedFor);
        for value in ["", "unknown", "198.51.100.7, somebody", "198.51.100.7,,", "198.51.100.7;10.0.0.1"] {
            assert_eq!(x(value), "127.0.0.1", "{value}");
        }
        assert_eq!(x("nonsense, 10.0.0.3"), "10.0.0.3");
        assert_eq!(asked("127.0.0.1", &[], ForwardedBy::XForwardedFor), "127.0.0.1");
    }

    #[test]
    fn elements_of_forwarded_are_read_as_rfc_7239_writes_them() {
        let f = |value| asked("127.0.0.1", &[("forwarded", value)], ForwardedBy::Forwarded);
        // The examples of RFC 7239 §4 and §6, and a comma in quotes.
        assert_eq!(f(r#"For="[2001:db8:cafe::17]:4711""#), "2001:db8:cafe::17");
        assert_eq!(f("for=192.0.2.60;proto=http;by=203.0.113.43"), "192.0.2.60");
        assert_eq!(f("for=192.0.2.43, for=198.51.100.17"), "198.51.100.17");
        assert_eq!(f(r#"for=192.0.2.43;host="a,b", for=10.0.0.1"#), "192.0.2.43");
        assert_eq!(f(r#"for="_gazonk""#), "127.0.0.1");
        assert_eq!(f("for=unknown"), "127.0.0.1");
        assert_eq!(f("proto=http"), "127.0.0.1");
        assert_eq!(f(r#"for="198.51.100.7"#), "127.0.0.1", "an open quote");
    }
}
