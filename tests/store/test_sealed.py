"""What is kept and can be made again is read as ridelog wrote it, or not at all, whatever happened to it."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ridelog.store.sealed import document_in, numbers_in, sealed_bytes, sealed_text

TEXT = st.text(st.characters(codec="utf-8"))
DAMAGED = [
    None,
    "",
    "null",
    "[]",
    "[" * 100_000,
    '{"a": NaN}',
    "9" * 5000,
    5,
    0.5,
    b"",
    b"\xff\x00",
    b"N" + b"\xff" * 80,
]


@given(TEXT, TEXT)
def test_what_was_sealed_is_read(basis: str, document: str) -> None:
    assert document_in(basis, sealed_text(basis, document)) == document
    assert numbers_in(basis, sealed_bytes(basis, document.encode())) == document.encode()


@given(st.binary(min_size=1), st.data())
def test_one_changed_bit_anywhere_is_noticed(numbers: bytes, data: st.DataObject) -> None:
    kept = bytearray(sealed_bytes("basis", numbers))
    kept[data.draw(st.integers(0, len(kept) - 1))] ^= 1 << data.draw(st.integers(0, 7))
    assert numbers_in("basis", bytes(kept)) is None


@given(TEXT.filter(bool), st.data())
def test_a_cut_document_and_another_basis_are_noticed(document: str, data: st.DataObject) -> None:
    kept = sealed_text("basis", document)
    assert document_in("basis", kept[: data.draw(st.integers(0, len(kept) - 1))]) is None
    assert document_in("other", kept) is None


@pytest.mark.parametrize("damage", DAMAGED)
def test_what_was_never_sealed_is_nothing(damage: object) -> None:
    assert document_in("basis", damage) is None
    assert numbers_in("basis", damage) is None
    assert document_in(5, damage) is None
    assert numbers_in(None, damage) is None
