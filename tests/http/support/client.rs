//! Somebody who sends requests: `app.staff_of("quayside").await.put(path).json(body).await`.

use axum::body::Body;
use axum::extract::ConnectInfo;
use bytes::Bytes;
use http::{HeaderMap, HeaderName, HeaderValue, Method, Request, StatusCode, header};
use http_body_util::BodyExt;
use serde_json::Value;
use std::future::{Future, IntoFuture};
use std::net::{IpAddr, SocketAddr};
use std::pin::Pin;
use tower::ServiceExt;

/// Where a browser of the tests stands.
pub const HOST: &str = "127.0.0.1:8080";

/// Somebody, or nobody.
#[derive(Clone)]
pub struct Client {
    router: axum::Router,
    headers: HeaderMap,
    peer: Option<IpAddr>,
    /// Whose; empty: nobody's.
    pub email: String,
}

impl Client {
    pub fn new(router: axum::Router) -> Self {
        let mut headers = HeaderMap::new();
        headers.insert(header::HOST, HeaderValue::from_static(HOST));
        Self { router, headers, peer: None, email: String::new() }
    }

    /// The same person at another service.
    pub fn at(&self, router: axum::Router) -> Self {
        Self { router, ..self.clone() }
    }

    /// Of the account with this address.
    pub fn of(mut self, email: &str) -> Self {
        email.clone_into(&mut self.email);
        self
    }

    /// With a bearer token.
    pub fn with_token(self, token: &str) -> Self {
        self.with(header::AUTHORIZATION, &format!("Bearer {token}"))
    }

    /// With a session's cookie, as a page of our own would send it.
    pub fn with_cookie(self, secret: &str) -> Self {
        self.with(header::COOKIE, &format!("sid={secret}")).with(header::ORIGIN, &format!("http://{HOST}"))
    }

    /// With this header on every request.
    pub fn with(mut self, name: HeaderName, value: &str) -> Self {
        self.headers.insert(name, value.parse().expect("a header value"));
        self
    }

    /// Over a connection from this address.
    pub fn seen_from(mut self, address: &str) -> Self {
        self.peer = Some(address.parse().expect("an address"));
        self
    }

    /// Without this header from here on.
    pub fn without(mut self, name: HeaderName) -> Self {
        self.headers.remove(name);
        self
    }

    pub fn get(&self, path: &str) -> Call {
        self.call(Method::GET, path)
    }

    pub fn put(&self, path: &str) -> Call {
        self.call(Method::PUT, path)
    }

    pub fn post(&self, path: &str) -> Call {
        self.call(Method::POST, path)
    }

    pub fn patch(&self, path: &str) -> Call {
        self.call(Method::PATCH, path)
    }

    pub fn delete(&self, path: &str) -> Call {
        self.call(Method::DELETE, path)
    }

    /// Where an answer leads, as a browser goes there: with the cookies that came with it.
    pub async fn follow(&self, reply: &Reply) -> Reply {
        let to = reply.header("location").split('#').next().unwrap_or_default();
        self.given(std::slice::from_ref(reply)).get(to).await
    }

    /// The cookies that it sends.
    pub fn cookies(&self) -> String {
        self.headers.get(header::COOKIE).and_then(|v| v.to_str().ok()).unwrap_or_default().to_owned()
    }

    /// With the cookies that came with these answers.
    pub fn given(&self, replies: &[Reply]) -> Self {
        let set = replies.iter().flat_map(|reply| reply.headers.get_all(header::SET_COOKIE));
        let set = set.filter_map(|v| v.to_str().ok()).filter_map(|cookie| cookie.split(';').next());
        let own = self.headers.get(header::COOKIE).and_then(|v| v.to_str().ok());
        let cookies: Vec<&str> = own.into_iter().chain(set).collect();
        self.clone().with(header::COOKIE, &cookies.join("; "))
    }

    /// Erases somebody of saltmarsh as its organiser does: looks who it is, and says yes.
    pub async fn erases(&self, field: &str, value: &str) -> Reply {
        let csrf = self.get("/account").await.csrf();
        let fields = [("csrf", &*csrf), (field, value)];
        let looked = self.post("/organise/saltmarsh/erase").form(&fields).await;
        let seen = looked.seen();
        if looked.status != 200 {
            return looked;
        }
        let sure = [("seen", &*seen), ("sure", "yes"), ("do", "apply")];
        self.post("/organise/saltmarsh/erase").form(&[fields.as_slice(), &sure].concat()).await
    }

    pub fn call(&self, method: Method, path: &str) -> Call {
        Call {
            router: self.router.clone(),
            method,
            path: path.to_owned(),
            headers: self.headers.clone(),
            peer: self.peer,
            body: Body::empty(),
        }
    }
}

/// A request in the making; awaiting it sends it.
pub struct Call {
    router: axum::Router,
    method: Method,
    path: String,
    headers: HeaderMap,
    peer: Option<IpAddr>,
    body: Body,
}

impl Call {
    pub fn header(mut self, name: &str, value: &str) -> Self {
        let name: HeaderName = name.parse().expect("a header name");
        self.headers.append(name, value.parse().expect("a header value"));
        self
    }

