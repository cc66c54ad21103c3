//! Who may ask what: the token of a server that others can reach, the names it
//! answers to, and where a request comes from. It answers refusals alone and knows
//! no page.

use axum::body::Body;
use axum::extract::{Request, State};
use axum::http::header::{
    CACHE_CONTROL, CONTENT_SECURITY_POLICY, CONTENT_TYPE, COOKIE, HOST, LOCATION, ORIGIN,
    REFERRER_POLICY, SET_COOKIE, X_CONTENT_TYPE_OPTIONS,
};
use axum::http::{HeaderMap, HeaderName, HeaderValue, Method, Response, StatusCode, Uri};
use axum::middleware::Next;
use std::fs::File;
use std::io::{self, Read as _};
use std::net::{IpAddr, SocketAddr};
use std::sync::Arc;
use std::time::Duration;

/// The cookie that a page shows instead of the token.
const COOKIE_NAME: &str = "bufferstop";

/// No address of a page is longer.
const LONGEST_ADDRESS: usize = 2048;

/// No answer takes longer to begin, the reading of what was sent included.
const LONGEST_ANSWER: Duration = Duration::from_secs(60);

/// What a page may load: its own style, script and data, and nothing of others.
const POLICY: &str = "default-src 'none'; style-src 'self'; script-src 'self'; img-src 'self' data:; \
     connect-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'";

/// A secret of 128 bits in hexadecimal digits.
#[derive(Clone, PartialEq, Eq)]
pub(super) struct Secret(String);

impl Secret {
    /// A new one.
    ///
    /// # Errors
    /// Where the system gives no random bytes.
    pub(super) fn new() -> io::Result<Self> {
        let mut chance = [0_u8; 16];
        File::open("/dev/urandom")?.read_exact(&mut chance)?;
        Ok(Self(chance.map(|byte| format!("{byte:02x}")).concat()))
    }

    pub(super) fn as_str(&self) -> &str {
        &self.0
    }

    /// Whether `shown` is it: the time this takes says nothing of where it differs.
    pub(super) fn is(&self, shown: &str) -> bool {
        let (own, shown) = (self.0.as_bytes(), shown.as_bytes());
        let differs = own.iter().zip(shown).fold(0, |d, (a, b)| d | (a ^ b));
        std::hint::black_box(differs) == 0 && own.len() == shown.len()
    }
}

/// What stands at the door.
pub(super) struct Guard {
    /// Asked of every page, where others can reach the server.
    token: Option<Secret>,
    /// What a page shows once it has shown the token.
    cookie: Secret,
    /// Where it listens.
    at: SocketAddr,
    /// Names by which it is reached besides.
    names: Vec<String>,
}

impl Guard {
    /// The guard of a server at `at`, reached by `names` besides.
    ///
    /// # Errors
    /// Where the system gives no random bytes.
    pub(super) fn new(at: SocketAddr, names: Vec<String>) -> io::Result<Self> {
        let token = if at.ip().is_loopback() {
            None
        } else {
            Some(Secret::new()?)
        };
        Ok(Self {
            token,
            cookie: Secret::new()?,
            at,
            names,
        })
    }

    /// The token, to be shown once to whoever started the server.
    pub(super) fn token(&self) -> Option<&str> {
        self.token.as_ref().map(Secret::as_str)
    }

    /// Whether the server answers to that name. A page of somebody else's reaches it
    /// by a name of theirs, whatever address they let that stand for; so of names only
    /// its own will do, and of addresses any that leads here.
    fn answers_to(&self, host: &str) -> bool {
        let (name, port) = match host.rsplit_once(':') {
            Some((name, port)) if !port.contains(']') => (name, port.parse().ok()),
            _ => (host, Some(80)),
        };
        if port != Some(self.at.port()) {
            return false;
        }
        let address = name.trim_start_matches('[').trim_end_matches(']');
        let own = self.at.ip();
        match address.parse::<IpAddr>() {
            Ok(address) => address == own || own.is_unspecified() || both_loopback(address, own),
            Err(_) => {
                let local = own.is_loopback() && name.eq_ignore_ascii_case("localhost");
                local || self.names.iter().any(|own| own.eq_ignore_ascii_case(name))
            }
        }
    }

