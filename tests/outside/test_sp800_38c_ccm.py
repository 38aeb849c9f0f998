"""The cipher of the seal against NIST SP 800-38C, appendix C, examples 1 to 3.

The values are from memory. They are run through the same class that `packcodec.frame.seal` uses:
that it is CCM, with tags of 4 and 8 bytes, is what the seal relies on.
"""

import pytest

from packcodec.frame.seal import AESCCM, Key

KEY = bytes.fromhex("404142434445464748494a4b4c4d4e4f")
EXAMPLES = [
    (4, "10111213141516", range(8), "20212223", "7162015b4dac255d"),
    (
        6,
        "1011121314151617",
        range(16),
        "202122232425262728292a2b2c2d2e2f",
        "d2a1f0e051ea5f62081a7792073d593d1fc64fbfaccd",
    ),
    (
        8,
        "101112131415161718191a1b",
        range(20),
        "202122232425262728292a2b2c2d2e2f3031323334353637",
        "e3b201a9f5b71a7a9b1ceaeccd97e70b6176aad9a4428aa5484392fbc1b09951",
    ),
]


@pytest.mark.parametrize(("tag", "nonce", "associated", "plain", "sealed"), EXAMPLES)
def test_ccm(tag: int, nonce: str, associated: range, plain: str, sealed: str) -> None:
    given = (bytes.fromhex(nonce), bytes.fromhex(plain), bytes(associated))
    assert AESCCM(KEY, tag).encrypt(*given).hex() == sealed
    if tag in (4, 8):
        key = Key(KEY)
        assert key.encrypt(tag, *given).hex() == sealed
        opened = key.decrypt(tag, given[0], bytes.fromhex(sealed), given[2])
        assert opened == bytes.fromhex(plain)
