//! `quoin serve`: listens until it is told to stop.

use std::io;
use std::process::ExitCode;

use super::EXIT_BROKEN;
use super::terminal::complain;
use crate::app;

/// Runs the command.
pub(super) fn run(listen: &str) -> ExitCode {
    match serve(listen) {
        Ok(()) => ExitCode::SUCCESS,
        Err(error) => {
            complain(&format!("error: cannot serve on {listen}: {error}"));
            ExitCode::from(EXIT_BROKEN)
        }
    }
}

fn serve(listen: &str) -> io::Result<()> {
    actix_web::rt::System::new().block_on(async {
        let (server, addresses) = app::start(listen)?;
        for address in addresses {
            complain(&format!("listening on http://{address}"));
        }
        server.await
    })
}
