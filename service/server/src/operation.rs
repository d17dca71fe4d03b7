//! What the service does, by name: for logs, metrics and the queue.

/// An operation of the contract.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub(crate) enum Operation {
    /// `POST /v1/preflight`
    Preflight,
    /// `POST /v1/proofs`
    Proof,
    /// `POST /v1/estimates`
    Estimate,
    /// `POST /v1/gangs`
    Gang,
    /// `GET /v1/stocks`
    Stocks,
    /// `GET /healthz`
    Health,
    /// `GET /readyz`
    Readiness,
    /// `GET /metrics`
    Metrics,
    /// `GET /openapi.json`
    OpenApi,
    /// `GET /docs`
    Docs,
    /// `GET /problems/{code}`
    Problem,
    /// Any other path.
    None,
}

impl Operation {
    /// How many there are.
    pub(crate) const COUNT: usize = 12;

    /// Its place in a table.
    pub(crate) fn index(self) -> usize {
        self as usize
    }

    /// The operation that a path names, whatever the method.
    pub(crate) fn of_path(path: &str) -> Operation {
        match path {
            "/v1/preflight" => Operation::Preflight,
            "/v1/proofs" => Operation::Proof,
            "/v1/estimates" => Operation::Estimate,
            "/v1/gangs" => Operation::Gang,
            "/v1/stocks" => Operation::Stocks,
            "/healthz" => Operation::Health,
            "/readyz" => Operation::Readiness,
            "/metrics" => Operation::Metrics,
            "/openapi.json" => Operation::OpenApi,
            "/docs" => Operation::Docs,
            _ if path.starts_with("/problems/") => Operation::Problem,
            _ => Operation::None,
        }
    }

    /// Its name in logs and metrics, and its operationId.
    pub(crate) fn word(self) -> &'static str {
        match self {
            Operation::Preflight => "preflight",
            Operation::Proof => "proof",
            Operation::Estimate => "estimate",
            Operation::Gang => "gang",
            Operation::Stocks => "list_stocks",
            Operation::Health => "health",
            Operation::Readiness => "readiness",
            Operation::Metrics => "metrics",
            Operation::OpenApi => "openapi",
            Operation::Docs => "docs",
            Operation::Problem => "problem",
            Operation::None => "none",
        }
    }
}
