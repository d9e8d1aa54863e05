"""Canonical bytes against the published vectors of RFC 8785.

Source: the test data that accompanies RFC 8785 (JSON Canonicalization Scheme), in the folder
`json_canonicalization` with its origin and licence: input, output, output as hex.
"""

import json
import struct
from pathlib import Path

import pytest

from service.proofs.canonical import CanonicalError, canonical

VECTORS = Path(__file__).parent / "json_canonicalization"
# by name, so that a missing file is a failure and not one vector less
NAMES = ("arrays", "french", "structures", "unicode", "values", "weird")


@pytest.mark.parametrize("name", NAMES)
def test_the_published_vectors(name: str) -> None:
    made = canonical(json.loads((VECTORS / f"input/{name}.json").read_text("utf-8")))
    assert made == (VECTORS / f"output/{name}.json").read_bytes()
    assert made == bytes.fromhex((VECTORS / f"outhex/{name}.txt").read_text())


def test_every_vector_is_used() -> None:
    for folder in ("input", "output", "outhex"):
        assert sorted(path.stem for path in (VECTORS / folder).iterdir()) == sorted(NAMES)


# RFC 8785, appendix B ("Number Serialization Samples"): the IEEE 754 bits, and the JSON text.
@pytest.mark.parametrize(
    ("bits_hex", "text"),
    [
        ("0000000000000000", b"0"),
        ("8000000000000000", b"0"),
        ("0000000000000001", b"5e-324"),
        ("8000000000000001", b"-5e-324"),
        ("7fefffffffffffff", b"1.7976931348623157e+308"),
        ("ffefffffffffffff", b"-1.7976931348623157e+308"),
        ("4340000000000000", b"9007199254740992"),
        ("c340000000000000", b"-9007199254740992"),
        ("4430000000000000", b"295147905179352830000"),
        ("44b52d02c7e14af5", b"9.999999999999997e+22"),
        ("44b52d02c7e14af6", b"1e+23"),
        ("44b52d02c7e14af7", b"1.0000000000000001e+23"),
        ("444b1ae4d6e2ef4e", b"999999999999999700000"),
        ("444b1ae4d6e2ef4f", b"999999999999999900000"),
        ("444b1ae4d6e2ef50", b"1e+21"),
        ("3eb0c6f7a0b5ed8c", b"9.999999999999997e-7"),
        ("3eb0c6f7a0b5ed8d", b"0.000001"),
        ("41b3de4355555553", b"333333333.3333332"),
        ("41b3de4355555554", b"333333333.33333325"),
        ("41b3de4355555555", b"333333333.3333333"),
        ("41b3de4355555556", b"333333333.3333334"),
        ("41b3de4355555557", b"333333333.33333343"),
        ("becbf647612f3696", b"-0.0000033333333333333333"),
        ("43143ff3c1cb0959", b"1424953923781206.2"),
    ],
)
def test_the_number_samples_of_the_rfc(bits_hex: str, text: bytes) -> None:
    assert canonical(struct.unpack(">d", bytes.fromhex(bits_hex))[0]) == text


@pytest.mark.parametrize("bits_hex", ["7fffffffffffffff", "7ff0000000000000"])
def test_the_numbers_the_rfc_refuses(bits_hex: str) -> None:
    with pytest.raises(CanonicalError):
        canonical(struct.unpack(">d", bytes.fromhex(bits_hex))[0])
