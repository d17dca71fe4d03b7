//! `quoin serve`, `quoin config check`, `quoin key`.

use std::io::{self, Write};
use std::process::ExitCode;

use super::EXIT_BROKEN;
use super::failure::tell_settings;
use super::terminal::complain;
use crate::app;
use crate::logging;
use crate::settings::{Settings, SettingsArgs, hash_of};
use quoin_prepress::sticker::hex;

/// What the log of a service says: all of ours, and nothing of every request line that is no HTTP.
const USUAL_LOG: &str = "info,actix_http::h1=off,actix_server=warn";

/// Bytes of a key: nobody guesses 256 bits.
const KEY_BYTES: usize = 32;

/// Runs `quoin serve`.
pub(super) fn run(args: &SettingsArgs) -> ExitCode {
    logging::start(USUAL_LOG);
    logging::log_panics();
    let Some(settings) = read(args) else { return ExitCode::from(EXIT_BROKEN) };
    let listen = settings.listen.clone();
    match serve(settings) {
        Ok(()) => ExitCode::SUCCESS,
        Err(error) => {
            complain(&format!("error: cannot serve on {listen}: {error}"));
            ExitCode::from(EXIT_BROKEN)
        }
    }
}

/// Runs `quoin config check`.
pub(super) fn check(args: &SettingsArgs) -> ExitCode {
    let Some(settings) = read(args) else { return ExitCode::from(EXIT_BROKEN) };
    let stocks: Vec<&str> = settings.stocks.stocks().iter().map(|stock| stock.stock.as_str()).collect();
    let stocks = if stocks.is_empty() { "none".to_owned() } else { stocks.join(", ") };
    let keys = if settings.keys.is_empty() { "none".to_owned() } else { settings.keys.names().join(", ") };
    let text = format!(
        "The settings are good.\nlisten: {}\nkeys: {keys}\nstocks: {stocks}\nworkers: {} of {} threads, {} waiting\n",
        settings.listen, settings.workers, settings.threads_per_job, settings.queue_length
    );
    let _ = io::stdout().lock().write_all(text.as_bytes());
    ExitCode::SUCCESS
}

/// Runs `quoin key`: a new key, and what to write into the settings.
pub(super) fn key(name: &str) -> ExitCode {
    let mut bytes = [0; KEY_BYTES];
    if let Err(error) = getrandom::fill(&mut bytes) {
        complain(&format!("error: the system gives no random bytes: {error}"));
        return ExitCode::from(EXIT_BROKEN);
    }
    let key = hex(&bytes);
    let text = format!(
        "Give this to the client, and keep it nowhere else:\n{key}\n\nWrite this into the settings file:\n[[keys]]\nname = \
         \"{name}\"\nsha256 = \"{}\"\nscopes = [\"inspect\", \"gang\", \"metrics\"]\n",
        hex(&hash_of(&key))
    );
    let _ = io::stdout().lock().write_all(text.as_bytes());
    ExitCode::SUCCESS
}

/// The settings; everything wrong with them is told.
fn read(args: &SettingsArgs) -> Option<Settings> {
    match Settings::read(args) {
        Ok(settings) => Some(settings),
        Err(faults) => {
            tell_settings(&faults);
            None
        }
    }
}

fn serve(settings: Settings) -> io::Result<()> {
    actix_web::rt::System::new().block_on(async {
        let listening = app::start(settings)?;
        for address in &listening.addresses {
            tracing::info!(url = format!("http://{address}"), "listening");
        }
        listening.serve().await
    })
}
