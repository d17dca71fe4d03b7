"""A running service, as its clients see it."""

import base64
import copy
import hashlib
import json
import os
from pathlib import Path
import queue
import signal
import socket
import subprocess
import threading
import time

import requests


class Service:
    """`quoin serve` on a free port."""

    def __init__(self, binary, *flags, environment=None, settings=None, folder=None):
        command = [binary, "serve", "--listen", "127.0.0.1:0", *map(str, flags)]
        if settings is not None:
            path = Path(folder) / "quoin.toml"
            path.write_text(settings)
            command += ["--settings", path]
        env = {name: value for name, value in os.environ.items() if not name.startswith("QUOIN_")}
        self.process = subprocess.Popen(
            command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, env={**env, **(environment or {})}
        )
        self.lines = queue.Queue()
        self.log = []
        threading.Thread(target=self._read, daemon=True).start()
        self.url = self._listening()
        self.host, port = self.url.removeprefix("http://").rsplit(":", 1)
        self.port = int(port)
        self.session = requests.Session()

    def _read(self):
        for line in self.process.stderr:
            self.log.append(line.rstrip("\n"))
            self.lines.put(line)
        self.lines.put(None)

    def _listening(self):
        until = time.monotonic() + 20
        while time.monotonic() < until:
            line = self.lines.get(timeout=20)
            assert line is not None, f"the service ended: {self.log}"
            record = json.loads(line)
            if record.get("message") == "listening":
                return record["url"]
        raise AssertionError(f"the service does not listen: {self.log}")

    def records(self):
        """The log so far."""
        return [json.loads(line) for line in list(self.log)]

    def request(self, method, path, **options):
        """One request; every answer's digest is checked on the way."""
        options.setdefault("timeout", 300)
        answer = self.session.request(method, self.url + path, **options)
        check_digest(answer)
        return answer

    def get(self, path, **options):
        return self.request("GET", path, **options)

    def post(self, path, job, parts=None, **options):
        """A job, as multipart with parts or as JSON without."""
        text = job if isinstance(job, (str, bytes)) else json.dumps(job)
        if parts is None:
            headers = {"Content-Type": "application/json", **options.pop("headers", {})}
            return self.request("POST", path, data=text, headers=headers, **options)
        return self.request("POST", path, files=multipart(text, parts), **options)

    def resident_bytes(self, peak=False):
        """Resident memory, now or at its highest."""
        field = "VmHWM" if peak else "VmRSS"
        for line in Path(f"/proc/{self.process.pid}/status").read_text().splitlines():
            if line.startswith(field):
                return int(line.split()[1]) * 1024
        raise AssertionError(f"no {field}")

    def connect(self):
        """A bare connection."""
        return socket.create_connection((self.host, self.port), timeout=60)

    def terminate(self):
        """Asks it to stop."""
        self.process.send_signal(signal.SIGTERM)

    def __enter__(self):
        return self

    def __exit__(self, *_):
        self.stop()

    def stop(self):
        """Stops it at once."""
        if self.process.poll() is None:
            self.process.kill()
        self.process.wait(timeout=20)
        self.session.close()


def check_digest(answer):
    """Content-Digest (RFC 9530, section 2); of an answer to HEAD, of no content (appendix B.2)."""
    expected = base64.b64encode(hashlib.sha256(answer.content).digest()).decode()
    assert answer.headers["Content-Digest"] == f"sha-256=:{expected}:", answer.headers
    assert answer.headers["X-Request-Id"]


def multipart(text, parts):
    """Fields of a multipart request: the job, then pictures by part name."""
    fields = [("job", (None, text, "application/json"))]
    return fields + [(name, (f"{name}.bin", data, "application/octet-stream")) for name, data in parts]


def with_parts(job, folder):
    """A job file's pictures as parts: the job over HTTP, and its parts."""
    job, parts = copy.deepcopy(job), {}

    def walk(node):
        if isinstance(node, dict):
            if set(node) == {"file"}:
                name = node.pop("file")
                node["part"] = name
                parts[name] = (Path(folder) / name).read_bytes()
            for value in list(node.values()):
                walk(value)
        elif isinstance(node, list):
            for value in node:
                walk(value)

    walk(job)
    return job, sorted(parts.items())


def send_gang(service, connection, job, parts):
    """Sends a gang job on a bare connection."""
    request = requests.Request("POST", service.url + "/v1/gangs", files=multipart(json.dumps(job), parts)).prepare()
    head = "".join(f"{name}: {value}\r\n" for name, value in request.headers.items())
    connection.sendall(f"POST /v1/gangs HTTP/1.1\r\nHost: x\r\n{head}\r\n".encode() + request.body)


def raw_answer(connection):
    """Status and the rest of what a bare connection answers, until it is closed or says no more."""
    connection.settimeout(60)
    data = b""
    while b"\r\n\r\n" not in data:
        chunk = connection.recv(65536)
        if not chunk:
            break
        data += chunk
    head, _, body = data.partition(b"\r\n\r\n")
    length = next((int(line.split(b":")[1]) for line in head.split(b"\r\n") if line.lower().startswith(b"content-length")), 0)
    while len(body) < length:
        chunk = connection.recv(65536)
        if not chunk:
            break
        body += chunk
    status = int(head.split()[1]) if head else 0
    return status, body
