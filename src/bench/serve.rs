//! The page's server: the page, its pictures and report, and the WebSocket on which it lives. Everything needs the key; a
//! connection has so much time and so many bytes, whoever it is from.

use std::net::SocketAddr;
use std::path::PathBuf;
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, AtomicUsize, Ordering};
use std::time::Duration;

use axum::Router;
use axum::extract::ws::{Message, WebSocket, WebSocketUpgrade};
use axum::extract::{Request, State};
use axum::http::{HeaderMap, HeaderValue, StatusCode, header};
use axum::middleware::{Next, from_fn_with_state};
use axum::response::{IntoResponse, Response};
use axum::routing::get;
use futures_util::{SinkExt, StreamExt};
use hyper_util::rt::{TokioIo, TokioTimer};
use hyper_util::service::TowerToHyperService;
use tokio::net::TcpListener;
use tokio::sync::Semaphore;
use tokio::task::JoinSet;
use tokio::time::{MissedTickBehavior, interval, timeout};

use super::gate::{Asked, Gate};
use super::hub::{Hub, Page};
use super::told::{Ask, Told};
use crate::logbook::Logbook;
use crate::problem::Problem;
use crate::report::aircraft_page;
use crate::units::TorqueUnit;

/// Connections at once, and of them pages that live.
const CONNECTIONS: usize = 96;
const PAGES: usize = 16;
/// A request's head has come within this, or the connection ends.
const HEAD_WITHIN: Duration = Duration::from_secs(5);
/// A connection that is no page ends after this: a report takes its time.
const ANSWERED_WITHIN: Duration = Duration::from_secs(60);
const HEAD_BYTES: usize = 16 << 10;
/// What a page may say at once.
pub(super) const WISH_BYTES: usize = 2 << 10;
/// A page that takes nothing for so long is let go.
const TAKEN_WITHIN: Duration = Duration::from_secs(2);
/// A page says who it is within this, and then something within [`SPEAKS_WITHIN`].
const HELLO_WITHIN: Duration = Duration::from_secs(5);
const SPEAKS_WITHIN: Duration = Duration::from_secs(10);
/// How often a page is sent what is new: faster than it draws.
const SEND_EVERY: Duration = Duration::from_millis(25);
/// The same where nothing is drawn.
const IDLE_EVERY: Duration = Duration::from_millis(200);
/// Points in one message.
const MOST_POINTS: usize = 4000;
/// How often the driver is looked for.
const MIND_EVERY: Duration = Duration::from_millis(50);

/// What all requests share.
pub struct Served {
    pub hub: Arc<Hub>,
    pub gate: Arc<Gate>,
    pub logbook: PathBuf,
    /// The aircraft seen from above, as SVG.
    pub plan: String,
    pub cautions: String,
    pages: AtomicUsize,
    connections: AtomicU64,
}

impl Served {
    pub fn new(
        hub: Arc<Hub>,
        gate: Arc<Gate>,
        logbook: PathBuf,
        plan: String,
        cautions: String,
    ) -> Self {
        Self {
            hub,
            gate,
            logbook,
            plan,
            cautions,
            pages: AtomicUsize::new(0),
            connections: AtomicU64::new(1),
        }
    }
}

/// Serves until `ended`.
pub async fn serve(listener: &TcpListener, served: Arc<Served>, ended: impl Future<Output = ()>) {
    let hub = Arc::clone(&served.hub);
    let minding = tokio::spawn(async move {
        let mut ticks = interval(MIND_EVERY);
        ticks.set_missed_tick_behavior(MissedTickBehavior::Delay);
        loop {
            ticks.tick().await;
            hub.mind_the_driver();
        }
    });
    tokio::select! {
        () = accept(listener, router(served)) => {}
        () = ended => {}
    }
    minding.abort();
}

pub(super) async fn accept(listener: &TcpListener, router: Router) {
    let places = Arc::new(Semaphore::new(CONNECTIONS));
    // They end with this: a browser that holds one open would go on asking what is served no more.
    let mut connections = JoinSet::new();
    loop {
        while connections.try_join_next().is_some() {}
        let Ok((stream, _)) = listener.accept().await else {
            // Out of file handles, most likely: some will be given back.
            tokio::time::sleep(Duration::from_millis(100)).await;
            continue;
        };
        let Ok(place) = Arc::clone(&places).try_acquire_owned() else {
            continue;
        };
        let _ = stream.set_nodelay(true);
        let service = TowerToHyperService::new(router.clone());
        connections.spawn(async move {
            let connection = hyper::server::conn::http1::Builder::new()
                .timer(TokioTimer::new())
                .header_read_timeout(HEAD_WITHIN)
                .max_buf_size(HEAD_BYTES)
                .serve_connection(TokioIo::new(stream), service)
                .with_upgrades();
            // Whatever a stranger does to its connection is its own affair.
            let _ = timeout(ANSWERED_WITHIN, connection).await;
            drop(place);
        });
    }
}

