//! Binds the loopback address and answers.

use std::io;
use std::net::{Ipv4Addr, SocketAddr, TcpListener};
use std::sync::Arc;
use std::time::Duration;

use axum::Router;
use axum::extract::DefaultBodyLimit;
use axum::middleware;
use axum::routing::{get, post};

use crate::book::{Book, Found};
use crate::gate::{self, Names};
use crate::live::{self, Bell};
use crate::pages::{self, Bench};
use crate::project::{Current, Source};
use crate::work::Work;
use crate::{assets, download, entry, form};

/// What the world did to the server.
#[derive(Debug)]
pub enum Fault {
    /// The port cannot be had.
    Port {
        /// Which.
        port: u16,
        /// Why.
        error: io::Error,
    },
    /// It stopped.
    Stopped(io::Error),
}

impl std::fmt::Display for Fault {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Fault::Port { port, error } => {
                write!(f, "Port {port} of this computer cannot be had: {error}.")
            }
            Fault::Stopped(error) => write!(f, "The bench stopped: {error}."),
        }
    }
}

impl std::error::Error for Fault {}

/// Ports that are tried in turn when none is asked for, so that a bookmark mostly holds; chosen because nothing common
/// is registered there.
const PORTS: std::ops::Range<u16> = 4710..4720;

/// A bench that has its address and does not answer yet.
#[derive(Debug)]
pub struct Server {
    listener: TcpListener,
    address: SocketAddr,
}

impl Server {
    /// Takes `port` of the loopback address; port 0 means any that is free, none the usual ones and then any.
    ///
    /// # Errors
    /// If the port cannot be had.
    pub fn bind(port: Option<u16>) -> Result<Self, Fault> {
        let take = |port: u16| {
            let listener = TcpListener::bind((Ipv4Addr::LOCALHOST, port))?;
            let address = listener.local_addr()?;
            listener.set_nonblocking(true)?;
            Ok(Self { listener, address })
        };
        let fault = |port| move |error| Fault::Port { port, error };
        match port {
            Some(port) => take(port).map_err(fault(port)),
            None => match PORTS.into_iter().find_map(|port| take(port).ok()) {
                Some(server) => Ok(server),
                None => take(0).map_err(fault(0)),
            },
        }
    }

    /// The address to open in a browser.
    pub fn address(&self) -> String {
        format!("http://{}/", self.address)
    }

    /// Answers until the process ends; without a ledger nothing can be entered.
    ///
    /// # Errors
    /// If the listener fails.
    pub fn run(self, source: Arc<dyn Source>, ledger: Found) -> Result<(), Fault> {
        let runtime = tokio::runtime::Builder::new_multi_thread()
            .worker_threads(2)
            .enable_all()
            .build()
            .map_err(Fault::Stopped)?;
        runtime
            .block_on(self.answer(source, ledger))
            .map_err(Fault::Stopped)
    }

    async fn answer(self, source: Arc<dyn Source>, ledger: Found) -> io::Result<()> {
        let bell = Arc::new(Bell::new());
        let bench = Bench {
            current: Arc::new(Current::new(Arc::clone(&source))),
            work: Work::start(Arc::clone(&bell)),
            book: Arc::new(Book::new(ledger)),
            stores: Arc::default(),
            signals: Arc::default(),
            logic: Arc::default(),
            bell,
        };
        let watched = bench.clone();
        std::thread::spawn(move || watch(&watched));
        let names = Names::of(self.address.port());
        let router = Router::new()
            .route("/", get(pages::bench))
            .route("/board/{name}", get(pages::board))
            .route("/board/{name}/probe", get(pages::probe::page))
            .route("/board/{name}/proves", get(pages::proves::page))
            .route("/board/{name}/trust", get(pages::trust::page))
            .route(
                "/board/{name}/sheet",
                get(pages::sheet::page).post(pages::sheet::post),
            )
            .route(
                "/board/{name}/map",
                get(pages::map::page).post(pages::map::post),
            )
            .route("/map.js", get(assets::map))
            .route("/sheet.js", get(assets::sheet))
            .route("/probe.js", get(assets::probe))
            .route("/intake", get(pages::intake::page))
            .route("/twins", get(pages::twins::page))
            .route(
                "/power",
                get(pages::power::page).post(pages::power::post::post),
            )
            .route("/power.csv", get(pages::power::table))
            .route("/stores", get(pages::stores::first))
            .route(
                "/stores/{name}",
                get(pages::stores::page).post(pages::stores::post),
            )
            .route("/stores/{name}/march.csv", get(pages::stores::march))
            .route("/stores/{name}/kept/{sum}", get(pages::stores::file))
            .route(
                "/signals",
                get(pages::signals::first).post(pages::signals::post),
            )
            .route(
                "/signals/{name}",
                get(pages::signals::page).post(pages::signals::post),
            )
            .route(
                "/signals/{name}/about",
                axum::routing::post(pages::signals::post_known),
            )
            .route("/signals/{name}/curve.svg", get(pages::signals::drawing))
            .route("/signals/{name}/window.json", get(pages::signals::window))
            .route("/signals/{name}/picture.png", get(pages::signals::picture))
            .route("/signals.js", get(assets::signals))
            .route("/logic", get(pages::logic::first))
            .route("/logic/{name}", get(pages::logic::page))
            .route("/machine", post(pages::start::post))
            .route("/ledger", get(pages::ledger::page))
            .route("/ledger.csv", get(pages::ledger::table))
            .route("/signature", post(pages::ledger::sign))
            .route("/entry/{id}", get(pages::ledger::entry))
            .route("/entry", post(entry::post))
            .route("/photo/{sum}", get(pages::photo))
            .route("/changes", get(live::changes))
            .route("/board/{name}/verdicts.csv", get(download::verdicts))
            .route(
                "/board/{name}/expectations.csv",
                get(download::expectations),
            )
            .route("/keys", get(pages::keys))
            .route("/pulse/{*page}", get(pages::pulse))
            .route("/look.css", get(assets::look))
            .route("/bench.js", get(assets::script))
            .route("/entry.js", get(assets::entry))
            .route("/mark.svg", get(assets::mark))
            .fallback(pages::nowhere)
            .layer(DefaultBodyLimit::max(form::BODY))
            .with_state(bench)
            .layer(middleware::from_fn_with_state(names, gate::pass));
        let listener = tokio::net::TcpListener::from_std(self.listener)?;
        axum::serve(listener, router).await
    }
}

/// How often files and ledger are looked at for what others changed; with what follows, a change is seen within a second.
const LOOK: Duration = Duration::from_millis(400);

/// Rings when files or ledger were changed by somebody else.
fn watch(bench: &Bench) {
    // The ledger is read while the first page is still on its way.
    bench.book.refresh();
    let mut files = bench.current.source.stamp();
    loop {
        std::thread::sleep(LOOK);
        let stamp = bench.current.source.stamp();
        if bench.book.refresh() || stamp != files {
            files = stamp;
            bench.bell.ring();
        }
    }
}
