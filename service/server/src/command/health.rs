//! `quoin health`: asks a running service whether it is alive, without an HTTP client.

use std::io::{self, Read, Write};
use std::net::{Ipv4Addr, Ipv6Addr, SocketAddr, TcpStream, ToSocketAddrs};
use std::process::ExitCode;
use std::time::Duration;

use super::EXIT_BROKEN;
use super::terminal::complain;

/// Longest wait for each step; a container's own health check waits three seconds in all.
const PATIENCE: Duration = Duration::from_secs(2);

/// Runs the command.
pub(super) fn run(listen: &str) -> ExitCode {
    match ask(listen) {
        Ok(()) => ExitCode::SUCCESS,
        Err(error) => {
            complain(&format!("not healthy: {listen}: {error}"));
            ExitCode::from(EXIT_BROKEN)
        }
    }
}

fn ask(listen: &str) -> io::Result<()> {
    let mut last = io::Error::new(io::ErrorKind::NotFound, "no such address");
    for address in listen.to_socket_addrs()? {
        match ask_at(reachable(address)) {
            Ok(()) => return Ok(()),
            Err(error) => last = error,
        }
    }
    Err(last)
}

/// A service that listens on every address is asked on loopback.
fn reachable(address: SocketAddr) -> SocketAddr {
    let ip = match (address.ip().is_unspecified(), address.is_ipv4()) {
        (true, true) => Ipv4Addr::LOCALHOST.into(),
        (true, false) => Ipv6Addr::LOCALHOST.into(),
        (false, _) => address.ip(),
    };
    SocketAddr::new(ip, address.port())
}

/// One request of HTTP/1.1 (RFC 9112, section 3); only the status line of the answer matters.
fn ask_at(address: SocketAddr) -> io::Result<()> {
    let mut stream = TcpStream::connect_timeout(&address, PATIENCE)?;
    stream.set_read_timeout(Some(PATIENCE))?;
    stream.set_write_timeout(Some(PATIENCE))?;
    // In one piece: a service may answer and close as soon as it has read something.
    let request = format!("GET /healthz HTTP/1.1\r\nHost: {address}\r\nConnection: close\r\n\r\n");
    stream.write_all(request.as_bytes())?;
    let mut status = [0; 12];
    stream.read_exact(&mut status)?;
    if status.starts_with(b"HTTP/1.1 200") {
        return Ok(());
    }
    Err(io::Error::other(format!("answered {}", String::from_utf8_lossy(&status))))
}

#[cfg(test)]
mod tests {
    use std::net::TcpListener;
    use std::thread;

    use super::*;

    fn answer_once(answer: &'static [u8]) -> SocketAddr {
        let listener = TcpListener::bind("127.0.0.1:0").expect("a free port");
        let address = listener.local_addr().expect("bound");
        thread::spawn(move || {
            if let Ok((mut stream, _)) = listener.accept() {
                let mut request = [0; 256];
                let _ = stream.read(&mut request);
                let _ = stream.write_all(answer);
            }
        });
        address
    }

    #[test]
    fn only_an_answer_of_200_is_healthy() {
        assert!(ask(&answer_once(b"HTTP/1.1 200 OK\r\n\r\n").to_string()).is_ok());
        assert!(ask(&answer_once(b"HTTP/1.1 503 Service Unavailable\r\n\r\n").to_string()).is_err());
        assert!(ask(&answer_once(b"").to_string()).is_err());
    }

    #[test]
    fn every_address_is_asked_on_loopback() {
        let address: SocketAddr = "0.0.0.0:80".parse().expect("an address");
        assert_eq!(reachable(address).to_string(), "127.0.0.1:80");
    }
}
