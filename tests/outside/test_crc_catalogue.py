"""The frame's checks against the CRC catalogue and against other libraries.

Sources: the check values of the "Catalogue of parametrised CRC algorithms" (G. Cook, RevEng), the
CRC of ASCII "123456789"; the libraries zlib, binascii and fastcrc on random data. None of the
checks offered is itself in the catalogue (all ones before and after, unreflected), so each
polynomial is held to its published algorithm, and each check to a reference written here and,
where one offers the polynomial, to another library.
"""

import binascii
import zlib
from collections.abc import Callable
from dataclasses import dataclass

import fastcrc
import pytest
from crcmod import mkCrcFun
from hypothesis import given
from hypothesis import strategies as st

from packcodec.frame.crc import crc_function
from packcodec.layout.checks import CHECKS

DIGITS = b"123456789"


@dataclass(frozen=True)
class Published:
    """A row of the catalogue: width, polynomial, register before, reflected, xor after, check."""

    name: str
    bits: int
    polynomial: int
    init: int
    reflected: bool
    xorout: int
    check: int


CATALOGUE = (
    Published("CRC-16/DNP", 16, 0x3D65, 0, True, 0xFFFF, 0xEA82),
    Published("CRC-16/EN-13757", 16, 0x3D65, 0, False, 0xFFFF, 0xC2B7),
    Published("CRC-16/OPENSAFETY-A", 16, 0x5935, 0, False, 0, 0x5D38),
    Published("CRC-24/FLEXRAY-A", 24, 0x5D6DCB, 0xFEDCBA, False, 0, 0x7979BD),
    Published("CRC-24/FLEXRAY-B", 24, 0x5D6DCB, 0xABCDEF, False, 0, 0x1F23B8),
    Published("CRC-32/AUTOSAR", 32, 0xF4ACFB13, 0xFFFFFFFF, True, 0xFFFFFFFF, 0x1697D06A),
    # Of other polynomials, so that the reference below is itself held to more.
    Published("CRC-16/XMODEM", 16, 0x1021, 0, False, 0, 0x31C3),
    Published("CRC-16/IBM-3740", 16, 0x1021, 0xFFFF, False, 0, 0x29B1),
    Published("CRC-16/GENIBUS", 16, 0x1021, 0xFFFF, False, 0xFFFF, 0xD64E),
    Published("CRC-16/IBM-SDLC", 16, 0x1021, 0xFFFF, True, 0xFFFF, 0x906E),
    Published("CRC-24/OPENPGP", 24, 0x864CFB, 0xB704CE, False, 0, 0x21CF02),
    Published("CRC-32/ISO-HDLC", 32, 0x04C11DB7, 0xFFFFFFFF, True, 0xFFFFFFFF, 0xCBF43926),
    Published("CRC-32/BZIP2", 32, 0x04C11DB7, 0xFFFFFFFF, False, 0xFFFFFFFF, 0xFC891918),
)

# Computed (by this reference and by crcmod), not published: no catalogue has these algorithms.
OFFERED = {"crc16-short": 0x4449, "crc16": 0x88D4, "crc24": 0x351948, "crc32": 0x397C461A}


def reversed_bits(number: int, bits: int) -> int:
    return int(format(number, f"0{bits}b")[::-1], 2)


def bit_at_a_time(data: bytes, row: Published) -> int:
    """Long division as the catalogue describes it."""
    register, top = row.init, 1 << (row.bits - 1)
    for byte in data:
        for bit in format(byte, "08b")[:: -1 if row.reflected else 1]:
            carry = bool(register & top) != (bit == "1")
            register = (register << 1) % (1 << row.bits) ^ (row.polynomial if carry else 0)
    return (reversed_bits(register, row.bits) if row.reflected else register) ^ row.xorout


@pytest.mark.parametrize("row", CATALOGUE, ids=lambda row: row.name)
def test_published_check_values(row: Published) -> None:
    through_crcmod = mkCrcFun(
        (1 << row.bits) | row.polynomial,
        initCrc=row.init ^ row.xorout,
        rev=row.reflected,
        xorOut=row.xorout,
    )
    assert through_crcmod(DIGITS) == row.check
    assert bit_at_a_time(DIGITS, row) == row.check


def test_every_polynomial_offered_is_a_published_one() -> None:
    published = {(row.bits, row.polynomial) for row in CATALOGUE}
    assert {(check.bits, check.polynomial) for check in CHECKS.values()} <= published


@pytest.mark.parametrize("name", CHECKS)
def test_check_values_of_the_checks_offered(name: str) -> None:
    assert crc_function(CHECKS[name])(DIGITS) == OFFERED[name]


@pytest.mark.parametrize("name", CHECKS)
@given(data=st.binary(max_size=64), more=st.binary(max_size=8))
def test_the_checks_offered_equal_the_reference(name: str, data: bytes, more: bytes) -> None:
    check, ones = CHECKS[name], (1 << CHECKS[name].bits) - 1
    row = Published(name, check.bits, check.polynomial, ones, False, ones, 0)
    crc = crc_function(check)
    assert crc(data) == bit_at_a_time(data, row)
    assert crc(more, crc(data)) == crc(data + more)


LIBRARIES: dict[str, tuple[str, Callable[[bytes], int]]] = {
    "zlib": ("CRC-32/ISO-HDLC", zlib.crc32),
    "binascii.crc32": ("CRC-32/ISO-HDLC", binascii.crc32),
    "binascii.crc_hqx 0": ("CRC-16/XMODEM", lambda data: binascii.crc_hqx(data, 0)),
    "binascii.crc_hqx ffff": ("CRC-16/IBM-3740", lambda data: binascii.crc_hqx(data, 0xFFFF)),
    "fastcrc dnp": ("CRC-16/DNP", fastcrc.crc16.dnp),
    "fastcrc en_13757": ("CRC-16/EN-13757", fastcrc.crc16.en_13757),
    "fastcrc opensafety_a": ("CRC-16/OPENSAFETY-A", fastcrc.crc16.opensafety_a),
    "fastcrc autosar": ("CRC-32/AUTOSAR", fastcrc.crc32.autosar),
    "fastcrc bzip2": ("CRC-32/BZIP2", fastcrc.crc32.bzip2),
}


@pytest.mark.parametrize("library", LIBRARIES)
@given(data=st.binary(max_size=64))
def test_libraries_equal_the_reference(library: str, data: bytes) -> None:
    name, function = LIBRARIES[library]
    (row,) = (row for row in CATALOGUE if row.name == name)
    assert function(data) == bit_at_a_time(data, row)


@given(data=st.binary(max_size=300))
def test_a_library_brought_to_our_start_and_end_equals_our_checks(data: bytes) -> None:
    """fastcrc starts where told; AUTOSAR's is ours with the bits of every byte turned round."""
    ones = 0xFFFF
    assert crc_function(CHECKS["crc16"])(data) == fastcrc.crc16.opensafety_a(data, ones) ^ ones
    # en_13757 ends with all ones, so that a CRC so far of 0 is a register of all ones.
    assert crc_function(CHECKS["crc16-short"])(data) == fastcrc.crc16.en_13757(data, 0)
    turned = bytes(reversed_bits(byte, 8) for byte in data)
    assert crc_function(CHECKS["crc32"])(data) == reversed_bits(fastcrc.crc32.autosar(turned), 32)