    /// `If-Match: "etag"`.
    pub fn if_match(self, etag: impl std::fmt::Display) -> Self {
        self.header("if-match", &format!("\"{etag}\""))
    }

    pub fn accept(self, kind: &str) -> Self {
        self.header("accept", kind)
    }

    pub fn json(self, body: impl Into<Value>) -> Self {
        let text = body.into().to_string();
        self.body("application/json", text)
    }

    pub fn csv(self, text: &str) -> Self {
        self.body("text/csv", text.to_owned())
    }

    /// A form of a page; `csrf` is among the fields where it is needed.
    pub fn form(self, fields: &[(&str, &str)]) -> Self {
        let text = form_urlencoded::Serializer::new(String::new()).extend_pairs(fields).finish();
        self.body("application/x-www-form-urlencoded", text)
    }

    /// A form of a page with a file in its field `file`.
    pub fn upload(self, fields: &[(&str, &str)], file: &[u8]) -> Self {
        let mut body = Vec::new();
        for (name, value) in fields {
            let part = format!("--xyz\r\nContent-Disposition: form-data; name=\"{name}\"\r\n\r\n{value}\r\n");
            body.extend(part.into_bytes());
        }
        body.extend(b"--xyz\r\nContent-Disposition: form-data; name=\"file\"; filename=\"f\"\r\n\r\n");
        body.extend(file);
        body.extend(b"\r\n--xyz--\r\n");
        self.body("multipart/form-data; boundary=xyz", body)
    }

    pub fn body(mut self, kind: &str, body: impl Into<Body>) -> Self {
        self.body = body.into();
        self.header("content-type", kind)
    }
}

impl IntoFuture for Call {
    type Output = Reply;
    type IntoFuture = Pin<Box<dyn Future<Output = Reply> + Send>>;

    fn into_future(self) -> Self::IntoFuture {
        Box::pin(async move {
            let mut request =
                Request::builder().method(self.method).uri(&self.path).body(self.body).expect("a request");
            *request.headers_mut() = self.headers;
            if let Some(address) = self.peer {
                request.extensions_mut().insert(ConnectInfo(SocketAddr::from((address, 4711))));
            }
            let response = self.router.oneshot(request).await.expect("the router never fails");
            let (status, headers) = (response.status(), response.headers().clone());
            let body = response.into_body().collect().await.expect("a body").to_bytes();
            let reply = Reply { status, headers, body };
            // Isolates around what people wrote are for pages; programs and files get it as it is.
            let page = reply.header("content-type").starts_with("text/html");
            assert!(page || !reply.text().contains(['\u{2068}', '\u{2069}']), "isolates in {}", reply.text());
            reply
        })
    }
}

/// What came back.
#[derive(Clone, Debug)]
pub struct Reply {
    pub status: StatusCode,
    pub headers: HeaderMap,
    pub body: Bytes,
}

impl Reply {
    /// The body as JSON; null when it is none.
    pub fn json(&self) -> Value {
        serde_json::from_slice(&self.body).unwrap_or_default()
    }

    pub fn text(&self) -> String {
        String::from_utf8_lossy(&self.body).into_owned()
    }

    /// The text with plain spaces where units must not part from their numbers, and without what gives
    /// names a direction of their own.
    pub fn plain(&self) -> String {
        let text = self.text().replace('\u{a0}', " ").replace(['\u{2068}', '\u{2069}'], "");
        text.replace("<bdi>", "").replace("</bdi>", "")
    }

    pub fn header(&self, name: &str) -> &str {
        self.headers.get(name).and_then(|v| v.to_str().ok()).unwrap_or_default()
    }

    /// The `code` of a problem.
    pub fn code(&self) -> String {
        self.json()["code"].as_str().unwrap_or_default().to_owned()
    }

    /// The pointers and codes of a problem's errors.
    pub fn errors(&self) -> Vec<String> {
        let text = |v: &Value| v.as_str().unwrap_or_default().to_owned();
        let errors = self.json()["errors"].as_array().cloned().unwrap_or_default();
        errors.iter().map(|e| format!("{} {}", text(&e["pointer"]), text(&e["code"]))).collect()
    }

    /// Checks the status, with the body in the message.
    #[track_caller]
    pub fn expect(self, status: u16) -> Self {
        assert_eq!(self.status.as_u16(), status, "{}", self.text());
        self
    }

    /// The hidden field of the first form on a page.
    pub fn csrf(&self) -> String {
        self.hidden("csrf")
    }

    /// What a page says that it has shown.
    pub fn seen(&self) -> String {
        self.hidden("seen")
    }

    /// The first hidden field of this name.
    pub fn hidden(&self, name: &str) -> String {
        let page = self.text();
        let value = page.split_once(&format!("name=\"{name}\" value=\"")).map(|(_, rest)| rest);
        let value = value.and_then(|rest| rest.split_once('"')).map_or("", |(value, _)| value);
        value.replace("&quot;", "\"").replace("&#34;", "\"").replace("&amp;", "&").replace("&#38;", "&")
    }
}