fn router(served: Arc<Served>) -> Router {
    let gate = Arc::clone(&served.gate);
    let router = Router::new()
        .route("/", get(page))
        .route("/page.css", get(style))
        .route("/page.js", get(script))
        .route("/verdict.svg", get(verdict_picture))
        .route("/fall.svg", get(fall_picture))
        .route("/report", get(report))
        .route("/live", get(live))
        .with_state(served);
    guarded(router, gate)
}

/// Behind the gate; what is not there is not found.
pub(super) fn guarded(router: Router, gate: Arc<Gate>) -> Router {
    router
        .fallback(async || StatusCode::NOT_FOUND)
        .layer(from_fn_with_state(gate, guard))
}

/// Nothing is answered without the key, and nothing to another site; every answer tells the browser what it may do with it.
async fn guard(State(gate): State<Arc<Gate>>, request: Request, next: Next) -> Response {
    let headers = request.headers();
    let one = |name| text(headers, name);
    let asked = Asked {
        host: one("host"),
        origin: one("origin"),
        site: one("sec-fetch-site"),
        query: request.uri().query(),
    };
    let admitted = gate.admits(asked).map(str::to_owned);
    let is_report = request.uri().path() == "/report";
    let (mut response, host) = match admitted {
        Ok(host) => (next.run(request).await, host),
        Err(why) => ((StatusCode::FORBIDDEN, why).into_response(), String::new()),
    };
    let headers = response.headers_mut();
    let policy = policy(&host, is_report);
    if let Ok(policy) = HeaderValue::from_str(&policy) {
        headers.insert(header::CONTENT_SECURITY_POLICY, policy);
    }
    for (name, value) in [
        (header::X_CONTENT_TYPE_OPTIONS, "nosniff"),
        (header::X_FRAME_OPTIONS, "DENY"),
        (header::REFERRER_POLICY, "no-referrer"),
        (header::CACHE_CONTROL, "no-store"),
    ] {
        headers.insert(name, HeaderValue::from_static(value));
    }
    for (name, value) in [
        ("cross-origin-resource-policy", "same-origin"),
        ("cross-origin-opener-policy", "same-origin"),
    ] {
        headers.insert(name, HeaderValue::from_static(value));
    }
    response
}

/// The report brings its own style and pictures, and no script; the page has them from here.
fn policy(host: &str, is_report: bool) -> String {
    let rest = "base-uri 'none'; form-action 'none'; frame-ancestors 'none'";
    match is_report {
        true => format!("default-src 'none'; style-src 'unsafe-inline'; img-src data:; {rest}"),
        false => format!(
            "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; connect-src 'self' ws://{host}; {rest}"
        ),
    }
}

/// A header that stands there once, and is text.
fn text<'h>(headers: &'h HeaderMap, name: &str) -> Option<&'h str> {
    let mut all = headers.get_all(name).iter();
    match (all.next(), all.next()) {
        (Some(one), None) => Some(one.to_str().unwrap_or("?")),
        // Named twice, it is not to be believed.
        (Some(_), Some(_)) => Some("?"),
        (None, _) => None,
    }
}

async fn page(State(served): State<Arc<Served>>) -> Response {
    let page = include_str!("page/page.html")
        .replace("KEY-OF-THE-BENCH", served.gate.key())
        .replace("<!-- the plan -->", &served.plan)
        .replace("<!-- the cautions -->", &served.cautions);
    of_type("text/html; charset=utf-8", page)
}

pub(super) async fn style() -> Response {
    of_type(
        "text/css; charset=utf-8",
        include_str!("page/page.css").to_owned(),
    )
}

async fn script() -> Response {
    of_type(
        "text/javascript; charset=utf-8",
        include_str!("page/page.js").to_owned(),
    )
}

async fn verdict_picture(State(served): State<Arc<Served>>) -> Response {
    picture(served.hub.picture(|p| p.verdict.clone()))
}

async fn fall_picture(State(served): State<Arc<Served>>) -> Response {
    picture(served.hub.picture(|p| p.fall.clone()))
}

fn picture(svg: Option<String>) -> Response {
    svg.map_or(StatusCode::NOT_FOUND.into_response(), |svg| {
        of_type("image/svg+xml", svg)
    })
}

pub(super) fn of_type(kind: &'static str, body: String) -> Response {
    ([(header::CONTENT_TYPE, kind)], body).into_response()
}

/// The aircraft's report, as it stands now. Made on a thread of its own: it reads the whole logbook.
async fn report(State(served): State<Arc<Served>>) -> Response {
    let root = served.logbook.clone();
    let (tell, told) = tokio::sync::oneshot::channel();
    std::thread::spawn(move || {
        let made = Logbook::open(&root).and_then(|logbook| {
            let (book, _) = logbook.book(jiff::Timestamp::now())?;
            aircraft_page::page(&book, TorqueUnit::default())
        });
        let _ = tell.send(made);
    });
    match told.await {
        Ok(Ok(page)) => of_type("text/html; charset=utf-8", page),
        Ok(Err(problem)) => not_made(&problem),
        Err(_) => not_made(&Problem::new("the report could not be made")),
    }
}

