//! `quoin preflight`, `quoin proof` and `quoin estimate`: a job file about one item in, an answer out.

use std::fs;
use std::io::{self, Write};
use std::panic::{self, UnwindSafe};
use std::path::{Path, PathBuf};
use std::process::ExitCode;

use quoin_prepress::cancel::Cancel;
use quoin_prepress::fault::Fault;
use quoin_prepress::finding::{Finding, Severity};
use quoin_prepress::order::ProofDrawing;
use quoin_prepress::output;
use quoin_prepress::run::{self, Proof};
use tempfile::NamedTempFile;

use super::failure::{Failure, tell};
use super::job_file::{self, JobFile};
use super::terminal::{complain, harmless};
use super::{EXIT_BROKEN, EXIT_NOTHING_PLACED, InquiryArgs, ProofArgs};
use crate::answer::ANSWER;
use crate::drawing_process;
use crate::wire;

/// Runs `quoin preflight`.
pub(super) fn preflight(args: &InquiryArgs) -> ExitCode {
    finished(|| {
        let (limits, configured) = (drawing_process::limits(), args.shop.stocks()?);
        let JobFile { job, .. } =
            job_file::read(&args.job, &limits, |text, art| wire::read_preflight(text, art, &configured))?;
        Ok(output::json(ANSWER, &run::preflight(&job, &limits, &Cancel::new())?)?)
    })
}

/// Runs `quoin estimate`.
pub(super) fn estimate(args: &InquiryArgs) -> ExitCode {
    finished(|| {
        let (limits, configured) = (drawing_process::limits(), args.shop.stocks()?);
        let JobFile { job: (inquiry, quantities), .. } =
            job_file::read(&args.job, &limits, |text, art| wire::read_estimate(text, art, &configured))?;
        Ok(output::json(ANSWER, &run::estimate(&inquiry, &quantities, &limits, &Cancel::new())?)?)
    })
}

/// Runs `quoin proof`.
pub(super) fn proof(args: &ProofArgs) -> ExitCode {
    finished(|| {
        let (limits, configured) = (drawing_process::limits(), args.shop.stocks()?);
        let JobFile { job: (inquiry, view), inputs } =
            job_file::read(&args.job, &limits, |text, art| wire::read_proof(text, art, &configured))?;
        let refused = |source| Failure::File { path: args.out.clone(), source };
        check_target(&args.out, args.replace, &inputs).map_err(refused)?;
        let kind = Kind::of(&args.out);
        let drawing = if kind == Kind::Svg { ProofDrawing::Svg } else { ProofDrawing::Png };
        let proof = run::proof(&inquiry, &view, drawing, &limits, &Cancel::new())?;
        let bytes = match kind {
            Kind::Json => output::json(ANSWER, &proof.document())?,
            Kind::Png | Kind::Svg => proof.picture.clone(),
        };
        write_whole(&args.out, &bytes, args.replace).map_err(refused)?;
        Ok(closing(&proof, &args.out).into_bytes())
    })
}

/// What a proof is written as, by the ending of its file.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Kind {
    Png,
    Svg,
    Json,
}

impl Kind {
    fn of(path: &Path) -> Kind {
        let ending = path.extension().map(|ending| ending.to_ascii_lowercase());
        match ending.as_deref().and_then(|ending| ending.to_str()) {
            Some("svg") => Kind::Svg,
            Some("json") => Kind::Json,
            _ => Kind::Png,
        }
    }
}

