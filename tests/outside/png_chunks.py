"""Chunks put into PNGs (PNG, 3rd edition, 5.3)."""

import io

import png


def chunk(kind, body):
    """A chunk with its length and checksum."""
    whole = io.BytesIO()
    png.write_chunk(whole, kind, body)
    return whole.getvalue()


def behind_header(picture, *chunks):
    """A PNG with further chunks behind its header: 8 bytes of signature and 25 of IHDR come first."""
    return picture[:33] + b"".join(chunks) + picture[33:]
