//! The server: the page, the song, and one conversation per page, on a thread of its own.
//!
//! Nothing of it touches the frame path. Every number that somebody outside could make large has a
//! limit: connections, time to send a request, its size, pages, messages a second, their size, and
//! what waits for a slow reader.

use std::io;
use std::net::{IpAddr, Ipv4Addr, SocketAddr, TcpListener as Bound};
use std::sync::atomic::{AtomicU32, AtomicUsize, Ordering};
use std::sync::{Arc, OnceLock};
use std::thread::{self, JoinHandle};
use std::time::Duration;

use axum::Router;
use axum::body::{Body, Bytes};
use axum::extract::ws::WebSocketUpgrade;
use axum::extract::{Path, Request, State};
use axum::http::{HeaderMap, HeaderValue, StatusCode, header};
use axum::middleware::{self, Next};
use axum::response::{IntoResponse, Response};
use axum::routing::get;
use hyper::server::conn::http1;
use hyper_util::rt::{TokioIo, TokioTimer};
use hyper_util::service::TowerToHyperService;
use tokio::net::TcpListener;
use tokio::sync::{Semaphore, oneshot};

use super::asks::{Ask, Asks, Shown};
use super::door::{Door, Knock, PASS, Shut};
use super::looped::Song;
use super::{page, talk, wave};

/// Connections at once; whoever comes then is turned away. Ten pages use about forty.
const MOST_CONNECTIONS: usize = 96;
/// Pages at once.
const MOST_PAGES: usize = 16;
/// A request line and its headers must be here by then.
const PATIENCE: Duration = Duration::from_secs(5);
/// Largest request line and headers together.
const MOST_HEADERS: usize = 16 << 10;
/// Largest message of a page: a route has some hundred bytes.
const MOST_MESSAGE: usize = 64 << 10;
/// What may wait for a slow reader before it is cut off.
const MOST_WAITING: usize = 1 << 20;
/// A wrong one-time address is answered so much later.
const WRONG: Duration = Duration::from_secs(1);

/// No script, style, picture or connection but our own; no frame around us.
const POLICY: &str = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; \
                      connect-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'";

/// What all requests share.
pub(super) struct House {
    door: Door,
    asks: Asks,
    shown: Shown,
    song: Option<Song>,
    wave: OnceLock<Bytes>,
    about: axum::extract::ws::Utf8Bytes,
    pages: AtomicUsize,
    next_page: AtomicU32,
}

/// A server at work; it ends when this is dropped.
pub(super) struct Server {
    quit: Option<oneshot::Sender<()>>,
    thread: Option<JoinHandle<()>>,
    /// Address for whoever sits here.
    pub(super) address: String,
    /// One-time address for somebody else.
    pub(super) outer: Option<String>,
}

/// What it serves.
pub(super) struct Goods {
    pub(super) asks: Asks,
    pub(super) shown: Shown,
    pub(super) song: Option<Song>,
    pub(super) about: String,
}

impl Server {
    /// Listens on this computer's own address, and on `outer` if there is one. Port 0 takes a free
    /// one.
    ///
    /// # Errors
    /// When an address cannot be had.
    pub(super) fn start(port: u16, outer: Option<IpAddr>, goods: Goods) -> io::Result<Self> {
        let home = bind(SocketAddr::from((Ipv4Addr::LOCALHOST, port)))?;
        let port = home.local_addr()?.port();
        let outer = outer.map(|ip| bind(SocketAddr::new(ip, port))).transpose()?;
        let outer_at = outer.as_ref().map(Bound::local_addr).transpose()?;
        let door = Door::new(port, outer_at).map_err(io::Error::other)?;
        let house = Arc::new(House {
            asks: goods.asks,
            shown: goods.shown,
            song: goods.song,
            wave: OnceLock::new(),
            about: goods.about.into(),
            pages: AtomicUsize::new(0),
            next_page: AtomicU32::new(1),
            door,
        });
        let outer_address = house.door.address();
        let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build()?;
        let (quit, quitting) = oneshot::channel();
        let thread = thread::Builder::new().name("pages".into()).spawn(move || {
            runtime.block_on(async {
                let seats = Arc::new(Semaphore::new(MOST_CONNECTIONS));
                let inner = serve(home, true, Arc::clone(&house), Arc::clone(&seats));
                let outer = async {
                    match outer {
                        Some(outer) => serve(outer, false, house, seats).await,
                        None => std::future::pending().await,
                    }
                };
                tokio::select! {
                    _ = quitting => {}
                    _ = inner => {}
                    _ = outer => {}
                }
            });
            runtime.shutdown_background();
        })?;
        let address = format!("http://127.0.0.1:{port}/");
        Ok(Self { quit: Some(quit), thread: Some(thread), address, outer: outer_address })
    }
}

impl Drop for Server {
    fn drop(&mut self) {
        if let Some(quit) = self.quit.take() {
            // A thread that ended already needs no telling.
            let _ = quit.send(());
        }
        if let Some(thread) = self.thread.take() {
            let _ = thread.join();
        }
    }
}

fn bind(address: SocketAddr) -> io::Result<Bound> {
    let told = |error: io::Error| io::Error::new(error.kind(), format!("{address}: {error}"));
    let bound = Bound::bind(address).map_err(told)?;
    bound.set_nonblocking(true)?;
    Ok(bound)
}

