//! Binds the loopback address and answers.

use std::io;
use std::net::{Ipv4Addr, SocketAddr, TcpListener};
use std::sync::Arc;

use axum::Router;
use axum::middleware;
use axum::routing::get;

use crate::gate::{self, Names};
use crate::pages::{self, Bench};
use crate::project::{Current, Source};
use crate::work::Work;
use crate::{assets, download};

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

    /// Answers until the process ends.
    ///
    /// # Errors
    /// If the listener fails.
    pub fn run(self, source: Arc<dyn Source>) -> Result<(), Fault> {
        let runtime = tokio::runtime::Builder::new_multi_thread()
            .worker_threads(2)
            .enable_all()
            .build()
            .map_err(Fault::Stopped)?;
        runtime
            .block_on(self.answer(source))
            .map_err(Fault::Stopped)
    }

    async fn answer(self, source: Arc<dyn Source>) -> io::Result<()> {
        let bench = Bench {
            current: Arc::new(Current::new(source)),
            work: Work::start(),
        };
        let names = Names::of(self.address.port());
        let router = Router::new()
            .route("/", get(pages::bench))
            .route("/board/{name}", get(pages::board))
            .route("/board/{name}/verdicts.csv", get(download::verdicts))
            .route(
                "/board/{name}/expectations.csv",
                get(download::expectations),
            )
            .route("/keys", get(pages::keys))
            .route("/pulse/{*page}", get(pages::pulse))
            .route("/look.css", get(assets::look))
            .route("/bench.js", get(assets::script))
            .route("/mark.svg", get(assets::mark))
            .fallback(pages::nowhere)
            .with_state(bench)
            .layer(middleware::from_fn_with_state(names, gate::pass));
        let listener = tokio::net::TcpListener::from_std(self.listener)?;
        axum::serve(listener, router).await
    }
}
