"""The checks a frame may end with, and how far each one's promise reaches.

Reach: the longest data, in bits without the check itself, over which every error of fewer than
`distance` flipped bits is caught. Sources: P. Koopman, "Best CRC polynomials" and its Hamming
distance tables (CC BY 4.0) for 0x3D65, 0x5935 and 0x5D6DCB; the row of 0xF4ACFB13 and every
number here are computed again in tests/layout/test_checks.py. One bit past its reach
0x3D65 falls from 6 to 2, 0x5935 from 5 to 2 and 0x5D6DCB from 6 to 4: a layout that can pass the
reach is refused. The reach of 0xF4ACFB13 is as far as any frame goes, not where it falls.

All are used unreflected, with initial value and final exclusive-or all ones, so that neither
leading nor appended zero bytes go unseen.
"""

from packcodec.frozen import frozen


@frozen
class Check:
    """A cyclic redundancy check; `polynomial` is MSB first with the top bit implied.

    Or the tag of a seal, which takes its place: then `polynomial` is 0, and any change whatever
    passes with a chance of 2**-bits. `hides`: what stands behind the header is encrypted.
    """

    name: str
    bits: int
    polynomial: int
    distance: int
    reach_bits: int
    sealed: bool = False
    hides: bool = False

    @property
    def octets(self) -> int:
        """Its length on the air."""
        return self.bits // 8


CHECKS = {
    check.name: check
    for check in (
        Check("crc16-short", 16, 0x3D65, 6, 135),
        Check("crc16", 16, 0x5935, 5, 241),
        Check("crc24", 24, 0x5D6DCB, 6, 2024),
        Check("crc32", 32, 0xF4ACFB13, 6, 2720),
    )
}

# AES-CCM with a tag of 4 or 8 bytes; "sign" authenticates and hides nothing.
SEALS = {
    check.name: check
    for check in (
        Check("ccm4", 32, 0, 1, 2720, sealed=True, hides=True),
        Check("ccm8", 64, 0, 1, 2720, sealed=True, hides=True),
        Check("sign4", 32, 0, 1, 2720, sealed=True),
        Check("sign8", 64, 0, 1, 2720, sealed=True),
    )
}

# Tried in this order when the schema leaves the choice to the compiler.
PREFERRED = ("crc24", "crc32")
AUTO = "auto"