/// Does the work, tells what stopped it, and writes its text to stdout.
fn finished(work: impl FnOnce() -> Result<Vec<u8>, Failure> + UnwindSafe) -> ExitCode {
    // A panic is a mistake of ours, and a failure like any other.
    let Ok(made) = panic::catch_unwind(work) else {
        complain("error: this job met a mistake in this program; nothing was written");
        return ExitCode::from(EXIT_BROKEN);
    };
    match made {
        Ok(text) => match io::stdout().lock().write_all(&text) {
            Ok(()) => ExitCode::SUCCESS,
            Err(error) => {
                complain(&format!("error: cannot write to stdout: {error}"));
                ExitCode::from(EXIT_BROKEN)
            }
        },
        Err(Failure::Run(Fault::NoSticker { findings })) => {
            complain("error[proof.no_sticker]: no sticker can be made of this item; nothing was written");
            tell_rejects(&findings);
            ExitCode::from(EXIT_NOTHING_PLACED)
        }
        Err(failure) => {
            tell(&failure);
            ExitCode::from(EXIT_BROKEN)
        }
    }
}

fn tell_rejects(findings: &[Finding]) {
    for finding in findings.iter().filter(|finding| finding.severity == Severity::Reject) {
        let piece = finding.piece.as_ref().map(|piece| format!("{piece}: ")).unwrap_or_default();
        complain(&format!("{piece}{} [{}] {}", finding.message, finding.code.as_str(), finding.remedy));
    }
}

fn closing(proof: &Proof, out: &Path) -> String {
    let (verdict, digest) = (proof.report.verdict.word(), &proof.digest);
    format!("Verdict: {verdict}\nDigest:  {digest}\nOpen:    {}\n", harmless(&out.to_string_lossy()))
}

/// Refuses a file that is there, unless it may be replaced, and always one that the job reads.
fn check_target(out: &Path, replace: bool, inputs: &[PathBuf]) -> io::Result<()> {
    let metadata = match fs::metadata(out) {
        Ok(metadata) => metadata,
        Err(error) if error.kind() == io::ErrorKind::NotFound => return Ok(()),
        Err(error) => return Err(error),
    };
    if !metadata.is_file() {
        return Err(io::Error::other("it is no regular file"));
    }
    if inputs.contains(&out.canonicalize()?) {
        return Err(io::Error::other("the job reads it"));
    }
    if replace { Ok(()) } else { Err(io::Error::other("it is there already; --replace replaces it")) }
}

/// Writes a file beside its place and moves it there whole.
fn write_whole(out: &Path, bytes: &[u8], replace: bool) -> io::Result<()> {
    let mut builder = tempfile::Builder::new();
    builder.prefix(".quoin-");
    #[cfg(unix)]
    builder.permissions(std::os::unix::fs::PermissionsExt::from_mode(0o666));
    let mut file: NamedTempFile = builder.tempfile_in(job_file::folder_of(out))?;
    file.write_all(bytes)?;
    let moved = if replace { file.persist(out) } else { file.persist_noclobber(out) };
    moved.map(|_| ()).map_err(|error| error.error)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_ending_says_what_a_proof_is_written_as() {
        for (name, kind) in
            [("a.png", Kind::Png), ("a.SVG", Kind::Svg), ("a.json", Kind::Json), ("a", Kind::Png), ("svg", Kind::Png)]
        {
            assert_eq!(Kind::of(Path::new(name)), kind, "{name}");
        }
    }

    #[test]
    fn a_file_is_replaced_only_when_asked_and_never_when_the_job_reads_it() {
        let folder = tempfile::tempdir().expect("a temporary folder");
        let out = folder.path().canonicalize().expect("there").join("proof.png");
        assert!(check_target(&out, false, &[]).is_ok());
        write_whole(&out, b"one", false).expect("written");
        assert!(check_target(&out, false, &[]).is_err());
        assert!(check_target(&out, true, std::slice::from_ref(&out)).is_err());
        assert!(check_target(folder.path(), true, &[]).is_err());
        assert!(write_whole(&out, b"two", false).is_err());
        assert_eq!(fs::read(&out).expect("a file"), b"one");
        check_target(&out, true, &[]).expect("may be replaced");
        write_whole(&out, b"two", true).expect("replaced");
        assert_eq!(fs::read(&out).expect("a file"), b"two");
        assert_eq!(fs::read_dir(folder.path()).expect("a folder").count(), 1);
    }
}