fn not_made(problem: &Problem) -> Response {
    let words = format!(
        "{}\n\n{}\n",
        problem.what,
        problem.hint.as_deref().unwrap_or_default()
    );
    (StatusCode::INTERNAL_SERVER_ERROR, words).into_response()
}

async fn live(State(served): State<Arc<Served>>, upgrade: WebSocketUpgrade) -> Response {
    if served.pages.load(Ordering::SeqCst) >= PAGES {
        return (StatusCode::SERVICE_UNAVAILABLE, "too many pages are open").into_response();
    }
    upgrade
        .max_message_size(WISH_BYTES)
        .max_frame_size(WISH_BYTES)
        .on_upgrade(async move |socket| {
            served.pages.fetch_add(1, Ordering::SeqCst);
            let connection = served.connections.fetch_add(1, Ordering::SeqCst);
            talk(&served.hub, connection, socket).await;
            served.pages.fetch_sub(1, Ordering::SeqCst);
        })
}

/// A page's life.
async fn talk(hub: &Hub, connection: u64, mut socket: WebSocket) {
    let Ok(Some(Ok(Message::Text(first)))) = timeout(HELLO_WITHIN, socket.recv()).await else {
        return;
    };
    let Ok(Ask::Hello { page }) = serde_json::from_str::<Ask>(&first) else {
        return;
    };
    if page.is_empty() || page.len() > 64 {
        return;
    }
    let hello = Ask::Hello { page: page.clone() };
    let page = Page {
        name: page,
        connection,
    };
    let _ = hub.ask(&page, hello);
    lives(hub, &page, socket).await;
    hub.gone(&page);
}

async fn lives(hub: &Hub, page: &Page, socket: WebSocket) {
    let (mut to, mut from) = socket.split();
    let mut changes = hub.changes();
    changes.mark_changed();
    let mut ticks = interval(SEND_EVERY);
    ticks.set_missed_tick_behavior(MissedTickBehavior::Delay);
    let mut spoke = tokio::time::Instant::now();
    let mut told = spoke;
    let mut drawn = (0, 0);
    loop {
        let say: Option<String> = tokio::select! {
            biased;
            heard = from.next() => {
                spoke = tokio::time::Instant::now();
                match heard {
                    Some(Ok(Message::Text(text))) => match wish(hub, page, &text) {
                        Ok(()) => None,
                        Err(words) => Some(no(words)),
                    },
                    Some(Ok(Message::Ping(_) | Message::Pong(_))) => None,
                    // A page speaks in text; what does not is none.
                    Some(Ok(Message::Binary(_) | Message::Close(_)) | Err(_)) | None => return,
                }
            },
            _ = ticks.tick() => {
                if spoke.elapsed() > SPEAKS_WITHIN {
                    return;
                }
                if hub.is_over() {
                    let gone = serde_json::to_string(&Told::Gone).unwrap_or_default();
                    let _ = timeout(TAKEN_WITHIN, to.send(Message::Text(gone.into()))).await;
                    return;
                }
                if changes.has_changed().unwrap_or(false) {
                    changes.mark_unchanged();
                    Some(hub.told(page))
                } else {
                    let live = hub.live(drawn, MOST_POINTS);
                    let due = !live.points.is_empty() || told.elapsed() > IDLE_EVERY;
                    drawn = (live.run, live.from + live.points.len());
                    due.then(|| {
                        told = tokio::time::Instant::now();
                        serde_json::to_string(&Told::Live(&live)).unwrap_or_default()
                    })
                }
            }
        };
        if let Some(text) = say {
            let sent = to.send(Message::Text(text.into()));
            if !matches!(timeout(TAKEN_WITHIN, sent).await, Ok(Ok(()))) {
                return;
            }
        }
    }
}

fn wish(hub: &Hub, page: &Page, text: &str) -> Result<(), &'static str> {
    match serde_json::from_str::<Ask>(text) {
        Ok(Ask::Hello { .. }) => Err("this page has said who it is"),
        Ok(ask) => hub.ask(page, ask),
        Err(_) => Err("this is no wish that the program knows"),
    }
}

fn no(words: &str) -> String {
    serde_json::to_string(&Told::No { words }).unwrap_or_default()
}

/// Without the system's number, which tells a builder nothing.
fn said(error: &std::io::Error) -> String {
    let text = error.to_string();
    text.split(" (os error")
        .next()
        .unwrap_or_default()
        .to_lowercase()
}

/// Binds the page's port; 0 for any that is free.
///
/// # Errors
/// The port is taken, or not ours to take.
pub async fn bind(address: SocketAddr) -> Result<TcpListener, Problem> {
    TcpListener::bind(address).await.map_err(|error| {
        let problem = Problem::new(format!("{address}: the page cannot be served here: {}", said(&error)));
        match error.kind() {
            std::io::ErrorKind::AddrInUse => problem.hint(
                "another program, or another `hingewright bench`, has this port: end it, or give another with --page-port",
            ),
            std::io::ErrorKind::PermissionDenied => {
                problem.hint("ports below 1024 are the system's: give another with --page-port, for instance 8640")
            }
            _ => problem.hint("give another port with --page-port"),
        }
    })
}