    /// The first thing that forbids a request, in the order in which it is asked.
    fn refusal(&self, method: &Method, uri: &Uri, headers: &HeaderMap) -> Option<Refusal> {
        let text = |name: &HeaderName| headers.get(name).and_then(|value| value.to_str().ok());
        if uri.to_string().len() > LONGEST_ADDRESS {
            return Some(Refusal::Address);
        }
        let host = text(&HOST).filter(|host| self.answers_to(host));
        let Some(host) = host else {
            return Some(Refusal::Host);
        };
        let own = format!("http://{host}");
        let from = headers.get(ORIGIN).map(|origin| origin.as_bytes());
        let reads = method == Method::GET || method == Method::HEAD;
        let foreign = match from {
            Some(from) => from != own.as_bytes(),
            // What changes something says where it comes from.
            None => !reads,
        };
        let site = headers.get("sec-fetch-site").map(HeaderValue::as_bytes);
        let mode = headers.get("sec-fetch-mode").map(HeaderValue::as_bytes);
        let crosses = site.is_some_and(|site| site == b"cross-site" || site == b"same-site");
        // A link elsewhere may lead here; nothing else there may load from here.
        let led = reads && mode == Some(b"navigate");
        if foreign || (crosses && !led) {
            return Some(Refusal::Origin);
        }
        self.token.as_ref()?;
        let cookies = text(&COOKIE).unwrap_or_default().split(';');
        let mut shown = cookies.filter_map(|cookie| cookie.trim().split_once('='));
        let known = shown.any(|(name, value)| name == COOKIE_NAME && self.cookie.is(value));
        (!known).then_some(Refusal::Token)
    }

    /// Whether the request brings the token itself.
    fn brings_token(&self, uri: &Uri) -> bool {
        let Some(token) = &self.token else {
            return false;
        };
        let mut pairs = uri.query().unwrap_or_default().split('&');
        let shown = pairs.find_map(|pair| pair.strip_prefix("token="));
        shown.is_some_and(|shown| token.is(shown))
    }

    /// Lets the page in: from now on it shows the cookie, and the token stands in no
    /// address any more.
    fn let_in(&self, uri: &Uri) -> Response<Body> {
        let cookie = format!(
            "{COOKIE_NAME}={}; HttpOnly; SameSite=Strict; Path=/",
            self.cookie.as_str()
        );
        let mut answer = Response::new(Body::empty());
        *answer.status_mut() = StatusCode::SEE_OTHER;
        let path = HeaderValue::from_str(uri.path());
        let headers = answer.headers_mut();
        headers.insert(LOCATION, path.unwrap_or(HeaderValue::from_static("/")));
        if let Ok(cookie) = HeaderValue::from_str(&cookie) {
            headers.insert(SET_COOKIE, cookie);
        }
        answer
    }
}

fn both_loopback(one: IpAddr, other: IpAddr) -> bool {
    one.is_loopback() && other.is_loopback()
}

/// Why a request is not answered.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Refusal {
    Address,
    Host,
    Origin,
    Token,
}

impl Refusal {
    fn told(self) -> (StatusCode, &'static str) {
        match self {
            Self::Address => (
                StatusCode::URI_TOO_LONG,
                "This address is longer than any page here has.\n",
            ),
            Self::Host => (
                StatusCode::MISDIRECTED_REQUEST,
                "The server does not answer to this name. Use the address that it printed when it \
                 was started, or start it with --name.\n",
            ),
            Self::Origin => (
                StatusCode::FORBIDDEN,
                "This request comes from another site. Nothing was done.\n",
            ),
            Self::Token => (
                StatusCode::UNAUTHORIZED,
                "This bench asks for its token: open the whole address that the server printed \
                 when it was started.\n",
            ),
        }
    }
}

/// Asks every request, and says with every answer what the page may do.
pub(super) async fn at_the_door(
    State(guard): State<Arc<Guard>>,
    request: Request,
    next: Next,
) -> Response<Body> {
    let (method, uri) = (request.method(), request.uri());
    let refusal = guard.refusal(method, uri, request.headers());
    let mut answer = match refusal {
        Some(Refusal::Token) if method == Method::GET && guard.brings_token(uri) => {
            guard.let_in(uri)
        }
        Some(refusal) => {
            let (status, words) = refusal.told();
            plain(status, words)
        }
        None => match tokio::time::timeout(LONGEST_ANSWER, next.run(request)).await {
            Ok(answer) => answer,
            Err(_) => plain(StatusCode::REQUEST_TIMEOUT, "This took too long.\n"),
        },
    };
    let headers = answer.headers_mut();
    for (name, value) in [
        (CONTENT_SECURITY_POLICY, POLICY),
        (CACHE_CONTROL, "no-store"),
        (X_CONTENT_TYPE_OPTIONS, "nosniff"),
        (REFERRER_POLICY, "no-referrer"),
        (
            HeaderName::from_static("cross-origin-opener-policy"),
            "same-origin",
        ),
        (
            HeaderName::from_static("cross-origin-resource-policy"),
            "same-origin",
        ),
    ] {
        // A document that is handed out has a policy of its own.
        headers
            .entry(name)
            .or_insert(HeaderValue::from_static(value));
    }
    answer
}

