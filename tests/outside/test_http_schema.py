"""The contract held against the running service by a generator of requests (schemathesis).

Every request that it makes from the document must be answered with a documented status, media type, header and body, and
never with a 5xx. It also sends what the document forbids, which must be refused, and methods that are not there. Not asked
of it: that everything which fits the schema is taken; rules between fields (a stock that must be configured, a part that
must be sent) are not for JSON Schema to say.
"""

import os
from pathlib import Path
import subprocess
import sys

CHECKS = (
    "not_a_server_error,status_code_conformance,content_type_conformance,response_headers_conformance,"
    "response_schema_conformance,negative_data_rejection,missing_required_header,unsupported_method"
)


def test_no_request_is_answered_against_the_document(service, tmp_path):
    command = [
        Path(sys.executable).parent / "schemathesis", "run", f"{service.url}/openapi.json", "--checks", CHECKS,
        "--max-examples", "12", "--generation-deterministic", "--request-timeout", "60", "--no-color",
    ]
    done = subprocess.run(command, cwd=tmp_path, capture_output=True, text=True, timeout=900, env=os.environ)
    assert done.returncode == 0, done.stdout[-20000:] + done.stderr[-2000:]
    assert "No issues found" in done.stdout or "passed" in done.stdout, done.stdout[-3000:]
