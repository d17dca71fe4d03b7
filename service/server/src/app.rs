//! Builds the HTTP application.

use std::io;
use std::net::{SocketAddr, ToSocketAddrs};

use actix_web::dev::Server;
use actix_web::{App, HttpServer};

use crate::routes;

/// Starts to listen, and says where: port 0 becomes a free one.
///
/// # Errors
/// When the address cannot be bound, or is reachable from other machines: there are no keys yet that would keep strangers
/// out.
pub(crate) fn start(listen: &str) -> io::Result<(Server, Vec<SocketAddr>)> {
    let addresses: Vec<SocketAddr> = listen.to_socket_addrs()?.collect();
    if let Some(open) = addresses.iter().find(|address| !address.ip().is_loopback()) {
        let message = format!("{open} can be reached from other machines; only loopback addresses are served");
        return Err(io::Error::new(io::ErrorKind::PermissionDenied, message));
    }
    // A client that goes away drops its handler at once instead of working on for nobody.
    let server = HttpServer::new(|| App::new().configure(routes::all)).h1_allow_half_closed(false);
    let server = server.bind(addresses.as_slice())?;
    let bound = server.addrs();
    Ok((server.run(), bound))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn addresses_that_others_can_reach_are_refused() {
        for listen in ["0.0.0.0:0", "[::]:0", "192.0.2.1:0"] {
            let refused = start(listen).err().map(|error| error.kind());
            assert_eq!(refused, Some(io::ErrorKind::PermissionDenied), "{listen}");
        }
    }
}
