"""A seal on what is kept and can be made again: a value that was damaged, or put there by another hand, is as good as
none. Whoever reads it then gets what ridelog wrote, or nothing, and never has to guess at its parts."""

from __future__ import annotations

import hashlib

_BYTES = 12
_TEXT = 2 * _BYTES


def _seal(basis: str, content: bytes) -> bytes:
    return hashlib.blake2b(content, digest_size=_BYTES, key=hashlib.blake2b(basis.encode()).digest()).digest()


def sealed_text(basis: str, document: str) -> str:
    """A document as it is kept under what it rests on."""
    return f"{_seal(basis, document.encode()).hex()} {document}"


def sealed_bytes(basis: str, numbers: bytes) -> bytes:
    """Numbers as they are kept under what they rest on."""
    return _seal(basis, numbers) + numbers


def document_in(basis: object, kept: object) -> str | None:
    """The document that was sealed; None for anything else."""
    if not isinstance(basis, str) or not isinstance(kept, str) or kept[_TEXT : _TEXT + 1] != " ":
        return None
    document = kept[_TEXT + 1 :]
    return document if kept == sealed_text(basis, document) else None


def numbers_in(basis: object, kept: object) -> bytes | None:
    """The numbers that were sealed; None for anything else."""
    if not isinstance(basis, str) or not isinstance(kept, bytes):
        return None
    numbers = kept[_BYTES:]
    return numbers if kept == sealed_bytes(basis, numbers) else None
