"""A service to measure, with nothing but Python's own library."""

import http.client
import json
import os
from pathlib import Path
import queue
import struct
import subprocess
import threading
import zlib

ROOT = Path(__file__).resolve().parents[1]
STOCK = {"stock": "white", "form": {"sheet": {"size": "iso_a4_210x297mm"}}}
BOUNDARY = "quoin-load"


def build():
    """The binary, built now."""
    subprocess.run(["cargo", "build", "--release", "--quiet", "--package", "quoin-server"], cwd=ROOT, check=True)
    metadata = subprocess.run(
        ["cargo", "metadata", "--format-version", "1", "--no-deps"], cwd=ROOT, check=True, capture_output=True, text=True
    )
    return Path(json.loads(metadata.stdout)["target_directory"]) / "release" / "quoin"


class Door:
    """`quoin serve` on a free port, and its log."""

    def __init__(self, binary, *flags):
        env = {name: value for name, value in os.environ.items() if not name.startswith("QUOIN_")}
        command = [binary, "serve", "--listen", "127.0.0.1:0", *map(str, flags)]
        self.process = subprocess.Popen(command, stderr=subprocess.PIPE, text=True, env=env)
        self.lines = queue.Queue()
        threading.Thread(target=self._read, daemon=True).start()
        record = self.record(lambda record: record.get("message") == "listening")
        self.host, port = record["url"].removeprefix("http://").rsplit(":", 1)
        self.port = int(port)

    def _read(self):
        for line in self.process.stderr:
            self.lines.put(line)

    def record(self, wanted):
        """The next line of the log that is wanted."""
        while True:
            record = json.loads(self.lines.get(timeout=120))
            if wanted(record):
                return record

    def connection(self):
        """A connection of its own."""
        return http.client.HTTPConnection(self.host, self.port, timeout=300)

    def __enter__(self):
        return self

    def __exit__(self, *_):
        self.process.kill()
        self.process.wait()


def multipart(job, picture):
    """A job with one picture, `art`."""
    head = f'--{BOUNDARY}\r\nContent-Disposition: form-data; name="job"\r\nContent-Type: application/json\r\n\r\n'
    middle = f'\r\n--{BOUNDARY}\r\nContent-Disposition: form-data; name="art"; filename="art.png"\r\n\r\n'
    return head.encode() + json.dumps(job).encode() + middle.encode() + picture + f"\r\n--{BOUNDARY}--\r\n".encode()


def headers(**more):
    """Of a multipart request."""
    return {"Content-Type": f"multipart/form-data; boundary={BOUNDARY}", **more}


def sticker(side_px):
    """A PNG with a soft-edged blob of noise-free colour waves on transparent ground, `side_px` square."""
    rows = bytearray()
    half = side_px / 2
    for y in range(side_px):
        rows.append(0)
        for x in range(side_px):
            dx, dy = (x - half) / half, (y - half) / half
            reach = (dx * dx + dy * dy) ** 0.5
            alpha = max(0, min(255, int((0.85 - reach) * half)))
            rows += bytes(((x * 255) // side_px, (y * 255) // side_px, (x * y) >> 12 & 255, alpha))
    chunk = lambda kind, data: struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))
    header = struct.pack(">IIBBBBB", side_px, side_px, 8, 6, 0, 0, 0)
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", header) + chunk(b"IDAT", zlib.compress(bytes(rows), 6)) + chunk(b"IEND", b"")


def percentile(values, share):
    """The value that this share of the values does not exceed."""
    values = sorted(values)
    return values[min(len(values) - 1, int(share * len(values)))]
