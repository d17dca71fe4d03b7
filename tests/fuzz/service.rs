//! A running service, for the parsers that stand behind HTTP.

use std::io::{self, BufRead, BufReader, Read, Write};
use std::net::TcpStream;
use std::process::{Child, Command, Stdio};
use std::time::Duration;
use std::{env, thread};

use super::targets::Check;

/// The boundary of multipart bodies.
const BOUNDARY: &str = "b";

/// Wait for the service to start, in steps of 50 ms.
const STEPS: u32 = 100;

/// What is posted to: it takes one item, and gangs take the rest.
const PATHS: [&str; 4] = ["/v1/preflight", "/v1/estimates", "/v1/proofs", "/v1/gangs"];

pub(crate) struct Service {
    child: Child,
    address: String,
    turn: usize,
}

impl Service {
    /// Starts the binary that stands beside this program's folder, or that `QUOIN_BINARY` names.
    pub(crate) fn start() -> io::Result<Service> {
        let beside = env::current_exe()?.with_file_name("../quoin");
        let binary = env::var_os("QUOIN_BINARY").map_or(beside, Into::into);
        let address = format!("127.0.0.1:{}", free_port()?);
        let child = Command::new(binary)
            .args(["serve", "--listen", &address])
            .env("RUST_LOG", "error")
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .spawn()?;
        let service = Service { child, address, turn: 0 };
        for _ in 0..STEPS {
            if TcpStream::connect(&service.address).is_ok() {
                return Ok(service);
            }
            thread::sleep(Duration::from_millis(50));
        }
        Err(io::ErrorKind::TimedOut.into())
    }

    /// A body with a job and one small picture.
    pub(crate) fn multipart(job: &[u8]) -> Vec<u8> {
        let mut body =
            b"--b\r\nContent-Disposition: form-data; name=\"job\"\r\nContent-Type: application/json\r\n\r\n".to_vec();
        body.extend(job);
        body.extend(
            b"\r\n--b\r\nContent-Disposition: form-data; name=\"art\"; filename=\"a.png\"\r\n\r\n\x89PNG\r\n--b--\r\n",
        );
        body
    }

    pub(crate) fn into_job_check(self) -> Check {
        self.into_check("application/json".to_owned())
    }

    pub(crate) fn into_body_check(self) -> Check {
        self.into_check(format!("multipart/form-data; boundary={BOUNDARY}"))
    }

    fn into_check(mut self, content_type: String) -> Check {
        Box::new(move |body| self.post(&content_type, body))
    }

    /// Posts a body and looks at the status: everything but a mistake of the service's own is right.
    fn post(&mut self, content_type: &str, body: &[u8]) -> Result<(), String> {
        self.turn += 1;
        let path = PATHS[self.turn % PATHS.len()];
        let status = self.status(path, content_type, body).map_err(|error| format!("no answer: {error}"))?;
        if let Ok(Some(ended)) = self.child.try_wait() {
            return Err(format!("the service ended: {ended}"));
        }
        match status {
            200..=499 | 503 => Ok(()),
            other => Err(format!("{path} answered {other}")),
        }
    }

    fn status(&self, path: &str, content_type: &str, body: &[u8]) -> io::Result<u16> {
        let mut stream = TcpStream::connect(&self.address)?;
        stream.set_read_timeout(Some(Duration::from_secs(30)))?;
        let length = body.len();
        write!(
            stream,
            "POST {path} HTTP/1.1\r\nHost: a\r\nConnection: close\r\nContent-Type: {content_type}\r\nContent-Length: {length}\r\n\r\n"
        )?;
        // A service that refuses early stops reading; its answer is there all the same.
        let _ = stream.write_all(body);
        let mut reader = BufReader::new(stream);
        let mut line = String::new();
        reader.read_line(&mut line)?;
        let _ = io::copy(&mut reader.take(1 << 20), &mut io::sink());
        line.split(' ').nth(1).and_then(|code| code.parse().ok()).ok_or_else(|| io::Error::other(line.clone()))
    }
}

impl Drop for Service {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

fn free_port() -> io::Result<u16> {
    Ok(std::net::TcpListener::bind("127.0.0.1:0")?.local_addr()?.port())
}
