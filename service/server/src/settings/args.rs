//! Settings as flags and environment variables.

use std::path::PathBuf;

use clap::Args;

/// What flags and environment say. What they leave out the settings file says, or is built in.
#[derive(Clone, Debug, Default, Args)]
pub(crate) struct SettingsArgs {
    /// Settings file (TOML)
    #[arg(long, env = "QUOIN_SETTINGS", value_name = "FILE")]
    pub(crate) settings: Option<PathBuf>,
    /// Address to listen on [default: 127.0.0.1:8080]
    #[arg(long, env = "QUOIN_LISTEN", value_name = "HOST:PORT")]
    pub(crate) listen: Option<String>,
    /// Let other machines in although there are no keys
    #[arg(long, env = "QUOIN_OPEN_WITHOUT_KEYS", value_parser = clap::builder::BoolishValueParser::new())]
    pub(crate) open_without_keys: bool,
    /// Keys besides those of the file: NAME=SHA256[:SCOPE+SCOPE], separated by commas
    #[arg(long, env = "QUOIN_KEYS", value_name = "KEYS", hide_env_values = true)]
    pub(crate) keys: Option<String>,
    /// Jobs at work at the same time [default: cores]
    #[arg(long, env = "QUOIN_WORKERS", value_name = "N")]
    pub(crate) workers: Option<u64>,
    /// Threads of one job [default: cores]
    #[arg(long, env = "QUOIN_THREADS_PER_JOB", value_name = "N")]
    pub(crate) threads_per_job: Option<u64>,
    /// Jobs that may wait besides those at work [default: 32]
    #[arg(long, env = "QUOIN_QUEUE_LENGTH", value_name = "N")]
    pub(crate) queue_length: Option<u64>,
    /// Decoded pixels in work at the same time [default: 1024]
    #[arg(long, env = "QUOIN_PIXELS_IN_WORK_MIB", value_name = "MIB")]
    pub(crate) pixels_in_work_mib: Option<u64>,
    /// Largest body of a request [default: 256]
    #[arg(long, env = "QUOIN_MAX_BODY_MIB", value_name = "MIB")]
    pub(crate) max_body_mib: Option<u64>,
    /// Largest JSON of a job, pictures in base64 included [default: 64]
    #[arg(long, env = "QUOIN_MAX_JOB_MIB", value_name = "MIB")]
    pub(crate) max_job_mib: Option<u64>,
    /// Parts of a body [default: 1000]
    #[arg(long, env = "QUOIN_MAX_PARTS", value_name = "N")]
    pub(crate) max_parts: Option<u64>,
    /// Time for a whole body to arrive [default: 120]
    #[arg(long, env = "QUOIN_BODY_DEADLINE_S", value_name = "SECONDS")]
    pub(crate) body_deadline_s: Option<u64>,
    /// Largest picture file [default: 100]
    #[arg(long, env = "QUOIN_MAX_PICTURE_MIB", value_name = "MIB")]
    pub(crate) max_picture_mib: Option<u64>,
    /// Largest picture, width x height [default: 120]
    #[arg(long, env = "QUOIN_MAX_PICTURE_MEGAPIXELS", value_name = "MEGAPIXELS")]
    pub(crate) max_picture_megapixels: Option<u64>,
    /// Longest side of a picture [default: 30000]
    #[arg(long, env = "QUOIN_MAX_PICTURE_SIDE_PX", value_name = "PX")]
    pub(crate) max_picture_side_px: Option<u64>,
    /// From SIGTERM until new work is refused [default: 5]
    #[arg(long, env = "QUOIN_DRAIN_NOTICE_S", value_name = "SECONDS")]
    pub(crate) drain_notice_s: Option<u64>,
    /// From SIGTERM until work that still runs is given up [default: 25]
    #[arg(long, env = "QUOIN_DRAIN_DEADLINE_S", value_name = "SECONDS")]
    pub(crate) drain_deadline_s: Option<u64>,
    /// Folder for temporary files [default: the system's]
    #[arg(long, env = "QUOIN_TEMPORARY_FOLDER", value_name = "DIR")]
    pub(crate) temporary_folder: Option<PathBuf>,
}

/// Where a setting is written that is not in the file.
pub(super) fn place_of(name: &str) -> String {
    format!("--{} or QUOIN_{}", name.replace('_', "-"), name.to_ascii_uppercase())
}