/// Takes connections until the program ends.
async fn serve(
    bound: Bound,
    inside: bool,
    house: Arc<House>,
    seats: Arc<Semaphore>,
) -> io::Result<()> {
    let listener = TcpListener::from_std(bound)?;
    let router = router(house, inside);
    loop {
        let stream = match listener.accept().await {
            Ok((stream, _)) => stream,
            Err(_) => {
                // Out of descriptors, or the other side left: neither ends the server.
                tokio::time::sleep(Duration::from_millis(50)).await;
                continue;
            }
        };
        let Ok(seat) = Arc::clone(&seats).try_acquire_owned() else { continue };
        // Small messages, soon.
        let _ = stream.set_nodelay(true);
        let service = TowerToHyperService::new(router.clone());
        tokio::spawn(async move {
            let served = http1::Builder::new()
                .timer(TokioTimer::new())
                .header_read_timeout(PATIENCE)
                .max_buf_size(MOST_HEADERS)
                .serve_connection(TokioIo::new(stream), service)
                .with_upgrades()
                .await;
            // What went wrong is the other side's to know.
            drop((served, seat));
        });
    }
}

fn router(house: Arc<House>, inside: bool) -> Router {
    let door = Arc::clone(&house);
    let guard = middleware::from_fn(move |request: Request, next: Next| {
        let door = Arc::clone(&door);
        async move { guard(&door, inside, request, next).await }
    });
    Router::new()
        .route("/", get(|| async { page::asset("index.html") }))
        .route("/page/{name}", get(|Path(name): Path<String>| async move { page::asset(&name) }))
        .route("/sound", get(sound))
        .route("/talk", get(talk_to))
        .route_layer(guard)
        .route("/enter/{token}", get(enter))
        .fallback(|| async { (StatusCode::NOT_FOUND, "there is no such page") })
        .layer(middleware::map_response(sealed))
        .with_state(house)
}

/// Every answer says what a browser may do with it.
async fn sealed(mut response: Response) -> Response {
    let headers = response.headers_mut();
    for (name, value) in [
        (header::CONTENT_SECURITY_POLICY, POLICY),
        (header::X_CONTENT_TYPE_OPTIONS, "nosniff"),
        (header::REFERRER_POLICY, "no-referrer"),
        (header::CACHE_CONTROL, "no-store"),
        (header::HeaderName::from_static("cross-origin-resource-policy"), "same-origin"),
        (header::HeaderName::from_static("cross-origin-opener-policy"), "same-origin"),
    ] {
        headers.insert(name, HeaderValue::from_static(value));
    }
    response
}

fn text(headers: &HeaderMap, name: header::HeaderName) -> Option<&str> {
    let mut all = headers.get_all(name).iter();
    let first = all.next()?;
    // Two of them is a trick, not a browser.
    if all.next().is_some() { Some("") } else { first.to_str().ok() }
}

async fn guard(house: &House, inside: bool, request: Request, next: Next) -> Response {
    let headers = request.headers();
    let knock = Knock {
        inside,
        host: text(headers, header::HOST),
        origin: text(headers, header::ORIGIN),
        cookies: text(headers, header::COOKIE),
        talks: request.uri().path() == "/talk",
    };
    match house.door.knock(&knock) {
        Ok(()) => next.run(request).await,
        Err(shut) => shut_out(shut),
    }
}

fn shut_out(shut: Shut) -> Response {
    (StatusCode::FORBIDDEN, shut.sentence()).into_response()
}

async fn enter(
    State(house): State<Arc<House>>,
    Path(token): Path<String>,
    headers: HeaderMap,
) -> Response {
    match house.door.enter(text(&headers, header::HOST), &token) {
        Ok(pass) => {
            if let Some(next) = house.door.address() {
                // A host that is busy says it later or not at all; the pass is good all the same.
                let _ = house.asks.try_send(Ask::Entered(next));
            }
            let cookie = format!("{PASS}={pass}; Path=/; HttpOnly; SameSite=Strict");
            let headers = [(header::SET_COOKIE, cookie), (header::LOCATION, "/".into())];
            (StatusCode::SEE_OTHER, headers).into_response()
        }
        Err(shut) => {
            tokio::time::sleep(WRONG).await;
            shut_out(shut)
        }
    }
}

/// The song as WAV, for the browser to play.
async fn sound(State(house): State<Arc<House>>) -> Response {
    let Some(song) = &house.song else {
        return (StatusCode::NOT_FOUND, "the sound comes from an input").into_response();
    };
    let wave = house.wave.get_or_init(|| wave::wave(song).into()).clone();
    ([(header::CONTENT_TYPE, "audio/wav")], Body::from(wave)).into_response()
}

async fn talk_to(State(house): State<Arc<House>>, upgrade: WebSocketUpgrade) -> Response {
    if house.pages.fetch_add(1, Ordering::Relaxed) >= MOST_PAGES {
        house.pages.fetch_sub(1, Ordering::Relaxed);
        return (StatusCode::SERVICE_UNAVAILABLE, "sixteen pages are open already").into_response();
    }
    let upgrade = upgrade
        .max_message_size(MOST_MESSAGE)
        .max_frame_size(MOST_MESSAGE)
        .max_write_buffer_size(MOST_WAITING);
    let seat = Seat(Arc::clone(&house));
    upgrade.on_upgrade(move |socket| async move {
        let page = seat.0.next_page.fetch_add(1, Ordering::Relaxed);
        let House { asks, shown, about, .. } = &*seat.0;
        talk::talk(socket, page, asks, shown.clone(), about.clone()).await;
    })
}

/// Counts a page out again, however its conversation ends or fails to begin.
struct Seat(Arc<House>);

impl Drop for Seat {
    fn drop(&mut self) {
        self.0.pages.fetch_sub(1, Ordering::Relaxed);
    }
}