/// A sentence as an answer.
pub(super) fn plain(status: StatusCode, words: impl Into<String>) -> Response<Body> {
    let mut answer = Response::new(Body::from(words.into()));
    *answer.status_mut() = status;
    let kind = HeaderValue::from_static("text/plain; charset=utf-8");
    answer.headers_mut().insert(CONTENT_TYPE, kind);
    answer
}

#[cfg(test)]
mod tests {
    use super::*;

    fn guard(at: &str) -> Guard {
        let names = vec!["bench.example".to_owned()];
        Guard::new(at.parse().expect("an address"), names).expect("random bytes")
    }

    fn asked(guard: &Guard, method: Method, pairs: &[(&'static str, &str)]) -> Option<Refusal> {
        let mut headers = HeaderMap::new();
        for (name, value) in pairs {
            headers.insert(*name, value.parse().expect("a header"));
        }
        guard.refusal(&method, &Uri::from_static("/"), &headers)
    }

    #[test]
    fn only_its_own_names_lead_to_the_bench() {
        let own = guard("127.0.0.1:8371");
        for host in [
            "127.0.0.1:8371",
            "localhost:8371",
            "[::1]:8371",
            "bench.example:8371",
        ] {
            assert_eq!(asked(&own, Method::GET, &[("host", host)]), None, "{host}");
        }
        let others = [
            "evil.example:8371",
            "127.0.0.1",
            "127.0.0.1:80",
            "192.0.2.1:8371",
            "localhost.evil.example:8371",
            "",
        ];
        for host in others {
            let refusal = asked(&own, Method::GET, &[("host", host)]);
            assert_eq!(refusal, Some(Refusal::Host), "{host}");
        }
        assert_eq!(asked(&own, Method::GET, &[]), Some(Refusal::Host));
        // By a name that somebody else lets stand for this machine nobody comes in.
        let open = guard("0.0.0.0:8371");
        let refusal = asked(&open, Method::GET, &[("host", "evil.example:8371")]);
        assert_eq!(refusal, Some(Refusal::Host));
        let refusal = asked(&open, Method::GET, &[("host", "192.0.2.1:8371")]);
        assert_eq!(refusal, Some(Refusal::Token));
    }

    #[test]
    fn what_changes_something_comes_from_the_page_itself() {
        let own = guard("127.0.0.1:8371");
        let host = ("host", "127.0.0.1:8371");
        let from = |origin| [host, ("origin", origin)];
        let post = |pairs: &[(&'static str, &str)]| asked(&own, Method::POST, pairs);
        assert_eq!(post(&from("http://127.0.0.1:8371")), None);
        for origin in [
            "http://evil.example",
            "http://localhost:8371",
            "https://127.0.0.1:8371",
            "null",
        ] {
            assert_eq!(post(&from(origin)), Some(Refusal::Origin), "{origin}");
        }
        assert_eq!(post(&[host]), Some(Refusal::Origin));
        let crossed = [host, ("sec-fetch-site", "cross-site")];
        assert_eq!(asked(&own, Method::GET, &crossed), Some(Refusal::Origin));
        let led = [crossed[0], crossed[1], ("sec-fetch-mode", "navigate")];
        assert_eq!(asked(&own, Method::GET, &led), None);
    }

    #[test]
    fn a_secret_is_itself_alone() {
        let secret = Secret::new().expect("random bytes");
        let text = secret.as_str().to_owned();
        assert!(secret.is(&text));
        assert_eq!(text.len(), 32);
        assert!(!secret.is(""));
        assert!(!secret.is(&text[..31]));
        assert!(!secret.is(&format!("{text}0")));
        assert!(!secret.is(&"0".repeat(32)));
    }
}
